"""Who may open and send what, for every page of accounts, people and settings."""

from __future__ import annotations

import pytest
from django.urls import reverse

from studio.models import Guardian, Guardianship

OWN = {  # pages of one student or guardian: name, then the methods they take
    "student_edit": "GET POST",
    "instrument_new": "GET POST",
    "instrument_edit": "GET POST",
    "instrument_end": "POST",
    "instrument_remove": "POST",
    "guardian_add": "GET POST",
    "guardian_remove": "POST",
    "guardian_edit": "GET POST",
    "student_export": "GET",
    "student_erase": "GET POST",
}
GENERAL = {"students": "GET", "student_new": "GET POST", "settings": "GET POST", "password_change": "GET POST"}


@pytest.fixture
def address(student):
    """The address of a page by its name, for Mira, her viola and her mother Ines."""
    ines = Guardian.objects.create(teacher=student.teacher, name="Ines Holt")
    tie = Guardianship.objects.create(student=student, guardian=ines, relation="mother")
    viola = student.instruments.get()

    def of(name):
        if name in GENERAL:
            return reverse(name)
        if name == "guardian_edit":
            return reverse(name, args=[ines.pk])
        last = {"instrument_edit": viola, "instrument_end": viola, "instrument_remove": viola, "guardian_remove": tie}
        return reverse(name, args=[student.pk, last[name].pk] if name in last else [student.pk])

    return of


@pytest.mark.parametrize("name", [*OWN, *GENERAL])
class TestEveryPage:
    def test_it_works(self, name, address, client_of, teacher):
        if "GET" in {**OWN, **GENERAL}[name]:
            assert client_of(teacher).get(address(name)).status_code == 200
        else:
            assert client_of(teacher).post(address(name)).status_code == 302

    def test_anonymous_is_sent_to_sign_in(self, name, address, client, teacher):
        page = address(name)
        answer = client.get(page)
        assert (answer.status_code, answer["Location"]) == (302, f"/sign-in?next={page}")
        assert client.post(page).status_code == 302

    def test_wrong_method(self, name, address, client_of, teacher):
        me = client_of(teacher)
        assert me.delete(address(name)).status_code == 405
        methods = {**OWN, **GENERAL}[name].split()
        if "POST" not in methods:
            assert me.post(address(name)).status_code == 405
        if "GET" not in methods:
            assert me.get(address(name)).status_code == 405


@pytest.mark.parametrize("name", OWN)
class TestOtherPeoplesPages:
    def test_colleague_and_stranger_find_nothing(self, name, address, client_of, colleague, stranger):
        for person in (colleague, stranger):
            other = client_of(person)
            if "GET" in OWN[name]:
                assert other.get(address(name)).status_code == 404
            if "POST" in OWN[name]:
                assert other.post(address(name), {}).status_code == 404


def test_a_period_of_another_student_is_not_found_under_this_one(client_of, teacher, student):
    jonas = type(student).objects.create(teacher=teacher, first_name="Jonas")
    page = reverse("instrument_edit", args=[jonas.pk, student.instruments.get().pk])
    assert client_of(teacher).get(page).status_code == 404


def test_the_list_shows_ones_own_students_only(client_of, teacher, colleague, student):
    assert b"Mira" in client_of(teacher).get("/students/").content
    assert b"Mira" not in client_of(colleague).get("/students/").content


@pytest.mark.django_db
def test_health_needs_no_account_and_takes_no_post(client):
    assert client.get("/healthz").content == b"ok\n"
    assert client.post("/healthz").status_code == 405
