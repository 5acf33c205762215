"""The studio's words: sentences of the program, British or American; what people wrote stays."""

from __future__ import annotations

import pytest
from django.template import Context, Template

from studio.terms import AMERICAN, BRITISH, worded


@pytest.mark.parametrize(
    "written, british, american",
    [
        ("Bar 3 is longer than a bar.", "Bar 3 is longer than a bar.", "Measure 3 is longer than a measure."),
        ("bars 1–4, frog to tip", "bars 1–4, heel to point", "measures 1–4, frog to tip"),
        ("2 quarter notes in a stave", "2 crotchets in a stave", "2 quarter notes in a staff"),
        ("A barline, or bar line, ends it.", "A barline, or bar line, ends it.", "A barline, or bar line, ends it."),
        ("“Four Bars of Frog” has 8 bars.", "“Four Bars of Frog” has 8 bars.", "“Four Bars of Frog” has 8 measures."),
        ("to practise", "to practise", "to practice"),
    ],
)
def test_a_sentence_in_either_use(written, british, american):
    assert worded(written, BRITISH) == british
    assert worded(written, AMERICAN) == american


def test_only_the_text_of_a_page_is_changed():
    page = (
        '{% load words %}{% in_words %}<a class="bar" href="/bar" aria-label="bar 3" title="bar">bar {{ n }}</a>'
        "{% end_in_words %}{% worded wrong %}"
    )
    shown = Template(page).render(Context({"terms": AMERICAN, "n": 3, "wrong": "<b> has no bar 9"}))
    assert shown == (
        '<a class="bar" href="/bar" aria-label="measure 3" title="bar">measure 3</a>&lt;b&gt; has no measure 9'
    )


def test_pages_of_an_american_studio_speak_of_measures(client_of, teacher):
    studio = teacher.studio
    studio.terms = "american"
    studio.save()
    answer = client_of(teacher).post("/repertoire/new", {"title": "Ferry", "bars": "many"})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "measures" in page
    assert ">Number of bars<" not in page
