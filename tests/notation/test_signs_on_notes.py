"""What stands on one note: its order from the head outwards, the white between, and the frame around all of it."""

import re
from dataclasses import replace

import pytest
from lxml import etree

from repertoire.notation.engraving import Look, engrave
from repertoire.notation.ink import Sign, union
from repertoire.technique.line import Line
from repertoire.technique.marks import ARTICULATIONS, Kind, Mark, Marks
from tests.notation.contact_sheet import scattered
from tests.notation.placed_signs import near, placed, placed_by_system
from tests.technique.lines import line

HEIGHTS = "C3 q F3 q C4 q F4 q | A4 q C5 q D4+A4 q C3+A3 q"


@pytest.fixture
def heights() -> Line:
    return line("4/4", "alto", HEIGHTS)


def on_each(music: Line, *marks: Mark) -> Marks:
    return tuple(
        Mark(m.kind, e.member(1) if m.kind is Kind.FINGER else e.address, m.value) for e in music.notes for m in marks
    )


def of_kind(signs: list[Sign], kind: str) -> list[Sign]:
    return [s for s in signs if s.kind == kind]


@pytest.mark.parametrize("screen", [True, False])
@pytest.mark.parametrize("value", ["staccato", "staccatissimo", "tenuto", "accent", "marcato", "soft accent"])
def test_dots_stand_nearest_the_head_then_the_bow_then_the_finger(heights: Line, value: str, screen: bool) -> None:
    marks = on_each(
        heights, Mark(Kind.ARTICULATION, "b1n1", value), Mark(Kind.BOW, "b1n1", "up"), Mark(Kind.FINGER, "b1n1", "1")
    )
    signs = placed(heights, marks, Look(screen=screen))
    dots, bows, fingers = (of_kind(signs, k) for k in ("articulation", "bow", "finger"))
    assert len(dots) == len(bows) == len(fingers) == 8
    heads = {id(h): s.shapes[0].boxes[0] for s in signs if s.name == "note" for h in (s, s.parent)}
    for dot in dots:
        bow = next(b for b in bows if b.parent is dot.parent)
        head, mark, over = heads[id(dot.parent)], dot.box, bow.box
        assert mark
        assert over
        finger = min((f.box for f in fingers if f.box), key=lambda b: abs(b[0] + b[2] - over[0] - over[2]))
        assert finger[3] < over[1]
        if mark[3] <= head[1]:  # above: dot, bow, finger from below
            assert over[3] < mark[1] - 40
        assert not near(mark, head, 20)
        assert not near(finger, over, 40)


@pytest.mark.parametrize("value", [a for a in ARTICULATIONS if a not in ("breath", "caesura", "arpeggio")])
def test_each_articulation_is_drawn(heights: Line, value: str) -> None:
    signs = of_kind(placed(heights, (Mark(Kind.ARTICULATION, "b1n3", value),)), "articulation")
    assert len(signs) == (2 if value == "detached legato" else 1)  # a dot and a line


@pytest.mark.parametrize("screen", [True, False])
def test_fingers_and_trills_keep_clear_of_heads_and_slurs(heights: Line, screen: bool) -> None:
    slurs = (Mark(Kind.SLUR, "b1n3", "", "b1n4"), Mark(Kind.SLUR, "b2n1", "", "b2n2"))
    marks = (*on_each(heights, Mark(Kind.FINGER, "b1n1", "1")), Mark(Kind.ORNAMENT, "b2n1", "trill"), *slurs)
    signs = placed(heights, marks, Look(screen=screen))
    moved = [s for s in signs if s.name in ("fing", "trill")]
    assert len(moved) == 9
    solid = [b for s in signs if s.name in ("note", "slur") for b in s.boxes()]
    assert len(solid) > 20
    for sign in moved:
        assert sign.box
        assert not any(near(sign.box, b, 0) for b in solid)
        over = [b for b in solid if b[0] < sign.box[2] and b[2] > sign.box[0]]
        assert not any(near(sign.box, b, 90) for b in over), sign.name  # half a space, 90 drawing units


@pytest.mark.parametrize("bow", [(), (Mark(Kind.BOW, "b2n1", "down"), Mark(Kind.FINGER, "b2n1", "3"))])
def test_a_retake_stands_after_the_bar_line_and_touches_nothing(bow: Marks) -> None:
    music = line("4/4", "alto", "C4 q F4 q C4 q F4 q | F4 q C5 q D4 q C4 q")
    signs = placed(music, (Mark(Kind.RETAKE, "b2n1"), *bow))
    (retake,) = of_kind(signs, "retake")
    (bar, _) = (s.box for s in signs if s.name == "barLine")
    head = next(s for s in signs if s.ident.endswith("b2n1")).box
    assert retake.box
    assert bar
    assert head
    assert retake.box[0] > bar[2] + 20
    assert retake.box[0] < head[0]
    others = [b for s in signs if s is not retake and s.name != "staff" for b in s.boxes()]
    assert not any(near(retake.box, b) for b in others)


