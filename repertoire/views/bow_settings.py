"""What a studio sets about the bow: its hair, its limits, and what a planned bowing weighs."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from repertoire.bow import bow_settings
from repertoire.bow_forms import BowSettingsForm
from repertoire.models import BowChoice
from studio.access import teacher_of
from studio.terms import terms_for


@require_http_methods(["GET", "HEAD", "POST"])
def bow_settings_page(request: HttpRequest) -> HttpResponse:
    """The settings of the teacher's own studio; the defaults can be brought back in one touch."""
    studio = teacher_of(request).studio
    settings, costs = bow_settings(studio)
    if request.method == "POST" and "usual" in request.POST:
        BowChoice.objects.filter(studio=studio).delete()
        messages.success(request, "The usual bow settings are back.")
        return redirect("bow_settings")
    terms = terms_for(studio.terms)
    form = BowSettingsForm(request.POST or None, settings=settings, costs=costs, terms=terms)
    if request.method == "POST" and form.is_valid():
        chosen, weights = form.chosen()
        BowChoice.objects.update_or_create(studio=studio, defaults={"settings": chosen, "costs": weights})
        messages.success(request, "The bow settings are saved.")
        return redirect("bow_settings")
    context = {"form": form, "groups": form.groups(), "section": "settings"}
    return render(request, "repertoire/bow_settings.html", context, status=422 if form.is_bound else 200)
