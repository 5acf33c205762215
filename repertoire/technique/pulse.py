"""Changes of tempo and fermatas in playing: where they stand in played time, and what they do to it.

A part's metronome figures are taken as shares of the tempo it opens with, so that one tempo at the
beginning decides them all; words without a figure (a ritardando, più mosso) change nothing. "Tempo I"
goes back to the opening. A fermata has no fixed length (common practice): here it is held as long
again as it is written, at least a beat and at most a bar.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from .line import Event, Line, TempoMark, event_address
from .marks import Kind, Marks
from .played import PlayedBar, played_bars

_FIRST: Final = re.compile(r"\b(tempo\s+(i|1|primo|1mo|1°|i°)|(primo|1°|1mo|i°)\s+tempo)(?!\w)", re.IGNORECASE)
SLOWEST_SHARE, FASTEST_SHARE = Fraction(1, 4), Fraction(4)  # of the opening tempo; beyond that a figure is a misprint


@dataclass(frozen=True)
class Pulse:
    """How played time runs. `changes` are (place, how long a quarter note lasts from there, 1 at the
    opening tempo), the first at 0; `holds` are (place, what is added before it). Places are played
    quarter notes as written, amounts quarter notes of the opening tempo."""

    changes: tuple[tuple[Fraction, Fraction], ...] = ((Fraction(0), Fraction(1)),)
    holds: tuple[tuple[Fraction, Fraction], ...] = ()

    @property
    def even(self) -> bool:
        return not self.holds and all(share == 1 for _, share in self.changes)

    def at(self, place: Fraction) -> Fraction:
        """A place of written played time in quarter notes of the opening tempo; what ends at a hold
        ends after it, what begins there begins after it."""
        out = Fraction(0) if place >= 0 else place
        for number, (begin, share) in enumerate(self.changes):
            end = self.changes[number + 1][0] if number + 1 < len(self.changes) else place
            if place > begin:
                out += (min(place, end) - begin) * share
        return out + sum((extra for hold, extra in self.holds if hold <= place), Fraction(0))


EVEN: Final = Pulse()


def quarters_a_minute(mark: TempoMark) -> Fraction | None:
    """A metronome figure in quarter notes a minute; None for words."""
    return mark.per_minute * mark.unit.quarters if mark.unit is not None and mark.per_minute else None


def tempo_before(line: Line, bar: int, onset: Fraction = Fraction(0)) -> Fraction | None:
    """The figure in force at a place of a whole movement, in quarter notes a minute; None where none was given."""
    found: Fraction | None = None
    first: Fraction | None = None
    for each in line.bars:
        for mark in sorted(each.tempos, key=lambda t: t.onset):
            if (each.index, mark.onset) > (bar, onset):
                return found
            figure = quarters_a_minute(mark)
            first = first or figure
            found = figure or (first if _FIRST.search(mark.words) else found)
    return found


def tempo_shares(line: Line, opening: Fraction) -> tuple[tuple[Fraction, Fraction], ...]:
    """The changes of tempo in played time, through repeats; `opening` is the tempo at the line's first
    note, in quarter notes a minute."""
    at_start: dict[int, Fraction] = {}  # written order: the tempo a bar begins with
    now = opening
    for bar in line.bars:
        at_start[bar.index] = now
        for mark in sorted(bar.tempos, key=lambda t: t.onset):
            now = _tempo(mark, now, opening)
    out: list[tuple[Fraction, Fraction]] = []
    for played in played_bars(line):
        now = at_start[played.bar.index]
        row = [(Fraction(0), now)]
        for mark in sorted(played.bar.tempos, key=lambda t: t.onset):
            now = _tempo(mark, now, opening)
            row.append((mark.onset, now))
        for onset, tempo in row:
            share = min(max(opening / tempo, SLOWEST_SHARE), FASTEST_SHARE)
            place = played.onset + onset
            if out and out[-1][0] == place:
                out[-1] = (place, share)
            elif not out or out[-1][1] != share:
                out.append((place, share))
    return tuple(out) or ((Fraction(0), Fraction(1)),)


def _tempo(mark: TempoMark, now: Fraction, opening: Fraction) -> Fraction:
    return quarters_a_minute(mark) or (opening if _FIRST.search(mark.words) else now)


def hold_of(line: Line, event: Event) -> Fraction:
    """What a fermata adds to an event, in quarter notes as written."""
    meter = line.bar(event.bar).meter
    return min(max(event.duration, meter.beat), max(meter.length, meter.beat))


def fermatas(line: Line, marks: Marks) -> dict[str, Fraction]:
    """Events with a fermata, by their address, and what it adds."""
    out: dict[str, Fraction] = {}
    for mark in marks:
        if mark.kind is Kind.FERMATA and mark.at in line:
            event = line.event(event_address(mark.at))
            if not event.grace:
                out[event.address] = hold_of(line, event)
    return out


def held(
    line: Line, marks: Marks, ends: Mapping[tuple[str, int], Fraction], bars: Iterable[PlayedBar]
) -> tuple[tuple[Fraction, Fraction], ...]:
    """Where playing is held, each place once with the longest hold there. `ends` says where a held
    event's sound ends, by address and how often it has come; a rest ends where it is written to."""
    wanted = fermatas(line, marks)
    out: dict[Fraction, Fraction] = {}
    for played in bars if wanted else ():
        for event in line.in_bar(played.bar.index):
            if event.address in wanted:
                place = ends.get((event.address, played.pass_number), played.onset + event.end)
                out[place] = max(out.get(place, Fraction(0)), wanted[event.address])
    return tuple(sorted(out.items()))
