"""Bars and beats as a teacher writes them."""

from dataclasses import replace
from fractions import Fraction

import pytest

from repertoire.bounds import Bounds, BoundsError, read_bounds, write_bounds, write_place
from tests.technique.lines import line

# A quarter upbeat, then four full bars; the printed numbers are 0, 1, 2, 2, 3.
BARS = line("4/4", "alto", "C4 q | D4 q E4 q F4 q G4 q | A4 h B4 h | C5 w | D4 q C4 h.")
NUMBERED = replace(BARS, bars=tuple(replace(b, number=n) for b, n in zip(BARS.bars, "01223", strict=True)))


@pytest.mark.parametrize(
    "text, expected",
    [
        ("1", Bounds(2, "", 2, "", "1", "1")),
        ("1–3", Bounds(2, "", 5, "", "1", "3")),
        ("bars 1 to 3", Bounds(2, "", 5, "", "1", "3")),
        ("1/2 - 3/2½", Bounds(2, "2", 5, "5/2", "1", "3")),
        ("1/2.5", Bounds(2, "5/2", 2, "", "1", "1")),
        ("1/2 1/3 – 3", Bounds(2, "7/3", 5, "", "1", "3")),
        ("2(1)–2(2)", Bounds(3, "", 4, "", "2", "2")),
        # Beat 1 is where the bar begins, so nothing is cut from it.
        ("1/1–3", Bounds(2, "", 5, "", "1", "3")),
        # The upbeat is the fourth beat of its bar.
        ("0/4–1", Bounds(1, "", 2, "", "0", "1")),
    ],
)
def test_reads_bars_and_beats(text, expected):
    assert read_bounds(text, NUMBERED) == expected


@pytest.mark.parametrize(
    "text, words",
    [
        ("9", "There is no bar 9 in this movement: its bars run from 0 to 3."),
        ("2", "The number 2 is printed 2 times"),
        ("2(3)", "there is no 2(3)"),
        ("3–1", "3 comes after 1"),
        ("1/5", "Bar 1 has no beat 5: it has beats 1 to 4."),
        ("0/1", "Bar 0 has no beat 1: it has beats 4 to 4."),
        ("1/x", "“x” is not a beat of bar 1"),
        ("1–2(1)–3", "Write the first and the last bar"),
        ("", "Write the first and the last bar"),
        ("1/3 – 1/2", "1/3 comes after 1/2"),
    ],
)
def test_says_what_is_wrong(text, words):
    with pytest.raises(BoundsError) as error:
        read_bounds(text, NUMBERED)
    assert words in str(error.value)


def test_without_notation_bars_count_from_one():
    assert read_bounds("12/2–19", None, 48) == Bounds(12, "2", 19, "", "12", "19")
    with pytest.raises(BoundsError, match="bars 1 to 48"):
        read_bounds("12–49", None, 48)


@pytest.mark.parametrize("text", ["1–3", "1/2–3/2½", "2(1)–2(2)", "2(2)", "1/2 1/8–3"])
def test_writes_what_it_reads(text):
    assert write_bounds(NUMBERED, read_bounds(text, NUMBERED)) == text


def test_a_bar_is_written_with_its_turn_only_where_the_number_repeats():
    assert write_place(NUMBERED, 2) == "1"
    assert write_place(NUMBERED, 4, Fraction(7, 3)) == "2(2)/2⅓"
    assert write_place(None, 7) == "7"


# Bar 8 is split by a repeat, and the first ending's bars have letters: 7, 8 (two halves), 9, 9a, 9b, 10.
SPLIT = line("4/4", "alto", "C4 w | D4 h. :| E4 q | F4 w | C4 w | D4 w | E4 w")
SPLIT = replace(
    SPLIT,
    bars=tuple(
        replace(b, number=n, missing=Fraction(3) if b.index == 3 else b.missing)
        for b, n in zip(SPLIT.bars, ("7", "8", "8", "9", "9a", "9b", "10"), strict=True)
    ),
)


@pytest.mark.parametrize(
    "text, expected",
    [
        ("8", Bounds(2, "", 3, "", "8", "8")),
        ("7–8", Bounds(1, "", 3, "", "7", "8")),
        ("8–9", Bounds(2, "", 4, "", "8", "9")),
        ("8(2)–9", Bounds(3, "", 4, "", "8", "9")),
        ("8/2–8/4", Bounds(2, "2", 3, "4", "8", "8")),
        ("9a–9B", Bounds(5, "", 6, "", "9a", "9b")),
    ],
)
def test_a_bar_split_by_a_repeat_is_one_bar(text, expected):
    assert read_bounds(text, SPLIT) == expected


@pytest.mark.parametrize("text", ["8", "7–8", "8–9", "8(1)", "8(2)–9", "9a–9b"])
def test_a_split_bar_is_written_as_it_is_read(text):
    assert write_bounds(SPLIT, read_bounds(text, SPLIT)) == text


def test_bars_with_letters_are_named_where_one_is_not_found():
    with pytest.raises(BoundsError, match="from 7 to 10, with 9a and 9b\\."):
        read_bounds("12", SPLIT)
