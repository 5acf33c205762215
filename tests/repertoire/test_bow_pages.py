"""The bow on the pages of a passage: what is asked beside it, what is told, and who may see it."""

import re
from dataclasses import replace
from fractions import Fraction

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from repertoire.bow import BowAsked, inferred_marks, place, read, tell
from repertoire.bow_forms import BowSettingsForm
from repertoire.markings import make_marking, printed_marking
from repertoire.models import BowChoice, Marking, Suggestion
from repertoire.technique.line import TempoMark, Value
from repertoire.technique.marks import Kind, Mark
from studio.terms import worded
from tests.repertoire.bow_passages import LINE, PRINTED, uneven_passage
from tests.repertoire.marking_passages import make_passage
from tests.repertoire.policy import keeps_to_its_owner
from tests.technique.lines import line, marks

pytestmark = pytest.mark.django_db


@pytest.fixture
def passage(teacher):
    made = uneven_passage(teacher)
    printed_marking(made, teacher)
    return made


@pytest.fixture
def client(client_of, teacher):
    return client_of(teacher)


def plain(answer):
    """The words of a page, without tags, on one line."""
    text = re.sub(r"<[^>]+>", " ", answer.content.decode())
    return re.sub(r"\s+", " ", text)


def page_of(passage, **query):
    words = "&".join(f"{k}={v}" for k, v in query.items())
    return f"/repertoire/passages/{passage.pk}?{words}"


@pytest.mark.parametrize("name", ["bowings", "uneven"])
def test_pages_are_their_teachers_alone(name, passage, client_of, teacher, colleague, stranger):
    url = reverse(name, args=[passage.pk])
    keeps_to_its_owner(url, client_of, teacher, (colleague, stranger))
    assert client_of(colleague).post(url, {"take": "none"}).status_code == 404
    assert Suggestion.objects.count() == 0


@pytest.fixture
def changing(teacher):
    """Bar 1 at 60, bar 2 at 90, bar 3 “rit.”, without a number."""
    plain = line("4/4", "alto", "G3 h. A3 q | B3 h. D4 q | C4 w")
    tempi = [TempoMark(Fraction(0), "", Value("quarter"), Fraction(n)) for n in (60, 90)]
    tempi.append(TempoMark(Fraction(0), "rit."))
    bars = tuple(replace(b, tempos=(t,)) for b, t in zip(plain.bars, tempi, strict=True))
    return uneven_passage(teacher, replace(plain, bars=bars))


def test_tempo_marks_inside_the_passage_are_followed_and_told(changing, client):
    told = plain(client.get(page_of(changing, under="bow")))
    assert "Crotchet = 60 at the beginning; 90 from bar 2: 4 strokes" in told
    assert "Tempo at the beginning, crotchet =" in told
    assert "“rit.” in bar 3, beat 1 changes the tempo by and by: seconds go on at 90 crotchets a minute." in told
    slower = plain(client.get(page_of(changing, under="bow", bow=1, tempo=40)))
    assert "Crotchet = 40 at the beginning; 60 from bar 2 (in proportion to what is printed)" in slower
    for name in ("bowings", "uneven"):
        assert "Tempo at the beginning" in plain(client.get(reverse(name, args=[changing.pk])))


def test_a_passage_begun_after_a_tempo_mark_takes_it(changing, client):
    changing.pk, changing.start_bar, changing.first_number = None, 2, "2"
    changing.save()
    told = plain(client.get(page_of(changing, under="bow")))
    assert "Crotchet = 90: 3 strokes" in told


def test_where_no_tempo_is_printed_it_is_said(passage, client):
    assert "Crotchet = 80 (none is printed), time 1 of 2:" in plain(client.get(page_of(passage, under="bow")))


