"""A passage's page: what it shows, renaming, extending, deleting."""

from __future__ import annotations

from datetime import date

import pytest
from django.urls import reverse

from lessons.models import Assignment
from repertoire.bounds import read_bounds
from repertoire.excerpts import passage_line, printed_marks
from repertoire.importing import make_passage
from repertoire.markings import make_marking, marks_of, printed_marking
from repertoire.models import Draft, Marking, Passage
from repertoire.technique.marks import Kind, Mark
from tests.repertoire.music import first_movement
from tests.repertoire.policy import keeps_to_its_owner

FINGERS = (Mark(Kind.FINGER, "b2n1", "1"), Mark(Kind.FINGER, "b3n1", "2"))


@pytest.fixture
def movement(teacher):
    return first_movement(teacher)


@pytest.fixture
def passage(movement, teacher):
    made = make_passage(movement, teacher, read_bounds("2–4", None, 8), title="Second entry")
    printed_marking(made, teacher)
    return made


@pytest.fixture
def fingered(passage, teacher):
    return make_marking(
        passage, teacher, FINGERS, name="First position", origin="own", reason="small hand", source="lesson"
    )


@pytest.mark.parametrize("name", ["passage", "passage_excerpt", "passage_thumb", "passage_edit", "passage_extend"])
def test_a_passage_is_its_teachers(passage, name, client_of, teacher, colleague, stranger):
    keeps_to_its_owner(reverse(name, args=[passage.pk]), client_of, teacher, (colleague, stranger))


def test_nobody_else_deletes_it(passage, client_of, teacher, colleague, stranger):
    keeps_to_its_owner(
        reverse("passage_delete", args=[passage.pk]), client_of, teacher, (colleague, stranger), post=True
    )
    assert Passage.objects.count() == 1


def test_the_page_tells_of_each_marking(passage, fingered, client_of, teacher, student):
    Assignment.objects.create(
        student=student,
        piece=passage.movement.revision.part.piece,
        passage=passage,
        marking=fingered,
        begun=date(2026, 3, 2),
    )
    page = client_of(teacher).get(reverse("passage", args=[passage.pk])).content.decode()
    for words in ("As printed", "First position", "small hand", "lesson", "my own", "Mira", "Bars 2–4"):
        assert words in page
    # The latest marking is shown, with both of its fingers.
    assert page.count("kind-finger") >= 2
    assert f"{reverse('choose_student')}?passage={passage.pk}&amp;marking={fingered.pk}" in page
    assert page.count('type="checkbox" name="marking"') == 2
    assert "can’t be deleted" in page


def test_another_marking_can_be_shown(passage, fingered, client_of, teacher):
    printed = Marking.objects.get(origin="printed")
    url = reverse("passage", args=[passage.pk])
    page = client_of(teacher).get(url, {"marking": printed.pk}).content.decode()
    assert "kind-finger" not in page
    assert page.count("kind-bow") >= 3
    for wrong in ("999999", "x", "1" * 30):
        assert client_of(teacher).get(url, {"marking": wrong}).status_code == 404


def test_a_marking_of_another_passage_is_not_shown(passage, movement, teacher, client_of):
    other = make_passage(movement, teacher, read_bounds("5–6", None, 8))
    foreign = printed_marking(other, teacher)
    url = reverse("passage", args=[passage.pk])
    assert client_of(teacher).get(url, {"marking": foreign.pk}).status_code == 404


def test_the_picture_suits_the_window(passage, client_of, teacher):
    client = client_of(teacher)
    url = reverse("passage_excerpt", args=[passage.pk])
    client.cookies["screen"] = "phone"
    assert 'data-screen="phone"' in client.get(url).content.decode()
    assert 'width="86mm"' in client.get(url).content.decode()
    client.cookies["screen"] = "desktop"
    assert 'width="270mm"' in client.get(url).content.decode()
    client.cookies["screen"] = "<script>"
    assert 'data-screen="desktop"' in client.get(url).content.decode()
    del client.cookies["screen"]
    phone = client.get(url, headers={"User-Agent": "Something Mobile"}).content.decode()
    assert 'data-screen="phone"' in phone


def test_the_small_picture_is_not_sent_twice(passage, client_of, teacher):
    client, url = client_of(teacher), reverse("passage_thumb", args=[passage.pk])
    first = client.get(url)
    assert first["Content-Type"] == "image/svg+xml"
    assert first.content.startswith(b"<svg")
    assert "private" in first["Cache-Control"]
    again = client.get(url, headers={"If-None-Match": first["ETag"]})
    assert (again.status_code, again.content) == (304, b"")
    make_marking(passage, teacher, FINGERS, name="First position", origin="own")
    assert client.get(url, headers={"If-None-Match": first["ETag"]}).status_code == 200


def test_renaming(passage, client_of, teacher):
    url = reverse("passage_edit", args=[passage.pk])
    client_of(teacher).post(url, {"title": "The answer", "purpose": "even crossings"})
    passage.refresh_from_db()
    assert (passage.title, passage.purpose, passage.bars) == ("The answer", "even crossings", "2–4")
    assert client_of(teacher).post(url, {"title": ""}).status_code == 422


