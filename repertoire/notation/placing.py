"""Signs kept from touching each other."""

from __future__ import annotations

from collections.abc import Sequence

from .ink import Sign, union


def place(signs: Sequence[Sign], height: float) -> tuple[float, float]:
    """Top and bottom of the system after signs have been moved apart, in drawing units."""
    box = union(b for s in signs for b in s.boxes())
    return (min(0.0, box[1] - 30), max(height, box[3] + 30)) if box else (0.0, height)
