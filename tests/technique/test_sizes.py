"""String lengths estimated from the size on a label."""

import pytest

from repertoire.technique.sizes import estimated_length


# [M] common makers' figures, from memory; [A] 16 inches are 406.4 mm, × .91 is 370
@pytest.mark.parametrize(
    "instrument, size, length",
    [
        ("violin", "1/2", 288),
        ("violin", "½", 288),
        ("violin", " 3/4 ", 308),
        ("violin", "full", 328),
        ("violin", "4/4", 328),
        ("viola", "16 inch", 370),
        ("viola", "15½ inch", 358),
        ("viola", '15 1/2"', 358),
        ("viola", "40 cm", 364),
        ("viola", "15.5 in", 358),
    ],
)
def test_a_size_as_it_is_said(instrument, size, length):
    assert estimated_length(instrument, size) == length


@pytest.mark.parametrize(
    "instrument, size", [("violin", ""), ("violin", "5/0"), ("violin", "small"), ("viola", "1/2"), ("viola", "99 inch"),
                         ("violin", "14 inch"), ("violin", "3/5")]
)  # fmt: skip
def test_what_tells_nothing(instrument, size):
    assert estimated_length(instrument, size) is None
