"""Who works on a piece or passage, and who uses a marking, for the pages of the repertoire.

The repertoire knows no students, so its templates ask here, once for a whole list:

    {% load who %}
    {% who_uses markings as users %}                 one query for all of them
    {% for marking in markings %}{% names users marking %}{% endfor %}

`who_works_on` takes pieces or passages (one, or a list). `names` links each first name to
the student's page and says nothing when there is nobody.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import template
from django.db import models
from django.urls import reverse
from django.utils.html import format_html_join
from django.utils.safestring import SafeString

from lessons import queries
from lessons.models import Assignment
from repertoire.models import Marking, Passage, Piece
from repertoire.technique.marks import Aspect
from studio.models import Student, Teacher

register = template.Library()


def _listed(things: Any) -> list[Any]:
    return [things] if isinstance(things, models.Model) else list(things or ())


def _teacher(context: template.Context) -> Teacher:
    """Whose page it is: nobody else's students are named."""
    teacher = context["user"]
    assert isinstance(teacher, Teacher)
    return teacher


@register.simple_tag(name="who_uses", takes_context=True)
def who_uses(context: template.Context, markings: Marking | Iterable[Marking]) -> dict[int, list[Student]]:
    return queries.who_uses(_listed(markings), _teacher(context))


@register.simple_tag(name="who_works_on", takes_context=True)
def who_works_on(context: template.Context, things: Any) -> dict[int, list[Student]]:
    listed = _listed(things)
    if listed and isinstance(listed[0], Passage):
        return queries.who_works_on_passages(listed, _teacher(context))
    if listed and not isinstance(listed[0], Piece):
        raise template.TemplateSyntaxError("who_works_on takes pieces or passages.")
    return queries.who_works_on_pieces(listed, _teacher(context))


@register.simple_tag(takes_context=True)
def who_shares(context: template.Context, marking: Marking, aspect: str) -> list[Student]:
    """The teacher's students whose marking agrees with this one in "bow", "left hand" or "words"."""
    return queries.who_shares(marking, Aspect(aspect), _teacher(context))


@register.simple_tag(takes_context=True)
def could_use(context: template.Context, marking: Marking) -> list[Assignment]:
    """The teacher's students' work on this passage that has another marking: it could use this one."""
    return queries.could_use(marking, _teacher(context))


@register.filter
def of(found: dict[int, list[Student]], thing: models.Model) -> list[Student]:
    """{{ users|of:marking }}: the students listed for one marking, piece or passage."""
    return found.get(thing.pk, []) if found else []


@register.simple_tag
def names(found: dict[int, list[Student]], thing: models.Model) -> SafeString:
    return format_html_join(
        ", ", '<a href="{}">{}</a>', ((reverse("student", args=[s.pk]), s.first_name) for s in of(found, thing))
    )
