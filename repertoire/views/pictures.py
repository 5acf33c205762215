"""Pictures as excerpts: sending one, straightening and cropping it, the page of its passage,
comparing versions of its signs, and giving way to notation."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from repertoire import excerpts, importing, pictures
from repertoire.access import get_movement, get_own_passage, get_passage, get_picture_upload
from repertoire.bounds import bounds_of, write_bounds
from repertoire.cropping_again import Replaced, open_again, take_the_place
from repertoire.forms import PassageForm
from repertoire.markings import ASPECT_WORDS, Place, differences, marks_of, printed_marking, same_aspects
from repertoire.models import Marking, Movement, Passage
from repertoire.notation.picture_signs import draw
from repertoire.notation.scans import Crop, ScanError, as_png, cut_out, find_angle
from repertoire.picture_files import all_or_none
from repertoire.picture_forms import CropForm, PictureForm
from repertoire.picture_models import ExcerptPicture
from repertoire.queries import overlapping
from repertoire.sharing import shared_within
from repertoire.technique.marks import Aspect, Marks
from repertoire.technique.picture_marks import Paper, describe, in_order
from studio.access import teacher_of

LETTERS = "ABC"


@require_http_methods(["GET", "HEAD", "POST"])
def picture_new(request: HttpRequest, movement_id: int) -> HttpResponse:
    """A picture of printed music to be cropped."""
    movement = get_movement(request, movement_id)
    form = PictureForm(request.POST, request.FILES) if request.method == "POST" else PictureForm()
    if request.method == "POST" and form.is_valid():
        file, page = form.cleaned_data["file"], form.cleaned_data["page"] or 1
        try:
            upload = pictures.keep_upload(movement, teacher_of(request), file.read(), file.name, page=page)
        except ScanError as error:
            form.add_error("file", str(error))
        else:
            bars = request.GET.get("bars", "")
            address = reverse("picture_crop", args=[upload.pk])
            return redirect(address + (f"?{urlencode({'bars': bars})}" if bars else ""))
    context = {**_trail(movement), "form": form}
    return render(request, "repertoire/picture_new.html", context, status=422 if form.is_bound else 200)


def _trail(movement: Movement) -> dict[str, Any]:
    part = movement.revision.part
    return {"section": "repertoire", "movement": movement, "part": part, "piece": part.piece}


@require_http_methods(["GET", "HEAD", "POST"])
def picture_crop(request: HttpRequest, upload_id: int) -> HttpResponse:
    """Straighten, crop, say which bars: the picture becomes a passage."""
    upload = get_picture_upload(request, upload_id)
    movement = upload.movement
    line = excerpts.movement_notes(movement)[0] if movement.notated else None
    asked = request.GET if "left" in request.GET else None
    initial = {**_whole(), "rights": movement.revision.part.rights, "bars": request.GET.get("bars", "")}
    if asked is not None:
        initial |= {name: str(value) for name, value in asked.items() if name in CropForm.base_fields}
    before = upload.again
    if before is not None:
        initial |= {"bars": write_bounds(line, bounds_of(before)), "title": before.title, "purpose": before.purpose}
    own = movement.revision.part.piece.teacher_id == upload.teacher_id
    form = CropForm(request.POST or None, initial=initial, line=line, bar_count=movement.bar_count, own=own)
    if request.method == "POST" and form.is_valid():
        wanted = form.cleaned_data
        try:
            with all_or_none():
                passage = pictures.make_picture_passage(
                    upload,
                    wanted["bars"],
                    form.crop,
                    title=wanted["title"],
                    purpose=wanted["purpose"],
                    rights=wanted.get("rights"),
                )
                if before is not None:
                    _tell(request, take_the_place(before, passage, form.crop), before, passage)
                else:
                    printed_marking(passage, teacher_of(request))
                    messages.success(request, f"“{passage.title}” is made. Place its signs, or assign it as it is.")
        except ScanError as error:
            form.add_error(None, str(error))
        else:
            return redirect("passage", passage.pk)
    level = find_angle(pictures.image_of(upload)) if request.method == "GET" and not asked else 0.0
    context = {
        **_trail(movement),
        "form": form,
        "upload": upload,
        "level": level,
        "level_words": f"{abs(level):g}° to the {'right' if level > 0 else 'left'}",
        "edges": [form[name] for name in ("left", "right", "top", "bottom")],
        "shown": urlencode({name: form[name].value() or "" for name in _whole()}) if asked or form.is_bound else "",
    }
    return render(request, "repertoire/picture_crop.html", context, status=422 if form.is_bound else 200)


def _tell(request: HttpRequest, replaced: Replaced, before: Passage, now: Passage) -> None:
    """What came of a picture cropped again."""
    if not replaced.gone:
        words = f"“{now.title}” is made; “{before.title}” is in use or has a draft, so it stays as it was."
        messages.success(request, words)
    else:
        messages.success(request, f"“{now.title}” has its picture as you cropped it.")
    for each in replaced.lost[:12]:
        messages.warning(request, f"Outside the new edges, so not carried along: {each}.")


@require_POST
def picture_again(request: HttpRequest, passage_id: int) -> HttpResponse:
    """The picture of a passage, to be cropped once more."""
    passage = get_own_passage(request, passage_id)
    if passage.picture is None:
        raise Http404
    return redirect("picture_crop", open_again(passage, teacher_of(request)).pk)


def _whole() -> dict[str, str]:
    return {"angle": "0", "left": "0", "top": "0", "right": "100", "bottom": "100"}


@require_safe
def picture_upload_image(request: HttpRequest, upload_id: int) -> HttpResponse:
    """The picture being cropped; with `left` and the rest in the address, as it will be cut."""
    upload = get_picture_upload(request, upload_id)
    if "left" not in request.GET:
        with upload.image.open("rb") as file:
            return _png(file.read())
    try:
        crop = Crop(**{name: float(request.GET.get(name, start)) for name, start in _whole().items()})
        return _png(as_png(cut_out(pictures.image_of(upload), crop)))
    except ValueError:
        raise Http404 from None


def _png(content: bytes) -> HttpResponse:
    response = HttpResponse(content, content_type="image/png")
    response["Cache-Control"] = "private, no-store"
    response["X-Content-Type-Options"] = "nosniff"
    response["Content-Disposition"] = "inline; filename=picture.png"
    return response


@require_POST
def picture_turn(request: HttpRequest, upload_id: int) -> HttpResponse:
    """A quarter to the right or to the left."""
    upload = get_picture_upload(request, upload_id)
    if upload.again is not None:
        raise Http404  # its signs stand on it as it is
    pictures.turn(upload, 3 if request.POST.get("way") == "left" else 1)
    return redirect("picture_crop", upload.pk)


@require_POST
def picture_page(request: HttpRequest, upload_id: int) -> HttpResponse:
    """Another page of the PDF it came in."""
    upload = get_picture_upload(request, upload_id)
    asked = request.POST.get("page", "")
    if not upload.document or not (asked.isascii() and asked.isdigit() and len(asked) < 6):
        messages.error(request, "Write the number of a page.")
        return redirect("picture_crop", upload.pk)
    try:
        pictures.show_page(upload, int(asked))
    except ScanError as error:
        messages.error(request, str(error))
    return redirect("picture_crop", upload.pk)


@require_POST
def picture_cancel(request: HttpRequest, upload_id: int) -> HttpResponse:
    upload = get_picture_upload(request, upload_id)
    movement, before = upload.movement, upload.again
    upload.delete()
    if before is not None:
        messages.success(request, "The picture stays as it was.")
        return redirect("passage", before.pk)
    messages.success(request, "The picture is not kept.")
    return redirect("movement", movement.pk)


@require_safe
def passage_picture(request: HttpRequest, passage_id: int) -> HttpResponse:
    """The picture of a passage as a file, without signs."""
    picture = _pictured(request, passage_id).picture
    assert picture is not None
    try:
        with picture.image.open("rb") as file:
            return _png(file.read())
    except FileNotFoundError:
        raise Http404 from None


def _pictured(request: HttpRequest, passage_id: int) -> Passage:
    """The passage if a picture is its excerpt, 404 otherwise."""
    passage = get_passage(request, passage_id)
    if passage.picture is None:
        raise Http404
    return passage


# --- the pages of a picture passage and of one version of its signs


def shown(request: HttpRequest, passage: Passage, marks: Marks, address: str) -> dict[str, Any]:
    """What `_excerpt.html` needs to show the picture with signs; `address` gives it again for another width."""
    return {
        "picture": excerpts.picture(passage, marks, excerpts.screen_look(request)),
        "excerpt_url": address,
        "screen": excerpts.screen_of(request),
    }


def passage_page(
    request: HttpRequest, passage: Passage, markings: list[Marking], version: Marking | None, *, deletable: bool
) -> HttpResponse:
    """The passage page where a picture is the excerpt, showing one version of its signs."""
    picture = passage.picture
    assert picture is not None
    address = reverse("passage_excerpt", args=[passage.pk])
    context = {
        **_trail(passage.movement),
        "passage": passage,
        "markings": markings,
        "shown": version,
        "overlapping": overlapping(passage, teacher_of(request)),
        "shared": shared_within(passage, teacher_of(request)),
        "deletable": deletable,
        "own": passage.teacher_id == teacher_of(request).pk,
        "facts": facts(picture.paper),
        "source": picture,
        "notation": notated(passage),
        **shown(
            request,
            passage,
            marks_of(version) if version else (),
            address + (f"?marking={version.pk}" if version else ""),
        ),
    }
    return render(request, "repertoire/picture_passage.html", context)


def version_page(request: HttpRequest, version: Marking, context: dict[str, Any]) -> HttpResponse:
    """One version of the signs on a picture: the picture, its signs as a list, what changed."""
    passage = version.passage
    marks = marks_of(version)
    context = {**context, **shown(request, passage, marks, request.get_full_path()), "signs": to_place(version)}
    if request.headers.get("X-Requested-With") == "fetch":
        return render(request, "repertoire/_excerpt.html", context)
    if version.parent is not None and version.parent.passage_id == passage.pk:
        context["places"] = differences(passage, marks_of(version.parent), marks)
    return render(request, "repertoire/picture_version.html", context)


def facts(paper: Paper) -> list[str]:
    """How the picture comes out on paper, in sentences."""
    size = pictures.printed(paper)
    told = [f"On an A4 sheet it is {size.width_mm:.0f} × {size.height_mm:.0f} mm, {size.dpi:.0f} points to the inch."]
    if size.coarse:
        told.append("That is coarse: below 150 it looks blurred. Scan the page again at 300, or nearer.")
    if size.staff_mm:
        told.append(f"Its staves come out {size.staff_mm:.1f} mm high.")
        if size.staff_mm < 6:
            told.append("That is small to read from. Make passages of fewer bars, so that each fills the width.")
    else:
        told.append("No staves were found in it: is it straight? Signs are sized by its width.")
    return told


# --- comparing


@dataclass(frozen=True, slots=True)
class Compared:
    """A version with its letter, drawn with rings round the signs the first one hasn't."""

    letter: str
    marking: Marking
    svg: str
    aspects: tuple[tuple[str, bool], ...]
    places: tuple[Place, ...]


