"""The vibrating string length of a small instrument, estimated from the size on its label.

Only for want of a measure: sizes differ from maker to maker, and a viola's size is that of
its body. The figures are makers' common ones, from memory, without a source.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from fractions import Fraction
from typing import Final

from .strings import STRING_LENGTH

_VIOLINS: Final[Mapping[Fraction, float]] = {
    Fraction(7, 8): 318.0, Fraction(3, 4): 308.0, Fraction(1, 2): 288.0, Fraction(1, 4): 262.0,
    Fraction(1, 8): 240.0, Fraction(1, 10): 225.0, Fraction(1, 16): 210.0, Fraction(1, 32): 195.0,
}  # fmt: skip
_BODY_SHARE: Final = 0.91  # of a viola's body that the string vibrates over
_MM: Final = {"inch": 25.4, "cm": 10.0, "mm": 1.0}
_SIGNS: Final = {"½": " 1/2", "¼": " 1/4", "¾": " 3/4", "⅛": " 1/8", "⅞": " 7/8"}
_SIZE: Final = re.compile(
    r"^\s*(?:(\d+(?:[.,]\d+)?)(?:\s+|-|$|(?=[^\d/.,])))?\s*(?:(\d{1,2})\s*/\s*(\d{1,2}))?\s*(\D*)$"
)
_LEAST, _MOST = 180.0, 400.0


def estimated_length(instrument: str, size: str) -> float | None:
    """Millimetres from nut to bridge for a size as it is said: 3/4, full, 15½ inch, 40 cm.
    None where the size tells nothing."""
    text = size.strip().lower()
    for sign, words in _SIGNS.items():
        text = text.replace(sign, words)
    if text in ("full", "full size", "full-size", "4/4"):
        return STRING_LENGTH[instrument]
    found = _SIZE.match(text)
    if not found or not (found[1] or found[2]) or found[3] == "0" or found[3] == "00":
        return None
    share = Fraction(int(found[2]), int(found[3])) if found[2] else Fraction(0)
    unit = _unit(found[4])
    if unit and instrument == "viola":
        body = (Fraction((found[1] or "0").replace(",", ".")) + share) * Fraction(unit)
        length = float(body) * _BODY_SHARE
        return round(length) if _LEAST <= length <= _MOST else None
    return _VIOLINS.get(share) if instrument == "violin" and not found[1] and not unit else None


def _unit(words: str) -> float:
    """Millimetres of one unit; 0 where none is said."""
    said = words.strip(" .")
    if said.startswith(("inch", '"', "″", "”", "in")):
        return _MM["inch"]
    return _MM.get(said[:2], 0.0)
