"""Drone frequencies against the arithmetic of pure fifths and equal temperament."""

from __future__ import annotations

import pytest

from repertoire.technique.drones import drones, key_note
from repertoire.technique.pitch import Pitch


def test_open_strings_in_pure_fifths_and_equal_temperament():
    """From A 440 by 3 : 2. [A]"""
    viola = drones("viola")
    assert [(d.name, round(d.pure, 3), round(d.equal, 3)) for d in viola] == [
        ("A4", 440.0, 440.0),
        ("D4", 293.333, 293.665),
        ("G3", 195.556, 195.998),
        ("C3", 130.37, 130.813),
    ]
    assert next((round(d.pure, 3), round(d.equal, 3)) for d in drones("violin")) == (660.0, 659.255)


def test_the_studios_a_moves_them_all():
    assert [round(d.pure, 3) for d in drones("violin", 442)] == [663.0, 442.0, 294.667, 196.444]


@pytest.mark.parametrize(
    ("key", "mode", "name"),
    [(0, "major", "C3"), (0, "minor", "A3"), (-1, "major", "F3"), (3, "minor", "F#3"), (-3, "major", "Eb3")],
)
def test_the_key_note(key, mode, name):
    assert key_note(key, mode, Pitch.parse("C3")).name == name


def test_the_key_note_is_added_when_no_string_gives_it():
    """F3 lies four fifths below A, two octaves up again: 440 × (2/3)⁴ × 2 = 173.827 Hz; equal 174.614. [A]"""
    found = drones("viola", key=-1)[-1]
    assert (found.name, round(found.pure, 3), round(found.equal, 3)) == ("F3", 173.827, 174.614)
    assert len(drones("viola", key=2)) == 4  # D is a string
