"""Who works on a piece and who uses which marking: asked by the pages of the repertoire,
answered here, since only lessons know students and music together.
"""

from __future__ import annotations

from collections.abc import Mapping

from django import template

from lessons.models import Assignment
from repertoire.models import Passage, Piece
from studio.models import Student

register = template.Library()


@register.simple_tag
def working_on(piece: Piece) -> list[Assignment]:
    """The open assignments of a piece or its passages, by student's name."""
    return list(
        Assignment.objects.filter(piece=piece, ended=None)
        .select_related("student", "passage", "marking")
        .defer("marking__marks")
        .order_by("student__first_name", "student", "position", "id")
    )


@register.simple_tag
def uses_of(passage: Passage) -> dict[int, list[Student]]:
    """Students with an open assignment of a passage, by the id of the marking they use."""
    found: dict[int, list[Student]] = {}
    work = Assignment.objects.filter(passage=passage, ended=None, marking__isnull=False)
    for assignment in work.select_related("student").order_by("student__first_name", "student"):
        found.setdefault(assignment.marking_id or 0, []).append(assignment.student)
    return found


@register.filter
def of(uses: Mapping[int, list[Student]], marking_id: int) -> list[Student]:
    return uses.get(marking_id, [])
