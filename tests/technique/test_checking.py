"""Marks that can't be are named with bar, beat and reason; marks that can be are left alone."""

import pytest

from repertoire.technique.checking import addable, check
from repertoire.technique.line import Line
from repertoire.technique.marks import Kind, Mark, MarkError
from tests.technique.lines import line

K = Kind
FOUR = "C4 q D4 q r q G4 q | A4 q A4 q~ A4 h"


@pytest.fixture
def four() -> Line:
    return line("4/4", "alto", FOUR)


def messages(music: Line, *marks: Mark, instrument: str = "viola") -> list[str]:
    return [p.message for p in check(music, marks, instrument)]


def test_possible_marks_raise_no_problem(four: Line) -> None:
    marks = (
        Mark(K.BOW, "b1n1", "down"),
        Mark(K.FINGER, "b1n1", "3"),
        Mark(K.STRING, "b1n1", "III"),
        Mark(K.SLUR, "b1n1", "", "b1n2"),
        Mark(K.FINGER, "b1n2", "0"),
        Mark(K.STRING, "b2n1", "II"),
        Mark(K.FINGER, "b2n1", "4"),
        Mark(K.DYNAMIC, "b1n3", "p"),
        Mark(K.RETAKE, "b1n4"),
        Mark(K.HOLD, "b2n1", "", "b2n2"),
        Mark(K.SLIDE, "b1n4", "arrival", "b2n1"),
        Mark(K.HARMONIC, "b2n1", "natural"),
    )
    assert messages(four, *marks[:-1]) == []
    # C4 lies a fourth above the open G string, a node of its fourth partial [A]
    assert messages(four, Mark(K.HARMONIC, "b1n1", "natural"), Mark(K.STRING, "b1n1", "III")) == []
    # A4 lies a fifth above the open D string: touched there, its third partial sounds [A]
    assert messages(four, Mark(K.HARMONIC, "b2n1", "natural"), Mark(K.STRING, "b2n1", "II")) == []


@pytest.mark.parametrize(
    ("marks", "message"),
    [
        ([Mark(K.FINGER, "b9n1", "1")], "The finger mark stands on a note outside this passage."),
        ([Mark(K.FINGER, "b1n3", "1")], "Bar 1, beat 3: a finger mark can’t stand on a rest."),
        ([Mark(K.SLUR, "b1n1", "", "b1n3")], "Bar 1, beat 3: a slur mark can’t start or end on a rest."),
        ([Mark(K.SLIDE, "b1n3", "start", "b1n4")], "Bar 1, beat 3: a slide mark can’t start or end on a rest."),
        ([Mark(K.SLUR, "b2n1", "", "b1n1")], "Bar 2, beat 1: the slur ends before it starts."),
        ([Mark(K.SLUR, "b2n1", "", "b2n1")], "Bar 2, beat 1: a slur needs two notes."),
        (
            [Mark(K.BOW, "b1n1", "down"), Mark(K.BOW, "b1n1", "up")],
            "Bar 1, beat 1: down-bow and up-bow on one note.",
        ),
        (
            [Mark(K.BOW, "b1n1", "down"), Mark(K.PIZZICATO, "b1n1", "pizz")],
            "Bar 1, beat 1: a plucked note has no bow direction.",
        ),
        (
            [Mark(K.RETAKE, "b2n3")],
            "Bar 2, beat 3: no retake here, the note is tied over and isn’t played anew.",
        ),
        (
            [Mark(K.BOW, "b2n3", "up")],
            "Bar 2, beat 3: no bow direction here, the note is tied over and isn’t played anew.",
        ),
        ([Mark(K.STRING, "b1n1", "I")], "Bar 1, beat 1: C4 lies below the open A string (I)."),
        (
            [Mark(K.STRING, "b1n1", "III", "b2n1"), Mark(K.STRING, "b1n2", "II")],
            "Bar 1, beat 2: III and II on one note.",
        ),
        ([Mark(K.STRING, "b1n1", "II", "b1n4")], "Bar 1, beat 1: C4 lies below the open D string (II)."),
        (
            [Mark(K.FINGER, "b1n1", "0")],
            "Bar 1, beat 1: C4 is no open string; the open strings are A4, D4, G3, C3.",
        ),
        (
            [Mark(K.FINGER, "b1n2", "0"), Mark(K.STRING, "b1n2", "III")],
            "Bar 1, beat 2: D4 is no open string; the open G string (III) is G3.",
        ),
        (
            [Mark(K.FINGER, "b1n2", "2"), Mark(K.STRING, "b1n2", "II")],
            "Bar 1, beat 2: D4 can’t be stopped with a finger on the D string (II).",
        ),
        (
            [Mark(K.HARMONIC, "b2n1", "natural"), Mark(K.STRING, "b2n1", "I")],
            "Bar 2, beat 1: A4 is no natural harmonic on the A string (I).",
        ),
        ([Mark(K.SLIDE, "b2n1", "start", "b2n2")], "Bar 2, beat 1: a slide needs two different notes."),
        (
            [
                Mark(K.SLIDE, "b1n2", "start", "b1n4"),
                Mark(K.STRING, "b1n2", "III"),
                Mark(K.STRING, "b1n4", "II"),
            ],
            "Bar 1, beat 2: a slide stays on one string, not III and II.",
        ),
        (
            [Mark(K.HOLD, "b1n4", "", "b2n1")],
            "Bar 1, beat 4: a finger kept down ends on its own note; G4 is not A4.",
        ),
        (
            [Mark(K.SLUR, "b1n1", "", "b1n4"), Mark(K.SLUR, "b1n2", "", "b2n1")],
            "Bar 1, beat 2: two slurs cross; end the first before the second starts.",
        ),
        ([Mark(K.ARTICULATION, "b1n1", "arpeggio")], "Bar 1, beat 1: only a chord can be spread."),
        (
            [Mark(K.AMOUNT, "b1n1", "3/4"), Mark(K.PART, "b1n1", "upper half")],
            "Bar 1, beat 1: more than half the bow doesn’t fit in the upper half.",
        ),
        (
            [Mark(K.VIBRATO, "b1n2", "vibrato"), Mark(K.FINGER, "b1n2", "0")],
            "Bar 1, beat 2: an open string can’t be vibrated.",
        ),
    ],
)
def test_impossible_marks(four: Line, marks: list[Mark], message: str) -> None:
    assert messages(four, *marks) == [message]


