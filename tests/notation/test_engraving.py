"""Pictures: exact size, every note in its place, every kind of mark, nothing touching."""

import re
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from fractions import Fraction

import pytest
from lxml import etree
from weasyprint import HTML

from repertoire.notation.cutting import cut
from repertoire.notation.engraving import Look, Picture, as_image, engrave, engrave_together
from repertoire.notation.ink import words_at
from repertoire.technique.line import Clef, Line, LineError, TempoMark
from repertoire.technique.marks import Kind, Mark, Marks
from tests.technique.lines import line

K = Kind
SCALE = "D4 q E4 q F4 q G4 q | A4 q B4 q C5 q D5 q | E5 h D4+B4 h"
ONE_OF_EACH: Marks = (
    Mark(K.BOW, "b1n1", "down"),
    Mark(K.RETAKE, "b1n3"),
    Mark(K.SLUR, "b1n1", "", "b1n2"),
    Mark(K.HOOK, "b2n1", "portato", "b2n2"),
    Mark(K.AMOUNT, "b1n1", "1/2"),
    Mark(K.PART, "b1n3", "tip"),
    Mark(K.ARTICULATION, "b1n4", "accent"),
    Mark(K.PIZZICATO, "b3n1", "left hand"),
    Mark(K.FINGER, "b1n2", "2-1"),
    Mark(K.STRING, "b1n4", "III"),
    Mark(K.EXTENSION, "b2n1", "forward"),
    Mark(K.HARMONIC, "b2n4", "natural"),
    Mark(K.SLIDE, "b2n2", "arrival", "b2n3"),
    Mark(K.HOLD, "b1n3", "", "b2n1"),
    Mark(K.VIBRATO, "b3n1", "none"),
    Mark(K.ORNAMENT, "b2n2", "turn", options=(("below", "sharp"),)),
    Mark(K.DYNAMIC, "b1n1", "mf"),
    Mark(K.HAIRPIN, "b1n2", "crescendo", "b2n1"),
    Mark(K.PHRASE, "b1n1", "", "b2n4"),
    Mark(K.HIGH_POINT, "b3n1"),
    Mark(K.OCTAVE, "b2n3", "8va", "b2n4"),
    Mark(K.FERMATA, "b3n2"),
    Mark(K.TEXT, "b3n1", "singing"),
)


@pytest.fixture
def scale() -> Line:
    return line("4/4", "alto", SCALE)


def root_of(picture: Picture, system: int = 0) -> etree._Element:
    return etree.fromstring(picture.systems[system].svg.encode())


def texts(picture: Picture) -> list[str]:
    return [t.text for s in range(len(picture.systems)) for t in root_of(picture, s).iter("{*}text")]


@pytest.mark.parametrize("staff_mm", [6.5, 8.0, 11.0])
def test_the_staff_has_its_height_and_the_picture_its_width(scale: Line, staff_mm: float) -> None:
    picture = engrave(scale, (), Look(staff_mm=staff_mm, width_mm=180))
    for system in picture.systems:
        staff = system.staves[0]
        assert staff.bottom - staff.top == pytest.approx(staff_mm, abs=0.001)
        assert system.width_mm == pytest.approx(180, abs=0.1)
        assert f'width="{system.width_mm:.3f}'.rstrip("0").rstrip(".") in system.svg


def test_heads_stand_where_the_clef_puts_them(scale: Line) -> None:
    # alto clef: C4 is the middle line [C]; a letter step is half a space, 1 mm on a staff of 8 mm [A]
    picture = engrave(scale, (), Look(staff_mm=8.0, width_mm=180))
    system = picture.systems[0]
    staff = system.staves[0]
    assert system.notes["b1n1"][1] == pytest.approx(staff.top + 3, abs=0.01)  # D4: the space above the middle line
    assert system.notes["b1n4"][1] == pytest.approx(staff.top, abs=0.01)  # G4: the top line
    assert system.notes["b2n1"][1] == pytest.approx(staff.top - 1, abs=0.01)  # A4: the space above it
    xs = [system.notes[a][0] for a in ("b1n1", "b1n2", "b1n3", "b1n4", "b2n1")]
    assert xs == sorted(xs)
    assert system.bars[1][1] == pytest.approx(system.bars[2][0], abs=0.5)


