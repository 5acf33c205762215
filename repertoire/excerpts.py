"""The notes and pictures of passages and movements, kept in memory, for pages and sheets.

A mark must become a new picture without reading the part again. So three things are kept
in this process, each in a store of limited size: the note list of the few movements last
opened, the cut line and printed marks of each passage (their bounds and notes never
change, so nothing needs to be thrown away), and finished pictures by what went into them.
The engraver keeps the notes of a line as MEI by the line's digest besides.

Widths on screen: the engraver draws in exact millimetres, 96 pixels of CSS to 25.4 mm, so
a stave of 8 mm is 30 px high. A picture for a page is engraved at one of four widths
(SCREENS), by the width of the window, and CSS lets it fill its column (324 px inside the
page at 390, 754 at 820, 1086 in the widest), so that the stave stays between 26 and 40 px
and no bar is cut off. Which width is told by the cookie `screen` (written by
static/js/excerpt.js, which also changes the pictures when the window's width changes), or
guessed from the browser's own word for "mobile" before there is a cookie.
"""

from __future__ import annotations

import hashlib
import threading
from collections import OrderedDict
from collections.abc import Hashable
from fractions import Fraction
from typing import Any, Generic, TypeVar

from django.http import HttpRequest

from repertoire.models import Movement, Passage
from repertoire.notation.cutting import cut, marks_in
from repertoire.notation.engraving import engrave
from repertoire.notation.excerpt import line_digest
from repertoire.notation.look import AMERICAN_WORDS, BRITISH_WORDS, Look
from repertoire.notation.picture import Picture
from repertoire.notation.storing import line_from_json
from repertoire.pictures import draw_picture
from repertoire.technique.line import Line
from repertoire.technique.marks import Marks, digest, load
from repertoire.technique.transposing import in_clef_preferred

# Widths engraved in mm, for windows below 500, 720 and 1000 px, and above.
SCREENS = {"phone": 86.0, "small": 130.0, "tablet": 190.0, "desktop": 270.0}
STAFF_MM = 8.0
THUMB_MM = 110.0

Key = TypeVar("Key", bound=Hashable)
Kept = TypeVar("Kept")


class Store(Generic[Key, Kept]):
    """What was made last, up to a number of entries; safe between threads."""

    def __init__(self, size: int) -> None:
        self.size = size
        self._kept: OrderedDict[Key, Kept] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, key: Key) -> Kept | None:
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
            return self._kept.get(key)

    def put(self, key: Key, made: Kept) -> Kept:
        with self._lock:
            self._kept[key] = made
            self._kept.move_to_end(key)
            while len(self._kept) > self.size:
                self._kept.popitem(last=False)
        return made

    def clear(self) -> None:
        with self._lock:
            self._kept.clear()


_movements: Store[Any, tuple[Line, Marks]] = Store(6)
_passages: Store[Any, tuple[Line, Marks]] = Store(400)
_pictures: Store[str, Picture] = Store(200)
_scans: Store[str, Picture] = Store(24)  # each carries its pixels, some hundred kB


class NoNotation(Exception):
    """The piece was entered without notes, so there is nothing to draw."""


def movement_notes(movement: Movement) -> tuple[Line, Marks]:
    """Note list and printed marks of a whole movement. Raises NoNotation."""
    if not movement.notated:
        raise NoNotation(f"“{movement}” has no notation.")
    # The creation time of the revision tells two databases' movements apart.
    key = (movement.pk, movement.revision.sha256, movement.revision.created)
    return _movements.get(key) or _movements.put(key, (line_from_json(movement.line), load(movement.printed)))


def _passage_notes(passage: Passage) -> tuple[Line, Marks]:
    if passage.has_picture:
        raise NoNotation(f"A picture is the excerpt of “{passage}”.")
    key = (passage.pk, passage.movement_id, passage.created)
    found = _passages.get(key)
    if found:
        return found
    line, printed = movement_notes(passage.movement)
    piece = cut(
        line,
        passage.start_bar,
        Fraction(passage.start_beat) if passage.start_beat else None,
        passage.end_bar,
        Fraction(passage.end_beat) if passage.end_beat else None,
    )
    return _passages.put(key, (piece, marks_in(printed, piece)))


def passage_line(passage: Passage) -> Line:
    """The notes of a passage, addresses as in the movement. Raises NoNotation."""
    return _passage_notes(passage)[0]


def printed_marks(passage: Passage) -> Marks:
    """The marks the edition prints in a passage; none on a picture, which shows them itself.
    Raises NoNotation."""
    if passage.has_picture:
        return ()
    return _passage_notes(passage)[1]


def picture(passage: Passage, marks: Marks, look: Look) -> Picture:
    """A passage drawn with marks; the same picture asked for again is not drawn again. Raises NoNotation."""
    if passage.picture is None:
        return drawn(passage_line(passage), marks, look)
    key = excerpt_digest(passage, marks, look)
    return _scans.get(key) or _scans.put(key, draw_picture(passage.picture, marks, look))


def excerpt_digest(passage: Passage, marks: Marks, look: Look) -> str:
    """SHA-256 (hex) of everything the picture of a passage is made from. Raises NoNotation."""
    if passage.picture is None:
        return picture_digest(passage_line(passage), marks, look)
    return hashlib.sha256(f"{passage.picture.sha256} {digest(marks)} {look!r}".encode()).hexdigest()


def drawn(line: Line, marks: Marks, look: Look) -> Picture:
    """A line drawn with marks, from memory when it was asked for lately, in the clef preferred."""
    line = in_clef_preferred(line, look.clef)
    key = picture_digest(line, marks, look)
    return _pictures.get(key) or _pictures.put(key, engrave(line, marks, look))


def picture_digest(line: Line, marks: Marks, look: Look) -> str:
    """SHA-256 (hex) of everything a picture is made from."""
    return hashlib.sha256(f"{line_digest(line)} {digest(marks)} {look!r}".encode()).hexdigest()


def forget() -> None:
    """Empty the memory; tests and a restored backup need it."""
    for store in (_movements, _passages, _pictures, _scans):
        store.clear()


def screen_of(request: HttpRequest) -> str:
    """Which of SCREENS suits the window: the cookie's word, or a guess."""
    told = request.COOKIES.get("screen", "")
    if told in SCREENS:
        return told
    return "phone" if "Mobi" in request.headers.get("User-Agent", "") else "desktop"


def screen_look(request: HttpRequest, **more: Any) -> Look:
    """How to draw for this window; `more` are fields of Look (printed, prefix, string_signs…)."""
    return Look(**{**studio_look(request), "width_mm": SCREENS[screen_of(request)], **more})


def thumb_look(request: HttpRequest, **more: Any) -> Look:
    """A small picture for lists: the first bars, without hit areas."""
    return Look(**{**studio_look(request), "width_mm": THUMB_MM, "screen": False, **more})


def studio_look(request: HttpRequest) -> dict[str, Any]:
    """The fields of Look that the studio's settings decide."""
    studio = getattr(request.user, "studio", None)
    words = AMERICAN_WORDS if studio and studio.terms == "american" else BRITISH_WORDS
    return {"staff_mm": STAFF_MM, "string_signs": studio.string_signs if studio else "roman", "words": words}
