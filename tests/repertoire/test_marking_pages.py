"""The marking page and the page of a version, as policy: owner, colleague, stranger, nobody."""

import json
import re

import pytest

from repertoire import drafts
from repertoire.markings import make_marking, marks_of, printed_marking
from repertoire.models import Draft, Marking
from repertoire.technique.marks import Kind, Mark, dump, load
from tests.repertoire.marking_passages import make_passage
from tests.technique.lines import marks

pytestmark = pytest.mark.django_db
FETCH = {"X-Requested-With": "fetch"}


@pytest.fixture
def passage(teacher):
    return make_passage(teacher)


@pytest.fixture
def version(passage, teacher):
    first = printed_marking(passage, teacher)
    return make_marking(
        passage, teacher, (*marks_of(first), *marks("up b1n3")), name="Lighter", origin="own", parent=first
    )


@pytest.fixture
def client(client_of, teacher):
    return client_of(teacher)


def paths(passage, version):
    start = f"/repertoire/passages/{passage.pk}"
    one = f"/repertoire/markings/{version.pk}"
    return {
        f"{start}/mark": {"get"},
        f"{start}/mark/change": {"post"},
        f"{start}/mark/keep": {"get", "post"},
        f"{start}/mark/discard": {"get", "post"},
        one: {"get"},
        f"{one}/changes": {"get"},
        f"{one}/delete": {"post"},
    }


def test_who_may_come(passage, version, client_of, colleague, stranger, client):
    for path, methods in paths(passage, version).items():
        for method in methods:
            for other in (colleague, stranger):
                assert getattr(client_of(other), method)(path).status_code == 404, path
        for wrong in {"get", "post"} - methods:
            assert getattr(client, wrong)(path).status_code == 405, path
        assert client.put(path).status_code == 405, path


def test_nobody_is_sent_to_sign_in(passage, version, client):
    client.logout()
    for path, methods in paths(passage, version).items():
        for method in methods:
            answer = getattr(client, method)(path)
            assert (answer.status_code, answer.url.partition("?")[0]) == (302, "/sign-in"), path


def change(client, passage, what, first="", last="", state="0", fetch=True, **fields):
    sent = {"what": what, "first": first, "last": last, "state": state, **fields}
    return client.post(f"/repertoire/passages/{passage.pk}/mark/change", sent, headers=FETCH if fetch else {})


def drafted():
    return load(Draft.objects.get().marks)


def state_in(answer):
    return re.search(r'name="state" value="([^"]+)"', answer.content.decode())[1]


def test_the_page_names_its_notes(passage, client):
    page = client.get(f"/repertoire/passages/{passage.pk}/mark").content.decode()
    picks = re.findall(r'role="option"[^>]*data-address="(\w+)"[^>]*><span class="visually-hidden">([^<]+)', page)
    assert picks[0] == ("b1n1", "bar 1, first note, G3, slur begins, piano")
    assert [a for a, _ in picks] == ["b1n1", "b1n2", "b1n3", "b1n4", "b2n1p1", "b2n1p2", "b2n1p3", "b2n2", "b2n3"]
    assert not Draft.objects.exists()


def test_a_change_by_script_gives_the_picture_the_list_and_the_state(passage, client):
    answer = change(client, passage, "bow=up", "b1n3")
    text = answer.content.decode()
    assert answer.status_code == 200
    assert re.findall(r'id="([\w-]+)"[^>]* data-part', text) == [
        "mark-systems",
        "mark-bar",
        "mark-gave-way",
        "mark-list",
        "mark-in-the-way",
    ]
    assert "bar 1, third note, B3, up-bow" in text
    assert Mark(Kind.BOW, "b1n3", "up") in drafted()


def test_changes_follow_one_another_undo_and_redo(passage, client):
    one = change(client, passage, "bow=up", "b1n3")
    two = change(client, passage, "slur=", "b1n3", "b1n4", state=state_in(one))
    assert set(marks("up b1n3", "slur b1n3 b1n4")) <= set(drafted())
    back = change(client, passage, "undo", state=state_in(two))
    assert Mark(Kind.SLUR, "b1n3", "", "b1n4") not in drafted()
    change(client, passage, "redo", state=state_in(back))
    assert Mark(Kind.SLUR, "b1n3", "", "b1n4") in drafted()


