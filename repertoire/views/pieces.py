"""Pieces and their parts: the list, one piece, what is known about an edition."""

from __future__ import annotations

from django.contrib import messages
from django.db.models import ProtectedError
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from repertoire import importing
from repertoire.access import get_own_part, get_own_piece, get_part, get_piece
from repertoire.forms import INSTRUMENTS, PartForm, PieceForm, PieceWithoutNotationForm
from repertoire.models import Passage, Piece
from repertoire.queries import ORDERS, parts_of, passages_of, pieces_of
from repertoire.sharing import shared_counts, shared_in_piece
from studio.access import teacher_of


@require_safe
def pieces(request: HttpRequest) -> HttpResponse:
    words = request.GET.get("words", "").strip()[:100]
    instrument = request.GET.get("instrument", "")
    instrument = instrument if instrument in dict(INSTRUMENTS) else ""
    order = request.GET.get("order", "")
    order = order if order in ORDERS else "composer"
    found = list(pieces_of(teacher_of(request), words=words, instrument=instrument, order=order))
    shared = shared_counts(teacher_of(request))
    for piece in found:
        piece.shared_count = shared.get(piece.pk, 0)  # type: ignore[attr-defined]
    return render(
        request,
        "repertoire/pieces.html",
        {
            "section": "repertoire",
            "pieces": found,
            "words": words,
            "instrument": instrument,
            "order": order,
            "filtered": bool(words or instrument),
        },
    )


@require_http_methods(["GET", "HEAD", "POST"])
def piece_new(request: HttpRequest) -> HttpResponse:
    """A piece without notation."""
    form = PieceWithoutNotationForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        piece = form.save(commit=False)
        piece.teacher = teacher_of(request)
        piece.save()
        wanted = form.cleaned_data
        importing.add_part_without_notation(
            piece,
            wanted["bars"],
            name=wanted["instrument"].capitalize(),
            instrument=wanted["instrument"],
            edition=wanted["edition"],
        )
        messages.success(request, f"“{piece.title}” is in the repertoire.")
        return redirect("piece", piece.pk)
    status = 422 if form.is_bound else 200
    return render(request, "repertoire/piece_new.html", {"section": "repertoire", "form": form}, status=status)


@require_safe
def piece(request: HttpRequest, piece_id: int) -> HttpResponse:
    piece = get_piece(request, piece_id)
    parts = list(parts_of(piece))
    by_movement: dict[int, list[Passage]] = {}
    passages = list(passages_of(piece, teacher_of(request)))
    for passage in passages:
        by_movement.setdefault(passage.movement_id, []).append(passage)
    for part in parts:
        part.shown = [  # type: ignore[attr-defined]
            (revision, [(movement, by_movement.get(movement.pk, [])) for movement in revision.movements.all()])
            for revision in sorted(part.revisions.all(), key=lambda r: -r.number)
        ]
    context = {"section": "repertoire", "piece": piece, "parts": parts, "passages": passages}
    context |= {"own": _own(request, piece), "shared": shared_in_piece(piece, teacher_of(request))}
    return render(request, "repertoire/piece.html", context)


def _own(request: HttpRequest, piece: Piece) -> bool:
    return piece.teacher_id == teacher_of(request).pk


@require_http_methods(["GET", "HEAD", "POST"])
def piece_edit(request: HttpRequest, piece_id: int) -> HttpResponse:
    piece = get_own_piece(request, piece_id)
    form = PieceForm(request.POST or None, instance=piece)
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, "Saved.")
        return redirect("piece", piece.pk)
    status = 422 if form.is_bound else 200
    context = {"section": "repertoire", "form": form, "piece": get_own_piece(request, piece_id)}
    return render(request, "repertoire/piece_edit.html", context, status=status)


@require_POST
def piece_delete(request: HttpRequest, piece_id: int) -> HttpResponse:
    piece = get_own_piece(request, piece_id)
    title = piece.title
    try:
        importing.delete_piece(piece)
    except ProtectedError:
        messages.error(request, f"“{title}” has passages, a colleague’s perhaps, or is assigned, so it stays.")
        return redirect("piece", piece_id)
    messages.success(request, f"“{title}” and its files are deleted.")
    return redirect("pieces")


@require_http_methods(["GET", "HEAD", "POST"])
def part(request: HttpRequest, part_id: int) -> HttpResponse:
    """What is known about a part, its edition and its file; what could not be read in. Its owner
    may change what is noted; colleagues read."""
    part = get_own_part(request, part_id) if request.method == "POST" else get_part(request, part_id)
    form = PartForm(request.POST or None, instance=part)
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, "Saved.")
        return redirect("part", part.pk)
    status = 422 if form.is_bound else 200
    revisions = part.revisions.prefetch_related("movements").order_by("-number")
    context = {
        "section": "repertoire",
        "form": form,
        "part": part,
        "revisions": revisions,
        "own": _own(request, part.piece),
    }
    return render(request, "repertoire/part.html", context, status=status)


@require_POST
def part_delete(request: HttpRequest, part_id: int) -> HttpResponse:
    part = get_own_part(request, part_id)
    try:
        importing.delete_part(part)
    except ProtectedError:
        messages.error(request, f"{part.name} has passages, a colleague’s perhaps, so it stays.")
        return redirect("part", part_id)
    messages.success(request, f"{part.name} and its files are deleted.")
    return redirect("piece", part.piece_id)


@require_safe
def part_file(request: HttpRequest, part_id: int, number: int) -> FileResponse:
    """The bytes of a revision as they came, for the teachers of the studio."""
    revision = get_part(request, part_id).revisions.filter(number=number).first()
    if revision is None or not revision.file:
        raise Http404
    response = FileResponse(
        revision.file.open("rb"),
        as_attachment=True,
        filename=revision.file_name or "part.musicxml",
        content_type="application/octet-stream",
    )
    response["Cache-Control"] = "private, no-store"
    response["X-Content-Type-Options"] = "nosniff"
    return response
