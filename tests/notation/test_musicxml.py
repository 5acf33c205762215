"""Reading MusicXML: notes, bars, movements, and what is said of what can't be kept."""

from fractions import Fraction as F

import pytest

from repertoire.notation.musicxml import FileError, list_contents, read_part
from repertoire.technique.line import Clef, Meter, TempoMark, Value
from repertoire.technique.pitch import Pitch

from .small_files import FOUR, bars, direction, note, packed, score

WHOLE = note("C4", 16, "whole")


def read(data, part=1):
    return read_part(data, "file.musicxml", part)


def one(*contents, numbers=()):
    """The line of a one-part score of one movement."""
    return read(score(bars(*contents, numbers=numbers))).movements[0].line


def told(data, part=1):
    return [(left.bar, left.what) for left in read(data, part).left_out]


def test_notes_have_places_lengths_and_addresses():
    line = one(FOUR + note("C4") + note("F#4", 2, "eighth") + note("r", 2, "eighth") + note("Bb4", 8, "half"))
    assert [(e.address, e.onset, e.duration, [p.name for p in e.pitches]) for e in line.events] == [
        ("b1n1", F(0), F(1), ["C4"]),
        ("b1n2", F(1), F(1, 2), ["F#4"]),
        ("b1n3", F(3, 2), F(1, 2), []),
        ("b1n4", F(2), F(2), ["Bb4"]),
    ]
    assert line.bars[0].clefs == (Clef("alto"),)
    assert line.bars[0].meter == Meter("4", 4)
    assert line.part == "Viola"
    assert line.instrument == "viola"


def test_a_chord_is_one_event_with_members_from_below():
    line = one(FOUR + note("G4", 16, "whole") + note("C4", 16, "whole", chord="<chord/>"))
    assert [e.address for e in line.events] == ["b1n1"]
    assert line.pitch("b1n1p1") == Pitch("C", 0, 4)
    assert line.pitch("b1n1p2") == Pitch("G", 0, 4)


def test_grace_notes_stand_before_their_note_and_voices_in_order():
    line = one(
        FOUR + note("C4", 8, "half")
        + note("D4", 0, "eighth", grace='<grace slash="yes"/>') + note("E4", 0, "16th", grace="<grace/>")
        + note("F4", 8, "half") + "<backup><duration>8</duration></backup>" + note("A3", 8, "half", voice="2")
    )  # fmt: skip
    assert [(e.address, e.pitches[0].name, e.onset, e.grace, e.voice) for e in line.events] == [
        ("b1n1", "C4", F(0), "", 1),
        ("b1n2", "D4", F(2), "slashed", 1),
        ("b1n3", "E4", F(2), "plain", 1),
        ("b1n4", "F4", F(2), "", 1),
        ("b1n5", "A3", F(2), "", 2),
    ]


def test_tuplets_rounded_to_ticks_are_read_exactly():
    triplet = "<time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes></time-modification>"
    attributes = FOUR.replace("<divisions>4<", "<divisions>256<")
    line = one(
        attributes + note("C4", 85, "eighth", triplet) + note("D4", 86, "eighth", triplet)
        + note("E4", 85, "eighth", triplet) + note("F4", 768, "half", "<dot/>")
    )  # fmt: skip
    assert [(e.onset, e.duration) for e in line.events] == [
        (F(0), F(1, 3)), (F(1, 3), F(1, 3)), (F(2, 3), F(1, 3)), (F(1), F(3)),
    ]  # fmt: skip
    assert line.events[0].value == Value("eighth", 0, (3, 2))
    assert line.bars[0].length == 4


def test_a_bar_that_adds_up_in_ticks_keeps_its_ticks():
    # A dotted 16th written over the length of an eighth: the length counts.
    data = score(
        bars(FOUR + note("C4", 12, "half", "<dot/>") + note("D4", 2, "16th", "<dot/>") + note("E4", 2, "eighth"))
    )
    line = read(data).movements[0].line
    assert [(e.onset, e.duration, e.value) for e in line.events[1:]] == [
        (F(3), F(1, 2), Value("eighth")),
        (F(7, 2), F(1, 2), Value("eighth")),
    ]
    assert told(data) == [("1", "A note is written with another value than its length in the file; the length counts.")]


def test_ties_are_told_per_member_also_across_spellings():
    line = one(
        FOUR + note("C4", 16, "whole", tie='<tie type="start"/>')
        + note("G#4", 16, "whole", chord="<chord/>", tie='<tie type="start"/>'),
        note("Ab4", 16, "whole", tie='<tie type="stop"/>') + note("C4", 16, "whole", chord="<chord/>"),
    )  # fmt: skip
    first, second = line.events
    assert first.tied_to == (True, True)
    assert second.tied_from == (True, True)  # the missing stop of C4 is mended
    assert second.continues


