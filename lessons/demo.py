"""The demonstration: an invented studio told from fixtures/scenario.json, week by week.

Weeks count back from the one the demonstration is loaded in, so that it always ends now.
What happened is played through the same functions the pages use, in the order it happened:
a sheet issued eight weeks ago says what it would have said eight weeks ago. The quartet
parts are read from the corpus that the installed music21 carries; nothing is downloaded.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import music21
from django.conf import settings
from django.db import transaction
from django.utils import timezone

from lessons import assigning, observing
from lessons.breaks import Break, Recital
from lessons.demo_dates import weeks_ago
from lessons.for_the_instrument import moved_for
from lessons.handing_over import hand_over
from lessons.home_demo import practise_at_home
from lessons.home_pages import open_page
from lessons.models import Assignment, Lesson, Phrase
from lessons.practice import FORMAT
from lessons.sheets import issue_sheet
from lessons.step_pictures import keep_step_picture
from repertoire.bounds import bounds_of, read_bounds
from repertoire.excerpts import movement_notes
from repertoire.importing import TYPED_NAME, add_part, add_part_without_notation, make_passage, store_part
from repertoire.markings import make_marking, marks_of, printed_marking
from repertoire.models import Marking, Part, Passage, Piece, Revision
from repertoire.notation.abc import read_text
from repertoire.notation.scans import Crop
from repertoire.pictures import keep_upload, make_picture_passage
from repertoire.sharing import share
from repertoire.technique.marks import Mark, Marks, put
from studio.models import Guardian, Guardianship, InstrumentPeriod, Student, Studio, Teacher

SCENARIO = "scenario.json"
WEEKS_AHEAD = 3
PRINTED_WEEKS_AGO = 17  # when the parts came in


class DemoError(Exception):
    """The demonstration can't be loaded here; the message says why."""


@dataclass
class _Stage:
    """What has been made so far, by the scenario's keys."""

    teacher: Teacher
    colleague: Teacher
    zone: ZoneInfo
    monday: date  # of the week the demonstration is loaded in
    now: datetime
    say: Callable[[str], object]
    pieces: dict[str, Piece] = field(default_factory=dict)
    passages: dict[str, Passage] = field(default_factory=dict)
    markings: dict[str, Marking] = field(default_factory=dict)
    kept: Mapping[str, int] = field(default_factory=dict)  # by version, the week it was kept before
    home: str = ""  # how the addresses of pages at home begin
    tell: Callable[[str], object] = print

    def sunday(self, weeks_ago: int) -> datetime:
        """The evening before a week, when it is prepared."""
        return datetime.combine(self.day(weeks_ago, -1), time(20), self.zone)

    def day(self, weeks_ago: int, weekday: int = 0) -> date:
        return self.monday - timedelta(weeks=weeks_ago) + timedelta(days=weekday)


def _silent(words: str) -> None:
    """Nobody listens."""


def load_demo(
    password: str,
    say: Callable[[str], object] = _silent,
    *,
    now: datetime | None = None,
    home: str = "",
    tell: Callable[[str], object] = _silent,
) -> bool:
    """Load the demonstration into an empty database; False when it is there already.

    `say` hears what is made as it is made, `tell` the addresses of the pages at home, which begin
    with `home` and can't be shown again.

    Raises DemoError where a real studio's data lies: nothing of it is touched.
    """
    scenario = json.loads((Path(settings.BASE_DIR) / "fixtures" / SCENARIO).read_text(encoding="utf-8"))
    email = scenario["teacher"]["email"]
    if Teacher.objects.filter(email=email).exists():
        return False
    if Teacher.objects.exists():
        raise DemoError("This folder holds a real studio: load the demonstration into a data folder of its own.")
    now = now or timezone.now()
    with transaction.atomic():
        studio = Studio.objects.create(**scenario["studio"])
        zone = ZoneInfo(studio.timezone)
        today = now.astimezone(zone).date()
        teacher, colleague = (
            Teacher.objects.create_user(told["email"], password, name=told["name"], studio=studio)
            for told in (scenario["teacher"], scenario["colleague"])
        )
        stage = _Stage(
            teacher,
            colleague,
            zone,
            today - timedelta(days=today.weekday()),
            now,
            say,
            kept=weeks_ago(scenario),
            home=home,
            tell=tell,
        )
        for piece in scenario["pieces"]:
            _add_piece(stage, piece)
        for cut in scenario["shared_by_colleague"]:
            _add_hers(stage, cut)
        for key in scenario["shared"]:
            share(stage.markings[key])
        Phrase.objects.bulk_create(Phrase(teacher=teacher, used=1, **phrase) for phrase in scenario["phrases"])
        _add_breaks(stage, scenario)
        guardians: dict[str, Guardian] = {}
        for student in scenario["students"]:
            _add_student(stage, student, guardians)
    return True


