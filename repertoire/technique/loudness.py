"""How loud each note is meant to be, from the dynamics and hairpins of a marking.

A dynamic holds until the next; fp and the like are loud on their note and soft after it;
sf, fz and rf accent their note and leave the level as it was.
"""

from __future__ import annotations

from dataclasses import dataclass

from .line import Line, event_address
from .marks import Kind, Marks
from .spans import spanning

LEVELS = ("pppp", "ppp", "pp", "p", "mp", "mf", "f", "ff", "fff", "ffff")
_AFTER = {"fp": ("f", "p"), "sfp": ("f", "p"), "sffz": ("ff", ""), "pf": ("p", "f"), "n": ("pppp", "pppp")}
_ACCENTS = frozenset({"sf", "sfz", "sffz", "fz", "rf", "rfz", "fp", "sfp"})


@dataclass(frozen=True, slots=True)
class Loudness:
    """`level` is one of LEVELS ("" when nothing is marked yet), `way` the hairpin over the note
    (crescendo, diminuendo or ""), `accent` whether the note starts with one."""

    level: str = ""
    way: str = ""
    accent: bool = False

    @property
    def is_loud(self) -> bool:
        return self.level in LEVELS and LEVELS.index(self.level) >= LEVELS.index("f")

    @property
    def is_soft(self) -> bool:
        return self.level in LEVELS and LEVELS.index(self.level) <= LEVELS.index("p")


def loudness(line: Line, marks: Marks) -> dict[str, Loudness]:
    """Loudness at every event address, in written order."""
    dynamics: dict[str, str] = {}
    accents: set[str] = set()
    for mark in marks:
        if mark.at not in line:
            continue
        if mark.kind is Kind.DYNAMIC:
            dynamics[event_address(mark.at)] = mark.value
        elif mark.kind is Kind.ARTICULATION and mark.value in ("accent", "marcato", "soft accent"):
            accents.add(event_address(mark.at))
    ways: dict[str, str] = {}
    for start, end, span in spanning(line, marks, Kind.HAIRPIN):
        for event in line.between(start.address, end.address):
            ways[event.address] = span.value
    out: dict[str, Loudness] = {}
    level = ""
    for event in line.events:
        here = dynamics.get(event.address, "")
        now = after = level
        if here in LEVELS:
            now = after = here
        elif here in _AFTER:
            now, after = _AFTER[here]
            after = after or level
        out[event.address] = Loudness(
            now or level, ways.get(event.address, ""), event.address in accents or here in _ACCENTS
        )
        level = after
    return out
