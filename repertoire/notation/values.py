"""Written values for lengths: which single sign, if any, says how long a note or rest lasts."""

from __future__ import annotations

import re
from fractions import Fraction
from functools import lru_cache

from repertoire.technique.line import TYPES, Value

_PLAIN = {Value(name, dots).quarters: Value(name, dots) for dots in (2, 1, 0) for name in TYPES}


@lru_cache(1024)
def fitting(length: Fraction, ratio: tuple[int, int] | None = None) -> Value | None:
    """The value of a length in quarter notes under a tuplet ratio, or None when no single sign has it."""
    plain = _PLAIN.get(length if ratio is None else length * ratio[0] / ratio[1])
    return plain if plain is None or ratio is None else Value(plain.type, plain.dots, ratio)


def nearest_below(length: Fraction) -> Value:
    """The longest value that isn't longer than a length."""
    found = [q for q in _PLAIN if q <= length]
    return _PLAIN[max(found)] if found else Value("256th")


@lru_cache(4096)
def number_of(text: str | None) -> Fraction | None:
    """A plain decimal number, or None: no exponents, at most nine digits on either side."""
    text = (text or "").strip()
    return Fraction(text) if re.fullmatch(r"[+-]?[0-9]{1,9}(\.[0-9]{1,9})?", text) else None


@lru_cache(4096)
def ticks(text: str | None, divisions: Fraction) -> Fraction | None:
    """A length given in divisions of a quarter note, in quarter notes; None when it's no length."""
    number = number_of(text)
    return None if number is None or number < 0 else number / divisions
