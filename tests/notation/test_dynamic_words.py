"""Words that belong to a dynamic stand with it on one line, in the order they are read."""

import pytest
from lxml import etree

from repertoire.notation.engraving import Look
from repertoire.notation.exporting import Heading, write_musicxml
from repertoire.notation.ink import Sign
from repertoire.notation.musicxml import read_part
from repertoire.notation.signs import speak
from repertoire.technique.dynamic_words import leads, measuring
from repertoire.technique.fingering import complete
from repertoire.technique.line import Line
from repertoire.technique.marks import Kind, Mark, Marks
from repertoire.technique.open_strings import right_hand
from repertoire.technique.slow import slow
from tests.notation.placed_signs import placed, placed_together
from tests.notation.schema import faults
from tests.notation.small_files import FOUR as HEAD
from tests.notation.small_files import bars, direction, note, score
from tests.technique.lines import line

ABOVE = (("place", "above"),)
BELOW = (("place", "below"), ("style", "italic"))
FOUR = "C4 q D4 q E4 q F4 q | G4 q A4 q B4 q C5 q"


@pytest.fixture
def scale() -> Line:
    return line("4/4", "alto", FOUR)


def words(at: str, text: str, **options: str) -> Mark:
    return Mark(Kind.TEXT, at, text, options=tuple({**dict(BELOW), **options}.items()))


def drawn(signs: list[Sign]) -> list[tuple[str, float, float, str]]:
    """Kind, left edge, base line and text of each text and dynamic sign, in drawing units."""
    return [
        (s.kind, s.shapes[0].x + s.dx, s.shapes[0].y + s.dy, s.shapes[0].body if s.kind == "text" else "")
        for s in signs
        if s.kind in ("text", "dynamic")
    ]


@pytest.mark.parametrize(
    ("text", "before"),
    [  # [C] as the words are printed with dynamics
        ("poco", True), ("un poco", True), ("più", True), ("Meno", True), ("sempre", True), ("non troppo", True),
        ("poco più", True), ("sehr", True), ("toujours", True), ("dolce", False), ("espress.", False),
        ("ma non troppo", False), ("cresc. molto", False), ("poco a poco cresc.", False), ("subito", False),
        ("assai", False), ("", False),
    ],
)  # fmt: skip
def test_words_tell_whether_they_lead(text: str, before: bool) -> None:
    assert leads(text) is before


@pytest.mark.parametrize("screen", [True, False])
@pytest.mark.parametrize(
    ("text", "value", "before"),
    [("poco", "f", True), ("più", "p", True), ("sempre", "pp", True), ("dolce", "f", False)],
)
def test_they_stand_on_the_dynamic_s_line(scale: Line, screen: bool, text: str, value: str, before: bool) -> None:
    marks = (Mark(Kind.DYNAMIC, "b1n2", value), words("b1n2", text))
    found = {kind: (x, y) for kind, x, y, _ in drawn(placed(scale, marks, Look(screen=screen)))}
    assert found["text"][1] == found["dynamic"][1]  # one base line
    assert (found["text"][0] < found["dynamic"][0]) is before


def test_words_on_both_sides_keep_their_order(scale: Line) -> None:
    marks = (
        Mark(Kind.DYNAMIC, "b1n2", "f"),
        words("b1n2", "più"),
        words("b1n2", "marcato"),
        words("b1n2", "sempre", order="after"),
    )
    found = sorted((x, text) for _, x, _, text in drawn(placed(scale, marks)))
    assert [text for _, text in found] == ["più", "", "marcato", "sempre"]


def test_leading_words_join_wherever_they_were_put_but_others_stay_above(scale: Line) -> None:
    marks = (
        Mark(Kind.DYNAMIC, "b1n1", "f"),
        Mark(Kind.TEXT, "b1n1", "poco", options=(("place", "above"),)),
        Mark(Kind.TEXT, "b1n1", "warm", options=(("place", "above"),)),
    )
    high = {text: y for _, _, y, text in drawn(placed(scale, marks))}
    assert high["poco"] == high[""]
    assert high["warm"] < high["poco"] - 720


def test_a_hairpin_ends_before_the_words_and_begins_after_them(scale: Line) -> None:
    plain: Marks = (
        Mark(Kind.HAIRPIN, "b1n1", "crescendo", "b1n4"),
        Mark(Kind.DYNAMIC, "b1n4", "f"),
        Mark(Kind.HAIRPIN, "b1n4", "diminuendo", "b2n4"),
    )
    marks = (*plain, words("b1n4", "più"), words("b1n4", "dolce"))
    signs = placed(scale, marks)
    first, second = (s.box for s in signs if s.name == "hairpin")
    assert first
    assert second
    at = {text: x for _, x, _, text in drawn(signs)}
    assert first[2] < at["più"]
    assert second[0] > at["dolce"] + 600  # "dolce" is 650 drawing units wide [A: 1,944 thousandths at size 333]
    assert second[2] - second[0] > 1000


