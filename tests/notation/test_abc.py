"""Reading ABC: titles, fields, and what is refused or named with its place. Expected values are written out by hand."""

from __future__ import annotations

import pytest

from repertoire.notation.abc import read_text

from .abc_text import HEAD, notes, wrong


def test_title_and_composer():
    found = read_text("X:1\nT:Morning at the weir\nC:Ada Fell\nM:4/4\nL:1/8\nK:C\nA8|")
    assert (found.title, found.composer) == ("Morning at the weir", "Ada Fell")


def test_what_the_header_says_beside_is_named():
    found = read_text("X:1\nT:One\nT:Two\nC:Ada Fell\nC:Clara Moor\nR:reel\nZ:A. F.\nM:4/4\nK:C\nA8|")
    assert [(r.line, r.what) for r in found.remarks] == [
        (3, "A second title, “Two”."),
        (5, "A second composer, “Clara Moor”."),
        (6, "The information in R: stays in the text only."),
        (7, "The information in Z: stays in the text only."),
    ]


def test_a_few_notes_are_enough():
    found = read_text("ABcd")
    assert [p.name for p in found.part.movements[0].line.pitches] == ["A4", "B4", "C5", "D5"]
    assert [r.what for r in found.remarks] == [
        "There is no key (K:) before the music: it is read as C major.",
        "There is no time signature (M:): bars last as long as their notes, beats are counted in 4/4.",
    ]


def test_comments_and_continued_lines():
    assert notes("A2 B2 % a remark with notes CDEF\nc4|\n% all of it\nd4\\\ne4|") == ["A4", "B4", "C5", "D5", "E5"]


@pytest.mark.parametrize(
    ("line", "what"),
    [
        ("w: la la la", "Words to sing (w:)."),
        ("W: la la la", "Words below the music (W:)."),
        ("s: !p! * !f!", "Signs in a line of their own (s:)."),
        ("%%scale 0.7", "The instruction “scale 0.7” isn’t followed."),
        ("N:learned by ear", "The information in N: stays in the text only."),
        ("%%begintext\nA8|B8|\n%%endtext", "The instruction “begintext” isn’t followed."),
        ("I:MIDI program 42", "The instruction “MIDI program 42” isn’t followed."),
    ],
)
def test_lines_that_arent_kept_are_named(line, what):
    found = read_text(f"{HEAD}A8|\n{line}\n")
    assert found.wrong == ()
    assert [(r.line, r.what) for r in found.remarks] == [(5, what)]


@pytest.mark.parametrize(
    ("music", "place"),
    [
        ("A4 k4|", (4, 4, "1")),
        ("A4 !trill B4|", (4, 4, "1")),
        ('A4 "dolce B4|', (4, 4, "1")),
        ("A4 [CE|", (4, 4, "1")),
        ("A4 {GB4|", (4, 4, "1")),
        ("A4 {}B4|", (4, 4, "1")),
        ("A8|B4 (3cd|", (4, 7, "2")),
        ("A4 (0B4|", (4, 4, "1")),
        ("A4 B4>|B8|", (4, 7, "1")),
        ("-A8|", (4, 1, "1")),
        ("A8|-A8|", (4, 4, "2")),
        ("A4 B0 A4|", (4, 5, "1")),
        ("A" * 257, (4, 257, "1")),
        ("{A}" * 257 + "A8|", (4, 769, "")),
        ("A8|\nB4 ]|", (5, 4, "2")),
        ("A4 B4:", (4, 6, "1")),
        ("A4 C,,,,,,4|", (4, 4, "1")),
        ("A4 ^/B4|", (4, 4, "1")),
        ("m:~G2 = GAG", (4, 3, "")),
        ("A8|\nX:2\nK:C\nB8|", (5, 1, "")),
    ],
)
def test_what_cant_be_read_is_refused_with_its_place(music, place):
    assert place in wrong(music)


def test_several_voices_are_refused_by_name():
    found = read_text("M:4/4\nL:1/8\nK:C\nV:1\nA8|\nV:2\nC8|")
    assert [(r.line, r.what) for r in found.wrong] == [
        (4, "There are several voices (1, 2). Type one at a time, or import the file and choose one.")
    ]


def test_one_voice_with_its_clef_and_name():
    found = read_text('M:4/4\nL:1/8\nV:1 name="Viola II" clef=alto\nK:C clef=treble\nV:1\nC8|')
    assert found.wrong == ()
    assert (found.part.name, found.part.instrument) == ("Viola II", "viola")
    assert found.part.movements[0].line.bars[0].clef == "alto"


def test_remarks_follow_the_text():
    found = read_text(HEAD + "A4 k4|\n!5!B8|\nq8|")
    assert [(r.line, r.column) for r in found.remarks if "sign" in r.what or "meaning" in r.what] == [
        (4, 4), (5, 1), (6, 1),
    ]  # fmt: skip
