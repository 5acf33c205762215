"""The practice steps of an assignment: adding, changing, ordering, sharing a pulse, sets for reuse.

A step that a lesson has heard keeps its words: changing them ends it and puts another in its
place, as `assigning.change_steps` does. Every function takes its day from the caller.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any

from django.db import transaction
from django.db.models import F, Max, QuerySet

from lessons.assigning import AssignError, StepPlan, marking_of
from lessons.models import Assignment, Phrase, Step, Theme
from lessons.practice import RecipeError, read_recipe
from lessons.sheet_content import MINUTES_IF_UNSET
from lessons.step_pictures import StepPicture, copy_step_picture, forget_unused
from lessons.step_sets import StepSet
from lessons.tempo import FASTEST, SLOWEST
from repertoire.notation.scans import ScanError
from repertoire.picture_files import all_or_none
from repertoire.technique.practice_time import divide_minutes
from studio.models import Student, Teacher

STEPS_AT_MOST = 12
SETS_AT_MOST = 60
MINUTES_AT_MOST = 240  # of a day


def open_steps(assignment: Assignment) -> QuerySet[Step]:
    return assignment.steps.filter(ended=None).order_by("position", "id")


def add_step(assignment: Assignment, plan: StepPlan) -> Step:
    """A step at the end of the row. Raises AssignError."""
    with transaction.atomic():
        row = open_steps(assignment).select_for_update()
        if len(row) >= STEPS_AT_MOST:
            raise AssignError(f"An assignment has at most {STEPS_AT_MOST} steps: remove one first.")
        last = row.aggregate(last=Max("position"))["last"]
        step = Step(assignment=assignment, position=0 if last is None else last + 1)
        _write(step, plan)
        step.save()
        share_pulse(step)
    return step


def change_step(step: Step, plan: StepPlan, *, on: date) -> Step:
    """Rewrite a step; one that was heard is ended and another stands in its place when the words,
    the stave or the picture change. Raises AssignError."""
    with transaction.atomic():
        _write(step, plan)
        _keep_changed(step, on)
        share_pulse(step)
    return step


def put_picture(step: Step, picture: StepPicture | None, *, on: date) -> Step:
    """Give a step a picture in the place of the one it had, or none; nothing else of it is looked at."""
    with transaction.atomic():
        step.picture = picture
        _keep_changed(step, on)
    return step


def _keep_changed(step: Step, on: date) -> None:
    """Save a changed step, or where a lesson heard what it was, another in its place."""
    before = Step.objects.get(pk=step.pk)
    told = (before.text, before.recipe, before.picture_id) != (step.text, step.recipe, step.picture_id)
    if told and step.observations.exists():
        before.ended = on
        before.save(update_fields=["ended"])
        step.pk = None
        step._state.adding = True
    step.save()
    if before.picture_id != step.picture_id:
        forget_unused(before.picture_id)


def plan_now(step: Step) -> StepPlan:
    """A step as it stands, for changing some of it."""
    return StepPlan(
        step.text, step.tempo_now, step.tempo_goal, step.minutes, step.recipe, step.focus, step.days,
        step.same_pulse, step.ladder, step.picture_id,
    )  # fmt: skip


def _write(step: Step, plan: StepPlan) -> None:
    text = " ".join(plan.text.split())
    if not text:
        raise AssignError("A step needs words: what is the student to do?")
    if len(text) > 300:
        raise AssignError("A step has at most 300 characters; shorten it or make two of it.")
    for tempo in (plan.tempo_now, plan.tempo_goal):
        if tempo is not None and not SLOWEST <= tempo <= FASTEST:
            raise AssignError(f"A tempo lies between {SLOWEST} and {FASTEST} beats a minute, not {tempo}.")
    stand = (plan.tempo_now, plan.tempo_goal) == (step.tempo_now, step.tempo_goal)  # what was heard may pass the goal
    if plan.tempo_now and plan.tempo_goal and plan.tempo_goal < plan.tempo_now and not stand:
        raise AssignError(f"The goal ({plan.tempo_goal}) lies below the tempo now ({plan.tempo_now}).")
    if plan.recipe is not None:
        try:
            read_recipe(plan.recipe)
        except RecipeError as error:
            raise AssignError(str(error)) from None
    step.marking_id = marking_of(plan.recipe)
    step.text, step.recipe, step.focus = text, plan.recipe, " ".join(plan.focus.split())[:120]
    step.tempo_now, step.tempo_goal, step.minutes = plan.tempo_now, plan.tempo_goal, plan.minutes
    step.days = "".join(day for day in "0123456" if day in plan.days)
    if len(step.days) == 7:
        step.days = ""
    step.same_pulse = plan.same_pulse
    step.ladder, step.picture_id = plan.ladder, plan.picture


def share_pulse(step: Step) -> None:
    """The other steps that share the pulse take this one's tempo now."""
    if step.same_pulse and step.tempo_now is not None:
        others = open_steps(step.assignment).filter(same_pulse=True).exclude(pk=step.pk)
        others.update(tempo_now=step.tempo_now)
        others.filter(tempo_goal__lt=step.tempo_now).update(tempo_goal=step.tempo_now)


