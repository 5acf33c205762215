"""Marks laid on the MEI of plain notes, kind by kind.

Each function here draws one kind of mark: it finds the note by its address and adds what
MEI has for the mark. Who made a mark (the teacher or the print) goes along as a class, so
that screen and paper can tell them apart.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from lxml import etree

from repertoire.technique.dynamic_words import is_before, of_a_dynamic
from repertoire.technique.line import Line, event_address, parse_address
from repertoire.technique.marks import Kind, Mark, Marks
from repertoire.technique.pitch import LETTERS, Pitch
from repertoire.technique.strings import OPEN_STRINGS, STRING_NAMES

from .excerpt import MEI, XML_ID, stem_up
from .look import Look
from .scoring import of_key

OWN, PRINTED, REPLACED, INFERRED = "mark-own", "mark-printed", "mark-replaced", "mark-inferred"
_SMALL, _MIDDLE = 0.85, 0.9

_ARTICULATIONS = {
    "staccato": "stacc", "staccatissimo": "stacciss", "tenuto": "ten", "accent": "acc", "marcato": "marc",
    "soft accent": "acc-soft", "detached legato": "ten-stacc", "stopped": "stop",
}  # fmt: skip
_ACCIDENTALS = {"sharp": "s", "flat": "f", "natural": "n", "double-sharp": "x", "flat-flat": "ff"}


# From the head outwards, as they are drawn: dots and lines, accents, what the left hand does, the bow.
_OUTWARD = {
    "stacc": 0,
    "stacciss": 0,
    "ten": 1,
    "ten-stacc": 1,
    "acc": 2,
    "acc-soft": 2,
    "marc": 2,
    "dnbow": 4,
    "upbow": 4,
}


def _outward(artic: Any) -> int:
    return _OUTWARD.get(artic.get("artic", ""), 3)


@dataclass(frozen=True, slots=True)
class Words:
    """Words to be written: their size against ordinary directions, and plain, italic or bold."""

    text: str
    size: float
    style: str


@dataclass(frozen=True, slots=True)
class Beside:
    """Words that belong to a dynamic: its id, and whether they are read before it."""

    dynamic: str
    before: bool


class Sheet:
    """The MEI of one line while marks are laid on it; nothing outside sees it change."""

    def __init__(self, root: Any, line: Line, look: Look, staff: int = 1) -> None:
        self.root, self.line, self.look, self.staff = root, line, look, staff
        self.places: dict[str, Any] = {}
        self.measures: list[Any] = []
        self._measure_of: dict[str, Any] = {}
        for measure in root.iter(MEI + "measure"):
            self.measures.append(measure)
            for element in measure.iter(MEI + "note", MEI + "chord", MEI + "rest", MEI + "mRest"):
                name = element.get(XML_ID).rpartition("_")[2]
                self.places[name] = element
                self._measure_of[name] = measure
        self.marks: Marks = ()
        self.labels: dict[str, str] = {}  # words at the start of a line, by the id of its sign
        self.written: dict[str, Words] = {}  # words at a note, likewise
        self.at: dict[str, str] = {}  # address a sign starts from, by its id
        self.dynamics: dict[tuple[str, str, bool], str] = {}  # id of a dynamic, by its place and whether it is replaced
        self.beside: dict[str, Beside] = {}  # words on the line of a dynamic, by their id

    def element(self, address: str) -> Any:
        """The note, chord or rest at an address, None when it lies outside."""
        return self.places.get(address, self.places.get(event_address(address)))

    def control(self, tag: str, mark: Mark, owner: str, **attributes: str) -> Any:
        """A sign of its own (slur, dynamic, words) in the bar where the mark starts."""
        start, end = self.element(mark.at), self.element(mark.to) if mark.to else None
        measure = self._measure_of[start.get(XML_ID).rpartition("_")[2]] if start is not None else self.measures[0]
        below = start is not None and self.second_voice(mark.at)
        kind = mark.kind.replace(" ", "-")
        made = etree.SubElement(measure, MEI + tag, type=f"mark {owner} kind-{kind} on{self.staff}{' lower' * below}")
        made.set(XML_ID, f"c{len(self.at)}s{self.staff}")
        self.at[made.get(XML_ID)] = mark.at
        made.set("staff", str(self.staff))
        if start is None:
            made.set("tstamp", "0")
        elif mark.option("after"):
            made.set("tstamp", f"{self._beat(mark.at, mark.option('after')):g}")
        else:
            made.set("startid", "#" + start.get(XML_ID))
        if end is not None and mark.option("until"):
            bars = self.measures.index(self._measure_of[end.get(XML_ID).rpartition("_")[2]]) - self.measures.index(
                measure
            )
            made.set("tstamp2", f"{bars}m+{self._beat(mark.to, mark.option('until')):g}")
        elif end is not None:
            made.set("endid", "#" + end.get(XML_ID))
        elif mark.to:
            bars = len(self.measures) - 1 - self.measures.index(measure)
            last = self.line.bars[-1]
            made.set("tstamp2", f"{bars}m+{float(last.length * last.meter.beat_type / 4) + 1:g}")
        for name, value in attributes.items():
            made.set(name.rstrip("_").replace("__", "."), value)
        if below and made.get("place") == "above":
            made.set("place", "below")
        return made

    def _beat(self, address: str, after: str) -> float:
        """A place within a long note, counted in the meter's own unit from 1."""
        event = self.line.event(address)
        return float((event.onset + Fraction(after)) * self.line.bar(event.bar).meter.beat_type / 4) + 1

    def second_voice(self, address: str) -> bool:
        """Whether the note is in a lower voice, whose signs stand below the staff."""
        if address not in self.line:
            return False
        return self.line.event(address).voice > 1

    def artic(self, address: str, owner: str, kind: str, place: str = "", **attributes: str) -> None:
        """A sign on the note or chord itself."""
        target = self.element(event_address(address))
        if target is None:
            return
        same = [
            a for a in target.findall(MEI + "artic") if a.get("artic") and a.get("artic") == attributes.get("artic")
        ]
        if same:
            return
        made = etree.Element(MEI + "artic", type=f"mark {owner} kind-{kind.replace(' ', '-')}")
        if place:
            made.set("place", "below" if self.second_voice(address) else place)
        for name, value in attributes.items():
            made.set(name.replace("__", "."), value)
        outward = _outward(made)
        target.insert(sum(_outward(a) <= outward for a in target.findall(MEI + "artic")), made)

    def words(
        self, mark: Mark, owner: str, text: str, *, place: str = "above", size: float = 1.0, style: str = ""
    ) -> str:
        """Words at a note. MEI gets a dot in their place: long words at the end of a system would
        squeeze its notes; `dressing.py` writes them in full."""
        made = self.control("dir", mark, owner, place=place)
        made.text = "."
        own = {OWN: "bold", PRINTED: "italic", REPLACED: "italic"}[owner]
        self.written[made.get(XML_ID)] = Words(text, size, style or own)
        return str(made.get(XML_ID))

    def between(self, start: str, end: str) -> Iterable[str]:
        """Addresses of the notes a span covers, cut to the excerpt."""
        first, last = parse_address(start)[:2], parse_address(end)[:2]
        for event in self.line.notes:
            if first <= parse_address(event.address)[:2] <= last and not event.grace:
                yield event.address

    def all_of(self, kind: Kind) -> Iterable[Mark]:
        return (m for m in self.marks if m.kind is kind)


