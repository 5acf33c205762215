"""The played schedule: onsets, lengths, loudness and clicks of short lines, written out by hand."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F

import pytest

from repertoire.notation.cutting import cut
from repertoire.notation.playing import PlayingError, schedule, seconds, unit_quarters
from repertoire.technique.line import TempoMark, Value
from repertoire.technique.marks import Kind, Mark
from tests.technique.lines import line, marks


def rows(found):
    return [(s.address, s.onset, s.length, s.joined) for s in found.sounds]


def test_separate_notes_are_let_go_and_slurred_ones_are_connected():
    found = schedule(line("4/4", "alto", "C4 q D4 q E4 q F4 q"), marks("slur b1n1 b1n3"))
    assert rows(found) == [
        ("b1n1", F(0), F(1), False),
        ("b1n2", F(1), F(1), True),
        ("b1n3", F(2), F(9, 10), True),
        ("b1n4", F(3), F(9, 10), False),
    ]


def test_a_long_note_is_let_go_by_an_eighth_of_a_quarter_at_most():
    assert rows(schedule(line("4/4", "alto", "C4 w"))) == [("b1n1", F(0), F(31, 8), False)]


def test_staccato_sounds_half_and_a_hooked_pair_stops_between():
    found = schedule(line("4/4", "alto", "C4 q D4 q E4 h"), marks("staccato b1n1", "hooked b1n2 b1n3"))
    assert [s.length for s in found.sounds] == [F(1, 2), F(3, 4), F(3, 2)]
    assert [s.joined for s in found.sounds] == [False, False, False]


def test_tied_notes_are_one_sound():
    assert rows(schedule(line("2/4", "alto", "C4 h~ | C4 q D4 q"))) == [
        ("b1n1", F(0), F(23, 8), False),
        ("b2n2", F(3), F(9, 10), False),
    ]


def test_a_repeat_is_played_twice_and_a_slur_over_its_edge_is_not_carried_back():
    found = schedule(line("2/4", "alto", "|: C4 q D4 q :|"), marks("slur b1n1 b1n2"))
    assert [(s.address, s.pass_number, s.onset, s.joined) for s in found.sounds] == [
        ("b1n1", 1, F(0), False),
        ("b1n2", 1, F(1), True),
        ("b1n1", 2, F(2), False),
        ("b1n2", 2, F(3), True),
    ]
    assert found.length == 4


def test_grace_notes_come_before_the_beat_and_shorten_the_note_before():
    found = schedule(line("2/4", "alto", "C4 q E4 g D4 q"))
    assert [(s.address, s.onset) for s in found.sounds] == [("b1n1", F(0)), ("b1n2", F(7, 8)), ("b1n3", F(1))]
    assert found.sounds[0].end <= F(7, 8)


def test_grace_notes_at_the_very_start_take_from_their_note():
    found = schedule(line("2/4", "alto", "E4 g D4 h"))
    assert [(s.onset, s.end) for s in found.sounds] == [(F(0), F(1, 8)), (F(1, 8), F(15, 8))]


def test_chord_members_begin_together_with_their_own_addresses():
    found = schedule(line("2/4", "alto", "C4+G4 h"))
    assert [(s.address, s.onset, s.pitch.name) for s in found.sounds] == [
        ("b1n1p1", F(0), "C4"),
        ("b1n1p2", F(0), "G4"),
    ]


def test_strokes_through_the_stem_are_repeated_notes():
    found = schedule(line("2/4", "alto", "C4 h:2"))
    assert [s.onset for s in found.sounds] == [F(n, 4) for n in range(8)]


def test_dynamics_hold_and_a_hairpin_leads_to_the_next():
    found = schedule(
        line("4/4", "alto", "C4 q C4 q C4 q C4 q | C4 w"), marks("p b1n1", "crescendo b1n1 b1n4", "f b2n1")
    )
    # p is 3 and f 6 of the ten steps pppp to ffff, 0 to 9: 0.2 + 0.8 × step ÷ 9, even in time over the bar. [A]
    assert [round(s.level, 4) for s in found.sounds] == [0.4667, 0.5333, 0.6, 0.6667, 0.7333]


def test_plucked_until_arco():
    found = schedule(line("4/4", "alto", "C4 q D4 q E4 q F4 q"), marks("pizz b1n2", "arco b1n4"))
    assert [s.pizzicato for s in found.sounds] == [False, True, True, False]


def test_an_artificial_harmonic_sounds_two_octaves_above_the_stopped_note():
    """Stopped note plus a touched fourth: two octaves higher. [A: fourth partial]"""
    found = schedule(line("4/4", "treble", "A4 w"), (Mark(Kind.HARMONIC, "b1n1", "artificial"),))
    assert [s.pitch.name for s in found.sounds] == ["A6"]


def test_clicks_accent_each_bar_and_count_one_bar_in():
    found = schedule(line("3/4", "alto", "C4 h. | D4 h."))
    assert [(c.onset, c.accent) for c in found.clicks] == [
        (F(0), True),
        (F(1), False),
        (F(2), False),
        (F(3), True),
        (F(4), False),
        (F(5), False),
    ]
    assert [(c.onset, c.accent) for c in found.count_in] == [(F(-3), True), (F(-2), False), (F(-1), False)]


def test_before_an_upbeat_the_missing_beats_are_counted():
    found = schedule(line("4/4", "alto", "G4 q | C4 w"))
    assert [(c.onset, c.accent) for c in found.count_in] == [(F(-3), True), (F(-2), False), (F(-1), False)]
    assert [(c.onset, c.accent) for c in found.clicks][:2] == [(F(0), False), (F(1), True)]


def test_clicks_follow_the_tempos_unit_where_it_fits():
    six = line("6/8", "alto", "C4 h.")
    assert [c.onset for c in schedule(six, unit=F(3, 2)).clicks] == [F(0), F(3, 2)]
    assert len(schedule(six, unit=F(1, 2)).clicks) == 6
    assert [c.onset for c in schedule(line("3/4", "alto", "C4 h."), unit=F(2)).clicks] == [F(0), F(1), F(2)]


def test_seconds_at_a_tempo():
    """A half note at a quarter = 60 lasts 2.0 s; 96 beats at 72 last 80 s. [A]"""
    assert seconds(F(2), 60) == 2.0
    assert seconds(F(96), 72) == 80.0
    assert seconds(F(3), 60, unit_quarters("dotted quarter")) == 2.0
    with pytest.raises(PlayingError):
        seconds(F(1), 0)
    with pytest.raises(PlayingError):
        unit_quarters("minim")


def test_the_json_is_rows_in_the_order_of_its_columns():
    found = schedule(line("2/4", "alto", "A4 q r q")).as_json()
    assert found["columns"] == ["address", "pass", "onset", "length", "midi", "level", "joined", "pizzicato", "accent"]
    assert found["notes"] == [["b1n1", 1, 0.0, 0.9, 69, 0.644, 0, 0, 0]]
    assert found["length"] == 2.0


def test_a_turn_and_a_trill_sound_as_they_are_written_out():
    """Turn on G4 in F major: A G F G; trill from the upper note A G A G …, closing F G. [P/M: C. P. E. Bach, 1753]"""
    ornaments = (
        Mark(Kind.ORNAMENT, "b1n1", "turn"),
        Mark(Kind.ORNAMENT, "b1n2", "trill", options=(("close", "yes"), ("start", "upper"))),
    )
    found = schedule(line("2/4", "treble", "G4 q G4 q", key=-1), ornaments, tempo=60)
    first = [s for s in found.sounds if s.address == "b1n1"]
    second = [s for s in found.sounds if s.address == "b1n2"]
    assert [s.pitch.name for s in first] == ["A4", "G4", "F4", "G4"]
    assert [s.onset for s in first] == [F(0), F(1, 4), F(1, 2), F(3, 4)]
    assert [s.joined for s in first] == [False, True, True, True]
    assert [s.pitch.name for s in second][:2] == ["A4", "G4"]
    assert [s.pitch.name for s in second][-2:] == ["F4", "G4"]
    assert second[0].onset == 1
    assert second[-1].end == F(159, 80)  # eight notes of an eighth of a quarter, the last let go by a tenth


def test_an_ornament_on_a_chord_is_left_to_the_chord():
    found = schedule(line("2/4", "treble", "G4+B4 h"), (Mark(Kind.ORNAMENT, "b1n1", "trill"),))
    assert [s.pitch.name for s in found.sounds] == ["G4", "B4"]


def with_tempos(found, **bars):
    """The line with metronome figures: `b2=(F(0), 120)` is a quarter = 120 at the start of bar 2."""
    wanted = {int(name[1:]): told for name, told in bars.items()}
    return replace(
        found,
        bars=tuple(
            replace(b, tempos=(_mark(*wanted[b.index]),)) if b.index in wanted else b for b in found.bars
        ),
    )  # fmt: skip


def _mark(onset, told):
    if isinstance(told, str):
        return TempoMark(onset, told)
    return TempoMark(onset, "", Value("quarter"), F(told))


def test_a_faster_figure_in_the_part_shortens_what_follows_it():
    """Quarter = 60, then 120 from bar 2: its two quarters take the time of one. [A]"""
    found = schedule(with_tempos(line("2/4", "alto", "C4 q D4 q | E4 q F4 q"), b1=(F(0), 60), b2=(F(0), 120)))
    assert [s.onset for s in found.sounds] == [F(0), F(1), F(2), F(5, 2)]
    assert [c.onset for c in found.clicks] == [F(0), F(1), F(2), F(5, 2)]
    assert found.length == 3
    assert found.as_json()["beats"] == [[0.0, 1.0], [2.0, 0.5]]


def test_a_cut_takes_its_opening_tempo_from_the_part_it_comes_from():
    """At 90 before the passage, 60 from its second bar: a quarter there lasts half as long again. [A]"""
    music = with_tempos(line("1/4", "alto", "A3 q | C4 q | D4 q | E4 q"), b1=(F(0), 90), b3=(F(0), 60))
    found = schedule(cut(music, 2, None, 4, None))
    assert [s.onset for s in found.sounds] == [F(0), F(1), F(5, 2)]


def test_tempo_primo_goes_back_and_words_alone_change_nothing():
    music = with_tempos(
        line("1/4", "alto", "C4 q | D4 q | E4 q | F4 q"), b1=(F(0), 60), b2=(F(0), 30), b3=(F(0), "Tempo I"),
        b4=(F(0), "più mosso"),
    )  # fmt: skip
    assert [s.onset for s in schedule(music).sounds] == [F(0), F(1), F(3), F(4)]
    assert schedule(with_tempos(line("1/4", "alto", "C4 q | D4 q"), b2=(F(0), "rit."))).pulse.even


def test_a_repeat_goes_back_to_the_tempo_it_began_with():
    music = with_tempos(line("1/4", "alto", "|: C4 q | D4 q :|"), b1=(F(0), 60), b2=(F(0), 120))
    assert [s.onset for s in schedule(music).sounds] == [F(0), F(1), F(3, 2), F(5, 2)]


def test_a_fermata_holds_its_note_as_long_again():
    """A quarter under a fermata lasts two; what follows begins after it, and so does its click. [C]"""
    found = schedule(line("4/4", "alto", "C4 q D4 q E4 h"), (Mark(Kind.FERMATA, "b1n2"),))
    assert [(s.onset, s.length) for s in found.sounds] == [(F(0), F(9, 10)), (F(1), F(15, 8)), (F(3), F(15, 8))]
    assert [c.onset for c in found.clicks] == [F(0), F(1), F(3), F(4)]
    assert found.length == 5


def test_a_fermata_is_held_at_least_a_beat_and_at_most_a_bar():
    short = schedule(line("2/4", "alto", "C4 e D4 e E4 q"), (Mark(Kind.FERMATA, "b1n1"),))
    assert [s.onset for s in short.sounds] == [F(0), F(3, 2), F(2)]
    rest = schedule(line("2/4", "alto", "C4 q r q | D4 h"), (Mark(Kind.FERMATA, "b1n2"),))
    assert [s.onset for s in rest.sounds] == [F(0), F(3)]
    tied = schedule(line("2/4", "alto", "C4 h~ | C4 h | D4 h"), (Mark(Kind.FERMATA, "b2n1"),))
    assert [(s.address, s.onset, s.length) for s in tied.sounds] == [("b1n1", F(0), F(47, 8)), ("b3n1", F(6), F(15, 8))]


def test_a_grace_note_after_a_fermata_is_not_drawn_out():
    found = schedule(line("2/4", "alto", "C4 q E4 g D4 q"), (Mark(Kind.FERMATA, "b1n1"),))
    assert [(s.address, s.onset) for s in found.sounds] == [("b1n1", F(0)), ("b1n2", F(15, 8)), ("b1n3", F(2))]


def test_under_a_fermata_a_turn_waits_on_its_longest_note():
    """C. P. E. Bach's turn on G4: A G F quickly, then G, which is held two quarters more. [P/M, C]"""
    found = schedule(line("2/4", "treble", "G4 h"), (Mark(Kind.ORNAMENT, "b1n1", "turn"), Mark(Kind.FERMATA, "b1n1")))
    assert [s.onset for s in found.sounds] == [F(0), F(1, 6), F(1, 3), F(1, 2)]
    assert found.sounds[-1].length == F(7, 2) - F(1, 8)
    assert found.length == 4


