"""The marks printed in a part are read as marks on the right notes, and the rest is told."""

import pytest

from repertoire.notation.musicxml import read_part
from repertoire.technique.marks import Kind, Mark

from .small_files import FOUR, bars, direction, note, score

WHOLE = note("C4", 16, "whole")


def read(*contents):
    return read_part(score(bars(*contents)), "file.musicxml", 1)


def marks(*contents):
    return list(read(*contents).movements[0].printed)


def told(*contents):
    return [(left.bar, left.what) for left in read(*contents).left_out]


def on_note(notations):
    """Marks and losses of one whole note with these notations."""
    bar = FOUR + note("C4", 16, "whole", notations=notations)
    return [(m.kind, m.value) for m in marks(bar)], [what for _, what in told(bar)]


@pytest.mark.parametrize(
    ("group", "sign", "kind", "value"),
    [
        ("articulations", "staccato", Kind.ARTICULATION, "staccato"),
        ("articulations", "staccatissimo", Kind.ARTICULATION, "staccatissimo"),
        ("articulations", "tenuto", Kind.ARTICULATION, "tenuto"),
        ("articulations", "accent", Kind.ARTICULATION, "accent"),
        ("articulations", "strong-accent", Kind.ARTICULATION, "marcato"),
        ("articulations", "soft-accent", Kind.ARTICULATION, "soft accent"),
        ("articulations", "detached-legato", Kind.ARTICULATION, "detached legato"),
        ("articulations", "breath-mark", Kind.ARTICULATION, "breath"),
        ("articulations", "caesura", Kind.ARTICULATION, "caesura"),
        ("technical", "up-bow", Kind.BOW, "up"),
        ("technical", "down-bow", Kind.BOW, "down"),
        ("technical", "stopped", Kind.ARTICULATION, "stopped"),
        ("technical", "snap-pizzicato", Kind.PIZZICATO, "snap"),
        ("technical", "open-string", Kind.FINGER, "0"),
        ("ornaments", "trill-mark", Kind.ORNAMENT, "trill"),
        ("ornaments", "turn", Kind.ORNAMENT, "turn"),
        ("ornaments", "inverted-turn", Kind.ORNAMENT, "inverted turn"),
        ("ornaments", "delayed-turn", Kind.ORNAMENT, "delayed turn"),
        ("ornaments", "mordent", Kind.ORNAMENT, "mordent"),
        ("ornaments", "inverted-mordent", Kind.ORNAMENT, "inverted mordent"),
        ("ornaments", "shake", Kind.ORNAMENT, "shake"),
    ],
)
def test_signs_on_a_note(group, sign, kind, value):
    assert on_note(f"<{group}><{sign}/></{group}>") == ([(kind, value)], [])


@pytest.mark.parametrize(
    ("notations", "kind", "value"),
    [
        ("<technical><string>2</string></technical>", Kind.STRING, "II"),
        ("<technical><fingering>3</fingering></technical>", Kind.FINGER, "3"),
        (
            "<technical><fingering>2</fingering><fingering substitution='yes'>1</fingering></technical>",
            Kind.FINGER, "2-1",
        ),
        ("<technical><harmonic><natural/></harmonic></technical>", Kind.HARMONIC, "natural"),
        ("<fermata/>", Kind.FERMATA, ""),
        ("<arpeggiate/>", Kind.ARTICULATION, "arpeggio"),
        ("<dynamics><sfz/></dynamics>", Kind.DYNAMIC, "sfz"),
    ],
)  # fmt: skip
def test_signs_with_contents(notations, kind, value):
    assert on_note(notations) == ([(kind, value)], [])


