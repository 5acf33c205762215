"""A teacher's flags on notes lead the tuning care on the pages of a passage."""

from __future__ import annotations

import re
from datetime import UTC, datetime

import pytest

from lessons import assigning, observing
from repertoire.flags import flags_of
from repertoire.markings import printed_marking
from tests.lessons.conftest import make_passage

pytestmark = pytest.mark.django_db
AT = datetime(2026, 11, 25, 16, tzinfo=UTC)


def test_flags_of_the_student_chosen_come_first(client_of, teacher, student, lesson):
    passage = make_passage(teacher, notes="B4 h E5 h | A4 h D4 h")
    marking = printed_marking(passage, teacher)
    given = assigning.assign(student, begun=AT.date(), passage=passage, marking=marking)
    observing.flag(lesson, given, at=AT, address="b2n2", theme="intonation", text="against the open D")
    assert flags_of(passage, student) == (("b2n2", "against the open D"),)
    assert flags_of(passage, None) == ()
    client = client_of(teacher)
    url = f"/repertoire/passages/{passage.pk}?under=hand"
    assert "against the open D" not in client.get(url).content.decode()
    page = client.get(f"{url}&hand_for={student.pk}").content.decode()
    care = re.sub(r"<[^>]+>", " ", page.split("Tuning care")[1])
    assert re.match(r"\s*flagged\s+Bar 2, beat 3\s*, D4: against the open D", care)
