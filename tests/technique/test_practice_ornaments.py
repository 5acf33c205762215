"""The ornament's stages: bare, with the turn, with the trill, each exactly as long."""

from fractions import Fraction

import pytest

from repertoire.technique.fingering import complete
from repertoire.technique.marks import Kind, Mark
from repertoire.technique.practice_staves import StaveError, bare, pizzicato, with_mordents, with_trills, with_turns
from tests.technique.lines import line, marks
from tests.technique.practice_law import assert_whole

# F major, viola: a turn on the G, a trill on the E with its closing turn.
LINE = line("4/4", "alto", "A4 h G4 q F4 q | F4 q E4 q C4 h", key=-1)
TURN = Mark(Kind.ORNAMENT, "b1n2", "turn")
TRILL = Mark(Kind.ORNAMENT, "b2n2", "trill", "", (("close", "yes"), ("start", "upper")))
MARKS = (*marks("slur b1n1 b1n3", "p b1n1", "finger3 b1n2"), TURN, TRILL)


def written(stave):
    return " | ".join(
        " ".join(f"{'+'.join(p.name for p in e.pitches) or 'r'} {e.duration}" for e in stave.line.in_bar(bar.index))
        for bar in stave.line.bars
    )


def test_bare_leaves_ornaments_and_grace_notes_out():
    graced = line("2/4", "alto", "A4 g G4 q F4 q", key=-1)
    stave = bare(graced, (Mark(Kind.ORNAMENT, "b1n2", "turn"), *marks("down b1n2", "slur b1n1 b1n2", "p b1n3")))
    assert written(stave) == "G4 1 F4 1"
    assert stave.marks == marks("down b1n1", "p b1n2")


def test_bare_needs_something_to_leave_out():
    with pytest.raises(StaveError, match="no ornament or grace note"):
        bare(LINE, marks("p b1n1"))


def test_with_the_turn_writes_it_out_and_leaves_the_trill_bare():
    stave = with_turns(LINE, MARKS)
    assert written(stave) == "A4 2 A4 1/4 G4 1/4 F4 1/4 G4 1/4 F4 1 | F4 1 E4 1 C4 2"
    assert_whole(stave.line, stave.marks)
    assert not [m for m in stave.marks if m.kind is Kind.ORNAMENT]
    assert Mark(Kind.SLUR, "b1n1", to="b1n6") in stave.marks  # moved along with its last note
    assert stave.words == "With the turn."


def test_the_ornaments_fingers_are_those_beside_the_main_notes():
    stave = with_turns(LINE, MARKS)
    assert [(m.at, m.value) for m in stave.marks if m.kind is Kind.FINGER] == [
        ("b1n2", "4"), ("b1n3", "3"), ("b1n4", "2"),
    ]  # fmt: skip


def test_with_the_trill_writes_everything_out():
    stave = with_trills(LINE, MARKS)
    assert written(stave) == (
        "A4 2 A4 1/4 G4 1/4 F4 1/4 G4 1/4 F4 1 | F4 1 F4 1/8 E4 1/8 F4 1/8 E4 1/8 F4 1/8 E4 1/8 D4 1/8 E4 1/8 C4 2"
    )
    assert_whole(stave.line, stave.marks)
    assert Mark(Kind.SLUR, "b2n2", to="b2n9") in stave.marks  # no slur covered it
    assert [e.beams[0] for e in stave.line.in_bar(2)[1:9]] == ["begin", *["continue"] * 6, "end"]


def test_a_trill_alone_is_practised_with_a_turn_first():
    stave = with_turns(LINE, (TRILL,))
    assert written(stave) == "A4 2 G4 1 F4 1 | F4 1 F4 1/4 E4 1/4 D4 1/4 E4 1/4 C4 2"


def test_the_marks_options_and_the_asked_ones():
    assert written(with_trills(LINE, (TRILL,), start="main", close=False)).endswith(
        "F4 1 E4 1/4 F4 1/8 E4 1/8 F4 1/8 E4 1/8 F4 1/8 E4 1/8 C4 2"
    )
    assert with_trills(LINE, (TRILL,), count=6).line.in_bar(2)[1].value.tuplet == (6, 4)


def test_fingers_written_with_the_trill_come_first():
    fingered = Mark(Kind.ORNAMENT, "b2n2", "trill", "", (("fingers", "2-3"),))
    stave = with_trills(LINE, (fingered,), complete(LINE, (fingered,), "viola"))
    assert [(m.at, m.value) for m in stave.marks if m.kind is Kind.FINGER] == [("b2n2", "3"), ("b2n3", "2")]


def test_a_tie_into_a_trill_is_taken_away_with_its_note():
    tied = line("4/4", "alto", "E4 h~ E4 q D4 q")
    stave = with_trills(tied, (Mark(Kind.ORNAMENT, "b1n2", "trill"),))
    assert not any(any(e.tied_to) or any(e.tied_from) for e in stave.line.events)
    assert_whole(stave.line, stave.marks)


def test_mordent_is_quick_and_the_note_stays():
    stave = with_mordents(LINE, (Mark(Kind.ORNAMENT, "b2n2", "mordent"),))
    assert written(stave).endswith("F4 1 E4 1/8 D4 1/8 E4 3/4 C4 2")


def test_chords_keep_their_ornament_unwritten_and_say_so():
    chord = line("2/4", "alto", "G3+E4 q G4 q")
    ornaments = (Mark(Kind.ORNAMENT, "b1n1", "turn"), Mark(Kind.ORNAMENT, "b1n2", "turn"))
    stave = with_turns(chord, ornaments)
    assert written(stave).startswith("G3+E4 1 A4 1/4")
    assert stave.remarks == ("bar 1, beat 1: An ornament is written out on a single note.",)


def test_pizzicato_keeps_the_fingers_and_drops_the_bow():
    stave = pizzicato(LINE, (*MARKS, *marks("down b1n1", "accent b2n3", "arco b2n1")))
    assert stave.marks == tuple(sorted((*marks("pizz b1n1", "p b1n1", "finger3 b1n2", "accent b2n3"),)))
    assert sum(e.duration for e in stave.line.events) == Fraction(8)