def test_beside_the_tempo_field_stands_what_is_assumed(passage, changing, client, teacher):
    cut_time = uneven_passage(teacher, line("2/2", "alto", "G3 h. A3 q | B3 w"))
    for page in ("bowings", "uneven"):
        assert "Tempo, crotchet = assumed: no tempo is printed" in plain(client.get(reverse(page, args=[passage.pk])))
        told = plain(client.get(reverse(page, args=[cut_time.pk])))
        assert "Tempo, crotchet = minim = 80, assumed: no tempo is printed" in told
        # At a tempo of her own nothing is assumed, and the metre's beat is still told: 132 crotchets are 66 minims.
        own = plain(client.get(reverse(page, args=[cut_time.pk]), {"bow": "1", "tempo": "132"}))
        assert "Tempo, crotchet = minim = 66 Show" in own
        client.get(reverse(page, args=[cut_time.pk]), {"bow": "1", "tempo": ""})
        assert "assumed" not in plain(client.get(reverse(page, args=[changing.pk])))
    assert "assumed: no tempo is printed" in plain(client.get(page_of(passage, under="bow")))
    assert "assumed" not in plain(client.get(page_of(passage, bow=1, tempo=60)))


@pytest.mark.parametrize("name", ["bowings", "uneven"])
def test_a_piece_without_notation_leads_back(name, client, teacher):
    bare = make_passage(teacher, notated=False)
    answer = client.get(reverse(name, args=[bare.pk]))
    assert answer["Location"] == reverse("passage", args=[bare.pk])


def test_the_distribution_stands_under_the_notes_when_chosen(passage, client):
    without = client.get(page_of(passage)).content.decode()
    assert 'class="strip"' not in without
    assert 'id="bow-said"' not in without
    page = client.get(page_of(passage, under="bow")).content.decode()
    assert page.count('class="strip"') >= 1
    assert "The bow, planned" in page
    # The choice stays for the next page.
    marking = Marking.objects.get(passage=passage)
    assert 'class="strip"' in client.get(reverse("marking", args=[marking.pk])).content.decode()


def test_numbers_follow_the_tempo(passage, client):
    # Four beats in one bow at 60 take 4.0 s; at 120 2.0 s; 640 mm of hair: 160 and 320 mm a second. [A]
    for tempo, seconds, speed in ((60, "4.0", "160"), (120, "2.0", "320")):
        page = client.get(
            page_of(passage, under="bow", bow=1, tempo=tempo, speeds=1, reading="marked")
        ).content.decode()
        first = re.search(r"<tbody><tr>(.*?)</tr>", page, re.S)[1]
        assert f'<td class="number">{seconds}</td>' in first
        assert f'<td class="number">{speed}</td>' in first
        assert "heel – point" in first
        assert "the whole bow" in first


def test_tempo_stays_with_the_passage_and_reading_with_the_teacher(passage, client, teacher):
    client.get(page_of(passage, under="bow", bow=1, tempo=60, reading="planned", dynamic="f"))
    again = plain(client.get(page_of(passage)))
    assert "The bow, planned" in again
    assert "Crotchet = 60, all f" in again
    other = uneven_passage(teacher)
    assert "Crotchet = 80" in plain(client.get(page_of(other)))
    assert "The bow, planned" in plain(client.get(page_of(other)))


@pytest.mark.parametrize("tempo", ["fast", "-3", "60.5", "9" * 12, "٣"])
def test_a_tempo_that_is_none_leaves_the_last_one(passage, client, tempo):
    client.get(page_of(passage, under="bow", bow=1, tempo=66))
    assert "Crotchet = 66" in plain(client.get(page_of(passage, bow=1, tempo=tempo)))


def test_wrong_values_ask_for_nothing(passage, client):
    page = client.get(page_of(passage, under="bow", bow=1, tempo=80, reading="best", dynamic="loud", **{"pass": "x"}))
    assert page.status_code == 200
    assert "The bow, planned" in plain(page)


