"""Addresses of pictures as excerpts: sending, cropping, placing signs, and giving way to notation."""

from django.urls import URLPattern, URLResolver, path

from repertoire.views import picture_marking, pictures

urlpatterns: list[URLPattern | URLResolver] = [
    path("repertoire/movements/<int:movement_id>/pictures/new", pictures.picture_new, name="picture_new"),
    path("repertoire/picture-uploads/<int:upload_id>", pictures.picture_crop, name="picture_crop"),
    path(
        "repertoire/picture-uploads/<int:upload_id>/image", pictures.picture_upload_image, name="picture_upload_image"
    ),
    path("repertoire/picture-uploads/<int:upload_id>/turn", pictures.picture_turn, name="picture_turn"),
    path("repertoire/picture-uploads/<int:upload_id>/page", pictures.picture_page, name="picture_page"),
    path("repertoire/picture-uploads/<int:upload_id>/cancel", pictures.picture_cancel, name="picture_cancel"),
    path("repertoire/passages/<int:passage_id>/picture", pictures.passage_picture, name="passage_picture"),
    path("repertoire/passages/<int:passage_id>/crop", pictures.picture_again, name="picture_again"),
    path("repertoire/passages/<int:passage_id>/signs", picture_marking.picture_mark, name="picture_mark"),
    path("repertoire/passages/<int:passage_id>/signs/change", picture_marking.picture_change, name="picture_change"),
    path("repertoire/passages/<int:passage_id>/notation", pictures.picture_notation, name="picture_notation"),
]