def test_every_note_and_rest_can_be_picked_on_screen() -> None:
    music = line("4/4", "alto", "D4 q r q D4+B4 h")
    root = root_of(engrave(music, (Mark(K.FINGER, "b1n1", "1"),), Look(prefix="x-")))
    picked = {g.get("data-address"): g for g in root.iter("{*}g") if g.get("data-address")}
    assert list(picked) == ["b1n1", "b1n2", "b1n3p1", "b1n3p2"]
    first = picked["b1n1"]
    assert first.get("id") == "x-b1n1"
    assert first.get("aria-label") == "bar 1, first note, D4, finger 1"
    assert first.find("{*}title").text == "bar 1, first note, D4, finger 1"
    assert [g.get("tabindex") for g in picked.values()] == ["0", "-1", "-1", "-1"]
    for group in picked.values():
        hit = group.find("{*}rect")
        assert hit.get("pointer-events") == "all"
        # 24 px are 6.35 mm; a staff of 8 mm counts 720 units
        assert float(hit.get("height")) * 8 / 720 >= 3


def test_ids_on_one_page_are_unique(scale: Line) -> None:
    picture = engrave(scale, ONE_OF_EACH, Look(width_mm=60, prefix="a-"))
    ids = re.findall(r' id="([^"]+)"', picture.svg())
    assert len(picture.systems) > 1
    assert len(ids) == len(set(ids))
    assert all(i.startswith("a-") for i in ids)


def test_print_has_no_ids_no_scripts_and_no_style(scale: Line) -> None:
    picture = engrave(scale, ONE_OF_EACH, Look(screen=False))
    svg = picture.systems[0].svg
    for word in (" id=", "tabindex", "<style", "<use", "data-address", "pointer-events"):
        assert word not in svg
    image = as_image(picture.systems[0], alt="Bars 1 to 3 of a scale")
    assert image.startswith('<img class="engraving" src="data:image/svg+xml;base64,')
    assert 'alt="Bars 1 to 3 of a scale"' in image


def test_screen_svg_has_no_inline_style_for_a_strict_policy(scale: Line) -> None:
    svg = engrave(scale, ONE_OF_EACH, Look()).svg()
    assert "<style" not in svg
    assert " style=" not in svg


@pytest.mark.parametrize("mark", ONE_OF_EACH, ids=lambda m: str(m.kind))
def test_each_kind_of_mark_leaves_ink(scale: Line, mark: Mark) -> None:
    kind = mark.kind.replace(" ", "-")
    svg = engrave(scale, (mark,), Look()).svg()
    if mark.kind is K.EXTENSION:
        assert ">x<" in svg
    assert f"kind-{kind}" in svg
    assert f"kind-{kind}" not in engrave(scale, (), Look()).svg()


def test_all_kinds_together_lose_no_note(scale: Line) -> None:
    picture = engrave(scale, ONE_OF_EACH, Look())
    assert picture.warnings == ()
    assert {a for a in picture.notes if "p" not in a} == {e.address for e in scale.events}


def test_strings_as_roman_numerals_or_by_name(scale: Line) -> None:
    marks = (Mark(K.STRING, "b1n1", "III"),)
    assert "III" in texts(engrave(scale, marks, Look()))
    assert "sul G" in texts(engrave(scale, marks, Look(string_signs="sul")))
    violin = replace(scale, instrument="violin")
    assert "sul D" in texts(engrave(violin, marks, Look(string_signs="sul")))


def test_a_string_over_several_notes_continues_in_brackets(scale: Line) -> None:
    picture = engrave(scale, (Mark(K.STRING, "b1n1", "III", "b3n1"),), Look(width_mm=70))
    assert len(picture.systems) > 1
    words = texts(picture)
    assert words.count("III") == 1
    assert words.count("(III)") == len(picture.systems) - 1


