"""Practice staves: real excerpts made from a passage and its marking, to work at one thing at a time.

A stave is a line with the marks that still make sense on it, and words that say what to do.
The kinds stand in modules by subject (the ornament's stages here); each is a pure function.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Final

from .fingering import Fingering
from .keys import key_of
from .line import Event, Line, event_address
from .marks import Aspect, Kind, Mark, Marks
from .ornaments import USUAL_TEMPO, OrnamentError, Sounding, Start, ornament_of
from .rewriting import Note, rewrite

TURNS: Final = frozenset(("turn", "inverted turn", "delayed turn"))
TRILLS: Final = frozenset(("trill", "shake"))
MORDENTS: Final = frozenset(("mordent", "inverted mordent"))
_NOT_PLUCKED: Final = frozenset((Kind.PIZZICATO, Kind.ORNAMENT, Kind.VIBRATO))
_PLUCKED: Final = ("accent", "marcato", "breath", "arpeggio")


class StaveError(ValueError):
    """A practice stave this passage gives no ground for; the message says why."""


@dataclass(frozen=True)
class Stave:
    """A practice stave. `words` is the step in words, `remarks` more to know about it. `cue` is
    another part to stand above it as a small staff, with its name; `crossings` tells that its notes are
    open strings, whose crossings are drawn under it."""

    line: Line
    marks: Marks
    words: str
    remarks: tuple[str, ...] = ()
    cue: Line | None = None
    cue_name: str = ""
    crossings: bool = False


def bars_words(line: Line) -> str:
    """`bar 5` or `bars 5–8`, with the printed numbers."""
    first, last = line.bars[0].number, line.bars[-1].number
    return f"bar {first}" if first == last else f"bars {first}–{last}"


def ornaments_in(line: Line, marks: Iterable[Mark], kinds: frozenset[str]) -> Marks:
    return tuple(m for m in marks if m.kind is Kind.ORNAMENT and m.value in kinds and m.at in line)


def bare(line: Line, marks: Marks) -> Stave:
    """Without ornaments and grace notes. Raises StaveError when there are none."""
    graces = any(e.grace for e in line.events)
    if not graces and not any(m.kind is Kind.ORNAMENT for m in marks):
        raise StaveError("There is no ornament or grace note to leave out.")
    made = rewrite(line, lambda event: () if event.grace else None)
    kept = made.carry(marks, lambda m: m.kind is not Kind.ORNAMENT)
    signs = any(m.kind is Kind.ORNAMENT for m in marks)
    return Stave(made.line, kept, "Without the ornaments." if signs else "Without the grace notes.")


def with_turns(line: Line, marks: Marks, fingering: Fingering | None = None, *, tempo: float = USUAL_TEMPO) -> Stave:
    """The turns written out, trills left bare; where there are only trills, a turn in their place."""
    turns = ornaments_in(line, marks, TURNS)
    trills = ornaments_in(line, marks, TRILLS)
    if not turns and not trills:
        raise StaveError("There is no turn or trill in this passage.")
    written = {event_address(m.at): m for m in turns or trills}

    def sound(event: Event, mark: Mark) -> tuple[Sounding, ...]:
        kind = mark.value if turns else "turn"
        return ornament_of(line, event, mark, key_of(line, event.bar), tempo=tempo, kind=kind)

    words = "With the turn." if len(written) == 1 else "With the turns."
    return _written_out(line, marks, written, sound, fingering, words)


def with_trills(
    line: Line,
    marks: Marks,
    fingering: Fingering | None = None,
    *,
    start: Start | None = None,
    close: bool | None = None,
    count: int | None = None,
    tempo: float = USUAL_TEMPO,
) -> Stave:
    """All ornaments written out. `start`, `close` and `count` (notes of a measured trill) hold for
    every trill; without them the marks' own options do."""
    trills = ornaments_in(line, marks, TRILLS)
    if not trills:
        raise StaveError("There is no trill in this passage.")
    others = ornaments_in(line, marks, TURNS | MORDENTS)
    written = {event_address(m.at): m for m in (*others, *trills)}

    def sound(event: Event, mark: Mark) -> tuple[Sounding, ...]:
        key = key_of(line, event.bar)
        if mark.value not in TRILLS:
            return ornament_of(line, event, mark, key, tempo=tempo)
        return ornament_of(line, event, mark, key, tempo=tempo, start=start, close=close, count=count)

    trill = "trill" if len(trills) == 1 else "trills"
    words = f"With the turn and the {trill}." if others else f"With the {trill}."
    if count:
        words = f"With the {trill} counted: {count} notes."
    return _written_out(line, marks, written, sound, fingering, words)


def with_mordents(line: Line, marks: Marks, fingering: Fingering | None = None, *, tempo: float = USUAL_TEMPO) -> Stave:
    """The mordents written out, other ornaments left bare."""
    found = ornaments_in(line, marks, MORDENTS)
    if not found:
        raise StaveError("There is no mordent in this passage.")
    written = {event_address(m.at): m for m in found}
    return _written_out(
        line, marks, written, lambda e, m: ornament_of(line, e, m, key_of(line, e.bar), tempo=tempo), fingering,
        "With the mordent." if len(found) == 1 else "With the mordents.",
    )  # fmt: skip


