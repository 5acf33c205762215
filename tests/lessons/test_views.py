"""The pages of lessons as policy: the owner in, everyone else 404, nobody without signing in, no wrong method."""

from __future__ import annotations

import re
import uuid
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone

from lessons.assigning import AssignError, assign, end, set_state
from lessons.models import Assignment, Lesson, ListeningPoint, MarkingChange, Observation, Sheet, StateChange, Step
from lessons.observing import flag, observe, start_tempo
from lessons.views.lessons import other_day
from repertoire.models import Piece
from studio.models import Guardian, Guardianship, Student
from tests.lessons.conftest import TWO_BARS, make_passage

AT = datetime(2026, 3, 26, 16, 42, tzinfo=UTC)
JSON = {"HTTP_ACCEPT": "application/json"}


@pytest.fixture
def work(student, passage, low, high, lesson) -> Assignment:
    return assign(
        student,
        passage=passage,
        marking=low,
        to_try=[high],
        steps=["Slow", "Slurred"],
        tempo_now=60,
        tempo_goal=72,
        listening_point="fourth finger",
        begun=date(2026, 3, 19),
    )


@pytest.fixture
def addresses(lesson, work, student, passage) -> dict[str, tuple[str, str]]:
    """Each page with one object of the teacher's own, and what it allows."""
    seen = observe(lesson, work, outcome="same", at=AT)
    return {
        "student": (f"/students/{student.pk}/", "GET"),
        "lesson_new": (f"/students/{student.pk}/lessons/new", "GET POST"),
        "assign": (f"/students/{student.pk}/assign", "GET POST"),
        "lesson": (f"/lessons/{lesson.pk}", "GET"),
        "lesson_move": (f"/lessons/{lesson.pk}/time", "GET POST"),
        "lesson_remove": (f"/lessons/{lesson.pk}/remove", "POST"),
        "finish": (f"/lessons/{lesson.pk}/finish", "POST"),
        "observe": (f"/lessons/{lesson.pk}/observe", "POST"),
        "flag": (f"/lessons/{lesson.pk}/flag", "POST"),
        "heard": (f"/lessons/{lesson.pk}/heard", "POST"),
        "switch": (f"/lessons/{lesson.pk}/switch", "POST"),
        "note": (f"/lessons/{lesson.pk}/note", "POST"),
        "attendance": (f"/lessons/{lesson.pk}/attendance", "POST"),
        "undo": (f"/lessons/{lesson.pk}/undo", "POST"),
        "observation": (f"/lessons/observations/{seen.pk}", "GET POST"),
        "assignment": (f"/lessons/work/{work.pk}", "GET POST"),
        "excerpt": (f"/lessons/work/{work.pk}/excerpt", "GET"),
        "marking": (f"/lessons/work/{work.pk}/marking", "POST"),
        "place": (f"/lessons/work/{work.pk}/place", "POST"),
        "choose_student": (f"/lessons/assign?passage={passage.pk}", "GET"),
    }


OPEN_TO_EVERY_TEACHER = ("/", "/lessons/", "/lessons/new", "/find", "/find?q=mira")


def test_policy(addresses, client_of, teacher, colleague, stranger, client):
    counts = [model.objects.count() for model in (Observation, MarkingChange, ListeningPoint, Lesson)]
    for name, (address, methods) in addresses.items():
        mine = client_of(teacher)
        if "GET" in methods:
            assert mine.get(address).status_code == 200, name
        else:
            assert mine.get(address).status_code == 405, name
        if "POST" not in methods:
            assert mine.post(address).status_code == 405, name
        for method in methods.split():
            for person in (colleague, stranger):
                answer = getattr(client_of(person), method.lower())(address)
                assert answer.status_code == 404, (name, method, person)
            answer = getattr(client, method.lower())(address)
            assert (answer.status_code, answer.url.split("?")[0]) == (302, "/sign-in"), (name, method)
    for address in OPEN_TO_EVERY_TEACHER:
        assert client_of(teacher).get(address).status_code == 200, address
        assert client.get(address).status_code == 302, address
        page = client_of(stranger).get(address).content.decode()
        assert "Mira" not in page, address
    assert client_of(teacher).post("/").status_code == 405
    assert client_of(teacher).post("/find").status_code == 405
    assert client_of(teacher).post("/lessons/").status_code == 405
    assert counts == [model.objects.count() for model in (Observation, MarkingChange, ListeningPoint, Lesson)]


