"""Forms for pieces, imports and passages; each refuses with what is wrong and keeps the input."""

from __future__ import annotations

import re
from typing import Any, ClassVar

from django import forms
from django.conf import settings

from repertoire.bounds import Bounds, BoundsError, read_bounds
from repertoire.models import Part, Passage, Piece
from repertoire.notation.cutting import cut
from repertoire.technique.line import Line, LineError

INSTRUMENTS = [("", "not said"), ("viola", "viola"), ("violin", "violin")]
BARS_LIMIT = 5000
MOVEMENTS_LIMIT = 40


class PieceForm(forms.ModelForm):  # type: ignore[type-arg]
    class Meta:
        model = Piece
        fields: ClassVar = ["title", "composer", "notes"]
        widgets: ClassVar = {"notes": forms.Textarea(attrs={"rows": 3})}
        labels: ClassVar = {"notes": "Notes for yourself"}


class PieceWithoutNotationForm(PieceForm):
    """A piece of which only the bars are known."""

    bars = forms.CharField(
        label="Number of bars",
        max_length=300,
        help_text="Several movements: the bars of each in order, such as 96, 48, 120.",
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    instrument = forms.ChoiceField(choices=INSTRUMENTS, required=False)
    edition = forms.CharField(
        max_length=200, required=False, help_text="Bar numbers and upbeats differ between editions."
    )

    field_order = ("title", "composer", "bars", "instrument", "edition", "notes")

    def clean_bars(self) -> list[int]:
        found = [p for p in re.split(r"[\s,;+]+", self.cleaned_data["bars"].strip()) if p]
        if not all(p.isascii() and p.isdigit() and 1 <= int(p[:6]) <= BARS_LIMIT for p in found) or not found:
            raise forms.ValidationError(f"Write whole numbers of bars from 1 to {BARS_LIMIT}, such as 96 or 96, 48.")
        if len(found) > MOVEMENTS_LIMIT:
            raise forms.ValidationError(f"A piece has at most {MOVEMENTS_LIMIT} movements here.")
        return [int(p) for p in found]


class UploadForm(forms.Form):
    file = forms.FileField(
        label="MusicXML or ABC file",
        help_text="A score or a part: .musicxml, .xml, .mxl or .abc.",
        widget=forms.FileInput(attrs={"accept": ".musicxml,.xml,.mxl,.abc"}),
        error_messages={"required": "Choose a file first.", "empty": "This file is empty."},
    )

    def clean_file(self) -> Any:
        file = self.cleaned_data["file"]
        if file.size > settings.UPLOAD_LIMIT:
            limit = settings.UPLOAD_LIMIT // (1024 * 1024)
            raise forms.ValidationError(f"This file is larger than {limit} MB. Export the part you want by itself.")
        return file


class PartChoiceForm(forms.Form):
    """Which part of an upload to read, and what is known about its edition."""

    part = forms.ChoiceField(label="Part to read", widget=forms.RadioSelect)
    title = forms.CharField(max_length=200)
    composer = forms.CharField(max_length=120, required=False)
    edition = forms.CharField(
        max_length=200, required=False, help_text="Publisher, editor, year: it is printed on sheets."
    )
    rights = forms.CharField(
        max_length=200,
        required=False,
        label="Rights",
        help_text="By what right you keep it and who may see it: public domain, bought, for this lesson only.",
    )

    def __init__(
        self,
        *args: Any,
        parts: list[tuple[str, str]],
        piece: Piece | None = None,
        replaces: Part | None = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        choice = self.fields["part"]
        assert isinstance(choice, forms.ChoiceField)
        choice.choices = parts
        if piece is not None:
            del self.fields["title"], self.fields["composer"]
        if replaces is not None:
            del self.fields["edition"], self.fields["rights"]


class PartForm(forms.ModelForm):  # type: ignore[type-arg]
    class Meta:
        model = Part
        fields: ClassVar = ["name", "instrument", "edition", "rights"]
        widgets: ClassVar = {"instrument": forms.Select(choices=INSTRUMENTS)}
        help_texts: ClassVar = {"rights": "By what right you keep it and who may see it."}


class PassageForm(forms.Form):
    """Bars of a movement, picked or typed, with a title and what the passage is for."""

    bars = forms.CharField(
        max_length=60,
        label="From – to",
        help_text="Printed bar numbers, with beats after a stroke if need be: 12–19 or 12/2 – 19/3.",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
        error_messages={"required": "Pick the first and the last bar, or write them: 12–19."},
    )
    title = forms.CharField(max_length=120, required=False, help_text="Left empty, it is called by its bars.")
    purpose = forms.CharField(
        max_length=200, required=False, label="What it is for", help_text="Clean crossings, the shift to third, …"
    )

    def __init__(self, *args: Any, line: Line | None, bar_count: int, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.line, self.bar_count = line, bar_count

    def clean_bars(self) -> Bounds:
        try:
            bounds = read_bounds(self.cleaned_data["bars"], self.line, self.bar_count)
            if self.line is not None:
                cut(self.line, bounds.start_bar, bounds.start, bounds.end_bar, bounds.end)
            return bounds
        except (BoundsError, LineError) as error:
            raise forms.ValidationError(str(error)) from None


class PassageNameForm(forms.ModelForm):  # type: ignore[type-arg]
    class Meta:
        model = Passage
        fields: ClassVar = ["title", "purpose"]


class TypingForm(forms.Form):
    """Music typed as ABC, and what is known about it."""

    text = forms.CharField(
        label="Music",
        max_length=60_000,
        strip=False,
        widget=forms.Textarea(
            attrs={"rows": 10, "spellcheck": "false", "autocapitalize": "off", "autocomplete": "off"}
        ),
        error_messages={"required": "Type some music first."},
    )
    title = forms.CharField(max_length=200, required=False, help_text="Left empty, T: in the text counts.")
    composer = forms.CharField(max_length=120, required=False)
    instrument = forms.ChoiceField(choices=INSTRUMENTS, required=False)
    edition = forms.CharField(
        max_length=200, required=False, help_text="What you type from: publisher, editor, year, page."
    )
    passage = forms.BooleanField(required=False, label="Make a passage of the whole")
    revision = forms.IntegerField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, piece: Piece | None = None, part: Part | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if piece is not None:
            del self.fields["composer"]
            self.fields["title"].label = "Title of the passage"
        if part is not None:
            for name in ("title", "edition", "passage"):
                del self.fields[name]
            self.fields["instrument"].widget = forms.HiddenInput()
