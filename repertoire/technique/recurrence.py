"""The same music elsewhere in a part: where a passage comes again, and its marks carried there.

A place is compared onset by onset from the same beat of a bar: exactly the same, transposed
by one interval, or with small changes (a note more or less, another pitch or length), each
of which is listed. Marks go over one by one; what has no counterpart is named with a reason.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction

from .line import Event, Line, event_address, parse_address
from .marks import STRINGS, Aspect, Kind, Mark, Marks
from .pitch import Pitch

AFRESH = "at this interval the fingering has to be made afresh"
ENOUGH = Fraction(3, 4)  # share of the notes that must be the same for a small change


class Likeness(StrEnum):
    EXACT = "exact"
    TRANSPOSED = "transposed"
    CHANGED = "with small changes"


@dataclass(frozen=True)
class Occurrence:
    """One further occurrence. `steps` and `semitones` tell the transposition (0 and 0 at pitch),
    `pairs` lead from the passage's events to those here, `changes` list what differs."""

    likeness: Likeness
    first: str
    last: str
    bars: tuple[str, str]  # printed numbers of the first and last bar
    steps: int
    semitones: int
    pairs: Mapping[str, str]
    changes: tuple[str, ...]
    share: Fraction  # of the passage's notes that are the same


@dataclass(frozen=True, slots=True)
class NotCarried:
    """A mark that has no place in the occurrence, and why."""

    mark: Mark
    reason: str


@dataclass(frozen=True, slots=True)
class Carried:
    """Marks carried over, each beside the mark it came from, and those left out."""

    pairs: tuple[tuple[Mark, Mark], ...]
    left_out: tuple[NotCarried, ...]

    @property
    def marks(self) -> Marks:
        return tuple(sorted({new for _, new in self.pairs}))


@dataclass(frozen=True)
class _Voice:
    """Notes of the leading voice in time order, with the grace notes that lead to each."""

    line: Line
    events: tuple[Event, ...]
    times: tuple[Fraction, ...]
    graces: Mapping[str, tuple[Event, ...]]


def _leading(line: Line) -> _Voice:
    """The notes of the lowest-numbered voice of every bar."""
    lowest: dict[int, int] = {}
    for event in line.events:
        lowest[event.bar] = min(lowest.get(event.bar, event.voice), event.voice)
    mine = [e for e in line.notes if not e.cue and e.voice == lowest[e.bar]]
    events = tuple(e for e in mine if not e.grace)
    graces: dict[tuple[int, Fraction], list[Event]] = {}
    for event in mine:
        if event.grace:
            graces.setdefault((event.bar, event.onset), []).append(event)
    before = {e.address: tuple(graces.get((e.bar, e.onset), ())) for e in events}
    return _Voice(line, events, tuple(line.time(e) for e in events), before)


def occurrences(passage: Line, part: Line, enough: Fraction = ENOUGH, *, own: bool = True) -> tuple[Occurrence, ...]:
    """Where the music of a passage comes again in the part, the passage itself left out, in
    the order of the part. Only the leading voice is compared. Of finds that overlap the one
    most alike is kept; `enough` is the share of notes a place with changes must have alike.
    `own` is False where the part is another movement, whose addresses are others' notes."""
    pattern, whole = _leading(passage), _leading(part)
    if len(pattern.events) < 2:
        return ()
    here = {e.address for e in pattern.events} if own else set()
    head = pattern.events[0]
    beat = passage.bar(head.bar).beat(head.onset)
    length = pattern.times[-1] + pattern.events[-1].duration - pattern.times[0]
    found: list[Occurrence] = []
    for begin, event in enumerate(whole.events):
        if event.address in here or part.bar(event.bar).beat(event.onset) != beat:
            continue
        end = bisect_left(whole.times, whole.times[begin] + length)
        if any(whole.events[i].address in here for i in range(begin, end)):
            continue
        match = _compare(pattern, whole, begin, end, enough)
        if match:
            found.append(match)
    found.sort(key=lambda o: (tuple(Likeness).index(o.likeness), -o.share, part.order(o.first)))
    taken: set[str] = set()
    out: list[Occurrence] = []
    for match in found:
        there = {e.address for e in part.between(match.first, match.last)}
        if not there & taken:
            taken |= there
            out.append(match)
    return tuple(sorted(out, key=lambda o: part.order(o.first)))


Interval = tuple[int, int]


def _interval(a: Event, b: Event) -> Interval | None:
    """Letter steps and semitones from one note or chord to another; None where members differ."""
    if len(a.pitches) != len(b.pitches):
        return None
    moves = {(q.step - p.step, q.midi - p.midi) for p, q in zip(a.pitches, b.pitches, strict=True)}
    return moves.pop() if len(moves) == 1 else None


