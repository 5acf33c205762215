"""Writing MusicXML: each kind of mark, whole parts, excerpts, and what stands in the head."""

import io
import zipfile
from dataclasses import replace
from fractions import Fraction as F

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from repertoire.notation.cutting import cut, marks_in
from repertoire.notation.exporting import Heading, pack, write_musicxml
from repertoire.notation.look import AMERICAN_WORDS
from repertoire.notation.musicxml import list_contents, read_part
from repertoire.notation.signs import SIGNS
from repertoire.technique.line import Clef, TempoMark, Value
from repertoire.technique.marks import MAY_SPAN, SPANS, Kind, Mark, changes
from tests.technique.lines import line, marks

from .many_marks import VALUES, every_sort, strewn
from .schema import faults

HEAD = Heading(title="A Study", composer="N. N.", part="Viola", instrument="viola")
TUNE = line(
    "4/4", "alto",
    "C4 q~ C4 e D4 e E4 g F4 h & C3 h r h | C4+E4+G4 q A4 e3 B4 e3 C5 e3 r q D4 s E4 s F4 e "
    "| |: G4 h A4 h:3 :| [1 B4 w :| [2 C5 h. r q",
    key=2,
)  # fmt: skip


def back(music, chosen=(), **more):
    """The one movement that an exported line is read back as."""
    data = write_musicxml([(music, tuple(chosen))], replace(HEAD, **more)).data
    assert faults(data) == []
    read = read_part(data, "out.musicxml", 1)
    assert [left.what for left in read.left_out] == []
    return read.movements[0]


def root(music, *chosen, heading=HEAD):
    return etree.fromstring(write_musicxml([(music, chosen)], heading).data)


def bare(event):
    return replace(event, accidentals=())


def test_notes_bars_and_voices_come_back():
    read = back(TUNE).line
    assert [bare(e) for e in read.events] == [bare(e) for e in TUNE.events]
    assert [(b.number, b.length, b.key, b.repeat_start, b.repeat_end, b.ending) for b in read.bars] == [
        ("1", F(4), 2, False, 0, ()),
        ("2", F(4), 2, False, 0, ()),
        ("3", F(4), 2, True, 2, ()),
        ("4", F(4), 2, False, 2, (1,)),
        ("5", F(4), 2, False, 0, (2,)),
    ]


def test_upbeats_clefs_tempos_letters_and_jumps_come_back():
    music = line("3/4", "alto", "D4 q | E4 q F4 q G4 q | A4 h.")
    first, second, third = music.bars
    music = replace(
        music,
        bars=(
            replace(first, tempos=(TempoMark(F(0), "Andante", Value("quarter", 1), F(72)),), jump="segno"),
            replace(second, clefs=(Clef("alto"), Clef("treble", F(1))), rehearsal="B"),
            replace(third, clefs=(Clef("treble"),), tempos=(TempoMark(F(0), "Gently rocking"),), jump="dalsegno"),
        ),
    )
    assert back(music).line.bars == music.bars
    assert [b.missing for b in back(music).line.bars] == [F(2), F(0), F(0)]


@pytest.mark.parametrize(("kind", "value", "options"), every_sort())
def test_each_kind_of_mark_comes_back_with_its_value_and_options(kind, value, options):
    places = {"b1n1", "b1n4", "b2n1", "b2n7"}
    spanning = {("b1n3", "b2n2"), ("b2n2", "b3n1"), ("b2n1", "b2n4")}
    spans = [Mark(kind, at, value, to, options) for at, to in spanning] if _may(kind, to=True) else []
    single = [Mark(kind, at, value, "", options) for at in places] if _may(kind, to=False) else []
    assert spans or single
    for mark in spans + single:
        assert back(TUNE, [mark]).printed == (mark,)


def _may(kind, *, to):
    return kind in MAY_SPAN if to else kind not in SPANS