def test_removing_by_selection_and_by_name(passage, client):
    one = change(client, passage, "bow=up", "b1n3")
    two = change(client, passage, "rub-out", "b1n3", state=state_in(one))
    assert set(drafted()) == set(marks("slur b1n1 b1n2", "p b1n1"))
    gone = json.dumps({"kind": "slur", "at": "b1n1", "to": "b1n2"})
    change(client, passage, f"take:{gone}", state=state_in(two))
    assert drafted() == marks("p b1n1")


EVERY_KIND = {
    "bow=down": Mark(Kind.BOW, "b1n3", "down"),
    "retake=": Mark(Kind.RETAKE, "b1n3"),
    "slur=dashed": Mark(Kind.SLUR, "b1n3", "dashed", "b1n4"),
    "hook=portato": Mark(Kind.HOOK, "b1n3", "portato", "b1n4"),
    "amount=1/2": Mark(Kind.AMOUNT, "b1n3", "1/2"),
    "part=upper half": Mark(Kind.PART, "b1n3", "upper half"),
    "articulation=tenuto": Mark(Kind.ARTICULATION, "b1n3", "tenuto"),
    "pizzicato=pizz": Mark(Kind.PIZZICATO, "b1n3", "pizz"),
    "finger=2": Mark(Kind.FINGER, "b1n3", "2"),
    "string=III": Mark(Kind.STRING, "b1n3", "III"),
    "extension=back": Mark(Kind.EXTENSION, "b1n3", "back"),
    "harmonic=artificial": Mark(Kind.HARMONIC, "b1n3", "artificial"),
    "slide=start": Mark(Kind.SLIDE, "b1n3", "start", "b1n4"),
    "hold=": Mark(Kind.HOLD, "b1n1", "", "b2n1p2"),  # G3 until G3 in the chord
    "vibrato=none": Mark(Kind.VIBRATO, "b1n3", "none"),
    "ornament=turn": Mark(Kind.ORNAMENT, "b1n3", "turn"),
    "dynamic=mf": Mark(Kind.DYNAMIC, "b1n3", "mf"),
    "hairpin=crescendo": Mark(Kind.HAIRPIN, "b1n3", "crescendo", "b1n4"),
    "phrase=": Mark(Kind.PHRASE, "b1n3", "", "b1n4"),
    "high point=": Mark(Kind.HIGH_POINT, "b1n3"),
    "octave=8va": Mark(Kind.OCTAVE, "b1n3", "8va", "b1n4"),
    "fermata=": Mark(Kind.FERMATA, "b1n3"),
}


def test_the_list_below_names_every_kind_but_words():
    assert {m.kind for m in EVERY_KIND.values()} == set(Kind) - {Kind.TEXT}


@pytest.mark.parametrize("what, expected", EVERY_KIND.items(), ids=list(EVERY_KIND))
def test_every_kind_can_be_set_removed_and_is_on_the_page(passage, client, what, expected):
    page = client.get(f"/repertoire/passages/{passage.pk}/mark?from=blank").content.decode()
    assert f'value="{what}"' in page
    one = change(client, passage, what, expected.at, expected.to, **{"from": "blank"})
    assert one.status_code == 200, one.content.decode()
    assert drafted() == (expected,)
    change(client, passage, what, expected.at, expected.to, state=state_in(one))
    assert drafted() == ()


def test_a_string_and_vibrato_over_a_range(passage, client):
    one = change(client, passage, "string=III", "b1n3", "b1n4", **{"from": "blank"})
    change(client, passage, "vibrato=vibrato", "b1n1", "b1n4", state=state_in(one))
    assert set(drafted()) == {
        Mark(Kind.STRING, "b1n3", "III", "b1n4"),
        Mark(Kind.VIBRATO, "b1n1", "vibrato", "b1n4"),
    }


