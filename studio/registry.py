"""Every list of people a page asks for, as querysets of one teacher's own."""

from __future__ import annotations

from django.db.models import Count, QuerySet

from studio.models import Student, Teacher


def students_with(teacher: Teacher, status: str) -> QuerySet[Student]:
    """A teacher's students of one status, with their instruments fetched."""
    return Student.objects.filter(teacher=teacher, status=status).prefetch_related("instruments")


def count_by_status(teacher: Teacher) -> dict[str, int]:
    counted = Student.objects.filter(teacher=teacher).order_by().values_list("status").annotate(Count("id"))
    return dict(counted)


def siblings_of(student: Student) -> QuerySet[Student]:
    """The same teacher's students who share a guardian with a student."""
    guardians = student.guardianships.values("guardian")
    return (
        Student.objects.filter(teacher=student.teacher_id, guardianships__guardian__in=guardians)
        .exclude(pk=student.pk)
        .distinct()
        .order_by("first_name", "id")
    )
