"""Tempo marks followed through a passage: seconds, speeds, and what nobody can know. [A]"""

from dataclasses import replace
from fractions import Fraction as F

import pytest

from repertoire.notation.cutting import cut
from repertoire.technique.bow_place import place_as_marked
from repertoire.technique.bow_planning import place_planned
from repertoire.technique.bowing import FindingKind, read_strokes
from repertoire.technique.line import Line, TempoMark, Value
from repertoire.technique.tempi import at_one_tempo, tempi_of
from tests.technique.lines import line, marks

FOUR_BARS = "C4 h D4 h | E4 w | F4 h G4 h | A4 w"


def timed(text: str, *tempi: tuple[int, int | F, str, int | None], meter: str = "4/4") -> Line:
    """A line with tempo marks: bar index, place in quarter notes, words, quarters a minute."""
    plain = line(meter, "alto", text)
    unit = Value("quarter")
    marked: dict[int, tuple[TempoMark, ...]] = {}
    for index, at, words, number in tempi:
        mark = TempoMark(F(at), words, unit, F(number)) if number else TempoMark(F(at), words)
        marked[index] = (*marked.get(index, ()), mark)
    return replace(plain, bars=tuple(replace(b, tempos=marked.get(b.index, ())) for b in plain.bars))


def seconds(passage: Line, *texts: str, tempo: int | None = None) -> list[F | None]:
    return [s.seconds for s in read_strokes(passage, marks(*texts), tempo=tempo).strokes]


def test_strokes_take_the_tempo_of_their_place():
    # Half notes at 60 last 2 s, the whole note at 120 lasts 2 s, halves at 40 3 s.
    passage = timed(FOUR_BARS, (1, 0, "Andante", 60), (2, 0, "Allegro", 120), (3, 0, "Adagio", 40))
    assert seconds(passage) == [2, 2, 2, 3, 3, 6]


def test_a_stroke_over_a_change_adds_up_its_parts():
    # Two quarters at 60 and two at 120: 2 s + 1 s. The slur over both bars: 3 s + 2 s.
    passage = timed("C4 w | E4 w", (1, 0, "", 60), (1, 2, "", 120))
    assert seconds(passage) == [3, 2]
    assert seconds(passage, "slur b1n1 b2n1") == [5]


def test_another_tempo_at_the_beginning_takes_the_rest_along():
    passage = timed(FOUR_BARS, (1, 0, "", 60), (2, 0, "", 90), (3, 0, "", 60))
    assert seconds(passage, tempo=30) == [4, 4, F(16, 3), 4, 4, 8]
    assert [c.tempo for c in tempi_of(passage, F(80)).begun_at(F(40)).changes] == [60, 40]


def test_speeds_follow_in_both_readings():
    # As marked: each whole note takes a whole bow of 640 mm, in 4 s and in 2 s.
    passage = timed("C4 w | D4 w", (1, 0, "", 60), (2, 0, "", 120))
    assert [s.speed for s in place_as_marked(read_strokes(passage, ())).strokes] == [160.0, 320.0]
    # Eighths that are short at 160 (0.1875 s) and not at 60 (0.5 s): only the first stay near the balance point.
    quick = timed("C4 e D4 e E4 e F4 e G4 e A4 e B4 e C5 e | C4 e D4 e E4 e F4 e G4 e A4 e B4 e C5 e",
                  (1, 0, "", 160), (2, 0, "", 60))  # fmt: skip
    planned = place_planned(read_strokes(quick, ()))
    assert [s.seconds for s in planned.strokes[:9:8]] == [F(3, 16), F(1, 2)]
    assert abs(planned.strokes[0].share) < abs(planned.strokes[8].share)
    # Begun at half the tempo, every planned stroke lasts twice as long.
    slower = place_planned(read_strokes(quick, ()), tempo=80)
    assert [s.seconds for s in slower.strokes[:9:8]] == [F(3, 8), 1]


def test_a_planned_stroke_keeps_one_speed_over_a_change():
    passage = timed("C4 h D4 h", (1, 0, "", 60), (1, 2, "", 120))
    first, second = place_planned(read_strokes(passage, marks("slur b1n1 b1n2"))).notes
    assert (first.seconds, second.seconds) == (2, 1)
    assert first.share == 2 * second.share


def test_a_passage_begun_after_a_mark_is_at_its_tempo():
    passage = timed(FOUR_BARS, (1, 0, "Andante", 60), (2, 2, "", 120))
    assert tempi_of(cut(passage, 3, None, 4, None), F(80)).opening == 120
    assert seconds(cut(passage, 3, None, 3, None)) == [1, 1]
    assert tempi_of(cut(passage, 1, F(3), 4, None), F(80)).opening == 60
    assert tempi_of(cut(passage, 2, F(3), 4, None), F(80)).opening == 120  # no note begins in bar 2 after its mark
    assert tempi_of(cut(cut(passage, 2, None, 4, None), 4, None, 4, None), F(80)).opening == 120  # cut twice


