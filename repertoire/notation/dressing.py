"""Signs Verovio leaves unfinished: words at the start of a line, the high point, short slides."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from .ink import STAFF, Shape, Sign, words_at

_SIZE = 245.0


def dress(signs: Sequence[Sign], labels: Mapping[str, str]) -> None:
    """Complete the signs of one system in place. `labels` gives the words of a line by its key."""
    for sign in signs:
        if sign.name == "bracketSpan" and sign.key in labels:
            _label(sign, labels[sign.key])
        elif sign.kind == "high-point" and sign.shapes:
            _high_point(sign)
        elif sign.name == "gliss":
            _slide(sign)


def _label(sign: Sign, text: str) -> None:
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
    start = left + wide + 50
    if start < right - 60:
        line.body = f"M{start:.0f} {y:.0f}L{right:.0f} {y:.0f}"
        line.boxes = [(start, y - 9, right, y + 9)]
    else:
        sign.shapes.remove(line)
        for hook in sign.shapes:
            _moved(hook, start - right)
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
