"""Directions, marked and inferred, and what is reported about them."""

from dataclasses import replace
from fractions import Fraction

import pytest

from repertoire.technique.bowing import Bowing, BowSettings, FindingKind, StrokeKind, read_strokes
from repertoire.technique.line import Line, TempoMark, Value
from repertoire.technique.marks import Marks
from tests.technique.lines import line, marks


def signs(bowing: Bowing) -> str:
    """d and u for every stroke, with the number of its notes where it has several."""
    return " ".join(s.direction[0] + (str(len(s.moments)) if len(s.moments) > 1 else "") for s in bowing.strokes)


def read(passage: Line, *texts: str, tempo: int = 80) -> Bowing:
    return read_strokes(passage, marks(*texts), tempo=tempo)


def kinds(bowing: Bowing) -> list[str]:
    return [f"{f.kind} {f.bar}:{f.beat}" for f in bowing.findings]


FOUR = line("4/4", "alto", "C4 q D4 q E4 q F4 q | G4 h F4 h")


def test_unmarked_on_the_beat_starts_down_and_says_so():
    found = read(FOUR)
    assert signs(found) == "d u d u d u"
    assert found.strokes[0].why == "a start on the beat, down by habit"
    assert not any(s.marked for s in found.strokes)
    assert kinds(found) == ["habit 1:1"]
    assert "on the beat, is taken down by habit" in found.findings[0].message


def test_unmarked_on_an_upbeat_starts_up():
    found = read(line("4/4", "alto", "G3 q | C4 h D4 h"))
    assert signs(found) == "u d u"
    assert kinds(found) == ["habit 0:4"]


def test_a_mark_tells_about_what_came_before():
    found = read(FOUR, "down b1n2")
    assert signs(found) == "u d u d u d"
    assert found.strokes[0].why == "so that the down-bow in bar 1, beat 2 holds"
    assert found.strokes[1].why == "marked"
    assert found.strokes[2].why == "alternates"
    assert found.findings == ()


def test_slurs_ties_and_hooks_are_one_stroke():
    passage = line("4/4", "alto", "C4 q D4 q E4 q F4 q~ | F4 q E4 q D4 q. C4 e")
    found = read(passage, "slur b1n1 b1n3", "hooked b2n3 b2n4")
    assert signs(found) == "d3 u2 d u2"
    assert [s.kind for s in found.strokes] == [
        StrokeKind.SLURRED, StrokeKind.SINGLE, StrokeKind.SINGLE, StrokeKind.HOOKED,
    ]  # fmt: skip
    assert found.strokes[1].notes == ("b1n4", "b2n1")
    assert found.strokes[1].beats == 2
    assert found.strokes[0].seconds == Fraction(9, 4)


def test_dots_under_a_slur_are_portato():
    found = read(FOUR, "slur b1n1 b1n2", "staccato b1n1", "staccato b1n2")
    assert found.strokes[0].kind is StrokeKind.PORTATO


def test_two_downs_need_a_retake_and_two_ups_a_hook():
    found = read(FOUR, "down b1n1", "down b1n2", "up b2n1", "up b2n2")
    assert signs(found) == "d d u d u2"
    assert found.strokes[1].retake == "needed"
    assert found.strokes[4].kind is StrokeKind.HOOKED
    assert kinds(found) == ["retake or hook 1:2", "retake or hook 2:3"]
    assert all("needs a retake or a hook here" in f.message for f in found.findings)
    assert "lifted and retaken" in found.findings[0].message
    assert "hooked" in found.findings[1].message


def test_a_marked_retake_or_hook_is_not_reported():
    found = read(FOUR, "down b1n1", "down b1n2", "retake b1n2", "up b2n1", "hooked b2n1 b2n2")
    assert signs(found) == "d d u d u2"
    assert found.strokes[1].retake == "marked"
    assert found.findings == ()


