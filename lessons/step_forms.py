"""The form of one practice step: words, bars, tempo, minutes, focus, days, and what its stave takes."""

from __future__ import annotations

from typing import Any

from django import forms
from django.conf import settings

from lessons.assigning import StepPlan
from lessons.models import Step
from lessons.sheet_content import DAY_NAMES
from lessons.step_pictures import WORDS_AT_MOST
from lessons.tempo import FASTEST, SLOWEST
from repertoire.bounds import BoundsError, read_bounds
from repertoire.cues import other_parts
from repertoire.technique import recipes
from repertoire.technique.line import Line
from repertoire.technique.repeated import SHAPES
from repertoire.technique.rhythms import PATTERNS
from repertoire.technique.tempo_ladder import LADDERS

WHOLE = "the whole passage"
_FROM_UPPER = [("", "as marked"), ("upper", "with the upper note"), ("main", "with the main note")]
_CLOSE = [("", "as marked"), ("yes", "with a closing turn"), ("no", "without")]
_WAYS = [("starting", "the starting finger goes first"), ("arriving", "the arriving finger slides")]
_SLURS = [("bar", "by the bar"), ("beat", "by the beat"), ("as marked", "as marked")]

# What a kind of stave takes, as fields: the parameter's name → how it is asked for.
_ASKED: dict[str, Any] = {
    "start": lambda: forms.ChoiceField(label="Trill begins", choices=_FROM_UPPER, required=False),
    "close": lambda: forms.ChoiceField(label="Trill closes", choices=_CLOSE, required=False),
    "count": lambda: forms.IntegerField(
        label="Notes of the trill", required=False, min_value=2, max_value=64, help_text="empty: as the tempo has it"
    ),
    "way": lambda: forms.ChoiceField(label="Guide note", choices=_WAYS, required=False),
    "pattern": lambda: forms.ChoiceField(label="Rhythm", choices=[(name, name) for name in PATTERNS], required=False),
    "place": lambda: forms.IntegerField(label="Accent on note", required=False, min_value=1, max_value=8),
    "size": lambda: forms.IntegerField(label="Notes in a group", required=False, min_value=2, max_value=8),
    "slurs": lambda: forms.ChoiceField(label="Slurs", choices=_SLURS, required=False),
    "shape": lambda: forms.ChoiceField(label="Shape", choices=[(name, name) for name in SHAPES], required=False),
    "part": lambda: forms.TypedChoiceField(label="Other part", required=False, coerce=int, empty_value=None),
    "position": lambda: forms.IntegerField(
        label="Position", required=False, min_value=1, max_value=12, help_text="empty: the one the passage uses"
    ),
}  # fmt: skip


