"""Reading ABC: text as typed, and files of one tune or many, into note lists with printed marks.

A reader of its own for one part, by the ABC music standard 2.1 (December 2011). What is
written is kept, or it is named with its line and column: nothing is dropped in silence. A
text with something that can't be read isn't stored until it is mended.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache

from repertoire.technique.line import Bar

from . import wording
from .abc_bars import ill_measured, numbered
from .abc_music import VoiceReader
from .abc_setting import setting_of
from .abc_slips import FLAT_BEHIND
from .abc_source import REMARK_LIMIT, Field, Music, Remark, Tune, decode, split, voices
from .abc_voice import BAR_LIMIT, NOTE_LIMIT, TooLong
from .drafts import LeftOut, finish
from .musicxml import Contents, FileError, MovementFound, PartFound, ReadMovement, ReadPart

__all__ = ["Reading", "Remark", "is_abc", "list_contents", "read_part", "read_text"]

TUNE_TEXT_LIMIT = 150_000
TYPED_LIMIT = 60_000  # characters of a typed text; a movement of 300 bars has about 8,000
_UNSAID = ("The bar is shorter than", "The bar is longer than")  # said here with the bar's place instead


@dataclass(frozen=True, slots=True)
class Reading:
    """What could be read of a text (`part` is None when it has no notes), and what there is to
    say about it, in the order of the text."""

    part: ReadPart | None
    remarks: tuple[Remark, ...]
    title: str = ""
    composer: str = ""
    bar_lines: tuple[int, ...] = ()  # the line of the text each bar begins on

    @property
    def wrong(self) -> tuple[Remark, ...]:
        """What has to be mended before the text can be stored."""
        return tuple(r for r in self.remarks if r.wrong)


def is_abc(data: bytes, file_name: str) -> bool:
    """True for a file that is ABC by its name, or text that begins like it."""
    head = data[:4096].lstrip(b"\xef\xbb\xbf \t\r\n")
    if head[:1] == b"<" or head[:2] == b"PK":
        return False
    named = file_name.lower().endswith(".abc")
    return named or head.startswith((b"%abc", b"X:")) or b"\nX:" in head.replace(b"\r", b"\n")


def read_text(text: str, *, instrument: str = "") -> Reading:
    """A typed text: one tune of one voice, with or without X:. Never raises for what is written."""
    if len(text) > TYPED_LIMIT:
        return Reading(None, (Remark(1, 1, f"This text has more than {TYPED_LIMIT:,} characters.", True),))
    tune = split(text.replace("\0", "\N{REPLACEMENT CHARACTER}"), typed=True)[0]
    parts = voices(tune)
    if len(parts) > 1:
        names = ", ".join(list(parts)[:6])
        for item in tune.body:
            if getattr(item, "letter", "") == "V" or "[V:" in getattr(item, "text", ""):
                what = f"There are several voices ({names}). Type one at a time, or import the file and choose one."
                tune.remarks.append(Remark(item.line, 1, what, True))
                break
    name = next(iter(parts), "1")
    return _read(tune, name, instrument)


@lru_cache(2)
def _book(data: bytes) -> tuple[tuple[Tune, str], ...]:
    tunes = split(decode(data))
    found = tuple((tune, name) for tune in tunes for name in voices(tune))
    if not found:
        raise FileError(
            "There is no music in this file. A tune in ABC begins with X: and its notes follow the line with K:."
        )
    return found


def list_contents(data: bytes, file_name: str, *, limit: int = 0) -> Contents:
    """The tunes of a file, a part for each voice of each. Raises FileError."""
    book = _book(data)
    tunes = list(dict.fromkeys(id(tune) for tune, _ in book))
    parts = []
    for number, (tune, voice) in enumerate(book, 1):
        reading = _read(tune, voice)
        name = _name(tune, voice, reading, several=len(tunes) > 1)
        problem = _refusal(reading) if reading.wrong else "" if reading.part else "there are no notes in it."
        movements: tuple[MovementFound, ...] = ()
        if reading.part:
            movement = reading.part.movements[0]
            pitches = sorted(movement.line.pitches, key=lambda p: p.midi)
            bars = movement.line.bars
            movements = (
                MovementFound(
                    1, "", len(bars), bars[0].number, bars[-1].number, bars[0].clef, len(movement.line.notes),
                    pitches[0] if pitches else None, pitches[-1] if pitches else None,
                ),
            )  # fmt: skip
        instrument = reading.part.instrument if reading.part else ""
        parts.append(PartFound(number, f"{tune.number}/{voice}", name, instrument, movements, 1, problem))
    first = book[0][0]
    one = len(tunes) == 1
    return Contents(first.first("T") if one else "", first.first("C") if one else "", tuple(parts))


def read_part(data: bytes, file_name: str, part: str | int, *, limit: int = 0) -> ReadPart:
    """One voice of one tune by its number in `list_contents`, or by its name. Raises FileError."""
    book = _book(data)
    wanted = str(part).strip()
    if wanted.isascii() and wanted.isdigit() and 0 < int(wanted[:9]) <= len(book):
        tune, voice = book[int(wanted) - 1]
    else:
        named = [p.number for p in list_contents(data, file_name).parts if p.name == wanted]
        if len(named) != 1:
            raise FileError(
                f"There is no tune “{wanted[:40]}” in this file, or more than one. Choose it by its number."
            )
        tune, voice = book[named[0] - 1]
    reading = _read(tune, voice)
    if reading.wrong:
        raise FileError(f"This tune can’t be read: {_refusal(reading)}")
    if reading.part is None:
        raise FileError("This tune has no notes to read. Choose another.")
    several = len({id(t) for t, _ in book}) > 1
    return replace(reading.part, name=_name(tune, voice, reading, several=several))


def _name(tune: Tune, voice: str, reading: Reading, *, several: bool) -> str:
    own = reading.part.name if reading.part else ""
    spoken = own or (f"Voice {voice}" if len(voices(tune)) > 1 else "")
    if not several:
        return spoken or (reading.part.instrument.capitalize() if reading.part else "") or "Part"
    title = tune.first("T") or f"Tune {tune.number}"
    return f"{tune.number}. {title}{', ' + spoken if spoken else ''}"[:120]


def _refusal(reading: Reading) -> str:
    said = " ".join(f"{r.place}: {r.what}" for r in reading.wrong[:3])
    more = len(reading.wrong) - 3
    return said + (f" And {more} more." if more > 0 else "")


def _read(tune: Tune, voice: str, instrument: str = "") -> Reading:
    size = sum(len(item.text) for item in tune.body if isinstance(item, Music))
    if size > TUNE_TEXT_LIMIT:
        what = f"This tune has more than {TUNE_TEXT_LIMIT:,} characters of music. Take it in pieces."
        return Reading(None, (Remark(tune.line, 1, what, True),))
    setting, remarks = setting_of(tune.header, voice)
    reader = VoiceReader(setting)
    try:
        reader.read(voices(tune).get(voice) or [i for i in tune.body if isinstance(i, Field)])
    except TooLong:
        what = f"A part has at most {BAR_LIMIT:,} bars and {NOTE_LIMIT:,} notes here. Type it in pieces."
        reader.tell(what, (reader.line, 1), wrong=True)
        reader.movement.bars.clear()
    title, composer = tune.first("T"), tune.first("C")
    movement = reader.movement
    if not movement.bars:
        return Reading(None, _settled([*tune.remarks, *remarks, *_with_bars(reader.remarks, ())]), title, composer)
    numbered(movement.bars)
    measured = ill_measured(movement.bars)
    name = setting.name
    instrument = instrument or wording.instrument((name, title)) or ("viola" if setting.clef == "alto" else "")
    line, printed = finish(movement, name, instrument)
    for index, what in measured:
        reader.remarks.append(Remark(*reader.bar_places[index - 1], what, False, str(index)))
        if index in reader.flats and movement.bars[index - 1].bar.length > movement.bars[index - 1].full:
            reader.remarks.append(Remark(*reader.flats[index], FLAT_BEHIND, False, str(index)))
    for what, bars in movement.lost.items():
        if what.startswith(_UNSAID):
            continue
        for index in bars:
            place = reader.ties.get(index) if "tie" in what else None
            reader.remarks.append(Remark(*(place or reader.bar_places[index - 1]), what, False, str(index)))
    said = _settled([*tune.remarks, *remarks, *_with_bars(reader.remarks, line.bars)])
    read = ReadMovement(1, "", line, printed)
    part = ReadPart(name, instrument, (read,), _left_out(said), title, composer) if line.notes else None
    return Reading(part, said, title, composer, tuple(line_number for line_number, _ in reader.bar_places))


def _with_bars(remarks: Iterable[Remark], bars: tuple[Bar, ...]) -> list[Remark]:
    """Remarks with the printed numbers of their bars instead of the index."""
    numbers = {str(b.index): b.number for b in bars}
    return [replace(r, bar=numbers.get(r.bar, "")) for r in remarks]


def _settled(remarks: Iterable[Remark]) -> tuple[Remark, ...]:
    found = sorted(set(remarks), key=lambda r: (r.line, r.column, not r.wrong, r.what))
    if len(found) <= REMARK_LIMIT:
        return tuple(found)
    more = len(found) - REMARK_LIMIT
    last = found[REMARK_LIMIT - 1]
    kept = found[:REMARK_LIMIT]
    wrong = any(r.wrong for r in found[REMARK_LIMIT:])
    return (*kept, Remark(last.line, last.column, f"There are {more} more places like these.", wrong))


def _left_out(remarks: Iterable[Remark]) -> tuple[LeftOut, ...]:
    """Remarks as a part keeps them: one entry a kind, with its bars and first place."""
    kinds: dict[str, list[Remark]] = {}
    for remark in remarks:
        kinds.setdefault(remark.what, []).append(remark)
    out = []
    for what, where in kinds.items():
        bars = list(dict.fromkeys(r.bar for r in where if r.bar))
        shown = ", ".join(bars[:12]) + (f" and {len(bars) - 12} more" if len(bars) > 12 else "")
        out.append(LeftOut(shown, f"{what.rstrip('.')} ({where[0].place}).", 1, len(where)))
    return tuple(out)