def test_the_objects_in_a_form_are_the_teachers_own(client_of, teacher, stranger, lesson, work, student):
    """What a form names is fetched with the same care as what the address names."""
    foreign_passage = make_passage(stranger)
    other = Student.objects.create(teacher=teacher, first_name="Noor")
    piece = Piece.objects.create(teacher=teacher, title="Scales")
    others_work = assign(other, piece=piece, steps=["Even"], begun=date(2026, 3, 19))
    step = others_work.steps.get()
    mine = client_of(teacher)
    tries = [
        (f"/lessons/{lesson.pk}/observe", {"assignment": others_work.pk, "outcome": "better"}),
        (f"/lessons/{lesson.pk}/observe", {"assignment": work.pk, "step": step.pk, "outcome": "better"}),
        (f"/lessons/{lesson.pk}/flag", {"assignment": others_work.pk, "text": "x"}),
        (f"/lessons/{lesson.pk}/flag", {"text": "x"}),
        (f"/lessons/{lesson.pk}/heard", {"point": 999}),
        (f"/lessons/{lesson.pk}/switch", {"assignment": work.pk, "marking": 999}),
        (f"/lessons/work/{work.pk}/marking", {"marking": 999}),
        (f"/students/{student.pk}/assign", {"passage": foreign_passage.pk}),
    ]
    for address, fields in tries:
        assert mine.post(address, fields).status_code == 404, (address, fields)
    assert mine.get(f"/lessons/assign?passage={foreign_passage.pk}").status_code == 404
    answer = mine.post("/lessons/new", {"student": 999, "on": "2026-03-26", "at": "16:30", "minutes": 30, "weeks": 1})
    assert answer.status_code == 422


def test_today(client_of, teacher, student, work, lesson, monkeypatch):
    Lesson.objects.all().update(starts=timezone.now())
    flag(lesson, work, address="b2n1", theme="intonation", at=AT)
    page = client_of(teacher).get("/").content.decode()
    for words in ("Mira", "14 inch viola", "bar 2, beat 1, A4: intonation", "fourth finger", "no sheet yet"):
        assert words in page, words
    Sheet.objects.create(
        student=student, lesson=lesson, number=1, issued=AT, paper="A4", file_name="x", sha256="0", pages=1, content={}
    )
    assert "sheet printed" in client_of(teacher).get("/").content.decode()


def test_an_empty_day_says_what_is_next(client_of, teacher, student, lesson):
    Lesson.objects.all().update(starts=timezone.now() + timedelta(days=3), number=7)
    page = client_of(teacher).get("/").content.decode()
    assert "No lessons today." in page
    assert "Next" in page
    assert f"/lessons/{lesson.pk}" in page


def test_today_lists_what_is_unfinished_and_unprinted(client_of, teacher, student, lesson):
    Lesson.objects.create(teacher=teacher, student=student, number=2, starts=timezone.now() + timedelta(days=1))
    page = client_of(teacher).get("/").content.decode()
    assert f"/lessons/{lesson.pk}#finish" in page
    assert "1 of 1 sheet not printed yet" in page


def test_student_page(client_of, teacher, student, work):
    anna = Guardian.objects.create(teacher=teacher, name="Anna Holt", phone="0200 000000")
    Guardianship.objects.create(student=student, guardian=anna, relation="mother")
    page = client_of(teacher).get(f"/students/{student.pk}/").content.decode()
    for words in ("Mira", "14 inch viola", "Opening", "First position", "crotchet = 60", "72", "<details", "Anna Holt"):
        assert words in page, words
    assert page.index("<details") < page.index("Anna Holt")
    assert 'class="engraving"' in page


def test_finding(client_of, teacher, student, passage):
    find = client_of(teacher)
    assert "Mira Holt" in find.get("/find?q=hol").content.decode()
    assert "Opening" in find.get("/find?q=mill+open").content.decode()
    assert f"{passage.movement.revision.part}, bars" in find.get("/find?q=mill+open").content.decode()
    assert "Nothing of" in find.get("/find?q=mill+zebra").content.decode()
    assert "&lt;b&gt;" in find.get("/find?q=<b>").content.decode()


