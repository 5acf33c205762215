"""Reading ABC: what each sign of the language becomes. Expected values are written out by hand."""

from __future__ import annotations

from fractions import Fraction as F

import pytest

from repertoire.notation.abc import read_text
from repertoire.technique.line import Value
from repertoire.technique.marks import Kind, Mark

HEAD = "M:4/4\nL:1/8\nK:C clef=alto\n"


def read(music, head=HEAD):
    """The reading of music under a header; it must have notes and nothing to mend."""
    found = read_text(head + music)
    assert found.wrong == ()
    return found.part.movements[0]


def notes(music, head=HEAD):
    """Pitches of the events, "r" for a rest."""
    return ["+".join(p.name for p in e.pitches) or "r" for e in read(music, head).line.events]


def lengths(music, head=HEAD):
    return [e.duration for e in read(music, head).line.events]


def marks(music, head=HEAD):
    return set(read(music, head).printed)


def wrong(music, head=HEAD):
    """Line, column and bar of what has to be mended."""
    return [(r.line, r.column, r.bar) for r in read_text(head + music).wrong]


def said(music, head=HEAD):
    """What is said about a text that can be kept."""
    found = read_text(head + music)
    assert found.wrong == ()
    return [r.what for r in found.remarks]


# --- notes ------------------------------------------------------------------------------


def test_octaves():
    assert notes("C,, C, C c c' c''|") == ["C2", "C3", "C4", "C5", "C6", "C7"]
    assert notes("C,D,E,F, G,A,B,C|") == ["C3", "D3", "E3", "F3", "G3", "A3", "B3", "C4"]


def test_signs_before_notes():
    assert notes("^F _B ^^C __D =F|") == ["F#4", "Bb4", "C##4", "Dbb4", "F4"]


def test_a_sign_holds_to_the_barline_in_every_octave_and_the_other_octave_is_pointed_out():
    assert notes("^FF f2 F4|F4 f4|") == ["F#4", "F#4", "F#5", "F#4", "F4", "F5"]
    assert said("^FF f2 F4|F4 f4|") == [
        "F follows the sign in another octave of this bar, as in ABC. If it shouldn’t, write = before it."
    ]
    assert notes("^FF =f2 F4|") == ["F#4", "F#4", "F5", "F4"]


@pytest.mark.parametrize(
    ("how", "expected"),
    [
        ("not", ["F#4", "F4", "F5"]),
        ("octave", ["F#4", "F#4", "F5"]),
        ("pitch", ["F#4", "F#4", "F#5"]),
    ],
)
def test_how_far_a_sign_holds_can_be_said(how, expected):
    assert notes("^F2F2f4|", f"%%propagate-accidentals {how}\n{HEAD}") == expected
    assert notes("^F2F2f4|", f"I:propagate-accidentals {how}\n{HEAD}") == expected


def test_a_tie_carries_its_sign_over_the_barline_and_no_further():
    assert notes("^F8-|F4 F4|") == ["F#4", "F#4", "F4"]


def test_lengths():
    assert lengths("A A2 A3 A4 A/ A// A/4 A3/2 A3/ A6|", "M:none\nL:1/8\nK:C\n") == [
        F(1, 2), F(1), F(3, 2), F(2), F(1, 4), F(1, 8), F(1, 8), F(3, 4), F(3, 4), F(3),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("head", "unit"),
    [
        ("M:4/4\nK:C\n", F(1, 2)),
        ("M:3/4\nK:C\n", F(1, 2)),
        ("M:6/8\nK:C\n", F(1, 2)),
        ("M:2/4\nK:C\n", F(1, 4)),
        ("M:3/8\nK:C\n", F(1, 4)),
        ("M:2/4\nL:1/4\nK:C\n", F(1)),
        ("K:C\n", F(1, 2)),
        ("L:1/16\nM:4/4\nK:C\n", F(1, 4)),
    ],
)
def test_the_unit_of_length_follows_the_metre_where_it_isnt_told(head, unit):
    # [P] The ABC music standard 2.1, section 3.1.7: below 0.75 a sixteenth, else an eighth.
    assert lengths("A|", head) == [unit]


