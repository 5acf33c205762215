"""A line as plain notes with ids in MEI, kept in memory.

Only the notes stand here; marks are laid on the MEI by `laying.py` and written for export
elsewhere. Every note, chord and rest carries its address as id, so that a picture, a mark
and a difference name the same place. The MEI of a line is kept in memory by the line's
digest and can be stored and given back, since writing it is the slow part of a picture.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from fractions import Fraction
from typing import Any

from lxml import etree

from repertoire.technique.line import Bar, Event, Line, beat_label
from repertoire.technique.pitch import Pitch

from .scoring import plain_musicxml, score_of
from .toolkit import toolkit

__all__ = ["MEI", "XML_ID", "forget", "line_digest", "plain_mei", "plain_musicxml", "remember", "score_of"]

MEI = "{http://www.music-encoding.org/ns/mei}"
XML_ID = "{http://www.w3.org/XML/1998/namespace}id"
FORM = "3"  # raise when the MEI of a line changes, so that stored ones are made afresh
KEPT = 256

_JUMP_WORDS = {"fine": "Fine", "dacapo": "D.C.", "dalsegno": "D.S.", "tocoda": "To Coda"}
_MIDDLE_LINES = {
    name: Pitch.parse(middle).step
    for name, middle in {
        "treble": "B4", "alto": "C4", "tenor": "A3", "bass": "D3", "treble8vb": "B3", "treble8va": "B5",
        "soprano": "G4", "mezzo": "E4", "percussion": "B4",
    }.items()
}  # fmt: skip
_UNITS = {"whole": "\ueca2", "half": "\ueca3", "quarter": "\ueca5", "eighth": "\ueca7", "16th": "\ueca9"}

_kept: OrderedDict[str, bytes] = OrderedDict()
_lock = threading.Lock()


def line_digest(line: Line) -> str:
    """The name of a line's MEI: equal music and equal form, equal name."""
    return f"{FORM}-{line.digest}"


def plain_mei(line: Line) -> bytes:
    """The line as MEI without marks, from memory when the same music was asked for lately."""
    name = line_digest(line)
    with _lock:
        if name in _kept:
            _kept.move_to_end(name)
            return _kept[name]
    made = _mei(plain_musicxml(line), line)
    remember(name, made)
    return made


def remember(name: str, mei: bytes) -> None:
    """Take back the MEI that was stored for a line digest; the oldest of 256 gives way."""
    with _lock:
        _kept[name] = mei
        _kept.move_to_end(name)
        while len(_kept) > KEPT:
            _kept.popitem(last=False)


def forget() -> None:
    """Empty the memory."""
    with _lock:
        _kept.clear()


def _mei(musicxml: bytes, line: Line) -> bytes:
    """Verovio's MEI of the notes, with the addresses of chords and without what a picture doesn't need."""
    with toolkit({"xmlIdChecksum": True}) as verovio:
        if not verovio.loadData(musicxml.decode()):
            raise ValueError("The engraver can’t read these bars.")
        root = etree.fromstring(verovio.getMEI({"removeIds": False}).encode())
    chords = {e.member(1): e.address for e in line.events if len(e.pitches) > 1}
    for element in root.iter(MEI + "chord"):
        first = element.find(MEI + "note")
        if first is not None and first.get(XML_ID) in chords:
            element.set(XML_ID, chords[first.get(XML_ID)])
    measures = list(root.iter(MEI + "measure"))
    for measure, written in zip(measures, line.bars, strict=True):
        measure.set(XML_ID, f"bar{written.index}")
        measure.set("n", written.number)
    _number_first(measures[0], line.bars[0])
    spare = ("expansion", "appInfo", "pubStmt", "respStmt", "dir", "tempo", "reh", "repeatMark")
    for element in list(root.iter(*(MEI + name for name in spare))):
        element.getparent().remove(element)
    for element in root.iter():
        element.text = element.text if element.text and element.text.strip() else None
        element.tail = None
        element.attrib.pop("dur.ppq", None)
    for measure, written in zip(measures, line.bars, strict=True):
        _headings(measure, written)
    _open_ties(measures, line)
    return etree.tostring(root)


