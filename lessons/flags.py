"""Listening points on notes, as flags for the pages of the repertoire."""

from __future__ import annotations

from lessons.models import ListeningPoint
from repertoire.flags import register
from repertoire.models import Passage
from studio.models import Student


@register
def flagged_notes(passage: Passage, student: Student) -> tuple[tuple[str, str], ...]:
    """A student's unsettled points on notes of a passage: (address, words)."""
    points = ListeningPoint.objects.filter(student=student, assignment__passage=passage, settled=None).exclude(
        address=""
    )
    return tuple((p.address, p.text or p.get_theme_display() or "flagged") for p in points)