def test_words_a_share_a_substitution_and_an_ornament_with_how_it_is_played(passage, client):
    one = change(client, passage, "text=", "b1n1", **{"from": "blank", "text": "like a bell", "text_place": "below"})
    two = change(client, passage, "share=", "b1n2", state=state_in(one), share="2/5")
    three = change(client, passage, "substitution=", "b1n3", state=state_in(two), substitution="2-1")
    change(
        client, passage, "ornament=trill", "b1n4", state=state_in(three),
        ornament_start="upper", ornament_close="yes", ornament_fingers="2 1 2",
    )  # fmt: skip
    assert set(drafted()) == {
        Mark(Kind.TEXT, "b1n1", "like a bell", options=(("place", "below"),)),
        Mark(Kind.AMOUNT, "b1n2", "2/5"),
        Mark(Kind.FINGER, "b1n3", "2-1"),
        Mark(Kind.ORNAMENT, "b1n4", "trill", options=(("start", "upper"), ("close", "yes"), ("fingers", "2-1-2"))),
    }


@pytest.mark.parametrize(
    "what, first, last, fields, words",
    [
        ("string=I", "b1n1", "", {}, "Bar 1, beat 1"),
        ("phrase=", "b1n3", "", {}, "needs a first and a last note"),
        ("slur=", "b2n1", "", {}, "a rest follows here"),
        ("slur=", "b1n3", "b2n2", {}, "rest (bar 2, beat 3)"),
        ("finger=1", "", "", {}, "Pick a note"),
        ("finger=7", "b1n1", "", {}, "is not a finger"),
        ("text=", "b1n1", "", {"text": " "}, "Write the words first"),
        ("share=", "b1n1", "", {"share": "3"}, "at most 1"),
        ("fields", "b1n1", "", {}, "Nothing was written"),
        ("nonsense=1", "b1n1", "", {}, "not a kind of mark"),
        ("take:{", "b1n1", "", {}, "can’t be read"),
        ("take:[]", "b1n1", "", {}, "can’t be read"),
        ("rub-out", "b1n4", "", {}, "No mark stands there"),
    ],
)
def test_refusals_say_why_and_write_nothing(passage, client, what, first, last, fields, words):
    for fetch in (True, False):
        answer = change(client, passage, what, first, last, fetch=fetch, **fields)
        assert answer.status_code == 422
        assert words in answer.content.decode()
    assert not Draft.objects.exists()


def test_without_script_a_change_posts_and_comes_back_to_the_note(passage, client):
    answer = change(client, passage, "finger=2", "b1n3", fetch=False)
    assert (answer.status_code, answer.url) == (302, f"/repertoire/passages/{passage.pk}/mark?first=b1n3")
    page = client.get(answer.url).content.decode()
    assert re.search(r'<option value="b1n3" selected>bar 1, third note, B3, finger 2</option>', page)


def test_another_page_is_noticed(passage, client):
    one = change(client, passage, "bow=up", "b1n3")
    change(client, passage, "finger=1", "b1n2", state=state_in(one))
    before = drafted()
    late = change(client, passage, "bow=down", "b1n1", state=state_in(one))
    assert late.status_code == 409
    assert "Open the draft again" in late.content.decode()
    assert change(client, passage, "bow=down", "b1n1", state=state_in(one), fetch=False).status_code == 409
    assert drafted() == before


def test_keeping(passage, client):
    state = state_in(change(client, passage, "bow=up", "b1n3"))
    path = f"/repertoire/passages/{passage.pk}/mark/keep"
    assert "up-bow on B3, added" in client.get(path).content.decode()
    assert client.post(path, {"state": state, "name": "", "origin": "own"}).status_code == 422
    assert client.post(path, {"state": "1.99", "name": "Mine", "origin": "own"}).status_code == 409
    answer = client.post(
        path, {"state": state, "name": "Mine", "origin": "edition", "reason": "lighter", "source": "an old print"}
    )
    made = Marking.objects.get(name="Mine")
    assert answer.url == f"/repertoire/markings/{made.pk}"
    assert (made.origin, made.reason, made.source, made.parent.origin) == (
        "edition",
        "lighter",
        "an old print",
        "printed",
    )
    assert client.get(path).url == f"/repertoire/passages/{passage.pk}/mark"