def test_accents_and_capitals_dont_matter_when_finding(client_of, teacher, student, passage):
    piece = passage.movement.revision.part.piece
    piece.title, piece.composer = "Étude in fis", "Łucja Dvořáková"
    piece.save()
    student.first_name = "Søren"
    student.save()
    find = client_of(teacher)
    for words in ("etude", "ÉTUDE", "dvorakova", "DVOŘÁK", "lucja étude"):
        assert "Étude in fis" in find.get("/find", {"q": words}).content.decode(), words
    assert "Søren" in find.get("/find", {"q": "soren"}).content.decode()


def test_finding_costs_the_same_however_much_there_is(
    client_of, teacher, student, passage, django_assert_max_num_queries
):
    find = client_of(teacher)
    find.get("/find?q=o")
    for number in range(30):
        make_passage(teacher, title=f"Opening {number}", notes=TWO_BARS)
    with django_assert_max_num_queries(12):
        body = find.get("/find?q=opening").content.decode()
    assert body.count("/repertoire/passages/") == 25


def test_assigning_in_few_steps(client_of, teacher, student, passage, low, high):
    mine = client_of(teacher)
    address = f"/students/{student.pk}/assign"
    assert f"?passage={passage.pk}" in mine.get(f"{address}?q=mill").content.decode()
    form = mine.get(f"{address}?passage={passage.pk}&marking={low.pk}").content.decode()
    assert f'value="{low.pk}" checked' in form
    assert form.count('class="engraving"') == 3  # as printed, first and third position
    answer = mine.post(
        address,
        {
            "passage": passage.pk,
            "marking": low.pk,
            "to_try": [high.pk],
            "steps": "Slow\r\n\r\n Slurred ",
            "tempo_now": 60,
            "tempo_goal": 72,
            "tempo_unit": "dotted quarter",
            "listening_point": "",
            "minutes": 10,
            "state": "new",
        },
    )
    assert (answer.status_code, answer.url) == (302, f"/students/{student.pk}/")
    given = Assignment.objects.get()
    assert (given.marking, given.tempo_unit, given.minutes) == (low, "dotted quarter", 10)
    assert [s.text for s in given.steps.all()] == ["Slow", "Slurred"]
    assert mine.get(f"{address}?passage={passage.pk}").url == f"/lessons/work/{given.pk}"


def test_an_assignment_that_does_not_fit_comes_back_with_its_words(client_of, teacher, student, passage, low):
    answer = client_of(teacher).post(
        f"/students/{student.pk}/assign",
        {
            "passage": passage.pk,
            "marking": low.pk,
            "steps": "Slow",
            "tempo_now": 900,
            "tempo_unit": "quarter",
            "state": "new",
        },
    )
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Slow</textarea>" in page
    assert 'value="900"' in page
    assert not Assignment.objects.exists()


def test_bars_of_a_piece(client_of, teacher, student):
    piece = Piece.objects.create(teacher=teacher, title="Evening Study")
    answer = client_of(teacher).post(
        f"/students/{student.pk}/assign",
        {"piece": piece.pk, "bars": "9–16", "steps": "", "tempo_unit": "quarter", "state": "new"},
    )
    assert answer.status_code == 302
    assert str(Assignment.objects.get()) == "Evening Study, 9–16"


def test_the_plan_of_an_assignment(client_of, teacher, work):
    answer = client_of(teacher).post(
        f"/lessons/work/{work.pk}",
        {"steps": "Slurred\nWith dynamics", "tempo_now": 66, "tempo_goal": 80, "tempo_unit": "half", "state": "secure",
         "listening_point": "thumb", "state_on": "2026-03-12", "state_reason": "by heart"},
    )  # fmt: skip
    assert answer.status_code == 302
    turn = work.state_changes.get()
    assert (turn.after, turn.reason, turn.at) == ("secure", "by heart", datetime(2026, 3, 12, 12, tzinfo=UTC))
    late = {"steps": "", "tempo_unit": "half", "state": "working", "state_on": "2999-01-01"}
    answer = client_of(teacher).post(f"/lessons/work/{work.pk}", late)
    assert answer.status_code == 422
    assert "Choose today or an earlier day." in answer.content.decode()
    work.refresh_from_db()
    assert (work.tempo_now, work.tempo_unit, work.state, work.minutes) == (66, "half", "secure", None)
    assert [s.text for s in Step.objects.filter(assignment=work, ended=None)] == ["Slurred", "With dynamics"]


