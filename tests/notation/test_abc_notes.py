"""Reading ABC: notes, lengths, tuplets, chords, grace notes, rests, ties. Expected values are written out by hand."""

from __future__ import annotations

from fractions import Fraction as F

import pytest

from repertoire.notation.abc import read_text
from repertoire.technique.line import Value

from .abc_text import HEAD, lengths, notes, read, said, wrong


def test_octaves():
    assert notes("C,, C, C c c' c''|") == ["C2", "C3", "C4", "C5", "C6", "C7"]
    assert notes("C,D,E,F, G,A,B,C|") == ["C3", "D3", "E3", "F3", "G3", "A3", "B3", "C4"]


def test_signs_before_notes():
    assert notes("^F _B ^^C __D =F|") == ["F#4", "Bb4", "C##4", "Dbb4", "F4"]


def test_a_sign_holds_to_the_barline_in_every_octave_and_the_other_octave_is_pointed_out():
    assert notes("^FF f2 F4|F4 f4|") == ["F#4", "F#4", "F#5", "F#4", "F4", "F5"]
    assert said("^FF f2 F4|F4 f4|") == [
        "F follows the sign in another octave of this bar, as in ABC. If it shouldn’t, write = before it."
    ]
    assert notes("^FF =f2 F4|") == ["F#4", "F#4", "F5", "F4"]


@pytest.mark.parametrize(
    ("how", "expected"),
    [
        ("not", ["F#4", "F4", "F5"]),
        ("octave", ["F#4", "F#4", "F5"]),
        ("pitch", ["F#4", "F#4", "F#5"]),
    ],
)
def test_how_far_a_sign_holds_can_be_said(how, expected):
    assert notes("^F2F2f4|", f"%%propagate-accidentals {how}\n{HEAD}") == expected
    assert notes("^F2F2f4|", f"I:propagate-accidentals {how}\n{HEAD}") == expected


def test_a_tie_carries_its_sign_over_the_barline_and_no_further():
    assert notes("^F8-|F4 F4|") == ["F#4", "F#4", "F4"]


def test_lengths():
    assert lengths("A A2 A3 A4 A/ A// A/4 A3/2 A3/ A6|", "M:none\nL:1/8\nK:C\n") == [
        F(1, 2), F(1), F(3, 2), F(2), F(1, 4), F(1, 8), F(1, 8), F(3, 4), F(3, 4), F(3),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("head", "unit"),
    [
        ("M:4/4\nK:C\n", F(1, 2)),
        ("M:3/4\nK:C\n", F(1, 2)),
        ("M:6/8\nK:C\n", F(1, 2)),
        ("M:2/4\nK:C\n", F(1, 4)),
        ("M:3/8\nK:C\n", F(1, 4)),
        ("M:2/4\nL:1/4\nK:C\n", F(1)),
        ("K:C\n", F(1, 2)),
        ("L:1/16\nM:4/4\nK:C\n", F(1, 4)),
    ],
)
def test_the_unit_of_length_follows_the_metre_where_it_isnt_told(head, unit):
    # [P] The ABC music standard 2.1, section 3.1.7: below 0.75 a sixteenth, else an eighth.
    assert lengths("A|", head) == [unit]


def test_written_values():
    values = [e.value for e in read("A8|A6A2|A3A A//A//A/ A A2|").line.events]
    assert values == [
        Value("whole"), Value("half", 1), Value("quarter"), Value("quarter", 1), Value("eighth"), Value("32nd"),
        Value("32nd"), Value("16th"), Value("eighth"), Value("quarter"),
    ]  # fmt: skip


def test_a_length_no_note_has_is_refused():
    assert wrong("A5 A3|") == [(4, 1, "1")]


def test_broken_rhythm():
    assert lengths("A>B c<d|", "M:2/4\nL:1/8\nK:C\n") == [F(3, 4), F(1, 4), F(1, 4), F(3, 4)]
    assert lengths("A>>B c<<d|", "M:2/4\nL:1/8\nK:C\n") == [F(7, 8), F(1, 8), F(1, 8), F(7, 8)]
    assert lengths("A > B [ce]>d|", "M:2/4\nL:1/8\nK:C\n") == [F(3, 4), F(1, 4), F(3, 4), F(1, 4)]
    assert lengths("A2>B2|", "M:2/4\nL:1/8\nK:C\n") == [F(3, 2), F(1, 2)]
    assert lengths("A>{c}B c>z|", "M:2/4\nL:1/8\nK:C\n") == [F(3, 4), F(0), F(1, 4), F(3, 4), F(1, 4)]


