"""Shapes for paper, drawn as few paths: one for each ink and thickness of line.

A printer of sheets pays for every element of a drawing, not for its length. On paper nothing
is touched or restyled, so all heads, rests and clefs of one ink are one outline, and all lines
of one thickness one path. Glyphs are scaled and turned the right way up as they are joined.
"""

from __future__ import annotations

import re
from functools import lru_cache

from .ink import Shape, glyph_outline, shape_svg

_STRANGE = re.compile(r"[^Mclshvz\d\s.,-]")  # a way of drawing that no outline of the music font uses
_COMMAND = re.compile(r"([A-Za-z])([^A-Za-z]*)")
_NUMBER = re.compile(r"-?\d*\.?\d+")


class PrintingInk:
    """Gathers the shapes of a system and writes them out by ink."""

    def __init__(self, outlines: dict[str, str]) -> None:
        self.outlines = outlines
        self.paths: dict[tuple[str, str], list[str]] = {}
        self.loose: list[str] = []

    def add(self, shape: Shape, *, colour: str, dx: float, dy: float, bold: float) -> None:
        """`colour` is "" for the drawing's own; `dx` and `dy` tell how far the sign has been moved."""
        outline = (self.outlines.get(shape.body) or glyph_outline(shape.body)) if shape.tag == "glyph" else ""
        if not shape.turn and (scaled := _scaled(outline, shape.size)):
            left, low, rest = scaled
            x, y = shape.x + round(dx) + left, shape.y + round(dy) + low
            line = f' stroke="{colour or "currentColor"}" stroke-width="{bold:g}"' if bold else ""
            self.paths.setdefault((colour, line), []).append(f"M{_short(x)} {_short(y)}{rest}")
        elif shape.tag == "path" and not shape.dash and shape.style != "round" and not (dx or dy):
            width = shape.width + bold
            line = f' stroke="{colour or "currentColor"}" stroke-width="{width:g}"' if width else ""
            line += "" if shape.filled else ' fill="none"'
            self.paths.setdefault((colour, line + " "), []).append(shape.body)
        else:
            drawn = shape_svg(shape, self.outlines, bold=bold if shape.tag != "text" else 0.0)
            moved = f' transform="translate({dx:.0f} {dy:.0f})"' if dx or dy else ""
            ink = f' color="{colour}" fill="{colour}"' if colour else ""
            self.loose.append(f"<g{ink}{moved}>{drawn}</g>" if ink or moved else drawn)

    def svg(self) -> str:
        parts = []
        for (colour, line), bodies in self.paths.items():
            ink = f' color="{colour}" fill="{colour}"' if colour and "fill=" not in line else ""
            parts.append(f'<path d="{" ".join(bodies)}"{ink}{line.rstrip()}/>')
        return "".join(parts + self.loose)


def _short(number: float) -> str:
    return f"{round(number, 1):g}"  # a tenth of a unit is a thousandth of a millimetre


@lru_cache(maxsize=1024)
def _scaled(outline: str, size: float) -> tuple[float, float, str] | None:
    """Where an outline starts, seen from its origin, and the rest of it in steps; None if it is drawn another way.

    The outlines of music fonts are made of moves in absolute and all else in relative
    coordinates; a move after a closed contour becomes the step from that contour's start.
    """
    if _STRANGE.search(outline):
        return None
    steps: list[str] = []
    first: tuple[float, float] | None = None
    start = (0.0, 0.0)
    for command, told in _COMMAND.findall(outline):
        numbers = [float(n) * size for n in _NUMBER.findall(told)]
        if command == "M":
            there = (numbers[0], -numbers[1])
            if first is None:
                first = there
            else:
                steps.append(f"m{_short(there[0] - start[0])} {_short(there[1] - start[1])}")
            start = there
        elif command == "v":
            steps.append("v" + " ".join(_short(-n) for n in numbers))
        elif command in ("h", "z"):
            steps.append(command + " ".join(_short(n) for n in numbers))
        else:
            steps.append(command + " ".join(_short(-n if place % 2 else n) for place, n in enumerate(numbers)))
    return (*first, "".join(steps)) if first else None
