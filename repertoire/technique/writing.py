"""Writing marks onto picked notes: what a pencil does to a selection.

A selection is the first and the last address picked (the same for one note). Some kinds
stand on every picked note, some on the first only, some run from the first to the last,
or from one picked note to the next; a sign written where it already stands is rubbed out
again. What a new mark can't stand
beside (the shorter slur under a longer one, another ornament on the note) gives way.
Whether the result makes sense to a player is asked afterwards, by `checking.py`.
"""

from __future__ import annotations

from dataclasses import dataclass

from .line import Event, Line, event_address, parse_address
from .marks import MAY_SPAN, PER_MEMBER, SPANS, Kind, Mark, MarkError, Marks, put, take

EACH = frozenset({Kind.BOW, Kind.ARTICULATION, Kind.FINGER, Kind.EXTENSION, Kind.HARMONIC, Kind.ORNAMENT, Kind.FERMATA})
ON_RESTS = frozenset({Kind.FERMATA, Kind.TEXT, Kind.DYNAMIC, Kind.RETAKE, Kind.PIZZICATO})
# Put on one note, these go to the next one.
TO_THE_NEXT = frozenset({Kind.SLUR, Kind.HOOK, Kind.SLIDE, Kind.HOLD, Kind.HAIRPIN})
_STRUCK = frozenset({Kind.BOW, Kind.ARTICULATION, Kind.FINGER})  # a tied continuation isn't played anew


@dataclass(frozen=True, slots=True)
class Selection:
    """The picked notes, from the first to the last address, both included."""

    first: str
    last: str

    @classmethod
    def of(cls, line: Line, one: str, other: str = "") -> Selection:
        """The selection between two addresses in reading order. Raises MarkError."""
        other = other or one
        for address in (one, other):
            if address not in line:
                raise MarkError("Pick a note of this passage first.")
        if line.order(other) < line.order(one):
            one, other = other, one
        return cls(one, other)

    @property
    def single(self) -> bool:
        return event_address(self.first) == event_address(self.last)

    def events(self, line: Line) -> tuple[Event, ...]:
        """What is picked, in one voice where both ends are in it."""
        voices = {line.event(self.first).voice, line.event(self.last).voice}
        found = line.between(self.first, self.last)
        return found if len(voices) > 1 else tuple(e for e in found if e.voice in voices)

    def covers(self, line: Line, address: str) -> bool:
        """Whether an address lies in the selection; a picked chord note covers itself only."""
        if address not in line:
            return False
        if self.single and self.first == self.last and parse_address(self.first)[2]:
            return address == self.first
        return line.order(self.first) <= line.order(address) <= line.order(self.last)


def write(
    line: Line,
    marks: Marks,
    selection: Selection,
    kind: Kind,
    value: str = "",
    options: tuple[tuple[str, str], ...] = (),
) -> Marks:
    """Marks with one kind written on the selection, or rubbed out where all of it stands already.

    Raises MarkError when the selection doesn't suit the kind.
    """
    wanted = _wanted(line, marks, selection, kind, value, options)
    if all(mark in marks for mark in wanted):
        for mark in wanted:
            marks = take(marks, mark)
        return marks
    for mark in wanted:
        marks = tuple(m for m in marks if not _gives_way(line, m, mark))
        marks = put(marks, mark)
    return marks


def rub_out(line: Line, marks: Marks, selection: Selection) -> Marks:
    """Marks without those that start, end or stand on the selection.

    On one note of a chord its own marks go first; when it has none, the whole chord's.
    """
    found = [m for m in marks if selection.covers(line, m.at) or (m.to and selection.covers(line, m.to))]
    if not found and selection.single:
        whole = Selection(event_address(selection.first), event_address(selection.first))
        found = [m for m in marks if m.at in line and whole.covers(line, m.at) and not parse_address(m.at)[2]]
    return tuple(m for m in marks if m not in found)


