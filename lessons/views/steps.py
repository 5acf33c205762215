"""The practice steps of an assignment: offered with their reasons, looked at, edited, put in order.

Every action is a plain form. A step's stave is drawn from its recipe each time it is shown.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from lessons.access import get_assignment, get_step
from lessons.assigning import AssignError, StepPlan
from lessons.models import Assignment, Phrase, Step, Theme
from lessons.offering import (
    NEEDS_A_NOTE,
    Offered,
    assignment_ground,
    offered,
    plan_of_kind,
    plans_of_offer,
    quarter_tempo,
    tempi_of,
)
from lessons.practice import Ground, RecipeError, for_marking, read_recipe, stave_of, stave_picture
from lessons.sheet_content import DAY_NAMES
from lessons.step_forms import StepForm
from lessons.step_sets import StepSet
from lessons.stepping import (
    add_step,
    change_step,
    divide_over_steps,
    divide_over_work,
    fill,
    keep_phrase,
    move_step,
    open_steps,
    order_steps,
    plan_now,
    remove_step,
    used_phrase,
)
from lessons.tempo import unit_words
from repertoire.bounds import BoundsError, read_bounds
from repertoire.excerpts import NoNotation, passage_line, screen_look
from repertoire.notation.picture import Picture
from repertoire.technique import recipes
from repertoire.technique.line import Line
from repertoire.technique.practice_staves import Stave
from repertoire.technique.tempo_ladder import LadderError, equal_ratio, traditional
from studio.access import get_student, teacher_of
from studio.terms import terms_for

PHRASES_SHOWN = 12
EARLIER_SHOWN = 6


@dataclass(frozen=True)
class ShownStep:
    """A step with its stave drawn. `trouble` says why there is none; `outdated` that the
    stave is made from another marking than the one in use."""

    step: Step
    picture: Picture | None
    remarks: tuple[str, ...]
    title: str
    trouble: str
    outdated: bool

    @property
    def numbers(self) -> str:
        """Tempo, minutes and days in one line; the tempo's unit stands at the head of the page."""
        step, out = self.step, []
        if step.tempo_now:
            goal = f" → {step.tempo_goal}" if step.tempo_goal and step.tempo_goal != step.tempo_now else ""
            out.append(f"at {step.tempo_now}{goal}{', shared pulse' if step.same_pulse else ''}")
        if step.minutes:
            out.append(f"{step.minutes} min")
        if step.days:
            out.append(", ".join(DAY_NAMES[int(day)] for day in step.days))
        if step.rungs:
            out.append(f"ladder {' '.join(map(str, step.rungs))}")
        return " · ".join(out)


@dataclass(frozen=True)
class ShownOffer:
    offered: Offered
    picture: Picture | None


def _show(request: HttpRequest, step: Step, known: dict[int, Ground] | None = None) -> ShownStep:
    raw, passage = step.recipe, step.assignment.passage
    if not raw or passage is None:
        return ShownStep(step, None, (), "", "", False)
    try:
        recipe = read_recipe(raw)
        stave = stave_of(raw, passage, step.assignment.student, known=known)
    except RecipeError as error:
        return ShownStep(step, None, (), "", str(error), False)
    outdated = recipe.marking != (step.assignment.marking_id or 0)
    picture = _picture(request, stave, f"s{step.pk}-")
    return ShownStep(step, picture, stave.remarks, recipe.title, "", outdated)


def _picture(request: HttpRequest, stave: Stave, prefix: str) -> Picture:
    return stave_picture(stave, screen_look(request, prefix=prefix, screen=False))


def _ground(assignment: Assignment) -> tuple[Ground | None, str]:
    try:
        return assignment_ground(assignment), ""
    except RecipeError as error:
        return None, str(error)


def _line(assignment: Assignment) -> Line | None:
    if assignment.passage is None:
        return None
    try:
        return passage_line(assignment.passage)
    except NoNotation:
        return None


