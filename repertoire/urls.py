"""Addresses of pieces, passages and markings."""

from django.urls import URLPattern, URLResolver, include, path

from repertoire.views import importing, movements, passages, pieces

urlpatterns: list[URLPattern | URLResolver] = [
    path("repertoire/", pieces.pieces, name="pieces"),
    path("repertoire/new", pieces.piece_new, name="piece_new"),
    path("repertoire/import", importing.import_new, name="import_new"),
    path("repertoire/uploads/<int:upload_id>", importing.import_choose, name="import_choose"),
    path("repertoire/uploads/<int:upload_id>/cancel", importing.import_cancel, name="import_cancel"),
    path("repertoire/pieces/<int:piece_id>", pieces.piece, name="piece"),
    path("repertoire/pieces/<int:piece_id>/edit", pieces.piece_edit, name="piece_edit"),
    path("repertoire/pieces/<int:piece_id>/delete", pieces.piece_delete, name="piece_delete"),
    path("repertoire/pieces/<int:piece_id>/import", importing.part_import, name="part_import"),
    path("repertoire/parts/<int:part_id>", pieces.part, name="part"),
    path("repertoire/parts/<int:part_id>/delete", pieces.part_delete, name="part_delete"),
    path("repertoire/parts/<int:part_id>/replace", importing.part_replace, name="part_replace"),
    path("repertoire/parts/<int:part_id>/another", importing.part_another, name="part_another"),
    path("repertoire/parts/<int:part_id>/carry", importing.part_carry, name="part_carry"),
    path("repertoire/parts/<int:part_id>/files/<int:number>", pieces.part_file, name="part_file"),
    path("repertoire/movements/<int:movement_id>", movements.movement, name="movement"),
    path("repertoire/movements/<int:movement_id>/numbers", movements.movement_numbers, name="movement_numbers"),
    path("repertoire/movements/<int:movement_id>/bars", movements.movement_bars, name="movement_bars"),
    path("repertoire/movements/<int:movement_id>/passages/new", movements.passage_new, name="passage_new"),
    path("repertoire/passages/<int:passage_id>", passages.passage, name="passage"),
    path("repertoire/passages/<int:passage_id>/excerpt", passages.passage_excerpt, name="passage_excerpt"),
    path("repertoire/passages/<int:passage_id>/first-bars.svg", passages.passage_thumb, name="passage_thumb"),
    path("repertoire/passages/<int:passage_id>/edit", passages.passage_edit, name="passage_edit"),
    path("repertoire/passages/<int:passage_id>/extend", passages.passage_extend, name="passage_extend"),
    path("repertoire/passages/<int:passage_id>/elsewhere", passages.passage_elsewhere, name="passage_elsewhere"),
    path("repertoire/passages/<int:passage_id>/delete", passages.passage_delete, name="passage_delete"),
    path("", include("repertoire.abc_urls")),
    path("", include("repertoire.export_urls")),
    path("", include("repertoire.marking_urls")),
    path("", include("repertoire.picture_urls")),
    path("", include("repertoire.left_hand_urls")),
    path("", include("repertoire.sharing_urls")),
    path("", include("repertoire.bow_urls")),
]
