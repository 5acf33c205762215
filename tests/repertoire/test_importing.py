"""Import: look into a file, choose a part, read it; nothing is left behind when it fails."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
from django.urls import reverse
from django.utils import timezone

from repertoire import importing
from repertoire.models import Marking, Movement, Notation, Part, Piece, Revision, Upload
from repertoire.notation.storing import line_from_json
from repertoire.technique.marks import load
from tests.repertoire.music import score, sent, viola_part
from tests.repertoire.policy import keeps_to_its_owner


@pytest.fixture
def upload(teacher):
    return importing.keep_upload(teacher, score(), "two.musicxml")


def files(settings) -> list[str]:
    root = Path(settings.MEDIA_ROOT)
    return sorted(str(p.relative_to(root)).split("/")[0] for p in root.rglob("*") if p.is_file())


def choose(client, upload, **fields):
    told = {"part": "2", "title": "Two short movements", "composer": "Ada Fell", "edition": "Own copy", **fields}
    return client.post(reverse("import_choose", args=[upload.pk]), told)


def test_sending_a_file_needs_signing_in(client, client_of, teacher):
    url = reverse("import_new")
    assert client.post(url, {"file": sent()})["Location"].startswith("/sign-in")
    assert client_of(teacher).get(url).status_code == 200
    assert client_of(teacher).put(url).status_code == 405


def test_one_more_part_goes_to_ones_own_piece_only(client_of, teacher, colleague, stranger):
    piece = Piece.objects.create(teacher=teacher, title="Dances")
    url = reverse("part_import", args=[piece.pk])
    keeps_to_its_owner(url, client_of, teacher, (colleague, stranger))
    assert client_of(colleague).post(url, {"file": sent()}).status_code == 404
    assert not Upload.objects.exists()


def test_an_upload_is_its_senders(upload, client_of, teacher, colleague, stranger):
    keeps_to_its_owner(reverse("import_choose", args=[upload.pk]), client_of, teacher, (colleague, stranger))
    assert choose(client_of(colleague), upload).status_code == 404
    assert not Part.objects.exists()


def test_the_page_shows_what_is_in_the_file(client_of, teacher):
    answer = client_of(teacher).post(reverse("import_new"), {"file": sent()}, follow=True)
    page = answer.content.decode()
    assert "Violin" in page
    assert "alto clef · D4–A4 · 14 bars" in page
    assert "2 movements" in page
    # The viola's part is the likely one; the title comes from the file.
    assert 'value="2" checked' in page
    assert 'value="Two short movements"' in page
    assert not Part.objects.exists()


def test_reading_the_chosen_part(upload, client_of, teacher, settings, django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        answer = choose(client_of(teacher), upload, rights="own work")
    part = Part.objects.get()
    assert answer["Location"] == reverse("piece", args=[part.piece_id])
    assert (part.name, part.instrument, part.edition, part.rights) == ("Viola", "viola", "Own copy", "own work")
    assert (part.piece.title, part.piece.composer, part.piece.teacher) == ("Two short movements", "Ada Fell", teacher)
    revision = Revision.objects.get()
    assert (revision.source, revision.part_ref, revision.file_name) == ("musicxml", "2", "two.musicxml")
    with revision.file.open("rb") as file:
        assert file.read() == score()
    assert list(Movement.objects.values_list("number", "bar_count", "notated")) == [(1, 8, True), (2, 6, True)]
    first = Notation.objects.order_by("movement__number").first()
    line = line_from_json(first.line)
    assert [str(p) for p in line.pitches][:5] == ["D4", "D4", "D4", "D4", "E4"]
    assert [(m.kind, m.at, m.value) for m in load(first.printed)][:2] == [
        ("bow", "b1n1", "down"),
        ("bow", "b2n1", "down"),
    ]
    # The upload is gone, and only the part's own file is left.
    assert not Upload.objects.exists()
    assert files(settings) == ["parts"]


def test_a_part_of_a_piece_that_is_there(client_of, teacher):
    piece = Piece.objects.create(teacher=teacher, title="Dances")
    upload = importing.keep_upload(teacher, score(), "two.musicxml", piece=piece)
    client_of(teacher).post(reverse("import_choose", args=[upload.pk]), {"part": "1", "edition": "", "rights": ""})
    part = Part.objects.get()
    assert (part.name, part.piece) == ("Violin", piece)
    assert Piece.objects.count() == 1


@pytest.mark.parametrize("part", ["", "7", "Viola", "2; 1"])
def test_a_part_that_is_not_there_is_refused(upload, client_of, teacher, part):
    answer = choose(client_of(teacher), upload, part=part)
    assert answer.status_code == 422
    assert not Piece.objects.exists()
    assert Upload.objects.count() == 1


def test_the_same_file_is_noticed(client_of, teacher, colleague):
    viola_part(teacher)
    page = client_of(teacher).post(reverse("import_new"), {"file": sent()}, follow=True).content.decode()
    assert "You have read this very file before" in page
    # Nobody learns what a colleague has.
    theirs = client_of(colleague).post(reverse("import_new"), {"file": sent()}, follow=True).content.decode()
    assert "before" not in theirs


@pytest.mark.parametrize(
    "content, words",
    [
        (b"", "empty"),
        (b"%PDF-1.7 notes", "PDF"),
        (b"PK\x03\x04 not an archive", "damaged archive"),
        (score().replace(b"</part-list>", b""), "broken on line"),
        (score()[:2000], "two.musicxml"),
        (b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "b">]><score-partwise/>', "entities"),
    ],
)
def test_a_broken_file_is_refused_with_words_and_nothing_kept(client_of, teacher, settings, content, words):
    answer = client_of(teacher).post(reverse("import_new"), {"file": sent(content)})
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not Upload.objects.exists()
    assert files(settings) == []


def test_a_file_too_large_is_refused(client_of, teacher, settings):
    settings.UPLOAD_LIMIT = 1024 * 1024
    answer = client_of(teacher).post(reverse("import_new"), {"file": sent(b"<" * (1024 * 1024 + 1))})
    assert answer.status_code == 422
    assert "larger than 1 MB" in answer.content.decode()


def test_what_breaks_while_it_is_stored_leaves_nothing(upload, client_of, teacher, settings, monkeypatch):
    def broken(line):
        raise RuntimeError("no room")

    monkeypatch.setattr(importing, "line_to_json", broken)
    with pytest.raises(RuntimeError):
        choose(client_of(teacher), upload)
    assert not Piece.objects.exists()
    assert not Revision.objects.exists()
    # The upload waits for another try.
    assert files(settings) == ["pending"]


def test_turning_back_lets_the_file_go(
    upload, client_of, teacher, colleague, stranger, settings, django_capture_on_commit_callbacks
):
    url = reverse("import_cancel", args=[upload.pk])
    keeps_to_its_owner(url, client_of, teacher, (colleague, stranger), post=True)
    with django_capture_on_commit_callbacks(execute=True):
        client_of(teacher).post(url)
    assert not Upload.objects.exists()
    assert files(settings) == []


def test_a_forgotten_upload_goes_after_a_day(upload, teacher, settings, django_capture_on_commit_callbacks):
    Upload.objects.update(created=timezone.now() - timedelta(hours=25))
    with django_capture_on_commit_callbacks(execute=True):
        later = importing.keep_upload(teacher, score(title="Another"), "another.musicxml")
    assert list(Upload.objects.all()) == [later]
    assert files(settings) == ["pending"]


def test_what_was_left_out_is_shown_with_its_bar(teacher, client_of):
    part = viola_part(teacher)
    revision = part.revision
    found = [
        {"movement": 1, "bar": "5", "what": "a figured bass"},
        {"movement": 2, "bar": "3, 4", "what": "a hidden note"},
    ]
    Revision.objects.filter(pk=revision.pk).update(left_out=found)
    page = client_of(teacher).get(reverse("part", args=[part.pk])).content.decode()
    assert "Bar 5: a figured bass" in page
    assert "Bars 3, 4: a hidden note" in page
    assert page.index("<h4>Movement 1</h4>") < page.index("figured bass") < page.index("<h4>Movement 2</h4>")


def test_what_the_reader_leaves_out_is_kept_with_the_part(teacher, client_of):
    # A bar with a figured bass, which no string part keeps.
    odd = score().replace(
        b'<measure number="2"><note>',
        b'<measure number="2"><figured-bass><figure><figure-number>6</figure-number></figure></figured-bass><note>',
    )
    piece = Piece.objects.create(teacher=teacher, title="Odd")
    part = importing.add_part(piece, odd, "odd.musicxml", "Viola")
    assert [(left["movement"], left["bar"]) for left in part.revision.left_out] == [(1, "2"), (2, "2")]


def test_importing_makes_no_marking_before_there_is_a_passage(teacher):
    viola_part(teacher)
    assert not Marking.objects.exists()
