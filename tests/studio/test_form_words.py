"""What forms say when something can't be taken: short, with a capital and a full stop."""

from __future__ import annotations

import pytest

from lessons.forms import LessonForm, PlanForm
from studio.forms import StudentForm

pytestmark = pytest.mark.django_db


def test_the_staff_height_is_told_in_millimetres():
    form = StudentForm({"first_name": "Mira", "status": "active", "staff_height": "20"})
    assert form.errors["staff_height"] == ["At most 14 mm."]
    form = StudentForm({"first_name": "Mira", "status": "active", "staff_height": "2"})
    assert form.errors["staff_height"] == ["At least 6 mm."]


def test_numbers_and_empty_fields(teacher):
    form = LessonForm({"on": "", "at": "17:00", "minutes": "2", "weeks": "x"})
    assert form.errors["on"] == ["This can’t be empty."]
    assert form.errors["minutes"] == ["At least 5."]
    assert form.errors["weeks"] == ["Write a whole number."]
    form = PlanForm(
        {"steps": "a" * 301, "tempo_unit": "stone", "state": "new", "listening_point": "b" * 201}, teacher=teacher
    )
    assert form.errors["tempo_unit"] == ["Choose one of those offered."]
    assert form.errors["listening_point"] == ["At most 200 characters; there are 201."]
    assert form.errors["steps"] == [f"A step has at most 300 characters; shorten “{'a' * 40}…”."]