def _wanted(
    line: Line, marks: Marks, selection: Selection, kind: Kind, value: str, options: tuple[tuple[str, str], ...]
) -> tuple[Mark, ...]:
    if kind in TO_THE_NEXT and selection.single:
        begun = _begun(line, marks, selection, kind, value)
        if begun:
            return begun
        selection = _to_the_next(line, selection, kind)
    if kind in SPANS and selection.single:
        raise MarkError(f"A {_word(kind)} needs a first and a last note: pick the first, then extend to the last.")
    if kind in SPANS or (kind in MAY_SPAN and not selection.single):
        ends = _ends(line, selection, kind)
        return (Mark(kind, ends[0], value, ends[1], options),)
    events = selection.events(line)
    if not selection.single:
        events = tuple(e for e in events if kind in ON_RESTS or not e.is_rest)
        if kind in _STRUCK:
            events = tuple(e for e in events if not e.continues)
    if not events:
        raise MarkError("Only rests are picked; pick a note.")
    if kind not in EACH:
        events = events[:1]
    return tuple(Mark(kind, _address(selection, event, kind), value, "", options) for event in events)


def _begun(line: Line, marks: Marks, selection: Selection, kind: Kind, value: str) -> tuple[Mark, ...]:
    """The marks of this sort that begin on the one picked note, however far they go."""
    event = line.event(selection.first)
    at = _member(event, selection.first) if kind in PER_MEMBER else event.address
    return tuple(m for m in marks if m.kind is kind and m.value == value and m.at == at)


def _to_the_next(line: Line, selection: Selection, kind: Kind) -> Selection:
    """From the one picked note to the next of its voice that is played anew. Raises MarkError."""
    here = line.event(selection.first)
    own = [e for e in line.events[line.order(here.address) + 1 :] if e.voice == here.voice]
    if here.is_rest:
        raise MarkError(f"A {_word(kind)} can’t start on a rest ({line.where(here.address)}).")
    following = next((e for e in own if not e.continues and (here.grace or not e.grace)), None)
    if following is None:
        raise MarkError(f"A {_word(kind)} goes to the next note, and none follows here.")
    if following.is_rest:
        raise MarkError(f"A {_word(kind)} goes to the next note, and a rest follows here: pick both notes.")
    last, rank = following.address, parse_address(selection.first)[2]
    if kind in PER_MEMBER and rank and len(following.pitches) > 1:
        last = following.member(min(rank, len(following.pitches)))
    return Selection(selection.first, last)


def _ends(line: Line, selection: Selection, kind: Kind) -> tuple[str, str]:
    events = [e for e in selection.events(line) if not e.is_rest]
    if len(events) < 2:
        raise MarkError(f"A {_word(kind)} runs over two notes or more.")
    first, last = line.event(selection.first), line.event(selection.last)
    for event in (first, last):
        if event.is_rest:
            raise MarkError(f"A {_word(kind)} can’t start or end on a rest ({line.where(event.address)}).")
    if kind not in PER_MEMBER:
        return first.address, last.address
    return _member(first, selection.first), _member(last, selection.last)


def _address(selection: Selection, event: Event, kind: Kind) -> str:
    if kind not in PER_MEMBER:
        return event.address
    return _member(event, selection.first if selection.single else event.address)


def _member(event: Event, address: str) -> str:
    """The note of a chord a mark is meant for: the one picked, else the lowest."""
    if len(event.pitches) > 1 and not parse_address(address)[2]:
        return event.member(1)
    return address


_BOWED = frozenset({Kind.SLUR, Kind.HOOK})


def _gives_way(line: Line, old: Mark, new: Mark) -> bool:
    """Whether an older mark can't stand beside a new one and has to go."""
    if new.kind is Kind.ORNAMENT:
        return old.kind is Kind.ORNAMENT and old.at == new.at
    if not new.to or not old.to or old.at not in line or old.to not in line:
        return False
    alike = old.kind is new.kind or (old.kind in _BOWED and new.kind in _BOWED)
    if new.kind in (Kind.HOLD, Kind.SLIDE) or not alike:
        return False
    if line.event(old.at).voice != line.event(new.at).voice:
        return False
    return (line.order(old.at) < line.order(new.to) and line.order(new.at) < line.order(old.to)) or _touch(old, new)


def _touch(old: Mark, new: Mark) -> bool:
    """Bows can't share a note; other spans may meet on one."""
    shared = {old.at, old.to} & {new.at, new.to}
    return bool(shared) and old.kind in _BOWED


def _word(kind: Kind) -> str:
    return {Kind.HOOK: "hooked group", Kind.HOLD: "held finger"}.get(kind, str(kind))