def test_written_values():
    values = [e.value for e in read("A8|A6A2|A3A A//A//A/ A A2|").line.events]
    assert values == [
        Value("whole"), Value("half", 1), Value("quarter"), Value("quarter", 1), Value("eighth"), Value("32nd"),
        Value("32nd"), Value("16th"), Value("eighth"), Value("quarter"),
    ]  # fmt: skip


def test_a_length_no_note_has_is_refused():
    assert wrong("A5 A3|") == [(4, 1, "1")]


def test_broken_rhythm():
    assert lengths("A>B c<d|", "M:2/4\nL:1/8\nK:C\n") == [F(3, 4), F(1, 4), F(1, 4), F(3, 4)]
    assert lengths("A>>B c<<d|", "M:2/4\nL:1/8\nK:C\n") == [F(7, 8), F(1, 8), F(1, 8), F(7, 8)]
    assert lengths("A > B [ce]>d|", "M:2/4\nL:1/8\nK:C\n") == [F(3, 4), F(1, 4), F(3, 4), F(1, 4)]
    assert lengths("A2>B2|", "M:2/4\nL:1/8\nK:C\n") == [F(3, 2), F(1, 2)]
    assert lengths("A>{c}B c>z|", "M:2/4\nL:1/8\nK:C\n") == [F(3, 4), F(0), F(1, 4), F(3, 4), F(1, 4)]


@pytest.mark.parametrize(
    ("text", "ratio", "each"),
    [
        ("(3ABc", (3, 2), F(1, 3)),
        ("(2AB", (2, 3), F(3, 4)),
        ("(4ABcd", (4, 3), F(3, 8)),
        ("(5:4ABcde", (5, 4), F(2, 5)),
        ("(6ABcdef", (6, 2), F(1, 6)),
        ("(3:2:4ABcd", (3, 2), F(1, 3)),
        ("(3::2AB", (3, 2), F(1, 3)),
        ("(7:4ABcdefg", (7, 4), F(2, 7)),
    ],
)
def test_tuplets(text, ratio, each):
    events = read(text, "M:none\nL:1/8\nK:C\n").line.events
    assert {e.duration for e in events} == {each}
    assert {e.value for e in events} == {Value("eighth", 0, ratio)}
    assert events[0].tuplet_ends == ("start",)
    assert events[-1].tuplet_ends == ("stop",)
    assert all(e.tuplet_ends == () for e in events[1:-1])


@pytest.mark.parametrize(("metre", "times"), [("6/8", 3), ("9/8", 3), ("4/4", 2), ("3/4", 2)])
def test_five_and_seven_take_the_time_of_the_metre(metre, times):
    # [P] The ABC music standard 2.1, section 4.13: n is 3 in compound time, else 2.
    assert read("(5ABcde", f"M:{metre}\nL:1/8\nK:C\n").line.events[0].value.tuplet == (5, times)


def test_a_tuplet_of_mixed_values():
    assert lengths("(3A2B c4 d2|", "M:4/4\nL:1/8\nK:C\n")[:3] == [F(2, 3), F(1, 3), F(4, 3)]


def test_chords():
    assert notes("[CEG]2 [GEC]4 [C2E2] [D,^F]|")[:3] == ["C4+E4+G4"] * 2 + ["C4+E4"]
    assert lengths("[C2E2]2 [CE]4|") == [F(2), F(2)]
    assert wrong("[C2E4]2 z4|") == [(4, 1, "1")]


def test_grace_notes():
    events = read("{G}A2 {/B}A2 {fga}A4|").line.events
    assert [(e.grace, e.value.type, e.duration) for e in events if e.grace] == [
        ("plain", "eighth", F(0)), ("slashed", "eighth", F(0)), *[("plain", "16th", F(0))] * 3,
    ]  # fmt: skip
    assert [e.beams for e in events[-4:-1]] == [("begin", "begin"), ("continue", "continue"), ("end", "end")]


