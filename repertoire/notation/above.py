"""Above and below the staff, and at its barlines: words, tempos, dynamics, hairpins, repeats.

What stands above or below is kept until the bar is read, then given to the event it stands
at: one that begins there, else one that sounds there, else the next.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any, Literal

from lxml import etree

from repertoire.technique.line import TempoMark
from repertoire.technique.marks import Kind

from . import wording
from .drafts import ZERO, Draft, DraftMovement
from .meanings import SHOWN, TEMPO, TITLE, purpose
from .printed import Printed, Words, dynamics, tempo
from .values import number_of

_SILENT_DIRECTION = frozenset({"offset", "staff", "voice", "sound", "listening", "footnote", "level"})
_ABOVE_NAMES = {
    "dashes": "The dashes after words.",
    "bracket": "A bracket above or below the staff.",
    "pedal": "A pedal sign.",
    "damp": "A damping sign.", "damp-all": "A damping sign.",
    "principal-voice": "A sign for the principal voice.",
    "percussion": "A percussion sign.",
    "image": "A picture set into the music.",
    "eyeglasses": "An eyeglasses sign.",
    "scordatura": "A retuning of the strings (scordatura).",
    "string-mute": "A mute sign.",
    "accordion-registration": "An accordion sign.", "harp-pedals": "A harp pedal diagram.",
    "staff-divide": "A sign that divides the staff.",
}  # fmt: skip


@dataclass(slots=True)
class _Pending:
    """Something above or below the staff, to be attached when the bar is read."""

    what: Literal["dynamic", "words", "start", "stop", "bow"]
    pos: Fraction
    voice: str  # as the file names it, "" for none
    value: Any
    kind: Kind = Kind.TEXT
    number: str = "1"


class Barlines:
    """Repeats, endings, barlines and jumps of the bars of one movement."""

    def __init__(self, movement: DraftMovement) -> None:
        self.movement = movement
        self.ending: tuple[int, ...] = ()
        self.fields: dict[str, Any] = {}

    def end_bar(self) -> dict[str, Any]:
        """The fields of the bar that was read."""
        fields = {"ending": self.ending, **self.fields}
        self.fields = {}
        return fields

    def read(self, element: etree._Element) -> None:
        """Read a barline element."""
        place = element.get("location", "right")
        for e in element:
            tag = e.tag
            if tag == "bar-style":
                style = (e.text or "").strip()
                if place == "right" and style != "regular":
                    self.fields["barline"] = style[:20]
                elif place == "middle":
                    self.movement.leave_out("A dashed line inside the bar.")
            elif tag == "repeat":
                if e.get("direction") == "forward":
                    self.fields["repeat_start"] = True
                else:
                    times = number_of(e.get("times", "2")) or Fraction(2)
                    self.fields["repeat_end"] = min(max(int(times), 2), 20)
            elif tag == "ending":
                numbers = tuple(int(n) for n in re.findall(r"\d{1,2}", e.get("number", "")))
                if e.get("type") == "start":
                    self.ending = numbers
                else:
                    self.fields["ending"] = self.ending or numbers
                    self.ending = ()
            elif tag in ("segno", "coda"):
                self.jump(tag)
            elif tag == "fermata":
                self.movement.leave_out("A fermata on a barline.")
            elif isinstance(tag, str) and tag not in ("footnote", "level", "wavy-line"):
                self.movement.leave_out(f"An unknown element <{tag[:40]}> of a barline.")

    def jump(self, name: str) -> None:
        """Note a jump sign; a bar keeps one."""
        before = self.fields.get("jump")
        if before and before != name:
            self.movement.leave_out(f"A second jump sign in one bar ({name}).")
        else:
            self.fields["jump"] = name


class Above:
    """Directions of the bars of one movement. `voices` is the reader's table of voice names."""

    def __init__(
        self, staff: int, movement: DraftMovement, printed: Printed, barlines: Barlines, voices: dict[str, int]
    ) -> None:
        self.staff, self.movement, self.printed, self.barlines = staff, movement, printed, barlines
        self.voices = voices
        self.pending: list[_Pending] = []
        self.tempos: list[TempoMark] = []

    def end_bar(self, drafts: list[Draft]) -> tuple[TempoMark, ...]:
        """Attach what was read to the bar's events (sorted); returns its tempo marks."""
        self.attach(drafts)
        tempos = tuple(self.tempos)
        self.pending, self.tempos = [], []
        return tempos

    def move(self, places: dict[Fraction, Fraction]) -> None:
        """Put what stands at the given places elsewhere in the bar."""
        for p in self.pending:
            p.pos = places.get(p.pos, p.pos)
        self.tempos = [replace(t, onset=places.get(t.onset, t.onset)) for t in self.tempos]

    def read(self, element: etree._Element, at: Fraction, divisions: Fraction) -> None:
        """Read a direction that stands at a place in the bar."""
        staff = element.findtext("staff")
        if (staff or "1").strip() != str(self.staff):
            return
        meant = purpose(element)
        if meant == SHOWN:
            return
        offset = number_of(element.findtext("offset")) or ZERO
        pos = max(ZERO, at + offset / divisions)
        voice = (element.findtext("voice") or "").strip()
        place = element.get("placement", "")
        sound = element.find("sound")
        texts: list[str] = []
        leading: list[Words] = []  # what stands before a dynamic of the same direction
        style = order = ""
        metronome: etree._Element | None = None
        for holder in element:
            if holder.tag != "direction-type":
                if isinstance(holder.tag, str) and holder.tag not in _SILENT_DIRECTION:
                    self.movement.leave_out(f"An unknown element <{holder.tag[:40]}>.")
                continue
            for e in holder:
                tag = e.tag
                if tag == "words":
                    texts.append((e.text or "").strip())
                    if e.get("font-style") == "italic" and not style:
                        style = "italic"
                    if e.get("font-weight") == "bold" and not style:
                        style = "bold"
                elif tag == "metronome":
                    metronome = e
                elif tag == "dynamics":
                    for value, words, side in dynamics(e):
                        if value:
                            self.pending.append(_Pending("dynamic", pos, voice, value))
                            order = "after"
                        else:
                            self.pending.append(_Pending("words", pos, voice, Words(words, place, "italic", side)))
                    if order and any(texts) and not leading:
                        leading.append(Words(" ".join(filter(None, texts)), "", style, "before"))
                        texts, style = [], ""
                elif tag in ("wedge", "octave-shift"):
                    self._line_above(e, pos, voice)
                elif tag == "rehearsal":
                    self.barlines.fields["rehearsal"] = " ".join("".join(e.itertext()).split())[:20]
                elif tag in ("segno", "coda"):
                    self.barlines.jump(tag)
                elif tag == "symbol":
                    self.movement.leave_out(f"A sign set above or below the staff ({(e.text or '').strip()[:30]}).")
                elif tag in _ABOVE_NAMES:
                    if e.get("type", "start") == "start":
                        self.movement.leave_out(_ABOVE_NAMES[tag])
                elif isinstance(tag, str) and not meant:
                    name = (e.text or "").strip()[:30] if tag == "other-direction" else tag[:40]
                    self.movement.leave_out(f"A direction of another kind ({name or tag}).")
        if meant in (TITLE, TEMPO):
            texts = [*(first.text for first in leading), *texts]
            leading = []
        if meant == TITLE:
            self.movement.heading = " ".join(filter(None, texts))
            return
        if meant == TEMPO and metronome is None:
            self.tempos.append(TempoMark(pos, " ".join(filter(None, texts))))
            return
        place = place if place in ("above", "below") else ""
        for first in leading:
            self._words([first.text], replace(first, place=place), None, sound, pos, voice)
        self._words(texts, Words("", place, style, order), metronome, sound, pos, voice)

    def _words(
        self, texts: list[str], words: Words, metronome: etree._Element | None, sound: etree._Element | None,
        pos: Fraction, voice: str,
    ) -> None:  # fmt: skip
        text, signs = wording.without_font_signs(" ".join(filter(None, texts)))
        if signs:
            for sign in signs:
                self.pending.append(_Pending("bow", pos, voice, sign))
        sounds = sound.attrib if sound is not None else {}
        if metronome is not None:
            mark, lost = tempo(metronome, pos, text)
            if lost:
                self.movement.leave_out(lost)
            if mark.words or mark.unit:
                self.tempos.append(mark if mark.words else replace(mark, words=self._words_before(pos)))
            return
        jump, plain = wording.jump(text)
        for name in ("dacapo", "dalsegno", "fine", "tocoda"):
            if name in sounds:
                jump = name
        if jump:
            self.barlines.jump(jump)
            if plain:
                return
        if not text:
            return
        if wording.heading(text) and not self.movement.bars and pos == 0:
            self.movement.heading = self.movement.heading or text
        elif words.style == "bold" and self.tempos and self.tempos[-1].onset == pos and not self.tempos[-1].words:
            self.tempos[-1] = replace(self.tempos[-1], words=text)
        elif ("tempo" in sounds or wording.is_tempo(text)) and not wording.plucking(text):
            self.tempos.append(TempoMark(pos, text))
        else:
            self.pending.append(_Pending("words", pos, voice, replace(words, text=text)))

    def _words_before(self, pos: Fraction) -> str:
        """Words written just before a metronome mark at the same place: they are one tempo with it."""
        if self.tempos and self.tempos[-1].onset == pos and not self.tempos[-1].unit:
            return self.tempos.pop().words
        last = self.pending[-1] if self.pending else None
        if last is not None and last.what == "words" and last.pos == pos and last.value.style == "bold":
            self.pending.pop()
            return str(last.value.text)
        return ""

    def _line_above(self, element: etree._Element, pos: Fraction, voice: str) -> None:
        kind = element.get("type", "")
        number = element.get("number", "1")
        if element.tag == "wedge":
            if kind in ("crescendo", "diminuendo"):
                self.pending.append(_Pending("start", pos, voice, kind, Kind.HAIRPIN, number))
            elif kind == "stop":
                self.pending.append(_Pending("stop", pos, voice, None, Kind.HAIRPIN, number))
            return
        size = element.get("size", "8")
        if size != "8":
            if kind != "stop":
                self.movement.leave_out(f"An octave sign of size {size[:4]}; notes stand where they sound.")
        elif kind in ("up", "down"):
            self.pending.append(_Pending("start", pos, voice, "8va" if kind == "down" else "8vb", Kind.OCTAVE, number))
        elif kind == "stop":
            self.pending.append(_Pending("stop", pos, voice, None, Kind.OCTAVE, number))

    def attach(self, drafts: list[Draft]) -> None:
        """Give what stands above and below the staff to the events it stands at."""
        for p in sorted(self.pending, key=lambda p: (p.pos, p.what != "stop")):
            if p.what == "stop":
                self.printed.stop_above(p.kind, p.number, self._before(drafts, p), p.pos, p.voice)
                continue
            at = self._at(drafts, p)
            if p.what == "dynamic":
                self.printed.dynamic(p.value, at, p.pos)
            elif p.what == "words":
                self.printed.words(p.value, at, p.pos)
            elif p.what == "bow":
                if not self.printed.bow_sign(p.value, at):
                    self.movement.leave_out("A sign that only a music font can show.")
            else:
                self.printed.start_above(p.kind, p.number, p.value, at, p.pos, p.voice)

    def _at(self, drafts: list[Draft], p: _Pending) -> Draft:
        """The event at a place: one that begins there, else one that sounds there, else the next, else the last."""
        voice = self.voices.get(p.voice)
        own = [d for d in drafts if d.voice == voice and not d.grace]
        pool = own or [d for d in drafts if not d.grace] or drafts
        here = [d for d in pool if d.onset == p.pos] or [d for d in drafts if d.onset == p.pos and not d.grace]
        sounding = [d for d in pool if d.onset < p.pos < d.end]
        later = [d for d in pool if d.onset > p.pos]
        for found in (here, sounding, later):
            if found:
                return next((d for d in found if d.members), found[0])
        return pool[-1]

    def _before(self, drafts: list[Draft], p: _Pending) -> Draft:
        """The last event that begins before a place, in this bar or the one before."""
        open_ = self.printed.open.get((p.kind, p.number))
        voice = self.voices.get(p.voice) or (open_[-1].draft.voice if open_ else None)
        for pool in ([d for d in drafts if d.voice == voice], drafts):
            found = [d for d in pool if d.onset < p.pos and not d.grace]
            if found:
                return found[-1]
        earlier = self.movement.drafts
        if p.pos == 0 and earlier:
            return next((d for d in reversed(earlier[-40:]) if not d.grace and d.voice == voice), earlier[-1])
        return drafts[0]
