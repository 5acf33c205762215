"""Shifts with their guide notes, slides, stretches, fingers kept down, tuning, warm-up."""

import pytest

from repertoire.technique.fingering import complete
from repertoire.technique.keys import Key, key_of
from repertoire.technique.line import parse_address
from repertoire.technique.marks import Kind, Mark
from repertoire.technique.pitch import Pitch
from repertoire.technique.practice_staves import StaveError
from repertoire.technique.shift_staves import all_shifts, keep_down, one_shift, slide_or_two_fingers, stretch, tuning
from repertoire.technique.warm_up import warm_up
from tests.technique.lines import line, marks
from tests.technique.practice_law import assert_whole

# [P/M: Spohr 1832; Flesch] Viola A string, B4 with 1 to E5 with 2: the starting finger's guide note
# is D5 (3rd position), the arriving finger's C♯5 or C5 by the frame.
SHIFT = line("4/4", "alto", "B4 h E5 h | D5 w", key=2)
FINGERS = (*marks("finger1 b1n1", "finger2 b1n2", "finger1 b2n1", "slur b1n1 b1n2"), Mark(Kind.STRING, "b1n1", "I"))


def notes(stave):
    return [[p.name for e in stave.line.in_bar(bar.index) for p in e.pitches] for bar in stave.line.bars]


def fingers(stave):
    found = sorted((parse_address(m.at), m.value) for m in stave.marks if m.kind is Kind.FINGER)
    return " ".join(value for _, value in found)


def test_one_shift_there_and_back_with_the_starting_finger():
    stave = one_shift(SHIFT, complete(SHIFT, FINGERS, "viola"), "b1n2")
    assert notes(stave) == [["B4", "D5", "E5"], ["E5", "C#5", "B4"]]
    assert fingers(stave) == "1 1 2 2 2 1"
    assert_whole(stave.line, stave.marks)
    assert [e.grace for e in stave.line.in_bar(1)] == ["", "plain", ""]
    assert Mark(Kind.SLUR, "b1n1", to="b1n3") in stave.marks
    assert stave.words == "The shift in bar 1 alone: finger 1 goes first to D5, then 2 is put down."


def test_one_shift_with_the_arriving_finger():
    stave = one_shift(SHIFT, complete(SHIFT, FINGERS, "viola"), "b1n2", way="arriving", both=False)
    assert notes(stave) == [["B4", "C#5", "E5"]]
    assert fingers(stave) == "1 2 2"


def test_a_note_without_a_shift_is_said():
    with pytest.raises(StaveError, match="no shift to that note"):
        one_shift(SHIFT, complete(SHIFT, FINGERS, "viola"), "b1n1")


def test_all_shifts_in_a_row_each_kind_once():
    again = line("4/4", "alto", "B4 h E5 h | B4 h E5 h", key=2)
    marked = (*marks("finger1 b1n1", "finger2 b1n2", "finger1 b2n1", "finger2 b2n2"), Mark(Kind.STRING, "b1n1", "I"),
              Mark(Kind.STRING, "b2n1", "I"))  # fmt: skip
    stave = all_shifts(again, complete(again, marked, "viola"))
    assert notes(stave) == [["B4", "D5", "E5"], ["E5", "C#5", "B4"]]


def test_half_step_with_one_finger_and_with_two():
    slide = line("2/4", "alto", "F#4 q G4 q")
    marked = (*marks("finger2 b1n1", "finger2 b1n2"), Mark(Kind.STRING, "b1n1", "II"), Mark(Kind.STRING, "b1n2", "II"))
    stave = slide_or_two_fingers(slide, complete(slide, marked, "viola"), "b1n1")
    assert notes(stave) == [["F#4", "G4"], ["F#4", "G4"]]
    assert fingers(stave) == "2 2 2 3"


