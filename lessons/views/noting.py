"""What the lesson page sends while a lesson is going on: observations, flags, notes, undo.

Each action works as a plain form (it redirects back to its place on the page) and from the
page's script, which may send it late and twice: then it carries the time it was made at and
a token, and is answered in JSON with the regions that changed.
"""

from __future__ import annotations

import uuid
from datetime import datetime, timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from lessons import observing
from lessons.access import get_lesson, get_observation
from lessons.assigning import AssignError, change_marking
from lessons.forms import ObservationForm
from lessons.models import Assignment, Lesson, ListeningPoint, Observation, Theme
from lessons.observing import NoteConflict, ObserveError
from lessons.views.lessons import parts, wants_json
from repertoire.models import Marking
from studio.asked import read_number

LATE_AT_MOST = timedelta(days=30)


@require_POST
def observe(request: HttpRequest, lesson_id: int) -> HttpResponse:
    lesson = get_lesson(request, lesson_id)
    assignment = _assignment(request, lesson)
    step_id = _number(request, "step")
    tempo = _number(request, "tempo")
    try:
        if request.POST.get("start") == "yes" and assignment is not None and tempo is not None:
            observing.set_start_tempo(assignment, tempo)
            return _answer(request, lesson, assignment)
        observing.observe(
            lesson,
            assignment,
            step=get_object_or_404(assignment.steps, pk=step_id) if step_id and assignment else None,
            outcome=_one_of(request, "outcome", Observation.Outcome.values),
            tempo=tempo,
            theme=_one_of(request, "theme", Theme.values),
            text=request.POST.get("text", ""),
            shared=request.POST.get("shared") == "on",
            token=_token(request),
            at=_at(request),
        )
    except ObserveError as error:
        return _refuse(request, lesson, assignment, str(error))
    return _answer(request, lesson, assignment)


@require_POST
def flag(request: HttpRequest, lesson_id: int) -> HttpResponse:
    lesson = get_lesson(request, lesson_id)
    assignment = _assignment(request, lesson, needed=True)
    assert assignment is not None
    try:
        observing.flag(
            lesson,
            assignment,
            address=request.POST.get("address", "").strip()[:24],
            theme=_one_of(request, "theme", Theme.values),
            text=request.POST.get("text", ""),
            token=_token(request),
            at=_at(request),
        )
    except ObserveError as error:
        return _refuse(request, lesson, assignment, str(error))
    return _answer(request, lesson, assignment)


@require_POST
def heard(request: HttpRequest, lesson_id: int) -> HttpResponse:
    """A flag was listened for and is settled."""
    lesson = get_lesson(request, lesson_id)
    points = ListeningPoint.objects.filter(student=lesson.student_id).select_related("assignment")
    point = get_object_or_404(points, pk=_number(request, "point"))
    observing.settle(point, at=_at(request), lesson=lesson)
    return _answer(request, lesson, point.assignment)


@require_POST
def switch(request: HttpRequest, lesson_id: int) -> HttpResponse:
    """Another marking of the passage, from now on."""
    lesson = get_lesson(request, lesson_id)
    assignment = _assignment(request, lesson, needed=True)
    assert assignment is not None
    markings = Marking.objects.filter(passage=assignment.passage_id)
    marking = get_object_or_404(markings, pk=_number(request, "marking"))
    try:
        change_marking(
            assignment,
            marking,
            reason=request.POST.get("reason", "")[:300],
            lesson=lesson,
            token=_token(request),
            at=_at(request),
        )
    except AssignError as error:
        return _refuse(request, lesson, assignment, str(error))
    return _answer(request, lesson, assignment, excerpt=True)


@require_POST
def note(request: HttpRequest, lesson_id: int) -> HttpResponse:
    """Save the lesson note; 409 with the other words when another page saved it in between."""
    lesson = get_lesson(request, lesson_id)
    try:
        lesson = observing.save_note(
            lesson,
            note=_text(request, "note"),
            private_note=_text(request, "private_note"),
            writer=_uuid(request.POST.get("writer", "")),
            base=_number(request, "base"),
            at=_at(request),
        )
    except NoteConflict as conflict:
        theirs = conflict.lesson
        if wants_json(request):
            words = {"note": theirs.note, "private_note": theirs.private_note, "version": theirs.note_version}
            return JsonResponse({"error": str(conflict), **words, "saved": _clock(theirs)}, status=409)
        messages.warning(request, f"{conflict} What you wrote here: “{_text(request, 'note')}”")
        return redirect(f"{reverse('lesson', args=[lesson.pk])}#note")
    if wants_json(request):
        return JsonResponse({"version": lesson.note_version, "saved": _clock(lesson)})
    messages.success(request, "The note is saved.")
    return redirect(f"{reverse('lesson', args=[lesson.pk])}#note")


