"""Ornaments as they are heard when a line is played: the notes each sign stands for, by the note it stands on.

The rules are those of technique/ornaments.py. What can't be written out (a sign on a chord, on
a tied note, on one too short for it) is left to the plain note.
"""

from __future__ import annotations

from repertoire.technique.keys import key_of
from repertoire.technique.line import Line, event_address
from repertoire.technique.marks import Kind, Marks
from repertoire.technique.ornaments import USUAL_TEMPO, OrnamentError, Sounding, ornament_of


def written_out(line: Line, marks: Marks, tempo: float = USUAL_TEMPO) -> dict[str, tuple[Sounding, ...]]:
    """Notes in the place of each ornamented event, by its address; they last exactly as long as it.

    `tempo` in quarter notes a minute decides how many notes a trill has.
    """
    out: dict[str, tuple[Sounding, ...]] = {}
    for mark in marks:
        if mark.kind is not Kind.ORNAMENT or mark.at not in line:
            continue
        event = line.event(event_address(mark.at))
        if any(event.tied_from) or any(event.tied_to) or event.tremolo:
            continue
        try:
            out[event.address] = ornament_of(line, event, mark, key_of(line, event.bar), tempo=tempo)
        except OrnamentError:
            continue
    return out
