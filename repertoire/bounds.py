"""Bars and beats as a teacher writes them: “12”, “12–19”, “12/2 – 19/3½”, “24(2) – 30”.

A bar is named by its printed number. Where a movement prints a number twice (two endings,
or numbers that start again) the second one is written 24(2); two neighbours that make up one
bar, split by a repeat, are that bar. A beat follows a stroke: 12/2 is the second beat of bar 12.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from repertoire.technique.line import Bar, Line, beat_label

if TYPE_CHECKING:
    from repertoire.models import Passage

_SIGNS = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅓": "1/3", "⅔": "2/3"}
_DASH = re.compile(r"\s*(?:–|—|-|\bto\b|\.\.\.?|…)\s*")
_PLACE = re.compile(r"(?P<number>[^\s/()]+)\s*(?:\((?P<which>\d{1,3})\))?\s*(?:/\s*(?P<beat>.+))?$")
_BEAT = re.compile(r"(?P<whole>\d{1,2})?\s*(?P<part>[½¼¾⅓⅔])?$")


class BoundsError(ValueError):
    """Bars that can't be found; the message says which and how to write them."""


@dataclass(frozen=True, slots=True)
class Bounds:
    """From bar to bar by written index (from 1); beats as Passage stores them, "" for none."""

    start_bar: int
    start_beat: str
    end_bar: int
    end_beat: str
    first_number: str
    last_number: str

    @property
    def start(self) -> Fraction | None:
        return Fraction(self.start_beat) if self.start_beat else None

    @property
    def end(self) -> Fraction | None:
        return Fraction(self.end_beat) if self.end_beat else None


def bounds_of(passage: Passage) -> Bounds:
    """The bounds a passage was cut with."""
    return Bounds(
        passage.start_bar,
        passage.start_beat,
        passage.end_bar,
        passage.end_beat,
        passage.first_number,
        passage.last_number,
    )


def read_bounds(text: str, line: Line | None, bar_count: int = 0) -> Bounds:
    """Bounds as written, in a movement's line, or among `bar_count` bars where there are no
    notes. Raises BoundsError."""
    words = re.sub(r"^\s*(?:bars?|measures?|bb?\.|mm?\.)\s*", "", text.strip(), flags=re.I)
    places = [p for p in _DASH.split(words) if p]
    if len(places) not in (1, 2):
        raise BoundsError("Write the first and the last bar, such as 12–19, with beats if need be: 12/2 – 19/3.")
    found = [_read_place(places[0], line, bar_count, half=0), _read_place(places[-1], line, bar_count, half=1)]
    (start_bar, first, start), (end_bar, last, end) = found
    if len(places) == 1 and start is not None:
        end = None
    if start_bar > end_bar or (start_bar == end_bar and start is not None and end is not None and start > end):
        raise BoundsError(f"{places[0]} comes after {places[-1]}: write the earlier one first.")
    bar = line.bar(start_bar) if line else None
    if start is not None and start == (bar.beat(Fraction(0)) if bar else 1):
        start = None
    return Bounds(start_bar, _stored(start), end_bar, _stored(end), first, last)


def write_place(line: Line | None, index: int, beat: Fraction | None = None) -> str:
    """A bar as `read_bounds` reads it back: “24(2)/3½” for the second bar numbered 24."""
    number = str(index)
    if line:
        number = line.bar(index).number
        twins = [b.index for b in line.bars if b.number == number]
        if len(twins) > 1:
            number = f"{number}({twins.index(index) + 1})"
    return number if beat is None else f"{number}/{beat_label(beat)}"


def write_bounds(line: Line | None, bounds: Bounds) -> str:
    """Bounds as `read_bounds` reads them back."""
    first = write_place(line, bounds.start_bar, bounds.start)
    last = write_place(line, bounds.end_bar, bounds.end)
    if line and bounds.start is None and bounds.end is None:
        halves = [_halves([b for b in line.bars if b.number == n]) for n in (bounds.first_number, bounds.last_number)]
        whole = halves[0] and halves[0][0].index == bounds.start_bar and bounds.end_bar != bounds.start_bar
        first = bounds.first_number if whole else first
        whole = halves[1] and halves[1][1].index == bounds.end_bar and bounds.end_bar != bounds.start_bar
        last = bounds.last_number if whole else last
    return first if first == last else f"{first}–{last}"


