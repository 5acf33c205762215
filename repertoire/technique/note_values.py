"""How lengths are written: the value of a length, a chain of tied values, beams by the beat.

Lengths are exact fractions of a quarter note. A tuplet is its ratio, (3, 2) for three in the
time of two; its notes are written with the value they would have without it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache
from typing import Final

from .line import TYPES, Bar, Event, Value

_PLAIN: Final = {Value(name, dots).quarters: Value(name, dots) for dots in (2, 1, 0) for name in TYPES}
_SINGLE: Final = sorted({Value(name, dots).quarters for dots in (0, 1) for name in TYPES}, reverse=True)
_BEAMS: Final = {"eighth": 1, "16th": 2, "32nd": 3, "64th": 4, "128th": 5, "256th": 6}


class UnwrittenLength(ValueError):
    """A length that no chain of values can write."""


@lru_cache(2048)
def value_of(length: Fraction, tuplet: tuple[int, int] | None = None) -> Value | None:
    """The single value of a length, under a tuplet ratio when one is given; None when there is none."""
    found = _PLAIN.get(length if tuplet is None else length * tuplet[0] / tuplet[1])
    return None if found is None else Value(found.type, found.dots, tuplet)


@lru_cache(2048)
def values_for(length: Fraction) -> tuple[Value, ...]:
    """The fewest values, longest first, that add up to a length. Raises UnwrittenLength."""
    out: list[Value] = []
    left = length
    while left > 0:
        fit = next((single for single in _SINGLE if single <= left), None)
        if fit is None:
            raise UnwrittenLength(f"A length of {length} quarter notes can’t be written in notes.")
        found = value_of(fit)
        assert found is not None
        out.append(found)
        left -= fit
    return tuple(out)


def tied_values(start: Fraction, length: Fraction, beat: Fraction) -> tuple[Value, ...]:
    """The values of a note from a place of a bar: one where one will do, else parted at the beat."""
    single = value_of(length)
    if single is not None and single.dots < 2:
        return (single,)
    room = beat - start % beat
    if room >= length:
        found = values_for(length)
        return found if not start % beat else tuple(reversed(found))
    first = values_for(room)
    return (*(first if not start % beat else reversed(first)), *tied_values(start + room, length - room, beat))


def rest_values(
    start: Fraction, end: Fraction, beat: Fraction, *, pairs: bool = False
) -> tuple[tuple[Fraction, Value], ...]:
    """Rests (onset and value) from one place of a bar to another: up to the next beat, then beat by
    beat, or two at a time (`pairs`, as in 4/4) where they begin on the first of a pair."""
    out: list[tuple[Fraction, Value]] = []
    place = start
    while place < end:
        room = beat - place % beat
        if pairs and not place % (2 * beat) and end - place >= 2 * beat:
            room = 2 * beat
        for value in values_for(min(room, end - place)):
            out.append((place, value))
            place += value.quarters
    return tuple(out)


def beamed(bar: Bar, events: Sequence[Event]) -> tuple[Event, ...]:
    """The events of a bar with beams anew, by the counted beat; grace notes keep theirs."""
    groups: list[list[Event]] = []
    running: dict[int, list[Event]] = {}
    for event in events:
        if event.grace:
            continue
        group = running.get(event.voice, [])
        beamable = not event.is_rest and event.value.type in _BEAMS
        window = (bar.missing + event.onset) // bar.meter.beat
        follows = bool(group) and beamable and group[-1].end == event.onset
        if follows and (bar.missing + group[-1].onset) // bar.meter.beat == window:
            group.append(event)
            continue
        running.pop(event.voice, None)
        if beamable:
            running[event.voice] = fresh = [event]
            groups.append(fresh)
    beams: dict[str, tuple[str, ...]] = {}
    for group in groups:
        if len(group) > 1:
            beams |= zip((e.address for e in group), _beams(group), strict=True)
    return tuple(e if e.grace else replace(e, beams=beams.get(e.address, ())) for e in events)


def _beams(group: Sequence[Event]) -> list[tuple[str, ...]]:
    counts = [_BEAMS[e.value.type] for e in group]
    out: list[tuple[str, ...]] = []
    for place, count in enumerate(counts):
        before = counts[place - 1] if place else 0
        after = counts[place + 1] if place + 1 < len(counts) else 0
        signs = []
        for level in range(1, count + 1):
            if before >= level and after >= level:
                signs.append("continue")
            elif after >= level:
                signs.append("begin")
            elif before >= level:
                signs.append("end")
            else:
                signs.append("forward hook" if not place else "backward hook")
        out.append(tuple(signs))
    return out
