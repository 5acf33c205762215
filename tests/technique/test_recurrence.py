"""The same music elsewhere, and marks carried to it."""

from repertoire.technique.line import Line
from repertoire.technique.marks import Aspect, Kind, Mark
from repertoire.technique.recurrence import Likeness, carry, occurrences
from tests.technique.lines import line, marks

SECOND = "G4 q F4 e E4 e D4 h"
THEME = f"C4 q D4 e E4 e F4 h | {SECOND}"
PART = line(
    "4/4", "alto",
    f"{THEME} | r w | {THEME} | G4 q A4 e B4 e C5 h | D5 q C5 e B4 e A4 h | "
    "C4 q D4 e E4 e F4 h | G4 q F4 s G4 s E4 e D4 h | C4 w",
)  # fmt: skip


def cut(part: Line, first: int, last: int) -> Line:
    bars = tuple(b for b in part.bars if first <= b.index <= last)
    return Line(bars, tuple(e for e in part.events if first <= e.bar <= last))


PASSAGE = cut(PART, 1, 2)


def test_exact_transposed_and_changed():
    found = occurrences(PASSAGE, PART)
    assert [(o.likeness, o.bars, o.steps, o.semitones) for o in found] == [
        (Likeness.EXACT, ("4", "5"), 0, 0),
        (Likeness.TRANSPOSED, ("6", "7"), 4, 7),
        (Likeness.CHANGED, ("8", "9"), 0, 0),
    ]
    assert found[2].changes == ("bar 9, beat 2: another length (F4)", "bar 9, beat 2¼: a note more (G4)")
    assert found[0].pairs["b2n3"] == "b5n3"


def test_another_pitch_and_a_grace_note_are_listed():
    part = line(
        "4/4", "alto", f"{THEME} | C4 q D4 e E4 e F4 h | G4 q F4 e E4 e C4 h | C4 q D4 e E4 e A4 g F4 h | {SECOND}"
    )
    found = occurrences(cut(part, 1, 2), part)
    assert found[0].changes == ("bar 4, beat 3: C4 where D4 was to be expected",)
    assert found[1].changes == ("bar 5, beat 3: a grace note more",)


def test_too_little_alike_or_on_another_beat_is_not_the_same_music():
    part = line("4/4", "alto", f"{THEME} | C4 q E4 e G4 e F4 h | A4 q B4 e G5 e D4 h | r q C4 q D4 e E4 e F4 q")
    assert occurrences(cut(part, 1, 2), part) == ()
    assert occurrences(cut(part, 1, 1), part) == ()


def test_bow_marks_are_carried_mark_for_mark():
    found = occurrences(PASSAGE, PART)
    given = marks("down b1n1", "slur b1n2 b1n3", "up b2n3", "p b1n1")
    done = carry(given, PASSAGE, PART, found[1])
    assert done.marks == tuple(sorted(marks("down b6n1", "slur b6n2 b6n3", "up b7n3")))
    assert done.left_out == ()
    assert (Mark(Kind.BOW, "b2n3", "up"), Mark(Kind.BOW, "b7n3", "up")) in done.pairs
    changed = carry(given, PASSAGE, PART, found[2])
    assert Mark(Kind.BOW, "b9n4", "up") in changed.marks  # the note moved one event on


def test_a_mark_without_a_counterpart_is_named():
    part = line("4/4", "alto", f"{THEME} | C4 q D4 q F4 h | {SECOND}")
    passage = cut(part, 1, 2)
    found = occurrences(passage, part)
    assert found[0].changes == ("bar 3, beat 2: another length (D4)", "a note less than in bar 1, beat 2½ (E4)")
    done = carry(marks("up b1n3", "slur b1n1 b1n3"), passage, part, found[0])
    assert done.marks == ()
    assert {n.reason for n in done.left_out} == {"no note stands there for bar 1, beat 2½"}


def test_fingering_goes_at_pitch_and_a_fifth_away():
    given = (Mark(Kind.FINGER, "b1n1", "3"), Mark(Kind.STRING, "b1n2", "III"))
    exact, fifth, _ = occurrences(PASSAGE, PART)
    assert carry(given, PASSAGE, PART, exact, (Aspect.LEFT_HAND,)).marks == (
        Mark(Kind.FINGER, "b4n1", "3"), Mark(Kind.STRING, "b4n2", "III"),
    )  # fmt: skip
    assert carry(given, PASSAGE, PART, fifth, (Aspect.LEFT_HAND,)).marks == (
        Mark(Kind.FINGER, "b6n1", "3"), Mark(Kind.STRING, "b6n2", "II"),
    )  # fmt: skip
    octave = line("4/4", "alto", f"{THEME} | C5 q D5 e E5 e F5 h | G5 q F5 e E5 e D5 h")
    done = carry(given, cut(octave, 1, 2), octave, occurrences(cut(octave, 1, 2), octave)[0], (Aspect.LEFT_HAND,))
    assert done.marks == ()
    assert done.left_out[0].reason == "at this interval the fingering has to be made afresh"
    assert carry(given, PASSAGE, PART, exact).pairs == ()


MELODY = "C4 q D4 e E4 e F4 h | G4 q F4 e E4 e D4 h"


