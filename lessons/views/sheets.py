"""Practice sheets: look at the next one, issue it, print it again as it was issued."""

from __future__ import annotations

from datetime import date, timedelta
from io import BytesIO

from csp.decorators import csp_replace
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import content_disposition_header
from django.views.decorators.clickjacking import xframe_options_sameorigin
from django.views.decorators.http import require_GET, require_POST
from pypdf import PdfReader, PdfWriter

from lessons.access import get_sheet
from lessons.home_base import printed_base
from lessons.models import Assignment, Lesson, Sheet
from lessons.sheet_content import ITEMS_AT_MOST, SheetError, item_minutes, sheet_assignments
from lessons.sheet_drawing import sheet_html
from lessons.sheet_under import SIGNS, UNDER, Wish, wishes
from lessons.sheets import (
    DamagedSheet,
    content_of,
    download_name,
    draft_content,
    issue_sheet,
    sheet_lesson,
    sheet_pdf_bytes,
)
from studio.access import get_student, teacher_of
from studio.asked import read_day
from studio.models import Student


def _choice(request: HttpRequest, student: Student) -> tuple[list[Assignment], frozenset[int]]:
    """Which assignments, and which of them without notation; all of them with, until chosen."""
    asked = request.POST if request.method == "POST" else request.GET
    assignments = sheet_assignments(student)
    if "chosen" not in asked:
        return assignments[:ITEMS_AT_MOST], frozenset()
    wanted, notes = set(asked.getlist("item")), set(asked.getlist("notes"))
    chosen = [a for a in assignments if str(a.pk) in wanted]
    return chosen, frozenset(a.pk for a in chosen if str(a.pk) not in notes)


def _lesson(request: HttpRequest, student: Student) -> Lesson | None:
    """The lesson a sheet is asked for, if it is this student's, or the one a sheet made now belongs to."""
    asked = (request.POST if request.method == "POST" else request.GET).get("lesson", "")
    found = student.lessons.filter(pk=int(asked)).first() if asked.isdecimal() else None
    return found or sheet_lesson(student, timezone.now())


def _under(request: HttpRequest, assignments: list[Assignment]) -> dict[int, Wish]:
    """What is asked for under each item's staves."""
    return wishes(request.POST if request.method == "POST" else request.GET, assignments)


@require_GET
def sheets(request: HttpRequest, student_id: int) -> HttpResponse:
    student = get_student(request, student_id)
    issued = student.sheets.select_related("lesson").defer("content")
    return render(request, "lessons/sheets.html", {"student": student, "sheets": issued, "section": "students"})


@require_GET
def sheet_preview(request: HttpRequest, student_id: int) -> HttpResponse:
    """The next sheet beside what goes on it; nothing is stored yet."""
    student = get_student(request, student_id)
    return _preview(request, student)


def _preview(request: HttpRequest, student: Student, error: str = "", status: int = 200) -> HttpResponse:
    chosen, bare = _choice(request, student)
    ids, under = {a.pk for a in chosen}, _under(request, chosen)
    rows = [
        {
            "assignment": a,
            "chosen": a.pk in ids,
            "notes": a.pk not in bare,
            "wish": under.get(a.pk, Wish()),
            "minutes": item_minutes(a),
            "notated": a.passage and a.passage.has_excerpt,
        }
        for a in sheet_assignments(student)
    ]
    lesson = _lesson(request, student)
    content = None
    if not error:
        try:
            content = draft_content(
                student, lesson, at=timezone.now(), assignments=chosen, without_excerpt=bare, under=under
            )
        except SheetError as problem:
            error = str(problem)
    query = request.POST if request.method == "POST" else request.GET
    page = reverse("sheet_preview_page", args=[student.pk])
    context = {
        "student": student,
        "rows": rows,
        "under_choices": UNDER,
        "signs_choices": SIGNS,
        "content": content,
        "error": error,
        "lesson": lesson,
        "page_url": f"{page}?{query.urlencode()}" if query else page,
        "section": "students",
    }
    return render(request, "lessons/sheet_preview.html", context, status=status)


@require_GET
@xframe_options_sameorigin
@csp_replace(  # type: ignore[untyped-decorator]
    {
        "style-src": ["'unsafe-inline'"],
        "style-src-elem": ["'unsafe-inline'"],
        "script-src": ["'none'"],
        "img-src": ["data:"],
    }
)
def sheet_preview_page(request: HttpRequest, student_id: int) -> HttpResponse:
    """The sheet itself as a page without scripts, shown in the preview's frame."""
    student = get_student(request, student_id)
    chosen, bare = _choice(request, student)
    try:
        content = draft_content(
            student,
            _lesson(request, student),
            at=timezone.now(),
            assignments=chosen,
            without_excerpt=bare,
            under=_under(request, chosen),
        )
    except SheetError as problem:
        return HttpResponse(str(problem), status=422, content_type="text/plain; charset=utf-8")
    return HttpResponse(sheet_html(content, draft=True))


