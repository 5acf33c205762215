"""Forms of the teachers of a studio."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from studio.models import Teacher


class JoinForm(forms.Form):
    """An invited teacher's name, e-mail address and password."""

    name = forms.CharField(label="Your name", max_length=120, widget=forms.TextInput(attrs={"autocomplete": "name"}))
    email = forms.EmailField(label="E-mail", widget=forms.EmailInput(attrs={"autocomplete": "username"}))
    password = forms.CharField(
        label="Password",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text="At least 12 characters; a few words that only you would put together are fine.",
    )
    password_again = forms.CharField(
        label="The same password again",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def clean_email(self) -> str:
        email = str(self.cleaned_data["email"]).strip().lower()
        if Teacher.objects.filter(email__iexact=email).exists():
            raise ValidationError("An account with this e-mail address exists already: use another address.")
        return email

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


class InviteForm(forms.Form):
    note = forms.CharField(
        label="For whom", max_length=120, required=False, help_text="only for your list; nothing is sent"
    )
