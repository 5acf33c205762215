"""Access to lessons is a fetch: the object if it is this teacher's, 404 otherwise."""

from __future__ import annotations

from django.http import HttpRequest
from django.shortcuts import get_object_or_404

from lessons.models import Assignment, Lesson, ListeningPoint, Observation, Phrase, Sheet, Step
from lessons.step_sets import StepSet
from studio.access import teacher_of

PASSAGE = "passage__movement__revision__part"


def get_lesson(request: HttpRequest, lesson_id: int) -> Lesson:
    lessons = Lesson.objects.select_related("student", "teacher__studio")
    return get_object_or_404(lessons, pk=lesson_id, teacher=teacher_of(request))


def get_assignment(request: HttpRequest, assignment_id: int) -> Assignment:
    assignments = Assignment.objects.select_related("student", "piece", "marking", PASSAGE)
    return get_object_or_404(assignments, pk=assignment_id, student__teacher=teacher_of(request))


def get_observation(request: HttpRequest, observation_id: int) -> Observation:
    observations = Observation.objects.select_related("lesson", "assignment", "step")
    return get_object_or_404(observations, pk=observation_id, lesson__teacher=teacher_of(request))


def get_listening_point(request: HttpRequest, point_id: int) -> ListeningPoint:
    points = ListeningPoint.objects.select_related("student", "lesson", "assignment")
    return get_object_or_404(points, pk=point_id, student__teacher=teacher_of(request))


def get_sheet(request: HttpRequest, sheet_id: int) -> Sheet:
    sheets = Sheet.objects.select_related("student", "lesson")
    return get_object_or_404(sheets, pk=sheet_id, student__teacher=teacher_of(request))


def get_step(request: HttpRequest, step_id: int) -> Step:
    """A step that still stands."""
    steps = Step.objects.select_related(
        "assignment__student", "assignment__piece", "assignment__marking", f"assignment__{PASSAGE}", "picture"
    )
    return get_object_or_404(steps, pk=step_id, ended=None, assignment__student__teacher=teacher_of(request))


def get_step_set(request: HttpRequest, set_id: int) -> StepSet:
    return get_object_or_404(StepSet, pk=set_id, teacher=teacher_of(request))


def get_phrase(request: HttpRequest, phrase_id: int) -> Phrase:
    return get_object_or_404(Phrase, pk=phrase_id, teacher=teacher_of(request))
