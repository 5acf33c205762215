"""Possible bowings, facts and limits, and the three answers to an uneven rhythm."""

from fractions import Fraction as F

import pytest

from repertoire.technique.bow_alternatives import RULES, possible_bowings
from repertoire.technique.bow_facts import facts, limit_findings
from repertoire.technique.bow_place import place_as_marked
from repertoire.technique.bowing import Bowing, FindingKind, read_strokes
from repertoire.technique.marks import Aspect, Kind, Mark, digest
from repertoire.technique.uneven import UnevenError, uneven_answers, uneven_pairs
from tests.technique.lines import line, marks

TUNE = line(
    "4/4", "alto",
    "C4 q. D4 e E4 q F4 q | G4 h. A4 q | G4 e F4 e E4 e D4 e C4 h | D4 q. E4 e F4 h | E4 w",
)  # fmt: skip


def shape(bowing: Bowing) -> str:
    return " ".join(s.direction[0] + str(len(s.moments)) + ("R" if s.retake else "") for s in bowing.strokes)


def test_three_distinct_bowings_with_facts_and_a_sentence():
    given = marks("slur b3n1 b3n4", "slur b1n3 b1n4", "p b1n1")
    found = possible_bowings(TUNE, given)
    assert [p.name for p in found] == ["start up", "by the beat", "short notes hooked"]
    assert [shape(p.bowing) for p in found] == [
        "u1 d1 u2 d1 u1 d4 u1 d1 u1 d1 u1",
        "d1 u1 d1 u1 d1 u1 d2 u2 d1 u1 d1 u1 d1",
        "d2 u2 d2 u4 d1 u2 d1 u1",
    ]
    assert found[0].trade_off == (
        "Gives 3 of 5 downbeats on a down-bow instead of 2. The last note ends up-bow, in the lower half."
    )
    assert found[1].trade_off.startswith(
        "Gives 4 of 5 downbeats on a down-bow instead of 2. Asks for more bow changes (12 instead of 10)"
    )
    assert all(p.rules == RULES for p in found)
    assert len({digest(p.marks, Aspect.BOW) for p in found}) == 3
    words = [m for m in given if m.aspect is not Aspect.BOW]
    assert all(m in p.marks for p in found for m in words)


def test_all_of_them_on_request_and_none_twice():
    found = possible_bowings(TUNE, (), limit=None)
    assert len(found) > 3
    shapes = [shape(p.bowing) for p in found] + [shape(read_strokes(TUNE, ()))]
    assert len(set(shapes)) == len(shapes)
    assert "one stroke a bar" in [p.name for p in found]
    assert "separate strokes" not in [p.name for p in found]  # that is what it is already


def test_as_printed_is_offered_once_the_marking_has_left_it():
    printed = marks("slur b1n1 b1n4")
    found = possible_bowings(TUNE, marks("down b1n1"), printed=printed, limit=None)
    assert found[0].name == "as printed"
    assert shape(found[0].bowing).startswith("d4 u1")
    assert possible_bowings(TUNE, printed, printed=printed)[0].name != "as printed"


def test_a_slur_that_lasts_too_long_is_split_and_none_made_longer():
    slow = line("4/4", "alto", "C4 w | D4 h E4 h | F4 w | G4 w")
    found = possible_bowings(slow, marks("slur b1n1 b4n1", "f b1n1"), tempo=60, limit=None)
    split = next(p for p in found if p.name == "long slurs split")
    assert shape(split.bowing) == "d3 u2"
    halves = line("4/4", "alto", "C4 h D4 h | E4 h F4 h")
    assert "one stroke a bar" in [p.name for p in possible_bowings(halves, (), tempo=60, limit=None)]
    assert "one stroke a bar" not in [p.name for p in possible_bowings(halves, (), tempo=30, limit=None)]


def test_retaken_downbeats_all_come_down():
    waltz = line("3/4", "alto", "C4 q D4 q E4 q | F4 q E4 q D4 q | C4 h.")
    found = {p.name: p for p in possible_bowings(waltz, (), tempo=60, limit=None)}
    assert shape(found["retaken downbeats"].bowing) == "d1 u1 d1 d1R u1 d1 d1R"
    assert found["retaken downbeats"].facts.downbeats_down == 3
    assert found["retaken downbeats"].facts.retakes == 2
    assert not [f for f in found["retaken downbeats"].bowing.findings if f.kind is FindingKind.RETAKE_OR_HOOK]


def named(passage, *texts, printed=None, tempo=80):
    found = possible_bowings(passage, marks(*texts), printed=printed, tempo=tempo, limit=None)
    return {p.name: p for p in found}


