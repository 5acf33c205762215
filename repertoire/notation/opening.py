"""Opening a file of notation safely: the archive, the encoding, the XML, bar by bar.

A file from the world may be damaged or made to do harm. Sizes are bounded before and while
it is unpacked, no entity is expanded, nothing outside the file is fetched, and only one bar
is held in memory at a time. Follows the compressed form of MusicXML (META-INF/container.xml
names the score). What can't be read ends in a FileError that a teacher can act on.
"""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from itertools import chain
from typing import Any

from lxml import etree

MEGABYTE = 1024 * 1024
PACKED_LIMIT = 20 * MEGABYTE
UNPACKED_LIMIT = 120 * MEGABYTE
ENTRY_LIMIT = 500
BAR_LIMIT = 20_000
PART_LIMIT = 200
_BARS_LIMIT = 200_000  # of all parts together
_THINGS_LIMIT = 800_000  # notes, directions and the like of all parts together; a full quartet has 20,000
_CONTAINER_LIMIT = 64 * 1024
_HELD_LIMIT = 600_000  # tags and attributes held at one time
_CHUNK = 64 * 1024
_ENCODINGS = re.compile(
    r"(utf-?8|utf-?16(le|be)?|us-ascii|ascii|iso-8859-\d{1,2}|latin-?1|windows-125\d|cp125\d)$", re.I
)
_WATCHED = ("part", "measure", "part-list", "work", "movement-title", "identification")
_ROOTS = ("score-partwise", "score-timewise")


class FileError(ValueError):
    """A file that can't be read; the message says what is wrong, where, and what to do."""


@dataclass(frozen=True, slots=True)
class PartHead:
    """What the part list says of a part. `midi` is the program number from 1, 0 for none."""

    id: str
    name: str
    instruments: tuple[str, ...] = ()
    sounds: tuple[str, ...] = ()
    midi: int = 0


@dataclass(slots=True)
class Head:
    """What stands before the first bar: titles, composer and the part list."""

    title: str = ""
    composer: str = ""
    parts: list[PartHead] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class WrittenBar:
    """One bar of one part: `place` counts its bars from 0; `element` is valid until the next is asked for."""

    part: str
    place: int
    number: str
    implicit: bool
    element: etree._Element


def read_bars(data: bytes, file_name: str, head: Head, limit: int = PACKED_LIMIT) -> Iterator[WrittenBar]:
    """Every bar of every part as it comes in the file, part-wise or time-wise; fills `head` first.

    `limit` bounds the file as uploaded, in bytes. Raises FileError.
    """
    timewise, chunks = _root(_chunks(data, file_name, limit), file_name)
    walk = _Walk(head, timewise)
    parser = _parser(("start", "end"), tuple(f"{{*}}{name}" for name in _WATCHED))
    unpacked = held = 0
    try:
        for chunk in chunks:
            unpacked += len(chunk)
            if unpacked > UNPACKED_LIMIT:
                raise FileError(
                    f"{file_name} unpacks to more than {UNPACKED_LIMIT // MEGABYTE} MB, more than any score needs. "
                    "Export the part you want by itself and import that."
                )
            held += chunk.count(b"<") + chunk.count(b"=")
            parser.feed(chunk)
            yield from walk.take(parser.read_events())
            if walk.moved:
                held, walk.moved = 0, False
            elif held > _HELD_LIMIT:
                raise FileError(
                    f"{file_name} has more in one bar than can be read. Export it again from the program it "
                    "was written with."
                )
        parser.close()
        yield from walk.take(parser.read_events())
    except etree.XMLSyntaxError as error:
        raise _syntax(error, file_name) from None
    walk.finish(file_name)


def _parser(events: tuple[str, ...], tags: tuple[str, ...] | None = None) -> Any:
    return etree.XMLPullParser(
        events=events,
        tag=tags,
        resolve_entities=False,
        no_network=True,
        load_dtd=False,
        dtd_validation=False,
        huge_tree=False,
        remove_comments=True,
        remove_pis=True,
    )


