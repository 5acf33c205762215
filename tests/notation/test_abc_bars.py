"""Reading ABC: bars, repeats, keys, clefs, metres and tempos. Expected values are written out by hand."""

from __future__ import annotations

from fractions import Fraction as F

import pytest

from repertoire.notation.abc import read_text
from repertoire.technique.line import Value

from .abc_text import HEAD, notes, read, said, wrong


def bars(music, head=HEAD):
    return [
        (b.number, b.repeat_start, b.repeat_end, b.ending, b.barline) for b in read(music, head).line.bars
    ]  # fmt: skip


def test_barlines():
    assert bars("A8|B8||c8.|d8|]") == [
        ("1", False, 0, (), ""), ("2", False, 0, (), "light-light"), ("3", False, 0, (), "dotted"),
        ("4", False, 0, (), "light-heavy"),
    ]  # fmt: skip


def test_repeats_and_endings():
    assert bars("|:A8|1B8:|2c8||d8::e8:|") == [
        ("1", True, 0, (), ""), ("2", False, 2, (1,), ""), ("3", False, 0, (2,), "light-light"),
        ("4", False, 2, (), ""), ("5", True, 2, (), ""),
    ]  # fmt: skip
    assert bars("|:A8|[1,3B8:|[2c8|]")[1:] == [("2", False, 2, (1, 3), ""), ("3", False, 0, (2,), "light-heavy")]
    assert bars("|:A8:||:B8:|") == bars("|:A8:|\n|:B8:|") == bars("|: A8 :: B8 :|")


def test_a_part_may_be_repeated_more_than_once():
    assert [b[2] for b in bars("|::A8::|B8:|")] == [3, 2]


def test_an_ending_lasts_to_a_repeat_or_a_double_bar():
    assert [b[3] for b in bars("|:A8|1 B8|c8:|2 d8|e8||f8|")] == [(), (1,), (1,), (2,), (2,), ()]


def test_an_upbeat_is_bar_0():
    line = read("G2|A8|B6:|").line
    assert [(b.number, b.missing) for b in line.bars] == [("0", F(3)), ("1", F(0)), ("2", F(0))]
    assert said("G2|A8|B6:|") == []


def test_a_bar_parted_by_a_repeat_is_counted_once():
    line = read("A8|B6:|G2|A8|").line
    assert [b.number for b in line.bars] == ["1", "2", "2", "3"]


@pytest.mark.parametrize(
    ("music", "what"),
    [
        ("A8|B6|c8|", "The bar is too short for 4/4: 3 quarter notes instead of 4 quarter notes."),
        ("A8|B8c|d8|", "The bar is too long for 4/4: 4½ quarter notes instead of 4 quarter notes."),
        ("A8|B8|c2|]", "The bar is too short for 4/4: 1 quarter note instead of 4 quarter notes."),
        ("G2|A8|B8|]", None),
        ("G2|A8|B6|]", None),
    ],
)
def test_bars_that_dont_add_up(music, what):
    assert said(music) == ([what] if what else [])


def test_the_place_of_a_bar_that_doesnt_add_up():
    remark = read_text(HEAD + "A8|\nB6|c8|").remarks[0]
    assert (remark.line, remark.column, remark.bar) == (5, 1, "2")


@pytest.mark.parametrize(
    ("key", "sharps", "mode"),
    [
        # [P] The ABC music standard 2.1, section 3.1.14, table of modes.
        ("C", 0, "major"), ("Am", 0, "minor"), ("G mix", 0, "mixolydian"), ("DMix", 1, "mixolydian"),
        ("Ddor", 0, "dorian"), ("E Phr", 0, "phrygian"), ("F lydian", 0, "lydian"), ("BLoc", 0, "locrian"),
        ("F#", 6, "major"), ("Bb", -2, "major"), ("Gm", -2, "minor"), ("g", None, ""), ("C#", 7, "major"),
        ("Cb", -7, "major"), ("A#m", 7, "minor"), ("D minor", -1, "minor"), ("Emaj", 4, "major"),
        ("E ionian", 4, "ionian"),
        ("none", 0, ""), ("", 0, "major"), ("D =c", 1, ""), ("D exp ^f", 1, ""),
    ],
)  # fmt: skip
def test_keys(key, sharps, mode):
    found = read_text(f"M:4/4\nL:1/8\nK:{key}\nF8|")
    if sharps is None:
        assert [(r.line, r.column) for r in found.wrong] == [(3, 3)]
        return
    bar = found.part.movements[0].line.bars[0]
    assert bar.key == sharps
    assert key == "" or bar.mode == mode


