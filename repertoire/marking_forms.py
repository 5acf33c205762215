"""What is asked when a version is kept."""

from __future__ import annotations

from typing import Any

from django import forms

from repertoire.models import Marking

# The other origins are known from how a version came about.
ASKED = ("own", "edition", "colleague", "teacher", "recording")
SOURCE_LIMIT = 200
ORIGINS = tuple(choice for choice in Marking.Origin.choices if choice[0] in ASKED)


class CombineForm(forms.Form):
    name = forms.CharField(max_length=120, help_text="how you will know it again: “upper half”, “for small hands”")
    reason = forms.CharField(label="Why", max_length=300, required=False, widget=forms.Textarea(attrs={"rows": 3}))


class KeepForm(CombineForm):
    origin = forms.ChoiceField(label="Where it comes from", choices=ORIGINS)
    source = forms.CharField(
        label="Whose, or which edition or recording", max_length=200, required=False, help_text="seen by you alone"
    )
    heard_bars = forms.CharField(
        label="Bars listened to",
        max_length=30,
        required=False,
        help_text="for a recording or an edition: “9–16, and 41”",
    )
    heard_tempo = forms.IntegerField(
        label="Tempo heard",
        min_value=20,
        max_value=300,
        required=False,
        help_text="beats of ♩ a minute, as near as you can tell",
    )

    def clean(self) -> dict[str, Any]:
        """Bars and tempo become part of the source, which is private free text."""
        found = super().clean() or {}
        bars, tempo = found.pop("heard_bars", ""), found.pop("heard_tempo", None)
        noted = [found.get("source", ""), f"bars {bars}" if bars else "", f"♩ = {tempo}" if tempo else ""]
        words = "; ".join(part for part in noted if part)
        if len(words) > SOURCE_LIMIT:
            self.add_error("source", f"Too long with bars and tempo: {len(words)} of {SOURCE_LIMIT} characters.")
        elif "source" in found:
            found["source"] = words
        return found
