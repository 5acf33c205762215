"""Bars of an exercise set from notes: what a teacher writes on a blank stave for one difficulty.

Each bar is a row of notes of its own length; the metre is that of the row, in quarters, and is
printed where it changes. Key and clef are those of the place the exercise was made from.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from .line import Bar, Clef, Event, Line, Meter, Value
from .marks import Kind, Mark
from .note_values import beamed, tied_values
from .rewriting import Note


def exercise(
    near: Line,
    address: str,
    rows: Sequence[Sequence[Note]],
    *,
    meter: Meter | None = None,
    slurred: bool = False,
    barline: str = "light-light",
) -> tuple[Line, list[Mark]]:
    """Bars from rows of notes, in the key and clef at an address of the passage, with the marks
    the notes carry. `slurred` puts a slur over every row of two notes and more."""
    here = near.bar_of(address)
    clef = [c for c in here.clefs if c.onset <= near.event(address).onset][-1].name
    bars: list[Bar] = []
    events: list[Event] = []
    marks: list[Mark] = []
    onset = Fraction(0)
    before: Meter | None = None
    for index, row in enumerate(rows, 1):
        length = sum((n.length for n in row if not n.grace), Fraction(0))
        time = meter if meter is not None and meter.length == length else _meter(length)
        bar = Bar(
            index, str(index), onset, length, time, here.key, here.mode, (Clef(clef),), key_shown=index == 1,
            meter_shown=time != before, barline=barline if index == len(rows) else "",
        )  # fmt: skip
        made, own = _events(index, row, time)
        bars.append(bar)
        events += beamed(bar, made)
        marks += own
        struck = [e for e in made if e.pitches]
        if slurred and len(struck) > 1:
            marks.append(Mark(Kind.SLUR, struck[0].address, to=struck[-1].address))
        onset += length
        before = time
    return Line(tuple(bars), tuple(events), instrument=near.instrument), marks


def _meter(length: Fraction) -> Meter:
    if length.denominator == 1:
        return Meter(str(length.numerator), 4)
    return Meter(str(length.numerator), 4 * length.denominator)


def _events(index: int, row: Sequence[Note], time: Meter) -> tuple[list[Event], list[Mark]]:
    events: list[Event] = []
    marks: list[Mark] = []
    place = Fraction(0)
    for note in row:
        values = [note.value or Value("eighth")] if note.grace else None
        if values is None:
            values = [note.value] if note.value else list(tied_values(place, note.length, time.beat))
        size = len(note.pitches)
        for number, value in enumerate(values):
            address = f"b{index}n{len(events) + 1}"
            event = Event(
                address, index, place, Fraction(0) if note.grace else value.quarters, note.pitches, value,
                grace=note.grace, tuplet_ends=note.tuplet_ends if not number else (),
            )  # fmt: skip
            if note.pitches and len(values) > 1:
                event = replace(event, tied_from=(number > 0,) * size, tied_to=(number < len(values) - 1,) * size)
            if not number and note.pitches:
                marks += _marks(event, note)
            events.append(event)
            place += event.duration
    return events, marks


def _marks(event: Event, note: Note) -> list[Mark]:
    """The finger and string of a note; of a chord, fingers and strings from below, parted by commas."""
    out = []
    for kind, text in ((Kind.FINGER, note.finger), (Kind.STRING, note.string)):
        for member, value in zip(event.members, text.split(","), strict=False):
            if value:
                out.append(Mark(kind, member, value))
    return out
