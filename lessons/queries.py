"""Every list of lessons and work a page asks for, with a number of queries that doesn't grow.

Whatever a page shows of a student's work is fetched here at once: four months of lessons or
ten years of them cost the same queries.
"""

from __future__ import annotations

import unicodedata
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TypeVar

from django.db.models import Exists, Model, OuterRef, Prefetch, QuerySet, Subquery
from django.utils import timezone

from lessons.models import Assignment, Lesson, ListeningPoint, Observation, Phrase, Sheet, Step
from repertoire.models import Marking, Passage, Piece
from repertoire.queries import passages_open_to, pieces_open_to
from repertoire.technique.marks import Aspect
from studio.models import Student, Teacher

POINTS_A_LESSON = 3
FIND_LIMIT = 25
Row = TypeVar("Row", bound=Model)
_OTHER_LETTERS = str.maketrans({"ø": "o", "ł": "l", "đ": "d", "æ": "ae", "œ": "oe", "ð": "d", "þ": "th"})
PASSAGE = "passage__movement__revision__part__piece"
DIGEST = {Aspect.BOW: "bow_digest", Aspect.LEFT_HAND: "left_hand_digest", Aspect.WORDS: "words_digest"}


@dataclass(frozen=True, slots=True)
class Work:
    """One assignment as its pages show it."""

    assignment: Assignment
    steps: tuple[Step, ...]
    to_try: tuple[Marking, ...]
    points: tuple[ListeningPoint, ...]
    heard: tuple[Observation, ...]  # what was noted in the last lesson that heard it, in order

    @property
    def last(self) -> Observation | None:
        return self.heard[-1] if self.heard else None


def day_bounds(day: date) -> tuple[datetime, datetime]:
    """Midnight to midnight in the studio's time zone (the current one)."""
    start = timezone.make_aware(datetime.combine(day, datetime.min.time()))
    end = timezone.make_aware(datetime.combine(day + timedelta(days=1), datetime.min.time()))
    return start, end


def lessons_between(teacher: Teacher, first: date, last: date) -> QuerySet[Lesson]:
    """Lessons from one day to another, both included, in order; each says whether a sheet is `printed`."""
    start, end = day_bounds(first)[0], day_bounds(last)[1]
    return (
        Lesson.objects.filter(teacher=teacher, starts__gte=start, starts__lt=end)
        .select_related("student")
        .prefetch_related("student__instruments")
        .annotate(printed=Exists(Sheet.objects.filter(lesson=OuterRef("pk"))))
        .order_by("starts", "id")
    )


def next_lesson(student: Student, after: datetime) -> Lesson | None:
    return student.lessons.filter(starts__gt=after).exclude(attendance="cancelled").order_by("starts").first()


def nearest_lessons(students: Iterable[int], now: datetime) -> dict[int, datetime]:
    """When the next lesson of each student (by id) starts, or the last one did where none is ahead; none
    for those without lessons. Cancelled ones aside."""
    own = Lesson.objects.filter(student=OuterRef("pk")).exclude(attendance="cancelled").order_by("starts")
    rows = Student.objects.filter(pk__in=list(students)).annotate(
        coming=Subquery(own.filter(starts__gt=now).values("starts")[:1]),
        past=Subquery(own.filter(starts__lte=now).reverse().values("starts")[:1]),
    )
    found = {pk: coming or past for pk, coming, past in rows.values_list("pk", "coming", "past")}
    return {pk: starts for pk, starts in found.items() if starts is not None}


def next_lessons(teacher: Teacher, after: datetime, count: int = 3) -> QuerySet[Lesson]:
    coming = Lesson.objects.filter(teacher=teacher, starts__gt=after).exclude(attendance="cancelled")
    return coming.select_related("student").order_by("starts", "id")[:count]


def unfinished(teacher: Teacher, before: datetime) -> QuerySet[Lesson]:
    """Lessons that are over and whose attendance nobody noted, latest first."""
    open_ones = Lesson.objects.filter(teacher=teacher, starts__lt=before, finished=None, attendance="")
    return open_ones.select_related("student").order_by("-starts", "-id")