@require_POST
def sheet_issue(request: HttpRequest, student_id: int) -> HttpResponse:
    student = get_student(request, student_id)
    chosen, bare = _choice(request, student)
    now = timezone.now()
    try:
        lesson, base = _lesson(request, student), printed_base(request)
        under = _under(request, chosen)
        issued = issue_sheet(student, lesson, at=now, assignments=chosen, without_excerpt=bare, under=under, home=base)
    except SheetError as problem:
        return _preview(request, student, str(problem), status=422)
    messages.success(request, f"Sheet {issued.number} for {student.first_name} is issued and kept.")
    return redirect("sheet", issued.pk)


@require_GET
def sheet(request: HttpRequest, sheet_id: int) -> HttpResponse:
    found = get_sheet(request, sheet_id)
    context = {"sheet": found, "student": found.student, "content": content_of(found), "section": "students"}
    return render(request, "lessons/sheet.html", context)


@require_GET
@xframe_options_sameorigin
def sheet_pdf(request: HttpRequest, sheet_id: int) -> HttpResponse:
    """The stored bytes, as issued; refused when they are not."""
    found = get_sheet(request, sheet_id)
    try:
        pdf = sheet_pdf_bytes(found)
    except DamagedSheet as problem:
        return render(
            request,
            "lessons/sheet_damaged.html",
            {"sheet": found, "student": found.student, "problem": problem},
            status=500,
        )
    return _as_pdf(pdf, download_name(found), download="download" in request.GET)


def _as_pdf(pdf: bytes, name: str, *, download: bool) -> HttpResponse:
    response = HttpResponse(pdf, content_type="application/pdf")
    response.headers["Content-Disposition"] = content_disposition_header(download, name) or "inline"
    response.headers["Cache-Control"] = "private, no-store"
    return response


def _day(request: HttpRequest) -> date:
    asked = read_day(request.GET.get("day", "") or request.POST.get("day", ""))
    return asked or timezone.localdate() + timedelta(days=1)


def _lessons_of(request: HttpRequest, day: date) -> list[Lesson]:
    return list(
        Lesson.objects.filter(teacher=teacher_of(request), starts__date=day)
        .exclude(attendance__in=(Lesson.Attendance.CANCELLED, Lesson.Attendance.EXCUSED))
        .select_related("student__teacher__studio")
        .order_by("starts")
    )


def _sheets_for(lessons: list[Lesson]) -> dict[int, Sheet]:
    """By lesson, the sheet issued last for it. Those of earlier lessons are another week's."""
    found = Sheet.objects.filter(lesson__in=lessons).defer("content").order_by("issued", "id")
    return {sheet.lesson_id or 0: sheet for sheet in found}


def _last_sheets(lessons: list[Lesson]) -> dict[int, Sheet]:
    """By student, the sheet issued last, whatever lesson it was for."""
    found = Sheet.objects.filter(student__in=[lesson.student_id for lesson in lessons]).defer("content")
    return {sheet.student_id: sheet for sheet in found.order_by("issued", "id")}


def sheets_of_day(request: HttpRequest) -> HttpResponse:
    """All sheets of a day (tomorrow as a rule): which stand, which are still to issue; POST issues those."""
    day = _day(request)
    lessons = _lessons_of(request, day)
    if request.method == "POST":
        return _issue_day(request, day, lessons)
    if request.method != "GET":
        return HttpResponse(status=405, headers={"Allow": "GET, POST"})
    made, last = _sheets_for(lessons), _last_sheets(lessons)
    rows = [{"lesson": lesson, "sheet": made.get(lesson.pk), "last": last.get(lesson.student_id)} for lesson in lessons]
    ready = sum(1 for row in rows if row["sheet"])
    context = {
        "day": day,
        "rows": rows,
        "ready": ready,
        "missing": len(rows) - ready,
        "section": "today",
    }
    return render(request, "lessons/sheets_of_day.html", context)


def _issue_day(request: HttpRequest, day: date, lessons: list[Lesson]) -> HttpResponse:
    wanted = set(request.POST.getlist("student"))
    now = timezone.now()
    done = 0
    for lesson in lessons:
        if str(lesson.student_id) in wanted:
            try:
                issue_sheet(lesson.student, lesson, at=now, home=printed_base(request))
                done += 1
            except SheetError as problem:
                messages.error(request, f"{lesson.student.first_name}: {problem}")
    if done:
        messages.success(request, f"{done} {'sheet' if done == 1 else 'sheets'} issued.")
    return redirect(f"{reverse('sheets_of_day')}?day={day.isoformat()}")


@require_GET
def sheets_of_day_pdf(request: HttpRequest) -> HttpResponse:
    """The sheets issued for a day's lessons as one file, in their order. Each sheet's pages are the stored ones."""
    day = _day(request)
    lessons = _lessons_of(request, day)
    made = _sheets_for(lessons)
    writer = PdfWriter()
    for lesson in lessons:
        if lesson.pk in made:
            try:
                writer.append(PdfReader(BytesIO(sheet_pdf_bytes(made[lesson.pk]))))
            except DamagedSheet as problem:
                messages.error(request, str(problem))
    if not writer.pages:
        raise Http404("No sheet is issued for that day.")
    out = BytesIO()
    writer.write(out)
    return _as_pdf(out.getvalue(), f"Sheets {day.isoformat()}.pdf", download="download" in request.GET)
