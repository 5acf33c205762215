"""What the pages tell of a left hand: a completed fingering, kept in memory, and its lists in words.

Whatever isn't written is completed in one possible way for the hand asked for (see
players.py); the lists say where the hand shifts, stays, stretches and needs care.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from repertoire.excerpts import Store, movement_notes
from repertoire.models import Movement, Passage
from repertoire.notation.excerpt import line_digest
from repertoire.players import Player
from repertoire.technique import harmonics as harmonic
from repertoire.technique.fingering import Fingering, FingeringError, Placement, complete, read_as, usual_preset
from repertoire.technique.fingering_alternatives import open_choices
from repertoire.technique.holding import findings
from repertoire.technique.left_hand import (
    Shift,
    hand_span,
    holds,
    ringing,
    semitone_slides,
    shifts,
    stretches,
    without_vibrato,
)
from repertoire.technique.line import Line
from repertoire.technique.marks import Marks, digest
from repertoire.technique.strings import A4, OPEN_STRINGS, StringError, open_string, position_label, string_name
from repertoire.technique.tuning import SHOWN_FIRST, Care, heard_two_ways, tuning_care

_fingerings: Store[Any, Fingering] = Store(120)
_presets: Store[Any, str] = Store(200)


@dataclass(frozen=True, slots=True)
class Said:
    """One entry of a list: the address it is about, where that is, and the words."""

    address: str
    where: str
    words: str


@dataclass(frozen=True, slots=True)
class ShiftSaid:
    """A shift in words; `starting` and `arriving` are its guide notes, "" where there is none,
    both where one finger carries the shift."""

    address: str
    where: str
    words: str
    starting: str
    arriving: str


@dataclass(frozen=True, slots=True)
class CareSaid:
    where: str
    note: str
    reasons: str
    flagged: bool


@dataclass(frozen=True, slots=True)
class HarmonicSaid:
    where: str
    kind: str
    string: str
    stopped: str
    touched: str
    sounds: str
    hertz: str


@dataclass(frozen=True)
class HandSaid:
    """Everything the page lists about one completed left hand."""

    player: Player
    marked: int
    implied: int
    shifts: tuple[ShiftSaid, ...]
    holds: tuple[Said, ...]
    slides: tuple[Said, ...]
    stretches: tuple[Said, ...]
    span: str
    mute: tuple[Said, ...]
    ringing: tuple[Said, ...]
    care: tuple[CareSaid, ...]
    more_care: tuple[CareSaid, ...]
    two_ways: tuple[Said, ...]
    a4: float
    harmonics: tuple[HarmonicSaid, ...]
    findings: tuple[str, ...]
    open_choices: tuple[Said, ...]

    @property
    def summary(self) -> str:
        """Counts in a sentence."""
        parts = [
            _count(len(self.shifts), "shift"),
            _count(len(self.stretches), "stretch", "stretches"),
            _count(len(self.holds), "finger that can stay down", "fingers that can stay down"),
        ]
        return ", ".join(parts)


def _count(number: int, one: str, many: str = "") -> str:
    return f"{number or 'no'} {one if number == 1 else many or one + 's'}"


def preset_for(movement: Movement) -> str:
    """The character to begin with in a movement: low and clear where it never leaves first position."""
    key = (movement.pk, movement.revision.created)
    known = _presets.get(key)
    if known:
        return known
    line, _ = movement_notes(movement)
    instrument = movement.revision.part.instrument or line.instrument
    return _presets.put(key, usual_preset(line, instrument))


def hand(line: Line, marks: Marks, player: Player, *, preset: str = "balanced") -> Fingering | None:
    """The marks completed to a whole left hand, from memory when asked for lately; None where
    the music can't be fingered at all. `preset` is the usual one of the music; see `read_as`."""
    limits = player.limits
    if player.instrument in OPEN_STRINGS:
        preset = read_as(preset, line, marks, player.instrument)
    key = (line_digest(line), line.tempos_before, digest(marks), player.instrument, player.length, limits, preset)
    known = _fingerings.get(key)
    if known:
        return known
    try:
        made = complete(line, marks, player.instrument, preset=preset, limits=limits, length=player.length)
    except (FingeringError, StringError):
        return None
    return _fingerings.put(key, made)


def tell(
    fingering: Fingering, marks: Marks, player: Player, flags: Iterable[tuple[str, str]] = (), *, a4: float = A4
) -> HandSaid:
    """The lists of a page, in words; `a4` is the studio's A in Hz."""
    told = _Telling(fingering)
    care = tuple(told.care(c) for c in tuning_care(fingering, flags))
    shown = max(SHOWN_FIRST, sum(c.flagged for c in care))
    marked = sum(p.marked for p in fingering.placements)
    return HandSaid(
        player=player,
        marked=marked,
        implied=len(fingering.placements) - marked,
        shifts=tuple(told.shift(s) for s in shifts(fingering)),
        holds=tuple(
            Said(h.start, told.span(h.start, h.end), f"finger {h.finger} on {string_name(h.string)}")
            for h in holds(fingering)
        ),
        slides=tuple(
            Said(s.end, told.where(s.end), f"finger {s.finger} on {string_name(s.string)}: {told.pair(s.start, s.end)}")
            for s in semitone_slides(fingering)
        ),
        stretches=tuple(
            Said(
                s.end,
                told.where(s.end),
                f"fingers {s.fingers[0]} and {s.fingers[1]}, {told.pair(s.start, s.end)}: {abs(s.mm):.0f} mm"
                + (", closed" if s.narrow else ""),
            )
            for s in stretches(fingering)
        ),
        span=told.widest(),
        mute=told.mute(),
        ringing=told.ringing(),
        care=care[:shown],
        more_care=care[shown:],
        two_ways=told.grouped([(t.address, f"{t.pitch.label}: {t.sentence}") for t in heard_two_ways(fingering, a4)]),
        a4=a4,
        harmonics=tuple(told.harmonics()),
        findings=tuple(f.message for f in findings(fingering, marks)),
        open_choices=choices_said(fingering),
    )


