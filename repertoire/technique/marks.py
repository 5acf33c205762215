"""Marks: what a player writes into a part, and the operations on sets of them.

A mark points at note addresses (see `line.py`), belongs to one aspect (bow, left hand or
words) and never changes; a marking is a tuple of marks. This module says what kinds there
are and what values they take. How a kind is drawn, exported, spoken and checked stands in
`notation/signs.py`; whether a mark can stand on a note stands in `checking.py`.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from typing import Any

from .line import LineError, parse_address
from .picture_places import PlaceError, is_place, parse_place

FORMAT = 1


class MarkError(ValueError):
    """A mark that can't be read; the message says which and why."""


class Aspect(StrEnum):
    BOW = "bow"
    LEFT_HAND = "left hand"
    WORDS = "words"


class Kind(StrEnum):
    # bow
    BOW = "bow"  # down, up
    RETAKE = "retake"  # lift before this note
    SLUR = "slur"  # at..to; value "" or "dashed"
    HOOK = "hook"  # at..to in one bow with stops: hooked, portato
    AMOUNT = "amount"  # share of the bow for the stroke at this note: "1/2"
    PART = "part"  # part of the bow: whole, upper half, lower half, middle, frog, tip
    ARTICULATION = "articulation"  # staccato, tenuto, accent, ...
    PIZZICATO = "pizzicato"  # pizz, arco, left hand, snap
    # left hand
    FINGER = "finger"  # 0..4, a substitution "2-1"
    STRING = "string"  # I..IV at a note, or over at..to
    EXTENSION = "extension"  # forward, back
    HARMONIC = "harmonic"  # natural, artificial (touching a fourth above)
    SLIDE = "slide"  # at..to; the finger that carries it: start, arrival
    HOLD = "hold"  # keep the finger down, at..to
    VIBRATO = "vibrato"  # vibrato, none; at, or at..to
    # words
    ORNAMENT = "ornament"  # trill, turn, ...; options: start, close, fingers
    DYNAMIC = "dynamic"
    HAIRPIN = "hairpin"  # at..to: crescendo, diminuendo
    PHRASE = "phrase"  # at..to
    HIGH_POINT = "high point"
    OCTAVE = "octave"  # at..to: 8va, 8vb
    FERMATA = "fermata"
    TEXT = "text"  # any words; options: place


ASPECT_OF: Mapping[Kind, Aspect] = {
    **dict.fromkeys(
        (Kind.BOW, Kind.RETAKE, Kind.SLUR, Kind.HOOK, Kind.AMOUNT, Kind.PART, Kind.ARTICULATION, Kind.PIZZICATO),
        Aspect.BOW,
    ),
    **dict.fromkeys(
        (Kind.FINGER, Kind.STRING, Kind.EXTENSION, Kind.HARMONIC, Kind.SLIDE, Kind.HOLD, Kind.VIBRATO),
        Aspect.LEFT_HAND,
    ),
    **dict.fromkeys(
        (Kind.ORNAMENT, Kind.DYNAMIC, Kind.HAIRPIN, Kind.PHRASE, Kind.HIGH_POINT, Kind.OCTAVE, Kind.FERMATA, Kind.TEXT),
        Aspect.WORDS,
    ),
}

BOW_PARTS = ("whole", "upper half", "lower half", "middle", "frog", "tip")
ARTICULATIONS = (
    "staccato",
    "staccatissimo",
    "tenuto",
    "accent",
    "marcato",
    "soft accent",
    "detached legato",
    "stopped",
    "breath",  # after the note
    "caesura",  # after the note
    "arpeggio",  # the chord is spread
)
ORNAMENTS = ("trill", "turn", "inverted turn", "delayed turn", "mordent", "inverted mordent", "shake")
DYNAMICS = (
    *("pppp", "ppp", "pp", "p", "mp", "mf", "f", "ff", "fff", "ffff"),
    *("fp", "sf", "sfz", "sfp", "rf", "rfz", "fz", "sffz", "pf", "n"),
)
STRINGS = ("I", "II", "III", "IV")

_VALUES: Mapping[Kind, tuple[str, ...]] = {
    Kind.BOW: ("down", "up"),
    Kind.RETAKE: ("",),
    Kind.SLUR: ("", "dashed"),
    Kind.HOOK: ("hooked", "portato"),
    Kind.PART: BOW_PARTS,
    Kind.ARTICULATION: ARTICULATIONS,
    Kind.PIZZICATO: ("pizz", "arco", "left hand", "snap"),
    Kind.STRING: STRINGS,
    Kind.EXTENSION: ("forward", "back"),
    Kind.HARMONIC: ("natural", "artificial"),
    Kind.SLIDE: ("start", "arrival"),
    Kind.HOLD: ("",),
    Kind.VIBRATO: ("vibrato", "none"),
    Kind.ORNAMENT: ORNAMENTS,
    Kind.DYNAMIC: DYNAMICS,
    Kind.HAIRPIN: ("crescendo", "diminuendo"),
    Kind.PHRASE: ("",),
    Kind.HIGH_POINT: ("",),
    Kind.OCTAVE: ("8va", "8vb"),
    Kind.FERMATA: ("",),
}
SPANS = frozenset({Kind.SLUR, Kind.HOOK, Kind.SLIDE, Kind.HOLD, Kind.HAIRPIN, Kind.PHRASE, Kind.OCTAVE})
MAY_SPAN = SPANS | {Kind.STRING, Kind.VIBRATO}
# What can stand on a picture of printed music, at a place instead of a note (see picture_places.py).
ON_PICTURES = frozenset({Kind.BOW, Kind.RETAKE, Kind.SLUR, Kind.FINGER, Kind.STRING, Kind.TEXT})
PER_MEMBER = frozenset({Kind.FINGER, Kind.STRING, Kind.EXTENSION, Kind.HARMONIC, Kind.SLIDE, Kind.HOLD})


