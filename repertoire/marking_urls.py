"""Addresses of marking a passage, its versions, and comparing them."""

from django.urls import URLPattern, URLResolver, path

from repertoire.views import comparing, marking

urlpatterns: list[URLPattern | URLResolver] = [
    path("repertoire/passages/<int:passage_id>/mark", marking.mark, name="mark"),
    path("repertoire/passages/<int:passage_id>/mark/change", marking.mark_change, name="mark_change"),
    path("repertoire/passages/<int:passage_id>/mark/keep", marking.mark_keep, name="mark_keep"),
    path("repertoire/passages/<int:passage_id>/mark/discard", marking.mark_discard, name="mark_discard"),
    path("repertoire/passages/<int:passage_id>/compare", comparing.compare, name="compare"),
    path("repertoire/passages/<int:passage_id>/combine", comparing.combine, name="combine"),
    path("repertoire/markings/<int:marking_id>", marking.marking, name="marking"),
    path("repertoire/markings/<int:marking_id>/changes", marking.changes, name="changes"),
    path("repertoire/markings/<int:marking_id>/delete", marking.marking_delete, name="marking_delete"),
]
