"""Natural and artificial harmonics: where to touch, what sounds."""

import pytest

from repertoire.technique.harmonics import HarmonicError, artificial, natural, natural_for
from repertoire.technique.pitch import Pitch


def test_a_place_without_a_harmonic():
    with pytest.raises(HarmonicError, match="No clear harmonic"):
        natural("viola", 1, Pitch.parse("B4"))
    with pytest.raises(HarmonicError):
        artificial("viola", 1, Pitch.parse("G4"))


def test_where_a_sounding_note_can_be_touched():
    found = [(h.string, h.touched.name) for h in natural_for("violin", Pitch.parse("A5"))]
    assert found == [(2, "A5"), (3, "A4"), (3, "A5")]


def test_an_artificial_harmonic_sounds_two_octaves_above():
    found = artificial("violin", 4, Pitch.parse("A3"))
    assert (found.touched.name, found.sounds.name, found.partial) == ("D4", "A5", 4)
    assert found.hertz == pytest.approx(880.0)
