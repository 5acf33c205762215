"""The weekly row of lessons one lesson begins: moving, shortening, ending it.

The same row is: lessons of the same student on the same weekday at the same clock time, in the studio's
time zone, from the chosen lesson on. Nothing else joins them: a lesson once moved to another time has left
the row, and a gap (a break, a lesson removed) does not end it. Only lessons in which nothing was noted are
ever changed; later ones count only while they lie ahead. Clock times are kept over a change of the clocks.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

from django.db import transaction
from django.utils.formats import date_format

from lessons.breaks import breaks_of, for_student
from lessons.models import Lesson
from lessons.planning import PlanError, at_the_same_time, take_back, untouched


@dataclass(frozen=True, slots=True)
class Row:
    """A chosen lesson with the later ones of its weekly row.

    `own`: nothing was noted in the chosen lesson. `later` can be changed; `staying` are later ones in
    which something was noted.
    """

    lesson: Lesson
    own: bool
    later: tuple[Lesson, ...]
    staying: tuple[Lesson, ...]

    @property
    def lessons(self) -> tuple[Lesson, ...]:
        """What a change of this and all later lessons reaches, in order."""
        return (self.lesson, *self.later) if self.own else self.later


@dataclass(frozen=True, slots=True)
class Change:
    """New times for lessons: each with its start; what they meet, and days that lie in a break."""

    starts: tuple[tuple[Lesson, datetime], ...]
    minutes: int
    overlapping: tuple[Lesson, ...]
    in_breaks: tuple[date, ...]


def row_of(lesson: Lesson, now: datetime) -> Row:
    """The weekly row from a lesson on; `now` parts what lies ahead from what has begun."""
    zone = _zone(lesson)
    local = lesson.starts.astimezone(zone)
    ahead = Lesson.objects.filter(student=lesson.student_id, starts__gt=max(lesson.starts, now)).order_by("starts")
    alike = [
        other
        for other in ahead
        if (there := other.starts.astimezone(zone)).weekday() == local.weekday() and there.time() == local.time()
    ]
    bare = set(
        untouched(Lesson.objects.filter(pk__in=[lesson.pk, *(x.pk for x in alike)])).values_list("pk", flat=True)
    )
    return Row(
        lesson,
        lesson.pk in bare,
        tuple(other for other in alike if other.pk in bare),
        tuple(other for other in alike if other.pk not in bare),
    )


def change_of(lesson: Lesson, *, on: date, at: time, minutes: int, also: tuple[Lesson, ...] | None = None) -> Change:
    """What moving a lesson to another day and time would do; nothing is stored.

    `also` are the lessons of its row that go along (`Row.lessons`), each by as many days as the chosen
    one; without them it goes alone. Raises PlanError where the student has a lesson at a new time already.
    """
    zone = _zone(lesson)
    shift = on - lesson.starts.astimezone(zone).date()
    going = (lesson,) if also is None else also
    if not going:
        raise PlanError("Something was noted in each of these lessons, so they stay as they are.")
    starts = tuple(
        (each, datetime.combine(each.starts.astimezone(zone).date() + shift, at, tzinfo=zone)) for each in going
    )
    own = [each.pk for each in going]
    taken = (
        Lesson.objects.filter(student=lesson.student_id, starts__in=[new for _, new in starts])
        .exclude(pk__in=own)
        .order_by("starts")
        .first()
    )
    if taken is not None:
        day = date_format(taken.starts.astimezone(zone), "j F")
        raise PlanError(f"There is already a lesson with this student at that time on {day}.")
    away = for_student(breaks_of([lesson.student_id], since=min(new.date() for _, new in starts)), lesson.student_id)
    return Change(
        starts,
        minutes,
        at_the_same_time(lesson.teacher_id, [(new, minutes) for _, new in starts], own),
        tuple(new.date() for _, new in starts if any(first <= new.date() <= last for first, last in away)),
    )


def apply_change(change: Change) -> int:
    """Give the lessons their new times and length; they stay the same lessons. How many these were."""
    later_first = any(new > each.starts for each, new in change.starts)
    with transaction.atomic():  # in an order in which no two of them ever share a start
        for each, new in sorted(change.starts, key=lambda pair: pair[1], reverse=later_first):
            each.starts, each.minutes = new, change.minutes
            each.save(update_fields=["starts", "minutes"])
    return len(change.starts)


def remove_row(row: Row) -> int:
    """End a row: take out the chosen lesson and the later ones. How many went. Raises PlanError."""
    gone = take_back(Lesson.objects.filter(pk__in=[each.pk for each in row.lessons]))
    if not gone:
        raise PlanError("Something was noted in each of these lessons, so they stay.")
    return gone


def _zone(lesson: Lesson) -> ZoneInfo:
    return ZoneInfo(lesson.teacher.studio.timezone)
