"""The parts a student has passages on, for the student's page."""

from __future__ import annotations

from django import template

from lessons.merged_part import PartInUse, parts_in_use
from studio.models import Student

register = template.Library()


@register.simple_tag(name="parts_in_use")
def parts_of_student(student: Student) -> list[PartInUse]:
    return parts_in_use(student)
