"""A line as MusicXML and MEI: notes, ids, bars and accidentals as they stand in the line."""

from dataclasses import replace
from fractions import Fraction

from lxml import etree
from music21 import converter

from repertoire.notation.cutting import cut
from repertoire.notation.excerpt import (
    MEI,
    XML_ID,
    forget,
    line_digest,
    plain_mei,
    plain_musicxml,
    remember,
)
from repertoire.technique.line import Clef, Line, TempoMark, Value
from tests.technique.lines import line


def notes_of(mei: bytes) -> list[str]:
    return [e.get(XML_ID) for e in etree.fromstring(mei).iter(MEI + "note", MEI + "rest", MEI + "mRest")]


def accidentals(mei: bytes) -> dict[str, str]:
    root = etree.fromstring(mei)
    return {n.get(XML_ID): a.get("accid") for n in root.iter(MEI + "note") for a in n.iter(MEI + "accid")}


def test_every_note_keeps_its_address() -> None:
    music = line("4/4", "alto", "C4 q D4+A4 q r q E4 e F4 e | G4 g A4 h B4 h")
    assert notes_of(plain_mei(music)) == [
        "b1n1", "b1n2p1", "b1n2p2", "b1n3", "b1n4", "b1n5", "b2n1", "b2n2", "b2n3",
    ]  # fmt: skip
    root = etree.fromstring(plain_mei(music))
    assert [c.get(XML_ID) for c in root.iter(MEI + "chord")] == ["b1n2"]


def test_musicxml_reads_back_with_the_same_notes() -> None:
    music = line("3/4", "alto", "C4 q. D4 e E4 q | F4 e3 G4 e3 A4 e3 B4 h", key=1)
    score = converter.parseData(plain_musicxml(music), format="musicxml")
    found = [(n.nameWithOctave, Fraction(n.quarterLength)) for n in score.recurse().notes]
    assert found == [
        ("C4", Fraction(3, 2)), ("D4", Fraction(1, 2)), ("E4", Fraction(1)),
        ("F4", Fraction(1, 3)), ("G4", Fraction(1, 3)), ("A4", Fraction(1, 3)), ("B4", Fraction(2)),
    ]  # fmt: skip


def test_accidentals_follow_key_and_bar() -> None:
    # One sharp: F sharp needs none, F natural one; the second F sharp of the bar needs it back [C]
    music = line("4/4", "alto", "F#4 q F4 q F4 q F#4 q | F4 h G4 h", key=1)
    assert accidentals(plain_mei(music)) == {"b1n2": "n", "b1n4": "s", "b2n1": "n"}


def stated(music: Line, **signs: str) -> Line:
    """The line with accidentals printed on single notes."""
    return music.with_events(
        tuple(replace(e, accidentals=(signs[e.address],)) if e.address in signs else e for e in music.events)
    )


def test_an_accidental_tied_over_the_bar_line_is_repeated_only_where_the_source_repeats_it() -> None:
    music = line("2/4", "alto", "r q F#4 q~ | F#4 q F#4 q")
    assert accidentals(plain_mei(stated(music, b1n2="sharp"))) == {"b1n2": "s"}
    assert accidentals(plain_mei(stated(music, b1n2="sharp", b2n1="sharp"))) == {"b1n2": "s", "b2n1": "s"}
    assert accidentals(plain_mei(stated(music, b1n2="sharp", b2n2="sharp"))) == {"b1n2": "s", "b2n2": "s"}


def test_what_the_source_forgets_is_added() -> None:
    music = line("2/4", "alto", "F#4 q F4 q | Bb4 q B4 q")
    assert accidentals(plain_mei(stated(music, b1n1="sharp"))) == {"b1n1": "s", "b1n2": "n", "b2n1": "f", "b2n2": "n"}


def test_a_note_tied_from_before_the_passage_says_what_it_is() -> None:
    music = line("2/4", "alto", "r q F#4 q~ | F#4 q F#4 q")
    for whole in (music, stated(music, b1n2="sharp")):
        root = etree.fromstring(plain_mei(cut(whole, 2, None, 2, None)))
        first = next(n for n in root.iter(MEI + "note") if n.get(XML_ID) == "b2n1")
        assert [(a.get("accid"), a.get("enclose")) for a in first.iter(MEI + "accid")] == [("s", "paren")]


