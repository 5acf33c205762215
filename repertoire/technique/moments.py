"""The passage as the left hand meets it: one moment for each note, double stop or chord.

A moment carries what a choice of fingering depends on: the notes, how long they last at
the tempo, rest before them, place in the bar, slurs, trills, vibrato wishes, and what is
already marked. Moments come from a written line with its marks (from a bare list of notes:
see `bare_notes.py`); tied notes are one moment, and voices that begin together are one
double stop.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Final

from .line import Event, Line, TempoMark, event_address
from .marks import Kind, Mark
from .pitch import Pitch
from .strings import string_number

USUAL_TEMPO: Final = 88  # quarter notes a minute when the part doesn't say
GRACE_LENGTH: Final = 0.2  # quarter notes a grace note is taken to last
_WORDS: Final[Mapping[str, int]] = {
    "larghetto": 60, "largo": 50, "lento": 52, "grave": 46, "adagietto": 64, "adagio": 54, "andantino": 80,
    "andante": 72, "moderato": 92, "allegretto": 104, "allegro": 126, "vivace": 144, "presto": 160,
}  # fmt: skip
MOST_NOTES: Final = 4  # under one hand
_SOFT: Final = frozenset(("p", "pp", "ppp", "pppp"))


@dataclass(frozen=True, slots=True)
class Wish:
    """What is marked at one note. `finger` 0 is the open string; `leaves` is the second
    finger of a substitution; `extension` is 1 forward, −1 back; `harmonic` "" or its kind."""

    finger: int | None = None
    string: int | None = None
    extension: int | None = None
    harmonic: str = ""
    leaves: int | None = None

    @property
    def marked(self) -> bool:
        return self != FREE


FREE: Final = Wish()


@dataclass(frozen=True, slots=True)
class Moment:
    """Notes that begin together, from below. `time` and `length` are quarter notes as
    written, `felt` is the length at the tempo in quarter notes of the usual tempo."""

    addresses: tuple[str, ...]
    pitches: tuple[Pitch, ...]
    wishes: tuple[Wish, ...]
    time: float
    length: float
    felt: float
    rest: float = 0.0  # silence before it
    bar_start: bool = False
    on_beat: bool = True
    slurred: bool = False  # inside a slur that began earlier
    trill: bool = False
    vibrato: bool = False
    held: bool = False  # a finger is to be kept down from the note before
    slide: bool = False  # a slide leads here from the note before
    soft: bool = False
    second_half: bool = False  # the arriving finger of a substitution on the same note
    key: int = 0  # sharps of the key in force, flats negative
    tied: tuple[tuple[str, str], ...] = field(default=())  # (address, first note it is tied from)
    shown: tuple[tuple[str, str], ...] = field(default=())  # (address, played as): touched and sounding notes
    sustained: tuple[str, ...] = ()  # of the addresses, those that began earlier and still sound


def wishes_of(line: Line, marks: Iterable[Mark]) -> dict[str, Wish]:
    """What is marked of the left hand, by the address of a chord member."""
    found: dict[str, dict[str, int | str | None]] = {}

    def note(address: str, **values: int | str | None) -> None:
        if address not in line:
            return
        event = line.event(address)
        member = event.members[0] if event_address(address) == address and event.members else address
        found.setdefault(member, {}).update(values)

    for mark in marks:
        if mark.at not in line or (mark.to and mark.to not in line):
            continue
        if mark.kind is Kind.FINGER:
            first, _, second = mark.value.partition("-")
            note(mark.at, finger=int(first), leaves=int(second) if second else None)
        elif mark.kind is Kind.EXTENSION:
            note(mark.at, extension=1 if mark.value == "forward" else -1)
        elif mark.kind is Kind.HARMONIC:
            note(mark.at, harmonic=mark.value)
        elif mark.kind is Kind.STRING:
            string = string_number(mark.value)
            if not mark.to:
                note(mark.at, string=string)
            else:
                for event in line.between(mark.at, mark.to):
                    if len(event.pitches) == 1:
                        note(event.address, string=string)
        elif mark.kind is Kind.ORNAMENT and mark.option("fingers"):
            fingers = [int(f) for f in mark.option("fingers").split("-")]
            note(mark.at, finger=min(fingers) if mark.value == "trill" else fingers[0])
    return {address: Wish(**values) for address, values in found.items()}  # type: ignore[arg-type]


class _Spans:
    """Which events lie inside a slur, hold or slide that began earlier."""

    def __init__(self, line: Line, marks: Iterable[Mark]) -> None:
        self.inside: dict[Kind, set[str]] = {k: set() for k in (Kind.SLUR, Kind.HOLD, Kind.SLIDE)}
        self.vibrato: set[str] = set()
        self.trills: set[str] = set()
        self.soft_from: dict[str, bool] = {}
        for mark in marks:
            if mark.at not in line or (mark.to and mark.to not in line):
                continue
            if mark.kind in self.inside:
                self.inside[mark.kind].update(e.address for e in line.between(mark.at, mark.to)[1:])
            elif mark.kind is Kind.VIBRATO and mark.value == "vibrato":
                events = line.between(mark.at, mark.to) if mark.to else (line.event(mark.at),)
                self.vibrato.update(e.address for e in events)
            elif mark.kind is Kind.ORNAMENT and mark.value in ("trill", "shake"):
                self.trills.add(event_address(mark.at))
            elif mark.kind is Kind.DYNAMIC:
                self.soft_from[event_address(mark.at)] = mark.value in _SOFT


def _tempo(line: Line, given: float | None) -> dict[int, float]:
    """Quarter notes a minute in force in each bar; in a cut also by what is printed before it."""
    out: dict[int, float] = {}
    now = float(given or USUAL_TEMPO)
    before = line.tempos_before
    for bar in line.bars:
        for tempo in (*before, *bar.tempos) if given is None else ():
            now = _read(tempo, float(bar.meter.beat), now)
        before = ()
        out[bar.index] = min(max(now, 30.0), 300.0)
    return out


def _read(tempo: TempoMark, beat: float, now: float) -> float:
    """Quarter notes a minute after a tempo mark; `beat` in quarter notes."""
    if tempo.per_minute:
        return float(tempo.per_minute) * (float(tempo.unit.quarters) if tempo.unit else beat)
    words = tempo.words.lower()
    return next((bpm * beat for word, bpm in _WORDS.items() if word in words), now)


def moments_of(line: Line, marks: Iterable[Mark] = (), tempo: float | None = None) -> tuple[Moment, ...]:
    """Moments of a written line. `tempo` in quarter notes a minute overrides what is printed."""
    marks = tuple(marks)
    wishes = wishes_of(line, marks)
    spans = _Spans(line, marks)
    tempos = _tempo(line, tempo)
    bars = {bar.index: bar for bar in line.bars}
    heads: dict[tuple[int, Fraction, int], list[Event]] = {}
    tied: dict[str, list[str]] = {}
    sounding: dict[tuple[int, Pitch], str] = {}
    over: set[str] = set()  # members of a chord tied over while others of it are new
    soft = False
    softs: dict[str, bool] = {}
    for place, event in enumerate(line.events):
        soft = spans.soft_from.get(event.address, soft)
        if event.is_rest or event.cue:
            continue
        if event.continues and all((event.voice, p) in sounding for p in event.pitches):
            for pitch, member in zip(event.pitches, event.members, strict=True):
                tied.setdefault(sounding[event.voice, pitch], []).append(member)
            continue
        softs[event.address] = soft
        for number, (pitch, member) in enumerate(zip(event.pitches, event.members, strict=True)):
            if event.tied_from and event.tied_from[number] and (event.voice, pitch) in sounding:
                tied.setdefault(sounding[event.voice, pitch], []).append(member)
                over.add(member)
            else:
                sounding[event.voice, pitch] = member
        heads.setdefault((event.bar, event.onset, place if event.grace else 10**9), []).append(event)
    out: list[Moment] = []
    end = 0.0
    lengths = _sounding_lengths(line)
    ends = _ends(line)
    under: list[tuple[Pitch, str]] = []  # notes begun earlier that may still sound
    measured = {b.index: (float(b.onset), float(b.missing), float(b.meter.beat)) for b in line.bars}
    for (_, onset, _), events in heads.items():
        played, shown = _harmonics(events, wishes)
        played = [pm for pm in played if pm[1] not in over]
        now = line.time(events[0])
        under = [pm for pm in under if ends[pm[1]] > now]
        room = MOST_NOTES - len(played)
        still = [pm for pm in under if all(pm[0] != p for p, _ in played)][-room:] if room > 0 else []
        found = sorted((*still, *played), key=lambda pm: pm[0].midi)
        under += [pm for pm in played if pm[1] not in shown.values()]
        sustained = tuple(m for _, m in still)
        first = events[0]
        bar = bars[first.bar]
        bar_onset, missing, unit = measured[first.bar]
        beats = (missing + float(onset)) / unit
        start = bar_onset + float(onset)
        length = float(max((lengths[e.address] for e in events), default=Fraction(0))) or GRACE_LENGTH
        moment = Moment(
            addresses=tuple(m for _, m in found),
            pitches=tuple(p for p, _ in found),
            wishes=tuple(
                replace(wishes.get(m, FREE), harmonic="artificial")
                if m in shown.values()
                else _after(wishes.get(m, FREE), m in sustained)
                for _, m in found
            ),
            time=start,
            length=length,
            felt=length * USUAL_TEMPO / tempos[first.bar],
            rest=max(0.0, start - end) if out else 8.0,
            bar_start=abs(beats) < 1e-6 and not first.grace,
            on_beat=abs(beats - round(beats)) < 1e-6 and not first.grace,
            slurred=any(e.address in spans.inside[Kind.SLUR] for e in events),
            trill=any(e.address in spans.trills for e in events),
            vibrato=any(e.address in spans.vibrato for e in events),
            held=any(e.address in spans.inside[Kind.HOLD] for e in events),
            slide=any(e.address in spans.inside[Kind.SLIDE] for e in events),
            soft=any(softs[e.address] for e in events),
            key=bar.key,
            tied=tuple((t, m) for e in events for m in e.members for t in tied.get(m, ())),
            shown=tuple(shown.items()),
            sustained=sustained,
        )
        out.extend(_halves(moment))
        end = max(end, start + (0.0 if first.grace else length))
    return tuple(out)


_TOUCHED: Final = frozenset((3, 4, 5, 7))  # half steps above the stopped note of an artificial harmonic


def _harmonics(events: Sequence[Event], wishes: Mapping[str, Wish]) -> tuple[list[tuple[Pitch, str]], dict[str, str]]:
    """Notes the hand stops, and which printed notes only show what is touched or sounds.

    An artificial harmonic may be printed as a stopped and a touched note, with the sounding
    note above as well; only the stopped note needs a place. Maps shown to stopped addresses.
    """
    notes = [(p, m) for e in events for p, m in zip(e.pitches, e.members, strict=True)]
    if not any(m in wishes and wishes[m].harmonic for _, m in notes):
        return notes, {}
    single = {
        e.members[0] for e in events if len(e.pitches) == 1 and wishes.get(e.members[0], FREE).harmonic == "natural"
    }
    shown: dict[str, str] = {}
    for event in events:
        if len(event.pitches) != 2 or event.pitches[1].midi - event.pitches[0].midi not in _TOUCHED:
            continue
        low, high = event.members
        if wishes.get(low, FREE).harmonic:
            continue
        if wishes.get(high, FREE).harmonic or single:
            shown[high] = low
            shown.update((address, low) for address in single)
    return [(p, m) for p, m in notes if m not in shown], shown


def _after(wish: Wish, sounds_on: bool) -> Wish:
    """What is marked at a note while it goes on sounding: of a substitution the finger that took over."""
    return replace(wish, finger=wish.leaves, leaves=None) if sounds_on and wish.leaves is not None else wish


def _ends(line: Line) -> dict[str, Fraction]:
    """When each note stops sounding, with what is tied to it, by the member it begins with."""
    ends: dict[str, Fraction] = {}
    head: dict[tuple[int, Pitch], str] = {}
    for event in line.events:
        end = line.time(event) + event.duration
        for number, (pitch, member) in enumerate(zip(event.pitches, event.members, strict=True)):
            key = (event.voice, pitch)
            if not (event.tied_from and event.tied_from[number] and key in head):
                head[key] = member
            ends[head[key]] = end
    return ends


def _sounding_lengths(line: Line) -> dict[str, Fraction]:
    """Length of each event with what is tied to it, by the address of its first event."""
    lengths = {e.address: e.duration for e in line.events}
    head: dict[tuple[int, Pitch], str] = {}
    for event in line.events:
        for number, pitch in enumerate(event.pitches):
            key = (event.voice, pitch)
            if event.tied_from and event.tied_from[number] and key in head and event.continues:
                if number == 0:
                    lengths[head[key]] += event.duration
            else:
                head[key] = event.address
    return lengths


def _halves(moment: Moment) -> tuple[Moment, ...]:
    """A substitution is two moments on one note: the finger that arrives, the finger that leaves."""
    if all(w.leaves is None for w in moment.wishes):
        return (moment,)
    half = moment.felt / 2
    before = tuple(replace(w, leaves=None) for w in moment.wishes)
    after = tuple(
        w if w.leaves is None else replace(w, finger=w.leaves, leaves=None, string=w.string) for w in moment.wishes
    )
    return (
        replace(moment, wishes=before, felt=half),
        replace(
            moment, wishes=after, felt=half, rest=0.0, bar_start=False, slurred=True, trill=False, second_half=True
        ),
    )
