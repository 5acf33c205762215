"""A colleague joins by a link that works once, and the last teacher can't leave."""

import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta

import pytest
from django.core.cache import cache
from django.db import connection
from django.test import Client
from django.urls import reverse

from studio.colleagues import CannotLeave, InvitationGone, close_account, join
from studio.models import Invitation, Student, Teacher
from studio.views import colleagues

NOW = datetime(2026, 5, 4, 10, 0, tzinfo=UTC)
ACCOUNT = {
    "name": "Berta Lind",
    "email": "Berta@example.org",
    "password": "four strings and a mute",
    "password_again": "four strings and a mute",
}


@pytest.fixture(autouse=True)
def fresh_counts():
    cache.clear()


@pytest.fixture
def token(teacher):
    """An invitation of this moment."""
    return Invitation.write(teacher, datetime.now(UTC), "Berta")[1]


def test_inviting_shows_the_link_once(client_of, teacher, client):
    answer = client_of(teacher).post(reverse("invite"), {"note": "Berta"})
    link = answer.context["link"]
    assert link.startswith("http://testserver/join/")
    assert link in answer.content.decode()
    assert "no-store" in answer["Cache-Control"]
    token = link.removeprefix("http://testserver/join/")
    invitation = Invitation.objects.get()
    assert invitation.token_sha256 != token
    assert (invitation.studio, invitation.expires - invitation.created) == (teacher.studio, timedelta(days=7))
    settings = client_of(teacher).get(reverse("settings")).content.decode()
    assert "Berta" in settings
    assert token not in settings
    assert client.get(link).status_code == 200


def test_who_may_invite_and_revoke(client, client_of, teacher, colleague, stranger, token):
    revoke = reverse("invitation_revoke", args=[Invitation.objects.get().pk])
    for url in (reverse("invite"), revoke):
        assert client.post(url)["Location"].startswith("/sign-in")
        assert client_of(teacher).get(url).status_code == 405
    assert client_of(stranger).post(revoke).status_code == 404
    assert client_of(colleague).post(revoke).status_code == 302
    assert not Invitation.objects.exists()
    assert client.get(reverse("join", args=[token])).status_code == 404


def test_joining_makes_a_teacher_of_the_same_studio_and_ends_the_link(client, teacher, token):
    url = reverse("join", args=[token])
    assert client.put(url).status_code == 405
    answer = client.post(url, ACCOUNT)
    assert answer["Location"] == "/"
    berta = Teacher.objects.get(email="berta@example.org")
    assert (berta.studio, berta.name, berta.is_active) == (teacher.studio, "Berta Lind", True)
    assert berta.check_password(ACCOUNT["password"])
    assert client.get("/").status_code == 200
    for method in (Client().get, Client().post):
        assert method(url, ACCOUNT).status_code == 404
    assert Teacher.objects.count() == 2


@pytest.mark.parametrize(
    "change, words",
    [
        ({"email": "ADA@example.org"}, "exists already"),
        ({"password_again": "something else"}, "differ"),
        ({"password": "short", "password_again": "short"}, "At least 12 characters."),
        ({"name": ""}, "can’t be empty"),
    ],
)
def test_a_wrong_form_leaves_the_link_alive(client, token, change, words):
    answer = client.post(reverse("join", args=[token]), ACCOUNT | change)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert Teacher.objects.count() == 1
    assert Invitation.objects.get().used is None


def test_a_link_ends_after_seven_days(teacher):
    _, token = Invitation.write(teacher, NOW)
    wanted = {"name": "Berta", "email": "berta@example.org", "password": "four strings and a mute"}
    with pytest.raises(InvitationGone):
        join(token, **wanted, at=NOW + timedelta(days=7))
    with pytest.raises(InvitationGone):
        join(token + "x", **wanted, at=NOW)
    assert join(token, **wanted, at=NOW + timedelta(days=6, hours=23)).studio == teacher.studio


@pytest.mark.django_db(transaction=True)
def test_of_two_connections_at_once_one_gets_in(teacher):
    _, token = Invitation.write(teacher, NOW)
    ready = threading.Barrier(2)

    def use(name: str) -> str:
        try:
            ready.wait(timeout=10)
            email = f"{name.lower()}@example.org"
            join(token, name=name, email=email, password="four strings and a mute", at=NOW)
        except InvitationGone:
            return "gone"
        finally:
            connection.close()
        return name

    with ThreadPoolExecutor(2) as both:
        came = sorted(both.map(use, ("Berta", "Clara")), key=lambda each: each == "gone")
    assert came[0] in ("Berta", "Clara")
    assert came[1] == "gone"
    assert [t.name for t in Teacher.objects.exclude(pk=teacher.pk)] == [came[0]]
    assert Invitation.objects.get().used == NOW


def test_of_two_at_once_one_gets_in(teacher, monkeypatch):
    """The second looked before the first was done, and finds the row taken."""
    invitation, token = Invitation.write(teacher, NOW)
    join(token, name="Berta", email="berta@example.org", password="four strings and a mute", at=NOW)
    monkeypatch.setattr("studio.colleagues.invitation_for", lambda *_: invitation)
    with pytest.raises(InvitationGone):
        join(token, name="Carl", email="carl@example.org", password="four strings and a mute", at=NOW)
    assert not Teacher.objects.filter(name="Carl").exists()


def test_guessing_links_is_slowed_down(client, teacher, token, monkeypatch):
    monkeypatch.setattr(colleagues, "TRIES", 3)
    url = reverse("join", args=["guess"])
    assert [client.get(url).status_code for _ in range(4)] == [404, 404, 404, 429]
    assert client.get(reverse("join", args=[token])).status_code == 429


def test_an_account_with_students_or_the_last_one_stays_open(teacher, colleague):
    student = Student.objects.create(teacher=teacher, first_name="Mira")
    with pytest.raises(CannotLeave, match="still have students"):
        close_account(teacher)
    student.delete()
    close_account(teacher)
    assert not Teacher.objects.get(pk=teacher.pk).is_active
    with pytest.raises(CannotLeave, match="last teacher"):
        close_account(colleague)
    assert Teacher.objects.get(pk=colleague.pk).is_active


def test_a_closed_account_cannot_sign_in_nor_go_on_nor_invite(client_of, client, teacher, colleague, token):
    session = client_of(teacher)
    close_account(teacher)
    assert session.get("/settings").status_code == 302
    client.post("/sign-in", {"username": teacher.email, "password": "a long bow on an open C"})
    assert client.get("/settings").status_code == 302
    assert client.get(reverse("join", args=[token])).status_code == 404