def _add_piece(stage: _Stage, told: Mapping[str, Any]) -> None:
    piece = Piece.objects.create(teacher=stage.teacher, title=told["title"], composer=told["composer"])
    stage.pieces[told["key"]] = piece
    stage.say(piece.title)
    if "bars" in told:
        part = add_part_without_notation(piece, [told["bars"]], edition=told.get("edition", ""))
        Part.objects.filter(pk=part.pk).update(rights=told.get("rights", ""))
        for cut in told.get("passages", ()):
            _add_picture(stage, part, cut)
        return
    part = _typed_part(piece, told) if "typed" in told else _read_part(piece, told)
    revision = part.revision
    assert revision is not None
    movement = revision.movements.select_related("revision").order_by("number")[0]
    line, _ = movement_notes(movement)
    for cut in told["passages"]:
        passage = make_passage(
            movement,
            stage.teacher,
            read_bounds(cut["bars"], line),
            title=cut["title"],
            purpose=cut["purpose"],
        )
        stage.passages[cut["key"]] = passage
        for version in cut["markings"]:
            _add_marking(stage, passage, version)


def _add_picture(stage: _Stage, part: Part, told: Mapping[str, Any]) -> None:
    """A passage of a printed book: its picture, straightened and cropped as a teacher would."""
    revision = part.revision
    assert revision is not None
    movement = revision.movements.select_related("revision__part__piece").get()
    how = dict(told["picture"])
    path = _fixture(how.pop("file"))
    upload = keep_upload(movement, stage.teacher, path.read_bytes(), path.name)
    bounds = read_bounds(told["bars"], None, movement.bar_count)
    passage = make_picture_passage(upload, bounds, Crop(**how), title=told["title"], purpose=told["purpose"])
    stage.passages[told["key"]] = passage
    for version in told["markings"]:
        _add_marking(stage, passage, version)


def _add_hers(stage: _Stage, told: Mapping[str, Any]) -> None:
    """The colleague's own passage of the same bars, with her markings."""
    like = stage.passages[told["like"]]
    passage = make_passage(like.movement, stage.colleague, bounds_of(like), title=like.title)
    for version in told["markings"]:
        _add_marking(replace(stage, teacher=stage.colleague), passage, version)


def _read_part(piece: Piece, told: Mapping[str, Any]) -> Part:
    path = _corpus_file(told["corpus"]) if "corpus" in told else _fixture(told["file"])
    return add_part(piece, path.read_bytes(), path.name, told["part"], edition=told["edition"], rights=told["rights"])


def _typed_part(piece: Piece, told: Mapping[str, Any]) -> Part:
    """A part as if its text had been typed in."""
    content = _fixture(told["typed"]).read_bytes()
    read = read_text(content.decode(), instrument=told["part"].lower()).part
    assert read is not None
    return store_part(
        piece,
        read,
        content,
        TYPED_NAME,
        name=told["part"],
        edition=told["edition"],
        rights=told["rights"],
        source=Revision.Source.ABC,
    )


def _fixture(name: str) -> Path:
    return Path(settings.BASE_DIR) / "fixtures" / name


def _corpus_file(name: str) -> Path:
    for ending in (".mxl", ".xml", ".musicxml"):
        path = Path(music21.common.getCorpusFilePath()) / f"{name}{ending}"
        if path.exists():
            return path
    raise DemoError(f"The installed music21 has no corpus file {name}.")


def _add_marking(stage: _Stage, passage: Passage, told: Mapping[str, Any]) -> None:
    printed = printed_marking(passage, stage.teacher, stage.sunday(PRINTED_WEEKS_AGO))
    parent = printed if told["parent"] == "printed" else stage.markings[told["parent"]]
    marks = _without(marks_of(parent), told["take"], told["name"])
    for raw in told["put"]:
        marks = put(marks, Mark.from_json(raw))
    stage.markings[told["key"]] = make_marking(
        passage,
        stage.teacher,
        marks,
        name=told["name"],
        origin=told["origin"],
        reason=told["reason"],
        parent=parent,
        source=told.get("source", ""),
        created=stage.sunday(stage.kept[told["key"]]),
    )


