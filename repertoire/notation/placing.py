"""Signs kept from touching each other: what stands above or below a staff, moved outwards.

Verovio sets the notes, stems, beams, slurs and bow signs well. Fingers, words and lines
are set again here: one by one in order of their closeness to the note, each goes to the
nearest free place outside the staff. A system is a drawing of its own, so it can grow.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise

from repertoire.technique.line import event_address

from .ink import STAFF, Box, Sign, union

SPACE = STAFF / 4
_GAP = 0.32 * SPACE  # white between two signs, above one another
_SIDE = 0.15 * SPACE  # and beside one another
_BESIDE = 0.2 * SPACE  # more white beside a breath or retake
_FROM_STAFF = 0.45 * SPACE
_ROUND = {"note": 0.25 * SPACE, "slur": 0.22 * SPACE, "tie": 0.22 * SPACE}  # more white above and below these
_TUPLET_GAP = 0.2 * SPACE  # more white round the bracket of a tuplet
_STEP = 400.0
_APART = 3.0 * SPACE  # what a tempo mark may be pushed up beyond the others before it stands alone

# How close to the note each sign stands; what isn't named here stays where it is.
_ORDER = {
    "fing": 0, "hold": 1, "breath": 2, "caesura": 2, "trill": 2, "turn": 2, "mordent": 2, "fermata": 3,
    "kind-ornament": 3, "kind-string": 4, "octave": 5, "bracketSpan": 6, "dynam": 4, "hairpin": 4, "dir": 7,
    "kind-phrase": 8, "kind-high-point": 9, "ending": 10, "tempo": 11, "reh": 12, "repeatMark": 12,
}  # fmt: skip


_ACROSS = ("barLine", "grpSym", "label", "labelAbbr", "mNum", "ending", "reh")


class Ground:
    """The room taken so far, found by place."""

    def __init__(self) -> None:
        self._columns: dict[int, list[Box]] = defaultdict(list)

    def add(self, boxes: Iterable[Box]) -> None:
        for box in boxes:
            for column in range(int(box[0] // _STEP), int(box[2] // _STEP) + 1):
                self._columns[column].append(box)

    def near(self, box: Box) -> list[Box]:
        found = []
        for column in range(int((box[0] - _SIDE) // _STEP), int((box[2] + _SIDE) // _STEP) + 1):
            found += [b for b in self._columns.get(column, ()) if b[0] < box[2] + _SIDE and b[2] > box[0] - _SIDE]
        return found

    def shift(self, boxes: Sequence[Box], *, up: bool) -> float:
        """How far the boxes have to go (negative is up) until they touch nothing."""
        moved = 0.0
        pairs = [(box, self.near(box)) for box in boxes]
        for _ in range(60):
            need = 0.0
            for (_, top, _, low), others in pairs:
                for other in others:
                    if other[1] < low + moved + _GAP and other[3] > top + moved - _GAP:
                        away = other[1] - _GAP - low - moved if up else other[3] + _GAP - top - moved
                        need = min(need, away) if up else max(need, away)
            if not need:
                break
            moved += need
        return moved


def place(signs: Sequence[Sign], staves: Sequence[tuple[float, float, float, float]], at: Mapping[str, str]) -> None:
    """Move signs apart in place. `staves` gives top, bottom, left and right of each staff, `at` the
    address a sign starts from by its key."""
    for number, staff in enumerate(staves):
        mine = [s for s in signs if s.shapes and _staff_number(s, staves) == number]
        _place_on(mine, staff, at)


def _staff_number(sign: Sign, staves: Sequence[tuple[float, float, float, float]]) -> int:
    if sign.staff >= 0 or len(staves) == 1:
        return max(sign.staff, 0)
    box = sign.box
    assert box is not None
    middle = (box[1] + box[3]) / 2
    return min(range(len(staves)), key=lambda n: abs((staves[n][0] + staves[n][1]) / 2 - middle))


def overlap(signs: Sequence[Sign], staves: Sequence[tuple[float, float, float, float]]) -> float:
    """How far the signs of neighbouring staves reach into each other, at most, in drawing units."""
    lowest: list[dict[int, float]] = [{} for _ in staves]
    highest: list[dict[int, float]] = [{} for _ in staves]
    for sign in signs:
        if sign.staff < 0 or sign.name in _ACROSS:
            continue
        low, high = lowest[sign.staff], highest[sign.staff]
        for x1, y1, x2, y2 in sign.boxes():
            for column in range(int(x1 // _STEP), int(x2 // _STEP) + 1):
                low[column] = max(y2, low.get(column, y2))
                high[column] = min(y1, high.get(column, y1))
    found = 0.0
    for above, below in pairwise(range(len(staves))):
        shared = lowest[above].keys() & highest[below].keys()
        found = max(found, *(lowest[above][c] + SPACE / 2 - highest[below][c] for c in shared), 0.0)
    return found


def room_under(
    signs: Sequence[Sign], staves: Sequence[tuple[float, float, float, float]]
) -> tuple[tuple[float, float], ...]:
    """From where to where nothing is drawn under each staff but the last: the lowest ink of the
    staff and the highest of the next, in drawing units."""
    lowest = [staff[1] for staff in staves]
    highest = [staff[0] for staff in staves]
    for sign in signs:
        if sign.staff < 0 or sign.name in _ACROSS:
            continue
        for _, top, _, bottom in sign.boxes():
            lowest[sign.staff] = max(lowest[sign.staff], bottom)
            highest[sign.staff] = min(highest[sign.staff], top)
    return tuple((lowest[n], highest[n + 1]) for n in range(len(staves) - 1))


def rank(sign: Sign) -> int | None:
    """Place in the order from the note outwards; None for what stays."""
    if sign.row:
        return _ORDER["dynam"]
    if sign.name == "bracketSpan" and sign.kind == "hold":
        return _ORDER["hold"]
    if sign.name in ("dir", "bracketSpan") and f"kind-{sign.kind}" in _ORDER:
        return _ORDER[f"kind-{sign.kind}"]
    return _ORDER.get(sign.name)


def _place_on(signs: Sequence[Sign], staff: tuple[float, float, float, float], at: Mapping[str, str]) -> None:
    ground = Ground()
    middle = (staff[0] + staff[1]) / 2
    movable = [(r, s) for s in signs if (r := rank(s)) is not None]
    for sign in signs:
        if rank(sign) is None and sign.name not in ("staff", "tupletBracket", "tupletNum"):
            more = _ROUND.get(sign.name, 0.0)
            ground.add((a, b - more, c, d + more) for a, b, c, d in _solid(sign))
    tuplets = _tuplets(signs)
    _set_tuplets([t for t in tuplets if len(t) == 1], ground, middle)  # a number at its beam
    tuplets = [t for t in tuplets if len(t) > 1]
    fingers: dict[str, Sign] = {}
    chains = _chains([s for _, s in movable if s.row or s.name in ("dynam", "hairpin")], middle)
    chained = {id(s) for chain in chains for s in chain}
    endings = [s for _, s in movable if s.name == "ending"]
    tempos = sorted((s for _, s in movable if s.name == "tempo"), key=_left)
    artics = _artics(signs)
    for order, sign in sorted(movable, key=lambda pair: (pair[0], *_reading_order(pair[1], at))):
        if order > _ORDER["hold"] and tuplets:  # brackets stand outside the fingers of their notes
            _set_tuplets(tuplets, ground, middle)
            tuplets = []
        if sign.name == "ending":
            if sign is endings[0]:
                _level(endings, ground)
            continue
        if sign.name == "tempo":
            if tempos:
                _in_rows(tempos, ground, staff)
            tempos = []
            continue
        if id(sign) in chained:
            if id(sign) == id(next(c for c in chains if any(m is sign for m in c))[0]):
                _settle(next(c for c in chains if c[0] is sign), ground, staff)
            continue
        box = sign.box
        assert box is not None
        up = (box[1] + box[3]) / 2 < middle and "lower" not in sign.classes
        if sign.name == "fing":
            _from_the_note(sign, signs, staff, at, up=up)
            fingers[at.get(sign.key, "")] = sign
        elif sign.name == "bracketSpan" and sign.kind == "hold":
            _after_its_finger(sign, fingers.get(at.get(sign.key, "")))
        elif sign.name in ("dir", "bracketSpan", "octave", "breath", "caesura", "trill", "turn", "mordent", "fermata"):
            _to_the_staff(sign, staff, up=up)
        sign.dy += _past_artics(sign, artics.get(event_address(at.get(sign.key, "")), ()), up=up)
        room = (
            [(a - _BESIDE, b, c + _BESIDE, d) for a, b, c, d in sign.boxes()] if sign.name == "breath" else sign.boxes()
        )
        sign.dy += ground.shift(list(room), up=up)
        ground.add(sign.boxes())
    _set_tuplets(tuplets, ground, middle)


def _artics(signs: Sequence[Sign]) -> dict[str, list[Box]]:
    """The signs on the notes themselves, by event."""
    found: dict[str, list[Box]] = defaultdict(list)
    for sign in signs:
        if sign.name == "artic" and sign.parent is not None:
            found[event_address(sign.parent.ident.rpartition("_")[2])] += sign.boxes()
    return found


def _past_artics(sign: Sign, artics: Sequence[Box], *, up: bool) -> float:
    """What a sign lacks to stand outside the dots and bow signs of its own note, though there be room between them."""
    box = sign.box
    assert box is not None
    over = [b for b in artics if b[0] < box[2] and b[2] > box[0]]
    if up:
        return min([0.0, *(b[1] - _GAP - box[3] for b in over)])
    return max([0.0, *(b[3] + _GAP - box[1] for b in over)])


def _reading_order(sign: Sign, at: Mapping[str, str]) -> tuple[float, str]:
    box = sign.box
    assert box is not None
    return round((box[0] + box[2]) / 2 / 60), at.get(sign.key, "")


def _from_the_note(
    sign: Sign, signs: Sequence[Sign], staff: tuple[float, float, float, float], at: Mapping[str, str], *, up: bool
) -> None:
    """A finger starts right outside the staff, or outside its note where that stands further out."""
    box = sign.box
    assert box is not None
    if up:
        sign.dy += staff[0] - _FROM_STAFF - box[3]
    else:
        sign.dy += staff[1] + _FROM_STAFF - box[1]


def _to_the_staff(sign: Sign, staff: tuple[float, float, float, float], *, up: bool) -> None:
    """Words and lines start a space outside the staff and go out from there."""
    box = sign.box
    assert box is not None
    sign.dy += staff[0] - SPACE * 0.8 - box[3] if up else staff[1] + SPACE * 0.8 - box[1]


def _after_its_finger(sign: Sign, finger: Sign | None) -> None:
    """The line of a finger kept down begins behind the digit, at half its height."""
    shape = sign.shapes[0]
    box = sign.box
    assert box is not None
    if finger is None or finger.box is None or "spanning" in sign.classes:
        return
    digit = finger.box
    left, y = digit[2] + 45, (digit[1] + digit[3]) / 2
    if left < box[2] - 60:
        shape.body = f"M{left:.0f} {y:.0f}L{box[2]:.0f} {y:.0f}"
        shape.boxes = [(left, y - 9, box[2], y + 9)]


def _chains(signs: Sequence[Sign], middle: float) -> list[list[Sign]]:
    """Dynamics, with the words on their lines, and hairpins that follow each other closely share a level."""
    lines: dict[str, list[Sign]] = defaultdict(list)
    for number, sign in enumerate(signs):
        lines[sign.row or (sign.key if sign.name == "dynam" else "") or str(number)].append(sign)
    boxed = [(union(b for s in line for b in s.boxes()), line) for line in lines.values()]
    chains: list[list[Sign]] = []
    last: Box | None = None
    for box, line in sorted(((b, line) for b, line in boxed if b), key=lambda pair: pair[0][0]):
        if last and 0 < box[0] - last[2] < 2.5 * SPACE and (box[1] > middle) == (last[1] > middle):
            chains[-1] += line
        else:
            chains.append(line)
        last = box
    return chains


def _settle(chain: Sequence[Sign], ground: Ground, staff: tuple[float, float, float, float]) -> None:
    """A chain of dynamics moves as one, on one axis."""
    boxes = [s.box for s in chain]
    above = boxes[0] is not None and boxes[0][3] < (staff[0] + staff[1]) / 2
    axes = [_axis(s) for s in chain]
    axis = min(axes) if above else max(axes)
    for sign, own in zip(chain, axes, strict=True):
        sign.dy += axis - own
    whole = union(b for s in chain for b in s.boxes())
    assert whole is not None
    start = staff[0] - 0.7 * SPACE - whole[3] if above else staff[1] + 0.7 * SPACE - whole[1]
    for sign in chain:
        sign.dy += start
    moved = ground.shift([b for s in chain for b in _solid(s)], up=above)
    for sign in chain:
        sign.dy += moved
        ground.add(_solid(sign))


def _tuplets(signs: Sequence[Sign]) -> list[list[Sign]]:
    """The bracket and number of each tuplet, or its number alone."""
    groups: dict[int, list[Sign]] = defaultdict(list)
    for sign in signs:
        if sign.name in ("tupletBracket", "tupletNum"):
            groups[id(sign.parent)].append(sign)
    return list(groups.values())


def _set_tuplets(tuplets: Sequence[Sequence[Sign]], ground: Ground, middle: float) -> None:
    """The bracket and number of a tuplet move together, out of the way of slurs and fingers."""
    for group in tuplets:
        boxes = [b for s in group for b in s.boxes()]
        whole = union(boxes)
        around = [(a, b - _TUPLET_GAP, c, d + _TUPLET_GAP) for a, b, c, d in boxes]
        moved = ground.shift(around, up=(whole[1] + whole[3]) / 2 < middle) if whole else 0.0
        for sign in group:
            sign.dy += moved
            ground.add(sign.boxes())


def _level(signs: Sequence[Sign], ground: Ground) -> None:
    """The brackets of first and second endings stand at one height."""
    boxes = [s.box for s in signs]
    highest = min(b[1] for b in boxes if b)
    for sign, box in zip(signs, boxes, strict=True):
        sign.dy += highest - box[1] if box else 0.0
    moved = ground.shift([b for s in signs for b in s.boxes()], up=True)
    for sign in signs:
        sign.dy += moved
        ground.add(sign.boxes())


def _in_rows(signs: Sequence[Sign], ground: Ground, staff: tuple[float, float, float, float]) -> None:
    """Tempo marks of one system stand on one line; one that would run into the last stands a row higher.
    A mark that something tall pushes up alone doesn't take the others along."""
    rows: list[list[Sign]] = []
    for sign in signs:
        box = sign.box
        assert box is not None
        row = next((r for r in rows if _right(r[-1]) + 0.8 * SPACE < box[0]), None)
        if row is None:
            rows.append([sign])
        else:
            row.append(sign)
    for row in rows:
        for sign in row:
            box = sign.box
            assert box is not None
            sign.dy += staff[0] - 1.2 * SPACE - box[3]
        needs = [ground.shift(list(s.boxes()), up=True) for s in row]
        usual = sorted(needs)[len(needs) // 2]
        together = min(n for n in needs if n >= usual - _APART)
        for sign, need in zip(row, needs, strict=True):
            sign.dy += together if need >= together else need
            sign.dy += ground.shift(list(sign.boxes()), up=True)
        for sign in row:
            ground.add(sign.boxes())


def _left(sign: Sign) -> float:
    box = sign.box
    assert box is not None
    return box[0]


def _right(sign: Sign) -> float:
    box = sign.box
    assert box is not None
    return box[2]


def _solid(sign: Sign) -> list[Box]:
    """A hairpin takes its whole wedge's room, a sign in brackets that between them."""
    box = sign.box
    whole = sign.name == "hairpin" or "mark-inferred" in sign.classes
    return [box] if whole and box else list(sign.boxes())


def _axis(sign: Sign) -> float:
    box = sign.box
    assert box is not None
    if sign.row or (sign.name == "dynam" and sign.shapes[0].tag == "glyph"):
        return sign.shapes[0].y - 0.45 * SPACE + sign.dy
    return (box[1] + box[3]) / 2