class StepForm(forms.Form):
    text = forms.CharField(label="What to do", max_length=300, widget=forms.Textarea(attrs={"rows": 2}))
    bars = forms.CharField(label="Bars", required=False, max_length=40, help_text=f"like 5–8; empty: {WHOLE}")
    tempo_now = forms.IntegerField(label="Tempo now", required=False, min_value=SLOWEST, max_value=FASTEST)
    tempo_goal = forms.IntegerField(label="Tempo goal", required=False, min_value=SLOWEST, max_value=FASTEST)
    ladder = forms.ChoiceField(
        label="Ladder", required=False, choices=[("", "none told"), *LADDERS],
        help_text="the tempi from now to the goal, on the sheet and at home",
    )  # fmt: skip
    same_pulse = forms.BooleanField(label="Shares its pulse with the other steps that do", required=False)
    minutes = forms.IntegerField(label="Minutes", required=False, min_value=1, max_value=60)
    focus = forms.CharField(label="One thing to attend to", required=False, max_length=120)
    days = forms.MultipleChoiceField(
        label="Days", required=False, choices=[(str(n), name) for n, name in enumerate(DAY_NAMES)],
        widget=forms.CheckboxSelectMultiple, help_text="none chosen: every day",
    )  # fmt: skip
    keep_words = forms.BooleanField(label="Keep these words as a phrase of mine", required=False)

    def __init__(self, *args: Any, step: Step, line: Line | None, **kwargs: Any) -> None:
        self.step, self.line = step, line
        recipe = step.recipe or {}
        self.kind = recipe.get("kind", "")
        super().__init__(*args, **{"initial": _initial(step, line), **kwargs})
        takes = recipes.KINDS[self.kind].takes if self.kind in recipes.KINDS else {}
        self.asked = [name for name in takes if name in _ASKED]
        for name in self.asked:
            self.fields[name] = _ASKED[name]()
        if "part" in self.asked:
            passage = step.assignment.passage
            self.fields["part"].choices = other_parts(passage.movement) if passage else ()  # type: ignore[attr-defined]
        if not recipe or line is None or "at" in takes:
            del self.fields["bars"]

    @property
    def stave_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in self.asked]

    def clean_bars(self) -> list[int] | None:
        text = self.cleaned_data["bars"].strip()
        if not text or self.line is None:
            return None
        try:
            bounds = read_bounds(text, self.line)
        except BoundsError as error:
            raise forms.ValidationError(str(error)) from None
        if bounds.start_beat or bounds.end_beat:
            raise forms.ValidationError("A practice stave takes whole bars.")
        return [bounds.start_bar, bounds.end_bar]

    @property
    def recipe(self) -> dict[str, Any] | None:
        """The step's recipe with what the form says."""
        old = self.step.recipe
        if not old:
            return None
        recipe = {k: v for k, v in old.items() if k not in ("bars", "with")}
        bars = self.cleaned_data.get("bars") if "bars" in self.fields else old.get("bars")
        if bars:
            recipe["bars"] = bars
        given = dict(old.get("with", {}))
        for name in self.asked:
            value = self.cleaned_data.get(name)
            if name == "close":
                value = {"yes": True, "no": False}.get(value or "")
            if value in (None, ""):
                given.pop(name, None)
            else:
                given[name] = value
        if given:
            recipe["with"] = given
        return recipe

    @property
    def plan(self) -> StepPlan:
        told = self.cleaned_data
        return StepPlan(
            told["text"], told["tempo_now"], told["tempo_goal"], told["minutes"], self.recipe, told["focus"],
            "".join(told["days"]), told["same_pulse"], told["ladder"], self.step.picture_id,
        )  # fmt: skip


class StepPictureForm(forms.Form):
    """A picture for an instruction, and what it shows."""

    file = forms.FileField(
        label="Picture",
        help_text="A drawing, a photo or a line from paper: PNG, JPEG, or the first page of a PDF.",
        widget=forms.FileInput(attrs={"accept": "image/png,image/jpeg,application/pdf,.png,.jpg,.jpeg,.pdf"}),
        error_messages={"required": "Choose a picture first.", "empty": "This file is empty."},
    )
    words = forms.CharField(
        label="What it shows",
        max_length=WORDS_AT_MOST,
        help_text="in a few words, for whoever can’t see it: left hand in third position, thumb under the first finger",
        error_messages={"required": "Write in a few words what it shows."},
    )
    on_paper = forms.BooleanField(label="It is on paper: make the paper white and cut empty edges off", required=False)

    def clean_file(self) -> Any:
        file = self.cleaned_data["file"]
        if file.size > settings.UPLOAD_LIMIT:
            limit = settings.UPLOAD_LIMIT // (1024 * 1024)
            raise forms.ValidationError(f"This file is larger than {limit} MB. Send a smaller picture.")
        return file


def _initial(step: Step, line: Line | None) -> dict[str, Any]:
    recipe = step.recipe or {}
    out: dict[str, Any] = {
        "text": step.text, "tempo_now": step.tempo_now, "tempo_goal": step.tempo_goal, "minutes": step.minutes,
        "focus": step.focus, "ladder": step.ladder, "days": list(step.days), "same_pulse": step.same_pulse,
    }  # fmt: skip
    for name, value in recipe.get("with", {}).items():
        out[name] = {True: "yes", False: "no"}.get(value, value) if name == "close" else value
    bars = recipe.get("bars")
    if bars and line is not None:
        numbers = [line.bar(index).number for index in bars]
        out["bars"] = numbers[0] if numbers[0] == numbers[1] else "–".join(numbers)
    return out
