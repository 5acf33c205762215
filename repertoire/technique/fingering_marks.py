"""The marks a player would write: enough to read the hand from, no more.

A reader keeps the hand where it is, takes open strings in first position, and needs a
finger where the position changes, a string where the note could well be elsewhere, and
a sign for a reach. `fewer` begins with the shifts alone, `more` adds the note before each shift and
the first note of each bar, `all` writes every finger.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, Literal

from .fingering import Fingering, Placement, complete, read_as
from .fingering_costs import NO_LIMITS
from .line import Line, event_address
from .marks import Kind, Mark, Marks, put
from .strings import open_strings, string_name

HowMany = Literal["fewer", "usual", "more", "all"]
_ROUNDS: Final = 12
LEFT_HAND_KINDS: Final = frozenset((Kind.FINGER, Kind.STRING, Kind.EXTENSION))


def marks_to_write(fingering: Fingering, how_many: HowMany = "usual", inside: frozenset[str] | None = None) -> Marks:
    """Finger, string and extension marks for a fingering; those of one note each. `inside`:
    only for these notes, read on from the ones before them."""
    marks: set[Mark] = set()
    hand: int | None = None  # where a reader thinks the hand is
    string: int | None = None
    groups = fingering.groups
    bar = ""
    for n, group in enumerate(groups):
        chord = len(group) > 1
        here = group[0].address.partition("n")[0]
        first_of_bar, bar = here != bar, here
        leaving = n + 1 < len(groups) and groups[n + 1][0].position != group[0].position
        for placement in group:
            if inside is not None and placement.address not in inside:
                continue
            expected = _reader(fingering, placement, 1 if hand is None else hand, string)
            actual = (placement.string, placement.finger)
            moved = placement.stopped and hand is not None and placement.position != hand
            finger = how_many == "all" or moved or bool(placement.extension) or placement.leaves is not None
            if how_many == "fewer":
                finger = finger or (hand is None and placement.position > 1)
            else:
                finger = finger or chord or expected != actual
            if how_many == "more":
                finger = finger or leaving or first_of_bar
            if finger:
                marks.add(_finger(placement))
                if _guess(fingering, placement, 1 if hand is None else hand, string) != placement.string:
                    marks.add(Mark(Kind.STRING, placement.address, string_name(placement.string)))
            if placement.extension:
                marks.add(Mark(Kind.EXTENSION, placement.address, placement.extension))
        last = group[-1]
        if any(p.stopped for p in group):
            hand = last.leaves_position if last.leaves_position is not None else last.position
        string = last.string
    return tuple(sorted(marks))


def _finger(placement: Placement) -> Mark:
    value = str(placement.finger) if placement.leaves is None else f"{placement.finger}-{placement.leaves}"
    return Mark(Kind.FINGER, placement.address, value)


def _reader(fingering: Fingering, note: Placement, hand: int, string: int | None) -> tuple[int, int] | None:
    """String and finger a reader would take with the hand in a position."""
    options: list[tuple[float, int, int]] = []
    for number, open_note in enumerate(open_strings(fingering.instrument), 1):
        letters, semitones = note.pitch.step - open_note.step, note.pitch.midi - open_note.midi
        near = 0.0 if string is None else 0.1 * abs(number - string)
        if semitones == 0:
            options.append((0.0 if hand <= 1 else 0.5 + near, number, 0))
        finger = letters - hand + 1
        if semitones > 0 and 1 <= finger <= 4:
            options.append((0.2 + near + (0.15 if finger == 4 and hand <= 1 else 0.0), number, finger))
    return min(options)[1:] if options else None


def _guess(fingering: Fingering, note: Placement, hand: int, string: int | None) -> int | None:
    """The string a reader would take for a note whose finger is written."""
    options = []
    for number, open_note in enumerate(open_strings(fingering.instrument), 1):
        letters, semitones = note.pitch.step - open_note.step, note.pitch.midi - open_note.midi
        if note.finger == 0 and semitones == 0:
            return number
        position = letters - note.finger + 1
        if note.finger and semitones > 0 and position >= 0:
            away = 0 if string is None else abs(number - string)
            options.append((abs(position - hand) + 0.6 * away, number))
    return min(options)[1] if options else None


def write(
    line: Line,
    marks: Marks,
    fingering: Fingering,
    how_many: HowMany = "usual",
    *,
    tempo: float | None = None,
    inside: frozenset[str] | None = None,
    reading: str = "",
) -> Marks:
    """`marks` with the fingering written in, so that reading them again gives it.

    Left-hand marks of the line give way to the new ones where they disagree; where the usual
    marks leave the hand open to another reading, fingers and strings are added. `inside`:
    only these notes are written. `reading` is the character music and marks are usually read
    with (see `read_as`); the fingering's own when not given.
    """
    kept = tuple(
        m
        for m in marks
        if m.kind not in LEFT_HAND_KINDS
        or (inside is not None and inside.isdisjoint(_addresses(line, m)))
        or _agrees(m, fingering)
    )
    out = kept
    for mark in marks_to_write(fingering, how_many, inside):
        out = put(out, mark)
    for turn in range(2 * _ROUNDS):
        wrong = _misread(line, out, fingering, tempo, inside, reading)
        if not wrong:
            break
        for _, placement in wrong if turn >= _ROUNDS else _first_of_runs(wrong):
            out = put(out, _finger(placement))
            out = put(out, Mark(Kind.STRING, placement.address, string_name(placement.string)))
            if placement.extension:
                out = put(out, Mark(Kind.EXTENSION, placement.address, placement.extension))
    return out


def _misread(
    line: Line, marks: Marks, fingering: Fingering, tempo: float | None, inside: frozenset[str] | None, reading: str
) -> list[tuple[int, Placement]]:
    """What a reader would take otherwise than meant, as (place in the line, what is meant): with
    the limits of this player's hand, and with none, as another page may read it."""
    preset = read_as(reading, line, marks, fingering.instrument) if reading else fingering.preset
    for limits in dict.fromkeys((fingering.limits, NO_LIMITS)):
        read = complete(
            line, marks, fingering.instrument, preset=preset, limits=limits, tempo=tempo, length=fingering.length
        )
        wrong = [
            (place, meant)
            for place, found in enumerate(read.placements)
            if (meant := fingering.by_address.get(found.address)) is not None
            and (inside is None or found.address in inside)
            and not _same(found, meant)
        ]
        if wrong:
            return wrong
    return []


