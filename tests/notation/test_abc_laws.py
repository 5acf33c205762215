"""Whatever is typed: reading ends, soon, in notes that can be stored and drawn or in places to mend."""

from __future__ import annotations

import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from repertoire.notation.abc import list_contents, read_part, read_text
from repertoire.notation.engraving import engrave
from repertoire.notation.look import Look
from repertoire.notation.musicxml import FileError
from repertoire.notation.storing import line_from_json, line_to_json
from repertoire.technique.marks import dump, load

LIMIT_SECONDS = 5.0  # of computing, for the longest text that may be typed
GOOD = """X:1
T:Made for these tests
M:3/4
L:1/8
Q:"Andante" 1/4=84
U:n=!tenuto!
K:Gm clef=alto
D | v!1!(G2 {/A}B2) u!p!A>G | [K:F]^F2 (3(GAB) Tc2- | c2 !<(!B!<)!A .G.^F | "^pizz."[!1!G,!3!D]4 z2 :|
w: la la
|: "^dolce"(d(c B)A) G2 |1 !mf!!4!d6 :|2 !>(!T!1!d4!>)! !fermata!z2 ||
P:B
[M:2/4][L:1/16] ABcd e2>f2 | c8 & E4F4 | Z2 | nA4 [K:clef=treble] (5:4ABcde S| !D.C.!c8 |]
"""
PIECES = [*"ABCDEFGabcdefgzxZXy|:[](){}<>-.'\",/&$`~!+^_=%\\@#*;?0123456789uvTHLMPSO \n",
          ":|", "|:", "::", "|]", "[1", ":|2", "[K:", "[M:", "[L:", "[V:", "[Q:", "(3", "(9:8:7", "!trill!", "!<(!",
          "!>)!", "{/", "[CEG]", "Z9", "w:", "K:", "M:", "M:3/0", "M:none", "V:2", "U:", "m:", "%%", "X:2", "+:", "é",
          "🎻", "\u2028", "\x00", "\x0b", "((((", "))))", ">>>", "^^^", ",,,,", "////", "99999"]  # fmt: skip


def check(text, *, draw=False):
    start = time.process_time()
    reading = read_text(text)
    assert time.process_time() - start < LIMIT_SECONDS
    lines = text.split("\n")
    for remark in reading.remarks:
        assert 1 <= remark.line <= len(lines.copy()) + text.count("\r")
        assert remark.column >= 1
        assert 5 < len(remark.what) < 300
    if reading.part is not None:
        (movement,) = reading.part.movements
        line, printed = movement.line, movement.printed
        assert all(e.duration >= 0 and e.onset >= 0 for e in line.events)
        assert all(e.end <= line.bar(e.bar).length for e in line.events)
        assert all(b.length > 0 for b in line.bars)
        assert all(m.at in line and (not m.to or m.to in line) for m in printed)
        assert line_from_json(line_to_json(line)) == line
        assert load(dump(printed)) == printed
        assert len(reading.bar_lines) == len(line.bars)
        if draw:
            assert engrave(line, printed, Look(printed=printed, screen=False)).systems
    return reading


def test_the_good_text_is_good():
    reading = check(GOOD, draw=True)
    assert reading.wrong == ()
    assert [r.what for r in reading.remarks] == ["Words to sing (w:)."]


@given(st.data())
@settings(max_examples=250, deadline=None)
def test_a_good_text_mutated(data):
    text = GOOD
    for _ in range(data.draw(st.integers(1, 5))):
        start = data.draw(st.integers(0, len(text)))
        end = min(len(text), start + data.draw(st.integers(0, 12)))
        text = text[:start] + data.draw(st.sampled_from(PIECES)) + text[end:]
    check(text)


@given(st.lists(st.sampled_from(PIECES), min_size=1, max_size=60))
@settings(max_examples=250, deadline=None)
def test_anything_after_a_header(pieces):
    check("M:4/4\nL:1/8\nK:C clef=alto\n" + "".join(pieces))


@given(st.text(max_size=200))
@settings(max_examples=100, deadline=None)
def test_any_text(text):
    check(text)


@given(st.data())
@settings(max_examples=25, deadline=None)
def test_what_is_read_from_a_mutated_text_can_be_drawn(data):
    start = data.draw(st.integers(90, len(GOOD)))
    end = min(len(GOOD), start + data.draw(st.integers(0, 6)))
    check(GOOD[:start] + data.draw(st.sampled_from(PIECES)) + GOOD[end:], draw=True)


@given(st.data())
@settings(max_examples=100, deadline=None)
def test_any_bytes_of_a_file(data):
    content = bytearray(GOOD.encode())
    for _ in range(data.draw(st.integers(1, 6))):
        content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
    message = ""
    try:
        contents = list_contents(bytes(content), "a.abc")
    except FileError as error:
        message = str(error)
    if message:
        assert 20 < len(message) < 900
    elif not contents.parts[0].problem:
        assert read_part(bytes(content), "a.abc", 1).movements


@pytest.mark.parametrize(
    "music",
    ["(" * 50_000, ")" * 50_000, "[" * 50_000, "{" * 50_000, "!" * 50_000, '"' * 50_000, "y" * 50_000, "A>" * 25_000,
     "(A)" * 16_000, "[K:G]" * 10_000, "|" * 50_000, "A|" * 25_000, "Z500|" * 10_000, "A" + "-" * 50_000, "&A" * 25_000,
     "!<(!A" * 10_000, "!<(!A" * 5_000 + "!>)!A" * 5_000, "{ABC}" * 10_000, "(3" * 25_000, "%" * 50_000, "\n" * 50_000,
     "w:a\n" * 12_000, "[V:1]A[V:2]B" * 4_000, ":|" * 25_000, "A" * 50_000, "." * 50_000, "u" * 50_000 + "A"],
    ids=lambda m: f"{m[:6]!r}",
)  # fmt: skip
def test_long_texts_of_one_kind_end_soon(music):
    check("M:4/4\nL:1/8\nK:C\n" + music)
