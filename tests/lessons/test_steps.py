"""Practice steps: offered with reasons, made, edited, ordered, kept in sets, and printed with their staves."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, date, datetime
from io import BytesIO
from pathlib import Path

import pytest
from django.conf import settings
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from music21 import corpus
from pypdf import PdfReader

from lessons import observing
from lessons.assigning import AssignError, StepPlan, assign, change_marking
from lessons.home_pages import page_content
from lessons.models import Lesson, Phrase, Sheet, Step
from lessons.practice import RecipeError, read_recipe, stave_of, step_stave
from lessons.sheets import draft_content, make_pages
from lessons.step_sets import StepSet
from lessons.stepping import (
    add_step,
    change_step,
    divide_over_steps,
    fill,
    keep_phrase,
    order_steps,
    plan_now,
    used_phrase,
)
from repertoire.bounds import read_bounds
from repertoire.cues import other_parts
from repertoire.excerpts import movement_notes
from repertoire.importing import add_part, make_passage
from repertoire.markings import make_marking, printed_marking
from repertoire.models import Piece

pytestmark = pytest.mark.django_db
AT = datetime(2026, 3, 10, 17, 30, tzinfo=UTC)
DAY = date(2026, 3, 10)


@pytest.fixture
def boat(teacher):
    """The last eight bars of Evening Boat: a turn in bar 14, a trill in bar 15, two shifts."""
    piece = Piece.objects.create(teacher=teacher, title="Evening Boat", composer="Passagework studies")
    path = Path(settings.BASE_DIR) / "fixtures/music/evening-boat.musicxml"
    part = add_part(piece, path.read_bytes(), path.name, 1, edition="First set")
    movement = part.revision.movements.select_related("revision").get()
    line, _ = movement_notes(movement)
    return make_passage(movement, teacher, read_bounds("9-16", line), title="The return")


@pytest.fixture
def marking(teacher, boat):
    return printed_marking(boat, teacher)


@pytest.fixture
def work(student, boat, marking):
    return assign(
        student, begun=DAY, passage=boat, marking=marking, tempo_now=42, tempo_goal=52, tempo_unit="dotted quarter",
        minutes=9,
    )  # fmt: skip


def page(client, work):
    return client.get(reverse("steps", args=[work.pk]))


def add(client, work, **told):
    return client.post(reverse("step_add", args=[work.pk]), told)


def recipe(kind, marking, **given):
    return {"format": 1, "kind": kind, "marking": marking.pk, **({"with": given} if given else {})}


# ---- recipes


def test_the_same_recipe_gives_the_same_stave(boat, marking):
    raw = recipe("trill", marking, start="upper", close=True) | {"bars": [14, 15]}
    first, again = stave_of(raw, boat), stave_of(raw, boat)
    assert first == again
    assert [bar.number for bar in first.line.bars] == ["14", "15"]
    assert [p.name for e in first.line.in_bar(15) for p in e.pitches] == [
        "F4", "E4", "D4", "F4", "E4", "F4", "E4", "F4", "E4", "D4", "E4", "C#4",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("raw", "word"),
    [
        ({"format": 2, "kind": "bare"}, "format"),
        ({"format": 1, "kind": "sideways"}, "not a kind"),
        ({"format": 1, "kind": "trill", "with": {"start": "below"}}, "doesn’t suit"),
        ({"format": 1, "kind": "shift"}, "needs the note"),
        ({"format": 1, "kind": "bare", "bars": [1]}, "first and its last"),
        ({"format": 1, "kind": "bare", "marking": True}, "can’t be read"),
        ({"format": 1, "kind": "bare", "colour": "red"}, "fields"),
        ("bare", "format"),
    ],
)
def test_recipes_that_can_not_be_read(raw, word):
    with pytest.raises(RecipeError, match=word):
        read_recipe(raw)


def test_a_recipe_names_a_marking_of_its_own_passage(teacher, boat, marking):
    with pytest.raises(RecipeError, match="gone"):
        stave_of({"format": 1, "kind": "bare", "marking": marking.pk + 999}, boat)


def test_bars_outside_the_passage_are_said(boat, marking):
    with pytest.raises(RecipeError, match="no bar with index 3"):
        stave_of(recipe("slow", marking) | {"bars": [3, 5]}, boat)


# ---- the page


def test_three_staves_are_offered_with_their_reasons(client_of, teacher, work):
    answer = page(client_of(teacher), work)
    assert answer.status_code == 200
    assert len(answer.context["first"]) == 3
    text = answer.content.decode()
    assert "bars 14–15: turn and trill, in stages" in text
    assert "bar 12: shift of two positions inside a slur" in text
    assert len(answer.context["more"]) > 3


def test_an_offer_in_stages_becomes_three_steps_that_share_their_pulse(client_of, teacher, work):
    client = client_of(teacher)
    first = page(client, work).context["first"][0].offered
    assert add(client, work, offer=first.number).status_code == 302
    steps = list(work.steps.order_by("position"))
    assert [s.recipe["kind"] for s in steps] == ["bare", "turn", "trill"]
    assert [s.recipe.get("bars") for s in steps] == [[14, 15]] * 3
    assert all(s.same_pulse and s.tempo_now == 42 and s.tempo_goal == 52 for s in steps)
    assert [s.text for s in steps] == ["Without the ornaments.", "With the turn.", "With the turn and the trill."]
    assert steps[2].recipe["with"] == {"tempo": 63}  # dotted quarter 42 is 63 quarters
    assert {s.recipe["rules"] for s in steps} == {"practice-1"}  # a suggestion keeps the rules that made it
    assert first.number not in {o.offered.number for o in page(client, work).context["first"]}


def test_slow_staves_and_exercises_of_the_hand_take_no_tempo_of_the_passage(client_of, teacher, work):
    client = client_of(teacher)
    add(client, work, kind="slow")
    add(client, work, kind="pizzicato")
    assert list(work.steps.order_by("position").values_list("tempo_now", "tempo_goal")) == [(None, None), (42, 52)]


def test_look_at_an_offer_before_adding_it(client_of, teacher, work):
    client = client_of(teacher)
    number = page(client, work).context["first"][0].offered.number
    answer = client.get(reverse("step_offer", args=[work.pk, number]))
    assert answer.content.decode().count("<svg") == 3
    assert work.steps.count() == 0
    assert client.get(reverse("step_offer", args=[work.pk, 99])).status_code == 404


def test_a_kind_over_chosen_bars(client_of, teacher, work):
    client = client_of(teacher)
    answer = add(client, work, kind="right hand", bars="11-12")
    step = work.steps.get()
    assert answer.url == reverse("step", args=[step.pk])
    assert step.recipe == {"format": 1, "kind": "right hand", "marking": work.marking_id, "bars": [11, 12]}
    add(client, work, kind="right hand", bars="3-5")
    assert work.steps.count() == 1  # not bars of this passage


def test_a_step_in_words_can_be_kept_as_a_phrase(client_of, teacher, work):
    client = client_of(teacher)
    add(client, work, text="Two bars, rest, two bars.", keep="yes")
    assert Phrase.objects.get(teacher=teacher).text == "Two bars, rest, two bars."
    assert work.steps.get().recipe is None
    add(client, work, text="   ")
    assert work.steps.count() == 1


def test_placeholders_of_a_phrase():
    assert fill("From bar {bar} at {tempo}.", bar="9", tempo="42") == "From bar 9 at 42."
    assert fill("From bar {bar} at {tempo}.", bar="9", tempo="") == "From bar 9 at …."


def test_phrases_used_often_come_first(teacher):
    for text in ("Sing it first.", "Elbow first."):
        keep_phrase(teacher, text)
    used_phrase(teacher, "Sing it first.")
    assert [p.text for p in Phrase.objects.filter(teacher=teacher)] == ["Sing it first.", "Elbow first."]


def test_another_part_of_the_file_stands_above_small(client_of, teacher, student):
    """Four voices of a chorale that music21 carries; the passage is the alto's first three bars."""
    piece = Piece.objects.create(teacher=teacher, title="Chorale", composer="J. S. Bach")
    path = Path(str(corpus.getWork("bach/bwv66.6")))
    part = add_part(piece, path.read_bytes(), path.name, 2)
    movement = part.revision.movements.select_related("revision__part").get()
    line, _ = movement_notes(movement)
    passage = make_passage(movement, teacher, read_bounds("1-3", line), title="Opening")
    given = assign(student, begun=DAY, passage=passage)
    assert [name for _, name in other_parts(movement)] == ["Soprano", "Tenor", "Bass"]
    client = client_of(teacher)
    add(client, given, kind="another part")
    step = given.steps.get()
    stave = step_stave(step)
    assert stave is not None
    assert stave.cue is not None
    assert [p.name for e in stave.cue.in_bar(2) for p in e.pitches] == ["A4", "B4", "C#5", "E5"]
    edit(client, step, bars="2", part="4")
    step.refresh_from_db()
    assert step.recipe["with"] == {"part": 4}
    stave = step_stave(step)
    assert stave is not None
    assert (stave.cue_name, [bar.number for bar in stave.cue.bars]) == ("Bass", ["2"])
    page_text = client.get(reverse("step", args=[step.pk])).content.decode()
    assert "Bass" in page_text
    assert page_text.count('class="engraving"') == 1
    music = page_content(draft_content(student, None, at=AT), Sheet(student=student))["items"][0]["steps"][-1]["music"]
    assert music["cue"]["name"] == "Bass"
    assert music["cue"]["schedule"]["length"] == music["schedule"]["length"] == 4.0
    drawn = "".join(music["drawings"]["narrow"])
    assert set(re.findall(r'data-address="(b\d+)n', drawn)) == {"b3"}  # after an upbeat
    played = {row[0] for row in music["schedule"]["notes"]}
    assert set(re.findall(r'class="note[^"]*" data-address="([^"]*)"', drawn)) == played  # not the bass's


