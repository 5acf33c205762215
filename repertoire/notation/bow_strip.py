"""The bow distribution under a system: where in the bow every note falls.

A band with the frog at the bottom and the tip at the top, thin lines at thirds; each note's
way runs from its head to the next, solid for a down-bow, dashed for an up-bow. A retake is a
gap with its sign; where the bow runs out the line stops at the edge with a mark and words. What
the lines mean stands once, under the first system.
The drawing counts in mm from the strip's top left corner, all in one ink, and stands under
`System.notes`; its numbers are told in words as well.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from html import escape
from typing import Final

from repertoire.technique.bow_place import Placed, Segment, strip
from repertoire.technique.bow_words import NO_TERMS, place_word
from repertoire.technique.line import Line
from repertoire.technique.strokes import Bowing, Direction

from .left_hand_strip import Strip
from .picture import System

_INK: Final = "currentColor"  # the page's ink, also in the dark
_PALE: Final = 0.55  # how much of it the inner lines take
_TOP: Final = 3.6  # tip line from the strip's top, room for words above
_BAND: Final = 13.5  # from the tip line to the frog line
_TEXT: Final = 3.0
ROOM_MM: Final = _TOP + _BAND + 4.0  # what a strip takes between two staves, with words at its foot
_GAP: Final = 1.1  # white before a lifted bow's new line
_WAVE: Final = 0.55


def bow_strip(
    bowing: Bowing,
    placed: Placed,
    system: System,
    *,
    staff: int = 0,
    pass_number: int = 1,
    terms: Mapping[str, str] = NO_TERMS,
) -> Strip:
    """The strip for one system, empty where the bow plays nothing on it. `terms` may rename
    frog and tip; of music that is repeated, `pass_number` is shown."""
    notes = system.notes_by_staff[staff] if system.notes_by_staff else system.notes
    found = [s for s in strip(bowing, placed, pass_number) if s.address in notes]
    if not found:
        return Strip("", 0.0, "")
    left, right = _edges(system, notes, staff)
    out = _frame(left, right, terms)
    for segment in found:
        start, end = notes[segment.address][0], _next(bowing.line, segment, notes, right)
        out += _way(segment, start, max(end, start + 0.8))
    legend = bowing.strokes[0].first in notes and _is_last(system, staff)
    if legend:
        out.append(_legend(left))
    below = any(s.runs_out is not None and s.end < Fraction(1, 2) for s in found)  # words under the frog line
    under = 2.8 if legend else 2.0 if below else 0.0
    return Strip("".join(out), _TOP + _BAND + 1.6 + under, words_of(bowing, placed, found, terms))


def _is_last(system: System, staff: int) -> bool:
    return staff == max(len(system.staves) - 1, 0)


def _legend(left: float) -> str:
    """What the lines mean, under the first system's last strip."""
    y = _TOP + _BAND + 3.4
    out: list[str] = []
    x = left
    for words, dashes in (("down-bow", ""), ("up-bow", "1.3 0.8")):
        out.append(_line(x, y - 0.8, x + 6, y - 0.8, 0.5, dashes))
        out.append(_text(x + 7, y, words))
        x += 9 + 0.55 * _TEXT * len(words)
    return f'<g class="legend">{"".join(out)}</g>'


def _edges(system: System, notes: Mapping[str, tuple[float, float]], staff: int) -> tuple[float, float]:
    if staff < len(system.staves):
        return system.staves[staff].left, system.staves[staff].right
    across = [x for x, _ in notes.values()]
    return min(across) - 2, max(across) + 8


def _y(place: Fraction | float) -> float:
    return _TOP + _BAND * (1 - float(place))


def _line(x1: float, y1: float, x2: float, y2: float, width: float, dashes: str = "", share: float = 1) -> str:
    dash = f";stroke-dasharray:{dashes}" if dashes else ""
    pale = f";stroke-opacity:{share:g}" if share != 1 else ""
    style = f"stroke:{_INK};stroke-width:{width};stroke-linecap:butt;fill:none{dash}{pale}"
    return f'<path d="M{x1:.2f} {y1:.2f}L{x2:.2f} {y2:.2f}" style="{style}"/>'


def _text(x: float, y: float, words: str, anchor: str = "start") -> str:
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" font-size="{_TEXT}" text-anchor="{anchor}" fill="{_INK}" '
        f'style="stroke:none">{escape(words)}</text>'
    )