def test_a_voice_beside_the_music_is_told():
    part = line("4/4", "alto", f"{MELODY} | C4 q D4 e E4 e F4 h & G3 h A3 h | G4 q F4 e E4 e D4 h & B3 q C4 q G3 h")
    found = occurrences(cut(part, 1, 2), part)
    assert [(o.likeness, o.bars, o.share) for o in found] == [(Likeness.CHANGED, ("3", "4"), 1)]
    assert found[0].changes == ("bars 3 to 4: another voice beside it, 5 notes",)
    done = carry(marks("down b1n1", "slur b1n2 b1n3"), cut(part, 1, 2), part, found[0])
    assert done.marks == tuple(sorted(marks("down b3n1", "slur b3n3 b3n4")))  # b3n2 is the other voice's


def test_music_that_comes_in_the_lower_voice_is_found():
    part = line("4/4", "alto", f"{MELODY} | A4 w & C4 q D4 e E4 e F4 h | B4 w & G4 q F4 e E4 e D4 h")
    found = occurrences(cut(part, 1, 2), part)
    assert [o.bars for o in found] == [("3", "4")]
    assert found[0].changes == ("bar 3, beat 1: a note more (A4)", "bar 4, beat 1: a note more (B4)")
    assert found[0].pairs["b1n1"] == "b3n2"


def test_two_voices_are_compared_both():
    two = "C4 q D4 q E4 h & G3 h A3 h | F4 h E4 h & B3 h C4 h"
    lower = "C4 q D4 q E4 h & G3 h A3 h | F4 h E4 h & D4 h C4 h"
    part = line("4/4", "alto", f"{two} | {two} | {lower} | C4 q D4 q E4 h | F4 h E4 h")
    found = occurrences(cut(part, 1, 2), part)
    assert [(o.likeness, o.bars) for o in found] == [
        (Likeness.EXACT, ("3", "4")), (Likeness.CHANGED, ("5", "6")), (Likeness.CHANGED, ("7", "8")),
    ]  # fmt: skip
    assert found[1].changes == ("bar 6, beat 1: D4 where B3 was to be expected",)
    assert found[2].changes == ("4 notes of another voice less than in bars 1 to 2",)


def test_a_chord_with_more_members_takes_the_marks_at_the_same_note():
    part = line("4/4", "alto", "C4 q D4 q A4 h | G4 h E4 h | C4 q D4 q D4+A4 h | G4 h E4 h")
    passage = cut(part, 1, 2)
    found = occurrences(passage, part)
    assert found[0].changes == ("bar 3, beat 3: D4 A4 where A4 was to be expected",)
    given = (Mark(Kind.FINGER, "b1n3", "4"), Mark(Kind.BOW, "b1n3", "up"))
    done = carry(given, passage, part, found[0], (Aspect.BOW, Aspect.LEFT_HAND))
    assert done.marks == tuple(sorted((Mark(Kind.FINGER, "b3n3p2", "4"), Mark(Kind.BOW, "b3n3", "up"))))
    # And back: what the second member had goes to the note that is left, the first has no place.
    chords = cut(part, 3, 4)
    both = (Mark(Kind.FINGER, "b3n3p1", "0"), Mark(Kind.FINGER, "b3n3p2", "4"))
    back = carry(both, chords, part, occurrences(chords, part)[0], (Aspect.LEFT_HAND,))
    assert back.marks == (Mark(Kind.FINGER, "b1n3", "4"),)
    assert [n.mark.at for n in back.left_out] == ["b3n3p1"]


def test_chords_go_a_fifth_away_together():
    part = line("4/4", "alto", "D4+A4 h E4+B4 h | F4+A4 w | A4+E5 h B4+F#5 h | C5+E5 w")
    found = occurrences(cut(part, 1, 2), part)
    assert [(o.likeness, o.steps, o.semitones) for o in found] == [(Likeness.TRANSPOSED, 4, 7)]


def test_a_sequence_in_the_key_is_a_transposition():
    # A third lower in C major: C D E F becomes A B C D. A sixth higher; a fourth, with a G sharp.
    part = line("4/4", "alto", "C4 q D4 q E4 q F4 q | A3 q B3 q C4 q D4 q | A4 q B4 q C5 q D5 q | F4 q G#4 q A4 q B4 q")
    found = occurrences(cut(part, 1, 1), part)
    assert [(o.likeness, o.bars, o.steps, o.in_key, o.changes) for o in found] == [
        (Likeness.TRANSPOSED, ("2", "2"), -2, True, ()),
        (Likeness.TRANSPOSED, ("3", "3"), 5, True, ()),
        (Likeness.CHANGED, ("4", "4"), 3, True, ("bar 4, beat 2: G♯4 where G4 was to be expected",)),
    ]
    done = carry((Mark(Kind.FINGER, "b1n3", "1"),), cut(part, 1, 1), part, found[1], (Aspect.LEFT_HAND,))
    assert [n.reason for n in done.left_out] == ["at this interval the fingering has to be made afresh"]
    # The same letters with another accidental are a change, not the key.
    flat = line("4/4", "alto", "C4 q D4 q E4 q F4 q | C4 q D4 q Eb4 q F4 q")
    assert occurrences(cut(flat, 1, 1), flat)[0].changes == ("bar 2, beat 3: E♭4 where E4 was to be expected",)
