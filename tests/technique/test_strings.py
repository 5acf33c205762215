"""Strings and positions. [C] common practice, no source; [A] arithmetic from the definition."""

import pytest

from repertoire.technique.pitch import Pitch
from repertoire.technique.strings import (
    StringError,
    cents_per_mm,
    distance,
    hertz,
    letters_above,
    open_hertz,
    open_string,
    open_strings,
    position,
    position_label,
    semitones_above,
    span,
    string_name,
    string_number,
    strings_for,
)


def test_open_strings_from_the_highest():  # [C]
    assert [p.name for p in open_strings("violin")] == ["E5", "A4", "D4", "G3"]
    assert [p.name for p in open_strings("viola")] == ["A4", "D4", "G3", "C3"]


def test_another_instrument_is_refused_in_words():
    with pytest.raises(StringError, match="violin or viola"):
        open_strings("flute")


@pytest.mark.parametrize("string, name", [(1, "I"), (4, "IV")])
def test_string_names(string, name):
    assert string_name(string) == name
    assert string_number(name) == string


def test_a_string_that_is_not_there():
    with pytest.raises(StringError):
        open_string("viola", 5)
    with pytest.raises(StringError):
        string_number("V")


@pytest.mark.parametrize("finger, expected", [(1, 4), (2, 3), (3, 2), (4, 1)])
def test_viola_a4_on_the_d_string(finger, expected):  # [C] k = 4
    letters = letters_above(Pitch.parse("A4"), open_string("viola", 2))
    assert letters == 4
    assert position(letters, finger) == expected


def test_an_extended_fourth_finger_stays_in_its_position():  # [C] A string, F5 with an extended 4
    assert position(letters_above(Pitch.parse("F5"), Pitch.parse("A4")), 4, extension=1) == 1


def test_a_first_finger_reached_back_adds_one():  # [C] A string, C5 (k 2) with a 1 reached back: 3rd position
    assert position(2, 1, extension=-1) == 3


def test_half_position():  # [C] D string, D sharp with 1 and E flat with 2
    assert position(0, 1) == 0
    assert position(1, 2) == 0
    assert position_label(0) == "half position"
    assert position_label(3) == "3rd position"
    with pytest.raises(StringError, match="nut"):
        position(1, 4)


def test_strings_for_a_note():
    assert strings_for(Pitch.parse("A4"), "viola") == (1, 2, 3, 4)
    assert strings_for(Pitch.parse("E3"), "viola") == (4,)
    assert strings_for(Pitch.parse("F#3"), "violin") == ()
    assert semitones_above(Pitch.parse("F#3"), Pitch.parse("G3")) == -1


@pytest.mark.parametrize("semitones, mm", [(2, 40.4), (5, 92.8), (7, 123.1), (12, 185.0)])
def test_distances_from_the_nut(semitones, mm):  # [A] L = 370 mm
    assert distance(semitones, 370) == pytest.approx(mm, abs=0.05)


@pytest.mark.parametrize("length, mm", [(370, 82.7), (328, 73.3), (280, 62.6)])
def test_first_position_span(length, mm):  # [A] semitones 2 to 7
    assert span(2, 7, length) == pytest.approx(mm, abs=0.05)


def test_a_millimetre_in_cents():  # [A] L 370: 4.7 at the open string, 9.4 at the octave
    assert cents_per_mm(0, 370) == pytest.approx(4.7, abs=0.05)
    assert cents_per_mm(12, 370) == pytest.approx(9.4, abs=0.05)


def test_open_strings_in_pure_fifths():  # [A] from A 440
    assert open_hertz("violin") == pytest.approx((660.000, 440.0, 293.333, 195.556), abs=0.0005)
    assert open_hertz("viola") == pytest.approx((440.0, 293.333, 195.556, 130.370), abs=0.0005)
    assert open_hertz("viola", 415)[0] == 415


@pytest.mark.parametrize("name, expected", [("E5", 659.255), ("D4", 293.665), ("G3", 195.998), ("C3", 130.813)])
def test_equal_temperament(name, expected):  # [A]
    assert hertz(Pitch.parse(name)) == pytest.approx(expected, abs=0.0005)