def remove_step(step: Step, *, on: date) -> None:
    """Take a step out: ended when a lesson heard it, deleted otherwise."""
    if step.observations.exists():
        step.ended = on
        step.save(update_fields=["ended"])
    else:
        step.delete()


def move_step(step: Step, *, earlier: bool) -> None:
    """Change places with the step before or after."""
    row = [s.pk for s in open_steps(step.assignment)]
    here = row.index(step.pk)
    there = here + (-1 if earlier else 1)
    if 0 <= there < len(row):
        row[here], row[there] = row[there], row[here]
        order_steps(step.assignment, row)


def order_steps(assignment: Assignment, wanted: Sequence[int]) -> None:
    """Put the steps in an order of ids; those not named follow as they stood."""
    with transaction.atomic():
        row = list(open_steps(assignment).select_for_update())
        place = {pk: n for n, pk in enumerate(wanted)}
        row.sort(key=lambda s: place.get(s.pk, len(place)))
        for n, step in enumerate(row):
            step.position = n
        Step.objects.bulk_update(row, ["position"])


def divide_over_steps(assignment: Assignment) -> None:
    """Share the assignment's minutes evenly over its steps, the earlier ones taking what is over.

    Raises AssignError when there are no minutes or too few for a minute each.
    """
    row = list(open_steps(assignment))
    total = assignment.minutes or 0
    if not row or total < len(row):
        raise AssignError(
            "Give the assignment its minutes a day first, at least one for each step." if row else "There is no step."
        )
    for step, minutes in zip(row, divide_minutes(total, [1] * len(row)), strict=True):
        step.minutes = minutes
    Step.objects.bulk_update(row, ["minutes"])


def divide_over_work(student: Student, total: int) -> None:
    """Share a day's minutes over everything a student works on, by what each had so far.

    Raises AssignError when there is less than a minute for each.
    """
    row = list(
        Assignment.objects.filter(student=student, ended=None).exclude(state=Assignment.State.RESTING)
    )  # fmt: skip
    if not row:
        raise AssignError(f"{student.first_name} works on nothing yet.")
    if not len(row) <= total <= MINUTES_AT_MOST:
        raise AssignError(f"Share {len(row)} to {MINUTES_AT_MOST} minutes over {len(row)} pieces of work.")
    shares = list(divide_minutes(total, [each.minutes or MINUTES_IF_UNSET for each in row]))
    while 0 in shares:  # nobody practises for no time
        shares[shares.index(max(shares))] -= 1
        shares[shares.index(0)] = 1
    for each, minutes in zip(row, shares, strict=True):
        each.minutes = minutes
    Assignment.objects.bulk_update(row, ["minutes"])