def test_no_new_slur_runs_over_a_repeated_note_or_over_dots():
    quavers = line("2/2", "alto", "C3 e E3 e E3 e A3 e D3 e G3 e G3 e D4 e | C3 w")
    found = named(quavers)
    assert shape(found["by the beat"].bowing) == "d2 u2 d2 u2 d1"
    assert found["by the beat"].trade_off.endswith(". Divided where a note repeats, has a dot or carries a sign.")
    assert "Divided" not in named(TUNE)["one stroke a bar"].trade_off
    dots = line("2/4", "alto", "C4 e D4 e E4 e F4 e | G4 h")
    assert shape(named(dots)["by the beat"].bowing) == "d2 u2 d1"
    assert "by the beat" not in named(dots, *(f"staccato b1n{n}" for n in (1, 2, 3, 4)))


def test_a_stroke_a_bar_is_left_out_where_most_bars_would_be_divided():
    parted, whole = "C3 e E3 e E3 e A3 e D3 e G3 e G3 e D4 e", "C3 h E3 q G3 q"
    mostly = line("2/2", "alto", f"{parted} | {parted} | {whole} | C3 w")
    assert "one stroke a bar" not in named(mostly, tempo=160)
    half = line("2/2", "alto", f"{parted} | {whole} | C3 w")
    offered = named(half, tempo=160)["one stroke a bar"]
    assert shape(offered.bowing) == "d2 u4 d2 u3 d1"
    assert offered.trade_off.endswith(". Divided where a note repeats, has a dot or carries a sign.")


def test_hooked_groups_stay_also_when_they_are_written_as_slurs_over_dots():
    dotted = line("4/4", "alto", "C4 e. D4 s E4 q F4 e G4 e A4 q | C4 w")
    given = ("slur b1n1 b1n2", "staccato b1n1", "staccato b1n2")
    found = named(dotted, *given)["by the beat"]
    assert shape(found.bowing) == "d2 u1 d2 u1 d1"
    assert found.bowing.strokes[0].kind == "portato"
    assert set(marks(*given)) <= set(found.marks)


def test_beats_are_not_shorter_than_they_are_felt():
    eighths = line("4/8", "alto", "C4 s D4 s E4 s F4 s G4 s A4 s B4 s C5 s | D4 q E4 q")
    assert shape(named(eighths)["by the beat"].bowing) == "d4 u4 d1 u1"
    three = line("3/8", "alto", "C4 e D4 e E4 e | F4 e G4 e A4 e")
    assert shape(named(three)["by the beat"].bowing) == "d3 u3"


def test_what_the_teacher_marked_is_kept_where_it_can_hold():
    eighths = line("4/4", "alto", "C4 e D4 e E4 e F4 e G4 e A4 e B4 e C5 e | D4 h E4 h")
    found = named(eighths, "up b1n4", "1/2 b1n4", "portato b1n7 b1n8")
    whole = found["one stroke a bar"]
    assert shape(whole.bowing) == "d3 u3 d2 u2"
    assert whole.leaves_out == ""
    assert set(marks("up b1n4", "1/2 b1n4", "portato b1n7 b1n8")) <= set(whole.marks)


def test_what_cannot_hold_is_named():
    halves = line("4/4", "alto", "C4 h D4 h | E4 h F4 h | G4 w")
    source = marks("down b2n1")
    found = possible_bowings(halves, (*source, *marks("up b1n2")), printed=source, limit=None)
    up = next(p for p in found if p.name == "start up")
    assert shape(up.bowing) == "u1 d1 u1 d1 u1"
    assert up.leaves_out == "Leaves out your up-bow in bar 1, beat 3 and the printed down-bow in bar 2, beat 1."
    # Alike in several bars they are told together.
    bars = line("2/4", "alto", " | ".join(["C4 q D4 q"] * 9))
    downs = marks(*(f"down b{n}n1" for n in range(2, 10)))
    many = next(p for p in possible_bowings(bars, downs, printed=downs, limit=None) if p.name == "start up")
    assert many.leaves_out == "Leaves out the printed down-bows on beat 1 of bars 2, 3, 4, 5, 6, 7 and 2 more."
    # A sign that holds either way stays, and the other is not given up for it.
    after_rest = line("4/4", "alto", "C4 h r h | E4 h F4 h")
    kept = named(after_rest, "down b2n1")["start up"]
    assert "Leaves out" not in kept.leaves_out
    assert shape(kept.bowing) == "u1 d1 u1"


def test_nothing_is_hooked_to_an_ornament_or_against_a_sign():
    passage = line("3/4", "alto", "C4 h D4 q | E4 h F4 q | G4 h A4 q")
    trill = (Mark(Kind.ORNAMENT, "b1n2", "trill"), *marks("up b2n2"))
    found = possible_bowings(passage, trill, limit=None)
    hooked = next(p for p in found if p.name == "short notes hooked")
    assert [m.at for m in hooked.marks if m.kind is Kind.HOOK] == ["b3n1"]


