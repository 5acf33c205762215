"""Addresses of practice steps and their staves."""

from django.urls import URLPattern, path

from lessons.views import kept_steps, step_pictures, steps

urlpatterns: list[URLPattern] = [
    path("lessons/work/<int:assignment_id>/steps", steps.steps, name="steps"),
    path("lessons/work/<int:assignment_id>/steps/add", steps.step_add, name="step_add"),
    path("lessons/work/<int:assignment_id>/steps/order", steps.steps_order, name="steps_order"),
    path("lessons/work/<int:assignment_id>/steps/minutes", steps.steps_minutes, name="steps_minutes"),
    path("lessons/work/<int:assignment_id>/steps/marking", steps.steps_marking, name="steps_marking"),
    path("lessons/work/<int:assignment_id>/steps/keep", kept_steps.step_set_keep, name="step_set_keep"),
    path("lessons/work/<int:assignment_id>/steps/use", kept_steps.step_set_use, name="step_set_use"),
    path("lessons/work/<int:assignment_id>/steps/offers/<int:number>", steps.step_offer, name="step_offer"),
    path("lessons/steps/<int:step_id>", steps.step, name="step"),
    path("lessons/steps/<int:step_id>/stave", steps.step_stave, name="step_stave"),
    path("lessons/steps/<int:step_id>/look", steps.step_look, name="step_look"),
    path("lessons/steps/<int:step_id>/picture", step_pictures.step_picture, name="step_picture"),
    path("lessons/steps/<int:step_id>/place", steps.step_place, name="step_place"),
    path("students/<int:student_id>/minutes", steps.work_minutes, name="work_minutes"),
    path("lessons/phrases/<int:phrase_id>", kept_steps.phrase, name="phrase"),
    path("lessons/step-sets/<int:set_id>/remove", kept_steps.step_set_remove, name="step_set_remove"),
]
