"""Putting lessons into the timetable, moving them and taking them out: one, or a weekly row.

What would clash with other lessons is told before anything is stored (409, and the form again); the
button that goes ahead all the same names the lessons it was told of, so that a new clash is told again.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.views.decorators.http import require_http_methods, require_POST

from lessons.access import get_lesson
from lessons.forms import LessonForm
from lessons.models import Lesson
from lessons.planning import PlanError, Planned, plan_lessons, remove_lesson, take_back, times_for, untouched
from lessons.series import apply_change, change_of, remove_row, row_of
from studio.access import get_student, teacher_of
from studio.asked import read_day
from studio.models import Student, Teacher

ADDED = "added lessons"  # in the session: the lessons of the last addition and when it was
ADDED_FOR = timedelta(hours=1)  # as long as the calendar offers to take them back


@require_http_methods(["GET", "HEAD", "POST"])
def lesson_add(request: HttpRequest) -> HttpResponse:
    """A lesson with a student chosen in the form."""
    return _add(request, teacher_of(request), None)


@require_http_methods(["GET", "HEAD", "POST"])
def lesson_new(request: HttpRequest, student_id: int) -> HttpResponse:
    """A lesson with this student."""
    return _add(request, teacher_of(request), get_student(request, student_id))


def _add(request: HttpRequest, teacher: Teacher, student: Student | None) -> HttpResponse:
    active = None if student else Student.objects.filter(teacher=teacher, status=Student.Status.ACTIVE)
    form = LessonForm(request.POST or None, students=active, initial=_usual(request, student))
    context = {"section": "calendar", "form": form, "student": student}
    status = 422 if request.method == "POST" else 200
    if request.method == "POST" and form.is_valid():
        wanted = form.cleaned_data
        whom = student or wanted["student"]
        plan = {name: wanted[name] for name in ("on", "at", "minutes", "weeks")}
        times = times_for(whom, **plan)
        if _was_told(request, times.overlapping):
            planned = plan_lessons(whom, **plan)
            request.session[ADDED] = [timezone.now().timestamp(), [lesson.pk for lesson in planned.lessons]]
            _tell_added(request, whom, planned)
            return redirect(_calendar_on(wanted["on"]))
        context |= {"overlapping": times.overlapping, "count": len(times.starts)}
        status = 409
    return render(request, "lessons/lesson_new.html", context, status=status)


def _usual(request: HttpRequest, student: Student | None) -> dict[str, object]:
    """A week after the student's last planned lesson, at the same time and length."""
    usual: dict[str, object] = {"on": read_day(request.GET.get("on", "")) or timezone.localdate()}
    last = student.lessons.order_by("-starts").first() if student else None
    if last is not None:
        starts = timezone.localtime(last.starts)
        weeks = max(1, -((starts.date() - timezone.localdate()).days // 7))  # not into the past
        usual |= {"on": starts.date() + timedelta(weeks=weeks)}
        usual |= {"at": starts.time(), "minutes": last.minutes}
    return usual


def _was_told(request: HttpRequest, overlapping: Iterable[Lesson]) -> bool:
    """Whether the teacher goes ahead in spite of each of these lessons (or there are none)."""
    told = set(request.POST.get("in_spite_of", "").split())
    return {str(lesson.pk) for lesson in overlapping} <= told


def _tell_added(request: HttpRequest, student: Student, planned: Planned) -> None:
    words = f"{_lessons(len(planned.lessons))} with {student.first_name} added."
    if planned.there:
        words += f" {len(planned.there)} at that time already stood in the calendar and stayed as they were."
    messages.success(request, words)
    if planned.left_out:
        messages.info(request, f"Left out, as a break: {_days(planned.left_out)}.")


def added_of(request: HttpRequest, teacher: Teacher) -> list[Lesson]:
    """The lessons added last that can be taken back: added within the hour and nothing noted in any."""
    at, added = request.session.get(ADDED) or (0, [])
    if not added or timezone.now().timestamp() - at > ADDED_FOR.total_seconds():
        return []
    found = untouched(Lesson.objects.filter(teacher=teacher, pk__in=added)).select_related("student")
    return list(found.order_by("starts"))


@require_POST
def lessons_take_back(request: HttpRequest) -> HttpResponse:
    """Undo an addition: the lessons named in the form go, as far as nothing was noted in them."""
    named = [int(pk) for pk in request.POST.getlist("lesson") if pk.isdecimal() and len(pk) < 19]
    own = Lesson.objects.filter(teacher=teacher_of(request), pk__in=named)
    first = own.order_by("starts").first()
    gone = take_back(own)
    request.session.pop(ADDED, None)
    if gone:
        messages.success(request, f"{_lessons(gone)} taken back.")
    else:
        messages.error(request, "Nothing was taken back: these lessons are gone, or something is noted in them.")
    return redirect(_calendar_on(timezone.localtime(first.starts).date()) if first else "calendar")


@require_http_methods(["GET", "HEAD", "POST"])
def lesson_move(request: HttpRequest, lesson_id: int) -> HttpResponse:
    """Another date, time or length for one lesson, or for it and all later ones of its weekly row."""
    lesson = get_lesson(request, lesson_id)
    row = row_of(lesson, timezone.now())
    starts = timezone.localtime(lesson.starts)
    initial = {"on": starts.date(), "at": starts.time(), "minutes": lesson.minutes}
    form = LessonForm(request.POST or None, moving=True, in_row=bool(row.later), initial=initial)
    context = {"section": "calendar", "form": form, "lesson": lesson, "student": lesson.student, "row": row}
    status = 422 if request.method == "POST" else 200
    if request.method == "POST" and form.is_valid():
        wanted = form.cleaned_data
        plan = {name: wanted[name] for name in ("on", "at", "minutes")}
        try:
            change = change_of(lesson, **plan, also=row.lessons if wanted.get("which") == "later" else None)
        except PlanError as error:
            form.add_error("at", str(error))
        else:
            if _was_told(request, change.overlapping):
                _tell_moved(request, apply_change(change), change.in_breaks)
                return redirect(_calendar_on(wanted["on"]))
            context |= {"overlapping": change.overlapping, "count": len(change.starts)}
            status = 409
    return render(request, "lessons/lesson_move.html", context, status=status)


def _tell_moved(request: HttpRequest, count: int, in_breaks: tuple[date, ...]) -> None:
    request.session.pop(ADDED, None)
    messages.success(request, "The lesson has its new time." if count == 1 else f"{count} lessons have their new time.")
    if in_breaks:
        messages.warning(request, f"In a break: {_days(in_breaks)}.")


@require_POST
def lesson_remove(request: HttpRequest, lesson_id: int) -> HttpResponse:
    """Take a lesson out of the calendar; with `which=later` also the later ones of its weekly row."""
    lesson = get_lesson(request, lesson_id)
    name, on = lesson.student.first_name, timezone.localtime(lesson.starts).date()
    try:
        if request.POST.get("which") == "later":
            gone = remove_row(row_of(lesson, timezone.now()))
            messages.success(request, f"{_lessons(gone)} with {name} removed.")
        else:
            remove_lesson(lesson)
            messages.success(request, f"The lesson with {name} is removed.")
    except PlanError as error:
        messages.error(request, str(error))
        return redirect("lesson_move", lesson_id)
    return redirect(_calendar_on(on))


def _calendar_on(day: date) -> str:
    return f"{reverse('calendar')}?on={day:%Y-%m-%d}"


def _lessons(count: int) -> str:
    return f"{count} lesson{'' if count == 1 else 's'}"


def _days(days: tuple[date, ...]) -> str:
    return ", ".join(date_format(day, "j M") for day in days[:8]) + (" and more" if len(days) > 8 else "")
