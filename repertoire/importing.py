"""From a file to a part: keep the upload while its part is chosen, read that part, store it.

Nothing is left behind when something fails: rows go with their transaction, and a file
written before the failure is deleted again. The bytes of a read part are kept as they came,
under a name that can't be guessed, and are given to their owner only.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from datetime import timedelta
from typing import Any

from django.conf import settings
from django.core.files.base import ContentFile
from django.db import transaction
from django.db.models import QuerySet
from django.db.models.fields.files import FieldFile
from django.utils import timezone

from repertoire.bounds import Bounds
from repertoire.models import Movement, Part, Passage, Piece, Revision, Upload
from repertoire.notation.files import Contents, ReadPart, format_of, list_contents, read_part
from repertoire.notation.storing import line_to_json
from repertoire.picture_models import ExcerptPicture
from repertoire.technique.marks import dump
from studio.models import Teacher
from studio.terms import terms_for

UPLOAD_KEPT = timedelta(days=1)
TYPED_NAME = "typed.abc"  # the file a typed text is kept as


def keep_upload(
    teacher: Teacher, content: bytes, file_name: str, *, piece: Piece | None = None, part: Part | None = None
) -> Upload:
    """Look into a file and keep it until its part is chosen. Raises FileError, keeping nothing."""
    contents = contents_to_json(list_contents(content, file_name, limit=settings.UPLOAD_LIMIT))
    discard_old_uploads(teacher)
    upload = Upload(
        teacher=teacher,
        piece=piece,
        part=part,
        file_name=file_name[-200:],
        sha256=hashlib.sha256(content).hexdigest(),
        contents=contents,
    )
    with _undone_on_failure(upload.file):
        upload.file.save(file_name, ContentFile(content), save=False)
        upload.save()
    return upload


def discard_upload(upload: Upload) -> None:
    """The row and the file of an upload, gone once the transaction holds."""
    upload.delete()
    _delete_on_commit(upload.file)


def discard_old_uploads(teacher: Teacher) -> None:
    """What this teacher sent more than a day ago and never chose a part of."""
    for upload in Upload.objects.filter(teacher=teacher, created__lt=timezone.now() - UPLOAD_KEPT):
        discard_upload(upload)


def parts_of_file(teacher: Teacher, sha256: str) -> QuerySet[Part]:
    """The parts this teacher has already read from the same bytes."""
    return Part.objects.filter(piece__teacher=teacher, revisions__sha256=sha256).select_related("piece").distinct()


def add_part(
    piece: Piece,
    content: bytes,
    file_name: str,
    part: str | int,
    *,
    name: str = "",
    instrument: str = "",
    edition: str = "",
    rights: str = "",
) -> Part:
    """Read one part of a file and store it under a piece: its bytes, movements, notes and
    printed marks. Raises FileError, leaving nothing behind."""
    return store_part(
        piece,
        read_part(content, file_name, part, limit=settings.UPLOAD_LIMIT),
        content,
        file_name,
        part_ref=str(part),
        source=format_of(content, file_name),
        name=name,
        instrument=instrument,
        edition=edition,
        rights=rights,
    )


def store_part(
    piece: Piece,
    read: ReadPart,
    content: bytes,
    file_name: str,
    *,
    part_ref: str = "",
    name: str = "",
    instrument: str = "",
    edition: str = "",
    rights: str = "",
    source: str = Revision.Source.MUSICXML,
) -> Part:
    """Store a part that was read, with the bytes it was read from."""
    made = Part(
        piece=piece,
        name=(name or read.name or "Part")[:120],
        instrument=(instrument or read.instrument)[:20],
        edition=edition,
        rights=rights,
    )
    with transaction.atomic():
        made.save()
        add_revision(made, read, content, file_name, part_ref=part_ref, source=source)
    return made


def add_revision(
    part: Part,
    read: ReadPart,
    content: bytes,
    file_name: str,
    *,
    part_ref: str = "",
    source: str = Revision.Source.MUSICXML,
) -> Revision:
    """Store what was read as the part's newest file. Earlier files stay with their passages."""
    last = part.revision if part.pk else None
    revision = Revision(
        part=part,
        number=last.number + 1 if last else 1,
        source=source,
        file_name=file_name[-200:],
        sha256=hashlib.sha256(content).hexdigest(),
        part_ref=part_ref[:120],
        left_out=[{"movement": left.movement, "bar": left.bar, "what": left.what} for left in read.left_out],
    )
    with _undone_on_failure(revision.file), transaction.atomic():
        revision.file.save(file_name, ContentFile(content), save=False)
        revision.save()
        for movement in read.movements:
            stored = Movement(
                revision=revision,
                number=movement.number,
                title=movement.title[:200],
                bar_count=len(movement.line.bars),
            )
            stored.line, stored.printed = line_to_json(movement.line), dump(movement.printed)
            stored.save()
    return revision


