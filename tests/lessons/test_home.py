"""The student's page at home as policy: who a link opens what for, what is kept from it."""

from __future__ import annotations

import hashlib
from datetime import UTC, date, datetime, timedelta
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
from django.core.cache import cache
from django.db import IntegrityError
from django.urls import reverse
from django.utils import timezone

from lessons import links
from lessons.assigning import StepPlan, assign, end
from lessons.home_models import HomePage, HomeQuestion, StudentLink, Tick
from lessons.models import Lesson
from lessons.sheets import issue_sheet
from lessons.views import home as home_views
from studio.models import Student


@pytest.fixture(autouse=True)
def fresh_counts():
    cache.clear()


def today() -> date:
    """The day in the studio, which is in London."""
    return timezone.localdate(timezone=ZoneInfo("Europe/London"))


@pytest.fixture
def now():
    return timezone.now().replace(microsecond=0)


def sheet_for(teacher, student, passage, marking, at, **more):
    lesson = Lesson.objects.create(
        teacher=teacher, student=student, number=1, starts=at - timedelta(minutes=40), sentence="Sing it first.",
        note="a note for the report", private_note="tired, trouble at school",
    )  # fmt: skip
    assign(
        student, begun=at.date(), passage=passage, marking=marking, steps=[StepPlan("Slowly", 60, 72, 4)],
        tempo_now=60, tempo_goal=80, minutes=12, listening_point="the last note",
    )  # fmt: skip
    return issue_sheet(student, lesson, at=at, **more)


@pytest.fixture
def token(teacher, student, passage, low, now):
    """A link of Mira's, and a sheet issued after it."""
    made, _ = links.make_link(student.pk, at=now - timedelta(days=1))
    sheet_for(teacher, student, passage, low, now)
    return links.grouped(made)


@pytest.fixture
def item(token):
    return HomePage.objects.get().content["items"][0]["id"]


def tick(client, link, number, **more):
    fields = {"what": "tick", "item": number, "day": today().isoformat(), "token": str(uuid4()), "done": "yes"}
    return client.post(
        reverse("home_keep", args=[link]), fields | more, headers={"X-Requested-With": "fetch"}
    )  # fmt: skip


def test_a_token_is_kept_as_its_digest_alone(student, now):
    token, link = links.make_link(student.pk, at=now)
    assert len(token) == 20
    assert set(token) <= set("abcdefghjkmnpqrstuvwxyz23456789")
    assert link.digest == hashlib.sha256(token.encode()).hexdigest()
    assert all(token not in str(value) for value in StudentLink.objects.values().get().values())
    assert link.expires - link.made == timedelta(days=120)


def test_a_link_can_be_typed_without_hyphens_or_in_capitals(client, token):
    answer = client.get(reverse("home", args=[token.replace("-", "").upper()]))
    assert answer.status_code == 302
    assert answer.headers["Location"] == reverse("home", args=[token])


def test_the_page_opens_without_signing_in_and_says_what_the_sheet_says(client, token):
    answer = client.get(reverse("home", args=[token]))
    page = answer.content.decode()
    assert answer.status_code == 200
    for words in (
        "Mira",
        "Sing it first.",
        "the last note",
        "Slowly",
        "Mill Stream: Opening",
        "never part of practice",
    ):
        assert words in page
    assert "Holt" not in page
    assert answer.headers["Referrer-Policy"] == "no-referrer"
    assert answer.headers["X-Robots-Tag"] == "noindex, nofollow"
    assert answer.headers["Cache-Control"] == "private, no-cache"
    assert "script-src 'self'" in answer.headers["Content-Security-Policy"]
    assert not answer.cookies


