"""Older pieces due for review: what is secure, performed or resting, by the gaps of technique/review.py.

A piece heard again as better or the same has held and waits longer next time; one that was
"not yet" comes again sooner. Breaks defer and recitals cap. Nothing is decided here: a few are offered.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Prefetch, Q
from django.utils import timezone

from lessons.breaks import Break, Recital, breaks_of, for_student, next_recital, recitals_of
from lessons.models import Assignment, Observation
from repertoire.technique.review import gap_after, next_review
from studio.models import Student

SHOWN = 3
REMEMBERED = timedelta(days=400)  # what ended longer ago is no longer offered
OLDER = (Assignment.State.SECURE, Assignment.State.PERFORMED, Assignment.State.RESTING)


@dataclass(frozen=True, slots=True)
class Due:
    """An older piece, when it was last heard (or given up), and when it is due."""

    assignment: Assignment
    last: date
    due: date


def coming_reviews(student: Student, day: date) -> list[Due]:
    """Older pieces that are due after a day, the next first."""
    found = [one for one in _reviews([student.pk], day).values() if one.due > day]
    return sorted(found, key=lambda d: (d.due, d.assignment.pk))


def due_for_review(student: Student, day: date) -> list[Due]:
    """Older pieces due by a day, the longest overdue first; what is open again is left out."""
    return due_by_student([student.pk], day).get(student.pk, [])


def due_by_student(students: Iterable[int], day: date) -> dict[int, list[Due]]:
    """The same for many students (by their ids) at once, in six queries at most."""
    found = [one for one in _reviews(students, day).values() if one.due <= day]
    by_student: dict[int, list[Due]] = defaultdict(list)
    for one in sorted(found, key=lambda d: (d.due, d.assignment.pk)):
        by_student[one.assignment.student_id].append(one)
    return by_student


def _reviews(students: Iterable[int], day: date) -> dict[tuple[int, int | None, int], Due]:
    """Every older piece with its next review, by student and music; nothing that is at work again."""
    students = list(students)
    standing = Observation.objects.standing().exclude(outcome="").order_by("at", "id")
    rows = list(
        Assignment.objects.filter(student__in=students)
        .filter(Q(ended=None, state__in=OLDER) | Q(ended__gte=day - REMEMBERED))
        .select_related("piece", "passage")
        .prefetch_related(Prefetch("observations", standing, to_attr="heard"))
        .order_by("-begun", "-id")
    )
    at_work = set(
        Assignment.objects.filter(student__in=students, ended=None)
        .exclude(state__in=OLDER)
        .values_list("student_id", "passage_id", "piece_id")
    )
    away = breaks_of(students, since=day - REMEMBERED) if rows else []
    recitals = recitals_of(students, since=day) if rows else []  # one that is past brings nothing forward any more
    found: dict[tuple[int, int | None, int], Due] = {}
    for row in rows:
        music = (row.student_id, row.passage_id, row.piece_id)
        if music in at_work or music in found:
            continue
        found[music] = _due(row, away, recitals)
    return found


def _due(row: Assignment, away: list[Break], recitals: list[Recital]) -> Due:
    heard: list[Observation] = row.heard  # type: ignore[attr-defined]
    outcomes = [each.outcome != Observation.Outcome.NOT_YET for each in heard]
    days = [timezone.localdate(each.at) for each in heard[-1:]]
    last = max([*days, row.ended or row.begun])
    recital = next_recital(recitals, row.student_id, row.piece_id, last)
    holidays = for_student(away, row.student_id)
    return Due(row, last, next_review(last, gap_after(outcomes), holidays=holidays, recital=recital))
