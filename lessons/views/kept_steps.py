"""What a teacher keeps for reuse: sets of steps and phrases of her own."""

from __future__ import annotations

from dataclasses import replace

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_POST

from lessons.access import get_assignment, get_phrase, get_step_set
from lessons.assigning import AssignError
from lessons.offering import UNMEASURED, assignment_ground, plans_of_set, tempi_of
from lessons.practice import RecipeError
from lessons.stepping import add_step, change_phrase, open_steps, save_set
from repertoire.picture_files import all_or_none
from studio.access import teacher_of


@require_POST
def step_set_keep(request: HttpRequest, assignment_id: int) -> HttpResponse:
    """Keep these steps as a set for reuse."""
    given = get_assignment(request, assignment_id)
    try:
        made = save_set(teacher_of(request), request.POST.get("name", ""), open_steps(given))
    except AssignError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, f"Kept as “{made.name}”.")
    return redirect("steps", given.pk)


@require_POST
def step_set_use(request: HttpRequest, assignment_id: int) -> HttpResponse:
    """Add the steps of a kept set, their staves made from this passage."""
    given = get_assignment(request, assignment_id)
    kept = get_step_set(request, _number(request.POST.get("set", "")))
    try:
        found = assignment_ground(given)
    except RecipeError:
        found = None
    try:
        with all_or_none():
            plans, without = plans_of_set(given, kept, found)
            for plan in plans:
                measured = plan.recipe is None or plan.recipe["kind"] not in UNMEASURED
                tempi = tempi_of(given) if measured else (None, None)
                add_step(given, replace(plan, tempo_now=tempi[0], tempo_goal=tempi[1]))
            kept.used += 1
            kept.save(update_fields=["used"])
    except AssignError as error:
        messages.error(request, str(error))
        return redirect("steps", given.pk)
    if without:
        messages.warning(request, f"Without a stave, for this passage gives no ground for it: {'; '.join(without)}.")
    else:
        messages.success(request, f"Added the steps of “{kept.name}”.")
    return redirect("steps", given.pk)


@require_POST
def step_set_remove(request: HttpRequest, set_id: int) -> HttpResponse:
    """Forget a set; steps already given from it stay."""
    kept = get_step_set(request, set_id)
    kept.delete()
    messages.success(request, f"Removed the set “{kept.name}”.")
    if back := _number(request.POST.get("assignment", "")):
        return redirect("steps", get_assignment(request, back).pk)
    return redirect("today")


@require_POST
def phrase(request: HttpRequest, phrase_id: int) -> HttpResponse:
    """Reword a kept phrase, set its theme, or forget it; steps written with it stay as they are."""
    kept = get_phrase(request, phrase_id)
    given = get_assignment(request, _number(request.POST.get("assignment", "")))
    if request.POST.get("wish") == "remove":
        kept.delete()
        messages.success(request, "Removed the phrase.")
        return redirect("steps", given.pk)
    try:
        change_phrase(kept, request.POST.get("text", ""), request.POST.get("theme", ""))
    except AssignError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, "Saved.")
    return redirect("steps", given.pk)


def _number(words: str) -> int:
    return int(words) if words.isascii() and words.isdigit() and len(words) < 18 else 0