def draw_bow(sheet: Sheet, mark: Mark, owner: str) -> None:
    sign = "dnbow" if mark.value == "down" else "upbow"
    if mark in sheet.look.inferred:
        sheet.artic(mark.at, INFERRED, mark.kind, "above", artic=sign, enclose="paren")
    else:
        sheet.artic(mark.at, owner, mark.kind, "above", artic=sign)


def draw_retake(sheet: Sheet, mark: Mark, owner: str) -> None:
    event = sheet.line.event(mark.at)
    bar = sheet.line.bar(event.bar)
    made = sheet.control("breath", mark, owner, place="above")
    made.attrib.pop("startid", None)
    beat = float(event.onset * bar.meter.beat_type / 4) + 1
    made.set("tstamp", f"{max(beat - 0.25, 0.5):g}")


def draw_slur(sheet: Sheet, mark: Mark, owner: str) -> None:
    made = sheet.control("slur", mark, owner)
    if mark.value == "dashed":
        made.set("lform", "dashed")
    if mark.option("side"):
        made.set("curvedir", mark.option("side"))
    elif mark.at not in sheet.line or mark.to not in sheet.line:
        made.set("curvedir", _side_of_cut(sheet, mark))


def _side_of_cut(sheet: Sheet, mark: Mark) -> str:
    """The side of a slur that reaches past the passage: where it lies in the whole part, as far as its notes tell."""
    line = sheet.line
    under = [line.event(a) for a in sheet.between(mark.at, mark.to)]
    inner = line.event(mark.at if mark.at in line else mark.to) if mark.at in line or mark.to in line else None
    if inner is not None:
        under = [e for e in under if e.voice == inner.voice] or [inner]
    if inner is not None and len({e.voice for e in line.in_bar(inner.bar) if e.pitches}) > 1:
        return "above" if stem_up(line, inner) else "below"
    return "below" if under and all(stem_up(line, e) for e in under) else "above"


