"""The marks the marking page offers, in its three groups: bow, left hand, words.

Each tool is one kind of mark with one value and the word that stands on its button. Tools
whose value is typed or chosen beside the button (words, a finger that changes, a share of
the bow, how an ornament is played) read their fields from the form.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from repertoire.technique.marks import ARTICULATIONS, DYNAMICS, ORNAMENTS, Kind, MarkError

Options = tuple[tuple[str, str], ...]


_TO_THE_NEXT = "one picked: to the next"


@dataclass(frozen=True, slots=True)
class Tool:
    """A button: what it writes, its word, a drawn sign beside the word, its key."""

    kind: Kind
    value: str
    word: str
    sign: str = ""
    key: str = ""

    @property
    def what(self) -> str:
        return f"{self.kind}={self.value}"


@dataclass(frozen=True, slots=True)
class Row:
    """Tools of one sort; `fields` names the template part with what is typed beside them, `note` says how they go."""

    title: str
    tools: tuple[Tool, ...]
    fields: str = ""
    more: tuple[Tool, ...] = ()  # seldom used: offered in a list
    note: str = ""


@dataclass(frozen=True, slots=True)
class Group:
    key: str
    name: str
    rows: tuple[Row, ...]


def groups(terms: Mapping[str, str]) -> tuple[Group, ...]:
    """The three groups in the studio's words (heel or frog, point or tip)."""
    return (
        Group("bow", "Bow", _bow(terms)),
        Group("left-hand", "Left hand", _left_hand()),
        Group("words", "Words and ornaments", _words()),
    )


def _bow(terms: Mapping[str, str]) -> tuple[Row, ...]:
    parts = {"whole": "whole bow", "frog": terms["frog"], "tip": terms["tip"]}
    return (
        Row(
            "Direction",
            (
                Tool(Kind.BOW, "down", "down-bow", "down-bow", "v"),
                Tool(Kind.BOW, "up", "up-bow", "up-bow", "u"),
                Tool(Kind.RETAKE, "", "retake", "retake"),
            ),
        ),
        Row(
            "Over several notes",
            (
                Tool(Kind.SLUR, "", "slur", "slur", "("),
                Tool(Kind.SLUR, "dashed", "dashed slur", "dashed-slur"),
                Tool(Kind.HOOK, "hooked", "hooked", "hooked"),
                Tool(Kind.HOOK, "portato", "portato", "portato"),
            ),
            note=_TO_THE_NEXT,
        ),
        Row("Part of the bow", tuple(Tool(Kind.PART, value, parts.get(value, value)) for value in _PARTS)),
        Row(
            "Amount of bow",
            tuple(Tool(Kind.AMOUNT, share, word) for share, word in _SHARES),
            fields="amount",
        ),
        Row(
            "Articulation",
            tuple(Tool(Kind.ARTICULATION, value, value, value) for value in _COMMON_ARTICULATIONS),
            more=tuple(Tool(Kind.ARTICULATION, v, v) for v in ARTICULATIONS if v not in _COMMON_ARTICULATIONS),
        ),
        Row(
            "Pizzicato",
            (
                Tool(Kind.PIZZICATO, "pizz", "pizz."),
                Tool(Kind.PIZZICATO, "arco", "arco"),
                Tool(Kind.PIZZICATO, "left hand", "left hand"),
                Tool(Kind.PIZZICATO, "snap", "snap"),
            ),
        ),
    )


def _left_hand() -> tuple[Row, ...]:
    return (
        Row(
            "Finger",
            tuple(Tool(Kind.FINGER, n, "0 open" if n == "0" else n, "", n) for n in "01234"),
            fields="substitution",
        ),
        Row("String", tuple(Tool(Kind.STRING, name, name) for name in ("I", "II", "III", "IV"))),
        Row(
            "Reach",
            (Tool(Kind.EXTENSION, "forward", "extend forward"), Tool(Kind.EXTENSION, "back", "reach back")),
        ),
        Row(
            "From note to note",
            (
                Tool(Kind.SLIDE, "start", "slide, starting finger"),
                Tool(Kind.SLIDE, "arrival", "slide, arriving finger"),
                Tool(Kind.HOLD, "", "keep finger down"),
            ),
            note=_TO_THE_NEXT,
        ),
        Row(
            "Harmonic",
            (Tool(Kind.HARMONIC, "natural", "natural"), Tool(Kind.HARMONIC, "artificial", "artificial")),
        ),
        Row("Vibrato", (Tool(Kind.VIBRATO, "vibrato", "vibrato"), Tool(Kind.VIBRATO, "none", "no vibrato"))),
    )


