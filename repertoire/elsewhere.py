"""The same music elsewhere in a movement: where a passage comes again, and making it a passage
there with a marking carried over. Fingers go over where pitch and strings allow; elsewhere
the hand is completed afresh, and the new marking says so."""

from __future__ import annotations

from dataclasses import dataclass

from django.db import transaction

from repertoire.bounds import Bounds, write_place
from repertoire.excerpts import movement_notes, passage_line
from repertoire.fingerings import completion
from repertoire.importing import make_passage
from repertoire.left_hand import instrument_with_strings, preset_for
from repertoire.markings import make_marking, marks_of, printed_marking
from repertoire.models import Marking, Passage
from repertoire.players import full_size
from repertoire.technique.fingering_costs import RULE_VERSION
from repertoire.technique.fingering_marks import LEFT_HAND_KINDS
from repertoire.technique.line import parse_address
from repertoire.technique.marks import Aspect, Marks
from repertoire.technique.recurrence import AFRESH, NotCarried, Occurrence, carry, occurrences


@dataclass(frozen=True)
class Place:
    """A place where the passage's music comes again, with its bounds as a passage there, and
    the passage that has these bounds already, if there is one."""

    found: Occurrence
    bounds: Bounds
    known: Passage | None = None

    @property
    def key(self) -> str:
        """What names the place in a form."""
        return self.found.first

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
        names = ("unison", "second", "third", "fourth", "fifth", "sixth", "seventh", "octave")
        size = abs(steps)
        name = names[size] if size < len(names) else f"{size + 1}th"
        return f"a {name} {'higher' if (semitones or steps) > 0 else 'lower'}"


def places(passage: Passage) -> list[Place]:
    """Everywhere in the passage's movement that its music comes again, in order."""
    pattern, (line, _) = passage_line(passage), movement_notes(passage.movement)
    if not pattern.notes:
        return []
    lead = pattern.notes[0].bar - passage.start_bar
    length = passage.end_bar - passage.start_bar
    known = {
        (p.start_bar, p.start_beat, p.end_bar, p.end_beat): p
        for p in Passage.objects.filter(movement=passage.movement_id, teacher=passage.teacher_id)
    }
    out = []
    for found in occurrences(pattern, line):
        start = parse_address(found.first)[0] - lead
        end = start + length
        if start < 1 or end > len(line.bars):
            continue
        first, last = line.bar(start).number, line.bar(end).number
        bounds = Bounds(start, passage.start_beat, end, passage.end_beat, first, last)
        out.append(Place(found, bounds, known.get((start, bounds.start_beat, end, bounds.end_beat))))
    return out


def make_passage_there(
    passage: Passage, place: Place, marking: Marking | None
) -> tuple[Passage, tuple[NotCarried, ...]]:
    """A passage at the place, with a marking carried over mark for mark; returns it and the
    marks that have no place there. Fingers left behind are completed afresh: the marking then
    has the rule version they were made by."""
    line, _ = movement_notes(passage.movement)
    title = f"{passage.title}, from {write_place(line, place.bounds.start_bar)}"
    with transaction.atomic():
        made = make_passage(passage.movement, passage.teacher, place.bounds, title=title[:120], purpose=passage.purpose)
        printed_marking(made, passage.teacher)
        if marking is None or marking.origin == Marking.Origin.PRINTED:
            return made, ()
        carried = carry(marks_of(marking), passage_line(passage), line, place.found, tuple(Aspect))
        marks, rules, left_out = carried.marks, "", carried.left_out
        if afresh := _completed(made, marks, left_out):
            marks, rules = afresh, RULE_VERSION
            left_out = tuple(left for left in left_out if left.reason != AFRESH)
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
