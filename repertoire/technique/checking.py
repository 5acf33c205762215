"""Marks that can't be: a string that can't sound the note, a slur that ends on a rest.

Only what is impossible or contradicts itself is a problem here; what is merely awkward is
the player's business. Each problem names bar, beat and reason. Strings and positions
follow `strings.py`; natural harmonics lie where a finger touches a node of the string.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import takewhile

from .line import Event, Line, event_address, parse_address
from .marks import SPANS, Kind, Mark, MarkError, Marks, put
from .pitch import Pitch
from .strings import HIGHEST_SEMITONES, OPEN_STRINGS, STRING_NAMES

ON_RESTS = frozenset({Kind.DYNAMIC, Kind.TEXT, Kind.FERMATA, Kind.RETAKE, Kind.PIZZICATO, Kind.HAIRPIN, Kind.OCTAVE})
# Half steps above the open string where a natural harmonic can be written: the touched
# place (3, 4, 5, 7, 9, 12, 16, 19, 24, 28) or the partial it sounds (12, 19, 24, 28, 31, 34, 36).
HARMONIC_STEPS = frozenset({3, 4, 5, 7, 9, 12, 16, 19, 24, 28, 31, 34, 36})


@dataclass(frozen=True, slots=True)
class Problem:
    """Why a mark can't stand. `address` is where, `message` a sentence for the teacher."""

    address: str
    kind: Kind
    message: str


def check(line: Line, marks: Iterable[Mark], instrument: str = "viola") -> tuple[Problem, ...]:
    """Every mark that can't be, in reading order. An instrument other than violin or viola
    has its strings and fingers left unchecked."""
    marks = tuple(marks)
    found = [p for m in marks for p in _place(line, m)]
    placed = tuple(m for m in marks if not any(True for _ in _place(line, m)))
    found += _bow(line, placed)
    if instrument in OPEN_STRINGS:
        found += _hand(line, placed, OPEN_STRINGS[instrument])
    found += _spans(line, placed)
    return tuple(sorted(dict.fromkeys(found), key=lambda p: (parse_address(p.address), p.kind, p.message)))


def addable(line: Line, marks: Marks, mark: Mark, instrument: str = "viola") -> Marks:
    """Marks with one more. Raises MarkError with the reason when the new one can't stand."""
    after = put(marks, mark)
    before = {p.message for p in check(line, marks, instrument)}
    new = [p.message for p in check(line, after, instrument) if p.message not in before]
    if new:
        raise MarkError(new[0])
    return after


def _at(line: Line, address: str) -> str:
    return line.where(address).replace("bar", "Bar", 1)


def _word(kind: Kind) -> str:
    return {Kind.HOOK: "hooked bow", Kind.HOLD: "finger kept down", Kind.BOW: "bow direction"}.get(kind, str(kind))


def _place(line: Line, mark: Mark) -> Iterator[Problem]:
    """The mark's notes exist, aren't rests and stand in order."""
    inside = [a for a in (mark.at, mark.to) if a and a in line]
    if not inside or (mark.at not in line and not mark.to):
        yield Problem(mark.at, mark.kind, f"The {_word(mark.kind)} mark stands on a note outside this passage.")
        return
    for address in inside:
        event = line.event(address)
        if event.is_rest and mark.kind not in ON_RESTS:
            does = "can’t stand on a rest" if not mark.to else "can’t start or end on a rest"
            yield Problem(address, mark.kind, f"{_at(line, address)}: a {_word(mark.kind)} mark {does}.")
    if not mark.to:
        return
    start, end = parse_address(mark.at), parse_address(mark.to)
    if end[:2] < start[:2]:
        yield Problem(inside[0], mark.kind, f"{_at(line, inside[0])}: the {_word(mark.kind)} ends before it starts.")
    elif end[:2] == start[:2] and mark.kind in SPANS - {Kind.HAIRPIN, Kind.OCTAVE}:
        yield Problem(inside[0], mark.kind, f"{_at(line, inside[0])}: a {_word(mark.kind)} needs two notes.")


