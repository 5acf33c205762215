"""The lesson page, and finishing a lesson.

The page is one column of regions with stable ids, so that an action answers with the
regions it changed: the work under each excerpt, the excerpt itself, the last action.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.urls import NoReverseMatch, reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.views.decorators.http import require_POST, require_safe

from lessons.access import get_lesson
from lessons.assigning import as_last_week, end, set_state
from lessons.forms import FinishForm
from lessons.models import Assignment, Lesson, ListeningPoint, MarkingChange, Observation, Theme
from lessons.observing import last_action, start_tempo
from lessons.queries import Work, current_work, lesson_before, noted_in, phrases_of, works
from lessons.showing import Shown, show, shown
from repertoire.models import Marking

NEXT_WEEK = (
    ("", "as last week"),
    ("working", "working"),
    ("secure", "secure"),
    ("performed", "performed"),
    ("resting", "rests"),
    ("ended", "done with"),
)


@dataclass(frozen=True, slots=True)
class AtWork:
    """One assignment on the lesson page: its excerpt, what was noted in this lesson, the state of each step."""

    shown: Shown
    noted: tuple[Observation, ...]
    others: tuple[Marking, ...]

    @property
    def work(self) -> Work:
        return self.shown.work

    @property
    def outcomes(self) -> dict[int | None, str]:
        """The last outcome noted in this lesson by step (None for the whole)."""
        return {seen.step_id: seen.outcome for seen in self.noted if seen.outcome}

    @property
    def whole(self) -> str:
        return self.outcomes.get(None, "")

    @property
    def start(self) -> int | None:
        """Where the tempo begins when none is set yet, in beats a minute; None once there is one."""
        return None if self.work.assignment.tempo_now else start_tempo(self.work.assignment)

    @property
    def steps(self) -> list[tuple[Any, str]]:
        return [(step, self.outcomes.get(step.pk, "")) for step in self.work.steps]


@require_safe
def lesson(request: HttpRequest, lesson_id: int) -> HttpResponse:
    lesson = get_lesson(request, lesson_id)
    return render(request, "lessons/lesson.html", page(request, lesson, FinishForm(initial=_finish_initial(lesson))))


def page(request: HttpRequest, lesson: Lesson, finish: FinishForm) -> dict[str, Any]:
    """Everything the lesson page shows."""
    noted = list(noted_in(lesson))
    found = current_work(lesson.student, lesson)
    others = _other_markings(found)
    return {
        "section": "today",
        "lesson": lesson,
        "student": lesson.student,
        "instruments": lesson.student.instruments_on(timezone.localdate(lesson.starts)),
        "works": [_at_work(one, noted, others) for one in shown(request, found)],
        "general": [seen for seen in noted if seen.assignment_id is None],
        "before": lesson_before(lesson),
        "themes": Theme.choices,
        "phrases": phrases_of(lesson.teacher),
        "last_action": last_words(lesson),
        "finish": finish,
        "next_week": NEXT_WEEK,
        "now_with": _now_with(lesson, timezone.now()),
        "other_day": other_day(timezone.localdate(lesson.starts), timezone.localdate()),
    }


def parts(
    request: HttpRequest, lesson: Lesson, assignment: Assignment | None, *, excerpt: bool = False
) -> dict[str, str]:
    """The regions an action changed, by id, as HTML."""
    context: dict[str, Any] = {"lesson": lesson, "last_action": last_words(lesson), "themes": Theme.choices}
    changed: dict[str, str] = {"last-action": render_to_string("lessons/_last_action.html", context, request)}
    if assignment is None:
        context["general"] = [seen for seen in noted_in(lesson) if seen.assignment_id is None]
        changed["general"] = render_to_string("lessons/_general.html", context, request)
        return changed
    work = works(Assignment.objects.filter(pk=assignment.pk), lesson)[0]
    at_work = _at_work(show(request, work), list(noted_in(lesson)), _other_markings([work]))
    context["at"] = at_work
    changed[f"work-{assignment.pk}"] = render_to_string("lessons/_at_work.html", context, request)
    if excerpt:
        changed[f"excerpt-{assignment.pk}"] = render_to_string("lessons/_lesson_excerpt.html", context, request)
    return changed


def last_words(lesson: Lesson) -> dict[str, Any] | None:
    """The last action with its token, in words for the undo button."""
    thing = last_action(lesson)
    if thing is None:
        return None
    if isinstance(thing, MarkingChange):
        words = f"marking “{thing.after}”"
    elif isinstance(thing, ListeningPoint):
        words = f"settled: {thing}" if thing.settled else f"flag {thing}"
    else:
        told = [thing.get_outcome_display() if thing.outcome else "", f"tempo {thing.tempo}" if thing.tempo else ""]
        told += [thing.get_theme_display() if thing.theme else "", thing.text]
        words = ", ".join(filter(None, told))
    settled = isinstance(thing, ListeningPoint) and thing.settled is not None
    return {"words": words[:60] + ("…" if len(words) > 60 else ""), "token": thing.token, "reopen": settled}


def _at_work(one: Shown, noted: list[Observation], others: dict[int, tuple[Marking, ...]]) -> AtWork:
    assignment = one.work.assignment
    return AtWork(one, tuple(s for s in noted if s.assignment_id == assignment.pk), others.get(assignment.pk, ()))


def _other_markings(found: list[Work]) -> dict[int, tuple[Marking, ...]]:
    """By assignment, the passage's markings that are neither in use nor to try."""
    passages = {work.assignment.passage_id for work in found if work.assignment.passage_id}
    rows = list(Marking.objects.filter(passage__in=passages).defer("marks").order_by("number"))
    return {
        work.assignment.pk: tuple(
            marking
            for marking in rows
            if marking.passage_id == work.assignment.passage_id
            and marking.pk != work.assignment.marking_id
            and marking not in work.to_try
        )
        for work in found
    }


