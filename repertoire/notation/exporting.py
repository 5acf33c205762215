"""Writing MusicXML 4.0: a marked excerpt, or a whole part of several movements.

A writer of its own over the note list and the marks, made so that reading the file gives
the same notes and the same marks. What MusicXML has no element for goes into words the eye
can read, and into a meaning on the note (see `meanings.py`). The same music gives the same
bytes: nothing in a file tells when or where it was made.

An excerpt starts and ends where it does: a slur, hairpin or other span that leads past its
edge is written up to the edge, a tie that leads out is left off, and the file says so. A
single bar cut short is read back as an upbeat: MusicXML can't tell which end is missing.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from lxml import etree

from repertoire.technique.line import Bar, Event, Line, parse_address
from repertoire.technique.marks import PER_MEMBER, Mark, MarkError, Marks

from .export_elements import element, printable
from .export_marks import Signs
from .export_notes import BarWriter
from .look import BRITISH_WORDS

SOFTWARE = "Passagework"
MIDI_PROGRAMS = {"violin": 41, "viola": 42}
_STILL = (1980, 1, 1, 0, 0, 0)  # the earliest date a zip archive can hold


@dataclass(frozen=True, slots=True)
class Heading:
    """What stands over the music: `movement` names a single movement or an excerpt."""

    title: str = ""
    composer: str = ""
    movement: str = ""
    part: str = ""
    instrument: str = ""  # "violin", "viola" or ""
    edition: str = ""
    rights: str = ""


@dataclass(frozen=True, slots=True)
class Exported:
    """A file's bytes, and what was shortened or left off at its edges, in words."""

    data: bytes
    omitted: tuple[str, ...] = ()


def write_musicxml(
    movements: Sequence[tuple[Line, Marks]], heading: Heading, *, words: Mapping[str, str] = BRITISH_WORDS
) -> Exported:
    """The movements of one part with their marks as uncompressed MusicXML.

    Several movements follow each other in one part, their bar numbers starting again and the
    title of each standing over its first bar. `words` are the studio's terms (see `look.py`).
    """
    root = etree.Element("score-partwise", version="4.0")
    part = etree.Element("part", id="P1")
    omitted: list[str] = []
    several = len(movements) > 1
    for number, (line, marks) in enumerate(movements, 1):
        line, marks, said = at_edges(line, marks)
        signs = Signs(line, marks, words, heading.instrument)
        omitted += [*said, *signs.omitted]
        title = line.title if several else ""
        prefix = f"m{number}-" if several else ""
        writer = BarWriter(line, signs, title=title, prefix=prefix, new_page=number > 1)
        part.extend(writer.measures())
    _head(root, heading, omitted)
    root.append(part)
    etree.indent(root, space=" ")
    data = etree.tostring(root, xml_declaration=True, encoding="UTF-8", standalone=False)
    return Exported(data, tuple(omitted))


def pack(data: bytes, name: str = "score.musicxml") -> bytes:
    """Compressed MusicXML (.mxl): the container that names the score, and the score."""
    container = (
        '<?xml version="1.0" encoding="UTF-8"?>\n<container><rootfiles><rootfile full-path="'
        f'{name}" media-type="application/vnd.recordare.musicxml+xml"/></rootfiles></container>\n'
    )
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        kept = zipfile.ZipInfo("mimetype", _STILL)
        archive.writestr(kept, "application/vnd.recordare.musicxml")
        for inside, content in (("META-INF/container.xml", container.encode()), (name, data)):
            entry = zipfile.ZipInfo(inside, _STILL)
            entry.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(entry, content)
    return out.getvalue()


