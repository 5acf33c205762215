"""Scale and arpeggio of the passage's key in the position it is played in, as a warm-up.

One octave up and down from the key note, in even quarters, slurred by the bar; the minor scale
goes up melodic and comes down as the signature has it. The fingering is completed by the
left-hand engine from the first note's place.
"""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from itertools import pairwise
from statistics import median
from typing import Final

from .exercise_bars import exercise
from .fingering import Fingering, complete
from .fingering_costs import Limits
from .fingering_marks import write
from .keys import Key, key_of
from .line import Line, Meter
from .marks import Kind, Mark, put
from .pitch import Pitch
from .practice_staves import Stave, StaveError
from .rewriting import Note
from .strings import open_strings, position_label, string_name

_QUARTER: Final = Fraction(1)
_COMMON: Final = Meter("4", 4)


def positions_used(line: Line, fingering: Fingering) -> tuple[int, ...]:
    """Positions of the passage's stopped notes, the most used first."""
    counts = Counter(p.position for p in fingering.placements if p.stopped and p.address in line)
    return tuple(position for position, _ in counts.most_common())


def _start(key: Key, position: int, line: Line, instrument: str) -> tuple[Pitch, int, int] | None:
    """A key note in a position from which an octave lies under the hand: pitch, string, finger."""
    letter, alter = key.tonic
    found: list[tuple[float, Pitch, int, int]] = []
    middle = median([p.midi for p in line.pitches] or [60])
    for number, open_note in enumerate(open_strings(instrument), 1):
        if number == 1:
            continue
        for finger in (0, 1, 2, 3, 4) if position <= 1 else (1, 2, 3, 4):
            letters = 0 if finger == 0 else position + finger - 1
            natural = open_note.moved(steps=letters, semitones=0)
            pitch = Pitch(natural.letter, alter, natural.octave)
            above = pitch.midi - open_note.midi
            if pitch.letter != letter or (finger == 0) != (above == 0) or above < 0:
                continue
            if number == 2 and finger > 1:
                continue  # the octave would lie beyond the fourth finger
            found.append((abs(pitch.midi + 6 - middle), pitch, number, finger))
    if not found:
        return None
    return min(found, key=lambda f: (f[0], f[2], f[3]))[1:]


def warm_up(line: Line, fingering: Fingering, *, position: int | None = None) -> Stave:
    """Scale and arpeggio in the position the passage uses most, or in a given one. Raises StaveError."""
    if not line.notes:
        raise StaveError("There is no note in these bars to take key and position from.")
    key = key_of(line)
    used = positions_used(line, fingering)
    wanted = (position,) if position is not None else (*[p for p in used if p > 1], *[p for p in used if p <= 1], 1)
    for place in wanted:
        start = _start(key, max(place, 1), line, fingering.instrument)
        if start is not None:
            return _written(line, fingering, key, max(place, 1), *start)
    raise StaveError(f"No scale of {key.name} lies in that position.")


def _written(line: Line, fingering: Fingering, key: Key, place: int, first: Pitch, string: int, finger: int) -> Stave:
    up = key.scale(first)
    down = tuple(reversed(key.scale(first, melodic=False)))
    chord = (up[0], up[2], up[4], up[7])
    rows = [
        [Note((p,), _QUARTER) for p in up[:4]],
        [Note((p,), _QUARTER) for p in up[4:]],
        [Note((p,), _QUARTER) for p in down[:4]],
        [Note((p,), _QUARTER) for p in down[4:]],
        [Note((p,), _QUARTER) for p in chord],
        [Note((chord[2],), _QUARTER), Note((chord[1],), _QUARTER), Note((chord[0],), 2 * _QUARTER)],
    ]
    near = line.notes[0].address
    made, slurs = exercise(line, near, rows, meter=_COMMON, slurred=True)
    marks = (*slurs, Mark(Kind.FINGER, "b1n1", str(finger)), Mark(Kind.STRING, "b1n1", string_name(string)))
    limits = Limits(positions=frozenset({place}), open_strings="avoided" if place > 1 else "")
    found = complete(made, marks, fingering.instrument, limits=limits, length=fingering.length)
    if found.findings:
        found = complete(made, marks, fingering.instrument, length=fingering.length)
    written = write(made, tuple(marks), found)
    for before, after in pairwise(found.placements):  # a finger at every change of string
        if after.stopped and after.string != before.string:
            written = put(written, Mark(Kind.FINGER, after.address, str(after.finger)))
    words = f"Warm-up: scale and arpeggio of {key.name} in {position_label(place)}."
    return Stave(made, written, words)
