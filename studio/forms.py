"""Forms of accounts, students, guardians, instruments and the studio's settings."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any, ClassVar

from django import forms
from django.contrib.auth.forms import AuthenticationForm, PasswordChangeForm
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.utils import timezone

from studio.models import Guardian, Guardianship, InstrumentPeriod, Student, Studio, Teacher
from studio.password_rules import ADVICE
from studio.time_zones import renamed_zones, zone_choices


class DayInput(forms.DateInput):
    input_type = "date"

    def __init__(self, attrs: dict[str, Any] | None = None) -> None:
        super().__init__(attrs, format="%Y-%m-%d")


class NewPasswordForm(PasswordChangeForm):
    """The present password and a new one, given twice."""

    error_messages = {  # noqa: RUF012
        "password_incorrect": "This isn’t your present password.",
        "password_mismatch": "The two passwords differ.",
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["old_password"].label = "Your present password"
        self.fields["new_password1"].label = "New password"
        self.fields["new_password1"].help_text = ADVICE
        self.fields["new_password2"].label = "The same new password again"
        self.fields["new_password2"].help_text = ""


class SignInForm(AuthenticationForm):
    """E-mail address and password. The address is compared, and throttled, in small letters."""

    error_messages = {  # noqa: RUF012
        "invalid_login": "This e-mail address and password don’t belong together. Check both and try again.",
        "inactive": "This account is closed.",
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["username"].label = "E-mail"
        self.fields["username"].widget = forms.EmailInput(attrs={"autocomplete": "username", "autofocus": True})

    def clean_username(self) -> str:
        return str(self.cleaned_data["username"]).strip().lower()


class AccountForm(forms.Form):
    """What a new account needs: a teacher's name, e-mail address, and a password given twice."""

    name = forms.CharField(label="Your name", max_length=120, widget=forms.TextInput(attrs={"autocomplete": "name"}))
    email = forms.EmailField(label="E-mail", widget=forms.EmailInput(attrs={"autocomplete": "username"}))
    password = forms.CharField(
        label="Password",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text=ADVICE,
    )
    password_again = forms.CharField(
        label="The same password again",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        password, again = given.get("password"), given.get("password_again")
        if password and again and password != again:
            self.add_error("password_again", "The two passwords differ.")
        elif password:
            try:
                validate_password(password, Teacher(name=given.get("name", ""), email=given.get("email", "")))
            except ValidationError as error:
                self.add_error("password", error)
        return given


class SetUpForm(AccountForm):
    """The first page of an empty studio: its name, its time zone and its first teacher."""

    studio_name = forms.CharField(label="Name of the studio", max_length=120)
    timezone = forms.ChoiceField(label="Time zone", choices=zone_choices, initial="Europe/London")
    field_order = ("studio_name", "timezone")

    def renamed(self) -> dict[str, str]:
        """Obsolete names of zones, for the browser's guess."""
        return renamed_zones()


class StudioForm(forms.ModelForm):  # type: ignore[type-arg]
    timezone = forms.ChoiceField(label="Time zone", choices=zone_choices)

    class Meta:
        model = Studio
        fields: ClassVar = ["name", "timezone", "paper", "terms", "a4_hz", "week_start", "string_signs"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["timezone"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = zone_choices(self.instance.timezone)


class ProfileForm(forms.ModelForm):  # type: ignore[type-arg]
    class Meta:
        model = Teacher
        fields: ClassVar = ["name", "email"]

    def clean_email(self) -> str:
        email = str(self.cleaned_data["email"]).lower()
        if Teacher.objects.filter(email__iexact=email).exclude(pk=self.instance.pk).exists():
            raise ValidationError("Another teacher signs in with this address.")
        return email


class StudentForm(forms.ModelForm):  # type: ignore[type-arg]
    class Meta:
        model = Student
        fields: ClassVar = [
            "first_name",
            "surname",
            "birth_year",
            "status",
            "clef",
            "staff_height",
            "private_notes",
        ]
        widgets: ClassVar = {
            "birth_year": forms.NumberInput(attrs={"inputmode": "numeric"}),
            "private_notes": forms.Textarea(attrs={"rows": 4}),
        }
        help_texts: ClassVar = {
            "staff_height": "8 mm is usual; 9 to 11 mm reads more easily for young players.",
            "private_notes": "Only you see these; they never appear on a sheet or a report.",
        }
        error_messages: ClassVar = {
            "staff_height": {"max_value": "At most %(limit_value)s mm.", "min_value": "At least %(limit_value)s mm."},
        }

    def clean_birth_year(self) -> int | None:
        year: int | None = self.cleaned_data["birth_year"]
        if year is not None and year > timezone.localdate().year:
            raise ValidationError(f"{year} is still to come.")
        return year


class InstrumentForm(forms.ModelForm):  # type: ignore[type-arg]
    """One period of one instrument. With `offer_ending`, the open one of its kind can be ended with it."""

    end_current = forms.BooleanField(
        label="End the present one of this kind the day before", required=False, initial=True
    )

    class Meta:
        model = InstrumentPeriod
        fields: ClassVar = ["instrument", "size", "string_length", "since", "until"]
        widgets: ClassVar = {"since": DayInput(), "until": DayInput()}

    def __init__(self, *args: Any, offer_ending: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["instrument"].widget = forms.RadioSelect(choices=InstrumentPeriod.Kind.choices)
        if not offer_ending:
            del self.fields["end_current"]

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        since, until = given.get("since"), given.get("until")
        if since and until and until < since:
            self.add_error("until", "It ends before it begins.")
        return given

    def _post_clean(self) -> None:
        """Set the present period's end before the model looks for overlaps."""
        self.ended = self._present()
        super()._post_clean()  # type: ignore[misc]

    def _present(self) -> InstrumentPeriod | None:
        given = getattr(self, "cleaned_data", {})
        since: date | None = given.get("since")
        if not given.get("end_current") or since is None:
            return None
        present = InstrumentPeriod.objects.filter(
            student_id=self.instance.student_id, instrument=given.get("instrument", ""), until=None, since__lt=since
        ).first()
        if present:
            present.until = since - timedelta(days=1)
            self.instance.follows = present
        return present


class GuardianForm(forms.ModelForm):  # type: ignore[type-arg]
    class Meta:
        model = Guardian
        fields: ClassVar = ["name", "email", "phone"]
        widgets: ClassVar = {"phone": forms.TextInput(attrs={"type": "tel"})}


class GuardianshipForm(forms.ModelForm):  # type: ignore[type-arg]
    class Meta:
        model = Guardianship
        fields: ClassVar = ["relation", "receives_notes"]
        help_texts: ClassVar = {"relation": "mother, father, grandparent, carer …"}


class KnownGuardianForm(GuardianshipForm):
    """A guardian of another student, often a sibling's."""

    guardian = forms.ModelChoiceField(Guardian.objects.none(), empty_label="choose…")
    field_order = ["guardian", "relation", "receives_notes"]  # noqa: RUF012

    def __init__(self, *args: Any, student: Student, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["guardian"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = Guardian.objects.filter(teacher=student.teacher).exclude(students=student)
        self.instance.student = student