@require_safe
def steps(request: HttpRequest, assignment_id: int) -> HttpResponse:
    """The steps in order, and what could be added to them."""
    given = get_assignment(request, assignment_id)
    found, trouble = _ground(given)
    every = offered(given, found) if found else []
    known = {given.marking_id or 0: found} if found else {}
    shown = [_show(request, step, known) for step in _with(given)]
    first = [ShownOffer(o, _offer_picture(request, given, found, o)) for o in every if o.first and found]
    teacher = teacher_of(request)
    context = {
        "section": "students",
        "student": given.student,
        "assignment": given,
        "shown": shown,
        "outdated": any(one.outdated for one in shown),
        "minutes": sum(one.step.minutes or 0 for one in shown),
        "first": first,
        "more": [o for o in every if not o.first],
        "trouble": trouble,
        "kinds": [(name, kind.title) for name, kind in recipes.KINDS.items() if name not in NEEDS_A_NOTE],
        "sets": StepSet.objects.filter(teacher=teacher),
        "phrases": _phrases(given),
        "kept": Phrase.objects.filter(teacher=teacher),
        "themes": Theme.choices,
        "unit": unit_words(given.tempo_unit, terms_for(teacher.studio.terms)),
    }
    return render(request, "lessons/steps.html", context)


def _with(assignment: Assignment) -> list[Step]:
    row = list(open_steps(assignment).select_related("picture"))
    for step in row:
        step.assignment = assignment
    return row


def _offer_picture(request: HttpRequest, given: Assignment, found: Ground, one: Offered) -> Picture | None:
    """The last stave of an offer: of stages, the whole thing."""
    assert given.passage is not None
    try:
        plans = plans_of_offer(given, found, one.number)
        stave = stave_of(plans[-1].recipe, given.passage, given.student, known={given.marking_id or 0: found})
    except RecipeError:
        return None
    return _picture(request, stave, f"o{one.number}-")


@require_safe
def step_offer(request: HttpRequest, assignment_id: int, number: int) -> HttpResponse:
    """One offer with all its staves drawn, to look at before adding it."""
    given = get_assignment(request, assignment_id)
    found, _ = _ground(given)
    one = next((o for o in offered(given, found) if o.number == number), None) if found else None
    if one is None or found is None or given.passage is None:
        raise Http404
    plans = plans_of_offer(given, found, number)
    pictures = [
        (plan.text, _picture(request, stave_of(plan.recipe, given.passage, given.student), f"o{number}-{place}-"))
        for place, plan in enumerate(plans)
    ]
    context = {
        "section": "students", "student": given.student, "assignment": given, "offer": one, "pictures": pictures,
    }  # fmt: skip
    name = "lessons/_step_offer.html" if request.headers.get("HX-Request") else "lessons/step_offer.html"
    return render(request, name, context)


def _phrases(assignment: Assignment) -> dict[str, list[tuple[str, str]]]:
    """Wordings to offer, each as it would read here and as it is kept: those used with this student
    before, then the teacher's own by theme and use."""
    tempo = str(assignment.tempo_now or "")
    bar = assignment.passage.first_number if assignment.passage else ""
    student, teacher = assignment.student, assignment.student.teacher
    before = Step.objects.filter(assignment__student=student).exclude(assignment=assignment).order_by("-id")
    texts = list(dict.fromkeys(before.values_list("text", flat=True)[:40]))[:EARLIER_SHOWN]
    out = {f"Used with {student.first_name}": [(text, text) for text in texts]} if texts else {}
    for phrase in Phrase.objects.filter(teacher=teacher)[: PHRASES_SHOWN * 2]:
        theme = phrase.get_theme_display() or "other"
        group = out.setdefault(theme[:1].upper() + theme[1:], [])
        if sum(map(len, out.values())) < PHRASES_SHOWN + EARLIER_SHOWN:
            group.append((fill(phrase.text, bar=bar, tempo=tempo), phrase.text))
    return {theme: rows for theme, rows in out.items() if rows}