def test_words_are_the_studio_s(scale: Line) -> None:
    marks = (Mark(K.PART, "b1n1", "frog"), Mark(K.AMOUNT, "b1n3", "1/2"))
    assert {"heel", "½ bow"} <= set(texts(engrave(scale, marks, Look())))
    words = {**Look().words, "frog": "frog"}
    assert "frog" in texts(engrave(scale, marks, Look(words=words)))


def test_fingers_tell_extension_and_slide(scale: Line) -> None:
    marks = (
        Mark(K.FINGER, "b1n1", "4"),
        Mark(K.EXTENSION, "b1n1", "forward"),
        Mark(K.FINGER, "b1n4", "2"),
        Mark(K.SLIDE, "b1n3", "arrival", "b1n4"),
    )
    assert {"x4", "–2"} <= set(texts(engrave(scale, marks, Look())))


def test_chord_fingers_stand_above_each_other_as_the_notes_do() -> None:
    music = line("4/4", "alto", "D4+B4 w")
    marks = (Mark(K.FINGER, "b1n1p1", "0"), Mark(K.FINGER, "b1n1p2", "1"))
    drawn = {}
    for group in root_of(engrave(music, marks, Look())).iter("{*}g"):
        if "kind-finger" in (group.get("class") or ""):
            move = re.search(r"translate\(\S+ (\S+)\)", group.get("transform") or "translate(0 0)")
            text = group.find("{*}text")
            drawn[text.text] = float(text.get("y")) + float(move[1])
    assert drawn["1"] < drawn["0"] - 150


def test_own_and_printed_marks_differ_in_more_than_colour(scale: Line) -> None:
    finger = Mark(K.FINGER, "b1n1", "1")
    slur = Mark(K.SLUR, "b1n1", "", "b1n3")
    own = engrave(scale, (finger, slur), Look(screen=False)).systems[0].svg
    printed = engrave(scale, (finger, slur), Look(screen=False, printed=(finger, slur))).systems[0].svg
    assert 'font-weight="bold">1<' in own
    assert 'font-weight="bold">1<' not in printed
    widths = [
        max(float(w) for w in re.findall(r'stroke-width="([\d.]+)" stroke-linecap="round"', s)) for s in (own, printed)
    ]
    assert widths[0] > widths[1]
    screen = engrave(scale, (finger, slur), Look(printed=(slur,))).svg()
    assert "mark-own kind-finger" in screen
    assert "mark-printed kind-slur" in screen


def test_replaced_printed_marks_show_when_asked(scale: Line) -> None:
    slur = Mark(K.SLUR, "b1n1", "", "b1n3")
    assert "kind-slur" not in engrave(scale, (), Look(printed=(slur,))).svg()
    assert "mark-replaced kind-slur" in engrave(scale, (), Look(printed=(slur,), show_replaced=True)).svg()


def test_spans_that_enter_and_leave_are_drawn(scale: Line) -> None:
    music = Line(scale.bars[1:2], tuple(e for e in scale.events if e.bar == 2))
    for mark in (
        Mark(K.SLUR, "b1n3", "", "b2n2"),
        Mark(K.SLUR, "b2n3", "", "b3n1"),
        Mark(K.SLUR, "b1n1", "", "b3n1"),
        Mark(K.HAIRPIN, "b1n3", "crescendo", "b2n2"),
        Mark(K.STRING, "b1n3", "II", "b2n2"),
    ):
        picture = engrave(music, (mark,), Look())
        assert f"kind-{mark.kind}" in picture.svg(), mark
        assert picture.warnings == ()


def test_a_mark_outside_is_left_out_and_named(scale: Line) -> None:
    picture = engrave(scale, (Mark(K.FINGER, "b9n1", "1"),), Look())
    assert picture.warnings == ("A finger mark outside the passage is not drawn.",)


def test_empty_bars_become_one_rest_unless_marked() -> None:
    music = line("4/4", "alto", "C4 w | r w | r w | r w | D4 w")
    rests = tuple(replace(e, whole_bar=True) if e.is_rest else e for e in music.events)
    music = Line(music.bars, rests)
    together = engrave(music, (), Look())
    assert "b3n1" not in together.notes
    assert "b3n1" in engrave(music, (), Look(empty_bars=True)).notes
    assert "b3n1" in engrave(music, (Mark(K.FERMATA, "b3n1"),), Look()).notes