def _root(chunks: Iterator[bytes], file_name: str) -> tuple[bool, Iterator[bytes]]:
    """Whether the score is time-wise, and all its chunks again. Refuses what isn't a score."""
    parser = _parser(("start",))
    seen: list[bytes] = []
    try:
        for chunk in chunks:
            seen.append(chunk)
            parser.feed(chunk)
            for _, root in parser.read_events():
                return _is_timewise(root), chain(seen, chunks)
            if len(seen) > 16:
                break
        parser.close()
    except etree.XMLSyntaxError as error:
        raise _syntax(error, file_name) from None
    raise FileError(f"{file_name} has no score in its first megabyte. Export it again as MusicXML.")


def _is_timewise(root: etree._Element) -> bool:
    subset = root.getroottree().docinfo.internalDTD
    if subset is not None and any(True for _ in subset.iterentities()):
        raise FileError(
            "This file declares XML entities of its own, which notation never needs and which can do harm. "
            "Export it again as MusicXML."
        )
    name = _name(root)
    if name not in _ROOTS:
        what = "a list of scores (an opus)" if name == "opus" else f"XML of another kind (it begins with <{name[:40]}>)"
        raise FileError(f"This is {what}, not a MusicXML score. Export the piece as MusicXML (.musicxml or .mxl).")
    return name == "score-timewise"


def _name(element: etree._Element) -> str:
    return element.tag.rpartition("}")[2] if isinstance(element.tag, str) else ""


class _Walk:
    """Turns parser events into bars and lets go of what has been read."""

    def __init__(self, head: Head, timewise: bool) -> None:
        self.head = head
        self.inner, self.outer_name = ("part", "measure") if timewise else ("measure", "part")
        self.timewise = timewise
        self.moved = False  # something was let go since the last look
        self.outer: etree._Element | None = None
        self.counts: dict[str, int] = {}
        self.known: set[str] = set()
        self.bars = self.things = 0

    def take(self, events: Iterable[tuple[str, etree._Element]]) -> Iterator[WrittenBar]:
        """The bars that end in these events."""
        for event, element in events:
            name = _name(element)
            parent = element.getparent()
            if parent is None:
                continue
            top = parent.getparent() is None
            if event == "start":
                if name == self.outer_name and top:
                    self.outer = element
            elif top:
                self._top(element, name)
            elif parent is self.outer and name == self.inner:
                yield self._bar(element)
                self._let_go(element)

    def finish(self, file_name: str) -> None:
        if not self.head.parts:
            raise FileError(f"{file_name} names no parts. Export it again as MusicXML.")
        if not self.counts:
            raise FileError(f"{file_name} has parts but no bars: there is nothing to read.")

    def _bar(self, element: etree._Element) -> WrittenBar:
        outer = self.outer
        assert outer is not None
        _without_namespace(element)
        part, bar = (element, outer) if self.timewise else (outer, element)
        name = part.get("id", "")
        if not self.known:
            self.known = {p.id for p in self.head.parts}
        if name not in self.known:
            raise FileError(
                f"The notes of a part “{name[:40]}” stand in the file, but its list of parts doesn’t name it "
                f"(line {element.sourceline}). Export it again as MusicXML."
            )
        place = self.counts.get(name, 0)
        if place >= BAR_LIMIT:
            raise FileError(f"The part “{name[:40]}” has more than {BAR_LIMIT:,} bars. Export one movement at a time.")
        self.counts[name] = place + 1
        self.bars += 1
        self.things += len(element)
        if self.bars > _BARS_LIMIT or self.things > _THINGS_LIMIT:
            raise FileError(
                "This file holds more bars and notes than any score needs. Export the part you want by itself."
            )
        return WrittenBar(name, place, bar.get("number", "").strip()[:12], bar.get("implicit") == "yes", element)

    def _top(self, element: etree._Element, name: str) -> None:
        if element is not self.outer:
            _without_namespace(element)
        if name == "part-list":
            self.head.parts = _part_heads(element)
        elif name == "work":
            self.head.title = self.head.title or _text(element, "work-title")
        elif name == "movement-title":
            self.head.title = self.head.title or " ".join("".join(element.itertext()).split())[:200]
        elif name == "identification":
            self.head.composer = next(
                (_squeeze(c.text) for c in element.iterfind("creator") if c.get("type") == "composer"), ""
            )
        if element is self.outer:
            self.outer = None
        self._let_go(element)

    def _let_go(self, element: etree._Element) -> None:
        self.moved = True
        element.clear()
        parent = element.getparent()
        while parent is not None and element.getprevious() is not None:
            del parent[0]


