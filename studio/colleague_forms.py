"""Forms of the teachers of a studio."""

from __future__ import annotations

from django import forms
from django.core.exceptions import ValidationError

from studio.forms import AccountForm
from studio.models import Teacher


class JoinForm(AccountForm):
    """An invited teacher's name, e-mail address and password."""

    def clean_email(self) -> str:
        email = str(self.cleaned_data["email"]).strip().lower()
        if Teacher.objects.filter(email__iexact=email).exists():
            raise ValidationError("An account with this e-mail address exists already: use another address.")
        return email


class InviteForm(forms.Form):
    note = forms.CharField(
        label="For whom", max_length=120, required=False, help_text="only for your list; nothing is sent"
    )