def test_a_file_of_one_part_has_no_other(client_of, teacher, work):
    add(client_of(teacher), work, kind="another part")
    assert not work.steps.exists()


def test_phrases_are_reworded_and_removed(client_of, teacher, work):
    keep_phrase(teacher, "Sing it first.")
    keep_phrase(teacher, "Elbow first.")
    client, kept = client_of(teacher), Phrase.objects.get(text="Sing it first.")
    url = reverse("phrase", args=[kept.pk])
    client.post(url, {"assignment": work.pk, "text": "Sing it, then play it.", "theme": "tone"})
    kept.refresh_from_db()
    assert (kept.text, kept.theme) == ("Sing it, then play it.", "tone")
    client.post(url, {"assignment": work.pk, "text": "Elbow first."})  # there already
    kept.refresh_from_db()
    assert kept.text == "Sing it, then play it."
    client.post(url, {"assignment": work.pk, "wish": "remove"})
    assert list(Phrase.objects.values_list("text", flat=True)) == ["Elbow first."]


# ---- one step


def edit(client, step, **told):
    data = {"text": step.text, "tempo_now": 42, "tempo_goal": 52, "bars": "14-15", **told}
    return client.post(reverse("step", args=[step.pk]), data)


@pytest.fixture
def trill(work, marking):
    return add_step(work, StepPlan("With the trill", 42, 52, 3, recipe("trill", marking) | {"bars": [14, 15]}))


