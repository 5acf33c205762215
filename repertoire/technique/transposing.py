"""Violin passages for the viola and back: a fifth, or the original pitch, or the octave.

A perfect fifth keeps every finger: each string has its neighbour on the other instrument
under the same number, so fingers, strings and bowings stay and only notes, key and clef
change. At the original pitch or the octave the left hand is fingered afresh.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final, Literal

from .line import Bar, Clef, ClefName, Line
from .marks import Aspect, Kind, Mark, Marks, of_aspect
from .pitch import Pitch
from .strings import HIGHEST_SEMITONES, open_strings

How = Literal["fifth", "as written", "octave"]
ClefWish = Literal["", "alto", "treble"]
_LONG_PASSAGE: Final = 12  # notes before a clef change is worth it
_HIGH: Final = Pitch("E", 0, 5).step  # from here up a note counts as high in the alto clef
_ALTERS: Final = {"flat-flat": -2, "flat": -1, "natural": 0, "sharp": 1, "double-sharp": 2}
_SIGNS: Final = {alter: name for name, alter in _ALTERS.items()}
_LOWEST_IN_TREBLE: Final = Pitch("G", 0, 3).step
_HIGHEST_IN_ALTO: Final = Pitch("A", 0, 5).step
_LOW: Final = Pitch("C", 0, 4).step  # below it a note can't well stand in the treble clef


class TransposeError(ValueError):
    """A passage that can't be moved as asked."""


@dataclass(frozen=True)
class Transposed:
    """The passage on the other instrument. `out_of_range` names the notes it can't play
    (address, pitch); `fresh` is true when fingers had to be left behind."""

    line: Line
    marks: Marks
    out_of_range: tuple[tuple[str, Pitch], ...]
    fresh: bool


def move(
    line: Line, marks: Iterable[Mark], source: str, target: str, *, how: How = "fifth", clef: ClefWish = ""
) -> Transposed:
    """A violin passage for the viola, or back, addresses unchanged.

    `fifth` moves down a perfect fifth to the viola and up one to the violin and keeps all
    marks; `octave` moves an octave the same way; `as written` keeps the pitch. The last two
    drop left-hand marks. `clef` "" chooses between alto and treble. Raises TransposeError.
    """
    if {source, target} - {"violin", "viola"}:
        raise TransposeError("Only violin and viola passages can be exchanged.")
    marks = tuple(marks)
    if source == target:
        how = "as written"
    down = -1 if target == "viola" else 1
    steps, semitones, sharps = {"fifth": (4, 7, 1), "octave": (7, 12, 0), "as written": (0, 0, 0)}[how]
    moved = transpose(line, steps=down * steps, semitones=down * semitones, sharps=down * sharps)
    moved = _free_stems(replace(moved, instrument=target))
    moved = set_clefs(moved, clef) if target == "viola" else one_clef(moved, "treble")
    fresh = how != "fifth" and source != target
    kept = of_aspect(marks, Aspect.BOW, Aspect.WORDS) if fresh else marks
    kept = _move_ornaments(kept, line, moved)
    return Transposed(moved, tuple(sorted(kept)), out_of_range(moved, target), fresh)


def transpose(line: Line, *, steps: int, semitones: int, sharps: int = 0) -> Line:
    """The line moved by letter steps and half steps; `sharps` is added to every key.

    A key beyond seven sharps or flats is written in its enharmonic, with its notes.
    """
    keys = {bar.index: bar.key + sharps for bar in line.bars}
    respell = {index: (12 if key < -7 else -12 if key > 7 else 0) for index, key in keys.items()}
    bars = tuple(replace(bar, key=keys[bar.index] + respell[bar.index]) for bar in line.bars)
    events = []
    for event in line.events:
        pitches = tuple(p.moved(steps=steps - _sign(respell[event.bar]), semitones=semitones) for p in event.pitches)
        signs = tuple(_resign(sign, pitch) for sign, pitch in zip(event.accidentals, pitches, strict=False))
        events.append(replace(event, pitches=pitches, accidentals=signs))
    return replace(line, bars=bars, events=tuple(events))


def _resign(printed: str, pitch: Pitch) -> str:
    """A printed accidental, perhaps in brackets, as the moved note has it."""
    sign = _SIGNS.get(pitch.alter, "")
    if not printed or not sign:
        return ""
    return f"({sign})" if printed.startswith("(") else sign


