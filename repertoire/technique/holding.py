"""Fingers marked to stay down, and whether the notes under way can be reached meanwhile."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from .fingering import Fingering, Placement, preset_costs
from .fingering_states import BACK, FORWARD, Stop, frame_cost
from .impossible import Finding
from .marks import Kind, Mark
from .strings import string_name


def findings(fingering: Fingering, marks: Iterable[Mark]) -> tuple[Finding, ...]:
    """Everything that can't be played as marked: of single moments, and under held fingers."""
    return (*fingering.findings, *held_findings(fingering, marks))


def held_findings(fingering: Fingering, marks: Iterable[Mark]) -> Iterator[Finding]:
    """Notes that can't be reached while a marked finger stays down, each with the reason."""
    places = fingering.by_address
    for mark in marks:
        held = places.get(mark.at) if mark.kind is Kind.HOLD else None
        end = places.get(mark.to) if held is not None else None
        if held is None or end is None or not held.stopped:
            continue
        for note in fingering.placements:
            if held.moment < note.moment <= end.moment and note.address != mark.to:
                reason = _hinders(fingering, held, note)
                if reason:
                    nearest = f"lift finger {held.finger} before {note.pitch.label}"
                    yield Finding(note.address, fingering.where(note.address), reason, nearest, lifted=mark)
                    break


def _hinders(fingering: Fingering, held: Placement, note: Placement) -> str:
    """Why a note can't be played while a finger is held; "" when it can."""
    if not note.stopped:
        if note.string == held.string:
            return f"open {string_name(note.string)} can’t sound while finger {held.finger} holds {held.pitch.label}."
        return ""
    name, other = f"finger {held.finger}", held.pitch.label
    if note.string == held.string:
        if note.semitones < held.semitones:
            return f"{note.pitch.label} lies below {other} on one string; it can’t sound while {name} holds."
        if note.semitones > held.semitones and note.finger > held.finger and note.position == held.position:
            return ""
        if note.semitones == held.semitones and note.finger == held.finger:
            return ""
    elif note.finger == held.finger and note.semitones != held.semitones:
        return f"{note.pitch.label} needs {name}, which holds {other}."
    elif (
        note.position == held.position and frame_cost((_stop(held), _stop(note)), preset_costs("balanced")) is not None
    ):
        return ""
    if note.finger == held.finger and note.semitones == held.semitones:
        return ""
    return f"finger {note.finger} can’t reach {note.pitch.label} while {name} holds {other}."


def _stop(placement: Placement) -> Stop:
    code = {"forward": FORWARD, "back": BACK}.get(placement.extension, placement.finger)
    return Stop(placement.string, code, placement.letters, placement.semitones, placement.respelled)
