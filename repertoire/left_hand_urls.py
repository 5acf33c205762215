"""Addresses of the left hand: guide notes, possible fingerings, violin and viola."""

from django.urls import URLPattern, URLResolver, path

from repertoire.views import fingerings, left_hand, moving

urlpatterns: list[URLPattern | URLResolver] = [
    path(
        "repertoire/passages/<int:passage_id>/shifts/<slug:address>/<slug:way>.svg",
        left_hand.guide_notes,
        name="guide_notes",
    ),
    path("repertoire/passages/<int:passage_id>/fingerings", fingerings.fingerings, name="fingerings"),
    path("repertoire/passages/<int:passage_id>/move", moving.passage_move, name="passage_move"),
    path("repertoire/passages/<int:passage_id>/carry", moving.passage_carry, name="passage_carry"),
]
