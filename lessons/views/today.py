"""Today: the day's lessons with what to hear in each, and what is left to do."""

from __future__ import annotations

from datetime import timedelta

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from lessons.queries import lessons_between, next_lessons, points_to_hear, unfinished
from lessons.reviewing import due_by_student
from repertoire.models import Piece
from studio.access import teacher_of

UNFINISHED_SHOWN = 8
REVIEW_SHOWN = 2  # pieces due for review, for each student


@require_safe
def today(request: HttpRequest) -> HttpResponse:
    teacher, now = teacher_of(request), timezone.now()
    day = timezone.localdate()
    lessons = list(lessons_between(teacher, day, day))
    tomorrow = list(lessons_between(teacher, day + timedelta(days=1), day + timedelta(days=1)))
    points = points_to_hear({lesson.student_id for lesson in lessons})
    left = [lesson for lesson in unfinished(teacher, now)[: 2 * UNFINISHED_SHOWN] if lesson.ends <= now]
    soon = {lesson.student_id: lesson.student for lesson in (*lessons, *tomorrow)}
    due = due_by_student(soon, day + timedelta(days=1))
    nobody = not lessons and not teacher.students.exists()
    context = {
        "section": "today",
        "day": day,
        "now": now,
        "rows": [(lesson, _instruments(lesson), points.get(lesson.student_id, [])) for lesson in lessons],
        "nobody": nobody,
        "shared": nobody and Piece.objects.filter(teacher__studio=teacher.studio_id).exists(),
        "coming": [] if lessons else list(next_lessons(teacher, now)),
        "unfinished": left[:UNFINISHED_SHOWN],
        "more_unfinished": len(left) > UNFINISHED_SHOWN,
        "tomorrow": tomorrow,
        "review": [(student, due[pk][:REVIEW_SHOWN]) for pk, student in soon.items() if due.get(pk)],
        "to_print": [lesson for lesson in tomorrow if not lesson.printed],  # type: ignore[attr-defined]
    }
    return render(request, "lessons/today.html", context)


def _instruments(lesson: object) -> str:
    student, starts = lesson.student, lesson.starts  # type: ignore[attr-defined]
    return ", ".join(str(period) for period in student.instruments_on(timezone.localdate(starts)))
