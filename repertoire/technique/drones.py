"""Held notes to play against: the open strings and the key note, in Hz.

Strings of violin and viola are tuned in pure fifths from A, two to three; equal temperament
is given beside it. The key note is reached from A by pure fifths as well, so that it is in
tune with the strings and with the fingers that check against them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from .pitch import Pitch
from .strings import A4, STRING_NAMES, hertz, open_strings


@dataclass(frozen=True, slots=True)
class Drone:
    """A held note to play against: the same note in pure fifths from A, and in equal temperament (Hz)."""

    name: str
    words: str
    pure: float
    equal: float


def drones(instrument: str, a4: float = A4, *, key: int | None = None, mode: str = "major") -> tuple[Drone, ...]:
    """The open strings from I to IV, and the key note when it isn't one of them. Raises StringError.

    Pure fifths are counted from A, upwards and downwards, also for the key note, which lies
    in the octave above the lowest string. `key` is the number of sharps (flats negative).
    """
    strings = open_strings(instrument)
    out = [
        Drone(p.name, f"{p.label}, string {n}", _in_fifths(p, a4), hertz(p, a4))
        for n, p in zip(STRING_NAMES, strings, strict=True)
    ]
    if key is not None:
        tonic = key_note(key, mode, strings[-1])
        if all((tonic.letter, tonic.alter) != (p.letter, p.alter) for p in strings):
            out.append(Drone(tonic.name, f"{tonic.label}, the key note", _in_fifths(tonic, a4), hertz(tonic, a4)))
    return tuple(out)


_FIFTHS: Final = "FCGDAEB"


def key_note(key: int, mode: str, above: Pitch) -> Pitch:
    """The tonic of a key of so many sharps, as the first such note from `above` upwards."""
    place = 1 + key + (3 if mode == "minor" else 0)  # along the fifths, F is 0
    alter, letter = divmod(place, 7)
    found = Pitch(_FIFTHS[letter], alter, above.octave)
    while found.midi < above.midi:
        found = Pitch(found.letter, alter, found.octave + 1)
    return found


def _in_fifths(pitch: Pitch, a4: float) -> float:
    """Hz of a note reached from A4 by pure fifths and octaves."""
    fifths = _FIFTHS.index(pitch.letter) + 7 * pitch.alter - _FIFTHS.index("A")
    tempered = 69 + 7 * fifths  # MIDI number after the fifths, before the octaves
    return float(a4 * 1.5**fifths * 2.0 ** ((pitch.midi - tempered) // 12))