def test_an_octave_line_writes_the_notes_an_octave_lower(scale: Line) -> None:
    plain = engrave(scale, (), Look(staff_mm=8, width_mm=180)).systems[0]
    under = engrave(scale, (Mark(K.OCTAVE, "b2n1", "8va", "b2n2"),), Look(staff_mm=8, width_mm=180)).systems[0]
    for address, steps in (("b2n1", 7), ("b2n3", 0)):
        fall = (under.notes[address][1] - under.staves[0].top) - (plain.notes[address][1] - plain.staves[0].top)
        assert fall == pytest.approx(steps * 1.0, abs=0.01), address  # 8 mm staff: a letter step is 1 mm


def test_a_strip_stands_below_and_counts_in_millimetres(scale: Line) -> None:
    system = engrave(scale, (), Look(width_mm=180)).systems[0]
    with_strip = system.with_strip('<path d="M0 0H10" stroke="#000" stroke-width=".3"/>', 12)
    assert with_strip.height_mm == pytest.approx(system.height_mm + 13.5)
    assert f'class="strip" transform="translate(0 {system.height_mm + 1.5:.3f}'.rstrip("0") in with_strip.svg
    assert with_strip.notes == system.notes


def test_signs_above_the_staff_do_not_touch(monkeypatch: pytest.MonkeyPatch) -> None:
    """Fingers, strings and words on every note of a crowded bar, checked box against box."""
    from repertoire.notation import assembling

    seen = []
    real = assembling.place

    def place(signs, staves, at):  # type: ignore[no-untyped-def]
        real(signs, staves, at)
        seen.append([s for s in signs if s.shapes])

    monkeypatch.setattr(assembling, "place", place)
    music = line("4/4", "alto", "C5 s D5 s E5 s F5 s G4 s A3 s B3 s C4 s D4 e E4 e F4 q")
    notes = [e.address for e in music.notes]
    on_each = [
        mark
        for number, address in enumerate(notes)
        for mark in (
            Mark(K.FINGER, address, str(number % 4 + 1)),
            Mark(K.STRING, address, "II"),
            Mark(K.BOW, address, "down" if number % 2 else "up"),
        )
    ]
    once = (Mark(K.SLUR, notes[0], "", notes[3]), Mark(K.TEXT, notes[2], "singing"), Mark(K.AMOUNT, notes[1], "1/2"))
    marks = (*on_each, *once)
    engrave(music, marks, Look(width_mm=120))
    (signs,) = seen
    moved = [s for s in signs if s.name in ("fing", "dir")]
    assert len(moved) == 2 * len(notes) + 2
    solid = [s for s in signs if s.name not in ("staff", "barLine", "clef", "meterSig", "keySig", "mNum")]
    for sign in moved:
        for other in solid:
            if other is sign:
                continue
            for a in sign.boxes():
                for b in other.boxes():
                    apart = a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]
                    assert apart, (sign.name, sign.shapes[0].body, other.name)


def test_markings_under_each_other_share_their_places(scale: Line) -> None:
    one = (Mark(K.FINGER, "b1n1", "1"), Mark(K.DYNAMIC, "b1n1", "p"))
    other = (Mark(K.FINGER, "b1n1", "3"), Mark(K.DYNAMIC, "b1n1", "p"))
    picture = engrave_together([("First", scale, one), ("Second", scale, other)], Look(width_mm=180, prefix="t-"))
    system = picture.systems[0]
    assert len(system.staves) == 2
    assert system.staves[0].bottom < system.staves[1].top
    first, second = system.notes_by_staff
    assert first["b2n1"][0] == pytest.approx(second["b2n1"][0], abs=0.01)
    svg = picture.svg()
    assert svg.count('class="differs"') == 2  # the note in both staves
    assert svg.count("kind-dynamic") == 1
    ids = re.findall(r' id="([^"]+)"', svg)
    assert len(ids) == len(set(ids))
    assert {"First", "Second"} <= set(texts(picture))


