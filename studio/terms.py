"""The trade's words in British or American use, chosen in the studio's settings.

Templates say `{{ terms.bar }}`; code says `terms_for(studio)["bar"]`. Sentences the program makes
are written with the words of `_WRITTEN` and put into the studio's by `worded`, on pages by
`{% load words %}{% in_words %}…{% end_in_words %}`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

BRITISH = {
    "bar": "bar", "bars": "bars", "Bar": "Bar", "Bars": "Bars", "staff": "stave", "frog": "heel", "tip": "point",
    "etude": "study", "practise": "practise", "practice": "practice", "term": "term", "invoice": "fee note",
    "whole": "semibreve", "half": "minim", "quarter": "crotchet", "eighth": "quaver", "16th": "semiquaver",
    "32nd": "demisemiquaver",
}  # fmt: skip
AMERICAN = {
    "bar": "measure", "bars": "measures", "Bar": "Measure", "Bars": "Measures", "staff": "staff", "frog": "frog",
    "tip": "tip", "etude": "étude", "practise": "practice", "practice": "practice", "term": "semester",
    "invoice": "invoice", "whole": "whole note", "half": "half note", "quarter": "quarter note",
    "eighth": "eighth note", "16th": "16th note", "32nd": "32nd note",
}  # fmt: skip


def terms_for(use: str) -> Mapping[str, str]:
    """The words of "british" or "american" use."""
    return AMERICAN if use == "american" else BRITISH


# The words sentences are written with, and the term each stands for.
_WRITTEN = {
    "bar": "bar", "bars": "bars", "frog": "frog", "tip": "tip", "stave": "staff", "practise": "practise",
    "quarter note": "quarter",
}  # fmt: skip
_WORD = re.compile(
    r"(“[^”]*”)|\b(quarter note(?=s?\b)|(?:bars?|frog|tip|stave|practise)\b)(?! ?lines?\b)", re.IGNORECASE
)


def worded(text: str, terms: Mapping[str, str]) -> str:
    """A sentence of the program in the studio's words. What stands in “quotation marks” is somebody's own and stays."""

    def word(found: re.Match[str]) -> str:
        if found[1]:
            return found[1]
        term = terms.get(_WRITTEN[found[2].lower()], found[2])
        return term[0].upper() + term[1:] if found[2][0].isupper() else term

    return _WORD.sub(word, text)