def test_a_key_with_signs_of_its_own():
    head = "M:4/4\nL:1/8\nK:D phr ^f\n"
    found = read_text(head + "F2 B2 E2 c2|")
    assert found.wrong == ()
    assert [p.name for p in found.part.movements[0].line.pitches] == ["F#4", "Bb4", "Eb4", "C5"]
    assert [r.what for r in found.remarks] == [
        "No customary signature has these signs: they are written at the notes instead."
    ]


def test_the_key_works_on_the_notes():
    assert notes("FCGDAEB|", "M:none\nL:1/8\nK:E\n") == ["F#4", "C#4", "G#4", "D#4", "A4", "E4", "B4"]
    assert notes("BEAD|", "M:none\nL:1/8\nK:Ab\n") == ["Bb4", "Eb4", "Ab4", "Db4"]


@pytest.mark.parametrize(
    ("told", "clef", "first"),
    [
        ("clef=alto", "alto", "C4"), ("alto", "alto", "C4"), ("clef=treble", "treble", "C4"), ("bass", "bass", "C4"),
        ("clef=tenor", "tenor", "C4"), ("alto1", "soprano", "C4"), ("alto2", "mezzo", "C4"),
        ("clef=alto4", "tenor", "C4"),
        ("treble-8", "treble8vb", "C3"), ("clef=treble+8", "treble8va", "C5"), ("clef=bass octave=-1", "bass", "C3"),
        ("octave=1", "treble", "C5"),
    ],
)  # fmt: skip
def test_clefs(told, clef, first):
    line = read("C8|", f"M:4/4\nL:1/8\nK:C {told}\n").line
    assert line.bars[0].clef == clef
    assert next(line.pitches).name == first


@pytest.mark.parametrize("told", ["clef=perc", "clef=bass3", "middle=d", "altoo", "octave=9", "clef=alto-8"])
def test_clefs_that_cant_be_kept_are_refused(told):
    assert wrong("C8|", f"M:4/4\nL:1/8\nK:C {told}\n") == [(3, 3, "")]


def test_changes_on_the_way():
    line = read("A8|[K:G]F8|[M:2/4]F4|[L:1/4]F2|[K:clef=treble]c2|\nK:D alto\nF2|").line
    assert [(b.key, str(b.meter), b.clef, b.key_shown, b.meter_shown) for b in line.bars] == [
        (0, "4/4", "alto", True, True), (1, "4/4", "alto", True, False), (1, "2/4", "alto", False, True),
        (1, "2/4", "alto", False, False), (1, "2/4", "treble", False, False), (2, "2/4", "alto", True, False),
    ]  # fmt: skip
    assert [p.name for p in line.pitches] == ["A4", "F#4", "F#4", "F#4", "C5", "F#4"]


def test_a_clef_changes_within_a_bar_and_a_key_before_its_barline():
    line = read("A4[K:clef=treble]c4[K:G]|F8|").line
    assert [(c.name, c.onset) for c in line.bars[0].clefs] == [("alto", F(0)), ("treble", F(2))]
    assert (line.bars[0].key, line.bars[1].key, line.bars[1].clef) == (0, 1, "treble")
    assert line.events[-1].pitches[0].name == "F#4"


def test_a_key_cant_change_among_the_notes_of_a_bar():
    assert wrong("A4[K:G]F4|A8|") == [(4, 8, "1")]


@pytest.mark.parametrize(
    ("told", "beats", "beat_type", "symbol"),
    [("3/4", "3", 4, ""), ("C", "4", 4, "common"), ("C|", "2", 2, "cut"), ("(2+3)/8", "2+3", 8, ""),
        ("3+2/8", "3+2", 8, "")],
)  # fmt: skip
def test_metres(told, beats, beat_type, symbol):
    meter = read("A|", f"M:{told}\nL:1/8\nK:C\n").line.bars[0].meter
    assert (meter.beats, meter.beat_type, meter.symbol) == (beats, beat_type, symbol)


@pytest.mark.parametrize(
    ("told", "words", "unit", "number"),
    [
        ("1/4=84", "", Value("quarter"), F(84)),
        ('"Andante" 3/8=50', "Andante", Value("quarter", 1), F(50)),
        ('1/2=60 "Alla breve"', "Alla breve", Value("half"), F(60)),
        ('"Largo"', "Largo", None, None),
        ("100", "", Value("eighth"), F(100)),
        ("1/4 1/8=92.5", "", Value("quarter", 1), F(185, 2)),
    ],
)
def test_tempos(told, words, unit, number):
    (mark,) = read("A8|", f"M:4/4\nL:1/8\nQ:{told}\nK:C\n").line.bars[0].tempos
    assert (mark.words, mark.unit, mark.per_minute, mark.onset) == (words, unit, number, F(0))


def test_a_tempo_on_the_way_stands_where_it_is_written():
    (mark,) = read('A8|A4[Q:"poco rit."]A4|').line.bars[1].tempos
    assert (mark.words, mark.onset) == ("poco rit.", F(2))
