"""What people type in ABC when they mean something else, and what to say about it.

A tablet turns quotation marks into curly ones, a finger comes behind its note, a flat is
typed as in “Bb”, words stand without quotation marks. Where such a slip can't be read the
remark says how it is written; where it is read as something else, that is said too.
"""

from __future__ import annotations

import re
from collections.abc import Container
from dataclasses import dataclass

from repertoire.technique.marks import DYNAMICS

_OPENING, _CLOSING = "“„", "“”"
_BENT = {"’": "'", "‘": "'", "–": "-", "—": "-"}
_NOTES_AND_RESTS = frozenset("ABCDEFGabcdefgzxZXy")
_WORD = re.compile(r"[^\W\d_]{2,}\.?")
_JUMP = re.compile(r"D\.[CS]\.(?=[\s|\]]|$)")
_CLEF = re.compile(r"\[\s*(?:clef\s*=\s*)?(treble|alto|tenor|bass)\s*\]")
_BEHIND_A_NOTE = re.compile(r"[A-Ga-g\]][,']*\d*/*\d*$")
FLAT_BEHIND = "A flat typed behind its note is read as one more note: write it before, _B for B flat."
_HINTS = {
    **dict.fromkeys("VU", " Down-bow is v and up-bow u, small letters before the note: vG."),
    **dict.fromkeys("rR", " A rest is written z."),
    **dict.fromkeys("hH", " The note is written B or b."),
    **dict.fromkeys("#♯", " A sharp stands before its note: ^F."),
    "♭": " A flat stands before its note: _B.",
    "♮": " A natural stands before its note: =F.",
    **dict.fromkeys(",'", " It moves the note it stands behind by an octave, without a space between: C, or c'."),
    "/": " It stands directly behind the note it shortens: A/.",
    "o": " Harmonics are marked on the notation afterwards.",
    **dict.fromkeys("0123456789", " A length stands directly behind its note, E2; a finger before it, !2!E."),
}


@dataclass(frozen=True, slots=True)
class Slip:
    """What is wrong, and the place in the line after it."""

    what: str
    end: int


def straight(text: str) -> str:
    """A line with the quotation marks and dashes that tablets bend made straight, except within words
    that stand in quotation marks; columns stay."""
    out, closing = [], ""
    for sign in text:
        if closing:
            out.append('"' if sign in closing else sign)
            closing = "" if sign in closing else closing
        elif sign == '"' or sign in _OPENING:
            closing = '"' if sign == '"' else _CLOSING + '"'
            out.append('"')
        else:
            out.append(_BENT.get(sign, sign))
    return "".join(out)


def hint(sign: str) -> str:
    """What is probably meant by a sign without meaning: a sentence after a space, or ""."""
    return _HINTS.get(sign, "")


def word(text: str, at: int, symbols: Container[str]) -> Slip | None:
    """A word or a dynamic that begins here without its quotation or exclamation marks. `symbols` are the
    letters with a meaning beside notes and rests."""
    if at and text[at - 1].isalpha():
        return None
    found = _WORD.match(text, at)
    if not found:
        return None
    letters = found[0].rstrip(".")
    strange = [s for s in letters if s not in _NOTES_AND_RESTS and s not in symbols]
    if letters in DYNAMICS and strange:
        return Slip(f"“{letters}” is written between exclamation marks: !{letters}! before its note.", found.end())
    if len(strange) < 2 and len(letters) < 4:
        return None
    if set(strange) <= set("rRhHoVU") and (len(set(strange)) < 2 or not letters.islower()):
        return None
    return Slip(f"“{letters[:20]}” is no music. Words stand in quotation marks before their note: \"^{letters[:20]}\".",
                found.end())  # fmt: skip


def jump_without_signs(text: str, at: int) -> Slip | None:
    """D.C. or D.S. typed plainly, which would be read as notes."""
    found = _JUMP.match(text, at)
    return Slip(f"“{found[0]}” is written between exclamation marks: !{found[0]}!", found.end()) if found else None


def clef_change(text: str, at: int) -> Slip | None:
    """A clef in brackets without its field."""
    found = _CLEF.match(text, at)
    return Slip(f"A change of clef is written [K:clef={found[1]}].", found.end()) if found else None


def misplaced(text: str, at: int, end: int, name: str) -> str:
    """What to say of a sign directly behind a note with a space after it, which goes to the next note; or ""."""
    if not text[end : end + 1].isspace() or name[-1:] in "()" or not _BEHIND_A_NOTE.search(text[max(0, at - 12) : at]):
        return ""
    if text[at] == ".":
        return "The dot goes to the next note. Staccato stands before its note, .C; a dotted note has its length, C3."
    return f"The sign “{name[:20]}” goes to the next note: signs stand before theirs, !{name[:20]}!C."


def finger_in_words(words: str) -> str:
    """What to say of a finger typed as words, or ""."""
    digit = words.lstrip("^_<>@ ").strip()
    return f"“{digit}” is kept as words. A finger is written !{digit}!" if digit in tuple("01234") else ""


def flat_behind(text: str, at: int) -> bool:
    """Whether the note at this place may be meant as a flat, as in “Bb”."""
    return text[at : at + 1] in tuple("ABDEG") and text[at + 1 : at + 2] == "b" and not text[at + 2 : at + 3].isalpha()
