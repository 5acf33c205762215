"""A student's part: the passages in use laid over the whole part, on paper and as a file."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_safe

from lessons.merged_part import MergedPart, merge, seams
from lessons.page_turns import Opens
from lessons.part_pages import TooLong, lay_out, part_pdf
from repertoire.access import get_part
from repertoire.excerpts import studio_look
from repertoire.exported_files import as_file, file_name, whole_heading
from repertoire.views.exporting import known, sent
from studio.access import get_student


def get_merged(request: HttpRequest, student_id: int, part_id: int) -> MergedPart:
    """The student's passages on a part, the chosen one winning; 404 where there are none."""
    student, part = get_student(request, student_id), get_part(request, part_id)
    chosen = request.GET.get("first", "")
    merged = merge(student, part, chosen=int(chosen) if chosen.isascii() and chosen.isdigit() else None)
    if merged is None:
        raise Http404
    return merged


@require_safe
def student_part(request: HttpRequest, student_id: int, part_id: int) -> HttpResponse:
    """What is laid over the part, what disagrees, and where pages are turned."""
    merged = get_merged(request, student_id, part_id)
    problem, laid = "", None
    try:
        laid = lay_out(merged, _opens(request), fill="fill" in request.GET)
    except TooLong as error:
        problem = str(error)
    wins = merged.sources[-1] if merged.sources else None
    context = {
        "section": "students",
        "student": merged.student,
        "part": merged.part,
        "merged": merged,
        "overlapping": _overlapping(merged),
        "pairs": _pairs(merged),
        "last": merged.sources[-1] if merged.sources else None,
        "chosen": wins if request.GET.get("first") else None,
        "seams": [(m, seam) for m in merged.movements for seam in seams(m)],
        "laid": laid,
        "problem": problem,
        "opens": _opens(request),
        "fill": "fill" in request.GET,
        "query": request.GET.urlencode(),
    }
    return render(request, "lessons/part.html", context)


@require_safe
def student_part_pdf(request: HttpRequest, student_id: int, part_id: int) -> HttpResponse:
    """The whole part on paper."""
    merged = get_merged(request, student_id, part_id)
    try:
        pages = part_pdf(merged, opens=_opens(request), fill="fill" in request.GET, on=timezone.localdate())
    except TooLong:
        raise Http404 from None
    response = HttpResponse(pages.pdf, content_type="application/pdf")
    name = file_name(f"{merged.part.piece.title} {merged.part.name} {merged.student.first_name}")
    response["Content-Disposition"] = content_disposition_header(False, f"{name}.pdf") or "inline"
    response["Cache-Control"] = "private, no-store"
    response["X-Content-Type-Options"] = "nosniff"
    return response


@require_safe
def student_part_file(request: HttpRequest, student_id: int, part_id: int, form: str) -> HttpResponse:
    """The whole part as MusicXML, without the student's name."""
    form, merged = known(form), get_merged(request, student_id, part_id)
    movements = [(m.line, m.marks) for m in merged.movements]
    name = f"{merged.part.piece.title} {merged.part.name} marked"
    return sent(as_file(movements, whole_heading(merged.part, movements), form, name, studio_look(request)["words"]))


def _opens(request: HttpRequest) -> Opens:
    return "right" if request.GET.get("opens") == "right" else "left"


def _pairs(merged: MergedPart) -> list[dict[str, Any]]:
    """Disagreements by the two passages they are between."""
    found: dict[tuple[int, int], dict[str, Any]] = {}
    for told in merged.disagreements:
        key = (told.wins.assignment.pk, told.over.assignment.pk)
        found.setdefault(key, {"wins": told.wins, "over": told.over, "rows": []})["rows"].append(told)
    return list(found.values())


def _overlapping(merged: MergedPart) -> list[int]:
    """Assignments whose passages share notes with another."""
    found: set[int] = set()
    for one in merged.sources:
        for other in merged.sources:
            if one is other or one.passage.movement_id != other.passage.movement_id:
                continue
            if {e.address for e in one.line.events} & {e.address for e in other.line.events}:
                found.add(one.assignment.pk)
    return sorted(found)
