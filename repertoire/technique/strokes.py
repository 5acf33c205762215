"""What a bow stroke is, what can be found out about one, and the settings for both.

A stroke is what one bow direction carries. The frog is 0 and the tip 1; a down-bow moves
towards 1, an up-bow towards 0. Durations are exact fractions of a quarter note.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from functools import cached_property

from .line import Event, Line, beat_label
from .marks import Marks
from .tempi import Tempi


class Direction(StrEnum):
    DOWN = "down"
    UP = "up"

    @property
    def other(self) -> Direction:
        return Direction.UP if self is Direction.DOWN else Direction.DOWN

    @property
    def sign(self) -> int:
        """+1 towards the tip, −1 towards the frog."""
        return 1 if self is Direction.DOWN else -1


class StrokeKind(StrEnum):
    SINGLE = "single"  # one note, or one note and its ties
    SLURRED = "slurred"
    HOOKED = "hooked"  # one direction with stops
    PORTATO = "portato"
    TREMOLO = "tremolo"


class FindingKind(StrEnum):
    RETAKE_OR_HOOK = "retake or hook"  # two strokes of one direction without a sign that says how
    CONTRADICTION = "contradiction"  # two marks that can't both hold as written
    IGNORED = "ignored"  # a mark that the bow can't use
    HABIT = "habit"  # nothing is marked: the start is custom
    REPEAT = "repeat"  # a repeat begins on the other bow
    PHRASE = "phrase"  # a slur over slurs, read as phrasing
    FERMATA = "fermata"  # a length that is open
    TEMPO = "tempo"  # words that change the tempo without a number
    RUNS_OUT = "runs out"
    PLACE = "place"  # the bow isn't where the mark wants it
    LONG_STROKE = "long stroke"
    UNEVEN = "uneven speed"
    EDGE = "edge"  # sustained and loud at the very frog or tip


@dataclass(frozen=True, slots=True)
class Finding:
    """Something to tell the teacher. `bar` is the printed number, `beat` counts from 1."""

    address: str
    bar: str
    beat: Fraction
    kind: FindingKind
    message: str


def finding(line: Line, address: str, kind: FindingKind, message: str) -> Finding:
    """A finding at a note; `{where}` in the message becomes “bar 3, beat 2½”."""
    event = line.event(address)
    bar = line.bar(event.bar)
    beat = bar.beat(event.onset)
    where = f"bar {bar.number}, beat {beat_label(beat)}"
    text = message.replace("{where}", where)
    return Finding(event.address, bar.number, beat, kind, text[:1].upper() + text[1:])


@dataclass(frozen=True, slots=True)
class BowSettings:
    """What a teacher can set about the bow. The limits are common practice, without a source."""

    hair_mm: float = 640.0
    tempo: Fraction = Fraction(80)  # beats a minute where none is printed, of the metre's own beat
    rest_seconds: Fraction = Fraction(3, 10)  # a rest this long lets the bow be set anywhere
    fresh_seconds: Fraction = Fraction(2)  # after a rest this long the habit of a start holds
    long_soft_seconds: float = 6.0  # a longer stroke at p is worth a word
    long_loud_seconds: float = 4.0  # the same at f
    uneven_ratio: float = 2.5  # a stroke this much faster than its neighbour at one dynamic
    edge: float = 0.05  # nearer than this to frog or tip is the very frog, the very tip
    sustained_seconds: float = 1.0


BOW = BowSettings()


@dataclass(frozen=True)
class Moment:
    """What begins to sound together in playing: the notes of all voices at one onset, with the
    grace notes that lead to them. `onset` is in played time, `beats` the length until the next
    moment or silence."""

    events: tuple[Event, ...]
    pass_number: int
    onset: Fraction
    beats: Fraction
    after_jump: bool = False
    pizzicato: bool = False
    fermata: bool = False

    @cached_property
    def main(self) -> Event:
        """The first event that isn't a grace note."""
        return next((e for e in self.events if not e.grace), self.events[0])

    @cached_property
    def address(self) -> str:
        return self.main.address

    @property
    def end(self) -> Fraction:
        return self.onset + self.beats

    def seconds(self, tempi: Tempi) -> Fraction:
        """How long it sounds, a fermata as long as it is written."""
        return tempi.played.between(self.onset, self.end)

    @cached_property
    def continues(self) -> bool:
        """Nothing new is played: every note is tied from before."""
        return all(e.continues for e in self.events)


@dataclass(frozen=True)
class Stroke:
    """One bow stroke in playing. `marked` tells that a sign on its notes gives the direction.

    `retake` is "" or tells that the bow is lifted and set again before it: "marked" by the
    teacher, "needed" because the direction repeats. `start` is true at a beginning: the first
    stroke, after pizzicato, after a long rest; `free` there and after any rest that leaves time
    to set the bow anywhere. `bows` is the number of changes a measured tremolo
    makes (1 for any other stroke, None when it can't be counted). `seconds` is None under a
    fermata, whose length is open. `beats` are the sounding quarter notes.
    """

    number: int
    direction: Direction
    marked: bool
    kind: StrokeKind
    moments: tuple[Moment, ...]
    seconds: Fraction | None
    why: str
    retake: str = ""
    start: bool = False
    free: bool = False
    bows: int | None = 1

    @cached_property
    def beats(self) -> Fraction:
        return sum((m.beats for m in self.moments), Fraction(0))

    @property
    def notes(self) -> tuple[str, ...]:
        """Addresses of its events, in playing order."""
        return tuple(e.address for m in self.moments for e in m.events)

    @property
    def first(self) -> str:
        return self.moments[0].address

    @property
    def last(self) -> str:
        return self.moments[-1].address

    @property
    def pass_number(self) -> int:
        return self.moments[0].pass_number

    @property
    def last_direction(self) -> Direction | None:
        """The direction in which it ends; None for a tremolo that can't be counted."""
        if self.bows is None:
            return None
        return self.direction if self.bows % 2 else self.direction.other


@dataclass(frozen=True)
class Bowing:
    """The strokes of a line in playing order, and what was found on the way, at its `tempi`.
    Pizzicato notes belong to no stroke."""

    line: Line
    marks: Marks
    strokes: tuple[Stroke, ...]
    findings: tuple[Finding, ...]
    tempi: Tempi
    settings: BowSettings = field(default=BOW)

    @property
    def tempo(self) -> Fraction:
        """The tempo it begins at, quarter notes a minute."""
        return self.tempi.opening

    @cached_property
    def _at(self) -> dict[tuple[str, int], Stroke]:
        return {(e.address, m.pass_number): s for s in self.strokes for m in s.moments for e in m.events}

    def stroke_at(self, address: str, pass_number: int = 1) -> Stroke | None:
        """The stroke that carries an event in a pass; None for pizzicato, rests and cues."""
        return self._at.get((self.line.event(address).address, pass_number))