def test_a_tie_without_its_second_note_is_left_out_and_told():
    data = score(bars(FOUR + note("C4", 16, "whole", tie='<tie type="start"/>'), note("D4", 16, "whole")))
    assert read(data).movements[0].line.events[0].tied_to == (False,)
    assert told(data) == [("1", "A tie has no second note.")]


def test_a_tie_into_a_second_ending_stays():
    start = '<barline location="left"><ending number="{0}" type="start"/></barline>'
    end = '<barline location="right"><ending number="1" type="stop"/><repeat direction="backward"/></barline>'
    line = one(
        FOUR + note("C4", 16, "whole", tie='<tie type="start"/>'),
        start.format("1") + note("C4", 16, "whole", tie='<tie type="stop"/>') + end,
        start.format("2") + note("C4", 16, "whole", tie='<tie type="stop"/>'),
    )
    assert [e.tied_from for e in line.events] == [(False,), (True,), (True,)]
    assert [b.ending for b in line.bars] == [(), (1,), (2,)]
    assert line.bars[1].repeat_end == 2


def test_movements_begin_where_numbers_start_again_not_at_upbeats_or_endings():
    upbeat = FOUR + note("C4")
    data = score(
        bars(
            upbeat, WHOLE, WHOLE, WHOLE, WHOLE, upbeat, WHOLE, WHOLE, numbers=("0", "1", "2", "X1", "3", "0", "1", "2")
        )
    )
    movements = read(data).movements
    assert [[b.number for b in m.line.bars] for m in movements] == [["0", "1", "2", "2a", "3"], ["0", "1", "2"]]
    assert movements[1].line.events[0].address == "b1n1"
    assert [m.bars for m in list_contents(data, "f").parts[0].movements] == [5, 3]


def test_an_upbeat_counts_its_beats_from_the_end():
    line = one(FOUR + note("C4"), WHOLE, numbers=("0", "1"))
    assert line.bars[0].missing == 3
    assert line.where("b1n1") == "bar 0, beat 4"
    assert line.bars[1].onset == 1


def test_a_bar_split_by_a_repeat_shares_its_number():
    back = '<barline location="right"><repeat direction="backward"/></barline>'
    line = one(FOUR + note("C4", 12, "half", "<dot/>") + back, note("D4"), WHOLE, numbers=("8", "X1", "9"))
    assert [(b.number, b.missing) for b in line.bars] == [("8", 0), ("8", 3), ("9", 0)]
    assert line.where("b2n1") == "bar 8, beat 4"


def test_bars_that_do_not_add_up_are_kept_and_told():
    data = score(bars(FOUR + note("C4", 20, "whole", "<dot/>"), note("C4", 8, "half"), WHOLE))
    line = read(data).movements[0].line
    assert [b.length for b in line.bars] == [5, 2, 4]
    assert ("2", "The bar is shorter than its time signature asks for; it is kept as it is.") in told(data)
    assert ("1", "The bar is longer than its time signature allows; it is kept as it is.") in told(data)


def test_clefs_inside_a_bar_keep_their_place_and_stay_in_force():
    clef = "<attributes><clef><sign>G</sign><line>2</line></clef></attributes>"
    line = one(FOUR + note("C4", 8, "half") + clef + note("C5", 8, "half"), WHOLE)
    assert line.bars[0].clefs == (Clef("alto"), Clef("treble", F(2)))
    assert line.bars[1].clef == "treble"


def test_a_key_and_time_printed_at_the_end_of_a_bar_count_from_the_next():
    change = (
        "<attributes><key><fifths>-3</fifths></key><time><beats>3</beats><beat-type>4</beat-type></time></attributes>"
    )
    line = one(FOUR + WHOLE + change, note("C4", 12, "half", "<dot/>"))
    assert (line.bars[0].key, str(line.bars[0].meter)) == (0, "4/4")
    assert (line.bars[1].key, str(line.bars[1].meter), line.bars[1].key_shown) == (-3, "3/4", True)


def test_rests_for_a_whole_bar_and_empty_bars():
    data = score(bars(FOUR + note("C4", 16, "whole"), "<note><rest measure='yes'/><duration>16</duration></note>", ""))
    line = read(data).movements[0].line
    assert [(e.is_rest, e.whole_bar, e.duration) for e in line.events] == [
        (False, False, 4), (True, True, 4), (True, True, 4),
    ]  # fmt: skip
    assert told(data) == [("3", "An empty bar, read as a bar’s rest.")]


