"""Writing notes of a line anew: a note gives way to others of the same length, marks move along.

The bars stay, with their numbers; the events of each bar are counted afresh and a mark goes
to what has become of its note. Ties that no longer lead to their note are taken away.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from .line import Bar, Event, Grace, Line, LineError, Value, event_address, parse_address
from .marks import Kind, Mark, Marks
from .note_values import beamed, tied_values, value_of
from .pitch import Pitch


@dataclass(frozen=True, slots=True)
class Note:
    """A note to be written: `length` in quarter notes, no pitches for a rest. `value` is needed
    inside tuplets only; `finger` is written above it, `tied` ties it to the next of its row."""

    pitches: tuple[Pitch, ...]
    length: Fraction
    value: Value | None = None
    finger: str = ""
    grace: Grace = ""
    tied: bool = False
    tuplet_ends: tuple[str, ...] = ()
    string: str = ""


@dataclass(frozen=True)
class Rewritten:
    """The new line, where the events of the old one have gone, and marks of the new notes' own."""

    line: Line
    places: Mapping[str, tuple[str, ...]]
    own: Marks

    def first(self, address: str) -> str | None:
        """Where a mark on an old note (or chord member) stands now."""
        return self._at(address, 0)

    def last(self, address: str) -> str | None:
        return self._at(address, -1)

    def _at(self, address: str, which: int) -> str | None:
        found = self.places.get(event_address(address))
        if not found:
            return None
        member = parse_address(address)[2]
        if not member:
            return found[which]
        new = f"{found[which]}p{member}"
        return new if new in self.line and len(self.line.event(new).pitches) > 1 else found[which]

    def carry(self, marks: Iterable[Mark], keep: Callable[[Mark], bool] = lambda mark: True) -> Marks:
        """Marks on their new notes, with the new notes' own. Spans that have shrunk to one note go."""
        out = set(self.own)
        taken = {(m.kind, m.at) for m in self.own if m.kind in (Kind.FINGER, Kind.STRING)}
        for mark in marks:
            if not keep(mark):
                continue
            inside = mark.at in self.places or event_address(mark.at) in self.places
            if not mark.to:
                at = self.first(mark.at)
                if at is not None and (mark.kind, at) not in taken:
                    out.add(replace(mark, at=at))
                continue
            at = self.first(mark.at) if inside else mark.at
            to = self.last(mark.to) if event_address(mark.to) in self.places else mark.to
            if (
                at is None
                or to is None
                or (
                    event_address(at) == event_address(to)
                    and "after" not in dict(mark.options)
                    and "until" not in dict(mark.options)
                )
            ):
                continue
            out.add(replace(mark, at=at, to=to))
        return tuple(sorted(out))


def rewrite(
    line: Line,
    change: Callable[[Event], Sequence[Note] | None],
    *,
    bar_of: Callable[[Bar], Bar] = lambda bar: bar,
    scale: Fraction = Fraction(1),
    fresh_beams: bool = False,
    onsets: Mapping[str, Fraction] | None = None,
) -> Rewritten:
    """A line whose events have given way to `change(event)`: None keeps the event, () leaves it out.

    The notes for an event must last as long as it (times `scale`), unless it is left out as a
    grace note is. `bar_of` makes the new bar of an old one. With `onsets` (by old address) notes
    begin elsewhere in their bar and may have any length: for groups whose whole stays the same.
    Raises LineError.
    """
    bars: list[Bar] = []
    events: list[Event] = []
    places: dict[str, tuple[str, ...]] = {}
    own: list[Mark] = []
    onset = line.bars[0].onset if line.bars else Fraction(0)
    for bar in line.bars:
        made = replace(bar_of(bar), onset=onset)
        onset += made.length
        rows: list[tuple[Event, str, Note | None]] = []
        touched = fresh_beams
        for event in line.in_bar(bar.index):
            notes = change(event)
            if notes is None:
                rows.append((event, event.address, None))
                continue
            touched = touched or not event.grace
            rows += _written(event, notes, scale, line, (onsets or {}).get(event.address))
        rows.sort(key=lambda row: (row[0].onset, not row[0].grace))
        here = []
        for number, (event, source, note) in enumerate(rows, 1):
            address = f"b{bar.index}n{number}"
            here.append(replace(event, address=address))
            places[source] = (*places.get(source, ()), address)
            if note is not None and note.finger:
                own.append(Mark(Kind.FINGER, address, note.finger))
            if note is not None and note.string:
                own.append(Mark(Kind.STRING, address, note.string))
        bars.append(made)
        events += beamed(made, here) if touched else here
    written = replace(line, bars=tuple(bars), events=_mended(tuple(events), line))
    return Rewritten(written, places, tuple(own))


