"""Completing a fingering: marks are kept, notes sound their pitch, the hand is one a player has."""

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from repertoire.technique.bare_notes import moments_of_notes
from repertoire.technique.fingering import FingeringError, complete, complete_moments, usual_preset
from repertoire.technique.fingering_costs import PRESETS, Limits
from repertoire.technique.left_hand import stretches
from repertoire.technique.line import TempoMark
from repertoire.technique.marks import Kind, Mark
from repertoire.technique.moments import moments_of
from repertoire.technique.pitch import Pitch
from repertoire.technique.strings import open_string
from tests.technique.lines import line, marks

# Passages with the fingering a teacher would write [C: common practice, no source]. Strings and
# fingers as "III1"; a note with several usual ways lists them with a slash.
PASSAGES = {
    "G major from the open string, violin, first position": (
        "violin",
        "G3 e A3 e B3 e C4 e D4 e E4 e F#4 e G4 e",
        "IV0 IV1 IV2 IV3 III0 III1 III2 III3",
    ),
    "C major from the open string, viola, first position": (
        "viola",
        "C3 e D3 e E3 e F3 e G3 e A3 e B3 e C4 e",
        "IV0 IV1 IV2 IV3 III0 III1 III2 III3",
    ),
    "sixteenths around C on the A string, violin": (
        "violin",
        "A4 s C5 s B4 s C5 s A4 s C5 s B4 s D5 s A4 s C5 s B4 s C5 s A4 s C5 s B4 s D5 s",
        "II0 II2 II1 II2 II0 II2 II1 II3 II0 II2 II1 II2 II0 II2 II1 II3",
    ),
    "sung fifth-finger-free line in third position": (
        "violin",
        "D5 q. E5 e F#5 q E5 q G5 q. F#5 e E5 q D5 q",
        "II1 II2 II3 II2 II4 II3 II2 II1",
    ),
    "high sixteenths lie in third position": (
        "violin",
        "A5 s B5 s C6 s D6 s C6 s B5 s A5 s B5 s D6 s C6 s B5 s C6 s A5 s B5 s C6 s D6 s",
        "I1 I2 I3 I4 I3 I2 I1 I2 I4 I3 I2 I3 I1 I2 I3 I4",
    ),
    "quick B flat major, low second finger, viola": (
        "viola",
        "Bb3 s C4 s D4 s Eb4 s F4 s Eb4 s D4 s C4 s",
        "III2 III3 II0/III4 II1 II2 II1 II0/III4 III3",
    ),
    "broken thirds in first position": (
        "violin",
        "G4 s B4 s A4 s C5 s B4 s D5 s C5 s A4 s B4 s G4 s A4 s F#4 s G4 q",
        "III3 II1 II0 II2 II1 II3 II2 II0 II1 III3 II0 III2 III3",
    ),
    "thirds as double stops": ("violin", "G4+B4 q A4+C5 q G4+B4 h", "III3+II1 III4+II2 III3+II1"),
    "sixths as double stops": ("violin", "F#4+D5 q G4+E5 q F#4+D5 h", "III2+II3 III3+II4/III3+I0 III2+II3"),
    "eighths through open strings stay in first position, viola": (
        "viola",
        "C3 e Eb3 e Eb3 e Ab3 e D3 e G3 e G3 e D4 e F3 e Ab3 e Ab3 e C4 e G3 e B3 e B3 e D4 e "
        "G3 e D4 e D4 e G4 e G3 e C4 e C4 e G4 e",
        "IV0 IV2 IV2 III1 IV1 III0 III0 III4/II0 IV3 III1 III1 III3 III0 III2 III2 III4/II0 "
        "III0 II0 II0 II3 III0 III3 III3 II3",
    ),
    "octaves in the frame of the first and fourth finger": (
        "violin",
        "A3+A4 q B3+B4 q C4+C5 q B3+B4 q E4+E5 q F#4+F#5 q G4+G5 q A4+A5 q",
        "IV1+III4 IV1+III4 IV1+III4 IV1+III4 III1+II4 III1+II4 III1+II4 III1+II4",
    ),
    "thirds into third position, the second and fourth finger above the first and third": (
        "violin",
        "F5+A5 q G5+Bb5 q F5+A5 q G5+Bb5 q",
        "II3+I1 II4+I2 II3+I1 II4+I2",
    ),
    "down from the fifth position without a finger sliding": (
        "viola",
        "F5 s E5 s D5 s C5 s Bb4 s A4 s G4 s F4 s G4 s A4 s Bb4 s C5 s D5 s E5 s F5 q",
        "I3 I2 I1/I3 I2 I1 I0 II3 II2 II3 I0 I1 I2 I1/I3 I2/I4 I3/I1",
    ),
    "sixths past the open strings stay in first position": (
        "violin",
        "G3+E4 q A3+F#4 q B3+G4 q C4+A4 q D4+B4 q E4+C5 q F#4+D5 q G4+E5 q A4+F#5 q B4+G5 q A4+F#5 h",
        "IV0+III1 IV1+III2 IV2+III3 IV3+III4 III0+II1 III1+II2 III2+II3 III3+II4 II0+I1 II1+I2 II0+I1",
    ),
    "four-note chord": ("violin", "G3+D4+B4+G5 w", "IV0+III0+II1+I2"),
}