def test_hidden_notes_are_not_read_and_told():
    data = score(bars(FOUR + WHOLE + "<backup><duration>16</duration></backup>"
                      + note("E4", 16, "whole", voice="2", attributes=' print-object="no"')))  # fmt: skip
    assert len(read(data).movements[0].line.events) == 1
    assert told(data) == [("1", "A hidden note, not printed on the page.")]


def test_time_wise_and_part_wise_read_alike():
    plain = score(bars(FOUR + WHOLE, note("D4", 16, "whole")))
    other = (
        '<score-timewise version="3.1"><part-list><score-part id="P1"><part-name>Viola</part-name></score-part>'
        f'</part-list><measure number="1"><part id="P1">{FOUR}{WHOLE}</part></measure>'
        f'<measure number="2"><part id="P1">{note("D4", 16, "whole")}</part></measure></score-timewise>'
    ).encode()
    assert read(other).movements == read(plain).movements


def test_packed_plain_and_other_encodings_read_alike():
    plain = score(bars(FOUR + WHOLE))
    doctype = plain.replace(
        b"<score-partwise",
        b'<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
        b'"http://www.musicxml.org/dtds/partwise.dtd"><score-partwise', 1,
    )  # fmt: skip
    text = plain.decode()
    expected = read(plain).movements
    for data in (
        packed(plain),
        packed(plain, container=""),
        doctype,
        b"\xef\xbb\xbf" + plain,
        text.replace("UTF-8", "UTF-16").encode("utf-16"),
        text.replace("UTF-8", "ISO-8859-1").encode("latin-1"),
    ):
        assert read(data).movements == expected


def test_names_in_latin_1_survive():
    data = (
        score(bars(FOUR + WHOLE), names=("Älter Bratsche",)).decode().replace("UTF-8", "ISO-8859-1").encode("latin-1")
    )
    assert read(data).name == "Älter Bratsche"
    assert read(data).instrument == "viola"


def test_a_part_is_chosen_by_name_number_or_id():
    data = score(*[bars(FOUR + note(n, 16, "whole")) for n in ("C5", "C4", "C3")], names=("Violin", "Viola", "Viola"))
    assert read(data, "Violin").movements[0].line.events[0].pitches == (Pitch("C", 0, 5),)
    assert read(data, 3).movements[0].line.events[0].pitches == (Pitch("C", 0, 3),)
    assert read(data, "P2").movements[0].line.events[0].pitches == (Pitch("C", 0, 4),)
    with pytest.raises(
        FileError, match=r"Several parts answer to “viola”\. Choose one by its number: 2 Viola; 3 Viola"
    ):
        read(data, "viola")
    with pytest.raises(FileError, match=r"no part “Oboe” in this file\. It holds: 1 Violin; 2 Viola; 3 Viola\."):
        read(data, "Oboe")


def test_each_staff_of_a_part_with_two_is_a_part_of_its_own():
    two = FOUR.replace("<clef>", "<staves>2</staves><clef number='1'>").replace(
        "</attributes>", "<clef number='2'><sign>F</sign><line>4</line></clef></attributes>"
    )
    data = score(
        bars(two + WHOLE.replace("</note>", "<staff>1</staff></note>") + "<backup><duration>16</duration></backup>"
             + note("C3", 16, "whole", voice="5").replace("</note>", "<staff>2</staff></note>")),
        names=("Piano",),
    )  # fmt: skip
    found = list_contents(data, "f").parts
    assert [(p.number, p.name, p.clef, p.notes) for p in found] == [
        (1, "Piano, staff 1", "alto", 1),
        (2, "Piano, staff 2", "bass", 1),
    ]
    lower = read(data, 2).movements[0].line
    assert lower.events[0].pitches == (Pitch("C", 0, 3),)
    assert lower.bars[0].clef == "bass"


def test_tempos_letters_and_headings_stand_over_the_first_part_for_all():
    top = (
        FOUR + direction("<words>II. Romanze</words>")
        + direction("<words>Poco adagio</words>", more='<sound tempo="50"/>')
        + direction("<metronome><beat-unit>quarter</beat-unit><beat-unit-dot/><per-minute>50</per-minute></metronome>")
        + WHOLE,
        direction("<rehearsal>B</rehearsal>") + note("C4", 8, "half")
        + direction("<words>rit.</words>") + note("C4", 8, "half"),
    )  # fmt: skip
    data = score(bars(*top), bars(FOUR + WHOLE, WHOLE), names=("Violin", "Viola"))
    movement = read(data, "Viola").movements[0]
    assert movement.title == "II. Romanze"
    assert movement.line.bars[0].tempos == (
        TempoMark(F(0), "Poco adagio", Value("quarter", 1), F(50)),
    )  # fmt: skip
    assert movement.line.bars[1].tempos == (TempoMark(F(2), "rit."),)
    assert movement.line.bars[1].rehearsal == "B"