def _bow(line: Line, marks: Marks) -> Iterator[Problem]:
    by_event: dict[str, list[Mark]] = defaultdict(list)
    for mark in marks:
        if mark.at in line:
            by_event[event_address(mark.at)].append(mark)
    for address, here in by_event.items():
        event = line.event(address)
        kinds = {m.kind: m for m in here}
        if len({m.value for m in here if m.kind is Kind.BOW}) > 1:
            yield Problem(address, Kind.BOW, f"{_at(line, address)}: down-bow and up-bow on one note.")
        plucked = [m for m in here if m.kind is Kind.PIZZICATO and m.value != "arco"]
        if plucked and Kind.BOW in kinds:
            yield Problem(address, Kind.BOW, f"{_at(line, address)}: a plucked note has no bow direction.")
        if event.continues:
            for kind in (Kind.BOW, Kind.RETAKE):
                if kind in kinds:
                    reason = "the note is tied over and isn’t played anew"
                    yield Problem(address, kind, f"{_at(line, address)}: no {_word(kind)} here, {reason}.")
        if any(m.value == "arpeggio" for m in here if m.kind is Kind.ARTICULATION) and len(event.pitches) < 2:
            yield Problem(address, Kind.ARTICULATION, f"{_at(line, address)}: only a chord can be spread.")
        yield from _share(line, address, kinds)
        for mark in here:
            after = mark.option("after")
            if after and Fraction(after) >= max(event.duration, Fraction(1, 64)) and not mark.to:
                yield Problem(
                    address, mark.kind, f"{_at(line, address)}: the {mark.kind} mark would stand after the note’s end."
                )


def _share(line: Line, address: str, kinds: dict[Kind, Mark]) -> Iterator[Problem]:
    if Kind.AMOUNT not in kinds or Kind.PART not in kinds:
        return
    share, part = kinds[Kind.AMOUNT].share, kinds[Kind.PART].value
    if part in ("upper half", "lower half") and share > Fraction(1, 2):
        message = f"{_at(line, address)}: more than half the bow doesn’t fit in the {part}."
        yield Problem(address, Kind.AMOUNT, message)
    if part == "whole" and share < 1:
        yield Problem(address, Kind.AMOUNT, f"{_at(line, address)}: whole bow and a share of the bow on one note.")


def _hand(line: Line, marks: Marks, strings: tuple[Pitch, ...]) -> Iterator[Problem]:
    of: dict[Kind, dict[str, Mark]] = defaultdict(dict)
    for mark in marks:
        of[mark.kind][mark.at] = mark
    stated = _stated_strings(line, marks)
    for address, mark in of[Kind.HARMONIC].items():
        yield from _harmonic(line, address, mark, stated, strings)
    for address, names in stated.items():
        yield from _on_string(line, address, names, address in of[Kind.HARMONIC], strings)
    for address, mark in of[Kind.FINGER].items():
        if address in of[Kind.HARMONIC] or (parse_address(address)[2] == 0 and len(line.event(address).pitches) > 1):
            continue
        yield from _finger(line, address, mark, stated.get(address, ()), of[Kind.EXTENSION].get(address), strings)
    for address, mark in of[Kind.VIBRATO].items():
        finger, harmonic = of[Kind.FINGER].get(address), of[Kind.HARMONIC].get(address)
        if mark.value == "vibrato" and not mark.to and ((finger and finger.value == "0") or harmonic):
            what = "an open string" if not harmonic else "a harmonic"
            if not harmonic or harmonic.value == "natural":
                yield Problem(address, Kind.VIBRATO, f"{_at(line, address)}: {what} can’t be vibrated.")
    for address in of[Kind.EXTENSION]:
        if address in of[Kind.FINGER] and of[Kind.FINGER][address].value == "0":
            yield Problem(address, Kind.EXTENSION, f"{_at(line, address)}: an open string needs no extension.")
    yield from _chords(line, stated, strings)


def _stated_strings(line: Line, marks: Marks) -> dict[str, tuple[str, ...]]:
    """String names written for each note, by member address; a range gives its string to every note."""
    found: dict[str, list[str]] = defaultdict(list)
    for mark in marks:
        if mark.kind is not Kind.STRING:
            continue
        if not mark.to:
            found[mark.at].append(mark.value)
            continue
        first, last = parse_address(mark.at)[:2], parse_address(mark.to)[:2]
        for event in line.notes:
            single = len(event.pitches) == 1
            if single and first <= parse_address(event.address)[:2] <= last and not event.grace:
                found[event.address].append(mark.value)
    return {address: tuple(dict.fromkeys(names)) for address, names in found.items()}


