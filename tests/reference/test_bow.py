"""Check values of the bow, each with its source.

[P] published source named; [C] common practice, no source; [A] arithmetic from the
definitions; [M] the published source recalled from memory.
"""

from fractions import Fraction as F

import pytest

from repertoire.technique.bow_facts import limit_findings
from repertoire.technique.bow_place import Placed, place_as_marked
from repertoire.technique.bowing import BOW, Bowing, FindingKind, read_strokes
from repertoire.technique.uneven import uneven_answers
from tests.technique.lines import line, marks


def read(text: str, *texts: str, meter: str = "4/4", tempo: int = 80) -> Bowing:
    return read_strokes(line(meter, "alto", text), marks(*texts), tempo=tempo)


def even(text: str, *texts: str, meter: str = "4/4", tempo: int = 80) -> Placed:
    return place_as_marked(read(text, *texts, meter=meter, tempo=tempo))


def signs(bowing: Bowing) -> str:
    return " ".join(s.direction[0] + (str(len(s.moments)) if len(s.moments) > 1 else "") for s in bowing.strokes)


def test_hair_is_640_mm():  # [C]
    assert BOW.hair_mm == 640


def test_dotted_half_and_quarter_under_one_whole_bow():  # [A]
    down = even("C4 h. D4 q", "slur b1n1 b1n2", "down b1n1", "1 b1n1")
    assert [(n.start, n.end) for n in down.notes] == [(0, F(3, 4)), (F(3, 4), 1)]
    assert down.strokes[0].speed == pytest.approx(213.3, abs=0.05)
    up = even("C4 h. D4 q", "slur b1n1 b1n2", "up b1n1", "1 b1n1")
    assert [(n.start, n.end) for n in up.notes] == [(1, F(1, 4)), (F(1, 4), 0)]
    assert up.strokes[0].speed == pytest.approx(213.3, abs=0.05)


def test_dotted_half_down_and_quarter_up_with_whole_bows():  # [A]
    found = even("C4 h. D4 q", "down b1n1", "1 b1n1", "1 b1n2")
    assert [s.speed for s in found.strokes] == pytest.approx([284.4, 853.3], abs=0.05)
    assert found.strokes[1].speed / found.strokes[0].speed == pytest.approx(3)


def test_three_beats_down_one_up_creeps_to_the_tip():  # [A]
    bowing = read("C4 h. D4 q | C4 h. D4 q | C4 h. D4 q")
    found = place_as_marked(bowing, rate=F(1, 5))
    assert [found.strokes[i].end for i in (1, 3)] == [F(2, 5), F(4, 5)]
    assert found.strokes[4].runs_out == 1
    assert (found.findings[0].bar, found.findings[0].beat) == ("3", 2)
    marked = even(
        "C4 h. D4 q | C4 h. D4 q | C4 h. D4 q",
        *(f"{share} b{bar}n{note}" for bar in (1, 2, 3) for share, note in (("3/5", 1), ("1/5", 2))),
    )
    assert [s.end for s in marked.strokes] == [F(3, 5), F(2, 5), 1, F(4, 5), 1, F(4, 5)]
    assert marked.strokes[4].runs_out == 1


def test_even_reading_starts_at_frog_or_tip_at_one_over_the_longest():  # [definition]
    found = even("C4 h D4 q E4 q")
    assert found.rate == F(1, 2)
    assert (found.strokes[0].start, found.strokes[0].end) == (0, 1)
    up = even("C4 h D4 q E4 q", "up b1n1")
    assert (up.strokes[0].start, up.strokes[0].end) == (1, 0)


def test_quarter_and_hooked_quarter_against_a_half():  # [A]
    found = even("C4 q D4 q E4 h | F4 w", "hooked b1n1 b1n2")
    assert found.strokes[0].start == found.strokes[1].end == 0


def test_the_number_of_strokes_turns_the_next_downbeat():  # [A]
    assert signs(read("C4 q D4 q E4 q | F4 h.", meter="3/4")) == "d u d u"
    assert signs(read("C4 q D4 q E4 q | F4 h.", "slur b1n2 b1n3", meter="3/4")) == "d u2 d"
    assert signs(read("C4 q D4 q E4 q F4 q | G4 w")) == "d u d u d"


def test_two_in_a_row():  # [C]
    downs = read("C4 h D4 h", "down b1n1", "down b1n2")
    assert (signs(downs), downs.strokes[1].retake) == ("d d", "needed")
    assert signs(read("C4 h D4 h", "down b1n1", "down b1n2", "hooked b1n1 b1n2")) == "d2"
    ups = read("C4 h D4 h", "up b1n1", "up b1n2")
    assert signs(ups) == "u2"
    assert signs(read("C4 h D4 h", "up b1n1", "up b1n2", "retake b1n2")) == "u u"
    assert [f.kind for f in (*downs.findings, *ups.findings)] == [FindingKind.RETAKE_OR_HOOK] * 2


def test_a_rest_of_three_tenths_of_a_second_frees_the_bow():  # [C]
    text = "C4 q. r e D4 h"
    assert read(text, tempo=100).strokes[1].free  # an eighth lasts 0.3 s
    assert not read(text, tempo=101).strokes[1].free


