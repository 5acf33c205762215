"""Harmonics: where a string is touched, and what sounds.

Touching an open string lightly at 1/k of its length sounds its k-th partial; touching a
fourth above a stopped note sounds two octaves above that note. Pitches come out of the
arithmetic of the string, so the fifth and seventh partials lie off the piano's notes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from .pitch import Pitch
from .strings import A4, hertz, letters_above, open_hertz, open_string, semitones_above

# letter steps and half steps of the partials above the string, 2 to 8
_INTERVALS: Final = {2: (7, 12), 3: (11, 19), 4: (14, 24), 5: (16, 28), 6: (18, 31), 8: (21, 36)}
# half steps, as written, of a touched place → the partial that sounds there
NODES: Final = {12: 2, 7: 3, 19: 3, 5: 4, 24: 4, 4: 5, 9: 5, 16: 5, 28: 5, 3: 6, 31: 6}


class HarmonicError(ValueError):
    """A place where no harmonic speaks."""


@dataclass(frozen=True, slots=True)
class Harmonic:
    """A harmonic on `string`: the touched and the sounding note (nearest written pitches),
    the partial of the string (4 for an artificial one, of the stopped note), its frequency
    and how far it lies from equal temperament, in cents."""

    kind: str
    string: int
    stopped: Pitch | None
    touched: Pitch
    sounds: Pitch
    partial: int
    hertz: float
    cents_off: float


def touch_semitones(partial: int) -> float:
    """Exact half steps above the open string of the place 1/k from the nut."""
    return 12 * math.log2(partial / (partial - 1))


def partial_cents(partial: int) -> float:
    """How far the k-th partial lies above the open string, in cents."""
    return 1200 * math.log2(partial)


def natural(instrument: str, string: int, touched: Pitch, a4: float = A4) -> Harmonic:
    """The natural harmonic of a string touched at a written note. Raises HarmonicError."""
    open_note = open_string(instrument, string)
    partial = NODES.get(semitones_above(touched, open_note))
    if partial is None:
        raise HarmonicError(
            f"No clear harmonic speaks where {touched.label} is touched on the {open_note.label} string."
        )
    steps, semitones = _INTERVALS[partial]
    sounds = open_note.moved(steps=steps, semitones=semitones)
    frequency = open_hertz(instrument, a4)[string - 1] * partial
    off = 1200 * math.log2(partial) - 100 * semitones
    return Harmonic("natural", string, None, touched, sounds, partial, frequency, off)


def natural_for(instrument: str, sounding: Pitch) -> tuple[Harmonic, ...]:
    """Natural harmonics that sound a written note, the lowest partials first."""
    found = []
    for string in (1, 2, 3, 4):
        open_note = open_string(instrument, string)
        for semitones, partial in NODES.items():
            if semitones_above(sounding, open_note) == _INTERVALS[partial][1]:
                found.append(natural(instrument, string, _touched(open_note, semitones)))
    return tuple(sorted(found, key=lambda h: (h.partial, h.string)))


def _touched(open_note: Pitch, semitones: int) -> Pitch:
    """The usual written name of a place on the string."""
    octave, rest = divmod(semitones, 12)
    steps = {0: 0, 3: 2, 4: 2, 5: 3, 7: 4, 9: 5}[rest] + 7 * octave
    return open_note.moved(steps=steps, semitones=semitones)


def artificial(instrument: str, string: int, stopped: Pitch, a4: float = A4) -> Harmonic:
    """The harmonic of a stopped note with the fourth above it touched. Raises HarmonicError."""
    if (
        semitones_above(stopped, open_string(instrument, string)) < 1
        or letters_above(stopped, open_string(instrument, string)) < 0
    ):
        raise HarmonicError(f"{stopped.label} can’t be stopped on that string.")
    touched = stopped.moved(steps=3, semitones=5)
    return Harmonic(
        "artificial", string, stopped, touched, stopped.moved(steps=14, semitones=24), 4, hertz(stopped, a4) * 4, 0.0
    )
