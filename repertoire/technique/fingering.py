"""Completing a fingering: what is marked is kept, the rest follows as one possible hand.

`complete` reads a written line with its marks, `complete_notes` a bare list. The result
says for every note its string, finger and position, whether it was marked or is implied,
and how much weight the choice has against its rivals. A mark that can't be played is
left out of the completion and reported with the nearest possible.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import Final, Literal

from .fingering_costs import NO_LIMITS, PRESETS, Costs, Limits, Preset
from .fingering_paths import EMPTY, engine
from .fingering_states import Choice
from .impossible import Finding, find_playable
from .line import Line
from .marks import Mark
from .moments import Moment, moments_of, wishes_of
from .pitch import Pitch
from .strings import STRING_LENGTH, distance, open_strings, string_name

FIRST_POSITION_REACH: Final = 7  # half steps above string I that a fourth finger stops in first position
Extension = Literal["", "forward", "back"]
_EXTENSIONS: Final[dict[int, Extension]] = {0: "", 1: "forward", -1: "back"}


class FingeringError(ValueError):
    """A passage that can't be fingered at all, or an unknown preset."""


@dataclass(frozen=True, slots=True)
class Placement:
    """Where one note is played. `finger` 0 is the open string; `position` is the hand's, also
    while an open string sounds; `distance_mm` from the nut. `marked`: a finger or string is
    written; otherwise it is implied. `weight` (0 to 1): how far the choice stands out.
    `leaves` is the finger that takes over in a substitution, with its position."""

    address: str
    pitch: Pitch
    string: int
    finger: int
    position: int
    extension: Extension
    letters: int
    semitones: int
    distance_mm: float
    marked: bool
    weight: float
    harmonic: str = ""
    respelled: bool = False
    moment: int = 0
    leaves: int | None = None
    leaves_position: int | None = None

    @property
    def is_open(self) -> bool:
        return self.finger == 0 and not self.harmonic

    @property
    def stopped(self) -> bool:
        return self.finger > 0

    @property
    def string_name(self) -> str:
        return string_name(self.string)


@dataclass(frozen=True)
class Fingering:
    """A whole left hand. `placements` in playing order, members of a chord from below;
    `rivals` lists for each moment its strongest (string, finger) choices with weights."""

    instrument: str
    length: float
    preset: str
    limits: Limits
    moments: tuple[Moment, ...]
    placements: tuple[Placement, ...]
    rivals: tuple[tuple[tuple[int, int, float], ...], ...]
    findings: tuple[Finding, ...]
    cost: float
    line: Line | None = None

    @cached_property
    def by_address(self) -> dict[str, Placement]:
        """Placements by the address of a note or chord member. Tied notes have their first note's,
        printed touched and sounding notes of a harmonic that of the stopped note."""
        found = {p.address: p for p in self.placements}
        for moment in self.moments:
            for address, first in (*moment.shown, *moment.tied):
                if first in found:
                    found[address] = found[first]
        return found

    @cached_property
    def groups(self) -> tuple[tuple[Placement, ...], ...]:
        """Placements that sound together, one tuple for each moment that can be played."""
        out: dict[int, list[Placement]] = {}
        for placement in self.placements:
            out.setdefault(placement.moment, []).append(placement)
        return tuple(tuple(group) for group in out.values())

    def where(self, address: str) -> str:
        """`bar 12, beat 2`, or the row of a bare list."""
        return self.line.where(address) if self.line else f"row {int(address[1:]) + 1}"


def preset_costs(preset: str) -> Costs:
    """The cost table of a preset. Raises FingeringError."""
    try:
        return PRESETS[preset]
    except KeyError:
        raise FingeringError(f"“{preset}” is not a character of fingering; choose from {', '.join(PRESETS)}.") from None


@lru_cache(maxsize=16)
def _table(preset: str, written: bool) -> Costs:
    costs = preset_costs(preset)
    return replace(costs, steadiness=costs.steady) if written else costs


def usual_preset(line: Line, instrument: str) -> Preset:
    """The character to begin with: music that never leaves the reach of first position, as
    in a player's first years, is fingered low and clear; everything else balanced. Give the
    whole part rather than a passage of it."""
    top = open_strings(instrument)[0].midi + FIRST_POSITION_REACH
    return "balanced" if any(pitch.midi > top for pitch in line.pitches) else "low and clear"