def _head(root: Any, heading: Heading, omitted: Sequence[str]) -> None:
    if heading.title:
        work = etree.SubElement(root, "work")
        work.append(element("work-title", printable(heading.title)))
    if heading.movement:
        root.append(element("movement-title", printable(heading.movement)))
    about = etree.SubElement(root, "identification")
    if heading.composer:
        about.append(element("creator", printable(heading.composer), type="composer"))
    if heading.rights:
        about.append(element("rights", printable(heading.rights)))
    encoding = etree.SubElement(about, "encoding")
    etree.SubElement(encoding, "software").text = SOFTWARE
    for tag in ("accidental", "beam", "stem"):
        etree.SubElement(encoding, "supports", element=tag, type="yes")
    if heading.edition:
        about.append(element("source", printable(heading.edition)))
    if omitted:
        more = etree.SubElement(about, "miscellaneous")
        for number, what in enumerate(omitted, 1):
            more.append(element("miscellaneous-field", printable(what), name=f"left off {number}"))
    part_list = etree.SubElement(root, "part-list")
    part = etree.SubElement(part_list, "score-part", id="P1")
    part.append(element("part-name", printable(heading.part or heading.instrument.capitalize() or "Part")))
    if heading.instrument in MIDI_PROGRAMS:
        played = etree.SubElement(part, "score-instrument", id="P1-I1")
        etree.SubElement(played, "instrument-name").text = heading.instrument.capitalize()
        etree.SubElement(played, "instrument-sound").text = f"strings.{heading.instrument}"
        sounding = etree.SubElement(part, "midi-instrument", id="P1-I1")
        etree.SubElement(sounding, "midi-program").text = str(MIDI_PROGRAMS[heading.instrument])


def at_edges(line: Line, marks: Marks) -> tuple[Line, Marks, tuple[str, ...]]:
    """The line and its marks with nothing leading out of it, and what was shortened or left off."""
    said: list[str] = []
    events = tuple(_untied(line, event, said) for event in line.events)
    line = line.with_events(events) if events != line.events else line
    kept: list[Mark] = []
    for mark in sorted(marks, key=lambda m: (parse_address(m.at), m)):
        inside = mark.at in line and (not mark.to or mark.to in line)
        found = mark if inside else _shortened(line, mark)
        if found is None:
            here = next((a for a in (mark.at, mark.to) if a and a in line), "")
            said.append(f"{line.where(here)}: " * bool(here) + f"the {mark.kind} mark that leads out of the excerpt.")
            continue
        if mark.at not in line:
            said.append(f"{line.where(found.at)}: the {mark.kind} mark from before starts here.")
        if mark.to and mark.to not in line:
            said.append(f"{line.where(found.to)}: the {mark.kind} mark that goes on ends here.")
        kept.append(found)
    return line, tuple(sorted(kept)), tuple(said)


def _shortened(line: Line, mark: Mark) -> Mark | None:
    """A span up to the edges of the line; None for what lies outside or shrinks to one note."""
    notes = [e for e in line.notes if not e.grace]
    if not mark.to or not notes:
        return None
    start, end = parse_address(mark.at)[:2], parse_address(mark.to)[:2]
    edges = [e.member(1) if mark.kind in PER_MEMBER else e.address for e in (notes[0], notes[-1])]
    at = mark.at if mark.at in line else edges[0]
    to = mark.to if mark.to in line else edges[1]
    outside = end < _key(line.events[0]) or start > _key(line.events[-1])
    if outside or parse_address(at)[:2] >= parse_address(to)[:2]:
        return None
    gone = {name for name, cut in (("after", at != mark.at), ("until", to != mark.to)) if cut}
    try:
        return replace(mark, at=at, to=to, options=tuple(o for o in mark.options if o[0] not in gone))
    except MarkError:
        return None


def _key(event: Event) -> tuple[int, int]:
    return parse_address(event.address)[:2]


def _untied(line: Line, event: Event, said: list[str]) -> Event:
    """A note without the ties that lead to or come from outside the line."""
    first, last = line.bars[0], line.bars[-1]
    enters = any(event.tied_from) and event.bar == first.index and event.onset == 0 and not _returns(first)
    leaves = any(event.tied_to) and event.bar == last.index and event.end >= last.length and not _returns(last)
    if enters:
        said.append(f"{line.where(event.address)}: the tie from before.")
        event = replace(event, tied_from=tuple(False for _ in event.tied_from))
    if leaves:
        said.append(f"{line.where(event.address)}: the tie to what follows.")
        event = replace(event, tied_to=tuple(False for _ in event.tied_to))
    return event


def _returns(bar: Bar) -> bool:
    """A bar whose tie may lead back to a repeat, on to a jump or come from one."""
    return bool(bar.repeat_start or bar.repeat_end or bar.jump)
