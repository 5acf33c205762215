"""The note list of one movement of one part: written bars, and the events in them.

Everything that computes or draws starts from a `Line`. Times are exact fractions of a
quarter note. A line keeps the written order; `played.py` follows repeats and endings.

An event is a note, a chord or a rest. Its address names the written bar's index in the
movement and the event's place in the bar: `b12n3` is the third event of the twelfth
written bar, counting rests; `b12n3p2` is the second chord member from below. Addresses
are valid XML ids. The bar number printed on the page is a separate string.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property, lru_cache
from typing import Literal

from .pitch import Pitch

Grace = Literal["", "slashed", "plain"]
ClefName = Literal["treble", "alto", "tenor", "bass", "treble8vb", "treble8va", "soprano", "mezzo", "percussion"]

ADDRESS = re.compile(r"b(\d+)n(\d+)(?:p(\d+))?$")
TYPES = {
    "maxima": Fraction(32), "longa": Fraction(16), "breve": Fraction(8), "whole": Fraction(4),
    "half": Fraction(2), "quarter": Fraction(1), "eighth": Fraction(1, 2), "16th": Fraction(1, 4),
    "32nd": Fraction(1, 8), "64th": Fraction(1, 16), "128th": Fraction(1, 32), "256th": Fraction(1, 64),
}  # fmt: skip


class LineError(ValueError):
    """Bars or events that don't fit together; the message names bar and beat."""


@lru_cache(maxsize=1 << 16)
def parse_address(address: str) -> tuple[int, int, int]:
    """`b12n3p2` as (12, 3, 2); the member is 0 for a whole event. Raises LineError."""
    found = ADDRESS.match(address)
    if not found:
        raise LineError(f"“{address}” is not the address of a note.")
    bar, event, member = found.groups()
    return int(bar), int(event), int(member or 0)


def event_address(address: str) -> str:
    """The address of the event a chord member belongs to: `b12n3p2` → `b12n3`."""
    return address.partition("p")[0]


@dataclass(frozen=True, slots=True)
class Meter:
    """A time signature: `beats` may be a sum such as "3+2"; `beat_type` 4 is a quarter."""

    beats: str = "4"
    beat_type: int = 4
    symbol: Literal["", "common", "cut"] = ""

    @property
    def length(self) -> Fraction:
        """Quarter notes in a full bar."""
        return sum((int(n) for n in self.beats.split("+")), 0) * Fraction(4, self.beat_type)

    @property
    def beat(self) -> Fraction:
        """Quarter notes in one counted beat: a dotted unit in 6/8, 9/8, 12/8 and the like."""
        unit = Fraction(4, self.beat_type)
        if "+" not in self.beats and self.beat_type >= 8 and int(self.beats) % 3 == 0 and int(self.beats) > 3:
            return 3 * unit
        return unit

    def __str__(self) -> str:
        return f"{self.beats}/{self.beat_type}"


@dataclass(frozen=True, slots=True)
class Value:
    """How a duration is written: note type, dots, and the tuplet ratio (3, 2) for triplets."""

    type: str
    dots: int = 0
    tuplet: tuple[int, int] | None = None

    @property
    def quarters(self) -> Fraction:
        plain = TYPES[self.type] * (2 - Fraction(1, 2**self.dots))
        return plain if self.tuplet is None else plain * self.tuplet[1] / self.tuplet[0]


@dataclass(frozen=True, slots=True)
class Event:
    """A note, chord or rest.

    `onset` counts from the start of the bar as printed (a pickup bar starts at 0) and
    `duration` is the sounding length, both in quarter notes; a grace note has duration 0
    and shares the onset of the note it leads to. `pitches` run from below and are empty
    for a rest. Ties are told per member: `tied_from` continues an earlier note, `tied_to`
    is continued. `beams` are MusicXML beam values from the first (eighth) beam inwards.
    """

    address: str
    bar: int
    onset: Fraction
    duration: Fraction
    pitches: tuple[Pitch, ...] = ()
    value: Value = Value("quarter")
    voice: int = 1
    grace: Grace = ""
    tied_from: tuple[bool, ...] = ()
    tied_to: tuple[bool, ...] = ()
    beams: tuple[str, ...] = ()
    tuplet_ends: tuple[str, ...] = ()  # "start" and/or "stop" of a printed tuplet bracket
    stem: Literal["", "up", "down", "none"] = ""
    whole_bar: bool = False  # a rest that stands for the whole bar
    cue: bool = False
    tremolo: int = 0  # strokes through the stem, or between the two notes of a pair
    tremolo_pair: Literal["", "start", "stop"] = ""  # the strokes lie between this note and its neighbour
    accidentals: tuple[str, ...] = ()  # printed sign per member ("sharp", "(natural)", ""), () when none is printed

    @property
    def is_rest(self) -> bool:
        return not self.pitches

    @property
    def end(self) -> Fraction:
        return self.onset + self.duration

    @property
    def continues(self) -> bool:
        """True when every member is tied from an earlier note: nothing new is played."""
        return bool(self.tied_from) and all(self.tied_from)

    def member(self, number: int) -> str:
        """Address of a chord member (1 is the lowest); a single note is its own member."""
        return f"{self.address}p{number}" if len(self.pitches) > 1 else self.address

    @property
    def members(self) -> tuple[str, ...]:
        return tuple(self.member(n) for n in range(1, len(self.pitches) + 1))


@dataclass(frozen=True, slots=True)
class Clef:
    """A clef in force from `onset` (quarter notes from the bar's start)."""

    name: ClefName
    onset: Fraction = Fraction(0)


