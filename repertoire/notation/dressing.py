"""Signs Verovio leaves unfinished: words at the start of a line, the high point, short slides."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Mapping, Sequence

from .ink import STAFF, Box, Shape, Sign, glyph, union, words_at
from .laying import Words

_WORDS = 333.0  # size of ordinary directions in drawing units: a tenth more than fingers
_SIZE = 245.0
_STRONGER = 1.15
_OVER_BOW = 35.0  # white between a bow sign and the slur over it
_OFF_HEAD = 36.0  # white between a head and the first sign on it
_BETWEEN = 45.0  # and between two signs
_OFF_OTHERS = 24.0  # and between a sign and a tie or accidental
_UPRIGHT = {"E611": "E610", "E613": "E612"}  # the bow signs of SMuFL, turned and upright
_AFTER_BAR = 35.0  # white between a bar line and a retake
_FARTHEST = 150.0  # what a slur is lifted at most
_NUMBER_LEFT = -120.0  # where a bar number begins at the earliest
_CLEF_ROOM = 110.0  # white after a clef in mid-line
_BESIDE_CLEF = frozenset(("note", "rest", "mRest", "stem", "flag", "dots", "accid", "barLine", "beam", "ledgerLines"))


def dress(
    signs: Sequence[Sign], labels: Mapping[str, str], written: Mapping[str, Words], at: Mapping[str, str],
    heads: Mapping[str, Sign], width: float,
) -> None:  # fmt: skip
    """Complete the signs of one system in place.

    `labels` gives the words of a line by its key, `written` words at a note, `at` the address a sign starts from,
    `heads` the notes by address, `width` the drawing's own.
    """
    for sign in signs:
        head = heads.get(at.get(sign.key, ""))
        if sign.name == "bracketSpan" and sign.key in labels:
            _label(sign, labels[sign.key], width)
        elif sign.kind == "high-point" and sign.shapes:
            _high_point(sign)
        elif sign.key in written and sign.shapes:
            _write(sign, written[sign.key])
            if sign.kind == "string" and head is not None:
                _centre(sign, head)
        elif sign.name == "gliss":
            _slide(sign)
        elif sign.kind == "retake" and sign.shapes:
            _retake(sign)
        if sign.name in ("breath", "caesura") and head is not None:
            _between_notes(sign, head, signs)
        if sign.name in ("dir", "tempo"):
            _within(sign, width, signs)
        elif sign.name == "mNum" and sign.box is not None:
            _set_number(sign, signs)
    _set_clefs(signs)


def _set_number(sign: Sign, signs: Sequence[Sign]) -> None:
    """A bar number begins at the left edge at the earliest and stands above clef, signatures and bracket."""
    assert sign.box is not None
    sign.dx = max(0.0, _NUMBER_LEFT - sign.box[0])
    left, _, right, low = sign.box
    below = [s.box for s in signs if s.name in ("clef", "keySig", "meterSig", "grpSym") and s.box]
    top = min((b[1] for b in below if b[0] < right + 30 and b[2] > left - 30), default=low + 40)
    sign.dy = min(0.0, top - 40 - low)


def _set_clefs(signs: Sequence[Sign]) -> None:
    """A clef within a system keeps clear of the note or bar line after it, where there is room before it."""
    first: set[int] = set()
    for sign in signs:
        if sign.name != "clef" or sign.box is None:
            continue
        if sign.staff not in first:
            first.add(sign.staff)
            continue
        left, top, right, low = sign.box
        near = [
            b
            for s in signs
            if s.staff == sign.staff and s.name in _BESIDE_CLEF
            for b in s.boxes()
            if b[3] > top and b[1] < low
        ]
        before = max((b[2] for b in near if b[0] + b[2] < left + right), default=left)
        after = min((b[0] for b in near if b[0] + b[2] > left + right), default=right + _CLEF_ROOM)
        room = after - before - (right - left)
        sign.dx = min(0.0, after - min(_CLEF_ROOM, max(room, 0.0) / 2) - right)


def _between_notes(sign: Sign, head: Sign, signs: Sequence[Sign]) -> None:
    """A retake stands right before its note, after any bar line; a breath right after it."""
    box, note = sign.box, head.box
    if box is None or note is None:
        return
    if sign.kind == "retake":
        before = [b[2] for s in signs if s.name == "barLine" and s.staff in (head.staff, -1) and (b := s.box)]
        bar = max((x for x in before if x < note[0]), default=float("-inf"))
        sign.dx = max(note[0] - 115 - box[2], bar + _AFTER_BAR - box[0])
    else:
        sign.dx = note[2] + 90 - box[0]


def _centre(sign: Sign, head: Sign) -> None:
    """A string numeral stands over the middle of its note, as a finger does."""
    box, note = sign.box, head.shapes[0].boxes[0]
    if box is not None:
        sign.dx = (note[0] + note[2]) / 2 - (box[0] + box[2]) / 2


def _retake(sign: Sign) -> None:
    """Lift the bow and set it again: an arc through the air whose arrowhead comes down on the string."""
    x, y = sign.shapes[0].x, sign.shapes[0].y
    arc = f"M{x:.0f} {y:.0f}C{x + 15:.0f} {y - 225:.0f} {x + 205:.0f} {y - 225:.0f} {x + 220:.0f} {y - 70:.0f}"
    tip = f"M{x + 165:.0f} {y - 85:.0f}L{x + 275:.0f} {y - 85:.0f}L{x + 222:.0f} {y + 15:.0f}z"
    sign.shapes[:] = [
        Shape("path", arc, width=26, style="round", filled=False, boxes=[(x - 13, y - 182, x + 233, y)]),
        Shape("path", tip, boxes=[(x + 165, y - 85, x + 275, y + 15)]),
    ]


def strengthen(signs: Sequence[Sign]) -> None:
    """On paper the teacher's fingers, strings and bow signs are a little larger than the printed ones."""
    for sign in signs:
        if sign.owner != "mark-own" or sign.kind not in ("finger", "string", "bow"):
            continue
        for number, shape in enumerate(sign.shapes):
            if shape.tag == "path":
                continue
            box = shape.boxes[0]
            size = shape.size * _STRONGER
            x = shape.x - (0 if sign.name == "bracketSpan" else (box[2] - box[0]) * (_STRONGER - 1) / 2)
            if shape.tag == "glyph":
                sign.shapes[number] = glyph(shape.body, x, shape.y, size)
            else:
                sign.shapes[number] = words_at(shape.body, x, shape.y, size, bold=True)


