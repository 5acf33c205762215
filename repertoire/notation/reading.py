"""Reading one staff of one part, bar by bar, into movements of drafts.

Times are exact fractions. Files round the lengths of tuplets to whole ticks; where a written
value and its ticks differ by less than one tick, the written value counts, and everything
that follows in the bar is placed accordingly. A new movement begins where the bar numbers
start again.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any, Literal

from lxml import etree

from repertoire.technique.line import TYPES, Bar, Clef, ClefName, Meter, TempoMark, Value
from repertoire.technique.marks import Kind
from repertoire.technique.pitch import LETTERS, Pitch

from . import wording
from .drafts import ZERO, Draft, DraftBar, DraftMovement, Member
from .opening import FileError, WrittenBar
from .printed import Printed, Words, dynamics, tempo
from .values import fitting, nearest_below, number_of, ticks

NOTE_LIMIT = 400_000
CLEFS: dict[tuple[str, str, str], ClefName] = {
    ("G", "2", "0"): "treble", ("G", "2", "-1"): "treble8vb", ("G", "2", "1"): "treble8va",
    ("C", "1", "0"): "soprano", ("C", "2", "0"): "mezzo", ("C", "3", "0"): "alto", ("C", "4", "0"): "tenor",
    ("F", "4", "0"): "bass",
}  # fmt: skip
DEFAULT_LINE = {"G": "2", "C": "3", "F": "4"}
_NEAREST: dict[str, ClefName] = {"G": "treble", "C": "alto", "F": "bass"}
_TYPE_NAMES = {"long": "longa"}
# Elements of a bar that say nothing a player reads: layout, sound, other programs' remarks.
_SILENT = frozenset({"print", "sound", "bookmark", "link", "listening"})
_SILENT_NOTE = frozenset({"instrument", "play", "listen", "footnote", "level", "notehead", "dot"})
_SILENT_ATTRIBUTES = frozenset({"divisions", "staves", "part-symbol", "instruments", "footnote", "level", "directive"})
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
_REST_NAMES = {
    "harmony": "A chord symbol.",
    "figured-bass": "Figured bass.",
    "grouping": "A grouping for analysis.",
}


@dataclass(slots=True)
class _Pending:
    """Something above or below the staff, to be attached when the bar is read."""

    what: Literal["dynamic", "words", "start", "stop", "bow"]
    pos: Fraction
    voice: int | None
    value: Any
    kind: Kind = Kind.TEXT
    number: str = "1"


class PartReader:
    """Reads the bars of one staff of a part in their order. `close` ends it; then see `movements`."""

    def __init__(self, staff: int = 1, lower: bool = False) -> None:
        self.staff = staff
        self.lower = lower  # of several staves, not the first
        self.movements: list[DraftMovement] = []
        self.restarts = Restarts()
        self.divisions = Fraction(1)
        self.key, self.mode, self.meter = 0, "", Meter()
        self.clef: ClefName = "treble"
        self.ending: tuple[int, ...] = ()
        self.note_count = 0
        self.pitched = self.unpitched = 0
        self.transposed = ""
        self.voices: dict[str, int] = {}
        self.next_shown = (False, False)

    def read(self, written: WrittenBar) -> None:
        """Read the next bar. Raises FileError with its number."""
        if self.restarts.begins(written):
            self._close_movement()
            self.movements.append(DraftMovement())
            self.printed = Printed(self.movements[-1])
            self.ending = ()
            self.next_shown = (True, True)
        self.movement = self.movements[-1]
        self.number = written.number or str(len(self.movement.bars) + 1)
        self.index = len(self.movement.bars) + 1
        self.pos = self.true = self.furthest = ZERO
        self.exact: dict[Fraction, Fraction] = {}
        self.ticked: list[tuple[Draft, Fraction]] = []  # drafts whose written value replaced their ticks
        self.furthest_ticks = ZERO
        self.bar_drafts: list[Draft] = []
        self.last: Draft | None = None
        self.last_onset = ZERO
        self.graces = 0
        self.pending: list[_Pending] = []
        self.clefs = [Clef(self.clef)]
        self.late: dict[str, Any] = {}
        self.fields: dict[str, Any] = {}
        self.tempos: list[TempoMark] = []
        self.key_shown, self.meter_shown = self.next_shown
        self.next_shown = (False, False)
        self.hidden = False
        for element in written.element:
            self._element(element)
        self._end_bar(written)

    def close(self) -> None:
        self._close_movement()

    def _close_movement(self) -> None:
        if self.movements:
            self.printed.close()

    def wrong(self, what: str, element: etree._Element) -> FileError:
        return FileError(f"Bar {self.number} (line {element.sourceline} of the file): {what}")

    # --- the elements of a bar ------------------------------------------------------

    def _element(self, element: etree._Element) -> None:
        tag = element.tag
        if tag == "note":
            self._note(element)
        elif tag == "backup":
            self._move(self.pos - self._length(element, "a step back"))
            if self.pos < 0:
                raise self.wrong("the file steps back to before the bar begins. Export it again.", element)
            self.last = None
        elif tag == "forward":
            self._move(self.pos + self._length(element, "a step forward"))
            self.last = None
        elif tag == "attributes":
            self._attributes(element)
        elif tag == "direction":
            self._direction(element)
        elif tag == "barline":
            self._barline(element)
        elif tag in _SILENT or not isinstance(tag, str):
            pass
        elif tag in _REST_NAMES:
            self.movement.leave_out(_REST_NAMES[tag])
        else:
            self.movement.leave_out(f"An unknown element <{tag[:40]}>.")

    def _move(self, pos: Fraction) -> None:
        """Go to a place in ticks; its exact place is known if a note began or ended there."""
        ahead = pos - self.pos
        self.pos = pos
        known = self.exact.get(pos)
        self.true = known if known is not None else (self.true + ahead if ahead > 0 else pos)
        self.furthest = max(self.furthest, self.true)
        self.furthest_ticks = max(self.furthest_ticks, self.pos)

    def _length(self, element: etree._Element, what: str) -> Fraction:
        text = element.findtext("duration")
        length = ticks(text, self.divisions)
        if length is None:
            shown = (text or "").strip()[:20]
            raise self.wrong(f"{what} has the length “{shown}”, which is no length. Export the file again.", element)
        return length

    # --- notes ----------------------------------------------------------------------

    def _note(self, note: etree._Element) -> None:
        self.note_count += 1
        if self.note_count > NOTE_LIMIT:
            raise FileError(f"This part has more than {NOTE_LIMIT:,} notes. Export one movement at a time.")
        child: dict[str, etree._Element] = {}
        dots, ties, beams = 0, set(), []
        notations: list[etree._Element] = []
        for e in note:
            tag = e.tag
            if tag == "dot":
                dots += 1
            elif tag == "tie":
                ties.add(e.get("type"))
            elif tag == "beam":
                beams.append((e.get("number", "1"), (e.text or "").strip()))
            elif tag == "notations":
                if e.get("print-object") != "no":
                    notations.append(e)
            elif isinstance(tag, str):
                child[tag] = e
                if tag not in _KNOWN_NOTE and tag not in _SILENT_NOTE:
                    self._unread_note(tag)
        grace, chord = child.get("grace"), "chord" in child
        length = ZERO
        if grace is None:
            length = self._length(note, "a note")
        value = self._value(child, dots, length, note)
        true_length = length
        if grace is None and value is not None and "rest" not in child and value.quarters != length:
            if abs(value.quarters - length) * self.divisions < 1:
                true_length = value.quarters
            elif note.get("print-object") != "no":
                value = self._mended(length, value, chord)
        onset = self.true
        if chord:
            onset = self.last_onset
        else:
            self.last_onset = onset
            if grace is None:
                self._advance(length, true_length)
                self.graces = 0
            elif self.graces == 0 or self.last is None:
                self.graces = 1
            else:
                self.graces += 1
        staff = (child["staff"].text or "").strip() if "staff" in child else "1"
        if staff != str(self.staff):
            self.last = None if not chord else self.last
            return
        if note.get("print-object") == "no":
            self._hidden(child, notations, chord)
            return
        if "unpitched" in child:
            self.unpitched += 1
            self.movement.leave_out("A note without pitch (percussion).")
            self.last = None if not chord else self.last
            return
        if grace is None and length == 0:
            self.movement.leave_out("A note without length.")
            return
        draft = self.last if chord else None
        if draft is None:
            draft = self._draft(child, onset, true_length, value, grace, dots)
            if true_length != length:
                self.ticked.append((draft, length))
        member = None
        if "pitch" in child:
            member = self._member(child, ties, notations, note)
            draft.members.append(member)
            self.pitched += 1
        elif "rest" not in child:
            raise self.wrong("a note is neither a pitch nor a rest. Export the file again.", note)
        if beams and not draft.beams:
            draft.beams = tuple(v for _, v in sorted(beams))
        if notations:
            self._tuplets(draft, notations)
            self.printed.note(draft, member, notations)
        head = child.get("notehead")
        if head is not None and (head.text or "").strip() not in ("normal", ""):
            self._notehead(draft, member, (head.text or "").strip(), notations)

    def _advance(self, length: Fraction, true_length: Fraction) -> None:
        self.pos += length
        self.true += true_length
        known = self.exact.get(self.pos)
        if known is not None:
            self.true = known
        elif self.true != self.pos:
            self.exact[self.pos] = self.true
        self.furthest = max(self.furthest, self.true)
        self.furthest_ticks = max(self.furthest_ticks, self.pos)

    def _draft(
        self, child: dict[str, etree._Element], onset: Fraction, length: Fraction, value: Value | None,
        grace: etree._Element | None, dots: int,
    ) -> Draft:  # fmt: skip
        stem = (child["stem"].text or "").strip() if "stem" in child else ""
        draft = Draft(self.index, onset, length, value or Value("quarter"), self._voice(child))
        if stem in ("up", "down", "none"):
            draft.stem = stem  # type: ignore[assignment]
        if grace is not None:
            draft.grace = "slashed" if grace.get("slash") == "yes" else "plain"
            draft.grace_place = self.graces
        draft.cue = "cue" in child
        if "rest" in child:
            full = length == self.meter.length and onset == 0
            draft.whole_bar = child["rest"].get("measure") == "yes" or (full and ("type" not in child or (
                value is not None and value.type == "whole" and not dots)))  # fmt: skip
            if draft.whole_bar:
                draft.value = Value("whole")
            elif value is None or (value.quarters != length):
                draft.value = fitting(length) or self._unfitting(length)
        elif value is None:
            draft.value = self._unfitting(length)
        self.bar_drafts.append(draft)
        self.last = draft
        return draft

    def _mended(self, length: Fraction, value: Value, chord: bool = False) -> Value:
        """The value that fits a note's length where the written one doesn't: the length counts."""
        if not chord:
            self.movement.leave_out(
                "A note is written with another value than its length in the file; the length counts."
            )
        return fitting(length, value.tuplet) or fitting(length) or value

    def _unfitting(self, length: Fraction) -> Value:
        self.movement.leave_out(f"A note or rest of {length} quarter notes can't be written with one sign.")
        return nearest_below(length)

    def _member(
        self, child: dict[str, etree._Element], ties: set[str | None], notations: list[etree._Element],
        note: etree._Element,
    ) -> Member:  # fmt: skip
        pitch = child["pitch"]
        step, octave = (pitch.findtext("step") or "").strip(), (pitch.findtext("octave") or "").strip()
        if step not in LETTERS or len(step) != 1 or not re.fullmatch(r"\d", octave):
            raise self.wrong(f"“{step[:5]}{octave[:5]}” is not a pitch. Export the file again.", note)
        alter = number_of(pitch.findtext("alter") or "0")
        if alter is None or abs(alter) > 3:
            raise self.wrong(
                f"“{(pitch.findtext('alter') or '')[:10]}” is not an accidental. Export the file again.", note
            )
        if alter.denominator != 1:
            self.movement.leave_out("A quarter-tone accidental: the note is kept without it.")
        for group in notations:
            for tied in group.iterfind("tied"):
                ties.add(tied.get("type"))
        sign = child.get("accidental")
        shown = (sign.text or "").strip() if sign is not None else ""
        if (
            sign is not None
            and shown
            and "yes" in (sign.get("parentheses"), sign.get("cautionary"), sign.get("editorial"))
        ):
            shown = f"({shown})"
        return Member(Pitch(step, int(alter), int(octave)), "stop" in ties, "start" in ties, shown)

    def _value(
        self, child: dict[str, etree._Element], dots: int, length: Fraction, note: etree._Element
    ) -> Value | None:
        """The written value; of a note without a type, the one that fits its length, or None."""
        ratio: tuple[int, int] | None = None
        changed = child.get("time-modification")
        if changed is not None:
            actual, normal = number_of(changed.findtext("actual-notes")), number_of(changed.findtext("normal-notes"))
            if not actual or not normal or actual.denominator != 1 or normal.denominator != 1:
                raise self.wrong("a tuplet has no readable ratio. Export the file again.", note)
            ratio = (int(actual), int(normal)) if actual != normal else None
        written = child.get("type")
        name = (written.text or "").strip() if written is not None else ""
        name = _TYPE_NAMES.get(name, name)
        if name in TYPES:
            if dots > 4:
                raise self.wrong(f"a note has {dots} dots. Export the file again.", note)
            return Value(name, dots, ratio)
        if name:
            self.movement.leave_out(f"The note value “{name[:20]}”.")
        if "grace" in child:
            return Value("eighth")
        return fitting(length, ratio)

    def _voice(self, child: dict[str, etree._Element]) -> int:
        name = (child["voice"].text or "").strip() if "voice" in child else "1"
        found = self.voices.get(name)
        if found is None:
            found = int(name) if name.isascii() and name.isdigit() and 0 < len(name) < 4 else 0
            if not found or found in self.voices.values():
                found = max(self.voices.values(), default=0) + 1
            self.voices[name] = found
        return found

    def _tuplets(self, draft: Draft, notations: list[etree._Element]) -> None:
        kinds = {t.get("type", "") for group in notations for t in group.iterfind("tuplet")}
        if kinds:
            draft.tuplet_ends = tuple(k for k in ("start", "stop") if k in kinds or k in draft.tuplet_ends)

    def _notehead(self, draft: Draft, member: Member | None, head: str, notations: list[etree._Element]) -> None:
        if head == "diamond" and member is not None:
            if any(group.find("technical/harmonic") is not None for group in notations):
                return
            below = draft.members[0].pitch if len(draft.members) > 1 else None
            touched = below is not None and member.pitch.step - below.step == 3
            self.printed._add(Kind.HARMONIC, draft, "artificial" if touched else "natural", member)
        else:
            self.movement.leave_out(f"A notehead of another shape ({head[:20]}).")

    def _hidden(self, child: dict[str, etree._Element], notations: list[etree._Element], chord: bool) -> None:
        """Notes and rests that aren't printed (for playback or spacing) aren't read."""
        if "rest" not in child:
            self.movement.leave_out("A hidden note, not printed on the page.")
        elif any(len(group) for group in notations):
            self.movement.leave_out("A sign on a hidden rest.")
        self.hidden = True
        if not chord:
            self.last = None

    def _unread_note(self, tag: str) -> None:
        names = {"lyric": "Words to sing.", "notehead-text": "Words inside a notehead."}
        self.movement.leave_out(names.get(tag, f"An unknown element <{tag[:40]}> of a note."))

    # --- clef, key, time --------------------------------------------------------------

    def _attributes(self, element: etree._Element) -> None:
        for e in element:
            tag = e.tag
            if tag == "divisions":
                number = number_of(e.text)
                if not number or not 0 < number <= 10_000_000:
                    raise self.wrong("the number of divisions of a quarter note can't be read.", e)
                self.divisions = number
            elif tag in ("clef", "key", "time", "transpose", "staff-details", "measure-style"):
                if e.get("number", "1") == str(self.staff) or (e.get("number") is None and tag != "clef"):
                    getattr(self, f"_{tag.replace('-', '_')}")(e)
            elif isinstance(tag, str) and tag not in _SILENT_ATTRIBUTES:
                self.movement.leave_out(f"An unknown element <{tag[:40]}>.")

    def _clef(self, element: etree._Element) -> None:
        sign = (element.findtext("sign") or "").strip()
        line = (element.findtext("line") or DEFAULT_LINE.get(sign, "")).strip()
        octave = (element.findtext("clef-octave-change") or "0").strip() or "0"
        name = CLEFS.get((sign, line, octave))
        if name is None:
            if sign == "TAB":
                raise FileError("This part is written in tablature, which has no notes to read. Choose another part.")
            if sign == "percussion":
                name = "percussion"
            elif sign in _NEAREST:
                name = _NEAREST[sign]
                self.movement.leave_out(
                    f"A {sign} clef on line {line[:5]} (octave {octave[:5]}); the {name} clef stands instead."
                )
            else:
                name = "treble"
                if sign != "none":
                    self.movement.leave_out(f"A clef of an unknown kind ({sign[:20] or 'without a sign'}).")
        self.clef = name
        if self.true == 0:
            self.clefs[0] = Clef(name)
        else:
            self.clefs = [c for c in self.clefs if c.onset != self.true] + [Clef(name, self.true)]

    def _key(self, element: etree._Element) -> None:
        fifths = number_of(element.findtext("fifths"))
        if fifths is None or fifths.denominator != 1 or abs(fifths) > 7:
            if fifths is None or abs(fifths) > 7:
                self.movement.leave_out("A key signature of an unusual kind.")
            fifths = ZERO
        mode = (element.findtext("mode") or "").strip()[:20]
        self._change("key", (int(fifths), "" if mode == "none" else mode), element)

    def _time(self, element: etree._Element) -> None:
        if element.find("senza-misura") is not None:
            self.movement.leave_out("Music without a time signature: bars last as long as their notes.")
            return
        beats = [(e.text or "").replace(" ", "") for e in element.iterfind("beats")]
        types = [(e.text or "").strip() for e in element.iterfind("beat-type")]
        sums = all(re.fullmatch(r"\d{1,3}(\+\d{1,3})*", b) for b in beats)
        if not beats or len(beats) != len(types) or not sums or any(t not in _BEAT_TYPES for t in types):
            self.movement.leave_out("A time signature that can't be read; the one before stays in force.")
            return
        if element.find("interchangeable") is not None:
            self.movement.leave_out("The second of two interchangeable time signatures.")
        unit = max(int(t) for t in types)
        terms = [str(int(n) * unit // int(t)) for b, t in zip(beats, types, strict=True) for n in b.split("+")]
        if len(set(types)) > 1:
            self.movement.leave_out(f"A time signature of several parts; it stands as {'+'.join(terms)}/{unit}.")
        symbol = element.get("symbol", "")
        meter = Meter("+".join(terms), unit, symbol if symbol in ("common", "cut") else "")
        if meter.length == 0:
            self.movement.leave_out("A time signature of 0; the one before stays in force.")
            return
        self._change("meter", meter, element)

    def _change(self, what: str, value: Any, element: etree._Element) -> None:
        """A key or time counts from this bar's start, or from the next when it stands later."""
        printed = element.get("print-object") != "no"
        if self.true > 0 and self.bar_drafts:
            self.late[what] = (value, printed)
            return
        if what == "key":
            self.key, self.mode = value
            self.key_shown = printed
        else:
            self.meter, self.meter_shown = value, printed

    def _transpose(self, element: etree._Element) -> None:
        steps = (element.findtext("chromatic") or "0").strip()[:6]
        octaves = (element.findtext("octave-change") or "0").strip()[:6]
        if steps not in ("0", "") or octaves not in ("0", ""):
            self.movement.leave_out(
                f"The part is for a transposing instrument (sounds {steps} half steps and {octaves} octaves from "
                "where it is written); notes are kept as written."
            )

    def _staff_details(self, element: etree._Element) -> None:
        if element.find("staff-tuning") is not None:
            self.movement.leave_out("A tuning of the strings (scordatura).")
        lines = (element.findtext("staff-lines") or "5").strip()
        if lines != "5":
            self.movement.leave_out(f"A staff of {lines[:5]} lines.")

    def _measure_style(self, element: etree._Element) -> None:
        for e in element:
            if e.tag in ("measure-repeat", "beat-repeat", "slash") and e.get("type") != "stop":
                self.movement.leave_out(f"The sign “{e.tag.replace('-', ' ')}”: notes stand as the file gives them.")

    # --- barlines ---------------------------------------------------------------------

    def _barline(self, element: etree._Element) -> None:
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
                self._jump(tag)
            elif tag == "fermata":
                self.movement.leave_out("A fermata on a barline.")
            elif isinstance(tag, str) and tag not in ("footnote", "level", "wavy-line"):
                self.movement.leave_out(f"An unknown element <{tag[:40]}> of a barline.")

    def _jump(self, name: str) -> None:
        before = self.fields.get("jump")
        if before and before != name:
            self.movement.leave_out(f"A second jump sign in one bar ({name}).")
        else:
            self.fields["jump"] = name

    # --- above and below the staff ------------------------------------------------------

    def _direction(self, element: etree._Element) -> None:
        staff = element.findtext("staff")
        if (staff or "1").strip() != str(self.staff):
            return
        offset = number_of(element.findtext("offset")) or ZERO
        pos = max(ZERO, self.true + offset / self.divisions)
        voice_name = (element.findtext("voice") or "").strip()
        voice = self.voices.get(voice_name)
        place = element.get("placement", "")
        sound = element.find("sound")
        texts: list[str] = []
        style = ""
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
                    for value, words in dynamics(e):
                        if value:
                            self.pending.append(_Pending("dynamic", pos, voice, value))
                        else:
                            self.pending.append(_Pending("words", pos, voice, Words(words, place, "italic")))
                elif tag in ("wedge", "octave-shift"):
                    self._line_above(e, pos, voice)
                elif tag == "rehearsal":
                    self.fields["rehearsal"] = " ".join("".join(e.itertext()).split())[:20]
                elif tag in ("segno", "coda"):
                    self._jump(tag)
                elif tag == "symbol":
                    self.movement.leave_out(f"A sign set above or below the staff ({(e.text or '').strip()[:30]}).")
                elif tag in _ABOVE_NAMES:
                    if e.get("type", "start") == "start":
                        self.movement.leave_out(_ABOVE_NAMES[tag])
                elif isinstance(tag, str):
                    name = (e.text or "").strip()[:30] if tag == "other-direction" else tag[:40]
                    self.movement.leave_out(f"A direction of another kind ({name or tag}).")
        self._words(texts, Words("", place if place in ("above", "below") else "", style), metronome, sound, pos, voice)

    def _words(
        self, texts: list[str], words: Words, metronome: etree._Element | None, sound: etree._Element | None,
        pos: Fraction, voice: int | None,
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
                self.tempos.append(mark)
            return
        jump, plain = wording.jump(text)
        for name in ("dacapo", "dalsegno", "fine", "tocoda"):
            if name in sounds:
                jump = name
        if jump:
            self._jump(jump)
            if plain:
                return
        if not text:
            return
        if wording.heading(text) and self.index == 1 and pos == 0:
            self.movement.heading = self.movement.heading or text
        elif ("tempo" in sounds or wording.is_tempo(text)) and not wording.plucking(text):
            self.tempos.append(TempoMark(pos, text))
        else:
            self.pending.append(_Pending("words", pos, voice, Words(text, words.place, words.style)))

    def _line_above(self, element: etree._Element, pos: Fraction, voice: int | None) -> None:
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

    # --- the end of a bar -----------------------------------------------------------------

    def _end_bar(self, written: WrittenBar) -> None:
        movement = self.movement
        full = self.meter.length
        if self.exact and self.furthest != full == self.furthest_ticks:
            self._back_to_ticks()
        length = self.furthest or full
        drafts = self.bar_drafts
        if len(drafts) == 1 and drafts[0].whole_bar and not drafts[0].members and length > full:
            drafts[0].duration = length = full
        if not drafts:
            drafts.append(Draft(self.index, ZERO, length, Value("whole"), 1, whole_bar=True))
            if not self.lower:
                movement.leave_out("An empty bar, read as a bar's rest.")
        for draft in drafts:
            draft.members.sort(key=lambda m: (m.pitch.step, m.pitch.alter))
        drafts.sort(key=lambda d: d.order)
        for place, draft in enumerate(drafts, 1):
            draft.address = f"b{self.index}n{place}"
        self._attach(drafts)
        self.printed.end_bar()
        clefs = [c for c in self.clefs if c.onset < length]
        ending = self.fields.pop("ending", self.ending)
        bar = Bar(
            index=self.index,
            number="",
            onset=movement.bars[-1].bar.onset + movement.bars[-1].bar.length if movement.bars else ZERO,
            length=length,
            meter=self.meter,
            key=self.key,
            mode=self.mode,
            clefs=tuple(sorted(clefs, key=lambda c: c.onset)),
            ending=ending,
            tempos=tuple(self.tempos),
            key_shown=self.key_shown,
            meter_shown=self.meter_shown,
            **self.fields,
        )
        movement.drafts.extend(drafts)
        movement.bars.append(DraftBar(bar, written.number, written.implicit, full, written.place))
        for what, (value, printed) in self.late.items():
            if what == "key":
                self.key, self.mode = value
            else:
                self.meter = value
            self.next_shown = (self.next_shown[0] or (what == "key" and printed),
                               self.next_shown[1] or (what == "meter" and printed))  # fmt: skip

    def _back_to_ticks(self) -> None:
        """Undo the exact reading of a bar that adds up in ticks but not in written values."""
        ticks_at = {true: pos for pos, true in self.exact.items()}
        for draft in self.bar_drafts:
            draft.onset = ticks_at.get(draft.onset, draft.onset)
        for draft, length in self.ticked:
            draft.duration = length
            draft.value = self._mended(length, draft.value)
        for p in self.pending:
            p.pos = ticks_at.get(p.pos, p.pos)
        self.tempos = [replace(t, onset=ticks_at.get(t.onset, t.onset)) for t in self.tempos]
        self.clefs = [Clef(c.name, ticks_at.get(c.onset, c.onset)) for c in self.clefs]
        self.furthest = self.furthest_ticks

    def _attach(self, drafts: list[Draft]) -> None:
        """Give what stands above and below the staff to the events it stands at."""
        for p in sorted(self.pending, key=lambda p: (p.pos, p.what != "stop")):
            if p.what == "stop":
                self.printed.stop_above(p.kind, p.number, self._before(drafts, p), p.pos)
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
                self.printed.start_above(p.kind, p.number, p.value, at, p.pos)

    def _at(self, drafts: list[Draft], p: _Pending) -> Draft:
        """The event at a place: one that begins there, else one that sounds there, else the next, else the last."""
        own = [d for d in drafts if d.voice == p.voice and not d.grace]
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
        voice = p.voice or (open_[-1].draft.voice if open_ else None)
        for pool in ([d for d in drafts if d.voice == voice], drafts):
            found = [d for d in pool if d.onset < p.pos and not d.grace]
            if found:
                return found[-1]
        earlier = self.movement.drafts
        if p.pos == 0 and earlier:
            return next((d for d in reversed(earlier[-40:]) if not d.grace and d.voice == voice), earlier[-1])
        return drafts[0]


_KNOWN_NOTE = frozenset({
    "grace", "chord", "cue", "pitch", "unpitched", "rest", "duration", "voice", "type", "accidental",
    "time-modification", "stem", "staff",
})  # fmt: skip
_BEAT_TYPES = frozenset({"1", "2", "4", "8", "16", "32", "64", "128"})


class Restarts:
    """Tells where bar numbers start again: at 0 or 1 after a higher number.

    Bars the file doesn't count (X1) and repeated numbers (second endings) begin nothing new.
    """

    def __init__(self) -> None:
        self.last: int | None = None

    def begins(self, written: WrittenBar) -> bool:
        first = self.last is None
        if not written.number.isascii() or not written.number.isdigit():
            if first:
                self.last = 0
            return first
        number = int(written.number)
        again = self.last is not None and number <= 1 and self.last >= 2
        if first or again or not written.implicit:
            self.last = number
        return first or again
