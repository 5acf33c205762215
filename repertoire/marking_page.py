"""What the marking page is drawn from: the picture with places to pick, and the marks as words.

The picture itself is silent; over each of its noteheads lies a place that can be picked by
touch, mouse and keys and says its note aloud. Below it the same marks stand as a list by
bar and beat, each removable, so that the page can be used without seeing the picture.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from repertoire.notation.look import BRITISH_WORDS
from repertoire.notation.picture import Picture, System
from repertoire.notation.signs import Speaker, describe
from repertoire.technique.line import Line
from repertoire.technique.marks import Mark, MarkError, Marks


@dataclass(frozen=True, slots=True)
class Note:
    """A place to pick: its address, what is said of it, and its place in percent of the system."""

    address: str
    event: str
    label: str
    rest: bool
    left: str
    top: str


@dataclass(frozen=True, slots=True)
class PickedSystem:
    svg: str
    width_mm: float
    notes: tuple[Note, ...]


@dataclass(frozen=True, slots=True)
class Standing:
    """A mark of the draft as words ("bar 3, beat 1: finger 1 on A4", and the same without the
    bar); `printed` when it is the edition's."""

    words: str
    short: str
    raw: str
    printed: bool


@dataclass(frozen=True, slots=True)
class BarOfMarks:
    number: str
    marks: tuple[Standing, ...]


@dataclass(frozen=True, slots=True)
class NotesToPick:
    systems: tuple[PickedSystem, ...]
    options: tuple[tuple[str, str], ...]  # address and words, for the lists of the plain form
    state: dict[str, Any]
    by_bar: tuple[BarOfMarks, ...]


def notes_to_pick(
    line: Line, marks: Marks, picture: Picture, printed: Marks, words: Mapping[str, str] = BRITISH_WORDS
) -> NotesToPick:
    """The places of a picture with their words, and the marks by bar."""
    speaker = Speaker(line, marks, words)
    labels = {a: speaker.speak(a) for system in picture.systems for a in _pickable(line, system)}
    systems = tuple(_system(line, system, labels) for system in picture.systems)
    options = tuple((a, labels[a]) for a in sorted(labels, key=lambda a: (line.order(a), a)))
    state = {"marks": [m.as_json() for m in marks], "order": [a for a, _ in options]}
    return NotesToPick(systems, options, state, _by_bar(line, marks, set(printed), words))


def _pickable(line: Line, system: System) -> list[str]:
    """Each single note, rest and chord member; a chord as a whole is picked through its members."""
    return [a for a in system.notes if a in line and a in (line.event(a).members or (line.event(a).address,))]


def _system(line: Line, system: System, labels: dict[str, str]) -> PickedSystem:
    notes = []
    for address in sorted(_pickable(line, system), key=lambda a: (line.order(a), a)):
        x, y = system.notes[address]
        event = line.event(address)
        left, top = f"{100 * x / system.width_mm:.2f}", f"{100 * y / system.height_mm:.2f}"
        notes.append(Note(address, event.address, labels[address], event.is_rest, left, top))
    return PickedSystem(_silent(system.svg), system.width_mm, tuple(notes))


_SAID = re.compile(r' tabindex="-?\d+" role="\w+" aria-label="[^"]*"><title>[^<]*</title>')


def _silent(svg: str) -> str:
    """The drawing without words and focus of its own: the places over it have both."""
    return _SAID.sub(">", svg)


def _by_bar(line: Line, marks: Marks, printed: set[Mark], words: Mapping[str, str]) -> tuple[BarOfMarks, ...]:
    bars: dict[str, list[Standing]] = {}
    inside = [m for m in marks if m.at in line or m.to in line]
    for mark in sorted(inside, key=lambda m: (line.order(m.at) if m.at in line else -1, m.at, m)):
        number = line.bar_of(mark.at if mark.at in line else mark.to).number
        raw = json.dumps(mark.as_json(), separators=(",", ":"), ensure_ascii=False)
        said = describe(mark, line, words)
        # The bar heads its marks, so that their lines need not repeat it.
        short = said.replace(f"{words['bar']} {number}, ", "")
        found = Standing(said, short, raw, mark in printed)
        bars.setdefault(number, []).append(found)
    return tuple(BarOfMarks(number, tuple(found)) for number, found in bars.items())


def read_mark(raw: str) -> Mark:
    """The mark a "remove" button names. Raises MarkError."""
    try:
        found = json.loads(raw)
    except ValueError:
        raise MarkError("That mark can’t be read; open the page again.") from None
    if not isinstance(found, dict):
        raise MarkError("That mark can’t be read; open the page again.")
    return Mark.from_json(found)
