"""Addresses of a student's whole part."""

from django.urls import URLPattern, URLResolver, path

from lessons.views import parts

urlpatterns: list[URLPattern | URLResolver] = [
    path("students/<int:student_id>/parts/<int:part_id>", parts.student_part, name="student_part"),
    path("students/<int:student_id>/parts/<int:part_id>/pdf", parts.student_part_pdf, name="student_part_pdf"),
    path(
        "students/<int:student_id>/parts/<int:part_id>/export.<str:form>",
        parts.student_part_file,
        name="student_part_file",
    ),
]
