"""A student's whole record: everything that hangs on the student, to hand out or to erase on request.

The record is found by following the foreign keys that lead to the student, so a table added later
belongs to it without being named here. A row that keeps files beside the database names them with a
method `kept_files() -> list[Path]`. One that may have been copied out of the record (a picture taken over for another
student) names those with `copies(teachers) -> list` of rows, each of which goes with its method `take_out()`.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.core.serializers.json import DjangoJSONEncoder
from django.db import OperationalError, connection, models, transaction
from django.db.models.fields.files import FieldFile
from django.utils import timezone

from studio.models import Erasure, Guardian, Handover, Student, Teacher

_log = logging.getLogger(__name__)
_TRIES, _WAIT = 3, 1000  # milliseconds each
_AT_ONCE = 500  # keys asked for in one query


def rows_of(student: Student) -> dict[type[models.Model], list[models.Model]]:
    """Every row of the record by its table, the student first. Guardians are not part of it; see `guardians_of`."""
    found: dict[type[models.Model], dict[Any, models.Model]] = {Student: {student.pk: student}}
    waiting: list[tuple[type[models.Model], list[Any]]] = [(Student, [student.pk])]
    while waiting:
        model, keys = waiting.pop()
        for table, field in _tables_leading_to(model):
            known = found.setdefault(table, {})
            new = [row for row in _rows(table, field, keys) if row.pk not in known]
            known.update((row.pk, row) for row in new)
            if new:
                waiting.append((table, [row.pk for row in new]))
    return {table: list(rows.values()) for table, rows in found.items() if rows}


def guardians_of(student: Student) -> list[Guardian]:
    return list(Guardian.objects.filter(students=student))


def copies_of(student: Student) -> list[models.Model]:
    """What was copied out of the record and stands elsewhere with a teacher who has or had the student."""
    record = rows_of(student)
    teachers = {student.teacher_id, *Handover.objects.filter(student=student).values_list("giver", flat=True)}
    if Teacher.objects.filter(pk__in=teachers, is_active=False).exists():  # what she kept may be any colleague's now
        teachers |= set(Teacher.objects.filter(studio=student.teacher.studio_id).values_list("pk", flat=True))
    named = (row for rows in record.values() for row in rows if hasattr(row, "copies"))
    found = {(type(copy), copy.pk): copy for row in named for copy in row.copies(teachers)}
    own = {(table, row.pk) for table, rows in record.items() for row in rows}
    return [copy for key, copy in found.items() if key not in own]


def export(student: Student) -> str:
    """The record as JSON, in the words of the tables, private notes included."""
    names: dict[models.Model, str] = {}
    tables = {table._meta.verbose_name_plural: rows for table, rows in rows_of(student).items()}
    content: dict[str, Any] = {
        "record of": student.first_name,
        "written": timezone.localtime().isoformat(timespec="seconds"),
        "guardians": [_plain(guardian, names) for guardian in guardians_of(student)],
    }
    content |= {str(name): [_plain(row, names) for row in rows] for name, rows in tables.items()}
    return json.dumps(content, cls=DjangoJSONEncoder, indent=1, ensure_ascii=False)


@dataclass(frozen=True, slots=True)
class Erased:
    """The mark that is left, and whether the database's log could not be emptied of the record."""

    mark: Erasure
    in_log: bool


def erase(student: Student, *, keep_copies: bool = False) -> Erased:
    """Erase the record, guardians who are nobody else's and what was copied out of it; leave a mark
    without personal data. Files are deleted after the database has let the rows go.
    """
    emptied: list[bool] = []
    with transaction.atomic():
        copies = [] if keep_copies else copies_of(student)
        guardians = [guardian for guardian in guardians_of(student) if guardian.students.count() == 1]
        record = rows_of(student)
        files = [path for rows in record.values() for row in rows for path in _files_of(row)]
        count = sum(len(rows) for rows in record.values())
        for table, rows in record.items():
            # Every foreign key is checked when the transaction ends, so the order does not matter.
            for keys in _in_groups([row.pk for row in rows]):
                table._base_manager.filter(pk__in=keys)._raw_delete(table._base_manager.db)
        Guardian.objects.filter(pk__in=[guardian.pk for guardian in guardians]).delete()
        for copy in copies:
            copy.take_out()  # type: ignore[attr-defined]
        mark = Erasure.objects.create(
            teacher_id=student.teacher_id, at=timezone.now(), rows=count + len(guardians) + len(copies)
        )
        transaction.on_commit(lambda: _delete(files))
    transaction.on_commit(lambda: emptied.append(_empty_log()))
    return Erased(mark, in_log=False in emptied)


def _tables_leading_to(model: type[models.Model]) -> Iterator[tuple[type[models.Model], str]]:
    """Each table with a foreign key to `model`, hidden ones and those of many-to-many ties included."""
    for relation in model._meta.get_fields(include_hidden=True):
        if isinstance(relation, models.ManyToOneRel):
            yield relation.related_model, relation.field.name


def _rows(table: type[models.Model], field: str, keys: list[Any]) -> Iterator[models.Model]:
    for some in _in_groups(keys):
        yield from table._base_manager.filter(**{f"{field}__in": some})


def _in_groups(keys: list[Any]) -> Iterator[list[Any]]:
    for start in range(0, len(keys), _AT_ONCE):
        yield keys[start : start + _AT_ONCE]


def _plain(row: models.Model, names: dict[models.Model, str]) -> dict[str, Any]:
    """A row as plain values; a foreign key as its number and what it names."""
    plain: dict[str, Any] = {}
    for field in row._meta.concrete_fields:
        value = getattr(row, field.attname)
        if isinstance(field, models.ForeignKey) and value is not None:
            other = getattr(row, field.name)
            plain[field.name] = {"number": value, "name": names.setdefault(other, str(other))}
        elif isinstance(value, FieldFile):
            plain[field.name] = value.name
        else:
            plain[field.name] = value
    return plain


def _files_of(row: models.Model) -> Iterable[Path]:
    kept = getattr(row, "kept_files", None)
    return list(kept()) if kept else []


def _empty_log() -> bool:
    """SQLite overwrites what it deletes (settings.py); what its log still holds of it goes with the log. False
    when somebody went on reading from it; it is emptied then when the last connection closes."""
    if connection.vendor != "sqlite" or connection.in_atomic_block:
        return True
    with connection.cursor() as cursor:
        (before,) = cursor.execute("PRAGMA busy_timeout").fetchone()
        cursor.execute(f"PRAGMA busy_timeout = {_WAIT}")
        try:
            for _ in range(_TRIES):
                try:
                    (busy, *_) = cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
                except OperationalError:
                    continue
                if not busy:
                    return True
        finally:
            cursor.execute(f"PRAGMA busy_timeout = {before}")
    _log.warning("An erased record may still be in the database’s log, which is in use: it is emptied with the server.")
    return False


def _delete(files: list[Path]) -> None:
    for path in files:
        path.unlink(missing_ok=True)
