"""Forms of breaks and recitals. Without a student in the form they are everybody's."""

from __future__ import annotations

from datetime import date
from typing import Any

from django import forms

from lessons.breaks import LONGEST, Break, Recital
from lessons.forms import DateInput, StudentChoice
from repertoire.models import Piece
from studio.models import Student, Teacher

EARLIEST, LATEST = date(1990, 1, 1), date(2100, 12, 31)


def _whose(teacher: Teacher) -> forms.ModelChoiceField[Student]:
    active = Student.objects.filter(teacher=teacher, status=Student.Status.ACTIVE)
    return StudentChoice(label="For", queryset=active, required=False, empty_label="everybody")


def _day(label: str) -> forms.DateField:
    return forms.DateField(label=label, widget=DateInput())


class BreakForm(forms.Form):
    first = _day("From")
    last = _day("To and including")
    words = forms.CharField(label="Called", max_length=60, required=False, help_text="like half-term")

    def __init__(self, *args: Any, teacher: Teacher, student: Student | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **{"prefix": "break", **kwargs})
        self.teacher, self.whose = teacher, student
        if student is None:
            self.fields["student"] = _whose(teacher)

    def clean(self) -> dict[str, Any]:
        told = super().clean() or self.cleaned_data
        first, last = told.get("first"), told.get("last")
        if first and last:
            if last < first:
                self.add_error("last", "The break ends before it begins.")
            elif (last - first).days >= LONGEST:
                self.add_error("last", f"A break has {LONGEST} days at most; make a student paused for longer.")
            elif not EARLIEST <= first <= LATEST:
                self.add_error("first", "The year lies outside 1990 to 2100.")
        return told

    def save(self) -> Break:
        told = self.cleaned_data
        whom = self.whose or told.get("student")
        return Break.objects.create(
            teacher=self.teacher, student=whom, first=told["first"], last=told["last"], words=told["words"].strip()
        )


class RecitalForm(forms.Form):
    day = _day("Day")
    title = forms.CharField(label="Called", max_length=80, initial="Recital")
    pieces = forms.ModelMultipleChoiceField(
        label="What is played", queryset=Piece.objects.none(), required=False, widget=forms.CheckboxSelectMultiple,
        help_text="none chosen: any older piece may be",
    )  # fmt: skip

    def __init__(self, *args: Any, teacher: Teacher, student: Student | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **{"prefix": "recital", **kwargs})
        self.teacher, self.whose = teacher, student
        if student is None:
            del self.fields["pieces"]
            self.fields["student"] = _whose(teacher)
        else:
            played = Piece.objects.filter(assignments__student=student).distinct()
            self.fields["pieces"].queryset = played  # type: ignore[attr-defined]

    def clean_day(self) -> date:
        day: date = self.cleaned_data["day"]
        if not EARLIEST <= day <= LATEST:
            raise forms.ValidationError("The year lies outside 1990 to 2100.")
        return day

    def save(self) -> Recital:
        told = self.cleaned_data
        whom = self.whose or told.get("student")
        made = Recital.objects.create(
            teacher=self.teacher, student=whom, day=told["day"], title=told["title"].strip() or "Recital"
        )
        made.pieces.set(told.get("pieces", ()))
        return made
