"""Addresses of accounts, students and settings."""

from django.urls import URLPattern, URLResolver, path

from studio.views import accounts, colleagues, guardians, hands, instruments, preferences, records, students

urlpatterns: list[URLPattern | URLResolver] = [
    path("sign-in", accounts.sign_in, name="sign_in"),
    path("sign-out", accounts.sign_out, name="sign_out"),
    path("set-up", accounts.set_up, name="set_up"),
    path("password", accounts.password_change, name="password_change"),
    path("healthz", accounts.healthz, name="healthz"),
    path("settings", preferences.settings, name="settings"),
    path("settings/invitations", colleagues.invite, name="invite"),
    path("settings/invitations/<int:invitation_id>/revoke", colleagues.invitation_revoke, name="invitation_revoke"),
    path("join/<str:token>", colleagues.join_studio, name="join"),
    path("students/", students.students, name="students"),
    path("students/new", students.student_new, name="student_new"),
    path("students/<int:student_id>/details", students.student_edit, name="student_edit"),
    path("students/<int:student_id>/hand", hands.student_hand, name="student_hand"),
    path("students/<int:student_id>/record", records.student_export, name="student_export"),
    path("students/<int:student_id>/erase", records.student_erase, name="student_erase"),
    path("students/<int:student_id>/instruments/new", instruments.instrument_new, name="instrument_new"),
    path("students/<int:student_id>/instruments/<int:period_id>", instruments.instrument_edit, name="instrument_edit"),
    path(
        "students/<int:student_id>/instruments/<int:period_id>/end", instruments.instrument_end, name="instrument_end"
    ),
    path(
        "students/<int:student_id>/instruments/<int:period_id>/remove",
        instruments.instrument_remove,
        name="instrument_remove",
    ),
    path("students/<int:student_id>/guardians/new", guardians.guardian_add, name="guardian_add"),
    path(
        "students/<int:student_id>/guardians/<int:guardianship_id>/remove",
        guardians.guardian_remove,
        name="guardian_remove",
    ),
    path("guardians/<int:guardian_id>", guardians.guardian_edit, name="guardian_edit"),
]
