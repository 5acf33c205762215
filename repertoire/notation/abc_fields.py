"""The fields of ABC that say how the music is to be read: key and clef, metre, length, tempo.

Follows the ABC music standard 2.1, sections 3.1 and 4.6. What can't be read raises
FieldError with a sentence for the person who wrote it; what is read but not kept is told in
`left_out`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction

from repertoire.technique.keys import signature_alteration
from repertoire.technique.line import ClefName, Meter, Value
from repertoire.technique.pitch import LETTERS

from .abc_source import plain_text
from .values import fitting

_BEAT_TYPES = (1, 2, 4, 8, 16, 32, 64)
_MODES = {"maj": 0, "ion": 0, "min": -3, "aeo": -3, "dor": -2, "phr": -4, "lyd": 1, "mix": -1, "loc": -5}
_MODE_NAMES = {"maj": "major", "ion": "ionian", "min": "minor", "aeo": "aeolian", "dor": "dorian",
               "phr": "phrygian", "lyd": "lydian", "mix": "mixolydian", "loc": "locrian"}  # fmt: skip
_SIGNS = {"^": 1, "^^": 2, "_": -1, "__": -2, "=": 0}
_CLEFS: dict[str, ClefName] = {
    "treble": "treble", "treble2": "treble", "G": "treble", "G2": "treble",
    "alto": "alto", "alto3": "alto", "C": "alto", "C3": "alto", "alto1": "soprano", "C1": "soprano",
    "alto2": "mezzo", "C2": "mezzo", "tenor": "tenor", "tenor4": "tenor", "alto4": "tenor", "C4": "tenor",
    "bass": "bass", "bass4": "bass", "F": "bass", "F4": "bass",
}  # fmt: skip
_CLEF_WORD = re.compile(r"(treble|alto|tenor|bass|perc|none|[GCF])(\d)?([+-]8)?$")
_WORDS = re.compile(r'[A-Za-z]+="[^"]*"|\S+')
_LAYOUT = frozenset({"name", "nm", "subname", "sname", "snm", "brace", "bracket", "space", "score", "sound", "shift"})
_TONIC = re.compile(r"([A-G])([#b♯♭]?)(\S*)$")


class FieldError(ValueError):
    """A field that can't be read; the message says how to write it."""


@dataclass(frozen=True, slots=True)
class ReadKey:
    """A key: what it does to each letter, and the signature (sharps; flats negative) that shows it.
    `exact` is false when no customary signature shows these alterations."""

    alterations: tuple[tuple[str, int], ...]
    sharps: int
    mode: str = ""
    exact: bool = True

    def alteration(self, letter: str) -> int:
        return dict(self.alterations)[letter]


def signature(sharps: int, mode: str = "") -> ReadKey:
    """The key a customary signature shows."""
    return ReadKey(tuple((n, signature_alteration(n, sharps)) for n in LETTERS), sharps, mode)


@dataclass(slots=True)
class Staff:
    """Clef and octave told by K: or V:, None where nothing is said."""

    clef: ClefName | None = None
    clef_octave: int | None = None
    octave: int | None = None
    name: str = ""
    left_out: list[str] = field(default_factory=list)


def read_length(value: str) -> Fraction:
    """`1/8` in quarter notes. Raises FieldError."""
    found = re.fullmatch(r"(\d{1,3})\s*(?:/\s*(\d{1,3}))?", value)
    length = Fraction(int(found[1]), int(found[2] or 1) or 1) * 4 if found and int(found[2] or 1) else Fraction(0)
    if not 0 < length <= 16 or fitting(length) is None:
        raise FieldError(f"“L:{value[:20]}” is not a note length. Write L:1/8, L:1/4 or L:1/16, parts of a whole note.")
    return length