def _above(pitch: Pitch, name: str, strings: tuple[Pitch, ...]) -> int:
    return pitch.midi - strings[STRING_NAMES.index(name)].midi


def _called(name: str, strings: tuple[Pitch, ...]) -> str:
    return f"{strings[STRING_NAMES.index(name)].letter} string ({name})"


def _on_string(
    line: Line, address: str, names: tuple[str, ...], harmonic: bool, strings: tuple[Pitch, ...]
) -> Iterator[Problem]:
    event, at = line.event(address), _at(line, address)
    whole_chord = len(event.pitches) > 1 and not parse_address(address)[2]
    if len(names) > 1 and not whole_chord:
        yield Problem(address, Kind.STRING, f"{at}: {' and '.join(names)} on one note.")
    for name in names:
        pitches = event.pitches if whole_chord else (line.pitch(address),)
        reach = 36 if harmonic else HIGHEST_SEMITONES
        if any(0 <= _above(p, name, strings) <= reach for p in pitches):
            continue
        above = _above(pitches[0], name, strings)
        why = "lies below the open" if above < 0 else "lies beyond the fingerboard on the"
        called = _called(name, strings)
        yield Problem(address, Kind.STRING, f"{at}: {pitches[0].label} {why} {called}.")


def _finger(
    line: Line, address: str, mark: Mark, names: tuple[str, ...], extension: Mark | None, strings: tuple[Pitch, ...]
) -> Iterator[Problem]:
    pitch, at = line.pitch(address), _at(line, address)
    candidates = names or STRING_NAMES
    for text in mark.value.split("-"):
        finger = int(text)
        if finger == 0:
            if not any(_above(pitch, n, strings) == 0 for n in candidates):
                where = f"the open strings are {', '.join(p.label for p in strings)}"
                if names:
                    where = f"the open {_called(names[0], strings)} is {strings[STRING_NAMES.index(names[0])].label}"
                yield Problem(address, Kind.FINGER, f"{at}: {pitch.label} is no open string; {where}.")
            continue
        reach = 1 if extension is not None and extension.value == "back" else 0
        letters = [pitch.step - strings[STRING_NAMES.index(n)].step for n in candidates if _stopped(pitch, n, strings)]
        if not letters:
            called = f" on the {_called(names[0], strings)}" if names else ""
            if not names or 0 <= _above(pitch, names[0], strings) <= HIGHEST_SEMITONES:
                yield Problem(address, Kind.FINGER, f"{at}: {pitch.label} can’t be stopped with a finger{called}.")
        elif max(letters) - finger + 1 + reach < 0:
            called = f" on the {_called(names[0], strings)}" if names else ""
            message = f"{at}: finger {finger} on {pitch.label}{called} would lie behind the nut."
            yield Problem(address, Kind.FINGER, message)


def _stopped(pitch: Pitch, name: str, strings: tuple[Pitch, ...]) -> bool:
    return 1 <= _above(pitch, name, strings) <= HIGHEST_SEMITONES


def _harmonic(
    line: Line, address: str, mark: Mark, stated: dict[str, tuple[str, ...]], strings: tuple[Pitch, ...]
) -> Iterator[Problem]:
    at = _at(line, address)
    names = stated.get(address, ())
    event = line.event(address)
    pitches = event.pitches if not parse_address(address)[2] else (line.pitch(address),)
    for name in names or ("",):
        chosen = (name,) if name else STRING_NAMES
        called = f" on the {_called(name, strings)}" if name else " on any string"
        if mark.value == "natural":
            if not any(_above(p, n, strings) in HARMONIC_STEPS for p in pitches for n in chosen):
                message = f"{at}: {pitches[0].label} is no natural harmonic{called}."
                yield Problem(address, Kind.HARMONIC, message)
        elif not any(_stopped(pitches[0], n, strings) for n in chosen):
            message = f"{at}: {pitches[0].label} can’t be stopped{called}, which an artificial harmonic needs."
            yield Problem(address, Kind.HARMONIC, message)


