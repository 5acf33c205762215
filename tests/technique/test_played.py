"""Written to played order: repeats, endings, da capo, and passages cut out of them."""

from dataclasses import replace

from repertoire.technique.line import Line
from repertoire.technique.played import played, played_bars, played_length
from tests.technique.lines import line


def order(passage: Line) -> list[int]:
    return [b.bar.index for b in played_bars(passage)]


def with_jumps(passage: Line, **jumps: str) -> Line:
    return replace(passage, bars=tuple(replace(b, jump=jumps.get(f"b{b.index}", "")) for b in passage.bars))


def test_a_plain_line_is_played_as_written():
    assert order(line("2/4", "alto", "C4 h | D4 h | E4 h")) == [1, 2, 3]


def test_repeat_from_its_sign_and_from_the_beginning():
    assert order(line("2/4", "alto", "C4 h | |: D4 h | E4 h :| F4 h")) == [1, 2, 3, 2, 3, 4]
    assert order(line("2/4", "alto", "C4 h | D4 h :| E4 h")) == [1, 2, 1, 2, 3]


def test_two_repeats_in_a_row():
    assert order(line("2/4", "alto", "|: C4 h :| |: D4 h :| E4 h")) == [1, 1, 2, 2, 3]
    assert order(line("2/4", "alto", "C4 h :| D4 h :| E4 h")) == [1, 1, 2, 2, 3]


def test_endings_and_what_follows_them():
    assert order(line("2/4", "alto", "|: C4 h | [1 D4 h :| [2 E4 h | F4 h")) == [1, 2, 1, 3, 4]
    assert order(line("2/4", "alto", "|: C4 h | [1,2 D4 h :| [3 E4 h | F4 h :|")) == [1, 2, 1, 2, 1, 3, 4, 4]


def test_da_capo_takes_no_repeats_and_stops_at_fine():
    passage = line("2/4", "alto", "|: C4 h | [1 D4 h :| [2 E4 h | F4 h")
    assert order(with_jumps(passage, b3="fine", b4="dacapo")) == [1, 2, 1, 3, 4, 1, 3]


def test_dal_segno_to_the_coda():
    passage = line("2/4", "alto", "C4 h | D4 h | E4 h | F4 h | G4 h")
    assert order(with_jumps(passage, b2="segno", b3="tocoda", b4="dalsegno", b5="coda")) == [1, 2, 3, 4, 2, 3, 5]


def test_passes_onsets_and_length():
    passage = line("2/4", "alto", "|: C4 q D4 q | [1 E4 h :| [2 F4 h")
    found = [(p.event.address, p.pass_number, p.onset) for p in played(passage)]
    assert found == [
        ("b1n1", 1, 0), ("b1n2", 1, 1), ("b2n1", 1, 2), ("b1n1", 2, 4), ("b1n2", 2, 5), ("b3n1", 1, 6),
    ]  # fmt: skip
    assert played_length(passage) == 8
    assert [b.after_jump for b in played_bars(passage)] == [False, False, True, True]


def test_a_cut_whose_repeat_begins_outside_is_played_once():
    passage = line("2/4", "alto", "C4 h | |: D4 h | E4 h | [1 F4 h :| [2 G4 h")
    cut = Line(passage.bars[2:], tuple(e for e in passage.events if e.bar > 2))
    assert order(cut) == [3, 4, 5]
    only_second = Line(passage.bars[4:], tuple(e for e in passage.events if e.bar > 4))
    assert order(only_second) == [5]
