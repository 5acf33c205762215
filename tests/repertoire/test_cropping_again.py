"""The picture of a passage cropped once more: its signs keep their places on the print."""

from datetime import UTC, datetime
from pathlib import Path

import pytest
from django.urls import reverse

from repertoire.markings import make_marking, marks_of, printed_marking
from repertoire.models import ExcerptPicture, Marking, Passage, PictureUpload
from repertoire.sharing import share
from repertoire.technique.marks import Kind, Mark
from repertoire.technique.picture_places import Place, in_crop
from studio.models import Student

from .policy import keeps_to_its_owner
from .scans import picture_passage

SIGNS = (
    Mark(Kind.FINGER, "x0.2500y0.2000", "1"),
    Mark(Kind.SLUR, "x0.5000y0.3000", to="x0.7500y0.3000"),
    Mark(Kind.FINGER, "x0.5000y0.9000", "4"),
)
UPPER_HALF = {
    "angle": "0",
    "left": "0",
    "top": "10",
    "right": "100",
    "bottom": "60",
    "bars": "1-4",
    "title": "From print",
}


@pytest.fixture
def passage(teacher):
    passage = picture_passage(teacher)
    printed_marking(passage, teacher)
    make_marking(passage, teacher, SIGNS, name="Marked", origin="edition", reason="clear", source="an old print")
    return passage


def cropped(client, passage, **fields):
    found = client.post(reverse("picture_again", args=[passage.pk]))
    return client.post(found["Location"], UPPER_HALF | fields, follow=True)


@pytest.mark.parametrize(
    ("place", "angle", "edges", "expected"),
    [
        ((0.5, 0.5), 0, (0, 0, 100, 100), (0.5, 0.5)),
        ((0.5, 0.5), 7, (25, 25, 75, 75), (0.5, 0.5)),  # the middle doesn't turn
        ((0.25, 0.2), 0, (0, 10, 100, 60), (0.25, 0.2)),
        ((0.25, 0.9), 0, (0, 10, 100, 60), None),
        ((0.75, 0.5), 90, (0, 0, 100, 100), (0.5, 1.0)),  # a quarter clockwise: what lay right lies below
        ((0.5, 0.25), 90, (0, 0, 100, 100), (0.625, 0.5)),  # what lay above lies right
    ],
)  # fmt: skip
def test_where_a_place_is_in_a_crop(place, angle, edges, expected):
    found = in_crop(Place(*place), (200, 100), angle, *edges)
    assert (found and (round(found.x, 6), round(found.y, 6))) == expected


def test_a_passage_nobody_uses_gives_way_to_its_new_crop(client_of, teacher, passage):
    client = client_of(teacher)
    page = cropped(client, passage)
    now = Passage.objects.get()
    assert page.redirect_chain[-1][0] == reverse("passage", args=[now.pk])
    assert (now.pk == passage.pk, now.title, now.bars, now.picture.height) == (False, "From print", "1–4", 350)
    made = Marking.objects.get(passage=now, name="Marked")
    assert (made.origin, made.reason, made.source) == ("edition", "clear", "an old print")
    assert set(marks_of(made)) == {
        Mark(Kind.FINGER, "x0.2500y0.2000", "1"),
        Mark(Kind.SLUR, "x0.5000y0.4000", to="x0.7500y0.4000"),
    }
    told = [str(message) for message in page.context["messages"]]
    assert told[0] == "“From print” has its picture as you cropped it."
    assert "Outside the new edges" in told[1]
    assert "finger 4" in told[1]
    assert not PictureUpload.objects.exists()
    assert ExcerptPicture.objects.get() == now.picture


def test_a_passage_in_use_stays_beside_its_new_crop(client_of, teacher, passage):
    mira = Student.objects.create(teacher=teacher, first_name="Mira")
    marking = Marking.objects.get(passage=passage, name="Marked")
    share(marking)
    piece = passage.movement.revision.part.piece
    mira.assignments.create(piece=piece, passage=passage, marking=marking, begun="2026-03-01")
    page = cropped(client_of(teacher), passage, title="Upper line")
    told = [str(message) for message in page.context["messages"]]
    assert told[0] == "“Upper line” is made; “From print” is in use or has a draft, so it stays as it was."
    now = Passage.objects.get(title="Upper line")
    assert now.extends == passage
    assert set(marks_of(marking)) == set(SIGNS)
    assert Marking.objects.get(passage=now, name="Marked").shared


