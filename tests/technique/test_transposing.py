"""Violin passages for the viola and back."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from repertoire.technique.fingering import complete
from repertoire.technique.line import Clef
from repertoire.technique.marks import Aspect, Kind, Mark
from repertoire.technique.pitch import Pitch
from repertoire.technique.transposing import (
    TransposeError,
    in_clef_preferred,
    move,
    out_of_range,
    set_clefs,
    transpose,
)
from tests.technique.lines import line

VIOLIN = line("4/4", "treble", "E5 q F#5 q G5 q A5 q | D5 w", key=2, instrument="violin")
MARKS = (
    Mark(Kind.BOW, "b1n1", "up"),
    Mark(Kind.FINGER, "b1n2", "1"),
    Mark(Kind.ORNAMENT, "b1n1", "trill", options=(("above", "sharp"),)),  # E with F sharp, then A with B natural
    Mark(Kind.STRING, "b1n2", "I"),
)


def test_a_violin_passage_a_fifth_lower():  # [A] D major becomes G major, E5 becomes A4
    moved = move(VIOLIN, MARKS, "violin", "viola")
    assert [p.name for p in moved.line.pitches] == ["A4", "B4", "C5", "D5", "G4"]
    assert {bar.key for bar in moved.line.bars} == {1}
    assert {bar.clefs for bar in moved.line.bars} == {(Clef("alto"),)}
    assert moved.line.instrument == "viola"
    assert not moved.fresh
    assert moved.out_of_range == ()
    assert set(moved.marks) - set(MARKS) == {Mark(Kind.ORNAMENT, "b1n1", "trill", options=(("above", "natural"),))}


def test_the_same_fingers_lie_under_the_same_strings():
    moved = move(VIOLIN, MARKS, "violin", "viola")
    before = complete(VIOLIN, MARKS, "violin").by_address
    after = complete(moved.line, moved.marks, "viola").by_address
    assert (before["b1n2"].string, before["b1n2"].finger) == (after["b1n2"].string, after["b1n2"].finger) == (1, 1)


def test_there_and_back():
    there = move(VIOLIN, MARKS, "violin", "viola")
    back = move(there.line, there.marks, "viola", "violin")
    assert list(back.line.pitches) == list(VIOLIN.pitches)
    assert back.line.bars == VIOLIN.bars
    assert set(back.marks) == set(MARKS)


def test_at_the_original_pitch_the_fingering_is_fresh():
    moved = move(VIOLIN, MARKS, "violin", "viola", how="as written")
    assert list(moved.line.pitches) == list(VIOLIN.pitches)
    assert moved.fresh
    assert not [m for m in moved.marks if m.aspect is Aspect.LEFT_HAND]
    assert [m for m in moved.marks if m.kind is Kind.BOW]


def test_an_octave_lower_names_what_lies_too_low():
    low = line("4/4", "treble", "A3 q C4 q E4 q G4 q", instrument="violin")
    moved = move(low, (), "violin", "viola", how="octave")
    assert moved.out_of_range == (("b1n1", Pitch.parse("A2")),)
    assert [p.name for p in moved.line.pitches] == ["A2", "C3", "E3", "G3"]


def test_viola_music_too_low_for_the_violin():
    assert out_of_range(line("4/4", "alto", "C3 h G3 h"), "violin") == (("b1n1", Pitch.parse("C3")),)


def test_other_instruments_are_refused():
    with pytest.raises(TransposeError, match="violin and viola"):
        move(VIOLIN, (), "violin", "cello")


def test_keys_with_too_many_flats_are_written_in_their_enharmonic():  # [A] C flat major a fifth lower: E major
    flat = line("4/4", "treble", "Cb5 h Gb4 h", key=-7, instrument="violin")
    moved = move(flat, (), "violin", "viola").line
    assert moved.bars[0].key == 4
    assert [p.name for p in moved.pitches] == ["E4", "B3"]


def test_long_high_passages_change_to_treble():
    high = line("4/4", "alto", "C4 w | " + "E5 e F5 e G5 e A5 e G5 e F5 e E5 e D5 e | " * 2 + "C4 w")
    assert [bar.clef for bar in set_clefs(high).bars] == ["alto", "treble", "treble", "alto"]
    assert [bar.clef for bar in set_clefs(high, "alto").bars] == ["alto"] * 4
    short = line("4/4", "alto", "C4 w | E5 h F5 h | C4 w")
    assert [bar.clef for bar in set_clefs(short).bars] == ["alto"] * 3


@given(st.lists(st.integers(0, 40), min_size=1, max_size=8), st.integers(-6, 7))
def test_transposing_there_and_back_changes_nothing(steps, key):
    names = [f"{'CDEFGAB'[s % 7]}{3 + s // 7}" for s in steps]
    passage = line("4/4", "treble", " ".join(f"{n} e" for n in names), key=key)
    down = transpose(passage, steps=-4, semitones=-7, sharps=-1)
    assert [a.midi - b.midi for a, b in zip(passage.pitches, down.pitches, strict=True)] == [7] * len(names)
    assert list(transpose(down, steps=4, semitones=7, sharps=1).pitches) == list(passage.pitches)


def test_printed_reminders_and_stems_follow_the_new_staff():
    first, *rest = VIOLIN.events
    printed = VIOLIN.with_events((replace(first, accidentals=("(natural)",), stem="down"), *rest))
    moved = move(printed, (), "violin", "viola").line.events[0]
    assert moved.accidentals == ("(natural)",)
    assert moved.stem == ""
    sharp = line("4/4", "treble", "F#5 w", instrument="violin")
    marked = sharp.with_events((replace(sharp.events[0], accidentals=("sharp",)),))
    assert move(marked, (), "violin", "viola").line.events[0].accidentals == ("natural",)


@pytest.mark.parametrize(
    "wish, notes, clef",
    [
        ("treble", "G3 q A3 q D5 h", "treble"),
        ("treble", "F3 q A3 q D5 h", "alto"),  # below the violin's lowest note
        ("alto", "D5 q A5 q D5 h", "alto"),
        ("", "D5 q A5 q D5 h", "alto"),
    ],
)
def test_a_preferred_clef_is_used_where_the_notes_can_stand_in_it(wish, notes, clef):
    viola = line("4/4", "alto", notes, instrument="viola")
    assert [bar.clef for bar in in_clef_preferred(viola, wish).bars] == [clef]


def test_a_violin_part_keeps_its_clef():
    violin = line("4/4", "treble", "D5 w", instrument="violin")
    assert in_clef_preferred(violin, "alto") == violin
