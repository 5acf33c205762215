"""The files of pictures and their rows: stored together, and gone together when a transaction fails."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Protocol, TypeVar

from django.core.files.base import ContentFile
from django.db import transaction
from django.db.models.fields.files import FieldFile


class Pictured(Protocol):
    image: FieldFile

    def save(self) -> None: ...


Row = TypeVar("Row", bound=Pictured)
_stored: ContextVar[list[FieldFile] | None] = ContextVar("files stored so far", default=None)


@contextmanager
def all_or_none() -> Iterator[None]:
    """A transaction for whatever stores pictures: when it fails, their files go with the rows."""
    outside, made = _stored.get(), list[FieldFile]()
    token = _stored.set(made)
    try:
        with transaction.atomic():
            yield
    except BaseException:
        for file in made:
            file.storage.delete(file.name or "")
        raise
    finally:
        _stored.reset(token)
    if outside is not None:
        outside += made


def store(row: Row, content: bytes) -> Row:
    """Save a new row with its picture, a PNG."""
    try:
        row.image.save("picture.png", ContentFile(content), save=False)
        row.save()
    except BaseException:
        row.image.storage.delete(row.image.name or "")
        raise
    if (stored := _stored.get()) is not None:
        stored.append(row.image)
    return row