def test_amounts_that_are_marked_are_read_and_none_are_made_up(passage, client, teacher):
    assert "The bow, planned" in plain(client.get(page_of(passage, under="bow")))
    own = make_marking(passage, teacher, marks("1/2 b1n1"), name="Half a bow", origin="own")
    assert "The bow, as marked" in plain(client.get(page_of(passage, marking=own.pk)))
    # Read as marked, what only the even reading says is a remark, and that nothing is marked is said.
    even = plain(client.get(page_of(passage, bow=1, reading="marked", marking=Marking.objects.first().pk)))
    assert "No amounts are marked: read evenly, each beat takes as much of the bow" in even
    assert "Read evenly, the bow runs out in bar 3, beat 3" in even
    # The usual reading is no wish: moving the tempo on one page leaves the next as it is.
    client.get(page_of(passage, bow=1, reading="planned", usual="planned", tempo=60))
    assert "The bow, as marked" in plain(client.get(page_of(passage, marking=own.pk)))
    client.get(page_of(passage, bow=1, reading="marked", usual="planned"))
    assert "The bow, as marked" in plain(client.get(page_of(passage, marking=Marking.objects.first().pk)))


def test_without_a_printed_tempo_the_metre_s_beat_counts(client, teacher):
    cut_time = line("2/2", "alto", "G3 h A3 h | B3 w")
    told = plain(client.get(page_of(uneven_passage(teacher, cut_time), under="bow")))
    assert "Crotchet = 160 (none is printed; minim = 80):" in told


def test_signs_for_every_stroke_in_brackets(passage, client):
    marked = client.get(page_of(passage, under="bow")).content.decode()
    every = client.get(page_of(passage, bow=1, directions="every")).content.decode()
    assert "mark-inferred" not in marked
    # Six strokes, the slurred bar and five single notes; the first is marked.
    assert every.count("mark-inferred") == 5
    # They go with the bow distribution, beside which they are chosen.
    assert "mark-inferred" not in client.get(page_of(passage, under="none")).content.decode()


def test_inferred_signs_leave_marked_strokes_alone():
    bowing = read(LINE, PRINTED, BowAsked())
    found = [(m.at, m.value) for m in inferred_marks(bowing)]
    assert found == [
        ("b2n1", "up"),
        ("b2n2", "down"),
        ("b3n1", "up"),
        ("b3n2", "down"),
        ("b4n1", "up"),
    ]


def test_compared_markings_can_show_a_sign_for_every_stroke(passage, client, teacher):
    up = make_marking(passage, teacher, marks("up b1n1", "slur b1n1 b1n2"), name="Begin up", origin="own")
    printed = Marking.objects.get(passage=passage, name="As printed")
    compare = reverse("compare", args=[passage.pk]) + f"?show=bow&marking={printed.pk}&marking={up.pk}"
    bare = client.get(compare).content.decode()
    assert "mark-inferred" not in bare
    assert 'name="directions"' in bare
    every = client.get(compare + "&bow=1&directions=every").content.decode()
    # Five strokes of each are nobody's marks; rings stand where the written marks differ, on one note of each.
    assert every.count("mark-inferred") == 10
    assert "bar 2, first note, B3, up-bow, not marked" in every
    assert "bar 2, first note, B3, down-bow, not marked" in every
    assert bare.count('<ellipse class="differs"') == every.count('<ellipse class="differs"') == 2
    # The distributions stand between the staves and are printed with them, as is what she chose elsewhere kept.
    assert "printed too" not in bare
    client.get(page_of(passage, under="bow", print=1))
    assert '<input type="hidden" name="print" value="1">' in client.get(compare + "&print=1").content.decode()
    # Without the distribution there is nothing beside it to choose, and no sign.
    assert "mark-inferred" not in client.get(compare.replace("show=bow", "show=none")).content.decode()


def test_a_repeat_on_the_other_bow_is_told_and_its_time_can_be_chosen(passage, client):
    page = plain(client.get(page_of(passage, under="bow")))
    assert "time 1 of 2" in page
    assert "begins down-bow; the time before it began up" in page
    second = plain(client.get(page_of(passage, bow=1, **{"pass": 2})))
    assert "time 2 of 2" in second