@pytest.mark.parametrize("name", PASSAGES)
def test_a_fingering_any_teacher_would_write(name):
    instrument, text, expected = PASSAGES[name]
    fingering = complete(line("4/4", "treble", _bars(text), instrument=instrument), (), instrument)
    found = ["+".join(f"{p.string_name}{p.finger}" for p in group) for group in fingering.groups]
    usual = expected.split()
    misses = [(f, u) for f, u in zip(found, usual, strict=True) if f not in u.split("/")]
    assert len(misses) <= len(usual) // 8, misses


def _bars(text: str) -> str:
    """Bar lines after every four quarter notes."""
    values = {"w": 4, "h": 2, "q": 1, "q.": Fraction(3, 2), "e": Fraction(1, 2), "s": Fraction(1, 4)}
    words = text.split()
    out, filled = [], Fraction(0)
    for name, value in zip(words[::2], words[1::2], strict=True):
        out += [name, value]
        filled += values[value]
        if filled >= 4:
            out.append("|")
            filled -= 4
    return " ".join(out).removesuffix(" |")


def test_a_repeated_note_keeps_its_finger_and_string():
    passage = line("4/4", "alto", "G4 q Eb4 e Eb4 e F4 q Eb4 e Eb4 e | D4 e D4 e G4 e G4 e C5 h", key=-3)
    for preset in PRESETS:
        places = complete(passage, (), preset=preset).placements
        for one, other in pairwise(places):
            if one.pitch == other.pitch:
                assert (one.string, one.finger) == (other.string, other.finger), preset


def test_a_cut_is_fingered_at_the_tempo_printed_before_it():
    whole = line("4/4", "treble", "A4 q B4 q C5 q D5 q | E5 q D5 q C5 q B4 q", instrument="violin")
    cut = replace(
        whole, bars=whole.bars[1:], events=whole.events[4:], tempos_before=(TempoMark(Fraction(0), "Presto"),)
    )
    assert {m.felt for m in moments_of(cut)} == {88 / 160}
    assert {m.felt for m in moments_of(cut, tempo=88)} == {1.0}


# Brahms, Quartet in C minor op. 51 no. 1 (1873), second movement, viola, bars 1–6 [P: the part]
ROMANCE = line(
    "3/4",
    "alto",
    "Eb3 e. G3 s G3 e. Ab3 s Ab3 q | F3 e. G3 s G3 e. Ab3 s Ab3 q | Db3 e. Eb3 s Eb3 e. F3 s F3 e Ab3 e | "
    "Ab3 q. Ab3 e Ab3 e Ab3 e | Ab3 q. Ab3 e Ab3 e Ab3 e | G3 q F3 q G3 q",
    key=-4,
)
POCO_ADAGIO = (TempoMark(Fraction(0), "Poco adagio"),)
ROMANCE_SLURS = marks(
    "slur b1n1 b1n2", "slur b1n3 b1n4", "slur b2n1 b2n2", "slur b2n3 b2n4", "slur b3n1 b3n2", "slur b3n3 b3n4",
    "slur b3n5 b3n6", "slur b4n2 b4n4", "slur b5n2 b5n4", "slur b6n1 b6n3",
)  # fmt: skip


