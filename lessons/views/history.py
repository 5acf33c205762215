"""A student's history, and the report a family may have of it."""

from __future__ import annotations

from datetime import date, timedelta

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from lessons.history import Filters, read_history
from lessons.models import Theme
from lessons.report import make_report
from lessons.tempo_picture import tempo_picture
from studio.access import get_student
from studio.asked import read_day, read_number
from studio.registry import siblings_of

DAYS_A_PAGE = 40
REPORT_DAYS = 120
OWN_WORDS_LIMIT = 2000


@require_GET
def history(request: HttpRequest, student_id: int) -> HttpResponse:
    student = get_student(request, student_id)
    theme = request.GET.get("theme", "")
    piece = request.GET.get("piece", "")
    filters = Filters(read_number(piece) or 0, theme if theme in Theme.values else "")
    limit = max(DAYS_A_PAGE, min(read_number(request.GET.get("days", "")) or 0, 2000))
    found = read_history(student, filters, limit=limit)
    pieces = {a.piece_id: a.piece for a in found.assignments}
    context = {
        "student": student,
        "history": found,
        "courses": [(course, tempo_picture(course)) for course in found.courses],
        "filters": filters,
        "pieces": sorted(pieces.values(), key=lambda p: p.title),
        "themes": Theme.choices,
        "next_limit": limit + 100,
        "section": "students",
    }
    return render(request, "lessons/history.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def report(request: HttpRequest, student_id: int) -> HttpResponse:
    """The page for a family. What the teacher adds in her own words comes by POST, so that it stands in
    no address and no log, and is shown and printed but not stored."""
    student = get_student(request, student_id)
    today = timezone.localdate()
    until = _date(request, "until") or today
    since = _date(request, "since") or until - timedelta(days=REPORT_DAYS)
    error = ""
    if since > until:
        since, until = until, since
        error = "The first day was after the last; they are shown the other way round."
    context = {
        "student": student,
        "report": make_report(student, since, until),
        "error": error,
        "own_words": request.POST.get("words", "").strip()[:OWN_WORDS_LIMIT],
        "guardians": student.guardianships.filter(receives_notes=True)
        .exclude(guardian__email="")
        .select_related("guardian")
        .order_by("guardian__name", "id"),
        "siblings": siblings_of(student),
        "today": today,
        "section": "students",
    }
    return render(request, "lessons/report.html", context)


def _date(request: HttpRequest, name: str) -> date | None:
    return read_day((request.POST if request.method == "POST" else request.GET).get(name, ""))
