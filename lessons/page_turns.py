"""Where the pages of a part end, so that a page is turned during a rest where one is in reach.

Systems keep their breaks; a page may end early, with white below, when the player then has a
hand free. Pages lie open in pairs, so only every second page is turned: the odd ones when
the first page is a right-hand one, the even ones when it is a left-hand one. That turns
belong into rests is common practice in part preparation.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import Literal

from repertoire.technique.line import Line

FREE_HAND = Fraction(2)  # quarter notes of rest that allow a quiet turn
_EMPTY = 2.0  # cost of a page left white, by the square of its share
_NO_REST = 1.0  # cost of turning while playing
_PAGE = 0.25  # cost of a page, so that none is added without need

Opens = Literal["left", "right"]


@dataclass(frozen=True, slots=True)
class Block:
    """A system (or a movement's heading with its first system): its height, and the rest, in
    quarter notes, around the end of its last bar."""

    height_mm: float
    rest: Fraction


@dataclass(frozen=True, slots=True)
class Page:
    """Blocks `first` up to `last` (excluded); whether it is turned, and the rest there."""

    first: int
    last: int
    turned: bool
    rest: Fraction

    @property
    def hurried(self) -> bool:
        """Turned without time for it: “V.S.” stands at its foot."""
        return self.turned and self.rest < FREE_HAND


def plan_pages(
    blocks: Sequence[Block],
    room_mm: float,
    first_room_mm: float,
    opens: Opens = "left",
    *,
    turn_mm: float = 0.0,
    fill: bool = False,
) -> list[Page]:
    """Blocks on pages, at the least cost of white space and of turns without a rest; with `fill` of
    white space alone.

    `first_room_mm` is the height left under the title, `turn_mm` that of the words at the foot
    of a page that is turned in a hurry. A block higher than a page gets one
    of its own.
    """
    count = len(blocks)

    def turned(page: int) -> bool:
        return (page % 2 == 0) == (opens == "left")  # pages count from 1

    @lru_cache(None)
    def best(first: int, page: int) -> tuple[float, tuple[int, ...]]:
        if first == count:
            return 0.0, ()
        room = first_room_mm if page == 1 else room_mm
        used = 0.0
        found: tuple[float, tuple[int, ...]] = (float("inf"), ())
        for last in range(first + 1, count + 1):
            used += blocks[last - 1].height_mm
            if used > room and last > first + 1:
                break
            cost = 0.0
            hurried = last < count and turned(page) and blocks[last - 1].rest < FREE_HAND
            if hurried and used + turn_mm > room and last > first + 1:
                continue
            if last < count:
                cost = _EMPTY * max(0.0, 1 - used / room) ** 2
                if turned(page) and not fill:
                    cost += _NO_REST * float(1 - min(blocks[last - 1].rest / FREE_HAND, Fraction(1)))
            rest_cost, ends = best(last, page + 1)
            if cost + rest_cost + _PAGE < found[0]:
                found = (cost + rest_cost + _PAGE, (last, *ends))
        return found

    pages, first = [], 0
    for number, last in enumerate(best(0, 1)[1], 1):
        final = last == count
        pages.append(Page(first, last, turned(number) and not final, blocks[last - 1].rest))
        first = last
    return pages


def rest_after(line: Line, bar: int) -> Fraction:
    """Quarter notes of rest, in every voice, around the end of a bar: before it and after it."""
    at = next(place for place, b in enumerate(line.bars) if b.index == bar)
    before = _silence(line, [b.index for b in reversed(line.bars[: at + 1])], backwards=True)
    after = _silence(line, [b.index for b in line.bars[at + 1 :]], backwards=False)
    return before + after


def _silence(line: Line, bars: Sequence[int], *, backwards: bool) -> Fraction:
    total = Fraction(0)
    for index in bars:
        bar, notes = line.bar(index), [e for e in line.in_bar(index) if not e.is_rest]
        if notes:
            total += bar.length - max(e.end for e in notes) if backwards else min(e.onset for e in notes)
            break
        total += bar.length
        if total >= 4 * FREE_HAND:
            break
    return total