def _parse(address: str) -> tuple[float, ...]:
    """An address as numbers that sort in written order; places on a picture from top to bottom.
    Raises LineError, PlaceError."""
    if is_place(address):
        place = parse_place(address)
        return (place.y, place.x)
    return parse_address(address)


def _is_length(value: str) -> bool:
    """True for a length above 0 in quarter notes, written as 2 or 3/2."""
    return bool(re.fullmatch(r"[1-9]\d{0,5}(?:/[1-9]\d{0,5})?", value))


_OPTIONS: Mapping[Kind, Mapping[str, Callable[[str], bool]]] = {
    Kind.ORNAMENT: {
        "start": lambda v: v in ("upper", "main"),
        "close": lambda v: v in ("yes", "no"),
        "fingers": lambda v: bool(re.fullmatch(r"[0-4](?:-[0-4])*", v)),
        "above": lambda v: v in ("sharp", "flat", "natural", "double-sharp", "flat-flat"),
        "below": lambda v: v in ("sharp", "flat", "natural", "double-sharp", "flat-flat"),
    },
    # "after" and "until" place a mark within a long note: quarter notes after the onset of `at` or of `to`.
    Kind.DYNAMIC: {"after": _is_length},
    Kind.HAIRPIN: {"after": _is_length, "until": _is_length},
    Kind.TEXT: {
        "place": lambda v: v in ("above", "below"),
        "style": lambda v: v in ("plain", "italic", "bold"),
        "after": _is_length,
        # read before or after the dynamic at the same place, where the words themselves don't tell
        "order": lambda v: v in ("before", "after"),
    },
    Kind.SLUR: {"side": lambda v: v in ("above", "below")},
}
_FINGER = re.compile(r"[0-4](?:-[0-4])?$")
TEXT_LIMIT = 200


@dataclass(frozen=True, slots=True, order=True)
class Mark:
    """One mark. `at` and `to` are note addresses, or places on a picture (`to` is "" for a mark on one note);
    `options` is a sorted tuple of (name, value) pairs for the kinds that have any.
    Raises MarkError for a value the kind doesn't take.
    """

    kind: Kind
    at: str
    value: str = ""
    to: str = ""
    options: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        kind = Kind(self.kind)
        object.__setattr__(self, "kind", kind)
        object.__setattr__(self, "options", tuple(sorted(self.options)))
        for address in (self.at, self.to):
            if address or address is self.at:
                try:
                    _parse(address)
                except (LineError, PlaceError) as error:
                    raise MarkError(f"{kind}: {error}") from None
        if self.to and is_place(self.to) != self.on_picture:
            raise MarkError(f"A {kind} mark goes from note to note, or from place to place of a picture.")
        if self.on_picture and kind not in ON_PICTURES:
            raise MarkError(f"A {kind} mark can’t stand on a picture; write it as words.")
        if kind in SPANS and not self.to:
            raise MarkError(f"A {kind} mark needs a first and a last note.")
        if kind not in MAY_SPAN and self.to:
            raise MarkError(f"A {kind} mark stands on one note.")
        if kind in _VALUES and self.value not in _VALUES[kind]:
            choice = ", ".join(filter(None, _VALUES[kind])) or "no value"
            raise MarkError(f"“{self.value}” is not a {kind} mark; choose from {choice}.")
        if kind is Kind.FINGER and not _FINGER.match(self.value):
            raise MarkError(f"“{self.value}” is not a finger; write 0 to 4, or 2-1 for a substitution.")
        if kind is Kind.AMOUNT:
            share = self.share
            if not 0 < share <= 1:
                raise MarkError(f"“{self.value}” of the bow: write a share above 0, at most 1, such as 1/2.")
        if kind is Kind.TEXT and not 0 < len(self.value.strip()) <= TEXT_LIMIT:
            raise MarkError(f"Words are 1 to {TEXT_LIMIT} characters long.")
        allowed = _OPTIONS.get(kind, {})
        for name, value in self.options:
            if name not in allowed or not allowed[name](value):
                raise MarkError(f"“{name}: {value}” is not an option of a {kind} mark.")

    @property
    def aspect(self) -> Aspect:
        return ASPECT_OF[self.kind]

    @property
    def on_picture(self) -> bool:
        """True when it stands at a place of a picture, False when on a note."""
        return is_place(self.at)

    @property
    def share(self) -> Fraction:
        """The share of the bow (0 to 1) of an amount mark. Raises MarkError."""
        try:
            return Fraction(self.value)
        except (ValueError, ZeroDivisionError):
            raise MarkError(f"“{self.value}” is not a share of the bow; write 1/2 or 0.5.") from None

    def option(self, name: str, default: str = "") -> str:
        return dict(self.options).get(name, default)

    @property
    def slot(self) -> tuple[str, ...]:
        """What a newer mark replaces: two marks of one slot can't stand together."""
        if self.kind in (Kind.TEXT, Kind.ARTICULATION, Kind.ORNAMENT):
            return (self.kind, self.at, self.value)
        if self.kind in SPANS:
            return (self.kind, self.at, self.to)
        if self.kind is Kind.DYNAMIC and self.option("after"):
            return (self.kind, self.at, self.option("after"))
        return (self.kind, self.at)

    def as_json(self) -> dict[str, Any]:
        out: dict[str, Any] = {"kind": str(self.kind), "at": self.at}
        if self.value:
            out["value"] = self.value
        if self.to:
            out["to"] = self.to
        if self.options:
            out["options"] = dict(self.options)
        return out

    @classmethod
    def from_json(cls, raw: Mapping[str, Any]) -> Mark:
        """Read one mark of the stored form. Raises MarkError."""
        try:
            kind = Kind(raw["kind"])
            options = raw.get("options", {})
            unknown = set(raw) - {"kind", "at", "value", "to", "options"}
            if unknown or not isinstance(options, Mapping):
                raise MarkError(f"A mark has fields that can’t be read: {', '.join(sorted(unknown)) or 'options'}.")
            return cls(
                kind, str(raw["at"]), str(raw.get("value", "")), str(raw.get("to", "")),
                tuple((str(k), str(v)) for k, v in options.items()),
            )  # fmt: skip
        except KeyError as missing:
            raise MarkError(f"A mark lacks its {missing.args[0]}.") from None
        except (ValueError, TypeError) as error:
            raise error if isinstance(error, MarkError) else MarkError(f"A mark can’t be read: {error}.") from None