def test_changing_the_marking_with_a_reason(client_of, teacher, work, high, low):
    mine = client_of(teacher)
    mine.post(f"/lessons/work/{work.pk}/marking", {"marking": high.pk, "reason": "for the dry hall"})
    work.refresh_from_db()
    assert work.marking == high
    page = mine.get(f"/lessons/work/{work.pk}").content.decode()
    assert "for the dry hall" in page
    mine.post(f"/lessons/work/{work.pk}/marking", {"to_try": []})
    assert not work.to_try.exists()


@pytest.mark.parametrize("wish, state, ended", [("resting", "resting", False), ("ended", "new", True)])
def test_resting_and_ending(client_of, teacher, work, wish, state, ended):
    mine = client_of(teacher)
    assert mine.post(f"/lessons/work/{work.pk}/place", {"wish": wish}).status_code == 302
    work.refresh_from_db()
    assert (work.state, work.ended is not None) == (state, ended)
    mine.post(f"/lessons/work/{work.pk}/place", {"wish": "resume"})
    work.refresh_from_db()
    assert work.ended is None
    assert work.state != "resting"


def test_a_start_tempo_is_no_observation(client_of, teacher, lesson, work):
    Assignment.objects.update(tempo_now=None, tempo_goal=None)
    mine, base = client_of(teacher), f"/lessons/{lesson.pk}"
    page = mine.get(base).content.decode()
    assert 'aria-label="Start tempo: 60"' in page
    assert "no tempo yet: + sets the start tempo, 60" in page
    mine.post(f"{base}/observe", {"assignment": work.pk, "tempo": "60", "start": "yes"})
    work.refresh_from_db()
    assert work.tempo_now == 60
    assert not Observation.objects.exists()
    mine.post(f"{base}/observe", {"assignment": work.pk, "tempo": "72", "start": "yes"})  # late: one stands already
    work.refresh_from_db()
    assert work.tempo_now == 60
    mine.post(f"{base}/observe", {"assignment": work.pk, "tempo": "63"})
    assert [o.tempo for o in Observation.objects.all()] == [63]
    assert (
        '<span class="undo-verb">Undo:</span> <span class="undo-what" data-undo-words>tempo 63'
        in mine.get(base).content.decode()
    )


def test_a_start_tempo_is_the_goal_where_there_is_one(work):
    work.tempo_goal = 84
    assert start_tempo(work) == 84
    work.tempo_goal = None
    assert start_tempo(work) == 60


@pytest.mark.parametrize(
    ("on", "words"),
    [
        (date(2026, 12, 2), "is on Wed 2 Dec (in 7 days)"),
        (date(2026, 11, 26), "is on Thu 26 Nov (tomorrow)"),
        (date(2026, 11, 25), ""),
        (date(2026, 11, 24), "was on Tue 24 Nov (yesterday)"),
        (date(2026, 11, 18), "was on Wed 18 Nov (7 days ago)"),
    ],
)
def test_a_lesson_of_another_day_says_so(on, words):
    assert other_day(on, date(2026, 11, 25)) == words


