"""ABC text taken apart into tunes, fields and lines of music, each with its place in the text.

Follows the ABC music standard 2.1 (December 2011), sections 2 and 3. Lines and columns count
from 1, as an editor shows them, so that whatever is said about the text can name its place.
"""

from __future__ import annotations

import html
import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from .opening import FileError

TEXT_LIMIT = 600_000  # characters of a file; a book of 500 tunes has about 250,000
TUNE_LIMIT = 500
REMARK_LIMIT = 300  # of one tune; more are counted, not listed
_FIELD = re.compile(r"([A-Za-z+]):(?!\|)")
_ACCENTS = {"`": "\u0300", "'": "\u0301", "^": "\u0302", "~": "\u0303", '"': "\u0308", "u": "\u0306", "v": "\u030c",
            "c": "\u0327", "H": "\u030b", "/": ""}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Remark:
    """Something said about a place of the text.

    `wrong` is true when the text can't be read there and has to be mended; otherwise the
    rest is read and `what` says what isn't kept or how the place was understood. `bar` is
    the printed number of the bar, "" outside the music.
    """

    line: int
    column: int
    what: str
    wrong: bool = False
    bar: str = ""

    @property
    def place(self) -> str:
        return f"line {self.line}, column {self.column}"


@dataclass(frozen=True, slots=True)
class Field:
    """A field such as `M:3/4`; line and column are where its value begins."""

    letter: str
    value: str
    line: int
    column: int


@dataclass(frozen=True, slots=True)
class Music:
    """A stretch of music code; line and column are where it begins."""

    text: str
    line: int
    column: int


@dataclass(slots=True)
class Tune:
    """One tune: its number (X:), the fields of its header, its body, and remarks on its lines."""

    number: str
    line: int
    header: list[Field] = field(default_factory=list)
    body: list[Field | Music] = field(default_factory=list)
    remarks: list[Remark] = field(default_factory=list)
    begun: bool = False  # the header is over

    def first(self, letter: str) -> str:
        """The text of the first header field of a letter, "" without one."""
        return next((plain_text(f.value) for f in self.header if f.letter == letter), "")


