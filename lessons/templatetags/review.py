"""`{% pieces_to_review student %}`: the older pieces of a student that are due, three at first."""

from __future__ import annotations

from typing import Any

from django import template
from django.utils import timezone

from lessons.breaks import recitals_of
from lessons.reviewing import SHOWN, coming_reviews, due_for_review
from studio.models import Student

register = template.Library()


@register.inclusion_tag("lessons/_review.html", takes_context=True)
def pieces_to_review(context: dict[str, Any], student: Student) -> dict[str, Any]:
    day = timezone.localdate()
    return {
        "student": student,
        "due": due_for_review(student, day)[:SHOWN],
        "coming": coming_reviews(student, day)[:SHOWN],
        "recital": next((r for r in recitals_of([student.pk], since=day)), None),
        "csrf_token": context.get("csrf_token"),
    }