def test_beams_follow_the_spaces():
    events = read("ABcd e2 f/g/a|c8|").line.events
    assert [e.beams for e in events] == [
        ("begin",), ("continue",), ("continue",), ("end",), (), ("begin", "begin"), ("continue", "end"), ("end",), (),
    ]  # fmt: skip
    assert [e.beams for e in read("AB`cd|", "M:2/4\nL:1/8\nK:C\n").line.events][1:3] == [("continue",)] * 2


def test_rests():
    assert notes("z2 z2 A4|z8|") == ["r", "r", "A4", "r"]
    events = read("z8|A4z4|").line.events
    assert [e.whole_bar for e in events] == [True, False, False]
    assert said("x4 A4|") == ["An invisible rest (x) is kept as a rest."]


def test_bars_of_rest():
    line = read("A8|Z3|B8|").line
    assert [b.number for b in line.bars] == ["1", "2", "3", "4", "5"]
    assert [e.whole_bar for e in line.events] == [False, True, True, True, False]
    assert {e.duration for e in line.events} == {F(4)}


def test_two_voices_of_a_bar():
    events = read("c4 d4 & E8|").line.events
    assert [(e.voice, e.onset, e.pitches[0].name) for e in events] == [
        (1, F(0), "C5"), (2, F(0), "E4"), (1, F(2), "D5"),
    ]  # fmt: skip


def test_ties():
    events = read("A4-A4|[CE]4-[CE]4|[C-E]4[CE]4|A8-|A8|").line.events
    assert [(e.tied_to, e.tied_from) for e in events] == [
        ((True,), (False,)), ((False,), (True,)),
        ((True, True), (False, False)), ((False, False), (True, True)),
        ((True, False), (False, False)), ((False, False), (True, False)),
        ((True,), (False,)), ((False,), (True,)),
    ]  # fmt: skip


def test_a_tie_without_its_second_note_is_named_with_its_place():
    found = read_text(HEAD + "A4-B4|c8|")
    assert [(r.line, r.column, r.what) for r in found.remarks] == [(4, 3, "A tie has no second note.")]


# --- bars -------------------------------------------------------------------------------


def bars(music, head=HEAD):
    return [
        (b.number, b.repeat_start, b.repeat_end, b.ending, b.barline) for b in read(music, head).line.bars
    ]  # fmt: skip


def test_barlines():
    assert bars("A8|B8||c8.|d8|]") == [
        ("1", False, 0, (), ""), ("2", False, 0, (), "light-light"), ("3", False, 0, (), "dotted"),
        ("4", False, 0, (), "light-heavy"),
    ]  # fmt: skip


def test_repeats_and_endings():
    assert bars("|:A8|1B8:|2c8||d8::e8:|") == [
        ("1", True, 0, (), ""), ("2", False, 2, (1,), ""), ("3", False, 0, (2,), "light-light"),
        ("4", False, 2, (), ""), ("5", True, 2, (), ""),
    ]  # fmt: skip
    assert bars("|:A8|[1,3B8:|[2c8|]")[1:] == [("2", False, 2, (1, 3), ""), ("3", False, 0, (2,), "light-heavy")]
    assert bars("|:A8:||:B8:|") == bars("|:A8:|\n|:B8:|") == bars("|: A8 :: B8 :|")


def test_a_part_may_be_repeated_more_than_once():
    assert [b[2] for b in bars("|::A8::|B8:|")] == [3, 2]


def test_an_ending_lasts_to_a_repeat_or_a_double_bar():
    assert [b[3] for b in bars("|:A8|1 B8|c8:|2 d8|e8||f8|")] == [(), (1,), (1,), (2,), (2,), ()]


def test_an_upbeat_is_bar_0():
    line = read("G2|A8|B6:|").line
    assert [(b.number, b.missing) for b in line.bars] == [("0", F(3)), ("1", F(0)), ("2", F(0))]
    assert said("G2|A8|B6:|") == []


