"""The kinds of practice stave by name, each with what it takes: the table steps are made from.

A recipe names a kind and its parameters, all plain values, so that it can be stored and the
same stave made again. Parameters that are not given have their usual value.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from . import building, open_strings, practice_staves, repeated, rhythms, shift_staves, slow, warm_up
from .fingering import Fingering
from .line import ADDRESS, Line
from .marks import Marks
from .ornaments import USUAL_TEMPO
from .practice_staves import Stave, StaveError

Make = Callable[[Line, Marks, Fingering, Mapping[str, Any]], Stave]
Check = Callable[[Any], bool]


def _one_of(*values: Any) -> Check:
    return lambda value: value in values


def _number(low: int, high: int) -> Check:
    return lambda value: isinstance(value, int) and not isinstance(value, bool) and low <= value <= high


def _address(value: Any) -> bool:
    return isinstance(value, str) and bool(ADDRESS.match(value))


_TEMPO: Final = {"tempo": _number(10, 640)}  # quarter notes a minute
_WAY: Final = {"way": _one_of("starting", "arriving")}


@dataclass(frozen=True)
class Kind:
    """A kind of stave: its name for the teacher, how it is made, and what it takes."""

    title: str
    make: Make
    takes: Mapping[str, Check]


def _trill(line: Line, marks: Marks, fingering: Fingering, p: Mapping[str, Any]) -> Stave:
    return practice_staves.with_trills(
        line, marks, fingering, start=p.get("start"), close=p.get("close"), count=p.get("count"),
        tempo=p.get("tempo", USUAL_TEMPO),
    )  # fmt: skip


def _turn(line: Line, marks: Marks, fingering: Fingering, p: Mapping[str, Any]) -> Stave:
    return practice_staves.with_turns(line, marks, fingering, tempo=p.get("tempo", USUAL_TEMPO))


def _mordent(line: Line, marks: Marks, fingering: Fingering, p: Mapping[str, Any]) -> Stave:
    return practice_staves.with_mordents(line, marks, fingering, tempo=p.get("tempo", USUAL_TEMPO))


KINDS: Final[Mapping[str, Kind]] = {
    "as marked": Kind("the bars as marked", lambda line, marks, f, p: practice_staves.as_marked(line, marks), {}),
    "bare": Kind("without the ornaments", lambda line, marks, f, p: practice_staves.bare(line, marks), {}),
    "turn": Kind("with the turn written out", _turn, _TEMPO),
    "mordent": Kind("with the mordent written out", _mordent, _TEMPO),
    "trill": Kind(
        "with the trill written out", _trill,
        {
            **_TEMPO, "start": _one_of("upper", "main"), "close": _one_of(True, False), "count": _number(2, 64),
        },
    ),
    "slow": Kind(
        "slow and slurred",
        lambda line, marks, f, p: slow.slow(line, marks, f, slurs=p.get("slurs", "bar")),
        {"slurs": _one_of("bar", "beat", "as marked")},
    ),
    "right hand": Kind(
        "right hand alone, on open strings", lambda line, marks, f, p: open_strings.right_hand(line, marks, f), {}
    ),
    "shift": Kind(
        "one shift alone",
        lambda line, marks, f, p: shift_staves.one_shift(
            line, f, p["at"], way=p.get("way", "starting"), both=p.get("both", True)
        ),
        {"at": _address, **_WAY, "both": _one_of(True, False)},
    ),
    "shifts": Kind(
        "all shifts in a row",
        lambda line, marks, f, p: shift_staves.all_shifts(line, f, way=p.get("way", "starting")),
        _WAY,
    ),
    "half step": Kind(
        "a half step with one finger and with two",
        lambda line, marks, f, p: shift_staves.slide_or_two_fingers(line, f, p["at"]),
        {"at": _address},
    ),
    "stretch": Kind(
        "a stretch", lambda line, marks, f, p: shift_staves.stretch(line, f, p["at"], p["to"]),
        {"at": _address, "to": _address},
    ),
    "keep down": Kind(
        "a finger kept down", lambda line, marks, f, p: shift_staves.keep_down(line, f, p["at"]), {"at": _address}
    ),
    "tuning": Kind(
        "double stops with an open string, for tuning", lambda line, marks, f, p: shift_staves.tuning(line, f), {}
    ),
    "stop before the shift": Kind(
        "a stop before each shift", lambda line, marks, f, p: building.stop_before_shifts(line, marks, f), {}
    ),
    "rhythm": Kind(
        "in another rhythm",
        lambda line, marks, f, p: rhythms.in_rhythm(line, marks, p.get("pattern", "dotted")),
        {"pattern": _one_of(*rhythms.PATTERNS)},
    ),
    "accents": Kind(
        "the accent moved",
        lambda line, marks, f, p: rhythms.accents_moved(line, marks, p.get("place", 2), p.get("size", 4)),
        {"place": _number(1, 8), "size": _number(2, 8)},
    ),
    "note by note": Kind(
        "added note by note", lambda line, marks, f, p: building.note_by_note(line, marks), {}
    ),
    "from the end": Kind(
        "from the end backwards", lambda line, marks, f, p: building.from_the_end(line, marks), {}
    ),
    "shape": Kind(
        "what is repeated, shaped",
        lambda line, marks, f, p: repeated.shaped(line, marks, p.get("shape", "rise and fall")),
        {"shape": _one_of(*repeated.SHAPES)},
    ),
    "warm-up": Kind(
        "scale and arpeggio of its key",
        lambda line, marks, f, p: warm_up.warm_up(line, f, position=p.get("position")),
        {"position": _number(0, 12)},
    ),
    "another part": Kind(
        "with another part above it", lambda line, marks, f, p: practice_staves.to_join(line, marks),
        {"part": _number(1, 99)},
    ),
    "pizzicato": Kind("pizzicato", lambda line, marks, f, p: practice_staves.pizzicato(line, marks), {}),
}  # fmt: skip


def check(kind: str, given: Mapping[str, Any]) -> None:
    """Raises StaveError for a kind that isn't known or a parameter it doesn't take."""
    found = KINDS.get(kind)
    if found is None:
        raise StaveError(f"“{kind}” is not a kind of practice stave.")
    for name, value in given.items():
        if name not in found.takes or not found.takes[name](value):
            raise StaveError(f"“{name}: {value}” doesn’t suit a stave “{found.title}”.")
    missing = [name for name in ("at", "to") if name in found.takes and name not in given]
    if missing:
        raise StaveError(f"A stave “{found.title}” needs the note it is about.")


def suited(kind: str, given: Mapping[str, Any]) -> dict[str, Any]:
    """Those of the parameters that a kind takes."""
    takes = KINDS[kind].takes if kind in KINDS else {}
    return {name: value for name, value in given.items() if name in takes}


def make(kind: str, line: Line, marks: Marks, fingering: Fingering, given: Mapping[str, Any]) -> Stave:
    """The stave of a recipe. Tempo marks of the part are left out: a step has its own tempo.

    Raises StaveError where the passage gives no ground for it.
    """
    check(kind, given)
    made = KINDS[kind].make(line, marks, fingering, given)
    bars = tuple(replace(bar, tempos=(), rehearsal="", jump="") for bar in made.line.bars)
    return replace(made, line=replace(made.line, bars=bars))