def test_what_runs_out_and_needs_a_retake_is_listed_with_bar_and_beat(client, teacher):
    # Three beats down and one up at 1/5 of the bow a beat: the third bar runs out after one beat. [A]
    passage = uneven_passage(
        teacher,
        "G3 h. A3 q | G3 h. A3 q | G3 h. A3 q",
        marks("down b1n1", "3/5 b1n1", "1/5 b1n2", "3/5 b2n1", "1/5 b2n2", "3/5 b3n1", "1/5 b3n2"),
    )
    page = plain(client.get(page_of(passage, under="bow")))
    assert "The bow runs out in bar 3, beat 2: this down-bow starts with 20 % of the bow left" in page
    twice = uneven_passage(teacher, "G3 h A3 h", marks("down b1n1", "down b1n2"))
    told = plain(client.get(page_of(twice)))
    assert "Bar 1, beat 3 needs a retake or a hook here" in told


def test_the_whole_passage_at_one_dynamic_changes_the_limits():
    # A stroke of 5 s is longer than the 4 s told at f and shorter than the 6 s told at p. [C]
    long = line("5/4", "alto", "G3 w~ G3 q")
    soft = BowAsked(tempo=60, dynamic="p")
    loud = BowAsked(tempo=60, dynamic="f")
    assert not [f for f in tell(read(long, (), soft), place(read(long, (), soft), soft), soft).findings if "5.0" in f]
    told = tell(read(long, (), loud), place(read(long, (), loud), loud), loud).findings
    assert len([f for f in told if "5.0 s" in f]) == 1


def test_words_follow_the_studios_use():
    british = {"frog": "heel", "tip": "point"}
    assert worded("From the frog to the tip; frogs stay.", british) == "From the heel to the point; frogs stay."
    assert worded("Bar 3", {"bar": "measure"}) == "Measure 3"


def test_the_pages_ask_as_often_whatever_is_asked(passage, client, teacher):
    for n in range(2):
        make_marking(passage, teacher, marks("up b1n1"), name=f"Up {n}", origin="own")
    url = page_of(passage, under="bow")
    client.get(url)
    with CaptureQueriesContext(connection) as as_marked:
        client.get(page_of(passage))
    client.get(page_of(passage, bow=1, tempo=70, reading="planned", directions="every", speeds=1))
    with CaptureQueriesContext(connection) as planned:
        client.get(page_of(passage))
    assert len(planned) == len(as_marked) <= 22


def test_compared_markings_follow_the_tempo(passage, client, teacher):
    other = make_marking(passage, teacher, marks("up b1n1"), name="Up and separate", origin="own")
    first = Marking.objects.get(passage=passage, origin="printed")
    url = f"/repertoire/passages/{passage.pk}/compare?marking={first.pk}&marking={other.pk}&show=bow"
    page = client.get(f"{url}&bow=1&tempo=60")
    text = plain(page)
    assert "A As printed" in text
    assert "B Up and separate" in text
    assert text.count("Crotchet = 60") == 2
    assert re.search(r"Longest stroke\s+4\.0 s", text)
    assert "High point" in text


def test_at_most_three_possible_bowings_with_their_trade_off(passage, client):
    page = client.get(reverse("bowings", args=[passage.pk]))
    text = page.content.decode()
    assert 1 <= text.count("into a draft") <= 3
    assert "correct" not in plain(page).lower()
    assert len(re.findall(r"(?i)the last note ends (?:up|down)-bow", text)) == text.count("into a draft")