def _frame(left: float, right: float, terms: Mapping[str, str]) -> list[str]:
    """The band: tip and frog, the thirds between, and their names at the left."""
    out = []
    for third in range(4):
        outer = third in (0, 3)
        out.append(
            _line(left, _y(third / 3), right, _y(third / 3), 0.18 if outer else 0.1, share=1 if outer else _PALE)
        )
    out.append(_text(left, _y(1) + _TEXT, terms.get("tip", "tip")))
    out.append(_text(left, _y(0) - 0.7, terms.get("frog", "frog")))
    return out


def _next(line: Line, segment: Segment, notes: Mapping[str, tuple[float, float]], right: float) -> float:
    """Where a note's line ends: at the head or rest that follows it in time, or the staff's end."""
    here = line.event(segment.address)
    end = line.time(here) + segment.beats
    for event in line.events[line.order(here.address) + 1 :]:
        if not event.grace and line.time(event) >= end:
            place = notes.get(event.address)
            return place[0] if place else right
    return right


def _way(segment: Segment, start: float, end: float) -> list[str]:
    """One note's line, with a retake's sign before it and the mark where the bow runs out."""
    out: list[str] = []
    dashes = "1.3 0.8" if segment.direction is Direction.UP else ""
    top, bottom = _y(segment.start), _y(segment.end)
    if segment.retake:
        out.append(_retake(start))
        start += _GAP
    if segment.tremolo:
        return [*out, _wave(start, end, top)]
    if segment.runs_out is None and segment.start == segment.end:
        return out  # nothing of the bow is left for this note
    stop = end if segment.runs_out is None else start + (end - start) * float(segment.runs_out)
    out.append(_line(start, top, stop, bottom, 0.5, dashes))
    out.append(f'<circle cx="{start:.2f}" cy="{top:.2f}" r="0.6" style="fill:{_INK};stroke:none"/>')
    if segment.runs_out is not None:
        above = bottom < _TOP + _BAND / 2
        out.append(_line(stop, bottom - 1.1, stop, bottom + 1.1, 0.6))
        out.append(_text(stop, bottom - 1.6 if above else bottom + 1.3 + _TEXT / 2, "runs out", "middle"))
    return out


def _retake(x: float) -> str:
    """The sign of a lifted bow in the gap above the band: an arc whose arrowhead comes down on the string."""
    y = _TOP - 0.9
    arc = f"M{x - 0.9:.2f} {y:.2f}C{x - 0.8:.2f} {y - 2.2:.2f} {x + 0.9:.2f} {y - 2.2:.2f} {x + 1.1:.2f} {y - 0.8:.2f}"
    tip = f"M{x + 0.55:.2f} {y - 0.9:.2f}L{x + 1.65:.2f} {y - 0.9:.2f}L{x + 1.12:.2f} {y + 0.1:.2f}Z"
    return (
        f'<path d="{arc}" style="fill:none;stroke:{_INK};stroke-width:0.28;stroke-linecap:round"/>'
        f'<path d="{tip}" style="fill:{_INK};stroke:none"/>'
    )


def _wave(start: float, end: float, y: float) -> str:
    steps = max(int((end - start) / 1.2), 1)
    step = (end - start) / steps
    points = " ".join(f"{start + (i + 0.5) * step:.2f},{y + _WAVE * (-1) ** i:.2f}" for i in range(steps))
    style = f"fill:none;stroke:{_INK};stroke-width:0.35"
    return f'<polyline points="{start:.2f},{y:.2f} {points} {end:.2f},{y:.2f}" style="{style}"/>'


def words_of(bowing: Bowing, placed: Placed, segments: list[Segment], terms: Mapping[str, str] = NO_TERMS) -> str:
    """The distribution in words, stroke by stroke: where each begins and ends."""
    out = []
    for number in dict.fromkeys(s.stroke for s in segments):
        mine = [s for s in segments if s.stroke == number]
        first, last = mine[0], mine[-1]
        lead = "retake, " if first.retake else ""
        start, end = place_word(first.start, terms), place_word(last.end, terms)
        way = start if start == end else f"{start} to {end}"
        text = f"{bowing.line.where(first.address)}: {lead}{first.direction}-bow, {way}"
        if any(s.tremolo for s in mine):
            text += ", tremolo"
        if any(s.runs_out is not None for s in mine):
            text += ", the bow runs out"
        out.append(text)
    return f"Bow, {placed.reading}. " + "; ".join(out) + "."
