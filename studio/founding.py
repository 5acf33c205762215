"""Founding a studio: its first teacher's account, made once and by one person only."""

from __future__ import annotations

from django.db import connection, transaction

from studio.models import Studio, Teacher

_LOCK = 7_241_190  # any number: PostgreSQL's name for "founding" among its advisory locks


class AlreadyFoundedError(Exception):
    """Somebody else was quicker, or the studio stands already."""


def is_founded() -> bool:
    return Teacher.objects.exists()


def found_studio(*, studio_name: str, timezone: str, name: str, email: str, password: str) -> Teacher:
    """Make the studio and its first teacher. Raises AlreadyFoundedError when there is a teacher.

    Two people may press the button at the same moment: SQLite's transactions begin by taking the
    write lock (see the settings), PostgreSQL is asked for a lock, and only then we look.
    """
    with transaction.atomic():
        if connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute("SELECT pg_advisory_xact_lock(%s)", [_LOCK])
        if is_founded():
            raise AlreadyFoundedError
        studio = Studio.objects.create(name=studio_name, timezone=timezone)
        return Teacher.objects.create_user(email, password, name=name, studio=studio)