def decode(data: bytes) -> str:
    """The text of an ABC file: UTF-8 or UTF-16 if it says so, else Latin-1. Raises FileError."""
    if len(data) > 2 * TEXT_LIMIT:
        raise FileError("This ABC file is too long to be read. Send the tunes you want by themselves.")
    encodings = ("utf-16",) if data[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig", "latin-1")
    for encoding in encodings:
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\0" in text:
            break
        return text
    raise FileError("This file is not text. An ABC file is plain text: save it again as text in UTF-8.")


def split(text: str, *, typed: bool = False) -> list[Tune]:
    """The tunes of a text. A `typed` text is one tune, with or without X:, and empty lines
    don't end it. Raises FileError when there are too many."""
    if len(text) > TEXT_LIMIT:
        raise FileError("This text is too long to be read. Take fewer tunes.")
    tunes: list[Tune] = []
    common: list[Field] = []
    tune: Tune | None = None
    block = ""  # of text or drawing, up to its %%end
    if typed:
        tune = Tune("1", 1)
        tunes.append(tune)
    for line, raw in enumerate(text.replace("\r\n", "\n").replace("\r", "\n").split("\n"), 1):
        if block:
            block = "" if raw.startswith(f"%%end{block}") else block
            continue
        if raw.startswith("%%begin"):
            block = raw[7:].split()[0] if raw[7:].split() else ""
        if raw.startswith("%%"):
            instruction = Field("I", _without_comment(raw[2:]).strip(), line, 3)
            (common if tune is None and not tunes else tune.header if tune and not tune.begun else
             tune.body if tune else []).append(instruction)  # fmt: skip
            continue
        content = _without_comment(raw)
        if not content.strip():
            tune = tune if typed or content != raw else None
            continue
        found = _FIELD.match(content)
        if found and found[1] == "X" and not (typed and tune and not tune.header and not tune.body):
            if typed:
                tunes[0].remarks.append(Remark(line, 1, "A second X: begins another tune. Type one at a time.", True))
                break
            tune = Tune(content[2:].strip()[:20] or "?", line, header=list(common))
            tunes.append(tune)
            if len(tunes) > TUNE_LIMIT:
                raise FileError(f"This file has more than {TUNE_LIMIT} tunes. Send the ones you want by themselves.")
        elif tune is not None:
            _add(tune, content, found, line)
        elif not tunes:
            if found:
                common.append(_field(content, line))
        else:
            tunes[-1].remarks.append(
                Remark(line, 1, "An empty line ends a tune: this line and what follows up to the next X: isn’t read.")
            )
            tune = None
    return tunes


def _add(tune: Tune, content: str, found: re.Match[str] | None, line: int) -> None:
    if found and found[1] == "+":
        rows: list[Field] | list[Field | Music] = tune.body if tune.begun else tune.header
        last = rows[-1] if rows else None
        if isinstance(last, Field):
            rows[-1] = replace(last, value=f"{last.value} {content[2:].strip()}")
        else:
            tune.remarks.append(Remark(line, 1, "“+:” goes on with a field, and there is none before it.", True))
    elif found:
        made = _field(content, line)
        (tune.body if tune.begun else tune.header).append(made)
        tune.begun = tune.begun or found[1] == "K"
    else:
        if not tune.begun:
            tune.begun = True
            tune.remarks.append(Remark(line, 1, "There is no key (K:) before the music: it is read as C major."))
        tune.body.append(Music(content.rstrip().removesuffix("\\"), line, 1))


def _field(content: str, line: int) -> Field:
    value = content[2:]
    start = len(value) - len(value.lstrip())
    return Field(content[0], value.strip(), line, 3 + start)


def _without_comment(line: str) -> str:
    """The line up to a % that isn't written \\%."""
    found = re.search(r"(?<!\\)%", line)
    return line[: found.start()] if found else line


def voices(tune: Tune) -> dict[str, list[Field | Music]]:
    """The body of a tune by its voices, in the order they begin; a tune without V: has the voice "1"."""
    out: dict[str, list[Field | Music]] = {}
    name = next((voice_name(f.value) for f in tune.header if f.letter == "V"), "1")
    shared: list[Field | Music] = []
    for item in _parted(tune.body):
        if isinstance(item, Field) and item.letter == "V":
            name = voice_name(item.value)
            out.setdefault(name, [*shared]).append(item)
        elif isinstance(item, Field) and not out:
            shared.append(item)
        else:
            out.setdefault(name, [*shared]).append(item)
    return {n: items for n, items in out.items() if any(isinstance(i, Music) and i.text.strip() for i in items)}


def voice_name(value: str) -> str:
    """The name a V: field calls its voice by."""
    return (value.split() or ["?"])[0][:40]


_INLINE_VOICE = re.compile(r"\[V:([^\]]*)\]")


def _parted(body: list[Field | Music]) -> Iterator[Field | Music]:
    """The body with voices that change within a line, `[V:2]`, as fields of their own."""
    for item in body:
        if isinstance(item, Field):
            yield item
            continue
        at = 0
        for found in _INLINE_VOICE.finditer(item.text):
            if item.text[at : found.start()].strip():
                yield Music(item.text[at : found.start()], item.line, item.column + at)
            yield Field("V", found[1].strip(), item.line, item.column + found.start() + 3)
            at = found.end()
        if item.text[at:].strip():
            yield Music(item.text[at:], item.line, item.column + at)


def plain_text(value: str) -> str:
    """Text with its escapes resolved: \\'e is é, \\u00e9 and &eacute; too."""
    value = re.sub(r"\\u([0-9a-fA-F]{4})", lambda m: chr(int(m[1], 16)), value)
    value = re.sub(r"\\([`'^~\"uvcH/])([A-Za-z])", _accented, value)
    value = html.unescape(re.sub(r"\\([%\\&\"])", r"\1", value))
    return " ".join("".join(c for c in value if unicodedata.category(c)[0] != "C" or c == " ").split())


def _accented(found: re.Match[str]) -> str:
    if found[1] == "/":
        return {"o": "ø", "O": "Ø"}.get(found[2], found[2])
    return unicodedata.normalize("NFC", found[2] + _ACCENTS[found[1]])