def _written_out(
    line: Line,
    marks: Marks,
    written: dict[str, Mark],
    sound: Callable[[Event, Mark], tuple[Sounding, ...]],
    fingering: Fingering | None,
    words: str,
) -> Stave:
    remarks: list[str] = []
    done: set[str] = set()

    def change(event: Event) -> list[Note] | None:
        mark = written.get(event.address)
        if mark is None:
            return None
        try:
            notes = sound(event, mark)
        except OrnamentError as error:
            remarks.append(f"{line.where(event.address)}: {error}")
            return None
        done.add(event.address)
        return _fingered(event, mark, notes, marks, fingering)

    made = rewrite(line, change)
    if not done:
        raise StaveError(remarks[0] if remarks else "There is no ornament to write out.")

    def keep(mark: Mark) -> bool:
        if mark.kind is Kind.ORNAMENT:
            return False
        return not (event_address(mark.at) in done and mark.kind in (Kind.EXTENSION, Kind.HARMONIC, Kind.FINGER))

    carried = list(made.carry(marks, keep))
    carried += _slurs(made.line, carried, [made.places[a] for a in sorted(done)])
    return Stave(made.line, tuple(sorted(set(carried))), words, tuple(remarks))


def _slurs(line: Line, marks: Iterable[Mark], groups: Iterable[tuple[str, ...]]) -> list[Mark]:
    """A slur over each ornament that no slur of the passage covers."""
    spans = [
        (line.order(m.at), line.order(m.to))
        for m in marks
        if m.kind in (Kind.SLUR, Kind.HOOK) and m.at in line and m.to in line
    ]
    out = []
    for group in groups:
        low, high = line.order(group[0]), line.order(group[-1])
        if any(a < high and low < b for a, b in spans) or low == high:
            continue
        out.append(Mark(Kind.SLUR, group[0], to=group[-1]))
    return out


def _fingered(
    event: Event, mark: Mark, notes: tuple[Sounding, ...], marks: Marks, fingering: Fingering | None
) -> list[Note]:
    """The notes with the ornament's own fingers: those written with the sign, else the neighbours
    of the main note's finger. Each stands once, over the first note it plays."""
    own = mark.option("fingers")
    fingers: dict[str, str] = {}
    if own:
        named = own.split("-")
        if len(named) == len(notes):
            return _notes(event, notes, named)
        pair = sorted(int(f) for f in named)
        fingers = {"main": str(pair[0]), "above": str(pair[-1])}
        if len(set(pair)) == 3:
            fingers = {"below": str(pair[0]), "main": str(pair[1]), "above": str(pair[2])}
    else:
        marked = next((m.value for m in marks if m.kind is Kind.FINGER and m.at == event.address), "")
        placed = fingering.by_address.get(event.address) if fingering is not None else None
        main = int(marked[-1]) if marked else placed.finger if placed is not None else 0
        harmonic = placed is not None and placed.harmonic
        if main and not harmonic:
            fingers = {"main": str(main)}
            if main < 4:
                fingers["above"] = str(main + 1)
            if main > 1:
                fingers["below"] = str(main - 1)
        elif placed is not None and not main and not harmonic:
            fingers = {"main": "0", "above": "1"}
    seen: set[str] = set()
    row = []
    for note in notes:
        row.append("" if note.role in seen else fingers.get(note.role, ""))
        seen.add(note.role)
    return _notes(event, notes, row)


def _notes(event: Event, notes: tuple[Sounding, ...], fingers: list[str]) -> list[Note]:
    inner = event.tuplet_ends
    out = []
    for place, (sounding, finger) in enumerate(zip(notes, fingers, strict=True)):
        ends = sounding.tuplet_ends
        if not ends and inner and event.value.tuplet:
            ends = tuple(e for e in inner if (e == "start" and not place) or (e == "stop" and place == len(notes) - 1))
        out.append(Note((sounding.pitch,), sounding.length, sounding.value, finger, tuplet_ends=ends))
    return out


def pizzicato(line: Line, marks: Marks) -> Stave:
    """The passage plucked: no bow marks, no slurs; the fingers stay."""
    first = next((e.address for e in line.notes if not e.grace), None)
    if first is None:
        raise StaveError("There is no note to pluck.")
    kept = {m for m in marks if m.kind not in _NOT_PLUCKED and (m.aspect is not Aspect.BOW or m.value in _PLUCKED)}
    pizz = Mark(Kind.PIZZICATO, first, "pizz")
    return Stave(line, tuple(sorted(kept | {pizz})), "Pizzicato: the left hand alone, each note clear.")


def to_join(line: Line, marks: Marks) -> Stave:
    """The bars as marked, another part to be set above them by whoever has its notes."""
    return Stave(line, marks, "Join the other part: play or sing it first, then your own under it.")


def as_marked(line: Line, marks: Marks) -> Stave:
    """The bars as they stand in the marking: for a step about a few bars of the passage."""
    return Stave(line, marks, f"{bars_words(line)[:1].upper()}{bars_words(line)[1:]} alone.")