@pytest.mark.parametrize(
    ("notations", "what"),
    [
        ("<ornaments><schleifer/></ornaments>", "The ornament “schleifer”."),
        ("<technical><thumb-position/></technical>", "The sign “thumb position” on a note."),
        ("<technical><fingering>7</fingering></technical>", "The fingering “7” on a note."),
        ("<technical><fingering alternate='yes'>3</fingering></technical>", "The alternative fingering “3”."),
        ("<articulations><falloff/></articulations>", "The sign “falloff” on a note."),
        ("<ornaments><wavy-line type='start'/></ornaments>", "A wavy line without a trill sign."),
        ("<non-arpeggiate/>", "The sign “non arpeggiate” on a note."),
        ("<tied type='let-ring'/>", "A tie that lets the note ring on."),
        ("<slur type='start'/>", "A slur has no end."),
        ("<slur type='stop'/>", "A slur ends that never began."),
    ],
)
def test_what_has_no_mark_is_told_with_its_bar(notations, what):
    assert on_note(notations) == ([], [what])


def test_fingers_and_harmonics_stand_on_members_of_a_chord():
    low = note("C4", 16, "whole", notations="<technical><fingering>1</fingering></technical>")
    high = note(
        "F4", 16, "whole", chord="<chord/>",
        notations="<technical><fingering>4</fingering><harmonic><artificial/><touching-pitch/></harmonic></technical>",
    )  # fmt: skip
    assert marks(FOUR + high.replace("<chord/>", "") + low.replace("<note>", "<note><chord/>")) == [
        Mark(Kind.FINGER, "b1n1p1", "1"),
        Mark(Kind.FINGER, "b1n1p2", "4"),
        Mark(Kind.HARMONIC, "b1n1p2", "artificial"),
    ]


def test_a_diamond_head_is_a_harmonic():
    diamond = "<notehead>diamond</notehead>"
    assert marks(FOUR + note("A4", 16, "whole", diamond)) == [Mark(Kind.HARMONIC, "b1n1", "natural")]
    fourth = note("A3", 16, "whole") + note("D4", 16, "whole", diamond, chord="<chord/>")
    assert marks(FOUR + fourth) == [Mark(Kind.HARMONIC, "b1n1p2", "artificial")]


def test_slurs_cross_bars_and_nest_by_number():
    def slur(kind, number):
        return f'<slur type="{kind}" number="{number}"/>'

    assert marks(
        FOUR + note("C4", notations=slur("start", 1)) + note("D4", notations=slur("start", 2))
        + note("E4", notations=slur("stop", 2)) + note("F4"),
        note("G4", notations=slur("stop", 1) + slur("start", 1)) + note("A4", notations=slur("stop", 1))
        + note("r", 8, "half"),
    ) == [
        Mark(Kind.SLUR, "b1n1", "", "b2n1"),
        Mark(Kind.SLUR, "b1n2", "", "b1n3"),
        Mark(Kind.SLUR, "b2n1", "", "b2n2"),
    ]  # fmt: skip


def test_a_slur_from_a_voice_written_later_is_closed_in_the_voice_written_first():
    assert marks(
        FOUR + note("r", 8, "half") + note("C5", 8, "half", notations='<slur type="stop"/>')
        + "<backup><duration>16</duration></backup>"
        + note("C4", 8, "half", notations='<slur type="start"/>', voice="2")
    ) == [Mark(Kind.SLUR, "b1n2", "", "b1n3")]  # fmt: skip


def test_signs_over_and_under_an_ornament():
    turn = (
        "<ornaments><turn/><accidental-mark placement='above'>flat</accidental-mark>"
        "<accidental-mark placement='below'>sharp</accidental-mark></ornaments>"
    )
    assert marks(FOUR + note("G4", 16, "whole", notations=turn)) == [
        Mark(Kind.ORNAMENT, "b1n1", "turn", "", (("above", "flat"), ("below", "sharp")))
    ]


def test_dynamics_words_and_pizzicato_stand_on_the_note_they_precede():
    assert marks(
        FOUR + direction("<dynamics><p/><other-dynamics> dolce</other-dynamics></dynamics>") + note("C4", 8, "half")
        + direction("<words>pizz.</words>", attributes=' placement="above"') + note("D4", 4)
        + direction('<words font-style="italic">sul G</words>', attributes=' placement="above"') + note("E4", 4)
    ) == [
        Mark(Kind.DYNAMIC, "b1n1", "p"),
        Mark(Kind.PIZZICATO, "b1n2", "pizz"),
        Mark(Kind.TEXT, "b1n1", "dolce", "", (("place", "below"), ("style", "italic"))),
        Mark(Kind.TEXT, "b1n3", "sul G", "", (("place", "above"), ("style", "italic"))),
    ]  # fmt: skip


