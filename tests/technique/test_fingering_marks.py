"""The marks a player would write, and reading them again."""

from hypothesis import given, settings
from hypothesis import strategies as st

from repertoire.technique.fingering import complete
from repertoire.technique.fingering_alternatives import alternatives
from repertoire.technique.fingering_costs import Limits
from repertoire.technique.fingering_marks import changed_by_hand, marks_to_write, write
from repertoire.technique.marks import Aspect, Kind, Mark
from tests.technique.lines import line

SONG = line(
    "4/4", "treble",
    "D4 q. E4 e F#4 q A4 q | D5 h C#5 q B4 q | A4 q. B4 e A4 q F#4 q | G4 h E4 h | "
    "F#4 q. G4 e A4 q B4 q | C#5 q D5 q E5 q F#5 q | G5 h E5 q C#5 q | D5 w",
    key=2, instrument="violin",
)  # fmt: skip


SCALE = [f"{letter}{octave}".replace("F", "F#") for octave in (4, 5) for letter in "CDEFGAB"]


def test_first_position_needs_no_marks():
    passage = line("4/4", "alto", "C4 q D4 q E4 q F4 q")
    plain = complete(passage, (), preset="low and clear")
    assert {p.position for p in plain.placements} == {1}
    assert marks_to_write(plain) == ()


def test_a_change_of_position_is_marked_where_it_happens():
    passage = line("4/4", "alto", "B4 q C5 q E5 q D5 q")
    marks = tuple(Mark(Kind.FINGER, f"b1n{n}", f) for n, f in ((1, "1"), (2, "2"), (3, "2"), (4, "1")))
    fingering = complete(passage, (*marks, Mark(Kind.STRING, "b1n3", "I")))
    assert marks_to_write(fingering, "fewer") == (Mark(Kind.FINGER, "b1n3", "2"),)


def test_more_marks_are_never_fewer():
    for alternative in alternatives(SONG, (), "violin"):
        few, usual, more, every = (
            len([m for m in marks_to_write(alternative.fingering, h) if m.kind is Kind.FINGER])
            for h in ("fewer", "usual", "more", "all")
        )
        assert few <= usual <= more <= every == len(alternative.fingering.placements)


def test_what_is_written_reads_as_it_was_meant():
    for alternative in alternatives(SONG, (), "violin"):
        marks = write(SONG, (), alternative.fingering)
        again = complete(SONG, marks, "violin", preset=alternative.name)
        meant = [(p.string, p.finger) for p in alternative.fingering.placements]
        assert [(p.string, p.finger) for p in again.placements] == meant


@settings(max_examples=20, deadline=None)
@given(st.lists(st.sampled_from(SCALE), min_size=8, max_size=8))
def test_any_passage_reads_as_it_was_meant(names):
    passage = line("4/4", "treble", " ".join(f"{n} e" for n in names), key=1, instrument="violin")
    fingering = complete(passage, (), "violin", preset="on one string")
    again = complete(passage, write(passage, (), fingering), "violin", preset="on one string")
    assert [(p.string, p.finger) for p in again.placements] == [(p.string, p.finger) for p in fingering.placements]


def test_bowing_and_words_stay_and_left_hand_marks_that_disagree_give_way():
    own = (
        Mark(Kind.BOW, "b1n1", "down"),
        Mark(Kind.TEXT, "b2n1", "sing"),
        Mark(Kind.FINGER, "b2n1", "1"),
    )
    low = complete(SONG, (), "violin", preset="low and clear")
    written = write(SONG, own, low)
    assert {m for m in written if m.aspect is not Aspect.LEFT_HAND} == set(own[:2])
    assert own[2] not in written


def test_changes_by_hand_are_found():
    suggested = complete(SONG, (), "violin", preset="low and clear")
    assert changed_by_hand(suggested, (Mark(Kind.FINGER, "b2n1", "1"), Mark(Kind.FINGER, "b1n2", "1"))) == ("b2n1",)


def test_what_is_written_for_a_player_with_limits_reads_the_same_for_any_hand():
    passage = line("4/4", "treble", "D5 e F5 e A5 e C6 e B5 e G5 e E5 e D5 e | A5 h F5 h", instrument="violin")
    able = Limits(highest=1, open_strings="wanted", avoid_fourth=True)
    for how_many in ("fewer", "usual", "more"):
        low = complete(passage, (), "violin", preset="low and clear", limits=able)
        marks = write(passage, (), low, how_many, reading="balanced")
        for limits in (able, Limits()):
            again = complete(passage, marks, "violin", limits=limits)
            assert [(p.string, p.finger) for p in again.placements] == [(p.string, p.finger) for p in low.placements]


def test_a_reach_that_was_marked_gives_way_to_a_fingering_without_it():
    reach = (Mark(Kind.FINGER, "b1n4", "4"), Mark(Kind.EXTENSION, "b1n4", "forward"))
    low = complete(SONG, (), "violin", preset="low and clear")
    assert not [m for m in write(SONG, reach, low) if m.kind is Kind.EXTENSION]