def test_strokes_through_a_stem_and_between_two_notes_are_as_many_as_written() -> None:
    music = line("4/4", "alto", "C4 h:1 D4 h:2 | C4 h:3 E4 h")
    pair = {"b2n1": "start", "b2n2": "stop"}
    music = music.with_events(
        tuple(replace(e, tremolo=2, tremolo_pair=pair[e.address]) if e.address in pair else e for e in music.events)
    )
    root = etree.fromstring(plain_mei(music))
    assert [n.get("stem.mod") for n in root.iter(MEI + "note") if n.get("stem.mod")] == ["1slash", "2slash"]
    assert [t.get("beams") for t in root.iter(MEI + "fTrem")] == ["2"]


def test_no_accidental_on_a_note_tied_over_the_bar_line() -> None:
    music = line("4/4", "alto", "C#4 w~ | C#4 h C#4 h")
    assert accidentals(plain_mei(music)) == {"b1n1": "s", "b2n2": "s"}


def test_two_voices_stand_in_two_layers() -> None:
    music = line("4/4", "alto", "C4 h D4 h & A3 w")
    root = etree.fromstring(plain_mei(music))
    layers = [[n.get(XML_ID) for n in layer.iter(MEI + "note")] for layer in root.iter(MEI + "layer")]
    assert layers == [["b1n1", "b1n3"], ["b1n2"]]


def test_a_clef_may_change_within_a_bar() -> None:
    music = line("4/4", "alto", "C4 h C5 h")
    bar = replace(music.bars[0], clefs=(Clef("alto"), Clef("treble", Fraction(2))))
    root = etree.fromstring(plain_mei(Line((bar,), music.events)))
    shapes = [(c.get("shape"), c.get("line")) for c in root.iter(MEI + "clef")]
    assert shapes == [("C", "3"), ("G", "2")]


def test_ties_are_open_at_the_edges_of_a_cut() -> None:
    music = line("4/4", "alto", "C4 w~ | C4 w~ | C4 w")
    root = etree.fromstring(plain_mei(cut(music, 2, None, 2, None)))
    ties = [(t.get("tstamp"), t.get("startid"), t.get("endid"), t.get("tstamp2")) for t in root.iter(MEI + "tie")]
    assert ties == [("0", None, "#b2n1", None), (None, "#b2n1", None, "0m+5")]


def test_repeats_endings_and_numbers_survive() -> None:
    music = line("2/4", "alto", "C4 h |: D4 h | [1 E4 h :| [2 F4 h")
    numbered = tuple(replace(b, number=str(b.index + 10)) for b in music.bars)
    root = etree.fromstring(plain_mei(Line(numbered, music.events)))
    measures = list(root.iter(MEI + "measure"))
    assert [m.get("n") for m in measures] == ["11", "12", "13", "14"]
    assert [m.get("left") for m in measures][1] == "rptstart"
    assert [m.get("right") for m in measures][2] == "rptend"
    assert [e.get("n") for e in root.iter(MEI + "ending")] == ["1", "2"]


def test_tempo_and_rehearsal_stand_above() -> None:
    music = line("4/4", "alto", "C4 w")
    mark = TempoMark(Fraction(0), "Andante", Value("quarter", 1), Fraction(60))
    bar = replace(music.bars[0], rehearsal="B", tempos=(mark,), jump="fine")
    root = etree.fromstring(plain_mei(Line((bar,), music.events)))
    tempo = root.find(f".//{MEI}tempo")
    assert "".join(tempo.itertext()) == "Andante  \ueca5\uecb7 = 60"
    assert tempo.get("place") == "above"
    assert "".join(root.find(f".//{MEI}reh").itertext()) == "B"
    assert "".join(root.find(f".//{MEI}dir").itertext()) == "Fine"


def test_mei_is_kept_and_can_be_given_back() -> None:
    music = line("4/4", "alto", "C4 w")
    other = line("4/4", "alto", "D4 w")
    assert line_digest(music) != line_digest(other)
    assert line_digest(music) == line_digest(line("4/4", "alto", "C4 w"))
    forget()
    remember(line_digest(music), b"<kept/>")
    assert plain_mei(music) == b"<kept/>"
    forget()
    assert plain_mei(music).startswith(b"<mei ")
