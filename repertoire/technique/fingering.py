"""Completing a fingering: what is marked is kept, the rest follows as one possible hand.

`complete` reads a written line with its marks, `complete_notes` a bare list. The result
says for every note its string, finger and position, whether it was marked or is implied,
and how much weight the choice has against its rivals. A mark that can't be played is
left out of the completion and reported with the nearest possible.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations
from typing import Final, Literal

from .fingering_costs import NO_LIMITS, PRESETS, Costs, Limits, Preset
from .fingering_paths import EMPTY, Engine, engine
from .fingering_states import Choice, Stop
from .line import Line
from .marks import Mark
from .moments import FREE, Moment, Wish, moments_of, wishes_of
from .pitch import Pitch
from .strings import STRING_LENGTH, distance, open_strings, position_label, string_name

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


@dataclass(frozen=True, slots=True)
class Finding:
    """A note or mark that can't be played as it stands: where, why, and the nearest possible."""

    address: str
    where: str
    reason: str
    nearest: str = ""

    @property
    def message(self) -> str:
        start = f"{self.where[:1].upper()}{self.where[1:]}: " if self.where else ""
        end = f" Nearest possible: {self.nearest}." if self.nearest else ""
        return f"{start}{self.reason}{end}"


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
    run = engine(instrument, preset_costs(preset), limits)
    string_length = length or STRING_LENGTH[instrument]
    placements: list[Placement] = []
    rivals: list[tuple[tuple[int, int, float], ...]] = [()] * len(moments)
    with run.lock:
        run.table.trim()
        playable, places, findings = _playable(moments, run, instrument, line)
        path = run.decode(playable, run.table.spans(playable)) if playable else EMPTY
        chosen = [run.table.choices[row] for row in path.rows]
    findings += _let_go(playable, chosen, line)
    for moment, place, choice, weight, others in zip(playable, places, chosen, path.weights, path.rivals, strict=True):
        if not moment.second_half:
            placements += _place(moment, place, choice, weight, string_length)
            rivals[place] = tuple((n // 5, n % 5, w) for n, w in others) if len(moment.pitches) == 1 else ()
        else:
            _leave(placements, moment, choice)
    return Fingering(
        instrument, string_length, preset, limits, tuple(moments), tuple(placements), tuple(rivals),
        tuple(findings), path.cost, line,
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


def _playable(
    moments: Sequence[Moment], run: Engine, instrument: str, line: Line | None
) -> tuple[list[Moment], list[int], list[Finding]]:
    """Moments as they can be played, their places in the passage, and what had to give way."""
    kept: list[Moment] = []
    places: list[int] = []
    findings: list[Finding] = []
    gone: set[str] = set()  # notes left out or let go, which sound under no later one
    for place, (moment, (_, rows)) in enumerate(zip(moments, run.table.spans(moments), strict=True)):
        if gone.intersection(moment.sustained):
            moment = _without(moment, gone)
            rows = run.table.spans([moment])[0][1]
        if not rows:
            found, possible = _without_sustained(moment, run, line) or _give_way(
                _without(moment, moment.sustained), run, instrument, line
            )
            findings.append(found)
            gone.update(set(moment.addresses).difference(possible.addresses if possible else ()))
            if possible is None:
                continue
            moment = possible
        kept.append(moment)
        places.append(place)
    return kept, places, findings


def _without(moment: Moment, gone: Iterable[str]) -> Moment:
    """The moment without some of the notes that sound into it."""
    kept = [n for n, address in enumerate(moment.addresses) if address not in gone]
    return replace(
        moment,
        addresses=tuple(moment.addresses[n] for n in kept),
        pitches=tuple(moment.pitches[n] for n in kept),
        wishes=tuple(moment.wishes[n] for n in kept),
        sustained=tuple(a for a in moment.sustained if a not in gone),
    )


def _without_sustained(moment: Moment, run: Engine, line: Line | None) -> tuple[Finding, Moment] | None:
    """A moment whose new notes can be played once a note that sounds into it is let go: what is
    let go, and the moment that is left."""
    for count in range(1, len(moment.sustained) + 1):
        for gone in combinations(moment.sustained, count):
            attempt = _without(moment, gone)
            if run.table.spans([attempt])[0][1]:
                new = next(a for a in moment.addresses if a not in moment.sustained)
                names = dict(zip(moment.addresses, moment.pitches, strict=True))
                held = " and ".join(names[a].label for a in gone)
                reason = f"{names[new].label} can’t be reached by one hand while {held} sounds."
                where = line.where(new) if line else ""
                return Finding(new, where, reason, f"let {held} go there"), attempt
    return None


def _let_go(moments: Sequence[Moment], chosen: Sequence[Choice], line: Line | None) -> list[Finding]:
    """Notes that should sound on but whose finger or string is taken from them."""
    out: list[Finding] = []
    for place in range(1, len(moments)):
        moment, before = moments[place], moments[place - 1]
        for address in moment.sustained:
            if address not in before.addresses:
                continue
            was = chosen[place - 1].stops[before.addresses.index(address)]
            now = chosen[place].stops[moment.addresses.index(address)]
            if (was.string, was.code) != (now.string, now.code):
                new = next(a for a in moment.addresses if a not in moment.sustained)
                label = moment.pitches[moment.addresses.index(new)].label
                held = moment.pitches[moment.addresses.index(address)].label
                reason = f"{label} can’t be reached while {describe(was)} holds {held}."
                out.append(Finding(new, line.where(new) if line else "", reason, f"let {held} go there"))
    return out


def describe(stop: Stop | Placement) -> str:
    """`finger 2 on II, 3rd position`, or `open III`."""
    if stop.finger == 0:
        return f"open {string_name(stop.string)}"
    return f"finger {stop.finger} on {string_name(stop.string)}, {position_label(stop.position)}"


def _give_way(moment: Moment, run: Engine, instrument: str, line: Line | None) -> tuple[Finding, Moment | None]:
    """What can't be played in a moment, and the nearest moment that can."""
    address = moment.addresses[0]
    where = line.where(address) if line else ""
    opens = open_strings(instrument)
    lowest = opens[-1]
    if all(p.midi < lowest.midi for p in moment.pitches):
        return Finding(address, where, f"{moment.pitches[-1].label} lies below the {instrument}’s lowest string."), None
    tries: list[Moment] = []
    if len(moment.pitches) == 1:
        wish = moment.wishes[0]
        for softer in (replace(wish, extension=None), replace(wish, string=None), replace(wish, finger=None), FREE):
            tries.append(replace(moment, wishes=(softer,)))
    else:
        tries.append(replace(moment, wishes=tuple(replace(w, finger=None) for w in moment.wishes)))
        tries.append(replace(moment, wishes=(FREE,) * len(moment.wishes)))
    for attempt in tries:
        if run.table.spans([attempt])[0][1]:
            start, _ = run.table.spans([attempt])[0]
            rows = run.table.features[start : start + run.table.spans([attempt])[0][1], 0]
            best = run.table.choices[start + int(rows.argmin())]
            nearest = "; ".join(
                f"{p.label} {describe(s)}" if len(best.stops) > 1 else describe(s)
                for p, s in zip(moment.pitches, best.stops, strict=True)
            )
            return Finding(address, where, _reason(moment, opens, instrument), nearest), attempt
    if len(moment.pitches) > 1:
        for drop in range(1, len(moment.pitches)):
            top = replace(
                moment, addresses=moment.addresses[drop:], pitches=moment.pitches[drop:], wishes=moment.wishes[drop:]
            )
            for attempt in (top, replace(top, wishes=(FREE,) * len(top.wishes))):
                if run.table.spans([attempt])[0][1]:
                    names = " and ".join(p.label for p in attempt.pitches)
                    return Finding(address, where, _reason(moment, opens, instrument), f"{names} without the rest"), (
                        attempt
                    )
    reason = f"{moment.pitches[-1].label} can’t be reached on the {instrument}."
    return Finding(address, where, reason), None


def _reason(moment: Moment, opens: Sequence[Pitch], instrument: str) -> str:
    """Why a moment can’t be played as marked."""
    if len(moment.pitches) > 1:
        names = ", ".join(p.label for p in moment.pitches)
        if len(moment.pitches) > 4:
            return f"{len(moment.pitches)} notes at once ({names}): there are four strings."
        below = [p for p in moment.pitches if p.midi < opens[-1].midi]
        if below:
            return f"{below[0].label} lies below the {instrument}’s lowest string."
        only = [p for p in moment.pitches if sum(p.midi >= o.midi for o in opens) == 1]
        if len(only) > 1:
            return f"{' and '.join(p.label for p in only)} both lie on string {string_name(4)} only."
        marked = any(w.marked for w in moment.wishes)
        return f"{names} together can’t be reached by one hand{' as marked' if marked else ' on neighbouring strings'}."
    return _reason_single(moment.pitches[0], moment.wishes[0], opens)


def _reason_single(pitch: Pitch, wish: Wish, opens: Sequence[Pitch]) -> str:
    if wish.string is not None:
        above = pitch.midi - opens[wish.string - 1].midi
        if above < 0:
            return f"{pitch.label} lies below string {string_name(wish.string)}."
        if wish.finger == 0:
            return f"{pitch.label} isn’t the open string {string_name(wish.string)}."
        if above == 0:
            return f"{pitch.label} on string {string_name(wish.string)} is the open string; no finger can stop it."
    if wish.finger == 0:
        return f"{pitch.label} isn’t an open string."
    if wish.extension is not None:
        which = "a fourth finger reaching forward" if wish.extension == 1 else "a first finger reaching back"
        return f"{pitch.label} can’t be taken by {which} there."
    return f"Finger {wish.finger} can’t take {pitch.label}: it would lie behind the nut."
