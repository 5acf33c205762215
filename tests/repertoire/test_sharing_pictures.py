"""Signs on pictures shown to colleagues: together with the picture, to read and to copy, and nothing else."""

import pytest
from django.urls import reverse

from repertoire.bounds import bounds_of
from repertoire.markings import make_marking, marks_of, printed_marking
from repertoire.models import ExcerptPicture, Marking, Passage
from repertoire.notation.scans import Crop
from repertoire.pictures import keep_upload, make_picture_passage
from repertoire.sharing import copy, own_passage_like, share, shared_within
from repertoire.technique.marks import Kind, Mark

from .policy import keeps_to_its_owner
from .scans import bare_movement, picture_passage, png

SIGNS = (Mark(Kind.BOW, "x0.1250y0.2000", "down"), Mark(Kind.FINGER, "x0.5000y0.6000", "3"))


@pytest.fixture
def marking(teacher):
    passage = picture_passage(teacher)
    printed_marking(passage, teacher)
    return make_marking(passage, teacher, SIGNS, name="From the tip", origin="own", reason="stays light")


def page(client, url):
    answer = client.get(url)
    assert answer.status_code == 200
    return answer.content.decode()


def test_a_picture_is_shown_to_colleagues_only_with_a_version_its_owner_shares(
    client_of, teacher, colleague, stranger, marking
):
    hers, passage = client_of(colleague), marking.passage
    piece = reverse("piece", args=[passage.movement.revision.part.piece_id])
    url = reverse("shared_marking", args=[marking.pk])
    assert hers.get(url).status_code == 404
    assert url not in page(hers, piece)
    answer = client_of(teacher).post(reverse("marking_share", args=[marking.pk]), follow=True)
    assert "Your colleagues can read and copy “From the tip” now." in answer.content.decode()
    assert url in page(hers, piece)
    keeps_to_its_owner(url, client_of, teacher, (stranger,))
    shown = page(hers, url)
    assert "Shared by Ada Fell" in shown
    assert "stays light" in shown
    assert "data:image/png;base64," in shown
    assert "down-bow" in shown
    assert "finger 3" in shown
    for name in ("passage", "passage_picture", "picture_mark", "passage_thumb"):
        assert hers.get(reverse(name, args=[passage.pk])).status_code == 404, name
    client_of(teacher).post(reverse("marking_share", args=[marking.pk]), {"withdraw": "yes"})
    assert hers.get(url).status_code == 404


def test_what_is_said_of_the_rights_before_a_picture_is_shared(client_of, teacher, marking):
    url = reverse("marking", args=[marking.pk])
    assert "No rights are noted for it: share it only if you may." in page(client_of(teacher), url)
    part = marking.passage.movement.revision.part
    part.rights = "public domain"
    part.save()
    assert "They see the picture of the edition too. Rights noted: “public domain”" in page(client_of(teacher), url)


def test_a_copy_has_a_picture_of_its_own(client_of, teacher, colleague, marking):
    share(marking)
    url = reverse("shared_marking_copy", args=[marking.pk])
    client_of(colleague).post(url)
    client_of(colleague).post(url)
    made = Marking.objects.get(teacher=colleague, origin="colleague")
    assert (made.name, made.source, made.reason) == ("From the tip", "Ada Fell", "stays light")
    assert set(marks_of(made)) == set(SIGNS)
    mine, theirs = made.passage.picture, marking.passage.picture
    assert (mine.teacher, mine.sha256, mine.image.read()) == (colleague, theirs.sha256, theirs.image.read())
    assert mine.image.name != theirs.image.name
    assert bounds_of(made.passage) == bounds_of(marking.passage)
    assert (
        Passage.objects.filter(teacher=colleague).count()
        == ExcerptPicture.objects.filter(teacher=colleague).count()
        == 1
    )
    # Whatever becomes of the shared one, the copy keeps its picture.
    client_of(teacher).post(reverse("passage_delete", args=[marking.passage_id]))
    assert not Passage.objects.filter(teacher=teacher).exists()
    assert "data:image/png;base64," in page(client_of(colleague), reverse("passage", args=[made.passage_id]))


def test_the_bare_picture_is_shared_as_the_version_as_printed(client_of, teacher, colleague, marking):
    bare = Marking.objects.get(passage=marking.passage, origin="printed")
    share(bare)
    made = copy(bare, colleague)
    assert (made.origin, made.name, marks_of(made)) == ("printed", "As printed", ())
    assert made.passage.teacher == colleague
    assert copy(bare, colleague) == made


def test_shared_signs_are_offered_on_the_same_picture_only(client_of, teacher, colleague, marking):
    share(marking)
    made = copy(marking, colleague)
    other = picture_passage(colleague, marking.passage.movement)  # the same page, cropped the same
    upload = keep_upload(marking.passage.movement, colleague, png(), "page.png")
    half = make_picture_passage(upload, bounds_of(marking.passage), Crop(bottom=50.0))
    assert shared_within(made.passage, colleague) == [marking]
    assert shared_within(other, colleague) == [marking]
    assert shared_within(half, colleague) == []
    assert own_passage_like(marking.passage, colleague) == made.passage
    url = reverse("shared_marking", args=[marking.pk])
    assert url in page(client_of(colleague), reverse("passage", args=[made.passage_id]))
    assert url not in page(client_of(colleague), reverse("passage", args=[half.pk]))


def test_a_colleague_keeps_a_picture_of_the_piece_but_not_its_rights(client_of, teacher, colleague):
    movement = bare_movement(teacher)
    part = movement.revision.part
    part.rights = "bought, for my own lessons"
    part.save()
    upload = keep_upload(movement, colleague, png(), "page.png")
    url = reverse("picture_crop", args=[upload.pk])
    assert 'name="rights"' not in page(client_of(colleague), url)
    sent = {"angle": "0", "left": "0", "top": "0", "right": "100", "bottom": "100", "bars": "1-4", "rights": "mine now"}
    assert client_of(colleague).post(url, sent).status_code == 302
    part.refresh_from_db()
    assert part.rights == "bought, for my own lessons"
    assert Passage.objects.get(teacher=colleague).has_picture
