"""Addresses of a student's whole part, and of who uses a marking."""

from django.urls import URLPattern, URLResolver, path

from lessons.views import parts, who

urlpatterns: list[URLPattern | URLResolver] = [
    path("repertoire/markings/<int:marking_id>/who", who.who, name="who"),
    path("students/<int:student_id>/parts/<int:part_id>", parts.student_part, name="student_part"),
    path("students/<int:student_id>/parts/<int:part_id>/pdf", parts.student_part_pdf, name="student_part_pdf"),
    path(
        "students/<int:student_id>/parts/<int:part_id>/export.<str:form>",
        parts.student_part_file,
        name="student_part_file",
    ),
]
