"""The student's page at home in a real browser: what is heard, measured from rendered samples; ticks without network
sent exactly once; the page going on after the studio has stopped; and the file that needs no studio at all."""

from __future__ import annotations

import base64
import re
import socket
from datetime import date, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from django.contrib.staticfiles.handlers import StaticFilesHandler
from django.core.cache import cache
from django.test.testcases import LiveServerThread, QuietWSGIRequestHandler
from django.utils import timezone
from playwright.sync_api import Page, expect

from lessons import links
from lessons.assigning import StepPlan, assign
from lessons.home_models import HomeQuestion, StudentLink, Tick
from lessons.home_pages import page_of
from lessons.home_showing import page_file
from lessons.models import Lesson, Sheet, Step
from lessons.sheets import issue_sheet
from repertoire.technique.marks import Kind, Mark
from tests.browser.conftest import PHONE, TABLET
from tests.lessons.conftest import make_marking, make_passage

pytestmark = pytest.mark.django_db(transaction=True)
OFFLINE = r"ERR_INTERNET_DISCONNECTED|ERR_FAILED|ERR_CONNECTION_REFUSED|ERR_CONNECTION_RESET|ERR_EMPTY_RESPONSE"
RATE = 44100
MODULES = "/static/js/home"


def today() -> date:
    """The day in the studio, which is in London."""
    return timezone.localdate(timezone=ZoneInfo("Europe/London"))


@pytest.fixture
def sheet(teacher, student) -> Sheet:
    """Issued yesterday: two bars in D, four quarters slurred by two, A4 and D4 as halves. A quarter = 60."""
    cache.clear()
    now = timezone.now() - timedelta(days=1)
    passage = make_passage(teacher, notes="D4 q E4 q F#4 q G4 q | A4 h D4 h")
    marking = make_marking(
        passage, 1, "By twos", Mark(Kind.SLUR, "b1n1", to="b1n2"), Mark(Kind.SLUR, "b1n3", to="b1n4")
    )
    lesson = Lesson.objects.create(teacher=teacher, student=student, number=1, starts=now - timedelta(hours=1))
    assign(
        student, begun=today(), passage=passage, marking=marking, steps=[StepPlan("Slowly", 60, 72, 4)],
        tempo_now=60, tempo_goal=80, minutes=12,
    )  # fmt: skip
    links.make_link(student.pk, at=now)
    return issue_sheet(student, lesson, at=now)


@pytest.fixture
def path(sheet, student) -> str:
    token, _ = links.make_link(student.pk, at=timezone.now())
    return links.address("", token)


@pytest.fixture
def opened(page: Page, address, path) -> Page:
    page.set_viewport_size(PHONE)
    page.goto(address(path))
    page.wait_for_selector("body[data-ready=yes]")
    return page


def wait_until(page: Page, condition: str, seconds: float = 10) -> None:
    """Ask the page until something is true; Playwright's own waiting would need `eval`, which the policy forbids."""
    for _ in range(int(seconds * 10)):
        if page.evaluate(condition):
            return
        page.wait_for_timeout(100)
    pytest.fail(f"{condition} didn't come true in {seconds} s.")


def in_page(page: Page, script: str, given=None):
    """Run a module script's function body with the player's modules imported; returns what it returns."""
    return page.evaluate(
        f"""async (given) => {{
            const timing = await import("{MODULES}/timing.js");
            const sound = await import("{MODULES}/sound.js");
            const music = Object.values(JSON.parse(document.getElementById("home-page").textContent).music)[0];
            {script}
        }}""",
        given,
    )


def rendered(page: Page, seconds: float, script: str, given=None) -> np.ndarray:
    """Samples of what `script` sounds into `context` and `out`, rendered offline."""
    samples = in_page(
        page,
        f"""
        const context = new OfflineAudioContext(1, Math.ceil({seconds} * {RATE}), {RATE});
        const out = new GainNode(context, {{ gain: 1 }});
        out.connect(context.destination);
        {script}
        const buffer = await context.startRendering();
        const bytes = new Uint8Array(buffer.getChannelData(0).buffer);
        let text = "";
        for (let at = 0; at < bytes.length; at += 32768) text += String.fromCharCode(...bytes.subarray(at, at + 32768));
        return btoa(text);
        """,
        given,
    )
    return np.frombuffer(base64.b64decode(samples), dtype=np.float32).astype(float)