def points_to_hear(students: Iterable[int]) -> dict[int, list[str]]:
    """The two or three things to listen for with each student: open flags first, the latest
    ahead, then the listening points of their assignments."""
    students = list(students)
    found: dict[int, list[str]] = defaultdict(list)
    flags = (
        ListeningPoint.objects.filter(student__in=students, settled=None, assignment__ended=None)
        .select_related("assignment__passage", "assignment__piece")
        .order_by("-created", "-id")
    )
    for point in flags:
        found[point.student_id].append(f"{_listed(point.assignment)}: {point}")
    work = (
        Assignment.objects.filter(student__in=students, ended=None)
        .exclude(listening_point="")
        .exclude(state=Assignment.State.RESTING)
        .select_related("passage", "piece")
    )
    for assignment in work:
        found[assignment.student_id].append(f"{_listed(assignment)}: {assignment.listening_point}")
    return {student: lines[:POINTS_A_LESSON] for student, lines in found.items()}


def _listed(assignment: Assignment) -> str:
    """`Mill Stream, Opening`: piece and passage where a colon comes after them."""
    passage = assignment.passage
    return f"{assignment.piece.title}, {passage.title}" if passage else assignment.piece.title


def works(assignments: QuerySet[Assignment], before: Lesson | None = None) -> list[Work]:
    """Assignments with steps, markings to try, open flags and what was noted last (before a lesson)."""
    standing = Observation.objects.standing()
    if before is not None:
        standing = standing.filter(lesson__starts__lt=before.starts)
    last = standing.filter(assignment=OuterRef("pk")).order_by("-lesson__starts", "-lesson_id")
    rows = list(
        assignments.select_related("piece", "marking", "passage__picture", PASSAGE)
        .annotate(heard_in=Subquery(last.values("lesson_id")[:1]))
        .prefetch_related(
            Prefetch("steps", Step.objects.filter(ended=None).select_related("picture")),
            Prefetch("to_try", Marking.objects.defer("marks").order_by("number")),
            Prefetch("listening_points", ListeningPoint.objects.filter(settled=None)),
        )
    )
    heard: dict[tuple[int | None, int], list[Observation]] = defaultdict(list)
    noted = standing.filter(assignment__in=[row.pk for row in rows], lesson__in={row.heard_in for row in rows})
    for seen in noted.select_related("lesson", "step").order_by("at", "id"):
        heard[seen.assignment_id, seen.lesson_id].append(seen)
    return [
        Work(
            row,
            tuple(row.steps.all()),
            tuple(row.to_try.all()),
            tuple(row.listening_points.all()),
            tuple(heard[row.pk, row.heard_in or 0]),
        )
        for row in rows
    ]


def current_work(student: Student, before: Lesson | None = None) -> list[Work]:
    """What a student works on, in the order of work; resting pieces last."""
    found = works(Assignment.objects.filter(student=student, ended=None), before)
    return sorted(found, key=lambda work: work.assignment.state == Assignment.State.RESTING)


def ended_work(student: Student, limit: int = 20) -> QuerySet[Assignment]:
    ended = Assignment.objects.filter(student=student).exclude(ended=None)
    return ended.select_related("piece", "passage").order_by("-ended", "-id")[:limit]


def lesson_before(lesson: Lesson) -> Lesson | None:
    """The student's lesson before this one that took place or was missed."""
    earlier = Lesson.objects.filter(student=lesson.student_id, starts__lt=lesson.starts)
    return earlier.exclude(attendance=Lesson.Attendance.CANCELLED).order_by("-starts").first()


def noted_in(lesson: Lesson) -> QuerySet[Observation]:
    """What was noted in one lesson and still stands, in order."""
    return Observation.objects.standing().filter(lesson=lesson).select_related("step").order_by("at", "id")


