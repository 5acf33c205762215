"""Pictures as excerpts: sent, cropped, kept, marked, compared, giving way to notation; who may see them."""

import json

import pytest
from django.core.files.storage import default_storage
from django.db import IntegrityError, connection, transaction
from django.urls import reverse

from repertoire.carrying import waiting
from repertoire.importing import add_revision
from repertoire.markings import MarkingError, differences, make_marking, marks_of, printed_marking
from repertoire.models import Draft, ExcerptPicture, Marking, Passage, PictureUpload
from repertoire.notation.musicxml import read_part
from repertoire.pictures import MOST_HEIGHT_MM, keep_upload, printed, show_page, turn
from repertoire.technique.marks import Kind, Mark, load
from repertoire.technique.picture_marks import Paper
from repertoire.views.pictures import facts
from tests.repertoire.music import first_movement, score
from tests.repertoire.policy import is_read_by_its_studio, keeps_to_its_owner
from tests.repertoire.scans import bare_movement, bomb, pdf, picture_passage, png, sent

pytestmark = pytest.mark.django_db
EDGES = {"angle": "0", "left": "0", "top": "20", "right": "100", "bottom": "50"}


@pytest.fixture
def client(client_of, teacher):
    return client_of(teacher)


@pytest.fixture
def passage(teacher):
    return picture_passage(teacher)


def stored():
    """The picture files in the uploads folder."""
    return default_storage.listdir("pictures")[1] if default_storage.exists("pictures") else []


def change(client, passage, *, script=True, **fields):
    draft = Draft.objects.filter(passage=passage).first()
    state = f"{draft.pk}.{draft.revision}" if draft else "0"
    headers = {"X-Requested-With": "fetch"} if script else {}
    return client.post(reverse("picture_change", args=[passage.pk]), {"state": state, **fields}, headers=headers)


def drafted(passage):
    return set(load(Draft.objects.get(passage=passage).marks))


# --- sending and cropping


def test_from_a_file_to_a_passage(client, teacher):
    movement = bare_movement(teacher)
    answer = client.post(reverse("picture_new", args=[movement.pk]) + "?bars=3-6", {"file": sent()})
    upload = PictureUpload.objects.get()
    assert answer["Location"] == reverse("picture_crop", args=[upload.pk]) + "?bars=3-6"
    page = client.get(answer["Location"]).content.decode()
    assert 'value="3-6"' in page
    assert "A printed edition is usually protected" in page
    answer = client.post(
        reverse("picture_crop", args=[upload.pk]),
        {**EDGES, "bars": "3-6", "title": "The turn", "purpose": "", "rights": "bought, for lessons"},
    )
    passage = Passage.objects.get()
    assert answer["Location"] == reverse("passage", args=[passage.pk])
    assert (passage.start_bar, passage.end_bar, passage.bars) == (3, 6, "3–6")
    assert (passage.has_picture, passage.has_notation, passage.has_excerpt) == (True, False, True)
    # From 20 to 50 % of 700 pixels: the upper stave, its lines 60 px below the cut.
    assert (passage.picture.width, passage.picture.height, passage.picture.staves) == (1600, 210, [[60.0, 140.0]])
    assert passage.movement.revision.part.rights == "bought, for lessons"
    assert [m.name for m in passage.markings.all()] == ["As printed"]
    assert not PictureUpload.objects.exists()


