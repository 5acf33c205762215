"""`{% lesson_times students as times %}{{ times|at:student }}`: each student's next lesson, or the last one.

For the list of students, which knows no lessons; one query for the whole list.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from django import template
from django.utils import timezone
from django.utils.formats import date_format

from lessons.queries import nearest_lessons
from studio.models import Student

register = template.Library()


@register.simple_tag
def lesson_times(students: Iterable[Student]) -> dict[int, str]:
    """`Wednesday 16:30, next 2 Dec`, or `Wednesday 16:30, last 18 Nov` where none is planned, by the student's id."""
    now = timezone.now()
    found = nearest_lessons([student.pk for student in students], now)
    return {student: _told(starts, now) for student, starts in found.items()}


def _told(starts: datetime, now: datetime) -> str:
    ahead, local = starts > now, timezone.localtime(starts)
    near = abs(local.date() - timezone.localdate(now)).days < 180
    return (
        f"{date_format(local, 'l H:i')}, {'next' if ahead else 'last'} {date_format(local, 'j M' if near else 'j M Y')}"
    )


@register.filter
def at(times: dict[int, str], student: Student) -> str:
    return times.get(student.pk, "")