def test_the_bars_of_a_new_passage_are_drawn_again_for_another_width(passage, client_of, teacher):
    client = client_of(teacher)
    again = f"{reverse('passage_new', args=[passage.movement_id])}?bars=2%E2%80%934"
    assert f'data-excerpt="{again}"' in client.get(reverse("passage_extend", args=[passage.pk])).content.decode()
    client.cookies["screen"] = "phone"
    drawn = client.get(again, headers={"X-Requested-With": "fetch"}).content.decode()
    assert drawn.lstrip().startswith('<div class="notation excerpt"')
    assert 'data-screen="phone"' in drawn


def test_a_longer_passage_carries_the_markings_along(passage, fingered, client_of, teacher):
    url = reverse("passage_extend", args=[passage.pk])
    answer = client_of(teacher).post(url, {"bars": "1–6", "title": "Whole sentence", "purpose": ""})
    longer = Passage.objects.get(title="Whole sentence")
    assert answer["Location"] == reverse("passage", args=[longer.pk])
    assert (longer.extends, longer.bars) == (passage, "1–6")
    printed, carried = Marking.objects.filter(passage=longer)
    assert printed.origin == "printed"
    assert (carried.origin, carried.name, carried.reason) == ("carried", "First position", "small hand")
    # Inside the old bars its own two fingers and no bows, as it was; outside them what is printed.
    assert [(m.kind, m.at, m.value) for m in marks_of(carried)] == [
        ("bow", "b1n1", "down"),
        ("bow", "b5n1", "down"),
        ("bow", "b6n1", "down"),
        ("finger", "b2n1", "1"),
        ("finger", "b3n1", "2"),
    ]
    passage.refresh_from_db()
    assert passage.bars == "2–4"
    assert marks_of(fingered) == FINGERS


def test_a_shorter_passage_keeps_what_lies_inside(passage, fingered, client_of, teacher):
    client_of(teacher).post(reverse("passage_extend", args=[passage.pk]), {"bars": "3–4", "title": "Close"})
    carried = Marking.objects.get(passage__title="Close", origin="carried")
    assert [(m.kind, m.at, m.value) for m in marks_of(carried)] == [("finger", "b3n1", "2")]


def test_the_same_bars_are_no_new_passage(passage, client_of, teacher):
    answer = client_of(teacher).post(reverse("passage_extend", args=[passage.pk]), {"bars": "2–4", "title": "Again"})
    assert answer.status_code == 422
    assert Passage.objects.count() == 1


def test_overlapping_passages_are_named(passage, movement, teacher, client_of):
    make_passage(movement, teacher, read_bounds("4–6", None, 8), title="Overlap")
    make_passage(movement, teacher, read_bounds("5–6", None, 8), title="Apart")
    page = client_of(teacher).get(reverse("passage", args=[passage.pk])).content.decode()
    assert "Overlap" in page
    assert "Apart" not in page


def test_an_unused_passage_goes_with_its_markings(passage, fingered, client_of, teacher):
    make_marking(passage, teacher, (), name="Later", origin="own", parent=fingered)
    Draft.objects.create(teacher=teacher, passage=passage, parent=fingered, marks={"format": 1, "marks": []})
    client_of(teacher).post(reverse("passage_delete", args=[passage.pk]))
    assert not Passage.objects.exists()
    assert not Marking.objects.exists()
    assert not Draft.objects.exists()


@pytest.mark.parametrize("use", ["assignment", "to try"])
def test_a_passage_in_use_stays_whole(passage, fingered, client_of, teacher, student, use):
    work = Assignment.objects.create(
        student=student,
        piece=passage.movement.revision.part.piece,
        passage=passage if use == "assignment" else None,
        begun=date(2026, 3, 2),
    )
    if use == "to try":
        work.to_try.add(fingered)
    answer = client_of(teacher).post(reverse("passage_delete", args=[passage.pk]), follow=True)
    assert "so it stays" in answer.content.decode()
    assert Passage.objects.count() == 1
    assert Marking.objects.filter(passage=passage).count() == 2


def test_the_page_asks_as_often_for_many_markings(passage, client_of, teacher, django_assert_max_num_queries):
    client, url = client_of(teacher), reverse("passage", args=[passage.pk])
    make_marking(passage, teacher, FINGERS, name="One", origin="own")
    client.get(url)
    with django_assert_max_num_queries(20) as few:
        client.get(url)
    parent = None
    for n in range(12):
        parent = make_marking(passage, teacher, FINGERS[:1], name=f"Version {n}", origin="own", parent=parent)
    client.get(url)
    with django_assert_max_num_queries(20) as many:
        client.get(url)
    assert len(many) == len(few)


def test_a_new_picture_reads_no_part_again(passage, fingered, client_of, teacher, django_assert_max_num_queries):
    client, url = client_of(teacher), reverse("passage", args=[passage.pk])
    client.get(url)
    with django_assert_max_num_queries(20) as queries:
        client.get(url)
    assert not any("repertoire_notation" in query["sql"] for query in queries.captured_queries)


def test_the_cut_keeps_addresses(passage):
    line = passage_line(passage)
    assert [b.number for b in line.bars] == ["2", "3", "4"]
    assert line.events[0].address == "b2n1"
    assert [m.at for m in printed_marks(passage)] == ["b2n1", "b3n1", "b4n1"]
