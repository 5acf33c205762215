"""Writing marks on picked notes: what goes where, what gives way, what is refused."""

import pytest

from repertoire.technique.marks import Kind, Mark, MarkError
from repertoire.technique.writing import Selection, rub_out, write
from tests.technique.lines import line, marks

LINE = line("4/4", "alto", "G3 q A3 q B3 q C4 q | C3+G3+E4 h r q D4 q~ | D4 q E4 q F4 h")


def picked(first, last=""):
    return Selection.of(LINE, first, last)


def test_a_mark_on_one_note():
    assert write(LINE, (), picked("b1n2"), Kind.FINGER, "1") == (Mark(Kind.FINGER, "b1n2", "1"),)


def test_the_same_mark_again_is_rubbed_out():
    once = write(LINE, (), picked("b1n2"), Kind.BOW, "up")
    assert write(LINE, once, picked("b1n2"), Kind.BOW, "up") == ()


def test_another_value_takes_the_place():
    once = write(LINE, (), picked("b1n2"), Kind.BOW, "up")
    assert write(LINE, once, picked("b1n2"), Kind.BOW, "down") == (Mark(Kind.BOW, "b1n2", "down"),)


def test_a_range_is_put_in_reading_order():
    assert picked("b1n4", "b1n1") == Selection("b1n1", "b1n4")


def test_a_slur_runs_from_first_to_last():
    assert write(LINE, (), picked("b1n1", "b1n3"), Kind.SLUR) == (Mark(Kind.SLUR, "b1n1", "", "b1n3"),)


def test_shorter_slurs_under_a_longer_one_give_way_and_others_stay():
    before = marks("slur b1n1 b1n2", "slur b1n3 b1n4", "slur b3n1 b3n2")
    after = write(LINE, before, picked("b1n1", "b1n3"), Kind.SLUR)
    assert after == marks("slur b1n1 b1n3", "slur b3n1 b3n2")


def test_slurs_that_are_neighbours_stay():
    before = marks("slur b1n1 b1n2")
    assert write(LINE, before, picked("b1n3", "b1n4"), Kind.SLUR) == marks("slur b1n1 b1n2", "slur b1n3 b1n4")


def test_hairpins_may_meet_on_a_note():
    before = marks("crescendo b1n1 b1n3")
    after = write(LINE, before, picked("b1n3", "b3n1"), Kind.HAIRPIN, "diminuendo")
    assert after == marks("crescendo b1n1 b1n3", "diminuendo b1n3 b3n1")


@pytest.mark.parametrize(
    ("kind", "value"),
    [
        (Kind.SLUR, ""), (Kind.SLUR, "dashed"), (Kind.HOOK, "hooked"), (Kind.HOOK, "portato"), (Kind.SLIDE, "start"),
        (Kind.SLIDE, "arrival"), (Kind.HOLD, ""), (Kind.HAIRPIN, "crescendo"), (Kind.HAIRPIN, "diminuendo"),
    ],
)  # fmt: skip
def test_on_one_note_it_goes_to_the_next_and_away_again(kind, value):
    once = write(LINE, (), picked("b1n2"), kind, value)
    assert once == (Mark(kind, "b1n2", value, "b1n3"),)
    assert write(LINE, once, picked("b1n2"), kind, value) == ()


def test_on_one_note_a_longer_one_that_begins_there_goes_away():
    before = marks("slur b1n1 b1n4", "crescendo b1n1 b1n3")
    assert write(LINE, before, picked("b1n1"), Kind.SLUR) == marks("crescendo b1n1 b1n3")