@pytest.mark.parametrize(
    ("text", "ratio", "each"),
    [
        ("(3ABc", (3, 2), F(1, 3)),
        ("(2AB", (2, 3), F(3, 4)),
        ("(4ABcd", (4, 3), F(3, 8)),
        ("(5:4ABcde", (5, 4), F(2, 5)),
        ("(6ABcdef", (6, 2), F(1, 6)),
        ("(3:2:4ABcd", (3, 2), F(1, 3)),
        ("(3::2AB", (3, 2), F(1, 3)),
        ("(7:4ABcdefg", (7, 4), F(2, 7)),
    ],
)
def test_tuplets(text, ratio, each):
    events = read(text, "M:none\nL:1/8\nK:C\n").line.events
    assert {e.duration for e in events} == {each}
    assert {e.value for e in events} == {Value("eighth", 0, ratio)}
    assert events[0].tuplet_ends == ("start",)
    assert events[-1].tuplet_ends == ("stop",)
    assert all(e.tuplet_ends == () for e in events[1:-1])


@pytest.mark.parametrize(("metre", "times"), [("6/8", 3), ("9/8", 3), ("4/4", 2), ("3/4", 2)])
def test_five_and_seven_take_the_time_of_the_metre(metre, times):
    # [P] The ABC music standard 2.1, section 4.13: n is 3 in compound time, else 2.
    assert read("(5ABcde", f"M:{metre}\nL:1/8\nK:C\n").line.events[0].value.tuplet == (5, times)


def test_a_tuplet_of_mixed_values():
    assert lengths("(3A2B c4 d2|", "M:4/4\nL:1/8\nK:C\n")[:3] == [F(2, 3), F(1, 3), F(4, 3)]


def test_chords():
    assert notes("[CEG]2 [GEC]4 [C2E2] [D,^F]|")[:3] == ["C4+E4+G4"] * 2 + ["C4+E4"]
    assert lengths("[C2E2]2 [CE]4|") == [F(2), F(2)]
    assert wrong("[C2E4]2 z4|") == [(4, 1, "1")]


def test_grace_notes():
    events = read("{G}A2 {/B}A2 {fga}A4|").line.events
    assert [(e.grace, e.value.type, e.duration) for e in events if e.grace] == [
        ("plain", "eighth", F(0)), ("slashed", "eighth", F(0)), *[("plain", "16th", F(0))] * 3,
    ]  # fmt: skip
    assert [e.beams for e in events[-4:-1]] == [("begin", "begin"), ("continue", "continue"), ("end", "end")]


def test_beams_follow_the_spaces():
    events = read("ABcd e2 f/g/a|c8|").line.events
    assert [e.beams for e in events] == [
        ("begin",), ("continue",), ("continue",), ("end",), (), ("begin", "begin"), ("continue", "end"), ("end",), (),
    ]  # fmt: skip
    assert [e.beams for e in read("AB`cd|", "M:2/4\nL:1/8\nK:C\n").line.events][1:3] == [("continue",)] * 2


def test_rests():
    assert notes("z2 z2 A4|z8|") == ["r", "r", "A4", "r"]
    events = read("z8|A4z4|").line.events
    assert [e.whole_bar for e in events] == [True, False, False]
    assert said("x4 A4|") == ["An invisible rest (x) is kept as a rest."]


def test_bars_of_rest():
    line = read("A8|Z3|B8|").line
    assert [b.number for b in line.bars] == ["1", "2", "3", "4", "5"]
    assert [e.whole_bar for e in line.events] == [False, True, True, True, False]
    assert {e.duration for e in line.events} == {F(4)}


def test_two_voices_of_a_bar():
    events = read("c4 d4 & E8|").line.events
    assert [(e.voice, e.onset, e.pitches[0].name) for e in events] == [
        (1, F(0), "C5"), (2, F(0), "E4"), (1, F(2), "D5"),
    ]  # fmt: skip


def test_ties():
    events = read("A4-A4|[CE]4-[CE]4|[C-E]4[CE]4|A8-|A8|").line.events
    assert [(e.tied_to, e.tied_from) for e in events] == [
        ((True,), (False,)), ((False,), (True,)),
        ((True, True), (False, False)), ((False, False), (True, True)),
        ((True, False), (False, False)), ((False, False), (True, False)),
        ((True,), (False,)), ((False,), (True,)),
    ]  # fmt: skip


def test_a_tie_without_its_second_note_is_named_with_its_place():
    found = read_text(HEAD + "A4-B4|c8|")
    assert [(r.line, r.column, r.what) for r in found.remarks] == [(4, 3, "A tie has no second note.")]
