"""Addresses of music as files."""

from django.urls import URLPattern, URLResolver, path

from repertoire.views import exporting

urlpatterns: list[URLPattern | URLResolver] = [
    path("repertoire/markings/<int:marking_id>/export.<str:form>", exporting.marking_export, name="marking_export"),
    path("repertoire/parts/<int:part_id>/export.<str:form>", exporting.part_export, name="part_export"),
]