def _free_stems(line: Line) -> Line:
    """Stems where one voice stands alone are left to the engraver: the staff has changed."""
    voices: dict[int, set[int]] = {}
    for event in line.events:
        voices.setdefault(event.bar, set()).add(event.voice)
    return line.with_events(
        tuple(replace(e, stem="") if e.stem in ("up", "down") and len(voices[e.bar]) == 1 else e for e in line.events)
    )


def _sign(number: int) -> int:
    return (number > 0) - (number < 0)


def _move_ornaments(marks: Marks, before: Line, after: Line) -> Marks:
    """Accidentals of ornaments as they read in the new key: a sharp may become a natural."""
    out = []
    for mark in marks:
        if mark.kind is Kind.ORNAMENT and mark.at in before and mark.at in after:
            old, new = before.pitch(mark.at), after.pitch(mark.at)
            options = []
            for name, value in mark.options:
                if name in ("above", "below") and value in _ALTERS:
                    side = 1 if name == "above" else -1
                    octave, letter = divmod(old.step + side, 7)
                    neighbour = Pitch("CDEFGAB"[letter], _ALTERS[value], octave)
                    moved = neighbour.moved(steps=new.step - old.step, semitones=new.midi - old.midi)
                    value = _SIGNS.get(moved.alter, value)
                options.append((name, value))
            mark = replace(mark, options=tuple(options))
        out.append(mark)
    return tuple(out)


def out_of_range(line: Line, instrument: str) -> tuple[tuple[str, Pitch], ...]:
    """Notes below the lowest string or beyond the fingerboard, as (address, pitch)."""
    opens = open_strings(instrument)
    low, high = opens[-1].midi, opens[0].midi + HIGHEST_SEMITONES
    return tuple(
        (address, pitch)
        for event in line.events
        for address, pitch in zip(event.members, event.pitches, strict=True)
        if not low <= pitch.midi <= high
    )


def one_clef(line: Line, clef: ClefName) -> Line:
    """The line with one clef throughout."""
    return replace(line, bars=tuple(replace(bar, clefs=(Clef(clef),)) for bar in line.bars))


def in_clef_preferred(line: Line, wish: ClefWish) -> Line:
    """A viola line in the clef a player prefers, where its notes can stand in it.

    In the treble clef nothing may lie below G3, which violinists read every day, in the alto
    clef nothing above A5, four ledger lines up (common practice, no source). Other
    instruments' lines stay as they are.
    """
    steps = [pitch.step for pitch in line.pitches]
    if not wish or line.instrument != "viola" or not steps:
        return line
    fits = min(steps) >= _LOWEST_IN_TREBLE if wish == "treble" else max(steps) <= _HIGHEST_IN_ALTO
    return one_clef(line, wish) if fits else line


def set_clefs(line: Line, wish: ClefWish = "") -> Line:
    """A viola line with its clefs chosen: alto, and treble for long high passages.

    A run of two bars or more changes to treble when it has at least twelve notes, in every
    bar most of them from E5 up (more than two ledger lines in the alto clef) and none
    below C4.
    `wish` settles it for the whole line.
    """
    if wish:
        return one_clef(line, wish)
    steps: dict[int, list[int]] = {bar.index: [] for bar in line.bars}
    for event in line.events:
        steps[event.bar] += [pitch.step for pitch in event.pitches]
    high = [_is_high(steps[bar.index]) for bar in line.bars]
    clefs: dict[int, ClefName] = dict.fromkeys(steps, "alto")
    start = 0
    while start < len(high):
        end = start
        while end < len(high) and high[end] == high[start]:
            end += 1
        if high[start]:
            run = line.bars[start:end]
            notes = [s for bar in run for s in steps[bar.index]]
            if len(run) > 1 and len(notes) >= _LONG_PASSAGE:
                clefs.update((bar.index, "treble") for bar in run)
        start = end
    bars: tuple[Bar, ...] = tuple(replace(bar, clefs=(Clef(clefs[bar.index]),)) for bar in line.bars)
    return replace(line, bars=bars)


def _is_high(steps: list[int]) -> bool:
    return bool(steps) and min(steps) >= _LOW and 2 * sum(s >= _HIGH for s in steps) > len(steps)
