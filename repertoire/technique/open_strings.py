"""The right hand alone: every note replaced by its open string, the bowing kept.

Which string a note lies on comes from the completed fingering, so that the crossings are
those of the passage. They are drawn under the stave (notation/string_strip.py) and counted in words.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Final

from .dynamic_words import measuring
from .fingering import Fingering
from .line import Event, Line
from .marks import Aspect, Kind, Marks
from .practice_staves import Stave, StaveError
from .rewriting import Note, rewrite
from .strings import open_string, string_name

_WORDS: Final = frozenset((Kind.DYNAMIC, Kind.HAIRPIN, Kind.FERMATA))


def right_hand(line: Line, marks: Marks, fingering: Fingering) -> Stave:
    """Open strings with the bowing of the marking. Raises StaveError when nothing is placed."""
    placed = fingering.by_address

    def change(event: Event) -> list[Note] | tuple[()] | None:
        if event.grace:
            return ()
        if event.is_rest:
            return None
        strings = sorted({placed[m].string for m in event.members if m in placed}, reverse=True)
        if not strings:
            raise StaveError(f"{line.where(event.address)}: no string is known for this note.")
        pitches = tuple(open_string(fingering.instrument, s) for s in strings)
        return [Note(pitches, event.duration, event.value, tuplet_ends=event.tuplet_ends)]

    made = rewrite(line, change)
    measured = measuring(marks)
    kept = made.carry(
        marks,
        lambda m: (
            (m.aspect is Aspect.BOW and not (m.kind is Kind.PIZZICATO and m.value == "left hand"))
            or m.kind in _WORDS
            or m in measured
        ),
    )
    said = _crossings(line, fingering)
    return Stave(made.line, kept, "Right hand alone, on open strings.", said, crossings=True)


def _crossings(line: Line, fingering: Fingering) -> tuple[str, ...]:
    groups = [g for g in fingering.groups if g[0].address in line]
    moves = [(a[-1], b[-1]) for a, b in pairwise(groups) if a[-1].string != b[-1].string]
    if not moves:
        return (f"All on {string_name(groups[0][-1].string)}: no string crossing.",) if groups else ()
    skips = [b for a, b in moves if abs(a.string - b.string) > 1]
    count = f"{len(moves)} string crossing{'s' * (len(moves) > 1)}"
    if not skips:
        return (f"{count}, all to the next string.",)
    where = ", ".join(dict.fromkeys(line.bar_of(b.address).number for b in skips[:6]))
    return (f"{count}; over a string in bar {where}.",)
