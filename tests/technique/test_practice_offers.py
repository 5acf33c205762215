"""What a passage is offered: the reasons in words, the most telling first, of different subjects."""

from __future__ import annotations

from repertoire.technique.fingering import complete
from repertoire.technique.marks import Kind, Mark
from repertoire.technique.practice_offers import offers, shown_first
from tests.technique.lines import line, marks


def found(text, *told, key=0):
    music = line("4/4", "alto", text, key=key)
    return offers(music, told, complete(music, told, "viola"))


def reasons(made):
    return {offer.kind: offer.reason for offer in made}


def test_turn_and_trill_come_first_in_stages():
    made = found("A4 h G4 h | F4 h E4 h", Mark(Kind.ORNAMENT, "b1n2", "turn"), Mark(Kind.ORNAMENT, "b2n2", "trill"))
    assert (made[0].kinds, made[0].bars) == (("bare", "turn", "trill"), (1, 2))
    assert made[0].reason == "bars 1–2: turn and trill, in stages"


def test_a_shift_says_how_far_and_whether_it_is_heard():
    told = (*marks("finger1 b1n1", "finger2 b1n2", "slur b1n1 b1n2"), Mark(Kind.STRING, "b1n1", "I"))
    made = found("B4 h E5 h", *told, key=2)
    assert reasons(made)["shift"] == "bar 1: shift of two positions inside a slur"
    apart = found("B4 h E5 h", *(m for m in told if m.kind is not Kind.SLUR), key=2)
    assert reasons(apart)["shift"] == "bar 1: shift of two positions"


def test_a_run_is_offered_one_rhythm_and_the_others_on_the_step():
    made = found("D4 e E4 e F4 e G4 e A4 e G4 e F4 e E4 e")
    assert [dict(o.given) for o in made if o.kind == "rhythm"] == [{"pattern": "dotted"}]
    assert reasons(made)["rhythm"] == "bar 1: eight equal notes in a row"


def test_what_has_its_dynamics_is_not_offered_a_shape():
    assert reasons(found("D4 q D4 q D4 q D4 q"))["shape"] == "bar 1: D4 four times"
    assert "shape" not in reasons(found("D4 q D4 q D4 q D4 q", *marks("p b1n2")))


def test_at_most_three_at_first_and_of_different_subjects():
    told = (*marks("finger1 b1n1", "finger2 b1n2", "slur b1n1 b1n2"), Mark(Kind.STRING, "b1n1", "I"))
    first = shown_first(found("B4 e E5 e D5 e C#5 e B4 e A4 e G4 e F#4 e", *told, key=2))
    assert len(first) == 3
    assert len({offer.subject for offer in first}) == 3
