"""On the marking page: what can't be played, with the nearest possible on a button of its own."""

import html
import re

import pytest

from repertoire.markings import make_marking
from repertoire.models import Draft
from repertoire.technique.marks import Kind, Mark
from tests.repertoire.test_left_hand_pages import make_passage, plain
from tests.technique.lines import line

pytestmark = pytest.mark.django_db
STUDY = line("4/4", "alto", "C3 q D3 q E3 q F3 q | G3 h C3 h")


@pytest.fixture
def passage(teacher):
    return make_passage(teacher, STUDY)


def change(client, passage, *, start="", **given):
    return client.post(f"/repertoire/passages/{passage.pk}/mark/change", {"state": "0", "from": start, **given})


def hand_marks(draft):
    return {(m["kind"], m["at"], m["value"]) for m in draft.marks["marks"] if m["kind"] in ("finger", "string")}


def offered(answer):
    """The button that writes the nearest possible: its value and its words."""
    found = re.search(r'value="((?:mend|nearest):[^"]*)"[^>]*>([^<]*)</button>', answer.content.decode())
    return (html.unescape(found[1]), html.unescape(found[2])) if found else None


def test_what_cannot_be_played_is_mended_by_one_undoable_change(passage, client_of, teacher):
    kept = make_marking(passage, teacher, (Mark(Kind.FINGER, "b1n2", "4"),), name="X", origin="own")
    client = client_of(teacher)
    page = client.get(f"/repertoire/passages/{passage.pk}/mark?from={kept.pk}")
    assert "Bar 1, beat 2: Finger 4 can’t take D3: it would lie behind the nut." in plain(page.content.decode())
    what, words = offered(page)
    assert words == "Write finger 1 on IV, 1st position"
    answer = change(client, passage, start=kept.pk, what=what)
    assert answer.status_code == 302
    draft = Draft.objects.get()
    assert hand_marks(draft) == {("finger", "b1n2", "1"), ("string", "b1n2", "IV")}
    assert "Can’t be played as marked" not in client.get(f"/repertoire/passages/{passage.pk}/mark").content.decode()
    change(client, passage, what="undo", state=f"{draft.pk}.{draft.revision}")
    draft.refresh_from_db()
    assert hand_marks(draft) == {("finger", "b1n2", "4")}


def test_a_refused_finger_comes_with_the_nearest_possible(passage, client_of, teacher):
    client = client_of(teacher)
    for headers in ({}, {"X-Requested-With": "fetch"}):
        refused = client.post(
            f"/repertoire/passages/{passage.pk}/mark/change",
            {"state": "0", "from": "blank", "what": "finger=4", "first": "b1n2"},
            headers=headers,
        )
        assert refused.status_code == 422
        assert not Draft.objects.exists()
        what, words = offered(refused)
        assert words == "Write finger 1 on IV, 1st position"
    assert change(client, passage, start="blank", what=what).status_code == 302
    assert hand_marks(Draft.objects.get()) == {("finger", "b1n2", "1"), ("string", "b1n2", "IV")}


def test_what_has_no_nearest_has_no_button(passage, client_of, teacher):
    client = client_of(teacher)
    assert offered(change(client, passage, start="blank", what="slur=", first="b1n2")) is None
    impossible = make_passage(teacher, line("4/4", "alto", "C3+E3 w"), title="Both on one string")
    page = client.get(f"/repertoire/passages/{impossible.pk}/mark?from=blank")
    assert "C3 and E3 both lie on string IV only." in plain(page.content.decode())
    assert offered(page) is None


def test_from_an_old_page_nothing_is_mended(passage, client_of, teacher):
    kept = make_marking(passage, teacher, (Mark(Kind.FINGER, "b1n2", "4"),), name="X", origin="own")
    client = client_of(teacher)
    assert change(client, passage, start=kept.pk, what="mend:1:b1n2", state="9.9").status_code == 409
    gone = change(client, passage, start=kept.pk, what="mend:1:b1n3")
    assert gone.status_code == 422
    assert "not in the way any more" in gone.content.decode()
    assert change(client, passage, start="blank", what="nearest:b9n9:finger=4").status_code == 422
    assert not Draft.objects.exists()


def test_other_teachers_cannot_mend(passage, client_of, colleague, stranger):
    for other in (colleague, stranger):
        assert change(client_of(other), passage, what="mend:1:b1n2").status_code == 404


def test_a_kept_version_leads_to_its_draft(passage, client_of, teacher):
    kept = make_marking(passage, teacher, (Mark(Kind.FINGER, "b1n2", "4"),), name="X", origin="own")
    page = client_of(teacher).get(f"/repertoire/markings/{kept.pk}?under=hand").content.decode()
    assert f'href="/repertoire/passages/{passage.pk}/mark?from={kept.pk}">Mark the nearest possible' in page
