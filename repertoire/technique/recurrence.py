"""The same music elsewhere in a part: where a passage comes again, and its marks carried there.

A place is compared onset by onset from the same beat of a bar, all voices and chords of it:
exactly the same, transposed by one interval or by steps of the key, or with small changes (a note
more or less, another pitch or length, a voice beside it), each of which is listed. Marks go over one by one; what
has no counterpart is named with a reason.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction

from .keys import signature_alteration
from .line import Event, Line, event_address, parse_address
from .marks import STRINGS, Aspect, Kind, Mark, Marks
from .pitch import Pitch

AFRESH = "at this interval the fingering has to be made afresh"
ENOUGH = Fraction(3, 4)  # share of the leading notes that must be the same for a small change
FEW = 3  # notes of another voice that are listed one by one


class Likeness(StrEnum):
    EXACT = "exact"
    TRANSPOSED = "transposed"
    CHANGED = "with small changes"


@dataclass(frozen=True)
class Occurrence:
    """One further occurrence. `steps` and `semitones` tell the transposition (0 and 0 at pitch),
    `pairs` lead from the passage's events to those here, `changes` list what differs. `in_key`
    tells that it is moved by steps of the key, some notes a semitone more or less."""

    likeness: Likeness
    first: str
    last: str
    bars: tuple[str, str]  # printed numbers of the first and last bar
    steps: int
    semitones: int
    pairs: Mapping[str, str]
    changes: tuple[str, ...]
    share: Fraction  # of the passage's notes that are the same
    in_key: bool = False


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
class _Notes:
    """The notes of a line in time order, each with its voice's place from the top (0 leads), the
    notes at each time, and the grace notes that lead to each."""

    line: Line
    events: tuple[Event, ...]
    times: tuple[Fraction, ...]
    rank: Mapping[str, int]
    at: Mapping[Fraction, tuple[Event, ...]]
    graces: Mapping[str, tuple[Event, ...]]

    @property
    def leading(self) -> Iterator[tuple[Fraction, Event]]:
        return ((t, e) for t, e in zip(self.times, self.events, strict=True) if not self.rank[e.address])

    @property
    def others(self) -> Iterator[tuple[Fraction, Event]]:
        return ((t, e) for t, e in zip(self.times, self.events, strict=True) if self.rank[e.address])


def _notes(line: Line) -> _Notes:
    """The lowest-numbered voice of every bar leads."""
    voices: dict[int, set[int]] = {}
    for event in line.notes:
        if not event.cue:
            voices.setdefault(event.bar, set()).add(event.voice)
    order = {bar: sorted(found) for bar, found in voices.items()}
    mine = [e for e in line.notes if not e.cue]
    events = tuple(sorted((e for e in mine if not e.grace), key=lambda e: (line.time(e), e.voice)))
    graces: dict[tuple[int, Fraction, int], list[Event]] = {}
    for event in mine:
        if event.grace:
            graces.setdefault((event.bar, event.onset, event.voice), []).append(event)
    times = tuple(line.time(e) for e in events)
    at: dict[Fraction, tuple[Event, ...]] = {}
    for time, event in zip(times, events, strict=True):
        at[time] = (*at.get(time, ()), event)
    rank = {e.address: order[e.bar].index(e.voice) for e in events}
    before = {e.address: tuple(graces.get((e.bar, e.onset, e.voice), ())) for e in events}
    return _Notes(line, events, times, rank, at, before)


def occurrences(passage: Line, part: Line, enough: Fraction = ENOUGH, *, own: bool = True) -> tuple[Occurrence, ...]:
    """Where the music of a passage comes again in the part, the passage itself left out, in
    the order of the part. The leading voice decides whether it comes, in whichever voice it
    stands there; what the other voices have otherwise is listed. Of finds that overlap the one
    most alike is kept; `enough` is the share of the leading notes a place must have alike.
    `own` is False where the part is another movement, whose addresses are others' notes."""
    pattern, whole = _notes(passage), _notes(part)
    leading = list(pattern.leading)
    if len(leading) < 2:
        return ()
    here = {e.address for e in pattern.events} if own else set()
    start, head = leading[0]
    beat = passage.bar(head.bar).beat(head.onset)
    end_time, last = leading[-1]
    length = end_time + last.duration - start
    found: list[tuple[Fraction, Occurrence]] = []
    for time, events in whole.at.items():
        if part.bar(events[0].bar).beat(events[0].onset) != beat:
            continue
        begin, end = bisect_left(whole.times, time), bisect_left(whole.times, time + length)
        if any(whole.events[i].address in here for i in range(begin, end)):
            continue
        match = _compare(pattern, whole, begin, end, enough)
        if match:
            found.append((time, match))
    found.sort(key=lambda f: (tuple(Likeness).index(f[1].likeness), -f[1].share, f[0]))
    out: list[tuple[Fraction, Occurrence]] = []
    for time, match in found:
        if all(abs(time - other) >= length for other, _ in out):
            out.append((time, match))
    return tuple(match for _, match in sorted(out, key=lambda f: f[0]))