@pytest.mark.parametrize("preset", PRESETS)
def test_a_major_third_is_not_reached_for_between_first_and_second_finger(preset):
    fingering = complete(replace(ROMANCE, tempos_before=POCO_ADAGIO), ROMANCE_SLURS, preset=preset)
    assert [p.pitch.name for p in fingering.placements if p.extension] == []
    assert stretches(fingering) == ()
    if preset == "balanced":  # second position: first and third finger
        assert [(p.string_name, p.finger, p.position) for p in fingering.placements[:2]] == [("IV", 1, 2), ("IV", 3, 2)]


def test_a_wide_reach_that_is_written_stays_possible():
    written = (
        Mark(Kind.FINGER, "b1n1", "1"), Mark(Kind.EXTENSION, "b1n1", "back"), Mark(Kind.STRING, "b1n1", "IV"),
        Mark(Kind.FINGER, "b1n2", "2"), Mark(Kind.STRING, "b1n2", "IV"),
    )  # fmt: skip
    fingering = complete(ROMANCE, (*ROMANCE_SLURS, *written))
    first, second = fingering.placements[:2]
    assert (first.finger, first.extension, second.finger) == (1, "back", 2)
    assert {first.position, second.position} == {3}
    assert fingering.findings == ()
    assert next((s.fingers, s.semitones) for s in stretches(fingering)) == ((1, 2), 4)


def numbers(fingering):
    return [(p.string, p.finger) for p in fingering.placements]


def test_marks_are_kept_and_told_apart_from_what_is_implied():
    passage = line("4/4", "treble", "D5 q E5 q F#5 q G5 q", key=1, instrument="violin")
    marks = (Mark(Kind.FINGER, "b1n1", "1"), Mark(Kind.STRING, "b1n3", "II"))
    fingering = complete(passage, marks, "violin")
    assert fingering.by_address["b1n1"].finger == 1
    assert fingering.by_address["b1n3"].string == 2
    assert [p.marked for p in fingering.placements] == [True, False, True, False]


def test_a_few_written_fingers_move_the_whole_hand():
    passage = line("4/4", "treble", "A4 q B4 q C5 q D5 q", instrument="violin")
    fingering = complete(passage, (Mark(Kind.FINGER, "b1n1", "1"), Mark(Kind.FINGER, "b1n4", "4")), "violin")
    assert numbers(fingering) == [(3, 1), (3, 2), (3, 3), (3, 4)]
    assert {p.position for p in fingering.placements} == {4}


def test_a_string_over_a_passage_holds_for_every_note():
    passage = line("4/4", "treble", "A4 q B4 q C5 q D5 q", instrument="violin")
    fingering = complete(passage, (Mark(Kind.STRING, "b1n1", "IV", "b1n4"),), "violin")
    assert {p.string for p in fingering.placements} == {4}


def test_a_substitution_changes_position_on_its_note():
    passage = line("4/4", "alto", "E4 h D4 h")
    fingering = complete(passage, (Mark(Kind.FINGER, "b1n1", "3-1"), Mark(Kind.STRING, "b1n1", "III")))
    first = fingering.by_address["b1n1"]
    assert (first.finger, first.position) == (3, 3)  # E4 on the G string: k = 5
    assert (first.leaves, first.leaves_position) == (1, 5)
    assert len(fingering.placements) == 2


def test_tied_notes_share_their_place():
    fingering = complete(line("4/4", "alto", "E4 w~ | E4 h F4 h"))
    assert fingering.by_address["b2n1"] == fingering.by_address["b1n1"]
    assert len(fingering.placements) == 2


@pytest.mark.parametrize(
    "text, mark, reason, nearest",
    [
        ("E4 w", (Kind.FINGER, "0"), "Bar 1, beat 1: E4 isn’t an open string.", "on II"),
        ("E4 w", (Kind.STRING, "I"), "E4 lies below string I.", "II"),
        ("Eb4 w", (Kind.FINGER, "4"), "", ""),
        ("C3 w", (Kind.FINGER, "1"), "C3", "open IV"),
        ("D3 w", (Kind.FINGER, "4"), "Finger 4 can’t take D3: it would lie behind the nut.", "finger 1 on IV"),
    ],
)
def test_an_impossible_mark_is_named_with_the_nearest_possible(text, mark, reason, nearest):
    fingering = complete(line("4/4", "alto", text), (Mark(mark[0], "b1n1", mark[1]),))
    if not reason:
        assert fingering.findings == ()
        return
    (finding,) = fingering.findings
    assert reason in finding.message
    assert nearest in finding.nearest
    assert len(fingering.placements) == 1


