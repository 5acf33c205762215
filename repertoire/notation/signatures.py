"""Clef, key and time signature: what is in force, and what each bar prints of it."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Any

from lxml import etree

from repertoire.technique.line import Clef, ClefName, Meter

from .drafts import ZERO, DraftMovement
from .opening import FileError
from .values import number_of

CLEFS: dict[tuple[str, str, str], ClefName] = {
    ("G", "2", "0"): "treble", ("G", "2", "-1"): "treble8vb", ("G", "2", "1"): "treble8va",
    ("C", "1", "0"): "soprano", ("C", "2", "0"): "mezzo", ("C", "3", "0"): "alto", ("C", "4", "0"): "tenor",
    ("F", "4", "0"): "bass",
}  # fmt: skip
DEFAULT_LINE = {"G": "2", "C": "3", "F": "4"}
_NEAREST: dict[str, ClefName] = {"G": "treble", "C": "alto", "F": "bass"}
_SILENT_ATTRIBUTES = frozenset({"divisions", "staves", "part-symbol", "instruments", "footnote", "level", "directive"})
_BEAT_TYPES = frozenset({"1", "2", "4", "8", "16", "32", "64", "128"})


class Signatures:
    """Clef, key and time of one staff as they run through its bars."""

    def __init__(self, staff: int) -> None:
        self.staff = staff
        self.divisions = Fraction(1)
        self.key, self.mode, self.meter = 0, "", Meter()
        self.clef: ClefName = "treble"
        self.next_shown = (False, False)

    def begin_movement(self) -> None:
        self.next_shown = (True, True)

    def begin_bar(self) -> None:
        self.clefs = [Clef(self.clef)]
        self.late: dict[str, Any] = {}
        self.key_shown, self.meter_shown = self.next_shown
        self.next_shown = (False, False)

    def end_bar(self, length: Fraction) -> dict[str, Any]:
        """The fields of the bar; a key or time printed at its end counts from the next."""
        fields = {
            "meter": self.meter,
            "key": self.key,
            "mode": self.mode,
            "clefs": tuple(sorted((c for c in self.clefs if c.onset < length), key=lambda c: c.onset)),
            "key_shown": self.key_shown,
            "meter_shown": self.meter_shown,
        }
        if "key" in self.late:
            (self.key, self.mode), printed = self.late["key"]
            self.next_shown = (printed, self.next_shown[1])
        if "meter" in self.late:
            self.meter, printed = self.late["meter"]
            self.next_shown = (self.next_shown[0], printed)
        return fields

    def move(self, places: dict[Fraction, Fraction]) -> None:
        """Put clefs that stand at the given places elsewhere in the bar."""
        self.clefs = [Clef(c.name, places.get(c.onset, c.onset)) for c in self.clefs]

    def read(self, element: etree._Element, at: Fraction, begun: bool, movement: DraftMovement) -> None:
        """Read an attributes element at a place in the bar; `begun` when notes stand before it.

        Raises ValueError when the divisions can't be read.
        """
        self.movement, self.at, self.begun = movement, at, begun
        for e in element:
            tag = e.tag
            if tag == "divisions":
                number = number_of(e.text)
                if not number or not 0 < number <= 10_000_000:
                    raise ValueError("the number of divisions of a quarter note can’t be read.")
                self.divisions = number
            elif tag in ("clef", "key", "time", "transpose", "staff-details", "measure-style"):
                if e.get("number", "1") == str(self.staff) or (e.get("number") is None and tag != "clef"):
                    getattr(self, f"_{tag.replace('-', '_')}")(e)
            elif isinstance(tag, str) and tag not in _SILENT_ATTRIBUTES:
                self.movement.leave_out(f"An unknown element <{tag[:40]}>.")

    def _clef(self, element: etree._Element) -> None:
        sign = (element.findtext("sign") or "").strip()
        line = (element.findtext("line") or DEFAULT_LINE.get(sign, "")).strip()
        octave = (element.findtext("clef-octave-change") or "0").strip() or "0"
        name = CLEFS.get((sign, line, octave))
        if name is None:
            if sign == "TAB":
                raise FileError("This part is written in tablature, which has no notes to read. Choose another part.")
            if sign == "percussion":
                name = "percussion"
            elif sign in _NEAREST:
                name = _NEAREST[sign]
                self.movement.leave_out(
                    f"A {sign} clef on line {line[:5]} (octave {octave[:5]}); the {name} clef stands instead."
                )
            else:
                name = "treble"
                if sign != "none":
                    self.movement.leave_out(f"A clef of an unknown kind ({sign[:20] or 'without a sign'}).")
        self.clef = name
        if self.at == 0:
            self.clefs[0] = Clef(name)
        else:
            self.clefs = [c for c in self.clefs if c.onset != self.at] + [Clef(name, self.at)]

    def _key(self, element: etree._Element) -> None:
        fifths = number_of(element.findtext("fifths"))
        if fifths is None or fifths.denominator != 1 or abs(fifths) > 7:
            if fifths is None or abs(fifths) > 7:
                self.movement.leave_out("A key signature of an unusual kind.")
            fifths = ZERO
        mode = (element.findtext("mode") or "").strip()[:20]
        self._change("key", (int(fifths), "" if mode == "none" else mode), element)

    def _time(self, element: etree._Element) -> None:
        if element.find("senza-misura") is not None:
            self.movement.leave_out("Music without a time signature: bars last as long as their notes.")
            return
        beats = [(e.text or "").replace(" ", "") for e in element.iterfind("beats")]
        types = [(e.text or "").strip() for e in element.iterfind("beat-type")]
        sums = all(re.fullmatch(r"\d{1,3}(\+\d{1,3})*", b) for b in beats)
        if not beats or len(beats) != len(types) or not sums or any(t not in _BEAT_TYPES for t in types):
            self.movement.leave_out("A time signature that can’t be read; the one before stays in force.")
            return
        if element.find("interchangeable") is not None:
            self.movement.leave_out("The second of two interchangeable time signatures.")
        unit = max(int(t) for t in types)
        terms = [str(int(n) * unit // int(t)) for b, t in zip(beats, types, strict=True) for n in b.split("+")]
        if len(set(types)) > 1:
            self.movement.leave_out(f"A time signature of several parts; it stands as {'+'.join(terms)}/{unit}.")
        symbol = element.get("symbol", "")
        meter = Meter("+".join(terms), unit, symbol if symbol in ("common", "cut") else "")
        if meter.length == 0:
            self.movement.leave_out("A time signature of 0; the one before stays in force.")
            return
        self._change("meter", meter, element)

    def _change(self, what: str, value: Any, element: etree._Element) -> None:
        """A key or time counts from this bar's start, or from the next when it stands later."""
        printed = element.get("print-object") != "no"
        if self.at > 0 and self.begun:
            self.late[what] = (value, printed)
            return
        if what == "key":
            self.key, self.mode = value
            self.key_shown = printed
        else:
            self.meter, self.meter_shown = value, printed

    def _transpose(self, element: etree._Element) -> None:
        steps = (element.findtext("chromatic") or "0").strip()[:6]
        octaves = (element.findtext("octave-change") or "0").strip()[:6]
        if steps not in ("0", "") or octaves not in ("0", ""):
            self.movement.leave_out(
                f"The part is for a transposing instrument (sounds {steps} half steps and {octaves} octaves from "
                "where it is written); notes are kept as written."
            )

    def _staff_details(self, element: etree._Element) -> None:
        if element.find("staff-tuning") is not None:
            self.movement.leave_out("A tuning of the strings (scordatura).")
        lines = (element.findtext("staff-lines") or "5").strip()
        if lines != "5":
            self.movement.leave_out(f"A staff of {lines[:5]} lines.")

    def _measure_style(self, element: etree._Element) -> None:
        for e in element:
            if e.tag in ("measure-repeat", "beat-repeat", "slash") and e.get("type") != "stop":
                self.movement.leave_out(f"The sign “{e.tag.replace('-', ' ')}”: notes stand as the file gives them.")
