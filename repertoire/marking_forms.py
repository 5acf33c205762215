"""What is asked when a version is kept."""

from __future__ import annotations

from django import forms

from repertoire.models import Marking

# The other origins are known from how a version came about.
ASKED = ("own", "edition", "colleague", "teacher", "recording")
ORIGINS = tuple(choice for choice in Marking.Origin.choices if choice[0] in ASKED)


class CombineForm(forms.Form):
    name = forms.CharField(max_length=120, help_text="how you will know it again: “upper half”, “for small hands”")
    reason = forms.CharField(label="Why", max_length=300, required=False, widget=forms.Textarea(attrs={"rows": 3}))


class KeepForm(CombineForm):
    origin = forms.ChoiceField(label="Where it comes from", choices=ORIGINS)
    source = forms.CharField(
        label="Whose, or which edition or recording", max_length=200, required=False, help_text="seen by you alone"
    )
