"""What a marked line sounds like in time: when each note begins and ends, how loud, in which bow.

Times are quarter notes of played time, through repeats and endings, so that one schedule
serves every tempo; `seconds` turns them round. What is written decides: slurred notes are
connected, others are let go a little early by their articulation, a dynamic holds until the
next, a hairpin leads from one to the other. How much is let go, how loud a dynamic is and
how short a grace note is are choices made here for listening, not rules of the trade.

Trills, turns and mordents sound as technique/ornaments.py writes them out; fermatas are held and
tempo marks followed as technique/pulse.py has it. Left as written: ritardandos and other
changes without a figure, tremolo between two notes, natural harmonics.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any, Final

from repertoire.technique.line import Event, Line, Value, event_address
from repertoire.technique.loudness import LEVELS, loudness
from repertoire.technique.marks import Kind, Marks
from repertoire.technique.ornaments import USUAL_TEMPO, Sounding
from repertoire.technique.pitch import Pitch
from repertoire.technique.played import Played, played, played_bars
from repertoire.technique.pulse import EVEN, Pulse, held, tempo_shares
from repertoire.technique.spans import spanning

from .sounding_ornaments import written_out

FORMAT: Final = 1
GRACE: Final = Fraction(1, 8)  # quarter notes of a short grace note
DETACHED: Final = Fraction(9, 10)  # share of its length that an unmarked separate note sounds
SOUNDING: Final[Mapping[str, Fraction]] = {
    "staccato": Fraction(1, 2), "staccatissimo": Fraction(1, 3), "tenuto": Fraction(1), "marcato": Fraction(4, 5),
    "stopped": Fraction(1, 2), "detached legato": Fraction(4, 5),
}  # fmt: skip
IN_ONE_BOW: Final[Mapping[str, Fraction]] = {"hooked": Fraction(3, 4), "portato": Fraction(7, 8)}
LEVEL_IF_UNSET: Final = LEVELS.index("mf")
ACCENT: Final = 0.15


class PlayingError(ValueError):
    """A tempo or unit that can't be played."""


@dataclass(frozen=True, slots=True)
class Sound:
    """One sounding note. `onset` and `length` in quarter notes of played time; `level` 0 to 1;
    `joined` tells that it follows in the same bow without a stop; `pizzicato` that it is plucked."""

    address: str
    pass_number: int
    onset: Fraction
    length: Fraction
    pitch: Pitch
    level: float
    joined: bool = False
    pizzicato: bool = False
    accent: bool = False

    @property
    def end(self) -> Fraction:
        return self.onset + self.length


@dataclass(frozen=True, slots=True)
class Click:
    """One stroke of the metronome; `accent` at the beginning of a bar."""

    onset: Fraction
    accent: bool


@dataclass(frozen=True, slots=True)
class Schedule:
    """A line in played time. `length` in quarter notes of the opening tempo, holds included; `unit` is
    the beat the tempo counts, in quarter notes; `count_in` the clicks of one bar before the start, at
    times below 0; `pulse` says how time ran."""

    sounds: tuple[Sound, ...]
    clicks: tuple[Click, ...]
    count_in: tuple[Click, ...]
    length: Fraction
    unit: Fraction
    pulse: Pulse = EVEN

    def as_json(self) -> dict[str, Any]:
        """For the player in the browser: times as numbers, notes as rows in the order of `columns`."""
        columns = ("address", "pass", "onset", "length", "midi", "level", "joined", "pizzicato", "accent")
        rows = [
            [
                s.address, s.pass_number, _number(s.onset), _number(s.length), s.pitch.midi, round(s.level, 3),
                int(s.joined), int(s.pizzicato), int(s.accent),
            ]
            for s in self.sounds
        ]  # fmt: skip
        return {
            "format": FORMAT,
            "columns": list(columns),
            "notes": rows,
            "clicks": [[_number(c.onset), int(c.accent)] for c in self.clicks],
            "countIn": [[_number(c.onset), int(c.accent)] for c in self.count_in],
            "length": _number(self.length),
            "unit": _number(self.unit),
            "beats": [[_number(self.pulse.at(place)), _number(share)] for place, share in self.pulse.changes],
        }


def unit_quarters(unit: str) -> Fraction:
    """Quarter notes in a beat unit: `dotted quarter` is 3/2. Raises PlayingError."""
    dotted, _, plain = unit.rpartition(" ")
    try:
        return Value(plain, 1 if dotted == "dotted" else 0).quarters
    except KeyError:
        raise PlayingError(f"“{unit}” is not a beat unit; write it like quarter or dotted quarter.") from None


