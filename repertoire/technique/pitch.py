"""Written pitches: a letter, an alteration and an octave, never a bare number.

Spelling matters on a bowed string (F sharp and G flat are played with different
fingers), so a pitch keeps its letter. Octaves follow scientific pitch notation:
middle C is C4, and C4 is MIDI note 60.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

LETTERS = "CDEFGAB"
_SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_SIGNS = {-2: "𝄫", -1: "♭", 0: "", 1: "♯", 2: "𝄪"}
_PATTERN = re.compile(r"([A-Ga-g])(##|#|♯♯|♯|bb|b|♭♭|♭|--|-|x|𝄪|𝄫)?(-?\d+)$")
_ALTERS = {
    None: 0, "": 0, "#": 1, "♯": 1, "##": 2, "♯♯": 2, "x": 2, "𝄪": 2,
    "b": -1, "♭": -1, "-": -1, "bb": -2, "♭♭": -2, "--": -2, "𝄫": -2,
}  # fmt: skip


class PitchError(ValueError):
    """A pitch name that can't be read."""


@dataclass(frozen=True, slots=True)
class Pitch:
    """A written pitch. `letter` is one of CDEFGAB, `alter` in semitones, `octave` as in C4."""

    letter: str
    alter: int
    octave: int

    def __post_init__(self) -> None:
        if self.letter not in LETTERS or len(self.letter) != 1:
            raise PitchError(f"“{self.letter}” is not a note letter (C D E F G A B).")

    @classmethod
    def parse(cls, name: str) -> Pitch:
        """Read `F#4`, `Bb3`, `B♭3` or `C4`. Raises PitchError."""
        found = _PATTERN.match(name.strip())
        if not found:
            raise PitchError(f"“{name}” is not a pitch; write it like A4, F#4 or Bb3.")
        letter, sign, octave = found.groups()
        return cls(letter.upper(), _ALTERS[sign], int(octave))

    @property
    def midi(self) -> int:
        """MIDI note number (C4 is 60)."""
        return 12 * (self.octave + 1) + _SEMITONES[self.letter] + self.alter

    @property
    def step(self) -> int:
        """Letter steps above C0: C4 is 28, D4 is 29. Differences give the written interval."""
        return 7 * self.octave + LETTERS.index(self.letter)

    @property
    def name(self) -> str:
        """Plain name for files and ids: `F#4`, `Bb3`."""
        return self.letter + ("#" * self.alter if self.alter > 0 else "b" * -self.alter) + str(self.octave)

    @property
    def label(self) -> str:
        """Name for people: `F♯4`, `B♭3`."""
        return f"{self.letter}{_SIGNS.get(self.alter, '?')}{self.octave}"

    def moved(self, *, steps: int, semitones: int) -> Pitch:
        """The pitch `steps` letters and `semitones` half steps away (both may be negative)."""
        octave, index = divmod(self.step + steps, 7)
        natural = Pitch(LETTERS[index], 0, octave)
        return Pitch(LETTERS[index], self.midi + semitones - natural.midi, octave)

    def __str__(self) -> str:
        return self.name
