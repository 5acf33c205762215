"""What is printed under an item's staves on request: bow distribution or left hand, and signs for every stroke.

The strip is the one the passage's page shows, in one ink, at the item's own tempo. Signs that
nobody marked stand in brackets; without a wish only the teacher's marks are printed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from django.http import QueryDict

from lessons.models import Assignment
from lessons.sheet_content import Content, Item, Tempo
from repertoire.bow import AS_MARKED, PLANNED, BowAsked, bow_settings, inferred_marks
from repertoire.comparison import Version, with_strip
from repertoire.excerpts import passage_line, picture
from repertoire.models import Marking, Passage
from repertoire.notation.look import Look
from repertoire.notation.picture import Picture
from repertoire.players import Player, player_of
from repertoire.technique.marks import Marks, dump
from repertoire.technique.strings import STRING_LENGTH
from studio.terms import terms_for

BOW, PLANNED_BOW, HAND, EVERY = "bow", "planned bow", "hand", "every"
UNDER = (
    ("", "nothing under it"),
    (BOW, "bow distribution as marked"),
    (PLANNED_BOW, "bow distribution, planned"),
    (HAND, "left hand, completed"),
)
SIGNS = (("", "bow signs as marked"), (EVERY, "a bow sign for every stroke"))
_QUARTERS = {
    "whole": Fraction(4), "half": Fraction(2), "dotted half": Fraction(3), "quarter": Fraction(1),
    "dotted quarter": Fraction(3, 2), "eighth": Fraction(1, 2), "dotted eighth": Fraction(3, 4), "16th": Fraction(1, 4),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Wish:
    """What goes with one item: a key of UNDER and one of SIGNS."""

    under: str = ""
    signs: str = ""


def wishes(given: QueryDict, assignments: Iterable[Assignment]) -> dict[int, Wish]:
    """What is asked for each assignment (`under-3`, `signs-3`); unknown values ask for nothing."""
    out = {}
    for assignment in assignments:
        under, signs = given.get(f"under-{assignment.pk}", ""), given.get(f"signs-{assignment.pk}", "")
        out[assignment.pk] = Wish(under if under in dict(UNDER) else "", signs if signs in dict(SIGNS) else "")
    return out


def with_wishes(content: Content, wanted: Mapping[int, Wish]) -> Content:
    """The content with what goes under its items."""
    items = []
    for item in content.items:
        wish = wanted.get(item.assignment)
        items.append(replace(item, under=wish.under, bow_signs=wish.signs) if wish and item.with_excerpt else item)
    return replace(content, items=tuple(items))


def printed_picture(
    passage: Passage, marks: Marks, look: Look, item: Item, content: Content
) -> tuple[Picture, tuple[str, ...]]:
    """An item's picture with what is to stand under each system, and the same in words."""
    if not passage.has_notation or not (item.under or item.bow_signs):
        return picture(passage, marks, look), ()
    settings, costs = bow_settings(passage.teacher.studio)
    reading = PLANNED if item.under == PLANNED_BOW else AS_MARKED
    asked = BowAsked(reading=reading, tempo=quarters(item.tempo), settings=settings, costs=costs)
    unkept = Marking(passage=passage, marks=dump(marks))
    player = _player(item, look.instrument) if item.under == HAND else None
    version = Version(unkept, passage_line(passage), look.instrument, terms_for(content.terms), player, asked)
    shown = marks
    if item.bow_signs == EVERY:
        extra = inferred_marks(version.bowing)
        shown, look = (*marks, *extra), replace(look, inferred=extra)
    drawn = picture(passage, shown, look)
    if not item.under:
        return drawn, ()
    done = [with_strip(version, system, HAND if item.under == HAND else BOW) for system in drawn.systems]
    return replace(drawn, systems=tuple(system for system, _ in done)), tuple(words for _, words in done)


def _player(item: Item, instrument: str) -> Player | None:
    """The student's own hand, as the left hand is completed for it."""
    assignment = Assignment.objects.select_related("student").filter(pk=item.assignment).first()
    return player_of(assignment.student, instrument) if assignment and instrument in STRING_LENGTH else None


def quarters(tempo: Tempo | None) -> int | None:
    """Quarter notes a minute of an item's tempo as it is now, else its goal; None when it has none."""
    beats = (tempo.now or tempo.goal) if tempo else 0
    return round(beats * _QUARTERS.get(tempo.unit, Fraction(1))) if tempo and beats else None
