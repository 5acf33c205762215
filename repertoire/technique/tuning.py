"""Tuning care: where intonation is insecure, and why; double stops heard both ways.

There is no score of accuracy here. Each note that asks for care comes with its reasons;
the teacher's own flags always come first, and at first only a few are shown.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from .fingering import Fingering
from .left_hand import semitone_slides, shifts, stretches
from .strings import cents_per_mm, position_label

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


def _slants(string_a: int, finger_a: int, semi_a: int, string_b: int, finger_b: int, semi_b: int) -> bool:
    return finger_a == finger_b and finger_a > 0 and abs(string_a - string_b) == 1 and abs(semi_a - semi_b) == 1


def offset_of(semitones: int) -> int:
    """In a double stop on neighbouring strings, how many half steps further from the nut the
    upper note is stopped than the lower: a fifth lies level, an octave five further."""
    return semitones - 7
