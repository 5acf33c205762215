"""The picture of the string crossings under a stave of open strings: one line for each string, and the
bow's way over them.

Where the bow is on a string its line is thick; going over to another is a slanted stroke, whole inside
one bow, dotted where the bow changes there. A string between two that is passed over has its line too.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

from repertoire.technique.line import Event, Line
from repertoire.technique.marks import Kind, Marks
from repertoire.technique.pitch import Pitch
from repertoire.technique.spans import spanning

from .left_hand_strip import Strip
from .picture import Picture, System

_STEP = 2.6  # mm from string to string
_TOP = 1.6  # mm above the highest
_NAME = 2.9  # mm, size of the strings' names
_LEFT = 2.0  # mm from a name to its line
_FIFTH = 7  # half steps between neighbouring strings


def string_strip(line: Line, marks: Marks, system: System) -> Strip:
    """The strip for one system of a stave whose notes are open strings; empty where only one is played."""
    used = sorted({p.midi for e in line.notes for p in e.pitches})
    events = [e for e in line.notes if not e.grace and e.address in system.notes]
    if len(used) < 2 or not events:
        return Strip("", 0.0, "")
    strings = range(used[0], used[-1] + 1, _FIFTH)
    y = {midi: _TOP + _STEP * (len(strings) - 1 - n) for n, midi in enumerate(strings)}
    edge = system.staves[0].right if system.staves else system.width_mm
    left = min(system.notes[e.address][0] for e in events) - 1.0
    out = []
    for midi in strings:
        name = _name(line, midi)
        out.append(
            f'<text x="{left - _LEFT:.2f}" y="{y[midi] + 1:.2f}" font-size="{_NAME}" text-anchor="end" '
            f'fill="currentColor">{name}</text>'
            f'<path d="M{left:.2f} {y[midi]:.2f}H{edge:.2f}" stroke="currentColor" stroke-width="0.12" fill="none"/>'
        )
    joined = _joined(line, marks)
    here = [e for e in line.events if not e.grace and e.address in system.notes]
    ends = {
        e.address: _end(e, after, after is not None and after.address in joined, system, edge)
        for e, after in zip(here, [*here[1:], None], strict=True)
    }
    for event in events:
        for pitch in event.pitches:
            begin = system.notes[event.address][0]
            out.append(
                f'<path d="M{begin:.2f} {y[pitch.midi]:.2f}H{ends[event.address]:.2f}" stroke="currentColor" '
                f'stroke-width="0.75" fill="none"/>'
            )
    for one, other in pairwise(events):
        if one.pitches == other.pitches or line.order(other.address) - line.order(one.address) > 1:
            continue
        start, stop = one.pitches[-1].midi, other.pitches[-1].midi
        if start == stop:
            continue
        dash = "" if other.address in joined else ' stroke-dasharray="0.5 0.5"'
        out.append(
            f'<path d="M{ends[one.address]:.2f} {y[start]:.2f}L{system.notes[other.address][0]:.2f} {y[stop]:.2f}" '
            f'stroke="currentColor" stroke-width="0.35" fill="none"{dash}/>'
        )
    words = ", ".join(_name(line, e.pitches[-1].midi) for e in events)
    return Strip("".join(out), y[strings[0]] + 1.4, f"Strings in order: {words}.")


def _name(line: Line, midi: int) -> str:
    """The letter of an open string."""
    known: dict[int, Pitch] = {p.midi: p for e in line.notes for p in e.pitches}
    return known[midi].letter if midi in known else "CGDAE"[(midi - 48) // _FIFTH]


def _end(event: Event, after: Event | None, joined: bool, system: System, edge: float) -> float:
    """Where the bow leaves an event's string: a little before the next note or rest, or at its bar's end;
    not at all before a note of the same string in one bow."""
    begin = system.notes[event.address][0]
    if after is not None and joined and after.pitches == event.pitches:
        return max(begin + 0.6, system.notes[after.address][0])
    until = system.notes[after.address][0] if after is not None else system.bars.get(event.bar, (0.0, edge))[1]
    return max(begin + 0.6, until - min(1.6, (until - begin) / 3))


def _joined(line: Line, marks: Marks) -> frozenset[str]:
    """Notes that begin in the bow of the note before them."""
    out: set[str] = set()
    for kind in (Kind.SLUR, Kind.HOOK):
        for start, end, _ in spanning(line, marks, kind):
            out.update(e.address for e in line.between(start.address, end.address)[1:])
    return frozenset(out | {e.address for e in line.notes if e.continues})


def with_crossings(line: Line, marks: Marks, picture: Picture) -> Picture:
    """A stave's picture with the crossings under each system."""
    systems = []
    for system in picture.systems:
        strip = string_strip(line, marks, system)
        systems.append(system.with_strip(strip.drawing, strip.height_mm, gap_mm=0.8) if strip.drawing else system)
    return replace(picture, systems=tuple(systems))