def test_the_next_note_is_one_played_anew_in_the_same_voice():
    assert write(LINE, (), picked("b2n3"), Kind.SLIDE, "start") == (Mark(Kind.SLIDE, "b2n3", "start", "b3n2"),)
    two = line("4/4", "alto", "C4 q D4 q E4 q F4 q & C3 h D3 h")
    low = [e.address for e in two.notes if e.voice == 2]
    assert write(two, (), Selection.of(two, low[0]), Kind.SLUR) == (Mark(Kind.SLUR, low[0], "", low[1]),)
    chords = line("4/4", "alto", "C3+G3 h D3+A3 h")
    picked_one = Selection.of(chords, "b1n1p2")
    assert write(chords, (), picked_one, Kind.SLIDE, "start") == (Mark(Kind.SLIDE, "b1n1p2", "start", "b1n2p2"),)
    graced = line("4/4", "alto", "C4 h D4 g E4 h")
    assert write(graced, (), Selection.of(graced, "b1n1"), Kind.SLUR) == (Mark(Kind.SLUR, "b1n1", "", "b1n3"),)
    assert write(graced, (), Selection.of(graced, "b1n2"), Kind.SLUR) == (Mark(Kind.SLUR, "b1n2", "", "b1n3"),)


@pytest.mark.parametrize(
    ("at", "words"), [("b2n1", "a rest follows"), ("b3n3", "none follows"), ("b2n2", "can’t start on a rest")]
)
def test_where_no_note_follows_it_says_so(at, words):
    with pytest.raises(MarkError, match=words):
        write(LINE, (), picked(at), Kind.SLUR)


@pytest.mark.parametrize(("kind", "value"), [(Kind.PHRASE, ""), (Kind.OCTAVE, "8va")])
def test_a_phrase_needs_two_notes(kind, value):
    with pytest.raises(MarkError, match="first and a last note"):
        write(LINE, (), picked("b1n1"), kind, value)


def test_a_slur_cannot_end_on_a_rest():
    with pytest.raises(MarkError, match="rest \\(bar 2, beat 3\\)"):
        write(LINE, (), picked("b1n3", "b2n2"), Kind.SLUR)


def test_a_note_must_be_picked():
    with pytest.raises(MarkError, match="Pick a note"):
        picked("b9n1")


def test_each_note_of_a_range_but_no_rest_and_no_tied_note():
    after = write(LINE, (), picked("b2n1", "b3n2"), Kind.BOW, "up")
    assert after == marks("up b2n1", "up b2n3", "up b3n2")


def test_a_dynamic_stands_on_the_first_note():
    assert write(LINE, (), picked("b1n2", "b1n4"), Kind.DYNAMIC, "p") == marks("p b1n2")


def test_a_string_over_a_range_and_on_one_note():
    assert write(LINE, (), picked("b1n1", "b1n3"), Kind.STRING, "III") == (Mark(Kind.STRING, "b1n1", "III", "b1n3"),)
    assert write(LINE, (), picked("b1n1"), Kind.STRING, "III") == (Mark(Kind.STRING, "b1n1", "III"),)


def test_a_finger_goes_to_the_note_of_the_chord_a_bow_to_the_chord():
    assert write(LINE, (), picked("b2n1p3"), Kind.FINGER, "1") == (Mark(Kind.FINGER, "b2n1p3", "1"),)
    assert write(LINE, (), picked("b2n1p3"), Kind.BOW, "down") == (Mark(Kind.BOW, "b2n1", "down"),)


def test_one_ornament_a_note():
    once = write(LINE, (), picked("b1n2"), Kind.ORNAMENT, "trill", (("start", "upper"),))
    assert write(LINE, once, picked("b1n2"), Kind.ORNAMENT, "turn") == (Mark(Kind.ORNAMENT, "b1n2", "turn"),)


def test_rubbing_out_takes_what_stands_starts_or_ends_there():
    before = (*marks("slur b1n1 b1n3", "up b1n3", "p b1n4"), Mark(Kind.FINGER, "b1n3", "2"))
    assert rub_out(LINE, before, picked("b1n3")) == marks("p b1n4")


def test_rubbing_out_on_a_chord_note_takes_its_own_first_then_the_chords():
    before = (Mark(Kind.BOW, "b2n1", "down"), Mark(Kind.FINGER, "b2n1p2", "1"), Mark(Kind.FINGER, "b2n1p3", "2"))
    once = rub_out(LINE, before, picked("b2n1p2"))
    assert once == (Mark(Kind.BOW, "b2n1", "down"), Mark(Kind.FINGER, "b2n1p3", "2"))
    assert rub_out(LINE, once, picked("b2n1p2")) == (Mark(Kind.FINGER, "b2n1p3", "2"),)
