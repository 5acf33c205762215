"""A newer file of a part: passages and markings of the file before, carried over note by note.

Nothing shifts silently. The old passages, markings and sheets stay where they are; each
carried passage is a new one with the same printed bars, each marking a new version of it.
A mark goes over when the same note stands at the same bar and beat; whatever doesn't is
listed with the reason.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from django.db import transaction

from repertoire.bounds import BoundsError, bounds_of, read_bounds, write_bounds
from repertoire.excerpts import movement_notes, passage_line
from repertoire.importing import make_passage
from repertoire.markings import make_marking, marks_of, printed_marking
from repertoire.models import Marking, Movement, Part, Passage
from repertoire.notation.signs import describe
from repertoire.technique.line import Line, event_address
from repertoire.technique.marks import Mark
from studio.models import Teacher


@dataclass
class CarriedPassage:
    """What became of one passage: the new one (None when it has no place) and what was left out."""

    before: Passage
    after: Passage | None = None
    left_out: list[str] = field(default_factory=list)


def waiting(part: Part, teacher: Teacher) -> list[Passage]:
    """A teacher's passages of earlier files of a part that haven't been carried to its present one. A picture
    stays what it was, whatever file comes."""
    present = part.revision
    if present is None:
        return []
    carried = Passage.objects.filter(movement__revision=present, extends__isnull=False).values("extends")
    return list(
        Passage.objects.filter(movement__revision__part=part, teacher=teacher)
        .exclude(movement__revision=present)
        .exclude(pk__in=carried)
        .filter(picture=None)
        .select_related("movement__revision__part__piece")
        .order_by("movement__revision__number", "movement__number", "start_bar", "id")
    )


def carry_over(part: Part, teacher: Teacher) -> list[CarriedPassage]:
    """Carry every waiting passage of a teacher to the part's present file."""
    present = part.revision
    if present is None:
        return []
    movements = {m.number: m for m in present.movements.select_related("revision")}
    with transaction.atomic():
        return [_carry_passage(p, movements.get(p.movement.number)) for p in waiting(part, teacher)]


def _carry_passage(passage: Passage, movement: Movement | None) -> CarriedPassage:
    done = CarriedPassage(passage)
    if movement is None:
        done.left_out.append(f"the present file has no movement {passage.movement.number}.")
        return done
    old = movement_notes(passage.movement)[0] if passage.movement.notated else None
    new = movement_notes(movement)[0] if movement.notated else None
    try:
        if old is not None and new is not None and old.events == new.events:
            # The same notes, whatever their bars are numbered: nothing has to be looked for.
            first, last = new.bar(passage.start_bar), new.bar(passage.end_bar)
            bounds = replace(bounds_of(passage), first_number=first.number, last_number=last.number)
        else:
            bounds = read_bounds(write_bounds(old, bounds_of(passage)), new, movement.bar_count)
    except BoundsError as error:
        done.left_out.append(str(error))
        return done
    done.after = make_passage(
        movement, passage.teacher, bounds, title=passage.title, purpose=passage.purpose, extends=passage
    )
    if new is None:
        return done
    printed_marking(done.after, passage.teacher)
    if old is None:
        return done
    before, after = passage_line(passage), passage_line(done.after)
    pairs = same_notes(before, after)
    for marking in Marking.objects.filter(passage=passage).exclude(origin=Marking.Origin.PRINTED):
        kept: list[Mark] = []
        for mark in marks_of(marking):
            moved = _moved(mark, pairs)
            if moved:
                kept.append(moved)
            elif mark.at in before:
                done.left_out.append(f"{marking.name}: {describe(mark, before)}: the same note doesn’t stand there.")
        make_marking(
            done.after,
            passage.teacher,
            kept,
            name=marking.name,
            origin=Marking.Origin.CARRIED,
            reason=marking.reason,
            source=f"from the file before, {passage.bars}",
        )
    return done


def same_notes(before: Line, after: Line) -> dict[str, str]:
    """Addresses of one cut's events and the other's where the same pitches begin at the same
    bar of the cut and the same beat; of several at one place the order decides."""
    places: dict[tuple[object, ...], list[str]] = {}
    for key, address in _keys(after):
        places.setdefault(key, []).append(address)
    pairs = {}
    for key, address in _keys(before):
        if places.get(key):
            pairs[address] = places[key].pop(0)
    return pairs


def _keys(line: Line) -> list[tuple[tuple[object, ...], str]]:
    order = {bar.index: n for n, bar in enumerate(line.bars)}
    return [((order[e.bar], line.bar(e.bar).beat(e.onset), bool(e.grace), e.pitches), e.address) for e in line.events]


def _moved(mark: Mark, pairs: dict[str, str]) -> Mark | None:
    ends = [_counterpart(a, pairs) if a else "" for a in (mark.at, mark.to)]
    if ends[0] is None or ends[1] is None:
        return None
    return replace(mark, at=ends[0], to=ends[1])


def _counterpart(address: str, pairs: dict[str, str]) -> str | None:
    event = event_address(address)
    return pairs[event] + address[len(event) :] if event in pairs else None
