"""What a student works on: giving it, changing its marking with a reason, putting it to rest.

An assignment names a passage and the marking in use, or a piece and its bars. From then on
the marking changes only through a MarkingChange and the state through a StateChange, which say
when, why and in which lesson. Every function takes its times from the caller.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Max, QuerySet

from lessons.models import Assignment, Lesson, MarkingChange, StateChange, Step
from lessons.tempo import FASTEST, SLOWEST
from repertoire.models import Marking, Passage, Piece
from repertoire.queries import passages_open_to
from studio.models import Student

TO_TRY_LIMIT = 2
State = Assignment.State
OPEN_STATES = (State.NEW, State.WORKING, State.SECURE, State.PERFORMED)


class AssignError(ValueError):
    """Something that can't be assigned; the message says what to do instead."""


@dataclass(frozen=True, slots=True)
class StepPlan:
    """One practice step as the teacher writes it; tempi in beats of the assignment's unit."""

    text: str
    tempo_now: int | None = None
    tempo_goal: int | None = None
    minutes: int | None = None
    recipe: dict[str, Any] | None = None
    focus: str = ""
    days: str = ""
    same_pulse: bool = False
    ladder: str = ""
    picture: int | None = None  # a StepPicture's id


def assign(
    student: Student,
    *,
    begun: date,
    passage: Passage | None = None,
    piece: Piece | None = None,
    bars: str = "",
    marking: Marking | None = None,
    to_try: Iterable[Marking] = (),
    steps: Iterable[str | StepPlan] = (),
    tempo_now: int | None = None,
    tempo_goal: int | None = None,
    tempo_unit: str = "quarter",
    listening_point: str = "",
    minutes: int | None = None,
    state: str = State.NEW,
    lesson: Lesson | None = None,
) -> Assignment:
    """Give a student a passage with a marking, or bars of a piece. Raises AssignError."""
    to_try = tuple(to_try)
    piece = _checked_piece(student, passage, piece)
    _check_markings(passage, marking, to_try)
    _check_tempo(tempo_now, tempo_goal)
    if lesson is not None and lesson.student_id != student.pk:
        raise AssignError("That lesson is another student’s.")
    with transaction.atomic():
        open_ones = Assignment.objects.select_for_update().filter(student=student, ended=None)
        if passage is not None and open_ones.filter(passage=passage).exists():
            raise AssignError(
                f"{student.first_name} already works on “{passage.title}”: change its marking there instead."
            )
        last = open_ones.aggregate(last=Max("position"))["last"]
        assignment = Assignment.objects.create(
            student=student,
            piece=piece,
            passage=passage,
            bars="" if passage else bars.strip(),
            marking=marking,
            state=state,
            tempo_now=tempo_now,
            tempo_goal=tempo_goal,
            tempo_unit=tempo_unit,
            listening_point=listening_point.strip(),
            minutes=minutes,
            position=0 if last is None else last + 1,
            assigned_in=lesson,
            begun=begun,
        )
        assignment.to_try.set(to_try)
        plans = [plan for plan in map(_plan, steps) if plan.text]
        Step.objects.bulk_create(_new_step(assignment, place, plan) for place, plan in enumerate(plans))
    return assignment


def change_marking(
    assignment: Assignment,
    marking: Marking,
    *,
    at: datetime,
    reason: str = "",
    lesson: Lesson | None = None,
    token: uuid.UUID | None = None,
) -> MarkingChange:
    """Move a student to another marking of the same passage, and remember why.

    A marking "to try" gives its place to the one it replaces, so that one tap goes back.
    Sent twice with one token it happens once. Raises AssignError.
    """
    with transaction.atomic():
        assignment = Assignment.objects.select_for_update(of=("self",)).select_related("marking").get(pk=assignment.pk)
        if token is not None and (known := MarkingChange.objects.filter(token=token).first()):
            if known.assignment_id != assignment.pk:
                raise AssignError("This change was already made for another assignment.")
            return known
        if marking.passage_id != assignment.passage_id:
            raise AssignError(f"“{marking.name}” is a marking of another passage.")
        if marking.pk == assignment.marking_id:
            raise AssignError(f"“{marking.name}” is already the marking in use.")
        before = assignment.marking
        change = MarkingChange.objects.create(
            token=token or uuid.uuid4(),
            assignment=assignment,
            lesson=lesson,
            before=before,
            after=marking,
            reason=reason.strip(),
            at=at,
        )
        assignment.marking = marking
        assignment.save(update_fields=["marking"])
        if assignment.to_try.filter(pk=marking.pk).exists():
            assignment.to_try.remove(marking)
            if before is not None:
                assignment.to_try.add(before)
    return change