def test_taking_a_bowing_makes_a_suggested_child_and_remembers_the_others(passage, client, teacher):
    url = reverse("bowings", args=[passage.pk])
    text = client.get(url).content.decode()
    names = re.findall(r'name="take" value="([^"]+)"', text)
    names.remove("none")
    state = re.search(r'name="state" value="([^"]+)"', text)[1]
    answer = client.post(url, {"take": names[0], "state": state})
    assert answer["Location"] == reverse("mark", args=[passage.pk])
    assert {(s.character, s.answer) for s in Suggestion.objects.all()} == {
        (names[0], "taken"),
        *((name, "ignored") for name in names[1:]),
    }
    draft = passage.drafts.get()
    changed = client.post(
        reverse("mark_change", args=[passage.pk]),
        {"what": "part=tip", "first": "b4n1", "state": f"{draft.pk}.{draft.revision}"},
    )
    assert changed.status_code == 302
    draft.refresh_from_db()
    client.post(reverse("mark_keep", args=[passage.pk]), {"name": "Tried", "state": f"{draft.pk}.{draft.revision}"})
    made = Marking.objects.get(name="Tried")
    assert (made.origin, made.rule_version, made.parent.origin) == ("suggested", "bow 3", "printed")
    assert "D4" in made.hand_changes


def test_none_of_them_is_remembered_too(passage, client):
    url = reverse("bowings", args=[passage.pk])
    offered = client.get(url).content.decode().count("into a draft")
    answer = client.post(url, {"take": "none"})
    assert answer["Location"] == reverse("passage", args=[passage.pk])
    assert [s.answer for s in Suggestion.objects.all()] == ["ignored"] * offered
    assert not passage.drafts.exists()


def test_a_bowing_that_is_not_offered_or_a_draft_changed_meanwhile(passage, client):
    url = reverse("bowings", args=[passage.pk])
    assert client.post(url, {"take": "nonsense", "state": "0"}).status_code == 422
    name = re.search(r'name="take" value="([^"]+)"', client.get(url).content.decode())[1]
    assert client.post(url, {"take": name, "state": "77.1"}).status_code == 409
    assert Suggestion.objects.count() == 0


def test_the_three_answers_with_their_numbers(client, teacher):
    # Dotted half and quarter at 80, whole bows: 284.4 then 853.3 mm a second. [A; 3-trade, Bow]
    passage = uneven_passage(teacher, "G3 h. A3 q | G3 h. A3 q", ())
    text = plain(client.get(reverse("uneven", args=[passage.pk]), {"at": "b1n1"}))
    assert "284, then 853 mm a second; the short one 3 times as fast" in text
    assert "back where it was" in text
    assert "213, then 213 mm a second; the short one the same" in text  # hooked: one bow for four beats
    assert "427 mm through the air" in text  # two thirds of 640 mm
    assert "lifted back by two thirds of the bow before the next note, after a short note of 0.8 s" in text
    # Each answer's bow is drawn: as much for the short note; on to the end; lifted back.
    assert (
        "A, uneven speed: Bow, planned. bar 1, beat 1: down-bow, heel to point; bar 1, beat 4: up-bow, point to heel"
        in text
    )
    assert "B, hook: Bow, planned. bar 1, beat 1: down-bow, heel to point; bar 2, beat 1: up-bow" in text
    assert "bar 2, beat 1: retake, down-bow, " in text


def test_a_hook_goes_on_at_the_long_note_s_speed_while_there_is_bow(client, teacher):
    # The long note has half of the bow left over by the even reading: 3 of 8 beats and 1 of 8. [A]
    passage = uneven_passage(teacher, "G3 h. A3 q | C4 w | D4 w", marks("slur b2n1 b3n1"))
    text = plain(client.get(reverse("uneven", args=[passage.pk]), {"at": "b1n1"}))
    assert "Long note 38 % of the bow Short note 12 % of the bow" in text
    assert "on by half the bow" in text


def test_a_trilled_note_has_two_answers_and_no_hook(client, teacher):
    trill = (Mark(Kind.ORNAMENT, "b1n1", "trill"),)
    passage = uneven_passage(teacher, "G3 h. A3 q | G3 w", trill)
    url = reverse("uneven", args=[passage.pk])
    page = client.get(url)
    assert re.findall(r'name="take" value="([^"]+)"', page.content.decode()) == ["uneven speed", "retake"]
    assert "With an ornament, where nothing is hooked" in page.content.decode()
    assert client.post(url, {"take": "hook", "state": "0"}).status_code == 422
    assert not passage.drafts.exists()


