"""The marks printed in a part: what stands on its notes, and what is written above and below.

Slurs, bow signs, fingers, articulations, ornaments and dynamics become marks on the drafts
of the notes they belong to. Whatever has no kind of mark is reported by name, never dropped
in silence. Layout (placement, offsets, fonts) is left to the engraver.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction

from lxml import etree

from repertoire.technique.dynamic_words import leads
from repertoire.technique.line import TempoMark, Value
from repertoire.technique.marks import DYNAMICS, SPANS, TEXT_LIMIT, Kind

from . import wording
from .drafts import Draft, DraftMark, DraftMovement, Member
from .meanings import Meaning, take_out

_ON_NOTE: Mapping[str, tuple[Kind, str]] = {
    "staccato": (Kind.ARTICULATION, "staccato"),
    "staccatissimo": (Kind.ARTICULATION, "staccatissimo"),
    "spiccato": (Kind.ARTICULATION, "staccatissimo"),
    "tenuto": (Kind.ARTICULATION, "tenuto"),
    "accent": (Kind.ARTICULATION, "accent"),
    "strong-accent": (Kind.ARTICULATION, "marcato"),
    "soft-accent": (Kind.ARTICULATION, "soft accent"),
    "detached-legato": (Kind.ARTICULATION, "detached legato"),
    "breath-mark": (Kind.ARTICULATION, "breath"),
    "caesura": (Kind.ARTICULATION, "caesura"),
    "stopped": (Kind.ARTICULATION, "stopped"),
    "arpeggiate": (Kind.ARTICULATION, "arpeggio"),
    "up-bow": (Kind.BOW, "up"),
    "down-bow": (Kind.BOW, "down"),
    "snap-pizzicato": (Kind.PIZZICATO, "snap"),
    "trill-mark": (Kind.ORNAMENT, "trill"),
    "turn": (Kind.ORNAMENT, "turn"),
    "vertical-turn": (Kind.ORNAMENT, "turn"),
    "inverted-turn": (Kind.ORNAMENT, "inverted turn"),
    "inverted-vertical-turn": (Kind.ORNAMENT, "inverted turn"),
    "delayed-turn": (Kind.ORNAMENT, "delayed turn"),
    "mordent": (Kind.ORNAMENT, "mordent"),
    "inverted-mordent": (Kind.ORNAMENT, "inverted mordent"),
    "shake": (Kind.ORNAMENT, "shake"),
    "fermata": (Kind.FERMATA, ""),
}
_STRINGS = {"1": "I", "2": "II", "3": "III", "4": "IV"}
_SIGNS = {"sharp": "sharp", "flat": "flat", "natural": "natural", "double-sharp": "double-sharp",
          "sharp-sharp": "double-sharp", "flat-flat": "flat-flat"}  # fmt: skip
_BOWS = {"\ue610": "down", "\ue612": "up"}  # SMuFL stringsDownBow, stringsUpBow
_NUMBER = re.compile(r"\d{1,3}(?:[.,]\d{1,2})?")
_ONE_PLACE = Fraction(1, 4)  # a semiquaver: nearer to each other, two equal dynamics of a note can't be read as two [C]
_SPAN_NAMES = {Kind.SLUR: "slur", Kind.SLIDE: "slide", Kind.HAIRPIN: "hairpin", Kind.OCTAVE: "octave sign"}


@dataclass(slots=True)
class Words:
    """Words printed above or below the staff, and how; `order` says on which side of a dynamic they stand with."""

    text: str
    place: str
    style: str
    order: str = ""  # "before", "after", or "" where there is no dynamic


@dataclass(slots=True, eq=False)
class _Open:
    """A slur, hairpin, slide or octave sign whose end hasn't been read."""

    draft: Draft
    member: Member | None
    value: str
    options: tuple[tuple[str, str], ...] = ()
    voice: str = ""  # of a sign above or below the staff, as the file names it


