"""Fingers marked to stay down or to carry a trill, and whether the hand can do it meanwhile."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from .fingering import Fingering, Placement, preset_costs
from .fingering_states import BACK, FORWARD, Stop, frame_cost, stops_of
from .impossible import Finding, describe
from .marks import Kind, Mark
from .moments import FREE
from .strings import open_strings, string_name


def findings(fingering: Fingering, marks: Iterable[Mark]) -> tuple[Finding, ...]:
    """Everything that can't be played as marked: of single moments, under held fingers, and
    fingers that leave none free for a trill."""
    return (*fingering.findings, *held_findings(fingering, marks), *trill_findings(fingering))


def trill_findings(fingering: Fingering) -> Iterator[Finding]:
    """Trilled notes marked with the fourth finger: no finger is left above it on the string."""
    opens = open_strings(fingering.instrument)
    for note in fingering.placements:
        moment = fingering.moments[note.moment]
        if not (moment.trill and note.finger == 4 and note.marked and len(moment.pitches) == 1):
            continue
        others = [s for s in stops_of(note.pitch, FREE, opens) if s.finger in (1, 2, 3) and not s.extension]
        if not others:
            continue
        best = min(others, key=lambda s: (abs(s.position - note.position), s.string != note.string, s.respelled))
        reason = f"above finger 4 no finger is left for the trill on {note.pitch.label}."
        where = fingering.where(note.address)
        yield Finding(note.address, where, reason, describe(best), stops=((note.address, best),))


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
