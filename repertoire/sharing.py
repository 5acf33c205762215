"""Markings shown to colleagues: sharing one, finding them, and copying one to a passage of one's own.

A copy is a marking like any other: it has no parent, says whose it was, and its owner can change
it by making versions of it. The shared marking stays what it is.
"""

from __future__ import annotations

from django.db import transaction
from django.db.models import QuerySet

from repertoire.bounds import Bounds
from repertoire.excerpts import passage_line
from repertoire.importing import make_passage
from repertoire.markings import MarkingError, make_marking, marks_of, printed_marking
from repertoire.models import Marking, Passage, Piece, SharedMarking
from repertoire.notation.cutting import marks_in
from studio.models import Teacher


def share(marking: Marking) -> None:
    """Show a marking to the studio. Raises MarkingError where there is no notation."""
    if not marking.passage.has_notation:
        raise MarkingError("Only markings on notation can be shared.")
    SharedMarking.objects.get_or_create(marking=marking)


def withdraw(marking: Marking) -> None:
    """Show it no longer; copies that were made stay."""
    SharedMarking.objects.filter(marking=marking).delete()


def _shown_to(teacher: Teacher) -> QuerySet[Marking]:
    shown = Marking.objects.filter(shared__isnull=False, teacher__studio=teacher.studio_id).exclude(teacher=teacher)
    return shown.select_related("teacher", "passage__movement__revision__part").defer("marks")


def shared_in_piece(piece: Piece, teacher: Teacher) -> QuerySet[Marking]:
    """What colleagues show of a piece, in score order."""
    shown = _shown_to(teacher).filter(passage__movement__revision__part__piece=piece)
    return shown.order_by("passage__movement__revision__part", "passage__movement__number", "passage__start_bar", "id")


def shared_within(passage: Passage, teacher: Teacher) -> list[Marking]:
    """What colleagues show inside the bounds of a passage, the same bounds included."""
    shown = _shown_to(teacher).filter(
        passage__movement=passage.movement_id,
        passage__start_bar__gte=passage.start_bar,
        passage__end_bar__lte=passage.end_bar,
    )
    found = list(shown.exclude(passage=passage).order_by("passage__start_bar", "id"))
    if not found:
        return []
    here = passage_line(passage)
    return [
        marking for marking in found if all(event.address in here for event in passage_line(marking.passage).events)
    ]


def own_passage_like(passage: Passage, teacher: Teacher) -> Passage | None:
    """A teacher's own passage on the notation with the bounds of another."""
    return (
        Passage.objects.filter(
            teacher=teacher,
            picture=None,
            movement=passage.movement_id,
            start_bar=passage.start_bar,
            start_beat=passage.start_beat,
            end_bar=passage.end_bar,
            end_beat=passage.end_beat,
        )
        .order_by("id")
        .first()
    )


def copy(marking: Marking, teacher: Teacher, into: Passage | None = None) -> Marking:
    """A shared marking as a teacher's own, in `into` or in her passage with the same bounds, which is made if
    there is none. Copying the same one twice gives the copy there is. Raises MarkingError."""
    there = marking.passage
    with transaction.atomic():
        # Locked, so that a double tap makes one passage and one marking.
        Teacher.objects.select_for_update().get(pk=teacher.pk)
        here = into or own_passage_like(there, teacher)
        if here is None:
            bounds = Bounds(
                there.start_bar,
                there.start_beat,
                there.end_bar,
                there.end_beat,
                there.first_number,
                there.last_number,
            )
            here = make_passage(there.movement, teacher, bounds, title=there.title)
        if here.movement_id != there.movement_id or not here.has_notation:
            raise MarkingError("That passage is not of the same music.")
        printed_marking(here, teacher)
        line = passage_line(here)
        marks = marks_in(marks_of(marking), line)
        source = marking.teacher.name if into is None else f"{marking.teacher.name}, {there.bars}"
        mine = Marking.objects.filter(passage=here, teacher=teacher, origin=Marking.Origin.COLLEAGUE)
        for known in mine.filter(name=marking.name, source=source[:200]):
            if marks_of(known) == marks:
                return known
        return make_marking(
            here,
            teacher,
            marks,
            name=marking.name,
            origin=Marking.Origin.COLLEAGUE,
            reason=marking.reason,
            source=source[:200],
        )
