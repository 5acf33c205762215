"""The passages other tests are written with say what they seem to say."""

from fractions import Fraction

from tests.technique.lines import line


def test_bars_upbeat_and_numbers():
    found = line("4/4", "alto", "G3 q | C4 h. D4 q~ | D4 w")
    assert [b.number for b in found.bars] == ["0", "1", "2"]
    assert found.bars[0].missing == 3
    assert [e.address for e in found.events] == ["b1n1", "b2n1", "b2n2", "b3n1"]
    assert found.event("b3n1").continues
    assert not found.event("b2n2").continues
    assert found.bars[2].onset == 5


def test_repeats_endings_and_meter():
    found = line("2/4", "treble", "|: A4 h | [1 B4 h :| [2 C5 h | 3/4 D5 h.")
    assert [b.repeat_start for b in found.bars] == [True, False, False, False]
    assert [b.repeat_end for b in found.bars] == [0, 2, 0, 0]
    assert [b.ending for b in found.bars] == [(), (1,), (2,), ()]
    assert found.bars[3].meter.length == 3


def test_chords_rests_triplets_graces_and_voices():
    found = line("2/4", "alto", "C4+E4 e3 r e3 D4 e3 G4 g A4 q | C4 h & r q A3 q:3")
    values = [(e.address, e.onset, e.duration) for e in found.in_bar(1)]
    assert values == [
        ("b1n1", 0, Fraction(1, 3)), ("b1n2", Fraction(1, 3), Fraction(1, 3)), ("b1n3", Fraction(2, 3), Fraction(1, 3)),
        ("b1n4", 1, 0), ("b1n5", 1, 1),
    ]  # fmt: skip
    assert [(e.voice, e.tremolo) for e in found.in_bar(2)] == [(1, 0), (2, 0), (2, 3)]
