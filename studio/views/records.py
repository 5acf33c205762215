"""A student's record handed out or erased on request."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.text import slugify
from django.views.decorators.http import require_http_methods, require_safe

from studio.access import get_student
from studio.models import Student
from studio.personal_record import copies_of, erase, export


class EraseForm(forms.Form):
    """The first name, typed once more, and whether pictures taken over from the record stay."""

    first_name = forms.CharField(
        label="Type the first name to confirm", widget=forms.TextInput({"autocomplete": "off"})
    )

    keep_copies = forms.BooleanField(label="Keep these pictures: the student is not to be seen in them", required=False)

    def __init__(self, *args: object, student: Student, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        self.student = student

    def clean_first_name(self) -> str:
        if self.cleaned_data["first_name"].strip() != self.student.first_name:
            raise ValidationError(f"That is not “{self.student.first_name}”. Nothing was erased.")
        return self.student.first_name


@require_safe
def student_export(request: HttpRequest, student_id: int) -> HttpResponse:
    student = get_student(request, student_id)
    answer = HttpResponse(export(student), content_type="application/json")
    name = slugify(student.first_name) or "student"
    answer["Content-Disposition"] = f'attachment; filename="record-{name}-{student.pk}.json"'
    answer["Cache-Control"] = "private, no-store"
    return answer


@require_http_methods(["GET", "HEAD", "POST"])
def student_erase(request: HttpRequest, student_id: int) -> HttpResponse:
    student = get_student(request, student_id)
    form = EraseForm(request.POST or None, student=student)
    if request.method == "POST" and form.is_valid():
        erased = erase(student, keep_copies=form.cleaned_data["keep_copies"])
        messages.success(request, f"{student.first_name}’s record is erased. Older backups still hold it.")
        if erased.in_log:
            messages.warning(
                request,
                "The database’s log was in use just now and may still hold some of it. It is emptied when nobody "
                "reads from it any more; stop the server and start it again to be sure.",
            )
        return redirect("students")
    copies = copies_of(student)
    context = {
        "section": "students",
        "student": student,
        "tab": "details",
        "form": form,
        "copies": copies,
        "shown": list({getattr(each, "sha256", each.pk): each for each in copies}.values()),
    }
    return render(request, "studio/student_erase.html", context, status=422 if request.method == "POST" else 200)
