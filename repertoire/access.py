"""Access to music is a fetch: the object if it is this teacher's, 404 otherwise.

Fetched objects bring along what their pages always name: a passage its movement, part
and piece. Whole note lists are never among it (see models.Movement).
"""

from __future__ import annotations

from django.http import HttpRequest
from django.shortcuts import get_object_or_404

from repertoire.models import Marking, Movement, Part, Passage, PictureUpload, Piece, Upload
from studio.access import teacher_of


def get_piece(request: HttpRequest, piece_id: int) -> Piece:
    return get_object_or_404(Piece, pk=piece_id, teacher=teacher_of(request))


def get_part(request: HttpRequest, part_id: int) -> Part:
    parts = Part.objects.select_related("piece")
    return get_object_or_404(parts, pk=part_id, piece__teacher=teacher_of(request))


def get_movement(request: HttpRequest, movement_id: int) -> Movement:
    movements = Movement.objects.select_related("revision__part__piece")
    return get_object_or_404(movements, pk=movement_id, revision__part__piece__teacher=teacher_of(request))


def get_passage(request: HttpRequest, passage_id: int) -> Passage:
    passages = Passage.objects.select_related("movement__revision__part__piece", "picture")
    return get_object_or_404(passages, pk=passage_id, teacher=teacher_of(request))


def get_marking(request: HttpRequest, marking_id: int) -> Marking:
    markings = Marking.objects.select_related("passage__movement__revision__part__piece", "passage__picture", "parent")
    return get_object_or_404(markings, pk=marking_id, teacher=teacher_of(request))


def get_picture_upload(request: HttpRequest, upload_id: int) -> PictureUpload:
    uploads = PictureUpload.objects.select_related("movement__revision__part__piece", "teacher__studio")
    return get_object_or_404(uploads, pk=upload_id, teacher=teacher_of(request))


def get_upload(request: HttpRequest, upload_id: int) -> Upload:
    return get_object_or_404(
        Upload.objects.select_related("piece", "part__piece", "teacher"), pk=upload_id, teacher=teacher_of(request)
    )