def _part_heads(part_list: etree._Element) -> list[PartHead]:
    found: list[PartHead] = []
    for part in part_list.iterfind("score-part"):
        name = _text(part, "part-name") or _text(part, "part-abbreviation")
        instruments = tuple(filter(None, (_squeeze(e.text) for e in part.iterfind("score-instrument/instrument-name"))))
        midi = _text(part, "midi-instrument/midi-program")
        found.append(
            PartHead(
                part.get("id", ""),
                name or (instruments[0] if instruments else ""),
                instruments,
                tuple(filter(None, (_squeeze(e.text) for e in part.iterfind("score-instrument/instrument-sound")))),
                int(midi) if midi.isascii() and midi.isdigit() and len(midi) < 4 else 0,
            )
        )
    if len(found) > PART_LIMIT:
        raise FileError(f"This score lists {len(found)} parts; at most {PART_LIMIT} can be read. Export fewer parts.")
    return found


def _chunks(data: bytes, file_name: str, limit: int) -> Iterator[bytes]:
    """The XML of the file, in pieces, unpacked when it is an archive. Raises FileError."""
    if not data.strip():
        raise FileError(f"{file_name} is empty.")
    if len(data) > limit:
        raise FileError(
            f"{file_name} is larger than {limit // MEGABYTE} MB. Export the part you want by itself and import that."
        )
    if data[:4] == b"PK\x03\x04" or data[:4] == b"PK\x05\x06":
        yield from _unpacked(data, file_name)
        return
    _check_start(data, file_name)
    for start in range(0, len(data), _CHUNK):
        yield data[start : start + _CHUNK]


def _unpacked(data: bytes, file_name: str) -> Iterator[bytes]:
    broken = FileError(f"{file_name} is a damaged archive. Export or download it again.")
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            entries = archive.infolist()
            if len(entries) > ENTRY_LIMIT:
                raise FileError(
                    f"{file_name} holds {len(entries)} files; a score holds a few. Export it again as .mxl."
                )
            for entry in entries:
                parts = re.split(r"[/\\]", entry.filename)
                if ".." in parts or parts[0] == "" or ":" in parts[0]:
                    raise FileError(
                        f"{file_name} holds a file whose name points outside the archive (“{entry.filename[:60]}”). "
                        "Such a file isn’t opened; export it again as .mxl."
                    )
            chosen = archive.getinfo(_score_name(archive, file_name))
            if chosen.file_size > UNPACKED_LIMIT:
                raise FileError(
                    f"{file_name} unpacks to more than {UNPACKED_LIMIT // MEGABYTE} MB, more than any score needs. "
                    "Export the part you want by itself and import that."
                )
            _check_entry(chosen, file_name)
            with archive.open(chosen) as stream:
                first = stream.read(_CHUNK)
                if first[:2] == b"PK":
                    raise FileError(
                        f"{file_name} is an archive inside an archive. Unpack it once and import the score."
                    )
                _check_start(first, file_name)
                while first:
                    yield first
                    first = stream.read(_CHUNK)
    except (zipfile.BadZipFile, zlib.error, EOFError, KeyError, NotImplementedError, OSError, ValueError) as error:
        raise error if isinstance(error, FileError) else broken from None


def _check_entry(entry: zipfile.ZipInfo, file_name: str) -> None:
    if entry.flag_bits & 1:
        raise FileError(f"{file_name} is locked with a password. Export it again without one.")
    if entry.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        raise FileError(f"{file_name} is packed in a way that .mxl doesn’t allow. Export it again as .mxl.")


