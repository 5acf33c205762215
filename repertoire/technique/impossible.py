"""What can't be played as it is marked or written, why, and the nearest that can.

A mark that can't be gives way in the completion: first the reach, then the string, then the
finger. A note that sounds on is let go where no hand can hold it. Each is a finding that
names the place and the reason; where other marks would do, they can be written instead.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations

from .fingering_paths import Engine
from .fingering_states import Choice, Stop
from .line import Line, event_address
from .marks import Kind, Mark, Marks, put
from .moments import FREE, Moment, Wish
from .pitch import Pitch
from .strings import open_strings, position_label, string_name

_WRITTEN = frozenset((Kind.FINGER, Kind.STRING, Kind.EXTENSION))
_REACHES = {1: "forward", -1: "back"}


@dataclass(frozen=True, slots=True)
class Finding:
    """A note or mark that can't be played as it stands: where, why, and the nearest possible.

    `stops` are the nearest as (address, stop), `lifted` the mark that keeps a finger down too
    long; both empty where the notes themselves are in the way.
    """

    address: str
    where: str
    reason: str
    nearest: str = ""
    stops: tuple[tuple[str, Stop], ...] = ()
    lifted: Mark | None = None

    @property
    def message(self) -> str:
        start = f"{self.where[:1].upper()}{self.where[1:]}: " if self.where else ""
        end = f" Nearest possible: {self.nearest}." if self.nearest else ""
        return f"{start}{self.reason}{end}"

    @property
    def mendable(self) -> bool:
        """Whether other marks would make it possible (see `mend`)."""
        return bool(self.stops) or self.lifted is not None

    def taken(self, moment: Moment, choice: Choice) -> Finding:
        """With what the completion takes there as the nearest possible."""
        members = zip(moment.addresses, moment.pitches, choice.stops, strict=True)
        new = [(a, p, s) for a, p, s in members if a not in moment.sustained]
        words = "; ".join(f"{p.label} {describe(s)}" if len(new) > 1 else describe(s) for _, p, s in new)
        return replace(self, nearest=words, stops=tuple((a, s) for a, _, s in new))


def describe(stop: Stop) -> str:
    """`finger 2 on II, 3rd position`, or `open III`."""
    if stop.finger == 0:
        return f"open {string_name(stop.string)}"
    return f"finger {stop.finger} on {string_name(stop.string)}, {position_label(stop.position)}"


def mend(line: Line, marks: Marks, finding: Finding) -> Marks:
    """The marks with the nearest possible in place of those that can't be."""
    if finding.lifted is not None:
        return _lifted(line, marks, finding.lifted, finding.address)
    for address, stop in finding.stops:
        for mark in marks:
            if mark.kind in _WRITTEN and not mark.to and _is_at(line, mark.at, address):
                marks = tuple(m for m in marks if m != mark)
            elif mark.kind is Kind.STRING and mark.to and mark.value != string_name(stop.string):
                marks = _parted(line, marks, mark, address)
        marks = put(marks, Mark(Kind.FINGER, address, str(stop.finger)))
        if stop.finger:  # an open string is known by its note
            marks = put(marks, Mark(Kind.STRING, address, string_name(stop.string)))
        if stop.extension:
            marks = put(marks, Mark(Kind.EXTENSION, address, _REACHES[stop.extension]))
    return marks


def _is_at(line: Line, marked: str, address: str) -> bool:
    """Whether a mark at one address is a mark of a note; a whole chord's is that of its lowest."""
    if marked == address:
        return True
    return marked in line and marked == event_address(address) and line.event(marked).members[0] == address


def _parted(line: Line, marks: Marks, span: Mark, address: str) -> Marks:
    """A string written over several notes, without one of them."""
    if span.at not in line or span.to not in line or address not in line:
        return marks
    events = [e for e in line.between(span.at, span.to) if not e.is_rest]
    here = event_address(address)
    if here not in [e.address for e in events]:
        return marks
    cut = [e.address for e in events].index(here)
    marks = tuple(m for m in marks if m != span)
    for part in (events[:cut], events[cut + 1 :]):
        if part:
            end = part[-1].address if len(part) > 1 else ""
            marks = put(marks, Mark(Kind.STRING, part[0].address, span.value, end))
    return marks


def _lifted(line: Line, marks: Marks, held: Mark, address: str) -> Marks:
    """A finger kept down until its own note returns for the last time before an address, or not at all."""
    pitch = line.pitch(held.at)
    until = ""
    for event in line.between(held.at, address)[1:-1]:
        if pitch in event.pitches:
            until = event.members[event.pitches.index(pitch)]
    marks = tuple(m for m in marks if m != held)
    return put(marks, replace(held, to=until)) if until else marks


