"""Import in two steps: send a file and see what is in it, then choose the part to read."""

from __future__ import annotations

from pathlib import PurePath
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from repertoire import importing
from repertoire.access import get_own_part, get_own_piece, get_part, get_upload
from repertoire.carrying import carry_over, waiting
from repertoire.forms import PartChoiceForm, UploadForm
from repertoire.models import Part, Piece, Upload
from repertoire.notation.files import FileError, format_of, read_part
from studio.access import teacher_of


@require_http_methods(["GET", "HEAD", "POST"])
def import_new(request: HttpRequest) -> HttpResponse:
    """A file that becomes a piece."""
    return _receive(request, None)


@require_http_methods(["GET", "HEAD", "POST"])
def part_import(request: HttpRequest, piece_id: int) -> HttpResponse:
    """A file with one more part, or another edition, of a piece."""
    return _receive(request, get_own_piece(request, piece_id))


@require_http_methods(["GET", "HEAD", "POST"])
def part_replace(request: HttpRequest, part_id: int) -> HttpResponse:
    """A newer file of a part, or the first one of a part entered without notation."""
    part = get_own_part(request, part_id)
    return _receive(request, part.piece, part)


@require_POST
def part_another(request: HttpRequest, part_id: int) -> HttpResponse:
    """Another part of the file a part was read from, chosen as after sending the file."""
    part = get_own_part(request, part_id)
    revision = part.revision
    if revision is None or not revision.file or not revision.part_ref:
        raise Http404
    with revision.file.open("rb") as file:
        content = file.read()
    try:
        upload = importing.keep_upload(teacher_of(request), content, revision.file_name, piece=part.piece)
    except FileError as error:
        messages.error(request, str(error))
        return redirect("part", part.pk)
    return redirect("import_choose", upload.pk)


def _receive(request: HttpRequest, piece: Piece | None, part: Part | None = None) -> HttpResponse:
    form = UploadForm(request.POST, request.FILES) if request.method == "POST" else UploadForm()
    if request.method == "POST" and form.is_valid():
        file = form.cleaned_data["file"]
        try:
            upload = importing.keep_upload(teacher_of(request), file.read(), file.name, piece=piece, part=part)
        except FileError as error:
            form.add_error("file", str(error))
        else:
            return redirect("import_choose", upload.pk)
    context = {"section": "repertoire", "form": form, "piece": piece, "part": part}
    return render(request, "repertoire/import_new.html", context, status=422 if form.is_bound else 200)


@require_http_methods(["GET", "HEAD", "POST"])
def import_choose(request: HttpRequest, upload_id: int) -> HttpResponse:
    upload = get_upload(request, upload_id)
    parts = upload.contents["parts"]
    readable = [p for p in parts if not p["problem"]]
    initial = {
        "part": _likely_part(readable),
        "title": upload.contents["title"] or PurePath(upload.file_name).stem.replace("_", " "),
        "composer": upload.contents["composer"],
    }
    choices = [(p["ref"], p["name"]) for p in readable]
    form = PartChoiceForm(
        request.POST or None, initial=initial, parts=choices, piece=upload.piece, replaces=upload.part
    )
    if request.method == "POST" and form.is_valid():
        try:
            part = _read(upload, form.cleaned_data)
        except FileError as error:
            form.add_error(None, str(error))
        else:
            revision = part.revision
            left_out = revision is not None and revision.left_out
            if left_out:
                messages.success(request, f"{part.name} is read. What the file has that isn’t kept is listed below.")
            if waiting(part, teacher_of(request)):
                return redirect("part_carry", part.pk)
            if left_out:
                return redirect("part", part.pk)
            messages.success(request, f"{part.name} is read. Pick a passage.")
            movements = list(revision.movements.all()) if revision else []
            return redirect("movement", movements[0].pk) if len(movements) == 1 else redirect("piece", part.piece_id)
    context = {
        "section": "repertoire",
        "form": form,
        "upload": upload,
        "parts": parts,
        "movements": max((p["movements"] for p in parts), key=len, default=[]),
        "known": importing.parts_of_file(teacher_of(request), upload.sha256),
        "chosen": form["part"].value(),
    }
    return render(request, "repertoire/import_choose.html", context, status=422 if form.is_bound else 200)


def _likely_part(parts: list[dict[str, Any]]) -> str:
    """The only part, or the viola's, or the first violin's; else none is chosen yet."""
    if len(parts) == 1:
        return str(parts[0]["ref"])
    for instrument in ("viola", "violin"):
        for part in parts:
            if part["instrument"] == instrument:
                return str(part["ref"])
    return ""


def _read(upload: Upload, wanted: dict[str, Any]) -> Part:
    """Read the chosen part into its piece (made now if need be), or as the newest file of the
    part it replaces, and let the upload go."""
    with upload.file.open("rb") as file:
        content = file.read()
    read = read_part(content, upload.file_name, int(wanted["part"]), limit=settings.UPLOAD_LIMIT)
    source = format_of(content, upload.file_name)
    if upload.part is not None:
        with transaction.atomic():
            importing.add_revision(upload.part, read, content, upload.file_name, part_ref=wanted["part"], source=source)
            importing.discard_upload(upload)
        return upload.part
    with transaction.atomic():
        piece = upload.piece or Piece.objects.create(
            teacher=upload.teacher, title=wanted["title"], composer=wanted["composer"]
        )
        part = importing.store_part(
            piece,
            read,
            content,
            upload.file_name,
            part_ref=wanted["part"],
            edition=wanted["edition"],
            rights=wanted["rights"],
            source=source,
        )
        importing.discard_upload(upload)
    return part


@require_POST
def import_cancel(request: HttpRequest, upload_id: int) -> HttpResponse:
    upload = get_upload(request, upload_id)
    piece = upload.piece
    importing.discard_upload(upload)
    messages.success(request, f"{upload.file_name} is not kept.")
    return redirect("piece", piece.pk) if piece else redirect("pieces")


@require_http_methods(["GET", "HEAD", "POST"])
def part_carry(request: HttpRequest, part_id: int) -> HttpResponse:
    """One's own passages of earlier files, to be carried over to the present one; what can't be is listed."""
    part, teacher = get_part(request, part_id), teacher_of(request)
    done = carry_over(part, teacher) if request.method == "POST" else []
    context = {"section": "repertoire", "part": part, "done": done, "waiting": waiting(part, teacher)}
    return render(request, "repertoire/part_carry.html", context)
