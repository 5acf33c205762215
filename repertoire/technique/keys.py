"""The key of a passage: signature, mode and key note, and what they do to a letter.

A signature tells two keys; where the part doesn't say which, the raised seventh of the minor
key and the note the music ends on decide.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from .line import Line
from .pitch import Pitch

Mode = Literal["major", "minor"]
_SHARPS: Final = "FCGDAEB"
_SIGNS: Final = {-1: " flat", 0: "", 1: " sharp"}


def signature_alteration(letter: str, sharps: int) -> int:
    """What a key signature (sharps; flats negative) does to a letter: F in one sharp is 1."""
    place = _SHARPS.index(letter)
    return (sharps + 6 - place) // 7 if sharps >= 0 else -((-sharps + place) // 7)


@dataclass(frozen=True, slots=True)
class Key:
    """`sharps` of the signature (flats negative) and the mode."""

    sharps: int
    mode: Mode = "major"

    @property
    def tonic(self) -> tuple[str, int]:
        """Letter and alteration of the key note."""
        fifths = self.sharps + (3 if self.mode == "minor" else 0)  # from C along the fifths
        alter, place = divmod(fifths + 1, 7)
        return _SHARPS[place], alter

    def alteration(self, letter: str) -> int:
        return signature_alteration(letter, self.sharps)

    @property
    def name(self) -> str:
        """`F major`, `E flat major`, `F sharp minor`."""
        letter, alter = self.tonic
        return f"{letter}{_SIGNS[alter]} {self.mode}"

    def scale(self, start: Pitch, *, melodic: bool = True) -> tuple[Pitch, ...]:
        """One octave up from a key note; in minor the sixth and seventh are raised going up."""
        out = []
        for degree in range(8):
            natural = start.moved(steps=degree, semitones=0)
            alter = self.alteration(natural.letter)
            if self.mode == "minor" and melodic and degree in (5, 6):
                alter += 1
            out.append(Pitch(natural.letter, alter, natural.octave))
        return tuple(out)


def key_of(line: Line, bar_index: int | None = None) -> Key:
    """The key of a line, or in force in one of its bars."""
    if not line.bars:
        return Key(0)
    bar = line.bars[0] if bar_index is None else line.bar(bar_index)
    if bar.mode in ("major", "minor"):
        return Key(bar.key, "minor" if bar.mode == "minor" else "major")
    minor = Key(bar.key, "minor")
    letter, alter = minor.tonic
    leading = Pitch(letter, alter, 4).moved(steps=-1, semitones=-1)
    raised = sum(p.letter == leading.letter and p.alter == leading.alter for p in line.pitches)
    lowered = sum(p.letter == leading.letter and p.alter == leading.alter - 1 for p in line.pitches)
    major_letter, major_alter = Key(bar.key).tonic
    last = next((e.pitches[0] for e in reversed(line.events) if e.pitches), None)
    if last is not None and (last.letter, last.alter) == (major_letter, major_alter):
        return Key(bar.key)
    if last is not None and (last.letter, last.alter) == (letter, alter):
        return minor
    return minor if raised > lowered else Key(bar.key)
