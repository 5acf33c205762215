"""Numbers and days from addresses."""

from datetime import date

import pytest

from studio.asked import read_day, read_number


@pytest.mark.parametrize(
    "words, number",
    [("0", 0), ("17", 17), ("", None), ("-3", None), ("²", None), ("٣", None), ("1.5", None), ("9" * 30, None)],
)
def test_a_number_is_read_from_plain_digits(words, number):
    assert read_number(words) == number


@pytest.mark.parametrize(
    "words, day",
    [
        ("2026-11-25", date(2026, 11, 25)), ("2028-02-29", date(2028, 2, 29)), ("2026-02-29", None),
        ("2026-02-30", None), ("0001-01-01", None), ("9999-12-31", None), ("tomorrow", None), ("", None),
    ],
)  # fmt: skip
def test_a_day_is_one_of_the_calendar(words, day):
    assert read_day(words) == day
