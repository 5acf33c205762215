"""The facts of a bowing, for the table under compared markings, and limits worth a word.

`facts` counts; `limit_findings` flags what is over the limits of `BowSettings`. Neither
calls anything wrong: a teacher weighs them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from .bow_place import Placed, StrokePlace
from .bowing import is_downbeat
from .line import event_address
from .loudness import Loudness, loudness
from .marks import Kind
from .strokes import Bowing, Direction, Finding, FindingKind, Stroke, finding


@dataclass(frozen=True, slots=True)
class HighPoint:
    """A high point: marked, or the highest note where none is. `place` is where it starts."""

    address: str
    marked: bool
    stroke: int | None
    direction: Direction | None
    place: Fraction | None


@dataclass(frozen=True, slots=True)
class BowFacts:
    """`fastest_ratio` compares the fastest stroke with its slowest neighbour. `crossings` counts
    string changes inside strokes, None while the left hand isn't known."""

    strokes: int
    bow_changes: int
    retakes: int
    longest: int | None  # stroke number
    longest_seconds: float | None
    fastest: int | None
    fastest_mm_s: float | None
    fastest_ratio: float | None
    downbeats: int
    downbeats_down: int
    high_points: tuple[HighPoint, ...]
    last: str
    last_direction: Direction | None
    last_place: Fraction | None
    runs_out: int
    crossings: int | None = None


def facts(bowing: Bowing, placed: Placed, strings: Mapping[str, str] | None = None) -> BowFacts:
    """What a bowing does, in one reading of its places.

    `strings` gives the string of every note address where the left hand is known.
    """
    timed = [
        (stroke, float(found.seconds))
        for stroke, found in zip(bowing.strokes, placed.strokes, strict=True)
        if found.seconds is not None
    ]
    longest = max(timed, key=lambda t: t[1], default=None)
    moving = [p for p in placed.strokes if p.speed is not None]
    fastest = max(moving, key=lambda p: p.speed or 0.0, default=None)
    beats = [(s, m) for s in bowing.strokes for m in s.moments if is_downbeat(bowing.line, m)]
    last = bowing.strokes[-1] if bowing.strokes else None
    return BowFacts(
        strokes=len(bowing.strokes),
        bow_changes=max(len(bowing.strokes) - 1, 0),
        retakes=sum(1 for s in bowing.strokes if s.retake),
        longest=longest[0].number if longest else None,
        longest_seconds=longest[1] if longest else None,
        fastest=fastest.number if fastest else None,
        fastest_mm_s=fastest.speed if fastest else None,
        fastest_ratio=_ratio(bowing, placed, fastest) if fastest else None,
        downbeats=len(beats),
        downbeats_down=sum(1 for s, _ in beats if s.direction is Direction.DOWN),
        high_points=_high_points(bowing, placed),
        last=last.last if last else "",
        last_direction=last.direction if last else None,
        last_place=placed.strokes[-1].end if last else None,
        runs_out=sum(1 for p in placed.strokes if p.runs_out is not None),
        crossings=None if strings is None else _crossings(bowing, strings),
    )


def neighbours(bowing: Bowing, number: int) -> Iterator[Stroke]:
    """The strokes next to one, with no start (pizzicato, long rest) between."""
    stroke = bowing.strokes[number - 1]
    if number > 1 and not stroke.start:
        yield bowing.strokes[number - 2]
    if number < len(bowing.strokes) and not bowing.strokes[number].start:
        yield bowing.strokes[number]


def _ratio(bowing: Bowing, placed: Placed, found: StrokePlace) -> float | None:
    speeds = [placed.stroke(s.number).speed for s in neighbours(bowing, found.number)]
    known = [v for v in speeds if v]
    return found.speed / min(known) if known and found.speed else None


def _high_points(bowing: Bowing, placed: Placed) -> tuple[HighPoint, ...]:
    line = bowing.line
    marked = [event_address(m.at) for m in bowing.marks if m.kind is Kind.HIGH_POINT and m.at in line]
    chosen = sorted(set(marked), key=line.order)
    if not chosen:
        notes = [e for e in line.notes if not e.cue]
        top = max((p.midi for e in notes for p in e.pitches), default=None)
        chosen = [e.address for e in notes if not e.continues and any(p.midi == top for p in e.pitches)][:1]
    out = []
    for address in chosen:
        stroke, note = bowing.stroke_at(address), placed.note(address)
        out.append(
            HighPoint(
                address, bool(marked), stroke.number if stroke else None, stroke.direction if stroke else None,
                note.start if note else None,
            )
        )  # fmt: skip
    return tuple(out)


def _crossings(bowing: Bowing, strings: Mapping[str, str]) -> int:
    """String changes between neighbouring single notes of one stroke."""
    count = 0
    for stroke in bowing.strokes:
        known = [strings.get(m.address) for m in stroke.moments]
        count += sum(1 for a, b in pairwise(known) if a and b and a != b)
    return count


def limit_findings(bowing: Bowing, placed: Placed) -> tuple[Finding, ...]:
    """Strokes longer than a soft or a loud bow lasts, sudden speed at one dynamic, and loud
    sustained notes at the very frog or tip."""
    loud = loudness(bowing.line, bowing.marks)
    settings = bowing.settings
    out: list[Finding] = []
    for stroke, place in zip(bowing.strokes, placed.strokes, strict=True):
        levels = [loud[m.address] for m in stroke.moments]
        seconds = float(place.seconds) if place.seconds is not None else None
        strong = any(level.is_loud for level in levels)
        limit = settings.long_loud_seconds if strong else settings.long_soft_seconds
        if seconds is not None and seconds > limit:
            how = "loud " if strong else ""
            text = f"The {how}{stroke.direction}-bow from {{where}} lasts {seconds:.1f} s, more than {limit:g} s."
            out.append(finding(bowing.line, stroke.first, FindingKind.LONG_STROKE, text))
        out += _uneven(bowing, placed, stroke, loud)
        out += _edges(bowing, placed, stroke, loud)
    return tuple(out)


def _uneven(bowing: Bowing, placed: Placed, stroke: Stroke, loud: Mapping[str, Loudness]) -> list[Finding]:
    speed = placed.stroke(stroke.number).speed
    level = loud[stroke.first].level
    ratios = []
    for other in neighbours(bowing, stroke.number):
        its = placed.stroke(other.number).speed
        if speed and its and loud[other.first].level == level:
            ratios.append(speed / its)
    if not ratios or max(ratios) <= bowing.settings.uneven_ratio:
        return []
    text = f"The {stroke.direction}-bow in {{where}} moves {max(ratios):.1f} times as fast as its neighbour."
    return [finding(bowing.line, stroke.first, FindingKind.UNEVEN, text)]


def _edges(bowing: Bowing, placed: Placed, stroke: Stroke, loud: Mapping[str, Loudness]) -> list[Finding]:
    """A loud sustained note that lies wholly at the very frog or tip."""
    out = []
    edge = Fraction(bowing.settings.edge)
    for moment in stroke.moments:
        note = placed.note(moment.address, moment.pass_number)
        if note is None or not note.seconds or note.seconds < bowing.settings.sustained_seconds:
            continue
        low, high = sorted((note.start, note.end))
        end = "frog" if high <= edge else "tip" if low >= 1 - edge else ""
        if end and loud[moment.address].is_loud:
            text = f"The loud note in {{where}} is sustained at the very {end}."
            out.append(finding(bowing.line, moment.address, FindingKind.EDGE, text))
    return out