def test_a_lesson_with_plain_forms(client_of, teacher, lesson, work, high):
    mine = client_of(teacher)
    page = mine.get(f"/lessons/{lesson.pk}").content.decode()
    assert page.index("<h1>Mira</h1>") < page.index("Opening")
    step = work.steps.first()
    base = f"/lessons/{lesson.pk}"
    answer = mine.post(f"{base}/observe", {"assignment": work.pk, "step": step.pk, "outcome": "better"})
    assert (answer.status_code, answer.url) == (302, f"{base}#a{work.pk}")
    mine.post(f"{base}/observe", {"assignment": work.pk, "tempo": "63"})
    mine.post(f"{base}/observe", {"assignment": work.pk, "text": "thumb soft", "theme": "left hand", "shared": "on"})
    mine.post(f"{base}/flag", {"assignment": work.pk, "address": "b2n1", "theme": "tone"})
    assert [(o.step, o.outcome, o.tempo, o.theme, o.text, o.shared) for o in Observation.objects.all()] == [
        (step, "better", None, "", "", False),
        (None, "", 63, "", "", False),
        (None, "", None, "left hand", "thumb soft", True),
    ]
    point = ListeningPoint.objects.get()
    mine.post(f"{base}/heard", {"point": point.pk})
    point.refresh_from_db()
    assert (point.settled is not None, point.settled_in) == (True, lesson)
    for _ in range(2):
        mine.post(f"{base}/undo", {"undoes": str(point.token), "reopen": "yes"})
        point.refresh_from_db()
        assert point.settled is None
    mine.post(f"{base}/heard", {"point": point.pk})
    mine.post(f"{base}/switch", {"assignment": work.pk, "marking": high.pk, "reason": "warmer"})
    assert MarkingChange.objects.get().lesson == lesson
    mine.post(f"{base}/note", {"note": "Good tone", "private_note": "tired"})
    lesson.refresh_from_db()
    assert (lesson.note, lesson.private_note, lesson.note_version) == ("Good tone", "tired", 1)
    mine.post(f"{base}/undo")  # the marking
    work.refresh_from_db()
    assert work.marking.name == "First position"


def test_nothing_to_note_is_told(client_of, teacher, lesson, work):
    mine = client_of(teacher)
    answer = mine.post(f"/lessons/{lesson.pk}/observe", {"assignment": work.pk}, follow=True)
    assert "nothing to note yet" in answer.content.decode()
    answer = mine.post(f"/lessons/{lesson.pk}/observe", {"assignment": work.pk}, **JSON)
    assert answer.status_code == 422
    assert "nothing to note yet" in answer.json()["error"]


def test_what_the_script_sends_twice_late_is_stored_once_with_its_time(client_of, teacher, lesson, work):
    mine, token = client_of(teacher), str(uuid.uuid4())
    made = timezone.now() - timedelta(minutes=20)
    sent = {"assignment": work.pk, "outcome": "better", "token": token, "made_at": made.isoformat()}
    for _ in range(2):
        answer = mine.post(f"/lessons/{lesson.pk}/observe", sent, **JSON)
        assert set(answer.json()["parts"]) == {f"work-{work.pk}", "last-action"}
    seen = Observation.objects.get()
    assert (str(seen.token), seen.at) == (token, made)
    for _ in range(2):
        undone = mine.post(f"/lessons/{lesson.pk}/undo", {"undoes": token, "token": str(uuid.uuid4())}, **JSON)
        assert undone.status_code == 200
    assert Observation.objects.count() == 2
    assert not Observation.objects.standing().exists()


@pytest.mark.parametrize("made_at", ["", "yesterday", "2999-01-01T00:00:00Z", "1999-01-01T00:00:00Z"])
def test_a_time_that_cannot_be_is_now(client_of, teacher, lesson, work, made_at):
    before = timezone.now()
    client_of(teacher).post(
        f"/lessons/{lesson.pk}/observe", {"assignment": work.pk, "outcome": "same", "made_at": made_at}, **JSON
    )
    assert before <= Observation.objects.get().at <= timezone.now()


def test_two_pages_with_one_note(client_of, teacher, lesson):
    mine = client_of(teacher)
    address, one, other = f"/lessons/{lesson.pk}/note", str(uuid.uuid4()), str(uuid.uuid4())
    saved = mine.post(address, {"note": "A", "writer": one, "base": 0}, **JSON)
    assert saved.json()["version"] == 1
    clash = mine.post(address, {"note": "B", "writer": other, "base": 0}, **JSON)
    assert (clash.status_code, clash.json()["note"], clash.json()["version"]) == (409, "A", 1)
    mine.post(address, {"note": "B", "writer": other, "base": 1}, **JSON)
    lesson.refresh_from_db()
    assert lesson.note == "B"