def draw_hook(sheet: Sheet, mark: Mark, owner: str) -> None:
    sheet.control("slur", mark, owner)
    for address in sheet.between(mark.at, mark.to):
        sheet.artic(address, owner, mark.kind, artic="ten" if mark.value == "portato" else "stacc")


def draw_amount(sheet: Sheet, mark: Mark, owner: str) -> None:
    share = mark.share
    text = sheet.look.words["whole"] if share == 1 else f"{share_label(share)} {sheet.look.words['bow']}"
    sheet.words(mark, owner, text, size=_MIDDLE)


def draw_part(sheet: Sheet, mark: Mark, owner: str) -> None:
    sheet.words(mark, owner, sheet.look.words.get(mark.value, mark.value), size=_MIDDLE)


def draw_articulation(sheet: Sheet, mark: Mark, owner: str) -> None:
    if mark.value in ("breath", "caesura"):
        sheet.control(mark.value, mark, owner, place="above")
    elif mark.value == "arpeggio":
        sheet.control("arpeg", mark, owner)
    else:
        for sign in (
            _ARTICULATIONS[mark.value].split("-") if mark.value == "detached legato" else [_ARTICULATIONS[mark.value]]
        ):
            sheet.artic(mark.at, owner, mark.kind, artic=sign)


def draw_pizzicato(sheet: Sheet, mark: Mark, owner: str) -> None:
    if mark.value in ("left hand", "snap"):
        sheet.artic(mark.at, owner, mark.kind, "above", artic="lhpizz" if mark.value == "left hand" else "snap")
    else:
        sheet.words(mark, owner, f"{mark.value}." if mark.value == "pizz" else mark.value)


def draw_finger(sheet: Sheet, mark: Mark, owner: str) -> None:
    text = mark.value.replace("-", "–")
    for other in sheet.marks:
        if other.kind is Kind.EXTENSION and other.at == mark.at:
            text = f"x{text}" if other.value == "forward" else f"{text}x"
        elif other.kind is Kind.SLIDE and other.value == "arrival" and other.to == mark.at:
            text = f"–{text}"
        elif other.kind is Kind.SLIDE and other.value == "start" and other.at == mark.at:
            text = f"{text}–"
    _digit(sheet, mark, owner, text)


def _digit(sheet: Sheet, mark: Mark, owner: str, text: str) -> None:
    made = sheet.control("fing", mark, owner, place="above")
    style = {"fontweight": "bold", "fontstyle": "normal"} if owner == OWN else {"fontweight": "normal"}
    etree.SubElement(made, MEI + "rend", style).text = text


def draw_extension(sheet: Sheet, mark: Mark, owner: str) -> None:
    if not any(m.at == mark.at for m in sheet.all_of(Kind.FINGER)):
        _digit(sheet, mark, owner, "x")


