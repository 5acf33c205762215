"""Comparing two or three markings, and making one of two."""

import re

import pytest

from repertoire.comparison import fact_rows
from repertoire.markings import make_marking, marks_of, printed_marking
from repertoire.models import Marking
from repertoire.technique.checking import Problem
from repertoire.technique.marks import Kind, Mark
from tests.repertoire.marking_passages import make_passage
from tests.technique.lines import marks

pytestmark = pytest.mark.django_db


@pytest.fixture
def passage(teacher):
    return make_passage(teacher)


@pytest.fixture
def two(passage, teacher):
    one = make_marking(passage, teacher, (*marks("up b1n3"), Mark(Kind.FINGER, "b1n3", "1")), name="One", origin="own")
    other = make_marking(
        passage, teacher, (*marks("down b1n3", "p b1n1"), Mark(Kind.FINGER, "b1n3", "2")), name="Other", origin="own"
    )
    return one, other


@pytest.fixture
def client(client_of, teacher):
    return client_of(teacher)


def test_who_may_come(passage, client, client_of, colleague, stranger):
    for page, methods in {"compare": {"get"}, "combine": {"get", "post"}}.items():
        path = f"/repertoire/passages/{passage.pk}/{page}"
        assert client.get(path).status_code == 200
        for other in (colleague, stranger):
            for method in methods:
                assert getattr(client_of(other), method)(path).status_code == 404
        assert client.put(path).status_code == 405
    assert client.post(f"/repertoire/passages/{passage.pk}/compare").status_code == 405
    client.logout()
    assert client.get(f"/repertoire/passages/{passage.pk}/compare").url.startswith("/sign-in")
    assert client.get(f"/repertoire/passages/{passage.pk}/combine").url.startswith("/sign-in")


def test_one_under_another_with_what_differs(passage, two, student, client):
    one, other = two
    page = client.get(f"/repertoire/passages/{passage.pk}/compare?marking={one.pk}&marking={other.pk}").content.decode()
    assert "down-bow on B3, was up-bow" in page
    assert "finger 2 on B3, was finger 1" in page
    assert "Other bowing" in re.sub(r"<[^>]+>", "", page)
    for marking in two:
        assert f"/students/{student.pk}/assign?passage={passage.pk}&amp;marking={marking.pk}" in page
    assert "<strong>A</strong> One" in page
    assert "<strong>B</strong> Other" in page


def test_facts_stand_beside_each_other(passage, two, client):
    one, other = two
    page = client.get(f"/repertoire/passages/{passage.pk}/compare?marking={one.pk}&marking={other.pk}").content.decode()
    rows = dict(re.findall(r'<th scope="row">([^<]+)(?:<span[^>]*>[^<]*</span>)?</th>((?:<td>[^<]*</td>)+)', page))
    titles = {title.strip() for title in rows}
    assert {"Bow changes", "Longest stroke", "Shifts", "Open strings"} <= titles
    assert len(re.findall("<td>", rows["Bow changes"])) == 2


def test_at_most_three_and_only_of_this_passage(passage, two, client, teacher):
    third, fourth = (make_marking(passage, teacher, (), name=name, origin="own") for name in ("Third", "Fourth"))
    asked = "&".join(f"marking={m.pk}" for m in (*two, third, fourth))
    page = client.get(f"/repertoire/passages/{passage.pk}/compare?{asked}").content.decode()
    assert "the first three chosen are shown" in page
    elsewhere = printed_marking(make_passage(teacher, title="Elsewhere"), teacher)
    for wrong in (elsewhere.pk, "x"):
        assert (
            client.get(f"/repertoire/passages/{passage.pk}/compare?marking={two[0].pk}&marking={wrong}").status_code
            == 404
        )


def test_one_marking_alone_offers_to_make_another(passage, client, teacher):
    printed_marking(passage, teacher)
    assert "Make another" in client.get(f"/repertoire/passages/{passage.pk}/compare").content.decode()
    assert "Make another" in client.get(f"/repertoire/passages/{passage.pk}/combine").content.decode()


@pytest.mark.parametrize("show, found", [("", True), ("bow", True), ("hand", True), ("none", False), ("x", False)])
def test_what_is_drawn_under_the_staves_is_told_in_words(passage, two, client, show, found):
    asked = "&".join(f"marking={m.pk}" for m in two) + (f"&show={show}" if show else "")
    page = client.get(f"/repertoire/passages/{passage.pk}/compare?{asked}").content.decode()
    told = re.findall(r'<p class="visually-hidden">(One|Other): [^<]+', page)
    assert told == (["One", "Other"] if found else [])


def test_a_script_gets_the_staves_alone(passage, two, client):
    path = f"/repertoire/passages/{passage.pk}/compare?marking={two[0].pk}&marking={two[1].pk}"
    found = client.get(path, headers={"X-Requested-With": "fetch"}).content.decode()
    assert found.startswith("<div data-excerpt=")
    assert "<html" not in found


def test_rows_nothing_is_known_for_are_left_out():
    assert fact_rows(()) == ()


def combined(client, passage, one, other, **more):
    sent = {
        "one": one.pk,
        "other": other.pk,
        "bow": "one",
        "left_hand": "other",
        "words": "other",
        "name": "Both",
        **more,
    }
    return client.post(f"/repertoire/passages/{passage.pk}/combine", sent)


def test_this_bowing_that_fingering(passage, two, client):
    one, other = two
    answer = combined(client, passage, one, other, reason="bow of one")
    made = Marking.objects.get(name="Both")
    assert answer.url == f"/repertoire/markings/{made.pk}"
    assert set(marks_of(made)) == {*marks("up b1n3", "p b1n1"), Mark(Kind.FINGER, "b1n3", "2")}
    assert (made.origin, made.parent, made.reason) == ("combined", one, "bow of one")


def test_a_combination_that_is_there_already_is_not_kept_again(passage, two, client):
    one, other = two
    answer = combined(client, passage, one, other, bow="other")
    assert answer.status_code == 422
    assert "mark for mark" in answer.content.decode()
    assert Marking.objects.count() == 2


def test_marks_that_cannot_stand_together_are_refused(passage, client, teacher, monkeypatch):
    # Bow and left hand meet in few rules, so one is made up: no harmonic on an up-bow.
    def check(line, found, instrument):
        harmonic = any(m.kind is Kind.HARMONIC for m in found)
        together = harmonic and any(m.kind is Kind.BOW for m in found)
        return (Problem("b1n3", Kind.BOW, "Bar 1, beat 3: made up."),) if together else ()

    monkeypatch.setattr("repertoire.views.comparing.check", check)
    one = make_marking(passage, teacher, marks("up b1n3"), name="Bow", origin="own")
    other = make_marking(passage, teacher, (Mark(Kind.HARMONIC, "b1n3", "artificial"),), name="Hand", origin="own")
    answer = combined(client, passage, one, other)
    assert answer.status_code == 422
    assert "Bar 1, beat 3: made up." in answer.content.decode()
    assert Marking.objects.count() == 2


def test_combining_needs_a_name(passage, two, client):
    assert combined(client, passage, *two, name="").status_code == 422