def spread(signs: Sequence[Sign]) -> None:
    """Signs on one note keep clear of its head and of each other, in their order from the head outwards."""
    heads: dict[int, list[Box]] = defaultdict(list)
    artics: dict[int, list[tuple[Box, Sign]]] = defaultdict(list)
    others: list[Box] = []
    for sign in signs:
        if sign.name == "note" and sign.shapes:
            for holder in (sign, sign.parent):
                if holder is not None and (holder is sign or holder.name == "chord"):
                    heads[id(holder)].append(sign.shapes[0].boxes[0])
        elif sign.name == "artic" and sign.parent is not None and sign.shapes:
            if sign.kind == "bow":
                _set_upright(sign)
            box = sign.box
            assert box is not None
            artics[id(sign.parent)].append((box, sign))
        elif sign.name in ("tie", "accid"):
            others += sign.boxes()
    for holder_id, found in artics.items():
        head = union(heads.get(holder_id, ()))
        if head is None:
            continue
        middle = (head[1] + head[3]) / 2
        above = sorted((pair for pair in found if pair[0][1] + pair[0][3] < 2 * middle), key=lambda p: -p[0][3])
        below = sorted((pair for pair in found if pair[0][1] + pair[0][3] >= 2 * middle), key=lambda p: p[0][1])
        edge = head[1] - _OFF_HEAD
        for box, sign in above:
            sign.dy = min(0.0, edge - box[3])
            sign.dy += _past(others, box, sign.dy, -1) if others else 0.0
            edge = box[1] + sign.dy - _BETWEEN
        edge = head[3] + _OFF_HEAD
        for box, sign in below:
            sign.dy = max(0.0, edge - box[1])
            sign.dy += _past(others, box, sign.dy, 1) if others else 0.0
            edge = box[3] + sign.dy + _BETWEEN


def _set_upright(sign: Sign) -> None:
    """A bow sign under a lower voice is the same sign: turned round, an up-bow would be read as an accent."""
    for number, shape in enumerate(sign.shapes):
        if shape.body in _UPRIGHT:
            old = shape.boxes[0]
            made = glyph(_UPRIGHT[shape.body], shape.x, shape.y, shape.size)
            sign.shapes[number] = glyph(made.body, shape.x, shape.y + old[1] - made.boxes[0][1], shape.size)


def _past(others: Sequence[Box], box: Box, dy: float, way: int) -> float:
    """How far a sign goes on, up (`way` -1) or down (1), until no tie or accidental touches it."""
    left, top, right, low = box[0], box[1] + dy, box[2], box[3] + dy
    need = 0.0
    for x1, y1, x2, y2 in others:
        if x1 < right and x2 > left and y1 - _OFF_OTHERS < low and y2 + _OFF_OTHERS > top:
            need = max(need, low - y1 + _OFF_OTHERS if way < 0 else y2 + _OFF_OTHERS - top)
    return way * need


