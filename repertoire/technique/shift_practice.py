"""One shift alone as a short excerpt: starting note, guide note, arriving note.

The guide note is a small note before the arrival. Two ways are offered: the starting
finger goes first to the new position, or the arriving finger is set in the old one and
slid up; a half step with one finger is offered as a slide and with two fingers.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Literal

from .fingering import Fingering, Placement
from .left_hand import Guide, Shift, Slide
from .line import Bar, Event, Line, Meter, Value
from .marks import Kind, Mark, Marks
from .pitch import Pitch
from .strings import string_name

Way = Literal["starting", "arriving"]


def shift_excerpt(fingering: Fingering, shift: Shift, way: Way = "starting") -> tuple[Line, Marks] | None:
    """A bar of two half notes with the guide note between, slurred, fingers and strings marked.

    None where that finger has no guide note. The bar's key and clef are the passage's.
    """
    guide = shift.starting if way == "starting" else shift.arriving
    if guide is None:
        return None
    start, end = shift.start, shift.end
    finger = start.leaves if start.leaves is not None else start.finger
    events = (
        _event(1, 0, 2, start.pitch),
        replace(_event(2, 2, 0, guide.pitch), grace="plain", value=Value("eighth")),
        _event(3, 2, 2, end.pitch),
    )
    marks = (
        Mark(Kind.FINGER, "b1n1", str(finger)),
        Mark(Kind.FINGER, "b1n2", str(guide.finger)),
        Mark(Kind.FINGER, "b1n3", str(end.finger)),
        Mark(Kind.STRING, "b1n1", string_name(start.string)),
        *((Mark(Kind.STRING, "b1n3", string_name(end.string)),) if end.string != start.string else ()),
        Mark(Kind.SLUR, "b1n1", to="b1n3"),
    )
    return _one_bar(fingering, start, events), tuple(sorted(marks))


def slide_excerpts(fingering: Fingering, slide: Slide) -> tuple[tuple[Line, Marks], tuple[Line, Marks]]:
    """A half step with the same finger, and the same two notes with two neighbouring fingers."""
    first, second = fingering.by_address[slide.start], fingering.by_address[slide.end]
    line = _one_bar(fingering, first, (_event(1, 0, 2, first.pitch), _event(2, 2, 2, second.pitch)))
    slur = Mark(Kind.SLUR, "b1n1", to="b1n2")
    same = _pair(slide.finger, slide.finger)
    rising = second.semitones > first.semitones
    low = min(slide.finger, 3)
    two = _pair(low, low + 1) if rising else _pair(low + 1, low)
    return (line, tuple(sorted((*same, slur)))), (line, tuple(sorted((*two, slur))))


def _pair(first: int, second: int) -> Marks:
    return (Mark(Kind.FINGER, "b1n1", str(first)), Mark(Kind.FINGER, "b1n2", str(second)))


def _event(number: int, onset: int, length: int, pitch: Pitch) -> Event:
    return Event(f"b1n{number}", 1, Fraction(onset), Fraction(length), (pitch,), Value("half"))


def _one_bar(fingering: Fingering, near: Placement, events: tuple[Event, ...]) -> Line:
    key, clefs = fingering.moments[near.moment].key, None
    if fingering.line is not None:
        clefs = fingering.line.bar_of(near.address).clefs[:1]
    bar = Bar(1, "1", Fraction(0), Fraction(4), Meter("4", 4), key)
    if clefs:
        bar = replace(bar, clefs=(replace(clefs[0], onset=Fraction(0)),))
    return Line((bar,), events, instrument=fingering.instrument)


def guide_words(guide: Guide | None) -> str:
    """A guide note in words, or that there is none."""
    return str(guide) if guide is not None else "no guide note: the finger would lie behind the nut"
