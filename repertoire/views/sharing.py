"""Showing a marking to colleagues, and reading and copying one of theirs."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST, require_safe

from repertoire import excerpts
from repertoire.access import get_own_marking, get_own_passage, get_shared_marking
from repertoire.markings import MarkingError, marks_of
from repertoire.sharing import copy, own_passage_like, share, withdraw
from repertoire.views.marking import from_script
from repertoire.views.pictures import to_place
from studio.access import teacher_of


@require_POST
def marking_share(request: HttpRequest, marking_id: int) -> HttpResponse:
    """Show a marking to the studio, or (`withdraw`) no longer."""
    marking = get_own_marking(request, marking_id)
    if "withdraw" in request.POST:
        withdraw(marking)
        messages.success(request, f"“{marking.name}” is yours alone again. Copies that colleagues made stay theirs.")
        return redirect("marking", marking.pk)
    try:
        share(marking)
    except MarkingError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, f"Your colleagues can read and copy “{marking.name}” now.")
    return redirect("marking", marking.pk)


@require_safe
def shared_marking(request: HttpRequest, marking_id: int) -> HttpResponse:
    """A colleague's marking to read: the picture, whose it is and why. Nothing else of the passage."""
    marking, teacher = get_shared_marking(request, marking_id), teacher_of(request)
    passage = marking.passage
    like = own_passage_like(passage, teacher)
    into = request.GET.get("into", "")
    look = excerpts.screen_look(request, printed=excerpts.printed_marks(passage))
    context: dict[str, Any] = {
        "section": "repertoire",
        "version": marking,
        "passage": passage,
        "piece": passage.movement.revision.part.piece,
        "picture": excerpts.picture(passage, marks_of(marking), look),
        "excerpt_url": request.path,
        "screen": excerpts.screen_of(request),
        "mine": marking.teacher_id == teacher.pk,
        "own_passage": like,
        "into": "" if like and into == str(like.pk) else into,
    }
    if passage.has_picture:
        context["signs"] = to_place(marking)
    page = "_excerpt" if from_script(request) else "shared_marking"
    return render(request, f"repertoire/{page}.html", context)


@require_POST
def shared_marking_copy(request: HttpRequest, marking_id: int) -> HttpResponse:
    """Copy it to one's own passage: `into` names one that contains it, else the one with its bounds."""
    marking, teacher = get_shared_marking(request, marking_id), teacher_of(request)
    if marking.teacher_id == teacher.pk:
        return redirect("marking", marking.pk)
    wanted = request.POST.get("into", "")
    into = get_own_passage(request, int(wanted)) if wanted.isascii() and wanted.isdigit() and len(wanted) < 19 else None
    try:
        made = copy(marking, teacher, into)
    except MarkingError as error:
        messages.error(request, str(error))
        return redirect("shared_marking", marking.pk)
    messages.success(request, f"“{made.name}” is copied to your passage.")
    return redirect("marking", made.pk)