def test_only_the_cropped_picture_stays_under_a_name_that_tells_nothing(teacher, django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        passage = picture_passage(teacher)
    (name,) = stored()
    assert passage.picture.image.name == f"pictures/{name}"
    assert name.endswith(".png")
    assert len(name) > 30
    assert "page" not in name


@pytest.mark.parametrize(
    "content, name, words",
    [
        (b"<html><script>alert(1)</script>", "page.png", "a web page"),
        (png()[:500], "page.png", "damaged"),
        (bomb(), "page.png", "than can be read"),
        (b"", "page.png", "empty"),
        (pdf(password="x"), "page.pdf", "password"),
    ],
)
def test_a_hostile_file_is_refused_and_nothing_is_kept(client, teacher, content, name, words):
    movement = bare_movement(teacher)
    answer = client.post(reverse("picture_new", args=[movement.pk]), {"file": sent(content, name)})
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not PictureUpload.objects.exists()
    assert stored() == []


def test_what_is_wrong_with_the_cut_is_said_and_the_input_kept(client, teacher):
    movement = bare_movement(teacher)
    upload = keep_upload(movement, teacher, png(), "page.png")
    url = reverse("picture_crop", args=[upload.pk])
    for wrong, words in [
        ({"left": "70", "right": "30"}, "left of the right one"),
        ({"bars": "40-44"}, "40"),
        ({"angle": "90"}, "15"),
        ({"bottom": "21"}, "too few to read"),
        ({"left": "nan"}, "number"),
    ]:
        answer = client.post(url, {**EDGES, "bars": "1-4", "title": "Kept as typed", **wrong})
        assert answer.status_code == 422, wrong
        assert words in answer.content.decode(), wrong
        assert "Kept as typed" in answer.content.decode()
    assert not Passage.objects.exists()


def test_the_cut_can_be_seen_before_it_is_made(client, teacher):
    upload = keep_upload(bare_movement(teacher), teacher, png(), "page.png")
    page = client.get(reverse("picture_crop", args=[upload.pk]), EDGES).content.decode()
    assert "As it will be cut" in page
    image = reverse("picture_upload_image", args=[upload.pk])
    assert client.get(image, EDGES)["Content-Type"] == "image/png"
    assert client.get(image, {**EDGES, "left": "x"}).status_code == 404


def test_turning_and_choosing_another_page(client, teacher):
    upload = keep_upload(bare_movement(teacher), teacher, pdf(pages=2), "two.pdf")
    assert (upload.page, upload.pages) == (1, 2)
    assert show_page(upload, 2).page == 2
    wide, tall = upload.width, upload.height
    assert (turn(upload, 1).width, upload.height) == (tall, wide)
    client.post(reverse("picture_turn", args=[upload.pk]), {"way": "left"})
    upload.refresh_from_db()
    assert (upload.width, upload.height) == (wide, tall)
    client.post(reverse("picture_page", args=[upload.pk]), {"page": "9"})
    upload.refresh_from_db()
    assert upload.page == 2
    client.post(reverse("picture_page", args=[upload.pk]), {"page": "1"})
    upload.refresh_from_db()
    assert upload.page == 1


def test_turning_back_leaves_nothing(client, teacher, django_capture_on_commit_callbacks):
    upload = keep_upload(bare_movement(teacher), teacher, pdf(), "one.pdf")
    assert len(stored()) == 2
    with django_capture_on_commit_callbacks(execute=True):
        client.post(reverse("picture_cancel", args=[upload.pk]))
    assert not PictureUpload.objects.exists()
    assert stored() == []


# --- who may see them


def test_pages_keep_to_their_owner(client_of, teacher, colleague, stranger, passage):
    others = (colleague, stranger)
    upload = keep_upload(passage.movement, teacher, pdf(), "one.pdf")
    for name, args in [
        ("picture_crop", [upload.pk]),
        ("picture_upload_image", [upload.pk]),
        ("passage", [passage.pk]),
        ("passage_picture", [passage.pk]),
        ("passage_thumb", [passage.pk]),
        ("passage_excerpt", [passage.pk]),
        ("picture_mark", [passage.pk]),
        ("picture_notation", [passage.pk]),
        ("compare", [passage.pk]),
    ]:
        keeps_to_its_owner(reverse(name, args=args), client_of, teacher, others)
    new = reverse("picture_new", args=[passage.movement_id])
    is_read_by_its_studio(new, client_of, teacher, colleague, stranger)
    for name, args in [
        ("picture_turn", [upload.pk]),
        ("picture_page", [upload.pk]),
        ("picture_cancel", [upload.pk]),
        ("picture_change", [passage.pk]),
    ]:
        keeps_to_its_owner(reverse(name, args=args), client_of, teacher, others, post=True)


def test_a_picture_is_given_out_as_nothing_but_a_picture(client, passage):
    answer = client.get(reverse("passage_picture", args=[passage.pk]))
    assert answer["Content-Type"] == "image/png"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Cache-Control"] == "private, no-store"


def test_pages_of_notes_have_nothing_for_a_picture(client, passage):
    for name in ("fingerings", "bowings", "passage_elsewhere", "passage_extend"):
        assert client.get(reverse(name, args=[passage.pk])).status_code in (302, 404)
    assert client.post(reverse("mark_change", args=[passage.pk])).status_code == 404
    answer = client.get(reverse("mark", args=[passage.pk]))
    assert answer["Location"] == reverse("picture_mark", args=[passage.pk])


def test_a_picture_on_a_movement_with_notation_stays_a_picture(client, teacher):
    passage = picture_passage(teacher, first_movement(teacher))
    assert passage.movement.notated
    assert not passage.has_notation
    for name in ("passage", "passage_excerpt", "passage_thumb", "picture_mark", "compare", "passage_extend"):
        assert client.get(reverse(name, args=[passage.pk])).status_code == 200, name
    assert client.get(reverse("movement", args=[passage.movement_id])).status_code == 200
    assert client.get(reverse("piece", args=[passage.movement.revision.part.piece_id])).status_code == 200


# --- signs


def test_signs_are_placed_moved_and_removed(client, passage):
    assert change(client, passage, what="bow=down", x="12.5", y="20").status_code == 200
    change(client, passage, what="finger=2", x="30", y="20,5")
    change(client, passage, what="slur=", x="20", y="25", to_x="40", to_y="25")
    answer = change(client, passage, what="text=", text="broad", text_style="bold", x="60", y="10")
    assert "stave 1, 60 % across, above: “broad”" in answer.content.decode()
    assert drafted(passage) == {
        Mark(Kind.BOW, "x0.1250y0.2000", "down"),
        Mark(Kind.FINGER, "x0.3000y0.2050", "2"),
        Mark(Kind.SLUR, "x0.2000y0.2500", "", "x0.4000y0.2500"),
        Mark(Kind.TEXT, "x0.6000y0.1000", "broad", options=(("style", "bold"),)),
    }
    down = json.dumps({"kind": "bow", "at": "x0.1250y0.2000", "value": "down"})
    change(client, passage, what=f"move:right:{down}")
    # Half a percent of the width to the right.
    assert Mark(Kind.BOW, "x0.1300y0.2000", "down") in drafted(passage)
    change(client, passage, what="rub-out", x="31", y="21")
    change(client, passage, what="undo")
    change(client, passage, what="undo")
    change(client, passage, what="redo")
    assert {m.kind for m in drafted(passage)} == {Kind.BOW, Kind.FINGER, Kind.SLUR, Kind.TEXT}
    assert Mark(Kind.BOW, "x0.1300y0.2000", "down") in drafted(passage)


@pytest.mark.parametrize(
    "fields, words",
    [
        ({"what": "bow=down", "x": "", "y": ""}, "Choose a place"),
        ({"what": "bow=down", "x": "120", "y": "10"}, "inside the picture"),
        ({"what": "bow=down", "x": "nan", "y": "10"}, "inside the picture"),
        ({"what": "slur=", "x": "10", "y": "10"}, "from one place to another"),
        ({"what": "ornament=trill", "x": "10", "y": "10"}, "write it as words"),
        ({"what": "finger=7", "x": "10", "y": "10"}, "not a finger"),
        ({"what": "rub-out", "x": "90", "y": "90"}, "No sign stands there"),
        ({"what": "move:left:{}"}, "lacks"),
        ({"what": "take:nonsense"}, "read"),
    ],
)
def test_what_cant_be_placed_is_refused_with_words(client, passage, fields, words):
    answer = change(client, passage, **fields)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not Draft.objects.exists()
    assert change(client, passage, script=False, **fields).status_code == 422


def test_a_note_is_never_marked_on_a_picture_nor_a_place_on_notation(teacher, passage):
    with pytest.raises(MarkingError):
        make_marking(passage, teacher, [Mark(Kind.BOW, "b1n1", "down")], name="x", origin=Marking.Origin.OWN)
    notated = first_movement(teacher)
    other = Passage.objects.create(
        movement=notated, teacher=teacher, title="x", start_bar=1, end_bar=2, first_number="1", last_number="2"
    )
    with pytest.raises(MarkingError):
        make_marking(other, teacher, [Mark(Kind.BOW, "x0.1000y0.1000", "down")], name="x", origin=Marking.Origin.OWN)


def test_a_page_drawn_before_another_change_is_told(client, passage):
    change(client, passage, what="bow=down", x="10", y="10")
    url = reverse("picture_change", args=[passage.pk])
    answer = client.post(url, {"state": "0", "what": "bow=up", "x": "20", "y": "10"})
    assert answer.status_code == 409
    assert len(drafted(passage)) == 1


def test_without_a_script_the_place_stays_in_the_address(client, passage):
    answer = change(client, passage, script=False, what="finger=1", x="10", y="20")
    assert answer["Location"] == reverse("picture_mark", args=[passage.pk]) + "?x=10&y=20"
    assert 'value="10"' in client.get(answer["Location"]).content.decode()


@pytest.fixture
def versions(client, passage, teacher):
    """As printed, a first idea, and a second one in which the down-bow is moved and a finger added."""
    printed_marking(passage, teacher)
    change(client, passage, what="bow=down", x="12.5", y="20")
    change(client, passage, what="text=", text="broad", x="50", y="10", text_style="italic")
    first = kept(client, passage, "First idea")
    down = json.dumps({"kind": "bow", "at": "x0.1250y0.2000", "value": "down"})
    change(client, passage, what=f"move:right:{down}")
    change(client, passage, what="finger=3", x="30", y="20")
    return first, kept(client, passage, "Second idea")


def kept(client, passage, name):
    draft = Draft.objects.get(passage=passage)
    url = reverse("mark_keep", args=[passage.pk])
    assert client.get(url).status_code == 200
    answer = client.post(url, {"state": f"{draft.pk}.{draft.revision}", "name": name, "origin": "own"})
    assert answer.status_code == 302
    return Marking.objects.get(name=name)


def test_versions_are_kept_compared_and_combined(client, passage, versions):
    first, second = versions
    assert (second.parent, second.number) == (first, 3)
    assert first.bow_digest != second.bow_digest
    assert first.words_digest == second.words_digest
    found = [(p.where, p.changes[0].words) for p in differences(passage, marks_of(first), marks_of(second))]
    assert found == [
        ("stave 1, 13 % across, above", "down-bow moved"),
        ("stave 1, 30 % across, above", "finger 3 added"),
    ]
    page = client.get(reverse("compare", args=[passage.pk]), {"marking": [first.pk, second.pk]}).content.decode()
    assert "down-bow moved" in page
    assert "Same words and ornaments" in page
    assert page.count('class="differs"') == 2
    assert client.get(reverse("marking", args=[second.pk])).status_code == 200
    assert "finger 3 added" in client.get(reverse("changes", args=[second.pk])).content.decode()
    together = {"one": first.pk, "other": second.pk, "bow": "one", "left_hand": "other", "words": "one"}
    answer = client.post(reverse("combine", args=[passage.pk]), {**together, "name": "Both"})
    assert answer.status_code == 302
    assert set(marks_of(Marking.objects.get(name="Both"))) == {
        *marks_of(first),
        Mark(Kind.FINGER, "x0.3000y0.2000", "3"),
    }


# --- what never changes


@pytest.mark.django_db(transaction=True)
def test_a_kept_picture_never_changes(teacher):
    passage = picture_passage(teacher)
    for change_it in (
        lambda: ExcerptPicture.objects.filter(pk=passage.picture_id).update(width=10),
        lambda: Passage.objects.filter(pk=passage.pk).update(picture=None),
    ):
        with pytest.raises(IntegrityError, match="never changes"), transaction.atomic():
            change_it()
    assert connection.is_usable()


def test_a_deleted_passage_takes_its_picture_along(client, passage, django_capture_on_commit_callbacks):
    printed_marking(passage, passage.teacher)
    with django_capture_on_commit_callbacks(execute=True):
        client.post(reverse("passage_delete", args=[passage.pk]))
    assert not ExcerptPicture.objects.exists()


# --- on paper


def test_how_large_a_picture_is_printed():
    # Staves of 80 of 1600 px: 8 mm high they make the picture 160 mm wide, 254 px to the inch [A].
    size = printed(Paper(1600, 700, ((200, 280),)))
    assert (size.width_mm, size.height_mm, round(size.dpi), size.staff_mm) == (160.0, 70.0, 254, 8.0)
    assert not size.coarse
    # Wider staves than the column allows: the column is the limit, the staves are 4.5 mm high [A].
    size = printed(Paper(1600, 400, ((200, 240),)))
    assert (size.width_mm, size.staff_mm) == (180.0, 4.5)
    # 900 px over 180 mm are 127 to the inch [A].
    assert printed(Paper(900, 200)).dpi == pytest.approx(127.0)
    assert printed(Paper(900, 200)).coarse
    # 300 px are never printed coarser than 90 to the inch: 84.7 mm [A].
    assert printed(Paper(300, 100)).width_mm == pytest.approx(84.67, abs=0.01)
    assert printed(Paper(1000, 3000)).height_mm == MOST_HEIGHT_MM


def test_a_coarse_or_small_picture_is_told():
    assert "coarse" in " ".join(facts(Paper(900, 200)))
    assert "small to read from" in " ".join(facts(Paper(1600, 400, ((200, 240),))))
    assert facts(Paper(1600, 700, ((200, 280),))) == [
        "On an A4 sheet it is 160 × 70 mm, 254 points to the inch.",
        "Its staves come out 8.0 mm high.",
    ]


# --- notation in place of the picture


def test_notation_takes_the_place_of_the_picture(client, teacher, passage, versions):
    part = passage.movement.revision.part
    page = client.get(reverse("picture_notation", args=[passage.pk])).content.decode()
    assert "No part of this piece has notation yet" in page
    add_revision(part, read_part(score(), "two.musicxml", "Viola"), score(), "two.musicxml")
    assert waiting(part, part.piece.teacher) == []
    page = client.get(reverse("picture_notation", args=[passage.pk])).content.decode()
    assert "stave 1, 13 % across, above: down-bow" in page
    movement = part.revision.movements.get(number=1)
    given = {"movement": movement.pk, "bars": "1-4", "title": "On notation", "purpose": ""}
    answer = client.post(reverse("picture_notation", args=[passage.pk]), given)
    assert answer.status_code == 302
    made = Passage.objects.get(title="On notation")
    assert (made.has_notation, made.extends, made.movement) == (True, passage, movement)
    assert "On notation" in client.get(answer["Location"]).content.decode()
    passage.refresh_from_db()
    assert passage.has_picture
    assert set(marks_of(versions[1])) == set(marks_of(Marking.objects.get(pk=versions[1].pk)))
