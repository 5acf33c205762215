"""A student's page: who, the next lesson, what they work on now."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from lessons.queries import current_work, ended_work, next_lesson
from lessons.showing import shown
from studio.access import get_student
from studio.registry import siblings_of


@require_safe
def student(request: HttpRequest, student_id: int) -> HttpResponse:
    student, now = get_student(request, student_id), timezone.now()
    coming = next_lesson(student, now)
    day = timezone.localdate(coming.starts) if coming else timezone.localdate()
    context = {
        "section": "students",
        "tab": "student",
        "student": student,
        "instruments": student.instruments_on(day),
        "coming": coming,
        "last": student.lessons.filter(starts__lte=now).order_by("-starts").first(),
        "guardianships": student.guardianships.select_related("guardian").order_by("guardian__name", "id"),
        "siblings": siblings_of(student),
        "works": shown(request, current_work(student)),
        "ended": ended_work(student),
    }
    return render(request, "lessons/student.html", context)