def read_meter(value: str) -> Meter | None:
    """A time signature, None for music without one. Raises FieldError."""
    if value in ("C", "c"):
        return Meter("4", 4, "common")
    if value in ("C|", "c|"):
        return Meter("2", 2, "cut")
    if value.casefold() in ("", "none"):
        return None
    found = re.fullmatch(r"\(?\s*(\d{1,2}(?:\s*\+\s*\d{1,2})*)\s*\)?\s*/\s*(\d{1,2})", value)
    if found and int(found[2]) in _BEAT_TYPES:
        meter = Meter(re.sub(r"\s", "", found[1]), int(found[2]))
        if 0 < meter.length <= 64 and all(int(n) for n in meter.beats.split("+")):
            return meter
    raise FieldError(f"“M:{value[:20]}” is not a time signature. Write M:4/4, M:6/8, M:C, M:C| or M:2+3/8.")


def usual_length(meter: Meter | None) -> Fraction:
    """The unit of length, in quarter notes, where L: doesn't say: a sixteenth below 3/4, else an eighth."""
    return Fraction(1, 4) if meter is not None and meter.length < 3 else Fraction(1, 2)


def read_key(value: str) -> tuple[ReadKey | None, Staff]:
    """The key, None when only a clef is given, and what stands beside it. Raises FieldError."""
    words = _WORDS.findall(value)
    key: ReadKey | None = None
    if words and words[0] in ("HP", "Hp"):
        raise FieldError("The keys of the pipes (K:HP, K:Hp) aren’t read. Write the signature: K:D.")
    if words and words[0].casefold() == "none":
        key = signature(0)
        words = words[1:]
    elif words and not _CLEF_WORD.match(words[0] if len(words[0]) > 1 else "?") and (tonic := _TONIC.match(words[0])):
        sharps, mode, used = _tonic(tonic, words)
        words = words[used:]
        key = signature(0 if mode == "exp" else sharps, "" if mode == "exp" else mode)
    signs: dict[str, int] = {}
    while words and re.fullmatch(r"(?:(?:\^\^?|__?|=)[A-Ga-g])+", words[0]):
        for sign, letter in re.findall(r"(\^\^?|__?|=)([A-Ga-g])", words.pop(0)):
            signs[letter.upper()] = _SIGNS[sign]
    if signs:
        key = _altered(key or signature(0), signs)
    return key, _staff(words, "K")


def _tonic(tonic: re.Match[str], words: list[str]) -> tuple[int, str, int]:
    """Sharps, mode, and how many words they took."""
    letter, sign, rest = tonic.groups()
    used = 1
    name = rest
    if not rest and len(words) > 1 and (words[1][:3].casefold() in (*_MODES, "exp") or words[1] in ("m", "M")):
        name, used = words[1], 2
    short = "min" if name == "m" else name[:3].casefold() or "maj"
    if short == "exp":
        return 0, "exp", used
    if short not in _MODES or (not name.isalpha() and name):
        if rest in ("s", "es", "is"):
            raise FieldError(f"“{letter}{rest}” is written {letter}{'#' if rest == 'is' else 'b'} here.")
        raise FieldError(f"“{name[:20]}” is not a mode. Write K:G, K:Gm, K:G dor, K:G mix, K:G phr, K:G lyd, K:G loc.")
    sharps = "FCGDAEB".index(letter) - 1 + 7 * {"#": 1, "♯": 1, "b": -1, "♭": -1}.get(sign, 0) + _MODES[short]
    if abs(sharps) > 7:
        raise FieldError(f"The key {letter}{sign} {_MODE_NAMES[short]} has more than seven sharps or flats.")
    return sharps, _MODE_NAMES[short], used


def _altered(key: ReadKey, signs: dict[str, int]) -> ReadKey:
    wanted = dict(key.alterations) | signs
    customary = [signature(n) for n in sorted(range(-7, 8), key=abs)]
    best = min(customary, key=lambda k: sum(wanted[n] != a for n, a in k.alterations))
    exact = dict(best.alterations) == wanted
    return ReadKey(tuple(wanted.items()), best.sharps, "" if best.sharps != key.sharps else key.mode, exact)


def read_voice(value: str) -> Staff:
    """What a V: field says beside the name of its voice. Raises FieldError."""
    return _staff(_WORDS.findall(value)[1:], "V")


