"""Several lines of the same bars as staves of one system, in MEI."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from lxml import etree

from .excerpt import MEI, XML_ID

_TOP_ONLY = frozenset({MEI + "tempo", MEI + "reh", MEI + "dir", MEI + "repeatMark"})
_LABEL_LENGTH = 28


def rename(root: Any, staff: int) -> None:
    """Give every id of a line's MEI a prefix, so that the lines can stand in one document."""
    for element in root.iter():
        for name in (XML_ID, "startid", "endid"):
            value = element.get(name)
            if value:
                mark = "#" if value.startswith("#") else ""
                element.set(name, f"{mark}v{staff}_{value.removeprefix('#')}")


def join(roots: Sequence[Any], labels: Sequence[str]) -> None:
    """Put the staves of all lines into the first one's MEI, bracketed and labelled."""
    top = roots[0]
    group = top.find(f".//{MEI}staffGrp")
    group.set("symbol", "bracket")
    group.set("bar.thru", "false")
    for number, (root, label) in enumerate(zip(roots, labels, strict=True), 1):
        definition = root.find(f".//{MEI}staffDef")
        for old in [*definition.findall(MEI + "label"), *definition.findall(MEI + "labelAbbr")]:
            definition.remove(old)
        short = label if len(label) <= _LABEL_LENGTH else label[: _LABEL_LENGTH - 1] + "…"
        for tag, text in ((MEI + "labelAbbr", chr(64 + number)), (MEI + "label", short)):
            made = etree.Element(tag)
            made.text = text
            definition.insert(0, made)
        definition.set("n", str(number))
        if number > 1:
            group.append(definition)
    measures = [list(root.iter(MEI + "measure")) for root in roots]
    for number, others in enumerate(measures[1:], 2):
        for target, source in zip(measures[0], others, strict=True):
            place = target.findall(MEI + "staff")[-1]
            for child in list(source):
                if child.tag == MEI + "staff":
                    child.set("n", str(number))
                    place.addnext(child)
                    place = child
                elif child.tag not in _TOP_ONLY or "mark" in (child.get("type") or ""):
                    child.set("staff", str(number))
                    if "mark" not in (child.get("type") or ""):
                        child.set("type", f"on{number}")
                    target.append(child)
