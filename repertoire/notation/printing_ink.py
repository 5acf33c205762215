"""Shapes for paper, drawn as few paths: one for each ink and thickness of line.

A printer of sheets pays for every element of a drawing, not for its length. On paper nothing
is touched or restyled, so all heads, rests and clefs of one ink are one outline, and all lines
of one thickness one path. Glyphs are scaled and turned the right way up as they are joined.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache

from .ink import Shape, glyph_outline, shape_svg

_STRANGE = re.compile(r"[^Mclshvz\d\s.,-]")  # a way of drawing that no outline of the music font uses
_TOKEN = re.compile(r"[A-Za-z]|-?\d*\.?\d+")


class PrintingInk:
    """Gathers the shapes of a system and writes them out by ink."""

    def __init__(self, outlines: Mapping[str, str]) -> None:
        self.outlines = outlines
        self.paths: dict[tuple[str, str], list[str]] = {}
        self.loose: list[str] = []

    def add(self, shape: Shape, *, colour: str, dx: float, dy: float, bold: float) -> None:
        """`colour` is "" for the drawing's own; `dx` and `dy` tell how far the sign has been moved."""
        outline = (self.outlines.get(shape.body) or glyph_outline(shape.body)) if shape.tag == "glyph" else ""
        if outline and not shape.turn and not _STRANGE.search(outline):
            x, y = shape.x + round(dx), shape.y + round(dy)
            line = f' stroke="{colour or "currentColor"}" stroke-width="{bold:g}"' if bold else ""
            self.paths.setdefault((colour, line), []).append(_set(outline, shape.size, x, y))
        elif shape.tag == "path" and not shape.dash and shape.style != "round" and not (dx or dy):
            width = shape.width + bold
            line = f' stroke="{colour or "currentColor"}" stroke-width="{width:g}"' if width else ""
            line += "" if shape.filled else ' fill="none"'
            self.paths.setdefault((colour, line + " "), []).append(shape.body)
        else:
            drawn = shape_svg(shape, dict(self.outlines), bold=bold if shape.tag != "text" else 0.0)
            moved = f' transform="translate({dx:.0f} {dy:.0f})"' if dx or dy else ""
            ink = f' color="{colour}" fill="{colour}"' if colour else ""
            self.loose.append(f"<g{ink}{moved}>{drawn}</g>" if ink or moved else drawn)

    def svg(self) -> str:
        parts = []
        for (colour, line), bodies in self.paths.items():
            ink = f' color="{colour}" fill="{colour}"' if colour and "fill=" not in line else ""
            parts.append(f'<path d="{" ".join(bodies)}"{ink}{line.rstrip()}/>')
        return "".join(parts + self.loose)


def _set(outline: str, size: float, x: float, y: float) -> str:
    """A glyph's outline, whose y runs upwards, at a place of the drawing, whose y runs downwards."""
    left, low, rest = _scaled(outline, size)
    return f"M{_short(x + left)} {_short(y + low)}{rest}"


def _short(number: float) -> str:
    return f"{round(number, 1):g}"  # a tenth of a unit is a thousandth of a millimetre


@lru_cache(maxsize=1024)
def _scaled(outline: str, size: float) -> tuple[float, float, str]:
    """Where an outline starts, seen from its origin, and the rest of it in steps.

    The outlines of music fonts are made of moves in absolute and all else in relative
    coordinates; a move after a closed contour becomes the step from that contour's start.
    """
    command = ""
    out: list[str] = []
    first = start = (0.0, 0.0)
    numbers: list[float] = []

    def flush() -> None:
        nonlocal start, first
        if command == "M":
            there = (numbers[0] * size, -numbers[1] * size)
            if out:
                out.append(f"m{_short(there[0] - start[0])} {_short(there[1] - start[1])}")
            else:
                first = there
                out.append("")
            start = there
        elif command in ("c", "l", "s"):
            scaled = [n * size if place % 2 == 0 else -n * size for place, n in enumerate(numbers)]
            out.append(command + " ".join(map(_short, scaled)))
        elif command in ("h", "v"):
            out.append(command + " ".join(_short(n * size if command == "h" else -n * size) for n in numbers))
        elif command == "z":
            out.append("z")

    for token in _TOKEN.findall(outline):
        if token.isalpha():
            flush()
            command, numbers = token, []
        else:
            numbers.append(float(token))
    flush()
    return *first, "".join(out)