Interval = tuple[int, int]


def _interval(a: Event, b: Event) -> Interval | None:
    """Letter steps and semitones from one note or chord to another; None where members differ."""
    if len(a.pitches) != len(b.pitches):
        return None
    moves = {_move(p, q) for p, q in zip(a.pitches, b.pitches, strict=True)}
    return moves.pop() if len(moves) == 1 else None


def _move(a: Pitch, b: Pitch) -> Interval:
    return (b.step - a.step, b.midi - a.midi)


def _moves(a: Event, b: Event) -> set[Interval]:
    """Every interval that could lead from one to the other; of chords with more or fewer members
    from each of one to each of the other."""
    if len(a.pitches) == len(b.pitches):
        return {move} if (move := _interval(a, b)) is not None else set()
    return {_move(p, q) for p in a.pitches for q in b.pitches}


def _common(couples: Iterable[tuple[Event, tuple[Event, ...]]]) -> Interval | None:
    """The interval most of the notes are moved by; of several the smallest."""
    counts: Counter[Interval] = Counter()
    for event, there in couples:
        counts.update(set().union(*(_moves(event, other) for other in there)))
    return max(counts, key=lambda m: (counts[m], -abs(m[1]), m)) if counts else None


def _within_key(pattern: _Notes, whole: _Notes, event: Event, other: Event, common: Interval) -> bool:
    """Moved by as many letters, from a note of the key to a note of the key."""
    here, there = pattern.line.bar(event.bar).key, whole.line.bar(other.bar).key
    return (
        common[0] % 7 != 0
        and len(event.pitches) == len(other.pitches)
        and all(
            q.step - p.step == common[0] and _of_key(p, here) and _of_key(q, there)
            for p, q in zip(event.pitches, other.pitches, strict=True)
        )
    )


def _of_key(pitch: Pitch, sharps: int) -> bool:
    return pitch.alter == signature_alteration(pitch.letter, sharps)


def _likeness(pattern: _Notes, whole: _Notes, event: Event, other: Event, common: Interval) -> int:
    """2 for the same notes, 1 where a chord has one of them, 0 for others."""
    if _interval(event, other) == common or _within_key(pattern, whole, event, other, common):
        return 2
    return int(any(_move(p, q) == common for p in event.pitches for q in other.pitches))


def _compare(pattern: _Notes, whole: _Notes, begin: int, end: int, enough: Fraction) -> Occurrence | None:
    """The notes from `begin` to before `end` against the pattern, onset by onset."""
    leading = list(pattern.leading)
    shift = whole.times[begin] - leading[0][0]
    couples: list[tuple[Event, tuple[Event, ...]]] = []
    misses, allowed = 0, int(len(leading) * (1 - enough))
    for time, event in leading:
        there = whole.at.get(time + shift, ())
        couples.append((event, there))
        misses += not there
        if misses > allowed:
            return None
    common = _common(couples)
    if common is None:
        return None
    couples += [(event, whole.at.get(time + shift, ())) for time, event in pattern.others]
    changes: list[str] = []
    missing: list[Event] = []  # of the other voices
    alike = 0
    pairs: dict[str, str] = {}
    used: set[str] = set()
    in_key = False
    for number, (event, there) in enumerate(couples):
        leads = number < len(leading)
        other = _counterpart_of(event, tuple(e for e in there if e.address not in used), pattern, whole, common)
        if other is None and leads:
            changes.append(f"a note less than in {pattern.line.where(event.address)} ({_names(event)})")
        elif other is None:
            missing.append(event)
        if other is None:
            continue
        used.add(other.address)
        pairs[event.address] = other.address
        in_key = in_key or (_interval(event, other) != common and _within_key(pattern, whole, event, other, common))
        told = _differences(pattern, whole, event, other, common)
        changes += told
        alike += leads and not told
        mine, its = pattern.graces[event.address], whole.graces[other.address]
        if len(mine) == len(its):
            pairs.update({a.address: b.address for a, b in zip(mine, its, strict=True)})
    if Fraction(alike, len(leading)) < enough:
        return None
    extra = [whole.events[i] for i in range(begin, end) if whole.events[i].address not in used]
    changes += _voices_told(pattern, whole, missing, extra)
    likeness = Likeness.CHANGED if changes else Likeness.EXACT if common == (0, 0) else Likeness.TRANSPOSED
    first = whole.line.event(pairs.get(leading[0][1].address, whole.events[begin].address))
    last = whole.events[end - 1]
    return Occurrence(
        likeness, first.address, last.address, (whole.line.bar(first.bar).number, whole.line.bar(last.bar).number),
        *common, pairs, tuple(changes), Fraction(alike, len(leading)), in_key,
    )  # fmt: skip


