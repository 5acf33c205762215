"""Music typed in as ABC, with its picture beside it, becomes a part; a typed part can grow.

Each change of the text is read and drawn again. What can't be read is listed with line and
column and has to be mended before the text is kept; what is read but not kept is listed too.
Going on with a typed part stores a newer text of it, to which its passages are carried over.
"""

from __future__ import annotations

from collections import Counter
from typing import Any
from urllib.parse import quote

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from repertoire import excerpts, importing
from repertoire.access import get_own_part, get_own_piece
from repertoire.bounds import Bounds
from repertoire.carrying import waiting
from repertoire.forms import TypingForm
from repertoire.markings import printed_marking
from repertoire.models import Movement, Part, Passage, Piece, Revision
from repertoire.notation.abc import Reading, read_text
from repertoire.notation.cutting import cut, marks_in
from repertoire.notation.picture import Picture
from repertoire.technique.line import Line
from studio.access import teacher_of

SHOWN_BARS = 32  # drawn at once: those around the place that is being typed
SHOWN_NOTES = 1_000  # fewer bars are drawn when they have more notes
WIDTHS = {**excerpts.SCREENS, "desktop": 150.0}  # the picture stands beside the text on a wide screen
BEGINNING = {"viola": "M:4/4\nL:1/8\nK:C clef=alto\n", "violin": "M:4/4\nL:1/8\nK:C\n"}


@require_http_methods(["GET", "HEAD", "POST"])
def type_new(request: HttpRequest) -> HttpResponse:
    """A typed text that becomes a piece with one part."""
    return _type(request)


@require_http_methods(["GET", "HEAD", "POST"])
def type_part(request: HttpRequest, piece_id: int) -> HttpResponse:
    """A typed text that becomes one more part of a piece."""
    return _type(request, piece=get_own_piece(request, piece_id))


@require_http_methods(["GET", "HEAD", "POST"])
def type_more(request: HttpRequest, part_id: int) -> HttpResponse:
    """A typed part, to go on with."""
    part = get_own_part(request, part_id)
    revision = part.revision
    if revision is None or not revision.typed:
        raise Http404
    return _type(request, piece=part.piece, part=part, text=_text_of(revision))


@require_POST
def type_preview(request: HttpRequest) -> HttpResponse:
    """The picture of a text and what there is to say about it."""
    text, instrument = request.POST.get("text", ""), request.POST.get("instrument", "")
    line = request.POST.get("line", "")
    at = int(line) if line.isascii() and line.isdigit() and len(line) < 7 else 0
    context = _shown(request, read_text(_lines(text), instrument=instrument), at)
    return render(request, "repertoire/abc_preview.html", context)


def _type(
    request: HttpRequest, *, piece: Piece | None = None, part: Part | None = None, text: str = ""
) -> HttpResponse:
    instrument = part.instrument if part else "viola"
    revision = part.revision if part else None
    initial = {
        "text": text or BEGINNING.get(instrument, BEGINNING["viola"]),
        "instrument": instrument,
        "passage": True,
        "revision": revision.number if revision else 0,
    }
    form = TypingForm(request.POST or None, initial=initial, piece=piece, part=part)
    reading = read_text(_lines(form["text"].value() or ""), instrument=form["instrument"].value() or "")
    status = 200
    if request.method == "POST":
        keeping = "preview" not in request.POST
        if keeping and form.is_valid() and _may_be_kept(form, reading, piece, part, text):
            return _kept(request, form, reading, piece, part)
        if keeping:
            status = 422
        else:
            form.is_valid()
            form.errors.clear()
    context = {
        "section": "repertoire",
        "form": form,
        "piece": piece,
        "part": part,
        "draft": request.path,
        "beginnings": BEGINNING,
        "screen": excerpts.screen_of(request),
        **_shown(request, reading, 0),
    }
    return render(request, "repertoire/abc.html", context, status=status)


def _lines(text: str) -> str:
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _text_of(revision: Revision) -> str:
    with revision.file.open("rb") as file:
        content: bytes = file.read()
    return _lines(content.decode("utf-8", "replace").removeprefix("\ufeff"))