def add_part_without_notation(
    piece: Piece, bars: Sequence[int], *, name: str = "", instrument: str = "", edition: str = ""
) -> Part:
    """A part of which only the number of bars is known, one number a movement."""
    with transaction.atomic():
        part = Part.objects.create(piece=piece, name=name or "Part", instrument=instrument, edition=edition)
        revision = Revision.objects.create(part=part, number=1, source=Revision.Source.NONE)
        for number, count in enumerate(bars, 1):
            Movement.objects.create(revision=revision, number=number, bar_count=count)
    return part


def make_passage(
    movement: Movement,
    teacher: Teacher,
    bounds: Bounds,
    *,
    title: str = "",
    purpose: str = "",
    extends: Passage | None = None,
    picture: ExcerptPicture | None = None,
) -> Passage:
    """Keep bars of a movement as a passage; without a title it is called by its bars. With a
    `picture` that is its excerpt."""
    passage = Passage(
        movement=movement,
        teacher=teacher,
        purpose=purpose,
        extends=extends,
        picture=picture,
        start_bar=bounds.start_bar,
        start_beat=bounds.start_beat,
        end_bar=bounds.end_bar,
        end_beat=bounds.end_beat,
        first_number=bounds.first_number[:12],
        last_number=bounds.last_number[:12],
    )
    words = terms_for(teacher.studio.terms)
    passage.title = title or f"{words['Bar' if bounds.start_bar == bounds.end_bar else 'Bars']} {passage.bars}"
    passage.save()
    return passage


def delete_piece(piece: Piece) -> None:
    """A piece with its parts and files. Raises ProtectedError when it has passages or assignments."""
    _delete_with_files(piece, Revision.objects.filter(part__piece=piece))


def delete_part(part: Part) -> None:
    """A part with its files. Raises ProtectedError when it has passages."""
    _delete_with_files(part, part.revisions.all())


def _delete_with_files(owner: Piece | Part, revisions: Iterable[Revision]) -> None:
    files = [r.file for r in revisions if r.file]
    with transaction.atomic():
        owner.delete()
        for file in files:
            _delete_on_commit(file)


def _delete_on_commit(file: FieldFile) -> None:
    storage, name = file.storage, file.name or ""
    transaction.on_commit(lambda: storage.delete(name))


@contextmanager
def _undone_on_failure(file: FieldFile) -> Iterator[None]:
    try:
        yield
    except BaseException:
        if file.name:
            file.storage.delete(file.name)
        raise


def contents_to_json(contents: Contents) -> dict[str, Any]:
    """What was found in a file, as an upload keeps it: title, composer, parts with their
    number in the file (`ref`), clef, range, bars and movements."""
    return {
        "title": contents.title[:200],
        "composer": contents.composer[:120],
        "parts": [
            {
                "ref": str(part.number),
                "name": part.name,
                "instrument": part.instrument,
                "clef": part.clef,
                "range": "–".join(pitch.label for pitch in part.range) if part.range else "",
                "bars": part.bars,
                "problem": part.problem or ("" if part.notes else "only rests"),
                "movements": [
                    {"number": m.number, "title": m.title, "bars": m.bars, "first": m.first, "last": m.last}
                    for m in part.movements
                ],
            }
            for part in contents.parts
        ],
    }
