"""Check values for the left hand, each with its source.

[P] published, [P/M] published, recalled from memory, [C] common practice without a source,
[A] arithmetic from the definition.
"""

import math

import pytest
from music21 import interval, note

from repertoire.technique.fingering import complete
from repertoire.technique.fingering_costs import PRESETS
from repertoire.technique.fingering_states import choices_of, frame_cost, stops_of
from repertoire.technique.harmonics import natural, partial_cents, touch_semitones
from repertoire.technique.left_hand import hand_span, ringing, shifts
from repertoire.technique.marks import Kind, Mark
from repertoire.technique.moments import FREE, Wish
from repertoire.technique.pitch import Pitch
from repertoire.technique.strings import hertz, open_hertz, open_strings
from repertoire.technique.transposing import transpose
from repertoire.technique.tuning import heard_two_ways, offset_of, pure_with
from tests.technique.lines import line

COSTS = PRESETS["balanced"]

# First position, fingers 0 to 4 on each string, natural notes and the usual sharps [C]
FIRST_POSITION = {
    "violin": {1: "E5 F#5 G5 A5 B5", 2: "A4 B4 C#5 D5 E5", 3: "D4 E4 F#4 G4 A4", 4: "G3 A3 B3 C4 D4"},
    "viola": {1: "A4 B4 C#5 D5 E5", 2: "D4 E4 F#4 G4 A4", 3: "G3 A3 B3 C4 D4", 4: "C3 D3 E3 F3 G3"},
}


@pytest.mark.parametrize("instrument", ["violin", "viola"])
@pytest.mark.parametrize("string", [1, 2, 3, 4])
def test_first_position_table(instrument, string):
    for finger, name in enumerate(FIRST_POSITION[instrument][string].split()):
        (stop,) = [
            s
            for s in stops_of(Pitch.parse(name), Wish(finger, string), open_strings(instrument))
            if not s.extension and not s.respelled
        ]
        assert (stop.finger, stop.string) == (finger, string)
        assert stop.position == (1 if finger else -1)


def test_viola_a4_on_the_d_string():  # [C]
    found = {
        (s.finger, s.position)
        for s in stops_of(Pitch.parse("A4"), FREE, open_strings("viola"))
        if s.string == 2 and not s.extension
    }
    assert found == {(1, 4), (2, 3), (3, 2), (4, 1)}


def test_the_four_finger_grip():  # [P/M] Geminiani, The Art of Playing on the Violin, 1751: offsets 1, 3, 5, 7
    pitches = [Pitch.parse(n) for n in ("D4", "G4", "C5", "F5")]
    wishes = [Wish(4, 4), Wish(3, 3), Wish(2, 2), Wish(1, 1)]
    (choice,) = choices_of(pitches, wishes, open_strings("violin"), COSTS)
    assert [s.semitones for s in choice.stops] == [7, 5, 3, 1]
    assert choice.position == 1


def guide(text, *fingers, key=0):
    passage = line("4/4", "alto", text, key=key)
    marks = [Mark(Kind.FINGER, f"b1n{n}", str(f)) for n, f in enumerate(fingers, 1)]
    marks += [Mark(Kind.STRING, f"b1n{n}", "I") for n in range(1, len(fingers) + 1)]
    return shifts(complete(passage, marks))[0]


def test_guide_notes():  # [P/M] Spohr, Violinschule, 1832; Flesch, The Art of Violin Playing
    shift = guide("B4 h E5 h", 1, 2)
    assert (shift.starting.pitch.name, shift.starting.position) == ("D5", 3)
    assert shift.arriving.pitch.name == "C5"
    assert guide("B4 h E5 h", 1, 2, key=3).arriving.pitch.name == "C#5"


@pytest.mark.parametrize("length, mm", [(370, 82.7), (328, 73.3), (280, 62.6)])
def test_span_of_the_first_position(length, mm):  # [A] semitones 2 to 7
    passage = line("4/4", "alto", "B4 h E5 h")
    marks = [Mark(Kind.FINGER, "b1n1", "1"), Mark(Kind.FINGER, "b1n2", "4"), Mark(Kind.STRING, "b1n2", "I")]
    wide, start, end = hand_span(complete(passage, marks, length=length))
    assert wide == pytest.approx(mm, abs=0.05)
    assert (start, end) == ("b1n1", "b1n2")


@pytest.mark.parametrize(
    "partial, semitones, cents",
    [(2, 12.00, 1200), (3, 7.02, 1902), (4, 4.98, 2400), (5, 3.86, 2786), (6, 3.16, 3102)],
)
def test_natural_harmonics(partial, semitones, cents):  # [A]
    assert touch_semitones(partial) == pytest.approx(semitones, abs=0.005)
    assert partial_cents(partial) == pytest.approx(cents, abs=0.5)


