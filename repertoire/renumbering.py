"""Bar numbers set by the teacher: a movement whose file counts on from the one before begins at 1, as printed.

Passages are cut by printed numbers and never change, so numbers are set before the first of them is made. The
movement is then stored afresh with its new numbers; a note list never changes either.
"""

from __future__ import annotations

import re
from dataclasses import replace

from django.db import transaction

from repertoire.excerpts import movement_notes
from repertoire.models import FormerMovement, Movement, Passage, PictureUpload, Revision
from repertoire.notation.storing import line_to_json
from repertoire.technique.line import Line

HIGHEST = 9_999
_NUMBER = re.compile(r"(\d+)(\D*)")
_LISTED = re.compile(r"\d+(?!\d| more)")


class RenumberError(Exception):
    """Why bars can't be numbered afresh; the message is for the teacher."""


def first_number(line: Line) -> int:
    """The printed number of the first whole bar, 1 where none has a number."""
    whole = (bar.number for bar in line.bars if not bar.missing and bar.number.isdecimal())
    return next((int(number) for number in whole), 1)


def shifted(line: Line, by: int) -> Line:
    """The line with every printed number moved on; what isn't a number stays."""

    def number(told: str) -> str:
        found = _NUMBER.fullmatch(told)
        return f"{max(0, int(found[1]) + by)}{found[2]}" if found else told

    return replace(line, bars=tuple(replace(bar, number=number(bar.number)) for bar in line.bars))


def renumber(movement: Movement, first: int) -> Movement:
    """The movement with its first whole bar numbered `first`, in place of the one there was. Raises
    RenumberError once something points at it, and for a number that can't be printed."""
    if not movement.notated:
        raise RenumberError("Without notation the bars are numbered as you write them.")
    if not 1 <= first <= HIGHEST:
        raise RenumberError(f"Bars are numbered from 1 to {HIGHEST:,}.")
    with transaction.atomic():
        # Locked, so that no passage is cut meanwhile by the numbers that go.
        revision = Revision.objects.select_for_update().get(pk=movement.revision_id)
        if (
            Passage.objects.filter(movement=movement).exists()
            or PictureUpload.objects.filter(movement=movement).exists()
        ):
            raise RenumberError(
                "Passages are made with these numbers already. Read the file again as a newer one, and number its "
                "bars before you carry the passages over."
            )
        line, _ = movement_notes(movement)
        by = first - first_number(line)
        fresh = Movement(revision=revision, number=movement.number, title=movement.title, bar_count=movement.bar_count)
        fresh.line, fresh.printed = line_to_json(shifted(line, by)), movement.printed
        FormerMovement.objects.create(former=movement.pk, revision=revision, number=movement.number)
        movement.delete()
        fresh.save()
        revision.left_out = [
            {**told, "bar": _LISTED.sub(lambda n: str(max(0, int(n[0]) + by)), told["bar"])}
            if told["movement"] == movement.number else told
            for told in revision.left_out
        ]  # fmt: skip
        revision.save(update_fields=["left_out"])
    return fresh
