"""Where a part prints no tempo, the bow is read at the tempo a student plays the passage at."""

from __future__ import annotations

import re
from datetime import UTC, datetime

import pytest

from lessons import assigning
from repertoire.markings import printed_marking
from repertoire.working_tempo import working_tempo
from tests.lessons.conftest import make_passage

pytestmark = pytest.mark.django_db
AT = datetime(2026, 11, 25, 16, tzinfo=UTC)


def summary(client, passage, more=""):
    page = client.get(f"/repertoire/passages/{passage.pk}?under=bow{more}").content.decode()
    return re.sub(r"<[^>]+>", " ", page.split("data-bow-summary")[1])[:120]


def test_the_tempo_of_the_work_counts_where_none_is_printed(client_of, teacher, student):
    passage = make_passage(teacher, notes="B4 h E5 h | A4 h D4 h")
    client = client_of(teacher)
    assert "Crotchet = 80 (none is printed)" in summary(client, passage)
    assert working_tempo(passage) is None
    given = assigning.assign(student, begun=AT.date(), passage=passage, marking=printed_marking(passage, teacher))
    given.tempo_now, given.tempo_unit = 54, "half"
    given.save()
    assert f"Crotchet = 108 (none is printed; as {student.first_name} plays it)" in summary(client, passage)
    # What is asked for beside the strip stands above it.
    assert "Crotchet = 90:" in summary(client, passage, "&bow=1&tempo=90")
    assigning.end(given, on=AT.date())
    assert working_tempo(passage) is None