def test_unknown_expired_and_revoked_links_get_one_answer(client, token, student, now):
    expired, _ = links.make_link(student.pk, at=now - timedelta(days=121))
    revoked, link = links.make_link(student.pk, at=now)
    StudentLink.objects.filter(pk=link.pk).update(revoked=now)
    answers = [
        client.get(reverse("home", args=[links.grouped(t)])) for t in (expired, revoked, "abcdefghjkmnpqrstuvw", "x")
    ]
    assert [answer.status_code for answer in answers] == [404, 404, 404, 404]
    assert len({answer.content for answer in answers}) == 1
    assert {answer.headers["Referrer-Policy"] for answer in answers} == {"no-referrer"}
    assert tick(client, links.grouped(revoked), 1).status_code == 404
    assert client.get(reverse("home_worker", args=[links.grouped(expired)])).status_code == 404


def test_another_students_link_shows_and_keeps_for_that_student_only(client, teacher, token, item, passage, low, now):
    bram = Student.objects.create(teacher=teacher, first_name="Bram", surname="Oake")
    other, _ = links.make_link(bram.pk, at=now)
    page = client.get(reverse("home", args=[links.grouped(other)])).content.decode()
    assert "Nothing here yet" in page
    assert "Mira" not in page
    assert tick(client, links.grouped(other), item).status_code == 422
    sheet_for(teacher, bram, passage, low, now)
    page = client.get(reverse("home", args=[links.grouped(other)])).content.decode()
    assert "Bram" in page
    assert "Mira" not in page
    assert tick(client, links.grouped(other), item).status_code == 422  # Mira's item
    assert not Tick.objects.exists()


def test_wrong_methods(client, token):
    assert client.post(reverse("home", args=[token])).status_code == 405
    assert client.post(reverse("home_worker", args=[token])).status_code == 405
    assert client.get(reverse("home_keep", args=[token])).status_code == 405


def test_a_tick_is_kept_once_however_often_it_is_sent(client, token, item, student):
    same = str(uuid4())
    answers = [tick(client, token, item, token=same, minutes="15") for _ in range(3)]
    assert [answer.status_code for answer in answers] == [204, 204, 204]
    kept = Tick.objects.get()
    assert (kept.student, kept.title, kept.day, kept.minutes, kept.done) == (
        student, "Mill Stream: Opening", today(), 15, True,
    )  # fmt: skip


def test_the_last_touch_by_the_students_clock_holds(client, token, item, now):
    tick(client, token, item, done="no", made=(now - timedelta(minutes=5)).isoformat())
    tick(client, token, item, done="yes", made=(now - timedelta(minutes=30)).isoformat())  # arrives late
    assert (
        f'"{item} {today().isoformat()}": {{"done": false' in client.get(reverse("home", args=[token])).content.decode()
    )


def test_without_script_a_day_is_a_plain_form(client, token, item):
    answer = client.post(reverse("home_keep", args=[token]), {"what": "tick", "item": item, "day": today()})
    assert answer.status_code == 303
    assert answer.headers["Location"] == reverse("home", args=[token])
    assert Tick.objects.get().done


def test_a_clock_far_out_is_set_right(client, token, item, now):
    assert tick(client, token, item, made="0001-01-01T00:00:00+14:00").status_code == 204
    assert tick(client, token, item, made="9999-12-31T23:59:59-12:00").status_code == 204
    long_ago, late = sorted(Tick.objects.values_list("made", flat=True))
    assert now - timedelta(days=home_views.DAYS_BACK, minutes=5) <= long_ago <= late <= timezone.now()


def test_what_was_kept_is_not_refused_when_it_comes_again_at_the_limit(client, token, item, monkeypatch):
    monkeypatch.setattr(home_views, "TICKS_A_DAY", 1)
    once = str(uuid4())
    assert [tick(client, token, item, token=once).status_code for _ in range(2)] == [204, 204]
    assert tick(client, token, item).status_code == 422
    assert Tick.objects.count() == 1