def test_two_notes_on_the_lowest_string_are_impossible():  # [A] C3 with E3 on the viola
    (finding,) = complete(line("4/4", "alto", "C3+E3 w")).findings
    assert "C3 and E3 both lie on string IV only." in finding.message


def test_a_note_below_the_instrument_is_left_out_and_named():
    fingering = complete(line("4/4", "treble", "E3 h A3 h"), (), "violin")
    assert [p.address for p in fingering.placements] == ["b1n2"]
    assert fingering.findings[0].message == "Bar 1, beat 1: E3 lies below the violin’s lowest string."


def test_an_unknown_character_is_refused():
    with pytest.raises(FingeringError, match="balanced"):
        complete(line("4/4", "alto", "C4 w"), preset="wild")


def test_an_empty_line():
    assert complete(line("4/4", "alto", "r w")).placements == ()


def test_limits_of_a_player():
    passage = line("4/4", "treble", "D5 q E5 q F#5 q G5 q | A5 q B5 q C6 q B5 q", instrument="violin")
    beginner = complete(passage, (), "violin", limits=Limits(highest=1, avoid_fourth=True, open_strings="wanted"))
    assert max(p.position for p in beginner.placements[:6]) == 1
    assert beginner.by_address["b1n2"].finger == 0
    no_open = complete(passage, (), "violin", limits=Limits(open_strings="avoided"))
    assert all(p.finger for p in no_open.placements)
    known = complete(passage, (), "violin", limits=Limits(positions=frozenset((1, 3))))
    assert {p.position for p in known.placements} <= {1, 3}


def test_a_wish_for_vibrato_keeps_off_the_open_string():
    passage = line("4/4", "treble", "B4 e A4 e B4 e C5 e B4 e A4 e B4 q", instrument="violin")
    assert any(p.finger == 0 for p in complete(passage, (), "violin").placements)
    wished = complete(passage, (Mark(Kind.VIBRATO, "b1n1", "vibrato", "b1n7"),), "violin")
    assert all(p.finger for p in wished.placements)


def test_a_trill_leaves_the_next_finger_free():
    passage = line("4/4", "treble", "G4 e F#4 e G4 e A4 e B4 e A4 e E5 q", instrument="violin")
    trilled = complete(passage, (Mark(Kind.ORNAMENT, "b1n7", "trill"),), "violin")
    assert trilled.by_address["b1n7"].finger in (1, 2, 3)


def test_voices_that_begin_together_are_one_double_stop():
    fingering = complete(line("4/4", "treble", "B4 w & G4 w", instrument="violin"), (), "violin")
    (group,) = fingering.groups
    assert {p.string for p in group} == {2, 3}


NOTES = st.lists(st.tuples(st.integers(55, 96), st.sampled_from([0.25, 0.5, 1.0, 2.0])), min_size=1, max_size=24)


def moments(notes):
    onsets, now = [], 0.0
    for _, length in notes:
        onsets.append(now)
        now += length
    return moments_of_notes([n for n, _ in notes], onsets, [d for _, d in notes])


@settings(max_examples=40, deadline=None)
@given(NOTES, st.sampled_from(sorted(PRESETS)))
def test_every_note_sounds_its_pitch_on_its_string(notes, preset):
    fingering = complete_moments(moments(notes), "violin", preset=preset)
    assert len(fingering.placements) == len(notes)
    for placement, (midi, _) in zip(fingering.placements, notes, strict=True):
        assert open_string("violin", placement.string).midi + placement.semitones == midi
        assert (placement.finger == 0) == (placement.semitones == 0)
        assert 0 <= placement.weight <= 1
        reach = {"": 0, "forward": 1, "back": -1}[placement.extension]
        if placement.finger:
            assert placement.position == placement.letters - placement.finger + 1 - reach


@settings(max_examples=40, deadline=None)
@given(NOTES, st.data())
def test_what_is_marked_is_honoured(notes, data):
    free = complete_moments(moments(notes), "violin", preset="on one string")
    row = data.draw(st.integers(0, len(notes) - 1))
    given_place = free.placements[row]
    strings = [None] * len(notes)
    fingers = [None] * len(notes)
    strings[row], fingers[row] = given_place.string, given_place.finger
    onsets, now = [], 0.0
    for _, length in notes:
        onsets.append(now)
        now += length
    marked = moments_of_notes([n for n, _ in notes], onsets, [d for _, d in notes], strings, fingers)
    found = complete_moments(marked, "violin").placements[row]
    assert (found.string, found.finger, found.marked) == (given_place.string, given_place.finger, True)


