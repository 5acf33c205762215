"""Cutting a passage out of a line, and the marks that belong to it.

A cut keeps the addresses of its notes. A bar cut at its start counts its beats as before
(`missing` says what is gone); the clef, key and time in force stand at the start of the cut,
and the tempo marks before it go along (`tempos_before`).
A span that reaches past an edge keeps both its addresses: the one outside the passage tells
that it enters or leaves, and the engraver draws it from or to the edge.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from fractions import Fraction

from repertoire.technique.line import Bar, Clef, Event, Line, LineError, beat_label, parse_address
from repertoire.technique.marks import Mark, Marks

from .values import fitting


def cut(line: Line, start_bar: int, start_beat: Fraction | None, end_bar: int, end_beat: Fraction | None) -> Line:
    """The part of a line from bar and beat to bar and beat, by written-bar index from 1.

    Beats count from 1 as printed, None for the whole bar. `end_beat` is the last beat
    included: a whole number takes in everything that begins in that beat, a fraction what
    begins up to that place. A note is never shortened: one that began before the start is
    left out, one that begins inside keeps its length. Rests are shortened to the edge.
    Raises LineError.
    """
    first, last = _bar(line, start_bar), _bar(line, end_bar)
    start = Fraction(0) if start_beat is None else _place(first, start_beat)
    end = last.length if end_beat is None else _end(line, last, end_beat)
    if (start_bar, start) >= (end_bar, end):
        raise LineError("The passage ends before it begins: write the earlier bar and beat first.")
    bars = {b.index: b for b in line.bars if start_bar <= b.index <= end_bar}
    events = [e for e in line.events if e.bar in bars]
    if end < last.length:
        events = [e for e in (_until(e, end) if e.bar == end_bar else e for e in events) if e is not None]
        longest = max((e.end for e in events if e.bar == end_bar), default=end)
        bars[end_bar] = _ended(last, max(end, longest))
    if start > 0:
        kept = [e for e in (_from(e, start) if e.bar == start_bar else e for e in events) if e is not None]
        start = min((e.onset for e in kept if e.bar == start_bar), default=start)
        events = [replace(e, onset=e.onset - start) if e.bar == start_bar else e for e in kept]
        bars[start_bar] = _begun(bars[start_bar], start)
    if not events:
        raise LineError("No note begins in this passage: take in more beats.")
    for index, partial in ((start_bar, start > 0), (end_bar, end < last.length)):
        if partial and all(e.bar != index for e in events):
            bars.pop(index, None)  # only a note held from before sounds there
    opening = min(bars)
    bars[opening] = replace(bars[opening], key_shown=True, meter_shown=True)
    at = (opening, start if opening == start_bar else Fraction(0))
    before = (t for b in line.bars for t in b.tempos if (b.index, t.onset) < at)
    return replace(line, bars=tuple(bars.values()), events=tuple(events), tempos_before=(*line.tempos_before, *before))


def marks_in(marks: Iterable[Mark], line: Line) -> Marks:
    """The marks of a cut: those on its notes, and spans that begin, end or pass over it."""
    first, last = _key(line.events[0].address), _key(line.events[-1].address)
    found = []
    for mark in marks:
        inside = mark.at in line
        if not inside and mark.to:
            inside = mark.to in line or (_key(mark.at) < first and _key(mark.to) > last)
        if inside:
            found.append(mark)
    return tuple(sorted(found))


def entering(marks: Iterable[Mark], line: Line) -> Marks:
    """Spans that begin before the passage."""
    first = _key(line.events[0].address)
    return tuple(m for m in marks if m.to and _key(m.at) < first)


def leaving(marks: Iterable[Mark], line: Line) -> Marks:
    """Spans that end after the passage."""
    last = _key(line.events[-1].address)
    return tuple(m for m in marks if m.to and _key(m.to) > last)


def _key(address: str) -> tuple[int, int]:
    return parse_address(address)[:2]


def _bar(line: Line, index: int) -> Bar:
    try:
        return line.bar(index)
    except LineError:
        there = f"It has {len(line.bars)} bars" if line.bars else "It is empty"
        raise LineError(f"There is no bar with index {index} in this movement. {there}.") from None


def _place(bar: Bar, beat: Fraction) -> Fraction:
    place = bar.onset_of(beat)
    if not 0 <= place < bar.length:
        low, high = bar.beat(Fraction(0)), bar.beat(bar.length)
        raise LineError(
            f"Bar {bar.number} has no beat {beat_label(beat)}: it counts from {beat_label(low)} "
            f"to just before {beat_label(high)}."
        )
    return place


def _end(line: Line, bar: Bar, beat: Fraction) -> Fraction:
    """Where a passage ends whose last beat is `beat`."""
    place = _place(bar, beat)
    if beat.denominator == 1:
        return min(place + bar.meter.beat, bar.length)
    return min((e.onset for e in line.in_bar(bar.index) if e.onset > place), default=bar.length)


def _until(event: Event, end: Fraction) -> Event | None:
    """The event if it begins before `end`; a rest only as far as that."""
    if event.onset >= end:
        return None
    if event.is_rest and event.end > end:
        return _shortened(event, event.onset, end)
    return event


def _from(event: Event, start: Fraction) -> Event | None:
    """The event if it begins at `start` or later; of a rest, what is left of it."""
    if event.onset >= start:
        return event
    if event.is_rest and event.end > start:
        return _shortened(event, start, event.end)
    return None


def _shortened(rest: Event, start: Fraction, end: Fraction) -> Event | None:
    value = fitting(end - start)
    if value is None:
        return None
    return replace(rest, onset=start, duration=end - start, value=value, whole_bar=False, tuplet_ends=())


def _begun(bar: Bar, start: Fraction) -> Bar:
    before = [c for c in bar.clefs if c.onset <= start]
    clefs = (Clef(before[-1].name), *(Clef(c.name, c.onset - start) for c in bar.clefs if c.onset > start))
    return replace(
        bar,
        onset=bar.onset + start,
        length=bar.length - start,
        missing=bar.missing + start,
        clefs=clefs,
        repeat_start=False,
        rehearsal="",
        tempos=tuple(replace(t, onset=t.onset - start) for t in bar.tempos if t.onset >= start),
    )


def _ended(bar: Bar, end: Fraction) -> Bar:
    if end >= bar.length:
        return bar
    return replace(
        bar,
        length=end,
        clefs=tuple(c for c in bar.clefs if c.onset < end),
        repeat_end=0,
        barline="",
        tempos=tuple(t for t in bar.tempos if t.onset < end),
    )