def test_words_bars_tempo_and_manner_are_edited(client_of, teacher, trill):
    client = client_of(teacher)
    answer = edit(
        client, trill, text="From above", bars="15", start="upper", close="yes", minutes=4, focus="lightly",
        days=["0", "2"], tempo_now=40,
    )  # fmt: skip
    assert answer.status_code == 302
    trill.refresh_from_db()
    assert (trill.text, trill.minutes, trill.focus, trill.days) == ("From above", 4, "lightly", "02")
    assert trill.recipe["bars"] == [15, 15]
    assert trill.recipe["with"] == {"start": "upper", "close": True, "tempo": 60}


def test_a_form_that_does_not_fit_is_shown_again(client_of, teacher, trill):
    client = client_of(teacher)
    for told, word in [({"bars": "40"}, "40"), ({"tempo_goal": 30}, "lies below"), ({"text": ""}, "required")]:
        answer = edit(client, trill, **told)
        assert answer.status_code == 422
        assert word in answer.content.decode()
    assert edit(client, trill, bars="9-10").status_code == 422  # there is no trill in those bars


def test_the_stave_is_looked_at_before_it_is_saved(client_of, teacher, trill):
    client = client_of(teacher)
    url, told = reverse("step_look", args=[trill.pk]), {"text": "x", "bars": "15", "count": "6"}
    answer = client.post(url, told, headers={"HX-Request": "true"})
    assert answer.status_code == 200
    assert "<svg" in answer.content.decode()
    trill.refresh_from_db()
    assert "with" not in trill.recipe
    assert client.post(url, {**told, "bars": "99"}, headers={"HX-Request": "true"}).status_code == 422


