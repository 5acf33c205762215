"""What a student's left hand can do yet: the page, and what it keeps."""

from __future__ import annotations

import pytest
from django.test import Client

from studio.models import StudentHand

GIVEN = {"highest": "3", "positions": ["1", "3"], "small_hand": "on", "open_strings": "wanted"}


def test_who_may_come(client_of, teacher, colleague, stranger, student):
    url = f"/students/{student.pk}/hand"
    assert client_of(teacher).get(url).status_code == 200
    for other in (colleague, stranger):
        assert client_of(other).get(url).status_code == 404
        assert client_of(other).post(url, GIVEN).status_code == 404
    assert Client().get(url)["Location"].startswith("/sign-in")
    assert client_of(teacher).put(url).status_code == 405
    assert not StudentHand.objects.exists()


def test_limits_are_kept_and_told_on_the_details(client_of, teacher, student):
    client = client_of(teacher)
    answer = client.post(f"/students/{student.pk}/hand", GIVEN)
    assert answer["Location"] == f"/students/{student.pk}/details"
    hand = StudentHand.objects.get()
    assert (hand.student, hand.highest, hand.positions, hand.extensions) == (student, 3, [1, 3], False)
    assert (hand.small_hand, hand.open_strings, hand.avoid_fourth) == (True, "wanted", False)
    page = client.get(f"/students/{student.pk}/details").content.decode()
    assert "Up to 3rd position; knows 1st, 3rd position; no extensions; small hand; open strings wanted." in page
    client.post(f"/students/{student.pk}/hand", {"extensions": "on", "open_strings": ""})
    again = StudentHand.objects.get()
    assert (again.highest, again.positions, again.extensions, again.words) == (None, [], True, "")


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"highest": "99"}, "Choose one of those offered"),
        ({"highest": "1", "positions": ["3"]}, "The 3rd position lies above the highest"),
        ({"highest": "3", "positions": ["1", "4", "5"]}, "The 4th, 5th position lie above the highest"),
    ],
)
def test_what_does_not_fit_is_refused_and_kept_on_the_page(client_of, teacher, student, wrong, words):
    answer = client_of(teacher).post(f"/students/{student.pk}/hand", GIVEN | wrong)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not StudentHand.objects.exists()
