"""Reading ABC: what signs, words, slurs and hairpins become. Expected values are written out by hand."""

from __future__ import annotations

import pytest

from repertoire.notation.abc import read_text
from repertoire.technique.marks import Kind, Mark

from .abc_text import HEAD, marks, read, said, wrong


@pytest.mark.parametrize(
    ("sign", "kind", "value"),
    [
        # [P] The ABC music standard 2.1, section 4.14, list of decorations.
        ("u", Kind.BOW, "up"), ("v", Kind.BOW, "down"), ("!upbow!", Kind.BOW, "up"), ("!downbow!", Kind.BOW, "down"),
        ("!0!", Kind.FINGER, "0"), ("!1!", Kind.FINGER, "1"), ("!4!", Kind.FINGER, "4"), ("+2+", Kind.FINGER, "2"),
        (".", Kind.ARTICULATION, "staccato"), ("L", Kind.ARTICULATION, "accent"), ("!>!", Kind.ARTICULATION, "accent"),
        ("!tenuto!", Kind.ARTICULATION, "tenuto"), ("!wedge!", Kind.ARTICULATION, "staccatissimo"),
        ("!breath!", Kind.ARTICULATION, "breath"), ("!arpeggio!", Kind.ARTICULATION, "arpeggio"),
        ("!^!", Kind.ARTICULATION, "marcato"), ("!+!", Kind.PIZZICATO, "left hand"),
        ("!plus!", Kind.PIZZICATO, "left hand"),
        ("!snap!", Kind.PIZZICATO, "snap"), ('"^pizz."', Kind.PIZZICATO, "pizz"), ('"arco"', Kind.PIZZICATO, "arco"),
        ("T", Kind.ORNAMENT, "trill"), ("!trill!", Kind.ORNAMENT, "trill"), ("+trill+", Kind.ORNAMENT, "trill"),
        ("!turn!", Kind.ORNAMENT, "turn"), ("!invertedturn!", Kind.ORNAMENT, "inverted turn"),
        ("M", Kind.ORNAMENT, "mordent"), ("!mordent!", Kind.ORNAMENT, "mordent"),
        ("!lowermordent!", Kind.ORNAMENT, "mordent"),
        ("P", Kind.ORNAMENT, "inverted mordent"), ("!pralltriller!", Kind.ORNAMENT, "inverted mordent"),
        ("H", Kind.FERMATA, ""), ("!fermata!", Kind.FERMATA, ""), ("!invertedfermata!", Kind.FERMATA, ""),
        ("!p!", Kind.DYNAMIC, "p"), ("!ffff!", Kind.DYNAMIC, "ffff"), ("!sfz!", Kind.DYNAMIC, "sfz"),
        ("!mf!", Kind.DYNAMIC, "mf"),
    ],
)  # fmt: skip
def test_signs(sign, kind, value):
    assert marks(f"A4 {sign}B4|") == {Mark(kind, "b1n2", value)}


def test_words():
    assert marks('"^dolce"A4 "_sul G"B4|"Am"c8|') == {
        Mark(Kind.TEXT, "b1n1", "dolce", options=(("place", "above"),)),
        Mark(Kind.TEXT, "b1n2", "sul G", options=(("place", "below"),)),
        Mark(Kind.TEXT, "b2n1", "Am", options=(("place", "above"),)),
    }
    assert marks('"^tr\\`es libre"A8|') == {Mark(Kind.TEXT, "b1n1", "très libre", options=(("place", "above"),))}


def test_slurs():
    assert marks("(AB)c2 A4|") == {Mark(Kind.SLUR, "b1n1", "", "b1n2")}
    assert marks("(A(Bc)d) A4|") == {Mark(Kind.SLUR, "b1n1", "", "b1n4"), Mark(Kind.SLUR, "b1n2", "", "b1n3")}
    assert marks("(AB(c)de) A3|") == {Mark(Kind.SLUR, "b1n1", "", "b1n3"), Mark(Kind.SLUR, "b1n3", "", "b1n5")}
    assert marks(".(AB)c2 A4|") == {Mark(Kind.SLUR, "b1n1", "dashed", "b1n2")}
    assert marks("A6 (AB|c)A6A|") == {Mark(Kind.SLUR, "b1n2", "", "b2n1")}
    assert marks("({G}A2)B2 A4|") == {Mark(Kind.SLUR, "b1n1", "", "b1n2")}
    assert marks("(3(ABc) (3A(Bc) A4|") == {Mark(Kind.SLUR, "b1n1", "", "b1n3"), Mark(Kind.SLUR, "b1n5", "", "b1n6")}


