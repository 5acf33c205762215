"""Reading MusicXML 2 to 4: what a file holds, and one part of it as note lists with printed marks.

`list_contents` looks through a file cheaply; `read_part` reads the chosen part whole. Both
take .musicxml, .xml and .mxl, part-wise and time-wise. Pitches in MusicXML are those that
sound, also under an octave sign, and so are those of the `Line`: an octave mark says how they
are printed, one octave lower under "8va". Notes of transposing instruments stay as written.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import accumulate

from lxml import etree

from repertoire.technique.line import Bar, Line
from repertoire.technique.marks import Marks
from repertoire.technique.pitch import LETTERS, Pitch

from . import wording
from .drafts import DraftMovement, LeftOut, finish, left_out
from .meanings import SHOWN, TITLE, purpose
from .opening import PACKED_LIMIT, FileError, Head, PartHead, WrittenBar, read_bars
from .reading import PartReader
from .restarts import Restarts, parted_jumps
from .signatures import CLEFS, DEFAULT_LINE
from .values import number_of

__all__ = [
    "Contents", "FileError", "LeftOut", "MovementFound", "PartFound", "ReadMovement", "ReadPart",
    "list_contents", "read_part",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class MovementFound:
    """A movement of a part as found: `notes` counts chords once; `low` and `high` are its range."""

    number: int
    title: str
    bars: int
    first: str  # printed number of the first bar and of the last
    last: str
    clef: str
    notes: int
    low: Pitch | None
    high: Pitch | None


@dataclass(frozen=True, slots=True)
class PartFound:
    """A part (or one staff of a part with several) as found; `number` counts from 1 in the file."""

    number: int
    id: str
    name: str
    instrument: str
    movements: tuple[MovementFound, ...]
    staff: int = 1
    problem: str = ""  # why it can't be read, "" when it can

    @property
    def bars(self) -> int:
        return sum(m.bars for m in self.movements)

    @property
    def notes(self) -> int:
        return sum(m.notes for m in self.movements)

    @property
    def clef(self) -> str:
        return self.movements[0].clef if self.movements else ""

    @property
    def range(self) -> tuple[Pitch, Pitch] | None:
        low = [m.low for m in self.movements if m.low]
        high = [m.high for m in self.movements if m.high]
        return (min(low, key=lambda p: p.midi), max(high, key=lambda p: p.midi)) if low and high else None


@dataclass(frozen=True, slots=True)
class Contents:
    """What a file holds: its title and composer as given, and its parts."""

    title: str
    composer: str
    parts: tuple[PartFound, ...]


@dataclass(frozen=True, slots=True)
class ReadMovement:
    """One movement: its note list and the marks printed in it."""

    number: int
    title: str
    line: Line
    printed: Marks


@dataclass(frozen=True, slots=True)
class ReadPart:
    """A part as read; `left_out` says what in the file isn't kept, with its bars."""

    name: str
    instrument: str
    movements: tuple[ReadMovement, ...]
    left_out: tuple[LeftOut, ...]
    title: str = ""
    composer: str = ""


def list_contents(data: bytes, file_name: str, *, limit: int = PACKED_LIMIT) -> Contents:
    """The movements and parts a file holds, without reading them whole. Raises FileError."""
    head = Head()
    counts: dict[str, _Count] = {}
    headed: set[int] = set()
    for written in read_bars(data, file_name, head, limit):
        if written.part not in counts:
            counts[written.part] = _Count(Restarts(headed, first=not counts))
        counts[written.part].add(written)
    parts: list[PartFound] = []
    titles: list[str] = []
    for part in head.parts:
        count = counts.get(part.id)
        if count is None:
            continue
        titles = titles or [m.title for m in count.movements]
        for staff in range(1, count.staves + 1):
            name = part.name or f"Part {len(parts) + 1}"
            if count.staves > 1:
                name += f", staff {staff}"
            found = tuple(
                m.found(staff, i, titles[i - 1] if i <= len(titles) else "") for i, m in enumerate(count.movements, 1)
            )
            parts.append(
                PartFound(len(parts) + 1, part.id, name, _instrument(part), found, staff, count.problem(staff))
            )
    return Contents(head.title, head.composer, tuple(parts))


