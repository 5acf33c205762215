"""Shifts, guide notes, holds, stretches, vibrato, ringing, tuning care and practice excerpts."""

from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from repertoire.technique.bare_notes import moments_of_notes
from repertoire.technique.fingering import complete, complete_moments
from repertoire.technique.left_hand import (
    hand_span,
    holds,
    key_alteration,
    semitone_slides,
    shifts,
    stretches,
    without_vibrato,
)
from repertoire.technique.marks import Kind, Mark
from repertoire.technique.shift_staves import shift_excerpt, slide_excerpts
from repertoire.technique.tuning import tuning_care
from tests.technique.lines import line


def fingered(passage, *numbers, strings=(), instrument="viola", more=()):
    """A fingering with every note marked: fingers in order, strings where given."""
    marks = []
    notes = [e for e in passage.notes if not e.continues]
    for event, number in zip(notes, numbers, strict=True):
        if number is not None:
            marks.append(Mark(Kind.FINGER, event.address, str(number)))
    for event, name in zip(notes, strings, strict=False):
        if name:
            marks.append(Mark(Kind.STRING, event.address, name))
    return complete(passage, (*marks, *more), instrument)


def test_an_open_string_hides_a_shift():
    passage = line("4/4", "alto", "B4 q A4 q D5 h")
    (shift,) = shifts(fingered(passage, 1, 0, 1, strings=("I", "I", "I")))
    assert (shift.positions, shift.hidden, shift.heard) == (2, "open string", False)


def test_a_rest_hides_a_shift():
    passage = line("4/4", "alto", "B4 q r q D5 h")
    (shift,) = shifts(fingered(passage, 1, 1, strings=("I", "I")))
    assert shift.hidden == "rest"


def test_a_shift_inside_a_slur_is_heard():
    passage = line("4/4", "alto", "B4 h D5 h")
    slur = Mark(Kind.SLUR, "b1n1", to="b1n2")
    (shift,) = shifts(fingered(passage, 1, 1, strings=("I", "I"), more=(slur,)))
    assert shift.heard
    assert shift.sentence == "B4 with 1 to D5 with 1: up 2 positions to 3rd position, 52 mm, heard in the slur"


def test_an_extension_or_an_open_string_is_no_shift():
    passage = line("4/4", "alto", "B4 q D5 q F5 q A4 q")
    extended = (Mark(Kind.EXTENSION, "b1n3", "forward"),)
    fingering = fingered(passage, 1, 3, 4, 0, strings=("I", "I", "I", "I"), more=extended)
    assert shifts(fingering) == ()
    assert [p.position for p in fingering.placements] == [1, 1, 1, 1]


def test_a_shift_down_has_its_guide_notes_too():
    passage = line("4/4", "alto", "D5 h C5 h")
    (shift,) = shifts(fingered(passage, 1, 2, strings=("I", "I")))
    assert shift.positions == -2
    assert str(shift.starting) == "B4, finger 1, 1st position on I"
    assert str(shift.arriving) == "E5, finger 2, 3rd position on I"


def test_a_substitution_is_followed_from_its_second_finger():
    passage = line("4/4", "alto", "E4 h F4 h")
    marks = (Mark(Kind.FINGER, "b1n1", "3-1"), Mark(Kind.STRING, "b1n1", "III"), Mark(Kind.FINGER, "b1n2", "2"))
    fingering = complete(passage, (*marks, Mark(Kind.STRING, "b1n2", "III")))
    assert [p.position for p in fingering.placements] == [3, 5]
    assert shifts(fingering) == ()


def test_guide_notes_follow_the_key():
    passage = line("4/4", "alto", "B4 h E5 h", key=2)
    (shift,) = shifts(fingered(passage, 1, 2, strings=("I", "I")))
    assert shift.arriving.pitch.name == "C#5"


def test_a_finger_stays_down_until_it_is_needed_again():
    passage = line("4/4", "alto", "G4 q B4 q G4 h")
    (hold,) = holds(fingered(passage, 3, 1, 3, strings=("II", "I", "II")))
    assert (hold.start, hold.end, hold.finger, hold.string) == ("b1n1", "b1n3", 3, 2)


def test_a_finger_that_is_needed_between_is_not_kept():
    passage = line("4/4", "alto", "G4 q D5 q G4 h")
    assert holds(fingered(passage, 3, 3, 3, strings=("II", "I", "II"))) == ()


def test_one_finger_on_two_half_steps():
    passage = line("4/4", "alto", "C5 q C#5 q D5 h")
    fingering = fingered(passage, 2, 2, 3, strings=("I", "I", "I"))
    (slide,) = semitone_slides(fingering)
    assert (slide.start, slide.end, slide.finger) == ("b1n1", "b1n2", 2)
    same, two = slide_excerpts(fingering, slide)
    assert [m.value for m in same[1] if m.kind is Kind.FINGER] == ["2", "2"]
    assert [m.value for m in two[1] if m.kind is Kind.FINGER] == ["2", "3"]
    assert [e.pitches[0].name for e in two[0].events] == ["C5", "C#5"]


