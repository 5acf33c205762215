"""Giving a student work, and what becomes of it: its plan, its marking, its place."""

from __future__ import annotations

from datetime import date, datetime, time

from django.contrib import messages
from django.db import transaction
from django.db.models import Case, QuerySet, When
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from lessons import assigning
from lessons.access import get_assignment
from lessons.assigning import AssignError
from lessons.for_the_instrument import other_instrument
from lessons.forms import AssignForm, ChangePlanForm
from lessons.models import Assignment, Lesson, Step
from lessons.queries import day_bounds, works
from lessons.showing import choices, show
from lessons.tempo import unit_of
from repertoire.access import get_passage, get_piece
from repertoire.excerpts import passage_line
from repertoire.markings import printed_marking
from repertoire.models import Marking, Passage, Piece
from repertoire.queries import passages_open_to, pieces_open_to
from studio.access import get_student, teacher_of
from studio.asked import read_number
from studio.models import Student, Teacher

CHOICES_SHOWN = 30
STEPS_OFFERED = 10


@require_safe
def choose_student(request: HttpRequest) -> HttpResponse:
    """From a passage: whom is it for?"""
    passage = get_passage(request, _number(request, "passage") or 0)
    students = Student.objects.filter(teacher=teacher_of(request), status=Student.Status.ACTIVE)
    working = set(Assignment.objects.filter(passage=passage, ended=None).values_list("student_id", "pk"))
    at_it: dict[int, int] = dict(working)
    context = {
        "section": "repertoire",
        "passage": passage,
        "marking": request.GET.get("marking", ""),
        "rows": [(student, at_it.get(student.pk)) for student in students],
    }
    return render(request, "lessons/choose_student.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def assign(request: HttpRequest, student_id: int) -> HttpResponse:
    """Give a student a passage (?passage=), or bars of a piece (?piece=), found by words."""
    student = get_student(request, student_id)
    if number := _number(request, "passage"):
        return _assign_passage(request, student, get_passage(request, number))
    if number := _number(request, "piece"):
        return _assign_bars(request, student, get_piece(request, number))
    if request.method == "POST":
        return redirect("assign", student.pk)
    words = request.GET.get("q", "").strip()[:100]
    teacher = teacher_of(request)
    context = {
        "section": "students",
        "student": student,
        "words": words,
        "lesson": _from_lesson(request, student),
        "passages": _passages(teacher, words, student)[:CHOICES_SHOWN],
        "pieces": _pieces(teacher, words)[:CHOICES_SHOWN],
        "open": set(student.assignments.filter(ended=None).values_list("passage_id", flat=True)),
    }
    return render(request, "lessons/assign_choose.html", context)


def _from_lesson(request: HttpRequest, student: Student) -> Lesson | None:
    """The lesson whose page led here, and to which it leads back."""
    number = _number(request, "lesson")
    return student.lessons.filter(pk=number).first() if number else None


def _passages(teacher: Teacher, words: str, student: Student) -> QuerySet[Passage]:
    """Those in which the words occur, the newest first, after those for the instrument the student plays."""
    plays = {period.instrument for period in student.instruments_on(timezone.localdate())}
    found = passages_open_to(teacher).select_related("movement__revision__part__piece")
    for word in words.split()[:8]:
        piece = "movement__revision__part__piece__"
        found = (
            found.filter(title__icontains=word)
            | found.filter(**{f"{piece}title__icontains": word})
            | found.filter(**{f"{piece}composer__icontains": word})
        )
    if not plays:
        return found.order_by("-created", "-id")
    other = Case(When(movement__revision__part__instrument__in=plays, then=0), default=1)
    return found.order_by(other, "-created", "-id")


def _pieces(teacher: Teacher, words: str) -> QuerySet[Piece]:
    found = pieces_open_to(teacher)
    for word in words.split()[:8]:
        found = found.filter(title__icontains=word) | found.filter(composer__icontains=word)
    return found.order_by("title", "id")


def _assign_passage(request: HttpRequest, student: Student, passage: Passage) -> HttpResponse:
    already = student.assignments.filter(passage=passage, ended=None).first()
    if already is not None and request.method != "POST":
        messages.warning(request, f"{student.first_name} already works on this passage. Change the marking here.")
        return redirect("assignment", already.pk)
    if passage.has_excerpt:
        printed_marking(passage, passage.teacher)
    markings = Marking.objects.filter(passage=passage).order_by("-number")
    chosen = _number(request, "marking") if request.method != "POST" else None
    first = (markings.filter(pk=chosen).first() if chosen else None) or markings.first()
    form = AssignForm(
        request.POST or None,
        teacher=student.teacher,
        markings=markings,
        initial={"marking": first, "state": "new", "tempo_unit": _counted_in(passage)},
    )
    moved = other_instrument(student, passage, timezone.localdate()) if passage.has_notation else None
    drawn = choices(request, passage, markings)
    return _assign(request, student, form, passage=passage, choices=drawn, moved=moved, first=first)


def _counted_in(passage: Passage) -> str:
    """The beat unit of the passage's first metre: a minim in 3/2, a dotted crotchet in 6/8."""
    if not passage.has_notation:
        return "quarter"
    meter = passage_line(passage).bars[0].meter
    return unit_of(2 * meter.beat if meter.symbol == "cut" and meter.beat == 1 else meter.beat)


def _assign_bars(request: HttpRequest, student: Student, piece: Piece) -> HttpResponse:
    form = AssignForm(request.POST or None, teacher=student.teacher, initial={"state": "new"})
    return _assign(request, student, form, piece=piece)


def _assign(request: HttpRequest, student: Student, form: AssignForm, **music: object) -> HttpResponse:
    drawn, lesson = music.pop("choices", []), _from_lesson(request, student)
    if request.method == "POST" and form.is_valid():
        wanted = form.cleaned_data
        try:
            given = assigning.assign(
                student,
                passage=music.get("passage"),  # type: ignore[arg-type]
                piece=music.get("piece"),  # type: ignore[arg-type]
                bars=wanted.get("bars", ""),
                marking=wanted.get("marking"),
                to_try=wanted.get("to_try", ()),
                steps=wanted["steps"],
                lesson=lesson or lesson_now(student),
                begun=timezone.localdate(),
                state=wanted["state"],
                **form.plan,
            )
        except AssignError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, f"Given to {student.first_name}.")
            if lesson is not None:
                return redirect(f"{reverse('lesson', args=[lesson.pk])}#a{given.pk}")
            return redirect("student", student.pk)
    context = {
        "section": "students",
        "lesson": lesson,
        "student": student,
        "form": form,
        "choices": drawn,
        "tried": [str(value) for value in form["to_try"].value() or ()] if "to_try" in form.fields else [],
        "offered": _steps_offered(student.teacher),
        **music,
    }
    return render(request, "lessons/assign.html", context, status=422 if request.method == "POST" else 200)


