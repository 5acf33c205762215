"""What a sign in an exported file means, where MusicXML has no element that says it exactly.

MusicXML lets a note carry an `other-notation`. An exported note carries one, not printed,
for each mark that the standard's own elements can't say or can't say whole; what the eye
sees of it (words, a bracket, a slur, a trill) stands beside it in standard elements. The
text names the kind of mark, its options and its value: `hold`, `part: upper half`,
`ornament; close yes; start upper: trill`. The reader takes it at its word and passes over
the signs that show it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from lxml import etree

from repertoire.technique.marks import Kind, Mark

# An other-direction with one of these texts, not printed, says what the words beside it are.
SHOWN = "shows a sign of the note"
TEMPO = "tempo"
TITLE = "title of the movement"

ON_NOTE = "this note"  # the mark stands on one member of a chord
ALONE = "alone"  # a span that begins and ends on this note
ORNAMENT_TAGS = {
    "trill": "trill-mark", "turn": "turn", "inverted turn": "inverted-turn", "delayed turn": "delayed-turn",
    "mordent": "mordent", "inverted mordent": "inverted-mordent", "shake": "shake",
}  # fmt: skip
DOT_TAGS = {"hooked": "staccato", "portato": "tenuto"}
_KINDS = {str(kind): kind for kind in Kind}


@dataclass(frozen=True, slots=True)
class Meaning:
    """A meaning as read: `step` is start, stop or single; `number` tells open spans apart."""

    kind: Kind
    value: str
    options: tuple[tuple[str, str], ...]
    on_note: bool
    alone: bool
    step: str
    number: str


def say(mark: Mark, *, on_note: bool = False, alone: bool = False) -> str:
    """The text that gives a mark's kind, options and value."""
    parts = [str(mark.kind), *(f"{name} {value}" for name, value in mark.options)]
    parts += [ON_NOTE] * on_note + [ALONE] * alone
    head = "; ".join(parts)
    return f"{head}: {mark.value}" if mark.value else head


def understand(text: str, step: str = "single", number: str = "1") -> Meaning | None:
    """What a text says, None when it isn't one of ours."""
    head, _, value = text.partition(": ")
    name, *rest = head.split("; ")
    if name not in _KINDS or step not in ("start", "stop", "single"):
        return None
    options = [word.partition(" ") for word in rest if word not in (ON_NOTE, ALONE)]
    return Meaning(
        _KINDS[name], value, tuple((o, v) for o, _, v in options), ON_NOTE in rest, ALONE in rest, step, number
    )


def take_out(notations: Iterable[etree._Element]) -> list[Meaning]:
    """The meanings among the notations of a note; they and the signs that show them are taken out."""
    notations = list(notations)
    found = []
    for group in notations:
        for element in group.findall("other-notation"):
            meaning = understand(element.text or "", element.get("type", ""), element.get("number", "1"))
            if meaning is None:
                continue
            group.remove(element)
            found.append(meaning)
    for meaning in found:
        for group in notations:
            _without_sign(group, meaning)
    return found


def purpose(direction: etree._Element) -> str:
    """SHOWN, TEMPO or TITLE where a direction says so, otherwise ""."""
    for element in direction.iterfind("direction-type/other-direction"):
        if element.text in (SHOWN, TEMPO, TITLE):
            return str(element.text)
    return ""


def _without_sign(group: etree._Element, meaning: Meaning) -> None:
    if meaning.kind is Kind.HOOK and meaning.step == "single" and not meaning.alone:
        for dot in group.findall(f"articulations/{DOT_TAGS.get(meaning.value, 'staccato')}"):
            dot.getparent().remove(dot)
        return
    if meaning.kind in (Kind.SLUR, Kind.HOOK, Kind.SLIDE):
        for line in group.findall("slide" if meaning.kind is Kind.SLIDE else "slur"):
            if (line.get("type"), line.get("number", "1")) == (meaning.step, meaning.number):
                group.remove(line)
    elif meaning.kind is Kind.ORNAMENT:
        for sign in group.findall(f"ornaments/{ORNAMENT_TAGS.get(meaning.value, 'trill-mark')}"):
            holder = sign.getparent()
            after = sign.getnext()
            while after is not None and after.tag == "accidental-mark":
                holder.remove(after)
                after = sign.getnext()
            holder.remove(sign)
