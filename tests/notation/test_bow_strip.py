"""The bow distribution drawn under a system, and its words."""

import re

from repertoire.notation.bow_strip import ROOM_MM, bow_strip
from repertoire.notation.engraving import Look, engrave_together
from repertoire.notation.picture import StaffPlace, System
from repertoire.technique.bow_place import place_as_marked
from repertoire.technique.bowing import read_strokes
from repertoire.technique.marks import Kind, Mark
from tests.technique.lines import line, marks

PASSAGE = line("4/4", "alto", "C4 h D4 h | E4 h r h | F4 h.:3 G4 q")
NOTES = {"b1n1": (20.0, 5.0), "b1n2": (40.0, 5.0), "b2n1": (60.0, 5.0), "b2n2": (75.0, 5.0)}
SYSTEM = System("", 100.0, 20.0, NOTES, (StaffPlace(2.0, 10.0, 5.0, 98.0),))


def drawn(*texts: str, system: System = SYSTEM):
    bowing = read_strokes(PASSAGE, marks(*texts))
    return bow_strip(bowing, place_as_marked(bowing), system)


def ways(drawing: str) -> list[tuple[float, float, bool]]:
    """Start and end x of every note's line (they are 0.5 mm wide), and whether it is dashed."""
    drawing = drawing.partition('<g class="legend">')[0]
    found = re.findall(r'd="M([\d.]+) [\d.]+L([\d.]+) [\d.]+" style="([^"]*stroke-width:0\.5;[^"]*)"', drawing)
    return [(float(a), float(b), "dasharray" in style) for a, b, style in found]


def test_lines_run_from_head_to_head_solid_down_dashed_up():
    found = drawn()
    assert ways(found.drawing) == [(20, 40, False), (40, 60, True), (60, 75, False)]
    assert found.height_mm > 13
    assert ">tip<" in found.drawing
    assert found.drawing.index(">tip<") < found.drawing.index(">frog<")
    assert found.words == (
        "Bow, as marked. bar 1, beat 1: down-bow, frog to tip; bar 1, beat 3: up-bow, tip to frog; "
        "bar 2, beat 1: down-bow, frog to tip."
    )


def test_what_the_lines_mean_stands_once_under_the_first_system():
    legend = drawn().drawing.partition('<g class="legend">')[2]
    assert re.findall(">([a-z-]+)</text>", legend) == ["down-bow", "up-bow"]
    assert [dashed for *_, dashed in ways(legend)] == [False, True]
    later = System("", 100.0, 20.0, {"b2n1": (60.0, 5.0), "b2n2": (75.0, 5.0)})
    assert "legend" not in drawn(system=later).drawing
    assert drawn(system=later).height_mm < drawn().height_mm
    # Of several staves the last strip carries it.
    staves = (StaffPlace(2.0, 10.0, 5.0, 98.0), StaffPlace(22.0, 30.0, 5.0, 98.0))
    both = System("", 100.0, 40.0, NOTES, staves, notes_by_staff=(NOTES, NOTES))
    bowing = read_strokes(PASSAGE, ())
    told = ["legend" in bow_strip(bowing, place_as_marked(bowing), both, staff=n).drawing for n in (0, 1)]
    assert told == [False, True]


def test_a_retake_leaves_a_gap_with_a_sign():
    found = drawn("retake b1n2")
    assert ways(found.drawing)[1] == (41.1, 60, False)
    assert "retake, down-bow, frog to tip" in found.words
    assert len(re.findall('Z"', found.drawing)) == 1  # one arrowhead


def test_the_line_stops_where_the_bow_runs_out():
    found = drawn("1/2 b1n1", "1/4 b1n2", "1 b2n1")
    assert ways(found.drawing)[2] == (60, 71.25, False)  # three quarters of the bow for a whole one
    assert ">runs out<" in found.drawing
    assert found.words.endswith("bar 2, beat 1: down-bow, lower half to tip, the bow runs out.")


def test_terms_tremolo_and_an_empty_system():
    bowing = read_strokes(PASSAGE, ())
    last = System("", 100.0, 20.0, {"b3n1": (20.0, 5.0), "b3n2": (60.0, 5.0)})
    found = bow_strip(bowing, place_as_marked(bowing), last, terms={"frog": "heel", "tip": "point"})
    assert "<polyline" in found.drawing
    assert ">heel<" in found.drawing
    assert "tremolo" in found.words
    empty = bow_strip(bowing, place_as_marked(bowing), System("", 100.0, 20.0, {}))
    assert (empty.drawing, empty.height_mm, empty.words) == ("", 0.0, "")


def test_each_strip_has_room_under_its_own_staff_however_densely_it_is_marked():
    bars = line("4/4", "alto", "C3 q E5 q C3 q E5 q | C3 w")
    words = ("sul tasto, always singing", "without hurrying at all", "listen to the violins", "warm and long", "wait")
    given = (
        *marks("down b1n1", "finger1 b1n2", "tip b1n2", "1/2 b1n2", "finger4 b1n4", "frog b1n4", "p b1n1"),
        *(Mark(Kind.ORNAMENT, at, "trill") for at in ("b1n2", "b1n4")),
        *(Mark(Kind.TEXT, "b1n2", text) for text in words),
    )
    staves = [(letter, bars, given) for letter in "ABC"]
    (system,) = engrave_together(staves, Look(width_mm=180.0), room_mm=ROOM_MM).systems
    assert len(system.rooms) == 2
    for (start, end), above, below in zip(system.rooms, system.staves, system.staves[1:], strict=False):
        assert above.bottom <= start
        assert end <= below.top
        assert end - start >= 21.1
