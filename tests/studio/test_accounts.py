"""The first account, signing in and out, the throttle, the password."""

from __future__ import annotations

import threading
from datetime import UTC, datetime

import pytest
from axes.models import AccessLog
from django.contrib.auth.hashers import check_password
from django.contrib.sessions.models import Session
from django.db import connection
from django.test import Client

from studio.founding import AlreadyFoundedError, found_studio
from studio.models import Studio, Teacher

PASSWORD = "a long bow on an open C"
SET_UP = {
    "studio_name": "Mill House",
    "timezone": "Europe/Vienna",
    "name": "Ada Fell",
    "email": "Ada@Example.org",
    "password": "seven quiet up-bows",
    "password_again": "seven quiet up-bows",
}


@pytest.mark.django_db
class TestSetUp:
    def test_an_empty_studio_leads_there(self, client):
        assert client.get("/sign-in")["Location"] == "/set-up"
        assert client.get("/set-up").status_code == 200

    def test_it_makes_studio_and_teacher_and_signs_in(self, client):
        answer = client.post("/set-up", SET_UP)
        assert answer.status_code == 302
        ada = Teacher.objects.get()
        assert (ada.email, ada.name, ada.studio.name, ada.studio.timezone) == (
            "ada@example.org",
            "Ada Fell",
            "Mill House",
            "Europe/Vienna",
        )
        assert client.get("/settings").status_code == 200

    def test_it_closes(self, client, teacher):
        assert client.get("/set-up")["Location"] == "/sign-in"
        assert client.post("/set-up", SET_UP)["Location"] == "/sign-in"
        assert Teacher.objects.count() == 1

    @pytest.mark.parametrize(
        ("field", "value", "message"),
        [
            ("password_again", "seven quiet down-bows", "The two passwords differ."),
            ("password", "elevenchars", "At least 12 characters."),
            ("email", "ada", "Enter a valid email address."),
            ("timezone", "Europe/Nowhere", "Choose one of those offered"),
        ],
    )
    def test_mistakes_are_said_and_input_is_kept(self, client, field, value, message):
        given = SET_UP | {field: value}
        if field == "password":
            given["password_again"] = value
        answer = client.post("/set-up", given)
        assert answer.status_code == 422
        assert message in answer.content.decode()
        assert 'value="Mill House"' in answer.content.decode()
        assert not Teacher.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_two_founders_at_once_make_one_studio():
    ready = threading.Barrier(4)
    outcomes = []

    def found(name):
        ready.wait()
        try:
            found_studio(
                studio_name=name, timezone="UTC", name=name, email=f"{name}@example.org", password="seven quiet up-bows"
            )
            outcomes.append("founded")
        except AlreadyFoundedError:
            outcomes.append("too late")
        finally:
            connection.close()

    threads = [threading.Thread(target=found, args=[f"n{number}"]) for number in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(outcomes) == ["founded", "too late", "too late", "too late"]
    assert (Studio.objects.count(), Teacher.objects.count()) == (1, 1)


class TestSigningIn:
    def test_by_e_mail_in_any_case(self, client, teacher):
        answer = client.post("/sign-in", {"username": "ADA@example.org", "password": PASSWORD})
        assert answer.status_code == 302
        assert client.get("/settings").status_code == 200

    def test_a_wrong_password_says_so_and_keeps_the_address(self, client, teacher):
        answer = client.post("/sign-in", {"username": "ada@example.org", "password": "wrong"})
        assert answer.status_code == 422
        assert "don’t belong together" in answer.content.decode()
        assert 'value="ada@example.org"' in answer.content.decode()

    def test_a_closed_account_stays_out(self, client, teacher):
        Teacher.objects.update(is_active=False)
        assert client.post("/sign-in", {"username": "ada@example.org", "password": PASSWORD}).status_code == 422

    def test_it_leads_to_no_other_site(self, client, teacher):
        answer = client.post(
            "/sign-in?next=https://elsewhere.example/", {"username": "ada@example.org", "password": PASSWORD}
        )
        assert not answer["Location"].startswith("https:")

    def test_sign_out_takes_a_post(self, client_of, teacher):
        me = client_of(teacher)
        assert me.get("/sign-out").status_code == 405
        answer = me.post("/sign-out")
        assert answer["Location"] == "/sign-in"
        assert answer["Clear-Site-Data"] == '"cache"', "“back” on a shared tablet shows no child's page"
        assert me.get("/settings").status_code == 302

    def test_pages_stay_between_the_teacher_and_the_studio(self, client_of, teacher):
        assert client_of(teacher).get("/students/")["Cache-Control"] == "private, no-cache"

    def test_no_record_of_sign_ins_is_kept_and_old_sessions_go(self, client, teacher):
        old = Session.objects.create(session_key="a" * 32, expire_date=datetime(2026, 1, 1, tzinfo=UTC))
        client.post("/sign-in", {"username": "ada@example.org", "password": PASSWORD})
        assert not AccessLog.objects.exists()
        assert Session.objects.exclude(pk=old.pk).count() == Session.objects.count() == 1


class TestThrottle:
    def fail(self, client, times, **extra):
        for _ in range(times):
            answer = client.post("/sign-in", {"username": "ada@example.org", "password": "wrong"}, **extra)
        return answer

    def test_after_eight_tries_even_the_right_password_waits(self, client, teacher):
        assert self.fail(client, 7).status_code == 422
        locked = self.fail(client, 1)
        assert locked.status_code == 429
        assert "Too many tries" in locked.content.decode()
        right = client.post("/sign-in", {"username": "Ada@example.org", "password": PASSWORD})
        assert right.status_code == 429

    def test_another_visitor_is_not_locked_out(self, client, teacher):
        self.fail(client, 8)
        elsewhere = Client(REMOTE_ADDR="192.0.2.7")
        assert elsewhere.post("/sign-in", {"username": "ada@example.org", "password": PASSWORD}).status_code == 302

    def test_behind_the_proxy_it_counts_by_what_the_proxy_saw(self, teacher, settings):
        settings.HTTPS = True
        guesser = Client(HTTP_X_FORWARDED_FOR="198.51.100.1, 192.0.2.66")
        self.fail(guesser, 8)
        forging = Client(HTTP_X_FORWARDED_FOR="203.0.113.9, 192.0.2.66")
        assert forging.post("/sign-in", {"username": "ada@example.org", "password": PASSWORD}).status_code == 429
        ada = Client(HTTP_X_FORWARDED_FOR="192.0.2.7")
        assert ada.post("/sign-in", {"username": "ada@example.org", "password": PASSWORD}).status_code == 302


NEW = {"new_password1": "slow bows, long tones", "new_password2": "slow bows, long tones"}


class TestPassword:
    def test_change(self, client_of, teacher):
        me = client_of(teacher)
        new = {
            "old_password": PASSWORD,
            "new_password1": "slow bows, long tones",
            "new_password2": "slow bows, long tones",
        }
        assert me.post("/password", new)["Location"] == "/settings"
        teacher.refresh_from_db()
        assert check_password("slow bows, long tones", teacher.password)
        assert me.get("/settings").status_code == 200, "still signed in"

    def test_the_new_one_keeps_to_the_same_rules_in_the_same_words(self, client_of, teacher):
        me = client_of(teacher)
        for new, words in (
            ("elevenchars", "At least 12 characters."),
            ("password1234", "Many people use this password"),
            ("ada@example.org", "too close to your name or e-mail address"),
        ):
            given = {"old_password": PASSWORD, "new_password1": new, "new_password2": new}
            answer = me.post("/password", given)
            assert answer.status_code == 422
            assert words in answer.content.decode()
        page = me.get("/password").content.decode()
        assert "At least 12 characters; a few words that only you would put together are fine." in page

    def test_the_old_one_must_fit(self, client_of, teacher):
        new = {
            "old_password": "wrong",
            "new_password1": "slow bows, long tones",
            "new_password2": "slow bows, long tones",
        }
        assert client_of(teacher).post("/password", new).status_code == 422
        teacher.refresh_from_db()
        assert check_password(PASSWORD, teacher.password)


def test_passwords_are_kept_as_argon2():
    """The tests hash with something faster; the studio's own settings say argon2 first."""
    from studio import settings

    assert settings.PASSWORD_HASHERS[0] == "django.contrib.auth.hashers.Argon2PasswordHasher"


def test_argon2_can_be_used_here(settings, db):
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.Argon2PasswordHasher"]
    other = Teacher.objects.create_user(
        "b@example.org", "seven quiet up-bows", name="B", studio=Studio.objects.create(name="S")
    )
    assert other.password.startswith("argon2$argon2id$")
    assert check_password("seven quiet up-bows", other.password)
