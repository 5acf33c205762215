"""The teachers of a studio: inviting a colleague, joining by her link."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth import login
from django.contrib.auth.decorators import login_not_required
from django.db import IntegrityError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from studio.access import teacher_of
from studio.colleague_forms import InviteForm, JoinForm
from studio.colleagues import InvitationGone, invitation_for, join, open_invitations
from studio.models import Invitation, Teacher
from studio.throttle import may
from studio.views.accounts import _PLAIN_BACKEND
from studio.visitors import client_address

TRIES, TRIES_IN = 60, 600  # openings of the page by one visitor in ten minutes
OPEN_AT_ONCE = 20


@never_cache
@require_POST
def invite(request: HttpRequest) -> HttpResponse:
    """Makes a link and shows it, this once."""
    teacher, now = teacher_of(request), timezone.now()
    if open_invitations(teacher, now).count() >= OPEN_AT_ONCE:
        messages.error(request, f"There are {OPEN_AT_ONCE} open invitations already: revoke some first.")
        return redirect("settings")
    form = InviteForm(request.POST)
    note = form.cleaned_data["note"] if form.is_valid() else ""
    invitation, token = Invitation.write(teacher, now, note)
    context = {
        "section": "settings",
        "invitation": invitation,
        "link": request.build_absolute_uri(reverse("join", args=[token])),
    }
    return render(request, "studio/invitation.html", context)


@require_POST
def invitation_revoke(request: HttpRequest, invitation_id: int) -> HttpResponse:
    """Any teacher of the studio may take an open invitation back."""
    studio = teacher_of(request).studio_id
    get_object_or_404(Invitation, pk=invitation_id, studio=studio, used=None).delete()
    messages.success(request, "The invitation is revoked: its link leads nowhere now.")
    return redirect("settings")


@login_not_required
@never_cache
@sensitive_post_parameters("password", "password_again")
@require_http_methods(["GET", "HEAD", "POST"])
def join_studio(request: HttpRequest, token: str) -> HttpResponse:
    """The page an invitation leads to: an account in the studio, made once. 404 for a dead link."""
    if not may(f"join {client_address(request)}", TRIES, TRIES_IN):
        answer = render(request, "studio/join_later.html", status=429)
        answer["Retry-After"] = str(TRIES_IN)
        return answer
    try:
        invitation = invitation_for(token, timezone.now())
        form = JoinForm(request.POST if request.method == "POST" else None)
        if request.method == "POST" and form.is_valid():
            teacher = _join(token, form)
            if teacher is not None:
                login(request, teacher, backend=_PLAIN_BACKEND)
                messages.success(request, f"Welcome to {invitation.studio}.")
                return redirect("today")
    except InvitationGone:
        raise Http404 from None
    status = 422 if request.method == "POST" else 200
    return render(request, "studio/join.html", {"form": form, "invitation": invitation}, status=status)


def _join(token: str, form: JoinForm) -> Teacher | None:
    """The new teacher; None when somebody took the e-mail address in the meantime."""
    given = form.cleaned_data
    try:
        return join(token, name=given["name"], email=given["email"], password=given["password"], at=timezone.now())
    except IntegrityError:
        form.add_error("email", "An account with this e-mail address exists already: use another address.")
        return None
