"""The trade's words in British or American use, chosen in the studio's settings.

Templates say `{{ terms.bar }}`; code says `terms_for(studio)["bar"]`.
"""

from __future__ import annotations

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
