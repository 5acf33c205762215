"""Bars and notes of a line as MusicXML measures, voice by voice, with the signs laid on them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from math import lcm
from typing import Any

from lxml import etree

from repertoire.technique.line import Bar, Clef, Event, Line, TempoMark
from repertoire.technique.pitch import Pitch

from . import wording
from .export_elements import direction, element, words
from .export_marks import Above, Signs
from .meanings import TEMPO, TITLE
from .scoring import shown_accidentals

_CLEFS = {
    "treble": ("G", "2", ""), "treble8vb": ("G", "2", "-1"), "treble8va": ("G", "2", "1"), "soprano": ("C", "1", ""),
    "mezzo": ("C", "2", ""), "alto": ("C", "3", ""), "tenor": ("C", "4", ""), "bass": ("F", "4", ""),
    "percussion": ("percussion", "", ""),
}  # fmt: skip
_JUMPS = {
    "dacapo": ("D.C.", {"dacapo": "yes"}), "dalsegno": ("D.S.", {"dalsegno": "segno"}),
    "fine": ("Fine", {"fine": "yes"}), "tocoda": ("To Coda", {"tocoda": "coda"}),
}  # fmt: skip
_TYPES = {"longa": "long"}
_SIGNS = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp", 3: "triple-sharp"}
_SIGNS[-3] = "triple-flat"
_BAR_STYLES = frozenset({
    "dotted", "dashed", "heavy", "light-light", "light-heavy", "heavy-light", "heavy-heavy", "tick", "short", "none",
})  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Item:
    """Something to write at a place in a bar."""

    onset: Fraction
    event: Event | None = None
    above: Any = None


class BarWriter:
    """Writes the bars of one line. `prefix` keeps the ids of several movements apart."""

    def __init__(self, line: Line, signs: Signs, *, title: str = "", prefix: str = "", new_page: bool = False) -> None:
        self.line, self.signs, self.title, self.prefix, self.new_page = line, signs, title, prefix, new_page
        self.shown = shown_accidentals(line)
        self.divisions = _divisions(line, signs)

    def measures(self) -> Iterator[Any]:
        before: Bar | None = None
        bars = self.line.bars
        for place, bar in enumerate(bars):
            after = bars[place + 1] if place + 1 < len(bars) else None
            yield self._measure(bar, before, after)
            before = bar

    def _measure(self, bar: Bar, before: Bar | None, after: Bar | None) -> Any:
        made = element("measure", number=bar.number, implicit="yes" if bar.missing else "")
        if before is None and self.new_page:
            made.append(element("print", new_page="yes"))
        starts_ending = bool(bar.ending) and (before is None or before.ending != bar.ending)
        if bar.repeat_start or starts_ending:
            left = etree.SubElement(made, "barline", location="left")
            if bar.repeat_start:
                etree.SubElement(left, "bar-style").text = "heavy-light"
            if starts_ending:
                etree.SubElement(left, "ending", number=_numbers(bar), type="start")
            if bar.repeat_start:
                etree.SubElement(left, "repeat", direction="forward")
        self._attributes(made, bar, before)
        self.at = Fraction(0)
        events = self.line.in_bar(bar.index)
        voices = sorted({e.voice for e in events})
        overhead = [*self._over(bar, before)]
        if not voices:
            self._rest(made, bar)
        for number, voice in enumerate(voices):
            lane = [_Item(e.onset, e) for e in events if e.voice == voice]
            if number == 0:
                lane += [_Item(c.onset, above=_clef_change(c)) for c in bar.clefs[1:]] + overhead
                lane.sort(key=lambda i: (i.onset, i.event is not None))
            self._move(made, Fraction(0))
            for item in lane:
                self._move(made, item.onset)
                if item.event is None:
                    made.append(item.above)
                else:
                    self._event(made, item.event)
        if self.at < bar.length:
            self._move(made, bar.length)
        self._right_barline(made, bar, after)
        return made

    # --- what stands over a bar -------------------------------------------------------------

    def _over(self, bar: Bar, before: Bar | None) -> Iterator[_Item]:
        if before is None and self.title:
            yield _Item(Fraction(0), above=direction(words(self.title, "bold"), place="above", purpose=TITLE))
        if bar.rehearsal:
            yield _Item(Fraction(0), above=direction(element("rehearsal", bar.rehearsal), place="above"))
        for mark in bar.tempos:
            yield _Item(min(mark.onset, bar.length), above=_tempo(mark, opening=before is None))
        if bar.jump in ("segno", "coda"):
            sound = element("sound", **{bar.jump: bar.jump})
            yield _Item(Fraction(0), above=direction(element(bar.jump), place="above", sound=sound))

    def _attributes(self, made: Any, bar: Bar, before: Bar | None) -> None:
        held = etree.Element("attributes")
        if before is None:
            etree.SubElement(held, "divisions").text = str(self.divisions)
        if before is None or before.key != bar.key or before.mode != bar.mode or bar.key_shown:
            key = etree.SubElement(held, "key", {} if bar.key_shown or before is None else {"print-object": "no"})
            etree.SubElement(key, "fifths").text = str(bar.key)
            if bar.mode:
                etree.SubElement(key, "mode").text = bar.mode
        if before is None or before.meter != bar.meter or bar.meter_shown:
            time = element("time", symbol=bar.meter.symbol)
            if not bar.meter_shown and before is not None:
                time.set("print-object", "no")
            etree.SubElement(time, "beats").text = bar.meter.beats
            etree.SubElement(time, "beat-type").text = str(bar.meter.beat_type)
            held.append(time)
        if before is None or before.clefs[-1].name != bar.clef:
            held.append(_clef(bar.clef))
        if len(held):
            made.append(held)

    def _right_barline(self, made: Any, bar: Bar, after: Bar | None) -> None:
        if bar.jump in _JUMPS:
            text, sounding = _JUMPS[bar.jump]
            made.append(direction(words(text, "italic"), place="above", sound=element("sound", **sounding)))
        ends = bool(bar.ending) and (after is None or after.ending != bar.ending)
        if not (bar.repeat_end or ends or bar.barline in _BAR_STYLES):
            return
        right = etree.SubElement(made, "barline", location="right")
        if bar.barline in _BAR_STYLES:
            etree.SubElement(right, "bar-style").text = bar.barline
        if ends:
            etree.SubElement(right, "ending", number=_numbers(bar), type="stop")
        if bar.repeat_end:
            repeat = etree.SubElement(right, "repeat", direction="backward")
            if bar.repeat_end > 2:
                repeat.set("times", str(bar.repeat_end))

    # --- notes ------------------------------------------------------------------------------

    def _ticks(self, length: Fraction) -> str:
        ticks = length * self.divisions
        return str(ticks.numerator) if ticks.denominator == 1 else f"{float(ticks):.6f}"

    def _move(self, made: Any, onset: Fraction) -> None:
        if onset == self.at:
            return
        step = etree.SubElement(made, "forward" if onset > self.at else "backup")
        etree.SubElement(step, "duration").text = self._ticks(abs(onset - self.at))
        self.at = onset

    def _above(self, made: Any, found: Iterable[Above]) -> None:
        for above in found:
            if above.shift:
                holder = [c for c in above.element if c.tag == "direction-type"][-1]
                shift = etree.Element("offset")
                shift.text = self._ticks(above.shift)
                holder.addnext(shift)
            made.append(above.element)

    def _rest(self, made: Any, bar: Bar) -> None:
        note = etree.SubElement(made, "note")
        etree.SubElement(note, "rest", measure="yes")
        etree.SubElement(note, "duration").text = self._ticks(bar.length)
        self.at = bar.length

    def _event(self, made: Any, event: Event) -> None:
        self._above(made, self.signs.before.get(event.address, ()))
        if event.is_rest:
            self._note(made, event, None, 1)
        for member, pitch in enumerate(event.pitches, 1):
            self._note(made, event, pitch, member)
        self.at += event.duration
        self._above(made, self.signs.after.get(event.address, ()))

    def _note(self, made: Any, event: Event, pitch: Pitch | None, member: int) -> None:
        note = etree.SubElement(made, "note", id=self.prefix + (event.address if member == 1 else event.member(member)))
        if event.grace:
            etree.SubElement(note, "grace", {"slash": "yes"} if event.grace == "slashed" else {})
        elif event.cue:
            etree.SubElement(note, "cue")
        if member > 1:
            etree.SubElement(note, "chord")
        if pitch is None:
            etree.SubElement(note, "rest", {"measure": "yes"} if event.whole_bar else {})
        else:
            sound = etree.SubElement(note, "pitch")
            etree.SubElement(sound, "step").text = pitch.letter
            if pitch.alter:
                etree.SubElement(sound, "alter").text = str(pitch.alter)
            etree.SubElement(sound, "octave").text = str(pitch.octave)
        if not event.grace:
            etree.SubElement(note, "duration").text = self._ticks(event.duration)
        ties = [
            kind
            for kind, told in (("stop", event.tied_from), ("start", event.tied_to))
            if member <= len(told) and told[member - 1]
        ]
        for kind in ties if not event.cue else ():
            etree.SubElement(note, "tie", type=kind)
        etree.SubElement(note, "voice").text = str(event.voice)
        if not event.whole_bar:
            etree.SubElement(note, "type").text = _TYPES.get(event.value.type, event.value.type)
        for _ in range(event.value.dots if not event.whole_bar else 0):
            etree.SubElement(note, "dot")
        if pitch is not None:
            self._accidental(note, event, pitch, member)
        if event.value.tuplet and not event.whole_bar:
            ratio = etree.SubElement(note, "time-modification")
            etree.SubElement(ratio, "actual-notes").text = str(event.value.tuplet[0])
            etree.SubElement(ratio, "normal-notes").text = str(event.value.tuplet[1])
        if event.stem and pitch is not None:
            etree.SubElement(note, "stem").text = event.stem
        for number, value in enumerate(event.beams[:8] if member == 1 else (), 1):
            etree.SubElement(note, "beam", number=str(number)).text = value
        self._notations(note, event, member, ties)

    def _accidental(self, note: Any, event: Event, pitch: Pitch, member: int) -> None:
        stored = event.accidentals[member - 1] if member <= len(event.accidentals) else ""
        shown = self.shown[event.member(member)]
        if not stored and not shown:
            return
        sign = stored.strip("()") or _SIGNS.get(pitch.alter, "")
        bracketed = stored.startswith("(") if stored else shown == "bracketed"
        if sign in _SIGNS.values() or sign == "sharp-sharp":
            note.append(element("accidental", sign, parentheses="yes" if bracketed else ""))

    def _notations(self, note: Any, event: Event, member: int, ties: list[str]) -> None:
        held = etree.Element("notations")
        for kind in ties:
            etree.SubElement(held, "tied", type=kind)
        signs = self.signs.on.get((event.address, member))
        if member == 1:
            for kind in ("stop", "start"):
                if kind in event.tuplet_ends:
                    etree.SubElement(held, "tuplet", type=kind)
        ornaments = [*(signs.ornaments if signs else ())]
        if event.tremolo and member == 1:
            stroke = element("tremolo", str(min(event.tremolo, 8)), type=event.tremolo_pair or "single")
            ornaments.insert(0, stroke)
        if signs:
            held.extend(sorted(signs.lines, key=lambda e: e.get("type") == "start"))
        for tag, group in (
            ("ornaments", ornaments),
            ("technical", signs.technical if signs else ()),
            ("articulations", signs.articulations if signs else ()),
        ):
            if group:
                etree.SubElement(held, tag).extend(group)
        if signs:
            held.extend(signs.single)
            held.extend(signs.meanings)
        if len(held):
            note.append(held)


def _numbers(bar: Bar) -> str:
    return ",".join(str(n) for n in bar.ending)


def _clef(name: str) -> Any:
    sign, line, octave = _CLEFS[name]
    made = etree.Element("clef")
    for tag, text in (("sign", sign), ("line", line), ("clef-octave-change", octave)):
        if text:
            etree.SubElement(made, tag).text = text
    return made


def _clef_change(clef: Clef) -> Any:
    made = etree.Element("attributes")
    made.append(_clef(clef.name))
    return made


def _tempo(mark: TempoMark, *, opening: bool) -> Any:
    kinds: list[Any] = []
    if mark.words:
        kinds.append(words(mark.words, "bold"))
    sound = None
    if mark.unit is not None and mark.per_minute:
        metronome = etree.Element("metronome")
        etree.SubElement(metronome, "beat-unit").text = _TYPES.get(mark.unit.type, mark.unit.type)
        for _ in range(mark.unit.dots):
            etree.SubElement(metronome, "beat-unit-dot")
        etree.SubElement(metronome, "per-minute").text = f"{float(mark.per_minute):g}"
        kinds.append(metronome)
        sound = element("sound", tempo=f"{float(mark.per_minute * mark.unit.quarters):.2f}".rstrip("0").rstrip("."))
    elif not wording.is_tempo(mark.words) or wording.jump(mark.words)[0] or opening:
        return direction(*kinds, place="above", purpose=TEMPO)
    return direction(*kinds, place="above", sound=sound)


def _divisions(line: Line, signs: Signs) -> int:
    """Ticks of a quarter note in which every length and place of the line is whole."""
    lengths = [n for e in line.events for n in (e.onset, e.duration)]
    lengths += [b.length for b in line.bars] + [c.onset for b in line.bars for c in b.clefs]
    lengths += [t.onset for b in line.bars for t in b.tempos]
    lengths += [a.shift for found in (signs.before, signs.after) for all_ in found.values() for a in all_]
    return lcm(*(n.denominator for n in lengths)) if lengths else 1