def test_steps_that_share_a_pulse_keep_it(work, trill):
    for step in (trill, add_step(work, StepPlan("Bare", 42, 52, same_pulse=True))):
        step.same_pulse = True
        step.save()
    alone = add_step(work, StepPlan("Alone", 42, 52))
    change_step(trill, StepPlan(trill.text, 46, 52, 3, trill.recipe, same_pulse=True), on=DAY)
    assert list(work.steps.order_by("position").values_list("tempo_now", flat=True)) == [46, 46, 42]
    alone.refresh_from_db()
    assert alone.tempo_now == 42


def test_the_ladder_stands_on_the_step(client_of, teacher, work):
    step = add_step(work, StepPlan("Up", 60, 90))
    text = client_of(teacher).get(reverse("step", args=[step.pk])).content.decode()
    assert "60 63 66 69 72 76 80 84 88 90" in text
    assert "60 64 69 73 79 84 90" in text


def test_a_heard_step_keeps_its_words(work, trill, student, teacher):
    lesson = Lesson.objects.create(teacher=teacher, student=student, number=1, starts=AT)
    observing.observe(lesson, work, at=AT, step=trill, outcome="better")
    new = change_step(trill, StepPlan("Other words", 42, 52, None, trill.recipe), on=DAY)
    old = Step.objects.exclude(pk=new.pk).get()
    assert (old.text, old.ended) == ("With the trill", DAY)
    assert list(work.steps.filter(ended=None)) == [new]


# ---- order, minutes, sets


def texts(work):
    return list(work.steps.filter(ended=None).order_by("position").values_list("text", flat=True))


def test_order_by_buttons_and_by_dragging(client_of, teacher, work):
    client = client_of(teacher)
    a, b, c = (add_step(work, StepPlan(text)) for text in "abc")
    client.post(reverse("step_place", args=[c.pk]), {"wish": "earlier"})
    assert texts(work) == ["a", "c", "b"]
    answer = client.post(
        reverse("steps_order", args=[work.pk]), {"order": f"{b.pk},{a.pk}"}, headers={"X-Requested-With": "fetch"}
    )
    assert answer.status_code == 204
    assert texts(work) == ["b", "a", "c"]
    client.post(reverse("step_place", args=[a.pk]), {"wish": "remove"})
    assert texts(work) == ["b", "c"]


def test_ids_of_other_work_change_nothing(work, boat, teacher, student, marking):
    a, b = (add_step(work, StepPlan(text)) for text in "ab")
    order_steps(work, [999999, b.pk])
    assert texts(work) == ["b", "a"]
    assert a.pk


def test_minutes_are_shared_evenly(work):
    """[A] 9 minutes over four steps: 3, 2, 2, 2."""
    for text in "abcd":
        add_step(work, StepPlan(text))
    divide_over_steps(work)
    assert list(work.steps.order_by("position").values_list("minutes", flat=True)) == [3, 2, 2, 2]
    work.minutes = 3
    with pytest.raises(AssignError, match="at least one for each"):
        divide_over_steps(work)


def test_no_minutes_are_told_where_no_step_has_any(client_of, teacher, work):
    step = add_step(work, StepPlan("Hum it"))
    page, client = reverse("steps", args=[work.pk]), client_of(teacher)
    told = client.get(page).content.decode()
    assert "Hum it" in told
    assert "min in steps" not in told
    step.minutes = 4
    step.save()
    assert "4 min in steps of 9 min a day" in client.get(page).content.decode()


def test_a_days_minutes_are_shared_over_the_work(client_of, teacher, student, work, stranger):
    """[A] 25 minutes at 12 : 8 : 4, which is 3 : 2 : 1, by largest remainder: 13, 8, 4."""
    work.minutes = 12
    work.save()
    piece = Piece.objects.create(teacher=teacher, title="Book Two", composer="Ada Fell")
    others = [assign(student, begun=DAY, piece=piece, bars=bars, minutes=m) for bars, m in (("1-8", 8), ("9-16", 4))]
    url = reverse("work_minutes", args=[student.pk])
    client_of(teacher).post(url, {"minutes": "25"})
    found = []
    for each in (work, *others):
        each.refresh_from_db()
        found.append(each.minutes)
    assert found == [13, 8, 4]
    client_of(teacher).post(url, {"minutes": "2"})  # less than a minute each
    work.refresh_from_db()
    assert work.minutes == 13
    client_of(teacher).post(url, {"minutes": "3"})
    assert [each.minutes for each in student.assignments.order_by("position")] == [1, 1, 1]
    assert client_of(stranger).post(url, {"minutes": "25"}).status_code == 404
    assert client_of(teacher).get(url).status_code == 405