@require_POST
def step_add(request: HttpRequest, assignment_id: int) -> HttpResponse:
    """Add an offer, a stave of a kind over chosen bars, or a step in words."""
    given = get_assignment(request, assignment_id)
    try:
        plans = _plans(request, given)
        with transaction.atomic():
            added = [add_step(given, plan) for plan in plans]
    except (AssignError, RecipeError) as error:
        messages.error(request, str(error))
        return redirect("steps", given.pk)
    if phrase := request.POST.get("phrase", ""):
        used_phrase(teacher_of(request), phrase[:300])
    if request.POST.get("keep"):
        keep_phrase(teacher_of(request), added[0].text)
    messages.success(request, "Added." if len(added) == 1 else f"Added {len(added)} steps.")
    if request.POST.get("then") == "picture":
        return redirect("step_picture", added[0].pk)
    if request.POST.get("kind"):
        return redirect("step", added[0].pk)
    return redirect("steps", given.pk)


def _plans(request: HttpRequest, given: Assignment) -> list[StepPlan]:
    told = request.POST
    if told.get("offer", "").isdecimal() and len(told["offer"]) < 6:
        return plans_of_offer(given, assignment_ground(given), int(told["offer"]))
    if kind := told.get("kind"):
        found = assignment_ground(given)
        bars = None
        if text := told.get("bars", "").strip()[:40]:
            try:
                bounds = read_bounds(text, found.line)
            except BoundsError as error:
                raise RecipeError(str(error)) from None
            bars = (bounds.start_bar, bounds.end_bar)
        return [plan_of_kind(given, kind, bars)]
    return [StepPlan(told.get("text", ""), *tempi_of(given))]


@require_http_methods(["GET", "HEAD", "POST"])
def step(request: HttpRequest, step_id: int) -> HttpResponse:
    """One step: its stave, words, bars, tempo and ladder, minutes, focus, days."""
    one = get_step(request, step_id)
    form = StepForm(request.POST or None, step=one, line=_line(one.assignment))
    if request.method == "POST" and form.is_valid():
        try:
            _check_stave(one, form)
            change_step(one, _timed(one, form.plan), on=timezone.localdate())
        except (AssignError, RecipeError) as error:
            form.add_error(None, str(error))
        else:
            if form.cleaned_data["keep_words"]:
                keep_phrase(teacher_of(request), form.cleaned_data["text"])
            messages.success(request, "Saved.")
            return redirect("steps", one.assignment_id)
    context = {
        "section": "students",
        "student": one.assignment.student,
        "assignment": one.assignment,
        "shown": _show(request, get_step(request, step_id)),
        "form": form,
        "phrases": _phrases(one.assignment),
        "ladders": _ladders(one),
        "unit": unit_words(one.assignment.tempo_unit, terms_for(teacher_of(request).studio.terms)),
    }
    return render(request, "lessons/step.html", context, status=422 if request.method == "POST" else 200)


@require_safe
def step_stave(request: HttpRequest, step_id: int) -> HttpResponse:
    """A step's stave alone, for the lesson page; the step's own page without scripts."""
    one = get_step(request, step_id)
    if not request.headers.get("HX-Request"):
        return redirect("step", one.pk)
    shown = _show(request, one)
    context = {"picture": shown.picture, "remarks": shown.remarks, "trouble": shown.trouble}
    return render(request, "lessons/_step_stave.html", context)


def _timed(one: Step, plan: StepPlan) -> StepPlan:
    """A stave that depends on the tempo follows the step's."""
    recipe = plan.recipe
    tempo = quarter_tempo(one.assignment, plan.tempo_now)
    if recipe is None or tempo is None or "tempo" not in recipes.KINDS[recipe["kind"]].takes:
        return plan
    return replace(plan, recipe={**recipe, "with": {**recipe.get("with", {}), "tempo": tempo}})


def _check_stave(one: Step, form: StepForm) -> None:
    if form.recipe and one.assignment.passage is not None:
        stave_of(form.recipe, one.assignment.passage, one.assignment.student)


