"""Runs of equal notes in other rhythms, and with the accent moved: to even out fingers and bow.

A run lies within a bar. Its notes are taken in groups that fit the beat and each group keeps
its length, so that the bars add up; what is left over stays as it is. Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from .line import Event, Line, Value
from .marks import Kind, Mark, Marks
from .note_values import value_of
from .practice_staves import Stave, StaveError
from .rewriting import Note, rewrite

LEAST: Final = 4
F = Fraction


@dataclass(frozen=True, slots=True)
class Pattern:
    """Shares of one note's length for each note of a group; `triplet` for those written as one."""

    shares: tuple[Fraction, ...]
    words: str
    triplet: tuple[bool, ...] = ()

    @property
    def size(self) -> int:
        return len(self.shares)


PATTERNS: Final[Mapping[str, Pattern]] = {
    "dotted": Pattern((F(3, 2), F(1, 2)), "In dotted rhythm: long–short."),
    "reversed": Pattern((F(1, 2), F(3, 2)), "In reversed dotted rhythm: short–long."),
    "long short": Pattern((F(4, 3), F(2, 3)), "Long–short, two to one.", (True, True)),
    "short long": Pattern((F(2, 3), F(4, 3)), "Short–long, one to two.", (True, True)),
    "threes, first long": Pattern((F(2), F(1, 2), F(1, 2)), "In threes, the first long."),
    "threes, last long": Pattern((F(1, 2), F(1, 2), F(2)), "In threes, the last long."),
    "fours, first long": Pattern(
        (F(2), F(2, 3), F(2, 3), F(2, 3)), "In fours, the first long.", (False, True, True, True)
    ),
    "fours, last long": Pattern(
        (F(2, 3), F(2, 3), F(2, 3), F(2)), "In fours, the last long.", (True, True, True, False)
    ),
}


@dataclass(frozen=True, slots=True)
class Run:
    """Equal notes in a row in one bar; `length` of each in quarter notes."""

    events: tuple[Event, ...]
    length: Fraction

    @property
    def bar(self) -> int:
        return self.events[0].bar


def runs(line: Line, least: int = LEAST) -> tuple[Run, ...]:
    """Runs of at least so many equal notes, without rests, ties or tremolo, one voice at a time."""
    out: list[Run] = []
    for bar in line.bars:
        here = [e for e in line.in_bar(bar.index) if not e.grace]
        for voice in sorted({e.voice for e in here}):
            row: list[Event] = []
            for event in (*(e for e in here if e.voice == voice), None):
                plain = event is not None and event.pitches and not (any(event.tied_to) or any(event.tied_from))
                plain = plain and event is not None and not event.tremolo
                if row and (not plain or event is None or event.value != row[-1].value or event.onset != row[-1].end):
                    if len(row) >= least:
                        out.append(Run(tuple(row), row[0].duration))
                    row = []
                if plain and event is not None:
                    row.append(event)
    return tuple(out)


def groups(line: Line, run: Run, size: int) -> tuple[tuple[Event, ...], ...]:
    """The notes of a run in groups that begin where the beat lets them; none when they don't fit it."""
    bar = line.bar(run.bar)
    whole, beat = run.length * size, bar.meter.beat
    if (whole % beat and beat % whole) or bar.meter.length % whole:
        return ()
    out = []
    place = 0
    while place + size <= len(run.events):
        if (bar.missing + run.events[place].onset) % whole:
            place += 1
            continue
        out.append(run.events[place : place + size])
        place += size
    return tuple(out)


def suits(line: Line, name: str) -> bool:
    """Whether a rhythm has a group to stand on in a line."""
    pattern = PATTERNS[name]
    return any(groups(line, run, pattern.size) and _written(run.events[0], pattern) for run in runs(line))


def _written(event: Event, pattern: Pattern) -> tuple[tuple[Fraction, Value], ...] | None:
    """Lengths and values of a group's notes; None where they can't be written."""
    tuplet = event.value.tuplet
    if pattern.triplet and tuplet is not None:
        return None
    out = []
    for place, share in enumerate(pattern.shares):
        length = event.duration * share
        ratio = (3, 2) if pattern.triplet and pattern.triplet[place] else tuplet
        value = value_of(length, ratio)
        if value is None:
            return None
        out.append((length, value))
    return tuple(out)


def in_rhythm(line: Line, marks: Marks, name: str) -> Stave:
    """The runs of a line in another rhythm; everything else stays. Raises StaveError."""
    pattern = PATTERNS[name]
    new: dict[str, Note] = {}
    moved: dict[str, Fraction] = {}
    for run in runs(line):
        for group in groups(line, run, pattern.size):
            written = _written(group[0], pattern)
            if written is None:
                continue
            ends = _triplet_ends(pattern)
            onset = group[0].onset
            for place, (event, (length, value)) in enumerate(zip(group, written, strict=True)):
                own = ends[place] if pattern.triplet else _kept_ends(group, place)
                new[event.address] = Note(event.pitches, length, value, tuplet_ends=own)
                moved[event.address] = onset
                onset += length
    if not new:
        raise StaveError(f"There is no run of equal notes that takes the rhythm “{name}”.")
    made = rewrite(line, lambda e: [new[e.address]] if e.address in new else None, onsets=moved)
    return Stave(made.line, made.carry(marks, lambda m: m.kind is not Kind.ORNAMENT), pattern.words)


def _kept_ends(group: tuple[Event, ...], place: int) -> tuple[str, ...]:
    return group[place].tuplet_ends


def _triplet_ends(pattern: Pattern) -> list[tuple[str, ...]]:
    """Where the bracket of a triplet starts and stops within a group."""
    inside = [place for place, is_triplet in enumerate(pattern.triplet) if is_triplet]
    out: list[tuple[str, ...]] = [()] * pattern.size
    if inside:
        out[inside[0]] = ("start",)
        out[inside[-1]] = (*out[inside[-1]], "stop") if inside[0] == inside[-1] else ("stop",)
    return out


def accents_moved(line: Line, marks: Marks, place: int, size: int = 4) -> Stave:
    """An accent on the `place`-th note (from 1) of every group of a run, and no other. Raises StaveError."""
    if not 1 <= place <= size:
        raise StaveError(f"In groups of {size} an accent falls on the 1st to the {size}th note.")
    chosen: list[str] = []
    inside: set[str] = set()
    for run in runs(line):
        for group in groups(line, run, size):
            chosen.append(group[place - 1].address)
            inside.update(e.address for e in group)
    if not chosen:
        raise StaveError(f"There is no run of equal notes in groups of {size}.")
    heavy = ("accent", "marcato", "soft accent")
    kept = {m for m in marks if not (m.kind is Kind.ARTICULATION and m.value in heavy and m.at in inside)}
    kept |= {Mark(Kind.ARTICULATION, address, "accent") for address in chosen}
    ordinal = {1: "first", 2: "second", 3: "third", 4: "fourth"}.get(place, f"{place}th")
    return Stave(line, tuple(sorted(kept)), f"The accent on the {ordinal} note of each group of {size}.")