def lesson_now(student: Student) -> Lesson | None:
    """The student's lesson of today that has begun: what is assigned today belongs to it."""
    return lesson_on(student, timezone.localdate())


def lesson_on(student: Student, day: date) -> Lesson | None:
    """The lesson of a day that has begun by now, the last of several."""
    begun = student.lessons.filter(starts__lte=timezone.now(), starts__range=day_bounds(day)).order_by("-starts")
    return begun.exclude(attendance=Lesson.Attendance.CANCELLED).first()


def _steps_offered(teacher: Teacher) -> list[str]:
    """Wordings of steps written lately, to be added with one tap."""
    recent = Step.objects.filter(assignment__student__teacher=teacher).order_by("-id").values_list("text", flat=True)
    return list(dict.fromkeys(recent[:60]))[:STEPS_OFFERED]


@require_safe
def work_excerpt(request: HttpRequest, assignment_id: int) -> HttpResponse:
    """The excerpt alone, for a window whose width has changed."""
    one = show(request, works(Assignment.objects.filter(pk=get_assignment(request, assignment_id).pk))[0])
    context = {"picture": one.picture, "excerpt_url": one.excerpt_url, "screen": one.screen}
    return render(request, "repertoire/_excerpt.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def assignment(request: HttpRequest, assignment_id: int) -> HttpResponse:
    """The plan of one assignment: steps, tempo, listening point, minutes, state."""
    given = get_assignment(request, assignment_id)
    names = ("tempo_now", "tempo_goal", "tempo_unit", "listening_point", "minutes", "state")
    initial = {name: getattr(given, name) for name in names}
    initial["steps"] = "\n".join(given.steps.filter(ended=None).values_list("text", flat=True))
    initial["state_on"] = timezone.localdate()
    form = ChangePlanForm(request.POST or None, teacher=teacher_of(request), initial=initial)
    if request.method == "POST" and form.is_valid():
        try:
            with transaction.atomic():
                assigning.change_plan(given, **form.plan)
                assigning.change_steps(given, form.cleaned_data["steps"], on=timezone.localdate())
                _note_state(given, form)
        except AssignError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, "Saved.")
            return redirect("student", given.student_id)
    work = works(Assignment.objects.filter(pk=given.pk))[0]
    markings = Marking.objects.filter(passage=given.passage_id).order_by("-number") if given.passage_id else []
    context = {
        "section": "students",
        "student": given.student,
        "assignment": given,
        "shown": show(request, work),
        "form": form,
        "markings": [marking for marking in markings if marking.pk != given.marking_id],
        "to_try": set(work.to_try),
        "changes": given.marking_changes.select_related("before", "after", "lesson"),
        "states": given.state_changes.select_related("marking"),
        "offered": _steps_offered(given.student.teacher),
    }
    return render(request, "lessons/assignment.html", context, status=422 if request.method == "POST" else 200)


