"""A newer file of a part: what is carried over from the one before, and what is listed instead."""

from __future__ import annotations

import pytest
from django.urls import reverse

from repertoire import importing
from repertoire.bounds import read_bounds
from repertoire.carrying import carry_over, waiting
from repertoire.importing import add_part_without_notation, make_passage
from repertoire.markings import make_marking, marks_of, printed_marking
from repertoire.models import Marking, Movement, Part, Passage, Piece, Revision, Upload
from repertoire.technique.marks import Kind, Mark
from tests.repertoire.music import score, sent, viola_part
from tests.repertoire.policy import is_read_by_its_studio, keeps_to_its_owner


@pytest.fixture
def part(teacher):
    return viola_part(teacher)


@pytest.fixture
def passage(part, teacher):
    movement = Movement.objects.get(revision__part=part, number=1)
    made = make_passage(movement, teacher, read_bounds("2–4", None, 8), title="Second entry")
    printed_marking(made, teacher)
    marks = (Mark(Kind.FINGER, "b2n1", "1"), Mark(Kind.FINGER, "b3n2", "2"), Mark(Kind.SLUR, "b2n2", to="b2n4"))
    make_marking(made, teacher, marks, name="First position", origin="own", reason="small hand")
    return made


def newer() -> bytes:
    """The same part, but bar 3 of the viola now begins with A4 instead of F4 on each beat."""
    head, viola = score().split(b'<part id="P2">')
    third = viola.index(b'<measure number="3">')
    bar, rest = viola[third:].split(b"</measure>", 1)
    return head + b'<part id="P2">' + viola[:third] + bar.replace(b"<step>F", b"<step>A") + b"</measure>" + rest


def replace_file(part, content=None):
    content = content or newer()
    read = importing.read_part(content, "newer.musicxml", 2)
    return importing.add_revision(part, read, content, "newer.musicxml", part_ref="2")


def test_only_the_owner_replaces_a_file(part, client_of, teacher, colleague, stranger):
    url = reverse("part_replace", args=[part.pk])
    keeps_to_its_owner(url, client_of, teacher, (colleague, stranger))
    assert client_of(colleague).post(url).status_code == 404


def test_everybody_carries_her_own_passages_over(part, client_of, teacher, colleague, stranger):
    url = reverse("part_carry", args=[part.pk])
    is_read_by_its_studio(url, client_of, teacher, colleague, stranger)
    assert client_of(stranger).post(url).status_code == 404
    before = Passage.objects.count()
    client_of(colleague).post(url)
    assert Passage.objects.count() == before


def test_only_the_owner_deletes_a_part(
    part, client_of, teacher, colleague, stranger, django_capture_on_commit_callbacks
):
    url = reverse("part_delete", args=[part.pk])
    keeps_to_its_owner(url, client_of, teacher, (colleague, stranger), post=True)
    file = part.revision.file
    with django_capture_on_commit_callbacks(execute=True):
        client_of(teacher).post(url)
    assert not Part.objects.exists()
    assert Piece.objects.count() == 1
    assert not file.storage.exists(file.name)


def test_a_part_with_passages_stays(part, passage, client_of, teacher):
    page = client_of(teacher).post(reverse("part_delete", args=[part.pk]), follow=True).content.decode()
    assert "so it stays" in page
    assert Part.objects.count() == 1


def test_a_newer_file_leaves_the_passages_where_they_are(part, passage):
    old = passage.movement.revision
    new = replace_file(part)
    assert (new.number, part.revision) == (2, new)
    passage.refresh_from_db()
    assert passage.movement.revision == old
    with old.file.open("rb") as file:
        assert file.read() == score()
    assert waiting(part, part.piece.teacher) == [passage]


def test_marks_go_over_note_by_note_and_the_rest_is_listed(part, passage):
    replace_file(part)
    (done,) = carry_over(part, part.piece.teacher)
    assert (done.after.title, done.after.bars, done.after.extends) == ("Second entry", "2–4", passage)
    carried = Marking.objects.get(passage=done.after, origin="carried")
    assert (carried.name, carried.reason) == ("First position", "small hand")
    # Bar 3 has other notes now, so the finger there has no place.
    assert [(m.kind, m.at, m.to) for m in marks_of(carried)] == [("finger", "b2n1", ""), ("slur", "b2n2", "b2n4")]
    assert len(done.left_out) == 1
    assert done.left_out[0].startswith("First position: bar 3, beat 2: ")
    assert waiting(part, part.piece.teacher) == []
    assert Marking.objects.filter(passage=passage).count() == 2


def test_carrying_twice_makes_nothing_twice(part, passage):
    replace_file(part)
    carry_over(part, part.piece.teacher)
    assert carry_over(part, part.piece.teacher) == []
    assert Passage.objects.count() == 2


def test_a_passage_whose_bars_are_gone_is_listed(part, teacher):
    movement = Movement.objects.get(revision__part=part, number=2)
    lost = make_passage(movement, teacher, read_bounds("5–6", None, 6), title="Close")
    one_movement = score().replace(b'<measure number="6">', b'<measure number="16">')
    shorter = one_movement[: one_movement.rindex(b'<measure number="5">')] + b"</part></score-partwise>"
    replace_file(part, shorter)
    (done,) = carry_over(part, part.piece.teacher)
    assert (done.before, done.after) == (lost, None)
    assert done.left_out == ["There is no bar 5 in this movement: its bars run from 1 to 4."]
    assert waiting(part, part.piece.teacher) == [lost]


def test_notation_that_comes_later(teacher):
    part = add_part_without_notation(Piece.objects.create(teacher=teacher, title="Dances"), [8, 6], name="Viola")
    movement = part.revision.movements.get(number=1)
    make_passage(movement, teacher, read_bounds("2–4", None, 8), title="Second entry")
    replace_file(part, score())
    (done,) = carry_over(part, part.piece.teacher)
    assert done.after.has_notation
    assert done.left_out == []
    assert [m.origin for m in Marking.objects.filter(passage=done.after)] == ["printed"]


def test_from_upload_to_carried_passage(part, passage, client_of, teacher, django_capture_on_commit_callbacks):
    client = client_of(teacher)
    chosen = client.post(reverse("part_replace", args=[part.pk]), {"file": sent(newer())})["Location"]
    page = client.get(chosen).content.decode()
    assert "to replace Viola" in page
    assert 'name="title"' not in page
    with django_capture_on_commit_callbacks(execute=True):
        answer = client.post(chosen, {"part": "2"})
    assert answer["Location"] == reverse("part_carry", args=[part.pk])
    assert Revision.objects.count() == 2
    assert not Upload.objects.exists()
    assert "Second entry" in client.get(answer["Location"]).content.decode()
    done = client.post(answer["Location"]).content.decode()
    assert "the same note doesn’t stand there" in done
    assert Piece.objects.count() == 1
    assert "Earlier file 1" in client.get(reverse("piece", args=[part.piece_id])).content.decode()