def test_partials_of_the_d_string():  # [A] pure fifths from A 440
    third = natural("viola", 2, Pitch.parse("A4"))
    assert third.hertz == pytest.approx(880.0)
    assert third.sounds.name == "A5"
    fifth = natural("viola", 2, Pitch.parse("F#4"))
    assert fifth.sounds.name == "F#6"
    assert fifth.cents_off == pytest.approx(-13.7, abs=0.05)


@pytest.mark.parametrize(
    "name, semitones, offset",
    [("minor third", 3, -4), ("major third", 4, -3), ("minor sixth", 8, 1), ("major sixth", 9, 2), ("octave", 12, 5),
     ("unison", 0, -7), ("minor tenth", 15, 8), ("major tenth", 16, 9)],
)  # fmt: skip
def test_double_stop_offsets(name, semitones, offset):  # [A] interval − 7
    assert offset_of(semitones) == offset


def test_usual_double_stops_fit_one_hand():  # [C] thirds 1–3, 2–4; sixths 1–2, 2–3; octaves 1–4; unisons 4–1
    opens = open_strings("violin")
    for low, high, fingers in (
        ("A4", "C5", (4, 2)), ("G4", "B4", (3, 1)), ("F#4", "D5", (2, 3)), ("E4", "C5", (1, 2)),
        ("E4", "E5", (1, 4)), ("E5", "E5", (4, None)),
    ):  # fmt: skip
        wishes = (Wish(fingers[0]), Wish(fingers[1]))
        found = choices_of((Pitch.parse(low), Pitch.parse(high)), wishes, opens, COSTS)
        assert any(c.position == 1 for c in found), (low, high)


def test_a_double_stop_too_wide_for_the_hand():  # [A] two octaves on neighbouring strings
    opens = open_strings("violin")
    low = next(s for s in stops_of(Pitch.parse("E4"), Wish(1, 3), opens))
    wide = next(s for s in stops_of(Pitch.parse("E6"), Wish(4, 2), opens))
    assert frame_cost((low, wide), COSTS) is None


def test_two_notes_on_one_string():  # [A] C3 with E3 on the viola
    assert choices_of((Pitch.parse("C3"), Pitch.parse("E3")), (FREE, FREE), open_strings("viola"), COSTS) == ()


def test_what_rings_with_g4():  # [C] G4 on the D string excites G and C on a viola
    passage = line("4/4", "alto", "G4 w")
    fingering = complete(passage, (Mark(Kind.FINGER, "b1n1", "3"), Mark(Kind.STRING, "b1n1", "II")))
    assert [(a, [p.name for p in answer]) for a, answer in ringing(fingering)] == [("b1n1", ["C3", "G3"])]


@pytest.mark.parametrize("name", ["E5", "F#4", "Bb3", "C#6", "Ab5", "B#4", "Cb5"])
def test_a_fifth_lower_agrees_with_music21(name):  # [P] music21's own transposition
    moved = transpose(line("4/4", "treble", f"{name} w"), steps=-4, semitones=-7)
    theirs = note.Note(name.replace("b", "-")).transpose(interval.Interval("-P5"))
    assert next(moved.pitches).name == theirs.nameWithOctave.replace("-", "b")


def test_open_strings_in_pure_fifths_and_how_far_they_lie_from_equal_temperament():  # [A]
    names = ("E5", "A4", "D4", "G3", "C3")
    pure = dict(zip(names[:4], open_hertz("violin"), strict=True)) | {"C3": open_hertz("viola")[3]}
    assert [round(pure[n], 3) for n in names] == [660.0, 440.0, 293.333, 195.556, 130.37]
    equal = {n: hertz(Pitch.parse(n)) for n in names}
    assert [round(equal[n], 3) for n in names] == [659.255, 440.0, 293.665, 195.998, 130.813]
    cents = [1200 * math.log2(pure[n] / equal[n]) for n in names]
    assert [round(c, 2) for c in cents] == [1.96, 0.0, -1.96, -3.91, -5.87]


def test_e4_is_pure_in_two_places():  # [A] with the open A above, and as a sixth above the open G
    e4 = Pitch.parse("E4")
    fourth = pure_with(e4, Pitch.parse("A4"), "violin")
    sixth = pure_with(e4, Pitch.parse("G3"), "violin")
    assert (fourth[0], round(fourth[1], 2)) == ("a fourth", 330.0)
    assert (sixth[0], round(sixth[1], 2)) == ("a sixth", 325.93)
    passage = line("4/4", "treble", "E4+A4 h G3+E4 h", instrument="violin")
    (heard,) = heard_two_ways(complete(passage, (), "violin"))
    assert round(heard.cents, 1) == 21.5
    assert heard.sentence == (
        "325.93 Hz as a sixth with the open G3 and 330.00 Hz as a fourth with the open A4: "
        "21.5 cents apart, each in tune in its place"
    )
    # alone, without an open string sounding, nothing is said
    assert heard_two_ways(complete(line("4/4", "treble", "E4 w", instrument="violin"), (), "violin")) == ()
