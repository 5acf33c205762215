"""The picture of an excerpt: one drawing in exact millimetres for each system.

A system's drawing counts in millimetres from its top left corner, and so do the places
of its notes, staves and bars: whatever is drawn under the notation (a bow distribution,
a left-hand line) is appended as a strip that stands exactly under the heads it tells about.
"""

from __future__ import annotations

import base64
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from html import escape

INK = "#111111"
OWN_INK = "#8a1c3b"  # the teacher's own marks on screen; a page's style sheet may set another
FONTS = "'TeX Gyre Termes','Liberation Serif','Times New Roman',Times,serif"


def _mm(value: float) -> str:
    return f"{value:.3f}".rstrip("0").rstrip(".")


@dataclass(frozen=True, slots=True)
class StaffPlace:
    """Where a staff lies in its system: `top` and `bottom` line and both ends, in mm."""

    top: float
    bottom: float
    left: float
    right: float
    label: str = ""


@dataclass(frozen=True)
class System:
    """One system. `notes` gives the centre of each head (and rest) by address, in mm.

    With several staves in one system an address stands once on each: `notes` is the top
    staff's and `notes_by_staff` has them all. `bars` gives left and right edge by bar index.
    """

    body: str
    width_mm: float
    height_mm: float
    notes: Mapping[str, tuple[float, float]]
    staves: tuple[StaffPlace, ...] = ()
    bars: Mapping[int, tuple[float, float]] = field(default_factory=dict)
    notes_by_staff: tuple[Mapping[str, tuple[float, float]], ...] = ()
    label: str = ""
    screen: bool = True
    overlap_mm: float = 0.0  # how far signs of neighbouring staves reach into each other
    rooms: tuple[tuple[float, float], ...] = ()  # left free under each staff but the last: top and bottom in mm

    @property
    def svg(self) -> str:
        """The drawing as an <svg> element with its size in mm."""
        return self._svg(_mm(self.width_mm) + "mm", _mm(self.height_mm) + "mm")

    def _svg(self, width: str, height: str) -> str:
        role = "group" if self.screen else "img"
        label = f' role="{role}" aria-label="{escape(self.label)}"' if self.label else ""
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="engraving" width="{width}" height="{height}" '
            f'viewBox="0 0 {_mm(self.width_mm)} {_mm(self.height_mm)}"{label}>{self.body}</svg>'
        )

    def with_strip(self, drawing: str, height_mm: float, *, gap_mm: float = 1.5, staff: int | None = None) -> System:
        """The system with a strip of its own height below, or in the room under one of its staves.

        `drawing` is SVG content counted in mm: x as in `notes`, y from the strip's top.
        """
        if staff is not None and staff < len(self.rooms) and height_mm <= self.rooms[staff][1] - self.rooms[staff][0]:
            start, end = self.rooms[staff]
            return replace(self, body=self.body + _strip(drawing, start + min(gap_mm, (end - start - height_mm) / 2)))
        top = self.height_mm + gap_mm
        return replace(self, body=self.body + _strip(drawing, top), height_mm=top + height_mm)


def _strip(drawing: str, top: float) -> str:
    return f'<g class="strip" transform="translate(0 {_mm(top)})" color="{INK}" font-family="{FONTS}">{drawing}</g>'


@dataclass(frozen=True)
class Picture:
    """An excerpt as systems from top to bottom; `warnings` names what could not be drawn."""

    systems: tuple[System, ...]
    label: str = ""
    warnings: tuple[str, ...] = ()

    def svg(self) -> str:
        """All systems for the screen: inline drawings, one below the other."""
        return "".join(f'<div class="system">{s.svg}</div>' for s in self.systems)

    @property
    def notes(self) -> dict[str, tuple[int, float, float]]:
        """Each address with its system (from 0) and its place there in mm."""
        return {a: (n, x, y) for n, s in enumerate(self.systems) for a, (x, y) in s.notes.items()}

    @property
    def height_mm(self) -> float:
        return sum(s.height_mm for s in self.systems)


def as_data_uri(system: System) -> str:
    """The drawing as a data URI, as WeasyPrint draws it fastest."""
    return "data:image/svg+xml;base64," + base64.b64encode(system.svg.encode()).decode()


def as_image(system: System, alt: str = "") -> str:
    """The drawing as an <img> in mm, `alt` (or the system's label) being its alternative text."""
    words = escape(alt or system.label, quote=True)
    size = f"width:{_mm(system.width_mm)}mm;height:{_mm(system.height_mm)}mm;display:block;break-inside:avoid"
    return f'<img class="engraving" src="{as_data_uri(system)}" alt="{words}" style="{size}">'
