"""How fast a passage goes where its tempo changes: the tempo marks followed, in seconds.

A metronome mark sets the tempo. “A tempo” brings back the last one set, “Tempo I” the first of
the movement, and words that had a number before have it again; numbers without words after a
“rit.” belong to it. What bends by and by, and words without a number, leave the tempo where it
was, and that is told. These readings are common practice, without a source.
"""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property

from .line import Bar, Line, Meter, TempoMark, Value
from .played import played_bars

_AGAIN = re.compile(r"^\s*\W*((a|in)\s+tempo)\b", re.I)
_FIRST = re.compile(r"\btempo\s+(i|1|primo|1mo|1°|iº|di prima)(?!\w)|\b(erstes|1\.)\s+(zeitma(ß|ss)|tempo)", re.I)
_BENDS = re.compile(
    r"\b(rit(\.|\b|en|ard)|rall|allarg|(largando|slentando|calando|smorz|morendo|sost(\.|$)|cédez|retenu)"
    r"|accel|string|affrett|incalz|press(ez|ando)|rubato|ad lib|slow(ing)? down|broaden|hurry|(slow|fast)er and)",
    re.I,
)


@dataclass(frozen=True)
class Pace:
    """A tempo from each of several places on: quarter notes from the start, quarters a minute."""

    points: tuple[tuple[Fraction, Fraction], ...]

    @cached_property
    def _times(self) -> tuple[Fraction, ...]:
        return tuple(time for time, _ in self.points)

    @cached_property
    def _quarters(self) -> tuple[Fraction, ...]:
        """Seconds a quarter note lasts from each point on."""
        return tuple(60 / tempo for _, tempo in self.points)

    def at(self, time: Fraction) -> Fraction:
        """The tempo at a place; before the first point, that of the first."""
        return self.points[max(bisect_right(self._times, time) - 1, 0)][1]

    def between(self, start: Fraction, end: Fraction) -> Fraction:
        """Seconds from one place to another."""
        if len(self.points) == 1:
            return (end - start) * self._quarters[0]
        times, quarters = self._times, self._quarters
        here = max(bisect_right(times, start) - 1, 0)
        seconds = Fraction(0)
        while here + 1 < len(times) and times[here + 1] < end:
            seconds += (times[here + 1] - start) * quarters[here]
            start = times[here + 1]
            here += 1
        return seconds + (end - start) * quarters[here]

    def inside(self, start: Fraction, end: Fraction) -> tuple[tuple[Fraction, Fraction], ...]:
        """The points after one place and before another."""
        return self.points[bisect_right(self._times, start) : bisect_left(self._times, end)]

    def times(self, ratio: Fraction) -> Pace:
        """The same, every tempo multiplied."""
        return Pace(tuple((time, tempo * ratio) for time, tempo in self.points))


@dataclass(frozen=True, slots=True)
class TempoChange:
    """A place inside a passage from which another tempo counts, quarters a minute. `bar` is
    the printed number and `onset` the place in that bar, in quarter notes."""

    index: int
    bar: str
    onset: Fraction
    tempo: Fraction


@dataclass(frozen=True, slots=True)
class OpenTempo:
    """Words that change the tempo by an amount nobody can know: `bends` by and by, or at once."""

    index: int
    onset: Fraction
    words: str
    bends: bool
    tempo: Fraction  # what is counted on with


@dataclass(frozen=True)
class Tempi:
    """The tempi of a line: in `written` and in `played` time, quarter notes from its start there.
    `printed` tells whether a number is printed for the beginning."""

    opening: Fraction
    printed: bool
    written: Pace
    played: Pace
    changes: tuple[TempoChange, ...]
    untold: tuple[OpenTempo, ...]

    def begun_at(self, tempo: Fraction) -> Tempi:
        """The same begun at another tempo: everything that follows goes along in proportion."""
        ratio = tempo / self.opening
        if ratio == 1:
            return self
        return replace(
            self,
            opening=tempo,
            written=self.written.times(ratio),
            played=self.played.times(ratio),
            changes=tuple(replace(c, tempo=c.tempo * ratio) for c in self.changes),
            untold=tuple(replace(o, tempo=o.tempo * ratio) for o in self.untold),
        )


def tempo_figure(tempo: Fraction) -> str:
    """A tempo as a number to read: 132, or 92.3 where it isn't whole."""
    return f"{float(tempo):.1f}".removesuffix(".0")