class Printed:
    """Collects the printed marks of one movement. Call `close` after its last bar."""

    def __init__(self, movement: DraftMovement) -> None:
        self.movement = movement
        self.open: dict[tuple[Kind, str], list[_Open]] = {}
        self.early: list[tuple[Kind, str, Draft, Member | None]] = []

    # --- spans -------------------------------------------------------------------

    def start(self, key: tuple[Kind, str], span: _Open) -> None:
        """Open a span; a stop already read in this bar (in a voice written earlier) closes it."""
        kind, _ = key
        for waiting in self.early:
            if waiting[:2] == key and waiting[2].order > span.draft.order:
                self.early.remove(waiting)
                self._keep(kind, span, waiting[2], waiting[3])
                return
        self.open.setdefault(key, []).append(span)

    def stop(self, key: tuple[Kind, str], draft: Draft, member: Member | None = None) -> None:
        """Close the span of this kind and number, that of the same voice if there are several."""
        spans = [s for s in self.open.get(key, ()) if s.draft.order < draft.order]
        if not spans:
            self.early.append((*key, draft, member))
            return
        span = next((s for s in reversed(spans) if s.draft.voice == draft.voice), spans[-1])
        self.open[key].remove(span)
        self._keep(key[0], span, draft, member)

    def _keep(self, kind: Kind, span: _Open, to: Draft, member: Member | None, until: str = "") -> None:
        options = (*span.options, ("until", until)) if until else span.options
        self.movement.marks.append(DraftMark(kind, span.draft, span.value, to, options, span.member, member))

    def end_bar(self) -> None:
        """Report ends without a beginning, once the whole bar is read."""
        for kind, _, draft, _ in self.early:
            self.movement.leave_out(f"A {_SPAN_NAMES.get(kind, kind)} ends that never began.", draft.bar)
        self.early.clear()

    def close(self) -> None:
        """Report beginnings without an end, once the whole movement is read."""
        for (kind, _), spans in self.open.items():
            for span in spans:
                self.movement.leave_out(f"A {_SPAN_NAMES.get(kind, kind)} has no end.", span.draft.bar)
        self.open.clear()

    # --- on notes ----------------------------------------------------------------

    def note(self, draft: Draft, member: Member | None, notations: list[etree._Element]) -> None:
        """Read the notations of one notehead (or of a rest: `member` is None)."""
        stops: list[Callable[[], None]] = []
        starts: list[Callable[[], None]] = []
        fingers: list[tuple[str, bool]] = []
        for meaning in take_out(notations):
            self._said(meaning, draft, member, starts, stops)
        for group in notations:
            for element in group:
                tag = element.tag
                if tag in ("articulations", "technical"):
                    for sign in element:
                        self._sign(draft, member, sign, fingers)
                elif tag == "ornaments":
                    self._ornaments(draft, element)
                elif tag in ("slur", "glissando", "slide"):
                    kind = Kind.SLUR if tag == "slur" else Kind.SLIDE
                    key = (kind, f"{tag}{element.get('number', '1')}")
                    if element.get("type") == "start":
                        value = "start" if kind is Kind.SLIDE else ""
                        if kind is Kind.SLUR and element.get("line-type") in ("dashed", "dotted"):
                            value = "dashed"
                        on = member if kind is Kind.SLIDE else None
                        opened = _Open(draft, on, value)
                        starts.append(lambda k=key, s=opened: self.start(k, s))  # type: ignore[misc]
                    elif element.get("type") == "stop":
                        on = member if kind is Kind.SLIDE else None
                        stops.append(lambda k=key, m=on: self.stop(k, draft, m))  # type: ignore[misc]
                elif tag == "dynamics":
                    for value, words, order in dynamics(element):
                        if value:
                            self.dynamic(value, draft, draft.onset)
                        else:
                            self.words(Words(words, "", "", order), draft, draft.onset)
                elif tag == "accidental-mark":
                    self._neighbour_sign(draft, element)
                elif tag in ("tied", "tuplet"):
                    if element.get("type") == "let-ring":
                        self.movement.leave_out("A tie that lets the note ring on.", draft.bar)
                elif tag == "fermata" or tag == "arpeggiate":
                    self._sign(draft, member, element, fingers)
                else:
                    self.movement.leave_out(f"The sign “{_plain(tag)}” on a note.", draft.bar)
        for act in (*stops, *starts):
            act()
        self._fingers(draft, member, fingers)

    def _said(
        self, meaning: Meaning, draft: Draft, member: Member | None,
        starts: list[Callable[[], None]], stops: list[Callable[[], None]],
    ) -> None:  # fmt: skip
        """A mark that the file gives in words, since MusicXML has no sign that says it whole."""
        kind, on = meaning.kind, member if meaning.on_note else None
        key = (kind, f"said{meaning.number}")
        if meaning.step == "start":
            opened = _Open(draft, on, meaning.value, meaning.options)
            starts.append(lambda: self.start(key, opened))
        elif meaning.step == "stop":
            stops.append(lambda: self.stop(key, draft, on))
        elif meaning.alone:
            self.movement.marks.append(DraftMark(kind, draft, meaning.value, draft, meaning.options, on, on))
        elif kind not in SPANS:
            self._add(kind, draft, meaning.value, on, dict(meaning.options))

    def _add(
        self, kind: Kind, draft: Draft, value: str, member: Member | None = None, options: dict[str, str] | None = None
    ) -> None:
        self.movement.marks.append(
            DraftMark(kind, draft, value, None, tuple((options or {}).items()), member)
        )  # fmt: skip

    def _sign(self, draft: Draft, member: Member | None, sign: etree._Element, fingers: list[tuple[str, bool]]) -> None:
        tag, text = sign.tag, (sign.text or "").strip()
        if tag in _ON_NOTE:
            kind, value = _ON_NOTE[tag]
            if member is None and (kind is Kind.BOW or value in ("staccato", "tenuto", "accent", "arpeggio")):
                self.movement.leave_out(f"The sign “{_plain(tag)}” on a rest.", draft.bar)
            else:
                self._add(kind, draft, value)
        elif tag == "fingering":
            if sign.get("alternate") == "yes":
                self.movement.leave_out(f"The alternative fingering “{text[:8]}”.", draft.bar)
            else:
                fingers.append((text, sign.get("substitution") == "yes"))
        elif tag == "open-string":
            fingers.append(("0", False))
        elif tag == "string" and text in _STRINGS:
            self._add(Kind.STRING, draft, _STRINGS[text], member)
        elif tag == "harmonic":
            if sign.find("base-pitch") is None and sign.find("sounding-pitch") is None:
                self._add(
                    Kind.HARMONIC, draft, "artificial" if sign.find("artificial") is not None else "natural", member
                )
        elif tag == "other-articulation" or tag == "other-technical":
            self.movement.leave_out(
                f"The sign “{text[:30] or sign.get('smufl', 'of another kind')}” on a note.", draft.bar
            )
        else:
            self.movement.leave_out(f"The sign “{_plain(tag)}” on a note.", draft.bar)

    def _fingers(self, draft: Draft, member: Member | None, fingers: list[tuple[str, bool]]) -> None:
        kept = ""
        for text, substitution in fingers:
            digit = text.strip()
            if re.fullmatch(r"[0-4](?:\s*[-–]\s*[0-4])?", digit) and not kept:
                kept = re.sub(r"\s*[-–]\s*", "-", digit)
            elif substitution and re.fullmatch(r"[0-4]", digit) and re.fullmatch(r"[0-4]", kept):
                kept = f"{kept}-{digit}"
            elif digit != kept:
                self.movement.leave_out(f"The fingering “{digit[:12]}” on a note.", draft.bar)
        if kept:
            self._add(Kind.FINGER, draft, kept, member)

    def _ornaments(self, draft: Draft, group: etree._Element) -> None:
        for element in group:
            tag = element.tag
            if tag == "tremolo":
                self._tremolo(draft, element)
            elif tag == "accidental-mark":
                self._neighbour_sign(draft, element)
            elif tag == "wavy-line":
                if element.get("type") == "start" and group.find("trill-mark") is None:
                    self.movement.leave_out("A wavy line without a trill sign.", draft.bar)
                elif element.get("type") == "stop" and group.find("wavy-line[@type='start']") is None:
                    self.movement.leave_out("How far the wavy line of a trill reaches.", draft.bar)
            elif tag in _ON_NOTE:
                kind, value = _ON_NOTE[tag]
                self._add(kind, draft, value)
            else:
                self.movement.leave_out(f"The ornament “{_plain(tag)}”.", draft.bar)

    def _tremolo(self, draft: Draft, element: etree._Element) -> None:
        strokes, kind = (element.text or "").strip(), element.get("type", "single")
        if strokes not in ("1", "2", "3", "4", "5") or kind not in ("single", "start", "stop"):
            self.movement.leave_out("A tremolo sign of an unusual kind.", draft.bar)
            return
        draft.tremolo = int(strokes)
        draft.tremolo_pair = "start" if kind == "start" else "stop" if kind == "stop" else ""

    def _neighbour_sign(self, draft: Draft, element: etree._Element) -> None:
        """An accidental above or below an ornament belongs to the last ornament of the note."""
        sign = _SIGNS.get((element.text or "").strip())
        side = "below" if element.get("placement") == "below" else "above"
        for mark in reversed(self.movement.marks):
            if mark.at is draft and mark.kind is Kind.ORNAMENT:
                if sign and side not in dict(mark.options):
                    mark.options = (*mark.options, (side, sign))
                    return
                break
            if mark.at.bar != draft.bar:
                break
        self.movement.leave_out("An accidental over a note or ornament.", draft.bar)

    # --- above and below the staff -------------------------------------------------

    def dynamic(self, value: str, at: Draft, pos: Fraction) -> None:
        """Keep a dynamic; the same one written twice at one place of a note is one mark."""
        options = _after(at, pos)
        same = (m for m in self.movement.marks if m.kind is Kind.DYNAMIC and m.at is at and m.value == value)
        place = Fraction(options.get("after", 0))
        if all(abs(Fraction(dict(m.options).get("after", 0)) - place) > _ONE_PLACE for m in same):
            self._add(Kind.DYNAMIC, at, value, options=options)

    def words(self, words: Words, at: Draft, pos: Fraction) -> None:
        """Keep words as pizz./arco or as text."""
        plucked = wording.plucking(words.text)
        if plucked and not _after(at, pos):
            self._add(Kind.PIZZICATO, at, plucked)
            return
        if len(words.text) > TEXT_LIMIT:
            self.movement.leave_out(f"Words past {TEXT_LIMIT} characters.", at.bar)
        options = _after(at, pos)
        if words.place or words.order:
            options["place"] = "below" if words.order else words.place  # with a dynamic: where the dynamic is drawn
        if words.style:
            options["style"] = words.style
        if words.order and (words.order == "before") != leads(words.text):
            options["order"] = words.order
        self._add(Kind.TEXT, at, words.text[:TEXT_LIMIT].strip(), options=options)

    def bow_sign(self, sign: str, at: Draft) -> bool:
        """A bow sign set as text in a music font; False for any other sign."""
        if sign not in _BOWS:
            return False
        self._add(Kind.BOW, at, _BOWS[sign])
        return True

    def start_above(self, kind: Kind, number: str, value: str, at: Draft, pos: Fraction, voice: str = "") -> None:
        """Begin a hairpin or octave sign. One of its number that is still open has lost its end:
        it goes, unless it belongs to another voice."""
        spans = self.open.setdefault((kind, number), [])
        for lost in [s for s in spans if not (s.voice and voice and s.voice != voice)]:
            spans.remove(lost)
            self.movement.leave_out(f"A {_SPAN_NAMES.get(kind, kind)} has no end.", lost.draft.bar)
        options = tuple(_after(at, pos).items()) if kind is Kind.HAIRPIN else ()
        spans.append(_Open(at, None, value, options, voice))

    def stop_above(self, kind: Kind, number: str, last: Draft, pos: Fraction, voice: str = "") -> None:
        """End a hairpin or octave sign at `pos`; `last` is the last event that begins before it."""
        spans = self.open.get((kind, number))
        if not spans:
            self.movement.leave_out(f"A {_SPAN_NAMES.get(kind, kind)} ends that never began.", last.bar)
            return
        span = next((s for s in reversed(spans) if s.voice == voice), spans[-1])
        spans.remove(span)
        to = last if last.order > span.draft.order else span.draft
        until = pos - to.onset
        inside = kind is Kind.HAIRPIN and to is last and 0 < until < to.duration
        self._keep(kind, span, to, None, str(until) if inside else "")


