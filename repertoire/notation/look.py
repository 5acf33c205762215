"""How an excerpt is to look: size, whose marks, which words and string signs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from repertoire.technique.marks import Marks

BRITISH_WORDS: Mapping[str, str] = {
    "whole": "whole bow", "upper half": "upper half", "lower half": "lower half", "middle": "middle",
    "frog": "heel", "tip": "point", "bow": "bow", "bar": "bar", "vibrato": "vib.", "none": "senza vib.", "on": "sul",
}  # fmt: skip
AMERICAN_WORDS: Mapping[str, str] = {
    **BRITISH_WORDS,
    "frog": "frog",
    "tip": "tip",
    "bar": "measure",
    "none": "non vib.",
}


def words_for(use: str) -> Mapping[str, str]:
    """The words of "british" or "american" use, as the studio's settings have them."""
    return AMERICAN_WORDS if use == "american" else BRITISH_WORDS


@dataclass(frozen=True)
class Look:
    """How to draw. Sizes in mm; staff height is measured between the outer lines.

    `printed` are the source's own marks: those of them that stand in the marking are drawn
    paler than the notes (in their ink without `pale_printed`), everything else in the marking as the
    teacher's own. With
    `show_replaced`, printed marks the marking no longer has are drawn pale. `screen` makes
    notes that take focus; otherwise the drawing is for paper. `prefix` keeps ids of several
    excerpts on one page apart. `words` are the studio's terms (see BRITISH_WORDS).
    `inferred` are bow signs among the marks that nobody wrote: they are drawn pale and in
    brackets. `string_signs` is "roman" (I to IV) or "sul" (sul G). `first_meter` and
    `empty_bars` say whether the time signature stands at the start and whether runs of empty
    bars are written out.
    """

    staff_mm: float = 8.0
    width_mm: float = 180.0
    printed: Marks = ()
    inferred: Marks = ()
    screen: bool = True
    string_signs: Literal["roman", "sul"] = "roman"
    prefix: str = ""
    words: Mapping[str, str] = field(default_factory=lambda: BRITISH_WORDS)
    instrument: str = ""
    clef: Literal["", "alto", "treble"] = ""  # a viola player's preference, kept where the notes allow it
    show_replaced: bool = False
    note_role: str = "img"
    first_meter: bool = True
    empty_bars: bool = False
    bar_numbers: bool = True
    pale_printed: bool = True
