"""Places on a picture, signs there, their words and what differs between two sets of them."""

import pytest

from repertoire.technique.line import Line, LineError, parse_address
from repertoire.technique.marks import Aspect, Kind, Mark, MarkError, changes, combine, digest, dump, load, put
from repertoire.technique.picture_marks import Paper, describe, differences, in_order, nearest, nudge, place_sign
from repertoire.technique.picture_places import Place, PlaceError, is_place, parse_place

# Two staves, their lines from 200 to 280 and from 450 to 530 of 700 pixels.
PAPER = Paper(1600, 700, ((200, 280), (450, 530)))
DOWN = Mark(Kind.BOW, "x0.1250y0.2000", "down")
UP = Mark(Kind.BOW, "x0.2500y0.2000", "up")
SECOND = Mark(Kind.FINGER, "x0.1000y0.9000", "2")
SLUR = Mark(Kind.SLUR, "x0.3000y0.2500", "", "x0.5000y0.2500")


def test_a_place_is_two_fractions_with_four_decimals():
    assert Place(0.125, 0.5).address == "x0.1250y0.5000"
    assert Place(1, 0).address == "x1.0000y0.0000"
    assert parse_place("x0.1250y0.5000") == Place(0.125, 0.5)


@pytest.mark.parametrize("address", ["x0.5y0.5", "x1.0001y0.0000", "b1n1", "x0.1000y0.2000p2", "", "x-0.1000y0.2000"])
def test_what_is_no_place_is_refused(address):
    with pytest.raises(PlaceError):
        parse_place(address)


def test_a_place_is_never_taken_for_a_note():
    assert not is_place("b12n3")
    with pytest.raises(LineError):
        parse_address("x0.1250y0.5000")
    assert "x0.1250y0.5000" not in Line((), ())


def test_a_sign_holds_through_storing():
    marks = (DOWN, SECOND, SLUR, Mark(Kind.TEXT, "x0.7000y0.1000", "broad", options=(("style", "italic"),)))
    assert set(load(dump(marks))) == set(marks)
    assert DOWN.on_picture
    assert not Mark(Kind.BOW, "b1n1", "down").on_picture


@pytest.mark.parametrize(
    "make",
    [
        lambda: Mark(Kind.SLUR, "x0.1000y0.1000", "", "b1n2"),
        lambda: Mark(Kind.SLUR, "b1n2", "", "x0.1000y0.1000"),
        lambda: Mark(Kind.ORNAMENT, "x0.1000y0.1000", "trill"),
        lambda: Mark(Kind.FINGER, "x0.1000y0.1000", "5"),
        lambda: Mark(Kind.BOW, "x1.5000y0.1000", "down"),
    ],
)
def test_what_cant_stand_on_a_picture_is_refused(make):
    with pytest.raises(MarkError):
        make()


def test_digests_tell_aspects_apart():
    assert digest((DOWN, SECOND), Aspect.BOW) == digest((DOWN,), Aspect.BOW)
    assert digest((DOWN, SECOND), Aspect.LEFT_HAND) != digest((DOWN,), Aspect.LEFT_HAND)
    assert set(combine((DOWN, SECOND), (UP,), Aspect.BOW)) == {UP, SECOND}


def test_changes_of_signs_are_found_and_ordered_from_the_top():
    found = changes((DOWN,), (SECOND, UP))
    assert [(c.before, c.after) for c in found] == [(DOWN, None), (None, UP), (None, SECOND)]


def test_signs_are_read_stave_by_stave():
    assert in_order((SECOND, SLUR, UP, DOWN), PAPER) == (DOWN, UP, SLUR, SECOND)


@pytest.mark.parametrize(
    "mark, paper, words",
    [
        (DOWN, PAPER, "stave 1, 12 % across, above: down-bow"),
        (SECOND, PAPER, "stave 2, 10 % across, below: finger 2"),
        (SLUR, PAPER, "stave 1, 30 % across, above: slur to 50 %"),
        (Mark(Kind.FINGER, "x0.5000y0.7000", "0"), PAPER, "stave 2, 50 % across, on the lines: open string"),
        (
            Mark(Kind.FINGER, "x0.5000y0.7000", "2-1"),
            Paper(1600, 700),
            "50 % across, 70 % down: finger 2 changing to 1",
        ),
        (Mark(Kind.STRING, "x0.5000y0.1000", "II"), Paper(1600, 700, ((200, 280),)), "50 % across, above: string II"),
    ],
)
def test_a_sign_in_words(mark, paper, words):
    assert describe(mark, paper) == words


def test_a_sign_between_two_staves_belongs_to_the_lower_one_from_its_third_on():
    # 170 px lie between the staves: at 350 it is 70 below the upper and 100 × .6 above the lower [A].
    assert [PAPER.stave_at(y / 700) for y in (100, 300, 340, 350, 440, 600)] == [0, 0, 0, 1, 1, 1]


def test_differences_tell_moved_from_added():
    moved = Mark(Kind.BOW, "x0.1300y0.2000", "down")
    open_string = Mark(Kind.FINGER, SECOND.at, "0")
    found = differences((DOWN, UP, SECOND), (moved, SLUR, open_string), PAPER)
    assert [(c.where, c.words, c.aspect) for c in found] == [
        ("stave 1, 13 % across, above", "down-bow moved", Aspect.BOW),
        ("stave 1, 25 % across, above", "up-bow removed", Aspect.BOW),
        ("stave 1, 30 % across, above", "slur to 50 % added", Aspect.BOW),
        ("stave 2, 10 % across, below", "open string, was finger 2", Aspect.LEFT_HAND),
    ]
    assert differences((DOWN,), (DOWN,), PAPER) == ()


def test_a_sign_is_nudged_and_stays_inside():
    assert nudge((DOWN, UP), DOWN, 0.005, 0) == put((UP,), Mark(Kind.BOW, "x0.1300y0.2000", "down"))
    at_the_edge = Mark(Kind.BOW, "x0.0000y0.0000", "up")
    assert nudge((at_the_edge,), at_the_edge, -0.1, -0.1) == (at_the_edge,)
    assert nudge((SLUR,), SLUR, 0, 0.01) == (Mark(Kind.SLUR, "x0.3000y0.2600", "", "x0.5000y0.2600"),)
    with pytest.raises(MarkError):
        nudge((UP,), DOWN, 0.005, 0)


def test_a_slur_drawn_from_right_to_left_is_turned_round():
    assert place_sign((), Mark(Kind.SLUR, SLUR.to, "", SLUR.at)) == (SLUR,)
    with pytest.raises(MarkError, match="from one place to another"):
        place_sign((), Mark(Kind.SLUR, SLUR.at, "", SLUR.at))


def test_the_nearest_sign_is_found_within_reach():
    assert nearest((DOWN, UP), Place(0.13, 0.21), PAPER) == DOWN
    assert nearest((SLUR,), Place(0.5, 0.25), PAPER) == SLUR
    assert nearest((DOWN, UP), Place(0.19, 0.2), PAPER) is None
    assert nearest((), Place(0.5, 0.5), PAPER) is None
