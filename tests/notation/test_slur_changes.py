"""Slurs that differ, told bar by bar."""

from repertoire.notation.slur_changes import slur_changes
from repertoire.technique.marks import changes
from tests.technique.lines import line, marks

EIGHTHS = "C4 e D4 e E4 e F4 e G4 e A4 e B4 e C5 e"
MUSIC = line("4/4", "alto", f"{EIGHTHS} | {EIGHTHS} | {EIGHTHS} | C4 w")


def slurs(size: int, *bars: int):
    texts = [f"slur b{bar}n{n} b{bar}n{n + size - 1}" for bar in bars for n in range(1, 9, size)]
    return marks(*texts)


def told(before, after):
    return [(c.where(MUSIC), c.address, c.words) for c in slur_changes(MUSIC, changes(before, after))]


def test_bars_that_change_alike_are_one_line():
    assert told(slurs(4, 1, 2, 3), slurs(2, 1, 2, 3)) == [
        ("bars 1 to 3", "b1n1", "slurs over 2 notes instead of 4"),
    ]
    assert told((), slurs(4, 1, 2)) == [("bars 1 to 2", "b1n1", "slurs added, beats 1 to 2½, 3 to 4½")]
    assert told(slurs(4, 1, 3), ()) == [
        ("bar 1", "b1n1", "slurs taken out, beats 1 to 2½, 3 to 4½"),
        ("bar 3", "b3n1", "slurs taken out, beats 1 to 2½, 3 to 4½"),
    ]


def test_uneven_slurs_are_told_by_their_beats():
    assert told(slurs(4, 2), marks("slur b2n1 b2n3", "slur b2n4 b2n8")) == [
        ("bar 2", "b2n1", "slurs on beats 1 to 2, 2½ to 4½ instead of beats 1 to 2½, 3 to 4½"),
    ]


def test_one_slur_is_told_at_its_beat():
    assert told((), marks("slur b1n3 b1n4")) == [("bar 1, beat 2", "b1n3", "slur to beat 2½, added")]
    assert told(marks("slur b3n7 b4n1"), ()) == [("bar 3, beat 4", "b3n7", "slur to bar 4, beat 1, taken out")]
    assert told((), marks("slur b3n8 b5n1")) == [("bar 3, beat 4½", "b3n8", "slur beyond the passage, added")]


def test_equal_slurs_moved_are_told_by_their_beats():
    assert told(marks("slur b1n1 b1n2"), marks("slur b1n2 b1n3")) == [
        ("bar 1", "b1n1", "slur on beats 1½ to 2 instead of beats 1 to 1½"),
    ]