def read_part(data: bytes, file_name: str, part: str | int, *, limit: int = PACKED_LIMIT) -> ReadPart:
    """One part, named by its name, its number from 1, or its id in the file. Raises FileError."""
    contents = list_contents(data, file_name, limit=limit)
    chosen = _choose(contents, part)
    if chosen.problem:
        raise FileError(f"{chosen.name}: {chosen.problem}")
    head = Head()
    reader = PartReader(chosen.staff, lower=chosen.staff > 1, starts=_starts(chosen))
    over = _Overhead(_starts(contents.parts[0]))
    first = contents.parts[0].id
    for written in read_bars(data, file_name, head, limit):
        if written.part == chosen.id:
            reader.read(written)
        if written.part == first and (chosen.id != first or chosen.staff > 1):
            over.read(written)
    reader.close()
    if not any(d.members for m in reader.movements for d in m.drafts):
        raise FileError(f"{chosen.name} has no notes to read, only rests. Choose another part.")
    read: list[ReadMovement] = []
    lost: list[LeftOut] = []
    for number, movement in enumerate(reader.movements, 1):
        title = chosen.movements[number - 1].title if number <= len(chosen.movements) else ""
        movement.heading = title or movement.heading
        over.report(movement, number)
        line, printed = finish(movement, chosen.name, chosen.instrument)
        if over.bars:
            line = replace(line, bars=over.laid_on(line.bars, movement))
        read.append(ReadMovement(number, movement.heading, line, printed))
        lost += left_out(movement, line.bars, number)
    lines = parted_jumps([movement.line for movement in read])
    read = [replace(movement, line=line) for movement, line in zip(read, lines, strict=True)]
    return ReadPart(chosen.name, chosen.instrument, tuple(read), tuple(lost), contents.title, contents.composer)


def _starts(part: PartFound) -> frozenset[int]:
    """The places, from 0, of the bars that begin a part's movements."""
    ends = accumulate(m.bars for m in part.movements)
    return frozenset((0, *ends))


def _choose(contents: Contents, part: str | int) -> PartFound:
    wanted = str(part).strip()
    names = "; ".join(f"{p.number} {p.name}" for p in contents.parts)
    tests = (
        lambda p: p.name == wanted,
        lambda p: p.name.casefold() == wanted.casefold(),
        lambda p: str(p.number) == wanted,
        lambda p: p.id == wanted,
        lambda p: wanted.casefold() in p.name.casefold().split(),
    )
    for test in tests if isinstance(part, str) else (tests[2],):
        found = [p for p in contents.parts if test(p)]
        if len(found) == 1:
            return found[0]
        if found:
            several = "; ".join(f"{p.number} {p.name}" for p in found)
            raise FileError(f"Several parts answer to “{wanted[:40]}”. Choose one by its number: {several}.")
    raise FileError(f"There is no part “{wanted[:40]}” in this file. It holds: {names}.")


def _instrument(part: PartHead) -> str:
    return wording.instrument((part.name, *part.instruments), part.sounds, part.midi)


@dataclass(slots=True)
class _StaffCount:
    notes: int = 0
    unpitched: int = 0
    low: Pitch | None = None
    high: Pitch | None = None


@dataclass(slots=True)
class _MovementCount:
    bars: int = 0
    first: str = ""
    last: str = ""
    title: str = ""
    clefs: dict[int, str] = field(default_factory=dict)
    staves: dict[int, _StaffCount] = field(default_factory=dict)

    def found(self, staff: int, number: int, title: str) -> MovementFound:
        count = self.staves.get(staff, _StaffCount())
        clef = self.clefs.get(staff, "treble")
        return MovementFound(
            number, title, self.bars, self.first, self.last, clef, count.notes, count.low, count.high
        )  # fmt: skip