@dataclass
class Playable:
    """Moments as they can be played, their places in the passage, and what had to give way.

    `softened` maps places among `moments` to the finding about marks left out there.
    """

    moments: list[Moment] = field(default_factory=list)
    places: list[int] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    softened: dict[int, int] = field(default_factory=dict)

    def settle(self, chosen: Sequence[Choice], line: Line | None) -> tuple[Finding, ...]:
        """The findings once the hand is decided: the nearest possible is what that hand takes."""
        for place, number in self.softened.items():
            found, moment, choice = self.findings[number], self.moments[place], chosen[place]
            self.findings[number] = found.taken(moment, choice)
        return (*self.findings, *_taken_away(self.moments, chosen, line))


def find_playable(moments: Sequence[Moment], run: Engine, instrument: str, line: Line | None) -> Playable:
    """What can be played of the moments; marks and notes that can't be give way and are named."""
    out = Playable()
    gone: set[str] = set()  # notes left out or let go, which sound under no later one
    for place, (moment, (_, rows)) in enumerate(zip(moments, run.table.spans(moments), strict=True)):
        if gone.intersection(moment.sustained):
            moment = _without(moment, gone)
            rows = _rows(moment, run)
        if not rows:
            found, possible = _without_sustained(moment, run, line) or _give_way(
                _without(moment, moment.sustained), run, instrument, line
            )
            out.findings.append(found)
            gone.update(set(moment.addresses).difference(possible.addresses if possible else ()))
            if possible is None:
                continue
            if not found.nearest:
                out.softened[len(out.moments)] = len(out.findings) - 1
            moment = possible
        out.moments.append(moment)
        out.places.append(place)
    return out


def _rows(moment: Moment, run: Engine) -> int:
    return run.table.spans([moment])[0][1]


def _without(moment: Moment, gone: Iterable[str]) -> Moment:
    """The moment without some of the notes that sound into it."""
    kept = [n for n, address in enumerate(moment.addresses) if address not in gone]
    return replace(
        moment,
        addresses=tuple(moment.addresses[n] for n in kept),
        pitches=tuple(moment.pitches[n] for n in kept),
        wishes=tuple(moment.wishes[n] for n in kept),
        sustained=tuple(a for a in moment.sustained if a not in gone),
    )


def _without_sustained(moment: Moment, run: Engine, line: Line | None) -> tuple[Finding, Moment] | None:
    """A moment whose new notes can be played once a note that sounds into it is let go: what is
    let go, and the moment that is left. Marks of new notes that would hold it are offered."""
    for count in range(1, len(moment.sustained) + 1):
        for gone in combinations(moment.sustained, count):
            attempt = _without(moment, gone)
            if not _rows(attempt, run):
                continue
            new = next(a for a in moment.addresses if a not in moment.sustained)
            names = dict(zip(moment.addresses, moment.pitches, strict=True))
            held = " and ".join(names[a].label for a in gone)
            where = line.where(new) if line else ""
            label = names[new].label
            other = _beside(moment, run)
            if other is None:
                reason = f"{label} can’t be reached by one hand while {held} sounds."
                return Finding(new, where, reason, f"let {held} go there"), attempt
            return Finding(new, where, f"{label} can’t be reached as marked while {held} sounds.").taken(
                moment, other
            ), attempt
    return None


def _beside(moment: Moment, run: Engine) -> Choice | None:
    """The cheapest way to play new notes beside those that sound on, their own marks left out."""
    new = [address not in moment.sustained for address in moment.addresses]
    if not any(wish.marked for wish, fresh in zip(moment.wishes, new, strict=True) if fresh):
        return None
    free = tuple(FREE if fresh else wish for wish, fresh in zip(moment.wishes, new, strict=True))
    return _cheapest(replace(moment, wishes=free), run)


def _cheapest(moment: Moment, run: Engine) -> Choice | None:
    start, rows = run.table.spans([moment])[0]
    if not rows:
        return None
    return run.table.choices[start + int(run.table.features[start : start + rows, 0].argmin())]