def test_a_set_is_kept_and_used_on_another_passage(client_of, teacher, work, marking, student):
    client = client_of(teacher)
    add_step(work, StepPlan("Bare first", recipe=recipe("bare", marking) | {"bars": [14, 15]}, minutes=2))
    add_step(work, StepPlan("The shift", recipe=recipe("shift", marking, at="b12n3")))
    client.post(reverse("step_set_keep", args=[work.pk]), {"name": "Ornament and shift"})
    kept = StepSet.objects.get(teacher=teacher)
    assert kept.steps[1]["stave"] == {"kind": "shift", "with": {}}
    movement = work.passage.movement
    line, _ = movement_notes(movement)
    other = make_passage(movement, teacher, read_bounds("11-15", line), title="Middle")
    second = assign(student, begun=DAY, passage=other, marking=printed_marking(other, teacher), tempo_now=40)
    client.post(reverse("step_set_use", args=[second.pk]), {"set": kept.pk})
    made = list(second.steps.order_by("position"))
    assert [s.text for s in made] == ["Bare first", "The shift"]
    assert made[1].recipe["with"]["at"] == "b12n3"  # the first shift offered there
    assert all(step_stave(s) is not None for s in made)
    client.post(reverse("step_set_remove", args=[kept.pk]), {"assignment": second.pk})
    assert not StepSet.objects.exists()
    assert second.steps.count() == 2


def test_staves_follow_another_marking_when_asked(client_of, teacher, work, trill, boat, marking):
    client = client_of(teacher)
    other = make_marking(boat, teacher, (), name="Nothing marked", origin="own")
    change_marking(work, other, at=AT, reason="clean")
    assert "another marking" in page(client, work).content.decode()
    client.post(reverse("steps_marking", args=[work.pk]))
    trill.refresh_from_db()
    assert trill.recipe["marking"] == marking.pk  # without a trill there is no such stave: it stays
    add(client, work, kind="slow")
    assert work.steps.order_by("-position").first().recipe["marking"] == other.pk


# ---- the sheet


def test_staves_stand_under_their_steps_on_the_sheet(work, student, marking):
    add_step(work, StepPlan("Without ornaments", 42, 46, 2, recipe("bare", marking) | {"bars": [14, 15]}))
    add_step(
        work, StepPlan("The shift alone", recipe=recipe("shift", marking, at="b12n3"), focus="thumb too", days="02")
    )
    add_step(work, StepPlan("Sing it"))
    content = draft_content(student, None, at=AT)
    assert content.from_json(content.as_json()) == content
    from lessons.sheet_drawing import draw_item

    drawn = draw_item(content, content.items[0], 1)
    assert [[(s.number, s.half, len(s.systems)) for s in row] for row in drawn.rows] == [
        [(1, True, 1), (2, True, 1)], [(3, False, 0)],
    ]  # fmt: skip
    text = "".join(p.extract_text() for p in PdfReader(BytesIO(make_pages(content).pdf)).pages)
    assert "thumb too" in text
    assert "Mon, Wed" in text


def test_an_item_that_goes_on_overleaf_repeats_its_title_there(work, student, marking):
    student.staff_height = 11
    student.save()
    for kind in ("bare", "slow", "right hand", "pizzicato", "warm-up"):
        add_step(work, StepPlan(f"Step {kind}", recipe=recipe(kind, marking)))
    pages = PdfReader(BytesIO(make_pages(draft_content(student, None, at=AT)).pdf)).pages
    assert len(pages) > 1
    assert "continued" not in pages[0].extract_text()
    assert all("1. Evening Boat: The return, continued" in page.extract_text() for page in pages[1:])


def test_an_item_that_begins_a_page_has_only_its_own_title(work, student, marking, teacher, passage):
    for _ in range(5):
        add_step(work, StepPlan("A stave", recipe=recipe("slow", marking) | {"bars": [9, 11]}))
    assign(student, begun=DAY, passage=passage)
    pages = PdfReader(BytesIO(make_pages(draft_content(student, None, at=AT)).pdf)).pages
    texts = [page.extract_text() for page in pages]
    assert len(texts) == 2
    assert "2. Mill Stream: Opening" in texts[1]
    assert "Mill Stream: Opening, continued" not in "".join(texts)


