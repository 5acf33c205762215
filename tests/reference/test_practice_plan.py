"""Ladders of tempi and review dates against the figures of common practice and plain arithmetic."""

from datetime import date

import pytest

from repertoire.technique.review import gap_after, next_review, review_dates
from repertoire.technique.tempo_ladder import LadderError, equal_ratio, traditional


def test_traditional_ladder():
    """[C] 40–60 by 2, to 72 by 3, to 120 by 4, to 144 by 6, to 208 by 8; the goal closes it."""
    assert traditional(60, 90) == (60, 63, 66, 69, 72, 76, 80, 84, 88, 90)
    assert traditional(46, 54) == (46, 48, 50, 52, 54)
    assert traditional(138, 160) == (138, 144, 152, 160)
    assert traditional(72, 72) == (72,)


def test_equal_ratio_in_six_steps():
    """[A] 60 · 1.5^(n/6), rounded."""
    assert equal_ratio(60, 90, 6) == (60, 64, 69, 73, 79, 84, 90)
    assert equal_ratio(60, 62, 6) == (60, 61, 62)


def test_a_ladder_leads_upwards():
    with pytest.raises(LadderError, match="lies below"):
        traditional(90, 60)


def test_review_dates_from_the_first_of_march():
    """[C] Gaps of 1, 3, 7, 14 and 30 days."""
    assert review_dates(date(2026, 3, 1)) == (
        date(2026, 3, 2), date(2026, 3, 5), date(2026, 3, 12), date(2026, 3, 26), date(2026, 4, 25),
    )  # fmt: skip


def test_a_failure_shortens_the_gap():
    assert gap_after([True, True, True]) == 3
    assert gap_after([True, True, True, False]) == 1
    assert gap_after([False]) == 0


def test_a_holiday_defers_and_a_recital_caps():
    away = [(date(2026, 3, 10), date(2026, 3, 15))]
    assert next_review(date(2026, 3, 5), 2, holidays=away) == date(2026, 3, 16)
    assert next_review(date(2026, 3, 12), 3, recital=date(2026, 3, 20)) == date(2026, 3, 17)
    assert next_review(date(2026, 3, 21), 3, recital=date(2026, 3, 20)) == date(2026, 4, 4)