def seconds(quarters: Fraction, tempo: int, unit: Fraction = Fraction(1)) -> float:
    """How long some quarter notes last at a tempo in beats of `unit` quarter notes a minute. Raises PlayingError."""
    if tempo <= 0:
        raise PlayingError("A tempo is above 0.")
    return float(quarters * 60 / (tempo * unit))


def schedule(
    line: Line,
    marks: Marks = (),
    *,
    unit: Fraction = Fraction(1),
    tempo: float = USUAL_TEMPO,
    pulse: Pulse | None = None,
) -> Schedule:
    """The line as it is played with its marks; clicks fall on beats of `unit` where the bars allow it.

    `tempo`, in quarter notes a minute, decides how many notes a trill has, and is what later tempo
    marks are measured by where the part tells no tempo for its beginning; a `pulse` given is that of
    another part that is played meanwhile.
    """
    manners = _manners(line, marks)
    sounds = _bow_tremolo(_in_played_time(line, manners, written_out(line, marks, tempo)), line)
    bars = played_bars(line)
    if pulse is None:
        shares = tempo_shares(line, Fraction(tempo).limit_denominator(1000))
        pulse = Pulse(shares, held(line, marks, _ends(sounds, line), bars))
    if not pulse.even:
        sounds = [replace(s, onset=pulse.at(s.onset), length=pulse.at(s.end) - pulse.at(s.onset)) for s in sounds]
    length = pulse.at(bars[-1].onset + bars[-1].bar.length) if bars else Fraction(0)
    clicks = tuple(replace(click, onset=pulse.at(click.onset)) for click in _clicks(line, unit))
    return Schedule(_let_go(sounds, line, manners), clicks, _count_in(line, unit), length, unit, pulse)


def _ends(sounds: Iterable[Sound], line: Line) -> dict[tuple[str, int], Fraction]:
    """Where a held event's sound is drawn out: at the end of its last stroke, of the longest note of a
    written-out ornament, of a chord's members."""
    longest: dict[tuple[str, int], Sound] = {}
    for sound in sounds:
        key = (event_address(sound.address), sound.pass_number)
        before = longest.setdefault(key, sound)
        if sound.length > before.length or line.event(sound.address).tremolo:
            longest[key] = sound
    return {key: sound.end for key, sound in longest.items()}


def _step(full: Fraction, unit: Fraction, beat: Fraction) -> Fraction:
    """The beat to strike: the tempo's own unit where whole ones fill the bar, else the meter's."""
    return unit if full % unit == 0 else beat