def test_a_bar_parted_by_a_repeat_is_counted_once():
    line = read("A8|B6:|G2|A8|").line
    assert [b.number for b in line.bars] == ["1", "2", "2", "3"]


@pytest.mark.parametrize(
    ("music", "what"),
    [
        ("A8|B6|c8|", "The bar is too short for 4/4: 3 quarter notes instead of 4 quarter notes."),
        ("A8|B8c|d8|", "The bar is too long for 4/4: 4 1/2 quarter notes instead of 4 quarter notes."),
        ("A8|B8|c2|]", "The bar is too short for 4/4: 1 quarter note instead of 4 quarter notes."),
        ("G2|A8|B8|]", None),
        ("G2|A8|B6|]", None),
    ],
)
def test_bars_that_dont_add_up(music, what):
    assert said(music) == ([what] if what else [])


def test_the_place_of_a_bar_that_doesnt_add_up():
    remark = read_text(HEAD + "A8|\nB6|c8|").remarks[0]
    assert (remark.line, remark.column, remark.bar) == (5, 1, "2")


# --- keys, clefs, metres, tempos ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "sharps", "mode"),
    [
        # [P] The ABC music standard 2.1, section 3.1.14, table of modes.
        ("C", 0, "major"), ("Am", 0, "minor"), ("G mix", 0, "mixolydian"), ("DMix", 1, "mixolydian"),
        ("Ddor", 0, "dorian"), ("E Phr", 0, "phrygian"), ("F lydian", 0, "lydian"), ("BLoc", 0, "locrian"),
        ("F#", 6, "major"), ("Bb", -2, "major"), ("Gm", -2, "minor"), ("g", None, ""), ("C#", 7, "major"),
        ("Cb", -7, "major"), ("A#m", 7, "minor"), ("D minor", -1, "minor"), ("Emaj", 4, "major"),
        ("E ionian", 4, "ionian"),
        ("none", 0, ""), ("", 0, "major"), ("D =c", 1, ""), ("D exp ^f", 1, ""),
    ],
)  # fmt: skip
def test_keys(key, sharps, mode):
    found = read_text(f"M:4/4\nL:1/8\nK:{key}\nF8|")
    if sharps is None:
        assert [(r.line, r.column) for r in found.wrong] == [(3, 3)]
        return
    bar = found.part.movements[0].line.bars[0]
    assert bar.key == sharps
    assert key == "" or bar.mode == mode


def test_a_key_with_signs_of_its_own():
    head = "M:4/4\nL:1/8\nK:D phr ^f\n"
    found = read_text(head + "F2 B2 E2 c2|")
    assert found.wrong == ()
    assert [p.name for p in found.part.movements[0].line.pitches] == ["F#4", "Bb4", "Eb4", "C5"]
    assert [r.what for r in found.remarks] == [
        "No customary signature has these signs: they are written at the notes instead."
    ]


def test_the_key_works_on_the_notes():
    assert notes("FCGDAEB|", "M:none\nL:1/8\nK:E\n") == ["F#4", "C#4", "G#4", "D#4", "A4", "E4", "B4"]
    assert notes("BEAD|", "M:none\nL:1/8\nK:Ab\n") == ["Bb4", "Eb4", "Ab4", "Db4"]


@pytest.mark.parametrize(
    ("told", "clef", "first"),
    [
        ("clef=alto", "alto", "C4"), ("alto", "alto", "C4"), ("clef=treble", "treble", "C4"), ("bass", "bass", "C4"),
        ("clef=tenor", "tenor", "C4"), ("alto1", "soprano", "C4"), ("alto2", "mezzo", "C4"),
        ("clef=alto4", "tenor", "C4"),
        ("treble-8", "treble8vb", "C3"), ("clef=treble+8", "treble8va", "C5"), ("clef=bass octave=-1", "bass", "C3"),
        ("octave=1", "treble", "C5"),
    ],
)  # fmt: skip
def test_clefs(told, clef, first):
    line = read("C8|", f"M:4/4\nL:1/8\nK:C {told}\n").line
    assert line.bars[0].clef == clef
    assert next(line.pitches).name == first