def _number_first(measure: Any, first: Bar) -> None:
    """The number of a bar that the passage enters midway, with the beat; an upbeat has none."""
    if not first.missing or first.index == 1:
        return
    measure.attrib.pop("metcon", None)
    for old in measure.findall(MEI + "mNum"):
        measure.remove(old)
    number = etree.Element(MEI + "mNum", fontstyle="italic")
    number.text = f"{first.number}, beat {beat_label(first.beat(Fraction(0)))}"
    measure.insert(0, number)


def _headings(measure: Any, written: Bar) -> None:
    """Tempo, rehearsal letter and jumps of a bar, each above the staff."""

    def sign(tag: str, onset: Fraction, **attributes: str) -> Any:
        beat = float(onset * written.meter.beat_type / 4) + 1
        return etree.SubElement(measure, MEI + tag, tstamp=f"{beat:g}", place="above", staff="1", **attributes)

    if written.rehearsal:
        made = sign("reh", Fraction(0))
        etree.SubElement(made, MEI + "rend", rend="box").text = written.rehearsal
    for mark in written.tempos:
        made = sign("tempo", mark.onset)
        made.text = mark.words
        if mark.unit and mark.per_minute:
            made.text = f"{mark.words}  " if mark.words else None
            glyph = etree.SubElement(made, MEI + "rend")
            glyph.set("glyph.auth", "smufl")
            glyph.text = _UNITS.get(mark.unit.type, "\ueca5") + "\uecb7" * mark.unit.dots
            glyph.tail = f" = {float(mark.per_minute):g}"
    if written.jump in _JUMP_WORDS:
        made = sign("dir", Fraction(0), type="jump")
        etree.SubElement(made, MEI + "rend", fontstyle="italic").text = _JUMP_WORDS[written.jump]
    elif written.jump in ("segno", "coda"):
        sign("repeatMark", Fraction(0), func=written.jump)


def _open_ties(measures: list[Any], line: Line) -> None:
    """Ties that come in at the start of the excerpt or go out at its end."""
    place = {written.index: measure for measure, written in zip(measures, line.bars, strict=True)}
    ties = [t for measure in measures for t in measure.iter(MEI + "tie")]
    for tie in ties:
        if tie.get("startid") and not tie.get("endid") and not tie.get("tstamp2"):
            tie.getparent().remove(tie)  # begun by the writer, without an end to draw it to
    begun = {t.get("startid") for t in ties if t.get("endid")}
    ended = {t.get("endid") for t in ties}
    for event in line.notes:
        for number in range(1, len(event.pitches) + 1):
            name = "#" + event.member(number)
            enters = number <= len(event.tied_from) and event.tied_from[number - 1] and name not in ended
            leaves = number <= len(event.tied_to) and event.tied_to[number - 1] and name not in begun
            side = curve_side(line, event, number)
            if enters and event.bar == line.bars[0].index:
                etree.SubElement(place[event.bar], MEI + "tie", tstamp="0", endid=name, curvedir=side)
            if leaves and event.bar == line.bars[-1].index:
                last = line.bars[-1]
                end = float(last.length * last.meter.beat_type / 4) + 1
                etree.SubElement(place[event.bar], MEI + "tie", startid=name, tstamp2=f"0m+{end:g}", curvedir=side)


def curve_side(line: Line, event: Event, number: int = 1) -> str:
    """The side of a tie at a member of a chord: that of the outer note, else away from the stem."""
    if len(event.pitches) > 1 and number in (1, len(event.pitches)):
        return "below" if number == 1 else "above"
    several = len({e.voice for e in line.in_bar(event.bar) if e.pitches}) > 1
    return "above" if stem_up(line, event) is several else "below"


def stem_up(line: Line, event: Event) -> bool:
    """Whether a note's stem points up: as the source has it, by its voice where there are two, else by its height."""
    if event.stem in ("up", "down"):
        return event.stem == "up"
    voices = {e.voice for e in line.in_bar(event.bar) if e.pitches}
    if len(voices) > 1:
        return event.voice == min(voices)
    clef = [c.name for c in line.bar(event.bar).clefs if c.onset <= event.onset][-1]
    middle = _MIDDLE_LINES[clef]
    farthest = max(event.pitches, key=lambda p: abs(p.step - middle))
    return farthest.step < middle
