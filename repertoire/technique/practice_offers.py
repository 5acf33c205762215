"""Which practice staves a passage gives ground for, each with the reason, the most telling first.

Nothing here decides: it is a short list to pick from. At first three are shown, of different
subjects; the weights order the list and mean nothing else.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any, Final

from .building import NOTES_AT_LEAST, busiest_bar
from .fingering import Fingering
from .left_hand import Shift, rings
from .line import Line
from .marks import Kind, Marks
from .practice_staves import MORDENTS, TRILLS, TURNS, ornaments_in
from .repeated import free_of_dynamics, repeated
from .rhythms import PATTERNS, groups, runs, suits
from .shift_staves import holds_in, shifts_in, slides_in, stretches_in
from .strings import open_strings
from .warm_up import positions_used

SHOWN_FIRST: Final = 3
RULES: Final = "practice-1"  # raise when the rules change: a suggestion keeps the version that made it
_COUNTS: Final = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
_WIDEST: Final = 4  # bars of an ornament's stages, or of a run in another rhythm, at most


@dataclass(frozen=True)
class Offer:
    """A stave to pick: its kind, parameters and written bars (None for the whole passage).
    `stages` are further kinds that belong to it, in order, made with the same parameters."""

    kind: str
    reason: str
    weight: float
    subject: str
    given: Mapping[str, Any] = field(default_factory=dict)
    bars: tuple[int, int] | None = None
    stages: tuple[str, ...] = ()

    @property
    def kinds(self) -> tuple[str, ...]:
        return (self.kind, *self.stages)


def _count(number: int) -> str:
    return _COUNTS[number] if number < len(_COUNTS) else str(number)


def _bars(line: Line, indices: Sequence[int]) -> str:
    first, last = line.bar(min(indices)).number, line.bar(max(indices)).number
    return f"bar {first}" if first == last else f"bars {first}–{last}"


def offers(line: Line, marks: Marks, fingering: Fingering) -> tuple[Offer, ...]:
    """Everything the passage gives ground for, the most telling first."""
    found = [
        *_ornaments(line, marks), *_shifts(line, fingering), *_right_hand(line, marks, fingering),
        *_runs(line), *_left_hand(line, fingering), *_sound(line, marks, fingering), *_repeated(line, marks),
        *_building(line), *_warm_up(line, fingering),
    ]  # fmt: skip
    return tuple(sorted(found, key=lambda o: -o.weight))


def shown_first(found: Sequence[Offer], most: int = SHOWN_FIRST) -> tuple[Offer, ...]:
    """The first few offers, each of another subject."""
    out: list[Offer] = []
    for offer in found:
        if len(out) < most and all(offer.subject != other.subject for other in out):
            out.append(offer)
    return tuple(out)


def _ornaments(line: Line, marks: Marks) -> Iterator[Offer]:
    turns, trills = ornaments_in(line, marks, TURNS), ornaments_in(line, marks, TRILLS)
    graces = [e for e in line.events if e.grace]
    places = [line.event(m.at).bar for m in (*turns, *trills)]
    if places:
        bars = (min(places), max(places))
        if bars[1] - bars[0] >= _WIDEST:
            bars = (bars[0], min(bars[0] + _WIDEST - 1, bars[1]))
            inside = [m for m in (*turns, *trills) if bars[0] <= line.event(m.at).bar <= bars[1]]
            turns = tuple(m for m in turns if m in inside)
            trills = tuple(m for m in trills if m in inside)
        what = " and ".join(
            filter(None, ("turn" if turns else "", ("trill" if len(trills) == 1 else "trills") if trills else ""))
        )
        stages = (*(("turn",) if turns or trills else ()), *(("trill",) if trills else ()))
        yield Offer("bare", f"{_bars(line, bars)}: {what}, in stages", 5.0, "ornament", {}, bars, stages)
    mordents = ornaments_in(line, marks, MORDENTS)
    if mordents:
        bar = line.event(mordents[0].at).bar
        yield Offer("bare", f"{_bars(line, [bar])}: mordent, in stages", 4.0, "ornament", {}, (bar, bar), ("mordent",))
    if graces and not places:
        bars = (graces[0].bar, graces[0].bar)
        yield Offer("bare", f"{_bars(line, bars)}: grace notes, first without", 2.2, "ornament", {}, bars)


def _shift_reason(line: Line, shift: Shift) -> str:
    count = abs(shift.positions)
    inside = " inside a slur" if shift.heard else f", over the {shift.hidden}" if shift.hidden else ""
    return f"bar {line.bar_of(shift.end.address).number}: shift of {_count(count)} position{'s' * (count > 1)}{inside}"


def _shifts(line: Line, fingering: Fingering) -> Iterator[Offer]:
    found = shifts_in(line, fingering)
    seen: set[tuple[object, ...]] = set()
    for shift in found:
        same = (shift.start.pitch, shift.start.finger, shift.end.pitch, shift.end.finger, shift.heard)
        if same in seen or (shift.starting is None and shift.arriving is None):
            continue
        seen.add(same)
        way = "starting" if shift.starting is not None else "arriving"
        weight = 2.0 + 0.3 * abs(shift.positions) + (1.2 if shift.heard else -0.8 if shift.hidden else 0.0)
        yield Offer(
            "shift", _shift_reason(line, shift), min(weight, 4.6), "shift", {"at": shift.end.address, "way": way}
        )
    if len(found) > 1:
        yield Offer("shifts", f"{_count(len(found))} shifts in {_bars(line, _span(line))}", 2.3, "shift")
        yield Offer("stop before the shift", f"{_count(len(found))} shifts: a stop before each", 1.9, "shift")


def _span(line: Line) -> list[int]:
    return [line.bars[0].index, line.bars[-1].index]


def _right_hand(line: Line, marks: Marks, fingering: Fingering) -> Iterator[Offer]:
    groups = [g for g in fingering.groups if g[0].address in line]
    moves = [(a[-1], b[-1]) for a, b in pairwise(groups) if a[-1].string != b[-1].string]
    if not moves:
        return
    skips = [b for a, b in moves if abs(a.string - b.string) > 1]
    slurs = [
        (line.order(m.at), line.order(m.to)) for m in marks if m.kind is Kind.SLUR and m.at in line and m.to in line
    ]
    inside = sum(any(low <= line.order(a.address) < high for low, high in slurs) for a, _ in moves)
    share = len(moves) / max(1, len(groups))
    words = f"{_count(len(moves))} string crossing{'s' * (len(moves) > 1)}"
    if inside:
        words += f", {_count(inside)} inside a slur"
    if skips:
        words += f"; over a string in bar {line.bar_of(skips[0].address).number}"
    yield Offer("right hand", words, 1.2 + 3 * share + (0.8 if skips else 0) + min(0.6, 0.1 * inside), "right hand")


def _runs(line: Line) -> Iterator[Offer]:
    found = runs(line)
    if not found:
        return
    found = tuple(run for run in found if run.bar < found[0].bar + _WIDEST)
    notes = sum(len(r.events) for r in found)
    bars = [r.bar for r in found]
    longest = max(found, key=lambda r: len(r.events))
    weight = 1.6 + min(1.6, notes / 20)
    where = f"{_bars(line, bars)}: runs of equal notes" if len(found) > 1 else (
        f"{_bars(line, bars)}: {_count(len(longest.events))} equal notes in a row"
    )  # fmt: skip
    span = (min(bars), max(bars))
    name = next((name for name in PATTERNS if suits(line, name)), None)
    if name is not None:  # the other rhythms are chosen on the step itself
        yield Offer("rhythm", where, weight, "rhythm", {"pattern": name}, span)
    for size in (4, 3):
        if any(groups(line, run, size) for run in found):
            yield Offer("accents", where, 1.0, "accents", {"place": 2, "size": size}, span)
            break


def _left_hand(line: Line, fingering: Fingering) -> Iterator[Offer]:
    for slide in slides_in(line, fingering)[:3]:
        bar = line.bar_of(slide.start).number
        reason = f"bar {bar}: finger {slide.finger} slides a half step"
        yield Offer("half step", reason, 2.1, "half step", {"at": slide.start})
    for stretch in stretches_in(line, fingering)[:3]:
        bar = line.bar_of(stretch.start).number
        reason = f"bar {bar}: fingers {stretch.fingers[0]} and {stretch.fingers[1]}, {stretch.mm:.0f} mm apart"
        yield Offer("stretch", reason, 2.0, "stretch", {"at": stretch.start, "to": stretch.end})
    held: set[tuple[int, int]] = set()
    for hold in holds_in(line, fingering):
        if (hold.string, hold.finger) in held:
            continue
        held.add((hold.string, hold.finger))
        bar = line.bar_of(hold.start).number
        yield Offer("keep down", f"bar {bar}: finger {hold.finger} can stay down", 1.5, "keep down", {"at": hold.start})


def _sound(line: Line, marks: Marks, fingering: Fingering) -> Iterator[Offer]:
    opens = open_strings(fingering.instrument)
    ringing = {
        (p.pitch, p.string)
        for p in fingering.placements
        if p.stopped and not p.harmonic and p.address in line
        and any(rings(p.pitch, opens[s - 1]) for s in (p.string - 1, p.string + 1) if 1 <= s <= 4)
    }  # fmt: skip
    if len(ringing) > 1:
        yield Offer("tuning", f"{_count(len(ringing))} notes ring with a neighbouring open string", 1.3, "tuning")
    sung = [m for m in marks if m.kind is Kind.VIBRATO and m.value == "vibrato"]
    slurred = any(m.kind is Kind.SLUR for m in marks)
    reason = "marked to be vibrated: sustained, note by note" if sung else "a slurred line: sustained, note by note"
    if sung or slurred:
        yield Offer("slow", reason, 2.6 if sung else 1.7, "slow")
    else:
        yield Offer("slow", "for the sound of every note", 0.9, "slow")
    yield Offer("pizzicato", "the left hand by itself", 0.5, "pizzicato")


def _repeated(line: Line, marks: Marks) -> Iterator[Offer]:
    for figure in repeated(line):
        if not free_of_dynamics(marks, figure):
            continue
        bars = sorted({e.bar for cell in figure.cells for e in cell})
        shape = "growth" if figure.way else "rise and fall" if len(figure.cells) > 2 else "echo"
        weight = 1.4 + min(1.2, 0.2 * len(figure.cells))
        yield Offer("shape", figure.words(line), weight, "shape", {"shape": shape}, (bars[0], bars[-1]))
        return


def _building(line: Line) -> Iterator[Offer]:
    bar = busiest_bar(line)
    if bar is None:
        return
    notes = [e for e in line.in_bar(bar.index) if e.pitches and not e.grace]
    if len(notes) <= NOTES_AT_LEAST:
        return
    reason = f"bar {bar.number}: {_count(len(notes))} notes"
    span = (bar.index, bar.index)
    yield Offer("note by note", reason, 1.1, "building", {}, span)
    yield Offer("from the end", reason, 1.0, "building", {}, span)


def _warm_up(line: Line, fingering: Fingering) -> Iterator[Offer]:
    used = positions_used(line, fingering)
    if not used:
        return
    high = [p for p in used if p > 1]
    reason = "its key, in the position it uses most above the first" if high else "its key, in its position"
    yield Offer("warm-up", reason, 1.6 if high else 0.8, "warm-up")
