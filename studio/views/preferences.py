"""The Settings page: the studio's own choices and the teacher's profile."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from studio.access import teacher_of
from studio.colleague_forms import InviteForm
from studio.colleagues import open_invitations
from studio.forms import ProfileForm, StudioForm
from studio.models import Studio, Teacher


@require_http_methods(["GET", "HEAD", "POST"])
def settings(request: HttpRequest) -> HttpResponse:
    """Two forms on one page, each sent by its own button; the button's name says which."""
    signed_in = teacher_of(request)
    teacher = Teacher.objects.get(pk=signed_in.pk)
    studio = Studio.objects.get(pk=signed_in.studio_id)
    posted = request.POST if request.method == "POST" else None
    of_profile = posted is not None and "profile" in posted
    studio_form = StudioForm(None if of_profile else posted, instance=studio, prefix="studio")
    profile_form = ProfileForm(posted if of_profile else None, instance=teacher, prefix="profile")
    sent: ProfileForm | StudioForm = profile_form if of_profile else studio_form
    if posted is not None and sent.is_valid():
        sent.save()
        messages.success(request, "Saved.")
        return redirect("settings")
    return render(
        request,
        "studio/settings.html",
        {
            "section": "settings",
            "studio_form": studio_form,
            "profile_form": profile_form,
            "teachers": studio.teachers.order_by("-is_active", "name", "id"),
            "invitations": open_invitations(signed_in, timezone.now()),
            "invite_form": InviteForm(),
        },
        status=422 if posted is not None else 200,
    )