def choose_to_try(assignment: Assignment, markings: Iterable[Marking]) -> None:
    """Set the (up to two) markings "to try" beside the one in use. Raises AssignError."""
    markings = tuple(markings)
    _check_markings(assignment.passage, assignment.marking, markings)
    assignment.to_try.set(markings)


def change_plan(
    assignment: Assignment,
    *,
    tempo_now: int | None,
    tempo_goal: int | None,
    tempo_unit: str,
    listening_point: str,
    minutes: int | None,
) -> None:
    """Rewrite what is not history: tempo, listening point, minutes. Raises AssignError."""
    _check_tempo(tempo_now, tempo_goal)
    assignment.tempo_now, assignment.tempo_goal, assignment.tempo_unit = tempo_now, tempo_goal, tempo_unit
    assignment.listening_point, assignment.minutes = listening_point.strip(), minutes
    assignment.save(update_fields=["tempo_now", "tempo_goal", "tempo_unit", "listening_point", "minutes"])


def change_steps(assignment: Assignment, plans: Sequence[str | StepPlan], *, on: date) -> None:
    """Make these the practice steps, in this order.

    A step with the same words stays itself. One that is gone is ended when a lesson heard
    it, so that its observations keep their words, and deleted otherwise.
    """
    wanted = [plan for plan in map(_plan, plans) if plan.text]
    with transaction.atomic():
        kept = {step.text: step for step in assignment.steps.filter(ended=None)}
        for place, plan in enumerate(wanted):
            step = kept.pop(plan.text, None)
            if step is None:
                _new_step(assignment, place, plan).save()
                continue
            step.position, step.minutes = place, plan.minutes if plan.minutes is not None else step.minutes
            step.tempo_now = plan.tempo_now if plan.tempo_now is not None else step.tempo_now
            step.tempo_goal, step.recipe = plan.tempo_goal or step.tempo_goal, plan.recipe or step.recipe
            step.marking_id = marking_of(step.recipe)
            step.focus, step.days = plan.focus or step.focus, plan.days or step.days
            step.same_pulse = plan.same_pulse or step.same_pulse
            step.save()
        for step in kept.values():
            if step.observations.exists():
                step.ended = on
                step.save(update_fields=["ended"])
            else:
                step.delete()


def set_state(
    assignment: Assignment, state: str, *, at: datetime, lesson: Lesson | None = None, reason: str = ""
) -> StateChange | None:
    """Note that work is new, in work, secure, performed or resting from now on, and why if told.

    None when it is so already. The marking in use is remembered with it. Raises AssignError for ended work.
    """
    with transaction.atomic():
        assignment.refresh_from_db(fields=["state", "ended", "marking"], from_queryset=_locked())
        if state == assignment.state:
            return None
        if assignment.ended is not None:
            raise AssignError("This work is done with. Take it up again first, then tell how it stands.")
        change = _state_change(assignment, assignment.state, state, at=at, lesson=lesson, reason=reason)
        change.save()
        assignment.state = state
        assignment.save(update_fields=["state"])
    return change


def end(
    assignment: Assignment, *, on: date, at: datetime | None = None, lesson: Lesson | None = None, reason: str = ""
) -> StateChange | None:
    """The student no longer works on it; it stays in the history. `at` is noon of the day when left out."""
    zone = ZoneInfo(assignment.student.teacher.studio.timezone)
    with transaction.atomic():
        assignment.refresh_from_db(fields=["state", "ended", "marking"], from_queryset=_locked())
        if assignment.ended is not None:
            return None
        at = at or datetime.combine(on, time(12), zone)
        change = _state_change(assignment, assignment.state, StateChange.ENDED, at=at, lesson=lesson, reason=reason)
        change.save()
        assignment.ended = on
        assignment.save(update_fields=["ended"])
    return change


def resume(assignment: Assignment, *, at: datetime, lesson: Lesson | None = None, reason: str = "") -> None:
    """Take ended or resting work up again. Raises AssignError when the passage is open elsewhere."""
    with transaction.atomic():
        assignment.refresh_from_db(fields=["state", "ended", "marking"], from_queryset=_locked())
        others = Assignment.objects.filter(student=assignment.student_id, ended=None).exclude(pk=assignment.pk)
        if assignment.passage_id and others.filter(passage=assignment.passage_id).exists():
            raise AssignError("This passage is already among the current assignments.")
        before = assignment.state if assignment.ended is None else StateChange.ENDED
        after = State.WORKING if assignment.state == State.RESTING else assignment.state
        if before == after:
            return
        _state_change(assignment, before, after, at=at, lesson=lesson, reason=reason).save()
        assignment.ended, assignment.state = None, after
        assignment.save(update_fields=["ended", "state"])


