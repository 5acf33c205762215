"""What must never change doesn't, even past the models: the database refuses."""

import pytest
from django.core.files.base import ContentFile
from django.db import DatabaseError, connection, transaction

from repertoire.models import Marking, Movement, Notation, Part, Passage, Piece, Revision

NO_MARKS = {"format": 1, "marks": []}


@pytest.fixture
def movement(teacher):
    piece = Piece.objects.create(teacher=teacher, title="Study in thirds")
    part = Part.objects.create(piece=piece, name="Viola")
    revision = Revision(part=part, number=1, source="musicxml", sha256="a" * 64)
    revision.file.save("study.musicxml", ContentFile(b"<score-partwise/>"), save=False)
    revision.save()
    return Movement.objects.create(revision=revision, bar_count=8, line={"format": 1}, printed=NO_MARKS)


def passage_of(movement, title="Opening"):
    return Passage.objects.create(
        teacher=movement.revision.part.piece.teacher,
        movement=movement,
        title=title,
        start_bar=1,
        end_bar=4,
        first_number="1",
        last_number="4",
    )


def marking_of(passage, number=1, **fields):
    return Marking.objects.create(
        passage=passage,
        teacher=passage.teacher,
        number=number,
        name=f"Version {number}",
        marks=NO_MARKS,
        bow_digest="b",
        left_hand_digest="l",
        words_digest="w",
        **fields,
    )


def refused(words, change):
    with pytest.raises(DatabaseError, match=words), transaction.atomic():
        change()


@pytest.mark.parametrize("field, value", [("name", "Other"), ("reason", "why not"), ("marks", {}), ("number", 7)])
def test_a_marking_never_changes(movement, field, value):
    marking = marking_of(passage_of(movement))
    refused("A marking never changes", lambda: Marking.objects.filter(pk=marking.pk).update(**{field: value}))
    setattr(marking, field, value)
    refused("A marking never changes", marking.save)
    marking.refresh_from_db()
    assert marking.name == "Version 1"
    assert marking.reason == ""
    assert marking.marks == NO_MARKS
    assert marking.number == 1


def test_not_by_plain_sql_either(movement):
    marking = marking_of(passage_of(movement))

    def change():
        with connection.cursor() as cursor:
            cursor.execute("UPDATE repertoire_marking SET marks = '{}' WHERE id = %s", [marking.pk])

    refused("A marking never changes", change)


def test_a_parent_is_of_the_same_passage(movement):
    first, second = passage_of(movement), passage_of(movement, "Close")
    parent = marking_of(first)
    child = marking_of(first, 2, parent=parent)
    assert child.parent == parent
    refused("parent is a marking of the same passage", lambda: marking_of(second, parent=parent))
    # Carried over to another passage of the same teacher, it may say where from.
    assert marking_of(second, origin="carried", parent=parent).parent == parent


def test_a_parent_is_the_same_teachers(movement, colleague):
    parent = marking_of(passage_of(movement))
    other = Piece.objects.create(teacher=colleague, title="Study in sixths")
    revision = Revision.objects.create(part=Part.objects.create(piece=other, name="Violin"), number=1, source="none")
    foreign = passage_of(Movement.objects.create(revision=revision, bar_count=8))
    refused("parent is a marking", lambda: marking_of(foreign, origin="carried", parent=parent))


@pytest.mark.parametrize(
    "field, value",
    [("start_bar", 2), ("end_bar", 5), ("start_beat", "2"), ("end_beat", "3"), ("first_number", "9")],
)
def test_the_bounds_of_a_passage_never_change(movement, field, value):
    passage = passage_of(movement)
    setattr(passage, field, value)
    refused("The bounds of a passage never change", passage.save)


def test_a_passage_can_be_renamed(movement):
    passage = passage_of(movement)
    passage.title, passage.purpose = "Bars before the double bar", "clean crossings"
    passage.save()
    passage.refresh_from_db()
    assert passage.title == "Bars before the double bar"


def test_a_passage_runs_forward(movement):
    refused(
        "passage_runs_forward",
        lambda: Passage.objects.create(
            teacher=movement.revision.part.piece.teacher,
            movement=movement,
            title="Backwards",
            start_bar=4,
            end_bar=3,
            first_number="4",
            last_number="3",
        ),
    )


@pytest.mark.parametrize("field, value", [("file", "parts/other.xml"), ("sha256", "c" * 64), ("part_ref", "P9")])
def test_the_file_of_a_revision_never_changes(movement, field, value):
    revision = movement.revision
    refused("The file of a revision never changes", lambda: Revision.objects.update(**{field: value}))
    with revision.file.open("rb") as file:
        assert file.read() == b"<score-partwise/>"


def test_the_notes_of_a_movement_never_change(movement):
    refused("The notes of a movement never change", lambda: Notation.objects.update(line={}))
    movement.title = "Allegro"
    movement.save()
    assert Movement.objects.get(pk=movement.pk).line == {"format": 1}


def test_a_movement_without_notes_has_none(teacher):
    piece = Piece.objects.create(teacher=teacher, title="From the book")
    revision = Revision.objects.create(part=Part.objects.create(piece=piece, name="Viola"), number=1, source="none")
    movement = Movement.objects.get(pk=Movement.objects.create(revision=revision, bar_count=40).pk)
    assert (movement.notated, movement.line, movement.printed) == (False, None, None)


def test_a_list_of_movements_reads_no_notes(movement, django_assert_num_queries):
    with django_assert_num_queries(1):
        assert [m.notated for m in Movement.objects.all()] == [True]
    with django_assert_num_queries(1):
        assert Movement.objects.select_related("notation").get().line == {"format": 1}
