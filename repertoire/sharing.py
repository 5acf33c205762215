"""Markings shown to colleagues: sharing one, finding them, and copying one to a passage of one's own.

A copy is a marking like any other: it has no parent, says whose it was, and its owner can change
it by making versions of it. The shared marking stays what it is. Signs on a picture of the print are
shared together with that picture, whose copy is the colleague's own too; a bare picture is shared by
sharing its version as printed, so that none of an edition is shown which its keeper didn't show.
"""

from __future__ import annotations

from django.db.models import Count, QuerySet

from repertoire.bounds import bounds_of
from repertoire.excerpts import passage_line
from repertoire.importing import make_passage
from repertoire.markings import MarkingError, make_marking, marks_of, printed_marking
from repertoire.models import Marking, Passage, Piece, SharedMarking
from repertoire.notation.cutting import marks_in
from repertoire.picture_files import all_or_none
from repertoire.pictures import copy_picture
from studio.models import Teacher


def share(marking: Marking) -> None:
    """Show a marking to the studio, with its picture of the print where it stands on one. Raises MarkingError
    where there is nothing to show."""
    if not marking.passage.has_excerpt:
        raise MarkingError("There is nothing to show of a passage without notation or picture.")
    SharedMarking.objects.get_or_create(marking=marking)


def withdraw(marking: Marking) -> None:
    """Show it no longer; copies that were made stay."""
    SharedMarking.objects.filter(marking=marking).delete()


def _shown_to(teacher: Teacher) -> QuerySet[Marking]:
    shown = Marking.objects.filter(shared__isnull=False, teacher__studio=teacher.studio_id).exclude(teacher=teacher)
    return shown.select_related("teacher", "passage__movement__revision__part", "passage__picture").defer("marks")


def shared_in_piece(piece: Piece, teacher: Teacher) -> QuerySet[Marking]:
    """What colleagues show of a piece, in score order."""
    shown = _shown_to(teacher).filter(passage__movement__revision__part__piece=piece)
    return shown.order_by("passage__movement__revision__part", "passage__movement__number", "passage__start_bar", "id")


def shared_counts(teacher: Teacher) -> dict[int, int]:
    """How many markings colleagues show, by the piece."""
    piece = "passage__movement__revision__part__piece"
    shown = Marking.objects.filter(shared__isnull=False, teacher__studio=teacher.studio_id).exclude(teacher=teacher)
    return dict(shown.values_list(piece).annotate(count=Count("pk")).order_by())


def shared_within(passage: Passage, teacher: Teacher) -> list[Marking]:
    """What colleagues show inside the bounds of a passage, the same bounds included; of a picture, what
    they show on the same one."""
    shown = _shown_to(teacher).exclude(passage=passage).filter(passage__movement=passage.movement_id)
    if passage.picture is not None:
        return list(shown.filter(passage__picture__sha256=passage.picture.sha256).order_by("id"))
    inside = shown.filter(passage__start_bar__gte=passage.start_bar, passage__end_bar__lte=passage.end_bar)
    found = list(inside.filter(passage__picture=None).order_by("passage__start_bar", "id"))
    if not found:
        return []
    here = passage_line(passage)
    return [
        marking for marking in found if all(event.address in here for event in passage_line(marking.passage).events)
    ]


def own_passage_like(passage: Passage, teacher: Teacher) -> Passage | None:
    """A teacher's own passage with the bounds of another, on the notation or on the same picture."""
    here = Passage.objects.filter(
        teacher=teacher,
        movement=passage.movement_id,
        start_bar=passage.start_bar,
        start_beat=passage.start_beat,
        end_bar=passage.end_bar,
        end_beat=passage.end_beat,
    ).order_by("id")
    if passage.picture is None:
        return here.filter(picture=None).first()
    return here.filter(picture__sha256=passage.picture.sha256).first()


def _same_music(one: Passage, other: Passage) -> bool:
    """Whether marks of one passage can stand on the other."""
    if one.picture is None or other.picture is None:
        return one.movement_id == other.movement_id and one.has_notation and other.has_notation
    return one.movement_id == other.movement_id and one.picture.sha256 == other.picture.sha256


def copy(marking: Marking, teacher: Teacher, into: Passage | None = None) -> Marking:
    """A shared marking as a teacher's own, in `into` or in her passage with the same bounds, which is made if
    there is none (a picture is copied with it). Copying the same one twice gives the copy there is. Raises
    MarkingError."""
    there = marking.passage
    with all_or_none():
        # Locked, so that a double tap makes one passage and one marking.
        Teacher.objects.select_for_update().get(pk=teacher.pk)
        here = into or own_passage_like(there, teacher)
        if here is None:
            picture = copy_picture(there.picture, teacher) if there.picture else None
            here = make_passage(there.movement, teacher, bounds_of(there), title=there.title, picture=picture)
        if not _same_music(here, there):
            raise MarkingError("That passage is not of the same music.")
        printed = printed_marking(here, teacher)
        if marking.origin == Marking.Origin.PRINTED and here.has_picture:
            return printed
        marks = marks_of(marking) if here.has_picture else marks_in(marks_of(marking), passage_line(here))
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
