"""The same music elsewhere in a part: where a passage comes again in any of its movements, and
making it a passage there with a marking carried over. Fingers go over where pitch and strings allow; elsewhere
the hand is completed afresh, and the new marking says so."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from django.db import transaction

from repertoire.bounds import Bounds, write_place
from repertoire.excerpts import movement_notes, passage_line, printed_marks
from repertoire.fingerings import completion
from repertoire.importing import make_passage
from repertoire.left_hand import instrument_with_strings, preset_for
from repertoire.markings import make_marking, marks_of, printed_marking
from repertoire.models import Marking, Movement, Passage
from repertoire.players import full_size
from repertoire.technique.fingering_costs import RULE_VERSION
from repertoire.technique.fingering_marks import LEFT_HAND_KINDS
from repertoire.technique.line import parse_address
from repertoire.technique.marks import Aspect, Marks
from repertoire.technique.recurrence import AFRESH, Carried, NotCarried, Occurrence, carry, occurrences

EVERY_ASPECT = tuple(Aspect)


@dataclass(frozen=True)
class Place:
    """A place where the passage's music comes again, with its bounds as a passage there, and
    the passage that has these bounds already, if there is one."""

    found: Occurrence
    bounds: Bounds
    movement: Movement
    known: Passage | None = None
    own: bool = True  # in the passage's own movement

    @property
    def key(self) -> str:
        """What names the place in a form."""
        return self.found.first if self.own else f"{self.movement.number}-{self.found.first}"

    @property
    def bars(self) -> str:
        first, last = self.bounds.first_number, self.bounds.last_number
        return first if first == last else f"{first}–{last}"

    @property
    def interval(self) -> str:
        """How far the notes are moved, in words: "" at the same pitch."""
        steps, semitones = self.found.steps, self.found.semitones
        if not semitones and not steps:
            return ""
        names = ("a unison", "a second", "a third", "a fourth", "a fifth", "a sixth", "a seventh", "an octave")
        size = abs(steps)
        name = names[size] if size < len(names) else f"a {size + 1}th"
        key = ", in the key" if self.found.in_key else ""
        return f"{name} {'higher' if (semitones or steps) > 0 else 'lower'}{key}"


def places(passage: Passage) -> list[Place]:
    """Everywhere in the part that a passage's music comes again, movement by movement."""
    pattern = passage_line(passage)
    if not pattern.notes:
        return []
    revision = passage.movement.revision
    known = {
        (p.movement_id, p.start_bar, p.start_beat, p.end_bar, p.end_beat): p
        for p in Passage.objects.filter(movement__revision=revision, teacher=passage.teacher_id)
    }
    movements = Movement.objects.filter(revision=revision, notated=True).select_related("revision__part__piece")
    return [place for movement in movements.order_by("number") for place in _places_in(movement, passage, known)]


_Key = tuple[int, int, str, int, str]


def _places_in(movement: Movement, passage: Passage, known: Mapping[_Key, Passage]) -> Iterator[Place]:
    pattern, (line, _) = passage_line(passage), movement_notes(movement)
    lead = pattern.notes[0].bar - passage.start_bar
    length = passage.end_bar - passage.start_bar
    own = movement.pk == passage.movement_id
    for found in occurrences(pattern, line, own=own):
        start = parse_address(found.first)[0] - lead
        end = start + length
        if start < 1 or end > len(line.bars):
            continue
        first, last = line.bar(start).number, line.bar(end).number
        bounds = Bounds(start, passage.start_beat, end, passage.end_beat, first, last)
        there = known.get((movement.pk, start, bounds.start_beat, end, bounds.end_beat))
        yield Place(found, bounds, movement, there, own)


def carried_there(passage: Passage, place: Place, marks: Marks, aspects: tuple[Aspect, ...]) -> Carried:
    """What becomes of marks at a place, mark for mark."""
    line, _ = movement_notes(place.movement)
    return carry(marks, passage_line(passage), line, place.found, aspects)


def make_passage_there(
    passage: Passage, place: Place, marking: Marking | None, aspects: tuple[Aspect, ...] = EVERY_ASPECT
) -> tuple[Passage, tuple[NotCarried, ...]]:
    """A passage at the place (the one that is there already, if any), with the chosen aspects of
    a marking carried over mark for mark and the print for the others; returns it and the marks
    that have no place there. Fingers left behind are completed afresh: the marking then
    has the rule version they were made by."""
    line, _ = movement_notes(place.movement)
    title = f"{passage.title}, from {write_place(line, place.bounds.start_bar)}"
    with transaction.atomic():
        made = place.known or make_passage(
            place.movement, passage.teacher, place.bounds, title=title[:120], purpose=passage.purpose
        )
        printed_marking(made, passage.teacher)
        if marking is None or marking.origin == Marking.Origin.PRINTED:
            return made, ()
        carried = carried_there(passage, place, marks_of(marking), aspects)
        marks, rules, left_out = carried.marks, "", carried.left_out
        if afresh := _completed(made, marks, left_out):
            marks, rules = afresh, RULE_VERSION
            left_out = tuple(left for left in left_out if left.reason != AFRESH)
        marks = (*marks, *(m for m in printed_marks(made) if m.aspect not in aspects))
        if marks:
            make_marking(
                made,
                passage.teacher,
                marks,
                name=marking.name,
                origin=Marking.Origin.CARRIED,
                reason=marking.reason,
                source=f"from “{passage.title}”, {passage.bars}" + (", fingered afresh" if rules else ""),
                rule_version=rules,
            )
    return made, left_out


def _completed(there: Passage, marks: Marks, left_out: tuple[NotCarried, ...]) -> Marks:
    """The carried marks with the hand completed, where fingers had to be left behind; else none."""
    line = passage_line(there)
    instrument = instrument_with_strings(there, line)
    if not instrument or not any(left.mark.kind in LEFT_HAND_KINDS for left in left_out):
        return ()
    made = completion(line, marks, full_size(instrument), preset=preset_for(there.movement))
    return made.marks if made else ()