def _compare(pattern: _Voice, whole: _Voice, begin: int, end: int, enough: Fraction) -> Occurrence | None:
    """The notes from `begin` to before `end` against the pattern, onset by onset."""
    offsets = {whole.times[i] - whole.times[begin]: whole.events[i] for i in range(begin, end)}
    start = pattern.times[0]
    couples: list[tuple[Event, Event | None]] = []
    misses, allowed = 0, int(len(pattern.events) * (1 - enough))
    for event, time in zip(pattern.events, pattern.times, strict=True):
        other = offsets.get(time - start)
        couples.append((event, other))
        misses += other is None
        if misses > allowed:
            return None
    counts = Counter(move for a, b in couples if b is not None and (move := _interval(a, b)) is not None)
    if not counts:
        return None
    common = max(counts, key=lambda m: (counts[m], -abs(m[1]), m))
    changes: list[str] = []
    alike = 0
    pairs: dict[str, str] = {}
    for event, other in couples:
        if other is None:
            changes.append(f"a note less than in {pattern.line.where(event.address)} ({_names(event)})")
            continue
        pairs[event.address] = other.address
        told = _differences(pattern, whole, event, other, common)
        changes += told
        alike += not told
        mine, its = pattern.graces[event.address], whole.graces[other.address]
        if len(mine) == len(its):
            pairs.update({a.address: b.address for a, b in zip(mine, its, strict=True)})
    if Fraction(alike, len(couples)) < enough:
        return None
    used = set(pairs.values())
    extra = [whole.events[i] for i in range(begin, end) if whole.events[i].address not in used]
    changes += [f"{whole.line.where(e.address)}: a note more ({_names(e)})" for e in extra]
    likeness = Likeness.CHANGED if changes else Likeness.EXACT if common == (0, 0) else Likeness.TRANSPOSED
    first, last = whole.events[begin], whole.events[end - 1]
    return Occurrence(
        likeness, first.address, last.address, (whole.line.bar(first.bar).number, whole.line.bar(last.bar).number),
        *common, pairs, tuple(changes), Fraction(alike, len(couples)),
    )  # fmt: skip


def _names(event: Event) -> str:
    return " ".join(p.label for p in event.pitches)


def _differences(pattern: _Voice, whole: _Voice, event: Event, other: Event, common: Interval) -> list[str]:
    """What differs at one note, in words, with the place in the part."""
    out = []
    where = whole.line.where(other.address)
    if _interval(event, other) != common:
        moved = " ".join(p.moved(steps=common[0], semitones=common[1]).label for p in event.pitches)
        out.append(f"{where}: {_names(other)} where {moved} was to be expected")
    if event.duration != other.duration or event.tied_to != other.tied_to:
        out.append(f"{where}: another length ({_names(other)})")
    mine, its = pattern.graces[event.address], whole.graces[other.address]
    if len(mine) != len(its):
        more = "more" if len(its) > len(mine) else "less"
        out.append(f"{where}: {abs(len(its) - len(mine))} grace note(s) {more}")
    elif any(_interval(a, b) != common for a, b in zip(mine, its, strict=True)):
        out.append(f"{where}: other grace notes")
    return out


def carry(
    marks: Iterable[Mark], passage: Line, part: Line, found: Occurrence, aspects: tuple[Aspect, ...] = (Aspect.BOW,)
) -> Carried:
    """Marks of the passage carried to an occurrence, mark for mark.

    Left-hand marks go over at the same pitch, or a fifth away with their strings moved to the
    neighbour; elsewhere they need a fresh fingering and are named as left out.
    """
    pairs: list[tuple[Mark, Mark]] = []
    left: list[NotCarried] = []
    for mark in sorted(set(marks)):
        if mark.aspect not in aspects or mark.at not in passage:
            continue
        at = _counterpart(mark.at, part, found)
        to = _counterpart(mark.to, part, found) if mark.to else ""
        if at is None or to is None:
            left.append(
                NotCarried(mark, f"no note stands there for {passage.where(mark.at if at is None else mark.to)}")
            )
            continue
        value = mark.value
        if mark.aspect is Aspect.LEFT_HAND:
            reason, value = _left_hand(mark, passage.pitch(mark.at), part.pitch(at), found)
            if reason:
                left.append(NotCarried(mark, reason))
                continue
        pairs.append((mark, replace(mark, at=at, to=to, value=value)))
    return Carried(tuple(pairs), tuple(left))


def _counterpart(address: str, part: Line, found: Occurrence) -> str | None:
    there = found.pairs.get(event_address(address))
    member = parse_address(address)[2]
    if there is None or member > len(part.event(there).pitches):
        return None
    return f"{there}p{member}" if member else there


def _left_hand(mark: Mark, here: Pitch, there: Pitch, found: Occurrence) -> tuple[str, str]:
    """A reason against carrying a left-hand mark ("" for none), and its value there."""
    move = (there.step - here.step, there.midi - here.midi)
    if move != (found.steps, found.semitones):
        return "another note stands there", mark.value
    if move == (0, 0):
        return "", mark.value
    if move not in ((4, 7), (-4, -7)):
        return AFRESH, mark.value
    if mark.kind is Kind.STRING:
        place = STRINGS.index(mark.value) + (1 if move[1] < 0 else -1)
        if not 0 <= place < len(STRINGS):
            return "there is no neighbouring string on that side", mark.value
        return "", STRINGS[place]
    return "", mark.value
