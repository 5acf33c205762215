"""`make bench`: how fast the things are that a teacher waits for. Prints a table, writes bench.json.

A figure that a goal is set for is marked when it misses it, and the command then ends with 1.
Figures that are ratios compare two things measured in turns in one run, so that they hold on any machine.
"""

from __future__ import annotations

import json
import statistics
import sys
from dataclasses import asdict
from pathlib import Path

from tests.bench.figures import Figure, seconds, show
from tests.demonstration import throw_away_demonstration

ROOT = Path(__file__).resolve().parents[2]
ROUNDS = 25


def real_part():
    """Bars 1 to 16 of the viola part of Haydn's op. 74 no. 1, first movement, with its printed marks."""
    from music21 import corpus

    from repertoire.notation.cutting import cut, marks_in
    from repertoire.notation.musicxml import read_part

    path = Path(str(corpus.getWork("haydn/opus74no1/movement1")))
    movement = read_part(path.read_bytes(), path.name, "Viola").movements[0]
    line = cut(movement.line, 1, None, 16, None)
    return line, marks_in(movement.printed, line)


def mark_to_picture() -> list[Figure]:
    """A mark put, checked and drawn, against what Verovio alone takes to load and draw the same excerpt."""
    from repertoire.notation.engraving import engrave
    from repertoire.notation.excerpt import plain_mei
    from repertoire.notation.look import Look
    from repertoire.notation.toolkit import toolkit
    from repertoire.technique.checking import check
    from repertoire.technique.marks import Kind, Mark, put

    line, printed = real_part()
    look = Look(printed=printed)
    places = [event.address for event in line.notes]
    plain = plain_mei(line).decode()
    options = {"scale": 100, "pageWidth": 1620, "pageHeight": 60000, "adjustPageHeight": True, "breaks": "auto"}

    def ours(turn: int) -> None:
        marks = put(printed, Mark(Kind.FINGER, places[turn % len(places)], value=str(turn % 4 + 1)))
        check(line, marks, "viola")
        engrave(line, marks, look).svg()

    def verovio_alone() -> None:
        with toolkit(options) as drawing:
            drawing.loadData(plain)
            for page in range(1, drawing.getPageCount() + 1):
                drawing.renderToSVG(page)

    ours(0), verovio_alone()  # warm
    turns = [(seconds(lambda turn=turn: ours(turn)), seconds(verovio_alone)) for turn in range(1, ROUNDS + 1)]
    mine, its = (statistics.median(column) for column in zip(*turns, strict=True))
    return [
        Figure("Verovio alone: load and draw 16 bars", its * 1000, "ms"),
        Figure("mark to new picture, 16 bars", mine * 1000, "ms"),
        Figure("  as a multiple of Verovio alone", mine / its, "×", 3.0),
    ]


def practice() -> list[Figure]:
    """A practice stave from its recipe to its picture."""
    from tests.bench import bench_practice

    return list(bench_practice.figures())


def hands() -> list[Figure]:
    """Both hands computed: the bow's strokes and places, the left hand's fingering and its alternatives."""
    from tests.bench import bench_bow, bench_fingering

    return [*bench_bow.figures(), *bench_fingering.figures()]


def sheet() -> list[Figure]:
    """The PDF of a sheet with four excerpts of eight bars each."""
    from django.utils import timezone

    from lessons.assigning import assign
    from lessons.sheets import draft_content, make_pages
    from repertoire.markings import printed_marking
    from repertoire.models import Movement, Passage
    from studio.models import Student, Teacher

    teacher, now = Teacher.objects.get(email="demo@example.org"), timezone.now()
    student = Student.objects.create(teacher=teacher, first_name="Bench")
    student.instruments.create(instrument="viola", since=now.date())
    movements = Movement.objects.filter(notated=True, bar_count__gte=8, bar_count__lte=40).order_by("id")[:4]
    assert len(movements) == 4, "the demonstration has too few movements"
    for movement in movements:
        passage = Passage.objects.create(
            teacher=teacher, movement=movement, title=f"Bars 1–8 of {movement}", start_bar=1, end_bar=8,
            first_number="1", last_number="8",
        )  # fmt: skip
        assign(
            student,
            begun=now.date(),
            passage=passage,
            marking=printed_marking(passage, teacher),
            steps=["Slowly, with the bow at the string.", "Up to tempo in three stages."],
            tempo_now=60,
            tempo_goal=84,
        )
    make_pages(draft_content(student, None, at=now))  # warm
    times = [seconds(lambda: make_pages(draft_content(student, None, at=now))) for _ in range(7)]
    return [Figure("sheet with four excerpts of 8 bars", statistics.median(times), "s", 0.6)]