@pytest.mark.parametrize("text", ["b2n1p1", "b2n1p3", "b2n1"])
@pytest.mark.parametrize("kind", [Kind.FINGER, Kind.STRING, Kind.EXTENSION, Kind.HARMONIC])
def test_the_note_of_a_chord_that_a_mark_stands_on_comes_back(kind, text):
    values = {Kind.FINGER: "2", Kind.STRING: "III", Kind.EXTENSION: "back", Kind.HARMONIC: "natural"}
    mark = Mark(kind, text, values[kind])
    assert back(TUNE, [mark]).printed == (mark,)


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 10_000))
def test_any_set_of_marks_comes_back(seed):
    chosen = strewn(TUNE, seed, each=3)
    assert changes(chosen, back(TUNE, chosen).printed) == ()


# The element of the standard that carries a mark, as MusicXML 4.0's reference names it. [P: W3C, MusicXML 4.0]
CARRIED = [
    ("down b1n1", "note/notations/technical/down-bow"),
    ("up b1n1", "note/notations/technical/up-bow"),
    ("finger3 b1n1", "note/notations/technical/fingering"),
    ("staccato b1n1", "note/notations/articulations/staccato"),
    ("marcato b1n1", "note/notations/articulations/strong-accent"),
    ("breath b1n1", "note/notations/articulations/breath-mark"),
    ("fermata b1n1", "note/notations/fermata"),
    ("slur b1n1 b1n3", "note/notations/slur"),
    ("hooked b1n1 b1n3", "note/notations/slur"),
    ("hooked b1n1 b1n3", "note/notations/articulations/staccato"),
    ("portato b1n1 b1n3", "note/notations/articulations/tenuto"),
    ("crescendo b1n1 b1n3", "direction/direction-type/wedge"),
    ("mf b1n1", "direction/direction-type/dynamics/mf"),
    ("phrase b1n1 b1n3", "direction/direction-type/bracket"),
]


@pytest.mark.parametrize(("text", "path"), CARRIED)
def test_marks_are_carried_by_the_elements_of_the_standard(text, path):
    assert root(TUNE, *marks(text)).find(f"part/measure/{path}") is not None


@pytest.mark.parametrize("kind", Kind)
def test_the_table_of_signs_names_the_element_that_shows_a_mark(kind):
    values = {Kind.FINGER: "2", Kind.AMOUNT: "1/2", Kind.TEXT: "dolce"}
    value = values.get(kind, VALUES.get(kind, ("",))[0])
    mark = Mark(kind, "b1n1", value, "b1n3" if kind in SPANS else "")
    holder, *rest = SIGNS[kind].exported.split("|")[0].split("/")
    path = ["direction", "direction-type", *rest] if holder == "direction" else ["note", holder, *rest]
    assert root(TUNE, mark).find("part/measure/" + "/".join(path)) is not None


@pytest.mark.parametrize(
    ("mark", "seen"),
    [
        (Mark(Kind.AMOUNT, "b1n1", "1/2"), "½ bow"),
        (Mark(Kind.PART, "b1n1", "frog"), "heel"),
        (Mark(Kind.RETAKE, "b1n4"), "retake"),
        (Mark(Kind.VIBRATO, "b1n1", "none"), "senza vib."),
        (Mark(Kind.HIGH_POINT, "b1n1"), "high point"),
        (Mark(Kind.EXTENSION, "b1n1", "forward"), "ext."),
        (Mark(Kind.PIZZICATO, "b1n1", "pizz"), "pizz."),
        (Mark(Kind.STRING, "b2n1", "II", "b2n4"), "sul D"),
    ],
)
def test_what_musicxml_has_no_sign_for_goes_into_words(mark, seen):
    assert [w.text for w in root(TUNE, mark).iter("words")] == [seen]


def test_words_follow_the_studio_and_a_kept_finger_is_named():
    data = write_musicxml([(TUNE, marks("frog b1n1"))], HEAD, words=AMERICAN_WORDS).data
    assert [w.text for w in etree.fromstring(data).iter("words")] == ["frog"]
    hold = (Mark(Kind.FINGER, "b1n1", "2"), Mark(Kind.HOLD, "b1n1", "", "b1n3"))
    assert [w.text for w in root(TUNE, *hold).iter("words")] == ["keep 2 down"]


