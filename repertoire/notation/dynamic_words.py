"""Words that belong to a dynamic, set on its line: "poco f", "più p", "f dolce".

The dynamic keeps its place under the note. Words that lead it go to its left, the others to
its right; a hairpin that would run into them ends before them or begins after them.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from itertools import groupby

from .ink import STAFF, Shape, Sign, union
from .laying import Beside

SPACE = STAFF / 4
_GAP = 0.5 * SPACE  # white between the words and the dynamic
_FROM_HAIRPIN = 0.45 * SPACE
_SHORTEST = 3.0 * SPACE  # what has to be left of a hairpin
_FARTHEST = 3.5 * SPACE  # what a line is moved at most to keep clear of the one before
_EDGE = 30.0


def set_words(signs: Sequence[Sign], beside: Mapping[str, Beside], width: float) -> None:
    """Put the words of one system's dynamics on their lines, in place. `width` is the drawing's own."""
    words = [s for s in signs if s.key in beside and s.shapes]
    if not words:
        return
    dynamics = {s.key: s for s in signs if s.name == "dynam" and s.shapes}
    words = [w for w in words if beside[w.key].dynamic in dynamics]
    words.sort(key=lambda w: beside[w.key].dynamic)
    for key, group in groupby(words, key=lambda w: beside[w.key].dynamic):
        own = list(group)
        _set_line(dynamics[key], [[w for w in own if beside[w.key].before is first] for first in (True, False)])
    for key in {beside[w.key].dynamic for w in words}:
        line = [dynamics[key], *(w for w in words if beside[w.key].dynamic == key)]
        _make_room(line, dynamics[key], signs, width)


def _set_line(dynamic: Sign, words: Sequence[Sequence[Sign]]) -> None:
    box = dynamic.box
    assert box is not None
    left, _, right, _ = box
    for word in reversed(words[0]):
        own = word.shapes[0].boxes[0]
        word.dx = left - _GAP - own[2]
        left = own[0] + word.dx
    for word in words[1]:
        own = word.shapes[0].boxes[0]
        word.dx = right + _GAP - own[0]
        right = own[2] + word.dx
    for word in (*words[0], *words[1]):
        word.dy = dynamic.shapes[0].y + dynamic.dy - word.shapes[0].y
        word.row = dynamic.key


def _make_room(line: Sequence[Sign], dynamic: Sign, signs: Sequence[Sign], width: float) -> None:
    """Move a line away from the edges and from what stands before it; shorten hairpins that meet it."""
    whole = union(b for s in line for b in s.boxes())
    assert whole is not None
    move = max(0.0, -whole[0])
    near = [s for s in signs if s.staff == dynamic.staff and s.shapes and s.row != dynamic.key and s is not dynamic]
    before = [b[2] for s in near if (s.name == "dynam" or s.row) and (b := s.box) and b[0] < whole[0] < b[2] + _GAP]
    over = max(before, default=whole[0]) + _GAP - whole[0] if before else 0.0
    if over <= _FARTHEST:
        move = max(move, over)
    hairpins = [(s, b) for s in near if s.name == "hairpin" and (b := s.box)]
    for hairpin, (start, _, end, _) in hairpins:
        if start < whole[0] < end + _FROM_HAIRPIN:  # it comes from before
            wanted = whole[0] + move - _FROM_HAIRPIN
            if wanted - start >= _SHORTEST:
                _stretch(hairpin, start, min(end, wanted))
            elif end + _FROM_HAIRPIN - whole[0] <= _FARTHEST:
                move = max(move, end + _FROM_HAIRPIN - whole[0])
    if whole[2] + move > width - _EDGE:
        move = width - _EDGE - whole[2]
    for sign in line:
        sign.dx += move
    for hairpin, (start, _, end, _) in hairpins:
        right = whole[2] + move + _FROM_HAIRPIN
        if whole[0] <= start < right and end - right >= _SHORTEST:
            _stretch(hairpin, right, end)


def _stretch(hairpin: Sign, left: float, right: float) -> None:
    """Draw a hairpin from `left` to `right`, as open as before."""
    box = hairpin.box
    assert box is not None
    share = (right - left) / (box[2] - box[0])
    start = box[0]

    def place(x: float) -> float:
        return left + (x - start) * share

    for shape in hairpin.shapes:
        _redraw(shape, place)


def _redraw(shape: Shape, place: Callable[[float], float]) -> None:
    shape.body = re.sub(r"(-?[\d.]+) (-?[\d.]+)", lambda m: f"{place(float(m[1])):.0f} {m[2]}", shape.body)
    shape.boxes = [(place(a), b, place(c), d) for a, b, c, d in shape.boxes]
