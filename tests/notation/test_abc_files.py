"""ABC files: encodings, books of tunes, voices, and files that are none."""

from __future__ import annotations

import time

import pytest

from repertoire.notation import files
from repertoire.notation.abc import is_abc, list_contents, read_part
from repertoire.notation.musicxml import FileError

BOOK = """%abc-2.1
M:4/4
L:1/8
X:1
T:First lesson
C:Ada Fell
K:C clef=alto
C8|D8|

X:2
T:Second lesson
K:G
V:1 name="Violin"
V:2 name="Viola" clef=alto
V:1
G8|A8|
V:2
G,8|A,8|B,8|

X:3
T:Third lesson
K:C
A8 k8|
"""


def test_each_voice_of_each_tune_is_a_part():
    contents = list_contents(BOOK.encode(), "book.abc")
    assert [(p.number, p.name, p.instrument, p.clef, p.bars, p.notes) for p in contents.parts] == [
        (1, "1. First lesson", "viola", "alto", 2, 2),
        (2, "2. Second lesson, Violin", "violin", "treble", 2, 2),
        (3, "2. Second lesson, Viola", "viola", "alto", 3, 3),
        (4, "3. Third lesson", "", "treble", 1, 1),
    ]
    assert [p.problem for p in contents.parts[:3]] == ["", "", ""]
    assert contents.parts[3].problem == "line 23, column 4: “k” has no meaning in the music."
    assert (contents.title, contents.composer) == ("", "")


def test_a_part_is_chosen_by_number_or_name():
    read = read_part(BOOK.encode(), "book.abc", 3)
    assert [p.name for p in read.movements[0].line.pitches] == ["G3", "A3", "B3"]
    assert (read.name, read.instrument, read.title) == ("2. Second lesson, Viola", "viola", "Second lesson")
    assert read_part(BOOK.encode(), "book.abc", "1. First lesson").composer == "Ada Fell"
    with pytest.raises(FileError, match="no tune “9”"):
        read_part(BOOK.encode(), "book.abc", 9)
    with pytest.raises(FileError, match="line 23, column 4"):
        read_part(BOOK.encode(), "book.abc", 4)


def test_one_tune_gives_the_title_and_composer():
    contents = list_contents(b"X:1\nT:Air\nC:Ada Fell\nM:4/4\nL:1/8\nK:C alto\nA8|", "air.abc")
    assert (contents.title, contents.composer, [p.name for p in contents.parts]) == ("Air", "Ada Fell", ["Viola"])
    assert [(p.low.name, p.high.name) for p in contents.parts[0].movements] == [("A4", "A4")]


def test_voices_may_change_within_a_line():
    text = b"X:1\nM:4/4\nL:1/8\nK:C\n[V:1]A8|[V:2]C8|\n[V:1]B8|[V:2]D8|"
    assert [p.notes for p in list_contents(text, "a.abc").parts] == [2, 2]
    assert [p.name for p in read_part(text, "a.abc", 2).movements[0].line.pitches] == ["C4", "D4"]


def test_music_after_an_empty_line_is_named():
    read = read_part(b"X:1\nM:4/4\nL:1/8\nK:C\nA8|\n\nB8|\nc8|\n", "a.abc", 1)
    assert len(read.movements[0].line.bars) == 1
    assert [left.what for left in read.left_out] == [
        "An empty line ends a tune: this line and what follows up to the next X: isn’t read (line 7, column 1)."
    ]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
def test_encodings(encoding):
    data = "X:1\nT:Prélude\nM:4/4\nL:1/8\nK:C\nA8|".encode(encoding)
    assert is_abc(data, "a.abc")
    assert list_contents(data, "a.abc").title == "Prélude"


@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r"])
def test_ends_of_lines(ends):
    data = "X:1\nM:4/4\nL:1/8\nK:C\nA8|\nB8 k|".replace("\n", ends).encode()
    assert list_contents(data, "a.abc").parts[0].problem.startswith("line 6, column 4")


@pytest.mark.parametrize(
    ("data", "name", "format"),
    [
        (b"X:1\nK:C\nA8|", "tune.abc", "abc"),
        (b"X:1\nK:C\nA8|", "tune.txt", "abc"),
        (b"%abc-2.1\nX:1", "tune", "abc"),
        (b"<?xml version='1.0'?><score-partwise/>", "tune.abc", "musicxml"),
        (b"PK\x03\x04", "tune.abc", "musicxml"),
        (b"", "tune.mxl", "musicxml"),
    ],
)
def test_which_format_a_file_has(data, name, format):
    assert files.format_of(data, name) == format


@pytest.mark.parametrize(
    "data",
    [b"", b"X:1\n", b"X:1\nT:Nothing\nK:C\n", b"\x00\x01\x02" * 40, b"X:1\nK:C\n\x00", b"no music at all"],
)
def test_files_without_music_are_refused(data):
    with pytest.raises(FileError, match=r".{30}"):
        list_contents(data, "a.abc")


def test_only_rests_are_no_part():
    contents = list_contents(b"X:1\nM:4/4\nL:1/8\nK:C\nz8|Z4|", "a.abc")
    assert contents.parts[0].problem == "there are no notes in it."
    with pytest.raises(FileError, match="no notes"):
        read_part(b"X:1\nM:4/4\nL:1/8\nK:C\nz8|Z4|", "a.abc", 1)


@pytest.mark.parametrize("music", ["u" * 149_000, "A>B" * 40_000, "(A)|" * 30_000, "[K:G]" * 25_000, "A|" * 70_000])
def test_a_long_tune_ends_soon(music):
    start = time.process_time()
    contents = list_contents(f"X:1\nM:4/4\nL:1/8\nK:C\n{music}".encode(), "a.abc")
    assert contents.parts[0].problem
    assert time.process_time() - start < 8


def test_a_tune_that_is_too_long_is_no_part():
    contents = list_contents(f"X:1\nM:4/4\nL:1/8\nK:C\n{'A8|' * 60_000}".encode(), "a.abc")
    assert contents.parts[0].problem.startswith("line 1, column 1: This tune has more than 150,000 characters")
    with pytest.raises(FileError, match="too long"):
        list_contents(b"X:1\nK:C\n" + b"A8|" * 250_000, "a.abc")


def test_too_many_tunes_are_refused():
    with pytest.raises(FileError, match="more than 500 tunes"):
        list_contents(b"X:1\nM:4/4\nK:C\nA8|\n\n" * 501, "a.abc")