class _Count:
    """Counts bars and notes of a part, staff by staff and movement by movement."""

    def __init__(self, restarts: Restarts) -> None:
        self.movements: list[_MovementCount] = []
        self.restarts = restarts
        self.staves = 1
        self.clefs: dict[int, str] = {}
        self.tab = False

    def add(self, written: WrittenBar) -> None:
        begins = self.restarts.begins(written)
        if begins:
            self.movements.append(_MovementCount(first=written.number))
        movement = self.movements[-1]
        movement.bars += 1
        if written.number.isdigit() or not movement.last:
            movement.last = written.number
        for element in written.element:
            tag = element.tag
            if tag == "note":
                self._note(movement, element)
            elif tag == "attributes":
                self._attributes(element)
            elif tag == "direction" and begins:
                movement.title = _titled(movement.title, element)
        if begins:
            movement.clefs = dict(self.clefs)

    def _note(self, movement: _MovementCount, note: etree._Element) -> None:
        child = {e.tag: e for e in note}
        number = 1
        if "staff" in child:
            staff = number_of(child["staff"].text)
            number = int(staff) if staff is not None and 0 < staff < 10 else 1
            self.staves = max(self.staves, number)
        count = movement.staves.setdefault(number, _StaffCount())
        if note.get("print-object") == "no":
            return
        count.unpitched += "unpitched" in child
        if "pitch" in child:
            count.notes += "chord" not in child
            found = _pitch(*("".join((child["pitch"].findtext(n) or "").split()) for n in ("step", "alter", "octave")))
            if found is not None:
                count.low = found if count.low is None or found.midi < count.low.midi else count.low
                count.high = found if count.high is None or found.midi > count.high.midi else count.high

    def _attributes(self, element: etree._Element) -> None:
        staves = number_of(element.findtext("staves"))
        if staves is not None and 1 < staves < 10:
            self.staves = max(self.staves, int(staves))
        for clef in element.iterfind("clef"):
            number = number_of(clef.get("number", "1"))
            self.clefs[int(number or 1)] = _clef_name(clef)

    def problem(self, staff: int) -> str:
        counts = [m.staves.get(staff, _StaffCount()) for m in self.movements]
        clef = self.movements[0].clefs.get(staff, "") if self.movements else ""
        if clef == "tablature":
            return "this part is written in tablature, which has no notes to read. Choose another part."
        if clef == "percussion" or (not any(c.notes for c in counts) and any(c.unpitched for c in counts)):
            return "this is a percussion part, its notes have no pitch. Choose another part."
        return ""


@lru_cache(512)
def _pitch(step: str, alter: str, octave: str) -> Pitch | None:
    shift, height = number_of(alter or "0"), number_of(octave)
    if len(step) != 1 or step not in LETTERS or height is None or shift is None or abs(shift) > 3:
        return None
    return Pitch(step, int(shift), int(height))


def _clef_name(clef: etree._Element) -> str:
    sign = (clef.findtext("sign") or "").strip()
    line = (clef.findtext("line") or DEFAULT_LINE.get(sign, "")).strip()
    octave = (clef.findtext("clef-octave-change") or "0").strip() or "0"
    if sign == "TAB":
        return "tablature"
    return CLEFS.get((sign, line, octave), "percussion" if sign == "percussion" else "other")


def _titled(title: str, direction: etree._Element) -> str:
    """A movement's title from the words over its first bar: the heading, then the first tempo."""
    texts = ((w.text or "").strip() for w in direction.iterfind("direction-type/words"))
    meant = purpose(direction)
    if meant == TITLE:
        return " ".join(filter(None, texts))
    if meant == SHOWN:
        return title
    words, _ = wording.without_font_signs(" ".join(filter(None, texts)))
    if not words or len(words) > 80:
        return title
    if wording.heading(words) and not title:
        return words
    bare = title.rstrip(".").isalnum() and len(title) < 8 and wording.heading(title)
    if wording.is_tempo(words) and (not title or bare):
        return f"{title.rstrip('.')}. {words}" if title else words
    return title


class _Overhead:
    """What stands once above a score, over its first part, and counts for every part: tempos,
    rehearsal letters and jumps."""

    def __init__(self, starts: frozenset[int]) -> None:
        self.reader: PartReader | None = PartReader(starts=starts)
        self.bars: dict[int, Bar] = {}

    def read(self, written: WrittenBar) -> None:
        if self.reader is None:
            return
        try:
            self.reader.read(written)
        except FileError:  # the chosen part may still be whole
            self.reader = None
            return
        draft = self.reader.movements[-1].bars[-1]
        if draft.bar.tempos or draft.bar.rehearsal or draft.bar.jump:
            self.bars[draft.place] = draft.bar

    def report(self, movement: DraftMovement, number: int) -> None:
        """What couldn't be kept of those tempos is missing in this part too."""
        if self.reader is None or number > len(self.reader.movements):
            return
        for what, bars in self.reader.movements[number - 1].lost.items():
            if what.startswith(("A metronome", "A tempo")):
                movement.lost.setdefault(what, []).extend(bars)

    def laid_on(self, bars: tuple[Bar, ...], movement: DraftMovement) -> tuple[Bar, ...]:
        """The bars with what stands above them in the first part, where they have nothing of the kind."""
        out = []
        for bar, draft in zip(bars, movement.bars, strict=True):
            above = self.bars.get(draft.place)
            if above is not None:
                bar = replace(
                    bar,
                    tempos=bar.tempos or above.tempos,
                    rehearsal=bar.rehearsal or above.rehearsal,
                    jump=bar.jump or above.jump,
                )
            out.append(bar)
        return tuple(out)
