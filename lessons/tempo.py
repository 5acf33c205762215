"""The traditional steps of the metronome, and the beat units a tempo is counted in.

40 to 60 by 2, to 72 by 3, to 120 by 4, to 144 by 6, to 208 by 8: common practice, found on
pendulum metronomes; no published source is claimed for it.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Mapping
from fractions import Fraction

from repertoire.notation.playing import unit_quarters
from repertoire.technique.tempo_ladder import STEPS

START = 60  # where a tempo begins that nobody has set
SLOWEST, FASTEST = 20, 320

UNIT_SIGNS: Mapping[str, str] = {
    "whole": "𝅝", "half": "𝅗𝅥", "dotted half": "𝅗𝅥.", "quarter": "♩", "dotted quarter": "♩.",
    "eighth": "♪", "dotted eighth": "♪.", "16th": "𝅘𝅥𝅯",
}  # fmt: skip


def faster(tempo: int | None) -> int:
    """The next step above a tempo (beats a minute); beyond the last step by 8 to 320."""
    if tempo is None:
        return START
    place = bisect_right(STEPS, tempo)
    return STEPS[place] if place < len(STEPS) else min(FASTEST, tempo + 8)


def slower(tempo: int | None) -> int:
    """The next step below a tempo (beats a minute); below 40 by 2 to 20."""
    if tempo is None:
        return START
    place = bisect_left(STEPS, tempo)
    return STEPS[place - 1] if place > 0 else max(SLOWEST, tempo - 2)


def unit_of(quarters: Fraction) -> str:
    """The beat unit that lasts some quarter notes: 3/2 is "dotted quarter"; a quarter for what has no name."""
    return next((unit for unit in UNIT_SIGNS if unit_quarters(unit) == quarters), "quarter")


def unit_words(unit: str, terms: Mapping[str, str]) -> str:
    """A beat unit in the studio's words: "dotted crotchet"."""
    dotted, _, plain = unit.rpartition(" ")
    return f"{dotted} {terms.get(plain, plain)}".strip()