def test_only_the_same_bars_stand_together(scale: Line) -> None:
    shorter = Line(scale.bars[:1], tuple(e for e in scale.events if e.bar == 1))
    with pytest.raises(LineError, match="same bars"):
        engrave_together([("a", scale, ()), ("b", shorter, ())], Look())


def test_threads_draw_the_same(scale: Line) -> None:
    alone = engrave(scale, ONE_OF_EACH, Look()).svg()
    with ThreadPoolExecutor(4) as pool:
        together = list(pool.map(lambda _: engrave(scale, ONE_OF_EACH, Look()).svg(), range(8)))
    assert together == [alone] * 8


def test_systems_are_about_equally_full():
    """Sixteen equal bars that overflow one system by a little become two of eight, not fifteen and one."""
    music = line("2/4", "alto", " | ".join(["D4 q E4 q"] * 16))
    wide = engrave(music, (), Look(width_mm=4000))
    natural = wide.systems[0].bars[16][1]
    picture = engrave(music, (), Look(width_mm=natural * 0.93))
    assert [len(system.bars) for system in picture.systems] == [8, 8]
    again = engrave(music, (Mark(Kind.BOW, "b1n1", "down"),), Look(width_mm=natural * 0.93))
    assert [len(system.bars) for system in again.systems] == [8, 8]


def test_an_arpeggio_stands_upright_before_its_chord() -> None:
    chord = line("4/4", "alto", "C4+G4+E5 w")
    drawn = engrave(chord, (Mark(Kind.ARTICULATION, "b1n1", "arpeggio"),), Look()).systems[0]
    waves = re.findall(r"translate\((-?\d+) (-?\d+)\) rotate\(-90\)", drawn.svg)
    assert len(waves) >= 3
    assert len({x for x, _ in waves}) == 1
    assert len({y for _, y in waves}) == len(waves)


def test_a_hairpin_on_one_note_is_drawn_within_its_time() -> None:
    music = line("4/4", "alto", "C4 q D4 q E4 h | C4 w")
    hairpin = Mark(K.HAIRPIN, "b1n2", "crescendo", "b1n2")
    picture = engrave(music, (hairpin,), Look())
    drawn = [g for g in root_of(picture).iter("{*}g") if "kind-hairpin" in (g.get("class") or "")]
    xs = [float(x) for g in drawn for p in g.iter("{*}path") for x in re.findall(r"(-?[\d.]+) -?[\d.]+", p.get("d"))]
    scale = 8.0 / 720  # mm in a unit of the drawing [A]
    places = picture.systems[0].notes
    assert xs
    assert max(xs) - min(xs) > 100  # it opens over more than half a space
    left = 300  # the drawing's margin in units: pageMarginLeft is told in tenths
    assert places["b1n2"][0] - 2.0 < (min(xs) + left) * scale < (max(xs) + left) * scale < places["b1n3"][0] + 1.5


def test_a_passage_from_the_middle_of_a_bar_says_so_and_an_upbeat_does_not() -> None:
    music = line("4/4", "alto", "C4 q D4 q E4 q F4 q | C4 q D4 q E4 q F4 q | C4 w")
    assert texts(engrave(cut(music, 2, Fraction(3), 3, None), (), Look())) == ["2, beat 3"]
    assert texts(engrave(cut(music, 2, None, 3, None), (), Look())) == ["2"]
    assert texts(engrave(line("4/4", "alto", "F4 q | C4 w"), (), Look())) == []


def curves(picture: Picture, kind: str) -> list[float]:
    """How far each slur bulges below its left end, in units (negative: above)."""
    out = []
    for group in root_of(picture).iter("{*}g"):
        if kind in (group.get("class") or "").split():
            for path in group.iter("{*}path"):
                numbers = [float(n) for n in re.findall(r"-?[\d.]+", path.get("d"))]
                out.append(numbers[3] - numbers[1])
    return out


