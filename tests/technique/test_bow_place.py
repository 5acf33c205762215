"""Where in the bow notes fall, as marked and as planned, and what is said where it can't be."""

from dataclasses import replace
from fractions import Fraction as F

import pytest

from repertoire.technique.bow_place import Placed, place_as_marked, strip
from repertoire.technique.bow_planning import COSTS, place_planned
from repertoire.technique.bow_words import place_word, share_figure, share_word
from repertoire.technique.bowing import FindingKind, read_strokes
from tests.technique.lines import line, marks


def ends(placed: Placed) -> list[tuple[F, F]]:
    return [(s.start, s.end) for s in placed.strokes]


def even(text: str, *texts: str, meter: str = "4/4", tempo: int = 80) -> Placed:
    return place_as_marked(read_strokes(line(meter, "alto", text), marks(*texts), tempo=tempo))


FOUR = "C4 q D4 q E4 q F4 q | G4 h F4 h"


def test_the_even_reading_gives_the_longest_stroke_the_whole_bow():
    found = even(FOUR)
    assert ends(found) == [
        (0, F(1, 2)), (F(1, 2), 0), (0, F(1, 2)), (F(1, 2), 0), (0, 1), (1, 0),
    ]  # fmt: skip
    assert found.strokes[0].speed == pytest.approx(426.667, abs=0.001)  # half of 640 mm in 0.75 s
    assert found.note("b1n2").start == F(1, 2)
    up = even(FOUR, "up b1n1")
    assert ends(up)[:2] == [(1, F(1, 2)), (F(1, 2), 1)]


def test_amounts_and_parts_are_taken_as_marked():
    found = even(FOUR, "1/4 b1n1", "upper-half b1n2")
    assert ends(found)[0] == (0, F(1, 4))
    assert ends(found)[1] == (1, F(1, 2))
    assert found.findings[0].kind is FindingKind.PLACE
    assert found.findings[0].message == (
        "The bow is marked “upper half” in bar 1, beat 2, but the stroke before ends elsewhere: "
        "lift, or change the amounts before it."
    )
    tip = even(FOUR, "1/8 b1n1", "tip b1n1")
    assert ends(tip)[0] == (F(3, 4), F(7, 8))
    assert ends(even(FOUR, "middle b1n1"))[0] == (F(1, 4), F(3, 4))
    assert ends(even(FOUR, "up b1n1", "frog b1n1"))[0] == (F(1, 4), 0)


def test_an_amount_on_a_later_note_is_its_own():
    found = even("C4 q D4 q E4 h | F4 w", "slur b1n1 b1n3", "1 b1n1", "1/2 b1n2")
    assert [(n.start, n.end) for n in found.notes[:3]] == [(0, F(1, 6)), (F(1, 6), F(2, 3)), (F(2, 3), 1)]


def test_running_out_is_told_with_place_and_shares():
    found = even("C4 h. D4 q | E4 h. F4 q", "3/4 b1n1", "1/4 b1n2", "3/4 b2n1")
    assert ends(found)[:3] == [(0, F(3, 4)), (F(3, 4), F(1, 2)), (F(1, 2), 1)]
    assert found.strokes[2].runs_out == 2
    assert found.strokes[2].runs_out_at == "b2n1"
    told = found.findings[0]
    assert (told.kind, told.bar, told.beat) == (FindingKind.RUNS_OUT, "2", 3)
    assert told.message == (
        "The bow runs out in bar 2, beat 3: this down-bow starts with half the bow left and asks for "
        "three quarters of the bow."
    )


def test_retakes_and_rests_set_the_bow():
    lifted = even(FOUR, "retake b1n2")
    assert ends(lifted)[:2] == [(0, F(1, 2)), (0, F(1, 2))]
    rest = even("C4 q r q D4 h | E4 q r q F4 h")
    assert ends(rest) == [(0, F(1, 2)), (1, 0), (0, F(1, 2)), (1, 0)]  # an up-bow of a whole bow fits from the tip only


def test_pizzicato_has_no_place_and_arco_starts_afresh():
    found = even(FOUR, "pizz b1n2", "arco b2n1", "up b2n1")
    assert found.note("b1n2") is None
    assert ends(found)[1] == (1, 0)


def test_fermata_tremolo_and_grace_notes():
    held = even(FOUR, "fermata b2n2")
    assert held.strokes[5].speed is None
    assert held.note("b2n2").seconds is None
    shaking = even("C4 h:3 D4 h")
    assert ends(shaking) == [(0, 0), (0, 1)]
    assert shaking.strokes[0].speed is None
    grace = even("B3 g C4 h D4 h")
    assert (grace.note("b1n1").start, grace.note("b1n1").end) == (0, 0)
    assert (grace.note("b1n2").start, grace.note("b1n2").end) == (0, 1)


def test_repeats_follow_the_played_order():
    bowing = read_strokes(line("3/4", "alto", "|: C4 q D4 q E4 q :| F4 h."), ())
    found = place_as_marked(bowing)
    assert (found.note("b1n1", 1).start, found.note("b1n1", 1).end) == (0, F(1, 3))
    assert (found.note("b1n1", 2).start, found.note("b1n1", 2).end) == (F(1, 3), 0)
    assert [s.direction for s in strip(bowing, found)] == ["down", "up", "down", "down"]
    assert [s.direction for s in strip(bowing, found, 2)] == ["up", "down", "up", "down"]


