"""Where a new movement begins: the bar numbers start again, or a heading says so.

Scores that are numbered straight on from one movement to the next are told apart by what is
printed over the first part. Repeats, trios, variations and jumps back don't begin a movement:
they bring no heading with the next numeral, and a final barline that ends nothing more than a
section is recognised by its repeat, its Fine, or the missing new tempo and time.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from lxml import etree

from repertoire.technique.line import Line

from . import wording
from .opening import WrittenBar

_NUMERAL = re.compile(r"\s*([IVX]{1,4})\s*(?:$|[.:]|\s)")
_NUMERALS = ("I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX", "X", "XI", "XII")
_SECTION = re.compile(
    r"\b(trio|coda|var(\.|iation)|maggiore|minore|fine|d\.\s?c|da capo|d\.\s?s|tempo (i|primo))", re.I
)
_LEADING = frozenset(("fine", "dacapo", "dalsegno", "tocoda"))
_ENDS = ("light-heavy", "light-light", "heavy-heavy", "heavy")


class Restarts:
    """Tells the bars of one part that begin a movement.

    `headed` holds the places of bars that the first part's headings mark as beginnings; the
    first part (`first`) fills it, the others follow it. Numbers start again at 0 or 1 after a
    higher number; bars the file doesn't count (X1) and repeated numbers begin nothing new.
    """

    def __init__(self, headed: set[int], first: bool) -> None:
        self.headed, self.first = headed, first
        self.last: int | None = None
        self.count = 0
        self.before = ("", False)  # barline at the end of the bar before, and whether something leads back from there

    def begins(self, written: WrittenBar) -> bool:
        begins = self._starts_again(written)
        if self.first and not begins and self.before[0] and self._headed(written.element):
            self.headed.add(written.place)
        begins = begins or written.place in self.headed
        self.count += begins
        if self.first:
            self.before = _end(written.element)
        return begins

    def _starts_again(self, written: WrittenBar) -> bool:
        first = self.last is None
        if not written.number.isascii() or not written.number.isdigit():
            if first:
                self.last = 0
            return first
        number = int(written.number)
        again = self.last is not None and number <= 1 and self.last >= 2
        if first or again or not written.implicit:
            self.last = number
        return first or again

    def _headed(self, bar: etree._Element) -> bool:
        """A tempo with a new key or time after a closing barline: under the next numeral, or after a final one."""
        if bar.find("attributes/time") is None and bar.find("attributes/key") is None:
            return False
        words = _words(bar)
        tempo = any(wording.is_tempo(w) for w in words) or bar.find("direction/direction-type/metronome") is not None
        if not tempo:
            return False
        found = [m.group(1) for m in map(_NUMERAL.match, words) if m]
        following = _NUMERALS[self.count] if self.count < len(_NUMERALS) else ""
        if following in found:
            return True
        return self.before == ("light-heavy", False) and not found and not any(_SECTION.search(w) for w in words)


def parted_jumps(lines: Sequence[Line]) -> list[Line]:
    """The movements of a part without jumps from one into the next. A Fine is often stored as a jump to a coda,
    for the ear, and that coda as the next movement's first bar: the one is a Fine, the other nothing."""
    out = list(lines)
    for place in range(len(out) - 1):
        here, then = out[place].bars, out[place + 1].bars
        jumps = {bar.jump for bar in here}
        if "tocoda" in jumps and "coda" not in jumps and then[0].jump == "coda":
            fine = tuple(replace(bar, jump="fine") if bar.jump == "tocoda" else bar for bar in here)
            out[place] = replace(out[place], bars=fine)
            out[place + 1] = replace(out[place + 1], bars=(replace(then[0], jump=""), *then[1:]))
    return out


def _words(bar: etree._Element) -> list[str]:
    """What is written over a bar before its first note."""
    out = []
    for element in bar:
        if element.tag == "note":
            break
        if element.tag == "direction":
            out += [" ".join((w.text or "").split()) for w in element.iterfind("direction-type/words")]
    return out


def _end(bar: etree._Element) -> tuple[str, bool]:
    """The double or final barline that closes a bar, "" for another one, and whether it leads elsewhere."""
    style, leads = "", False
    for line in bar.iterfind("barline"):
        if line.get("location", "right") == "right":
            style = (line.findtext("bar-style") or "").strip()
            leads = line.find("repeat") is not None or line.find("ending") is not None
    for direction in bar.iterfind("direction"):
        sound = direction.find("sound")
        leads = leads or (sound is not None and bool(_LEADING & set(sound.attrib)))
        leads = leads or any(wording.jump(w.text or "")[0] for w in direction.iterfind("direction-type/words"))
    return (style if style in _ENDS else ""), leads
