"""Access to music is a fetch: the object if this teacher may have it, 404 otherwise.

Pieces, parts and movements are read by every teacher of the studio and changed by their owner
(`get_own_…`); what a colleague may add to a piece is a part of it moved to the other instrument.
Passages and markings are each teacher's own; a passage held by two teachers, whose students both
work on it, is open to both and changed in its frame by its owner only. A marking shown to the
studio is read through `get_shared_marking`.

Fetched objects bring along what their pages always name: a passage its movement, part
and piece. Whole note lists are never among it (see models.Movement).
"""

from __future__ import annotations

from django.db.models import QuerySet
from django.http import HttpRequest
from django.shortcuts import get_object_or_404

from repertoire.models import FormerMovement, Marking, Movement, Part, Passage, PictureUpload, Piece, Upload
from repertoire.queries import passages_open_to
from studio.access import teacher_of


def get_piece(request: HttpRequest, piece_id: int) -> Piece:
    """To read: any piece of the studio."""
    return get_object_or_404(
        Piece.objects.select_related("teacher"), pk=piece_id, teacher__studio=teacher_of(request).studio_id
    )


def get_own_piece(request: HttpRequest, piece_id: int) -> Piece:
    return get_object_or_404(Piece, pk=piece_id, teacher=teacher_of(request))


def get_part(request: HttpRequest, part_id: int) -> Part:
    """To read: a part of any piece of the studio."""
    parts = Part.objects.select_related("piece__teacher")
    return get_object_or_404(parts, pk=part_id, piece__teacher__studio=teacher_of(request).studio_id)


def get_own_part(request: HttpRequest, part_id: int) -> Part:
    parts = Part.objects.select_related("piece__teacher")
    return get_object_or_404(parts, pk=part_id, piece__teacher=teacher_of(request))


def get_movement(request: HttpRequest, movement_id: int) -> Movement:
    """To read, and to cut one's own passages from: a movement of any piece of the studio."""
    movements = Movement.objects.select_related("revision__part__piece")
    studio = teacher_of(request).studio_id
    return get_object_or_404(movements, pk=movement_id, revision__part__piece__teacher__studio=studio)


def get_movement_now(request: HttpRequest, movement_id: int) -> Movement:
    """To read: what a movement is now that had this number before its bars were numbered afresh."""
    movements = Movement.objects.select_related("revision__part__piece")
    former = get_object_or_404(FormerMovement, pk=movement_id)
    studio = teacher_of(request).studio_id
    return get_object_or_404(
        movements,
        revision=former.revision_id,
        number=former.number,
        revision__part__piece__teacher__studio=studio,
    )


def get_own_movement(request: HttpRequest, movement_id: int) -> Movement:
    """To change: a movement of one's own piece."""
    movements = Movement.objects.select_related("revision__part__piece")
    return get_object_or_404(movements, pk=movement_id, revision__part__piece__teacher=teacher_of(request))


def get_passage(request: HttpRequest, passage_id: int) -> Passage:
    """To read, mark and assign: one's own passage, or one held together with a colleague."""
    passages = passages_open_to(teacher_of(request)).select_related("movement__revision__part__piece", "picture")
    return get_object_or_404(passages, pk=passage_id)


def get_own_passage(request: HttpRequest, passage_id: int) -> Passage:
    passages = Passage.objects.select_related("movement__revision__part__piece", "picture")
    return get_object_or_404(passages, pk=passage_id, teacher=teacher_of(request))


def get_marking(request: HttpRequest, marking_id: int) -> Marking:
    """A marking of a passage that is open to this teacher."""
    open_ones = passages_open_to(teacher_of(request)).values("pk")
    return get_object_or_404(_markings(), pk=marking_id, passage__in=open_ones)


def get_own_marking(request: HttpRequest, marking_id: int) -> Marking:
    return get_object_or_404(_markings(), pk=marking_id, teacher=teacher_of(request))


def get_shared_marking(request: HttpRequest, marking_id: int) -> Marking:
    """A marking its owner shows to this teacher's studio."""
    markings = _markings().select_related("teacher")
    studio = teacher_of(request).studio_id
    return get_object_or_404(markings, pk=marking_id, shared__isnull=False, teacher__studio=studio)


def _markings() -> QuerySet[Marking]:
    return Marking.objects.select_related("passage__movement__revision__part__piece", "passage__picture", "parent")


def get_picture_upload(request: HttpRequest, upload_id: int) -> PictureUpload:
    uploads = PictureUpload.objects.select_related("movement__revision__part__piece", "teacher__studio")
    return get_object_or_404(uploads, pk=upload_id, teacher=teacher_of(request))


def get_upload(request: HttpRequest, upload_id: int) -> Upload:
    return get_object_or_404(
        Upload.objects.select_related("piece", "part__piece", "teacher"), pk=upload_id, teacher=teacher_of(request)
    )
