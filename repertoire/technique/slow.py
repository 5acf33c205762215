"""Slow and slurred: every value doubled together with the metre's unit, so that the bars stay.

Each bar is one slow slur where its notes allow it; where a note comes twice in a row it is divided
evenly, into halves, beats or half beats, so that no bow begins between two that belong together.
A metre that would count in whole notes is written in half notes (2/2 becomes 4/2). What can't be
vibrated is listed, for a passage that is to be sustained throughout.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import groupby, pairwise
from typing import Final, Literal

from .dynamic_words import measuring
from .fingering import Fingering
from .left_hand import without_vibrato
from .line import TYPES, Bar, Event, Line, Meter, Value
from .marks import Aspect, Kind, Mark, Marks
from .practice_staves import Stave, StaveError
from .rewriting import rewrite

Slurs = Literal["bar", "beat", "as marked"]
_TYPES: Final = tuple(TYPES)
_KEPT: Final = frozenset((Kind.DYNAMIC, Kind.PHRASE, Kind.HIGH_POINT, Kind.OCTAVE))


def _doubled(value: Value) -> Value:
    place = _TYPES.index(value.type)
    if not place:
        raise StaveError("A maxima can’t be doubled.")
    return replace(value, type=_TYPES[place - 1])


def _double_bar(bar: Bar) -> Bar:
    if bar.meter.beat_type < 2 or bar.meter.beat_type % 2:
        raise StaveError(f"The metre {bar.meter} has no longer unit.")
    meter = Meter(bar.meter.beats, bar.meter.beat_type // 2)
    if meter.beat_type == 1 and meter.beats.isdecimal():
        meter = Meter(str(2 * int(meter.beats)), 2)
    return replace(
        bar,
        length=bar.length * 2,
        meter=meter,
        missing=bar.missing * 2,
        clefs=tuple(replace(c, onset=c.onset * 2) for c in bar.clefs),
        tempos=(),
        meter_shown=bar.meter_shown,
    )


def doubled(line: Line, marks: Marks) -> tuple[Line, Marks]:
    """Every value and the metre's unit doubled, bar numbers kept; marks stay on their notes."""

    bars = {b.index: _double_bar(b) for b in line.bars}
    onset = line.bars[0].onset
    made_bars = []
    for bar in line.bars:
        made_bars.append(replace(bars[bar.index], onset=onset))
        onset += bars[bar.index].length
    events = tuple(
        replace(
            e,
            onset=e.onset * 2,
            duration=e.duration * 2,
            value=e.value if e.grace or e.whole_bar else _doubled(e.value),
            tremolo=max(0, e.tremolo - 1) if e.tremolo else 0,
        )
        for e in line.events
    )
    made = replace(line, bars=tuple(made_bars), events=events)
    again = rewrite(made, lambda event: None, fresh_beams=True)
    return again.line, again.carry(marks)


def _scaled(mark: Mark) -> Mark:
    """Places within a long note move with its length."""
    options = tuple(
        (name, str(Fraction(value) * 2) if name in ("after", "until") else value) for name, value in mark.options
    )
    return replace(mark, options=options)


def slow(line: Line, marks: Marks, fingering: Fingering | None = None, *, slurs: Slurs = "bar") -> Stave:
    """Values doubled, ornaments out, slurs by the bar: sustained. Remarks list what can't be vibrated."""
    plain = rewrite(line, lambda event: () if event.grace else None)
    measured = measuring(marks)
    kept = plain.carry(
        marks,
        lambda m: (
            (m.aspect is Aspect.LEFT_HAND and m.kind is not Kind.VIBRATO)
            or m.kind in _KEPT
            or m in measured
            or (slurs == "as marked" and m.kind in (Kind.SLUR, Kind.BOW, Kind.HOOK, Kind.RETAKE))
        ),
    )
    made, carried = doubled(plain.line, tuple(_scaled(m) for m in kept))
    if slurs != "as marked":
        carried = (*carried, *_slurs(made, slurs))
    return Stave(
        made,
        tuple(sorted(set(carried))),
        "Slow and slurred: sustain every note to its end, the bow moving without a stop.",
        _unvibrated(line, fingering),
    )


def _slurs(line: Line, by: Slurs) -> list[Mark]:
    """Slurs over the notes of a bar (or beat, or an even part of the bar); a rest or a repeated note ends one."""
    out: list[Mark] = []
    group: list[Event] = []
    voices = {e.voice for e in line.notes}
    if len(voices) > 1:
        return []

    parts = {bar.index: _even_part(line, bar) for bar in line.bars} if by == "bar" else {}

    def close() -> None:
        if len(group) > 1:
            out.append(Mark(Kind.SLUR, group[0].address, to=group[-1].address))
        group.clear()

    for event in line.events:
        bar = line.bar(event.bar)
        if group:
            last = group[-1]
            parted = last.bar != event.bar and not event.continues
            part = bar.meter.beat if by == "beat" else parts[bar.index]
            if part and (bar.missing + event.onset) // part != (bar.missing + last.onset) // part:
                parted = True
            again = last.pitches == event.pitches and not event.continues
            if parted or again or event.is_rest:
                close()
        if not event.is_rest and not (event.continues and not group):
            group.append(event)
    close()
    return out


def _even_part(line: Line, bar: Bar) -> Fraction | None:
    """The longest even part of a bar in whose stretches no note comes twice in a row, each stretch
    with a note to slur to; None for the whole bar, also where no part would do."""
    events = [e for e in line.in_bar(bar.index) if not e.grace]
    if not any(a.pitches and a.pitches == b.pitches and not b.continues for a, b in pairwise(events)):
        return None
    whole, beat = bar.meter.length, bar.meter.beat
    for part in (whole / 2, beat, beat / 2):
        if whole % part or (beat % part if part < beat else part % beat):
            continue
        groups = [list(found) for _, found in groupby(events, key=lambda e: (bar.missing + e.onset) // part)]
        slurred = any(sum(1 for e in group if e.pitches) > 1 for group in groups)
        if slurred and all(_one_slur(group, part) for group in groups):
            return part
    return None


def _one_slur(group: list[Event], part: Fraction) -> bool:
    """Whether a stretch makes one slur: two notes or more, none twice in a row; a note that fills it stands alone."""
    notes = [e for e in group if e.pitches]
    if len(notes) < 2:
        return not notes or notes[0].duration >= part or len(group) > 1
    return not any(a.pitches == b.pitches and not b.continues for a, b in pairwise(group) if a.pitches)


def _unvibrated(line: Line, fingering: Fingering | None) -> tuple[str, ...]:
    if fingering is None:
        return ()
    found: dict[str, list[str]] = {}
    for address in without_vibrato(fingering):
        if address in line:
            placed = fingering.by_address[address]
            name = f"{placed.pitch.label} ({'harmonic' if placed.harmonic else 'open'})"
            found.setdefault(name, []).append(line.bar_of(address).number)
    if not found:
        return ()
    words = []
    for name, numbers in found.items():
        bars = list(dict.fromkeys(numbers))
        words.append(f"{name} in {'bar' if len(bars) == 1 else 'bars'} {', '.join(bars)}")
    return (f"Can’t be vibrated: {'; '.join(words)}.",)
