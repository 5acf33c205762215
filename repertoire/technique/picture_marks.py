"""Signs placed on a picture of printed music: in which order they are read, how their place is
said, and what differs between two sets of them.

Nothing is known of the notes. What is known of the picture is its size and, where its lines
could be found, its staves; a place is then told by the stave it belongs to.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from .marks import Aspect, Kind, Mark, MarkError, Marks, put, take
from .picture_places import Place, is_place, parse_place

NEAR = 0.04  # of the width: how far a sign may have been moved to be told as moved
ABOVE = 0.6
REACH = 0.035  # of the width: how far from the cursor a sign can stand and still be meant


@dataclass(frozen=True, slots=True)
class Paper:
    """A picture's width and height in pixels, and the top and bottom line of each stave, in pixels."""

    width: int
    height: int
    staves: tuple[tuple[float, float], ...] = ()

    @property
    def staff_px(self) -> float:
        """The height of a stave in pixels, the middle one of those found; 0 where none was."""
        heights = sorted(bottom - top for top, bottom in self.staves)
        return heights[len(heights) // 2] if heights else 0.0

    def stave_at(self, y: float) -> int:
        """The stave (from 0) a height given as a fraction belongs to; 0 where none is known. Signs
        stand above their stave more often than below it, so the way up counts for less."""
        level = y * self.height
        gaps = [max(ABOVE * (top - level), level - bottom, 0.0) for top, bottom in self.staves]
        return gaps.index(min(gaps)) if gaps else 0


def where(place: Place, paper: Paper) -> str:
    """A place in words: "stave 2, 34 % across, above"; without staves "34 % across, 20 % down"."""
    across = f"{round(100 * place.x)} % across"
    if not paper.staves:
        return f"{across}, {round(100 * place.y)} % down"
    number = paper.stave_at(place.y)
    top, bottom = paper.staves[number]
    level = place.y * paper.height
    side = "above" if level < top else "below" if level > bottom else "on the lines"
    return f"stave {number + 1}, {across}, {side}" if len(paper.staves) > 1 else f"{across}, {side}"


def in_order(marks: Iterable[Mark], paper: Paper) -> Marks:
    """Marks in the order they are read: stave by stave, from the left, the upper one first."""

    def key(mark: Mark) -> tuple[int, float, float, Mark]:
        place = parse_place(mark.at)
        return (paper.stave_at(place.y), place.x, place.y, mark)

    return tuple(sorted(marks, key=key))


_FINGERS = {"0": "open string"}


def name(mark: Mark) -> str:
    """A sign in words, without its place: "up-bow", "finger 2", "“broad”"."""
    if mark.kind is Kind.BOW:
        return f"{mark.value}-bow"
    if mark.kind is Kind.FINGER:
        first, _, second = mark.value.partition("-")
        return f"finger {first} changing to {second}" if second else _FINGERS.get(first, f"finger {first}")
    if mark.kind is Kind.STRING:
        return f"string {mark.value}"
    if mark.kind is Kind.TEXT:
        return f"“{mark.value}”"
    return "dashed slur" if mark.value == "dashed" else str(mark.kind)


def describe(mark: Mark, paper: Paper) -> str:
    """A sign with its place: "stave 1, 12 % across, above: down-bow"."""
    return f"{where(parse_place(mark.at), paper)}: {name(mark)}{_until(mark, paper)}"


def _until(mark: Mark, paper: Paper) -> str:
    if not mark.to:
        return ""
    start, end = parse_place(mark.at), parse_place(mark.to)
    if paper.stave_at(start.y) == paper.stave_at(end.y):
        return f" to {round(100 * end.x)} %"
    return f" to {where(end, paper)}"


def place_sign(marks: Marks, sign: Mark) -> Marks:
    """Marks with one more sign. Raises MarkError for one that isn't on a picture or goes nowhere."""
    if not sign.on_picture:
        raise MarkError("A sign on a picture needs a place.")
    if sign.to == sign.at:
        raise MarkError("A slur goes from one place to another: mark where it starts, then where it ends.")
    if sign.to and parse_place(sign.to).x < parse_place(sign.at).x and _close(sign):
        sign = Mark(sign.kind, sign.to, sign.value, sign.at, sign.options)
    return put(marks, sign)


def _close(sign: Mark) -> bool:
    """True for a slur whose ends lie at about one height: it was drawn from right to left."""
    return abs(parse_place(sign.to).y - parse_place(sign.at).y) < 0.15


def nearest(marks: Iterable[Mark], place: Place, paper: Paper) -> Mark | None:
    """The sign nearest to a place within REACH of the width, either end of a slur counting."""

    def distance(mark: Mark) -> float:
        ends = [parse_place(end) for end in (mark.at, mark.to) if end]
        return min(_apart(place, end, paper) for end in ends)

    found = min(marks, key=lambda m: (distance(m), m), default=None)
    return found if found is not None and distance(found) <= REACH else None


def _apart(one: Place, other: Place, paper: Paper) -> float:
    """The distance of two places in widths of the picture."""
    tall = paper.height / paper.width
    return float(((one.x - other.x) ** 2 + ((one.y - other.y) * tall) ** 2) ** 0.5)


def nudge(marks: Marks, sign: Mark, right: float, down: float) -> Marks:
    """The marks with one sign moved by fractions of width and height, a slur with both its ends.
    Raises MarkError when it isn't there."""
    if sign not in marks:
        raise MarkError("That sign isn’t there any more.")
    at = parse_place(sign.at).moved(right, down).address
    to = parse_place(sign.to).moved(right, down).address if sign.to else ""
    if at == to:
        raise MarkError("There is no room to move it further.")
    return put(take(marks, sign), Mark(sign.kind, at, sign.value, to, sign.options))


@dataclass(frozen=True, slots=True)
class SignChange:
    """One difference between two sets of signs, where it is and in words."""

    at: str
    where: str
    words: str
    aspect: Aspect


def differences(before: Iterable[Mark], after: Iterable[Mark], paper: Paper) -> tuple[SignChange, ...]:
    """What was added, removed, changed and moved, in the order it is read.

    A sign gone and the same one found close by is told as moved; another sign of the same kind
    at the very same place as changed.
    """
    old, new = set(before), set(after)
    gone, added = list(in_order(old - new, paper)), in_order(new - old, paper)
    found: list[tuple[Mark, str]] = []
    for mark in added:
        twin = _moved_from(mark, gone, paper)
        if twin is not None:
            gone.remove(twin)
            said = (
                f"{name(mark)} moved" if twin.at != mark.at or twin.to != mark.to else f"{name(mark)} drawn otherwise"
            )
        elif other := next((m for m in gone if m.slot == mark.slot), None):
            gone.remove(other)
            said = f"{name(mark)}, was {name(other)}"
        else:
            said = f"{name(mark)}{_until(mark, paper)} added"
        found.append((mark, said))
    found += [(mark, f"{name(mark)}{_until(mark, paper)} removed") for mark in gone]
    words = dict(found)
    return tuple(SignChange(m.at, where(parse_place(m.at), paper), words[m], m.aspect) for m in in_order(words, paper))


def _moved_from(mark: Mark, gone: Iterable[Mark], paper: Paper) -> Mark | None:
    place = parse_place(mark.at)
    alike = [m for m in gone if (m.kind, m.value) == (mark.kind, mark.value)]
    near = [(_apart(place, parse_place(m.at), paper), m) for m in alike]
    found = min(near, default=None)
    return found[1] if found is not None and found[0] <= NEAR else None


def only_places(marks: Iterable[Mark]) -> bool:
    """True when every mark stands at places of a picture."""
    return all(is_place(end) for mark in marks for end in (mark.at, mark.to) if end)