def test_marking_the_retakes_that_are_needed_already_is_no_other_bowing():
    waltz = line("3/4", "alto", "C4 q D4 q E4 q | F4 q E4 q D4 q | C4 h.")
    assert "retaken downbeats" not in named(waltz, "down b1n1", "down b2n1", "down b3n1", tempo=60)


def test_a_retake_is_offered_only_where_there_is_time():
    quick = line("3/4", "alto", "C4 q D4 q E4 q | F4 q E4 q D4 q | C4 h.")
    assert "retaken downbeats" not in named(quick, tempo=120)
    rests = line("3/4", "alto", "C4 q D4 q E4 e r e | F4 q E4 q D4 e r e | C4 h.")
    assert shape(named(rests, tempo=240)["retaken downbeats"].bowing) == "d1 u1 d1 d1R u1 d1 d1R"


def test_no_notes_no_bowings():
    assert possible_bowings(line("2/4", "alto", "r h"), ()) == ()


def test_facts_of_a_bowing():
    bowing = read_strokes(TUNE, marks("slur b3n1 b3n4", "high b2n1"), tempo=60)
    placed = place_as_marked(bowing)
    found = facts(bowing, placed, {"b3n1": "II", "b3n2": "III", "b3n3": "III", "b3n4": "III"})
    assert (found.strokes, found.bow_changes, found.retakes) == (12, 11, 0)
    assert (found.longest, found.longest_seconds) == (12, 4.0)
    assert (found.downbeats, found.downbeats_down) == (5, 4)
    assert found.crossings == 1
    assert [(h.address, h.marked, h.stroke, h.direction) for h in found.high_points] == [("b2n1", True, 5, "down")]
    assert (found.last, found.last_direction) == ("b5n1", "up")
    top = facts(bowing, placed).high_points
    assert top == found.high_points
    unmarked = read_strokes(TUNE, (), tempo=60)
    assert [(h.address, h.marked) for h in facts(unmarked, place_as_marked(unmarked)).high_points] == [("b2n2", False)]


def test_limits_are_told():
    slow = line("4/4", "alto", "C4 w | D4 h. E4 q | F4 w")
    given = marks("f b1n1", "1 b2n1", "1 b2n2")
    bowing = read_strokes(slow, given, tempo=50)
    told = {f"{f.kind} {f.bar}:{f.beat}": f.message for f in limit_findings(bowing, place_as_marked(bowing))}
    assert told["long stroke 1:1"] == "The loud down-bow from bar 1, beat 1 lasts 4.8 s, more than 4 s."
    assert told["uneven speed 2:4"] == "The down-bow in bar 2, beat 4 moves 4.0 times as fast as its neighbour."
    assert "long stroke 2:1" not in told
    stuck = read_strokes(line("4/4", "alto", "C4 h D4 h"), marks("f b1n1", "1/32 b1n1", "frog b1n1"), tempo=60)
    edges = [f.message for f in limit_findings(stuck, place_as_marked(stuck))]
    assert "The loud note in bar 1, beat 1 is sustained at the very frog." in edges


def test_uneven_answers_keep_the_other_marks_and_read_as_they_say():
    passage = line("4/4", "alto", "C4 h. D4 q | E4 h. F4 q | G4 w")
    answers = uneven_answers(passage, marks("p b1n1", "slur b2n1 b2n2"), "b1n2", tempo=80)
    assert [a.name for a in answers] == ["uneven speed", "hook", "retake"]
    shapes = [shape(read_strokes(passage, a.marks, tempo=80)) for a in answers]
    assert shapes == ["d1 u1 d2 u1", "d2 u2 d1", "d1 u1 d2R u1"]
    assert all(m in a.marks for a in answers for m in marks("p b1n1", "slur b2n1 b2n2"))
    assert [a.ratio for a in answers] == [3, 1, 1]
    assert all(m.kind is not Kind.HOOK for m in answers[0].marks)


def test_uneven_answers_need_an_uneven_rhythm():
    passage = line("4/4", "alto", "C4 h D4 h | E4 h r q F4 q")
    with pytest.raises(UnevenError, match="No longer note stands right before a shorter one in bar 1, beat 3"):
        uneven_answers(passage, (), "b1n2")
    with pytest.raises(UnevenError, match="plays nothing in bar 2, beat 3"):
        uneven_answers(passage, (), "b2n2")
    with pytest.raises(UnevenError, match="no note b9n1"):
        uneven_answers(passage, (), "b9n1")
    assert uneven_answers(line("3/4", "alto", "C4 h D4 q"), marks("1/2 b1n1"), "b1n1")[0].long_share == F(1, 2)


