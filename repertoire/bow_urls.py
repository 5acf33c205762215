"""Addresses of the bow: possible bowings, uneven rhythms, carrying over, the studio's bow settings."""

from django.urls import URLPattern, URLResolver, path

from repertoire.views import bow_settings, bowings, carrying_over

urlpatterns: list[URLPattern | URLResolver] = [
    path("repertoire/passages/<int:passage_id>/bowings", bowings.bowings, name="bowings"),
    path("repertoire/passages/<int:passage_id>/uneven", bowings.uneven, name="uneven"),
    path("repertoire/passages/<int:passage_id>/elsewhere/carry", carrying_over.carry_over, name="carry_over"),
    path("settings/bow", bow_settings.bow_settings_page, name="bow_settings"),
]
