"""What a left hand does: shifts and guide notes, fingers kept down, stretches, vibrato.

Read from a completed fingering (see `fingering.py`). A shift is a change of the hand's
place between stopped notes on any strings; an extension or a passing open string isn't
one, though an open string or a rest can hide one. Guide notes follow the two common ways
of practising a shift: the starting finger goes first and the arriving finger is put down,
or the arriving finger is set in the old position and slid up.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Literal

from .fingering import Fingering, Placement
from .fingering_states import BACK, FORWARD, NORMAL_GAP, gap_bounds
from .pitch import LETTERS, Pitch
from .strings import distance, open_string, open_strings, position_label, string_name

Hidden = Literal["", "open string", "rest"]
_SHARPS: Final = "FCGDAEB"
_RINGS_BELOW: Final = frozenset((0, 12, 19, 24))  # the note is this far above an open string
_RINGS_ABOVE: Final = frozenset((12, 19))  # or this far below one
_HOLD_REACH: Final = 5  # notes that may pass while a finger stays down


@dataclass(frozen=True, slots=True)
class Guide:
    """A guide note: a finger at its place in a position, as a written pitch on a string."""

    pitch: Pitch
    string: int
    finger: int
    position: int

    def __str__(self) -> str:
        return (
            f"{self.pitch.label}, finger {self.finger}, {position_label(self.position)} on {string_name(self.string)}"
        )


@dataclass(frozen=True, slots=True)
class Shift:
    """A change of position from one stopped note to the next.

    `positions` is signed (up is positive), `mm` is how far the hand travels; `hidden` says
    what covers it, `heard` is true inside a slur with nothing between. `starting` is the
    guide note of the starting finger in the new position, `arriving` that of the arriving
    finger in the old one; None where that finger would lie behind the nut.
    """

    start: Placement
    end: Placement
    positions: int
    mm: float
    hidden: Hidden
    heard: bool
    starting: Guide | None
    arriving: Guide | None

    @property
    def sentence(self) -> str:
        way = "up" if self.positions > 0 else "down"
        count = abs(self.positions)
        finger = self.start.leaves or self.start.finger
        over = f", over the {self.hidden}" if self.hidden else ", heard in the slur" if self.heard else ""
        return (
            f"{self.start.pitch.label} with {finger} to {self.end.pitch.label} with {self.end.finger}: "
            f"{way} {count} position{'s' * (count > 1)} to {position_label(self.end.position)}, "
            f"{abs(self.mm):.0f} mm{over}"
        )


@dataclass(frozen=True, slots=True)
class Hold:
    """A finger that can stay down from one note until it is needed there again."""

    start: str
    end: str
    string: int
    finger: int


@dataclass(frozen=True, slots=True)
class Slide:
    """One finger on two neighbouring half steps of one string, from the first to the second note."""

    start: str
    end: str
    finger: int
    string: int


@dataclass(frozen=True, slots=True)
class Stretch:
    """Two fingers further apart than the frame, or a reach; `mm` between them on this string length."""

    start: str
    end: str
    fingers: tuple[int, int]
    semitones: int
    mm: float
    narrow: bool = False


def _code(placement: Placement) -> int:
    if placement.extension == "forward":
        return FORWARD
    return BACK if placement.extension == "back" else placement.finger


def shifts(fingering: Fingering) -> tuple[Shift, ...]:
    """All shifts in playing order; a substitution shifts on its own note."""
    out: list[Shift] = []
    last: Placement | None = None
    passed_open = False
    passed_rest = 0.0
    for group in fingering.groups:
        moment = fingering.moments[group[0].moment]
        passed_rest = max(passed_rest, moment.rest)
        stopped = [p for p in group if p.stopped]
        if not stopped:
            passed_open = True
            continue
        here = _closest(stopped, last)
        before = last.leaves_position if last is not None and last.leaves_position is not None else None
        if last is not None:
            came_from = before if before is not None else last.position
            if came_from != here.position:
                hidden: Hidden = "rest" if passed_rest > 0.1 else "open string" if passed_open else ""
                out.append(_shift(fingering, last, here, came_from, hidden, moment.slurred and not hidden))
        last, passed_open, passed_rest = here, False, 0.0
    return tuple(out)


def _closest(stopped: Sequence[Placement], last: Placement | None) -> Placement:
    """Of a double stop, the note on the string nearest to where the hand was."""
    if last is None:
        return stopped[0]
    return min(stopped, key=lambda p: (abs(p.string - last.string), p.string))


def _shift(
    fingering: Fingering, last: Placement, here: Placement, came_from: int, hidden: Hidden, heard: bool
) -> Shift:
    finger = last.leaves or last.finger
    starting = guide_note(fingering, finger, last.string, here.position, near=here)
    arriving = guide_note(fingering, here.finger, here.string, came_from, near=last)
    base = _first_finger(fingering, here.position, here) - _first_finger(fingering, came_from, last)
    return Shift(last, here, here.position - came_from, base, hidden, heard, starting, arriving)


def _first_finger(fingering: Fingering, position: int, near: Placement) -> float:
    """Where the first finger lies in a position, in mm from the nut."""
    guide = guide_note(fingering, 1, near.string, position, near=near)
    if guide is None:
        return 0.0
    semitones = guide.pitch.midi - open_string(fingering.instrument, near.string).midi
    return distance(semitones, fingering.length)


def guide_note(fingering: Fingering, finger: int, string: int, position: int, *, near: Placement) -> Guide | None:
    """A finger's note in a position on a string, named as the key and the hand there have it.

    `near` is the neighbouring note of the same hand: it says which alteration the music has
    around, and the gap between the two fingers is kept within the frame.
    """
    letters = position + finger - 1
    open_note = open_string(fingering.instrument, string)
    if near.string == string and near.finger == finger and near.letters == letters:
        return Guide(near.pitch, string, finger, position)
    octave, index = divmod(open_note.step + letters, 7)
    letter = LETTERS[index]
    natural = Pitch(letter, 0, octave)
    alter = _alteration(fingering, natural, near.moment)
    candidates = sorted((alter, alter - 1, alter + 1), key=lambda a: abs(a - alter))
    same_hand = near.position == position
    for choice in candidates if same_hand else candidates[:1]:
        semitones = natural.midi + choice - open_note.midi
        if semitones < 1 or abs(choice) > 2:
            continue
        if same_hand and near.finger and not _fits(finger, semitones, near):
            continue
        return Guide(Pitch(letter, choice, octave), string, finger, position)
    semitones = natural.midi + alter - open_note.midi
    return Guide(Pitch(letter, alter, octave), string, finger, position) if semitones >= 1 else None


def _fits(finger: int, semitones: int, near: Placement) -> bool:
    if finger == near.finger:
        return near.extension != "" or semitones == near.semitones
    low, high = (finger, _code(near)) if finger < near.finger else (_code(near), finger)
    gap = near.semitones - semitones if finger < near.finger else semitones - near.semitones
    least, most = gap_bounds(low, high)
    return least - 1 <= gap <= most + 1 if abs(finger - near.finger) > 1 else least <= gap <= most


def _alteration(fingering: Fingering, natural: Pitch, moment: int) -> int:
    """The alteration a letter has around a moment: as written nearby, else by the key."""
    for step in (0, 1, -1, 2, -2, 3, -3, 4, -4):
        place = moment + step
        if 0 <= place < len(fingering.moments):
            for pitch in fingering.moments[place].pitches:
                if pitch.step == natural.step:
                    return pitch.alter
    return key_alteration(natural.letter, fingering.moments[moment].key)


def key_alteration(letter: str, key: int) -> int:
    """What a key signature (sharps, flats negative) does to a letter."""
    place = _SHARPS.index(letter)
    return (key + 6 - place) // 7 if key >= 0 else -((-key + place) // 7)


def holds(fingering: Fingering) -> tuple[Hold, ...]:
    """Fingers that return to the same string and pitch, with what lies between on other
    strings, in the same place of the hand, and not needing them."""
    groups = fingering.groups
    out: list[Hold] = []
    for i, group in enumerate(groups):
        for note in group:
            if not note.stopped:
                continue
            for j in range(i + 1, min(i + 2 + _HOLD_REACH, len(groups))):
                later = groups[j]
                back = next((p for p in later if p.string == note.string), None)
                if back is not None:
                    same = back.finger == note.finger and back.semitones == note.semitones
                    if same and j > i + 1 and back.position == note.position:
                        out.append(Hold(note.address, back.address, note.string, note.finger))
                    break
                if any(p.position != note.position or p.finger == note.finger for p in later):
                    break
    return tuple(out)


def _moves(fingering: Fingering) -> Iterator[tuple[Placement, Placement]]:
    """Single notes that follow each other, both stopped."""
    for before, after in pairwise(fingering.groups):
        if len(before) == len(after) == 1 and before[0].stopped and after[0].stopped:
            yield before[0], after[0]


def semitone_slides(fingering: Fingering) -> tuple[Slide, ...]:
    """The same finger on two neighbouring half steps of one string."""
    return tuple(
        Slide(a.address, b.address, a.finger, a.string)
        for a, b in _moves(fingering)
        if a.string == b.string and (a.leaves or a.finger) == b.finger and abs(a.semitones - b.semitones) == 1
    )


def stretches(fingering: Fingering) -> tuple[Stretch, ...]:
    """Where the hand opens or closes beyond its frame, between neighbouring or sounding notes."""
    out: list[Stretch] = []
    pairs = list(_moves(fingering))
    for group in fingering.groups:
        stopped = [p for p in group if p.stopped]
        pairs += [(a, b) for n, a in enumerate(stopped) for b in stopped[n + 1 :]]
    for a, b in pairs:
        if a.position != b.position or a.finger == b.finger or a.leaves is not None:
            continue
        low, high = (a, b) if a.finger < b.finger else (b, a)
        gap = high.semitones - low.semitones
        least, most = NORMAL_GAP[high.finger - low.finger]
        reach = bool(a.extension or b.extension)
        if gap > most or gap < least - 1 or (reach and gap >= most):
            mm = distance(high.semitones, fingering.length) - distance(low.semitones, fingering.length)
            out.append(Stretch(a.address, b.address, (low.finger, high.finger), gap, mm, narrow=gap < least))
    order = {p.address: n for n, p in enumerate(fingering.placements)}
    return tuple(sorted(out, key=lambda s: (order[s.start], order[s.end])))


def hand_span(fingering: Fingering) -> tuple[float, str, str]:
    """The widest the hand is open within one position, in mm, with the two notes.

    Counts stopped notes that sound together or follow each other without a shift, the hand
    staying in one place; (0.0, "", "") when no two fingers are used.
    """
    widest = (0.0, "", "")
    stretch: list[Placement] = []
    place: int | None = None
    for group in fingering.groups:
        for note in group:
            if not note.stopped:
                continue
            if note.position != place:
                stretch, place = [], note.position
            for other in stretch[-4:]:
                wide = abs(note.distance_mm - other.distance_mm)
                apart = note.finger != other.finger and note.pitch.midi != other.pitch.midi
                if apart and abs(note.string - other.string) <= 1 and wide > widest[0]:
                    widest = (wide, other.address, note.address)
            stretch.append(note)
    return widest


def without_vibrato(fingering: Fingering) -> tuple[str, ...]:
    """Addresses of notes that can't be vibrated: open strings and natural harmonics."""
    return tuple(p.address for p in fingering.placements if p.finger == 0 or p.harmonic == "natural")


def ringing(fingering: Fingering) -> tuple[tuple[str, tuple[Pitch, ...]], ...]:
    """Stopped notes that ring with open strings (unison, octave, twelfth, double octave), as
    check notes: the address and the open strings that answer, from the lowest."""
    opens = open_strings(fingering.instrument)
    out = []
    for note in fingering.placements:
        if not note.stopped or note.harmonic:
            continue
        answer = tuple(o for o in reversed(opens) if opens.index(o) + 1 != note.string and rings(note.pitch, o))
        if answer:
            out.append((note.address, answer))
    return tuple(out)


def rings(note: Pitch, open_note: Pitch) -> bool:
    """Whether a stopped note makes an open string sound: a shared low partial."""
    above = note.midi - open_note.midi
    return above in _RINGS_BELOW or -above in _RINGS_ABOVE