def test_an_empty_tempo_unit_is_mended_and_told():
    metronome = (
        "<words>Presto</words></direction-type><direction-type>"
        "<metronome><beat-unit/><per-minute>96</per-minute></metronome>"
    )
    data = score(bars(FOUR + direction(metronome) + WHOLE), bars(FOUR + WHOLE), names=("Violin", "Viola"))
    assert read(data, "Viola").movements[0].line.bars[0].tempos == (TempoMark(F(0), "Presto"),)
    assert told(data, "Viola") == [("1", "A metronome number (96) without a readable beat unit.")]


def test_jumps_are_read_from_words_and_sounds():
    line = one(
        FOUR + direction("<segno/>") + WHOLE,
        WHOLE + direction("<words>Fine</words>", more='<sound fine="yes"/>'),
        WHOLE + direction("<words>D.S. al Fine</words>"),
    )
    assert [b.jump for b in line.bars] == ["segno", "fine", "dalsegno"]


def test_voices_gaps_and_steps_back_are_exact():
    line = one(
        FOUR + note("C5", 8, "half") + note("D5", 8, "half") + "<backup><duration>16</duration></backup>"
        + "<forward><duration>4</duration></forward>" + note("A3", 4, voice="2")
    )  # fmt: skip
    assert [(e.pitches[0].name, e.voice, e.onset) for e in line.events] == [
        ("C5", 1, F(0)), ("A3", 2, F(1)), ("D5", 1, F(2)),
    ]  # fmt: skip


def test_stems_beams_cues_accidentals_and_tremolos_are_kept():
    tremolo = "<ornaments><tremolo type='{}'>3</tremolo></ornaments>"
    line = one(
        FOUR + note("C4", 2, "eighth", "<stem>up</stem><beam number='1'>begin</beam>")
        + note("F#4", 2, "eighth",
               "<accidental parentheses='yes'>sharp</accidental><stem>up</stem><beam number='1'>end</beam>")
        + note("C4", cue="<cue/>") + note("D4", notations=tremolo.format("single"))
        + note("E4", 2, "eighth", notations=tremolo.format("start"))
        + note("F4", 2, "eighth", notations=tremolo.format("stop"))
    )  # fmt: skip
    a, b, cue, single, start, stop = line.events
    assert (a.beams, b.beams, a.stem) == (("begin",), ("end",), "up")
    assert b.accidentals == ("(sharp)",)
    assert cue.cue
    assert (single.tremolo, single.tremolo_pair) == (3, "")
    assert (start.tremolo_pair, stop.tremolo_pair) == ("start", "stop")


def test_a_transposing_part_is_read_as_written_and_told():
    attributes = FOUR.replace("</attributes>", "<transpose><chromatic>-2</chromatic></transpose></attributes>")
    data = score(bars(attributes + WHOLE), names=("Clarinet",))
    assert read(data).movements[0].line.events[0].pitches == (Pitch("C", 0, 4),)
    assert told(data)[0][1].startswith("The part is for a transposing instrument (sounds -2 half steps")


@pytest.mark.parametrize(
    ("attributes", "sound", "message"),
    [
        ("<clef><sign>percussion</sign></clef>", WHOLE, "percussion part"),
        ("<clef><sign>TAB</sign></clef>", WHOLE, "tablature"),
        ("", "<note><unpitched/><duration>16</duration></note>", "percussion part"),
        ("", note("r", 16, "whole"), "only rests"),
    ],
)
def test_parts_that_can_not_be_read_are_refused_by_name(attributes, sound, message):
    data = score(bars(f"<attributes>{attributes}</attributes>{sound}"), names=("Drums",))
    with pytest.raises(FileError, match=f"Drums.*{message}"):
        read(data)


def test_contents_tell_range_clef_notes_and_instrument():
    data = score(bars(FOUR + note("C3", 8, "half") + note("E5", 8, "half")), names=("Viola II",), before=(
        "<work><work-title>Six Studies</work-title></work>"
        "<identification><creator type='composer'>N. N.</creator></identification>"
    ))  # fmt: skip
    contents = list_contents(data, "f")
    part = contents.parts[0]
    assert (contents.title, contents.composer) == ("Six Studies", "N. N.")
    assert (part.clef, part.notes, part.bars, part.instrument) == ("alto", 2, 1, "viola")
    assert part.range == (Pitch("C", 0, 3), Pitch("E", 0, 5))