def _without(marks: Marks, taken: Iterable[Mapping[str, Any]], name: str) -> Marks:
    """The marks less those told; one that isn't there is a mistake in the scenario."""
    left = set(marks)
    for raw in taken:
        gone = {m for m in left if m.as_json() | {"options": {}} == {"options": {}} | dict(raw)}
        if not gone:
            raise DemoError(f"“{name}” takes away a mark that isn’t there: {dict(raw)}.")
        left -= gone
    return tuple(sorted(left))


def _add_student(stage: _Stage, told: Mapping[str, Any], guardians: dict[str, Guardian]) -> None:
    stage.say(told["first_name"])
    names = ("first_name", "surname", "birth_year", "status", "clef", "staff_height", "private_notes")
    # One who was handed over was the colleague's first.
    owner = stage.colleague if "handed_over" in told else stage.teacher
    student = Student.objects.create(teacher=owner, **{n: told[n] for n in names if n in told})
    for who in told["guardians"]:
        if who["key"] not in guardians:
            guardians[who["key"]] = Guardian.objects.create(
                teacher=owner, name=who["name"], email=who["email"], phone=who["phone"]
            )
        Guardianship.objects.create(
            student=student,
            guardian=guardians[who["key"]],
            relation=who["relation"],
            receives_notes=who["receives_notes"],
        )
    for period in told["instruments"]:
        until = period["until"]
        InstrumentPeriod.objects.create(
            student=student,
            instrument=period["instrument"],
            size=period["size"],
            string_length=period["string_length"],
            since=stage.day(period["since"]),
            until=None if until is None else stage.day(until) - timedelta(days=1),
        )
    if "handed_over" in told:
        over = told["handed_over"]
        at = datetime.combine(stage.day(over["ago"]), time(18, 0), stage.zone)
        hand_over(owner, {student.pk: stage.teacher}, reason=over["reason"], at=at)
        student.refresh_from_db()
    _play_weeks(stage, student, told)


def _play_weeks(stage: _Stage, student: Student, told: Mapping[str, Any]) -> None:
    weekday = told["lessons"]["weekday"]
    made: dict[str, Assignment] = {}
    for number, week in enumerate(sorted(told["weeks"], key=lambda w: -w["ago"]), 1):
        lesson = _lesson(stage, student, told, week["ago"], number)
        lesson.attendance = week["attendance"]
        lesson.note, lesson.private_note, lesson.sentence = week["note"], week["private"], week["sentence"]
        ended = lesson.starts + timedelta(minutes=lesson.minutes)
        lesson.note_saved = ended if week["note"] or week["private"] else None
        lesson.finished = ended
        lesson.save()
        for work in told["assignments"]:
            if work["begun"] == week["ago"]:
                made[work["key"]] = _assign(stage, student, lesson, work, stage.day(week["ago"], weekday))
        _hear(made, lesson, week)
        for key, marking, reason in week["change"]:
            made[key].refresh_from_db()
            if made[key].marking_id != stage.markings[marking].pk:
                assigning.change_marking(
                    made[key],
                    stage.markings[marking],
                    reason=reason,
                    lesson=lesson,
                    at=lesson.starts + timedelta(minutes=18),
                )
        for key, state, reason in week.get("state", ()):
            assigning.set_state(made[key], state, at=ended, lesson=lesson, reason=reason)
        for work in told["assignments"]:
            if work["ended"] == week["ago"]:
                made[work["key"]].refresh_from_db()
                assigning.end(made[work["key"]], on=stage.day(week["ago"], weekday), at=ended, lesson=lesson)
        for key, steps in week.get("steps", {}).items():
            made[key].refresh_from_db()
            plans = [_step(stage, student, told_step) for told_step in steps]
            assigning.change_steps(made[key], plans, on=stage.day(week["ago"], weekday))
        if week["sheet"]:
            at = lesson.starts + timedelta(minutes=lesson.minutes + 4)
            newest = not any(later["sheet"] for later in told["weeks"] if later["ago"] < week["ago"])
            if newest and "home" in told:
                stage.tell(f"{student.first_name}’s page at home: {open_page(student, base=stage.home, at=at)}")
            sheet = issue_sheet(student, lesson, at=at, home=stage.home)
            if newest and "home" in told:
                practise_at_home(sheet, told["home"], made, now=stage.now)
    if student.status == Student.Status.ACTIVE:
        _plan_ahead(stage, student, told, len(told["weeks"]))


