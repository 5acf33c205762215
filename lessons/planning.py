"""Putting lessons into the timetable: once, or every week at the same local time.

A weekly lesson keeps its clock time when summer time begins or ends: each date is taken in
the studio's time zone by itself (RFC 5545 repeats local times in the same way).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Max

from lessons.breaks import breaks_of, for_student
from lessons.models import Lesson
from studio.models import Student

WEEKS_LIMIT = 52


class PlanError(ValueError):
    """A lesson that can't be planned; the message says why."""


@dataclass(frozen=True, slots=True)
class Planned:
    """What planning did: new lessons, those there already, lessons of others at the same time, and
    days left out of a weekly row because they lie in a break."""

    lessons: tuple[Lesson, ...]
    there: tuple[Lesson, ...] = ()
    overlapping: tuple[Lesson, ...] = ()
    left_out: tuple[date, ...] = ()


def weekly(first: date, at: time, zone: ZoneInfo, weeks: int) -> tuple[datetime, ...]:
    """The same local time on the same weekday for a number of weeks, as aware times."""
    return tuple(datetime.combine(first + timedelta(weeks=n), at, tzinfo=zone) for n in range(weeks))


def plan_lessons(student: Student, *, on: date, at: time, minutes: int = 30, weeks: int = 1) -> Planned:
    """Add a student's lessons. A lesson already there at that time stays as it is. Raises PlanError."""
    if not 1 <= weeks <= WEEKS_LIMIT:
        raise PlanError(f"Repeat for 1 to {WEEKS_LIMIT} weeks.")
    zone = ZoneInfo(student.teacher.studio.timezone)
    away = for_student(breaks_of([student.pk], since=on), student.pk) if weeks > 1 else ()
    made, there, left_out = [], [], []
    with transaction.atomic():
        Student.objects.select_for_update().get(pk=student.pk)
        number = _last_number(student)
        for starts in weekly(on, at, zone, weeks):
            if any(first <= starts.date() <= last for first, last in away):
                left_out.append(starts.date())
                continue
            known = Lesson.objects.filter(student=student, starts=starts).first()
            if known is not None:
                there.append(known)
                continue
            number += 1
            made.append(
                Lesson.objects.create(
                    teacher_id=student.teacher_id, student=student, number=number, starts=starts, minutes=minutes
                )
            )
    return Planned(tuple(made), tuple(there), overlapping(made), tuple(left_out))


def move_lesson(lesson: Lesson, *, on: date, at: time, minutes: int) -> tuple[Lesson, ...]:
    """Move one lesson; it stays the same lesson. Returns lessons it now overlaps. Raises PlanError."""
    starts = datetime.combine(on, at, tzinfo=ZoneInfo(lesson.teacher.studio.timezone))
    others = Lesson.objects.filter(student=lesson.student_id, starts=starts).exclude(pk=lesson.pk)
    if others.exists():
        raise PlanError("There is already a lesson with this student at that time.")
    lesson.starts, lesson.minutes = starts, minutes
    lesson.save(update_fields=["starts", "minutes"])
    return overlapping([lesson])


def remove_lesson(lesson: Lesson) -> None:
    """Take a lesson out that nothing was noted in. Raises PlanError."""
    noted = lesson.note or lesson.private_note or lesson.attendance or lesson.finished
    for relation in ("observations", "marking_changes", "state_changes", "listening_points", "assigned", "sheets"):
        noted = noted or getattr(lesson, relation).exists()
    if noted:
        raise PlanError("Something was noted in this lesson, so it stays; note the attendance as cancelled instead.")
    lesson.delete()


def overlapping(lessons: Iterable[Lesson]) -> tuple[Lesson, ...]:
    """The teacher's other lessons that share time with these, cancelled ones aside."""
    lessons = list(lessons)
    if not lessons:
        return ()
    own = {lesson.pk for lesson in lessons}
    first, last = min(x.starts for x in lessons), max(x.starts + timedelta(minutes=x.minutes) for x in lessons)
    near = (
        Lesson.objects.filter(teacher=lessons[0].teacher_id, starts__gt=first - timedelta(hours=5), starts__lt=last)
        .exclude(attendance=Lesson.Attendance.CANCELLED)
        .select_related("student")
        .order_by("starts")
    )
    return tuple(other for other in near if other.pk not in own and any(_meet(other, lesson) for lesson in lessons))


def _meet(one: Lesson, other: Lesson) -> bool:
    return one.starts < other.starts + timedelta(minutes=other.minutes) and other.starts < one.starts + timedelta(
        minutes=one.minutes
    )


def _last_number(student: Student) -> int:
    found: int | None = Lesson.objects.filter(student=student).aggregate(last=Max("number"))["last"]
    return found or 0