def test_a_hooked_short_note_keeps_no_amount_of_its_own() -> None:
    notes = line("4/4", "alto", "G3 h. A3 q | G3 h. A3 q")
    given = marks("down b1n1", "1 b1n1", "1 b1n2", "down b2n1")
    found = {p.name: p.marks for p in possible_bowings(notes, given, limit=None)}
    amounts = [m.at for m in found["short notes hooked"] if m.kind is Kind.AMOUNT]
    assert amounts == ["b1n1"]


def test_uneven_pairs_are_a_long_note_and_a_shorter_one_right_after_it() -> None:
    notes = line("4/4", "alto", "G3 h. A3 q | G3 q r q A3 e B3 q. | C4 w")
    bowing = read_strokes(notes, ())
    assert [(p.long.address, p.short.address) for p in uneven_pairs(bowing)] == [("b1n1", "b1n2")]


def kinds(passage, *texts, tempo=80, also="", more=()):
    found = uneven_pairs(read_strokes(passage, (*marks(*texts), *more), tempo=tempo), also)
    return [(p.long.address, p.kind.name) for p in found]


def test_quick_dotted_rhythms_come_first_and_places_that_would_be_cut_last() -> None:
    notes = line(
        "3/4", "alto", "C4 q D4 e E4 e. F4 s A4 e | G4 q. A4 e B4 q | C4 q. D4 e B4 e. A4 s | G4 e. A4 s B4 q C5 q"
    )
    # At 80 an eighth lasts 0.375 s, at 60 half a second. [A]
    assert kinds(notes, "slur b3n2 b3n3", "slur b4n1 b4n2") == [
        ("b1n3", "QUICK"), ("b2n1", "QUICK"), ("b4n1", "QUICK"),
        ("b1n1", "OTHER"), ("b3n1", "SLURRED"), ("b3n3", "SLURRED"),
    ]  # fmt: skip
    assert kinds(notes, "slur b1n3 b1n4", tempo=60)[:4] == [
        ("b3n3", "QUICK"), ("b4n1", "QUICK"), ("b1n3", "QUICK"), ("b2n1", "DOTTED"),
    ]  # fmt: skip


def test_calm_pairs_are_left_out_where_there_are_others() -> None:
    notes = line("3/4", "alto", "C4 h D4 q | E4 q D4 e. C4 s D4 q | G4 h.")
    assert kinds(notes) == [("b2n2", "QUICK")]
    assert kinds(notes, also="b1n2") == [("b2n2", "QUICK"), ("b1n1", "OTHER")]
    assert kinds(line("3/4", "alto", "C4 h D4 q | E4 h.")) == [("b1n1", "OTHER")]
    assert kinds(line("3/4", "alto", "C4 h D4 q | E4 h."), "slur b1n1 b1n2") == [("b1n1", "SLURRED")]


def test_nothing_is_hooked_to_an_ornament_at_an_uneven_rhythm() -> None:
    notes = line("2/4", "alto", "C4 e. D4 s E4 q | C4 e. D4 s E4 e. F4 s")
    trills = (Mark(Kind.ORNAMENT, "b1n1", "trill"), Mark(Kind.ORNAMENT, "b2n4", "mordent"))
    assert kinds(notes, more=trills) == [("b2n1", "QUICK"), ("b1n1", "ORNATE"), ("b2n3", "ORNATE")]
    for place in ("b1n1", "b2n3"):
        assert [a.name for a in uneven_answers(notes, trills, place)] == ["uneven speed", "retake"]
    assert [a.name for a in uneven_answers(notes, trills, "b2n1")] == ["uneven speed", "hook", "retake"]


def test_a_slur_around_the_place_is_cut_and_not_taken_away() -> None:
    notes = line("4/4", "alto", "G3 e A3 e C4 q. D4 e E4 e F4 e | G4 w")
    answers = uneven_answers(notes, marks("slur b1n1 b1n6", "slur b1n6 b2n1"), "b1n3")
    for answer in answers:
        assert answer.cuts == marks("slur b1n1 b1n6")
        slurs = [(m.at, m.to) for m in answer.marks if m.kind is Kind.SLUR]
        assert slurs == [("b1n1", "b1n2"), ("b1n5", "b1n6"), ("b1n6", "b2n1")]
    # A slur over the two alone is what the answers are about.
    assert uneven_answers(notes, marks("slur b1n3 b1n4"), "b1n3")[0].cuts == ()


def test_where_the_long_notes_amount_is_marked_each_answer_says_the_short_ones() -> None:
    notes = line("4/4", "alto", "G3 h. A3 q | G3 h. A3 q")
    speed, hook, retake = uneven_answers(notes, marks("1/2 b1n1", "1/4 b1n2"), "b1n1")
    said = [[(m.at, m.value) for m in answer.marks if m.kind is Kind.AMOUNT] for answer in (speed, hook, retake)]
    assert said == [[("b1n1", "1/2"), ("b1n2", "1/2")], [("b1n1", "1/2")], [("b1n1", "1/2")]]
