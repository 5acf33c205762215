"""Ornaments written out: which notes a turn, a trill or a mordent stands for, exactly as long as its note.

Neighbours are taken from the key, unless an accidental stands in the bar or with the sign; in
minor the neighbour below the key note is raised. A turn begins above (above, main, below,
main), a trill with the upper note unless the main note is asked for, and may close with a
turn. Source: C. P. E. Bach, Versuch über die wahre Art das Clavier zu spielen, 1753, from
memory. How many notes a trill has follows from the value and the tempo.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Final, Literal

from .keys import Key, signature_alteration
from .line import Event, Line, Value
from .marks import Kind, Mark
from .note_values import value_of
from .pitch import Pitch

Start = Literal["upper", "main"]
SIGNS: Final = {"sharp": 1, "flat": -1, "natural": 0, "double-sharp": 2, "flat-flat": -2}
USUAL_TEMPO: Final = 72  # quarter notes a minute when nobody says
FASTEST: Final = 0.085  # seconds a note of a trill takes at least
QUICK: Final = 0.3  # seconds a note of a turn takes at most
SHORTEST: Final = Fraction(1, 16)


class OrnamentError(ValueError):
    """An ornament that can't be written out; the message says which and why."""


@dataclass(frozen=True, slots=True)
class Sounding:
    """One note of an ornament. `role` is above, main or below; `value` is set inside tuplets,
    elsewhere the length (in quarter notes) says how it is written."""

    pitch: Pitch
    length: Fraction
    role: str
    value: Value | None = None
    tuplet_ends: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Neighbours:
    above: Pitch
    below: Pitch


def neighbours(
    main: Pitch, key: Key, *, above: str = "", below: str = "", standing: Mapping[tuple[str, int], int] | None = None
) -> Neighbours:
    """The upper and lower neighbour of a note in a key.

    `above` and `below` are accidentals written with the sign ("sharp", …); `standing` holds the
    accidentals in force in the bar by letter and octave.
    """
    standing = standing or {}

    def next_to(step: int, sign: str) -> Pitch:
        natural = main.moved(steps=step, semitones=0)
        letter, octave = natural.letter, natural.octave
        if sign:
            alter = SIGNS[sign]
        elif (letter, octave) in standing:
            alter = standing[(letter, octave)]
        else:
            alter = key.alteration(letter)
            if step == -1 and key.mode == "minor" and (main.letter, main.alter) == key.tonic:
                alter += 1
        return Pitch(letter, alter, octave)

    return Neighbours(next_to(1, above), next_to(-1, below))


def realize(
    kind: str,
    main: Pitch,
    length: Fraction,
    around: Neighbours,
    *,
    start: Start = "upper",
    close: bool = False,
    count: int | None = None,
    tempo: float = USUAL_TEMPO,
    tuplet: tuple[int, int] | None = None,
) -> tuple[Sounding, ...]:
    """The notes of an ornament on a note of `length` quarter notes; they last exactly as long.

    `count` asks for a number of notes of a trill instead of the one that suits value and tempo
    (quarter notes a minute). `tuplet` is the ratio the note itself stands in. Raises OrnamentError.
    """
    a = (around.above, "above")
    m = (main, "main")
    b = (around.below, "below")
    if kind in ("trill", "shake"):
        return _trill(kind, a, m, b, length, start, close, count, tempo, tuplet)
    if kind == "turn":
        return _turn((a, m, b, m), length, tempo, tuplet)
    if kind == "inverted turn":
        return _turn((b, m, a, m), length, tempo, tuplet)
    if kind == "delayed turn":
        return _delayed((m, a, m, b, m), length, tuplet)
    if kind == "mordent":
        return _mordent((m, b, m), length, tempo, tuplet)
    if kind == "inverted mordent":
        return _mordent((m, a, m), length, tempo, tuplet)
    raise OrnamentError(f"“{kind}” is not an ornament that can be written out.")


_Row = Sequence[tuple[Pitch, str]]


def _row(row: _Row, lengths: Sequence[Fraction], tuplet: tuple[int, int] | None) -> tuple[Sounding, ...]:
    out = []
    for (pitch, role), length in zip(row, lengths, strict=True):
        value = value_of(length, tuplet)
        if value is None and tuplet is not None:
            raise OrnamentError(f"A note of {length} quarters inside an ornament can’t be written.")
        out.append(Sounding(pitch, length, role, value if tuplet is not None else None))
    return tuple(out)


