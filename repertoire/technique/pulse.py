"""Changes of tempo and fermatas in playing: where they stand in played time, and what they do to it.

The tempo marks of a part (see `tempi.py`) are taken as shares of the tempo it opens with, so that one
tempo at the beginning decides them all; what bends by and by, and words without a number, change
nothing. A fermata has no fixed length (common practice): here it is held as long
again as it is written, at least a beat and at most a bar.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from .line import Event, Line, event_address
from .marks import Kind, Marks
from .played import PlayedBar
from .tempi import tempi_of

SHORTEST_SHARE, LONGEST_SHARE = Fraction(1, 4), Fraction(4)  # of an opening beat; beyond that a figure is a misprint


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


def tempo_shares(line: Line, usual: Fraction) -> tuple[tuple[Fraction, Fraction], ...]:
    """The changes of tempo in played time, through repeats; `usual` counts where the part tells no
    tempo for the line's beginning, in quarter notes a minute."""
    tempi = tempi_of(line, usual)
    out: list[tuple[Fraction, Fraction]] = [(Fraction(0), Fraction(1))]
    for place, tempo in tempi.played.points:
        share = min(max(tempi.opening / tempo, SHORTEST_SHARE), LONGEST_SHARE)
        if place == out[-1][0]:
            out[-1] = (place, share)
        elif out[-1][1] != share:
            out.append((place, share))
    return tuple(out)


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