def test_a_marked_retake_repeats_the_direction():
    found = read(FOUR, "retake b2n1")
    assert signs(found) == "d u d u u d"
    assert found.strokes[4].why == "lifted and set again, as marked"
    assert found.strokes[4].kind is StrokeKind.SINGLE


def test_one_mark_too_many_costs_one_retake_put_where_it_sits_well():
    # Down on both downbeats with three quarters and a half between: one bow too many.
    found = read(line("3/4", "alto", "C4 q D4 q E4 q | F4 h."), "down b1n1", "down b2n1")
    assert [f.kind for f in found.findings] == [FindingKind.RETAKE_OR_HOOK]
    assert signs(found) == "d u d d"
    assert found.strokes[3].marked


def test_a_rest_that_leaves_time_sets_the_bow_anywhere():
    passage = line("4/4", "alto", "C4 q D4 q E4 q r q | F4 h E4 h")
    found = read(passage)
    assert signs(found) == "d u d d u"
    assert found.strokes[3].free
    assert found.strokes[3].why == "set again after a rest"
    assert kinds(found) == ["habit 1:1"]
    # At 240 a minute the quarter rest is a quarter of a second: too short to set the bow again.
    assert signs(read(passage, tempo=240)) == "d u d u d"
    inside = line("4/4", "alto", "C4 q r q E4 q r q | F4 h E4 h")
    assert signs(read(inside)) == "d u d u"


def test_a_long_rest_starts_afresh_by_habit():
    found = read(line("2/4", "alto", "C4 q D4 q | E4 h | r h | r h | r q G3 q | C4 h"))
    assert signs(found) == "d u d u d"
    assert found.strokes[3].why == "a start on an upbeat, up by habit"


def test_pizzicato_is_outside_the_bow_and_arco_starts_afresh():
    passage = line("4/4", "alto", "C4 q D4 q E4 q F4 q | G4 q F4 q E4 h")
    found = read(passage, "pizz b1n2", "arco b2n1")
    assert signs(found) == "d d u d"
    assert found.stroke_at("b1n3") is None
    assert found.strokes[1].free
    odd = read(passage, "pizz b1n2", "arco b2n1", "up b1n3")
    assert kinds(odd) == ["habit 1:1", "ignored 1:3"]
    assert "stands on a pizzicato note" in odd.findings[1].message


def test_a_bow_sign_inside_a_slur_is_honoured_and_reported():
    found = read(FOUR, "slur b1n1 b1n4", "down b1n1", "up b1n3")
    assert signs(found) == "d2 u2 d u"
    assert kinds(found) == ["contradiction 1:3"]
    same = read(FOUR, "slur b1n1 b1n2", "up b1n1", "up b1n2")
    assert signs(same) == "u2 d u d u"
    assert same.findings == ()


def test_both_signs_on_one_note_and_a_sign_on_a_rest():
    found = read(line("2/4", "alto", "C4 q r q | D4 h"), "down b1n1", "up b1n1", "up b1n2")
    assert sorted(kinds(found)) == ["contradiction 1:1", "ignored 1:2"]


def test_a_slur_over_slurs_is_phrasing():
    found = read(FOUR, "slur b1n1 b2n2", "slur b1n1 b1n2", "slur b1n3 b1n4", "slur b2n1 b2n2")
    assert signs(found) == "d2 u2 d2"
    assert kinds(found) == ["habit 1:1", "phrase 1:1"]


def test_grace_notes_go_with_their_note_or_close_the_one_before():
    passage = line("2/4", "alto", "C4 q D4 g E4 q | F4 h")
    assert read(passage).stroke_at("b1n2").number == 2
    assert read(passage, "slur b1n1 b1n2").stroke_at("b1n2").number == 1
    assert signs(read(passage, "slur b1n1 b1n2")) == "d u d"


