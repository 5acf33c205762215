"""Music saved from the browser: what is in the files that arrive."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import pytest
from lxml import etree
from playwright.sync_api import expect

from repertoire.bounds import read_bounds
from repertoire.excerpts import movement_notes
from repertoire.importing import make_passage
from repertoire.markings import make_marking
from repertoire.notation.musicxml import read_part
from repertoire.technique.marks import Kind, Mark
from studio.models import Student
from tests.browser.conftest import TABLET
from tests.repertoire.music import first_movement

pytestmark = pytest.mark.django_db(transaction=True)
MARKS = (Mark(Kind.FINGER, "b3n2", "3"), Mark(Kind.BOW, "b4n1", "up"), Mark(Kind.SLUR, "b5n1", to="b5n4"))


@pytest.fixture
def marking(teacher):
    movement = first_movement(teacher)
    passage = make_passage(movement, teacher, read_bounds("3-5", movement_notes(movement)[0]), title="The turn")
    return make_marking(passage, teacher, MARKS, name="Up first", origin="own")


def downloaded(page, link) -> tuple[str, bytes]:
    """The name and the bytes of the file a link saves."""
    with page.expect_download() as saving:
        link.click()
    return saving.value.suggested_filename, Path(saving.value.path()).read_bytes()


def written(data: bytes) -> list[tuple[str, str]]:
    """Number of the bar, and letter with octave, of every note in a MusicXML file."""
    return [
        (bar.get("number"), note.findtext("pitch/step") + note.findtext("pitch/octave"))
        for bar in etree.fromstring(data).iter("measure")
        for note in bar.iter("note")
    ]


def test_a_marked_excerpt_is_saved_and_reads_back(sign_in, teacher, marking, address):
    page = sign_in(teacher, TABLET)
    page.goto(address(f"/repertoire/markings/{marking.pk}"))
    name, plain = downloaded(page, page.get_by_role("link", name="uncompressed"))
    assert name == "The turn 3-5 Up first.musicxml"
    assert written(plain) == [("3", "F4")] * 4 + [("4", "G4")] * 4 + [("5", "A4")] * 4
    name, packed = downloaded(page, page.get_by_role("link", name="MusicXML", exact=True))
    assert name == "The turn 3-5 Up first.mxl"
    with zipfile.ZipFile(io.BytesIO(packed)) as folder:
        assert plain in [folder.read(each) for each in folder.namelist()]
    for data, ending in ((plain, "musicxml"), (packed, "mxl")):
        (read,) = read_part(data, f"turn.{ending}", 1).movements
        bars = {bar.number: bar.index for bar in read.line.bars}
        assert set(read.printed) == {
            Mark(Kind.FINGER, f"b{bars['3']}n2", "3"),
            Mark(Kind.BOW, f"b{bars['4']}n1", "up"),
            Mark(Kind.SLUR, f"b{bars['5']}n1", to=f"b{bars['5']}n4"),
        }


def test_a_students_whole_part_is_saved_with_the_marking_laid_over_it(sign_in, teacher, marking, address):
    part = marking.passage.movement.revision.part
    mira = Student.objects.create(teacher=teacher, first_name="Mira")
    mira.assignments.create(piece=part.piece, passage=marking.passage, marking=marking, begun="2026-03-01")
    page = sign_in(teacher, TABLET)
    page.goto(address(f"/students/{mira.pk}/parts/{part.pk}"))
    expect(page.get_by_role("heading", name="Two short movements: Viola")).to_be_visible()
    name, packed = downloaded(page, page.get_by_role("link", name="MusicXML", exact=True))
    assert name == "Two short movements Viola marked.mxl"
    read = read_part(packed, name, 1)
    assert [len(m.line.bars) for m in read.movements] == [8, 6]
    assert [len(m.line.notes) for m in read.movements] == [32, 24]
    first = set(read.movements[0].printed)
    assert set(MARKS) <= first
    # Outside the passage the print stands; inside it the marking alone.
    assert Mark(Kind.BOW, "b2n1", "down") in first
    assert Mark(Kind.BOW, "b3n1", "down") not in first
    page.goto(address(f"/repertoire/parts/{part.pk}"))
    name, plain = downloaded(page, page.get_by_role("link", name="uncompressed"))
    assert len(written(plain)) == 56
