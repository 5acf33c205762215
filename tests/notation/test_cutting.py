"""A cut keeps addresses, beats, clef, key and time; marks at its edges stay."""

from fractions import Fraction as F

import pytest

from repertoire.notation.cutting import cut, entering, leaving, marks_in
from repertoire.notation.musicxml import read_part
from repertoire.technique.line import Clef, LineError, TempoMark, Value
from repertoire.technique.marks import Kind, Mark

from .small_files import FOUR, bars, direction, note, score

CHANGE = "<attributes><key><fifths>-3</fifths></key><clef><sign>G</sign><line>2</line></clef></attributes>"
TREBLE = "<attributes><clef><sign>G</sign><line>2</line></clef></attributes>"
ALTO = "<attributes><clef><sign>C</sign><line>3</line></clef></attributes>"


@pytest.fixture(scope="module")
def line():
    """An upbeat, then bars 1 to 4; treble clef and three flats from bar 2, alto again within bar 3."""
    four = note("C4") + note("D4") + note("E4") + note("F4")
    data = score(
        bars(
            FOUR + note("G4"),
            four,
            CHANGE + note("C5", 8, "half") + note("D5", 8, "half"),
            note("E5", 8, "half") + ALTO + note("C4", 4) + direction("<words>rit.</words>") + note("D4", 4),
            "<note><rest measure='yes'/><duration>16</duration></note>",
            numbers=("0", "1", "2", "3", "4"),
        )
    )
    return read_part(data, "f", 1).movements[0].line


def addresses(cut_line):
    return [e.address for e in cut_line.events]


def test_whole_bars_keep_addresses_places_clef_and_key(line):
    found = cut(line, 3, None, 4, None)
    assert addresses(found) == ["b3n1", "b3n2", "b4n1", "b4n2", "b4n3"]
    assert [b.number for b in found.bars] == ["2", "3"]
    first = found.bars[0]
    assert (first.clefs, first.key, first.key_shown, first.meter_shown) == ((Clef("treble"),), -3, True, True)
    assert found.time(found.events[0]) == line.time(line.event("b3n1")) == 5


def test_a_bar_cut_at_its_start_counts_its_beats_as_before(line):
    found = cut(line, 2, F(3), 3, None)
    assert addresses(found) == ["b2n3", "b2n4", "b3n1", "b3n2"]
    assert (found.bars[0].length, found.bars[0].missing) == (2, 2)
    assert found.events[0].onset == 0
    assert found.where("b2n4") == line.where("b2n4") == "bar 1, beat 4"
    assert found.time(found.event("b2n3")) == line.time(line.event("b2n3"))


def test_a_start_inside_a_bar_takes_the_clef_in_force_there(line):
    found = cut(line, 4, F(3), 4, None)
    assert found.bars[0].clefs == (Clef("alto"),)
    assert addresses(found) == ["b4n2", "b4n3"]
    assert found.bars[0].tempos == (TempoMark(F(1), "rit."),)
    whole = cut(line, 4, None, 4, None)
    assert whole.bars[0].clefs == (Clef("treble"), Clef("alto", F(2)))


def test_the_last_beat_is_included(line):
    assert addresses(cut(line, 2, None, 2, F(2))) == ["b2n1", "b2n2"]
    assert cut(line, 2, None, 2, F(2)).bars[0].length == 2


def test_a_note_that_begins_inside_keeps_its_length(line):
    found = cut(line, 3, None, 3, F(3))
    assert addresses(found) == ["b3n1", "b3n2"]
    assert found.bars[0].length == 4


def test_a_note_held_from_before_is_left_out(line):
    found = cut(line, 3, F(2), 4, None)
    assert addresses(found)[0] == "b3n2"
    assert found.bars[0].missing == 2


def test_a_rest_is_shortened_to_the_edge(line):
    rest = cut(line, 4, None, 5, F(2)).events[-1]
    assert (rest.duration, rest.value, rest.whole_bar) == (2, Value("half"), False)
    rest = cut(line, 5, F(4), 5, None).events[0]
    assert (rest.onset, rest.duration, rest.value) == (0, 1, Value("quarter"))


def test_an_upbeat_can_be_cut_into(line):
    found = cut(line, 1, F(4), 2, F(1))
    assert addresses(found) == ["b1n1", "b2n1"]
    with pytest.raises(LineError, match="Bar 0 has no beat 1: it counts from 4 to just before 5"):
        cut(line, 1, F(1), 2, None)


@pytest.mark.parametrize(
    ("bounds", "message"),
    [
        ((3, None, 2, None), "ends before it begins"),
        ((2, F(4), 2, F(2)), "ends before it begins"),
        ((9, None, 9, None), "no bar with index 9 in this movement. It has 5 bars"),
        ((2, F(5), 3, None), "Bar 1 has no beat 5: it counts from 1 to just before 5"),
    ],
)
def test_bounds_that_do_not_fit_are_refused(line, bounds, message):
    with pytest.raises(LineError, match=message):
        cut(line, *bounds)


def test_a_cut_of_everything_is_everything(line):
    found = cut(line, 1, None, 5, None)
    assert found.events == line.events
    assert found.bars[1:] == line.bars[1:]


def test_a_cut_of_a_cut_is_the_cut(line):
    once = cut(line, 2, F(2), 4, F(3))
    assert cut(once, 2, F(2), 4, F(3)) == once


def test_marks_inside_stay_and_spans_at_the_edges_keep_both_ends(line):
    passage = cut(line, 3, None, 3, None)
    inside = Mark(Kind.BOW, "b3n1", "down")
    enters = Mark(Kind.SLUR, "b2n4", "", "b3n1")
    leaves = Mark(Kind.SLUR, "b3n2", "", "b4n1")
    over = Mark(Kind.HAIRPIN, "b2n1", "crescendo", "b4n3")
    before = Mark(Kind.SLUR, "b2n1", "", "b2n2")
    after = Mark(Kind.FINGER, "b4n1", "1")
    found = marks_in([inside, enters, leaves, over, before, after], passage)
    assert set(found) == {inside, enters, leaves, over}
    assert set(entering(found, passage)) == {enters, over}
    assert set(leaving(found, passage)) == {leaves, over}
    assert marks_in(found, passage) == found