def _same(found: Placement, meant: Placement) -> bool:
    same = (found.string, found.finger, found.leaves) == (meant.string, meant.finger, meant.leaves)
    return same and (not meant.extension or found.extension == meant.extension)


def _agrees(mark: Mark, fingering: Fingering) -> bool:
    if mark.to:
        return all(
            p.string_name == mark.value
            for p in fingering.placements
            if fingering.line and p.address in _addresses(fingering.line, mark)
        )
    found = fingering.by_address.get(mark.at)
    if found is None:
        return True
    if mark.kind is Kind.EXTENSION:
        return found.extension == mark.value
    if mark.kind is Kind.STRING:
        return found.string_name == mark.value
    return mark == _finger(found) or event_address(mark.at) != found.address


def _addresses(line: Line, mark: Mark) -> set[str]:
    """The notes a mark stands over; none where it begins or ends outside the line."""
    if mark.at not in line or (mark.to and mark.to not in line):
        return set()
    return {m for e in line.between(mark.at, mark.to or mark.at) for m in e.members}


def _first_of_runs(wrong: Sequence[tuple[int, Placement]]) -> list[tuple[int, Placement]]:
    """The first note of each run that is read differently."""
    places = {place for place, _ in wrong}
    return [(place, meant) for place, meant in wrong if place - 1 not in places]


def changed_by_hand(suggested: Fingering, marks: Marks) -> tuple[str, ...]:
    """Addresses whose finger or string, as marked, departs from a suggestion."""
    out = []
    for mark in marks:
        found = suggested.by_address.get(mark.at)
        if found is None or mark.to:
            continue
        if (mark.kind is Kind.FINGER and mark.value.partition("-")[0] != str(found.finger)) or (
            mark.kind is Kind.STRING and mark.value != found.string_name
        ):
            out.append(found.address)
    return tuple(dict.fromkeys(out))