@dataclass(frozen=True, slots=True)
class TempoMark:
    """A tempo printed in the part: words, or a beat unit (a Value) with its number a minute."""

    onset: Fraction
    words: str = ""
    unit: Value | None = None
    per_minute: Fraction | None = None


@dataclass(frozen=True, slots=True)
class Bar:
    """A written bar. `index` counts from 1 in the movement; `number` is what is printed.

    `onset` is where the bar starts in the movement and `length` what it really lasts, in
    quarter notes. `missing` is how much of a full bar is absent at its start (an upbeat),
    so beats are counted from there. `clefs` opens with the clef in force at the bar's
    start; `key` is the number of sharps (flats negative).
    """

    index: int
    number: str
    onset: Fraction
    length: Fraction
    meter: Meter = Meter()
    key: int = 0
    mode: str = ""
    clefs: tuple[Clef, ...] = (Clef("treble"),)
    missing: Fraction = Fraction(0)
    repeat_start: bool = False
    repeat_end: int = 0  # times the repeated part is played, 2 as a rule; 0 for none
    ending: tuple[int, ...] = ()  # numbers of the ending this bar belongs to
    barline: str = ""  # MusicXML bar-style at the right, "" for a plain one
    jump: str = ""  # "segno", "coda", "fine", "dacapo", "dalsegno", "tocoda"
    rehearsal: str = ""
    tempos: tuple[TempoMark, ...] = ()
    key_shown: bool = False  # a key or time signature is printed in this bar
    meter_shown: bool = False

    @property
    def clef(self) -> ClefName:
        return self.clefs[0].name

    def beat(self, onset: Fraction) -> Fraction:
        """The beat, from 1, at `onset` in this bar: 5/2 is half way through the second."""
        return (self.missing + onset) / self.meter.beat + 1

    def onset_of(self, beat: Fraction) -> Fraction:
        """The place in the bar, in quarter notes, of a beat counted from 1."""
        return (beat - 1) * self.meter.beat - self.missing


_PARTS = {Fraction(1, 2): "½", Fraction(1, 4): "¼", Fraction(3, 4): "¾", Fraction(1, 3): "⅓", Fraction(2, 3): "⅔"}


def beat_label(beat: Fraction) -> str:
    """A beat for people: 1, 2½, 3⅓, or 2 5/8."""
    whole, rest = divmod(beat, 1)
    if not rest:
        return str(whole)
    return f"{whole}{_PARTS[rest]}" if rest in _PARTS else f"{whole} {rest}"


@dataclass(frozen=True)
class Line:
    """Bars and events of one movement of one part, or a cut of them (addresses stay)."""

    bars: tuple[Bar, ...]
    events: tuple[Event, ...]
    title: str = ""
    part: str = ""
    instrument: str = ""  # "violin", "viola" or "" when the part doesn't say
    tempos_before: tuple[TempoMark, ...] = ()  # of a cut: the tempo marks before it, in order

    @cached_property
    def _events(self) -> dict[str, Event]:
        return {e.address: e for e in self.events}

    @cached_property
    def _bars(self) -> dict[int, Bar]:
        return {b.index: b for b in self.bars}

    @cached_property
    def _order(self) -> dict[str, int]:
        return {e.address: i for i, e in enumerate(self.events)}

    @cached_property
    def digest(self) -> str:
        """SHA-256 (hex) of the bars and events: equal music, equal digest."""
        return hashlib.sha256(repr((self.bars, self.events)).encode()).hexdigest()

    def __contains__(self, address: object) -> bool:
        if not isinstance(address, str):
            return False
        if address in self._events:
            return True
        found = self._events.get(event_address(address))
        return (
            found is not None and bool(ADDRESS.match(address)) and 0 < parse_address(address)[2] <= len(found.pitches)
        )

    def event(self, address: str) -> Event:
        """The event at an address (of the event or one of its members). Raises LineError."""
        try:
            return self._events[event_address(address)]
        except KeyError:
            raise LineError(f"There is no note {address} in this passage.") from None

    def pitch(self, address: str) -> Pitch:
        """The pitch at an address; the lowest of a chord when no member is named."""
        event = self.event(address)
        member = parse_address(address)[2]
        if event.is_rest or member > len(event.pitches):
            raise LineError(f"There is no note {address} in this passage.")
        return event.pitches[max(member, 1) - 1]

    def bar(self, index: int) -> Bar:
        try:
            return self._bars[index]
        except KeyError:
            raise LineError(f"There is no bar with index {index} in this passage.") from None

    def bar_of(self, address: str) -> Bar:
        return self.bar(self.event(address).bar)

    def order(self, address: str) -> int:
        """Place of an event in the written order, from 0."""
        return self._order[self.event(address).address]

    def time(self, event: Event) -> Fraction:
        """Onset of an event from the start of the movement, in quarter notes."""
        return self.bar(event.bar).onset + event.onset

    def where(self, address: str) -> str:
        """`bar 12, beat 2½` with the printed bar number."""
        event = self.event(address)
        bar = self.bar(event.bar)
        return f"bar {bar.number}, beat {beat_label(bar.beat(event.onset))}"

    def between(self, start: str, end: str) -> tuple[Event, ...]:
        """Events from one address to another in written order, both included."""
        first, last = sorted((self.order(start), self.order(end)))
        return self.events[first : last + 1]

    def in_bar(self, index: int) -> tuple[Event, ...]:
        return tuple(e for e in self.events if e.bar == index)

    @property
    def notes(self) -> tuple[Event, ...]:
        """Events that are not rests."""
        return tuple(e for e in self.events if e.pitches)

    @property
    def pitches(self) -> Iterator[Pitch]:
        for event in self.events:
            yield from event.pitches

    def with_events(self, events: tuple[Event, ...]) -> Line:
        return replace(self, events=events)