Marks = tuple[Mark, ...]


def dump(marks: Iterable[Mark]) -> dict[str, Any]:
    """The stored form: `{"format": 1, "marks": [...]}`, in a settled order."""
    return {"format": FORMAT, "marks": [m.as_json() for m in sorted(set(marks))]}


def load(raw: Any) -> Marks:
    """Marks of the stored form. Raises MarkError."""
    if not isinstance(raw, Mapping) or raw.get("format") != FORMAT or not isinstance(raw.get("marks"), list):
        raise MarkError(f"These marks are not in format {FORMAT}.")
    return tuple(sorted({Mark.from_json(m) for m in raw["marks"]}))


def of_aspect(marks: Iterable[Mark], *aspects: Aspect) -> Marks:
    return tuple(m for m in marks if m.aspect in aspects)


def digest(marks: Iterable[Mark], aspect: Aspect | None = None) -> str:
    """SHA-256 (hex) over the marks of one aspect, or of all. Equal marks, equal digest."""
    chosen = [m for m in marks if aspect is None or m.aspect is aspect]
    text = json.dumps(dump(chosen), sort_keys=True, ensure_ascii=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def combine(base: Iterable[Mark], other: Iterable[Mark], *aspects: Aspect) -> Marks:
    """`base` with the given aspects taken from `other`: this bowing, that fingering."""
    kept = [m for m in base if m.aspect not in aspects]
    return tuple(sorted({*kept, *of_aspect(other, *aspects)}))


def put(marks: Iterable[Mark], mark: Mark) -> Marks:
    """Marks with one more; what held its slot gives way."""
    return tuple(sorted({*(m for m in marks if m.slot != mark.slot), mark}))


def take(marks: Iterable[Mark], mark: Mark) -> Marks:
    """Marks without one."""
    return tuple(sorted(m for m in set(marks) if m != mark))


@dataclass(frozen=True, slots=True)
class Change:
    """One difference between two markings: `before` or `after` is None for added or removed."""

    before: Mark | None
    after: Mark | None

    @property
    def at(self) -> str:
        found = self.after or self.before
        assert found is not None
        return found.at


def changes(before: Iterable[Mark], after: Iterable[Mark]) -> tuple[Change, ...]:
    """What changed, ordered by place. Marks of one slot are paired as a change of value."""
    old, new = set(before), set(after)
    gone = {m.slot: m for m in old - new}
    out = [Change(gone.pop(m.slot, None), m) for m in sorted(new - old)]
    out += [Change(m, None) for m in gone.values()]
    return tuple(sorted(out, key=lambda c: (_parse(c.at), (c.after or c.before).kind)))  # type: ignore[union-attr]


def apply(before: Iterable[Mark], diff: Iterable[Change]) -> Marks:
    """The marks that `changes` led to."""
    marks = set(before)
    for change in diff:
        marks -= {change.before} if change.before else set()
        marks |= {change.after} if change.after else set()
    return tuple(sorted(marks))