def test_correcting_an_observation(client_of, teacher, lesson, work):
    mine = client_of(teacher)
    seen = observe(lesson, work, outcome="same", text="flat", at=AT)
    address = f"/lessons/observations/{seen.pk}"
    assert "flat" in mine.get(address).content.decode()
    assert mine.post(address, {"outcome": "same", "text": "sharp"}).status_code == 302
    assert [o.text for o in Observation.objects.standing()] == ["sharp"]
    assert mine.post(address, {"outcome": "same", "text": "again"}).status_code == 422
    assert mine.post(address, {"outcome": "", "text": ""}).status_code == 422


def test_finishing(client_of, teacher, lesson, work, student):
    piece = Piece.objects.create(teacher=teacher, title="Scales")
    scales = assign(student, piece=piece, bars="D", begun=date(2026, 3, 19))
    mine, address = client_of(teacher), f"/lessons/{lesson.pk}/finish"
    assert mine.post(address, {"attendance": ""}).status_code == 422
    assert mine.post(address, {"attendance": "asleep"}, **JSON).status_code == 422
    answer = mine.post(
        address, {"attendance": "attended", "sentence": "Sing first", f"next-{scales.pk}": "ended", "then": "today"}
    )
    assert (answer.status_code, answer.url) == (302, "/")
    for thing in (lesson, work, scales):
        thing.refresh_from_db()
    assert (lesson.attendance, lesson.sentence, lesson.finished is not None) == ("attended", "Sing first", True)
    assert (work.state, work.ended) == ("working", None)
    assert scales.ended == date(2026, 3, 26)


def test_attendance_is_all_a_missed_lesson_needs(client_of, teacher, lesson):
    client_of(teacher).post(f"/lessons/{lesson.pk}/attendance", {"attendance": "excused", "close": "yes"})
    lesson.refresh_from_db()
    assert (lesson.attendance, lesson.finished is not None) == ("excused", True)
    client_of(teacher).post(f"/lessons/{lesson.pk}/attendance", {"attendance": "asleep"})
    lesson.refresh_from_db()
    assert lesson.attendance == ""


def test_the_wrong_childs_page_is_noticed(client_of, teacher, lesson):
    noor = Student.objects.create(teacher=teacher, first_name="Noor")
    now = Lesson.objects.create(teacher=teacher, student=noor, number=1, starts=timezone.now() - timedelta(minutes=5))
    page = client_of(teacher).get(f"/lessons/{lesson.pk}").content.decode()
    assert "open the lesson with Noor" in page
    assert f"/lessons/{now.pk}" in page
    assert "At this time" not in client_of(teacher).get(f"/lessons/{now.pk}").content.decode()


@pytest.mark.parametrize(("ago", "ahead"), [(0, 7), (3, 4), (7, 0), (8, 6)])
def test_a_new_lesson_is_proposed_on_the_usual_day(client_of, teacher, student, ago, ahead):
    zone = ZoneInfo(teacher.studio.timezone)
    today = timezone.localdate(timezone=zone)
    at = datetime.combine(today - timedelta(days=ago), time(17, 10), zone)
    Lesson.objects.filter(student=student).delete()
    Lesson.objects.create(teacher=teacher, student=student, number=9, starts=at, minutes=45)
    form = client_of(teacher).get(f"/students/{student.pk}/lessons/new").context["form"]
    assert form["on"].value() == today + timedelta(days=ahead)
    assert (form["at"].value(), form["minutes"].value()) == (time(17, 10), 45)


@pytest.mark.parametrize(
    "address",
    [
        "/sheets/tomorrow?day=2026-02-30", "/lessons/?on=9999-12-31", "/lessons/?on=0001-01-01&by=month",
        "/students/{}/history?piece=²", "/students/{}/history?days=٣", "/students/{}/history?piece=" + "9" * 40,
        "/students/{}/report?until=0001-01-01",
    ],
)  # fmt: skip
def test_days_and_numbers_that_are_none_are_passed_over(client_of, teacher, student, lesson, address):
    assert client_of(teacher).get(address.format(student.pk)).status_code == 200


def test_ended_work_keeps_its_state_until_it_is_taken_up_again(client_of, teacher, student, work):
    end(work, on=date(2026, 11, 20))
    with pytest.raises(AssignError, match="Take it up again first"):
        set_state(work, "secure", at=timezone.now())
    assert [change.after for change in work.state_changes.all()] == [StateChange.ENDED]


