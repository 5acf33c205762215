"""Markings and parts as files: policy, what is in them, where the links stand."""

import pytest

from repertoire.exported_files import file_name
from repertoire.markings import make_marking, printed_marking
from repertoire.models import Part, Passage
from repertoire.notation.musicxml import list_contents, read_part
from repertoire.technique.marks import Kind, Mark
from tests.notation.schema import faults

from .music import viola_part
from .policy import is_read_by_its_studio, keeps_to_its_owner

pytestmark = pytest.mark.django_db


@pytest.fixture
def part(teacher) -> Part:
    return viola_part(teacher, edition="Manuscript", rights="Our own")


@pytest.fixture
def passage(teacher, part) -> Passage:
    movement = part.revision.movements.get(number=1)
    return Passage.objects.create(
        teacher=teacher, movement=movement, title="The turn", start_bar=3, end_bar=5, first_number="3", last_number="5"
    )


@pytest.fixture
def marking(teacher, passage):
    marks = (Mark(Kind.BOW, "b3n1", "up"), Mark(Kind.HOLD, "b4n1", "", "b4n3"))
    return make_marking(passage, teacher, marks, name="Up first", origin="own")


def test_files_are_their_owners(client_of, teacher, colleague, stranger, part, marking):
    for url in (
        f"/repertoire/markings/{marking.pk}/export.mxl",
        f"/repertoire/markings/{marking.pk}/export.musicxml",
    ):
        keeps_to_its_owner(url, client_of, teacher, (colleague, stranger))
    for url in (f"/repertoire/parts/{part.pk}/export.mxl", f"/repertoire/parts/{part.pk}/export.musicxml"):
        is_read_by_its_studio(url, client_of, teacher, colleague, stranger)


@pytest.mark.parametrize("form", ["pdf", "xml", "mxl.exe"])
def test_other_forms_are_not_found(client_of, teacher, part, marking, form):
    client = client_of(teacher)
    assert client.get(f"/repertoire/markings/{marking.pk}/export.{form}").status_code == 404
    assert client.get(f"/repertoire/parts/{part.pk}/export.{form}").status_code == 404


def test_a_marking_is_saved_with_its_bars_marks_and_heading(client_of, teacher, marking):
    found = client_of(teacher).get(f"/repertoire/markings/{marking.pk}/export.musicxml")
    assert found["Content-Type"] == "application/vnd.recordare.musicxml+xml"
    assert found["Content-Disposition"].startswith("attachment;")
    assert "The turn 3-5 Up first.musicxml" in found["Content-Disposition"].replace("%20", " ")
    assert faults(found.content) == []
    read = read_part(found.content, "turn.musicxml", "Viola").movements[0]
    assert [b.number for b in read.line.bars] == ["3", "4", "5"]
    assert read.printed == (Mark(Kind.BOW, "b1n1", "up"), Mark(Kind.HOLD, "b2n1", "", "b2n3"))
    assert b"<source>Manuscript</source>" in found.content
    assert b"<rights>Our own</rights>" in found.content
    assert b"<movement-title>The turn, 3" in found.content


def test_a_part_is_saved_whole_as_printed(client_of, teacher, part):
    found = client_of(teacher).get(f"/repertoire/parts/{part.pk}/export.mxl")
    assert found["Content-Type"] == "application/vnd.recordare.musicxml"
    contents = list_contents(found.content, "part.mxl")
    assert (contents.title, contents.composer) == ("Two short movements", "Ada Fell")
    assert [(m.bars, m.notes) for m in contents.parts[0].movements] == [(8, 32), (6, 24)]
    read = read_part(found.content, "part.mxl", 1)
    assert [len(m.printed) for m in read.movements] == [8, 6]
    assert {(m.kind, m.value) for m in read.movements[0].printed} == {(Kind.BOW, "down")}


def test_a_files_name_is_one_that_every_system_takes():
    assert (
        file_name("Quartet in F, op. 18 no. 1: first/second “Air” 12–19")
        == "Quartet in F, op. 18 no. 1 first second Air 12-19"
    )
    assert file_name("???") == "music"


def test_without_notation_there_is_no_file(client_of, teacher, part, passage):
    bare = Part.objects.create(piece=part.piece, name="Violin", instrument="violin")
    assert client_of(teacher).get(f"/repertoire/parts/{bare.pk}/export.mxl").status_code == 404


def test_the_pages_lead_to_the_files(client_of, teacher, part, passage, marking):
    client = client_of(teacher)
    assert (
        f"/repertoire/markings/{marking.pk}/export.mxl"
        in client.get(f"/repertoire/markings/{marking.pk}").content.decode()
    )
    assert f"/repertoire/parts/{part.pk}/export.mxl" in client.get(f"/repertoire/parts/{part.pk}").content.decode()
    shown = printed_marking(passage, teacher)
    page = client.get(f"/repertoire/passages/{passage.pk}?marking={shown.pk}").content.decode()
    assert f"/repertoire/markings/{shown.pk}/export.mxl" in page