def test_a_tempo_and_tempo_primo_come_back():
    passage = timed(
        "C4 w | D4 w | E4 w | F4 w | G4 w | A4 w",
        (1, 0, "Andante", 60), (2, 0, "Più mosso", 90), (3, 0, "rit.", 70), (4, 0, "", 50), (5, 0, "a tempo", None),
        (6, 0, "Tempo I", None),
    )  # fmt: skip
    found = tempi_of(passage, F(80))
    assert [(c.bar, c.tempo) for c in found.changes] == [("2", 90), ("3", 70), ("4", 50), ("5", 90), ("6", 60)]
    assert found.untold == ()
    # Begun later, what stood before is remembered.
    assert [(c.bar, c.tempo) for c in tempi_of(cut(passage, 4, None, 6, None), F(80)).changes] == [("5", 90), ("6", 60)]


def test_words_that_had_a_number_have_it_again():
    passage = timed("C4 w | D4 w | E4 w", (1, 0, "Presto", 160), (2, 0, "Adagio", 50), (3, 0, "Presto", None))
    assert [c.tempo for c in tempi_of(passage, F(80)).changes] == [50, 160]


def test_words_without_a_number_are_told_and_change_nothing():
    passage = timed("C4 w | D4 w | E4 w", (1, 0, "", 60), (2, 2, "rit.", None), (3, 0, "Meno mosso", None))
    found = read_strokes(passage, ())
    assert [s.seconds for s in found.strokes] == [4, 4, 4]
    assert [f.message for f in found.findings if f.kind is FindingKind.TEMPO] == [
        "“rit.” in bar 2, beat 3 changes the tempo by and by: seconds go on at 60 quarter notes a minute.",
        "“Meno mosso” in bar 3, beat 1 has no number: seconds go on at 60 quarter notes a minute.",
    ]
    assert [f.address for f in found.findings if f.kind is FindingKind.TEMPO] == ["b3n1", "b3n1"]


@pytest.mark.parametrize(
    ("words", "bends"),
    [
        *((w, True) for w in ("rit.", "poco rit", "ritenuto", "rall.", "allargando", "accel. e cresc.", "stringendo")),
        *((w, False) for w in ("Più mosso", "Maestoso", "Andante sostenuto", "con spirito", "Presto")),
    ],
)
def test_which_words_bend(words: str, bends: bool):
    assert [o.bends for o in tempi_of(timed("C4 w | D4 w", (2, 0, words, None)), F(80)).untold] == [bends]


def test_where_no_number_stands_at_the_beginning():
    late = timed(FOUR_BARS, (3, 0, "Allegro", 120))
    found = tempi_of(late, F(80))
    assert (found.opening, found.printed, found.written.at(F(8))) == (80, False, 120)
    assert tempi_of(cut(late, 1, None, 2, None), F(80)).opening == 80  # the same bars alone begin alike
    # An upbeat goes with the number over the first full bar.
    upbeat = timed("G3 q | C4 w | D4 w", (2, 0, "Allegro", 120))
    assert (tempi_of(upbeat, F(80)).opening, tempi_of(upbeat, F(80)).changes) == (120, ())
    assert tempi_of(Line((), ()), F(72)).opening == 72


def test_repeats_go_back_to_their_own_tempo():
    # Bars 1 and 2 at 60 and 120, played twice: 4 s, 2 s, 4 s, 2 s.
    passage = timed("|: C4 w | D4 w :|", (1, 0, "", 60), (2, 0, "", 120))
    assert seconds(passage) == [4, 2, 4, 2]


def test_a_rest_is_as_long_as_its_tempo_makes_it():
    # An eighth rest lasts 0.5 s at 60 and 0.25 s at 120: only the first lets the bow be set anywhere.
    passage = timed("C4 h. r e D4 e | E4 h. r e F4 e", (1, 0, "", 60), (2, 0, "", 120))
    assert [s.free for s in read_strokes(passage, ()).strokes] == [True, True, False, False]


def test_one_tempo_throughout_for_scripts():
    passage = timed(FOUR_BARS, (1, 0, "", 60), (2, 0, "", 120))
    assert seconds(at_one_tempo(passage), tempo=60) == [2, 2, 4, 2, 2, 4]


@pytest.mark.parametrize(
    ("meter", "quarters"),
    [("4/4", 80), ("3/4", 80), ("2/2", 160), ("3/2", 160), ("6/8", 120), ("9/8", 120), ("3/8", 80), ("2/8", 80)],
)
def test_where_none_is_printed_the_metre_s_own_beat_counts(meter: str, quarters: int):
    assert tempi_of(line(meter, "alto", "C4 e D4 e"), F(80)).opening == quarters