def _taken_away(moments: Sequence[Moment], chosen: Sequence[Choice], line: Line | None) -> list[Finding]:
    """Notes that should sound on but whose finger or string is taken from them."""
    out: list[Finding] = []
    for place in range(1, len(moments)):
        moment, before = moments[place], moments[place - 1]
        for address in moment.sustained:
            if address not in before.addresses:
                continue
            was = chosen[place - 1].stops[before.addresses.index(address)]
            now = chosen[place].stops[moment.addresses.index(address)]
            if (was.string, was.code) != (now.string, now.code):
                new = next(a for a in moment.addresses if a not in moment.sustained)
                label = moment.pitches[moment.addresses.index(new)].label
                held = moment.pitches[moment.addresses.index(address)].label
                reason = f"{label} can’t be reached while {describe(was)} holds {held}."
                out.append(Finding(new, line.where(new) if line else "", reason, f"let {held} go there"))
    return out


def _give_way(moment: Moment, run: Engine, instrument: str, line: Line | None) -> tuple[Finding, Moment | None]:
    """What can't be played in a moment, and the nearest moment that can."""
    address = moment.addresses[0]
    where = line.where(address) if line else ""
    opens = open_strings(instrument)
    if all(p.midi < opens[-1].midi for p in moment.pitches):
        return Finding(address, where, f"{moment.pitches[-1].label} lies below the {instrument}’s lowest string."), None
    for attempt in _softer(moment):
        if _rows(attempt, run):
            return Finding(address, where, _reason(moment, opens, instrument)), attempt
    for drop in range(1, len(moment.pitches)):
        top = _without(moment, moment.addresses[:drop])
        for attempt in (top, replace(top, wishes=(FREE,) * len(top.wishes))):
            if _rows(attempt, run):
                names = " and ".join(p.label for p in attempt.pitches)
                return Finding(address, where, _reason(moment, opens, instrument), f"{names} without the rest"), attempt
    return Finding(address, where, f"{moment.pitches[-1].label} can’t be reached on the {instrument}."), None


def _softer(moment: Moment) -> list[Moment]:
    """The moment with fewer and fewer of its marks."""
    if len(moment.pitches) == 1:
        wish = moment.wishes[0]
        tries: list[tuple[Wish, ...]] = [
            (softer,)
            for softer in (replace(wish, extension=None), replace(wish, string=None), replace(wish, finger=None), FREE)
        ]
    else:
        count = len(moment.wishes)
        tries = [  # one note's marks, then all fingers, then everything
            tuple(FREE if n == freed else w for n, w in enumerate(moment.wishes)) for freed in reversed(range(count))
        ]
        tries += [tuple(replace(w, finger=None) for w in moment.wishes), (FREE,) * count]
    return [replace(moment, wishes=wishes) for wishes in tries]


def _reason(moment: Moment, opens: Sequence[Pitch], instrument: str) -> str:
    """Why a moment can’t be played as marked."""
    if len(moment.pitches) == 1:
        return _reason_single(moment.pitches[0], moment.wishes[0], opens)
    names = ", ".join(p.label for p in moment.pitches)
    if len(moment.pitches) > 4:
        return f"{len(moment.pitches)} notes at once ({names}): there are four strings."
    below = [p for p in moment.pitches if p.midi < opens[-1].midi]
    if below:
        return f"{below[0].label} lies below the {instrument}’s lowest string."
    only = [p for p in moment.pitches if sum(p.midi >= o.midi for o in opens) == 1]
    if len(only) > 1:
        return f"{' and '.join(p.label for p in only)} both lie on string {string_name(4)} only."
    for string in (1, 2, 3, 4):
        here = [p.label for p, w in zip(moment.pitches, moment.wishes, strict=True) if w.string == string]
        if len(here) > 1:
            return f"{' and '.join(here)} can’t sound together on string {string_name(string)}."
    marked = any(w.marked for w in moment.wishes)
    return f"{names} together can’t be reached by one hand{' as marked' if marked else ' on neighbouring strings'}."


def _reason_single(pitch: Pitch, wish: Wish, opens: Sequence[Pitch]) -> str:
    if wish.string is not None:
        above = pitch.midi - opens[wish.string - 1].midi
        if above < 0:
            return f"{pitch.label} lies below string {string_name(wish.string)}."
        if wish.finger == 0:
            return f"{pitch.label} isn’t the open string {string_name(wish.string)}."
        if above == 0:
            return f"{pitch.label} on string {string_name(wish.string)} is the open string; no finger can stop it."
    if wish.finger == 0:
        return f"{pitch.label} isn’t an open string."
    if wish.extension is not None:
        which = "a fourth finger reaching forward" if wish.extension == 1 else "a first finger reaching back"
        return f"{pitch.label} can’t be taken by {which} there."
    return f"Finger {wish.finger} can’t take {pitch.label}: it would lie behind the nut."
