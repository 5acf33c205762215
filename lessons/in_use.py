"""Who uses a marking, or one aspect of it, since when; and moving several students at once.

Students share an aspect when their markings of the passage agree in it mark for mark: the
same bowing, whatever the fingering. “Since” is the day from which the marking in use has
agreed in it without a break.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction
from django.utils import timezone

from lessons.assigning import AssignError, change_marking
from lessons.models import Assignment, Lesson, MarkingChange
from lessons.queries import DIGEST
from repertoire.models import Marking
from repertoire.technique.marks import Aspect
from studio.models import Student, Teacher


@dataclass(frozen=True, slots=True)
class Use:
    """A student's open work with the marking, or one that shares the aspect."""

    assignment: Assignment
    marking: Marking
    since: date

    @property
    def student(self) -> Student:
        return self.assignment.student


def uses_of(marking: Marking, teacher: Teacher, aspect: Aspect | None = None) -> list[Use]:
    """The teacher's students' open work with this very marking, or one that shares an aspect. Two queries."""
    same = {"marking": marking} if aspect is None else {f"marking__{DIGEST[aspect]}": getattr(marking, DIGEST[aspect])}
    rows = (
        Assignment.objects.filter(
            student__teacher=teacher, passage=marking.passage_id, ended=None, marking__isnull=False, **same
        )
        .select_related("student", "marking")
        .prefetch_related("marking_changes__before", "marking_changes__after")
        .order_by("student__first_name", "student_id")
    )
    return [Use(row, row.marking, _since(row, marking, aspect)) for row in rows if row.marking is not None]


def _since(assignment: Assignment, marking: Marking, aspect: Aspect | None) -> date:
    changes = sorted(assignment.marking_changes.all(), key=lambda c: (c.at, c.pk))
    for change in reversed(changes):
        if not _same(change.before, marking, aspect):
            return timezone.localdate(change.at)
    return assignment.begun


def _same(one: Marking | None, other: Marking, aspect: Aspect | None) -> bool:
    if one is None or aspect is None:
        return one == other
    return bool(getattr(one, DIGEST[aspect]) == getattr(other, DIGEST[aspect]))


def move_all(
    assignments: Iterable[Assignment],
    marking: Marking,
    *,
    reason: str,
    lesson_of: Callable[[Student], Lesson | None],
    at: datetime,
) -> list[MarkingChange]:
    """Give several students another marking of the passage, with one reason: all of them or, when
    one can't be moved, none. Who has it already stays as they are. Raises AssignError."""
    chosen = [a for a in assignments if a.marking_id != marking.pk]
    if not chosen:
        raise AssignError("Choose at least one student who doesn’t use that marking yet.")
    with transaction.atomic():
        return [change_marking(a, marking, reason=reason, lesson=lesson_of(a.student), at=at) for a in chosen]
