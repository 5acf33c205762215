"""A student's history: what happened, lesson by lesson, and how each tempo moved.

Everything is read with a fixed number of queries, whatever the years hold, and joined
here. The report for a family is not this with parts left out: `report.py` reads shared
things only.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.utils import timezone

from lessons.models import Assignment, Lesson, ListeningPoint, MarkingChange, Observation, Sheet, StateChange
from studio.models import Student

IN_WORK = "Now working on"


@dataclass(frozen=True, slots=True)
class Filters:
    """What the history shows: one piece and one theme, or all."""

    piece: int = 0
    theme: str = ""

    @property
    def any(self) -> bool:
        return bool(self.piece or self.theme)


@dataclass
class Day:
    """One lesson (or a day between lessons) with all that belongs to it."""

    day: date
    lesson: Lesson | None = None
    observations: list[Observation] = field(default_factory=list)
    changes: list[MarkingChange] = field(default_factory=list)
    begun: list[Assignment] = field(default_factory=list)
    states: list[StateChange] = field(default_factory=list)
    points: list[ListeningPoint] = field(default_factory=list)
    sheets: list[Sheet] = field(default_factory=list)

    def begun_by(self, until: datetime) -> bool:
        return self.lesson is not None and self.lesson.starts <= until

    @property
    def turns(self) -> list[tuple[str, list[StateChange]]]:
        """The changes of state by what they are called: first what was heard and is now in work, then the others."""
        found: dict[str, list[StateChange]] = {}
        for change in self.states:
            found.setdefault(turn_words(change), []).append(change)
        return sorted(found.items(), key=lambda turn: turn[0] != IN_WORK)

    @property
    def empty(self) -> bool:
        return not (self.observations or self.changes or self.begun or self.states or self.points or self.sheets)


def turn_words(change: StateChange) -> str:
    """What a change of state is called: "Secure", "Performed", "Taken up again"."""
    if change.after == StateChange.ENDED:
        return "Done with"
    if change.before in (StateChange.ENDED, Assignment.State.RESTING):
        return "Taken up again"
    if change.before == Assignment.State.NEW and change.after == Assignment.State.WORKING:
        return IN_WORK
    words: str = change.get_after_display()
    return words.capitalize()


@dataclass(frozen=True, slots=True)
class TempoPoint:
    day: date
    tempo: int


@dataclass(frozen=True)
class TempoCourse:
    """How the tempo of one assignment moved, with the days its marking changed."""

    assignment: Assignment
    points: tuple[TempoPoint, ...]
    changes: tuple[tuple[date, str], ...]

    @property
    def goal(self) -> int:
        return self.assignment.tempo_goal or 0


@dataclass(frozen=True)
class History:
    days: tuple[Day, ...]
    courses: tuple[TempoCourse, ...]
    assignments: tuple[Assignment, ...]
    left_over: int  # older days not shown


def read_history(
    student: Student, filters: Filters = Filters(), *, limit: int = 60, until: datetime | None = None
) -> History:
    """The newest `limit` days of a student's history, newest first, and the tempo courses.

    Lessons that begin after `until` (now, when left out) are plans, not history.
    """
    until = until or timezone.now()
    zone = ZoneInfo(student.teacher.studio.timezone)
    assignments = tuple(
        Assignment.objects.filter(student=student).select_related("passage", "piece", "marking").order_by("begun", "id")
    )
    chosen = {a.pk: a for a in assignments if not filters.piece or a.piece_id == filters.piece}
    lessons = list(Lesson.objects.filter(student=student).order_by("-starts"))  # all: an early note has its lesson
    standing = Observation.objects.standing().filter(lesson__student=student)
    observations = list(standing.select_related("step").order_by("at", "id"))
    changes = list(
        MarkingChange.objects.filter(assignment__student=student).select_related("before", "after").order_by("at", "id")
    )
    states = list(
        StateChange.objects.filter(assignment__student=student).select_related("marking").order_by("at", "id")
    )
    points = list(ListeningPoint.objects.filter(student=student).order_by("created", "id"))
    sheets = list(
        Sheet.objects.filter(student=student).defer("content").order_by("issued", "id") if not filters.any else ()
    )
    days = _days(zone, lessons)
    by_lesson = {day.lesson.pk: day for day in days.values() if day.lesson}

    for seen in observations:
        if (not filters.piece or seen.assignment_id in chosen) and (not filters.theme or seen.theme == filters.theme):
            seen.assignment = chosen.get(seen.assignment_id or 0)
            by_lesson[seen.lesson_id].observations.append(seen)
    for point in points:
        if point.assignment_id in chosen and (not filters.theme or point.theme == filters.theme):
            point.assignment = chosen[point.assignment_id]
            _day(days, by_lesson, zone, point.lesson_id, point.created).points.append(point)
    if not filters.theme:
        for change in changes:
            if change.assignment_id in chosen:
                change.assignment = chosen[change.assignment_id]
                _day(days, by_lesson, zone, change.lesson_id, change.at).changes.append(change)
        for assignment in chosen.values():
            _on(days, assignment.begun).begun.append(assignment)
        for state in states:
            if state.assignment_id in chosen:
                state.assignment = chosen[state.assignment_id]
                _day(days, by_lesson, zone, state.lesson_id, state.at).states.append(state)
    for sheet in sheets:
        _day(days, by_lesson, zone, sheet.lesson_id, sheet.issued).sheets.append(sheet)

    shown = [day for day in days.values() if not day.empty or (day.begun_by(until) and not filters.any)]
    shown.sort(key=lambda d: (d.day, d.lesson.starts.timestamp() if d.lesson else 0), reverse=True)
    return History(
        days=tuple(shown[:limit]),
        courses=_courses(
            zone, {d.lesson.pk: d.day for d in by_lesson.values() if d.lesson}, chosen.values(), observations, changes
        ),
        assignments=assignments,
        left_over=max(0, len(shown) - limit),
    )


def _days(zone: ZoneInfo, lessons: Iterable[Lesson]) -> dict[tuple[date, int], Day]:
    days: dict[tuple[date, int], Day] = {}
    for lesson in lessons:
        day = lesson.starts.astimezone(zone).date()
        days[(day, lesson.pk)] = Day(day, lesson)
    return days


def _on(days: dict[tuple[date, int], Day], day: date) -> Day:
    """The day's lesson, or a day of its own between lessons."""
    for (when, _), found in days.items():
        if when == day:
            return found
    return days.setdefault((day, 0), Day(day))


