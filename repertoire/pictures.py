"""Pictures of printed music as excerpts: keeping an upload, cropping it into a passage, drawing it
with its signs, and how large it comes out on paper.

A picture's file is ours, drawn anew from its pixels (see notation/scans.py), under a name that
can't be guessed, and is only ever given out by views that ask whose it is.
"""

from __future__ import annotations

import base64
import hashlib
from dataclasses import dataclass
from datetime import timedelta
from pathlib import PurePath

from django.conf import settings
from django.core.files.base import ContentFile
from django.db import transaction
from django.utils import timezone
from PIL import Image

from repertoire.bounds import Bounds
from repertoire.importing import make_passage
from repertoire.models import Movement, Passage
from repertoire.notation.look import Look
from repertoire.notation.picture import Picture
from repertoire.notation.picture_signs import draw
from repertoire.notation.scans import (
    Crop,
    Scan,
    as_png,
    cut_out,
    find_staves,
    from_png,
    read_scan,
    reduced,
    turned,
)
from repertoire.picture_files import all_or_none, store
from repertoire.picture_models import ExcerptPicture, PictureUpload
from repertoire.technique.marks import Marks
from repertoire.technique.picture_marks import Paper
from studio.models import Teacher

UPLOAD_KEPT = timedelta(days=1)
COLUMN_MM = 180.0  # an A4 sheet's column
STAFF_MM = 8.0
SHARP_DPI = 150.0
LEAST_DPI = 90.0  # a picture is never printed coarser than this
MOST_HEIGHT_MM = 215.0  # so that a picture stands on one page under its title
SCREEN_DPI = 192.0


def keep_upload(
    movement: Movement, teacher: Teacher, content: bytes, file_name: str, *, page: int = 1
) -> PictureUpload:
    """Read a picture and keep it until it is cropped. Raises ScanError, keeping nothing."""
    scan = read_scan(content, page=page, limit=settings.UPLOAD_LIMIT)
    discard_old_uploads(teacher)
    upload = PictureUpload(movement=movement, teacher=teacher, file_name=PurePath(file_name).name[-200:] or "picture")
    if scan.is_pdf:
        upload.document.save("page.pdf", ContentFile(content), save=False)
    return _show(upload, scan)


def show_page(upload: PictureUpload, page: int) -> PictureUpload:
    """Another page of the PDF it came in. Raises ScanError, changing nothing."""
    with upload.document.open("rb") as file:
        content = file.read()
    return _show(upload, read_scan(content, page=page, limit=settings.UPLOAD_LIMIT))


def turn(upload: PictureUpload, quarters: int) -> PictureUpload:
    """Turned clockwise by quarters."""
    return _show(upload, Scan(turned(image_of(upload), quarters), upload.page, upload.pages))


def _show(upload: PictureUpload, scan: Scan) -> PictureUpload:
    before, storage = upload.image.name, upload.image.storage
    upload.page, upload.pages = scan.page, scan.pages
    upload.width, upload.height = scan.image.size
    try:
        upload.image.save("page.png", ContentFile(as_png(scan.image)), save=False)
        upload.save()
    except BaseException:
        storage.delete(upload.image.name or "")
        if upload.pk is None and upload.document:
            storage.delete(upload.document.name or "")
        raise
    if before:
        transaction.on_commit(lambda: storage.delete(before))
    return upload


def image_of(kept: PictureUpload | ExcerptPicture) -> Image.Image:
    """The kept picture in greys."""
    with kept.image.open("rb") as file:
        return from_png(file.read())


def discard_old_uploads(teacher: Teacher) -> None:
    """What this teacher sent more than a day ago and never cropped."""
    for upload in PictureUpload.objects.filter(teacher=teacher, created__lt=timezone.now() - UPLOAD_KEPT):
        upload.delete()


