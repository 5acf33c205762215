"""What can't be played as marked: named with its reason, and mended with the nearest possible."""

from hypothesis import given, settings
from hypothesis import strategies as st

from repertoire.technique.fingering import complete
from repertoire.technique.holding import findings
from repertoire.technique.impossible import mend
from repertoire.technique.marks import Kind, Mark
from tests.technique.lines import line


def mended(passage, marks, instrument="violin"):
    """The first finding's words, the marks with its nearest possible, and what is still amiss."""
    (found, *_) = findings(complete(passage, marks, instrument), marks)
    after = mend(passage, marks, found)
    return found.message, after, findings(complete(passage, after, instrument), after)


def test_a_finger_behind_the_nut_becomes_the_nearest_finger():
    passage = line("4/4", "alto", "C3 q D3 q E3 q F3 q")
    said, after, left = mended(passage, (Mark(Kind.FINGER, "b1n2", "4"),), "viola")
    assert said == (
        "Bar 1, beat 2: Finger 4 can’t take D3: it would lie behind the nut. "
        "Nearest possible: finger 1 on IV, 1st position."
    )
    assert after == (Mark(Kind.FINGER, "b1n2", "1"), Mark(Kind.STRING, "b1n2", "IV"))
    assert left == ()


def test_a_note_below_a_string_written_over_several_leaves_the_others_on_it():
    passage = line("4/4", "treble", "B4 q C5 q G4 q B4 q | C5 q D5 q C5 h", instrument="violin")
    span = Mark(Kind.STRING, "b1n1", "II", "b2n3")
    said, after, left = mended(passage, (span,))
    assert "Bar 1, beat 3: G4 lies below string II. Nearest possible: " in said
    assert left == ()
    strings = [m for m in after if m.kind is Kind.STRING]
    assert Mark(Kind.STRING, "b1n1", "II", "b1n2") in strings
    assert Mark(Kind.STRING, "b1n4", "II", "b2n3") in strings
    assert span not in strings
    assert any(m.at == "b1n3" and m.value in ("III", "IV") for m in strings)


def test_two_notes_of_a_chord_marked_for_one_string():
    passage = line("4/4", "treble", "B4+D5 w", instrument="violin")
    marks = (Mark(Kind.STRING, "b1n1p1", "III"), Mark(Kind.STRING, "b1n1p2", "III"))
    said, after, left = mended(passage, marks)
    assert said.startswith("Bar 1, beat 1: B4 and D5 can’t sound together on string III. Nearest possible: B4 ")
    assert left == ()
    assert {m.at for m in after if m.kind is Kind.FINGER} == {"b1n1p1", "b1n1p2"}


def test_a_finger_that_would_leave_a_sounding_note_gives_way_to_one_that_keeps_it():
    passage = line("4/4", "treble", "D5 h E5 h & B4 w", instrument="violin")
    marks = (
        Mark(Kind.STRING, "b1n2", "III"),
        Mark(Kind.FINGER, "b1n2", "3"),
        Mark(Kind.STRING, "b1n3", "II"),
        Mark(Kind.FINGER, "b1n3", "3"),
    )
    said, after, left = mended(passage, marks)
    assert "E5 can’t be reached as marked while B4 sounds." in said
    assert Mark(Kind.FINGER, "b1n3", "2") in after  # third position: B4 with 3, E5 with 2 beside it
    assert left == ()


def test_a_finger_held_too_long_is_held_until_it_is_in_the_way():
    passage = line("4/4", "treble", "G4 q B4 q G4 q B4 q | A4 q G4 q r h", key=1, instrument="violin")
    held = Mark(Kind.HOLD, "b1n1", to="b2n2")
    marks = (
        *(Mark(Kind.FINGER, f"b1n{n}", finger) for n, finger in ((1, "3"), (2, "1"), (3, "3"), (4, "1"))),
        *(Mark(Kind.STRING, f"b1n{n}", "II") for n in (2, 4)),
        Mark(Kind.FINGER, "b2n1", "3"),
        Mark(Kind.STRING, "b2n1", "III"),
        held,
    )
    said, after, left = mended(passage, marks)
    assert "lift finger 3 before A4" in said
    assert Mark(Kind.HOLD, "b1n1", to="b1n3") in after
    assert held not in after
    assert left == ()


def test_where_the_notes_themselves_are_in_the_way_nothing_can_be_mended():
    (found,) = complete(line("4/4", "alto", "C3+E3 w")).findings
    assert not found.mendable


NAMES = ["G3", "A3", "B3", "C4", "D4", "F#4", "G4", "A4", "C5", "D5", "E5", "G5", "A5"]
ONE = st.tuples(
    st.sampled_from(NAMES), st.sampled_from(["", "0", "1", "2", "3", "4"]), st.sampled_from(["", "I", "IV"])
)


@settings(max_examples=30, deadline=None)
@given(st.lists(ONE, min_size=4, max_size=4))
def test_whatever_is_marked_can_be_mended(notes):
    passage = line("4/4", "treble", " ".join(f"{name} q" for name, _, _ in notes), key=1, instrument="violin")
    marks = tuple(
        mark
        for n, (_, finger, string) in enumerate(notes, 1)
        for mark in (
            *([Mark(Kind.FINGER, f"b1n{n}", finger)] if finger else ()),
            *([Mark(Kind.STRING, f"b1n{n}", string)] if string else ()),
        )
    )
    for _ in notes:
        found = complete(passage, marks, "violin").findings
        if not found:
            break
        assert found[0].mendable
        before = {m for m in marks if m.at != found[0].address}
        marks = mend(passage, marks, found[0])
        assert {m for m in marks if m.at != found[0].address} == before
    assert complete(passage, marks, "violin").findings == ()
