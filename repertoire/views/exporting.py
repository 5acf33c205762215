"""Music as files: a marking of a passage, a whole part as printed."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_safe

from repertoire.access import get_marking, get_part
from repertoire.excerpts import NoNotation, studio_look
from repertoire.exported_files import TYPES, File, marking_file, part_file


@require_safe
def marking_export(request: HttpRequest, marking_id: int, form: str) -> HttpResponse:
    """The excerpt of a passage with one of its markings, as MusicXML."""
    marking = get_marking(request, marking_id)
    try:
        return sent(marking_file(marking, known(form), studio_look(request)["words"]))
    except NoNotation:
        raise Http404 from None


@require_safe
def part_export(request: HttpRequest, part_id: int, form: str) -> HttpResponse:
    """The whole part as printed, in its present revision."""
    revision = get_part(request, part_id).revision
    if revision is None:
        raise Http404
    try:
        return sent(part_file(revision, known(form), studio_look(request)["words"]))
    except NoNotation:
        raise Http404 from None


def known(form: str) -> str:
    """A form of MusicXML there is; 404 for any other."""
    if form not in TYPES:
        raise Http404
    return form


def sent(file: File) -> HttpResponse:
    """A file for its owner to save."""
    response = HttpResponse(file.data, content_type=file.content_type)
    response["Content-Disposition"] = content_disposition_header(True, file.name) or "attachment"
    response["Cache-Control"] = "private, no-store"
    response["X-Content-Type-Options"] = "nosniff"
    return response
