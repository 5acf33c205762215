"""Addresses of markings shown among colleagues."""

from django.urls import URLPattern, URLResolver, path

from repertoire.views import sharing

urlpatterns: list[URLPattern | URLResolver] = [
    path("repertoire/markings/<int:marking_id>/share", sharing.marking_share, name="marking_share"),
    path("repertoire/shared/<int:marking_id>", sharing.shared_marking, name="shared_marking"),
    path("repertoire/shared/<int:marking_id>/copy", sharing.shared_marking_copy, name="shared_marking_copy"),
]
