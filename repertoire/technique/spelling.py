"""Names for bare note numbers: which of F sharp and G flat a MIDI number stands for.

A key is estimated around each note from the lengths of the pitch classes near it, and the
note takes its name in that key; notes outside the key are raised when the music goes on
upwards by a half step and lowered when it goes on downwards. Only for lists of bare
numbers: a written part keeps its own spelling.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Final

import numpy as np

from .pitch import Pitch

_WINDOW: Final = 24  # notes on either side
_KEYS: Final = tuple(range(-6, 6))  # sharps (flats negative)
_WHITE: Final = frozenset((0, 2, 4, 5, 7, 9, 11))
_LETTER_OF_FIFTH: Final = "FCGDAEB"  # along the line of fifths from F

# weight of each degree, as fifths from the tonic of the major key: the seven notes of the key,
# then the raised fifth degree (the leading note of the relative minor).
_PROFILE: Final = {-1: 0.9, 0: 1.2, 1: 1.1, 2: 0.9, 3: 1.0, 4: 1.0, 5: 0.8, 8: 0.35, 6: 0.15, 7: 0.1, -2: 0.1, -3: 0.0}


def _key_weights() -> np.ndarray:
    """(12 keys, 12 pitch classes): how well a pitch class fits a key."""
    table = np.zeros((len(_KEYS), 12))
    for row, key in enumerate(_KEYS):
        for fifth, weight in _PROFILE.items():
            table[row, 7 * (key + fifth) % 12] = max(table[row, 7 * (key + fifth) % 12], weight)
    return table


_WEIGHTS: Final = _key_weights()


@lru_cache(maxsize=4096)
def _named(midi: int, fifth: int) -> Pitch:
    """The pitch of a MIDI number whose name lies `fifth` fifths above C."""
    alter, place = divmod(fifth + 1, 7)
    letter = _LETTER_OF_FIFTH[place]
    natural = Pitch(letter, 0, 4).midi % 12
    octave = (midi - alter - natural) // 12 - 1
    return Pitch(letter, alter, octave)


def keys_around(midis: Sequence[int], lengths: Sequence[float]) -> np.ndarray:
    """The key (sharps, flats negative) estimated around each note, shape (notes,)."""
    count = len(midis)
    classes = np.asarray(midis) % 12
    weights = np.zeros((count + 1, 12))
    weights[np.arange(1, count + 1), classes] = np.minimum(np.asarray(lengths, float), 2.0) + 0.1
    totals = np.cumsum(weights, axis=0)
    places = np.arange(count)
    near = totals[np.minimum(places + _WINDOW + 1, count)] - totals[np.maximum(places - _WINDOW, 0)]
    near += 0.5 * totals[-1] / count * _WINDOW  # the piece as a whole steadies the estimate
    scores = near @ _WEIGHTS.T - 0.002 * near.sum(axis=1, keepdims=True) * np.abs(np.array(_KEYS))
    return np.asarray(_KEYS)[np.argmax(scores, axis=1)]


def spell(midis: Sequence[int], lengths: Sequence[float]) -> list[Pitch]:
    """Pitches for MIDI numbers with their lengths in quarter notes, in playing order."""
    if not len(midis):
        return []
    keys = keys_around(midis, lengths).tolist()
    out = []
    for place, (midi, key) in enumerate(zip(midis, keys, strict=True)):
        fifth = (7 * midi - key + 1) % 12 + key - 1  # name between the key's fourth degree and its sharps
        outside = fifth - key
        if outside > 5:  # not in the key: 6 to 10 fifths up as a sharp, or 6 to 2 down as a flat
            step = next((m - midi for m in midis[place + 1 : place + 3] if m != midi), 0)
            raised = step == 1 or (step != -1 and outside in (6, 7, 8))
            white = midi % 12 in _WHITE
            if (white and fifth > 5 and not (outside == 8 and step == 1)) or (
                not raised and not (white and fifth <= 5)
            ):
                fifth -= 12
        out.append(_named(int(midi), int(fifth)))
    return out