def test_the_head_names_title_composer_edition_and_rights():
    heading = replace(HEAD, movement="Opening, bars 1–5", edition="Manuscript", rights="Public domain")
    found = root(TUNE, heading=heading)
    part = "part-list/score-part"
    said = {
        "work/work-title": "A Study",
        "movement-title": "Opening, bars 1–5",
        "identification/creator[@type='composer']": "N. N.",
        "identification/rights": "Public domain",
        "identification/source": "Manuscript",
        f"{part}/part-name": "Viola",
        f"{part}/score-instrument/instrument-sound": "strings.viola",
    }
    assert {path: found.findtext(path) for path in said} == said


def test_a_part_of_several_movements_stays_one_part():
    first = replace(line("3/4", "alto", "C4 h. | D4 h. | E4 h."), title="I. Prelude")
    second = replace(line("2/4", "alto", "E4 q F4 q | G4 h"), title="Evening song")
    chosen = tuple(sorted(marks("slur b1n1 b2n1", "down b3n1"))), marks("up b1n1")
    data = write_musicxml([(first, chosen[0]), (second, chosen[1])], HEAD).data
    assert faults(data) == []
    read = read_part(data, "out.musicxml", 1)
    assert [(m.title, m.printed) for m in read.movements] == [("I. Prelude", chosen[0]), ("Evening song", chosen[1])]
    assert [m.title for m in list_contents(data, "out.musicxml").parts[0].movements] == ["I. Prelude", "Evening song"]


def test_a_compressed_file_holds_the_score_and_reads_the_same():
    data = write_musicxml([(TUNE, marks("down b1n1"))], HEAD).data
    packed = pack(data)
    with zipfile.ZipFile(io.BytesIO(packed)) as archive:
        assert archive.namelist() == ["mimetype", "META-INF/container.xml", "score.musicxml"]
        assert archive.read("score.musicxml") == data
    assert read_part(packed, "out.mxl", 1).movements[0].printed == marks("down b1n1")


def test_the_same_music_gives_the_same_bytes():
    one, two = (write_musicxml([(TUNE, strewn(TUNE, 5))], HEAD).data for _ in range(2))
    assert one == two
    assert pack(one) == pack(two)


def test_an_excerpt_ends_its_spans_at_its_edges_and_says_so():
    whole = marks("slur b1n3 b2n2", "crescendo b2n6 b3n2", "phrase b2n8 b3n2", "down b2n1")
    piece = cut(TUNE, 2, None, 2, None)
    exported = write_musicxml([(piece, marks_in(whole, piece))], HEAD)
    assert exported.omitted == (
        "bar 2, beat 1: the slur mark from before starts here.",
        "bar 2, beat 4½: the hairpin mark that goes on ends here.",
        "bar 2, beat 4½: the phrase mark that leads out of the excerpt.",
    )
    read = read_part(exported.data, "out.musicxml", 1).movements[0]
    assert [b.number for b in read.line.bars] == ["2"]
    assert Mark(Kind.SLUR, "b1n1", "", "b1n2") in read.printed


def test_a_tie_that_leads_out_of_an_excerpt_is_left_off():
    music = line("4/4", "alto", "C4 w~ | C4 h D4 h~ | D4 w")
    exported = write_musicxml([(cut(music, 2, None, 2, None), ())], HEAD)
    assert exported.omitted == ("bar 2, beat 1: the tie from before.", "bar 2, beat 3: the tie to what follows.")
    assert [left.what for left in read_part(exported.data, "out.musicxml", 1).left_out] == []


def test_characters_that_xml_cannot_hold_are_left_off():
    heading = replace(HEAD, title="Bell\x07 & <Song>\ud800")
    assert root(TUNE, heading=heading).findtext("work/work-title") == "Bell & <Song>"