def test_a_dynamic_within_a_long_note_keeps_its_place():
    forward = "<forward><duration>8</duration></forward>"
    bar = FOUR + WHOLE + "<backup><duration>16</duration></backup>" + forward + direction("<dynamics><f/></dynamics>")
    assert marks(bar) == [Mark(Kind.DYNAMIC, "b1n1", "f", "", (("after", "2"),))]


def test_the_same_dynamic_twice_at_one_place_is_one():
    def dynamic(sign, offset):
        return direction(f"<dynamics><{sign}/></dynamics>", more=f"<offset>{offset}</offset>")

    held = note("C4", 8, "half")
    near = FOUR + held + dynamic("f", -2) + dynamic("f", -1) + note("D4", 8, "half")  # a semiquaver apart
    assert marks(near) == [Mark(Kind.DYNAMIC, "b1n1", "f", "", (("after", "3/2"),))]
    apart = FOUR + held + dynamic("p", -6) + dynamic("p", -2) + note("D4", 8, "half")
    assert marks(apart) == [
        Mark(Kind.DYNAMIC, "b1n1", "p", "", (("after", "1/2"),)),
        Mark(Kind.DYNAMIC, "b1n1", "p", "", (("after", "3/2"),)),
    ]
    other = FOUR + held + dynamic("f", -2) + dynamic("p", -1) + note("D4", 8, "half")
    assert [m.value for m in marks(other)] == ["f", "p"]
    both = dynamic("f", 0) + note("C4", 16, "whole", notations="<dynamics><f/></dynamics>")
    assert marks(FOUR + both) == [Mark(Kind.DYNAMIC, "b1n1", "f")]


def test_hairpins_run_to_the_last_note_under_them():
    def wedge(kind):
        return direction(f'<wedge type="{kind}"/>')

    assert marks(
        FOUR + wedge("crescendo") + note("C4") + note("D4") + wedge("stop")
        + wedge("diminuendo") + note("E4", 8, "half"),
        wedge("stop") + WHOLE,
    ) == [
        Mark(Kind.HAIRPIN, "b1n1", "crescendo", "b1n2"),
        Mark(Kind.HAIRPIN, "b1n3", "diminuendo", "b1n3"),
    ]  # fmt: skip


def test_hairpins_within_one_long_note_keep_their_places():
    back = "<backup><duration>16</duration></backup>"
    half = "<forward><duration>8</duration></forward>"
    bar = (
        FOUR + WHOLE + back + direction('<wedge type="crescendo"/>') + half
        + direction('<wedge type="stop"/>') + direction('<wedge type="diminuendo"/>') + half
        + direction('<wedge type="stop"/>')
    )  # fmt: skip
    assert marks(bar) == [
        Mark(Kind.HAIRPIN, "b1n1", "crescendo", "b1n1", (("until", "2"),)),
        Mark(Kind.HAIRPIN, "b1n1", "diminuendo", "b1n1", (("after", "2"),)),
    ]


def wedge(kind, number="1", voice=""):
    more = f"<voice>{voice}</voice>" if voice else ""
    return direction(f'<wedge type="{kind}" number="{number}"/>', more=more)


def test_a_hairpin_without_an_end_never_takes_that_of_a_later_one():
    contents = (
        FOUR + note("C4", 8, "half") + wedge("diminuendo") + note("D4", 8, "half"),
        wedge("crescendo") + note("E4", 8, "half") + wedge("stop") + note("F4", 8, "half"),
        WHOLE + wedge("stop"),
    )
    assert marks(*contents) == [Mark(Kind.HAIRPIN, "b2n1", "crescendo", "b2n1")]
    assert told(*contents) == [("1", "A hairpin has no end."), ("3", "A hairpin ends that never began.")]