def test_a_stave_that_can_not_be_made_leaves_its_words(work, student, marking):
    step = add_step(work, StepPlan("The shift", recipe=recipe("shift", marking, at="b9n1")))
    assert step_stave(step) is None
    text = "".join(
        p.extract_text() for p in PdfReader(BytesIO(make_pages(draft_content(student, None, at=AT)).pdf)).pages
    )
    assert "The shift" in text


def test_queries_do_not_grow_with_the_steps(client_of, teacher, work, marking):
    client = client_of(teacher)
    page(client, work)
    for number in range(2):
        add_step(work, StepPlan(f"Step {number}", recipe=recipe("slow", marking) | {"bars": [9 + number, 12]}))
    with CaptureQueriesContext(connection) as few:
        page(client, work)
    for number in range(6):
        add_step(work, StepPlan(f"More {number}", recipe=recipe("slow", marking) | {"bars": [9, 10 + number]}))
    with CaptureQueriesContext(connection) as many:
        page(client, work)
    assert len(many) == len(few)


# ---- policy

GETS = ["steps", "step"]
POSTS = [
    "step_add", "steps_order", "steps_minutes", "steps_marking", "step_set_keep", "step_set_use", "step_look",
    "step_place", "step_set_remove", "phrase",
]  # fmt: skip


def address(name, work, step, kept, phrase):
    of_one_step = name in ("step", "step_look", "step_place")
    of = {"step_set_remove": kept, "phrase": phrase}.get(name, step if of_one_step else work)
    return reverse(name, args=[of.pk])


@pytest.mark.parametrize("name", GETS + POSTS)
def test_only_the_teacher_reaches_them(client_of, colleague, stranger, teacher, work, trill, name, client):
    kept = StepSet.objects.create(teacher=teacher, name="Mine", steps=[])
    phrase = Phrase.objects.create(teacher=teacher, text="Mine")
    url = address(name, work, trill, kept, phrase)
    for person in (colleague, stranger):
        visitor = client_of(person)
        assert (visitor.get(url) if name in GETS else visitor.post(url)).status_code == 404
    assert (client.get(url) if name in GETS else client.post(url)).status_code == 302
    assert "sign-in" in (client.get(url) if name in GETS else client.post(url)).url
    wrong = client_of(teacher).put(url)
    assert wrong.status_code == 405
    if name in POSTS:
        assert client_of(teacher).get(url).status_code == 405


def test_another_teachers_set_is_not_used(client_of, teacher, colleague, work):
    theirs = StepSet.objects.create(teacher=colleague, name="Theirs", steps=[{"text": "x"}])
    assert client_of(teacher).post(reverse("step_set_use", args=[work.pk]), {"set": theirs.pk}).status_code == 404
    assert client_of(teacher).post(reverse("step_set_use", args=[work.pk]), {"set": "x"}).status_code == 404


def test_a_piece_without_notation_takes_steps_in_words(client_of, teacher, student):
    piece = Piece.objects.create(teacher=teacher, title="Book Two", composer="Ada Fell")
    plain = assign(student, begun=DAY, piece=piece, bars="1-8")
    client = client_of(teacher)
    assert "steps in words can be written for any piece" in page(client, plain).content.decode()
    add(client, plain, text="Slowly")
    add(client, plain, kind="slow")
    assert texts(plain) == ["Slowly"]


def test_work_faster_than_its_goal_still_takes_steps_and_other_staves(client_of, teacher, work, lesson):
    """The goal is 52; the lesson heard 56."""
    client = client_of(teacher)
    add(client, work, text="Sing the top notes")
    step = work.steps.get()
    observing.observe(lesson, work, at=AT, tempo=56)
    observing.observe(lesson, work, step=step, at=AT, tempo=56)
    add(client, work, text="In one breath")
    added = work.steps.get(text="In one breath")
    assert (added.tempo_now, added.tempo_goal) == (56, None)
    step.refresh_from_db()
    change_step(step, replace(plan_now(step), focus="breath"), on=DAY)
    assert (step.focus, step.tempo_now, step.tempo_goal) == ("breath", 56, 52)
    with pytest.raises(AssignError, match="goal"):
        change_step(step, replace(plan_now(step), tempo_goal=54), on=DAY)
