"""Access to people is a fetch: the object if it is this teacher's, 404 otherwise."""

from __future__ import annotations

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest
from django.shortcuts import get_object_or_404

from studio.models import Guardian, InstrumentPeriod, Student, Teacher


def teacher_of(request: HttpRequest) -> Teacher:
    """The teacher who is signed in. Raises PermissionDenied on a page left open by mistake."""
    if not isinstance(request.user, Teacher):
        raise PermissionDenied
    return request.user


def get_student(request: HttpRequest, student_id: int) -> Student:
    return get_object_or_404(Student, pk=student_id, teacher=teacher_of(request))


def get_guardian(request: HttpRequest, guardian_id: int) -> Guardian:
    return get_object_or_404(Guardian, pk=guardian_id, teacher=teacher_of(request))


def get_instrument_period(request: HttpRequest, student_id: int, period_id: int) -> InstrumentPeriod:
    return get_object_or_404(InstrumentPeriod, pk=period_id, student=get_student(request, student_id))