def test_compared_markings_have_them_on_the_top_staff(scale: Line) -> None:
    marks = (Mark(Kind.DYNAMIC, "b1n2", "f"), words("b1n2", "poco"))
    found = drawn(placed_together([("One", scale, marks), ("Two", scale, marks)]))
    assert [kind for kind, _, _, _ in found] == ["dynamic", "text"]
    assert found[0][2] == found[1][2]


def test_they_are_spoken_in_the_order_they_are_read(scale: Line) -> None:
    marks = (Mark(Kind.DYNAMIC, "b1n1", "f"), words("b1n1", "poco"), words("b1n1", "dolce"))
    assert speak(scale, marks, "b1n1") == "bar 1, first note, C4, “poco”, forte, “dolce”"


@pytest.mark.parametrize(
    ("inner", "expected"),
    [
        ("<dynamics><other-dynamics>poco </other-dynamics><f/></dynamics>", {"poco": ""}),
        ("<dynamics><p/><other-dynamics> dolce</other-dynamics></dynamics>", {"dolce": ""}),
        ("<dynamics><other-dynamics>espress. sempre </other-dynamics><pp/></dynamics>", {"espress. sempre": "before"}),
        ("<dynamics><p/><other-dynamics>sempre</other-dynamics></dynamics>", {"sempre": "after"}),
        (
            "<words>pi\u00f9</words></direction-type><direction-type><dynamics><f/></dynamics></direction-type>"
            "<direction-type><words>marcato</words>",
            {"pi\u00f9": "", "marcato": ""},
        ),
    ],
)
def test_a_file_tells_the_order(inner: str, expected: dict[str, str]) -> None:
    data = score(bars(HEAD + direction(inner) + note("C4", 16, "whole")))
    printed = read_part(data, "file.musicxml", 1).movements[0].printed
    assert {m.value: m.option("order") for m in printed if m.kind is Kind.TEXT} == expected
    assert all(m.option("place") == "below" for m in printed if m.kind is Kind.TEXT)


def test_an_export_holds_them_in_one_direction_and_reads_back(scale: Line) -> None:
    marks = tuple(
        sorted(
            (Mark(Kind.DYNAMIC, "b1n2", "f"), words("b1n2", "più"), words("b1n2", "espress."), words("b1n3", "simile"))
        )
    )
    data = write_musicxml([(scale, marks)], Heading(title="A Study")).data
    assert read_part(data, "out.musicxml", 1).movements[0].printed == marks
    (together,) = (d for d in etree.fromstring(data).iter("direction") if d.find(".//dynamics") is not None)
    assert [kind[0].tag for kind in together.iter("direction-type")] == ["words", "dynamics", "words"]
    assert [w.text for w in together.iter("words")] == ["più", "espress."]


@pytest.mark.parametrize(
    ("texts", "seen"),
    [
        ((Mark(Kind.TEXT, "b1n2", "poco", options=(("place", "above"), ("style", "plain"))),), ["poco", "f"]),
        ((Mark(Kind.TEXT, "b1n2", "poco"), words("b1n2", "dolce")), ["poco", "f", "dolce"]),
        ((words("b1n2", "dolce"), Mark(Kind.TEXT, "b1n2", "più", options=ABOVE)), ["più", "f", "dolce"]),
        ((words("b1n2", "dolce", style="plain"), words("b1n2", "sempre")), ["sempre", "f", "dolce"]),
        ((words("b1n2", "sempre", order="after"),), ["f", "sempre"]),
    ],
)  # fmt: skip
def test_the_teacher_s_own_words_are_seen_in_the_file_beside_the_dynamic_too(
    scale: Line, texts: tuple[Mark, ...], seen: list[str]
) -> None:
    marks = tuple(sorted((Mark(Kind.DYNAMIC, "b1n2", "f"), *texts)))
    data = write_musicxml([(scale, marks)], Heading(title="A Study")).data
    assert faults(data) == []
    assert read_part(data, "out.musicxml", 1).movements[0].printed == marks
    (together,) = (d for d in etree.fromstring(data).iter("direction") if d.find(".//dynamics") is not None)
    shown = [e.text if e.tag == "words" else e[0].tag for e in together.iter("words", "dynamics")]
    assert shown == seen


def test_practice_staves_keep_the_words_without_which_a_dynamic_says_something_else(scale: Line) -> None:
    dynamic, poco, dolce = Mark(Kind.DYNAMIC, "b1n1", "f"), words("b1n1", "poco"), words("b1n1", "dolce")
    marks = (dynamic, poco, dolce, words("b1n3", "più"))
    assert measuring(marks) == {poco}
    assert set(slow(scale, marks, slurs="as marked").marks) == {dynamic, poco}
    assert set(right_hand(scale, marks, complete(scale, (), "viola")).marks) == {dynamic, poco}