def _staff(words: list[str], letter: str) -> Staff:
    staff = Staff()
    for word in words:
        name, equals, told = word.partition("=")
        told = told.strip('"')
        if not equals or name == "clef":
            _clef(staff, told if equals else word, letter, word)
        elif name == "octave":
            if not re.fullmatch(r"[+-]?[0-4]", told):
                raise FieldError(f"“octave={told[:10]}” is not a number of octaves from -4 to 4.")
            staff.octave = int(told)
        elif name in ("middle", "m"):
            raise FieldError(
                "“middle=” isn’t read, because programs differ in what it does to the notes. Leave it out."
            )
        elif name in ("name", "nm") and letter == "V":
            staff.name = plain_text(told)[:80]
        elif name in ("transpose", "t"):
            if told not in ("0", "+0", "-0"):
                staff.left_out.append(f"{word[:30]}: notes are kept as written.")
        elif name == "stafflines":
            if told != "5":
                staff.left_out.append(f"A staff of {told[:5]} lines.")
        elif name not in _LAYOUT:
            staff.left_out.append(f"“{word[:30]}” in {letter}:")
    return staff


def _clef(staff: Staff, told: str, letter: str, whole: str) -> None:
    found = _CLEF_WORD.match(told)
    if not found:
        if letter == "V" and told in ("up", "down", "auto", "merge"):
            staff.left_out.append(f"“{told}” in V:")
            return
        hint = "Write K:D, K:Em, K:G dor or K:D clef=alto." if letter == "K" else "Write V:1 clef=alto."
        if told != whole:
            hint = "Clefs are treble, alto, tenor and bass: clef=alto."
        elif letter == "K" and re.fullmatch(r"[a-g][#b♯♭]?m?", told):
            hint = f"The key is a capital letter: K:{told[0].upper()}{told[1:]}, and K:{told[0].upper()}m is minor."
        elif letter == "K" and len(told) > 2 and re.fullmatch(r"[A-Ga-gzuv\d,'/|()^_=]+", told):
            hint = "If this is music, it begins on a line of its own."
        raise FieldError(f"“{told[:20]}” has no meaning in {letter}:. {hint}")
    name, line, octave = found.groups()
    clef = _CLEFS.get(name + (line or ""))
    if clef is None or (octave and clef != "treble"):
        raise FieldError(f"The clef “{told}” isn’t read. Clefs are treble, alto, tenor, bass, treble-8 and treble+8.")
    staff.clef_octave = {"+8": 1, "-8": -1}.get(octave or "", 0)
    staff.clef = {1: "treble8va", -1: "treble8vb"}.get(staff.clef_octave, clef)  # type: ignore[assignment]


def read_tempo(value: str, unit: Fraction) -> tuple[str, Value | None, Fraction | None]:
    """Words, beat and number a minute of a Q: field. Raises FieldError."""
    words = plain_text(" ".join(re.findall(r'"([^"]*)"', value)))[:120]
    rest = " ".join(re.sub(r'"[^"]*"', " ", value).split())
    if not rest:
        return words, None, None
    found = re.fullmatch(r"((?:\d{1,2}/\d{1,3} ?)+)= ?(\d{1,3}(?:\.\d{1,2})?)", rest)
    if found and "/0" not in found[1]:
        length = sum((Fraction(f) * 4 for f in found[1].split()), Fraction(0))
        number = Fraction(found[2])
    elif old := re.fullmatch(r"(?:C(\d?) ?= ?)?(\d{1,3})", rest):
        length, number = unit * int(old[1] or 1), Fraction(old[2])
    else:
        raise FieldError(f'“Q:{value[:30]}” is not a tempo. Write Q:1/4=80, or Q:"Allegro" 1/4=120.')
    beat = fitting(length)
    if beat is None or not 1 <= number <= 999:
        raise FieldError(f"“Q:{value[:30]}” is not a tempo: its beat must be one note value, its number 1 to 999.")
    return words, beat, number
