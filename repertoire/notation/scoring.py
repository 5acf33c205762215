"""A line as music21 objects and as MusicXML: plain notes with their addresses as ids, no marks."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from fractions import Fraction
from typing import Any, Literal

from lxml import etree
from music21 import (
    bar,
    beam,
    chord,
    clef,
    duration,
    expressions,
    key,
    metadata,
    meter,
    note,
    pitch,
    repeat,
    spanner,
    stream,
    tempo,
    tie,
)
from music21.musicxml.m21ToXml import GeneralObjectExporter

from repertoire.technique.line import TYPES, Bar, Event, Line, TempoMark
from repertoire.technique.pitch import Pitch

Accidental = Literal["", "plain", "bracketed"]
_CLEFS: dict[str, type[clef.Clef]] = {
    "treble": clef.TrebleClef,
    "alto": clef.AltoClef,
    "tenor": clef.TenorClef,
    "bass": clef.BassClef,
    "treble8vb": clef.Treble8vbClef,
    "treble8va": clef.Treble8vaClef,
    "soprano": clef.SopranoClef,
    "mezzo": clef.MezzoSopranoClef,
    "percussion": clef.PercussionClef,
}
_JUMPS: dict[str, type[repeat.RepeatMark]] = {
    "segno": repeat.Segno,
    "coda": repeat.Coda,
    "fine": repeat.Fine,
    "dacapo": repeat.DaCapo,
    "dalsegno": repeat.DalSegno,
}
_BARLINES = {
    "light-light": "double",
    "light-heavy": "final",
    "heavy-light": "heavy-light",
    "heavy-heavy": "heavy-heavy",
    "dashed": "dashed",
    "dotted": "dotted",
    "heavy": "heavy",
    "tick": "tick",
    "short": "short",
    "none": "none",
}


def plain_musicxml(line: Line) -> bytes:
    """The line as MusicXML 4.0: notes, rests, bars; no marks. Notes carry their addresses as ids."""
    exporter = GeneralObjectExporter(score_of(line))
    exporter.makeNotation = False
    return _mended(exporter.parse(), line)


def score_of(line: Line) -> stream.Score:
    """The line as a music21 score of one part, stems, beams and tuplets as stored."""
    part = stream.Part(id="P1")
    endings: list[tuple[tuple[int, ...], list[stream.Measure]]] = []
    shown = shown_accidentals(line)
    before: Bar | None = None
    for written in line.bars:
        measure = _measure(written, line.in_bar(written.index), before, shown)
        if written.ending:
            if not (before and before.ending == written.ending and endings):
                endings.append((written.ending, []))
            endings[-1][1].append(measure)
        part.append(measure)
        before = written
    for numbers, measures in endings:
        part.insert(0, spanner.RepeatBracket(measures, number=list(numbers)))
    score = stream.Score()
    score.metadata = metadata.Metadata(title=line.title or None)
    score.insert(0, part)
    return score


def _measure(
    written: Bar, events: tuple[Event, ...], before: Bar | None, shown: Mapping[str, Accidental]
) -> stream.Measure:
    measure = stream.Measure(number=0)
    if before is None or before.clefs[-1].name != written.clef:
        measure.insert(0, _CLEFS[written.clef]())
    if before is None or before.key != written.key or written.key_shown:
        measure.insert(0, key.KeySignature(written.key))
    if before is None or before.meter != written.meter or written.meter_shown:
        measure.insert(0, _meter(written))
    for mark in written.tempos:
        for piece in _tempo(mark):
            measure.insert(mark.onset, piece)
    if written.rehearsal:
        measure.insert(0, expressions.RehearsalMark(written.rehearsal))
    if written.jump in _JUMPS:
        at_end = written.jump in ("fine", "dacapo", "dalsegno")
        measure.insert(written.length if at_end else 0, _JUMPS[written.jump]())
    elif written.jump == "tocoda":
        measure.insert(written.length, expressions.TextExpression("To Coda"))
    voices = sorted({e.voice for e in events})
    for number, voice in enumerate(voices, 1):
        here = tuple(e for e in events if e.voice == voice)
        holder = measure if len(voices) == 1 else stream.Voice(id=number)
        for change in written.clefs[1:] if number == 1 else ():
            holder.insert(change.onset, _CLEFS[change.name]())
        _fill(holder, here, written, shown)
        if holder is not measure:
            measure.insert(0, holder)
    if not voices:
        silence = note.Rest(duration=_whole_bar(written.length))
        silence.fullMeasure = True
        measure.insert(0, silence)
    if written.repeat_start:
        measure.leftBarline = bar.Repeat(direction="start")
    if written.repeat_end:
        measure.rightBarline = bar.Repeat(direction="end", times=written.repeat_end if written.repeat_end > 2 else None)
    elif written.barline in _BARLINES:
        measure.rightBarline = bar.Barline(_BARLINES[written.barline])
    return measure


def _fill(holder: stream.Stream[Any], events: tuple[Event, ...], written: Bar, shown: Mapping[str, Accidental]) -> None:
    reached = Fraction(0)
    first: note.GeneralNote | None = None
    for event in events:
        if event.onset > reached:
            _leave_room(holder, reached, event.onset)
        made = _general_note(event, shown)
        holder.insert(event.onset, made)
        if event.tremolo_pair == "start":
            first = made
        elif event.tremolo_pair == "stop" and first is not None:
            between = expressions.TremoloSpanner([first, made])
            between.numberOfMarks = event.tremolo or 3
            holder.insert(0, between)
            first = None
        reached = max(reached, event.end)
    if reached < written.length and not (events and events[-1].whole_bar):
        _leave_room(holder, reached, written.length)


def _leave_room(holder: stream.Stream[Any], start: Fraction, end: Fraction) -> None:
    """Invisible rests where a voice is silent without a written rest."""
    while start < end:
        fits = [v for v in TYPES.values() if v <= end - start]
        length = max(fits) if fits else end - start
        gap = note.Rest(duration=duration.Duration(length))
        gap.style.hideObjectOnPrint = True
        holder.insert(start, gap)
        start += length


def _general_note(event: Event, shown: Mapping[str, Accidental]) -> note.GeneralNote:
    made: note.GeneralNote
    if event.is_rest:
        made = note.Rest(duration=_duration(event))
        if event.whole_bar:
            made.fullMeasure = True
    elif len(event.pitches) == 1:
        made = note.Note(_pitch(event.pitches[0], shown[event.address]), duration=_duration(event))
        made.tie = _tie(event, 0)
    else:
        members = []
        for number, sounding in enumerate(event.pitches, 1):
            member = note.Note(_pitch(sounding, shown[event.member(number)]))
            member.id = event.member(number)
            member.tie = _tie(event, number - 1)
            members.append(member)
        made = chord.Chord(members, duration=_duration(event))
    made.id = event.address
    if event.grace:
        made = made.getGrace()
        made.duration.slash = event.grace == "slashed"
        made.id = event.address
        for number, member in enumerate(getattr(made, "notes", ()), 1):
            member.id = event.member(number)
    if isinstance(made, note.NotRest):
        if event.stem:
            made.stemDirection = {"none": "noStem"}.get(event.stem, event.stem)
        made.beams = _beams(event)
        if event.tremolo and not event.tremolo_pair:
            strokes = expressions.Tremolo()
            strokes.numberOfMarks = event.tremolo  # given to the constructor it is forgotten
            made.expressions.append(strokes)
    if event.cue:
        made.style.noteSize = "cue"
    return made


def _pitch(written: Pitch, shown: Accidental) -> pitch.Pitch:
    made = pitch.Pitch(step=written.letter, octave=written.octave)
    if written.alter or shown:
        made.accidental = pitch.Accidental(written.alter)
        made.accidental.displayStatus = bool(shown)
        if shown == "bracketed":
            made.accidental.displayStyle = "parentheses"
    return made


def _duration(event: Event) -> duration.Duration:
    if event.whole_bar:
        return _whole_bar(event.duration)
    value = event.value
    made = duration.Duration(type=value.type, dots=value.dots)
    if value.tuplet:
        ratio = duration.Tuplet(value.tuplet[0], value.tuplet[1])
        ends = set(event.tuplet_ends)
        ratio.type = "startStop" if ends == {"start", "stop"} else next(iter(ends), None)
        ratio.bracket = True
        made.appendTuplet(ratio)
    return made


def _whole_bar(length: Fraction) -> duration.Duration:
    """A whole rest that lasts as long as the bar, whatever the bar's length."""
    made = duration.Duration(type="whole")
    made.linked = False
    made.quarterLength = length
    return made


