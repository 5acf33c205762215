"""Ornaments against the treatise's examples and against music21's own realization.

[P/M] C. P. E. Bach, Versuch über die wahre Art das Clavier zu spielen, 1753, recalled from
memory: the turn begins with the note above; the trill begins with the note above and closes
with a turn from below; in minor the key note's lower neighbour is raised.
"""

from fractions import Fraction

import pytest
from music21 import expressions
from music21 import key as m21key
from music21 import note as m21note

from repertoire.technique.keys import Key
from repertoire.technique.line import Value
from repertoire.technique.ornaments import Neighbours, OrnamentError, neighbours, realize
from repertoire.technique.pitch import Pitch

F_MAJOR = Key(-1)
A_MINOR = Key(0, "minor")


def notes(kind: str, main: str, length: str, key: Key, **more: object) -> list[str]:
    pitch = Pitch.parse(main)
    found = realize(kind, pitch, Fraction(length), neighbours(pitch, key), **more)  # type: ignore[arg-type]
    return [s.pitch.name for s in found]


def lengths(kind: str, main: str, length: str, key: Key, **more: object) -> list[Fraction]:
    pitch = Pitch.parse(main)
    found = realize(kind, pitch, Fraction(length), neighbours(pitch, key), **more)  # type: ignore[arg-type]
    return [s.length for s in found]


def test_turn_on_g_in_f_major():
    """[P/M] A G F G."""
    assert notes("turn", "G4", "1", F_MAJOR) == ["A4", "G4", "F4", "G4"]
    assert lengths("turn", "G4", "1", F_MAJOR) == [Fraction(1, 4)] * 4


def test_trill_on_g_begins_above_and_closes_with_a_turn():
    """[P/M] A G A G …, closing F G."""
    assert notes("trill", "G4", "1", F_MAJOR, close=True) == ["A4", "G4", "A4", "G4", "A4", "G4", "F4", "G4"]
    assert notes("trill", "G4", "1", F_MAJOR) == ["A4", "G4", "A4", "G4", "A4", "G4", "A4", "G4"]


def test_delayed_turn_on_g():
    """[P/M] G A G F G; a dotted note is parted so that its last third is the main note again."""
    assert notes("delayed turn", "G4", "1", F_MAJOR) == ["G4", "A4", "G4", "F4", "G4"]
    dotted = lengths("delayed turn", "G4", "3/2", F_MAJOR)
    assert dotted == [Fraction(1, 2), Fraction(1, 6), Fraction(1, 6), Fraction(1, 6), Fraction(1, 2)]


def test_lower_neighbour_of_the_key_note_is_raised_in_minor():
    """[P/M] A minor: B A G♯ A."""
    assert notes("turn", "A4", "1", A_MINOR) == ["B4", "A4", "G#4", "A4"]
    assert notes("turn", "E4", "1", A_MINOR) == ["F4", "E4", "D4", "E4"]


def test_trill_from_the_main_note_stays_on_it_first():
    """[M] Starting on the main note is a choice; the alternation still ends on it."""
    assert notes("trill", "G4", "1", F_MAJOR, start="main", close=True) == ["G4", "A4", "G4", "A4", "G4", "F4", "G4"]
    assert lengths("trill", "G4", "1", F_MAJOR, start="main")[0] == Fraction(1, 4)


def test_a_written_accidental_wins_over_the_key():
    """[P/M] Neighbours come from the key unless an accidental is written."""
    around = neighbours(Pitch.parse("G4"), F_MAJOR, above="flat", below="sharp")
    assert around == Neighbours(Pitch.parse("Ab4"), Pitch.parse("F#4"))
    standing = neighbours(Pitch.parse("A4"), F_MAJOR, standing={("B", 4): 0})
    assert standing.above == Pitch.parse("B4")
    assert neighbours(Pitch.parse("A4"), F_MAJOR).above == Pitch.parse("Bb4")


@pytest.mark.parametrize(("tempo", "count"), [(40, 16), (72, 8), (120, 4)])
def test_notes_of_a_trill_on_a_quarter_by_tempo(tempo, count):
    """[A] The smallest even division whose notes last at least 85 ms, four notes at the fewest:
    at 40 a quarter lasts 1.5 s (16 × 94 ms), at 72 0.833 s (8 × 104 ms), at 120 0.5 s (4 × 125 ms)."""
    assert len(notes("trill", "G4", "1", F_MAJOR, tempo=tempo)) == count


def test_measured_trills_are_counted():
    """[A] Five notes on a quarter are a quintuplet in the time of four sixteenths."""
    found = realize("trill", Pitch.parse("G4"), Fraction(1), neighbours(Pitch.parse("G4"), F_MAJOR), count=5)
    assert [s.length for s in found] == [Fraction(1, 5)] * 5
    assert found[0].value == Value("16th", 0, (5, 4))
    assert (found[0].tuplet_ends, found[4].tuplet_ends) == (("start",), ("stop",))


def test_too_short_for_a_trill_is_said():
    with pytest.raises(OrnamentError, match="too short"):
        realize("trill", Pitch.parse("G4"), Fraction(1, 64), neighbours(Pitch.parse("G4"), F_MAJOR))


# music21 10.5: another realization of the same signs [P: music21's expressions module]. A mordent there
# is the lower one; its trill begins with the main note and counts notes by its own rule, so that only
# the two pitches are compared.
_SIGNS = [
    ("turn", expressions.Turn),
    ("inverted turn", expressions.InvertedTurn),
    ("mordent", expressions.Mordent),
    ("inverted mordent", expressions.InvertedMordent),
]


@pytest.mark.parametrize(("kind", "sign"), _SIGNS)
@pytest.mark.parametrize(
    ("main", "key", "tonic"), [("G4", Key(-1), "F"), ("D5", Key(2), "D"), ("E-4", Key(-3), "E-"), ("B4", Key(0), "C")]
)
def test_pitches_agree_with_music21_in_major(kind, sign, main, key, tonic):
    played = m21note.Note(main, quarterLength=1)
    before, middle, after = sign().realize(played, keySig=m21key.Key(tonic))
    theirs = [n.pitch for n in (*before, *([middle] if middle else []), *after)]
    mine = notes(kind, main.replace("-", "b"), "1", key)
    assert mine == [f"{p.step}{'#' * int(max(0, p.alter))}{'b' * int(max(0, -p.alter))}{p.octave}" for p in theirs]


def test_quarter_turn_has_music21s_lengths_too():
    _, _, after = expressions.Turn().realize(m21note.Note("G4", quarterLength=1), keySig=m21key.Key("F"))
    assert [Fraction(n.quarterLength) for n in after] == lengths("turn", "G4", "1", F_MAJOR)
    before, middle, _ = expressions.Mordent().realize(m21note.Note("G4", quarterLength=1), keySig=m21key.Key("F"))
    assert [Fraction(n.quarterLength) for n in (*before, middle)] == lengths("mordent", "G4", "1", F_MAJOR)


def test_trill_alternates_the_pitches_music21_has():
    before, _, _ = expressions.Trill().realize(m21note.Note("G4", quarterLength=1), keySig=m21key.Key("F"))
    assert {n.nameWithOctave for n in before} == set(notes("trill", "G4", "1", F_MAJOR)) == {"A4", "G4"}