@require_POST
def attendance(request: HttpRequest, lesson_id: int) -> HttpResponse:
    """Attendance alone, noted with one tap from Today or ahead of finishing."""
    lesson = get_lesson(request, lesson_id)
    lesson.attendance = _one_of(request, "attendance", Lesson.Attendance.values)
    if lesson.attendance and request.POST.get("close") == "yes":
        lesson.finished = _at(request)
    lesson.save(update_fields=["attendance", "finished"])
    if wants_json(request):
        return JsonResponse({"said": f"Attendance: {lesson.get_attendance_display()}."})
    messages.success(request, f"{lesson.student.first_name}: {lesson.get_attendance_display()}.")
    return redirect("today")


@require_POST
def undo(request: HttpRequest, lesson_id: int) -> HttpResponse:
    """Take back one action of this lesson: the one whose token is given, else the latest."""
    lesson = get_lesson(request, lesson_id)
    wanted = _uuid(request.POST.get("undoes", ""))
    if wanted and request.POST.get("reopen"):  # sent twice it must not take the flag itself away
        points = ListeningPoint.objects.filter(student=lesson.student_id).select_related("assignment")
        point = get_object_or_404(points, token=wanted)
        observing.reopen(point)
        return _answer(request, lesson, point.assignment)
    thing = observing.find_action(lesson, wanted) if wanted else observing.last_action(lesson)
    if thing is None:  # taken back already, or never arrived: as it should be
        return _answer(request, lesson, None)
    assignment = thing.assignment
    changed_marking = not isinstance(thing, Observation | ListeningPoint)
    try:
        observing.take_back(thing, at=_at(request), token=_token(request))
    except ObserveError as error:
        if not wants_json(request):
            return _refuse(request, lesson, assignment, str(error))
    return _answer(request, lesson, assignment, excerpt=changed_marking)


@require_http_methods(["GET", "HEAD", "POST"])
def observation(request: HttpRequest, observation_id: int) -> HttpResponse:
    """Correct one observation, or take it back. The first words stay in the record."""
    seen = get_observation(request, observation_id)
    there = f"{reverse('lesson', args=[seen.lesson_id])}" + (f"#a{seen.assignment_id}" if seen.assignment_id else "")
    names = ("outcome", "tempo", "theme", "text", "shared")
    form = ObservationForm(request.POST or None, initial={name: getattr(seen, name) for name in names})
    if request.method == "POST":
        try:
            if request.POST.get("take_back"):
                observing.withdraw(seen, at=timezone.now())
                messages.success(request, "Taken back.")
                return redirect(there)
            if form.is_valid():
                observing.correct(seen, at=timezone.now(), **form.cleaned_data)
                messages.success(request, "Corrected.")
                return redirect(there)
        except ObserveError as error:
            form.add_error(None, str(error))
    context = {"section": "today", "form": form, "seen": seen, "lesson": seen.lesson, "there": there}
    return render(request, "lessons/observation.html", context, status=422 if request.method == "POST" else 200)


def _answer(
    request: HttpRequest, lesson: Lesson, assignment: Assignment | None, *, excerpt: bool = False
) -> HttpResponse:
    if wants_json(request):
        return JsonResponse({"saved": _clock(None), "parts": parts(request, lesson, assignment, excerpt=excerpt)})
    return redirect(_place(lesson, assignment))


def _refuse(request: HttpRequest, lesson: Lesson, assignment: Assignment | None, words: str) -> HttpResponse:
    if wants_json(request):
        return JsonResponse({"error": words}, status=422)
    messages.error(request, words)
    return redirect(_place(lesson, assignment))


def _place(lesson: Lesson, assignment: Assignment | None) -> str:
    return reverse("lesson", args=[lesson.pk]) + (f"#a{assignment.pk}" if assignment else "#general")


def _assignment(request: HttpRequest, lesson: Lesson, *, needed: bool = False) -> Assignment | None:
    number = _number(request, "assignment")
    if number is None and not needed:
        return None
    assignments = Assignment.objects.filter(student=lesson.student_id)
    return get_object_or_404(assignments.select_related("student__teacher__studio", "passage__movement"), pk=number)


def _number(request: HttpRequest, name: str) -> int | None:
    return read_number(request.POST.get(name, ""))


def _one_of(request: HttpRequest, name: str, values: list[Any]) -> str:
    word = request.POST.get(name, "")
    return word if word in values else ""


def _text(request: HttpRequest, name: str) -> str:
    return request.POST.get(name, "").replace("\r\n", "\n")[:20000]


def _uuid(words: str) -> uuid.UUID | None:
    try:
        return uuid.UUID(words)
    except ValueError:
        return None


def _token(request: HttpRequest) -> uuid.UUID | None:
    return _uuid(request.POST.get("token", ""))


def _at(request: HttpRequest) -> datetime:
    """When the action was made, by the browser's clock; now, when that can't be."""
    now = timezone.now()
    try:
        at = datetime.fromisoformat(request.POST.get("made_at", "").replace("Z", "+00:00"))
    except ValueError:
        return now
    return at if timezone.is_aware(at) and now - LATE_AT_MOST <= at <= now else now


def _clock(lesson: Lesson | None) -> str:
    when = lesson.note_saved if lesson is not None and lesson.note_saved else timezone.now()
    return f"{timezone.localtime(when):%H:%M}"