def test_slurs_without_a_partner_are_named():
    assert said("(AB c2 A4|") == ["A slur has no end."]
    assert said("AB) c2 A4|") == ["A slur ends that never began."]
    assert said("(A)B c2 A4|") == ["A slur over one note."]


def test_hairpins():
    assert marks("!<(!ABc!<)!d A4|!>(!AB!>)!|") == {
        Mark(Kind.HAIRPIN, "b1n1", "crescendo", "b1n4"), Mark(Kind.HAIRPIN, "b2n1", "diminuendo", "b2n2"),
    }  # fmt: skip
    assert marks("!crescendo(!A4!crescendo)!A4|") == {Mark(Kind.HAIRPIN, "b1n1", "crescendo", "b1n2")}
    assert said("!<(!A8|") == ["A crescendo has no end."]


def test_fingers_in_chords_stand_at_their_notes():
    assert marks("[!1!D!3!B]8|") == {Mark(Kind.FINGER, "b1n1p1", "1"), Mark(Kind.FINGER, "b1n1p2", "3")}
    assert marks("[!3!B!1!D]8|") == {Mark(Kind.FINGER, "b1n1p1", "1"), Mark(Kind.FINGER, "b1n1p2", "3")}
    assert marks("!1!!3![DB]8|") == {Mark(Kind.FINGER, "b1n1p1", "1"), Mark(Kind.FINGER, "b1n1p2", "3")}
    assert said("!1![DB]8|") == ["A finger before a chord: write it inside, before its note: [!1!D!2!B]."]


def test_several_signs_on_one_note():
    assert marks('u.!2!"^poco"A8|') == {
        Mark(Kind.BOW, "b1n1", "up"), Mark(Kind.ARTICULATION, "b1n1", "staccato"), Mark(Kind.FINGER, "b1n1", "2"),
        Mark(Kind.TEXT, "b1n1", "poco", options=(("place", "above"),)),
    }  # fmt: skip


def test_signs_of_ones_own():
    assert marks("nA4 kB4|", f"U:n = !tenuto!\nU:k=\"^warm\"\n{HEAD}") == {
        Mark(Kind.ARTICULATION, "b1n1", "tenuto"), Mark(Kind.TEXT, "b1n2", "warm", options=(("place", "above"),)),
    }  # fmt: skip
    assert marks("TA8|", f"U:T=!turn!\n{HEAD}") == {Mark(Kind.ORNAMENT, "b1n1", "turn")}
    assert wrong("A8|", f"U:T=trill\n{HEAD}") == [(1, 3, "")]


def test_jumps():
    line = read("SA8|B8!fine!|c8O|d8!D.C.!|").line
    assert [b.jump for b in line.bars] == ["segno", "fine", "coda", "dacapo"]


def test_letters_over_the_music():
    assert [b.rehearsal for b in read("P:A\nA8|\nP:B\nB8|").line.bars] == ["A", "B"]


def test_tremolo():
    assert [e.tremolo for e in read("!//!A4 !///!B4|").line.events] == [2, 3]


@pytest.mark.parametrize(
    ("sign", "what"),
    [
        ("!5!", "The sign “5”: there is no fifth finger on a fingerboard."),
        ("!open!", "The sign “open”: write !0! for an open string."),
        ("~", "The sign “roll”: write !turn! if a turn is meant."),
        ("!slide!", "The sign “slide”."),
        ("!thumb!", "The sign “thumb”."),
        ("!something!", "The sign “something”."),
    ],
)
def test_signs_that_arent_kept_are_named_with_their_place(sign, what):
    found = read_text(f"{HEAD}A4 {sign}B4|")
    assert [(r.line, r.column, r.bar, r.what, r.wrong) for r in found.remarks] == [(4, 4, "1", what, False)]
    assert [(left.bar, left.what) for left in found.part.left_out] == [("1", f"{what[:-1]} (line 4, column 4).")]