def draw_string(sheet: Sheet, mark: Mark, owner: str) -> None:
    text = mark.value
    instrument = sheet.look.instrument or sheet.line.instrument
    if sheet.look.string_signs == "sul" and instrument in OPEN_STRINGS:
        letter = OPEN_STRINGS[instrument][STRING_NAMES.index(mark.value)].letter
        text = f"{sheet.look.words['on']} {letter}"
    if mark.to:
        _range(sheet, mark, owner, text)
    else:
        sheet.words(mark, owner, text, size=_SMALL if text == mark.value else _MIDDLE)


def _range(sheet: Sheet, mark: Mark, owner: str, text: str) -> None:
    made = sheet.control("bracketSpan", mark, owner, func="coloration", lform="dashed", lstartsym="none")
    made.set("lendsym", "angledown")
    sheet.labels[made.get(XML_ID)] = text


def draw_harmonic(sheet: Sheet, mark: Mark, owner: str) -> None:
    if mark.value == "natural":
        sheet.artic(mark.at, owner, mark.kind, "above", artic="harm")
        return
    note = sheet.element(mark.at)
    if note is None or note.tag != MEI + "note":
        return
    stopped = sheet.line.pitch(mark.at)
    touched = stopped.moved(steps=3, semitones=5)
    members = note.getparent().findall(MEI + "note") if note.getparent().tag == MEI + "chord" else [note]
    for member in members:
        if (member.get("pname"), member.get("oct")) == (touched.letter.lower(), str(touched.octave)):
            member.set("head.shape", "diamond")
            member.set("head.fill", "void")
            return
    _add_member(sheet, note, touched, mark, owner)


def _add_member(sheet: Sheet, note: Any, touched: Pitch, mark: Mark, owner: str) -> None:
    parent = note.getparent()
    if parent.tag != MEI + "chord":
        chord = etree.Element(
            MEI + "chord",
            {k: v for k, v in note.attrib.items() if k.startswith(("dur", "dots", "stem", "grace", "cue"))},
        )
        parent.replace(note, chord)
        for name in [k for k in note.attrib if k.startswith(("dur", "dots", "stem", "grace", "cue"))]:
            del note.attrib[name]
        for sign in note.findall(MEI + "artic"):
            chord.append(sign)
        chord.append(note)
        parent = chord
    made = etree.SubElement(parent, MEI + "note", pname=touched.letter.lower(), oct=str(touched.octave))
    made.set("head.shape", "diamond")
    made.set("head.fill", "void")
    made.set("type", f"mark {owner} kind-harmonic")
    if touched.alter != of_key(touched.letter, sheet.line.bar_of(mark.at).key):
        made.set("accid", {1: "s", -1: "f", 0: "n", 2: "x", -2: "ff"}[touched.alter])


def draw_slide(sheet: Sheet, mark: Mark, owner: str) -> None:
    sheet.control("gliss", mark, owner, lform="solid")


def draw_hold(sheet: Sheet, mark: Mark, owner: str) -> None:
    sheet.control("bracketSpan", mark, owner, func="coloration", lform="solid", lstartsym="none", lendsym="none")


def draw_vibrato(sheet: Sheet, mark: Mark, owner: str) -> None:
    text = sheet.look.words["vibrato" if mark.value == "vibrato" else "none"]
    if mark.to:
        _range(sheet, mark, owner, text)
    else:
        sheet.words(mark, owner, text, size=_MIDDLE)


def draw_ornament(sheet: Sheet, mark: Mark, owner: str) -> None:
    signs: dict[str, tuple[str, dict[str, str]]] = {
        "trill": ("trill", {}),
        "turn": ("turn", {"form": "upper"}),
        "inverted turn": ("turn", {"form": "lower"}),
        "delayed turn": ("turn", {"form": "upper", "delayed": "true"}),
        "mordent": ("mordent", {"form": "lower"}),
        "inverted mordent": ("mordent", {"form": "upper"}),
        "shake": ("mordent", {"form": "upper", "long": "true"}),
    }
    tag, attributes = signs[mark.value]
    made = sheet.control(tag, mark, owner, place="above", **attributes)
    for option, attribute in (("above", "accidupper"), ("below", "accidlower")):
        if mark.option(option):
            made.set(attribute, _ACCIDENTALS[mark.option(option)])
    event = sheet.line.event(mark.at)
    if mark.option("start"):
        _guide(sheet, mark, owner, event.pitches[-1], upper=mark.option("start") == "upper")
    if mark.option("fingers"):
        sheet.words(mark, owner, mark.option("fingers").replace("-", " "), size=_SMALL)