def _written(
    event: Event, notes: Sequence[Note], scale: Fraction, line: Line, moved: Fraction | None
) -> list[tuple[Event, str, Note | None]]:
    length = sum((n.length for n in notes if not n.grace), Fraction(0))
    if length != event.duration * scale and notes and not event.grace and moved is None:
        raise LineError(f"The notes written at {line.where(event.address)} don’t last as long as the note there.")
    onset = event.onset * scale if moved is None else moved
    bar = line.bar(event.bar)
    missing, beat = bar.missing * scale, bar.meter.beat * scale
    out: list[tuple[Event, str, Note | None]] = []
    main = [n for n in notes if not n.grace]
    for note in notes:
        if note.grace:
            made = Event(
                event.address, event.bar, onset, Fraction(0), note.pitches, note.value or Value("eighth"),
                event.voice, note.grace, cue=event.cue,
            )  # fmt: skip
            out.append((made, event.address, note))
            continue
        values = (note.value,) if note.value is not None else _values(onset + missing, note.length, event, beat)
        for place, value in enumerate(values):
            first, last = note is main[0] and not place, note is main[-1] and place == len(values) - 1
            inner = place < len(values) - 1
            ends = note.tuplet_ends or tuple(
                e for e in event.tuplet_ends if (e == "start" and first) or (e == "stop" and last)
            )
            size = len(note.pitches)
            made = Event(
                event.address, event.bar, onset, value.quarters, note.pitches, value, event.voice,
                tied_from=_ties(event.tied_from, size) if first else (place > 0 or note is not main[0],) * size,
                tied_to=_ties(event.tied_to, size) if last else (inner or note.tied,) * size,
                tuplet_ends=ends, cue=event.cue,
            )  # fmt: skip
            out.append((made, event.address, note if not place else None))
            onset += value.quarters
    return out


def _values(start: Fraction, length: Fraction, event: Event, beat: Fraction) -> tuple[Value, ...]:
    tuplet = event.value.tuplet
    found = value_of(length, tuplet) if tuplet is not None and not event.whole_bar else None
    return (found,) if found is not None else tied_values(start, length, beat)


def _ties(ties: tuple[bool, ...], size: int) -> tuple[bool, ...]:
    if len(ties) == size:
        return ties
    return (bool(ties) and all(ties),) * size


def _mended(events: tuple[Event, ...], before: Line) -> tuple[Event, ...]:
    """Ties that lead from a note to the same note; those that enter or leave the line stay."""
    out = list(events)
    last: dict[int, int] = {}
    following: dict[int, int] = {}
    for place, event in enumerate(out):
        if not event.grace:
            if event.voice in last:
                following[last[event.voice]] = place
            last[event.voice] = place
    leads: dict[int, set[int]] = {}
    for place, event in enumerate(out):
        if event.grace or not any(event.tied_to):
            continue
        after = following.get(place)
        if after is None:
            continue  # leaves the line
        other = out[after]
        stays = tuple(t and p in other.pitches for t, p in zip(event.tied_to, event.pitches, strict=True))
        out[place] = replace(event, tied_to=stays if any(stays) else ())
        leads.setdefault(after, set()).update(p.midi for t, p in zip(stays, event.pitches, strict=True) if t)
    firsts = {min((i for i, e in enumerate(out) if e.voice == v and not e.grace), default=-1) for v in last}
    for place, event in enumerate(out):
        if event.grace or not any(event.tied_from):
            if event.tied_from and not any(event.tied_from):
                out[place] = replace(out[place], tied_from=())
            continue
        if place in firsts and before.events and _enters(before, event):
            continue
        reached = leads.get(place, set())
        stays = tuple(t and p.midi in reached for t, p in zip(event.tied_from, event.pitches, strict=True))
        out[place] = replace(out[place], tied_from=stays if any(stays) else ())
    return tuple(replace(e, tied_to=()) if e.tied_to and not any(e.tied_to) else e for e in out)


def _enters(before: Line, event: Event) -> bool:
    first = next((e for e in before.events if not e.grace and e.voice == event.voice), None)
    return first is not None and any(first.tied_from) and event.pitches == first.pitches
