"""Other rhythms, moved accents, building up, and shapes for what is repeated."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from repertoire.technique.building import from_the_end, note_by_note, stop_before_shifts
from repertoire.technique.fingering import complete
from repertoire.technique.marks import Kind, Mark
from repertoire.technique.practice_offers import offers
from repertoire.technique.practice_staves import StaveError
from repertoire.technique.repeated import levels, repeated, shaped
from repertoire.technique.rhythms import PATTERNS, accents_moved, in_rhythm, runs, suits
from tests.technique.lines import line, marks
from tests.technique.practice_law import assert_whole

EIGHTHS = line("4/4", "alto", "D4 e E4 e F4 e G4 e A4 e G4 e F4 e E4 e")


def lengths(stave, bar=1):
    return [str(e.duration) for e in stave.line.in_bar(bar)]


@pytest.mark.parametrize(
    ("pattern", "expected"),
    [
        ("dotted", "3/4 1/4 3/4 1/4 3/4 1/4 3/4 1/4"),
        ("reversed", "1/4 3/4 1/4 3/4 1/4 3/4 1/4 3/4"),
        ("long short", "2/3 1/3 2/3 1/3 2/3 1/3 2/3 1/3"),
        ("fours, first long", "1 1/3 1/3 1/3 1 1/3 1/3 1/3"),
        ("fours, last long", "1/3 1/3 1/3 1 1/3 1/3 1/3 1"),
    ],
)
def test_rhythms_of_eighths(pattern, expected):
    stave = in_rhythm(EIGHTHS, marks("slur b1n1 b1n4"), pattern)
    assert " ".join(lengths(stave)) == expected
    assert_whole(stave.line, stave.marks)
    assert stave.marks == marks("slur b1n1 b1n4")


def test_groups_of_three_in_compound_time():
    stave = in_rhythm(line("6/8", "alto", "D4 e E4 e F4 e G4 e A4 e B4 e"), (), "threes, first long")
    assert lengths(stave) == ["1", "1/4", "1/4", "1", "1/4", "1/4"]


def test_a_remainder_stays_as_it_is_and_pairs_begin_on_the_beat():
    """[C] The run begins off the beat: its first note is left over, and so is its last."""
    stave = in_rhythm(line("4/4", "alto", "C4 q. D4 e E4 e F4 e G4 e A4 e"), (), "dotted")
    assert lengths(stave) == ["3/2", "1/2", "3/4", "1/4", "3/4", "1/4"]


def test_no_run_no_rhythm():
    short = line("4/4", "alto", "D4 q E4 e F4 e G4 h")
    assert not runs(short)
    with pytest.raises(StaveError, match="no run"):
        in_rhythm(short, (), "dotted")


def test_threes_do_not_suit_a_bar_they_do_not_fill():
    assert not suits(line("4/4", "alto", "D4 q E4 q F4 q G4 q"), "threes, first long")
    assert suits(line("6/8", "alto", "D4 e E4 e F4 e G4 e A4 e B4 e"), "threes, first long")


@given(st.sampled_from(sorted(PATTERNS)), st.sampled_from(["e", "s", "q"]), st.integers(4, 16))
def test_law_bars_add_up_in_every_rhythm(pattern, value, count):
    per = {"q": 4, "e": 2, "s": 1}[value]
    used = per * count
    bar = used + -used % 16
    made = line(
        f"{bar // 4}/4",
        "alto",
        " ".join([f"D4 {value} E4 {value}"] * (count // 2) + ["r s"] * (bar - per * 2 * (count // 2))),
    )
    if suits(made, pattern):
        stave = in_rhythm(made, (), pattern)
        assert_whole(stave.line, stave.marks)
        assert sum(e.duration for e in stave.line.events) == Fraction(bar, 4)


def test_accents_move_and_old_ones_go():
    stave = accents_moved(EIGHTHS, marks("accent b1n1", "staccato b1n2"), 2)
    assert set(stave.marks) == set(marks("accent b1n2", "accent b1n6", "staccato b1n2"))
    assert stave.words == "The accent on the second note of each group of 4."


def test_note_by_note_counts_on_in_rests():
    stave = note_by_note(line("2/4", "alto", "D4 e E4 e F4 e G4 e"), marks("slur b1n1 b1n4", "down b1n1"))
    assert [[("r" if e.is_rest else e.pitches[0].name) for e in stave.line.in_bar(n)] for n in (1, 2, 3)] == [
        ["D4", "E4", "r"], ["D4", "E4", "F4", "r"], ["D4", "E4", "F4", "G4"],
    ]  # fmt: skip
    assert lengths(stave, 1) == ["1/2", "1/2", "1"]
    assert_whole(stave.line, stave.marks)
    assert Mark(Kind.SLUR, "b2n1", to="b2n3") in stave.marks


def test_from_the_end_backwards_by_the_beat():
    stave = from_the_end(line("3/4", "alto", "D4 q E4 e F4 e G4 q"), ())
    assert [[("r" if e.is_rest else e.pitches[0].name) for e in stave.line.in_bar(n)] for n in (1, 2, 3)] == [
        ["r", "r", "G4"], ["r", "E4", "F4", "G4"], ["D4", "E4", "F4", "G4"],
    ]  # fmt: skip
    assert_whole(stave.line, stave.marks)


def test_stop_before_the_shift_parts_the_slur():
    shift = line("4/4", "alto", "A4 q B4 q E5 q D5 q", key=2)
    marked = (*marks("finger1 b1n2", "finger2 b1n3", "slur b1n1 b1n4"), Mark(Kind.STRING, "b1n2", "I"))
    stave = stop_before_shifts(shift, marked, complete(shift, marked, "viola"))
    assert set(marks("slur b1n1 b1n2", "slur b1n3 b1n4", "fermata b1n2")) <= set(stave.marks)
    assert not set(marks("slur b1n1 b1n4")) & set(stave.marks)


def test_five_equal_notes_rise_and_fall():
    """[C] p mp mf mp p."""
    assert levels(5, "rise and fall") == ("p", "mp", "mf", "mp", "p")
    stave = shaped(line("5/4", "alto", "D4 q D4 q D4 q D4 q D4 q"), ())
    assert stave.marks == marks("p b1n1", "mp b1n2", "mf b1n3", "mp b1n4", "p b1n5")


def test_growth_and_echo():
    assert levels(4, "growth") == ("p", "mp", "mf", "f")
    figures = line("4/4", "alto", "D4 e E4 e F4 e E4 e E4 e F4 e G4 e F4 e | C4 w")
    (found,) = repeated(figures)
    assert [[e.address for e in cell] for cell in found.cells] == [
        ["b1n1", "b1n2", "b1n3", "b1n4"], ["b1n5", "b1n6", "b1n7", "b1n8"],
    ]  # fmt: skip
    assert shaped(figures, (), "echo").marks == marks("f b1n1", "p b1n5")


def test_written_dynamics_win():
    with pytest.raises(StaveError, match="written dynamics"):
        shaped(line("3/4", "alto", "D4 q D4 q D4 q"), marks("f b1n2"))


def test_a_sequence_grows_with_its_direction():
    rising = line("2/2", "alto", "F3 e A3 e A3 e C4 e G3 e B3 e B3 e D4 e | C4 w")
    (found,) = repeated(rising)
    assert found.words(rising) == "bar 1: a figure of 4 notes twice, the second higher"
    assert shaped(rising, (), "growth").marks == marks("mp b1n1", "mf b1n5")
    falling = line("2/2", "alto", "G3 e B3 e B3 e D4 e F3 e A3 e A3 e C4 e | C4 w")
    assert shaped(falling, (), "growth").marks == marks("mf b1n1", "mp b1n5")
    offered = [o for o in offers(rising, (), complete(rising, (), "viola")) if o.kind == "shape"]
    assert [dict(o.given) for o in offered] == [{"shape": "growth"}]