def test_hairpins_are_matched_by_number_and_time_not_by_their_order_in_the_file():
    back = "<backup><duration>16</duration></backup>"
    contents = (
        FOUR + wedge("crescendo") + note("C4") + note("D4") + note("E4") + wedge("stop", "2") + note("F4") + back
        + note("r", 4, voice="2") + wedge("stop") + wedge("diminuendo", "2")
        + note("r", 12, "half", "<dot/>", voice="2")
    )  # fmt: skip
    found = [m for m in marks(contents) if m.kind is Kind.HAIRPIN]
    assert [(m.value, m.at, m.to) for m in found] == [
        ("crescendo", "b1n1", "b1n1"),
        ("diminuendo", "b1n3", "b1n5"),
    ]  # D4 to E4, rests between
    assert told(contents) == []


def test_hairpins_of_two_voices_may_share_a_number():
    back = "<backup><duration>16</duration></backup>"
    contents = (
        FOUR + wedge("crescendo", voice="1") + note("C5", 16, "whole") + wedge("stop", voice="1") + back
        + wedge("diminuendo", voice="2") + note("C4", 16, "whole", voice="2") + wedge("stop", voice="2")
    )  # fmt: skip
    assert [(m.value, m.at, m.to) for m in marks(contents)] == [
        ("crescendo", "b1n1", "b1n1"),
        ("diminuendo", "b1n2", "b1n2"),
    ]


def test_octave_signs_leave_the_sounding_pitch():
    contents = (
        FOUR + direction('<octave-shift type="down" size="8"/>') + note("C6", 8, "half") + note("D6", 8, "half")
        + direction('<octave-shift type="stop" size="8"/>')
    )  # fmt: skip
    assert marks(contents) == [Mark(Kind.OCTAVE, "b1n1", "8va", "b1n2")]
    assert read(contents).movements[0].line.events[0].pitches[0].name == "C6"


def test_slides_run_from_member_to_member():
    line = '<glissando type="{}" number="1"/>'
    assert marks(
        FOUR + note("C4", 8, "half", notations=line.format("start"))
        + note("G4", 8, "half", notations=line.format("stop"))
    ) == [Mark(Kind.SLIDE, "b1n1", "start", "b1n2")]  # fmt: skip


@pytest.mark.parametrize(
    ("inner", "what"),
    [
        ('<words>cresc.</words></direction-type><direction-type><dashes type="start"/>', "The dashes after words."),
        ('<pedal type="start"/>', "A pedal sign."),
        ('<bracket type="start" line-end="down"/>', "A bracket above or below the staff."),
        ('<octave-shift type="down" size="15"/>', "An octave sign of size 15; notes stand where they sound."),
        ("<scordatura/>", "A retuning of the strings (scordatura)."),
        ("<words>\ue22e</words>", "A sign that only a music font can show."),
        ("<metronome><beat-unit>quarter</beat-unit><beat-unit>half</beat-unit></metronome>",
         "A tempo given as one beat unit against another."),
        ("<wobble/>", "A direction of another kind (wobble)."),
    ],
)  # fmt: skip
def test_directions_without_a_mark_are_told(inner, what):
    assert told(FOUR + direction(inner) + WHOLE) == [("1", what)]


@pytest.mark.parametrize(
    ("extra", "what"),
    [
        ("<harmony><root><root-step>C</root-step></root><kind>major</kind></harmony>", "A chord symbol."),
        ("<figured-bass/>", "Figured bass."),
        ("<wobble/>", "An unknown element <wobble>."),
        ('<barline location="right"><fermata/></barline>', "A fermata on a barline."),
    ],
)
def test_other_elements_of_a_bar_are_told(extra, what):
    assert told(FOUR + WHOLE + extra) == [("1", what)]


def test_lyrics_and_courtesies_of_layout():
    sung = note("C4", 16, "whole", "<lyric><text>la</text></lyric>")
    assert told(FOUR + "<print new-page='yes'/>" + sung + "<sound tempo='90'/>") == [("1", "Words to sing.")]


def test_a_bow_sign_set_as_words_in_a_music_font():
    assert marks(FOUR + direction("<words>\ue610</words>") + WHOLE) == [Mark(Kind.BOW, "b1n1", "down")]