@pytest.mark.parametrize("told", ["clef=perc", "clef=bass3", "middle=d", "altoo", "octave=9", "clef=alto-8"])
def test_clefs_that_cant_be_kept_are_refused(told):
    assert wrong("C8|", f"M:4/4\nL:1/8\nK:C {told}\n") == [(3, 3, "")]


def test_changes_on_the_way():
    line = read("A8|[K:G]F8|[M:2/4]F4|[L:1/4]F2|[K:clef=treble]c2|\nK:D alto\nF2|").line
    assert [(b.key, str(b.meter), b.clef, b.key_shown, b.meter_shown) for b in line.bars] == [
        (0, "4/4", "alto", True, True), (1, "4/4", "alto", True, False), (1, "2/4", "alto", False, True),
        (1, "2/4", "alto", False, False), (1, "2/4", "treble", False, False), (2, "2/4", "alto", True, False),
    ]  # fmt: skip
    assert [p.name for p in line.pitches] == ["A4", "F#4", "F#4", "F#4", "C5", "F#4"]


def test_a_clef_changes_within_a_bar_and_a_key_before_its_barline():
    line = read("A4[K:clef=treble]c4[K:G]|F8|").line
    assert [(c.name, c.onset) for c in line.bars[0].clefs] == [("alto", F(0)), ("treble", F(2))]
    assert (line.bars[0].key, line.bars[1].key, line.bars[1].clef) == (0, 1, "treble")
    assert line.events[-1].pitches[0].name == "F#4"


def test_a_key_cant_change_among_the_notes_of_a_bar():
    assert wrong("A4[K:G]F4|A8|") == [(4, 8, "1")]


@pytest.mark.parametrize(
    ("told", "beats", "beat_type", "symbol"),
    [("3/4", "3", 4, ""), ("C", "4", 4, "common"), ("C|", "2", 2, "cut"), ("(2+3)/8", "2+3", 8, ""),
        ("3+2/8", "3+2", 8, "")],
)  # fmt: skip
def test_metres(told, beats, beat_type, symbol):
    meter = read("A|", f"M:{told}\nL:1/8\nK:C\n").line.bars[0].meter
    assert (meter.beats, meter.beat_type, meter.symbol) == (beats, beat_type, symbol)


@pytest.mark.parametrize(
    ("told", "words", "unit", "number"),
    [
        ("1/4=84", "", Value("quarter"), F(84)),
        ('"Andante" 3/8=50', "Andante", Value("quarter", 1), F(50)),
        ('1/2=60 "Alla breve"', "Alla breve", Value("half"), F(60)),
        ('"Largo"', "Largo", None, None),
        ("100", "", Value("eighth"), F(100)),
        ("1/4 1/8=92.5", "", Value("quarter", 1), F(185, 2)),
    ],
)
def test_tempos(told, words, unit, number):
    (mark,) = read("A8|", f"M:4/4\nL:1/8\nQ:{told}\nK:C\n").line.bars[0].tempos
    assert (mark.words, mark.unit, mark.per_minute, mark.onset) == (words, unit, number, F(0))


def test_a_tempo_on_the_way_stands_where_it_is_written():
    (mark,) = read('A8|A4[Q:"poco rit."]A4|').line.bars[1].tempos
    assert (mark.words, mark.onset) == ("poco rit.", F(2))


# --- marks ------------------------------------------------------------------------------


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


# --- fields and text ------------------------------------------------------------------------


def test_title_and_composer():
    found = read_text("X:1\nT:Morning at the weir\nC:Ada Fell\nM:4/4\nL:1/8\nK:C\nA8|")
    assert (found.title, found.composer) == ("Morning at the weir", "Ada Fell")


def test_what_the_header_says_beside_is_named():
    found = read_text("X:1\nT:One\nT:Two\nC:Ada Fell\nC:Clara Moor\nR:reel\nZ:A. F.\nM:4/4\nK:C\nA8|")
    assert [(r.line, r.what) for r in found.remarks] == [
        (3, "A second title, “Two”."),
        (5, "A second composer, “Clara Moor”."),
        (6, "The information in R: stays in the text only."),
        (7, "The information in Z: stays in the text only."),
    ]


