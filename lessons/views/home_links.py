"""For the teacher: making, renewing and ending a student's links, the page as a file, and reading what came back."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_GET, require_POST

from lessons import links
from lessons.access import get_sheet
from lessons.home_base import home_base
from lessons.home_models import HomeQuestion
from lessons.home_pages import copy_of, open_page
from lessons.home_showing import page_file
from studio.access import get_student, teacher_of
from studio.asked import read_number


@require_POST
def link_make(request: HttpRequest, student_id: int) -> HttpResponse:
    """End the links there are and make a new one; its address is shown in this answer and never again."""
    student = get_student(request, student_id)
    now = timezone.now()
    ended = links.revoke_links(student.pk, at=now)
    base = home_base(request)
    address = open_page(student, base=base, at=now)
    context = {
        "student": student,
        "address": address,
        "qr": links.qr_code(address),
        "ended": ended,
        "reachable": links.can_reach(base),
        "offline": links.can_stay_offline(base),
        "days": links.DAYS,
        "newest": student.sheets.order_by("-issued", "-id").first(),
        "section": "students",
    }
    answer = render(request, "lessons/home_link.html", context)
    answer.headers["Cache-Control"] = "no-store"
    return answer


@require_POST
def link_end(request: HttpRequest, student_id: int) -> HttpResponse:
    student = get_student(request, student_id)
    if links.revoke_links(student.pk, at=timezone.now()):
        messages.success(request, f"{student.first_name}’s page is closed: no link opens it, also none on paper.")
    return redirect("student", student.pk)


@require_GET
def home_file(request: HttpRequest, sheet_id: int) -> HttpResponse:
    """The student's page of a sheet as one HTML file, for devices that can't reach the studio."""
    sheet = get_sheet(request, sheet_id)
    answer = HttpResponse(page_file(copy_of(sheet, at=timezone.now())), content_type="text/html; charset=utf-8")
    name = f"{sheet.student.first_name} sheet {sheet.number}.html"
    answer.headers["Content-Disposition"] = content_disposition_header(True, name) or "attachment"
    answer.headers["Cache-Control"] = "private, no-store"
    return answer


@require_POST
def question_seen(request: HttpRequest, question_id: int) -> HttpResponse:
    found = get_object_or_404(HomeQuestion, pk=question_id, student__teacher=teacher_of(request))
    if found.seen is None:
        found.seen = timezone.now()
        found.save(update_fields=["seen"])
    back = read_number(request.POST.get("lesson", ""))
    return redirect("student", found.student_id) if back is None else redirect("lesson", back)
