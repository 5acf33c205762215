"""Alternatives of distinct character, restriction to a string, and open choices."""

from repertoire.technique.fingering import complete
from repertoire.technique.fingering_alternatives import alternatives, difference, facts_of, on_string, open_choices
from repertoire.technique.fingering_costs import RULE_VERSION, Limits
from repertoire.technique.marks import Kind, Mark
from tests.technique.lines import line
from tests.technique.test_fingering_marks import SONG


def test_three_alternatives_differ_and_say_how():
    found = alternatives(SONG, (), "violin")
    assert len(found) == 3
    assert [a.name for a in found][:2] == ["balanced", "low and clear"]
    for n, one in enumerate(found):
        assert one.sentence.endswith(".")
        assert one.rule_version == RULE_VERSION
        for other in found[n + 1 :]:
            assert difference(one.fingering, other.fingering) >= 0.08
    assert len({a.sentence for a in found}) == 3


def test_facts_are_counted():
    passage = line("4/4", "alto", "B4 q D5 q A4 q D4 q")
    marks = [Mark(Kind.FINGER, f"b1n{n}", f) for n, f in ((1, "1"), (2, "1"), (3, "0"), (4, "0"))]
    facts = facts_of(complete(passage, (*marks, Mark(Kind.STRING, "b1n2", "I"))))
    assert (facts.shifts, facts.highest_position, facts.crossings, facts.open_strings) == (1, 3, 1, 2)
    assert facts.strings == ("I", "II")
    assert facts.without_vibrato == 2


def test_a_passage_without_choice_has_one_answer():
    passage = line("4/4", "alto", "C3 w")
    (only,) = alternatives(passage, ())
    assert only.fingering.placements[0].finger == 0


def test_one_string_is_possible():
    answer = on_string(line("4/4", "treble", "A4 q B4 q C5 q D5 q", instrument="violin"), (), 3, "violin")
    assert answer.possible
    assert {p.string for p in answer.fingering.placements} == {3}
    assert answer.sentence.startswith("On string III: possible")


def test_the_notes_that_forbid_a_string_are_named():
    passage = line("4/4", "treble", "A4 q B4 q C4 q D5+F5 q", instrument="violin")
    answer = on_string(passage, (Mark(Kind.STRING, "b1n2", "III"),), 2, "violin")
    assert not answer.possible
    assert [a for a, _ in answer.forbidding] == ["b1n2", "b1n3", "b1n4p1"]
    assert "Bar 1, beat 2: B4 is marked for string III." in answer.sentence
    assert "Bar 1, beat 3: C4 lies below string II." in answer.sentence
    assert "a double stop needs two strings" in answer.sentence


def test_a_string_beyond_the_player_s_limit():
    passage = line("4/4", "treble", "A4 q D5 q A5 q D5 q", instrument="violin")
    answer = on_string(passage, (), 3, "violin", limits=Limits(highest=3))
    assert not answer.possible
    assert "beyond this player’s limit" in answer.sentence


def test_open_choices_are_said_in_words_and_marked_notes_are_settled():
    found = open_choices(complete(SONG, (), "violin"))
    assert found
    assert all(" or " in choice.sentence and choice.sentence.endswith("almost as likely.") for choice in found)
    first = found[0]
    place = complete(SONG, (), "violin").by_address[first.address]
    marked = (Mark(Kind.FINGER, first.address, str(place.finger)), Mark(Kind.STRING, first.address, place.string_name))
    assert first.address not in [c.address for c in open_choices(complete(SONG, marked, "violin"))]
