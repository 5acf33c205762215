"""The table of signs: complete, spoken, and telling what changed."""

import pytest

from repertoire.notation.look import AMERICAN_WORDS
from repertoire.notation.signs import SIGNS, Speaker, describe, describe_change, speak
from repertoire.technique.marks import Kind, Mark, changes
from tests.technique.lines import line

K = Kind


def test_every_kind_has_a_row() -> None:
    assert set(SIGNS) == set(Kind)
    assert all(sign.exported for sign in SIGNS.values())


def test_a_note_is_spoken_with_its_marks() -> None:
    music = line("4/4", "alto", "C4 h D4 h | r w | G4 q A4 q r h")
    marks = (
        Mark(K.BOW, "b3n2", "up"),
        Mark(K.FINGER, "b3n2", "1"),
        Mark(K.SLUR, "b3n1", "", "b3n2"),
        Mark(K.STRING, "b3n2", "II"),
    )
    assert speak(music, marks, "b3n2") == "bar 3, second note, A4, finger 1, string II, up-bow, slur ends"
    assert speak(music, marks, "b3n1") == "bar 3, first note, G4, slur begins"
    assert speak(music, marks, "b3n3") == "bar 3, first rest"


def test_a_chord_note_speaks_its_own_finger_and_the_chord_s_bow() -> None:
    music = line("4/4", "alto", "D4+A4 w")
    marks = (Mark(K.FINGER, "b1n1p1", "0"), Mark(K.FINGER, "b1n1p2", "4"), Mark(K.BOW, "b1n1", "down"))
    assert speak(music, marks, "b1n1p1") == "bar 1, first note, D4, open string, down-bow"
    assert speak(music, marks, "b1n1p2") == "bar 1, first note, A4, finger 4, down-bow"
    assert speak(music, marks, "b1n1") == "bar 1, first note, chord D4 A4, open string, finger 4, down-bow"


def test_ties_and_graces_are_spoken() -> None:
    music = line("4/4", "alto", "C4 w~ | B3 g C4 w")
    assert speak(music, (), "b2n1") == "bar 2, first grace note, B3"
    assert speak(music, (), "b2n2") == "bar 2, first note, C4, tied from before"


@pytest.mark.parametrize(
    ("mark", "words"),
    [
        (Mark(K.FINGER, "b1n2", "4"), "bar 1, beat 2: finger 4 on A4"),
        (Mark(K.FINGER, "b1n2", "2-1"), "bar 1, beat 2: finger 2 changing to 1 on A4"),
        (Mark(K.FINGER, "b1n2", "0"), "bar 1, beat 2: open string on A4"),
        (Mark(K.AMOUNT, "b1n1", "1/2"), "bar 1, beat 1: half the bow on G4"),
        (Mark(K.PART, "b1n1", "frog"), "bar 1, beat 1: at the heel on G4"),
        (Mark(K.SLUR, "b1n1", "", "b1n3"), "bar 1, beat 1 to bar 1, beat 3: slur"),
        (Mark(K.SLUR, "b1n3", "", "b4n1"), "bar 1, beat 3 to after the passage: slur"),
        (
            Mark(K.ORNAMENT, "b1n1", "trill", options=(("start", "upper"), ("close", "yes"), ("fingers", "2-3"))),
            "bar 1, beat 1: trill from the upper note with closing turn fingers 2 3 on G4",
        ),
        (Mark(K.DYNAMIC, "b1n1", "mf"), "bar 1, beat 1: mezzo forte on G4"),
        (Mark(K.SLIDE, "b1n1", "arrival", "b1n2"), "bar 1, beat 1 to bar 1, beat 2: slide on the arriving finger"),
    ],
)
def test_a_mark_is_described_by_bar_and_beat(mark: Mark, words: str) -> None:
    assert describe(mark, line("4/4", "alto", "G4 q A4 q B4 h")) == words


def test_changes_read_as_a_list() -> None:
    music = line("4/4", "alto", "G4 q A4 q B4 h")
    before = (Mark(K.FINGER, "b1n1", "3"), Mark(K.BOW, "b1n1", "down"))
    after = (Mark(K.FINGER, "b1n1", "2"), Mark(K.BOW, "b1n3", "up"))
    assert [describe_change(c, music) for c in changes(before, after)] == [
        "bar 1, beat 1: down-bow on G4, taken out",
        "bar 1, beat 1: finger 2 on G4, was finger 3",
        "bar 1, beat 3: up-bow on B4, added",
    ]


def test_the_parts_of_the_bow_are_spoken_in_the_studios_words():
    music = line("4/4", "alto", "G4 q A4 q B4 h")
    marks = (Mark(K.PART, "b1n1", "frog"), Mark(K.PART, "b1n2", "tip"))
    british, american = Speaker(music, marks), Speaker(music, marks, AMERICAN_WORDS)
    assert british.speak("b1n1") == "bar 1, first note, G4, at the heel"
    assert british.speak("b1n2") == "bar 1, second note, A4, at the point"
    assert american.speak("b1n1") == "measure 1, first note, G4, at the frog"
    assert american.speak("b1n2") == "measure 1, second note, A4, at the tip"
    assert describe(marks[1], music, AMERICAN_WORDS) == "measure 1, beat 2: at the tip on A4"
