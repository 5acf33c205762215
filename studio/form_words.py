"""What forms say when something can’t be taken, in place of the framework’s own sentences.

Each reads on after "Please check: ", begins with a capital and ends with a full stop.
"""

from __future__ import annotations

from django import forms
from django.core import validators


def set_form_words() -> None:
    """Put the short sentences in place; called once when the program starts."""
    validators.MaxValueValidator.message = "At most %(limit_value)s."
    validators.MinValueValidator.message = "At least %(limit_value)s."
    validators.MaxLengthValidator.message = "At most %(limit_value)d characters; there are %(show_value)d."
    validators.MinLengthValidator.message = "At least %(limit_value)d characters; there are %(show_value)d."
    forms.Field.default_error_messages["required"] = "This can’t be empty."
    for choice in (forms.ChoiceField, forms.ModelChoiceField, forms.TypedChoiceField):
        choice.default_error_messages = {
            **choice.default_error_messages,
            "invalid_choice": "Choose one of those offered.",
        }
    forms.IntegerField.default_error_messages["invalid"] = "Write a whole number."