def _note_state(given: Assignment, form: ChangePlanForm) -> None:
    """Another state from the day told: today at this moment, an earlier day at noon or in its lesson."""
    on = form.cleaned_data["state_on"]
    lesson = lesson_on(given.student, on)
    noon = timezone.make_aware(datetime.combine(on, time(12)))
    at = timezone.now() if on == timezone.localdate() else lesson.ends if lesson else noon
    reason = form.cleaned_data["state_reason"]
    assigning.set_state(given, form.cleaned_data["state"], at=at, lesson=lesson, reason=reason)


@require_POST
def assignment_marking(request: HttpRequest, assignment_id: int) -> HttpResponse:
    """Another marking in use, with a reason, or other markings to try."""
    given = get_assignment(request, assignment_id)
    markings = Marking.objects.filter(passage=given.passage_id)
    try:
        if number := _number(request, "marking"):
            marking = get_object_or_404(markings, pk=number)
            assigning.change_marking(
                given,
                marking,
                reason=request.POST.get("reason", "")[:300],
                lesson=lesson_now(given.student),
                at=timezone.now(),
            )
            messages.success(request, f"{given.student.first_name} now uses “{marking.name}”.")
        else:
            numbers = [int(n) for n in request.POST.getlist("to_try") if n.isascii() and n.isdigit()]
            assigning.choose_to_try(given, markings.filter(pk__in=numbers))
            messages.success(request, "Saved.")
    except AssignError as error:
        messages.error(request, str(error))
    return redirect("assignment", given.pk)


@require_POST
def assignment_place(request: HttpRequest, assignment_id: int) -> HttpResponse:
    """Earlier, later, resting, ended, or taken up again."""
    given, now = get_assignment(request, assignment_id), timezone.now()
    wish = request.POST.get("wish", "")
    try:
        if wish in ("earlier", "later"):
            assigning.move(given, earlier=wish == "earlier")
        elif wish == "resting":
            assigning.set_state(given, Assignment.State.RESTING, at=now, lesson=lesson_now(given.student))
        elif wish == "ended":
            assigning.end(given, on=timezone.localdate(now), at=now, lesson=lesson_now(given.student))
        elif wish == "resume":
            assigning.resume(given, at=now, lesson=lesson_now(given.student))
    except AssignError as error:
        messages.error(request, str(error))
    return redirect("student", given.student_id)


def _number(request: HttpRequest, name: str) -> int | None:
    return read_number(request.POST.get(name) or request.GET.get(name) or "")