def test_a_lesson_begins_with_what_was_last_time(client_of, teacher, student, lesson, work):
    """Note and sentence of the lesson before, and all that was noted of each work when it was last heard."""
    step = work.steps.create(text="Thumb light")
    lesson.note, lesson.private_note, lesson.sentence = "Shift begun.", "call the father", "Sing first"
    lesson.attendance = "attended"
    lesson.save()
    observe(lesson, work, at=lesson.starts, step=step, outcome="not yet")
    observe(lesson, work, at=lesson.starts, tempo=69)
    week = timedelta(days=7)
    Lesson.objects.create(
        teacher=teacher, student=student, number=2, starts=lesson.starts + week, attendance="cancelled", note="ill"
    )
    now = Lesson.objects.create(teacher=teacher, student=student, number=3, starts=lesson.starts + 2 * week)
    observe(now, work, at=now.starts, outcome="better")
    page = client_of(teacher).get(f"/lessons/{now.pk}").content.decode()
    before = page.partition('class="lesson-before"')[2].partition("</details>")[0]
    for words in ("Last time, 26 March", "Shift begun.", "call the father", "Sing first"):
        assert words in before
    assert "ill" not in before
    told = " ".join(re.sub("<[^>]+>", " ", page.partition('class="last-time"')[2].partition("</p>")[0]).split())
    assert told == "> 26 Mar: not yet “Thumb light” · 69 reached"
    first = client_of(teacher).get(f"/lessons/{lesson.pk}").content.decode()
    assert 'class="lesson-before"' not in first
    assert 'class="last-time"' not in first
    own = client_of(teacher).get(f"/students/{student.pk}/").content.decode()
    assert "26 Mar: not yet" not in own, "the newest lesson that heard it is told"


def test_assigning_from_a_lesson_leads_back_to_it(client_of, teacher, student, lesson, passage):
    mine = client_of(teacher)
    assert f"/assign?lesson={lesson.pk}" in mine.get(f"/lessons/{lesson.pk}").content.decode()
    choose = mine.get(f"/students/{student.pk}/assign?lesson={lesson.pk}").content.decode()
    assert f"?passage={passage.pk}&amp;lesson={lesson.pk}" in choose
    address = f"/students/{student.pk}/assign"
    form = mine.get(f"{address}?passage={passage.pk}&lesson={lesson.pk}").content.decode()
    assert f'<a href="/lessons/{lesson.pk}">Cancel</a>' in form
    answer = mine.post(
        address,
        {"passage": passage.pk, "lesson": lesson.pk, "steps": "", "tempo_unit": "quarter", "state": "new",
         "marking": passage.markings.get().pk},
    )  # fmt: skip
    given = Assignment.objects.get()
    assert answer["Location"] == f"/lessons/{lesson.pk}#a{given.pk}"
    assert given.assigned_in == lesson
    other = Student.objects.create(teacher=teacher, first_name="Noor")
    foreign = mine.get(f"/students/{other.pk}/assign?lesson={lesson.pk}").content.decode()
    assert f"/lessons/{lesson.pk}" not in foreign


def test_passages_of_the_instrument_a_student_plays_come_first(client_of, teacher, student, passage):
    violin = make_passage(teacher, title="Newer", piece="Ferry")
    part = violin.movement.revision.part
    part.name, part.instrument = "Violin", "violin"
    part.save()
    page = client_of(teacher).get(f"/students/{student.pk}/assign").content.decode()
    assert "Ferry: Violin" in page
    assert page.index("Mill Stream: Viola") < page.index("Ferry: Violin"), "Mira plays the viola"
    student.instruments.all().delete()
    page = client_of(teacher).get(f"/students/{student.pk}/assign").content.decode()
    assert page.index("Ferry: Violin") < page.index("Mill Stream: Viola"), "the newest first"


def test_a_colleagues_first_day_leads_to_the_pieces_that_are_there(client_of, colleague, stranger, teacher):
    Piece.objects.create(teacher=teacher, title="Mill Stream")
    there, empty = (client_of(each).get("/").content.decode() for each in (colleague, stranger))
    assert "No students yet" in there
    assert "A new studio" not in there
    assert "A new studio" in empty