def phrases_of(teacher: Teacher, count: int = 6) -> list[Phrase]:
    """The wordings a teacher has used more than once, the most used first, to be noted again with one tap."""
    return list(Phrase.objects.filter(teacher=teacher, used__gt=1).order_by("-used", "text")[:count])


@dataclass(frozen=True, slots=True)
class Found:
    students: list[Student]
    pieces: list[Piece]
    passages: list[Passage]

    def __bool__(self) -> bool:
        return bool(self.students or self.pieces or self.passages)


def find(teacher: Teacher, words: str) -> Found:
    """A teacher's students and passages and her studio's pieces in which every word occurs, accents or not."""
    wanted = [plain(word) for word in words.split()[:8]]
    piece = "movement__revision__part__piece"
    passages = passages_open_to(teacher).select_related(piece)
    return Found(
        _containing(Student.objects.filter(teacher=teacher), wanted, "first_name", "surname"),
        _containing(pieces_open_to(teacher).select_related("teacher"), wanted, "title", "composer"),
        _containing(passages, wanted, "title", "purpose", f"{piece}__title", f"{piece}__composer"),
    )


def plain(text: str) -> str:
    """Text as it is compared: small letters without accents. A database's own comparison knows plain letters only."""
    parted = unicodedata.normalize("NFKD", text.casefold().translate(_OTHER_LETTERS))
    return "".join(c for c in parted if not unicodedata.combining(c))


def _containing(rows: QuerySet[Row], wanted: list[str], *fields: str) -> list[Row]:
    found = []
    for pk, *texts in rows.values_list("pk", *fields):
        text = plain("\n".join(texts))
        if all(word in text for word in wanted):
            found.append(pk)
    return list(rows.filter(pk__in=found[:FIND_LIMIT]))


def who_uses(markings: Iterable[Marking], teacher: Teacher) -> dict[int, list[Student]]:
    """The teacher's students who have each marking in use now."""
    rows = Assignment.objects.filter(student__teacher=teacher, marking__in=list(markings), ended=None).select_related(
        "student"
    )
    return _by((row.marking_id, row.student) for row in rows.order_by("student__first_name", "student_id"))


def could_use(marking: Marking, teacher: Teacher) -> list[Assignment]:
    """The open work of the teacher's students on the same passage with another marking, or with none."""
    rows = Assignment.objects.filter(student__teacher=teacher, passage=marking.passage_id, ended=None)
    return list(
        rows.exclude(marking=marking.pk)
        .select_related("student", "piece", "passage")
        .order_by("student__first_name", "student_id")
    )


def who_shares(marking: Marking, aspect: Aspect, teacher: Teacher) -> list[Student]:
    """The teacher's students whose marking of this passage has the same bowing (or fingering, or words)."""
    same = {f"marking__{DIGEST[aspect]}": getattr(marking, DIGEST[aspect])}
    rows = Assignment.objects.filter(
        student__teacher=teacher, passage=marking.passage_id, ended=None, **same
    ).select_related("student")
    return [row.student for row in rows.order_by("student__first_name", "student_id")]


def who_works_on_passages(passages: Iterable[Passage], teacher: Teacher) -> dict[int, list[Student]]:
    rows = Assignment.objects.filter(student__teacher=teacher, passage__in=list(passages), ended=None).select_related(
        "student"
    )
    return _by((row.passage_id, row.student) for row in rows.order_by("student__first_name", "student_id"))


def who_works_on_pieces(pieces: Iterable[Piece], teacher: Teacher) -> dict[int, list[Student]]:
    rows = Assignment.objects.filter(student__teacher=teacher, piece__in=list(pieces), ended=None).select_related(
        "student"
    )
    return _by((row.piece_id, row.student) for row in rows.order_by("student__first_name", "student_id"))


def _by(pairs: Iterable[tuple[int | None, Student]]) -> dict[int, list[Student]]:
    found: dict[int, list[Student]] = defaultdict(list)
    for key, student in pairs:
        if key is not None and student not in found[key]:
            found[key].append(student)
    return dict(found)
