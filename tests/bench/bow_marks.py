"""How often a printed bow mark agrees with the direction inferred without it.

Every printed down- or up-bow of a movement is left out in turn and its direction inferred
from slurs, ties, retakes and the other marks; beside it stands plain alternation from each
bar's start. A finding about real parts, not a figure to tune to.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from repertoire.technique.bowing import Bowing, read_strokes
from repertoire.technique.line import Line, event_address
from repertoire.technique.marks import Kind, Mark, Marks


@dataclass
class Agreement:
    """Counts over printed bow marks; `misses` by how the other direction was reached."""

    marks: int = 0
    inferred: int = 0
    alternating: int = 0
    misses: Counter[str] = field(default_factory=Counter)

    def __add__(self, other: Agreement) -> Agreement:
        return Agreement(
            self.marks + other.marks,
            self.inferred + other.inferred,
            self.alternating + other.alternating,
            self.misses + other.misses,
        )


def bow_agreement(line: Line, printed: Marks) -> Agreement:
    """The agreement in one movement; marks on rests and pizzicato don't count."""
    plain = _alternating(read_strokes(line, tuple(m for m in printed if m.kind is not Kind.BOW)))
    found = Agreement()
    for mark in printed:
        if mark.kind is not Kind.BOW or mark.at not in line:
            continue
        bowing = read_strokes(line, tuple(m for m in printed if m is not mark))
        stroke = bowing.stroke_at(mark.at)
        if stroke is None:
            continue
        found.marks += 1
        found.alternating += plain.get(event_address(mark.at)) == mark.value
        if stroke.direction == mark.value:
            found.inferred += 1
        else:
            found.misses[_reason(bowing, mark)] += 1
    return found


def _alternating(bowing: Bowing) -> dict[str, str]:
    """Down on each bar's first stroke, then up and down, whatever came before."""
    out: dict[str, str] = {}
    bar, way = 0, "up"
    for stroke in bowing.strokes:
        first = stroke.moments[0]
        way = "down" if first.main.bar != bar else "up" if way == "down" else "down"
        bar = first.main.bar
        for event in first.events:
            out.setdefault(event.address, way)
    return out


def _reason(bowing: Bowing, mark: Mark) -> str:
    stroke = bowing.stroke_at(mark.at)
    assert stroke is not None
    if event_address(mark.at) not in {e.address for e in stroke.moments[0].events}:
        return "the mark changes the bow inside a slur or a hooked group"
    if stroke.why.startswith("a start on"):
        return "a start that goes against the habit"
    if stroke.why.startswith("set again"):
        return "after a rest, against the habit"
    if stroke.why.startswith("so that"):
        return "a start told by a later mark: a retake or hook lies between"
    if stroke.why == "alternates":
        return "a retake or hook that only this mark shows"
    return "the marks around it leave the place of a retake or hook open"