def _guide(sheet: Sheet, mark: Mark, owner: str, main: Pitch, *, upper: bool) -> None:
    """A small note before the ornament: the note it starts on."""
    target = sheet.element(event_address(mark.at))
    pitch = neighbour(main, sheet.line.bar_of(mark.at).key, mark.option("above")) if upper else main
    made = etree.Element(MEI + "note", pname=pitch.letter.lower(), oct=str(pitch.octave), grace="unknown", dur="16")
    made.set("stem.dir", "up")
    made.set("type", f"mark {owner} kind-ornament")
    target.addprevious(made)


def neighbour(main: Pitch, key: int, accidental: str = "", step: int = 1) -> Pitch:
    """The upper (step 1) or lower (−1) neighbour in the key, or with a written accidental."""
    index = LETTERS.index(main.letter) + step
    letter, octave = LETTERS[index % 7], main.octave + index // 7
    alters = {"sharp": 1, "flat": -1, "natural": 0, "double-sharp": 2, "flat-flat": -2}
    return Pitch(letter, alters.get(accidental, of_key(letter, key)), octave)


def draw_dynamic(sheet: Sheet, mark: Mark, owner: str) -> None:
    made = sheet.control("dynam", mark, owner, place="below")
    made.text = mark.value
    sheet.dynamics[mark.at, mark.option("after"), owner == REPLACED] = made.get(XML_ID)


def draw_hairpin(sheet: Sheet, mark: Mark, owner: str) -> None:
    made = sheet.control("hairpin", mark, owner, form="cres" if mark.value == "crescendo" else "dim", place="below")
    if mark.to and event_address(mark.to) == event_address(mark.at) and not mark.option("until"):
        made.attrib.pop("endid", None)  # on one note: as long as it lasts
        made.set("tstamp2", f"0m+{sheet._beat(mark.at, str(sheet.line.event(mark.at).duration)):g}")


def draw_phrase(sheet: Sheet, mark: Mark, owner: str) -> None:
    made = sheet.control("bracketSpan", mark, owner, func="coloration", lform="solid", lstartsym="angledown")
    made.set("lendsym", "angledown")


def draw_high_point(sheet: Sheet, mark: Mark, owner: str) -> None:
    sheet.words(mark, owner, "▲", size=_MIDDLE)


def draw_octave(sheet: Sheet, mark: Mark, owner: str) -> None:
    place, move = ("above", -1) if mark.value == "8va" else ("below", 1)
    made = sheet.control("octave", mark, owner, dis="8", dis__place=place)
    made.set("dis.place", place)
    for address in sheet.between(mark.at, mark.to):
        element = sheet.element(address)
        for note in [element] if element.tag == MEI + "note" else element.iter(MEI + "note"):
            note.set("oct.ges", note.get("oct"))
            note.set("oct", str(int(note.get("oct")) + move))


def draw_fermata(sheet: Sheet, mark: Mark, owner: str) -> None:
    sheet.control("fermata", mark, owner, place="above")


def draw_text(sheet: Sheet, mark: Mark, owner: str) -> None:
    place = mark.option("place", "above")
    dynamic = sheet.dynamics.get((mark.at, mark.option("after"), owner == REPLACED), "")
    if not dynamic or not of_a_dynamic(mark):
        sheet.words(mark, owner, mark.value, place=place, style=mark.option("style"))
        return
    key = sheet.words(mark, owner, mark.value, place="below", style=mark.option("style"))
    sheet.beside[key] = Beside(dynamic, is_before(mark))


def share_label(share: Fraction) -> str:
    """A share of the bow for people: ½, ¾, 1/3 (signs that every text font has)."""
    signs = {Fraction(1, 2): "½", Fraction(1, 4): "¼", Fraction(3, 4): "¾"}
    return signs.get(share, f"{share.numerator}/{share.denominator}")
