"""Tuning care: where intonation is insecure, and why; double stops heard both ways.

There is no score of accuracy here. Each note that asks for care comes with its reasons;
the teacher's own flags always come first, and at first only a few are shown.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Final

from .fingering import Fingering
from .left_hand import semitone_slides, shifts, stretches
from .pitch import Pitch
from .strings import A4, cents_per_mm, open_hertz, open_strings, position_label

HIGH_POSITION: Final = 5
SHOWN_FIRST: Final = 3


@dataclass(frozen=True, slots=True)
class Care:
    """A note that asks for care. `flagged`: the teacher marked it."""

    address: str
    reasons: tuple[str, ...]
    flagged: bool = False
    weight: float = 0.0


def tuning_care(fingering: Fingering, flags: Iterable[tuple[str, str]] = ()) -> tuple[Care, ...]:
    """Notes with the reasons their intonation is insecure, the most pressing first.

    `flags` are the teacher's own (address, words); they lead in the order given.
    """
    found: dict[str, list[tuple[float, str]]] = {}

    def note(address: str, weight: float, reason: str) -> None:
        found.setdefault(address, []).append((weight, reason))

    for shift in shifts(fingering):
        apart = abs(shift.end.pitch.midi - shift.start.pitch.midi)
        weight = 1.0 + 0.1 * abs(shift.positions) - (0.5 if shift.hidden else 0.0)
        note(shift.end.address, weight, f"arrival of a shift to {position_label(shift.end.position)}")
        if apart == 1:
            note(shift.end.address, 0.6, "half step across a shift")
    for stretch in stretches(fingering):
        if not stretch.narrow:
            low, high = stretch.fingers
            note(stretch.end, 0.9, f"extension: fingers {low} and {high} {stretch.mm:.0f} mm apart")
    for slide in semitone_slides(fingering):
        note(slide.end, 0.8, f"finger {slide.finger} slides a half step")
    for before, after in pairwise(fingering.groups):
        for a in before:
            for b in after:
                if _slants(a.string, a.finger, a.semitones, b.string, b.finger, b.semitones):
                    note(b.address, 0.85, f"finger {b.finger} crosses a diminished or augmented fifth")
    for group in fingering.groups:
        for a, b in pairwise(group):
            if _slants(a.string, a.finger, a.semitones, b.string, b.finger, b.semitones):
                note(b.address, 1.2, f"finger {b.finger} stops two strings a half step apart")
            elif a.stopped and a.finger == b.finger and a.semitones == b.semitones:
                note(b.address, 0.7, f"finger {b.finger} stops a pure fifth across two strings")
    for placement in fingering.placements:
        if placement.stopped and placement.position >= HIGH_POSITION:
            cents = cents_per_mm(placement.semitones, fingering.length)
            weight = 0.3 + 0.05 * (placement.position - HIGH_POSITION)
            note(placement.address, weight, f"high position: one millimetre is {cents:.1f} cents")
    flagged = [Care(address, (words or "flagged",), True, 99.0) for address, words in flags]
    seen = {care.address for care in flagged}
    merged = [
        Care(c.address, (*c.reasons, *(r for _, r in sorted(found.get(c.address, ()), reverse=True))), True, c.weight)
        for c in flagged
    ]
    order = {p.address: n for n, p in enumerate(fingering.placements)}
    others = [
        Care(address, tuple(r for _, r in sorted(reasons, reverse=True)), False, sum(w for w, _ in reasons))
        for address, reasons in found.items()
        if address not in seen
    ]
    return (*merged, *sorted(others, key=lambda c: (-c.weight, order[c.address])))


@dataclass(frozen=True, slots=True)
class TwoWays:
    """A stopped note that lies in two places, each pure with a neighbouring open string: as
    (open string, interval in words, Hz), from the lower string, and how far apart in cents."""

    address: str
    pitch: Pitch
    ways: tuple[tuple[Pitch, str, float], ...]
    cents: float

    @property
    def sentence(self) -> str:
        told = [f"{hertz:.2f} Hz as {interval} with the open {string.label}" for string, interval, hertz in self.ways]
        return f"{' and '.join(told)}: {self.cents:.1f} cents apart, each in tune in its place"


# Pure ratios of a note to an open string, by half steps from it, upwards and downwards [A].
_PURE: Final[Mapping[int, tuple[Fraction, str]]] = {
    3: (Fraction(6, 5), "a third"), 4: (Fraction(5, 4), "a third"), 5: (Fraction(4, 3), "a fourth"),
    7: (Fraction(3, 2), "a fifth"), 8: (Fraction(8, 5), "a sixth"), 9: (Fraction(5, 3), "a sixth"),
    12: (Fraction(2), "an octave"),
}  # fmt: skip
_APART: Final = 10.0  # cents


def pure_with(pitch: Pitch, open_note: Pitch, instrument: str, a4: float = A4) -> tuple[str, float] | None:
    """The interval of a note with an open string, in words, and the note's pitch in Hz when that
    is pure; None for an interval that isn't one to tune by. Strings are tuned in pure fifths."""
    steps = pitch.midi - open_note.midi
    if abs(steps) not in _PURE:
        return None
    ratio, words = _PURE[abs(steps)]
    string = open_hertz(instrument, a4)[open_strings(instrument).index(open_note)]
    return words, string * float(ratio if steps > 0 else 1 / ratio)


def heard_two_ways(fingering: Fingering, a4: float = A4) -> tuple[TwoWays, ...]:
    """Stopped notes of double stops with an open string whose place differs between the two
    open strings beside theirs, each once."""
    opens = open_strings(fingering.instrument)
    out: dict[Pitch, TwoWays] = {}
    for group in fingering.groups:
        if not any(p.is_open for p in group):
            continue
        for note in group:
            beside = [opens[s - 1] for s in (note.string + 1, note.string - 1) if 1 <= s <= len(opens)]
            pure = [(o, pure_with(note.pitch, o, fingering.instrument, a4)) for o in beside]
            ways = tuple((o, *found) for o, found in pure if found is not None)
            if not note.stopped or note.harmonic or note.pitch in out or len(ways) < 2:
                continue
            cents = abs(1200 * math.log2(ways[0][2] / ways[1][2]))
            if cents >= _APART:
                out[note.pitch] = TwoWays(note.address, note.pitch, ways, cents)
    return tuple(out.values())


def _slants(string_a: int, finger_a: int, semi_a: int, string_b: int, finger_b: int, semi_b: int) -> bool:
    return finger_a == finger_b and finger_a > 0 and abs(string_a - string_b) == 1 and abs(semi_a - semi_b) == 1


def offset_of(semitones: int) -> int:
    """In a double stop on neighbouring strings, how many half steps further from the nut the
    upper note is stopped than the lower: a fifth lies level, an octave five further."""
    return semitones - 7
