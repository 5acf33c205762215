"""The people every test knows: Ada and Clara share a studio, Gustav has another; Mira is Ada's student."""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import date

import pytest
from django.test import Client
from hypothesis import HealthCheck, settings

from studio.models import InstrumentPeriod, Student, Studio, Teacher

PASSWORD = "a long bow on an open C"

# A law is not broken by a busy machine. Where CI is set, Hypothesis says so itself and draws the same examples.
if not os.environ.get("CI"):
    settings.register_profile("busy machine", deadline=None, suppress_health_check=[HealthCheck.too_slow])
    settings.load_profile("busy machine")


@pytest.fixture
def studio(db: None) -> Studio:
    return Studio.objects.create(name="Lindenhof Studio", timezone="Europe/London")


@pytest.fixture
def teacher(studio: Studio) -> Teacher:
    """The owner of whatever a test makes."""
    return Teacher.objects.create_user("ada@example.org", PASSWORD, name="Ada Fell", studio=studio)


@pytest.fixture
def colleague(studio: Studio) -> Teacher:
    """Teaches in the same studio: reads its pieces; students and passages are each teacher's own."""
    return Teacher.objects.create_user("clara@example.org", PASSWORD, name="Clara Moor", studio=studio)


@pytest.fixture
def stranger(db: None) -> Teacher:
    other = Studio.objects.create(name="Weir Studio", timezone="Europe/Berlin")
    return Teacher.objects.create_user("gustav@example.org", PASSWORD, name="Gustav Weir", studio=other)


@pytest.fixture
def client_of() -> Callable[[Teacher], Client]:
    """A browser in which a teacher is signed in: `client_of(teacher).get(…)`."""

    def signed_in(person: Teacher) -> Client:
        client = Client()
        client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
        return client

    return signed_in


@pytest.fixture
def student(teacher: Teacher) -> Student:
    """Mira plays a 14 inch viola; born 2013."""
    mira = Student.objects.create(teacher=teacher, first_name="Mira", surname="Holt", birth_year=2013)
    InstrumentPeriod.objects.create(
        student=mira, instrument="viola", size="14 inch", string_length=325, since=date(2025, 1, 6)
    )
    return mira


@pytest.fixture(autouse=True)
def own_folders(settings, tmp_path):
    """Uploads and sheets of one test stay in its own folder."""
    settings.MEDIA_ROOT = tmp_path / "uploads"
    settings.SHEETS_ROOT = tmp_path / "sheets"