def _lesson(stage: _Stage, student: Student, told: Mapping[str, Any], ago: int, number: int) -> Lesson:
    plan = told["lessons"]
    starts = datetime.combine(stage.day(ago, plan["weekday"]), time.fromisoformat(plan["time"]), stage.zone)
    return Lesson.objects.create(
        teacher=stage.teacher, student=student, number=number, starts=starts, minutes=plan["minutes"]
    )


def _plan_ahead(stage: _Stage, student: Student, told: Mapping[str, Any], count: int) -> None:
    """This week's lesson and those of the next weeks; this week's is over if its hour has passed."""
    for ahead in range(WEEKS_AHEAD + 1):
        lesson = _lesson(stage, student, told, -ahead, count + ahead + 1)
        if lesson.starts + timedelta(minutes=lesson.minutes) < stage.now:
            lesson.attendance = Lesson.Attendance.ATTENDED
            lesson.save(update_fields=["attendance"])


def _assign(stage: _Stage, student: Student, lesson: Lesson, work: Mapping[str, Any], day: date) -> Assignment:
    passage = stage.passages.get(work.get("passage", ""))
    marking: Marking | None = None
    if passage is not None:
        marking = _first_marking(stage, passage, work)
        if work.get("moved"):
            passage, marking = moved_for(student, passage, marking)
    return assigning.assign(
        student,
        begun=day,
        passage=passage,
        piece=stage.pieces[work["piece"]] if "piece" in work else None,
        bars=work["bars"],
        marking=marking,
        to_try=[stage.markings[key] for key in work["to_try"]],
        steps=[_step(stage, student, step) for step in work["steps"]],
        tempo_now=work["now"],
        tempo_goal=work["goal"],
        tempo_unit=work["unit"],
        listening_point=work["listening"],
        minutes=work["minutes"],
        lesson=lesson,
    )


def _add_breaks(stage: _Stage, scenario: Mapping[str, Any]) -> None:
    """Breaks of everybody, and recitals with what is played in them."""
    for told in scenario["breaks"]:
        first = stage.day(told["ago"], told["weekday"])
        last = first + timedelta(days=told["days"] - 1)
        Break.objects.create(teacher=stage.teacher, first=first, last=last, words=told["words"])
    for told in scenario["recitals"]:
        day = stage.day(told["ago"], told["weekday"])
        made = Recital.objects.create(teacher=stage.teacher, day=day, title=told["title"])
        made.pieces.set([stage.pieces[key] for key in told["pieces"]])


def _step(stage: _Stage, student: Student, told: Mapping[str, Any]) -> assigning.StepPlan:
    """A step; its stave's recipe names the marking by the scenario's key, its picture a file of the fixtures."""
    recipe = told.get("stave")
    if recipe is not None:
        recipe = {"format": FORMAT, **recipe, "marking": stage.markings[recipe["marking"]].pk}
    picture = None
    if shown := told.get("picture"):
        content = (Path(settings.BASE_DIR) / "fixtures" / shown["file"]).read_bytes()
        picture = keep_step_picture(stage.teacher, student, content, shown["words"], on_paper=True).pk
    return assigning.StepPlan(
        told["text"], told["now"], told["goal"], told["minutes"], recipe, told.get("focus", ""), told.get("days", ""),
        told.get("same_pulse", False), told.get("ladder", ""), picture,
    )  # fmt: skip


def _first_marking(stage: _Stage, passage: Passage, work: Mapping[str, Any]) -> Marking:
    key = work["starts_with"] if "starts_with" in work else work["marking"]
    return (
        printed_marking(passage, stage.teacher, stage.sunday(PRINTED_WEEKS_AGO))
        if key == "printed"
        else stage.markings[key]
    )


def _hear(made: Mapping[str, Assignment], lesson: Lesson, week: Mapping[str, Any]) -> None:
    at = lesson.starts + timedelta(minutes=8)
    for key, outcome, tempo, theme, text, shared in week["hear"]:
        made[key].refresh_from_db()
        observing.observe(lesson, made[key], at=at, outcome=outcome, tempo=tempo, theme=theme, text=text, shared=shared)
        at += timedelta(minutes=5)
    for key, address, theme, text in week["point"]:
        observing.flag(lesson, made[key], at=at, address=address, theme=theme, text=text)
    if lesson.attendance in (Lesson.Attendance.ATTENDED, Lesson.Attendance.LATE):
        assigning.as_last_week(lesson.student, lesson=lesson, at=at)
        for point in lesson.student.listening_points.filter(
            settled=None, lesson__starts__lt=lesson.starts - timedelta(days=13)
        ):
            observing.settle(point, at=at)