def _counterpart_of(
    event: Event, there: tuple[Event, ...], pattern: _Notes, whole: _Notes, common: Interval
) -> Event | None:
    """The note that stands for one of the passage's: alike in any voice, else in its own."""
    rank = pattern.rank[event.address]
    best = max(
        there,
        key=lambda e: (
            _likeness(pattern, whole, event, e, common),
            whole.rank[e.address] == rank,
            e.duration == event.duration,
        ),
        default=None,
    )
    if best is None or _likeness(pattern, whole, event, best, common) or whole.rank[best.address] == rank:
        return best
    return None


def _voices_told(pattern: _Notes, whole: _Notes, missing: list[Event], extra: list[Event]) -> list[str]:
    """Notes more and less; of another voice than the leading one in a sentence when they are many."""
    told = [_more(whole, e) for e in extra if not whole.rank[e.address]]
    beside = [e for e in extra if whole.rank[e.address]]
    if len(beside) > FEW:
        told.append(f"{_span(whole.line, beside)}: another voice beside it, {len(beside)} notes")
    else:
        told += [_more(whole, e) for e in beside]
    if len(missing) > FEW:
        told.append(f"{len(missing)} notes of another voice less than in {_span(pattern.line, missing)}")
    else:
        told += [f"a note less than in {pattern.line.where(e.address)} ({_names(e)})" for e in missing]
    return told


def _more(whole: _Notes, event: Event) -> str:
    return f"{whole.line.where(event.address)}: a note more ({_names(event)})"


def _span(line: Line, events: list[Event]) -> str:
    first, last = line.bar(events[0].bar).number, line.bar(events[-1].bar).number
    return f"bar {first}" if first == last else f"bars {first} to {last}"


def _names(event: Event) -> str:
    return " ".join(p.label for p in event.pitches)


def _differences(pattern: _Notes, whole: _Notes, event: Event, other: Event, common: Interval) -> list[str]:
    """What differs at one note, in words, with the place in the part."""
    out = []
    where = whole.line.where(other.address)
    if _interval(event, other) != common and not _within_key(pattern, whole, event, other, common):
        moved = " ".join(p.moved(steps=common[0], semitones=common[1]).label for p in event.pitches)
        out.append(f"{where}: {_names(other)} where {moved} was to be expected")
    same_size = len(event.pitches) == len(other.pitches)
    tied = event.tied_to != other.tied_to if same_size else any(event.tied_to) != any(other.tied_to)
    if event.duration != other.duration or tied:
        out.append(f"{where}: another length ({_names(other)})")
    mine, its = pattern.graces[event.address], whole.graces[other.address]
    if len(mine) != len(its):
        count, more = abs(len(its) - len(mine)), "more" if len(its) > len(mine) else "less"
        out.append(f"{where}: {'a grace note' if count == 1 else f'{count} grace notes'} {more}")
    elif any(
        _interval(a, b) != common and not _within_key(pattern, whole, a, b, common)
        for a, b in zip(mine, its, strict=True)
    ):
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
        at = _counterpart(mark, mark.at, passage, part, found)
        to = _counterpart(mark, mark.to, passage, part, found) if mark.to else ""
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


def _counterpart(mark: Mark, address: str, passage: Line, part: Line, found: Occurrence) -> str | None:
    """Where a mark goes: a hand's to the note it is for, also where a chord has more or fewer
    members there, a bow's to the whole chord."""
    there = found.pairs.get(event_address(address))
    if there is None:
        return None
    event = part.event(there)
    member = parse_address(address)[2]
    if not member and (mark.aspect is not Aspect.LEFT_HAND or len(event.pitches) == 1):
        return there
    pitch = passage.pitch(address)
    same = [n for n, p in enumerate(event.pitches, 1) if _move(pitch, p) == (found.steps, found.semitones)]
    if same:
        return event.member(same[0])
    if len(event.pitches) == len(passage.event(address).pitches):
        return event.member(member) if member else there
    return None


def _left_hand(mark: Mark, here: Pitch, there: Pitch, found: Occurrence) -> tuple[str, str]:
    """A reason against carrying a left-hand mark ("" for none), and its value there."""
    move = (there.step - here.step, there.midi - here.midi)
    if move != (found.steps, found.semitones):
        return (AFRESH if found.in_key and move[0] == found.steps else "another note stands there"), mark.value
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