def fundamental(samples: np.ndarray, near: float) -> float:
    """Hz of the partial next to `near`: the peak of the windowed spectrum, between its bins by a parabola."""
    window = np.blackman(len(samples))
    size = 8 * len(samples)
    spectrum = np.log(np.abs(np.fft.rfft(samples * window, size)) + 1e-12)
    low, high = int(near * 0.97 * size / RATE), int(near * 1.03 * size / RATE)
    top = low + int(np.argmax(spectrum[low:high]))
    left, middle, right = spectrum[top - 1 : top + 2]
    return float((top + (left - right) / (2 * (left - 2 * middle + right))) * RATE / size)


# --- what is heard ----------------------------------------------------------------------------------------------


def test_drones_sound_in_pure_fifths_or_equal_temperament(opened):
    """Pure fifths from A 440: D4 293.333, G3 195.556, C3 130.370 Hz; equal 293.665, 195.998, 130.813. [A]"""
    opened.locator(".drones summary").click()
    buttons = opened.locator(".drone")
    told = [(b.get_attribute("data-pure"), b.get_attribute("data-equal")) for b in buttons.all()]
    wanted = [(440.0, 440.0), (293.333, 293.665), (195.556, 195.998), (130.370, 130.813)]
    for (pure, equal), (pure_wanted, equal_wanted) in zip(told, wanted, strict=False):
        for hertz, hertz_wanted in ((pure, pure_wanted), (equal, equal_wanted)):
            samples = rendered(opened, 2.5, "sound.drone(context, out, given, 0);", float(hertz))
            assert fundamental(samples[RATE // 2 :], hertz_wanted) == pytest.approx(hertz_wanted, abs=0.02)


def test_the_violins_e_string_is_a_pure_fifth_above_a(opened):
    """E5 660.000 Hz. [A]"""
    samples = rendered(opened, 2.5, "sound.drone(context, out, 660, 0);")
    assert fundamental(samples[RATE // 2 :], 660) == pytest.approx(660.0, abs=0.02)


PLAY = """
const quarter = timing.quarterSeconds(given.tempo, music.schedule.unit);
const stretch = given.stretch ?? { from: 0, to: music.schedule.length };
for (const event of timing.roundOf(music.schedule, stretch, { click: given.click, tones: given.tones })) {
  const time = 0.1 + event.at * quarter;
  const notes = event.kind === "stroke" ? timing.inSeconds(event.notes, stretch.from, 0.1, quarter, given.a4) : [];
  sound.sound(context, out, event, { time, notes }, { vibrato: false });
}
"""


def test_each_note_sounds_at_its_frequency_and_in_its_time(opened):
    """At a quarter = 60 the notes begin a second apart. A4 440; D4 293.665, E4 329.628, F sharp 4 369.994,
    G4 391.995 Hz in equal temperament. [A]"""
    samples = rendered(opened, 8.5, PLAY, {"tempo": 60, "a4": 440, "click": False, "tones": True})
    for start, length, hertz in [
        (0, 1, 293.665), (1, 1, 329.628), (2, 1, 369.994), (3, 1, 391.995), (4, 2, 440.0), (6, 2, 293.665),
    ]:  # fmt: skip
        middle = samples[int((0.1 + start + 0.15) * RATE) : int((0.1 + start + length - 0.2) * RATE)]
        assert fundamental(middle, hertz) == pytest.approx(hertz, abs=0.15), start


def test_the_studios_a_moves_what_is_heard(opened):
    samples = rendered(opened, 8.5, PLAY, {"tempo": 60, "a4": 415, "click": False, "tones": True})
    assert fundamental(samples[int(4.3 * RATE) : int(5.8 * RATE)], 415) == pytest.approx(415.0, abs=0.1)


def loud(samples: np.ndarray, at: float, width: float = 0.01) -> float:
    return float(np.sqrt(np.mean(samples[int(at * RATE) : int((at + width) * RATE)] ** 2)))


def test_slurred_notes_are_connected_and_separate_ones_are_not(opened):
    """D–E under one bow keeps sounding through the change; E–F sharp, a new bow, falls silent before it."""
    samples = rendered(opened, 8.5, PLAY, {"tempo": 60, "a4": 440, "click": False, "tones": True})
    sustained = loud(samples, 0.6, 0.1)
    inside = min(loud(samples, 1.1 + t) for t in np.arange(-0.05, 0.05, 0.005))
    between = min(loud(samples, 2.1 + t) for t in np.arange(-0.1, 0.05, 0.005))
    assert inside > 0.4 * sustained
    assert between < 0.02 * sustained


def onsets(samples: np.ndarray) -> list[float]:
    """Seconds at which silence ends, for clicks: the first sample above a hundredth of the loudest."""
    heard = np.abs(samples) > 0.01 * np.max(np.abs(samples))
    quiet = int(0.1 * RATE)
    found, last = [], -quiet
    for place in np.flatnonzero(heard):
        if place - last >= quiet:
            found.append(place / RATE)
        last = place
    return found


def test_clicks_fall_on_the_beats_to_a_hundredth_of_a_second_and_accent_the_bar(opened):
    """Quarter = 72: 60/72 = 0.8333 s from click to click. [A]"""
    samples = rendered(opened, 7.5, PLAY, {"tempo": 72, "a4": 440, "click": True, "tones": False})
    wanted = [0.1 + n * 60 / 72 for n in range(8)]
    found = onsets(samples)
    assert len(found) == 8
    assert found == pytest.approx(wanted, abs=0.002)
    strength = [float(np.max(np.abs(samples[int(t * RATE) : int((t + 0.03) * RATE)]))) for t in wanted]
    assert strength[0] > 1.3 * strength[1]
    assert strength[4] > 1.3 * strength[3]


def test_vibrato_sways_evenly_around_the_pitch(opened):
    """14 cents to either side, grown 0.42 s after the onset; its middle is the note's own frequency."""
    script = "sound.bow(context, out, [{ time: 0.1, end: 4.1, hertz: 440, level: 0.6 }], { vibrato: true });"
    samples = rendered(opened, 4.3, script)[int(0.7 * RATE) : int(3.9 * RATE)]
    spectrum = np.fft.fft(samples)
    hertz = np.fft.fftfreq(len(samples), 1 / RATE)
    turning = np.unwrap(np.angle(np.fft.ifft(np.where((hertz > 330) & (hertz < 550), spectrum, 0))))
    cents = 1200 * np.log2(np.diff(turning) * RATE / (2 * np.pi) / 440)[RATE // 5 : -RATE // 5]
    assert float(np.max(cents)) == pytest.approx(14, abs=1.5)
    assert float(np.min(cents)) == pytest.approx(-14, abs=1.5)
    assert float(np.mean(cents)) == pytest.approx(0, abs=1)


def test_the_loudest_that_can_sound_together_does_not_break_up(opened):
    """Three notes at their loudest, a drone and the click stay below full scale; one mf note is heard well."""
    loudest = rendered(
        opened,
        3,
        """
        const end = sound.speaker(context);
        for (const hertz of [196, 293.7, 440]) {
          sound.bow(context, end, [{ time: 0.2, end: 2.2, hertz, level: 1, accent: true }]);
        }
        sound.drone(context, end, 146.67, 0);
        sound.strike(context, end, 0.2, true);
        sound.strike(context, end, 1, false);
        """,
    )
    assert 0.5 < float(np.max(np.abs(loudest))) < 1.0
    one = rendered(
        opened, 3, "sound.bow(context, sound.speaker(context), [{ time: 0.2, end: 2.2, hertz: 293.7, level: 0.64 }]);"
    )
    assert float(np.max(np.abs(one))) > 0.15


def test_a_stretch_runs_from_note_to_note_and_counts_in_before_it(opened):
    found = in_page(
        opened,
        """
        const notes = timing.readNotes(music.schedule);
        const stretch = timing.stretch(notes, music.schedule.length, "b1n3", "b2n1");
        return { stretch, strokes: timing.strokesOf(timing.notesIn(notes, stretch)).map((s) => s.map((n) => n.address)),
          before: timing.countInBefore(music.schedule, stretch.from), start: timing.countInBefore(music.schedule, 0) };
        """,
    )
    assert found["stretch"] == {"from": 2, "to": 6}
    assert found["strokes"] == [["b1n3", "b1n4"], ["b2n1"]]
    assert [click["onset"] for click in found["before"]] == [-2, -1, 0, 1]
    assert [(click["onset"], click["accent"]) for click in found["start"]] == [
        (-4, True), (-3, False), (-2, False), (-1, False),
    ]  # fmt: skip


def test_a_stretch_that_ends_on_a_trill_holds_all_of_it(opened):
    stretch = in_page(
        opened,
        """
        const notes = [["b1n1", 0], ["b1n2", 1], ["b1n2", 1.25], ["b1n2", 1.5], ["b1n2", 1.75], ["b1n3", 2]]
          .map(([address, onset]) => ({ address, onset, length: 0.25, midi: 60 }));
        return timing.stretch(notes, 3, "b1n1", "b1n2");
        """,
    )
    assert stretch == {"from": 0, "to": 2}


# --- the player on the page -------------------------------------------------------------------------------------


def sounded(page: Page) -> list[dict]:
    return page.evaluate("passagework.player.sounded")


def test_play_loop_and_tempo_keep_to_the_audio_clock(opened):
    opened.locator(".player-more summary").click()
    opened.locator("[data-count-in]").click()
    slider = opened.locator("#tempo")
    slider.fill("80")
    opened.locator("[data-play]").click()
    expect(opened.locator("[data-play]")).to_contain_text("Stop")
    notes = opened.locator(".narrow [data-address]")
    notes.nth(0).click()
    notes.nth(1).click()
    expect(opened.locator("[data-where]")).to_have_text("bar 1, first note, to bar 1, second note, again and again")
    wait_until(opened, "passagework.player.sounded.length >= 5", seconds=15)
    heard = sounded(opened)
    assert [note["address"] for note in heard[:5]] == ["b1n1", "b1n2", "b1n1", "b1n2", "b1n1"]
    gaps = [b["time"] - a["time"] for a, b in pairwise(heard[:5])]
    assert gaps == pytest.approx([60 / 80] * 4, abs=1e-6)  # quarter = 80: 0.75 s. [A]
    expect(opened.locator(".narrow .now")).to_have_count(1)
    opened.locator("[data-faster]").click()
    wait_until(opened, "Math.abs(passagework.player.quarter - 60 / 82) < 1e-9")
    opened.locator("[data-whole]").click()
    expect(opened.locator("[data-where]")).to_have_text("all of it")
    opened.locator("[data-play]").click()
    expect(opened.locator(".narrow .now")).to_have_count(0)
    wait_until(opened, "passagework.player.playing === false")


def test_notes_are_picked_by_keys_as_well(opened):
    first = opened.locator('.narrow [data-address="b1n1"]')
    first.focus()
    opened.keyboard.press("ArrowRight")
    opened.keyboard.press("Enter")
    opened.keyboard.press("ArrowRight")
    opened.keyboard.press("Enter")
    expect(opened.locator("[data-where]")).to_have_text("bar 1, second note, to bar 1, third note, again and again")
    opened.keyboard.press("Escape")
    expect(opened.locator("[data-where]")).to_have_text("all of it")


def test_it_plays_to_its_end_and_stops_by_itself(opened):
    opened.locator("#tempo").fill("100")
    opened.locator(".player-more summary").click()
    opened.locator("[data-count-in]").click()
    notes = opened.locator(".narrow [data-address]")
    notes.nth(5).click()
    opened.locator("[data-play]").click()
    expect(opened.locator("[data-play]")).to_contain_text("Stop")
    expect(opened.locator("[data-play]")).to_contain_text("Play", timeout=8000)


@pytest.mark.parametrize("size", [PHONE, TABLET], ids=["phone", "tablet"])
def test_the_page_fits_and_is_accessible_and_its_targets_are_large(page, address, path, size, check_axe, check_width):
    page.set_viewport_size(size)
    page.goto(address(path))
    page.wait_for_selector("body[data-ready=yes]")
    for summary in page.locator("summary").all():
        summary.click()
    check_axe()
    check_width()
    small = page.evaluate(
        """() => [...document.querySelectorAll("button, select, summary, nav a, .question input, .check-line")]
            .filter((each) => each.offsetParent !== null)
            .map((each) => [each.textContent.trim(), each.getBoundingClientRect()])
            .filter(([, box]) => box.height < 43.9 || box.width < 43.9)
            .map(([words, box]) => `${words} ${box.width}×${box.height}`)"""
    )
    assert small == []


def test_a_rung_of_the_ladder_sets_the_tempo(page, address, path, sheet, student):
    Step.objects.update(ladder="equal")
    issue_sheet(student, sheet.lesson, at=timezone.now())
    page.set_viewport_size(PHONE)
    page.goto(address(path))
    page.wait_for_selector("body[data-ready=yes]")
    rungs = page.locator("[data-rung]")
    expect(rungs).to_have_text(["60", "62", "64", "66", "68", "70", "72"])
    expect(rungs.nth(0)).to_have_attribute("aria-pressed", "true")
    rungs.nth(3).click()
    expect(page.locator("[data-number]")).to_have_text("66")
    expect(rungs.nth(3)).to_have_attribute("aria-pressed", "true")
    expect(rungs.nth(0)).to_have_attribute("aria-pressed", "false")


def test_another_part_sounds_with_its_own_notes_softer_and_a_slower_beat_is_counted_in(opened):
    found = in_page(
        opened,
        """
        const round = timing.roundOf(music.schedule, { from: 0, to: 4 });
        const both = timing.withOther(round, music.schedule, { from: 0, to: 4 });
        const slower = { ...music.schedule, beats: [[0, 1], [4, 2]] };
        return { own: round.length, both: both.length, others: both.filter((each) => each.other).length,
          softer: both.find((each) => each.other).notes[0].level / round[0].notes[0].level,
          before: timing.countInBefore(slower, 4).map((click) => click.onset) };
        """,
    )
    assert (found["own"], found["both"], found["others"]) == (2, 4, 2)
    assert found["softer"] == pytest.approx(0.7)
    assert found["before"] == [-4, -2, 0, 2]


def test_today_can_be_ticked_from_the_lesson_on_and_tomorrow_can_not(page, address, path, sheet, student):
    """The lesson is today: its own day is the first box, those after it wait."""
    lesson = Lesson.objects.create(teacher=student.teacher, student=student, number=2, starts=timezone.now())
    issue_sheet(student, lesson, at=timezone.now())
    page.set_viewport_size(PHONE)
    page.goto(address(path))
    page.wait_for_selector("body[data-ready=yes]")
    boxes = page.locator(".day")
    expect(boxes).to_have_count(7)
    expect(boxes.nth(0)).to_have_attribute("data-day", today().isoformat())
    expect(boxes.nth(0)).to_be_enabled()
    expect(boxes.nth(1)).to_be_disabled()
    boxes.nth(0).click()
    expect(boxes.nth(0)).to_have_attribute("aria-pressed", "true")


# --- without network --------------------------------------------------------------------------------------------


def today_box(page: Page):
    return page.locator(f'.day[data-day="{today().isoformat()}"]')


def test_ticks_made_offline_arrive_exactly_once(opened, watch):
    watch.expect(OFFLINE)
    opened.context.set_offline(True)
    today_box(opened).click()
    opened.locator(".day-minutes select").select_option("15")
    opened.locator("#text").fill("Which finger in bar 2?")
    opened.get_by_role("button", name="Send").click()
    expect(opened.locator("[data-line]")).to_contain_text("3 kept on this device")
    assert not Tick.objects.exists()
    opened.context.set_offline(False)
    expect(opened.locator("[data-line]")).to_have_text("Everything is sent.", timeout=15000)
    ticks = list(Tick.objects.order_by("made"))
    assert [(tick.done, tick.minutes) for tick in ticks] == [(True, None), (True, 15)]
    assert HomeQuestion.objects.get().text == "Which finger in bar 2?"
    opened.reload()
    expect(today_box(opened)).to_have_attribute("aria-pressed", "true")
    expect(today_box(opened).locator(".box")).to_have_text("15′")
    assert Tick.objects.count() == 2


def test_an_answer_that_was_lost_does_not_count_twice(opened, watch):
    """The studio keeps the tick but its answer never arrives: it is sent again with the same token."""
    watch.expect(OFFLINE)
    lost = []

    def lose_the_answer(route):
        if lost:
            route.continue_()
        else:
            lost.append(route.fetch().status)
            route.abort()

    opened.route("**/keep", lose_the_answer)
    today_box(opened).click()
    expect(opened.locator("[data-line]")).to_have_text("Everything is sent.", timeout=15000)
    assert lost == [204]
    assert Tick.objects.count() == 1


class Studio(LiveServerThread):
    """A server of this test's own that can be stopped and started again on its port."""

    def __init__(self, where: str) -> None:
        host, _, port = where.partition(":")
        super().__init__(host, StaticFilesHandler, port=int(port))
        self.daemon = True
        self.start()
        self.is_ready.wait()
        if self.error:
            raise self.error

    def _create_server(self, connections_override=None):
        return self.server_class(
            (self.host, self.port),
            QuietWSGIRequestHandler,
            allow_reuse_address=True,
            connections_override=connections_override,
        )


def free_port() -> int:
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        return listening.getsockname()[1]


def test_the_opened_page_goes_on_without_the_studio_and_ticks_arrive_once_it_is_back(page, path, watch):
    watch.expect(OFFLINE)
    where = f"127.0.0.1:{free_port()}"
    watch.origin = where
    studio = Studio(where)
    page.set_viewport_size(PHONE)
    try:
        page.goto(f"http://{where}{path}")
        page.wait_for_selector("body[data-offline=ready]", timeout=20000)
    finally:
        studio.terminate()
    page.reload()  # from what the worker kept
    page.wait_for_selector("body[data-ready=yes]")
    expect(page.locator("h1")).to_have_text("Mira")
    page.locator(".player-more summary").click()
    page.locator("[data-count-in]").click()
    page.locator("[data-play]").click()
    wait_until(page, "passagework.player.sounded.length >= 2", seconds=10)
    page.locator("[data-play]").click()
    today_box(page).click()
    expect(page.locator("[data-line]")).to_contain_text("1 kept on this device")
    page.reload()
    expect(today_box(page)).to_have_attribute("aria-pressed", "true")
    assert not Tick.objects.exists()
    studio = Studio(where)
    try:
        expect(page.locator("[data-line]")).to_have_text("Everything is sent.", timeout=20000)
        assert Tick.objects.count() == 1
        page.reload()
        page.wait_for_selector("body[data-ready=yes]")
        assert Tick.objects.count() == 1
    finally:
        studio.terminate()


def test_a_new_sheet_shows_at_the_next_opening(opened, student):
    opened.wait_for_selector("body[data-offline=ready]", timeout=20000)
    expect(opened.locator(".home-head")).to_contain_text("Practice sheet 1")
    issue_sheet(student, student.lessons.get(), at=timezone.now())
    opened.reload()
    expect(opened.locator(".home-head")).to_contain_text("Practice sheet 2")


def test_a_link_that_was_ended_shows_nothing_any_more(opened, student, watch):
    watch.expect(r"status of 404")
    opened.wait_for_selector("body[data-offline=ready]", timeout=20000)
    links.revoke_links(student.pk, at=timezone.now())
    assert not StudentLink.objects.open_at(timezone.now()).exists()
    opened.reload()
    expect(opened.locator("h1")).to_have_text("This link opens nothing")
    wait_until(opened, "caches.keys().then((names) => names.length === 0)")


# --- the file -----------------------------------------------------------------------------------------------------


def test_the_file_plays_and_keeps_days_without_any_studio(page, sheet, tmp_path, watch):
    where = tmp_path / "Mira sheet 1.html"
    where.write_text(page_file(page_of(sheet, at=timezone.now())), encoding="utf-8")
    requests: list[str] = []
    page.on("request", lambda request: requests.append(request.url))
    watch.expect(r"another host: file:")
    page.set_viewport_size(PHONE)
    page.goto(where.as_uri())
    page.wait_for_selector("body[data-ready=yes]")
    assert page.locator(".engraving").first.bounding_box()["width"] > 250
    page.locator("[data-play-this]").first.click()
    wait_until(page, "passagework.player.playing")
    wait_until(page, "passagework.player.sounded.length >= 1", seconds=15)
    page.locator("[data-play]").click()
    today_box(page).click()
    page.reload()
    expect(today_box(page)).to_have_attribute("aria-pressed", "true")
    expect(page.get_by_text("what is ticked here stays on this device")).to_be_visible()
    expect(page.locator("[data-question]")).to_have_count(0)
    assert [url for url in requests if not re.match(r"file:|data:", url)] == []
