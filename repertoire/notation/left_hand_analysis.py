"""The left hand as plain numbers and words, for scripts and checks.

Every note gets its string (1 is I, the highest), finger (0 is open), position, extension,
whether it was marked, the weight of the choice and its distance from the nut; shifts come
with both guide notes; alternatives with their facts and three lists.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict
from typing import Any

from repertoire.technique.fingering import Fingering, complete, read_as, usual_preset
from repertoire.technique.fingering_alternatives import Alternative, alternatives, open_choices
from repertoire.technique.fingering_costs import NO_LIMITS, Limits
from repertoire.technique.holding import findings
from repertoire.technique.impossible import Finding
from repertoire.technique.left_hand import Guide, Shift, shifts
from repertoire.technique.line import Line
from repertoire.technique.marks import Mark
from repertoire.technique.strings import open_strings

_NOTHING: dict[str, Any] = dict.fromkeys(
    ("string", "finger", "position", "extension", "marked", "weight", "distance_mm"), None
)


def describe_note(fingering: Fingering, address: str) -> dict[str, Any]:
    """The left hand at a note or chord member; every value is None where it can't be played."""
    found = fingering.by_address.get(address)
    if found is None:
        return dict(_NOTHING)
    return {
        "string": found.string,
        "finger": found.finger,
        "position": found.position,
        "extension": found.extension or None,
        "marked": found.marked,
        "weight": round(found.weight, 4),
        "distance_mm": round(found.distance_mm, 1),
    }


def _describe_guide(guide: Guide | None) -> dict[str, Any] | None:
    if guide is None:
        return None
    return {
        "pitch": guide.pitch.name,
        "midi": guide.pitch.midi,
        "string": guide.string,
        "finger": guide.finger,
        "position": guide.position,
    }


def describe_shift(fingering: Fingering, shift: Shift) -> dict[str, Any]:
    """One shift with both guide notes."""
    return {
        "from": shift.start.address,
        "to": shift.end.address,
        "where": fingering.where(shift.end.address),
        "from_position": shift.end.position - shift.positions,
        "to_position": shift.end.position,
        "positions": shift.positions,
        "mm": round(shift.mm, 1),
        "from_finger": shift.start.leaves if shift.start.leaves is not None else shift.start.finger,
        "to_finger": shift.end.finger,
        "hidden": shift.hidden or None,
        "heard_in_slur": shift.heard,
        "guide_starting": _describe_guide(shift.starting),
        "guide_arriving": _describe_guide(shift.arriving),
        "words": shift.sentence,
    }


def describe_finding(fingering: Fingering, finding: Finding) -> dict[str, Any]:
    """A note or mark that can't be played as it stands."""
    out: dict[str, Any] = {"address": finding.address}
    if fingering.line is not None:
        event = fingering.line.event(finding.address)
        bar = fingering.line.bar(event.bar)
        out |= {"bar": bar.number, "beat": float(bar.beat(event.onset))}
    return out | {"kind": "left hand", "message": finding.message}


def describe_alternative(alternative: Alternative, addresses: Sequence[str]) -> dict[str, Any]:
    """An alternative: name, facts, trade-off, and string, finger and position note by note."""
    placed = [alternative.fingering.by_address.get(address) for address in addresses]
    return {
        "name": alternative.name,
        "title": alternative.title,
        "facts": asdict(alternative.facts),
        "trade_off": alternative.sentence,
        "rule_version": alternative.rule_version,
        "string": [p and p.string for p in placed],
        "finger": [p and p.finger for p in placed],
        "position": [p and p.position for p in placed],
    }


def instrument_of(line: Line) -> str:
    """The line's instrument; when the part doesn't say, the one whose strings its lowest note needs."""
    if line.instrument in ("violin", "viola"):
        return line.instrument
    lowest = min((pitch.midi for pitch in line.pitches), default=60)
    return "viola" if lowest < open_strings("violin")[-1].midi else "violin"


def analyse_left_hand(
    line: Line,
    marks: Iterable[Mark],
    instrument: str = "viola",
    *,
    preset: str | None = None,
    count: int = 3,
    tempo: float | None = None,
    limits: Limits = NO_LIMITS,
    length: float | None = None,
) -> dict[str, Any]:
    """The left hand of a line: `notes` by address of note or chord member, `shifts`,
    `findings`, `open_choices` and, when `count` is above 0, `alternatives` whose lists
    follow the order of `addresses`. Without a preset the usual one of the line is taken."""
    marks = tuple(marks)
    preset = preset or read_as(usual_preset(line, instrument), line, marks, instrument)
    fingering = complete(line, marks, instrument, preset=preset, limits=limits, tempo=tempo, length=length)
    addresses = [member for event in line.notes if not event.cue for member in event.members]
    out: dict[str, Any] = {
        "addresses": addresses,
        "notes": {address: describe_note(fingering, address) for address in addresses},
        "shifts": [describe_shift(fingering, shift) for shift in shifts(fingering)],
        "findings": [describe_finding(fingering, finding) for finding in findings(fingering, marks)],
        "open_choices": [asdict(choice) for choice in open_choices(fingering)],
    }
    if count:
        found = alternatives(
            line, marks, instrument, count=count, first=preset, limits=limits, tempo=tempo, length=length
        )
        out["alternatives"] = [describe_alternative(a, addresses) for a in found]
    return out