def _tie(event: Event, member: int) -> tie.Tie | None:
    enters = member < len(event.tied_from) and event.tied_from[member]
    leaves = member < len(event.tied_to) and event.tied_to[member]
    if enters and leaves:
        return tie.Tie("continue")
    return tie.Tie("stop") if enters else tie.Tie("start") if leaves else None


def _beams(event: Event) -> beam.Beams:
    made = beam.Beams()
    for value in event.beams:
        if value in ("begin", "continue", "end"):
            made.append({"begin": "start", "end": "stop"}.get(value, value))
        elif value.endswith("hook"):
            made.append("partial", "left" if value.startswith("backward") else "right")
    return made


def _meter(written: Bar) -> meter.TimeSignature:
    made = meter.TimeSignature(str(written.meter))
    made.symbol = {"common": "common", "cut": "cut"}.get(written.meter.symbol, "")
    return made


def _tempo(mark: TempoMark) -> Iterator[tempo.TempoIndication]:
    if mark.words:
        yield tempo.TempoText(mark.words)
    if mark.unit and mark.per_minute:
        number = float(mark.per_minute)
        unit = duration.Duration(type=mark.unit.type, dots=mark.unit.dots)
        yield tempo.MetronomeMark(number=int(number) if number == int(number) else number, referent=unit)


