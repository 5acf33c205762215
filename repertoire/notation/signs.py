"""One table of the kinds of mark: how each is drawn, exported, spoken and where it is checked.

Drawing is laid on MEI by the functions of `laying.py`. The export column names the
MusicXML element that shows the mark (`export_marks.py` writes it). Speaking gives the words a screen reader or a list
of changes uses. Whether a mark can stand on a note is told by `technique/checking.py`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from repertoire.technique.dynamic_words import is_before
from repertoire.technique.line import Line, event_address, parse_address
from repertoire.technique.marks import Aspect, Change, Kind, Mark, Marks

from . import laying
from .laying import Sheet, share_label
from .look import BRITISH_WORDS

_ORDINALS = (
    "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth", "eleventh",
    "twelfth",
)  # fmt: skip
_DYNAMICS = {
    "pppp": "pianissississimo", "ppp": "pianississimo", "pp": "pianissimo", "p": "piano", "mp": "mezzo piano",
    "mf": "mezzo forte", "f": "forte", "ff": "fortissimo", "fff": "fortississimo", "ffff": "fortissississimo",
    "fp": "forte piano", "sf": "sforzando", "sfz": "sforzando", "sfp": "sforzando piano", "rf": "rinforzando",
    "rfz": "rinforzando", "fz": "forzando", "sffz": "strong sforzando", "pf": "piano forte", "n": "from nothing",
}  # fmt: skip


@dataclass(frozen=True)
class SignOf:
    """A row of the table. `layer` orders the laying; `spoken` gives the words for a mark."""

    draw: Callable[[Sheet, Mark, str], None]
    exported: str
    spoken: Callable[[Mark], str]
    layer: int = 5


def _ornament(mark: Mark) -> str:
    words = [mark.value]
    for side in ("above", "below"):
        if mark.option(side):
            words.append(f"with {mark.option(side).replace('-', ' ')} {side}")
    if mark.option("start"):
        words.append("from the upper note" if mark.option("start") == "upper" else "from the main note")
    if mark.option("close") == "yes":
        words.append("with closing turn")
    elif mark.option("close") == "no":
        words.append("without closing turn")
    if mark.option("fingers"):
        words.append(f"fingers {mark.option('fingers').replace('-', ' ')}")
    return " ".join(words)


def _finger(mark: Mark) -> str:
    if "-" in mark.value:
        first, second = mark.value.split("-")
        return f"finger {first} changing to {second}"
    return "open string" if mark.value == "0" else f"finger {mark.value}"


_AMOUNTS = {"1": "whole bow", "1/2": "half the bow", "1/3": "a third of the bow", "1/4": "a quarter of the bow"}
_PARTS = {"whole": "whole bow", "middle": "middle of the bow"}
_PIZZICATO = {"pizz": "pizzicato", "left hand": "left-hand pizzicato", "snap": "snap pizzicato"}

SIGNS: Mapping[Kind, SignOf] = {
    Kind.BOW: SignOf(laying.draw_bow, "notations/technical/down-bow|up-bow", lambda m: f"{m.value}-bow", 3),
    Kind.RETAKE: SignOf(laying.draw_retake, "direction/words", lambda m: "retake"),
    Kind.SLUR: SignOf(
        laying.draw_slur, "notations/slur", lambda m: "dashed slur" if m.value == "dashed" else "slur"
    ),
    Kind.HOOK: SignOf(
        laying.draw_hook, "notations/slur", lambda m: "hooked bow" if m.value == "hooked" else m.value, 2
    ),
    Kind.AMOUNT: SignOf(
        laying.draw_amount, "direction/words",
        lambda m: _AMOUNTS.get(m.value, f"{share_label(m.share)} of the bow"), 8,
    ),
    Kind.PART: SignOf(
        laying.draw_part, "direction/words", lambda m: _PARTS.get(m.value, m.value), 8
    ),
    Kind.ARTICULATION: SignOf(laying.draw_articulation, "notations/articulations", lambda m: m.value, 1),
    Kind.PIZZICATO: SignOf(
        laying.draw_pizzicato, "direction/words|notations/technical/snap-pizzicato",
        lambda m: _PIZZICATO.get(m.value, m.value), 4,
    ),
    Kind.FINGER: SignOf(laying.draw_finger, "notations/technical/fingering", _finger, 6),
    Kind.STRING: SignOf(laying.draw_string, "notations/technical/string", lambda m: f"string {m.value}", 7),
    Kind.EXTENSION: SignOf(
        laying.draw_extension, "direction/words", lambda m: f"extension {m.value}", 6
    ),
    Kind.HARMONIC: SignOf(laying.draw_harmonic, "notations/technical/harmonic", lambda m: f"{m.value} harmonic", 0),
    Kind.SLIDE: SignOf(
        laying.draw_slide, "notations/slide",
        lambda m: f"slide on the {'starting' if m.value == 'start' else 'arriving'} finger",
    ),
    Kind.HOLD: SignOf(laying.draw_hold, "direction/bracket", lambda m: "keep the finger down", 7),
    Kind.VIBRATO: SignOf(
        laying.draw_vibrato, "direction/words", lambda m: "vibrato" if m.value == "vibrato" else "no vibrato", 8
    ),
    Kind.ORNAMENT: SignOf(laying.draw_ornament, "notations/ornaments", _ornament, 5),
    Kind.DYNAMIC: SignOf(laying.draw_dynamic, "direction/dynamics", lambda m: _DYNAMICS.get(m.value, m.value)),
    Kind.HAIRPIN: SignOf(laying.draw_hairpin, "direction/wedge", lambda m: m.value),
    Kind.PHRASE: SignOf(laying.draw_phrase, "direction/bracket", lambda m: "phrase", 9),
    Kind.HIGH_POINT: SignOf(laying.draw_high_point, "direction/words", lambda m: "high point of the phrase", 9),
    Kind.OCTAVE: SignOf(
        laying.draw_octave, "direction/octave-shift",
        lambda m: "written an octave lower" if m.value == "8va" else "written an octave higher", 0,
    ),
    Kind.FERMATA: SignOf(laying.draw_fermata, "notations/fermata", lambda m: "fermata"),
    Kind.TEXT: SignOf(laying.draw_text, "direction/words", lambda m: f"“{m.value}”", 9),
}  # fmt: skip


def name_of(line: Line, address: str) -> str:
    """What stands at an address: `A4`, `chord C4 E4`, `rest`."""
    event = line.event(address)
    if event.is_rest:
        return "rest"
    if parse_address(address)[2] or len(event.pitches) == 1:
        return line.pitch(address).label
    return "chord " + " ".join(p.label for p in event.pitches)


def spoken(mark: Mark, words: Mapping[str, str] = BRITISH_WORDS) -> str:
    """A mark in the studio's words, the ones on its buttons and in the picture: `at the heel`."""
    if mark.kind is Kind.PART and mark.value in ("frog", "tip"):
        return f"at the {words[mark.value]}"
    return SIGNS[mark.kind].spoken(mark)


