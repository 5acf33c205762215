"""Words for places and shares of the bow, as a teacher says them.

The words are neutral; a page passes `terms` to say heel for frog or point for tip.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

Number = Fraction | float
NO_TERMS: Mapping[str, str] = {}
_SHARES = (
    (Fraction(1), "the whole bow"),
    (Fraction(3, 4), "three quarters of the bow"),
    (Fraction(2, 3), "two thirds of the bow"),
    (Fraction(1, 2), "half the bow"),
    (Fraction(1, 3), "a third of the bow"),
    (Fraction(1, 4), "a quarter of the bow"),
)


def place_word(place: Number, terms: Mapping[str, str] = NO_TERMS) -> str:
    """frog, lower half, middle, upper half or tip, for a place from 0 (frog) to 1 (tip)."""
    if place < 0.1:
        word = "frog"
    elif place < 0.4:
        word = "lower half"
    elif place <= 0.6:
        word = "middle"
    elif place <= 0.9:
        word = "upper half"
    else:
        word = "tip"
    return terms.get(word, word)


def share_word(share: Number) -> str:
    """A share of the bow in words: the nearest common one within a twentieth, else per cent."""
    if share > 1.05:
        return "more than the whole bow"
    best, word = min(_SHARES, key=lambda s: abs(float(s[0]) - float(share)))
    if abs(float(best) - float(share)) <= 0.025:
        return word
    return f"{round(float(share) * 100)} % of the bow"


def share_figure(share: Number) -> str:
    """A share as a figure: 3/5, or per cent where the fraction isn't a simple one."""
    simple = Fraction(share).limit_denominator(16)
    if simple == share:
        return str(simple)
    return f"{round(float(share) * 100)} %"
