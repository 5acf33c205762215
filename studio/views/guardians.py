"""Guardians: who they are, whose they are, and who receives lesson notes. Siblings share one."""

from __future__ import annotations

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from studio.access import get_guardian, get_student
from studio.forms import GuardianForm, GuardianshipForm, KnownGuardianForm
from studio.models import Guardian, Guardianship


@require_http_methods(["GET", "HEAD", "POST"])
def guardian_add(request: HttpRequest, student_id: int) -> HttpResponse:
    """A new guardian, or one who is already another student's: two forms, each with its button."""
    student = get_student(request, student_id)
    posted = request.POST if request.method == "POST" else None
    known = posted is not None and "known" in posted
    of_new = posted if posted is not None and not known else None
    person = GuardianForm(of_new, instance=Guardian(teacher=student.teacher))
    relation = GuardianshipForm(of_new, instance=Guardianship(student=student), prefix="new")
    pick = KnownGuardianForm(posted if known else None, student=student, prefix="known")
    if known and pick.is_valid():
        pick.instance.guardian = pick.cleaned_data["guardian"]
        pick.save()
        messages.success(request, f"{pick.instance.guardian} is now also {student.first_name}'s guardian.")
        return redirect("student_edit", student.pk)
    if of_new is not None and all([person.is_valid(), relation.is_valid()]):
        with transaction.atomic():
            relation.instance.guardian = person.save()
            relation.save()
        messages.success(request, f"{person.instance} is added.")
        return redirect("student_edit", student.pk)
    context = {
        "section": "students",
        "student": student,
        "tab": "details",
        "person": person,
        "relation": relation,
        "pick": pick,
        "may_pick": pick.fields["guardian"].queryset.exists(),  # type: ignore[attr-defined]
    }
    return render(request, "studio/guardian_add.html", context, status=422 if posted is not None else 200)


@require_http_methods(["GET", "HEAD", "POST"])
def guardian_edit(request: HttpRequest, guardian_id: int) -> HttpResponse:
    """The guardian's contacts, and per student the relation and who receives notes."""
    guardian = get_guardian(request, guardian_id)
    ties = list(guardian.guardianships.select_related("student").order_by("student__first_name", "id"))
    posted = request.POST if request.method == "POST" else None
    name = guardian.name
    form = GuardianForm(posted, instance=guardian)
    relations = [GuardianshipForm(posted, instance=tie, prefix=f"tie-{tie.pk}") for tie in ties]
    if posted is not None and all([form.is_valid(), *(relation.is_valid() for relation in relations)]):
        with transaction.atomic():
            form.save()
            for relation in relations:
                relation.save()
        messages.success(request, "Saved.")
        return redirect("student_edit", ties[0].student_id) if ties else redirect("students")
    context = {"section": "students", "guardian": guardian, "name": name, "form": form, "relations": relations}
    return render(request, "studio/guardian.html", context, status=422 if posted is not None else 200)


@require_POST
def guardian_remove(request: HttpRequest, student_id: int, guardianship_id: int) -> HttpResponse:
    """Untie a guardian from a student; one who is nobody's guardian any more is erased."""
    student = get_student(request, student_id)
    tie = get_object_or_404(Guardianship, pk=guardianship_id, student=student)
    with transaction.atomic():
        guardian = tie.guardian
        tie.delete()
        if not guardian.guardianships.exists():
            guardian.delete()
    messages.success(request, f"{guardian.name} is no longer {student.first_name}'s guardian here.")
    return redirect("student_edit", student.pk)
