"""Possible fingerings side by side: of distinct character, each with facts and a trade-off.

Alternatives are whole coherent hands, one for each preset of character, kept only where
they differ enough from those before. A passage can be asked whether one string carries
it; the answer is “possible”, or the notes that forbid it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

from .fingering import Fingering, Placement, complete_moments
from .fingering_costs import NO_LIMITS, PRESET_WORDS, RULE_VERSION, Limits
from .fingering_selection import part_of
from .left_hand import shifts, stretches, without_vibrato
from .line import Line
from .marks import Mark
from .moments import Moment, moments_of
from .strings import HIGHEST_SEMITONES, open_string, position_label, string_name

ORDER: Final = ("balanced", "low and clear", "on one string", "expressive shifts")
_DIFFERENT: Final = 0.08  # share of notes, at least one
_NAMED: Final = 3  # forbidding notes named in the sentence; all are listed beside it
# The highest position of the hand that one plays in on each string, for a passage kept on it: an
# octave above the open string lies under the first finger in the 8th [C]. A player's own limit goes first.
PRACTICAL: Final = {1: 12, 2: 8, 3: 8, 4: 8}
_OPEN_BELOW: Final = 0.55  # weight under which a choice may be open
_ALMOST: Final = 0.8  # a rival with this share of the chosen weight is almost as likely


@dataclass(frozen=True, slots=True)
class Facts:
    """What a fingering asks for, in numbers."""

    shifts: int
    shifts_heard: int
    highest_position: int
    strings: tuple[str, ...]
    crossings: int
    open_strings: int
    stretches: int
    without_vibrato: int
    fourth_fingers: int


@dataclass(frozen=True)
class Alternative:
    """One possible fingering: its preset, a title, the fingering, its facts and trade-off. `whole`
    is the fingering with the notes around it, the same where all were asked for."""

    name: str
    title: str
    fingering: Fingering
    facts: Facts
    sentence: str
    whole: Fingering
    rule_version: str = RULE_VERSION


@dataclass(frozen=True)
class Restriction:
    """Whether one string carries the passage. `forbidding` holds (address, reason) pairs.
    `practical` is false where it can be done but leads above the highest position usually
    played on that string; `highest` is the note that leads there."""

    string: int
    possible: bool
    forbidding: tuple[tuple[str, str], ...]
    fingering: Fingering | None
    practical: bool = True
    highest: Placement | None = None

    @property
    def sentence(self) -> str:
        name = string_name(self.string)
        if self.possible:
            note = self.highest
            up_to = position_label(note.position if note else 1)
            if self.practical or note is None or self.fingering is None:
                return f"On string {name}: possible, up to {up_to}."
            where = self.fingering.where(note.address)
            return (
                f"On string {name}: possible in theory, not practical. {where[0].upper()}{where[1:]}: "
                f"{note.pitch.label} needs {up_to}; on this string one seldom plays above "
                f"{position_label(PRACTICAL[self.string])}."
            )
        shown = " ".join(reason for _, reason in self.forbidding[:_NAMED])
        rest = len(self.forbidding) - _NAMED
        more = f" {rest} more notes forbid it." if rest > 1 else " One more note forbids it." if rest == 1 else ""
        return f"On string {name}: not possible. {shown}{more}"


@dataclass(frozen=True, slots=True)
class OpenChoice:
    """A note where several ways are almost as likely: the addresses, and the ways in words."""

    address: str
    where: str
    sentence: str


def facts_of(fingering: Fingering) -> Facts:
    moves = shifts(fingering)
    stopped = [p for p in fingering.placements if p.stopped]
    used = sorted({p.string for p in fingering.placements})
    crossings = sum(
        not {p.string for p in before} & {p.string for p in after} for before, after in pairwise(fingering.groups)
    )
    return Facts(
        shifts=len(moves),
        shifts_heard=sum(s.heard for s in moves),
        highest_position=max((p.position for p in stopped), default=0),
        strings=tuple(string_name(s) for s in used),
        crossings=crossings,
        open_strings=sum(p.is_open for p in fingering.placements),
        stretches=sum(not s.narrow for s in stretches(fingering)),
        without_vibrato=len(without_vibrato(fingering)),
        fourth_fingers=sum(p.finger == 4 for p in stopped),
    )


def difference(one: Fingering, other: Fingering) -> float:
    """Share of notes with another string or finger."""
    pairs = list(zip(one.placements, other.placements, strict=False))
    changed = sum((a.string, a.finger) != (b.string, b.finger) for a, b in pairs)
    return changed / max(1, len(pairs))


def alternatives(
    line: Line,
    marks: Iterable[Mark] = (),
    instrument: str = "viola",
    *,
    count: int = 3,
    first: str = "balanced",
    limits: Limits = NO_LIMITS,
    tempo: float | None = None,
    length: float | None = None,
) -> tuple[Alternative, ...]:
    """At most `count` possible fingerings of distinct character, the preset `first` leading."""
    moments = moments_of(line, marks, tempo)
    return alternatives_of(moments, instrument, count=count, first=first, limits=limits, length=length, line=line)


def alternatives_of(
    moments: Sequence[Moment],
    instrument: str,
    *,
    count: int = 3,
    first: str = "balanced",
    limits: Limits = NO_LIMITS,
    length: float | None = None,
    line: Line | None = None,
    inside: frozenset[str] | None = None,
) -> tuple[Alternative, ...]:
    """As `alternatives`, from moments. `inside`: only these notes are asked for and counted; the
    others are the hand around them (see `fingering_selection.py`)."""
    wholes: list[Fingering] = []
    kept: list[Fingering] = []
    for preset in (first, *(p for p in ORDER if p != first)):
        if len(kept) == count:
            break
        whole = complete_moments(moments, instrument, preset=preset, limits=limits, length=length, line=line)
        found = whole if inside is None else part_of(whole, inside)
        enough = max(_DIFFERENT, 1 / max(1, len(found.placements)))
        if all(difference(found, other) >= enough for other in kept):
            kept.append(found)
            wholes.append(whole)
    facts = [facts_of(f) for f in kept]
    return tuple(
        Alternative(
            f.preset, PRESET_WORDS[f.preset], f, own, _trade_off(own, [o for o in facts if o is not own]), whole
        )
        for f, own, whole in zip(kept, facts, wholes, strict=True)
    )


def _trade_off(own: Facts, others: Sequence[Facts]) -> str:
    """What this fingering gains and what it asks for, against the others shown."""
    if not others:
        return "The only possibility of a distinct character within these limits."
    terms = (
        ("shift", "shifts", own.shifts, [o.shifts for o in others]),
        ("string crossing", "string crossings", own.crossings, [o.crossings for o in others]),
        ("open string", "open strings", own.open_strings, [o.open_strings for o in others]),
        ("stretch", "stretches", own.stretches, [o.stretches for o in others]),
    )
    gains, asks = [], []
    for one, many, value, rest in terms:
        if value < min(rest):
            gains.append(f"fewest {many} ({value})" if value else f"no {many}")
        elif value > max(rest):
            asks.append(f"{value} {one if value == 1 else many}")
    if own.highest_position < min(o.highest_position for o in others):
        gains.append(f"nothing above {position_label(own.highest_position)}")
    elif own.highest_position > max(o.highest_position for o in others):
        asks.append(f"the hand up to {position_label(own.highest_position)}")
    if own.without_vibrato == 0 and min(o.without_vibrato for o in others) > 0:
        gains.append("every note can be vibrated")
    if len(own.strings) < min(len(o.strings) for o in others):
        gains.append(f"one colour on {' and '.join(own.strings)}")
    if gains and asks:
        return f"{_sentence(gains)}; asks for {_join(asks)}."
    if gains:
        return f"{_sentence(gains)}."
    if asks:
        return f"Asks for {_join(asks)}."
    counted = [f"{value or 'no'} {one if value == 1 else many}" for one, many, value, _ in terms[:3]]
    return f"{_sentence(counted)}, up to {position_label(own.highest_position)}: between the others."


def _join(parts: Sequence[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def _sentence(parts: Sequence[str]) -> str:
    text = _join(parts)
    return text[0].upper() + text[1:]


def on_string(
    line: Line,
    marks: Iterable[Mark],
    string: int,
    instrument: str = "viola",
    *,
    limits: Limits = NO_LIMITS,
    tempo: float | None = None,
    length: float | None = None,
) -> Restriction:
    """Whether string 1 (I) to 4 carries the whole passage, within the limits."""
    moments = moments_of(line, marks, tempo)
    open_note = open_string(instrument, string)
    name = string_name(string)
    forbidding: list[tuple[str, str]] = []
    for moment in moments:
        where = line.where(moment.addresses[0])
        where = where[0].upper() + where[1:]
        if len(moment.pitches) > 1:
            forbidding.append((moment.addresses[0], f"{where}: a double stop needs two strings."))
            continue
        pitch, wish, address = moment.pitches[0], moment.wishes[0], moment.addresses[0]
        above = pitch.midi - open_note.midi
        if above < 0:
            forbidding.append((address, f"{where}: {pitch.label} lies below string {name}."))
        elif above > HIGHEST_SEMITONES:
            forbidding.append((address, f"{where}: {pitch.label} lies beyond the fingerboard on string {name}."))
        elif wish.string not in (None, string):
            forbidding.append(
                (address, f"{where}: {pitch.label} is marked for string {string_name(wish.string or 1)}.")
            )
        elif wish.finger == 0 and above:
            forbidding.append((address, f"{where}: {pitch.label} is marked as an open string."))
    if forbidding:
        return Restriction(string, False, tuple(forbidding), None)
    held = tuple(replace(m, wishes=tuple(replace(w, string=string) for w in m.wishes)) for m in moments)
    found = complete_moments(held, instrument, preset="on one string", limits=limits, length=length, line=line)
    over = tuple(
        (
            p.address,
            f"{_where(line, p)}: {p.pitch.label} needs {position_label(p.position)}, beyond this player’s limit.",
        )
        for p in found.placements
        if p.stopped and limits.position_cost(p.position)
    )
    if over:
        return Restriction(string, False, over, None)
    highest = max((p for p in found.placements if p.stopped), key=lambda p: p.position, default=None)
    most = limits.highest if limits.highest is not None else PRACTICAL[string]
    practical = highest is None or highest.position <= most
    return Restriction(string, True, (), found, practical, highest)


def _where(line: Line, placement: Placement) -> str:
    where = line.where(placement.address)
    return where[0].upper() + where[1:]


def open_choices(fingering: Fingering) -> tuple[OpenChoice, ...]:
    """Notes where another string or finger is almost as likely, in words; marked notes never."""
    out = []
    for placement in fingering.placements:
        rivals = fingering.rivals[placement.moment]
        if placement.marked or placement.weight >= _OPEN_BELOW or len(rivals) < 2:
            continue
        ways = [
            (s, f, w) for s, f, w in rivals if (s, f) == (placement.string, placement.finger) or
            w >= _ALMOST * placement.weight
        ]  # fmt: skip
        if len(ways) < 2:
            continue
        names = [f"{f} on {string_name(s)}" if f else f"open {string_name(s)}" for s, f, _ in ways]
        where = fingering.where(placement.address)
        sentence = f"{placement.pitch.label}: {' or '.join(names)}, almost as likely."
        out.append(OpenChoice(placement.address, where, sentence))
    return tuple(out)