def _now_with(lesson: Lesson, now: datetime) -> Lesson | None:
    """The lesson that is really being held now, when it is not this one."""
    if lesson.starts <= now < lesson.starts + timedelta(minutes=lesson.minutes):
        return None
    near = Lesson.objects.filter(teacher=lesson.teacher_id, starts__lte=now, starts__gt=now - timedelta(hours=5))
    for other in near.exclude(pk=lesson.pk).filter(finished=None).select_related("student"):
        if now < other.starts + timedelta(minutes=other.minutes) and other.attendance != "cancelled":
            return other
    return None


def other_day(on: date, today: date) -> str:
    """How far a lesson's day is from today, in words: "is on Wed 2 Dec (in 7 days)"; "" on its day."""
    days = (on - today).days
    if days == 0:
        return ""
    away = {1: "tomorrow", -1: "yesterday"}.get(days) or (f"in {days} days" if days > 0 else f"{-days} days ago")
    return f"{'is' if days > 0 else 'was'} on {date_format(on, 'D j M')} ({away})"


def _finish_initial(lesson: Lesson) -> dict[str, str]:
    return {"attendance": lesson.attendance or "attended", "sentence": lesson.sentence}


@require_POST
def finish(request: HttpRequest, lesson_id: int) -> HttpResponse:
    """Attendance, the week's sentence, and for each assignment what becomes of it next week."""
    lesson = get_lesson(request, lesson_id)
    form = FinishForm(request.POST)
    if not form.is_valid():
        if wants_json(request):
            return JsonResponse({"error": "Choose the attendance."}, status=422)
        return render(request, "lessons/lesson.html", page(request, lesson, form), status=422)
    now = timezone.now()
    # Finished on another day, what became of the work still belongs to the lesson's day.
    at = now if timezone.localdate(lesson.starts) == timezone.localdate(now) else min(now, lesson.ends)
    with transaction.atomic():
        lesson.attendance = form.cleaned_data["attendance"]
        lesson.sentence = form.cleaned_data["sentence"]
        lesson.finished = now
        lesson.save(update_fields=["attendance", "sentence", "finished"])
        if lesson.attendance in ("attended", "late"):
            as_last_week(lesson.student, lesson=lesson, at=at)
        for assignment in Assignment.objects.filter(student=lesson.student, ended=None):
            wish = request.POST.get(f"next-{assignment.pk}", "")
            if wish == "ended":
                end(assignment, on=timezone.localdate(lesson.starts), at=at, lesson=lesson)
            elif wish in Assignment.State.values:
                set_state(assignment, wish, at=at, lesson=lesson)
    there = _after_finish(request, lesson)
    if wants_json(request):
        return JsonResponse({"go": there, "said": "The lesson is finished."})
    messages.success(request, f"The lesson with {lesson.student.first_name} is finished.")
    return redirect(there)


def _after_finish(request: HttpRequest, lesson: Lesson) -> str:
    if request.POST.get("then") == "sheet":
        try:
            return f"{reverse('sheet_preview', args=[lesson.student_id])}?lesson={lesson.pk}"
        except NoReverseMatch:
            pass
    return reverse("today")


def wants_json(request: HttpRequest) -> bool:
    """Whether the page's script asks, which swaps regions, or a plain form, which is redirected."""
    return request.headers.get("Accept", "").startswith("application/json")
