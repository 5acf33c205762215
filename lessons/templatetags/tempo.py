"""Tempo in words on a page: "crotchet = 66", in the studio's own names of the beat units."""

from __future__ import annotations

from collections.abc import Mapping

from django import template

from lessons.tempo import faster, slower, unit_words

register = template.Library()


@register.simple_tag(takes_context=True)
def beat_unit(context: template.Context, unit: str) -> str:
    terms: Mapping[str, str] = context.get("terms") or {}
    return unit_words(unit, terms)


register.filter("faster", faster)
register.filter("slower", slower)
