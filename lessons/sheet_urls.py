"""Addresses of practice sheets, histories and reports."""

from django.urls import URLPattern, path

from lessons.views import history, sheets

urlpatterns: list[URLPattern] = [
    path("students/<int:student_id>/sheets", sheets.sheets, name="sheets"),
    path("students/<int:student_id>/sheets/next", sheets.sheet_preview, name="sheet_preview"),
    path("students/<int:student_id>/sheets/next/page", sheets.sheet_preview_page, name="sheet_preview_page"),
    path("students/<int:student_id>/sheets/issue", sheets.sheet_issue, name="sheet_issue"),
    path("sheets/<int:sheet_id>", sheets.sheet, name="sheet"),
    path("sheets/<int:sheet_id>/pdf", sheets.sheet_pdf, name="sheet_pdf"),
    path("sheets/tomorrow", sheets.sheets_of_day, name="sheets_of_day"),
    path("sheets/tomorrow/pdf", sheets.sheets_of_day_pdf, name="sheets_of_day_pdf"),
    path("students/<int:student_id>/history", history.history, name="history"),
    path("students/<int:student_id>/report", history.report, name="report"),
]