def save_set(teacher: Teacher, name: str, steps: Iterable[Step]) -> StepSet:
    """Keep steps for reuse under a name; a set of that name is replaced. Raises AssignError."""
    name = " ".join(name.split())[:80]
    if not name:
        raise AssignError("Give the set a name.")
    steps = list(steps)
    if not steps:
        raise AssignError("There is no step to keep in a set.")
    if StepSet.objects.filter(teacher=teacher).exclude(name=name).count() >= SETS_AT_MOST:
        raise AssignError(f"There are {SETS_AT_MOST} sets: remove one first.")
    with all_or_none():
        kept = [_kept(step, teacher) for step in steps]
        before = StepSet.objects.filter(teacher=teacher, name=name).first()
        made, _ = StepSet.objects.update_or_create(teacher=teacher, name=name, defaults={"steps": kept})
        for step in before.steps if before else ():
            forget_unused(step.get("picture"))
    return made


def _kept(step: Step, teacher: Teacher) -> dict[str, Any]:
    """A step without what belongs to one passage: the marking, the bars and the notes of its stave.
    A picture is kept as a copy that belongs to no student."""
    stave: dict[str, Any] | None = None
    if step.recipe:
        given = {k: v for k, v in step.recipe.get("with", {}).items() if k not in ("at", "to", "tempo")}
        stave = {"kind": step.recipe["kind"], "with": given}
    return {
        "text": step.text,
        "focus": step.focus,
        "minutes": step.minutes,
        "days": step.days,
        "same_pulse": step.same_pulse,
        "ladder": step.ladder,
        "stave": stave,
        "picture": _copied(step.picture, teacher, None),
    }


def _copied(picture: StepPicture | None, teacher: Teacher, student: Student | None) -> int | None:
    """The id of a copy; none where there is no picture, or its file is gone."""
    try:
        return copy_step_picture(picture, teacher, student).pk if picture else None
    except ScanError:
        return None


def keep_phrase(teacher: Teacher, text: str, theme: str = "") -> None:
    """Keep a wording of the teacher's own, to be offered again."""
    text = " ".join(text.split())[:300]
    if text:
        Phrase.objects.get_or_create(
            teacher=teacher, text=text, defaults={"theme": theme if theme in Theme.values else "", "used": 0}
        )


def change_phrase(phrase: Phrase, text: str, theme: str) -> None:
    """Reword a phrase and set its theme. Raises AssignError."""
    text = " ".join(text.split())[:300]
    if not text:
        raise AssignError("A phrase needs words; remove it if it is no longer wanted.")
    if Phrase.objects.filter(teacher=phrase.teacher_id, text=text).exclude(pk=phrase.pk).exists():
        raise AssignError("There is a phrase with these words already.")
    phrase.text, phrase.theme = text, theme if theme in Theme.values else ""
    phrase.save(update_fields=["text", "theme"])


def used_phrase(teacher: Teacher, text: str) -> None:
    """Count the use of a kept wording: those used often come first."""
    Phrase.objects.filter(teacher=teacher, text=text).update(used=F("used") + 1)


def fill(text: str, *, bar: str, tempo: str) -> str:
    """A phrase with its placeholders {bar} and {tempo} filled in; an empty one leaves a gap to write in."""
    return text.replace("{bar}", bar or "…").replace("{tempo}", tempo or "…")


def plan_of(raw: Mapping[str, Any], recipe: dict[str, Any] | None, student: Student) -> StepPlan:
    """The plan of a step kept in a set, its picture copied for the student: call it inside `all_or_none`."""
    picture = StepPicture.objects.filter(pk=raw.get("picture") or 0, teacher=student.teacher_id).first()
    return StepPlan(
        str(raw.get("text", "")),
        minutes=raw.get("minutes") if isinstance(raw.get("minutes"), int) else None,
        recipe=recipe,
        focus=str(raw.get("focus", "")),
        days=str(raw.get("days", "")),
        same_pulse=bool(raw.get("same_pulse")),
        ladder=str(raw.get("ladder", "")),
        picture=_copied(picture, student.teacher, student),
    )