def test_a_name_with_a_line_break_is_no_header(client_of, teacher, student, token):
    Student.objects.filter(pk=student.pk).update(first_name="Mira\nMay")
    sheet = student.sheets.get()
    for page in (reverse("sheet_pdf", args=[sheet.pk]), reverse("home_file", args=[sheet.pk])):
        told = client_of(teacher).get(page)["Content-Disposition"]
        assert "filename" in told
        assert "\n" not in told


@pytest.mark.parametrize(
    "wrong",
    [
        {"day": "2020-01-01"},
        {"day": (today() + timedelta(days=9)).isoformat()},
        {"day": "someday"},
        {"day": "2026-02-30"},
        {"item": "999999"},
        {"item": "x"},
        {"minutes": "9000"},
        {"token": "not-a-token"},
        {"what": "lesson"},
    ],
)
def test_what_does_not_fit_is_refused_in_words(client, token, item, wrong):
    answer = tick(client, token, item, **wrong)
    assert answer.status_code == 422
    assert answer.content.decode().endswith((".", "!"))
    assert not Tick.objects.exists()


def test_one_line_to_the_teacher_arrives_once_and_can_be_marked_as_read(client, client_of, token, teacher, student):
    fields = {"what": "question", "text": "Is bar 2  with the open string?", "token": str(uuid4())}
    for _ in range(2):
        client.post(reverse("home_keep", args=[token]), fields, headers={"X-Requested-With": "fetch"})
    question = HomeQuestion.objects.get()
    assert question.text == "Is bar 2 with the open string?"
    browser = client_of(teacher)
    assert "Is bar 2 with the open string?" in browser.get(reverse("student", args=[student.pk])).content.decode()
    lesson = student.lessons.get()
    assert "Is bar 2 with the open string?" in browser.get(reverse("lesson", args=[lesson.pk])).content.decode()
    answer = browser.post(reverse("question_seen", args=[question.pk]), {"lesson": lesson.pk})
    assert answer.headers["Location"] == reverse("lesson", args=[lesson.pk])
    assert "Is bar 2" not in browser.get(reverse("student", args=[student.pk])).content.decode()
    assert "read" in client.get(reverse("home", args=[token])).content.decode()


def test_the_teacher_sees_the_days_in_order_without_sums(client, client_of, token, item, teacher, student):
    day = today()
    tick(client, token, item, day=day.isoformat(), minutes="10")
    tick(client, token, item, day=(day - timedelta(days=1)).isoformat())
    page = client_of(teacher).get(reverse("student", args=[student.pk])).content.decode()
    first, second = f"{day - timedelta(days=1):%a} {(day - timedelta(days=1)).day}", f"{day:%a} {day.day}"
    assert page.index(f"{first} <span") < page.index(f"{second} <span")
    assert "10 min" in page


def test_an_item_of_the_sheet_before_can_still_be_ticked(client, token, item, student, teacher, passage, low, now):
    for work in student.assignments.all():
        end(work, on=today())
    assign(student, begun=today(), piece=passage.movement.revision.part.piece, bars="1-4")
    issue_sheet(student, student.lessons.get(), at=now + timedelta(hours=1))
    newest = HomePage.objects.first()
    assert [entry["id"] for entry in newest.content["items"]] != [item]
    assert tick(client, token, item, day=(today() - timedelta(days=1)).isoformat()).status_code == 204
    issue_sheet(student, student.lessons.get(), at=now + timedelta(hours=2))
    assert HomePage.objects.count() == 2
    assert tick(client, token, item).status_code == 422


def test_ticks_and_questions_of_a_day_are_bounded(client, token, item, monkeypatch):
    monkeypatch.setattr(home_views, "TICKS_A_DAY", 2)
    assert [tick(client, token, item).status_code for _ in range(3)] == [204, 204, 422]


def test_a_link_asked_for_too_often_has_to_wait(client, token, monkeypatch):
    monkeypatch.setattr(home_views, "PER_LINK", 3)
    answers = [client.get(reverse("home", args=[token])) for _ in range(4)]
    assert [answer.status_code for answer in answers] == [200, 200, 200, 429]
    assert answers[-1].headers["Retry-After"] == "600"