def read_as(preset: str, line: Line, marks: Iterable[Mark], instrument: str) -> str:
    """The character in which marks are completed: music that is usually low and clear is read
    balanced once what is written in it leaves first position."""
    if preset == "low and clear" and leaves_first_position(line, marks, instrument):
        return "balanced"
    return preset


def leaves_first_position(line: Line, marks: Iterable[Mark], instrument: str) -> bool:
    """Whether a written finger or string can't be taken in first position or below."""
    opens = open_strings(instrument)
    for address, wish in wishes_of(line, marks).items():
        if wish.finger == 0 or wish.harmonic or (wish.finger is None and wish.string is None):
            continue
        pitch = line.pitch(address)
        finger = wish.finger or 4
        places = [
            pitch.step - open_note.step - finger + 1 - (wish.extension or 0)
            for number, open_note in enumerate(opens, 1)
            if wish.string in (None, number) and pitch.midi >= open_note.midi
        ]
        if places and not any(place <= 1 for place in places):
            return True
    return False


def complete(
    line: Line,
    marks: Iterable[Mark] = (),
    instrument: str = "viola",
    *,
    preset: Preset | str = "balanced",
    limits: Limits = NO_LIMITS,
    tempo: float | None = None,
    length: float | None = None,
) -> Fingering:
    """A possible left hand for a line: marks honoured, the rest completed.

    `tempo` in quarter notes a minute, `length` the vibrating string length in mm (a
    full-size instrument when not given). Raises FingeringError, StringError.
    """
    moments = moments_of(line, marks, tempo)
    return complete_moments(moments, instrument, preset=preset, limits=limits, length=length, line=line)


def complete_moments(
    moments: Sequence[Moment],
    instrument: str,
    *,
    preset: Preset | str = "balanced",
    limits: Limits = NO_LIMITS,
    length: float | None = None,
    line: Line | None = None,
) -> Fingering:
    """As `complete`, from moments. Notes the instrument can't play are left out and reported."""
    run = engine(instrument, _table(preset, line is not None), limits)
    string_length = length or STRING_LENGTH[instrument]
    placements: list[Placement] = []
    rivals: list[tuple[tuple[int, int, float], ...]] = [()] * len(moments)
    with run.lock:
        run.table.trim()
        played = find_playable(moments, run, instrument, line)
        path = run.decode(played.moments, run.table.spans(played.moments)) if played.moments else EMPTY
        chosen = [run.table.choices[row] for row in path.rows]
        findings = played.settle(chosen, line)
    for moment, place, choice, weight, others in zip(
        played.moments, played.places, chosen, path.weights, path.rivals, strict=True
    ):
        if not moment.second_half:
            placements += _place(moment, place, choice, weight, string_length)
            rivals[place] = tuple((n // 5, n % 5, w) for n, w in others) if len(moment.pitches) == 1 else ()
        else:
            _leave(placements, moment, choice)
    return Fingering(
        instrument, string_length, preset, limits, tuple(moments), tuple(placements), tuple(rivals),
        findings, path.cost, line,
    )  # fmt: skip


def _place(moment: Moment, place: int, choice: Choice, weight: float, length: float) -> Iterable[Placement]:
    for address, pitch, wish, stop in zip(moment.addresses, moment.pitches, moment.wishes, choice.stops, strict=True):
        if address in moment.sustained:
            continue
        harmonic = wish.harmonic or ("natural" if stop.code == 0 and stop.semitones else "")
        yield Placement(
            address, pitch, stop.string, stop.finger, choice.position, _EXTENSIONS[stop.extension], stop.letters,
            stop.semitones, distance(stop.semitones, length), wish.finger is not None or wish.string is not None,
            weight, harmonic, stop.respelled, place,
        )  # fmt: skip


def _leave(placements: list[Placement], moment: Moment, choice: Choice) -> None:
    """Note the finger that takes over on the notes of a substitution."""
    stops = dict(zip(moment.addresses, choice.stops, strict=True))
    for index in range(len(placements) - 1, max(-1, len(placements) - 5), -1):
        stop = stops.get(placements[index].address)
        if stop is not None and stop.finger != placements[index].finger:
            placements[index] = replace(placements[index], leaves=stop.finger, leaves_position=choice.position)
