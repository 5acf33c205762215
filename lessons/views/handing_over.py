"""Handing students over to colleagues, and leaving the studio."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth import logout
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from lessons import handing_over
from lessons.handing_over import HandoverError
from studio.access import teacher_of
from studio.colleagues import CannotLeave, colleagues_of
from studio.models import Student

REASON_LIMIT = 300


@require_http_methods(["GET", "HEAD", "POST"])
def hand_over(request: HttpRequest) -> HttpResponse:
    """For each student a colleague, or nobody; `all` hands over everybody. One reason for all."""
    teacher = teacher_of(request)
    students = list(Student.objects.filter(teacher=teacher))
    colleagues = {str(each.pk): each for each in colleagues_of(teacher)}
    told = request.POST
    everybody = told.get("all", "")
    chosen = {s.pk: told.get(f"student-{s.pk}", "") or everybody for s in students}
    reason, error = told.get("reason", "")[:REASON_LIMIT], ""
    if request.method == "POST":
        try:
            if any(to and to not in colleagues for to in chosen.values()):
                raise HandoverError("Choose one of your colleagues.")
            takers = {pk: colleagues[to] for pk, to in chosen.items() if to}
            made = handing_over.hand_over(teacher, takers, reason=reason, at=timezone.now())
        except HandoverError as problem:
            error = str(problem)
        else:
            messages.success(
                request, "; ".join(f"{each.student.first_name} goes to {each.taker.name}" for each in made) + "."
            )
            return redirect("hand_over")
    context = {
        "section": "settings",
        "rows": [(student, chosen[student.pk]) for student in students],
        "colleagues": colleagues.items(),
        "everybody": everybody,
        "reason": reason,
        "error": error,
    }
    return render(request, "lessons/hand_over.html", context, status=422 if error else 200)


@require_POST
def leave(request: HttpRequest) -> HttpResponse:
    """Closes the signed-in teacher's own account."""
    teacher = teacher_of(request)
    wanted = request.POST.get("pieces", "")
    known = wanted.isascii() and wanted.isdigit() and len(wanted) < 19
    pieces_to = colleagues_of(teacher).filter(pk=int(wanted)).first() if known else None
    try:
        handing_over.leave(teacher, pieces_to)
    except CannotLeave as error:
        messages.error(request, str(error))
        return redirect("hand_over")
    logout(request)
    messages.success(request, f"Your account is closed. {pieces_to} looks after what you made.")
    return redirect("sign_in")