def test_the_strip_tells_strokes_retakes_and_where_the_bow_ends():
    bowing = read_strokes(line("4/4", "alto", FOUR), marks("slur b1n1 b1n2", "retake b1n3", "3/4 b1n4", "1 b2n1"))
    bands = strip(bowing, place_as_marked(bowing))
    assert [s.new for s in bands] == [True, False, True, True, True, True]
    assert [s.retake for s in bands] == [False, False, True, False, False, False]
    assert [s.address for s in bands] == ["b1n1", "b1n2", "b1n3", "b1n4", "b2n1", "b2n2"]
    assert bands[3].runs_out == F(2, 3)  # half the bow left, three quarters asked for


def test_a_plan_stays_in_the_bow_and_keeps_what_is_fixed():
    passage = line("4/4", "alto", "C4 h. D4 q | E4 h. F4 q | G4 h. A4 q | B4 h. C5 q")
    fixed = marks("1/2 b2n1", "upper-half b3n2")
    found = place_planned(read_strokes(passage, fixed))
    assert all(0 <= s.start <= 1 and 0 <= s.end <= 1 for s in found.strokes)
    assert found.strokes[2].share == F(1, 2)
    assert found.strokes[5].start == 1
    assert found.strokes[5].end == F(1, 2)
    assert all(s.runs_out is None for s in found.strokes)
    assert found.findings == ()


def test_a_plan_says_what_it_cannot_keep():
    passage = line("4/4", "alto", "C4 h D4 h")
    found = place_planned(read_strokes(passage, marks("whole b1n1", "lower-half b1n2")))
    assert [f.kind for f in found.findings] == [FindingKind.PLACE]
    assert found.findings[0].message == (
        "The plan can’t keep the amount marked in bar 1, beat 1: the whole bow is asked for, half the bow is there."
    )


def test_a_plan_follows_dynamics_tempo_and_articulation():
    passage = line("4/4", "alto", "C4 h D4 h | E4 h F4 h")
    soft = place_planned(read_strokes(passage, marks("p b1n1")))
    loud = place_planned(read_strokes(passage, marks("f b1n1")))
    assert sum(s.speed for s in loud.strokes) > 1.2 * sum(s.speed for s in soft.strokes)
    quick = line("4/4", "alto", " | ".join(["C4 s D4 s E4 s F4 s G4 q r h"] * 2))
    short = place_planned(read_strokes(quick, ()))
    assert all(F(1, 4) <= s.start <= F(3, 5) for s in short.strokes[1:4])
    accented = place_planned(read_strokes(passage, marks("accent b2n1")))
    assert accented.strokes[2].start < F(1, 4)
    fading = place_planned(read_strokes(passage, marks("diminuendo b2n1 b2n1")))
    assert fading.strokes[2].end > F(9, 10)


def test_a_crescendo_takes_more_bow_towards_its_end():
    passage = line("4/4", "alto", "C4 q D4 q E4 q F4 q")
    found = place_planned(read_strokes(passage, marks("slur b1n1 b1n4", "crescendo b1n1 b1n4")))
    shares = [n.share for n in found.notes]
    assert shares == sorted(shares)
    assert shares[3] / shares[0] == F(3, 2)
    level = place_planned(read_strokes(passage, marks("slur b1n1 b1n4")))
    assert len({n.share for n in level.notes}) == 1


def test_a_cost_can_be_taken_out():
    passage = line("4/4", "alto", "C4 w")
    bowing = read_strokes(passage, marks("pp b1n1"), tempo=60)
    whole = place_planned(bowing)
    plain = place_planned(bowing, costs=replace(COSTS, sung=0.0, soft_end=0.0, start=0.0))
    assert whole.strokes[0].share > plain.strokes[0].share
    assert plain.strokes[0].share == F(42, 48)  # 140 mm a second for 4 s of 640 mm, to the nearest 48th


def test_words_for_places_and_shares():
    assert [place_word(p) for p in (0, 0.2, F(1, 2), 0.75, 1)] == ["frog", "lower half", "middle", "upper half", "tip"]
    assert place_word(0, {"frog": "heel"}) == "heel"
    assert share_word(F(1, 2)) == "half the bow"
    assert share_word(F(42, 100)) == "42 % of the bow"
    assert share_figure(F(3, 5)) == "3/5"
    assert share_figure(F(17, 48)) == "35 %"


def test_double_dots_and_hooks_in_the_even_reading():
    separate = even("C4 q.. D4 s E4 h | F4 w")
    assert [(n.start, n.end) for n in separate.notes[:2]] == [(0, F(7, 16)), (F(7, 16), F(3, 8))]
    hooked = even("C4 q.. D4 s E4 h | F4 w", "hooked b1n1 b1n2")
    assert [(n.start, n.end) for n in hooked.notes[:3]] == [(0, F(7, 16)), (F(7, 16), F(1, 2)), (F(1, 2), 0)]
    assert len({round(n.speed, 6) for n in hooked.notes[:3]}) == 1