def test_another_part_keeps_to_the_pulse_of_the_first():
    own = schedule(line("2/4", "alto", "C4 q D4 q"), (Mark(Kind.FERMATA, "b1n1"),))
    other = schedule(line("2/4", "treble", "G4 e A4 e B4 q"), pulse=own.pulse)
    assert [s.onset for s in other.sounds] == [F(0), F(1, 2), F(2)]
    assert other.length == own.length == 3


@pytest.mark.parametrize(("meter", "value", "onset"), [("2/4", "h", F(1)), ("3/4", "h.", F(2))])
def test_an_appoggiatura_takes_half_of_its_note_and_two_thirds_of_a_dotted_one(meter, value, onset):
    """C. P. E. Bach, Versuch, 1753. [P/M]"""
    music = line(meter, "alto", f"E4 g D4 {value}")
    long = music.with_events((replace(music.events[0], grace="plain"), music.events[1]))
    assert [(s.address, s.onset) for s in schedule(long).sounds] == [("b1n1", F(0)), ("b1n2", onset)]


def test_strokes_of_a_tremolo_fill_a_triplet_note():
    """Two thirds of a quarter note in 32nds: five strokes of 2/15 rather than a gap. [A]"""
    music = line("1/4", "alto", "C4 q")
    third = replace(music.events[0], duration=F(2, 3), value=Value("quarter", tuplet=(3, 2)), tremolo=3)
    sounds = schedule(music.with_events((third,))).sounds
    assert [s.onset for s in sounds] == [F(n * 2, 15) for n in range(5)]