def test_the_frame_of_a_note_takes_in_what_stands_on_it_and_strikes_no_words(heights: Line) -> None:
    marks = (
        *on_each(heights, Mark(Kind.BOW, "b1n1", "down"), Mark(Kind.FINGER, "b1n1", "2")),
        Mark(Kind.STRING, "b1n4", "II"),
        Mark(Kind.PART, "b1n4", "middle"),
        Mark(Kind.TEXT, "b2n1", "singing"),
    )
    signs = placed(heights, marks)
    svg = etree.fromstring(engrave(heights, marks, Look()).systems[0].svg.encode())
    frames = {}
    for group in svg.iter("{*}g"):
        if group.get("data-address"):
            x, y, wide, high = (float(group.find("{*}rect").get(k)) for k in ("x", "y", "width", "height"))
            frames[re.sub(r"p\d$", "", group.get("data-address"))] = (x, y, x + wide, y + high)
    events = {e.address: e for e in heights.notes}
    fingers = {e: s.box for e, s in zip(events, of_kind(signs, "finger"), strict=True)}
    for address, finger in fingers.items():
        frame = frames[address]
        assert finger
        if not address.startswith("b2n3") and not address.startswith("b2n4"):  # a chord's frames are shared out
            assert frame[1] < finger[1] - 20, address
            assert frame[0] < finger[0]
            assert frame[2] > finger[2]
    words = [union(s.boxes()) for s in signs if s.kind in ("part", "text")]
    assert len(words) == 2
    for word in words:
        assert word
        for frame in frames.values():
            if frame[0] < word[2] and frame[2] > word[0]:
                assert frame[1] > word[3]


def test_a_bow_sign_under_a_lower_voice_is_upright() -> None:
    music = line("4/4", "alto", "C4 h D4 h & C3 h D3 h")
    low = [e.address for e in music.notes if e.voice == 2]
    signs = placed(music, (Mark(Kind.BOW, low[0], "down"), Mark(Kind.BOW, low[1], "up")))
    staff = next(s.box for s in signs if s.name == "staff")
    assert staff
    bows = of_kind(signs, "bow")
    assert [s.shapes[0].body for s in bows] == ["E610", "E612"]  # SMuFL stringsDownBow, stringsUpBow
    assert all(s.box and s.box[1] > staff[3] - 250 for s in bows)


def test_signs_on_tied_notes_keep_clear_of_the_tie() -> None:
    music = line("4/4", "alto", "C4 q~ C4 e F4 e A4 q~ A4 q | C3 h~ C3 h | G3 h~ G3 h")
    marks = on_each(music, Mark(Kind.ARTICULATION, "b1n1", "soft accent"))
    signs = placed(music, marks)
    ties = [b for s in signs if s.name == "tie" for b in s.boxes()]
    artics = of_kind(signs, "articulation")
    assert len(ties) > 10
    assert len(artics) == 9
    assert not any(s.box and near(s.box, tie) for s in artics for tie in ties)


def test_the_bracket_of_a_tuplet_stands_outside_its_fingers() -> None:
    music = bracketed(line("3/4", "alto", "C4 e3 D4 e3 r e3 F4 e3 E4 e3 r e3 A4 e3 B4 e3 r e3"))
    signs = placed(music, on_each(music, Mark(Kind.FINGER, "b1n1", "3"), Mark(Kind.BOW, "b1n1", "up")))
    brackets = [s.box for s in signs if s.name == "tupletBracket"]
    fingers = of_kind(signs, "finger")
    assert len(brackets) == 3
    assert len(fingers) == 6
    for bracket in brackets:
        assert bracket
        under = [f.box for f in fingers if f.box and bracket[0] < f.box[2] and f.box[0] < bracket[2]]
        assert len(under) == 2
        assert all(box[1] > bracket[3] for box in under)


def bracketed(music: Line) -> Line:
    """The line with a tuplet sign over each three of its triplets."""
    triplets = [e.address for e in music.events if e.value.tuplet]
    ends = {a: ("start", "", "stop")[n % 3] for n, a in enumerate(triplets)}
    events = (replace(e, tuplet_ends=(ends[e.address],)) if ends.get(e.address) else e for e in music.events)
    return replace(music, events=tuple(events))


CROWDED = (
    "F4 g G4 e A4 e B4 q~ B4 e3 C5 e3 D5 e3 C3+G3+E4 q | E5 s D5 s C5 s B4 s A4 e3 F4 e3 D4 e3 C3 q G3+E4 q | "
    "D4 g C3 h~ C3 e A4 e C5+E5 q | F4 e E4 e D4 e C4 e r q B3 q"
)
NOTES = (
    "note",
    "stem",
    "flag",
    "beam",
    "accid",
    "dots",
    "rest",
    "mRest",
    "ledgerLines",
    "clef",
    "keySig",
    "meterSig",
    "tie",
)
PASSED_OVER = ("staff", "barLine", "mNum", "tupletBracket", "tupletNum")  # lines that others may cross


def may_meet(one: Sign, other: Sign) -> bool:
    """Slurs and slides among the notes and each other are left as the engraver of the notes sets them."""
    spans = {one.name, other.name} & {"slur", "gliss"}
    same = bool(one.key) and one.key == other.key
    return same or one is other or bool(spans and ({one.name, other.name} - spans) <= set(NOTES))


@pytest.mark.parametrize("seed", range(4))
def test_nothing_touches_in_crowded_bars(seed: int) -> None:
    music = bracketed(line("4/4", "alto", CROWDED, key=-3))
    look = Look(screen=seed % 2 == 0, width_mm=110 + 20 * seed)
    systems = placed_by_system(music, scattered(music, (), seed, 0.7), look)
    assert len(systems) > 1
    assert sum(s.name not in (*NOTES, *PASSED_OVER) for signs in systems for s in signs) > 30
    for signs in systems:
        solid = [(s, list(s.boxes())) for s in signs if s.name not in PASSED_OVER]
        marks = [pair for pair in solid if pair[0].name not in NOTES]
        for sign, boxes in marks:
            for other, others in solid:
                if not may_meet(sign, other):
                    touching = any(near(a, b) for a in boxes for b in others)
                    assert not touching, (sign.name, sign.kind, other.name, other.kind)