def test_versions_keep_their_row_their_dates_and_who_made_them(client_of, teacher, passage):
    spring, summer = datetime(2026, 3, 1, 12, tzinfo=UTC), datetime(2026, 7, 1, 12, tzinfo=UTC)
    start = printed_marking(passage, teacher)
    first = make_marking(passage, teacher, SIGNS[:1], name="First", origin="own", parent=start, created=spring)
    make_marking(
        passage, teacher, SIGNS[:2], name="Second", origin="suggested", parent=first, created=summer,
        rule_version="7", hand_changes="finger 2",
    )  # fmt: skip
    follower = Passage.objects.create(
        teacher=teacher, movement=passage.movement, title="On notes", start_bar=1, end_bar=4, first_number="1",
        last_number="4", extends=passage,
    )  # fmt: skip
    cropped(client_of(teacher), passage)
    now = Passage.objects.get(title="From print")
    told = [
        (m.number, m.name, m.parent.name if m.parent else "", m.created, m.rule_version, m.hand_changes)
        for m in now.markings.select_related("parent")
    ]
    assert told[0] == (1, "As printed", "", start.created, "", "")
    assert told[1][:3] == (2, "Marked", "")
    assert told[2:] == [
        (3, "First", "As printed", spring, "", ""),
        (4, "Second", "First", summer, "7", "finger 2"),
    ]
    follower.refresh_from_db()
    assert (follower.extends, now.extends) == (now, None)


def test_a_crop_that_fails_changes_nothing(client_of, teacher, passage, monkeypatch, settings):
    client = client_of(teacher)
    client.raise_request_exception = False
    found = client.post(reverse("picture_again", args=[passage.pk]))
    files = sorted(path for path in Path(settings.MEDIA_ROOT).rglob("*") if path.is_file())
    monkeypatch.setattr("repertoire.cropping_again.share", lambda _: 1 / 0)
    share(Marking.objects.get(name="Marked"))
    assert client.post(found["Location"], UPPER_HALF).status_code == 500
    assert Passage.objects.get() == passage
    assert PictureUpload.objects.count() == 1
    assert sorted(path for path in Path(settings.MEDIA_ROOT).rglob("*") if path.is_file()) == files


def test_a_passage_put_to_use_in_the_meantime_stays(client_of, teacher, passage, student, monkeypatch):
    """The page saw no use of it; a lesson assigned it while it was being carried."""
    monkeypatch.setattr("repertoire.cropping_again.passage_uses", lambda _: ())
    piece = passage.movement.revision.part.piece
    student.assignments.create(piece=piece, passage=passage, begun="2026-03-01")
    page = cropped(client_of(teacher), passage, title="Upper line")
    assert "stays as it was" in str(next(iter(page.context["messages"])))
    assert {each.title for each in Passage.objects.all()} == {"From print", "Upper line"}
    assert Passage.objects.get(title="Upper line").extends == passage


def test_turning_back_leaves_the_passage_as_it_was(client_of, teacher, passage):
    client = client_of(teacher)
    found = client.post(reverse("picture_again", args=[passage.pk]))
    upload = PictureUpload.objects.get()
    page = client.get(found["Location"]).content.decode()
    assert "Turn a quarter" not in page
    assert 'value="1–4"' in page
    assert client.post(reverse("picture_turn", args=[upload.pk])).status_code == 404
    answer = client.post(reverse("picture_cancel", args=[upload.pk]))
    assert answer["Location"] == reverse("passage", args=[passage.pk])
    assert not PictureUpload.objects.exists()
    assert Passage.objects.get() == passage


def test_only_the_owner_crops_again(client_of, teacher, colleague, stranger, passage):
    url = reverse("picture_again", args=[passage.pk])
    keeps_to_its_owner(url, client_of, teacher, (colleague, stranger), post=True)