# D, E, G, A and B have no black key beside them, nor a fifth lower: both instruments read them alike
PENTATONIC = [m for m in range(55, 96) if m % 12 in (2, 4, 7, 9, 11)]


@settings(max_examples=30, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(PENTATONIC), st.sampled_from([0.25, 0.5, 1.0])), min_size=1, max_size=24))
def test_a_fifth_lower_on_the_viola_has_the_same_hand(notes):
    written = moments(notes)
    lower = tuple(replace(m, pitches=tuple(p.moved(steps=-4, semitones=-7) for p in m.pitches)) for m in written)
    violin, viola = complete_moments(written, "violin"), complete_moments(lower, "viola")
    assert numbers(violin) == numbers(viola)
    assert [p.position for p in violin.placements] == [p.position for p in viola.placements]


@settings(max_examples=40, deadline=None)
@given(st.integers(55, 84), st.integers(1, 16))
def test_fingers_of_a_double_stop_keep_their_order(low, interval):
    fingering = complete_moments(moments_of_notes([low, low + interval], [0, 0], [1, 1]), "violin")
    for group in fingering.groups:
        stopped = sorted((p for p in group if p.finger), key=lambda p: p.finger)
        for first, second in pairwise(stopped):
            if first.finger == second.finger:
                assert abs(first.semitones - second.semitones) <= 1
            else:
                assert second.semitones >= first.semitones - 1
        assert len({p.string for p in group}) == len(group)


def test_grace_notes_and_rests_are_met_in_order():
    passage = line("4/4", "alto", "B4 g C5 q r q D5 h")
    assert [m.addresses[0] for m in moments_of(passage)] == ["b1n1", "b1n2", "b1n4"]
    assert [m.rest for m in moments_of(passage)][1:] == [0.0, 1.0]


def test_pitches_out_of_a_bare_list_are_named_in_their_key():
    found = moments_of_notes([62, 64, 66, 67, 69, 71, 73, 74], range(8), [1] * 8)
    assert [m.pitches[0].name for m in found] == ["D4", "E4", "F#4", "G4", "A4", "B4", "C#5", "D5"]
    flats = moments_of_notes([58, 60, 62, 63, 65, 67, 69, 70], range(8), [1] * 8)
    assert [m.pitches[0] for m in flats][3] == Pitch.parse("Eb4")


def test_an_artificial_harmonic_printed_in_full_needs_one_place():
    # A flat stopped, D flat touched, the sound two octaves above written in a second voice
    passage = line("4/4", "treble", "Ab4 w & Ab6 w", instrument="violin")
    stopped, sounding = passage.events
    chord = replace(stopped, pitches=(Pitch.parse("Ab4"), Pitch.parse("Db5")), tied_from=(), tied_to=())
    printed = passage.with_events((chord, sounding))
    fingering = complete(printed, (Mark(Kind.HARMONIC, sounding.address, "natural"),), "violin")
    (placement,) = fingering.placements
    assert (placement.pitch.name, placement.finger, placement.harmonic) == ("Ab4", 1, "artificial")
    assert fingering.by_address[sounding.address] == placement
    assert fingering.by_address[chord.members[1]] == placement
    assert fingering.findings == ()


def test_a_natural_harmonic_lies_on_a_place_where_one_speaks():
    passage = line("4/4", "alto", "B4 h A5 h")
    fingering = complete(passage, (Mark(Kind.HARMONIC, "b1n2", "natural"),))
    assert fingering.by_address["b1n2"].semitones in (12, 19)
    marked = complete(passage, (Mark(Kind.HARMONIC, "b1n2", "natural"), Mark(Kind.FINGER, "b1n2", "0")))
    assert (marked.by_address["b1n2"].finger, marked.by_address["b1n2"].harmonic) == (0, "natural")


def test_music_within_first_position_begins_low_and_clear():
    assert usual_preset(line("4/4", "treble", "G3 h B5 h", instrument="violin"), "violin") == "low and clear"
    assert usual_preset(line("4/4", "treble", "G3 h C6 h", instrument="violin"), "violin") == "balanced"
    assert usual_preset(line("4/4", "alto", "E5 w"), "viola") == "low and clear"