def test_discarding_asks_and_says_what_would_go(passage, client):
    state = state_in(change(client, passage, "bow=up", "b1n3"))
    path = f"/repertoire/passages/{passage.pk}/mark/discard"
    assert "up-bow on B3, added" in client.get(path).content.decode()
    assert Draft.objects.exists()
    assert client.post(path, {"state": "0"}).status_code == 409
    assert client.post(path, {"state": state}).status_code == 302
    assert not Draft.objects.exists()


def test_beginning_from_another_version_asks_first(passage, version, client, teacher):
    change(client, passage, "finger=2", "b1n3", **{"from": str(version.pk)})
    page = client.get(f"/repertoire/passages/{passage.pk}/mark?from=blank").content.decode()
    assert "There is a draft on this passage already, begun from “Lighter”" in page
    assert f"/repertoire/passages/{passage.pk}/mark/discard?from=blank" in page
    state = drafts.desk(passage, teacher).state
    answer = client.post(f"/repertoire/passages/{passage.pk}/mark/discard", {"state": state, "from": "blank"})
    assert answer.url == f"/repertoire/passages/{passage.pk}/mark?from=blank"


def test_a_piece_without_notation_has_nothing_to_mark(client, teacher):
    bare = make_passage(teacher, notated=False)
    for page in ("mark", "compare", "combine"):
        assert client.get(f"/repertoire/passages/{bare.pk}/{page}").url == f"/repertoire/passages/{bare.pk}"
    made = printed_marking(bare, teacher)
    assert client.get(f"/repertoire/markings/{made.pk}").status_code == 200
    assert client.get(f"/repertoire/markings/{made.pk}/changes").status_code == 200
    assert change(client, bare, "bow=up", "b1n1").status_code == 404
    for page in ("keep", "discard"):
        assert client.get(f"/repertoire/passages/{bare.pk}/mark/{page}").status_code == 404


def test_the_page_of_a_version(version, client):
    page = client.get(f"/repertoire/markings/{version.pk}").content.decode()
    assert "up-bow on B3, added" in page
    assert "Delete this version" in page
    assert client.post(f"/repertoire/markings/{version.pk}/delete").status_code == 302
    assert not Marking.objects.filter(pk=version.pk).exists()


def test_a_version_in_use_has_no_delete_button_and_stays(passage, version, client, teacher):
    child = make_marking(passage, teacher, (), name="Later", origin="own", parent=version)
    page = client.get(f"/repertoire/markings/{version.pk}").content.decode()
    assert "Delete this version" not in page
    assert "1 later version" in page
    client.post(f"/repertoire/markings/{version.pk}/delete")
    assert Marking.objects.filter(pk__in=[version.pk, child.pk]).count() == 2


def test_what_differs_from_a_chosen_version(passage, version, client, teacher):
    other = make_marking(passage, teacher, marks("down b1n3"), name="Other", origin="own")
    page = client.get(f"/repertoire/markings/{version.pk}/changes?with={other.pk}").content.decode()
    assert "up-bow on B3, was down-bow" in page
    elsewhere = printed_marking(make_passage(teacher, title="Elsewhere"), teacher)
    for wrong in (elsewhere.pk, "x", "99999999999999999999999"):
        assert client.get(f"/repertoire/markings/{version.pk}/changes?with={wrong}").status_code == 404


def test_stored_marks_have_a_format(passage, client):
    change(client, passage, "bow=up", "b1n3", **{"from": "blank"})
    assert (
        Draft.objects.get().marks
        == dump(marks("up b1n3"))
        == {
            "format": 1,
            "marks": [{"kind": "bow", "at": "b1n3", "value": "up"}],
        }
    )


def test_what_gives_way_to_a_slur_is_said(passage, client):
    longer = change(client, passage, "slur=", "b1n1", "b1n3", **{"from": "printed"})
    assert "Gave way: bar 1, beat 1 to bar 1, beat 2: slur." in longer.content.decode()
    back = change(client, passage, "undo", state=state_in(longer))
    assert "Gave way" not in back.content.decode()
