"""Spans of a marking where only some bars of it are taken: what still makes sense inside them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Final

from .line import Event, Line, parse_address
from .marks import Kind, Mark, Marks

_CLIPPED: Final = frozenset((Kind.SLUR, Kind.HOOK, Kind.PHRASE, Kind.OCTAVE, Kind.STRING, Kind.VIBRATO, Kind.HAIRPIN))


def inside(marks: Iterable[Mark], line: Line) -> Marks:
    """Marks of the line alone: spans that enter or leave end at its edges, and go where fewer
    than two notes of them are left."""
    notes = [e for e in line.events if e.pitches]
    out: set[Mark] = set()
    for mark in marks:
        if not mark.to:
            if mark.at in line:
                out.add(mark)
            continue
        if mark.at in line and mark.to in line:
            out.add(mark)
            continue
        if mark.kind not in _CLIPPED or not notes or dict(mark.options).keys() & {"after", "until"}:
            continue
        covered = [e for e in notes if _covers(mark, e)]
        if len(covered) < 2:
            continue
        at = mark.at if mark.at in line else covered[0].address
        to = mark.to if mark.to in line else covered[-1].address
        out.add(replace(mark, at=at, to=to))
    return tuple(sorted(out))


def _covers(mark: Mark, event: Event) -> bool:
    place = parse_address(event.address)[:2]
    return parse_address(mark.at)[:2] <= place <= parse_address(mark.to)[:2]
