"""Putting lessons into the timetable: once, or every week at the same local time.

A weekly lesson keeps its clock time when summer time begins or ends: each date is taken in
the studio's time zone by itself (RFC 5545 repeats local times in the same way).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Exists, Max, OuterRef, QuerySet

from lessons.breaks import breaks_of, for_student
from lessons.models import Lesson
from studio.models import Student

WEEKS_LIMIT = 52


class PlanError(ValueError):
    """A lesson that can't be planned; the message says why."""


@dataclass(frozen=True, slots=True)
class Times:
    """What planning would do: the times of new lessons, the lessons there already at their times, days
    left out of a weekly row because they lie in a break, and the teacher's lessons at the same time."""

    starts: tuple[datetime, ...]
    there: tuple[Lesson, ...]
    left_out: tuple[date, ...]
    overlapping: tuple[Lesson, ...]


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


def times_for(student: Student, *, on: date, at: time, minutes: int = 30, weeks: int = 1) -> Times:
    """What `plan_lessons` would do with the same words; nothing is stored. Raises PlanError."""
    if not 1 <= weeks <= WEEKS_LIMIT:
        raise PlanError(f"Repeat for 1 to {WEEKS_LIMIT} weeks.")
    away = for_student(breaks_of([student.pk], since=on), student.pk) if weeks > 1 else ()
    wanted, left_out = [], []
    for starts in weekly(on, at, ZoneInfo(student.teacher.studio.timezone), weeks):
        inside = any(first <= starts.date() <= last for first, last in away)
        if inside:
            left_out.append(starts.date())
        else:
            wanted.append(starts.astimezone(UTC))
    there = {lesson.starts: lesson for lesson in Lesson.objects.filter(student=student, starts__in=wanted)}
    new = tuple(starts for starts in wanted if starts not in there)
    return Times(
        starts=new,
        there=tuple(there[starts] for starts in wanted if starts in there),
        left_out=tuple(left_out),
        overlapping=at_the_same_time(student.teacher_id, [(starts, minutes) for starts in new]),
    )


def plan_lessons(student: Student, *, on: date, at: time, minutes: int = 30, weeks: int = 1) -> Planned:
    """Add a student's lessons. A lesson already there at that time stays as it is. Raises PlanError."""
    with transaction.atomic():
        Student.objects.select_for_update().get(pk=student.pk)
        times = times_for(student, on=on, at=at, minutes=minutes, weeks=weeks)
        last = _last_number(student)
        made = tuple(
            Lesson.objects.create(
                teacher_id=student.teacher_id, student=student, number=number, starts=starts, minutes=minutes
            )
            for number, starts in enumerate(times.starts, last + 1)
        )
    return Planned(made, times.there, times.overlapping, times.left_out)


def take_back(lessons: QuerySet[Lesson]) -> int:
    """Remove those of some lessons, added by mistake, in which nothing was noted; how many these were."""
    return untouched(lessons).delete()[0]


def untouched(lessons: QuerySet[Lesson]) -> QuerySet[Lesson]:
    """Those without note, sentence, attendance or end, and which no other record names."""
    bare = lessons.filter(note="", private_note="", sentence="", attendance="", finished=None)
    for relation in Lesson._meta.related_objects:
        assert not isinstance(relation.related_model, str)
        naming = relation.related_model._base_manager.filter(**{relation.field.name: OuterRef("pk")})
        bare = bare.exclude(Exists(naming))
    return bare


def remove_lesson(lesson: Lesson) -> None:
    """Take a lesson out that nothing was noted in. Raises PlanError."""
    if not take_back(Lesson.objects.filter(pk=lesson.pk)):
        raise PlanError("Something was noted in this lesson, so it stays; note the attendance as cancelled instead.")


def at_the_same_time(
    teacher: int, spans: Iterable[tuple[datetime, int]], leaving_out: Iterable[int] = ()
) -> tuple[Lesson, ...]:
    """A teacher's lessons that share time with any of the spans (start, minutes), cancelled ones aside.

    `teacher` and `leaving_out` are ids; the latter are the lessons the spans are meant for.
    """
    times = [(starts, starts + timedelta(minutes=minutes)) for starts, minutes in spans]
    if not times:
        return ()
    first, last = min(starts for starts, _ in times), max(ends for _, ends in times)
    near = (
        Lesson.objects.filter(teacher=teacher, starts__gt=first - timedelta(hours=5), starts__lt=last)
        .exclude(attendance=Lesson.Attendance.CANCELLED)
        .exclude(pk__in=list(leaving_out))
        .select_related("student")
        .order_by("starts", "id")
    )
    return tuple(other for other in near if any(other.starts < ends and starts < other.ends for starts, ends in times))


def _last_number(student: Student) -> int:
    found: int | None = Lesson.objects.filter(student=student).aggregate(last=Max("number"))["last"]
    return found or 0
