"""Pitches and lengths of ABC as read here and as music21 10.5 reads them, where it reads faithfully.

Source: music21's own reader of ABC, written from the same standard by others. Left out is what
it is known to read otherwise: how far a sign holds within its bar, inline keys, clefs, decorations.
"""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from music21 import converter

from repertoire.notation.abc import read_text

HEAD = "X:1\nT:t\nM:{}\nL:1/8\nK:{}\n"


def as_music21_reads(text):
    found = []
    for note in converter.parse(text, format="abc").recurse().notesAndRests:
        names = tuple(p.nameWithOctave for p in note.pitches)
        tie = note.tie is not None and note.tie.type in ("start", "continue")
        found.append((names, 0 if note.duration.isGrace else note.duration.quarterLength, tie))
    return found


def as_read_here(text):
    reading = read_text(text)
    assert reading.wrong == ()
    return [
        (tuple(p.name.replace("b", "-") for p in e.pitches), e.duration, any(e.tied_to))
        for e in reading.part.movements[0].line.events
    ]


@pytest.mark.parametrize("key", ["C", "D", "Gm", "Eb", "F#m", "A mix", "E phr", "Bb lyd", "D dor"])
@pytest.mark.parametrize(
    "music",
    [
        "FCGD|cfBe|ABCD|",
        "^F2_B2 ^c2_e2|F4f4|__A4^^g4|",
        "A>B c<d A2>B2|A>>B c<<d A4|",
        "(3ABc (3A2B2c2 z2|(2AB (4ABcd (6ABcdef|",
        "[DF]2[GB]4z2|[CEG]8|",
        "A2-A2 B4-|B8|",
        "{g}A2 {gab}c2 d4|",
        "|:A8|1B8:|2c8|]",
        "A3/2B/ c/d/ e2 z3|A//B//c/ d3/ e/|",
        "C,G,Dc' e'2c''2|",
        "(AB)(c(de)f)|",
    ],
)
def test_the_same_notes(key, music):
    text = HEAD.format("4/4", key) + music
    assert as_read_here(text) == as_music21_reads(text)


NOTE = st.tuples(st.sampled_from("CDEFGABcdefgab"), st.sampled_from(["", "", "", "2", "3", "/", "4", "3/2", "/4"])).map(
    "".join
)
THING = st.one_of(
    NOTE, NOTE, NOTE,
    st.sampled_from(["z", "z2", "(3ABc", "(3g2f2e2", "[CE]2", "[D,A]4", "A>B", "e<f", "(AB)",
        "(c d e)", "{g}A2", "G2-G2"]),
)  # fmt: skip


KEYS = st.sampled_from(["C", "D", "Bb", "Em", "Fm"])
BARS = st.lists(st.lists(THING, min_size=1, max_size=6), min_size=1, max_size=4)


@given(KEYS, BARS)
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_the_same_notes_of_made_up_music(key, bars):
    # The metre is longer than any bar made here: music21 parts a bar that is too long in two.
    text = HEAD.format("32/4", key) + "G2|" + "|".join(" ".join(bar) for bar in bars) + "|"
    assert as_read_here(text) == as_music21_reads(text)
