"""A part's bow as plain numbers and words, for scripts and checks.

Numbers are plain decimals, `bar` is the printed number as text, and what is unknown or
pizzicato is null. Notes stand in written order, one entry for every member of a chord, with
the places of their first pass; strokes stand in playing order, each with its pass. Where the
left hand adds its fields is marked in `analyse_line`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from fractions import Fraction
from typing import Any

from repertoire.technique.bow_facts import limit_findings
from repertoire.technique.bow_place import Placed, place_as_marked
from repertoire.technique.bow_planning import COSTS, PlanCosts, place_planned
from repertoire.technique.bowing import BOW, Bowing, BowSettings, read_strokes
from repertoire.technique.line import Event, Line
from repertoire.technique.marks import Kind, Marks
from repertoire.technique.strokes import Finding
from repertoire.technique.tempi import at_one_tempo

Numbers = dict[str, Any]
LeftHand = Callable[[Line, Marks], Mapping[str, Any]]


def analyse_line(
    line: Line,
    marks: Marks,
    *,
    movement: int = 1,
    tempo: float | None = None,
    settings: BowSettings = BOW,
    costs: PlanCosts = COSTS,
    left_hand: LeftHand | None = None,
) -> Numbers:
    """`notes`, `strokes` and `findings` of a line with its marks.

    `tempo`, in quarters a minute, counts throughout; without it the tempo marks are followed
    (see `technique/tempi.py`), from the settings' tempo where none has a number. `left_hand`
    gives what the left hand adds: `notes` (by address of note or chord member), `findings`, and
    lists of its own such as `shifts`.
    """
    bowing = read_strokes(at_one_tempo(line) if tempo else line, marks, settings, tempo)
    marked = place_as_marked(bowing)
    planned = place_planned(bowing, costs=costs)
    findings = [*bowing.findings, *marked.findings, *planned.findings, *limit_findings(bowing, planned)]
    open_ends = {m.at.partition("p")[0] for m in marks if m.kind is Kind.FERMATA}
    out: Numbers = {
        "notes": [
            note
            for event in line.notes
            if not event.cue
            for note in _notes(event, bowing, marked, planned, event.address in open_ends)
        ],
        "strokes": [_stroke(bowing, marked, planned, number) for number in range(1, len(bowing.strokes) + 1)],
        "findings": [_finding(f) for f in sorted(set(findings), key=lambda f: (line.order(f.address), f.kind))],
    }
    # --- the left hand joins here: its fields of each note, its findings, its own lists ---
    if left_hand is not None:
        hand = left_hand(line, marks)
        for note in out["notes"]:
            note |= hand["notes"].get(note["address"], {})
        out["findings"] += hand.get("findings", [])
        out |= {key: value for key, value in hand.items() if key not in ("notes", "findings", "addresses")}
    return in_movement(out, movement)


def in_movement(found: Numbers, movement: int) -> Numbers:
    """The same with the movement's number at the head of every entry."""
    return {
        key: [{"movement": movement, **entry} if isinstance(entry, dict) else entry for entry in entries]
        for key, entries in found.items()
    }


def join_movements(found: list[Numbers]) -> Numbers:
    """Movements one after the other in one object."""
    out: Numbers = {"notes": [], "strokes": [], "findings": []}
    for movement in found:
        for key, entries in movement.items():
            out[key] = [*out.get(key, []), *entries]
    return out


def _number(value: Fraction | float | None, digits: int = 6) -> float | None:
    return None if value is None else round(float(value), digits)


def _seconds(event: Event, bowing: Bowing) -> Fraction:
    begin = bowing.line.time(event)
    return bowing.tempi.written.between(begin, begin + event.duration)


def _notes(event: Event, bowing: Bowing, marked: Placed, planned: Placed, is_open: bool) -> list[Numbers]:
    line = bowing.line
    bar = line.bar(event.bar)
    stroke = bowing.stroke_at(event.address)
    here, plan = marked.note(event.address), planned.note(event.address)
    common = {
        "onset": _number(line.time(event)),
        "duration": _number(event.duration),
        "seconds": None if is_open else _number(_seconds(event, bowing)),
        "stroke": stroke.number if stroke else None,
        "direction": str(stroke.direction) if stroke else None,
        "place_start": _number(here.start) if here else None,
        "place_end": _number(here.end) if here else None,
        "planned_start": _number(plan.start) if plan else None,
        "planned_end": _number(plan.end) if plan else None,
        "speed_mm_s": _number(here.speed, 1) if here else None,
        "planned_speed_mm_s": _number(plan.speed, 1) if plan else None,
    }
    head = {"bar": bar.number, "beat": _number(bar.beat(event.onset))}
    return [
        {"address": event.member(place), **head, "pitch": pitch.name, "midi": pitch.midi, **common}
        for place, pitch in enumerate(event.pitches, start=1)
    ]


def _stroke(bowing: Bowing, marked: Placed, planned: Placed, number: int) -> Numbers:
    stroke, place, plan = bowing.strokes[number - 1], marked.stroke(number), planned.stroke(number)
    return {
        "number": number,
        "direction": str(stroke.direction),
        "marked": stroke.marked,
        "kind": str(stroke.kind),
        "first": stroke.first,
        "last": stroke.last,
        "beats": _number(stroke.beats),
        "seconds": _number(stroke.seconds),
        "speed_mm_s": _number(place.speed, 1),
        "planned_speed_mm_s": _number(plan.speed, 1),
        "retake": stroke.retake or None,
        "pass": stroke.pass_number,
        "why": stroke.why,
    }


def _finding(found: Finding) -> Numbers:
    return {
        "address": found.address,
        "bar": found.bar,
        "beat": _number(found.beat),
        "kind": str(found.kind),
        "message": found.message,
    }