def _score_name(archive: zipfile.ZipFile, file_name: str) -> str:
    """The name of the score in the archive: what the container says, else the only XML there is."""
    names = archive.namelist()
    if "META-INF/container.xml" in names:
        entry = archive.getinfo("META-INF/container.xml")
        _check_entry(entry, file_name)
        if entry.file_size > _CONTAINER_LIMIT:
            raise FileError(f"{file_name} has a table of contents far too large to be one. Export it again as .mxl.")
        parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False)
        try:
            root = etree.fromstring(archive.read(entry), parser)
        except etree.XMLSyntaxError:
            raise FileError(
                f"{file_name} has a table of contents that can’t be read. Export it again as .mxl."
            ) from None
        for file in root.iterfind(".//{*}rootfile"):
            path = file.get("full-path", "")
            kind = file.get("media-type", "")
            if not kind or "musicxml" in kind:
                if path not in names:
                    raise FileError(f"{file_name} says its score is “{path[:60]}”, but holds no such file.")
                return path
    scores = [
        n for n in names if n.lower().endswith((".musicxml", ".xml")) and not n.startswith(("META-INF/", "__MACOSX"))
    ]
    if len(scores) == 1:
        return scores[0]
    if not scores:
        raise FileError(f"{file_name} is an archive without a MusicXML score in it. Export the piece as MusicXML.")
    raise FileError(
        f"{file_name} holds {len(scores)} scores and doesn’t say which is meant. Import one of them by itself."
    )


def _check_start(start: bytes, file_name: str) -> None:
    """Refuse what is plainly not XML by naming what it is, and encodings outside the usual ones."""
    for sign, what in (
        (b"%PDF", "a PDF: import it as a picture of a page, or export MusicXML"),
        (b"\x89PNG", "a picture (PNG)"),
        (b"\xff\xd8\xff", "a picture (JPEG)"),
        (b"GIF8", "a picture (GIF)"),
        (b"MThd", "a MIDI file, which has no notation in it"),
        (b"\x1f\x8b", "packed with gzip: unpack it first"),
        (b"X:", "ABC"),
    ):
        if start.startswith(sign):
            raise FileError(f"{file_name} is {what}; MusicXML (.musicxml, .xml or .mxl) is needed here.")
    wide = start[:2] in (b"\xff\xfe", b"\xfe\xff") or b"\x00" in start[:4]
    text = start[:400].decode("utf-16" if start[:2] in (b"\xff\xfe", b"\xfe\xff") else "latin-1", "replace")
    text = text.replace("\x00", "") if wide else text
    if not text.lstrip("\ufeffï»¿ \t\r\n").startswith("<"):
        raise FileError(f"{file_name} is not MusicXML: it doesn’t begin like an XML file.")
    declared = re.search(r"<\?xml[^>]*encoding\s*=\s*[\"']([^\"']+)", text)
    if declared and not _ENCODINGS.match(declared.group(1)):
        raise FileError(
            f"{file_name} is written in the encoding “{declared.group(1)[:30]}”, which isn’t read here. "
            "Save it as UTF-8."
        )


def _syntax(error: etree.XMLSyntaxError, file_name: str) -> FileError:
    line = error.lineno or 1
    text = str(error.msg or "")
    if "ntity" in text and ("loop" in text or "amplification" in text):
        return FileError(f"{file_name} expands without end (line {line}) and isn’t opened. Export it again.")
    if "encod" in text.lower() or "Invalid bytes" in text or "invalid char" in text.lower():
        return FileError(f"{file_name} has characters on line {line} that don’t fit its encoding. Save it as UTF-8.")
    if "depth" in text.lower() or "huge" in text.lower() or "too long" in text.lower():
        return FileError(f"{file_name} has something on line {line} far larger than notation needs. Export it again.")
    return FileError(
        f"{file_name} is broken on line {line} ({text.split(', line')[0][:120]}). Export or download it again."
    )


def _without_namespace(element: etree._Element) -> None:
    if not element.tag.startswith("{"):
        return
    for e in element.iter():
        if isinstance(e.tag, str) and e.tag.startswith("{"):
            e.tag = e.tag.rpartition("}")[2]


def _squeeze(text: str | None) -> str:
    return " ".join((text or "").split())[:200]


def _text(element: etree._Element, path: str) -> str:
    return _squeeze(element.findtext(path))
