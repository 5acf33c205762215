"""Words that belong to a dynamic: which they are, and whether they are read before it or after it.

"poco f", "più p", "sempre pp", but "f dolce", "p subito": words that measure the dynamic lead it,
others follow, unless the mark itself says otherwise (its option `order`).
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from .marks import Kind, Mark

# Words that say how much of what follows: "poco f", "più p", "sempre pp", "non troppo f".
_LEADS = re.compile(
    r"^(?:(?:una?|poco|pochissimo|più|piu|meno|sempre|molto|assai|tanto|troppo|quasi|non|ancora|subito|tutto|sehr"
    r"|etwas|noch|immer|nicht|zu|plus|moins|très|toujours|peu|always|more|less|very)(?:[\s.,]+|$))+$",
    re.I,
)
_AFTER_ALONE = re.compile(r"^(?:assai|subito|tanto)$", re.I)  # "f assai", "p subito"


def leads(words: str) -> bool:
    """True for words read before a dynamic ("poco", "più"), False for those after it ("dolce", "ma non troppo")."""
    return bool(_LEADS.match(words.strip())) and not _AFTER_ALONE.match(words.strip())


def is_before(mark: Mark) -> bool:
    """Whether words that stand with a dynamic are read before it."""
    return mark.option("order", "before" if leads(mark.value) else "after") == "before"


def of_a_dynamic(mark: Mark) -> bool:
    """Whether words at the place of a dynamic are read with it, on one line: those below, and all that lead it."""
    return mark.option("place") == "below" or bool(mark.option("order")) or leads(mark.value)


def measuring(marks: Iterable[Mark]) -> frozenset[Mark]:
    """The words that lead a dynamic which stands at the same place: without them it would say something else."""
    found = tuple(marks)
    places = {(m.at, m.option("after")) for m in found if m.kind is Kind.DYNAMIC}
    return frozenset(
        m
        for m in found
        if m.kind is Kind.TEXT and leads(m.value) and is_before(m) and (m.at, m.option("after")) in places
    )
