"""What the header of a tune sets for reading its notes: key, metre, unit of length, clef, symbols."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from fractions import Fraction

from repertoire.technique.line import ClefName, Meter, Value

from .abc_fields import (
    FieldError,
    ReadKey,
    Staff,
    read_key,
    read_length,
    read_meter,
    read_tempo,
    read_voice,
    signature,
    usual_length,
)
from .abc_signs import LETTERS
from .abc_source import Field, Remark, voice_name

INFORMATION = frozenset("ABDFGHNORSZC")  # who, where and whence; kept with the text, not with the notes
_KEPT = frozenset("XTCVKQr")
_QUIET = re.compile(r"(abc-charset|abc-version|abc-creator|linebreak|decoration\s+!)", re.I)


@dataclass(slots=True)
class Setting:
    """What is in force as the music begins; lengths in quarter notes, `octave` in octaves."""

    key: ReadKey = field(default_factory=lambda: signature(0))
    meter: Meter | None = None
    unit: Fraction = Fraction(1, 2)
    clef: ClefName = "treble"
    tempos: list[tuple[str, Value | None, Fraction | None]] = field(default_factory=list)
    symbols: dict[str, str] = field(default_factory=lambda: dict(LETTERS))
    propagate: str = "pitch"
    name: str = ""
    shift: int = 0
    clef_octave: int = 0

    @property
    def octave(self) -> int:
        return self.shift + self.clef_octave

    def take(self, staff: Staff) -> None:
        """Clef and octave from now on; what isn't told stays."""
        self.clef = staff.clef or self.clef
        self.shift = self.shift if staff.octave is None else staff.octave
        self.clef_octave = self.clef_octave if staff.clef_octave is None else staff.clef_octave
        self.name = staff.name or self.name

    def define(self, value: str) -> None:
        """A symbol of one's own (U:): `T = !trill!`. Raises FieldError."""
        found = re.fullmatch(r'([H-Wh-w~])\s*=\s*(?:!([^!]{1,30})!|\+([^+]{1,30})\+|"([^"]{1,100})")', value)
        if not found:
            raise FieldError(
                f"“U:{value[:30]}” defines no sign. Write U:T=!trill! with a letter from H to W or h to w."
            )
        letter, name, old, words = found.groups()
        self.symbols[letter] = name or old or f'"{words}'

    def instruct(self, value: str) -> str:
        """Take an instruction (I: or %%); returns what is to be said about it, "" for nothing."""
        if found := re.match(r"propagate-accidentals\s+(not|octave|pitch)\s*$", value):
            self.propagate = found[1]
            return ""
        if _QUIET.match(value):
            return ""
        return f"The instruction “{' '.join(value.split())[:40]}” isn’t followed."


def setting_of(header: Iterable[Field], voice: str) -> tuple[Setting, list[Remark]]:
    """The setting of one voice by the header of its tune, and remarks on the header."""
    setting, remarks = Setting(), []
    header = list(header)
    length: Fraction | None = None
    told = False

    def say(f: Field, what: str, wrong: bool = False) -> None:
        remarks.append(Remark(f.line, f.column, what, wrong))

    titles = composers = 0
    for f in header:
        try:
            if f.letter == "M":
                setting.meter, told = read_meter(f.value), True
                if setting.meter is None:
                    say(f, "There is no time signature: bars last as long as their notes, beats are counted in 4/4.")
            elif f.letter == "L":
                length = read_length(f.value)
            elif f.letter == "U":
                setting.define(f.value)
            elif f.letter == "I":
                what = setting.instruct(f.value)
                if what:
                    say(f, what)
            elif f.letter == "P":
                say(f, f"The order of the parts (P:{f.value[:30]}); parts are kept once, in the order written.")
            elif f.letter == "m":
                say(f, "Macros (m:) aren’t read: write the notes they stand for.", True)
            elif f.letter in "Ww":
                say(f, f"Words ({f.letter}:).")
            elif f.letter == "T":
                titles += 1
                if titles > 1:
                    say(f, f"A second title, “{f.value[:60]}”.")
            elif f.letter == "C":
                composers += 1
                if composers > 1:
                    say(f, f"A second composer, “{f.value[:60]}”.")
            elif f.letter in INFORMATION:
                say(f, f"The information in {f.letter}: stays in the text only.")
            elif f.letter not in _KEPT:
                say(f, f"The field {f.letter}: has no meaning here.", True)
        except FieldError as error:
            say(f, str(error), True)
    setting.unit = length or usual_length(setting.meter)
    for f in sorted(header, key=lambda f: f.letter == "V"):  # a voice may have another clef than the tune
        try:
            if f.letter == "K":
                key, staff = read_key(f.value)
                setting.key = key or setting.key
                if not setting.key.exact:
                    say(f, "No customary signature has these signs: they are written at the notes instead.")
                setting.take(staff)
                for what in staff.left_out:
                    say(f, what)
            elif f.letter == "V" and voice_name(f.value) == voice:
                staff = read_voice(f.value)
                setting.take(staff)
                for what in staff.left_out:
                    say(f, what)
            elif f.letter == "Q":
                setting.tempos.append(read_tempo(f.value, setting.unit))
        except FieldError as error:
            say(f, str(error), True)
    if not told:
        at = next((f for f in header if f.letter == "K"), None)
        what = "There is no time signature (M:): bars last as long as their notes, beats are counted in 4/4."
        remarks.append(Remark(at.line if at else 1, 1, what))
    return setting, remarks