def long_history(name: str, lessons: int, observations: int):
    """A student with so many lessons and observations, four pieces by turns."""
    from datetime import timedelta

    from django.utils import timezone

    from lessons.models import Assignment, Lesson, Observation
    from repertoire.models import Passage
    from studio.models import Student, Teacher

    teacher, now = Teacher.objects.get(email="demo@example.org"), timezone.now().replace(microsecond=0)
    student = Student.objects.create(teacher=teacher, first_name=name)
    student.instruments.create(instrument="viola", since=(now - timedelta(weeks=lessons + 1)).date())
    passages = (
        Passage.objects.filter(teacher=teacher).select_related("movement__revision__part__piece").order_by("id")[:4]
    )
    work = [
        Assignment.objects.create(
            student=student, piece=passage.movement.revision.part.piece, passage=passage, position=place,
            begun=(now - timedelta(weeks=lessons)).date(), tempo_now=60, tempo_goal=90,
        )
        for place, passage in enumerate(passages)
    ]  # fmt: skip
    Lesson.objects.bulk_create(
        Lesson(
            teacher=teacher, student=student, number=number + 1, starts=now - timedelta(weeks=lessons - number),
            attendance="attended", note=f"Lesson {number + 1}: longer bows, quieter elbow.",
        )
        for number in range(lessons)
    )  # fmt: skip
    given = list(Lesson.objects.filter(student=student).order_by("number"))
    Observation.objects.bulk_create(
        Observation(
            lesson=given[number * lessons // observations], assignment=work[number % len(work)],
            outcome=("better", "same", "not yet")[number % 3], tempo=60 + number % 30, theme="bow",
            text="The stroke starts from the string.", shared=bool(number % 2),
            at=given[number * lessons // observations].starts,
        )
        for number in range(observations)
    )  # fmt: skip
    return student


def pages() -> list[Figure]:
    """Student and History: server time with a long history, and whether the count of queries stays."""
    from django.db import connection
    from django.test import Client
    from django.test.utils import CaptureQueriesContext
    from django.urls import reverse

    from studio.models import Teacher

    few, many = long_history("Few", 20, 120), long_history("Many", 500, 3000)
    client = Client(HTTP_HOST="localhost")
    client.force_login(
        Teacher.objects.get(email="demo@example.org"), backend="django.contrib.auth.backends.ModelBackend"
    )
    figures = []
    for title, name in [("Student", "student"), ("History", "history")]:
        counts = []
        for student in (few, many):
            client.get(reverse(name, args=[student.pk]))  # warm
            with CaptureQueriesContext(
                connection,
            ) as asked:
                answer = client.get(reverse(name, args=[student.pk]))
            assert answer.status_code == 200
            counts.append(len(asked))
        times = [seconds(lambda page=name: client.get(reverse(page, args=[many.pk]))) for _ in range(9)]
        figures += [
            Figure(f"{title} page, 500 lessons and 3,000 observations", statistics.median(times) * 1000, "ms", 200),
            Figure("  its queries", counts[1], ""),
            Figure("  more than with 20 lessons", counts[1] - counts[0], "", 0),
        ]
    return figures


def main() -> int:
    with throw_away_demonstration():
        figures = [*hands(), *mark_to_picture(), *practice(), *sheet(), *pages()]
    show(figures)
    (ROOT / "bench.json").write_text(
        json.dumps([asdict(figure) | {"missed": figure.missed} for figure in figures], indent=1, ensure_ascii=False)
        + "\n"
    )
    return 1 if any(figure.missed for figure in figures) else 0


if __name__ == "__main__":
    sys.exit(main())
