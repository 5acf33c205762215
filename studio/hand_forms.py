"""The form of what a student's left hand can do yet."""

from __future__ import annotations

from typing import Any, ClassVar

from django import forms

from studio.hand_models import POSITIONS, StudentHand


class HandForm(forms.ModelForm):  # type: ignore[type-arg]
    """Limits of a hand, for a student's details or for one question."""

    positions = forms.TypedMultipleChoiceField(
        label="Positions known",
        choices=[(str(number), name) for number, name in POSITIONS],
        coerce=int,
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="none ticked: all up to the highest",
    )
    highest = forms.TypedChoiceField(
        label="Highest position",
        choices=[("", "no limit"), *((str(number), name) for number, name in POSITIONS[1:])],
        coerce=int,
        empty_value=None,
        required=False,
    )

    class Meta:
        model = StudentHand
        fields: ClassVar = ["highest", "positions", "extensions", "small_hand", "open_strings", "avoid_fourth"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.use_required_attribute = False
        self.initial["positions"] = [str(number) for number in self.instance.positions or ()]

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        highest, known = given.get("highest"), given.get("positions") or []
        above = [dict(POSITIONS)[number] for number in sorted(known) if highest is not None and number > highest]
        if above:
            named = ", ".join(above)
            lies = "lies" if len(above) == 1 else "lie"
            self.add_error(
                "positions", f"The {named} position {lies} above the highest: untick it, or raise the highest."
            )
        return given
