"""Older pieces due for review: what is secure, performed or resting, by the gaps of technique/review.py.

A piece heard again as better or the same has held and waits longer next time; one that was
"not yet" comes again sooner. Nothing is decided here: a few are offered.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Prefetch, Q
from django.utils import timezone

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


def due_for_review(student: Student, day: date) -> list[Due]:
    """Older pieces due by a day, the longest overdue first; what is open again is left out."""
    return due_by_student([student.pk], day).get(student.pk, [])


def due_by_student(students: Iterable[int], day: date) -> dict[int, list[Due]]:
    """The same for many students (by their ids) at once, in three queries."""
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
    found: dict[tuple[int, int | None, int], Due] = {}
    for row in rows:
        music = (row.student_id, row.passage_id, row.piece_id)
        if music in at_work or music in found:
            continue
        one = _due(row)
        if one.due <= day:
            found[music] = one
    by_student: dict[int, list[Due]] = defaultdict(list)
    for one in sorted(found.values(), key=lambda d: (d.due, d.assignment.pk)):
        by_student[one.assignment.student_id].append(one)
    return by_student


def _due(row: Assignment) -> Due:
    heard: list[Observation] = row.heard  # type: ignore[attr-defined]
    outcomes = [each.outcome != Observation.Outcome.NOT_YET for each in heard]
    days = [timezone.localdate(each.at) for each in heard[-1:]]
    last = max([*days, row.ended or row.begun])
    return Due(row, last, next_review(last, gap_after(outcomes)))
