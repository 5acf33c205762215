"""Sentences of the program in the studio's words, British or American:

{% load words %}
{% in_words %}<p>Bar 3 is shorter than a bar.</p>{% end_in_words %}
{% worded message %}

Only text between tags and what a screen reader says instead (aria-label, alt) is changed, never other
attributes. Keep what people wrote out of it: their words stay as they are only in “quotation marks”.
"""

from __future__ import annotations

import re
from typing import Any

from django import template
from django.utils.html import conditional_escape
from django.utils.safestring import SafeString, mark_safe

from studio.terms import terms_for, worded

register = template.Library()
_TEXT = re.compile(r'(?<=>)[^<>]+(?=<|$)|^[^<>]+(?=<|$)|(?<=aria-label=")[^"]*|(?<=alt=")[^"]*')


def put_in_words(html: str, terms: Any) -> str:
    """A piece of a page with its text in the studio's words."""
    return _TEXT.sub(lambda text: worded(text[0], terms), html)


def _terms(context: template.Context) -> Any:
    return context.get("terms") or terms_for("british")


@register.simple_block_tag(takes_context=True, end_name="end_in_words")
def in_words(context: template.Context, content: str) -> SafeString:
    return mark_safe(put_in_words(content, _terms(context)))


@register.simple_tag(takes_context=True, name="worded")
def in_studios_words(context: template.Context, text: Any) -> SafeString:
    return mark_safe(put_in_words(conditional_escape(text), _terms(context)))