def test_keep_the_third_finger_down():
    """[C] G4 (D, 3) B4 (A, 1) G4 (3): hold 3."""
    figure = line("3/4", "alto", "G4 q B4 q G4 q")
    marked = marks("finger3 b1n1", "finger1 b1n2", "finger3 b1n3")
    stave = keep_down(figure, complete(figure, marked, "viola"), "b1n1")
    assert notes(stave) == [["G4", "B4", "G4"]] * 2
    assert Mark(Kind.HOLD, "b1n1", to="b1n3") in stave.marks
    assert stave.words == "Bar 1: keep finger 3 down while the others play."


def test_a_stretch_is_never_to_be_forced():
    wide = line("2/4", "alto", "E4 q A#4 q", key=2)
    marked = (*marks("finger1 b1n1", "finger4 b1n2"), Mark(Kind.STRING, "b1n1", "II"), Mark(Kind.STRING, "b1n2", "II"),
              Mark(Kind.EXTENSION, "b1n2", "forward"))  # fmt: skip
    stave = stretch(wide, complete(wide, marked, "viola"), "b1n1", "b1n2")
    assert notes(stave) == [["E4", "A#4"], ["A#4", "E4"]]
    assert "never force it" in stave.remarks[0]


def test_ringing_notes_stand_with_their_open_string():
    """[A] G4 on the D string is an octave above open G: the pair rings."""
    scale = line("2/4", "alto", "G4 q F4 q")
    stave = tuning(scale, complete(scale, marks("finger3 b1n1", "finger2 b1n2"), "viola"))
    assert notes(stave) == [["G3", "G4"]]
    assert {(m.at, m.value) for m in stave.marks} == {("b1n1p1", "0"), ("b1n1p2", "3")}
    assert_whole(stave.line, stave.marks)


def test_bars_of_rests_have_no_warm_up():
    rests = line("4/4", "alto", "r w")
    with pytest.raises(StaveError, match="no note"):
        warm_up(rests, complete(rests, (), "viola"))


def test_warm_up_in_the_passages_key_and_position():
    stave = warm_up(SHIFT, complete(SHIFT, FINGERS, "viola"), position=3)
    assert notes(stave)[:2] == [["D4", "E4", "F#4", "G4"], ["A4", "B4", "C#5", "D5"]]
    assert notes(stave)[4] == ["D4", "F#4", "A4", "D5"]
    assert stave.words == "Warm-up: scale and arpeggio of D major in 3rd position."
    # G string D 2 E 3 F♯ 4, D string G 1 A 2 B 3 C♯ 4, A string D 1: a finger at each change of string, and
    # where an open string could be taken.
    assert {(m.at, m.value) for m in stave.marks if m.kind is Kind.FINGER} == {
        ("b1n1", "2"), ("b1n4", "1"), ("b2n1", "2"), ("b2n4", "1"), ("b3n2", "4"), ("b4n1", "1"), ("b4n2", "4"),
        ("b5n3", "2"), ("b5n4", "1"), ("b6n1", "2"), ("b6n2", "4"),
    }  # fmt: skip
    assert_whole(stave.line, stave.marks)


def test_minor_goes_up_melodic_and_comes_down_natural():
    assert [p.name for p in Key(0, "minor").scale(Pitch.parse("A3"))][-3:] == ["F#4", "G#4", "A4"]
    assert [p.name for p in Key(0, "minor").scale(Pitch.parse("A3"), melodic=False)][-3:] == ["F4", "G4", "A4"]


@pytest.mark.parametrize(
    ("text", "key", "name"),
    [
        ("D4 q A4 q F4 q D4 q", -1, "D minor"),
        ("C4 q A4 q G4 q F4 q", -1, "F major"),
        ("A4 q C#4 q D4 q E4 q", -1, "D minor"),
        ("G4 q B4 q D4 q A4 q", 1, "G major"),
    ],
)
def test_the_key_of_a_passage(text, key, name):
    """[C] The last note tells, else the raised seventh of the minor key."""
    assert key_of(line("4/4", "alto", text, key=key)).name == name