def _day(
    days: dict[tuple[date, int], Day], by_lesson: dict[int, Day], zone: ZoneInfo, lesson: int | None, at: datetime
) -> Day:
    found = by_lesson.get(lesson or 0)
    return found if found is not None else _on(days, at.astimezone(zone).date())


def _courses(
    zone: ZoneInfo,
    lesson_days: Mapping[int, date],
    assignments: Iterable[Assignment],
    observations: Iterable[Observation],
    changes: Iterable[MarkingChange],
) -> tuple[TempoCourse, ...]:
    tempi: dict[int, dict[date, int]] = defaultdict(dict)
    for seen in observations:
        if seen.tempo and seen.assignment_id and seen.step_id is None:
            tempi[seen.assignment_id][lesson_days[seen.lesson_id]] = seen.tempo
    moved: dict[int, list[tuple[date, str]]] = defaultdict(list)
    for change in changes:
        name = change.after.name if change.after else "no marking"
        moved[change.assignment_id].append((change.at.astimezone(zone).date(), name))
    return tuple(
        TempoCourse(
            assignment,
            tuple(TempoPoint(day, tempo) for day, tempo in sorted(tempi[assignment.pk].items())),
            tuple(moved[assignment.pk]),
        )
        for assignment in sorted(assignments, key=lambda a: (a.ended is not None, a.position, a.pk))
        if tempi[assignment.pk]
    )