@pytest.mark.parametrize(
    ("name", "instrument"),
    [
        ("Viola", "viola"), ("Bratsche I", "viola"), ("Viole", "viola"), ("Vla.", "viola"), ("Violin 2", "violin"),
        ("Violino primo", "violin"), ("Violine", "violin"), ("Violon", "violin"), ("Geige", "violin"),
        ("Violoncello", ""), ("Viola da gamba", ""), ("Flute", ""), ("Contrabass", ""), ("Violone", ""),
    ],
)  # fmt: skip
def test_instruments_are_told_by_their_names(name, instrument):
    assert list_contents(score(bars(FOUR + WHOLE), names=(name,)), "f").parts[0].instrument == instrument


NEW_TIME = "<attributes><key><fifths>1</fifths></key><time><beats>4</beats><beat-type>4</beat-type></time></attributes>"
DOUBLE = '<barline location="right"><bar-style>light-light</bar-style></barline>'
FINAL = '<barline location="right"><bar-style>light-heavy</bar-style></barline>'
BACK = '<barline location="right"><bar-style>light-heavy</bar-style><repeat direction="backward"/></barline>'


def headed(*words, attributes=NEW_TIME):
    return attributes + "".join(direction(f"<words>{w}</words>") for w in words)


def movements_of(before, heading):
    """The bars of each movement of a part whose third bar begins with a heading after a barline."""
    whole = note("C4", 16, "whole")
    data = score(bars(FOUR + whole, whole + before, heading + whole, whole))
    return [[b.number for b in m.line.bars] for m in read(data).movements]


@pytest.mark.parametrize(
    ("before", "heading"),
    [
        (DOUBLE, headed("II", "Allegro")),
        (FINAL, headed("II. Romanze", "Poco adagio")),
        (BACK, headed("II", "Allegro")),
        (FINAL, headed("Poco adagio")),
    ],
)
def test_a_movement_numbered_straight_on_begins_at_its_heading(before, heading):
    assert movements_of(before, heading) == [["1", "2"], ["3", "4"]]


@pytest.mark.parametrize(
    ("before", "heading"),
    [
        (DOUBLE, headed("Allegro")),  # a section of its own tempo and key
        (DOUBLE, headed("III", "Allegro")),  # not the next numeral
        (DOUBLE, headed("II", "Allegro", attributes="")),  # no new key or time
        (DOUBLE, headed("II")),  # a string, or a variation, without a tempo
        (BACK, headed("Allegro")),
        (FINAL, headed("Trio", "Allegretto")),
        (direction("<words>Fine</words>") + FINAL, headed("Allegretto")),
        ("", headed("II", "Allegro")),
    ],
)
def test_repeats_trios_and_sections_begin_no_movement(before, heading):
    assert movements_of(before, heading) == [["1", "2", "3", "4"]]


def test_the_headings_over_the_first_part_count_for_all_parts():
    whole = note("C4", 16, "whole")
    upper = bars(FOUR + whole, whole + DOUBLE, headed("II", "Allegro") + whole)
    lower = bars(FOUR + whole, whole + DOUBLE, NEW_TIME + whole)
    data = score(upper, lower, names=("Violin", "Viola"))
    movements = read(data, "Viola").movements
    assert [(m.title, len(m.line.bars), m.line.bars[0].number) for m in movements][1] == ("II. Allegro", 1, "3")
    assert [m.bars for m in list_contents(data, "f").parts[1].movements] == [2, 1]


def test_a_fine_stored_as_a_jump_into_the_next_movement_is_a_fine():
    whole, coda = note("C4", 16, "whole"), direction("<coda/>")
    away = whole + direction("<words></words>", more='<sound tocoda="coda"/>')
    back = direction("<words>D.C.</words>", more='<sound dacapo="yes"/>') + whole
    music = (FOUR + whole, away, back, coda + whole, whole)
    first, second = read_part(score(bars(*music, numbers=("1", "2", "3", "1", "2"))), "a.musicxml", 1).movements
    assert [bar.jump for bar in first.line.bars] == ["", "fine", "dacapo"]
    assert [bar.jump for bar in second.line.bars] == ["", ""]
    # Within one movement the jump to the coda stays.
    (one,) = read_part(score(bars(*music)), "a.musicxml", 1).movements
    assert [bar.jump for bar in one.line.bars] == ["", "tocoda", "dacapo", "coda", ""]