def _locked() -> QuerySet[Assignment]:
    return Assignment.objects.select_for_update(of=("self",))


def _state_change(
    assignment: Assignment, before: str, after: str, *, at: datetime, lesson: Lesson | None, reason: str = ""
) -> StateChange:
    return StateChange(
        assignment=assignment,
        lesson=lesson,
        before=before,
        after=after,
        marking_id=assignment.marking_id,
        reason=" ".join(reason.split())[:300],
        at=at,
    )


def move(assignment: Assignment, *, earlier: bool) -> None:
    """Change places with the open assignment before or after."""
    with transaction.atomic():
        row = list(Assignment.objects.select_for_update().filter(student=assignment.student_id, ended=None))
        here = next((place for place, other in enumerate(row) if other.pk == assignment.pk), None)
        there = None if here is None else here + (-1 if earlier else 1)
        if here is None or there is None or not 0 <= there < len(row):
            return
        row[here], row[there] = row[there], row[here]
        for place, other in enumerate(row):
            other.position = place
        Assignment.objects.bulk_update(row, ["position"])


def as_last_week(student: Student, *, lesson: Lesson, at: datetime) -> tuple[Assignment, ...]:
    """Everything the student works on goes on unchanged into the next week.

    What was new before this lesson has now been heard and becomes "working"; what this
    lesson itself assigned stays new. Returns the assignments that go on, in order.
    """
    with transaction.atomic():
        new = list(_locked().filter(student=student, ended=None, state=State.NEW).exclude(assigned_in=lesson))
        StateChange.objects.bulk_create(
            _state_change(each, State.NEW, State.WORKING, at=at, lesson=lesson) for each in new
        )
        Assignment.objects.filter(pk__in=[each.pk for each in new]).update(state=State.WORKING)
    return tuple(Assignment.objects.filter(student=student, ended=None).exclude(state=State.RESTING))


def _plan(step: str | StepPlan) -> StepPlan:
    plan = StepPlan(step) if isinstance(step, str) else step
    text = " ".join(plan.text.split())
    if len(text) > 300:
        raise AssignError(f"A step has at most 300 characters; shorten “{text[:40]}…” or make two of it.")
    return replace(plan, text=text, focus=" ".join(plan.focus.split())[:120])


def _new_step(assignment: Assignment, place: int, plan: StepPlan) -> Step:
    return Step(
        assignment=assignment,
        position=place,
        text=plan.text,
        tempo_now=plan.tempo_now,
        tempo_goal=plan.tempo_goal,
        minutes=plan.minutes,
        recipe=plan.recipe,
        marking_id=marking_of(plan.recipe),
        focus=plan.focus,
        days=plan.days,
        same_pulse=plan.same_pulse,
        ladder=plan.ladder,
        picture_id=plan.picture,
    )


def marking_of(recipe: dict[str, Any] | None) -> int | None:
    """The marking a stave is made from; None for the marks as printed and for steps in words."""
    return (recipe or {}).get("marking") or None


def _checked_piece(student: Student, passage: Passage | None, piece: Piece | None) -> Piece:
    if passage is not None:
        found = passage.movement.revision.part.piece
        if piece is not None and piece.pk != found.pk:
            raise AssignError(f"“{passage.title}” is not a passage of {piece.title}.")
        if not passages_open_to(student.teacher).filter(pk=passage.pk).exists():
            raise AssignError("That passage is another teacher’s.")
        return found
    if piece is None:
        raise AssignError("Choose a passage, or a piece and its bars.")
    if piece.teacher.studio_id != student.teacher.studio_id:
        raise AssignError("That piece is another studio’s.")
    return piece


def _check_markings(passage: Passage | None, marking: Marking | None, to_try: tuple[Marking, ...]) -> None:
    for each in (marking, *to_try):
        if each is not None and (passage is None or each.passage_id != passage.pk):
            raise AssignError(f"“{each.name}” is a marking of another passage.")
    if len(to_try) > TO_TRY_LIMIT:
        raise AssignError("At most two markings to try beside the one in use: take one away.")
    if len({m.pk for m in to_try}) < len(to_try) or (marking is not None and marking in to_try):
        raise AssignError("The markings to try must differ from each other and from the one in use.")


def _check_tempo(*tempi: int | None) -> None:
    for tempo in tempi:
        if tempo is not None and not SLOWEST <= tempo <= FASTEST:
            raise AssignError(f"A tempo lies between {SLOWEST} and {FASTEST} beats a minute, not {tempo}.")