def compare_page(request: HttpRequest, passage: Passage, every: list[Marking], chosen: list[Marking]) -> HttpResponse:
    """Two or three versions of the signs on a picture, one under another, and what differs as a list."""
    picture = passage.picture
    assert picture is not None
    context = {
        **_trail(passage.movement),
        "passage": passage,
        "every": every,
        "chosen": [m.pk for m in chosen],
        "excerpt_url": request.get_full_path(),
        "screen": excerpts.screen_of(request),
    }
    if len(chosen) > 1:
        first = chosen[0]
        pairs = zip(LETTERS, chosen, strict=False)
        context["compared"] = [_compared(request, passage, picture, *pair, first) for pair in pairs]
    return render(request, "repertoire/picture_compare.html", context)


def _compared(
    request: HttpRequest,
    passage: Passage,
    picture: ExcerptPicture,
    letter: str,
    marking: Marking,
    other: Marking,
) -> Compared:
    marks, width = marks_of(marking), excerpts.SCREENS[excerpts.screen_of(request)]
    uri = pictures.uri_of(picture, round(width / 25.4 * pictures.SCREEN_DPI))
    first = marks_of(other)
    ringed = set(marks) - set(first)
    drawn = draw(uri, picture.paper, marks, width_mm=width, ringed=ringed, image=bool(uri))
    same = same_aspects(other, marking)
    aspects = tuple((ASPECT_WORDS[aspect], aspect in same) for aspect in Aspect)
    return Compared(letter, marking, drawn.svg(), aspects, differences(passage, first, marks))


