"""The left-hand line under the notes."""

import re

from lxml import etree

from repertoire.notation.left_hand_strip import left_hand_strip
from repertoire.notation.picture import System
from repertoire.technique.fingering import complete
from repertoire.technique.marks import Kind, Mark
from tests.technique.lines import line

PASSAGE = line("4/4", "alto", "B4 q D5 q A4 q G4+B4 q")
MARKS = (Mark(Kind.FINGER, "b1n1", "1"), Mark(Kind.FINGER, "b1n2", "1"), Mark(Kind.STRING, "b1n2", "I"))
PLACES = {"b1n1": (20.0, 5.0), "b1n2": (40.0, 4.0), "b1n3": (60.0, 6.0), "b1n4": (80.0, 6.0)}
SYSTEM = System("", 100.0, 20.0, PLACES)


def strip(**wishes):
    return left_hand_strip(complete(PASSAGE, MARKS), SYSTEM, **wishes)


def texts(drawing):
    root = etree.fromstring(f"<g>{drawing}</g>")
    return [(t.text, float(t.get("x")), t.get("font-weight")) for t in root.iter("text")]


def test_fingers_stand_under_their_notes_and_marked_ones_are_bold():
    found = texts(strip().drawing)
    assert ("1", 20.0, "bold") in found
    assert ("1", 40.0, "bold") in found
    assert [t for t in found if t[1] == 60.0 and t[2] is None]


def test_strings_positions_and_the_shift_are_there():
    made = strip()
    words = {t for t, *_ in texts(made.drawing)}
    assert {"I", "1st", "3rd"} <= words
    assert made.drawing.count('class="shift"') >= 1
    assert "shift at bar 1, beat 2: B4 with 1 to D5 with 1: up 2 positions" in made.words


def test_only_marked_fingers_when_nothing_implied_is_wanted():
    made = strip(implied=False)
    assert [t for t, *_ in texts(made.drawing)] == ["1", "1"]
    assert made.height_mm < strip().height_mm


def test_guide_notes_come_on_request():
    assert "(D5 1 / B4 1)" in {t for t, *_ in texts(strip(guides=True).drawing)}
    assert not any("(" in (t or "") for t, *_ in texts(strip().drawing))


def test_a_system_without_these_notes_has_no_strip():
    made = left_hand_strip(complete(PASSAGE, MARKS), System("", 100.0, 20.0, {}))
    assert (made.drawing, made.height_mm) == ("", 0.0)


def test_everything_drawn_lies_inside_the_strip():
    made = strip(guides=True)
    places = [float(y) for y in re.findall(r' y1?="(-?[\d.]+)"', made.drawing)]
    assert min(places) >= 0
    assert max(places) <= made.height_mm
