"""Addresses of lessons and work; those of sheets, history and reports stand in sheet_urls."""

from django.urls import URLPattern, URLResolver, include, path

from lessons.views import assignments, breaks, calendar, find, handing_over, lessons, moving, noting, students, today

urlpatterns: list[URLPattern | URLResolver] = [
    path("", today.today, name="today"),
    path("find", find.find, name="find"),
    path("lessons/", calendar.calendar, name="calendar"),
    path("lessons/breaks", breaks.breaks, name="breaks"),
    path("lessons/breaks/<int:break_id>/remove", breaks.break_remove, name="break_remove"),
    path("lessons/recitals/<int:recital_id>/remove", breaks.recital_remove, name="recital_remove"),
    path("lessons/new", calendar.lesson_add, name="lesson_add"),
    path("lessons/<int:lesson_id>", lessons.lesson, name="lesson"),
    path("lessons/<int:lesson_id>/finish", lessons.finish, name="lesson_finish"),
    path("lessons/<int:lesson_id>/time", calendar.lesson_move, name="lesson_move"),
    path("lessons/<int:lesson_id>/remove", calendar.lesson_remove, name="lesson_remove"),
    path("lessons/<int:lesson_id>/observe", noting.observe, name="observe"),
    path("lessons/<int:lesson_id>/flag", noting.flag, name="flag"),
    path("lessons/<int:lesson_id>/heard", noting.heard, name="heard"),
    path("lessons/<int:lesson_id>/switch", noting.switch, name="switch"),
    path("lessons/<int:lesson_id>/note", noting.note, name="lesson_note"),
    path("lessons/<int:lesson_id>/attendance", noting.attendance, name="attendance"),
    path("lessons/<int:lesson_id>/undo", noting.undo, name="undo"),
    path("lessons/observations/<int:observation_id>", noting.observation, name="observation"),
    path("lessons/assign", assignments.choose_student, name="choose_student"),
    path("lessons/work/<int:assignment_id>", assignments.assignment, name="assignment"),
    path("lessons/work/<int:assignment_id>/excerpt", assignments.work_excerpt, name="work_excerpt"),
    path("lessons/work/<int:assignment_id>/marking", assignments.assignment_marking, name="assignment_marking"),
    path("lessons/work/<int:assignment_id>/place", assignments.assignment_place, name="assignment_place"),
    path("settings/hand-over", handing_over.hand_over, name="hand_over"),
    path("settings/leave", handing_over.leave, name="leave"),
    path("students/<int:student_id>/", students.student, name="student"),
    path("students/<int:student_id>/lessons/new", calendar.lesson_new, name="lesson_new"),
    path("students/<int:student_id>/breaks", breaks.student_breaks, name="student_breaks"),
    path("students/<int:student_id>/assign", assignments.assign, name="assign"),
    path("students/<int:student_id>/assign/moved", moving.assign_moved, name="assign_moved"),
    path("", include("lessons.part_urls")),
    path("", include("lessons.sheet_urls")),
    path("", include("lessons.step_urls")),
    path("", include("lessons.home_urls")),
]