def test_two_voices_share_the_bow():
    passage = line("4/4", "alto", "G4 q A4 q B4 q C5 q & C4 h D4 h")
    assert signs(read(passage)) == "d u d u"
    assert signs(read(passage, "slur b1n1 b1n3")) == "d2 u d"


def test_tremolo_counts_its_bows_where_it_can():
    counted = read(line("4/4", "alto", "C4 h:1 D4 h"))
    assert counted.strokes[0].bows == 4
    assert counted.strokes[0].kind is StrokeKind.TREMOLO
    assert signs(counted) == "d d"  # four eighths, the last up: the half note comes down
    assert counted.findings[0].kind is FindingKind.HABIT
    quick = read(line("4/4", "alto", "C4 h:3 D4 h"))
    assert quick.strokes[0].bows is None
    assert not quick.strokes[1].free
    for sign in ("down b1n2", "up b1n2"):  # nobody can say how the tremolo ended: both hold
        assert read(line("4/4", "alto", "C4 h:3 D4 h"), "down b1n1", sign).findings == ()


def test_a_tremolo_between_two_notes_is_one_bow():
    passage = line("4/4", "alto", "C4 h:3 E4 h:3 | D4 w")
    first, second, last = passage.events
    pair = (replace(first, tremolo_pair="start"), replace(second, tremolo_pair="stop"), last)
    assert signs(read(passage.with_events(pair))) == "d2 u"


def test_syncopation_alternates_through_the_tie():
    found = read(line("4/4", "alto", "C4 e D4 q E4 q F4 q G4 e~ | G4 h F4 h"))
    assert signs(found) == "d u d u d2 u"


def test_fermata_leaves_the_length_open():
    found = read(FOUR, "fermata b2n2")
    assert found.strokes[-1].seconds is None
    assert "fermata 2:3" in kinds(found)


def test_a_repeat_on_the_other_bow_is_reported():
    found = read(line("3/4", "alto", "|: C4 q D4 q E4 q :| F4 h."))
    assert signs(found) == "d u d u d u d"
    assert [s.pass_number for s in found.strokes] == [1, 1, 1, 2, 2, 2, 1]
    assert "repeat 1:1" in kinds(found)
    assert found.stroke_at("b1n1", 2).direction == "up"
    even = read(line("2/4", "alto", "|: C4 q D4 q :| F4 h"))
    assert kinds(even) == ["habit 1:1"]


def test_cues_are_not_played():
    passage = line("2/4", "alto", "C4 q D4 q")
    cued = replace(passage, events=(replace(passage.events[0], cue=True), passage.events[1]))
    found = read(cued)
    assert signs(found) == "u"
    assert found.stroke_at("b1n1") is None


def test_the_tempo_comes_from_the_line_where_none_is_given():
    passage = replace(
        FOUR,
        bars=(replace(FOUR.bars[0], tempos=(TempoMark(Fraction(0), "", Value("half"), Fraction(60)),)), FOUR.bars[1]),
    )
    assert read_strokes(passage, ()).tempo == 120
    assert read_strokes(FOUR, ()).tempo == 80
    assert read_strokes(FOUR, (), BowSettings(tempo=Fraction(72))).strokes[4].seconds == Fraction(5, 3)


@pytest.mark.parametrize("given", [(), marks("up b9n9", "slur b8n1 b9n1")])
def test_empty_lines_and_marks_from_elsewhere(given: Marks):
    assert read_strokes(Line((), ()), given).strokes == ()
    assert signs(read_strokes(FOUR, given)) == "d u d u d u"


def test_slurs_that_enter_and_leave_a_cut_passage():
    passage = line("4/4", "alto", "C4 w | D4 q E4 q F4 q G4 q | A4 w")
    cut = Line(passage.bars[1:2], passage.in_bar(2))
    found = read(cut, "slur b1n1 b2n2", "slur b2n4 b3n1")
    assert signs(found) == "d2 u d"
    assert signs(read(cut, "slur b1n1 b3n1")) == "d4"
