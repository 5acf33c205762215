"""Marks as MusicXML: signs on notes, and what stands above and below the staff.

Each kind of mark is written with the standard's own element where there is one that says it
whole. Where there is none, visible words or lines show it to the eye and a meaning on the
note (see `meanings.py`) says it exactly, so that reading the file gives the mark again.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from lxml import etree

from repertoire.technique.dynamic_words import is_before, of_a_dynamic
from repertoire.technique.line import Event, Line, event_address, parse_address
from repertoire.technique.marks import Kind, Mark, Marks
from repertoire.technique.strings import OPEN_STRINGS, STRING_NAMES

from . import wording
from .export_elements import direction, element, meaning, printable, words
from .laying import share_label
from .meanings import DOT_TAGS, ORNAMENT_TAGS, SHOWN, say

NUMBERS = 16  # spans of one sort that may be open at once, by the schema
_ARTICULATIONS = {
    "marcato": "strong-accent", "soft accent": "soft-accent", "detached legato": "detached-legato",
    "breath": "breath-mark",
}  # fmt: skip
_PLUCKED = {"pizz": "pizz.", "arco": "arco", "left hand": "l.h. pizz."}
_NOT_ON_RESTS = ("staccato", "tenuto", "accent", "arpeggio")
Place = tuple[str, int]  # address of an event and member from 1


@dataclass(slots=True)
class OnNote:
    """What the notations of one notehead (or rest) hold besides ties and tuplets."""

    lines: list[Any] = field(default_factory=list)  # slurs and slides
    ornaments: list[Any] = field(default_factory=list)
    technical: list[Any] = field(default_factory=list)
    articulations: list[Any] = field(default_factory=list)
    single: list[Any] = field(default_factory=list)  # fermata, arpeggiate
    meanings: list[Any] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Above:
    """A direction at a note: `shift` quarter notes after its onset."""

    element: Any
    shift: Fraction = Fraction(0)


@dataclass(slots=True)
class DynamicLine:
    """The direction of a dynamic, with the words on its line; `said`: by meanings on the note, not by itself."""

    direction: Any
    marks: list[Mark]
    said: bool = False


class Signs:
    """The marks of a line, laid out by note. `omitted` says what could not be written."""

    def __init__(self, line: Line, marks: Marks, words: Mapping[str, str], instrument: str = "") -> None:
        self.line, self.marks, self.words = line, marks, words
        self.instrument = instrument or line.instrument
        self.on: dict[Place, OnNote] = defaultdict(OnNote)
        self.before: dict[str, list[Above]] = defaultdict(list)
        self.after: dict[str, list[Above]] = defaultdict(list)  # `shift` counts from the note's end
        self.dynamics: dict[tuple[str, str], DynamicLine] = {}  # by place
        self.omitted: list[str] = []
        self._taken: dict[str, list[tuple[tuple[int, int], Fraction, int]]] = defaultdict(list)
        self._voices = {bar.index: len({e.voice for e in line.in_bar(bar.index)}) for bar in line.bars}
        self._opening = line.bars[0].index if line.bars else 0
        self._signed = {(m.at, m.value) for m in marks if m.kind is Kind.ARTICULATION}
        for mark in sorted(marks, key=lambda m: (_key(m.at), _key(m.to) if m.to else (0, 0), m)):
            _WRITERS[mark.kind](self, mark)

    # --- places -----------------------------------------------------------------------

    def event(self, address: str) -> Event:
        return self.line.event(address)

    def note(self, address: str) -> OnNote:
        """The notehead of an address; of a whole chord, the lowest."""
        return self.on[event_address(address), parse_address(address)[2] or 1]

    def is_whole_chord(self, address: str) -> bool:
        return len(self.event(address).pitches) > 1 and not parse_address(address)[2]

    def number(self, pool: str, mark: Mark) -> int:
        """A number for a span that no other open span of its sort has."""
        first, last = self.event(mark.at), self.event(mark.to)
        start, begins = _key(mark.at), self.line.time(first)
        taken = {n for end, ends, n in self._taken[pool] if end >= start or ends > begins}
        free = next((n for n in range(1, NUMBERS + 1) if n not in taken), 0)
        if not free:
            self.omitted.append(f"{self.line.where(mark.at)}: more than {NUMBERS} {mark.kind} marks over one note")
            return 0
        self._taken[pool].append((_key(mark.to), self.line.time(last) + last.duration, free))
        return free

    def direction(
        self, *kinds: Any, place: str = "", event: Event | None = None, shown: bool = False
    ) -> Any:  # fmt: skip
        voice = event.voice if event is not None else None
        return direction(*kinds, place=place, voice=voice, purpose=SHOWN if shown else "")

    def above(self, mark: Mark, *kinds: Any, place: str = "above", shown: bool = True) -> Any:
        """A direction at the note a mark stands on."""
        event = self.event(mark.at)
        made = self.direction(*kinds, place=place, event=event, shown=shown)
        self.before[event.address].append(Above(made, Fraction(mark.option("after") or 0)))
        return made

    def closing(self, mark: Mark, *kinds: Any, place: str = "above", shown: bool = True) -> None:
        """A direction at the end of the note a span ends on."""
        event = self.event(mark.to)
        made = self.direction(*kinds, place=place, event=event, shown=shown)
        until = Fraction(mark.option("until") or 0)
        self.after[event.address].append(Above(made, until - event.duration if until else Fraction(0)))

    # --- meanings ----------------------------------------------------------------------

    def mean(self, mark: Mark, number: int = 0) -> None:
        """Say a mark exactly on its note or notes."""
        at_note = self.note(mark.at)
        on_note = bool(parse_address(mark.at)[2])
        if not mark.to:
            at_note.meanings.append(meaning(say(mark, on_note=on_note), "single"))
        elif event_address(mark.to) == event_address(mark.at):
            at_note.meanings.append(meaning(say(mark, on_note=on_note, alone=True), "single"))
        else:
            number = number or self.number(f"said {mark.kind}", mark)
            if number:
                at_note.meanings.append(meaning(say(mark, on_note=on_note), "start", number))
                end = say(Mark(mark.kind, mark.to, mark.value, mark.to), on_note=bool(parse_address(mark.to)[2]))
                self.note(mark.to).meanings.append(meaning(end, "stop", number))

    def plain_place(self, mark: Mark) -> bool:
        """Whether a direction at this place is read back to the same note."""
        event = self.event(mark.at)
        if event.grace:
            return False
        after = Fraction(mark.option("after") or 0)
        return not after or (after < event.duration and self._voices[event.bar] == 1)


def _key(address: str) -> tuple[int, int]:
    return parse_address(address)[:2]


# --- the bow -----------------------------------------------------------------------------------


def _bow(signs: Signs, mark: Mark) -> None:
    if signs.event(mark.at).is_rest:
        signs.above(mark, words(f"{mark.value}-bow"))
        signs.mean(mark)
    else:
        signs.note(mark.at).technical.append(element(f"{mark.value}-bow"))


def _slur(signs: Signs, mark: Mark) -> None:
    number = signs.number("slur", mark)
    if not number or _key(mark.at) == _key(mark.to):
        signs.mean(mark)
        return
    start = element(
        "slur", type="start", number=number, line_type="dashed" if mark.value == "dashed" else "",
        placement=mark.option("side"),
    )  # fmt: skip
    signs.note(mark.at).lines.append(start)
    signs.note(mark.to).lines.append(element("slur", type="stop", number=number))
    if mark.options or mark.kind is Kind.HOOK or parse_address(mark.at)[2] or parse_address(mark.to)[2]:
        signs.mean(mark, number)


def _hook(signs: Signs, mark: Mark) -> None:
    _slur(signs, mark)
    first = signs.event(mark.at)
    for event in signs.line.between(mark.at, mark.to):
        if event.is_rest or event.grace or event.voice != first.voice:
            continue
        sign = DOT_TAGS[mark.value]
        if (event.address, sign) in signs._signed:
            continue
        signs._signed.add((event.address, sign))
        note = signs.note(event.address)
        note.articulations.append(element(sign))
        note.meanings.append(meaning(f"{mark.kind}: {mark.value}", "single"))


def _articulation(signs: Signs, mark: Mark) -> None:
    event, note = signs.event(mark.at), signs.note(mark.at)
    if parse_address(mark.at)[2] or (event.is_rest and mark.value in _NOT_ON_RESTS):
        signs.above(mark, words(mark.value))
        signs.mean(mark)
    elif mark.value == "arpeggio":
        for member in range(1, len(event.pitches) + 1):
            signs.on[event.address, member].single.append(element("arpeggiate"))
    elif mark.value == "stopped":
        note.technical.append(element("stopped"))
    else:
        note.articulations.append(element(_ARTICULATIONS.get(mark.value, mark.value)))


def _amount(signs: Signs, mark: Mark) -> None:
    share = mark.share
    text = signs.words["whole"] if share == 1 else f"{share_label(share)} {signs.words['bow']}"
    signs.above(mark, words(text))
    signs.mean(mark)


def _worded(text: Callable[[Signs, Mark], str]) -> Callable[[Signs, Mark], None]:
    """A kind that has no sign in MusicXML: words for the eye, and its meaning."""

    def write(signs: Signs, mark: Mark) -> None:
        signs.above(mark, words(text(signs, mark)))
        signs.mean(mark)

    return write


def _pizzicato(signs: Signs, mark: Mark) -> None:
    if mark.value == "snap" and not parse_address(mark.at)[2]:
        signs.note(mark.at).technical.append(element("snap-pizzicato"))
        return
    plain = signs.plain_place(mark) and mark.value in _PLUCKED and not parse_address(mark.at)[2]
    signs.above(mark, words(_PLUCKED.get(mark.value, "snap pizz.")), shown=not plain)
    if not plain:
        signs.mean(mark)


# --- the left hand ---------------------------------------------------------------------------------


def _on_member(write: Callable[[Signs, Mark], Iterable[Any]]) -> Callable[[Signs, Mark], None]:
    """A technical sign on one notehead; on a whole chord, words and the meaning."""

    def lay(signs: Signs, mark: Mark) -> None:
        if signs.is_whole_chord(mark.at) or signs.event(mark.at).is_rest:
            signs.above(mark, words(mark.value))
            signs.mean(mark)
        else:
            signs.note(mark.at).technical.extend(write(signs, mark))

    return lay


def _fingering(signs: Signs, mark: Mark) -> Iterable[Any]:
    first, _, second = mark.value.partition("-")
    yield element("fingering", first)
    if second:
        yield element("fingering", second, substitution="yes")


def _harmonic(signs: Signs, mark: Mark) -> Iterable[Any]:
    made = element("harmonic")
    etree.SubElement(made, mark.value)
    yield made


def _one_string(signs: Signs, mark: Mark) -> Iterable[Any]:
    yield element("string", str(STRING_NAMES.index(mark.value) + 1))


def _string(signs: Signs, mark: Mark) -> None:
    if not mark.to:
        _on_member(_one_string)(signs, mark)
        return
    text = mark.value
    if signs.instrument in OPEN_STRINGS:
        text = f"{signs.words['on']} {OPEN_STRINGS[signs.instrument][STRING_NAMES.index(mark.value)].letter}"
    _range(signs, mark, text)


def _range(signs: Signs, mark: Mark, text: str) -> None:
    """Words with dashes from one note to another."""
    number = signs.number("dashes", mark)
    if number:
        signs.above(mark, words(text), element("dashes", type="start", number=number))
        signs.closing(mark, element("dashes", type="stop", number=number))
    signs.mean(mark)


def _bracket(signs: Signs, mark: Mark, text: str, end: str) -> None:
    number = signs.number("bracket", mark)
    if number:
        shown = [words(text)] if text else []
        line: dict[str, Any] = {"number": number, "line_end": end, "line_type": "solid"}
        signs.above(mark, *shown, element("bracket", type="start", **line))
        signs.closing(mark, element("bracket", type="stop", **line))
    signs.mean(mark)


def _hold(signs: Signs, mark: Mark) -> None:
    finger = next((m.value for m in signs.marks if m.kind is Kind.FINGER and m.at == mark.at), "")
    _bracket(signs, mark, f"keep {finger[-1]} down" if finger else "keep down", "none")


def _vibrato(signs: Signs, mark: Mark) -> None:
    text = signs.words["vibrato" if mark.value == "vibrato" else "none"]
    if mark.to:
        _range(signs, mark, text)
    else:
        signs.above(mark, words(text))
        signs.mean(mark)


def _slide(signs: Signs, mark: Mark) -> None:
    number = signs.number("slide", mark)
    if not number or _key(mark.at) == _key(mark.to):
        signs.mean(mark)
        return
    signs.note(mark.at).lines.append(element("slide", type="start", number=number, line_type="solid"))
    signs.note(mark.to).lines.append(element("slide", type="stop", number=number, line_type="solid"))
    if mark.value != "start" or signs.is_whole_chord(mark.at) or signs.is_whole_chord(mark.to):
        signs.mean(mark, number)


# --- words -----------------------------------------------------------------------------------------------


def _ornament(signs: Signs, mark: Mark) -> None:
    sounding = {}
    if mark.value == "trill" and mark.option("start"):
        sounding["start_note"] = mark.option("start")
    note = signs.note(mark.at)
    note.ornaments.append(element(ORNAMENT_TAGS[mark.value], **sounding))
    for side in ("above", "below"):
        if mark.option(side):
            note.ornaments.append(element("accidental-mark", mark.option(side), placement=side))
    if set(dict(mark.options)) - {"above", "below"} or parse_address(mark.at)[2]:
        seen = [mark.option("fingers").replace("-", " ")] if mark.option("fingers") else []
        if mark.option("start"):
            seen.append(f"from the {mark.option('start')} note")
        if mark.option("close"):
            seen.append("with closing turn" if mark.option("close") == "yes" else "without closing turn")
        if seen:
            signs.above(mark, words(", ".join(seen)))
        signs.mean(mark)


def _dynamic(signs: Signs, mark: Mark) -> None:
    sign = element("dynamics")
    etree.SubElement(sign, mark.value)
    plain = signs.plain_place(mark) and not parse_address(mark.at)[2]
    made = signs.above(mark, sign, place="below", shown=not plain)
    if plain:
        signs.dynamics[mark.at, mark.option("after")] = DynamicLine(made, [mark])
    else:
        signs.mean(mark)


def _line_over(signs: Signs, mark: Mark, tag: str, start: str, place: str) -> None:
    """A hairpin or an octave sign."""
    number = signs.number(tag, mark)
    if number:
        to, until = signs.event(mark.to), Fraction(mark.option("until") or 0)
        addressed = parse_address(mark.at)[2] or parse_address(mark.to)[2]
        plain = signs.plain_place(mark) and not to.grace and until < to.duration and not addressed
        size: dict[str, Any] = {"size": 8} if tag == "octave-shift" else {}
        signs.above(mark, element(tag, type=start, number=number, **size), place=place, shown=not plain)
        signs.closing(mark, element(tag, type="stop", number=number, **size), place=place, shown=not plain)
        if plain:
            return
    signs.mean(mark)


def _text(signs: Signs, mark: Mark) -> None:
    text, style = mark.value, mark.option("style")
    plain = (
        signs.plain_place(mark)
        and not parse_address(mark.at)[2]
        and style in ("", "italic", "bold")
        and wording.without_font_signs(printable(text)) == (text, "")
        and not wording.plucking(text)
        and not wording.jump(text)[0]
        and not wording.is_tempo(text)
        and not (wording.heading(text) and signs.event(mark.at).bar == signs._opening)
    )
    dynamic = signs.dynamics.get((mark.at, mark.option("after")))
    if dynamic is not None and of_a_dynamic(mark):
        exactly = plain and mark.option("place") == "below"
        if _beside(signs, dynamic, mark, words(text, style), exactly=exactly):
            return
    plain = plain and not mark.option("order")
    signs.above(mark, words(text, style), place=mark.option("place"), shown=not plain)
    if not plain:
        signs.mean(mark)


def _beside(signs: Signs, dynamic: DynamicLine, mark: Mark, words: Any, *, exactly: bool) -> bool:
    """Set words into the direction of their dynamic; False when others stand there on that side.

    Where reading the direction would not give the mark `exactly`, all that it shows is said by meanings.
    """
    kinds = dynamic.direction.findall("direction-type")
    sign = next(n for n, kind in enumerate(kinds) if kind.find("dynamics") is not None)
    before = is_before(mark)
    if any(kind.find("words") is not None for kind in (kinds[:sign] if before else kinds[sign + 1 :])):
        return False
    made = element("direction-type")
    made.append(words)
    dynamic.direction.insert(dynamic.direction.index(kinds[sign]) + (not before), made)
    dynamic.marks.append(mark)
    if dynamic.said:
        signs.mean(mark)
    elif not exactly:
        dynamic.said = True
        unseen = etree.Element("direction-type")
        unseen.append(element("other-direction", SHOWN, print_object="no"))
        dynamic.direction.insert(len(dynamic.direction.findall("direction-type")), unseen)
        for one in dynamic.marks:
            signs.mean(one)
    return True


_WRITERS: Mapping[Kind, Callable[[Signs, Mark], None]] = {
    Kind.BOW: _bow,
    Kind.RETAKE: _worded(lambda signs, mark: "retake"),
    Kind.SLUR: _slur,
    Kind.HOOK: _hook,
    Kind.AMOUNT: _amount,
    Kind.PART: _worded(lambda signs, mark: signs.words.get(mark.value, mark.value)),
    Kind.ARTICULATION: _articulation,
    Kind.PIZZICATO: _pizzicato,
    Kind.FINGER: _on_member(_fingering),
    Kind.STRING: _string,
    Kind.EXTENSION: _worded(lambda signs, mark: "ext." if mark.value == "forward" else "back ext."),
    Kind.HARMONIC: _on_member(_harmonic),
    Kind.SLIDE: _slide,
    Kind.HOLD: _hold,
    Kind.VIBRATO: _vibrato,
    Kind.ORNAMENT: _ornament,
    Kind.DYNAMIC: _dynamic,
    Kind.HAIRPIN: lambda signs, mark: _line_over(signs, mark, "wedge", mark.value, "below"),
    Kind.PHRASE: lambda signs, mark: _bracket(signs, mark, "", "down"),
    Kind.HIGH_POINT: _worded(lambda signs, mark: "high point"),
    Kind.OCTAVE: lambda signs, mark: _line_over(
        signs, mark, "octave-shift", *(("down", "above") if mark.value == "8va" else ("up", "below"))
    ),
    Kind.FERMATA: lambda signs, mark: signs.note(mark.at).single.append(element("fermata")),
    Kind.TEXT: _text,
}
