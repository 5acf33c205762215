"""Breaks and recitals: days without lessons or practice, and days that older pieces are heard again for.

A break without a student is everybody's (half-term, the teacher's holiday); so is a recital. What
they do to reviews is in repertoire/technique/review.py: a break defers, a recital caps. No reason
for being away is asked for.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from repertoire.models import Piece
from studio.models import Student, Teacher

LONGEST = 120  # days of a break


class Break(models.Model):
    """From the first day to the last, both away."""

    teacher = models.ForeignKey(Teacher, on_delete=models.CASCADE, related_name="breaks")
    student = models.ForeignKey(Student, on_delete=models.CASCADE, null=True, blank=True, related_name="breaks")
    first = models.DateField()
    last = models.DateField()
    words = models.CharField(max_length=60, blank=True)

    class Meta:
        ordering: ClassVar = ["first", "id"]
        constraints: ClassVar = [
            models.CheckConstraint(condition=Q(last__gte=F("first")), name="break_runs_forward"),
        ]

    def __str__(self) -> str:
        return self.words or "break"


class Recital(models.Model):
    """A day something is played for; `pieces` are what is played, any older piece when none is named."""

    teacher = models.ForeignKey(Teacher, on_delete=models.CASCADE, related_name="recitals")
    student = models.ForeignKey(Student, on_delete=models.CASCADE, null=True, blank=True, related_name="recitals")
    day = models.DateField()
    title = models.CharField(max_length=80)
    pieces: models.ManyToManyField[Piece, Piece] = models.ManyToManyField(Piece, blank=True, related_name="recitals")

    class Meta:
        ordering: ClassVar = ["day", "id"]

    def __str__(self) -> str:
        return self.title


def _open_to(students: Iterable[int]) -> Q:
    """Those of the students, and those of everybody who has their teacher."""
    students = list(students)
    return Q(student__in=students) | Q(
        student=None, teacher__in=Student.objects.filter(pk__in=students).values("teacher")
    )


def breaks_of(students: Iterable[int], *, since: date) -> list[Break]:
    """Breaks that concern any of the students (by their ids) and last until `since` or longer."""
    return list(Break.objects.filter(_open_to(students), last__gte=since))


def recitals_of(students: Iterable[int], *, since: date) -> list[Recital]:
    """The same of recitals from a day on, with their pieces fetched."""
    return list(Recital.objects.filter(_open_to(students), day__gte=since).prefetch_related("pieces"))


def for_student(rows: Iterable[Break], student: int) -> tuple[tuple[date, date], ...]:
    """First and last days away of one student, out of the breaks of several of the same teacher's."""
    return tuple((row.first, row.last) for row in rows if row.student_id in (None, student))


def next_recital(rows: Iterable[Recital], student: int, piece: int, after: date) -> date | None:
    """The first recital after a day that a student's piece may be heard in."""
    days = [
        row.day
        for row in rows
        if row.student_id in (None, student)
        and row.day > after
        and (not (named := {each.pk for each in row.pieces.all()}) or piece in named)
    ]
    return min(days, default=None)


def by_day(teacher: Teacher, first: date, last: date) -> Mapping[date, list[str]]:
    """What stands over the days of a calendar: `half-term`, `Mira away`, `Recital: Winter concert`."""
    out: dict[date, list[str]] = {}
    for row in Break.objects.filter(teacher=teacher, first__lte=last, last__gte=first).select_related("student"):
        day, words = max(row.first, first), str(row)
        if row.student is not None:
            words = f"{row.student.first_name} away" + (f": {row.words}" if row.words else "")
        while day <= min(row.last, last):
            out.setdefault(day, []).append(words)
            day = date.fromordinal(day.toordinal() + 1)
    for one in Recital.objects.filter(teacher=teacher, day__range=(first, last)).select_related("student"):
        whose = f" ({one.student.first_name})" if one.student is not None else ""
        out.setdefault(one.day, []).append(f"{one.title}{whose}")
    return out
