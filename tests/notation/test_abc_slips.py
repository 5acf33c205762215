"""Reading ABC: what is said of what people type by mistake. Texts and sentences are written out by hand."""

from __future__ import annotations

import pytest

from repertoire.notation.abc import read_text

from .abc_text import HEAD, marks, notes, said


def first_wrong(music, head=HEAD):
    """Column and sentence of the first thing to mend."""
    found = read_text(head + music).wrong[0]
    return found.column, found.what


@pytest.mark.parametrize(
    ("music", "column", "what"),
    [
        ("dolce C8|", 1, "“dolce” is no music. Words stand in quotation marks before their note: \"^dolce\"."),
        ("C4 arco D4|", 4, "“arco” is no music. Words stand in quotation marks before their note: \"^arco\"."),
        ("mf C8|", 1, "“mf” is written between exclamation marks: !mf! before its note."),
        ("C8| D.C. |]", 5, "“D.C.” is written between exclamation marks: !D.C.!"),
        ("C4 [alto] C4|", 4, "A change of clef is written [K:clef=alto]."),
        ("C4 [clef=treble] C4|", 4, "A change of clef is written [K:clef=treble]."),
        ("F# G|", 2, "“#” has no meaning in the music. A sharp stands before its note: ^F."),
        ("V C8|", 1, "“V” has no meaning in the music. Down-bow is v and up-bow u, small letters before the note: vG."),
        ("C4 r4|", 4, "“r” has no meaning in the music. A rest is written z."),
        ("3E8|", 1, "“3” has no meaning in the music. A length stands directly behind its note, E2; a finger before it,"
                    " !2!E."),
        ("CDrE|", 3, "“r” has no meaning in the music. A rest is written z."),
    ],
)  # fmt: skip
def test_what_cant_be_read_is_told_with_how_it_is_written(music, column, what):
    assert first_wrong(music) == (column, what)


@pytest.mark.parametrize(
    ("key", "what"),
    [
        ("g", "“g” has no meaning in K:. The key is a capital letter: K:G, and K:Gm is minor."),
        ("Es", "“Es” is written Eb here."),
        ("Fis", "“Fis” is written F# here."),
        ("C clef=viola", "“viola” has no meaning in K:. Clefs are treble, alto, tenor and bass: clef=alto."),
        ("C clef=alto C,D,E,", "“C,D,E,” has no meaning in K:. If this is music, it begins on a line of its own."),
    ],
)
def test_keys_typed_otherwise(key, what):
    assert first_wrong("C8|", f"M:4/4\nL:1/8\nK:{key}\n")[1] == what


def test_quotation_marks_and_apostrophes_bent_by_a_tablet_are_read():
    assert notes("“dolce”c’4 „arco“d4 e4–e4|") == ["C6", "D5", "E5", "E5"]
    assert {(m.kind.value, m.value) for m in marks("“dolce”c’8|")} == {("text", "dolce")}
    # Within words an apostrophe stays what it is.
    assert {m.value for m in marks('"l’istesso"c8|')} == {"l’istesso"}
    assert first_wrong("c’4 r4|")[0] == 5


def test_a_sign_behind_its_note_is_pointed_out():
    goes = "The sign “1” goes to the next note: signs stand before theirs, !1!C."
    assert said("C4!1! D4|") == [goes]
    dot = "The dot goes to the next note. Staccato stands before its note, .C; a dotted note has its length, C3."
    assert said("C4. D4|") == [dot]
    assert said("C4 !1! D4|") == said("C4!1!D4|") == said("C2.D2.E2.F2|") == []


def test_a_finger_typed_as_words_is_kept_as_words_and_pointed_out():
    assert said('"^1"C4 "2"D4|') == [
        "“1” is kept as words. A finger is written !1!",
        "“2” is kept as words. A finger is written !2!",
    ]
    assert said('"Am"C4 "10"D4|') == []


def test_a_flat_behind_its_note_is_pointed_out_where_the_bar_is_too_long():
    flat = "A flat typed behind its note is read as one more note: write it before, _B for B flat."
    assert flat in said("Bb2 A2 G2 F2|")
    assert flat not in said("Bb A2 G2 F2|")


def test_signs_and_letters_of_the_standard_are_no_words():
    assert notes("uTAvMBPcHd LeOf|") == ["A4", "B4", "C5", "D5", "E5", "F5"]
    assert notes("ABcd|", "M:4/4\nL:1/8\nU:n=!tenuto!\nU:p=!accent!\nK:C\n") == ["A4", "B4", "C5", "D5"]
    assert notes("nApBncpd|", "M:2/4\nL:1/8\nU:n=!tenuto!\nU:p=!accent!\nK:C\n") == ["A4", "B4", "C5", "D5"]


def test_one_slip_is_told_once():
    short, sharp = read_text(HEAD + "G8|F#2 G6|c8|").remarks
    assert short.what == "The bar is too short for 4/4: 3½ quarter notes instead of 4 quarter notes."
    assert (sharp.column, sharp.wrong) == (5, True)
