"""Where marks over several notes begin and end in a line, also in a passage cut out of one.

In a cut passage a slur or hairpin may come from before it or lead beyond it; it then counts
from the first or up to the last event of the passage.
"""

from __future__ import annotations

from collections.abc import Iterable

from .line import Event, Line, parse_address
from .marks import Kind, Mark


def ends(line: Line, mark: Mark) -> tuple[Event, Event] | None:
    """First and last event that a spanning mark covers in the line; None where it covers none."""
    if not line.events or not mark.to:
        return None
    start, end = sorted((parse_address(mark.at)[:2], parse_address(mark.to)[:2]))
    first, last = (parse_address(e.address)[:2] for e in (line.events[0], line.events[-1]))
    if end < first or start > last:
        return None
    begins = line.events[0] if start < first else _event(line, start)
    finishes = line.events[-1] if end > last else _event(line, end)
    return (begins, finishes) if begins and finishes else None


def _event(line: Line, key: tuple[int, int]) -> Event | None:
    address = f"b{key[0]}n{key[1]}"
    return line.event(address) if address in line else None


def spanning(line: Line, marks: Iterable[Mark], *kinds: Kind) -> list[tuple[Event, Event, Mark]]:
    """The marks of some kinds that span notes of the line, with their first and last event."""
    found = [(ends(line, m), m) for m in marks if m.kind in kinds]
    return [(*span, mark) for span, mark in found if span is not None]