def _read_place(text: str, line: Line | None, bar_count: int, *, half: int) -> tuple[int, str, Fraction | None]:
    found = _PLACE.match(text.strip())
    if not found:
        raise BoundsError(f"“{text}” is not a bar: write its number, and a beat after a stroke: 12/2.")
    number, which = found["number"], found["which"]
    if line is None:
        if not number.isdecimal() or which or not 1 <= int(number) <= bar_count:
            raise BoundsError(f"There is no bar {number} here: this movement has bars 1 to {bar_count}.")
        return int(number), str(int(number)), _read_beat(found["beat"], None, number)
    twins = [b for b in line.bars if b.number.casefold() == number.casefold()]
    if (halves := _halves(twins)) and not which:
        twins = [_half_of(halves, found["beat"], half)]
    bar = _choose(twins, number, int(which) if which else 0, line)
    return bar.index, bar.number, _read_beat(found["beat"], bar, number)


def _halves(twins: Sequence[Bar]) -> tuple[Bar, Bar] | None:
    """The two neighbours that make up one bar, when these are they."""
    if len(twins) != 2:
        return None
    first, second = twins
    return (first, second) if second.index == first.index + 1 and second.missing == first.length else None


def _half_of(halves: tuple[Bar, Bar], text: str | None, half: int) -> Bar:
    """The half a beat lies in; without a beat the first half at the start, the second at the end."""
    beat = _beat(text.strip()) if text else None
    if beat is None:
        return halves[half]
    return halves[beat >= halves[1].beat(Fraction(0))]


def _choose(twins: Sequence[Bar], number: str, which: int, line: Line) -> Bar:
    if not twins:
        first, last = line.bars[0].number, line.bars[-1].number
        raise BoundsError(
            f"There is no bar {number} in this movement: its bars run from {first} to {last}{_with_letters(line)}."
        )
    if len(twins) > 1 and not which:
        raise BoundsError(
            f"The number {number} is printed {len(twins)} times in this movement: write {number}(1) to "
            f"{number}({len(twins)}), or pick the bar on the notation."
        )
    if which > len(twins):
        raise BoundsError(f"The number {number} is printed {len(twins)} times, so there is no {number}({which}).")
    return twins[max(which, 1) - 1]


def _with_letters(line: Line) -> str:
    """Bars that have a letter with their number, which nobody would guess: “, with 79a, 79b and 79c”."""
    odd = [b.number for b in line.bars if not b.number.isdecimal()]
    if not odd:
        return ""
    if len(odd) > 8:
        return f", with {', '.join(odd[:8])} and {len(odd) - 8} more"
    return f", with {', '.join(odd[:-1])} and {odd[-1]}" if len(odd) > 1 else f", with {odd[0]}"


def _read_beat(text: str | None, bar: Bar | None, number: str) -> Fraction | None:
    if not text:
        return None
    beat = _beat(text.strip())
    if beat is None:
        raise BoundsError(f"“{text}” is not a beat of bar {number}: write 2, 2½, 2.5 or 2 1/3.")
    least = bar.beat(Fraction(0)) if bar else Fraction(1)
    end = bar.beat(bar.length) if bar else Fraction(33)
    if not least <= beat < end:
        last = -(-end // 1) - 1
        raise BoundsError(f"Bar {number} has no beat {text}: it has beats {beat_label(least)} to {last}.")
    return beat


def _beat(text: str) -> Fraction | None:
    if found := _BEAT.match(text):
        if not text:
            return None
        return Fraction(int(found["whole"] or 0)) + Fraction(_SIGNS.get(found["part"] or "", "0"))
    if re.fullmatch(r"\d{1,2}[.,]\d{1,4}", text):
        return Fraction(text.replace(",", ".")).limit_denominator(96)
    if found := re.fullmatch(r"(?:(\d{1,2})\s+)?(\d{1,3})/([1-9]\d?)", text):
        return Fraction(int(found[1] or 0)) + Fraction(int(found[2]), int(found[3]))
    return None


def _stored(beat: Fraction | None) -> str:
    return "" if beat is None else str(beat)
