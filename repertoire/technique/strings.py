"""The four strings of violin and viola: open notes, positions, distances, frequencies.

String I is the highest. Positions follow common practice: with k letter steps between
the open string and the written note, position = k − finger + 1, and 0 is half position;
a fourth finger reaching forward counts one less, a first finger reaching back one more.
Distances are measured from the nut along a string of vibrating length L, in mm.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from .pitch import Pitch

STRING_NAMES: Final = ("I", "II", "III", "IV")
A4: Final = 440.0  # Hz, ISO 16:1975
STRING_LENGTH: Final[Mapping[str, float]] = {"violin": 328.0, "viola": 370.0}  # mm, a full-size instrument
HIGHEST_SEMITONES: Final = 31  # about the end of the fingerboard

OPEN_STRINGS: Final[Mapping[str, tuple[Pitch, ...]]] = {
    "violin": tuple(Pitch.parse(name) for name in ("E5", "A4", "D4", "G3")),
    "viola": tuple(Pitch.parse(name) for name in ("A4", "D4", "G3", "C3")),
}

POSITION_WORDS: Final = (
    "half", "1st", "2nd", "3rd", "4th", "5th", "6th", "7th", "8th", "9th", "10th", "11th", "12th", "13th", "14th",
    "15th", "16th", "17th", "18th", "19th", "20th", "21st",
)  # fmt: skip


class StringError(ValueError):
    """A note, string or finger that don't fit together."""


def open_strings(instrument: str) -> tuple[Pitch, ...]:
    """The open strings I to IV of `violin` or `viola`. Raises StringError."""
    try:
        return OPEN_STRINGS[instrument]
    except KeyError:
        raise StringError(f"“{instrument}” is not an instrument with strings known here: violin or viola.") from None


def open_string(instrument: str, string: int) -> Pitch:
    """The open note of string 1 (I, the highest) to 4. Raises StringError."""
    if not 1 <= string <= 4:
        raise StringError(f"There is no string {string}; strings are I to IV.")
    return open_strings(instrument)[string - 1]


def string_name(string: int) -> str:
    """`I` to `IV` for 1 to 4."""
    return STRING_NAMES[string - 1]


def string_number(name: str) -> int:
    """1 to 4 for `I` to `IV`. Raises StringError."""
    try:
        return STRING_NAMES.index(name) + 1
    except ValueError:
        raise StringError(f"“{name}” is not a string; strings are I to IV.") from None


def semitones_above(pitch: Pitch, open_note: Pitch) -> int:
    """Half steps from the open string up to the note; negative when the note lies below."""
    return pitch.midi - open_note.midi


def letters_above(pitch: Pitch, open_note: Pitch) -> int:
    """Letter steps from the open string up to the written note: A4 on the D string is 4."""
    return pitch.step - open_note.step


def position(letters: int, finger: int, extension: int = 0) -> int:
    """Position of a finger `letters` steps above the open string; 0 is half position.

    `extension` is 1 for a fourth finger reaching forward, −1 for a first finger reaching
    back. Raises StringError for an open string or a place below half position.
    """
    if not 1 <= finger <= 4:
        raise StringError("Only fingers 1 to 4 have a position; an open string has none.")
    found = letters - finger + 1 - extension
    if found < 0:
        raise StringError("The finger would lie behind the nut.")
    return found


def position_label(number: int) -> str:
    """`half position`, `1st position`, …"""
    word = POSITION_WORDS[number] if 0 <= number < len(POSITION_WORDS) else f"{number}th"
    return f"{word} position"


def strings_for(pitch: Pitch, instrument: str) -> tuple[int, ...]:
    """Strings (1 to 4) on which a note can be stopped or played open, highest string first."""
    return tuple(
        number
        for number, open_note in enumerate(open_strings(instrument), 1)
        if 0 <= semitones_above(pitch, open_note) <= HIGHEST_SEMITONES
    )


def distance(semitones: float, length: float) -> float:
    """Distance from the nut, in mm, of a note above the open string: L·(1 − 2^(−s/12))."""
    return float(length * (1 - 2 ** (-semitones / 12)))


def span(low: float, high: float, length: float) -> float:
    """Distance between two stopped places, in mm, given in semitones above the open string."""
    return distance(high, length) - distance(low, length)


def cents_per_mm(semitones: float, length: float) -> float:
    """How far one millimetre goes, in cents, at a place on the string: 1731.2 ÷ what is left."""
    return 1731.234 / (length - distance(semitones, length))


def hertz(pitch: Pitch, a4: float = A4) -> float:
    """Frequency in equal temperament."""
    return float(a4 * 2 ** ((pitch.midi - 69) / 12))


def open_hertz(instrument: str, a4: float = A4) -> tuple[float, ...]:
    """Frequencies of strings I to IV tuned in pure fifths from A."""
    strings = open_strings(instrument)
    place = next(i for i, p in enumerate(strings) if p.name == "A4")
    return tuple(a4 * 1.5 ** (place - i) for i in range(4))
