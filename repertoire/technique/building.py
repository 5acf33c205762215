"""Building a bar up: note by note, from its end backwards, and stopping before each shift.

Each bar of the exercise is the passage's bar with what isn't played yet as rests, so that the
pulse goes on. Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Final

from .fingering import Fingering
from .line import Bar, Event, Line
from .marks import Kind, Mark, Marks
from .note_values import beamed, rest_values
from .practice_staves import Stave, StaveError
from .shift_staves import shifts_in

NOTES_AT_MOST: Final = 12
NOTES_AT_LEAST: Final = 3


def busiest_bar(line: Line) -> Bar | None:
    """The bar with the most notes to be added one by one; None where no bar suits."""
    counts = [(len(_struck(line, b)), -n, b) for n, b in enumerate(line.bars)]
    fitting = [c for c in counts if NOTES_AT_LEAST <= c[0] <= NOTES_AT_MOST and _one_voice(line, c[2])]
    return max(fitting, key=lambda c: c[:2])[2] if fitting else None


def _one_voice(line: Line, bar: Bar) -> bool:
    return len({e.voice for e in line.in_bar(bar.index)}) == 1


def _struck(line: Line, bar: Bar) -> list[Event]:
    return [e for e in line.in_bar(bar.index) if e.pitches and not e.grace and not e.continues]


def _one_bar(line: Line) -> Bar:
    bar = line.bars[0] if len(line.bars) == 1 else busiest_bar(line)
    if bar is None or not len(_struck(line, bar)) >= NOTES_AT_LEAST or not _one_voice(line, bar):
        raise StaveError(f"Choose a bar of {NOTES_AT_LEAST} to {NOTES_AT_MOST} notes in one voice to build up.")
    if len(_struck(line, bar)) > NOTES_AT_MOST:
        raise StaveError(f"Bar {bar.number} has more than {NOTES_AT_MOST} notes to add one by one.")
    return bar


def note_by_note(line: Line, marks: Marks) -> Stave:
    """The first two notes of a bar, then one more each time. Raises StaveError."""
    bar = _one_bar(line)
    struck = _struck(line, bar)
    kept = [_through(line, bar, struck[: count + 1]) for count in range(1, len(struck))]
    made, carried = _copies(line, bar, marks, kept)
    return Stave(made, carried, f"Bar {bar.number}, one note more each time.")


def from_the_end(line: Line, marks: Marks) -> Stave:
    """The last beat of a bar, then the last two, until the bar is whole. Raises StaveError."""
    bar = _one_bar(line)
    beats: dict[int, list[Event]] = {}
    for event in _struck(line, bar):
        beats.setdefault(int((bar.missing + event.onset) // bar.meter.beat), []).append(event)
    if len(beats) < 2:
        raise StaveError(f"The notes of bar {bar.number} all begin in one beat.")
    order = sorted(beats)
    kept = [
        _through(line, bar, [e for beat in order[-count:] for e in beats[beat]]) for count in range(1, len(order) + 1)
    ]
    made, carried = _copies(line, bar, marks, kept)
    return Stave(made, carried, f"Bar {bar.number} from its end backwards, one beat more each time.")


def _through(line: Line, bar: Bar, struck: Sequence[Event]) -> frozenset[str]:
    """The addresses of notes with their ties and the grace notes that lead to them."""
    wanted = {e.address for e in struck}
    out: set[str] = set()
    graces: list[str] = []
    before = False
    for event in line.in_bar(bar.index):
        if event.grace:
            graces.append(event.address)
            continue
        before = event.address in wanted or (event.continues and before)
        if before:
            out.add(event.address)
            out.update(graces if event.address in wanted else ())
        graces = []
    return frozenset(out)


def _copies(line: Line, bar: Bar, marks: Marks, kept: Sequence[Collection[str]]) -> tuple[Line, Marks]:
    """The bar once for each set of notes that sound; the rest of it is rests."""
    bars: list[Bar] = []
    events: list[Event] = []
    out: set[Mark] = set()
    source = line.in_bar(bar.index)
    onset = Fraction(0)
    for index, sounding in enumerate(kept, 1):
        made = replace(
            bar, index=index, number=str(index), onset=onset, key_shown=index == 1, meter_shown=index == 1,
            repeat_start=False, repeat_end=0, ending=(), jump="", rehearsal="", tempos=(),
            barline="light-light" if index == len(kept) else "",
        )  # fmt: skip
        onset += bar.length
        row = _with_rests(source, sounding, bar)
        named = [replace(e, address=f"b{index}n{n}", bar=index) for n, (e, _) in enumerate(row, 1)]
        where = {old: new.address for new, (_, old) in zip(named, row, strict=True) if old}
        bars.append(made)
        events += beamed(made, named)
        out |= _marks(line, marks, where)
    return Line(tuple(bars), _untied(events), instrument=line.instrument), tuple(sorted(out))


def _with_rests(source: Sequence[Event], sounding: Collection[str], bar: Bar) -> list[tuple[Event, str]]:
    """The bar's events with rests where nothing sounds yet; each with the address it came from."""
    row: list[tuple[Event, str]] = []
    silent_from = Fraction(0)

    def rest_until(place: Fraction) -> None:
        beat = bar.meter.beat
        pairs = not bar.meter.length % (2 * beat) and beat * bar.meter.beat_type == 4
        for onset, value in rest_values(bar.missing + silent_from, bar.missing + place, beat, pairs=pairs):
            row.append((Event("b1n1", 1, onset - bar.missing, value.quarters, (), value), ""))

    tuplets = {e.address for e in source if e.value.tuplet}
    for event in source:
        if event.address not in sounding and not (event.address in tuplets and not event.grace):
            continue
        if event.onset > silent_from:
            rest_until(event.onset)
        if event.address in sounding:
            row.append((event, event.address))
        else:  # inside a tuplet the rests keep its values
            row.append((replace(event, pitches=(), tied_from=(), tied_to=(), accidentals=(), tremolo=0), ""))
        silent_from = max(silent_from, event.end)
    if silent_from < bar.length:
        rest_until(bar.length)
    return row


