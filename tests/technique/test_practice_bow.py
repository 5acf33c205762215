"""Slow and slurred, and the right hand alone."""

from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from repertoire.technique.fingering import complete
from repertoire.technique.line import Meter, Value
from repertoire.technique.marks import Kind, Mark
from repertoire.technique.open_strings import right_hand
from repertoire.technique.pitch import Pitch
from repertoire.technique.slow import slow
from tests.technique.lines import line, marks
from tests.technique.practice_law import assert_whole

TWO_BARS = line("4/4", "alto", "D4 q E4 e F#4 e G4 h | A4 q. B4 e r q D4 q", key=2)


def test_slow_doubles_values_and_the_metres_unit_and_keeps_bar_numbers():
    stave = slow(TWO_BARS, marks("down b1n1", "p b1n1", "staccato b1n2"))
    assert [bar.meter for bar in stave.line.bars] == [Meter("4", 2), Meter("4", 2)]
    assert [bar.number for bar in stave.line.bars] == ["1", "2"]
    assert [e.duration for e in stave.line.events] == [Fraction(n) for n in (2, 1, 1, 4, 3, 1, 2, 2)]
    assert stave.line.event("b2n1").value == Value("half", 1)
    assert_whole(stave.line, stave.marks)


def test_slow_slurs_by_the_bar_and_a_rest_or_a_repeated_note_ends_one():
    stave = slow(TWO_BARS, marks("slur b1n1 b1n2", "p b1n1"))
    assert stave.marks == tuple(sorted((*marks("p b1n1"), *marks("slur b1n1 b1n4", "slur b2n1 b2n2"))))
    again = slow(line("4/4", "alto", "D4 q D4 q E4 q F4 q"), ())
    assert again.marks == marks("slur b1n2 b1n4")


def test_slow_divides_a_bar_evenly_where_a_note_comes_twice_in_a_row():
    """Eight notes with the second and third alike: twos, not two, four and two. 2/2 is written as 4/2."""
    music = line("2/2", "alto", "C3 e E3 e E3 e A3 e D3 e G3 e G3 e D4 e")
    stave = slow(music, marks("slur b1n1 b1n4", "slur b1n5 b1n8"))
    assert stave.line.bars[0].meter == Meter("4", 2)
    assert stave.line.bars[0].length == 8
    assert stave.marks == marks("slur b1n1 b1n2", "slur b1n3 b1n4", "slur b1n5 b1n6", "slur b1n7 b1n8")
    assert_whole(stave.line, stave.marks)


def test_slow_takes_half_bars_where_they_are_enough():
    music = line("4/4", "alto", "C3 e D3 e E3 e F3 e F3 e E3 e D3 e C3 e")
    assert slow(music, ()).marks == marks("slur b1n1 b1n4", "slur b1n5 b1n8")


def test_what_can_not_be_vibrated_is_listed():
    found = complete(TWO_BARS, marks("finger0 b1n1", "finger0 b2n1", "finger0 b2n4"), "viola")
    assert slow(TWO_BARS, (), found).remarks == ("Can’t be vibrated: D4 (open) in bars 1, 2; A4 (open) in bar 2.",)


def test_places_inside_a_long_note_move_with_it():
    long = line("4/4", "alto", "D4 w")
    swell = Mark(Kind.DYNAMIC, "b1n1", "f", "", (("after", "2"),))
    assert slow(long, (swell,)).marks == (Mark(Kind.DYNAMIC, "b1n1", "f", "", (("after", "4"),)),)


STRINGS = (("b1n4", "II"), ("b2n1", "II"), ("b2n2", "I"))


def test_right_hand_plays_the_strings_of_the_fingering_with_the_bowing():
    bowing = marks("down b1n1", "slur b1n1 b1n3", "finger1 b1n2", "p b1n1", "up b2n1")
    found = complete(
        TWO_BARS, (*bowing, *marks("finger0 b2n4"), *(Mark(Kind.STRING, a, n) for a, n in STRINGS)), "viola"
    )
    stave = right_hand(TWO_BARS, bowing, found)
    assert [p.name for p in stave.line.pitches] == ["D4", "D4", "D4", "D4", "D4", "A4", "D4"]
    assert set(stave.marks) == set(marks("down b1n1", "slur b1n1 b1n3", "p b1n1", "up b2n1"))
    assert [e.duration for e in stave.line.events] == [e.duration for e in TWO_BARS.events]
    assert stave.remarks == ("2 string crossings, all to the next string.",)


def test_double_stops_become_two_open_strings():
    chords = line("2/4", "alto", "G3+E4 q D4+B4 q")
    stave = right_hand(chords, (), complete(chords, marks("finger0 b1n1p1", "finger0 b1n2p1"), "viola"))
    assert [e.pitches for e in stave.line.events] == [
        (Pitch.parse("G3"), Pitch.parse("D4")), (Pitch.parse("D4"), Pitch.parse("A4")),
    ]  # fmt: skip


NOTES = st.lists(
    st.tuples(st.sampled_from(["C3", "G3", "A3", "D4", "E4", "F#4", "B4"]), st.sampled_from(["q", "e", "h", "s"])),
    min_size=1, max_size=12,
)  # fmt: skip


@settings(max_examples=40, deadline=None)
@given(NOTES)
def test_laws_of_slow_and_open_strings(notes):
    """Augmentation scales durations exactly; right-hand staves hold open strings only."""
    values = {"q": 4, "e": 2, "h": 8, "s": 1}
    length = sum(values[v] for _, v in notes)
    rests = " ".join(["r s"] * (-length % 16))
    text = " ".join(f"{name} {value}" for name, value in notes)
    made = line(f"{(length + -length % 16)}/16", "alto", f"{text} {rests}")
    slowed = slow(made, ())
    assert [e.duration for e in slowed.line.events] == [2 * e.duration for e in made.events]
    assert_whole(slowed.line, slowed.marks)
    alone = right_hand(made, (), complete(made, (), "viola"))
    assert {p.name for p in alone.line.pitches} <= {"C3", "G3", "D4", "A4"}
    assert_whole(alone.line, alone.marks)
