"""All addresses: people here, music and lessons from their own apps."""

from django.urls import include, path

urlpatterns = [
    path("", include("studio.people_urls")),
    path("", include("repertoire.urls")),
    path("", include("lessons.urls")),
]
