"""Staves for the left hand: shifts with their guide notes, slides, stretches, fingers kept down, tuning.

A shift is practised with its guide note as a small note before the arrival, there and back;
on the way back the guide note of the other finger leads. Sources as in `left_hand.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Final, Literal

from .exercise_bars import exercise
from .fingering import Fingering, Placement
from .left_hand import Guide, Hold, Shift, Slide, Stretch, holds, rings, semitone_slides, shifts, stretches
from .line import Line, Meter, Value
from .marks import Kind, Mark, Marks
from .practice_staves import Stave, StaveError
from .rewriting import Note
from .strings import open_string, open_strings, string_name

Way = Literal["starting", "arriving"]
HALF: Final = Fraction(2)
ROWS_AT_MOST: Final = 8
_COMMON: Final = Meter("4", 4)


def shifts_in(line: Line, fingering: Fingering) -> tuple[Shift, ...]:
    """The shifts whose two notes lie in a line, in playing order."""
    return tuple(s for s in shifts(fingering) if s.start.address in line and s.end.address in line)


def _leaving(placement: Placement) -> int:
    return placement.leaves if placement.leaves is not None else placement.finger


def _guide(guide: Guide | None) -> list[Note]:
    if guide is None:
        return []
    return [Note((guide.pitch,), Fraction(0), Value("eighth"), str(guide.finger), "plain")]


def _there(shift: Shift, way: Way, first: bool) -> list[Note]:
    """Start, guide note, arrival. The string is named at the start and where it changes."""
    start, end = shift.start, shift.end
    guide = shift.starting if way == "starting" else shift.arriving
    return [
        Note((start.pitch,), HALF, None, str(_leaving(start)), string=string_name(start.string) if first else ""),
        *_guide(guide),
        Note(
            (end.pitch,), HALF, None, str(end.finger),
            string=string_name(end.string) if end.string != start.string else "",
        ),
    ]  # fmt: skip


def _back(shift: Shift, way: Way) -> list[Note]:
    """The same shift the other way. The finger that starts there is the one that arrived, so its
    guide note is where it lies in the old position."""
    start, end = shift.start, shift.end
    guide = shift.arriving if way == "starting" else shift.starting
    return [
        Note((end.pitch,), HALF, None, str(end.finger)),
        *_guide(guide),
        Note((start.pitch,), HALF, None, str(_leaving(start))),
    ]


def one_shift(line: Line, fingering: Fingering, arrival: str, *, way: Way = "starting", both: bool = True) -> Stave:
    """One shift alone: start, guide note, arrival, and back. `arrival` is the address of the
    note the hand arrives on. Raises StaveError."""
    shift = next((s for s in shifts_in(line, fingering) if s.end.address == arrival), None)
    if shift is None:
        raise StaveError("There is no shift to that note in this marking.")
    guide = shift.starting if way == "starting" else shift.arriving
    if guide is None:
        raise StaveError(f"The {way} finger has no guide note: it would lie behind the nut.")
    rows = [_there(shift, way, True)]
    if both:
        rows.append(_back(shift, way))
    made, marks = exercise(line, shift.start.address, rows, meter=_COMMON, slurred=True)
    bar = line.bar_of(arrival).number
    finger = guide.finger
    how = (
        f"finger {finger} goes first to {guide.pitch.label}, then {shift.end.finger} is put down"
        if way == "starting"
        else f"finger {finger} is set on {guide.pitch.label} and slid up" if shift.positions > 0
        else f"finger {finger} is set on {guide.pitch.label} and slid down"
    )  # fmt: skip
    if shift.start.leaves is None and shift.start.finger == shift.end.finger and guide.pitch == shift.end.pitch:
        how = f"finger {finger} carries it: light on the way, then settled"
    return Stave(made, tuple(sorted(marks)), f"The shift in bar {bar} alone: {how}.", (shift.sentence + ".",))


def shift_excerpt(fingering: Fingering, shift: Shift, way: Way = "starting") -> tuple[Line, Marks] | None:
    """One shift as a small picture: start, guide note, arrival in one bar. None where that finger
    has no guide note. The fingering must be that of a written line."""
    if (shift.starting if way == "starting" else shift.arriving) is None:
        return None
    return _alone(fingering, shift.start.address, _there(shift, way, True))


def slide_excerpts(fingering: Fingering, slide: Slide) -> tuple[tuple[Line, Marks], tuple[Line, Marks]]:
    """A half step with the same finger, and with two, as small pictures of a bar each."""
    one, two = _slide_rows(fingering, slide)
    return _alone(fingering, slide.start, one), _alone(fingering, slide.start, two)


def _alone(fingering: Fingering, address: str, row: Sequence[Note]) -> tuple[Line, Marks]:
    if fingering.line is None:
        raise StaveError("Shifts are drawn from a written passage.")
    made, marks = exercise(fingering.line, address, [row], meter=_COMMON, slurred=True, barline="")
    return made, tuple(sorted(marks))


def all_shifts(line: Line, fingering: Fingering, *, way: Way = "starting") -> Stave:
    """The shifts of the passage in a row, each in a bar with its guide note."""
    rows: list[list[Note]] = []
    seen: set[tuple[object, ...]] = set()
    place = ""
    for shift in shifts_in(line, fingering):
        same = (
            shift.start.pitch, _leaving(shift.start), shift.start.string, shift.end.pitch, shift.end.finger,
            shift.end.string,
        )  # fmt: skip
        if same in seen or len(rows) == ROWS_AT_MOST:
            continue
        seen.add(same)
        place = place or shift.start.address
        rows.append(_there(shift, way, True))
    if not rows:
        raise StaveError("There is no shift in this marking.")
    made, marks = exercise(line, place, rows, meter=_COMMON, slurred=True)
    words = "The shifts one after the other, each with its guide note." if len(rows) > 1 else "The shift alone."
    return Stave(made, tuple(sorted(marks)), words)


def slides_in(line: Line, fingering: Fingering) -> tuple[Slide, ...]:
    return tuple(s for s in semitone_slides(fingering) if s.start in line and s.end in line)


def _slide_rows(fingering: Fingering, slide: Slide) -> tuple[list[Note], list[Note]]:
    """The half step with one finger, and the same two notes with two neighbouring fingers."""
    first, second = fingering.by_address[slide.start], fingering.by_address[slide.end]
    low = min(slide.finger, 3)
    one, other = (low, low + 1) if second.semitones > first.semitones else (low + 1, low)

    def row(a: int, b: int, string: str) -> list[Note]:
        return [Note((first.pitch,), HALF, None, str(a), string=string), Note((second.pitch,), HALF, None, str(b))]

    return row(slide.finger, slide.finger, string_name(slide.string)), row(one, other, "")


def slide_or_two_fingers(line: Line, fingering: Fingering, start: str) -> Stave:
    """A half step with one finger against the same half step with two, to sound alike."""
    slide = next((s for s in slides_in(line, fingering) if s.start == start), None)
    if slide is None:
        raise StaveError("There is no half step with one finger there.")
    made, marks = exercise(line, start, _slide_rows(fingering, slide), meter=_COMMON, slurred=True)
    number = line.bar_of(start).number
    words = f"Bar {number}: the half step with one finger, then with two; make them sound alike."
    return Stave(made, tuple(sorted(marks)), words)


def stretches_in(line: Line, fingering: Fingering) -> tuple[Stretch, ...]:
    return tuple(s for s in stretches(fingering) if s.start in line and s.end in line and not s.narrow)


def stretch(line: Line, fingering: Fingering, start: str, end: str) -> Stave:
    """Two notes of a stretch, up and down, the lower finger staying. Never to be forced."""
    found = next((s for s in stretches_in(line, fingering) if (s.start, s.end) == (start, end)), None)
    if found is None:
        raise StaveError("There is no stretch between those notes.")
    a, b = fingering.by_address[start], fingering.by_address[end]
    low, high = (a, b) if a.semitones < b.semitones else (b, a)
    if a.string != b.string:
        low, high = (a, b) if a.pitch.midi < b.pitch.midi else (b, a)

    def note(p: Placement, named: bool) -> Note:
        return Note((p.pitch,), HALF, None, str(p.finger), string=string_name(p.string) if named else "")

    rows = [[note(low, True), note(high, a.string != b.string)], [note(high, False), note(low, False)]]
    made, marks = exercise(line, start, rows, meter=_COMMON, slurred=True)
    if low.finger and low.string == high.string:
        marks += [
            Mark(Kind.HOLD, "b1n1", to="b1n2"),
        ]
    words = f"Bar {line.bar_of(start).number}: fingers {found.fingers[0]} and {found.fingers[1]}, softly and slowly."
    remark = f"{found.mm:.0f} mm between the fingers: stop if it pulls, and never force it."
    return Stave(made, tuple(sorted(marks)), words, (remark,))


def holds_in(line: Line, fingering: Fingering) -> tuple[Hold, ...]:
    return tuple(h for h in holds(fingering) if h.start in line and h.end in line)


def keep_down(line: Line, fingering: Fingering, start: str) -> Stave:
    """A finger that stays down while others play, as even notes, twice."""
    hold = next((h for h in holds_in(line, fingering) if h.start == start), None)
    if hold is None:
        raise StaveError("No finger can stay down from that note.")
    notes = [p for p in fingering.placements if _between(line, p.address, hold.start, hold.end)]
    if len({p.moment for p in notes}) != len(notes):
        raise StaveError("Fingers are kept down between single notes here.")
    row = [
        Note((p.pitch,), Fraction(1), None, str(p.finger), string=string_name(p.string) if not n else "")
        for n, p in enumerate(notes)
    ]
    again = [Note(n.pitches, n.length) for n in row]
    made, marks = exercise(line, start, [row, again])
    for bar in (1, 2):
        marks.append(Mark(Kind.HOLD, f"b{bar}n1", to=f"b{bar}n{len(row)}"))
    words = f"Bar {line.bar_of(start).number}: keep finger {hold.finger} down while the others play."
    return Stave(made, tuple(sorted(marks)), words)


def _between(line: Line, address: str, start: str, end: str) -> bool:
    if address not in line:
        return False
    return line.order(start) <= line.order(address) <= line.order(end)


def tuning(line: Line, fingering: Fingering, addresses: Sequence[str] = ()) -> Stave:
    """Notes that ring with a neighbouring open string, as double stops with it, to tune against.

    `addresses` choose notes; without them the first eight different ones are taken.
    """
    opens = open_strings(fingering.instrument)
    rows: list[list[Note]] = []
    seen: set[tuple[int, int]] = set()
    place = ""
    for placed in fingering.placements:
        chosen = not addresses or placed.address in addresses
        if not chosen or not placed.stopped or placed.harmonic or placed.address not in line:
            continue
        for other in (placed.string + 1, placed.string - 1):
            if not 1 <= other <= 4 or (placed.pitch.midi, placed.string) in seen:
                continue
            if not rings(placed.pitch, opens[other - 1]) or len(rows) == ROWS_AT_MOST:
                continue
            seen.add((placed.pitch.midi, placed.string))
            place = place or placed.address
            rows.append(_against_open(fingering, placed, other))
    if not rows:
        raise StaveError("No note of this passage rings with a neighbouring open string.")
    paired = [[*a, *b] for a, b in zip(rows[::2], rows[1::2], strict=False)]
    if len(rows) % 2:
        paired.append([*rows[-1], Note((), HALF)])
    made, marks = exercise(line, place, paired, meter=_COMMON)
    return Stave(made, tuple(sorted(marks)), "Against the open string: listen until both ring as one.")


def _against_open(fingering: Fingering, placed: Placement, other: int) -> list[Note]:
    open_note = open_string(fingering.instrument, other)
    members = sorted(((placed.pitch, str(placed.finger)), (open_note, "0")), key=lambda pair: pair[0].midi)
    if members[0][0] == members[1][0]:  # a unison is written one after the other
        return [
            Note((placed.pitch,), Fraction(1), None, str(placed.finger)),
            Note((open_note,), Fraction(1), None, "0"),
        ]
    return [Note(tuple(p for p, _ in members), HALF, None, ",".join(f for _, f in members))]