def test_a_slur_cut_at_the_edge_keeps_its_side() -> None:
    up = line("4/4", "alto", "F3 q G3 q A3 q G3 q | E3 w")  # stems up: the slur lies below [C]
    down = line("4/4", "alto", "F4 q G4 q A4 q G4 q | E4 w")
    slur = (Mark(K.SLUR, "b1n1", "", "b1n4"),)
    for first, last in ((Fraction(3), None), (None, Fraction(2))):
        low, high = (curves(engrave(cut(m, 1, first, 1, last), slur, Look()), "kind-slur") for m in (up, down))
        assert [y > 0 for y in low] == [True]
        assert [y < 0 for y in high] == [True]


def test_a_clef_in_mid_line_keeps_clear_of_what_follows() -> None:
    music = line("4/4", "alto", "C4 e D4 e E4 e F4 e C4 e D4 e E4 e F4 e | C5 h D5 h")
    bars = (
        replace(music.bars[0], clefs=(Clef("alto"), Clef("treble", Fraction(3)))),
        replace(music.bars[1], clefs=(Clef("treble"),)),
    )
    drawn = root_of(engrave(replace(music, bars=bars), (), Look()))
    clef = next(u for u in drawn.iter("{*}use") if u.get("href").endswith("E07A"))  # SMuFL gClefChange
    note = next(g for g in drawn.iter("{*}g") if g.get("data-address") == "b1n7").find("{*}use")
    group = clef.getparent().get("transform") or ""
    places = [clef.get("transform"), *([group] if group.startswith("translate") else [])]
    x = sum(float(re.search(r"translate\((-?[\d.]+)", t).group(1)) for t in places)
    head = float(re.search(r"translate\((-?[\d.]+)", note.get("transform")).group(1))
    assert head - (x + 362) > 60  # the small clef is 362 units wide; a third of a space stays white


def boxes_of(picture: Picture, words: str) -> tuple[float, float, float]:
    """Left end, base line and size of a piece of text, in units."""
    text = next(t for t in root_of(picture).iter("{*}text") if t.text == words)
    moved = re.match(r"translate\((-?[\d.]+) (-?[\d.]+)", text.getparent().get("transform") or "")
    dx, dy = (float(moved.group(1)), float(moved.group(2))) if moved and len(text.getparent().attrib) < 4 else (0, 0)
    return float(text.get("x")) + dx, float(text.get("y")) + dy, float(text.get("font-size"))


def test_on_paper_printed_marks_are_grey_and_own_ones_black_bold_and_larger(scale: Line) -> None:
    printed = (Mark(K.FINGER, "b1n1", "1"), Mark(K.DYNAMIC, "b1n1", "p"), Mark(K.BOW, "b1n1", "down"))
    own = (Mark(K.FINGER, "b1n3", "3"), Mark(K.BOW, "b1n3", "up"))
    picture = engrave(scale, tuple(sorted(printed + own)), Look(printed=printed, screen=False))
    grey = [e for e in root_of(picture).iter() if e.get("color") == "#6b6b6b"]
    assert [t.text for g in grey for t in g.iter("{*}text")] == ["1"]
    assert [g.get("fill") for g in grey] == ["#6b6b6b"] * 2
    assert [g.get("d").count("M") for g in grey if g.get("d")] == [2]  # the glyphs of p and the down-bow, in one path
    assert not any("stroke-width" in e.attrib for g in grey for e in g.iter("{*}path"))
    heavy = [e for e in root_of(picture).iter("{*}path") if e.get("stroke-width") == "18" and not e.get("fill")]
    assert [e.get("d").count("M") for e in heavy] == [1]  # the own up-bow
    sizes = {t.text: (float(t.get("font-size")), t.get("font-weight")) for t in root_of(picture).iter("{*}text")}
    assert sizes["3"][0] / sizes["1"][0] == pytest.approx(1.15, abs=0.01)
    assert (sizes["1"][1], sizes["3"][1]) == (None, "bold")


