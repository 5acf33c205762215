"""Places on a picture: where a sign stands when there is no notation to hang it on.

A place is two fractions, of the picture's width from the left and of its height from the
top, written with four decimals: `x0.1234y0.5000`. It is a valid XML id and never a note's
address, so that whatever expects a note refuses it.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

_PLACE = re.compile(r"x([01]\.\d{4})y([01]\.\d{4})")
STEPS = 10_000


class PlaceError(ValueError):
    """A place that can't be read; the message says which."""


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """`x` from the left and `y` from the top, both from 0 to 1. Raises PlaceError outside of it."""

    x: float
    y: float

    def __post_init__(self) -> None:
        if not (0 <= self.x <= 1 and 0 <= self.y <= 1):
            raise PlaceError("A sign is placed inside the picture.")

    @property
    def address(self) -> str:
        return f"x{round(self.x * STEPS) / STEPS:.4f}y{round(self.y * STEPS) / STEPS:.4f}"

    def moved(self, right: float, down: float) -> Place:
        """The place some fractions further, held inside the picture."""
        return Place(min(max(self.x + right, 0.0), 1.0), min(max(self.y + down, 0.0), 1.0))


def in_crop(
    place: Place, size: tuple[int, int], angle: float, left: float, top: float, right: float, bottom: float
) -> Place | None:
    """Where a place is on a picture turned clockwise by degrees about its middle, its size kept, and then
    cut at edges given in percent; None outside of these. `size` is in pixels."""
    width, height = size
    across, down = (place.x - 0.5) * width, (place.y - 0.5) * height
    turn = math.radians(angle)
    x = (across * math.cos(turn) - down * math.sin(turn)) / width + 0.5
    y = (across * math.sin(turn) + down * math.cos(turn)) / height + 0.5
    x, y = (100 * x - left) / (right - left), (100 * y - top) / (bottom - top)
    return Place(x, y) if 0 <= x <= 1 and 0 <= y <= 1 else None


def is_place(address: str) -> bool:
    return bool(_PLACE.fullmatch(address))


def parse_place(address: str) -> Place:
    """The place of an address. Raises PlaceError."""
    found = _PLACE.fullmatch(address)
    if not found:
        raise PlaceError(f"“{address}” is not a place on a picture.")
    return Place(float(found[1]), float(found[2]))