def test_guessing_from_one_address_is_stopped_even_for_what_would_be_right(client, token, monkeypatch):
    monkeypatch.setattr(home_views, "WRONG_PER_ADDRESS", 3)
    wrong = [client.get(reverse("home", args=[links.grouped(c * 20)])).status_code for c in "abc"]
    assert wrong == [404, 404, 404]
    assert client.get(reverse("home", args=[token])).status_code == 429
    assert client.get(reverse("home", args=[token]), REMOTE_ADDR="192.0.2.7").status_code == 200


def test_the_teacher_makes_renews_and_ends_links(client, client_of, teacher, student, token):
    browser = client_of(teacher)
    assert "open until" in browser.get(reverse("student", args=[student.pk])).content.decode()
    made = browser.post(reverse("link_make", args=[student.pk]))
    page = made.content.decode()
    assert made.status_code == 200
    assert made.headers["Cache-Control"] == "no-store"
    address = page.split('class="home-address" href="http://testserver', 1)[1].split('"', 1)[0]
    assert client.get(reverse("home", args=[token])).status_code == 404  # renewing ended the old one
    assert client.get(address).status_code == 200
    browser.post(reverse("link_end", args=[student.pk]))
    assert client.get(address).status_code == 404
    assert "no link" in browser.get(reverse("student", args=[student.pk])).content.decode()


@pytest.mark.parametrize("name", ["link_make", "link_end"])
def test_links_are_their_teachers_alone(name, client, client_of, teacher, colleague, stranger, student):
    address = reverse(name, args=[student.pk])
    assert client_of(colleague).post(address).status_code == 404
    assert client_of(stranger).post(address).status_code == 404
    assert client.post(address).status_code == 302
    assert client_of(teacher).get(address).status_code == 405
    assert client_of(teacher).post(address).status_code in (200, 302)


def test_questions_are_read_by_their_teacher_alone(client, client_of, teacher, colleague, stranger, student, now):
    question = HomeQuestion.objects.create(student=student, text="Which finger?", made=now)
    address = reverse("question_seen", args=[question.pk])
    assert client_of(colleague).post(address).status_code == 404
    assert client_of(stranger).post(address).status_code == 404
    assert client.post(address).status_code == 302
    assert client_of(teacher).get(address).status_code == 405


def test_each_sheet_issued_while_a_link_is_open_carries_a_link_of_its_own(client, student, teacher, passage, low, now):
    links.make_link(student.pk, at=now)
    sheet = sheet_for(teacher, student, passage, low, now, home="https://studio.home.arpa")
    printed = StudentLink.objects.get(sheet=sheet)
    assert printed.expires == now + timedelta(days=120)
    assert StudentLink.objects.count() == 2


def test_without_an_open_link_nothing_is_printed_and_no_page_made(student, teacher, passage, low, now):
    sheet_for(teacher, student, passage, low, now, home="https://studio.home.arpa")
    assert not StudentLink.objects.exists()
    assert not HomePage.objects.exists()


@pytest.mark.parametrize(
    ("base", "reached", "offline"),
    [
        ("https://studio.home.arpa", True, True),
        ("http://studio.home.arpa:8000", True, False),
        ("http://127.0.0.1:8000", False, True),
        ("http://localhost", False, True),
        ("", False, False),
    ],
)
def test_which_addresses_another_device_can_open_and_keep(base, reached, offline):
    assert links.can_reach(base) is reached
    assert links.can_stay_offline(base) is offline


def test_a_link_that_ends_before_it_begins_is_refused_by_the_database(student):
    with pytest.raises(IntegrityError):
        StudentLink.objects.create(
            student=student,
            digest="0" * 64,
            made=datetime(2026, 3, 2, tzinfo=UTC),
            expires=datetime(2026, 3, 1, tzinfo=UTC),
        )
