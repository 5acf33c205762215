"""The note before a tempo: a small drawing of the beat unit, because text fonts lack it.

Drawn as our own outlines in a box of 1 em; its words are the studio's ("dotted crotchet").
"""

from __future__ import annotations

import base64
from functools import lru_cache

_STEM = '<path d="M5.6 10.6V1.6" stroke="#000" stroke-width="0.8" fill="none"/>'
_FULL = '<ellipse cx="3.6" cy="10.9" rx="2.3" ry="1.6" transform="rotate(-22 3.6 10.9)"/>'
_OPEN = (
    '<ellipse cx="3.6" cy="10.9" rx="2" ry="1.3" transform="rotate(-22 3.6 10.9)" fill="none" stroke="#000" '
    'stroke-width="0.9"/>'
)
_ROUND = '<ellipse cx="4" cy="10.6" rx="2.7" ry="1.5" fill="none" stroke="#000" stroke-width="1.1"/>'
_FLAG = '<path d="M5.6 1.6c.3 2 2.9 2.6 2.3 5.9" stroke="#000" stroke-width="0.8" fill="none"/>'
_FLAG2 = '<path d="M5.6 3.8c.3 2 2.9 2.6 2.3 5.9" stroke="#000" stroke-width="0.8" fill="none"/>'
_DOT = '<circle cx="9" cy="10.8" r="0.75"/>'
_DRAWN = {
    "whole": _ROUND, "half": _OPEN + _STEM, "quarter": _FULL + _STEM,
    "eighth": _FULL + _STEM + _FLAG, "16th": _FULL + _STEM + _FLAG + _FLAG2,
}  # fmt: skip


@lru_cache(maxsize=16)
def beat_sign(unit: str) -> str:
    """A data URI of the sign of "quarter", "dotted half" and the like. Raises KeyError."""
    dotted, _, plain = unit.rpartition(" ")
    width = 10.5 if dotted else 9
    drawing = _DRAWN[plain] + (_DOT if dotted else "")
    size = f'viewBox="0.5 0 {width} 13.5" width="{width}" height="13.5"'
    svg = f'<svg xmlns="http://www.w3.org/2000/svg" {size}>{drawing}</svg>'
    return "data:image/svg+xml;base64," + base64.b64encode(svg.encode()).decode()