def _words() -> tuple[Row, ...]:
    return (
        Row(
            "Dynamic",
            tuple(Tool(Kind.DYNAMIC, value, value) for value in _COMMON_DYNAMICS),
            more=tuple(Tool(Kind.DYNAMIC, v, v) for v in DYNAMICS if v not in _COMMON_DYNAMICS),
        ),
        Row(
            "Swell",
            (
                Tool(Kind.HAIRPIN, "crescendo", "crescendo", "crescendo"),
                Tool(Kind.HAIRPIN, "diminuendo", "diminuendo", "diminuendo"),
            ),
            note=_TO_THE_NEXT,
        ),
        Row("Ornament", tuple(Tool(Kind.ORNAMENT, value, value) for value in ORNAMENTS), fields="ornament"),
        Row(
            "Shape",
            (
                Tool(Kind.HIGH_POINT, "", "high point"),
                Tool(Kind.FERMATA, "", "fermata", "fermata"),
            ),
        ),
        Row(
            "Over several notes",
            (
                Tool(Kind.PHRASE, "", "phrase"),
                Tool(Kind.OCTAVE, "8va", "8va"),
                Tool(Kind.OCTAVE, "8vb", "8vb"),
            ),
            note="pick the first and the last",
        ),
        Row("Text", (), fields="text"),
    )


_PARTS = ("whole", "upper half", "lower half", "middle", "frog", "tip")
_SHARES = (("1", "whole"), ("3/4", "¾"), ("2/3", "⅔"), ("1/2", "½"), ("1/3", "⅓"), ("1/4", "¼"))
_COMMON_ARTICULATIONS = ("staccato", "tenuto", "accent", "marcato", "staccatissimo", "breath")  # each has its sign
_COMMON_DYNAMICS = ("pp", "p", "mp", "mf", "f", "ff", "fp", "sfz")


@dataclass(frozen=True, slots=True)
class Wish:
    """A mark asked for on the page, before it is known where."""

    kind: Kind
    value: str
    options: Options = ()

    @property
    def words(self) -> str:
        """What undo calls it: "finger 1", "slur", "crescendo"."""
        if self.kind in (Kind.FINGER, Kind.STRING):
            return f"{self.kind} {self.value}"
        if self.kind is Kind.BOW:
            return f"{self.value}-bow"
        if self.kind is Kind.AMOUNT:
            return f"{self.value} of the bow"
        if self.kind is Kind.TEXT:
            return f"“{self.value}”"
        if self.kind in (Kind.SLIDE, Kind.HARMONIC, Kind.EXTENSION):
            return f"{self.kind} ({self.value})"
        if self.kind is Kind.SLUR:
            return f"{self.value} slur".strip()
        if self.kind is Kind.VIBRATO and self.value == "none":
            return "no vibrato"
        if self.kind is Kind.HOLD:
            return "keep finger down"
        return self.value or str(self.kind)


def read_wish(what: str, fields: Mapping[str, str]) -> Wish:
    """The mark a button and the fields beside it ask for. Raises MarkError.

    `what` is "kind=value"; "text=", "substitution=", "share=" take their value from the
    fields, and "fields" whichever of these is filled in.
    """
    if what == "fields":
        what = next((w for w, f in _TYPED.items() if fields.get(f, "").strip()), "")
        if not what:
            raise MarkError("Nothing was written: pick a note, then a sign.")
    name, _, value = what.partition("=")
    if name == "text":
        return Wish(Kind.TEXT, _typed(fields, "text", "Write the words first."), _options(fields, "text"))
    if name == "substitution":
        typed = _typed(fields, "substitution", "Write the two fingers first, such as 2-1.")
        return Wish(Kind.FINGER, typed.replace("–", "-").replace(" ", ""))
    if name == "share":
        return Wish(Kind.AMOUNT, _typed(fields, "share", "Write the share of the bow first, such as 2/5."))
    try:
        kind = Kind(name)
    except ValueError:
        raise MarkError("That is not a kind of mark.") from None
    return Wish(kind, value, _options(fields, "ornament") if kind is Kind.ORNAMENT else ())


_TYPED = {"text=": "text", "substitution=": "substitution", "share=": "share"}
_OPTION_FIELDS = {
    "text": {"place": "text_place", "style": "text_style"},
    "ornament": {
        "start": "ornament_start",
        "close": "ornament_close",
        "fingers": "ornament_fingers",
        "above": "ornament_above",
        "below": "ornament_below",
    },
}


def _typed(fields: Mapping[str, str], name: str, missing: str) -> str:
    found = fields.get(name, "").strip()
    if not found:
        raise MarkError(missing)
    return found


def _options(fields: Mapping[str, str], kind: str) -> Options:
    found = ((name, fields.get(field, "").strip()) for name, field in _OPTION_FIELDS[kind].items())
    return tuple((n, v.replace(" ", "-") if n == "fingers" else v) for n, v in found if v)
