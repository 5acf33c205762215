"""Some bars fingered within the hand around them, and how marks are read afterwards."""

from repertoire.technique.fingering import complete, leaves_first_position, read_as
from repertoire.technique.fingering_alternatives import alternatives_of, on_string
from repertoire.technique.fingering_costs import Limits
from repertoire.technique.fingering_marks import write
from repertoire.technique.fingering_selection import joins, part_of, within
from repertoire.technique.marks import Kind, Mark
from repertoire.technique.moments import moments_of
from tests.technique.lines import line

# Third position on II and I is written in bars 1 and 3; bar 2 alone lies easily in first.
HIGH = line(
    "4/4", "treble", "D5 q E5 q F#5 q G5 q | F#5 q E5 q D5 q E5 q | F#5 q G5 q F#5 q D5 q", key=1, instrument="violin"
)
WRITTEN = tuple(
    mark
    for address, finger in (("b1n1", "1"), ("b1n4", "4"), ("b3n1", "3"), ("b3n4", "1"))
    for mark in (Mark(Kind.FINGER, address, finger), Mark(Kind.STRING, address, "II"))
)
BAR_2 = frozenset(("b2n1", "b2n2", "b2n3", "b2n4"))


def test_bars_keep_to_the_hand_around_them():
    around = complete(HIGH, WRITTEN, "violin")
    moments = within(moments_of(HIGH, WRITTEN), around, BAR_2)
    (balanced, *_) = alternatives_of(moments, "violin", line=HIGH, inside=BAR_2)
    assert [p.address for p in balanced.fingering.placements] == sorted(BAR_2)
    assert [(p.string, p.finger) for p in balanced.fingering.placements] == [(2, 3), (2, 2), (2, 1), (2, 2)]
    assert balanced.facts.shifts == 0
    assert [j.sentence for j in joins(balanced.whole, BAR_2)] == [
        "Comes from G5 with 4 on II, 3rd position (bar 1, beat 4): the hand stays.",
        "Goes on to F♯5 with 3 on II, 3rd position (bar 3, beat 1): the hand stays.",
    ]


def test_an_alternative_that_leaves_the_hand_says_how_far_it_moves():
    pinned = (*WRITTEN, Mark(Kind.FINGER, "b2n1", "1"), Mark(Kind.STRING, "b2n1", "I"))
    around = complete(HIGH, WRITTEN, "violin")
    moments = within(moments_of(HIGH, pinned), around, BAR_2)
    (only, *_) = alternatives_of(moments, "violin", line=HIGH, inside=BAR_2, count=1)
    first = joins(only.whole, BAR_2)[0]
    assert first.sentence.endswith("the hand moves down 2 positions.")


def test_only_the_bars_asked_for_are_written():
    around = complete(HIGH, WRITTEN, "violin")
    moments = within(moments_of(HIGH, WRITTEN), around, BAR_2)
    for each in alternatives_of(moments, "violin", line=HIGH, inside=BAR_2):
        marks = write(HIGH, WRITTEN, each.whole, inside=BAR_2, reading="low and clear")
        assert {m for m in marks if m.at not in BAR_2} == set(WRITTEN)
        preset = read_as("low and clear", HIGH, marks, "violin")
        read = part_of(complete(HIGH, marks, "violin", preset=preset), BAR_2)
        meant = each.fingering.placements
        assert [(p.string, p.finger) for p in read.placements] == [(p.string, p.finger) for p in meant]


def test_marks_that_leave_first_position_are_read_balanced():
    low = line("4/4", "treble", "D5 q E5 q F#5 q G5 q", key=1, instrument="violin")
    inside = (Mark(Kind.FINGER, "b1n1", "3"), Mark(Kind.FINGER, "b1n4", "2"), Mark(Kind.FINGER, "b1n2", "0"))
    assert not leaves_first_position(low, inside, "violin")
    assert read_as("low and clear", low, inside, "violin") == "low and clear"
    for above in (
        (Mark(Kind.FINGER, "b1n1", "1"),),  # D5 with 1: third position on II
        (Mark(Kind.STRING, "b1n4", "II"),),  # G5 on II: third position at least
    ):
        assert leaves_first_position(low, above, "violin")
        assert read_as("low and clear", low, above, "violin") == "balanced"
        assert read_as("on one string", low, above, "violin") == "on one string"


def test_a_string_may_carry_a_passage_in_theory_alone():
    passage = line("4/4", "treble", "G4 q B4 q E5 q C5 q", instrument="violin")
    answer = on_string(passage, (), 4, "violin")
    assert (answer.possible, answer.practical) == (True, False)
    # E5 lies twelve letter steps above G3: with the fourth finger in 9th position at least [A]
    assert answer.sentence.startswith("On string IV: possible in theory, not practical. Bar 1, beat 3: E5 needs ")
    assert answer.sentence.endswith("one seldom plays above 8th position.")
    lower = on_string(line("4/4", "treble", "G4 q B4 q A4 q C5 q", instrument="violin"), (), 4, "violin")
    assert (lower.possible, lower.practical) == (True, True)
    able = on_string(passage, (), 4, "violin", limits=Limits(highest=12))
    assert (able.possible, able.practical) == (True, True)
