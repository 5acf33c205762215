"""Meanings on notes: what they say, and what a reader makes of those it can't trust."""

import pytest

from repertoire.notation.meanings import say, understand
from repertoire.notation.musicxml import read_part
from repertoire.technique.marks import Kind, Mark

from .small_files import FOUR, bars, direction, note, score


def other(text, step="single", number="1"):
    return f'<other-notation type="{step}" number="{number}" print-object="no">{text}</other-notation>'


def read(*notations):
    """Four quarters, the first ones with the given notations."""
    notes = "".join(note("C4", notations=n) for n in (*notations, *[""] * (4 - len(notations))))
    part = read_part(score(bars(FOUR + notes)), "file.musicxml", 1)
    return part.movements[0].printed, [left.what for left in part.left_out]


@pytest.mark.parametrize(
    ("mark", "text"),
    [
        (Mark(Kind.HOLD, "b1n1", "", "b1n3"), "hold"),
        (Mark(Kind.PART, "b1n1", "upper half"), "part: upper half"),
        (Mark(Kind.ORNAMENT, "b1n1", "trill", "", (("start", "upper"), ("close", "yes"))),
         "ornament; close yes; start upper: trill"),
        (Mark(Kind.TEXT, "b1n1", "one: two; three", "", (("after", "1/2"),)), "text; after 1/2: one: two; three"),
    ],
)  # fmt: skip
def test_a_mark_is_said_and_understood(mark, text):
    assert say(mark) == text
    found = understand(text)
    assert found is not None
    assert (found.kind, found.value, found.options) == (mark.kind, mark.value, mark.options)


def test_a_span_is_read_from_its_start_to_its_end():
    assert read(other("hold", "start"), "", other("hold", "stop")) == ((Mark(Kind.HOLD, "b1n1", "", "b1n3"),), [])


def test_what_other_programs_say_there_is_reported_as_before():
    assert read(other("a curly arrow")) == ((), ["The sign “other notation” on a note."])
    assert understand("sing along") is None
    assert understand("hold", "continue") is None


def test_a_value_that_is_none_is_reported():
    marks, left = read(other("part: the far end"))
    assert marks == ()
    assert left == ["“the far end” is not a part mark; choose from whole, upper half, lower half, middle, frog, tip."]


def test_an_end_or_a_beginning_alone_is_reported():
    assert read(other("hold", "stop")) == ((), ["A hold ends that never began."])
    assert read(other("hold", "start")) == ((), ["A hold has no end."])


def test_words_that_only_show_a_sign_are_passed_over():
    shown = (
        '<words>½ bow</words></direction-type><direction-type>'
        '<other-direction print-object="no">shows a sign of the note</other-direction>'
    )  # fmt: skip
    whole = FOUR + direction(shown) + note("C4", 16, "whole", notations=other("amount: 1/2"))
    part = read_part(score(bars(whole)), "file.musicxml", 1)
    assert part.movements[0].printed == (Mark(Kind.AMOUNT, "b1n1", "1/2"),)
    assert part.left_out == ()
