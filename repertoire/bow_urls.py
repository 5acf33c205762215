"""Addresses of the bow: possible bowings, uneven rhythms, the studio's bow settings."""

from django.urls import URLPattern, URLResolver, path

from repertoire.views import bow_settings, bowings

urlpatterns: list[URLPattern | URLResolver] = [
    path("repertoire/passages/<int:passage_id>/bowings", bowings.bowings, name="bowings"),
    path("repertoire/passages/<int:passage_id>/uneven", bowings.uneven, name="uneven"),
    path("settings/bow", bow_settings.bow_settings_page, name="bow_settings"),
]