def _triplet(row: _Row, span: Fraction) -> tuple[Sounding, ...]:
    """Three notes in the time of two, over a span."""
    value = value_of(span / 3, (3, 2))
    if value is None:
        raise OrnamentError(f"A triplet over {span} quarters can’t be written.")
    ends: tuple[tuple[str, ...], ...] = (("start",), (), ("stop",))
    return tuple(Sounding(p, span / 3, role, value, end) for (p, role), end in zip(row, ends, strict=True))


def _writable(length: Fraction, tuplet: tuple[int, int] | None) -> bool:
    return length > 0 and value_of(length, tuplet) is not None


def _units(length: Fraction, tuplet: tuple[int, int] | None, tempo: float) -> tuple[Fraction, int]:
    """The value of one trill note and how many fill the length."""
    scale = Fraction(1) if tuplet is None else Fraction(tuplet[1], tuplet[0])
    best: tuple[Fraction, int] | None = None
    for unit in (Fraction(1, 2), Fraction(1, 4), Fraction(1, 8), SHORTEST, Fraction(1, 32)):
        count = length / (unit * scale)
        if count.denominator != 1 or count % 2:
            continue
        quick = float(unit * scale) * 60 / tempo < FASTEST
        if best is not None and quick and best[1] >= 4:
            break
        best = (unit * scale, int(count))
        if quick and best[1] >= 4:
            break
    if best is None or best[1] < 4:
        raise OrnamentError(f"A note of {length} quarters is too short for a trill.")
    return best


def _trill(
    kind: str, a: tuple[Pitch, str], m: tuple[Pitch, str], b: tuple[Pitch, str], length: Fraction,
    start: Start, close: bool, count: int | None, tempo: float, tuplet: tuple[int, int] | None,
) -> tuple[Sounding, ...]:  # fmt: skip
    if count is None and kind == "shake":
        count = 4
    if count is not None:
        return _measured(a, m, b, length, start, close, count, tuplet)
    unit, number = _units(length, tuplet, tempo)
    if start == "upper":
        return _row(_alternating(a, m, b, number, close), [unit] * number, tuplet)
    # From the main note: it takes the time of two, so that the alternation still ends on it.
    if number < 6:
        if not close:
            raise OrnamentError("The note is too short for a trill that begins with the main note.")
        return _row([m, a, b, m], [length / 4] * 4, tuplet)
    first = 2 * unit
    if not _writable(first, tuplet):
        raise OrnamentError("A trill from the main note can’t be written in this value.")
    row = [m, *_alternating(a, m, b, number - 2, close)]
    return _row(row, [first, *[unit] * (number - 2)], tuplet)