def test_an_answer_is_written_into_the_draft(client, teacher):
    passage = uneven_passage(teacher, "G3 h. A3 q | G3 h. A3 q", ())
    url = reverse("uneven", args=[passage.pk]) + "?at=b1n1"
    answer = client.post(url, {"take": "hook", "state": "0"})
    assert answer["Location"] == reverse("mark", args=[passage.pk])
    kept = {Mark.from_json(m) for m in passage.drafts.get().marks["marks"]}
    assert Mark(Kind.HOOK, "b1n1", "hooked", "b1n2") in kept
    assert Mark(Kind.BOW, "b1n1", "down") in kept


def test_a_place_without_a_long_and_a_short_note_says_so(client, teacher):
    passage = uneven_passage(teacher, "G3 q A3 q B3 q C4 q", ())
    assert "No longer note stands right before a shorter one" in plain(client.get(reverse("uneven", args=[passage.pk])))
    told = client.get(reverse("uneven", args=[passage.pk]), {"at": "b1n2"})
    assert told.status_code == 422


def _settings(**changed):
    """What the form sends when nothing is changed, with some fields otherwise."""
    form = BowSettingsForm()
    return {name: field.initial for name, field in form.fields.items()} | changed


def test_bow_settings_count_for_the_studio(passage, client, client_of, stranger):
    assert client.get(reverse("bow_settings")).status_code == 200
    saved = client.post(reverse("bow_settings"), _settings(**{"s-hair_mm": "600", "c-sung": "0", "v-p": "190"}))
    assert saved.status_code == 302
    chosen = BowChoice.objects.get()
    assert chosen.settings == {"hair_mm": "600"}
    assert chosen.costs == {"sung": "0", "wanted_mm_s": {"p": "190"}}
    # Four beats at 60 with 600 mm of hair: 150 mm a second. [A]
    page = client.get(page_of(passage, under="bow", bow=1, tempo=60, speeds=1)).content.decode()
    assert '<td class="number">150</td>' in page
    foreign = uneven_passage(stranger)
    other = client_of(stranger).get(page_of(foreign, under="bow", bow=1, tempo=60, speeds=1)).content.decode()
    assert '<td class="number">160</td>' in other
    assert client.post(reverse("bow_settings"), {"usual": "yes"}).status_code == 302
    assert not BowChoice.objects.exists()


@pytest.mark.parametrize(
    "wrong",
    [
        {"s-hair_mm": "10"},
        {"s-hair_mm": "long"},
        {"c-sung": "-1"},
        {"v-p": "500"},
        {"s-rest_seconds": "4", "s-fresh_seconds": "2"},
        {"c-balance": "nan"},
    ],
)
def test_bow_settings_that_cannot_be(client, wrong):
    assert client.post(reverse("bow_settings"), _settings(**wrong)).status_code == 422
    assert not BowChoice.objects.exists()


def test_bow_settings_ask_for_a_sign_in(client):
    client.logout()
    assert client.get(reverse("bow_settings")).url.startswith("/sign-in")
    assert client.put(reverse("bow_settings")).status_code == 302


def test_a_listening_note_keeps_bars_and_tempo_with_its_source(passage, client):
    client.post(reverse("mark_change", args=[passage.pk]), {"what": "bow=up", "first": "b1n1", "state": "0"})
    draft = passage.drafts.get()
    sent = {
        "name": "Heard",
        "origin": "recording",
        "source": "an old broadcast",
        "heard_bars": "1–4",
        "heard_tempo": "72",
        "state": f"{draft.pk}.{draft.revision}",
    }
    assert client.post(reverse("mark_keep", args=[passage.pk]), {**sent, "heard_tempo": "9"}).status_code == 422
    assert client.post(reverse("mark_keep", args=[passage.pk]), sent).status_code == 302
    made = Marking.objects.get(name="Heard")
    assert (made.origin, made.source) == ("recording", "an old broadcast; bars 1–4; ♩ = 72")
