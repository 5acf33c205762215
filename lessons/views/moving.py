"""Giving a student a passage on the instrument she plays."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.http import urlencode
from django.views.decorators.http import require_POST

from lessons.for_the_instrument import moved_for
from repertoire.access import get_passage
from repertoire.models import Marking
from repertoire.moving import MoveError
from studio.access import get_student


@require_POST
def assign_moved(request: HttpRequest, student_id: int) -> HttpResponse:
    """Make the passage for the other instrument if need be, and go on assigning it."""
    student = get_student(request, student_id)
    numbers = {key: request.POST.get(key, "") for key in ("passage", "marking")}
    if not numbers["passage"].isdecimal() or (numbers["marking"] and not numbers["marking"].isdecimal()):
        raise Http404
    passage = get_passage(request, int(numbers["passage"]))
    marking = None
    if numbers["marking"]:
        marking = Marking.objects.filter(passage=passage, pk=int(numbers["marking"])).first()
    try:
        made, carried = moved_for(student, passage, marking)
    except MoveError as error:
        messages.error(request, str(error))
        return redirect("student", student.pk)
    lesson = request.POST.get("lesson", "")
    asked = urlencode({"passage": made.pk, "marking": carried.pk} | ({"lesson": lesson} if lesson.isdecimal() else {}))
    return redirect(f"{reverse('assign', args=[student.pk])}?{asked}")
