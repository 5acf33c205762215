"""The timetable by week or month."""

from __future__ import annotations

import calendar as months
from datetime import date, timedelta
from itertools import groupby

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from lessons.breaks import by_day
from lessons.queries import lessons_between
from lessons.views.planning import added_of
from studio.access import teacher_of
from studio.asked import read_day


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
        "added": added_of(request, teacher),
        "days": [(d, found, over.get(d, [])) for d, found in days],
    }
    if by == "month":
        context["weekdays"] = weeks_of(first, first, teacher.studio.week_start)[0]
        context["weeks"] = [
            [(d, filled.get(d, []), over.get(d, [])) if first <= d <= last else None for d in week]
            for week in weeks_of(first, last, teacher.studio.week_start)
        ]
    return render(request, "lessons/calendar.html", context)


def week_of(day: date, week_start: int) -> tuple[date, date]:
    """First and last day of a day's week; `week_start` 0 is Monday."""
    first = day - timedelta(days=(day.weekday() - week_start) % 7)
    return first, first + timedelta(days=6)


def weeks_of(first: date, last: date, week_start: int) -> list[list[date]]:
    """The whole weeks some days lie in, seven days each."""
    start, end = week_of(first, week_start)[0], week_of(last, week_start)[1]
    days = [start + timedelta(days=n) for n in range((end - start).days + 1)]
    return [days[n : n + 7] for n in range(0, len(days), 7)]


def month_of(day: date) -> tuple[date, date]:
    return day.replace(day=1), day.replace(day=months.monthrange(day.year, day.month)[1])
