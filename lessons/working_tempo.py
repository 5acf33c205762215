"""The tempo of a student's work, for the bow on the pages of the repertoire."""

from __future__ import annotations

from lessons.models import Assignment
from repertoire.models import Passage
from repertoire.notation.playing import unit_quarters
from repertoire.working_tempo import WorkingTempo, register


@register
def assigned_tempo(passage: Passage) -> WorkingTempo | None:
    """The tempo now of the work last begun on a passage by a student of its teacher."""
    work = (
        Assignment.objects.filter(
            passage=passage, student__teacher=passage.teacher_id, ended=None, tempo_now__isnull=False
        )
        .select_related("student")
        .order_by("-begun", "-pk")
        .first()
    )
    if work is None or work.tempo_now is None:
        return None
    return WorkingTempo(work.tempo_now * unit_quarters(work.tempo_unit), work.student.first_name)
