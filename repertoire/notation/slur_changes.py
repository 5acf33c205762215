"""Slurs that differ between two markings, told bar by bar instead of one by one.

“Bars 147 to 150: slurs over 2 notes instead of 4” says what twenty-six lines of slurs added and
taken out say. Bars in a row that change alike are one entry.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from repertoire.technique.line import Event, Line, beat_label
from repertoire.technique.marks import Change, Kind, Mark
from repertoire.technique.spans import ends


@dataclass(frozen=True, slots=True)
class SlurChange:
    """What became of the slurs that begin in one bar or several: `address` is where the first of
    them stands, `bars` are written indices, the first and the last."""

    address: str
    bars: tuple[int, int]
    words: str
    alone: bool = False  # one slur, told at its beat

    def where(self, line: Line) -> str:
        """“bar 147, beat 1”, “bar 147”, or “bars 147 to 150”, with printed numbers."""
        if self.alone:
            return line.where(self.address)
        first, last = (line.bar(index).number for index in self.bars)
        return f"bar {first}" if self.bars[0] == self.bars[1] else f"bars {first} to {last}"


def is_slur(change: Change) -> bool:
    mark = change.after or change.before
    return mark is not None and mark.kind is Kind.SLUR


def slur_changes(line: Line, found: Iterable[Change]) -> tuple[SlurChange, ...]:
    """The slurs among the changes, bar by bar, in reading order."""
    gone: dict[int, list[Mark]] = {}
    new: dict[int, list[Mark]] = {}
    for change in found:
        if not is_slur(change):
            continue
        for mark, where in ((change.before, gone), (change.after, new)):
            if mark is not None and (span := ends(line, mark)) is not None:
                where.setdefault(span[0].bar, []).append(mark)
    out: list[SlurChange] = []
    for index in sorted({*gone, *new}):
        taken, added = (sorted(each.get(index, ()), key=lambda m: _order(line, m)) for each in (gone, new))
        told = SlurChange(_first(line, [*taken, *added]), (index, index), _words(line, taken, added))
        if out and out[-1].words == told.words and out[-1].bars[1] == index - 1:
            out[-1] = replace(out[-1], bars=(out[-1].bars[0], index))
        else:
            out.append(told)
    return tuple(_at_its_beat(line, told, [*gone.get(told.bars[0], ()), *new.get(told.bars[0], ())]) for told in out)


def _at_its_beat(line: Line, told: SlurChange, marks: list[Mark]) -> SlurChange:
    """A slur that is the only one of its bar: told where it begins, with where it ends."""
    if told.bars[0] != told.bars[1] or len(marks) > 1 or marks[0].at not in line:
        return told
    what = "added" if "added" in told.words else "taken out"
    end = _beats(line, marks).rpartition(" to ")[2]
    end = end if end[0].isalpha() else f"beat {end}"
    return replace(
        told, words=f"slur to {end}, {what}".replace("to after the passage", "beyond the passage"), alone=True
    )


def _order(line: Line, mark: Mark) -> int:
    span = ends(line, mark)
    return line.order(span[0].address) if span else 0


def _first(line: Line, marks: list[Mark]) -> str:
    return min((span[0].address for m in marks if (span := ends(line, m))), key=line.order)


def _words(line: Line, taken: list[Mark], added: list[Mark]) -> str:
    if not taken:
        return f"{_slurs(added)} added, {_beats(line, added)}"
    if not added:
        return f"{_slurs(taken)} taken out, {_beats(line, taken)}"
    many, few = {_notes(line, m) for m in taken}, {_notes(line, m) for m in added}
    if len(many) == len(few) == 1 and many != few:
        return f"{_slurs(added)} over {few.pop()} notes instead of {many.pop()}"
    return f"{_slurs(added)} on {_beats(line, added)} instead of {_beats(line, taken)}"


def _slurs(marks: list[Mark]) -> str:
    return "slur" if len(marks) == 1 else "slurs"


def _notes(line: Line, mark: Mark) -> int:
    span = ends(line, mark)
    if span is None:
        return 0
    between = line.between(span[0].address, span[1].address)
    return sum(1 for e in between if e.pitches and not e.grace and e.voice == span[0].voice)


def _beats(line: Line, marks: list[Mark]) -> str:
    """“beats 1 to 2, 3 to 4”, from the first note to the last of each."""
    told = []
    for mark in marks:
        span = ends(line, mark)
        if span is None:
            continue
        first, last = span
        begins = "before" if mark.at not in line else _beat(line, first)
        ends_at = _beat(line, last)
        if mark.to not in line:
            ends_at = "after the passage"
        elif last.bar != first.bar:
            ends_at = f"bar {line.bar(last.bar).number}, beat {ends_at}"
        told.append(f"{begins} to {ends_at}")
    return f"beats {', '.join(told)}"


def _beat(line: Line, event: Event) -> str:
    return beat_label(line.bar(event.bar).beat(event.onset))