def test_finger_behind_the_nut() -> None:
    music = line("4/4", "alto", "D3 w")
    assert messages(music, Mark(K.FINGER, "b1n1", "1")) == []
    assert messages(music, Mark(K.FINGER, "b1n1", "3")) == [
        "Bar 1, beat 1: finger 3 on D3 would lie behind the nut.",
    ]
    lowest = line("4/4", "alto", "C3 w")
    assert messages(lowest, Mark(K.FINGER, "b1n1", "1")) == ["Bar 1, beat 1: C3 can’t be stopped with a finger."]


def test_a_low_first_finger_may_reach_back() -> None:
    # C sharp 3 lies a half step above the open C string: half position, or first position reached back [C]
    assert messages(line("4/4", "alto", "C#3 w"), Mark(K.FINGER, "b1n1", "1")) == []


def test_the_fifth_string_of_another_instrument_is_not_judged() -> None:
    music = line("4/4", "treble", "C3 w", instrument="")
    assert messages(music, Mark(K.STRING, "b1n1", "I"), Mark(K.FINGER, "b1n1", "3"), instrument="") == []


def test_the_violin_has_an_e_string() -> None:
    music = line("4/4", "treble", "E5 q C4 q F4 h", instrument="violin")
    assert messages(music, Mark(K.FINGER, "b1n1", "0"), instrument="violin") == []
    assert messages(music, Mark(K.FINGER, "b1n1", "0"), instrument="viola") == [
        "Bar 1, beat 1: E5 is no open string; the open strings are A4, D4, G3, C3.",
    ]
    assert messages(music, Mark(K.STRING, "b1n2", "III"), instrument="violin") == [
        "Bar 1, beat 2: C4 lies below the open D string (III).",
    ]


def test_each_note_of_a_chord_has_its_own_string() -> None:
    music = line("4/4", "alto", "D4+A4 h D4+B4+G5 h")
    assert messages(music, Mark(K.STRING, "b1n1p1", "II"), Mark(K.STRING, "b1n1p2", "I")) == []
    assert messages(music, Mark(K.STRING, "b1n1p1", "II"), Mark(K.STRING, "b1n1p2", "II")) == [
        "Bar 1, beat 1: two notes of one chord on the D string (II).",
    ]
    assert messages(music, *(Mark(K.STRING, f"b1n2p{n}", "II") for n in (1, 2, 3))) == [
        "Bar 1, beat 3: three notes of one chord on the D string (II).",
    ]
    # D4 has III and II to go to, A4 likewise and I: written on II, A4 leaves III for D4
    assert messages(music, Mark(K.STRING, "b1n1p2", "II")) == []
    # B4 written on I leaves nothing for G5 but II, and III for D4
    assert messages(music, Mark(K.STRING, "b1n2p2", "I")) == []


def test_a_kept_finger_is_not_needed_elsewhere() -> None:
    # keep 3 on G4 while 1 plays B4 on the A string [C]
    music = line("4/4", "alto", "G4 q B4 q G4 h")
    hold = Mark(K.HOLD, "b1n1", "", "b1n3")
    assert messages(music, hold, Mark(K.FINGER, "b1n1", "3"), Mark(K.FINGER, "b1n2", "1")) == []
    assert messages(music, hold, Mark(K.FINGER, "b1n1", "3"), Mark(K.FINGER, "b1n2", "3")) == [
        "Bar 1, beat 2: finger 3 is kept down on G4 and can’t play B4.",
    ]


def test_spans_may_enter_and_leave_the_passage(four: Line) -> None:
    assert messages(four, Mark(K.SLUR, "b1n4", "", "b3n1")) == []
    assert messages(four, Mark(K.SLUR, "b7n1", "", "b8n1")) == [
        "The slur mark stands on a note outside this passage.",
    ]


def test_a_dynamic_within_a_note_stays_within_it(four: Line) -> None:
    assert messages(four, Mark(K.DYNAMIC, "b2n3", "f", options=(("after", "1"),))) == []
    assert messages(four, Mark(K.DYNAMIC, "b2n3", "f", options=(("after", "2"),))) == [
        "Bar 2, beat 3: the dynamic mark would stand after the note’s end.",
    ]


def test_addable_gives_the_marks_or_the_reason(four: Line) -> None:
    standing = (Mark(K.STRING, "b1n1", "I"),)  # already wrong: not this mark's doing
    added = addable(four, standing, Mark(K.FINGER, "b2n1", "0"))
    assert set(added) == {Mark(K.STRING, "b1n1", "I"), Mark(K.FINGER, "b2n1", "0")}
    with pytest.raises(MarkError, match="Bar 1, beat 3: a finger mark can’t stand on a rest"):
        addable(four, standing, Mark(K.FINGER, "b1n3", "2"))


def test_a_new_bow_direction_takes_the_place_of_the_old(four: Line) -> None:
    assert addable(four, (Mark(K.BOW, "b1n1", "down"),), Mark(K.BOW, "b1n1", "up")) == (Mark(K.BOW, "b1n1", "up"),)