def test_a_few_notes_are_enough():
    found = read_text("ABcd")
    assert [p.name for p in found.part.movements[0].line.pitches] == ["A4", "B4", "C5", "D5"]
    assert [r.what for r in found.remarks] == [
        "There is no key (K:) before the music: it is read as C major.",
        "There is no time signature (M:): bars last as long as their notes, beats are counted in 4/4.",
    ]


def test_comments_and_continued_lines():
    assert notes("A2 B2 % a remark with notes CDEF\nc4|\n% all of it\nd4\\\ne4|") == ["A4", "B4", "C5", "D5", "E5"]


@pytest.mark.parametrize(
    ("line", "what"),
    [
        ("w: la la la", "Words to sing (w:)."),
        ("W: la la la", "Words below the music (W:)."),
        ("s: !p! * !f!", "Signs in a line of their own (s:)."),
        ("%%scale 0.7", "The instruction “scale 0.7” isn’t followed."),
        ("N:learned by ear", "The information in N: stays in the text only."),
        ("%%begintext\nA8|B8|\n%%endtext", "The instruction “begintext” isn’t followed."),
        ("I:MIDI program 42", "The instruction “MIDI program 42” isn’t followed."),
    ],
)
def test_lines_that_arent_kept_are_named(line, what):
    found = read_text(f"{HEAD}A8|\n{line}\n")
    assert found.wrong == ()
    assert [(r.line, r.what) for r in found.remarks] == [(5, what)]


@pytest.mark.parametrize(
    ("music", "place"),
    [
        ("A4 k4|", (4, 4, "1")),
        ("A4 !trill B4|", (4, 4, "1")),
        ('A4 "dolce B4|', (4, 4, "1")),
        ("A4 [CE|", (4, 4, "1")),
        ("A4 {GB4|", (4, 4, "1")),
        ("A4 {}B4|", (4, 4, "1")),
        ("A8|B4 (3cd|", (4, 7, "2")),
        ("A4 (0B4|", (4, 4, "1")),
        ("A4 B4>|B8|", (4, 7, "1")),
        ("-A8|", (4, 1, "1")),
        ("A8|-A8|", (4, 4, "2")),
        ("A4 B0 A4|", (4, 5, "1")),
        ("A" * 257, (4, 257, "1")),
        ("{A}" * 257 + "A8|", (4, 769, "")),
        ("A8|\nB4 ]|", (5, 4, "2")),
        ("A4 B4:", (4, 6, "1")),
        ("A4 C,,,,,,4|", (4, 4, "1")),
        ("A4 ^/B4|", (4, 4, "1")),
        ("m:~G2 = GAG", (4, 3, "")),
        ("A8|\nX:2\nK:C\nB8|", (5, 1, "")),
    ],
)
def test_what_cant_be_read_is_refused_with_its_place(music, place):
    assert place in wrong(music)


def test_several_voices_are_refused_by_name():
    found = read_text("M:4/4\nL:1/8\nK:C\nV:1\nA8|\nV:2\nC8|")
    assert [(r.line, r.what) for r in found.wrong] == [
        (4, "There are several voices (1, 2). Type one at a time, or import the file and choose one.")
    ]


def test_one_voice_with_its_clef_and_name():
    found = read_text('M:4/4\nL:1/8\nV:1 name="Viola II" clef=alto\nK:C clef=treble\nV:1\nC8|')
    assert found.wrong == ()
    assert (found.part.name, found.part.instrument) == ("Viola II", "viola")
    assert found.part.movements[0].line.bars[0].clef == "alto"


def test_remarks_follow_the_text():
    found = read_text(HEAD + "A4 k4|\n!5!B8|\nq8|")
    assert [(r.line, r.column) for r in found.remarks if "sign" in r.what or "meaning" in r.what] == [
        (4, 4), (5, 1), (6, 1),
    ]  # fmt: skip
