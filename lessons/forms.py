"""Forms of work and lessons. Steps are written one a line, in order."""

from __future__ import annotations

from datetime import date
from typing import Any

from django import forms
from django.utils import timezone

from lessons.assigning import TO_TRY_LIMIT
from lessons.models import Assignment, Lesson, Theme
from lessons.planning import WEEKS_LIMIT
from lessons.tempo import FASTEST, SLOWEST, unit_words
from repertoire.models import Marking
from studio.models import Student, Teacher
from studio.terms import terms_for

UNITS = [value for value, _ in Assignment._meta.get_field("tempo_unit").flatchoices]


class DateInput(forms.DateInput):
    input_type = "date"

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(format="%Y-%m-%d", **kwargs)


class TimeInput(forms.TimeInput):
    input_type = "time"

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(format="%H:%M", **kwargs)


class StudentChoice(forms.ModelChoiceField):  # type: ignore[type-arg]
    """A list to choose a student from, surnames included: first names come twice."""

    def label_from_instance(self, obj: Student) -> str:
        return obj.full_name


class PlanForm(forms.Form):
    """What a student is to do with a passage: steps, tempo, what to listen for, how long."""

    steps = forms.CharField(
        label="Practice steps",
        required=False,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text="one a line, in the order of work",
    )
    tempo_now = forms.IntegerField(label="Tempo now", required=False, min_value=SLOWEST, max_value=FASTEST)
    tempo_goal = forms.IntegerField(label="Tempo goal", required=False, min_value=SLOWEST, max_value=FASTEST)
    tempo_unit = forms.ChoiceField(label="Beat unit", initial="quarter")
    listening_point = forms.CharField(label="Listen for", required=False, max_length=200)
    minutes = forms.IntegerField(label="Minutes a day", required=False, min_value=1, max_value=120)
    state = forms.ChoiceField(label="State", choices=Assignment.State.choices, initial="new")

    def __init__(self, *args: Any, teacher: Teacher, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        terms = terms_for(teacher.studio.terms)
        self.fields["tempo_unit"].choices = [(unit, unit_words(unit, terms)) for unit in UNITS]  # type: ignore[attr-defined]

    def clean_steps(self) -> list[str]:
        lines = [" ".join(line.split()) for line in self.cleaned_data["steps"].splitlines()]
        if long := next((line for line in lines if len(line) > 300), None):
            raise forms.ValidationError(f"A step has at most 300 characters; shorten “{long[:40]}…”.")
        return [line for line in lines if line]

    @property
    def plan(self) -> dict[str, Any]:
        """Tempo, listening point and minutes, as `change_plan` and `assign` take them."""
        names = ("tempo_now", "tempo_goal", "tempo_unit", "listening_point", "minutes")
        return {name: self.cleaned_data[name] for name in names}


class ChangePlanForm(PlanForm):
    """The plan of work that is going on; another state has its day and, if told, its reason."""

    state_on = forms.DateField(label="Since", required=False, widget=DateInput(), help_text="the day of another state")
    state_reason = forms.CharField(label="Why, or where", required=False, max_length=300)

    def clean_state_on(self) -> date:
        on: date = self.cleaned_data["state_on"] or timezone.localdate()
        if not date(1990, 1, 1) <= on <= timezone.localdate():
            raise forms.ValidationError("Choose today or an earlier day.")
        return on


class AssignForm(PlanForm):
    """A plan with the marking in use and up to two to try, or with bars where there is no passage."""

    bars = forms.CharField(label="Bars", required=False, max_length=60, help_text="like 9–16, or empty for the whole")
    marking = forms.ModelChoiceField(label="Marking", queryset=Marking.objects.none(), required=False, empty_label=None)
    to_try = forms.ModelMultipleChoiceField(label="Also to try", queryset=Marking.objects.none(), required=False)

    def __init__(self, *args: Any, markings: Any = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if markings is None:
            del self.fields["marking"], self.fields["to_try"]
            return
        del self.fields["bars"]
        self.fields["marking"].queryset = self.fields["to_try"].queryset = markings  # type: ignore[attr-defined]

    def clean_to_try(self) -> list[Marking]:
        chosen = [m for m in self.cleaned_data["to_try"] if m != self.cleaned_data.get("marking")]
        if len(chosen) > TO_TRY_LIMIT:
            raise forms.ValidationError("At most two markings to try beside the one in use.")
        return chosen


class LessonForm(forms.Form):
    """A lesson in the timetable, once or weekly. Date and time are local.

    Where a lesson with later ones in its weekly row is moved, `which` asks how far the change goes.
    """

    student = StudentChoice(label="Student", queryset=Student.objects.none())
    on = forms.DateField(label="Date", widget=DateInput())
    at = forms.TimeField(label="Time", widget=TimeInput())
    minutes = forms.IntegerField(label="Minutes", min_value=5, max_value=300, initial=30)
    weeks = forms.IntegerField(
        label="Weeks", min_value=1, max_value=WEEKS_LIMIT, initial=1, help_text="1 for this lesson alone"
    )
    which = forms.ChoiceField(
        label="Which lessons", choices=[("this", "this"), ("later", "later")], initial="this", required=False
    )

    def __init__(
        self, *args: Any, students: Any = None, moving: bool = False, in_row: bool = False, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        if students is None:
            del self.fields["student"]
        else:
            self.fields["student"].queryset = students  # type: ignore[attr-defined]
        if moving:
            del self.fields["weeks"]
        if not in_row:
            del self.fields["which"]

    def clean_on(self) -> date:
        on: date = self.cleaned_data["on"]
        if not 1990 <= on.year <= 2100:
            raise forms.ValidationError("The year lies outside 1990 to 2100.")
        return on


class ObservationForm(forms.Form):
    """A correction of what was noted."""

    outcome = forms.ChoiceField(
        label="How it was",
        required=False,
        choices=[("", "noted"), ("better", "better"), ("same", "same"), ("not yet", "not yet")],
    )
    tempo = forms.IntegerField(label="Tempo reached", required=False, min_value=SLOWEST, max_value=FASTEST)
    theme = forms.ChoiceField(label="Theme", required=False, choices=[("", "no theme"), *Theme.choices])
    text = forms.CharField(label="Words", required=False, max_length=600, widget=forms.Textarea(attrs={"rows": 3}))
    shared = forms.BooleanField(label="May be shared on reports", required=False)


class FinishForm(forms.Form):
    """The end of a lesson: attendance is all it needs."""

    attendance = forms.ChoiceField(
        label="Attendance", choices=[(v, label) for v, label in Lesson.Attendance.choices if v], initial="attended"
    )
    sentence = forms.CharField(label="Sentence for the week", required=False, max_length=300)