def _ladders(one: Step) -> list[tuple[str, tuple[int, ...]]]:
    now, goal = one.tempo_now, one.tempo_goal
    if not now or not goal or now == goal:
        return []
    try:
        return [("Metronome steps", traditional(now, goal)), ("Equal steps", equal_ratio(now, goal, 6))]
    except LadderError:
        return []


@require_POST
def step_look(request: HttpRequest, step_id: int) -> HttpResponse:
    """The stave as the form would have it, before it is saved."""
    one = get_step(request, step_id)
    form = StepForm(request.POST, step=one, line=_line(one.assignment))
    context: dict[str, Any] = {"section": "students", "assignment": one.assignment, "student": one.assignment.student}
    status = 422
    if form.is_valid() and form.recipe and one.assignment.passage is not None:
        try:
            plan = _timed(one, form.plan)
            stave = stave_of(plan.recipe, one.assignment.passage, one.assignment.student)
            context |= {"picture": _picture(request, stave, f"s{one.pk}-"), "remarks": stave.remarks}
            status = 200
        except RecipeError as error:
            context["trouble"] = str(error)
    else:
        context["trouble"] = " ".join(str(e) for errors in form.errors.values() for e in errors) or "No stave to draw."
    if not request.headers.get("HX-Request"):
        return redirect("step", one.pk)
    return render(request, "lessons/_step_stave.html", context, status=status)


@require_POST
def step_place(request: HttpRequest, step_id: int) -> HttpResponse:
    """Earlier, later, or out."""
    one = get_step(request, step_id)
    wish = request.POST.get("wish", "")
    if wish in ("earlier", "later"):
        move_step(one, earlier=wish == "earlier")
    elif wish == "remove":
        remove_step(one, on=timezone.localdate())
        messages.success(request, "Removed.")
    return redirect("steps", one.assignment_id)


@require_POST
def steps_order(request: HttpRequest, assignment_id: int) -> HttpResponse:
    """The order of the steps after dragging: ids parted by commas."""
    given = get_assignment(request, assignment_id)
    wanted = [int(n) for n in request.POST.get("order", "")[:400].split(",") if n.isascii() and n.isdigit()]
    order_steps(given, wanted)
    if request.headers.get("X-Requested-With") == "fetch":
        return HttpResponse(status=204)
    return redirect("steps", given.pk)


@require_POST
def steps_minutes(request: HttpRequest, assignment_id: int) -> HttpResponse:
    """Share the assignment's minutes over its steps."""
    given = get_assignment(request, assignment_id)
    try:
        divide_over_steps(given)
    except AssignError as error:
        messages.error(request, str(error))
    return redirect("steps", given.pk)


@require_POST
def work_minutes(request: HttpRequest, student_id: int) -> HttpResponse:
    """Share a day's minutes over all of a student's work."""
    student = get_student(request, student_id)
    words = request.POST.get("minutes", "")
    try:
        divide_over_work(student, int(words) if words.isascii() and words.isdigit() and len(words) < 5 else 0)
    except AssignError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, f"Shared {words} minutes over the work.")
    return redirect("student", student.pk)


@require_POST
def steps_marking(request: HttpRequest, assignment_id: int) -> HttpResponse:
    """Make the staves from the marking now in use, where the passage still gives ground for them."""
    given = get_assignment(request, assignment_id)
    left = []
    for one in _with(given):
        if not one.recipe or given.passage is None or one.recipe.get("marking") == (given.marking_id or 0):
            continue
        recipe = for_marking(one.recipe, given)
        try:
            stave_of(recipe, given.passage, given.student)
        except RecipeError:
            left.append(one.text)
            continue
        change_step(one, replace(plan_now(one), recipe=recipe), on=timezone.localdate())
    if left:
        messages.warning(request, f"The marking in use gives no ground for: {'; '.join(left)}.")
    else:
        messages.success(request, "The staves now follow the marking in use.")
    return redirect("steps", given.pk)