class Speaker:
    """Speaks the notes of one line with its marks; made once, it answers quickly for every note.
    Of signs that nobody wrote (`inferred`) it says so."""

    def __init__(
        self, line: Line, marks: Marks, words: Mapping[str, str] = BRITISH_WORDS, inferred: Marks = ()
    ) -> None:
        self.line = line
        self.words = words
        self._inferred = frozenset(inferred)
        self._starts: dict[str, list[Mark]] = defaultdict(list)
        self._ends: dict[str, list[Mark]] = defaultdict(list)
        for mark in sorted(marks, key=_spoken_order):
            self._starts[event_address(mark.at)].append(mark)
            if mark.to:
                self._ends[event_address(mark.to)].append(mark)
        self._counted: dict[str, str] = {}
        counts: dict[tuple[int, str], int] = defaultdict(int)
        for event in line.events:
            what = "rest" if event.is_rest else "grace note" if event.grace else "note"
            counts[event.bar, what] += 1
            number = counts[event.bar, what]
            ordinal = number <= len(_ORDINALS)
            self._counted[event.address] = f"{_ORDINALS[number - 1]} {what}" if ordinal else f"{what} {number}"

    def speak(self, address: str) -> str:
        """`bar 3, second note, A4, finger 1, up-bow`."""
        line = self.line
        event = line.event(address)
        words = [f"{self.words['bar']} {line.bar(event.bar).number}", self._counted[event.address]]
        if not event.is_rest:
            words.append(name_of(line, address))
        if event.continues:
            words.append("tied from before")
        member = parse_address(address)[2]
        for mark in self._starts[event.address]:
            if not member or not parse_address(mark.at)[2] or mark.at == address:
                unmarked = ", not marked" if mark in self._inferred else ""
                words.append(spoken(mark, self.words) + (" begins" if mark.to else "") + unmarked)
        for mark in self._ends[event.address]:
            if not member or not parse_address(mark.to)[2] or mark.to == address:
                words.append(spoken(mark, self.words) + " ends")
        return ", ".join(words)


_SPOKEN = {kind: number for number, kind in enumerate(Kind)}


def _spoken_order(mark: Mark) -> tuple[bool, float, Mark]:
    """What the left hand does first, then the bow, then the words; "poco" before the dynamic it belongs to."""
    leads = mark.kind is Kind.TEXT and is_before(mark)
    return mark.aspect is not Aspect.LEFT_HAND, _SPOKEN[Kind.DYNAMIC] - 0.5 if leads else _SPOKEN[mark.kind], mark


def speak(line: Line, marks: Marks, address: str) -> str:
    """A note for a screen reader: `bar 3, second note, A4, finger 1, up-bow`."""
    return Speaker(line, marks).speak(address)


def describe(mark: Mark, line: Line, words: Mapping[str, str] = BRITISH_WORDS) -> str:
    """A mark with its place: `bar 3, beat 2: finger 4 on A4`, `bar 3, beat 1 to bar 4, beat 2: slur`."""
    said = spoken(mark, words)
    if mark.to:
        start = _where(line, mark.at, words) if mark.at in line else "before the passage"
        end = _where(line, mark.to, words) if mark.to in line else "after the passage"
        return f"{start} to {end}: {said}"
    return f"{_where(line, mark.at, words)}: {said} on {name_of(line, mark.at)}"


def _where(line: Line, address: str, words: Mapping[str, str]) -> str:
    return f"{words['bar']} {line.where(address).partition(' ')[2]}"


def describe_change(change: Change, line: Line, words: Mapping[str, str] = BRITISH_WORDS) -> str:
    """One line of “what changed”: `bar 3, beat 2: finger 4 on A4, was finger 3`."""
    if change.before is None and change.after is not None:
        return describe(change.after, line, words) + ", added"
    if change.after is None and change.before is not None:
        return describe(change.before, line, words) + ", taken out"
    assert change.before is not None
    assert change.after is not None
    return describe(change.after, line, words) + f", was {spoken(change.before, words)}"
