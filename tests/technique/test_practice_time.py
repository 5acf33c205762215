import pytest
from hypothesis import given
from hypothesis import strategies as st

from repertoire.technique.practice_time import break_after, divide_minutes, playing_limit


def test_minutes_are_shared_by_the_largest_remainder():
    # Arithmetic: 25 · 3/6 = 12.5, 25 · 2/6 = 8.33, 25 · 1/6 = 4.17; the spare minute goes to the first.
    assert divide_minutes(25, (3, 2, 1)) == (13, 8, 4)
    assert divide_minutes(10, (1, 1, 1)) == (4, 3, 3)


@given(st.integers(0, 300), st.lists(st.integers(0, 20), min_size=1, max_size=8).filter(any))
def test_shares_add_up_and_stay_within_a_minute_of_the_exact_share(total, weights):
    shares = divide_minutes(total, weights)
    assert sum(shares) == total
    assert all(abs(share - total * w / sum(weights)) < 1 for share, w in zip(shares, weights, strict=True))


@pytest.mark.parametrize("weights", [(), (0, 0), (-1, 2)])
def test_weights_that_share_nothing_are_refused(weights):
    with pytest.raises(ValueError, match="weights"):
        divide_minutes(10, weights)


def test_a_break_comes_before_the_stretch_gets_too_long():
    assert break_after((10, 10, 12), 25) == (1,)
    assert break_after((10, 10, 5), 25) == ()
    assert break_after((30, 5), 25) == (0,)
    assert break_after((8, 8, 8, 8), 15) == (0, 1)
    assert break_after((), 25) == ()


def test_a_little_that_is_left_needs_no_break_before_it():
    # Every 25 to 30 minutes: 30 are played through, 31 are not.
    assert break_after((10, 10, 5, 5), 25) == ()
    assert break_after((10, 10, 5, 6), 25) == (2,)
    assert break_after((10, 6), 15) == ()


def test_children_rest_sooner():
    assert playing_limit(8) == 15
    assert playing_limit(16) == 25
    assert playing_limit(None) == 25