def dynamics(element: etree._Element) -> Iterator[tuple[str, str, str]]:
    """Each sign of a dynamics element as (sign, "", "") or, for words among them, ("", words, order)."""
    found = []
    for sign in element:
        text = " ".join((sign.text or "").split()).strip("[] ") if sign.tag == "other-dynamics" else str(sign.tag)
        bare = text.strip(". ")
        found.append(bare if bare in DYNAMICS or not bare else text)
    first = next((n for n, name in enumerate(found) if name in DYNAMICS), None)
    for n, name in enumerate(found):
        if name in DYNAMICS:
            yield name, "", ""
        elif name:
            yield "", name, "" if first is None else "before" if n < first else "after"


def tempo(element: etree._Element, onset: Fraction, words: str) -> tuple[TempoMark, str]:
    """A tempo mark of a metronome element with its words, and what couldn't be kept of it ("")."""
    units = [e for e in element if e.tag in ("beat-unit", "beat-unit-dot", "per-minute")]
    name, dots = "", 0
    for unit in units:
        if unit.tag == "beat-unit":
            if name:
                return TempoMark(onset, words), "A tempo given as one beat unit against another."
            name = (unit.text or "").strip()
        elif unit.tag == "beat-unit-dot":
            dots += 1
    number = _NUMBER.search(element.findtext("per-minute") or "")
    if name not in _UNITS or dots > 2:
        shown = number.group() if number else "unknown"
        return TempoMark(onset, words), f"A metronome number ({shown}) without a readable beat unit."
    if not number:
        return TempoMark(onset, words), "A metronome mark without a number."
    per_minute = Fraction(number.group().replace(",", "."))
    if not per_minute:
        return TempoMark(onset, words), "A metronome mark of 0."
    return TempoMark(onset, words, Value(name, dots), per_minute), ""


_UNITS = ("breve", "whole", "half", "quarter", "eighth", "16th", "32nd")


def _after(at: Draft, pos: Fraction) -> dict[str, str]:
    inside = pos - at.onset
    return {"after": str(inside)} if 0 < inside < at.duration else {}


def _plain(tag: object) -> str:
    return str(tag)[:40].replace("-", " ")