def clear_bows(signs: Sequence[Sign]) -> None:
    """Slurs over bow signs keep clear of them, also where those are drawn larger."""
    bows = [(s.staff, b) for s in signs if s.name == "artic" and s.kind == "bow" for b in s.boxes()]
    for slur in (s for s in signs if s.name == "slur") if bows else ():
        curve, need = list(slur.boxes()), 0.0
        for staff, (left, top, right, low) in bows:
            if staff != slur.staff or curve[-1][2] < left or curve[0][0] > right:
                continue
            for x1, y1, x2, y2 in curve:
                if x1 < right + 20 and x2 > left - 20 and y1 + y2 < top + low:
                    need = min(need, top - _OVER_BOW - y2)
        slur.dy += max(need, -_FARTHEST)


def _within(sign: Sign, width: float, signs: Sequence[Sign]) -> None:
    """Words don't run over the right edge; a jump ends at its bar line."""
    box = sign.box
    if box is None:
        return
    edge = width - 30
    if "jump" in sign.classes:
        edge = max((s.box[2] for s in signs if s.name == "barLine" and s.parent is sign.parent and s.box), default=edge)
    if box[2] > edge or "jump" in sign.classes:
        sign.dx = max(edge - box[2], 60 - box[0])


def _write(sign: Sign, words: Words) -> None:
    """The words themselves, for the dot that kept their place."""
    dot = sign.shapes[0]
    italic, bold = words.style == "italic", words.style == "bold"
    sign.shapes[:] = [words_at(words.text, dot.x, dot.y, _WORDS * words.size, italic=italic, bold=bold)]


def _label(sign: Sign, text: str, width: float) -> None:
    """`II - - - ┐`: the words stand before the line, in brackets where it continues."""
    line = next((s for s in sign.shapes if s.dash), None)
    if line is None:
        return
    left, _, right, _ = line.boxes[0][0], 0, line.boxes[-1][2], 0
    y = (line.boxes[0][1] + line.boxes[0][3]) / 2
    continued = "spanning" in sign.classes
    own = sign.owner == "mark-own"
    words = words_at(f"({text})" if continued else text, left, y + 0.33 * _SIZE, _SIZE, italic=not own, bold=own)
    wide = words.boxes[0][2] - words.boxes[0][0]
    if left + wide > width - 30:  # the line begins at the very end of a system
        sign.shapes[:] = [words]
        sign.dx = width - 30 - left - wide
        return
    start = left + wide + 50
    if start < right - 60:
        line.body = f"M{start:.0f} {y:.0f}L{right:.0f} {y:.0f}"
        line.boxes = [(start, y - 9, right, y + 9)]
    else:
        sign.shapes.remove(line)
        for hook in sign.shapes:
            _moved(hook, start + 60 - right)
    sign.shapes.insert(0, words)


def _moved(shape: Shape, dx: float) -> None:
    shape.body = re.sub(r"(-?[\d.]+) (-?[\d.]+)", lambda m: f"{float(m[1]) + dx:g} {m[2]}", shape.body)
    shape.boxes = [(a + dx, b, c + dx, d) for a, b, c, d in shape.boxes]


def _high_point(sign: Sign) -> None:
    """A small solid peak over the note, centred on its head."""
    word = sign.shapes[0]
    x, y = word.x + 113, word.y
    half, tall = 105.0, 165.0
    body = f"M{x - half:.0f} {y:.0f}L{x:.0f} {y - tall:.0f}L{x + half:.0f} {y:.0f}z"
    sign.shapes[:] = [Shape("path", body, boxes=[(x - half, y - tall, x + half, y)])]


def _slide(sign: Sign) -> None:
    """A short slide is drawn steeper and longer, so that it can be seen between neighbours."""
    for shape in sign.shapes:
        found = re.match(r"M(-?[\d.]+) (-?[\d.]+) ?L(-?[\d.]+) (-?[\d.]+)", shape.body)
        if not found:
            continue
        x1, y1, x2, y2 = (float(n) for n in found.groups())
        shape.width = 24
        short = STAFF / 4 - (x2 - x1)
        if short > 0:
            x1, x2 = x1 - short / 2, x2 + short / 2
            lean = 45 if y2 > y1 else -45
            y1, y2 = y1 - lean, y2 + lean
            shape.body = f"M{x1:.0f} {y1:.0f}L{x2:.0f} {y2:.0f}"