def _chords(line: Line, stated: dict[str, tuple[str, ...]], strings: tuple[Pitch, ...]) -> Iterator[Problem]:
    """Each note of a chord has a string of its own."""
    for event in line.notes:
        if len(event.pitches) < 2 or not any(m in stated for m in event.members):
            continue
        at = _at(line, event.address)
        named = [stated[m][0] for m in event.members if m in stated]
        twice = next((n for n in named if named.count(n) > 1), "")
        if twice:
            count = {2: "two", 3: "three", 4: "four"}[named.count(twice)]
            message = f"{at}: {count} notes of one chord on the {_called(twice, strings)}."
            yield Problem(event.address, Kind.STRING, message)
            continue
        free = [_choices(p, (), strings) for p in event.pitches]
        chosen = [_choices(p, stated.get(m, ()), strings) for p, m in zip(event.pitches, event.members, strict=True)]
        if all(chosen) and _apart(free) and not _apart(chosen):
            message = f"{at}: with {', '.join(named)} written, another note of the chord is left without a string."
            yield Problem(event.address, Kind.STRING, message)


def _choices(pitch: Pitch, names: tuple[str, ...], strings: tuple[Pitch, ...]) -> tuple[str, ...]:
    return tuple(n for n in names or STRING_NAMES if 0 <= _above(pitch, n, strings) <= HIGHEST_SEMITONES)


def _apart(choices: list[tuple[str, ...]], taken: frozenset[str] = frozenset()) -> bool:
    if not choices:
        return True
    return any(_apart(choices[1:], taken | {n}) for n in choices[0] if n not in taken)


def _spans(line: Line, marks: Marks) -> Iterator[Problem]:
    fingers = {m.at: m.value for m in marks if m.kind is Kind.FINGER}
    strings = {m.at: m.value for m in marks if m.kind is Kind.STRING and not m.to}
    for mark in marks:
        if not mark.to or mark.at not in line or mark.to not in line:
            continue
        at = _at(line, mark.at)
        first, last = _pitches(line, mark.at), _pitches(line, mark.to)
        if mark.kind is Kind.SLIDE:
            if first == last:
                yield Problem(mark.at, mark.kind, f"{at}: a slide needs two different notes.")
            a, b = strings.get(mark.at), strings.get(mark.to)
            if a and b and a != b:
                yield Problem(mark.at, mark.kind, f"{at}: a slide stays on one string, not {a} and {b}.")
        elif mark.kind is Kind.HOLD:
            if not set(first) & set(last):
                message = f"{at}: a finger kept down ends on its own note; {first[0].label} is not {last[0].label}."
                yield Problem(mark.at, mark.kind, message)
            yield from _held(line, mark, fingers, at)
    bowed = [m for m in marks if m.kind in (Kind.SLUR, Kind.HOOK) and m.at in line and m.to in line]
    bowed.sort(key=lambda m: (line.order(m.at), line.order(m.to)))
    for number, one in enumerate(bowed):
        end = line.order(one.to)
        for other in takewhile(lambda m: line.order(m.at) < end, bowed[number + 1 :]):  # noqa: B023
            same_voice = line.event(one.at).voice == line.event(other.at).voice
            if not same_voice or line.order(one.at) == line.order(other.at) or line.order(other.to) <= end:
                continue
            message = f"{_at(line, other.at)}: two slurs cross; end the first before the second starts."
            yield Problem(other.at, other.kind, message)


def _held(line: Line, mark: Mark, fingers: dict[str, str], at: str) -> Iterator[Problem]:
    held = fingers.get(mark.at, "")
    if held == "0":
        yield Problem(mark.at, mark.kind, f"{at}: an open string has no finger to keep down.")
    if held in ("", "0"):
        return
    kept = _pitches(line, mark.at)[0]
    for event in line.between(mark.at, mark.to)[1:-1]:
        for member in event.members:
            if fingers.get(member) == held and line.pitch(member) != kept:
                message = f"{_at(line, member)}: finger {held} is kept down on {kept.label} and can’t play"
                yield Problem(member, mark.kind, f"{message} {line.pitch(member).label}.")


def _pitches(line: Line, address: str) -> tuple[Pitch, ...]:
    event: Event = line.event(address)
    return (line.pitch(address),) if parse_address(address)[2] else event.pitches