def make_picture_passage(
    upload: PictureUpload, bounds: Bounds, crop: Crop, *, title: str = "", purpose: str = "", rights: str | None = None
) -> Passage:
    """The cropped picture as the excerpt of a new passage; the upload goes. `rights`, when given, are
    written to the part if it is the teacher's. Raises ScanError, making nothing."""
    image = cut_out(image_of(upload), crop)
    with all_or_none():
        picture = keep_picture(upload.teacher, image, upload.file_name, page=upload.page)
        passage = make_passage(
            upload.movement,
            upload.teacher,
            bounds,
            title=title,
            purpose=purpose,
            picture=picture,
            extends=upload.again,
        )
        part = upload.movement.revision.part
        if rights is not None and rights != part.rights and part.piece.teacher_id == upload.teacher_id:
            part.rights = rights
            part.save(update_fields=["rights"])
        upload.delete()
    return passage


def keep_picture(teacher: Teacher, image: Image.Image, file_name: str, *, page: int = 1) -> ExcerptPicture:
    """Store a finished picture with the staves found in it."""
    content = as_png(image)
    picture = ExcerptPicture(
        teacher=teacher,
        sha256=hashlib.sha256(content).hexdigest(),
        width=image.width,
        height=image.height,
        staves=[list(stave) for stave in find_staves(image)],
        file_name=file_name,
        page=page,
    )
    return store(picture, content)


def copy_picture(picture: ExcerptPicture, teacher: Teacher) -> ExcerptPicture:
    """The same picture as another teacher's own, so that neither depends on what the other keeps."""
    with picture.image.open("rb") as file:
        content = file.read()
    copied = ExcerptPicture(
        teacher=teacher,
        sha256=picture.sha256,
        width=picture.width,
        height=picture.height,
        staves=picture.staves,
        file_name=picture.file_name,
        page=picture.page,
    )
    return store(copied, content)


@dataclass(frozen=True, slots=True)
class Printed:
    """How a picture comes out on paper: its size, points to the inch, and the height of its staves
    (0 where none was found)."""

    width_mm: float
    height_mm: float
    dpi: float
    staff_mm: float

    @property
    def coarse(self) -> bool:
        return self.dpi < SHARP_DPI


def printed(paper: Paper, column_mm: float = COLUMN_MM, staff_mm: float = STAFF_MM) -> Printed:
    """The size on paper: staves as high as the student's where that fits the column, else the whole
    column; never coarser than LEAST_DPI and never taller than a page."""
    width = column_mm
    if paper.staff_px:
        width = min(width, paper.width * staff_mm / paper.staff_px)
    width = min(width, paper.width / LEAST_DPI * 25.4, MOST_HEIGHT_MM * paper.width / paper.height)
    return Printed(
        width, width * paper.height / paper.width, paper.width / (width / 25.4), paper.staff_px * width / paper.width
    )


def uri_of(picture: ExcerptPicture, width_px: int = 0) -> str:
    """The picture as a data URI, at most `width_px` wide (0: as it is); "" when its file is gone."""
    try:
        with picture.image.open("rb") as file:
            content = file.read()
    except OSError:
        return ""
    if width_px and width_px < picture.width:
        image = from_png(content)
        content = as_png(reduced(image, round(width_px * max(1.0, image.height / image.width))))
    return "data:image/png;base64," + base64.b64encode(content).decode()


def on_screen(look: Look) -> bool:
    return look.screen or look.width_mm < 170  # small pictures of lists are for the screen too


def draw_picture(picture: ExcerptPicture, marks: Marks, look: Look) -> Picture:
    """The picture with signs as `look` asks: filling its width on screen, in its printed size otherwise."""
    paper = picture.paper
    width = look.width_mm if on_screen(look) else printed(paper, look.width_mm, look.staff_mm).width_mm
    uri = uri_of(picture, round(width / 25.4 * SCREEN_DPI) if on_screen(look) else 0)
    return draw(uri, paper, marks, width_mm=width, screen=look.screen, image=bool(uri))