def quarters_a_minute(mark: TempoMark) -> Fraction | None:
    """A mark's number as quarter notes a minute; None for words alone."""
    return mark.per_minute * mark.unit.quarters if mark.unit is not None and mark.per_minute else None


@dataclass
class _Reader:
    """Reads tempo marks in written order: the tempo now, the one a bend leaves, the first one."""

    now: Fraction | None = None
    base: Fraction | None = None
    first: Fraction | None = None
    bent: bool = False

    def __post_init__(self) -> None:
        self.known: dict[str, Fraction] = {}

    def read(self, mark: TempoMark) -> str:
        """Takes a mark in; "" when the tempo is known after it, "bends" or "words" when it isn't."""
        number, words = quarters_a_minute(mark), mark.words.strip()
        bends = bool(_BENDS.search(words))
        if number is not None:
            self.first = self.first or number
            self.now = number
            if not bends and (words or not self.bent):
                self.base, self.bent = number, False
            self.bent = self.bent or bends
            if words and not bends:
                self.known.setdefault(words.casefold(), number)
            return ""
        if _FIRST.search(words):
            self.now = self.base = self.first
        elif _AGAIN.search(words):
            self.now = self.base
        elif words.casefold() in self.known:
            self.now = self.base = self.known[words.casefold()]
        else:
            self.bent = self.bent or bends
            return "bends" if bends else "words"
        self.bent = False
        return ""


def tempi_of(line: Line, usual: Fraction) -> Tempi:
    """The tempi of a line as printed. `usual` (beats a minute, of the metre's own beat) counts
    where no number is printed before the line or at its beginning; an upbeat begins at the
    number over the bar that follows."""
    usual *= beat_of(line).quarters
    reader = _Reader()
    for mark in line.tempos_before:
        reader.read(mark)
    marks = list(_marks(line))
    opening = _opening(line, marks)
    for _, mark in marks[:opening]:
        reader.read(mark)
    start = line.bars[0].onset if line.bars else Fraction(0)
    printed = reader.now is not None
    if reader.now is None:
        reader.now = reader.base = usual
        reader.first = reader.first or usual
    begun = reader.now
    points = [(start, begun)]
    changes: list[TempoChange] = []
    untold: list[OpenTempo] = []
    for bar, mark in marks[opening:]:
        unknown = reader.read(mark)
        now = reader.now
        assert now is not None
        if unknown:
            untold.append(OpenTempo(bar.index, mark.onset, mark.words.strip(), unknown == "bends", now))
        if now != points[-1][1]:
            points.append((bar.onset + mark.onset, now))
            changes.append(TempoChange(bar.index, bar.number, mark.onset, now))
    written = Pace(tuple(points))
    return Tempi(begun, printed, written, _played(line, written), tuple(changes), tuple(untold))


def beat_of(line: Line) -> Value:
    """What a line's metre is counted in: a half in 2/2 and 3/2, a dotted quarter in 6/8, else a
    quarter, also in 3/8 and the like."""
    meter = line.bars[0].meter if line.bars else Meter()
    names = {Fraction(2): Value("half"), Fraction(3, 2): Value("quarter", 1), Fraction(3): Value("half", 1)}
    return names.get(meter.beat, Value("quarter"))


def at_one_tempo(line: Line) -> Line:
    """The line without its tempo marks, to be counted at one tempo throughout."""
    return replace(line, bars=tuple(replace(b, tempos=()) if b.tempos else b for b in line.bars), tempos_before=())


def _marks(line: Line) -> Iterator[tuple[Bar, TempoMark]]:
    for bar in line.bars:
        for mark in sorted(bar.tempos, key=lambda m: m.onset):
            yield bar, mark


def _opening(line: Line, marks: list[tuple[Bar, TempoMark]]) -> int:
    """How many of the marks stand at the line's beginning."""
    count = sum(1 for bar, mark in marks if bar is line.bars[0] and not mark.onset)
    if count or line.tempos_before or len(line.bars) < 2 or not line.bars[0].missing:
        return count
    return sum(1 for bar, mark in marks if bar is line.bars[1] and not mark.onset)


def _played(line: Line, written: Pace) -> Pace:
    """The pace in played time, through repeats and endings."""
    points: list[tuple[Fraction, Fraction]] = []
    for each in played_bars(line):
        bar = each.bar
        for time, tempo in [(bar.onset, written.at(bar.onset)), *written.inside(bar.onset, bar.onset + bar.length)]:
            if not points or points[-1][1] != tempo:
                points.append((each.onset + time - bar.onset, tempo))
    return Pace(tuple(points)) if points else written
