"""The timetable by week or month, and putting lessons into it."""

from __future__ import annotations

import calendar as months
from datetime import date, timedelta
from itertools import groupby

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from lessons.access import get_lesson
from lessons.breaks import by_day
from lessons.forms import LessonForm
from lessons.models import Lesson
from lessons.planning import PlanError, Planned, move_lesson, plan_lessons, remove_lesson
from lessons.queries import lessons_between
from studio.access import get_student, teacher_of
from studio.asked import read_day
from studio.models import Student, Teacher


@require_safe
def calendar(request: HttpRequest) -> HttpResponse:
    teacher = teacher_of(request)
    by = "month" if request.GET.get("by") == "month" else "week"
    day = read_day(request.GET.get("on", "")) or timezone.localdate()
    first, last = month_of(day) if by == "month" else week_of(day, teacher.studio.week_start)
    lessons = lessons_between(teacher, first, last)
    days = [(d, list(found)) for d, found in groupby(lessons, key=lambda lesson: timezone.localdate(lesson.starts))]
    over = by_day(teacher, first, last)
    if by == "week":
        filled = dict(days)
        days = [(first + timedelta(days=n), filled.get(first + timedelta(days=n), [])) for n in range(7)]
    else:
        filled = dict(days)
        days = [(d, filled.get(d, [])) for d in sorted({*filled, *over})]
    context = {
        "section": "calendar",
        "by": by,
        "day": day,
        "first": first,
        "last": last,
        "before": first - timedelta(days=1),
        "after": last + timedelta(days=1),
        "today": timezone.localdate(),
        "days": [(d, found, over.get(d, [])) for d, found in days],
    }
    return render(request, "lessons/calendar.html", context)


def week_of(day: date, week_start: int) -> tuple[date, date]:
    """First and last day of a day's week; `week_start` 0 is Monday."""
    first = day - timedelta(days=(day.weekday() - week_start) % 7)
    return first, first + timedelta(days=6)


def month_of(day: date) -> tuple[date, date]:
    return day.replace(day=1), day.replace(day=months.monthrange(day.year, day.month)[1])


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
    if request.method == "POST" and form.is_valid():
        wanted = form.cleaned_data
        whom = student or wanted["student"]
        planned = plan_lessons(whom, on=wanted["on"], at=wanted["at"], minutes=wanted["minutes"], weeks=wanted["weeks"])
        _tell(request, whom, planned)
        return redirect(f"{reverse('calendar')}?on={wanted['on']:%Y-%m-%d}")
    context = {"section": "calendar", "form": form, "student": student}
    return render(request, "lessons/lesson_new.html", context, status=422 if request.method == "POST" else 200)


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


def _tell(request: HttpRequest, student: Student, planned: Planned) -> None:
    made = len(planned.lessons)
    words = f"{made} lesson{'s' if made != 1 else ''} with {student.first_name} added."
    if planned.there:
        words += f" {len(planned.there)} at that time already stood in the calendar and stayed as they were."
    messages.success(request, words)
    if planned.left_out:
        told = ", ".join(date_format(day, "j M") for day in planned.left_out[:8])
        messages.info(request, f"Left out, as a break: {told}.")
    _tell_overlaps(request, planned.overlapping)


def _tell_overlaps(request: HttpRequest, overlapping: tuple[Lesson, ...]) -> None:
    if overlapping:
        named = "; ".join(
            f"{other.student.first_name}, {date_format(timezone.localtime(other.starts), 'D j M H:i')}"
            for other in overlapping[:5]
        )
        messages.warning(request, f"At the same time: {named}{' and more' if len(overlapping) > 5 else ''}.")


@require_http_methods(["GET", "HEAD", "POST"])
def lesson_move(request: HttpRequest, lesson_id: int) -> HttpResponse:
    """Another date, time or length for one lesson."""
    lesson = get_lesson(request, lesson_id)
    starts = timezone.localtime(lesson.starts)
    initial = {"on": starts.date(), "at": starts.time(), "minutes": lesson.minutes}
    form = LessonForm(request.POST or None, moving=True, initial=initial)
    if request.method == "POST" and form.is_valid():
        wanted = form.cleaned_data
        try:
            overlapping = move_lesson(lesson, on=wanted["on"], at=wanted["at"], minutes=wanted["minutes"])
        except PlanError as error:
            form.add_error("at", str(error))
        else:
            messages.success(request, "The lesson has its new time.")
            _tell_overlaps(request, overlapping)
            return redirect(f"{reverse('calendar')}?on={wanted['on']:%Y-%m-%d}")
    context = {"section": "calendar", "form": form, "lesson": lesson, "student": lesson.student}
    return render(request, "lessons/lesson_move.html", context, status=422 if request.method == "POST" else 200)


@require_POST
def lesson_remove(request: HttpRequest, lesson_id: int) -> HttpResponse:
    lesson = get_lesson(request, lesson_id)
    try:
        remove_lesson(lesson)
    except PlanError as error:
        messages.error(request, str(error))
        return redirect("lesson_move", lesson_id)
    messages.success(request, f"The lesson with {lesson.student.first_name} is removed.")
    return redirect("calendar")
