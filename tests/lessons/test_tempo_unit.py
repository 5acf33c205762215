"""The beat a tempo is counted in, from the metre."""

from __future__ import annotations

from fractions import Fraction

import pytest

from lessons.tempo import unit_of
from repertoire.technique.line import Meter


@pytest.mark.parametrize(
    "meter, unit",
    [
        (Meter("4", 4), "quarter"),
        (Meter("3", 2), "half"),
        (Meter("6", 8), "dotted quarter"),
        (Meter("3", 8), "eighth"),
        (Meter("9", 16), "dotted eighth"),
    ],
)
def test_the_unit_follows_the_metre(meter, unit):
    # Common practice, no source: compound metres are counted in dotted units.
    assert unit_of(meter.beat) == unit


def test_what_has_no_name_is_counted_in_quarters():
    assert unit_of(Fraction(5, 3)) == "quarter"
