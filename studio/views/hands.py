"""What a student's left hand can do yet, on a page of the student's details."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from studio.access import get_student
from studio.hand_forms import HandForm
from studio.models import StudentHand


@require_http_methods(["GET", "HEAD", "POST"])
def student_hand(request: HttpRequest, student_id: int) -> HttpResponse:
    student = get_student(request, student_id)
    hand = StudentHand.objects.filter(student=student).first() or StudentHand(student=student)
    form = HandForm(request.POST if request.method == "POST" else None, instance=hand)
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, "Saved.")
        return redirect("student_edit", student.pk)
    status = 422 if request.method == "POST" else 200
    context = {"section": "students", "student": student, "tab": "details", "form": form}
    return render(request, "studio/student_hand.html", context, status=status)