def _marks(line: Line, marks: Marks, where: dict[str, str]) -> set[Mark]:
    out: set[Mark] = set()
    order = list(where)
    for mark in marks:
        event, _, member = mark.at.partition("p")
        if not mark.to:
            if event in where and mark.kind not in (Kind.TEXT, Kind.DYNAMIC):
                out.add(replace(mark, at=where[event] + (f"p{member}" if member else "")))
            continue
        if mark.kind not in (Kind.SLUR, Kind.HOOK, Kind.HOLD) or mark.at not in line or mark.to not in line:
            continue
        low, high = line.order(mark.at), line.order(mark.to)
        inside = [a for a in order if low <= line.order(a) <= high]
        if len(inside) > 1:
            out.add(replace(mark, at=where[inside[0]], to=where[inside[-1]]))
    return out


def _untied(events: Sequence[Event]) -> tuple[Event, ...]:
    """Ties only between notes that both stand here."""
    out: list[Event] = []
    for place, event in enumerate(events):
        after = events[place + 1] if place + 1 < len(events) else None
        before = events[place - 1] if place else None
        leads = after is not None and after.bar == event.bar and after.pitches == event.pitches and any(after.tied_from)
        comes = (
            before is not None and before.bar == event.bar and before.pitches == event.pitches and any(before.tied_to)
        )
        out.append(replace(event, tied_to=event.tied_to if leads else (), tied_from=event.tied_from if comes else ()))
    return tuple(out)


def stop_before_shifts(line: Line, marks: Marks, fingering: Fingering) -> Stave:
    """The passage with a stop before every shift: the slur ends, the hand moves, the bow goes on."""
    found = shifts_in(line, fingering)
    if not found:
        raise StaveError("There is no shift in this marking.")
    out = {m for m in marks if m.kind is not Kind.SLIDE}
    for shift in found:
        start, end = shift.start.address.partition("p")[0], shift.end.address.partition("p")[0]
        stop, go = line.order(start), line.order(end)
        for mark in [m for m in out if m.kind in (Kind.SLUR, Kind.HOOK) and m.at in line and m.to in line]:
            low, high = line.order(mark.at), line.order(mark.to)
            if low <= stop < go <= high:
                out.discard(mark)
                if low < stop:
                    out.add(replace(mark, to=start))
                if go < high:
                    out.add(replace(mark, at=end))
        out.add(Mark(Kind.FERMATA, start))
    words = "Stop before each shift, hear the arrival, then go."
    return Stave(
        line, tuple(sorted(out)), words if len(found) > 1 else "Stop before the shift, hear the arrival, then go."
    )