def test_a_string_stands_over_its_finger_and_words_are_hardly_larger_than_fingers(scale: Line) -> None:
    marks = (Mark(K.FINGER, "b1n2", "1"), Mark(K.STRING, "b1n2", "II"), Mark(K.TEXT, "b2n1", "singing"))
    picture = engrave(scale, marks, Look())
    (finger, _, small), (string, high, size) = boxes_of(picture, "1"), boxes_of(picture, "II")
    middle_of_finger, middle_of_string = finger + 0.25 * small, string + 0.389 * size  # Times: 1 is 0.5, I 0.389 wide
    assert middle_of_string == pytest.approx(middle_of_finger, abs=25)  # an eighth of a space
    assert high < boxes_of(picture, "1")[1] - 0.6 * small
    assert boxes_of(picture, "singing")[2] == pytest.approx(1.1 * small, rel=0.01)


def test_a_retake_is_an_arc_with_an_arrowhead_and_no_comma(scale: Line) -> None:
    retake, breath = (
        [g for g in root_of(engrave(scale, (mark,), Look())).iter("{*}g") if "mark-own" in (g.get("class") or "")]
        for mark in (Mark(K.RETAKE, "b1n3"), Mark(K.ARTICULATION, "b1n3", "breath"))
    )
    assert [len(list(g.iter("{*}path"))) for g in retake] == [2]
    assert [u.get("href") for g in retake for u in g.iter("{*}use")] == []
    assert [u.get("href").rpartition("-")[2] for g in breath for u in g.iter("{*}use")] == ["E4CE"]  # SMuFL breath mark


def test_tempo_marks_of_one_system_share_a_line() -> None:
    music = line("2/4", "alto", "C4 h | A5 h | C4 h | C4 h")
    named = {1: "Slow", 3: "Slower", 4: "Fast"}
    music = replace(
        music,
        bars=tuple(
            replace(b, tempos=(TempoMark(Fraction(0), named[b.index]),)) if b.index in named else b for b in music.bars
        ),
    )
    picture = engrave(music, (), Look())
    assert len({boxes_of(picture, words)[1] for words in named.values()}) == 1


@pytest.mark.parametrize(
    ("text", "italic", "bold", "wide"),
    [  # widths in thousandths of an em, added up from the published metrics of Times [P: Adobe's AFM files]
        ("dolce", True, False, 500 + 500 + 278 + 444 + 444),
        ("poco a poco", True, False, 2 * (500 + 500 + 444 + 500) + 500 + 2 * 250),
        ("12", True, False, 1000),
        ("½", False, True, 750),
        ("tip", False, True, 333 + 278 + 556),
    ],
)
def test_words_take_the_room_their_font_gives_them(text: str, italic: bool, bold: bool, wide: float) -> None:
    left, _, right, _ = words_at(text, 0, 0, 1000, italic=italic, bold=bold).boxes[0]
    assert right - left == pytest.approx(wide, rel=0.03)


def test_the_grey_of_printed_marks_arrives_on_paper(scale: Line) -> None:
    """Drawn into a PDF: a slur, which is filled, is grey when printed and black when the teacher's own."""
    slur = (Mark(K.SLUR, "b1n1", "", "b1n4"),)
    found = []
    for printed in (slur, ()):
        image = as_image(engrave(scale, slur, Look(printed=printed, screen=False)).systems[0])
        content = HTML(string=image).write_pdf(uncompressed_pdf=True).decode("latin-1")
        found.append("0.41960" in content)  # 6b is 107 of 255 [A]
    assert found == [True, False]


def test_a_slur_keeps_clear_of_the_bow_signs_under_it() -> None:
    music = cut(line("4/4", "alto", "F4 q G4 q A4 q G4 q | E4 q F4 q G4 q F4 q | F4 w"), 2, Fraction(4), 3, None)
    marks = (Mark(K.SLUR, "b2n2", "", "b3n1"), Mark(K.BOW, "b2n4", "up"))
    lifted = [
        g.get("transform")
        for g in root_of(engrave(music, marks, Look())).iter("{*}g")
        if "kind-slur" in (g.get("class") or "") and g.get("transform")
    ]
    assert len(lifted) == 1
    assert re.fullmatch(r"translate\(0 -\d+\)", lifted[0])