def test_a_stretch_is_named_with_its_width():
    passage = line("4/4", "alto", "Bb4 h E5 h", key=-1)
    (stretch,) = stretches(fingered(passage, 1, 4, strings=("I", "I")))
    assert (stretch.fingers, stretch.semitones) == ((1, 4), 6)
    # [A] 370 · (2^(−1/12) − 2^(−7/12)) = 349.23 − 246.95
    assert round(stretch.mm, 1) == 102.3


def test_no_stretch_inside_the_frame():
    passage = line("4/4", "alto", "B4 h E5 h")
    assert stretches(fingered(passage, 1, 4, strings=("I", "I"))) == ()


def test_open_strings_and_natural_harmonics_are_not_vibrated():
    passage = line("4/4", "alto", "A4 q B4 q A5 h")
    fingering = fingered(passage, 0, 1, 4, strings=("I", "I", "I"), more=(Mark(Kind.HARMONIC, "b1n3", "natural"),))
    assert without_vibrato(fingering) == ("b1n1", "b1n3")


def test_key_signatures():
    assert [key_alteration("B", k) for k in (-7, -1, 0, 6, 7)] == [-1, -1, 0, 0, 1]
    assert [key_alteration("F", k) for k in (-7, -6, 0, 1)] == [-1, 0, 0, 1]


def test_care_gives_reasons_and_puts_the_teacher_first():
    passage = line("4/4", "alto", "B4 q D5 q F5 q F#5 q")
    fingering = fingered(passage, 1, 1, 3, 3, strings=("I", "I", "I", "I"))
    care = tuning_care(fingering, flags=[("b1n1", "listen to the open D")])
    assert care[0].flagged
    assert care[0].reasons[0] == "listen to the open D"
    by_address = {c.address: c.reasons for c in care}
    assert by_address["b1n2"] == ("arrival of a shift to 3rd position",)
    assert by_address["b1n4"] == ("finger 3 slides a half step",)


def test_a_diminished_fifth_with_one_finger_asks_for_care():  # [C] E4/B♭4
    passage = line("4/4", "alto", "E4 h Bb4 h", key=-1)
    care = tuning_care(fingered(passage, 1, 1, strings=("II", "I")))
    assert care[0].reasons == ("finger 1 crosses a diminished or augmented fifth",)


def test_one_shift_alone_is_a_bar_with_its_guide_note():
    passage = line("4/4", "alto", "B4 h E5 h")
    fingering = fingered(passage, 1, 2, strings=("I", "I"))
    (shift,) = shifts(fingering)
    excerpt, marks = shift_excerpt(fingering, shift, "starting")
    assert [e.pitches[0].name for e in excerpt.events] == ["B4", "D5", "E5"]
    assert [m.value for m in marks if m.kind is Kind.FINGER] == ["1", "1", "2"]
    assert sum(e.duration for e in excerpt.events) == excerpt.bars[0].length
    assert excerpt.events[1].grace == "plain"


@settings(max_examples=30, deadline=None)
@given(st.lists(st.integers(48, 84), min_size=2, max_size=20))
def test_shifts_join_the_positions_they_name(midis):
    fingering = complete_moments(moments_of_notes(midis, range(len(midis)), [1] * len(midis)), "viola")
    stopped = [p for p in fingering.placements if p.finger]
    changes = [b.position - a.position for a, b in pairwise(stopped) if a.position != b.position]
    assert [s.positions for s in shifts(fingering)] == changes
    for shift in shifts(fingering):
        if shift.starting is not None:
            assert shift.starting.position == shift.end.position
            assert shift.starting.finger == shift.start.finger
        if shift.arriving is not None:
            assert shift.arriving.string == shift.end.string
    wide, start, end = hand_span(fingering)
    assert wide >= 0
    assert (start == "") == (end == "")


def test_the_span_is_between_two_different_notes():
    """E flat 4 with 1 on II and again with 4 on III is one note, not a span of the hand."""
    passage = line("4/4", "alto", "Eb4 h Eb4 h", key=-3)
    marks = (
        Mark(Kind.FINGER, "b1n1", "1"),
        Mark(Kind.STRING, "b1n1", "II"),
        Mark(Kind.FINGER, "b1n2", "4"),
        Mark(Kind.STRING, "b1n2", "III"),
        Mark(Kind.EXTENSION, "b1n2", "forward"),
    )
    assert hand_span(complete(passage, marks)) == (0.0, "", "")