# --- notation in place of the picture


@require_http_methods(["GET", "HEAD", "POST"])
def picture_notation(request: HttpRequest, passage_id: int) -> HttpResponse:
    """A passage of the same bars on notation that has come since, and the signs to place there."""
    passage = _pictured(request, passage_id)
    movements = notated(passage)
    chosen = _movement(request, movements)
    line = excerpts.movement_notes(chosen)[0] if chosen else None
    initial = {"bars": passage.bars, "title": passage.title, "purpose": passage.purpose}
    form = PassageForm(
        request.POST or None, initial=initial, line=line, bar_count=chosen.bar_count if chosen else passage.end_bar
    )
    made = None
    if request.method == "POST" and chosen is not None and form.is_valid():
        wanted = form.cleaned_data
        made = importing.make_passage(
            chosen,
            teacher_of(request),
            wanted["bars"],
            title=wanted["title"],
            purpose=wanted["purpose"],
            extends=passage,
        )
        printed_marking(made, teacher_of(request))
        messages.success(request, f"“{made.title}” is made on notation. Its signs wait below to be placed.")
        return redirect("picture_notation", passage.pk)
    context = {
        **_trail(passage.movement),
        "passage": passage,
        "movements": movements,
        "chosen": chosen,
        "form": form,
        "followers": list(passage.extensions.select_related("movement").order_by("id")),
        "versions": [(m, to_place(m)) for m in passage.markings.order_by("-number")],
        "overlapping": overlapping(passage, teacher_of(request)),
    }
    return render(request, "repertoire/picture_notation.html", context, status=422 if form.is_bound else 200)


def notated(passage: Passage) -> list[Movement]:
    """The movements of the piece that have notation: those of each part's present file."""
    piece = passage.movement.revision.part.piece
    found: list[Movement] = []
    for part in piece.parts.all():
        if (present := part.revision) is not None:
            found += present.movements.filter(notated=True).select_related("revision__part__piece")
    same = [m for m in found if m.revision.part_id == passage.movement.revision.part_id]
    return sorted(found, key=lambda m: (m not in same, m.number != passage.movement.number, m.pk))


def _movement(request: HttpRequest, movements: list[Movement]) -> Movement | None:
    given = request.POST if request.method == "POST" else request.GET
    asked = given.get("movement", "")
    if not asked:
        return movements[0] if movements else None
    return next((m for m in movements if str(m.pk) == asked), None)


def to_place(marking: Marking) -> list[tuple[str, str]]:
    """The signs of a version in reading order: words, and the aspect they belong to."""
    picture = marking.passage.picture
    assert picture is not None
    marks = in_order(marks_of(marking), picture.paper)
    return [(describe(mark, picture.paper), ASPECT_WORDS[mark.aspect]) for mark in marks]
