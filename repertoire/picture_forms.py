"""Forms for pictures: sending one, and how it is cut, with the bars it shows."""

from __future__ import annotations

from typing import Any

from django import forms
from django.conf import settings

from repertoire.forms import PassageForm
from repertoire.notation.scans import MOST_ANGLE, Crop, ScanError


class PictureForm(forms.Form):
    file = forms.FileField(
        label="Picture or PDF",
        help_text="A scan or a photo: PNG, JPEG, or a PDF.",
        widget=forms.FileInput(attrs={"accept": "image/png,image/jpeg,application/pdf,.png,.jpg,.jpeg,.pdf"}),
        error_messages={"required": "Choose a picture first.", "empty": "This file is empty."},
    )
    page = forms.IntegerField(
        label="Page of a PDF", required=False, min_value=1, max_value=9999, help_text="Left empty, the first."
    )

    def clean_file(self) -> Any:
        file = self.cleaned_data["file"]
        if file.size > settings.UPLOAD_LIMIT:
            limit = settings.UPLOAD_LIMIT // (1024 * 1024)
            raise forms.ValidationError(f"This file is larger than {limit} MB. Scan the page you need by itself.")
        return file


def _percent(label: str, start: str) -> forms.FloatField:
    return forms.FloatField(
        label=label, min_value=0, max_value=100, widget=forms.NumberInput(attrs={"step": "0.5", "data-edge": start})
    )


class CropForm(PassageForm):
    """Edges in percent, the angle in degrees clockwise, the bars, and the edition's rights."""

    angle = forms.FloatField(
        label="Straighten",
        min_value=-MOST_ANGLE,
        max_value=MOST_ANGLE,
        widget=forms.NumberInput(attrs={"step": "0.1", "data-edge": "angle"}),
    )
    left = _percent("Left edge", "left")
    right = _percent("Right edge", "right")
    top = _percent("Upper edge", "top")
    bottom = _percent("Lower edge", "bottom")
    rights = forms.CharField(
        max_length=200,
        required=False,
        label="Rights of this edition",
        help_text="By what right you keep it and who may see it: public domain, bought, for this lesson only.",
    )

    def __init__(self, *args: Any, own: bool = True, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not own:
            del self.fields["rights"]  # the part is a colleague's
        self.fields["bars"].label = "Bars it shows"

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        edges = {name: cleaned.get(name) for name in ("angle", "left", "top", "right", "bottom")}
        if None not in edges.values():
            try:
                self.crop = Crop(**{name: float(value or 0) for name, value in edges.items()})
            except ScanError as error:
                self.add_error(None, str(error))
        return cleaned