def test_pizzicato_is_outside_the_bow_and_arco_starts_afresh():  # [C]
    found = even("C4 h D4 q E4 q | F4 w", "pizz b1n2", "arco b2n1")
    assert found.note("b1n2") is None
    assert found.strokes[1].start == 0


def test_a_fermata_has_no_length():  # [C]
    found = even("C4 h D4 h", "fermata b1n2")
    assert (found.strokes[1].seconds, found.strokes[1].speed) == (None, None)


def told(text: str, *texts: str, tempo: int = 60) -> list[FindingKind]:
    bowing = read(text, *texts, tempo=tempo)
    return [f.kind for f in limit_findings(bowing, place_as_marked(bowing))]


def test_limits_of_length():  # [C]
    assert told("C4 w", "f b1n1") == []
    assert told("C4 w", "f b1n1", tempo=59) == [FindingKind.LONG_STROKE]
    assert told("C4 w", "p b1n1", tempo=40) == []
    assert told("C4 w", "p b1n1", tempo=39) == [FindingKind.LONG_STROKE]


def test_limit_of_uneven_speed():  # [C]
    assert told("C4 h D4 h", "2/5 b1n1", "1 b1n2") == []
    assert told("C4 h D4 h", "3/8 b1n1", "1 b1n2") == [FindingKind.UNEVEN]
    assert told("C4 h D4 h", "3/8 b1n1", "1 b1n2", "p b1n1", "f b1n2") == []


def test_limit_at_frog_and_tip():  # [C]
    assert told("C4 h D4 h", "f b1n1", "1/32 b1n1", "1/32 b1n2") == [FindingKind.EDGE, FindingKind.EDGE]
    assert told("C4 h D4 h", "p b1n1", "1/32 b1n1", "1/32 b1n2") == []


def test_three_answers_to_an_uneven_rhythm():  # [A]
    answers = uneven_answers(line("4/4", "alto", "C4 h. D4 q"), (), "b1n1", tempo=80)
    uneven, hook, retake = answers
    assert (uneven.long_mm_s, uneven.short_mm_s) == pytest.approx((284.4, 853.3), abs=0.05)
    assert (uneven.ratio, uneven.travel, uneven.lift_mm) == (3, 0, 0)
    assert (hook.long_mm_s, hook.short_mm_s) == pytest.approx((213.3, 213.3), abs=0.05)
    assert (hook.long_share, hook.short_share, hook.travel) == (F(3, 4), F(1, 4), 1)
    assert hook.next_direction == "up"
    assert (retake.long_mm_s, retake.short_mm_s) == pytest.approx((284.4, 284.4), abs=0.05)
    assert retake.travel == F(2, 3)
    assert retake.lift_mm == pytest.approx(426.7, abs=0.05)


OLD_BARS = [
    # The directions as the treatises give them, all from memory; the music is ours.
    # L. Mozart, Versuch einer gründlichen Violinschule, 1756, ch. 4 [P/M]
    ("the bar's first note down", "4/4", "C4 q D4 q E4 q F4 q | G4 w", (), "d u d u d"),
    ("an upbeat up", "4/4", "G3 q | C4 h E4 h | G4 w", (), "u d u d"),
    ("after a quarter rest at the bar's head up", "4/4", "r q C4 q D4 q E4 q | F4 w", (), "u d u d"),
    ("after an eighth rest up", "2/4", "r e C4 e D4 e E4 e | F4 h", (), "u d u d"),
    ("after a half rest in common time down", "4/4", "r h C4 q D4 q | E4 w", (), "d u d"),
    ("a quarter down, the two eighths in one up-bow", "2/4", "C4 q D4 e E4 e | F4 h", ("slur b1n2 b1n3",), "d u2 d"),
    ("three quarters: two of them in one bow", "3/4", "C4 q D4 q E4 q | F4 h.", ("slur b1n2 b1n3",), "d u2 d"),
    # Geminiani, The Art of Playing on the Violin, 1751: no rule of the down-bow [P/M]
    ("quarters in three taken as they come", "3/4", "C4 q D4 q E4 q | F4 q E4 q D4 q", (), "d u d u d u"),
    # Muffat, Florilegium Secundum, 1698, on the manner of Lully's players [P/M]
    ("every bar of three begins down again", "3/4", "C4 q D4 q E4 q | F4 h.", ("down b1n1", "down b2n1"), "d u d d"),
    ("in quick threes two share the up-bow", "3/4", "C4 q D4 q E4 q | F4 h.", ("up b1n2", "up b1n3"), "d u2 d"),
    # Quantz, Versuch einer Anweisung, 1752, ch. 17: dotted notes in one bow, stopped [P/M]
    ("dotted pairs hooked", "2/4", "C4 e. D4 s E4 e. F4 s | G4 h", ("hooked b1n1 b1n2", "hooked b1n3 b1n4"), "d2 u2 d"),
]  # fmt: skip


@pytest.mark.parametrize("rule, meter, text, texts, directions", OLD_BARS, ids=[b[0] for b in OLD_BARS])
def test_bars_from_old_treatises(rule: str, meter: str, text: str, texts: tuple[str, ...], directions: str):
    assert signs(read(text, *texts, meter=meter)) == directions
