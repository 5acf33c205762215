"""Where systems break: evenly, and never so that notes stand too close.

Verovio fills each system and leaves what remains to the last, which may be a single bar; the
bars are shared out again so that the systems are about equally full. Now and then it puts a
bar too many in a system; that is seen and mended.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Hashable, Sequence
from fractions import Fraction
from itertools import pairwise
from typing import Any

from lxml import etree

from repertoire.technique.line import Line, event_address

from .excerpt import MEI, XML_ID
from .look import Look
from .picture import System

_NEAREST = 0.34  # of a staff height, between the centres of two heads: a head is 0.31 wide
_FROM_LINE = 0.24  # of a staff height, from the centre of the last head to the bar line


class Breaks:
    """The breaks found lately, by what was drawn; safe between threads."""

    def __init__(self, size: int) -> None:
        self.size = size
        self._kept: OrderedDict[Hashable, list[list[int]]] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, place: Hashable) -> list[list[int]] | None:
        with self._lock:
            if place in self._kept:
                self._kept.move_to_end(place)
            return self._kept.get(place)

    def put(self, place: Hashable, systems: list[list[int]]) -> None:
        with self._lock:
            self._kept[place] = systems
            self._kept.move_to_end(place)
            while len(self._kept) > self.size:
                self._kept.popitem(last=False)


def is_crowded(system: System, lines: Sequence[Line], look: Look) -> bool:
    """Whether notes stand closer than their heads are wide, to each other or to the bar line."""
    least = _NEAREST * look.staff_mm
    for line, places in zip(lines, system.notes_by_staff, strict=True):
        columns: dict[tuple[int, Fraction], float] = {}
        for address, (x, _) in places.items():
            event = line.event(event_address(address))
            if not event.grace and not event.is_rest:
                place = (event.bar, event.onset)
                columns[place] = max(x, columns.get(place, x))
        ordered = [columns[place] for place in sorted(columns)]
        if any(right - left < least for left, right in pairwise(ordered)):
            return True
        last = {place[0]: x for place, x in sorted(columns.items())}
        if any(system.bars[bar][1] - x < _FROM_LINE * look.staff_mm for bar, x in last.items() if bar in system.bars):
            return True
    return False


def even_breaks(systems: Sequence[System]) -> list[list[int]]:
    """The bars of a picture shared out anew over as many systems, by the width each bar took.

    Widths of the bars alone are counted: clef and signature stand in every system. The sum of
    squares is made least, so that the widest system is as narrow as it can be.
    """
    widths = [(bar, right - left) for system in systems for bar, (left, right) in sorted(system.bars.items())]
    count, parts = len(widths), len(systems)
    total = [0.0]
    for _, width in widths:
        total.append(total[-1] + width)
    best: list[list[tuple[float, int]]] = [[(0.0, 0)] + [(float("inf"), 0)] * count]
    for _ in range(parts):
        before = best[-1]
        row = [(float("inf"), 0)]
        for end in range(1, count + 1):
            row.append(min((before[start][0] + (total[end] - total[start]) ** 2, start) for start in range(end)))
        best.append(row)
    out: list[list[int]] = []
    end = count
    for part in range(parts, 0, -1):
        start = best[part][end][1]
        out.insert(0, [bar for bar, _ in widths[start:end]])
        end = start
    return out


def write_breaks(root: Any, systems: Sequence[Sequence[int]]) -> None:
    """Write the breaks between these systems (lists of bar indexes) into the MEI, and no others."""
    for old in list(root.iter(MEI + "sb")):
        old.getparent().remove(old)
    starts = {f"bar{bars[0]}" for bars in systems[1:]}
    for measure in list(root.iter(MEI + "measure")):
        if measure.get(XML_ID) in starts:
            measure.addprevious(etree.Element(MEI + "sb"))


def part_crowded(systems: Sequence[Sequence[int]], crowded: int) -> list[list[int]]:
    """The crowded system gives its last bar to the next, or to a new one."""
    given = [list(bars) for bars in systems]
    over = given[crowded].pop()
    following = given[crowded + 1] if crowded + 1 < len(given) else None
    if following is not None and len(following) < len(given[crowded]) + 1 and crowded + 2 >= len(given):
        following.insert(0, over)
    else:
        given.insert(crowded + 1, [over])
    return given