def _alternating(a: tuple[Pitch, str], m: tuple[Pitch, str], b: tuple[Pitch, str], number: int, close: bool) -> _Row:
    row = [a, m] * (number // 2)
    if close and number >= 4:
        row[-2:] = [b, m]
    return row


def _measured(
    a: tuple[Pitch, str], m: tuple[Pitch, str], b: tuple[Pitch, str], length: Fraction,
    start: Start, close: bool, count: int, tuplet: tuple[int, int] | None,
) -> tuple[Sounding, ...]:  # fmt: skip
    """A trill with its notes counted: `count` equal notes, as a tuplet where the value asks for it."""
    if not 2 <= count <= 64:
        raise OrnamentError("A measured trill has 2 to 64 notes.")
    first, second = (a, m) if start == "upper" else (m, a)
    row = ([first, second] * ((count + 1) // 2))[:count]
    if close and count >= 4:
        row[-2:] = [b, m]
    unit = length / count
    if _writable(unit, tuplet):
        return _row(row, [unit] * count, tuplet)
    if tuplet is None:
        below = 1 << (count.bit_length() - 1)
        written = length / below
        if value_of(written) is not None:
            ratio = (count, below)
            out = _row(row, [unit] * count, ratio)
            return tuple(
                replace(s, tuplet_ends=("start",) if i == 0 else ("stop",) if i == count - 1 else ())
                for i, s in enumerate(out)
            )
    raise OrnamentError(f"{count} equal notes can’t be written in a note of {length} quarters.")


def _turn(row: _Row, length: Fraction, tempo: float, tuplet: tuple[int, int] | None) -> tuple[Sounding, ...]:
    """Equal notes where it is quick; else a quick triplet and the main note for the rest."""
    quarter = length / 4
    if _writable(quarter, tuplet) and (float(quarter) * 60 / tempo <= QUICK or tuplet is not None):
        return _row(row, [quarter] * 4, tuplet)
    if tuplet is None:
        spans = (length / part for part in (3, 4, 6, 8, 12, 16))
        for span in spans:
            if float(span / 3) * 60 / tempo > QUICK or value_of(span / 3, (3, 2)) is None or value_of(span) is None:
                continue
            return (*_triplet(row[:3], span), *_row(row[3:], [length - span], None))
    if _writable(quarter, tuplet):
        return _row(row, [quarter] * 4, tuplet)
    raise OrnamentError(f"A turn can’t be written in a note of {length} quarters.")


def _delayed(row: _Row, length: Fraction, tuplet: tuple[int, int] | None) -> tuple[Sounding, ...]:
    """The main note first. A dotted note is parted in three, the turn a triplet on the second part."""
    third = length / 3
    if tuplet is None and _writable(length, None) and _writable(third, None):
        first, *turn, last = row
        return (*_row([first], [third], None), *_triplet(turn, third), *_row([last], [third], None))
    half, eighth = length / 2, length / 8
    if _writable(half, tuplet) and _writable(eighth, tuplet):
        return _row(row, [half, *[eighth] * 4], tuplet)
    raise OrnamentError(f"A delayed turn can’t be written in a note of {length} quarters.")


def _mordent(row: _Row, length: Fraction, tempo: float, tuplet: tuple[int, int] | None) -> tuple[Sounding, ...]:
    """Two quick notes and the main note for the rest."""
    scale = Fraction(1) if tuplet is None else Fraction(tuplet[1], tuplet[0])
    for unit in (SHORTEST, Fraction(1, 8), Fraction(1, 4)):
        quick = unit * scale
        rest = length - 2 * quick
        too_quick = float(quick) * 60 / tempo < FASTEST and unit != Fraction(1, 4)
        if rest < quick or (too_quick and length > 4 * quick) or (tuplet is not None and not _writable(rest, tuplet)):
            continue
        return _row(row, [quick, quick, rest], tuplet)
    raise OrnamentError(f"A mordent can’t be written in a note of {length} quarters.")


def standing_accidentals(line: Line, event: Event) -> dict[tuple[str, int], int]:
    """Accidentals in force in the bar at an event: every note so far that departs from the key."""
    bar = line.bar(event.bar)
    out: dict[tuple[str, int], int] = {}
    for other in line.in_bar(bar.index):
        if other.address == event.address:
            break
        for pitch in other.pitches:
            place = (pitch.letter, pitch.octave)
            if pitch.alter != signature_alteration(pitch.letter, bar.key) or place in out:
                out[place] = pitch.alter
    return out


def ornament_of(
    line: Line, event: Event, mark: Mark, key: Key, *, tempo: float = USUAL_TEMPO, start: Start | None = None,
    close: bool | None = None, kind: str | None = None, count: int | None = None,
) -> tuple[Sounding, ...]:  # fmt: skip
    """The notes an ornament mark of a line stands for. Raises OrnamentError.

    What the mark's options say of start and closing turn holds unless given here; a trill that
    says nothing begins with the upper note and doesn't close.
    """
    assert mark.kind is Kind.ORNAMENT
    if event.is_rest or event.grace or len(event.pitches) != 1:
        raise OrnamentError("An ornament is written out on a single note.")
    around = neighbours(
        event.pitches[0], key, above=mark.option("above"), below=mark.option("below"),
        standing=standing_accidentals(line, event),
    )  # fmt: skip
    begins: Start = start or ("main" if mark.option("start") == "main" else "upper")
    closes = close if close is not None else mark.option("close") == "yes"
    return realize(
        kind or mark.value, event.pitches[0], event.duration, around, start=begins, close=closes, count=count,
        tempo=tempo, tuplet=event.value.tuplet,
    )  # fmt: skip
