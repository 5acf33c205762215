"""Addresses of typing music in."""

from django.urls import URLPattern, URLResolver, path

from repertoire.views import typing

urlpatterns: list[URLPattern | URLResolver] = [
    path("repertoire/type", typing.type_new, name="type_new"),
    path("repertoire/type/preview", typing.type_preview, name="type_preview"),
    path("repertoire/pieces/<int:piece_id>/type", typing.type_part, name="type_part"),
    path("repertoire/parts/<int:part_id>/type", typing.type_more, name="type_more"),
]
