"""Notes that sound on under others hold their finger; recorded note lists are read as written ones."""

import random
from dataclasses import replace

from repertoire.technique.bare_notes import moments_of_notes
from repertoire.technique.fingering import complete, complete_moments
from repertoire.technique.marks import Kind, Mark
from repertoire.technique.moments import moments_of
from tests.technique.lines import line


def places(fingering):
    return [f"{p.pitch.name} {p.string_name}{p.finger}" for p in fingering.placements]


def test_a_long_note_in_another_voice_holds_its_finger():
    passage = line("4/4", "treble", "D5 q E5 q F5 q G5 q & B4 w", instrument="violin")
    moments = moments_of(passage)
    assert [m.sustained for m in moments] == [(), ("b1n2",), ("b1n2",), ("b1n2",)]
    fingering = complete(passage, (), "violin")
    held = fingering.by_address["b1n2"]
    assert (held.string, held.finger) == (3, 3)  # a neighbouring string carries D5 to G5 above it
    above = [p for p in fingering.placements if p.address != "b1n2"]
    assert [(p.string, p.finger) for p in above] == [(2, 1), (2, 2), (2, 3), (2, 4)]
    assert len(fingering.placements) == 5  # each note is placed once


def test_a_tied_member_of_a_chord_stays_where_it_is():
    first = line("4/4", "treble", "G4+B4 h G4+D5 h", instrument="violin")
    chord, later = first.events
    tied = first.with_events((replace(chord, tied_to=(True, False)), replace(later, tied_from=(True, False))))
    fingering = complete(tied, (), "violin")
    assert fingering.by_address["b1n2p1"] == fingering.by_address["b1n1p1"]
    assert len(fingering.placements) == 3


def test_a_finger_marked_away_from_under_a_long_note_is_named():
    """B4 held with 3 on III; E5 marked with 3 on II would take that finger away."""
    passage = line("4/4", "treble", "D5 h E5 h & B4 w", instrument="violin")
    held, taken = "b1n2", "b1n3"
    assert [passage.pitch(a).name for a in (held, taken)] == ["B4", "E5"]
    marks = (
        Mark(Kind.STRING, held, "III"),
        Mark(Kind.FINGER, held, "3"),
        Mark(Kind.STRING, taken, "II"),
        Mark(Kind.FINGER, taken, "3"),
    )
    fingering = complete(passage, marks, "violin")
    (finding,) = fingering.findings
    assert finding.message == (
        "Bar 1, beat 3: E5 can’t be reached as marked while B4 sounds. Nearest possible: finger 2 on II, 3rd position."
    )
    assert (fingering.by_address[taken].string, fingering.by_address[taken].finger) == (2, 3)


def test_a_note_no_hand_can_hold_is_let_go_once():
    """G3 and D4 both open, then E4: no string is left for it while G3 sounds on its own."""
    passage = line("4/4", "treble", "E5 q C4 q B3 q A3 q & G3 w", instrument="violin")
    fingering = complete(passage, (), "violin")
    said = [f.message for f in fingering.findings]
    assert len(said) == 1, said
    assert "G3" in said[0]
    assert len(fingering.placements) == 5 - ("without the rest" in said[0])


SCALE = [55, 57, 59, 60, 62, 64, 66, 67, 69, 71, 72, 74, 76, 78, 79, 78, 76, 74, 72, 71, 69, 67, 66, 64, 62, 60, 59, 57]


def recorded(midis, starts, lengths, seed):
    chance = random.Random(seed)
    return (
        midis,
        [max(0.0, s + chance.gauss(0, 0.02)) for s in starts],
        [length * chance.uniform(0.8, 1.08) for length in lengths],
    )


def test_a_recorded_scale_is_fingered_like_the_written_one():
    starts, lengths = [n * 0.5 for n in range(len(SCALE))], [0.5] * len(SCALE)
    written = complete_moments(moments_of_notes(SCALE, starts, lengths), "violin")
    for seed in range(3):
        played = complete_moments(moments_of_notes(*recorded(SCALE, starts, lengths, seed)), "violin")
        assert places(played) == places(written)


def test_recorded_double_stops_begin_a_little_apart():
    pairs = [(59, 62), (60, 64), (62, 66), (64, 67), (66, 69), (67, 71), (69, 72), (71, 74)]
    midis = [midi for pair in pairs for midi in pair]
    starts, lengths = [float(n // 2) for n in range(16)], [1.0] * 16
    played = moments_of_notes(*recorded(midis, starts, lengths, 1))
    assert [tuple(p.midi for p in m.pitches) for m in played] == pairs
    assert all(m.sustained == () and m.rest == 0.0 for m in played[1:])
    assert [m.length for m in played[:-1]] == [1.0] * 7


def test_silence_is_a_rest_in_a_recorded_list_only_where_it_is_more_than_usual():
    starts = [0.013, 0.512, 0.988, 1.51, 2.987, 3.52, 4.011]
    lengths = [0.3, 0.31, 0.29, 0.28, 0.3, 0.31, 0.3]  # short strokes, then two beats of silence
    moments = moments_of_notes([67, 69, 71, 72, 74, 72, 71], starts, lengths)
    assert [m.rest > 0.1 for m in moments] == [True, False, False, False, True, False, False]


def test_a_bare_note_under_others_is_held():
    moments = moments_of_notes([59, 67, 69, 71], [0, 0, 1, 2], [3, 1, 1, 1])
    assert [m.sustained for m in moments] == [(), ("r0",), ("r0",)]
    found = complete_moments(moments, "violin")
    assert len(found.placements) == 4
