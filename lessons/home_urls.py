"""Addresses of the students' pages at home, and of the teacher's part in them."""

from django.urls import URLPattern, path

from lessons.views import home, home_links

urlpatterns: list[URLPattern] = [
    path("home/<str:token>/", home.home, name="home"),
    path("home/<str:token>/keep", home.home_keep, name="home_keep"),
    path("home/<str:token>/worker.js", home.home_worker, name="home_worker"),
    path("students/<int:student_id>/home", home_links.link_make, name="link_make"),
    path("students/<int:student_id>/home/end", home_links.link_end, name="link_end"),
    path("sheets/<int:sheet_id>/home-file", home_links.home_file, name="home_file"),
    path("home-questions/<int:question_id>/seen", home_links.question_seen, name="question_seen"),
]
