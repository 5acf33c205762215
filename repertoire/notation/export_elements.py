"""The elements of MusicXML that marks are written with: directions, words, meanings on a note."""

from __future__ import annotations

from typing import Any

from lxml import etree


def element(tag: str, text: str | None = None, /, **attributes: Any) -> Any:
    made = etree.Element(
        tag, {k.rstrip("_").replace("_", "-"): str(v) for k, v in attributes.items() if v not in ("", None)}
    )
    made.text = text
    return made


def words(text: str, style: str = "") -> Any:
    return element(
        "words", printable(text), font_style="italic" if style == "italic" else "",
        font_weight="bold" if style == "bold" else "",
    )  # fmt: skip


def printable(text: str) -> str:
    """Text without the characters that XML can't hold."""
    return "".join(
        c for c in text if c in "\t\n" or (c >= " " and not "\ud800" <= c <= "\udfff" and c not in "\ufffe\uffff")
    )


def meaning(text: str, step: str, number: int = 0) -> Any:
    return element("other-notation", printable(text), type=step, number=number or "", print_object="no")


def direction(*kinds: Any, place: str = "", voice: int | None = None, purpose: str = "", sound: Any = None) -> Any:
    """A direction of one or several types; `purpose` (of `meanings.py`) is added unseen."""
    made = element("direction", placement=place)
    for kind in kinds:
        etree.SubElement(made, "direction-type").append(kind)
    if purpose:
        etree.SubElement(made, "direction-type").append(element("other-direction", purpose, print_object="no"))
    if voice is not None:
        etree.SubElement(made, "voice").text = str(voice)
    if sound is not None:
        made.append(sound)
    return made