def _may_be_kept(form: TypingForm, reading: Reading, piece: Piece | None, part: Part | None, before: str) -> bool:
    """Whether text and title can be stored; what is in the way is added to the form."""
    wrong = reading.wrong
    if wrong:
        places = "One place" if len(wrong) == 1 else f"{len(wrong)} places"
        form.add_error("text", f"{places} can’t be read, beginning with {wrong[0].place}: {wrong[0].what}")
    elif reading.part is None:
        form.add_error("text", "There are no notes yet.")
    elif before and _lines(form.cleaned_data["text"]) == before:
        form.add_error("text", "This is the text as it was kept before. Add something first.")
    if part is not None and part.revision and form.cleaned_data.get("revision") != part.revision.number:
        form.add_error(
            "text", "This part was gone on with on another page. Yours isn’t kept; copy what is missing there."
        )
    if piece is None and not (form.cleaned_data.get("title") or reading.title):
        form.add_error("title", "Give it a title, here or as T: in the text.")
    return not form.errors


def _kept(
    request: HttpRequest, form: TypingForm, reading: Reading, piece: Piece | None, part: Part | None
) -> HttpResponse:
    wanted = form.cleaned_data
    content = _lines(wanted["text"]).encode()
    read = reading.part
    assert read is not None
    if part is not None:
        importing.add_revision(part, read, content, importing.TYPED_NAME, source=Revision.Source.ABC)
        messages.success(request, f"{part.name} is kept as it is now.")
        answer = (
            redirect("part_carry", part.pk)
            if waiting(part, teacher_of(request))
            else redirect("movement", _movement(part).pk)
        )
        return _done(request, answer)
    teacher = teacher_of(request)
    with transaction.atomic():
        piece = piece or Piece.objects.create(
            teacher=teacher,
            title=(wanted["title"] or reading.title)[:200],
            composer=(wanted["composer"] or reading.composer)[:120],
        )
        part = importing.store_part(
            piece,
            read,
            content,
            importing.TYPED_NAME,
            name=read.name or wanted["instrument"].capitalize(),
            instrument=wanted["instrument"],
            edition=wanted["edition"],
            source=Revision.Source.ABC,
        )
        passage = _whole(_movement(part), request, wanted["title"] or reading.title) if wanted["passage"] else None
    messages.success(request, f"“{piece.title}” is in the repertoire.")
    return _done(request, redirect("passage", passage.pk) if passage else redirect("movement", _movement(part).pk))


def _movement(part: Part) -> Movement:
    revision = part.revision
    assert revision is not None
    return revision.movements.select_related("revision__part__piece").get()


def _whole(movement: Movement, request: HttpRequest, title: str) -> Passage:
    line, _ = excerpts.movement_notes(movement)
    first, last = line.bars[0], line.bars[-1]
    bounds = Bounds(first.index, "", last.index, "", first.number, last.number)
    teacher = teacher_of(request)
    passage = importing.make_passage(movement, teacher, bounds, title=title[:120])
    printed_marking(passage, teacher)
    return passage


def _done(request: HttpRequest, answer: HttpResponse) -> HttpResponse:
    """Tell the browser that the text it kept for this page is stored and needn't be kept."""
    answer.set_cookie("typed", quote(request.path, safe=""), max_age=86_400, samesite="Lax", path="/repertoire/")
    return answer


def _shown(request: HttpRequest, reading: Reading, at: int) -> dict[str, Any]:
    """The picture, the remarks, and which bars are drawn."""
    context: dict[str, Any] = {"reading": reading, "wrong": reading.wrong, "picture": None}
    context["said"] = [r for r in reading.remarks if not r.wrong]
    if reading.part is None:
        return context
    movement = reading.part.movements[0]
    line, printed = movement.line, movement.printed
    first, last = _window(reading, line, at)
    if (first, last) != (1, len(line.bars)):
        line = cut(line, first, None, last, None)
        printed = marks_in(printed, line)
        context |= {"first": line.bars[0].number, "last": line.bars[-1].number}
    look = excerpts.screen_look(request, printed=printed, width_mm=WIDTHS[excerpts.screen_of(request)], prefix="typed-")
    picture: Picture = excerpts.drawn(line, printed, look)
    upbeat = movement.line.bars[0].missing > 0
    bars = len(movement.line.bars) - upbeat
    return context | {"picture": picture, "bars": bars, "upbeat": upbeat, "undrawn": picture.warnings}


def _window(reading: Reading, line: Line, at: int) -> tuple[int, int]:
    """The bars to draw: all of them, or those up to the line that is being typed."""
    count = len(line.bars)
    notes = Counter(event.bar for event in line.events)
    typed = sum(1 for number in reading.bar_lines if number <= at) if at else count
    last = min(count, max(typed + 4, SHOWN_BARS))
    first, drawn = last, notes[last]
    while first > max(1, last - SHOWN_BARS + 1) and drawn + notes[first - 1] <= SHOWN_NOTES:
        first -= 1
        drawn += notes[first]
    return first, last