def choices_said(fingering: Fingering) -> tuple[Said, ...]:
    """Where several ways are almost as likely, one entry for each wording with the bars it stands in."""
    return _Telling(fingering).grouped([(choice.address, choice.sentence) for choice in open_choices(fingering)])


class _Telling:
    """Words for the places and notes of one fingering."""

    def __init__(self, fingering: Fingering) -> None:
        self.fingering = fingering
        self.places = fingering.by_address

    def where(self, address: str) -> str:
        return self.fingering.where(address)

    def span(self, start: str, end: str) -> str:
        first, last = self.where(start), self.where(end)
        bar = first.partition(",")[0]
        return f"{first} to {last.removeprefix(bar).lstrip(', ') if last.startswith(f'{bar},') else last}"

    def note(self, address: str) -> str:
        found = self.places.get(address)
        return found.pitch.label if found else ""

    def pair(self, start: str, end: str) -> str:
        return f"{self.note(start)} to {self.note(end)}"

    def shift(self, shift: Shift) -> ShiftSaid:
        starting = str(shift.starting) if shift.starting else ""
        arriving = str(shift.arriving) if shift.arriving else ""
        words = shift.sentence
        if self.carries(shift):  # the finger is its own guide note
            starting, arriving, words = "", "", f"{words}; one finger carries it"
        return ShiftSaid(shift.end.address, self.where(shift.end.address), words, starting, arriving)

    @staticmethod
    def carries(shift: Shift) -> bool:
        """Whether one finger goes from the first note to the last on one string."""
        leaving = shift.start.leaves if shift.start.leaves is not None else shift.start.finger
        return shift.start.string == shift.end.string and leaving == shift.end.finger

    def care(self, care: Care) -> CareSaid:
        return CareSaid(self.where(care.address), self.note(care.address), "; ".join(care.reasons), care.flagged)

    def widest(self) -> str:
        mm, start, end = hand_span(self.fingering)
        if not mm:
            return ""
        fingers = sorted({self.places[start].finger, self.places[end].finger})
        position = position_label(self.places[end].position)
        return (
            f"{mm:.0f} mm between fingers {fingers[0]} and {fingers[-1]} in {position}, "
            f"{self.pair(start, end)}, {self.where(end)}"
        )

    def grouped(self, notes: Sequence[tuple[str, str]]) -> tuple[Said, ...]:
        """(address, words) as one entry for each wording, with the bars it stands in."""
        found: dict[str, list[str]] = {}
        first: dict[str, str] = {}
        for address, words in notes:
            first.setdefault(words, address)
            bar = self.where(address).partition(",")[0]
            if bar not in found.setdefault(words, []):
                found[words].append(bar)
        return tuple(Said(first[words], _bars(bars), words) for words, bars in found.items())

    def mute(self) -> tuple[Said, ...]:
        out = []
        for address in without_vibrato(self.fingering):
            placed = self.places[address]
            words = f"{placed.pitch.label}, natural harmonic" if placed.harmonic else f"open {placed.pitch.label}"
            out.append((address, words))
        return self.grouped(out)

    def ringing(self) -> tuple[Said, ...]:
        answers = ringing(self.fingering)
        return self.grouped(
            [(a, f"{self.note(a)} with the open {' and '.join(o.label for o in opens)}") for a, opens in answers]
        )

    def harmonics(self) -> Iterable[HarmonicSaid]:
        for placed in self.fingering.placements:
            found = _harmonic(self.fingering.instrument, placed) if placed.harmonic else None
            if found is not None:
                off = f", {found.cents_off:+.0f} cents" if abs(found.cents_off) >= 0.5 else ""
                yield HarmonicSaid(
                    self.where(placed.address),
                    found.kind,
                    string_name(found.string),
                    found.stopped.label if found.stopped else "",
                    found.touched.label,
                    found.sounds.label,
                    f"{found.hertz:.1f} Hz{off}",
                )


def _bars(bars: Sequence[str]) -> str:
    """`bar 3`, `bars 3, 5 and 8`; words that aren't bars stay as they are."""
    numbers = [bar.removeprefix("bar ") for bar in bars]
    if len(bars) == 1 or any(not bar.startswith("bar ") for bar in bars):
        return ", ".join(bars)
    return f"bars {', '.join(numbers[:-1])} and {numbers[-1]}"


def _harmonic(instrument: str, placed: Placement) -> harmonic.Harmonic | None:
    """The harmonic of a note marked as one: written where it is touched, or as it sounds."""
    try:
        if placed.harmonic == "artificial":
            return harmonic.artificial(instrument, placed.string, placed.pitch)
        open_note = open_string(instrument, placed.string)
        if placed.pitch.midi - open_note.midi in harmonic.NODES:
            return harmonic.natural(instrument, placed.string, placed.pitch)
    except harmonic.HarmonicError:
        return None
    return next((h for h in harmonic.natural_for(instrument, placed.pitch) if h.string == placed.string), None)


def instrument_with_strings(passage: Passage, line: Line) -> str:
    """The passage's instrument if its strings are known, "" otherwise."""
    named = passage.movement.revision.part.instrument or line.instrument
    return named if named in ("violin", "viola") else ""