def _clicks(line: Line, unit: Fraction) -> tuple[Click, ...]:
    out: list[Click] = []
    for at in played_bars(line):
        full = at.bar.missing + at.bar.length
        step = _step(full, unit, at.bar.meter.beat)
        places = (n * step for n in range(-(-full // step)))
        out += [Click(at.onset + place - at.bar.missing, place == 0) for place in places if place >= at.bar.missing]
    return tuple(out)


def _count_in(line: Line, unit: Fraction) -> tuple[Click, ...]:
    """One bar of clicks; before an upbeat the beats that are missing, with a bar before them if they are few."""
    if not line.bars:
        return ()
    first = line.bars[0]
    full = first.meter.length
    step = _step(full, unit, first.meter.beat)
    bar = [n * step for n in range(-(-full // step))]
    missing = first.missing
    if missing * 2 >= full:
        return tuple(Click(place - missing, place == 0) for place in bar if place < missing)
    before = [Click(place - full - missing, place == 0) for place in bar]
    return (*before, *(Click(place - missing, place == 0) for place in bar if place < missing))


@dataclass(frozen=True, slots=True)
class _Manner:
    """How one written event is played: `share` of its length sounds, `joined` to the one before."""

    share: Fraction
    level: float
    joined: bool
    pizzicato: bool
    accent: bool
    harmonic: bool


def _in_played_time(
    line: Line, manners: Mapping[str, _Manner], ornaments: Mapping[str, tuple[Sounding, ...]]
) -> list[Sound]:
    out: list[Sound] = []
    sounding: dict[tuple[int, int], int] = {}  # (voice, MIDI number) to the sound a tie may lengthen
    graces: list[Played] = []
    bar = (0, 0)
    for at in played(line):
        event = at.event
        jumped = at.after_jump and bar != (event.bar, at.pass_number)
        bar = (event.bar, at.pass_number)
        if jumped:  # what was tied or slurred over the barline on paper isn't in playing
            sounding.clear()
        if event.is_rest or event.cue:
            graces = []
            continue
        if event.grace:
            graces.append(at)
            continue
        onset, length = at.onset, event.duration
        manner = manners[event.address]
        joined = manner.joined and not jumped
        if graces:  # played in one bow with their note
            onset, length = _play_graces(out, graces, at, manners, joined=joined)
            graces, joined = [], True
        if event.address in ornaments:
            stretched = length / event.duration  # grace notes may have taken a share
            for sounding_note in ornaments[event.address]:
                lasts = sounding_note.length * stretched
                out.append(
                    Sound(
                        event.address, at.pass_number, onset, lasts, sounding_note.pitch, manner.level, joined,
                        manner.pizzicato, manner.accent and onset == at.onset,
                    )
                )  # fmt: skip
                onset, joined = onset + lasts, True
            continue
        for pitch, tied, number in _members(event, manner):
            key = (event.voice, pitch.midi)
            if tied and key in sounding:
                held = out[sounding[key]]
                out[sounding[key]] = replace(held, length=at.onset + event.duration - held.onset)
            else:
                sounding[key] = len(out)
                out.append(
                    Sound(
                        event.member(number), at.pass_number, onset, length, pitch, manner.level,
                        joined, manner.pizzicato, manner.accent,
                    )
                )  # fmt: skip
    return out


def _members(event: Event, manner: _Manner) -> Iterable[tuple[Pitch, bool, int]]:
    """Sounding pitch, whether it is tied from before, and its number in the chord."""
    if manner.harmonic:  # a fourth touched above the stopped note: two octaves higher
        yield event.pitches[0].moved(steps=14, semitones=24), event.continues, 1
        return
    for number, pitch in enumerate(event.pitches, 1):
        yield pitch, bool(event.tied_from) and event.tied_from[number - 1], number


def _play_graces(
    out: list[Sound], graces: list[Played], main: Played, manners: Mapping[str, _Manner], *, joined: bool
) -> tuple[Fraction, Fraction]:
    """Add the grace notes before a main note; returns where the main note then begins and how long it is."""
    event = main.event
    whole = event.duration
    if len(graces) == 1 and graces[0].event.grace == "plain":
        # An appoggiatura takes half of its note, two thirds of a dotted one (C. P. E. Bach, 1753, from memory).
        each, start = whole * (Fraction(2, 3) if event.value.dots == 1 else Fraction(1, 2)), main.onset
    else:
        each = min(GRACE, whole / 2 / len(graces))
        room = max((s.end for s in out), default=Fraction(0)) >= main.onset and bool(out)
        start = main.onset - each * len(graces) if room else main.onset
    if start < main.onset:
        for place in range(len(out) - 1, max(-1, len(out) - 5), -1):
            if out[place].onset < start < out[place].end:
                out[place] = replace(out[place], length=start - out[place].onset)
    for number, grace in enumerate(graces):
        manner = manners[grace.event.address]
        for pitch, _, member in _members(grace.event, manner):
            out.append(
                Sound(
                    grace.event.member(member), grace.pass_number, start + number * each, each, pitch,
                    manners[event.address].level, number > 0 or joined, manner.pizzicato,
                )
            )  # fmt: skip
    end = start + len(graces) * each
    return end, main.onset + whole - end


def _bow_tremolo(sounds: list[Sound], line: Line) -> list[Sound]:
    """Strokes through a stem as separate notes: one stroke makes eighths, two sixteenths, more 32nds."""
    out: list[Sound] = []
    for sound in sounds:
        event = line.event(sound.address)
        if not event.tremolo or event.tremolo_pair:
            out.append(sound)
            continue
        flags = {"eighth": 1, "16th": 2, "32nd": 3}.get(event.value.type, 0)
        each = Fraction(1, 2 ** min(flags + event.tremolo, 3))
        count = max(1, round(sound.length / each))
        each = sound.length / count  # in a triplet the strokes fill it too
        out += [
            replace(
                sound, onset=sound.onset + n * each, length=each, joined=sound.joined and n == 0,
                accent=sound.accent and n == 0,
            )
            for n in range(count)
        ]  # fmt: skip
    return out


def _let_go(sounds: list[Sound], line: Line, manners: Mapping[str, _Manner]) -> tuple[Sound, ...]:
    """Shorten what isn't connected to the note after it."""
    voices = {e.address: e.voice for e in line.events}
    joins = {(s.onset, voices[event_address(s.address)]) for s in sounds if s.joined}
    ordered = sorted(sounds, key=lambda s: (s.onset, s.pitch.midi))
    out = []
    for sound in ordered:
        share = manners[event_address(sound.address)].share
        if (sound.end, voices[event_address(sound.address)]) in joins:
            kept = sound.length
        elif share == DETACHED:  # an unmarked note is never let go by more than an eighth of a quarter note
            kept = sound.length - min(sound.length * (1 - share), Fraction(1, 8))
        else:
            kept = sound.length * share
        out.append(replace(sound, length=kept))
    return tuple(out)


def _manners(line: Line, marks: Marks) -> dict[str, _Manner]:
    levels = _levels(line, marks)
    loud = loudness(line, marks)
    share: dict[str, Fraction] = {}
    joined: set[str] = set()
    for start, end, _ in spanning(line, marks, Kind.SLUR):
        joined.update(e.address for e in line.between(start.address, end.address)[1:])
    for start, end, mark in spanning(line, marks, Kind.HOOK):
        for event in line.between(start.address, end.address):
            share[event.address] = IN_ONE_BOW[mark.value]
    bow: dict[str, str] = {}
    harmonics: set[str] = set()
    for mark in marks:
        if mark.at not in line:
            continue
        if mark.kind is Kind.ARTICULATION and mark.value in SOUNDING:
            at = event_address(mark.at)
            share[at] = min(share.get(at, Fraction(1)), SOUNDING[mark.value])
        elif mark.kind is Kind.PIZZICATO:
            bow[event_address(mark.at)] = mark.value
        elif mark.kind is Kind.HARMONIC and mark.value == "artificial":
            harmonics.add(event_address(mark.at))
    out: dict[str, _Manner] = {}
    plucked = False
    for event in line.events:
        sign = bow.get(event.address, "")
        plucked = sign == "pizz" or (plucked and sign != "arco")
        out[event.address] = _Manner(
            share.get(event.address, DETACHED),
            levels[event.address],
            # A stop inside a slur is a hooked bow: the notes don't run into each other.
            event.address in joined and event.address not in share,
            plucked or sign in ("left hand", "snap"),
            loud[event.address].accent,
            event.address in harmonics,
        )
    return out


def _levels(line: Line, marks: Marks) -> dict[str, float]:
    """Loudness from 0 to 1 at every event; hairpins run evenly in time to the dynamic they lead to."""
    loud = loudness(line, marks)
    lasting = {*LEVELS, "fp", "sfp", "sffz", "pf", "n"}  # sf and the like leave the level as it was
    written = {event_address(m.at) for m in marks if m.kind is Kind.DYNAMIC and m.value in lasting and m.at in line}
    at = {e.address: line.time(e) for e in line.events}
    pins = []
    for start, end, mark in spanning(line, marks, Kind.HAIRPIN):
        place = line.order(end.address)
        goal = next((e for e in line.events[place : place + 2] if e.address in written and e is not start), None)
        pins.append((at[start.address], at[(goal or end).address], mark.value, goal.address if goal else ""))
    pins.sort()
    starts = [p[0] for p in pins]
    out: dict[str, float] = {}
    now = float(LEVEL_IF_UNSET)
    rest: dict[int, tuple[float, float]] = {}  # hairpin to where it begins and leads
    for event in line.events:
        level = loud[event.address].level
        if event.address in written or not out:
            now = float(LEVELS.index(level)) if level in LEVELS else now
        elif level in LEVELS and _fell(line, loud, event):
            now = float(LEVELS.index(level))
        time = at[event.address]
        number = bisect_right(starts, time) - 1
        value = now
        if number >= 0:
            begin, stop, way, goal_at = pins[number]
            if number not in rest:
                goal_level = loud[goal_at].level if goal_at else ""
                step = 1.5 if way == "crescendo" else -1.5
                target = float(LEVELS.index(goal_level)) if goal_level in LEVELS else now + step
                if (target - now) * step <= 0:
                    target = now + step
                rest[number] = (now, min(max(target, 0.0), float(len(LEVELS) - 1)))
            low, high = rest[number]
            if begin <= time <= stop and event.address != goal_at and stop > begin:
                value = low + (high - low) * float((time - begin) / (stop - begin))
            if time >= stop and event.address not in written and now == low:
                value = now = high
        share = 0.2 + 0.8 * value / (len(LEVELS) - 1)
        out[event.address] = min(1.0, share + (ACCENT if loud[event.address].accent else 0.0))
    return out


def _fell(line: Line, loud: Mapping[str, Any], event: Event) -> bool:
    """True right after a sign like fp, when the level written for the note no longer holds."""
    place = line.order(event.address)
    return place > 0 and loud[line.events[place - 1].address].level != loud[event.address].level


def _number(value: Fraction) -> float:
    return round(float(value), 6)
