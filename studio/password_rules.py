"""What a password must be, said in the words of the forms: long, not among the common ones, not one's own name."""

from __future__ import annotations

from django.contrib.auth.password_validation import (
    CommonPasswordValidator,
    MinimumLengthValidator,
    UserAttributeSimilarityValidator,
)

LENGTH = 12
ADVICE = f"At least {LENGTH} characters; a few words that only you would put together are fine."


class LongEnough(MinimumLengthValidator):
    def __init__(self) -> None:
        super().__init__(min_length=LENGTH)

    def get_error_message(self) -> str:
        return f"At least {LENGTH} characters."


class NotCommon(CommonPasswordValidator):
    def get_error_message(self) -> str:
        return "Many people use this password, so it is tried first: choose another."


class NotOneself(UserAttributeSimilarityValidator):
    def get_error_message(self) -> str:
        return "This is too close to your name or e-mail address."
