"""Where systems break. Verovio now and then puts a bar too many in a system; that is seen and mended."""

from __future__ import annotations

from collections.abc import Sequence
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


def break_again(root: Any, systems: list[list[int]], crowded: int) -> None:
    """Write system breaks into the MEI: the crowded system gives its last bar to a new one."""
    given = [list(bars) for bars in systems]
    over = given[crowded].pop()
    following = given[crowded + 1] if crowded + 1 < len(given) else None
    if following is not None and len(following) < len(given[crowded]) + 1 and crowded + 2 >= len(given):
        following.insert(0, over)
    else:
        given.insert(crowded + 1, [over])
    for old in list(root.iter(MEI + "sb")):
        old.getparent().remove(old)
    starts = {f"bar{bars[0]}" for bars in given[1:]}
    for measure in list(root.iter(MEI + "measure")):
        if measure.get(XML_ID) in starts:
            measure.addprevious(etree.Element(MEI + "sb"))
