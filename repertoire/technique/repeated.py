"""Repeated notes and figures, and a dynamic shape for them: rise and fall, echo, growth.

Three equal pitches, or the same cell of intervals and values again, ask for a shape. Dynamics
that are written win: a figure that has any keeps them. Common practice, no source; five equal
notes that rise and fall read p mp mf mp p. A cell that comes again higher or lower is a sequence: it
is offered to grow, or to fall back, with its direction.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Literal

from .line import Event, Line, event_address
from .marks import Kind, Mark, Marks
from .practice_staves import Stave, StaveError

Shape = Literal["rise and fall", "echo", "growth"]
SHAPES: Final[tuple[Shape, ...]] = ("rise and fall", "echo", "growth")
_LEVELS: Final = ("p", "mp", "mf", "f", "ff")
_LONGEST_CELL: Final = 8


@dataclass(frozen=True, slots=True)
class Repeated:
    """A note or figure that comes again: `cells` are its notes, one tuple for each time."""

    cells: tuple[tuple[Event, ...], ...]

    @property
    def single(self) -> bool:
        return len(self.cells[0]) == 1

    @property
    def addresses(self) -> frozenset[str]:
        return frozenset(e.address for cell in self.cells for e in cell)

    def words(self, line: Line) -> str:
        bar = line.bar_of(self.cells[0][0].address).number
        times = {2: "twice", 3: "three times", 4: "four times"}.get(len(self.cells), f"{len(self.cells)} times")
        one = self.cells[0]
        what = " ".join(p.label for p in one[0].pitches) if self.single else f"a figure of {len(one)} notes"
        return f"bar {bar}: {what} {times}{', ' + self.way if self.way else ''}"

    @property
    def way(self) -> str:
        """Where a sequence leads: "higher", "lower" or "up and down"; "" where it stays at its pitch."""
        starts = [cell[0].pitches[0].midi for cell in self.cells]
        moves = {(b > a) - (b < a) for a, b in pairwise(starts)} - {0}
        if not moves:
            return ""
        if len(moves) > 1:
            return "up and down"
        last = "the second" if len(starts) == 2 else "each"
        return f"{last} {'higher' if moves == {1} else 'lower'}"


def repeated(line: Line) -> tuple[Repeated, ...]:
    """Repeated notes (three and more) and figures, longest first choice, none overlapping."""
    voice = min((e.voice for e in line.notes), default=1)
    row = [e for e in line.events if e.voice == voice and not e.grace]
    out: list[Repeated] = []
    place = 0
    while place < len(row):
        best: Repeated | None = None
        for size in range(1, _LONGEST_CELL + 1):
            found = _times(line, row, place, size)
            enough = 3 if size == 1 else 3 if size == 2 else 2
            if len(found) < enough:
                continue
            made = Repeated(tuple(found))
            if best is None or len(made.addresses) > len(best.addresses):
                best = made
        if best is None:
            place += 1
            continue
        out.append(best)
        place += len(best.addresses)
    return tuple(out)


def _times(line: Line, row: Sequence[Event], place: int, size: int) -> list[tuple[Event, ...]]:
    """How often a cell of `size` events stands from a place on, each time as its events."""
    first = tuple(row[place : place + size])
    if len(first) < size or not _is_cell(line, first):
        return []
    cells = [first]
    while True:
        start = place + size * len(cells)
        nxt = tuple(row[start : start + size])
        if len(nxt) < size or not _same(first, nxt):
            return cells
        cells.append(nxt)


def _is_cell(line: Line, cell: tuple[Event, ...]) -> bool:
    if any(e.is_rest or any(e.tied_from) or any(e.tied_to) for e in cell):
        return False
    if len(cell) == 1:
        return True
    bar = line.bar_of(cell[0].address)
    length = sum((e.duration for e in cell), start=cell[0].duration * 0)
    on_beat = not (bar.missing + cell[0].onset) % bar.meter.beat
    varied = len({e.pitches for e in cell}) > 1
    return on_beat and varied and not length % bar.meter.beat


def _same(a: tuple[Event, ...], b: tuple[Event, ...]) -> bool:
    if any(e.is_rest or len(e.pitches) != len(f.pitches) for e, f in zip(b, a, strict=True)):
        return False
    if [e.duration for e in a] != [e.duration for e in b] or any(any(e.tied_from) or any(e.tied_to) for e in b):
        return False
    if len(a) == 1:
        return a[0].pitches == b[0].pitches
    first, other = a[0].pitches[0].step, b[0].pitches[0].step
    return [p.step - first for e in a for p in e.pitches] == [p.step - other for e in b for p in e.pitches]


def levels(count: int, shape: Shape) -> tuple[str, ...]:
    """A dynamic for each of so many repetitions."""
    if shape == "echo":
        return tuple("f" if not n % 2 else "p" for n in range(count))
    if shape == "growth":
        return ("mp", "mf") if count == 2 else tuple(_LEVELS[round(n * 3 / (count - 1))] for n in range(count))
    steps = [min(n, count - 1 - n) for n in range(count)]
    top = max(steps)
    if top > 3:
        steps = [round(s * 3 / top) for s in steps]
    return tuple(_LEVELS[s] for s in steps)


def free_of_dynamics(marks: Marks, found: Repeated) -> bool:
    """Whether no written dynamic or hairpin touches a figure."""
    dynamic = [m for m in marks if m.kind in (Kind.DYNAMIC, Kind.HAIRPIN)]
    return not any(event_address(a) in found.addresses for m in dynamic for a in (m.at, m.to) if a)


def shaped(line: Line, marks: Marks, shape: Shape = "rise and fall") -> Stave:
    """Repeated notes and figures with a dynamic shape written in. Raises StaveError."""
    found = repeated(line)
    if not found:
        raise StaveError("No note or figure is repeated in these bars.")
    free = [figure for figure in found if free_of_dynamics(marks, figure)]
    if not free:
        raise StaveError("What is repeated here has its written dynamics, and they stay.")
    if shape == "rise and fall":
        free = [figure for figure in free if len(figure.cells) > 2]
        if not free:
            raise StaveError("To rise and fall, something has to be repeated three times.")
    out = set(marks)
    for figure in free:
        names = levels(len(figure.cells), shape)
        if shape == "growth" and figure.way.endswith("lower"):
            names = names[::-1]
        if figure.single and shape == "echo":
            half = (len(names) + 1) // 2
            names = ("f",) * half + ("p",) * (len(names) - half)
        before = ""
        for cell, name in zip(figure.cells, names, strict=True):
            if name != before:
                out.add(Mark(Kind.DYNAMIC, cell[0].address, name))
            before = name
    words = {"rise and fall": "rise and fall", "echo": "the second time as an echo", "growth": "let it grow"}[shape]
    remarks = tuple(f"{figure.words(line)[:1].upper()}{figure.words(line)[1:]}." for figure in free[:3])
    return Stave(line, tuple(sorted(out)), f"Shape what is repeated: {words}.", remarks)