def shown_accidentals(line: Line) -> dict[str, Accidental]:
    """Which notes print an accidental: those the source prints, and those that would be read wrongly without.

    Where the source prints accidentals, what it doesn't print is added only where neither custom
    would read the note as meant: after a note tied over the bar line its accidental may count for
    the rest of the bar or not. A made line has to be plain by the stricter custom. A note tied
    from before the line has its accidental in brackets.
    """
    stated = any(e.accidentals for e in line.events)
    shown: dict[str, Accidental] = {}
    for written in line.bars:
        standing: dict[tuple[str, int], set[int]] = {}
        for event in line.in_bar(written.index):
            for number, sounding in enumerate(event.pitches, 1):
                place = (sounding.letter, sounding.octave)
                now = standing.get(place, {of_key(sounding.letter, written.key)})
                tied = number <= len(event.tied_from) and event.tied_from[number - 1]
                from_before = tied and not event.onset and written is line.bars[0]
                printed = event.accidentals[number - 1] if number <= len(event.accidentals) else ""
                needed = sounding.alter not in now and not (tied and (stated or not event.onset))
                style: Accidental = "plain" if needed else "bracketed" if printed.startswith("(") else ""
                if from_before and not printed and sounding.alter not in now:
                    style = "bracketed"
                shown[event.member(number)] = style or ("plain" if printed else "")
                if shown[event.member(number)] or not tied:
                    standing[place] = {sounding.alter}
                elif stated:
                    standing[place] = now | {sounding.alter}
    return shown


def of_key(letter: str, sharps: int) -> int:
    """The alteration a key signature gives a letter: F in one sharp is 1."""
    if sharps >= 0:
        return 1 if letter in "FCGDAEB"[:sharps] else 0
    return -1 if letter in "BEADGCF"[:-sharps] else 0


def _mended(written: bytes, line: Line) -> bytes:
    """What the writer can't say: the printed bar numbers as text, upbeats, and no random ids."""
    root = etree.fromstring(written)
    for part in root.iter("score-part", "part"):
        part.set("id", "P1")
    for direction in root.iter("direction"):
        if direction.get("placement") is None:  # tempo words stand above the staff
            direction.set("placement", "above")
    for measure, written_bar in zip(root.iter("measure"), line.bars, strict=True):
        measure.set("number", written_bar.number)
        measure.set("implicit", "yes" if written_bar.missing else "no")
    return etree.tostring(root, xml_declaration=True, encoding="UTF-8")
