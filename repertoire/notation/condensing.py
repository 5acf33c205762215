"""What a look leaves out of the plain notes: the time signature at the start, written-out empty bars."""

from __future__ import annotations

from collections.abc import Set
from typing import Any

from lxml import etree

from repertoire.technique.line import Bar, Line, event_address

from .excerpt import MEI
from .look import Look


def prepare(root: Any, line: Line, look: Look, marked: Set[str]) -> None:
    """Change the MEI of a line as the look asks. `marked` are addresses that have to stay."""
    if not look.first_meter:
        for sign in root.find(f".//{MEI}scoreDef").iter(MEI + "meterSig"):
            sign.set("visible", "false")
    if not look.empty_bars:
        _collapse(root, line, {event_address(a) for a in marked if a})


def _collapse(root: Any, line: Line, marked: Set[str]) -> None:
    """Runs of two and more empty bars become one rest with their number."""
    measures = dict(zip((b.index for b in line.bars), list(root.iter(MEI + "measure")), strict=True))
    run: list[Bar] = []
    for bar in (*line.bars, None):
        if bar is not None and _is_empty(line, bar, marked) and (not run or _continues(run[-1], bar)):
            run.append(bar)
            continue
        if len(run) > 1:
            _rest(measures[run[0].index], len(run))
            last, first = measures[run[-1].index], measures[run[0].index]
            if last.get("right"):
                first.set("right", last.get("right"))
            for gone in run[1:]:
                measures[gone.index].getparent().remove(measures[gone.index])
        run = [bar] if bar is not None and _is_empty(line, bar, marked) else []


def _is_empty(line: Line, bar: Bar, marked: Set[str]) -> bool:
    events = line.in_bar(bar.index)
    return len(events) == 1 and events[0].is_rest and events[0].whole_bar and events[0].address not in marked


def _continues(before: Bar, bar: Bar) -> bool:
    """Nothing is printed between the two bars that the rest would swallow."""
    same = (before.meter, before.key, before.clefs, before.ending) == (bar.meter, bar.key, bar.clefs, bar.ending)
    plain = len(bar.clefs) == 1 and not (bar.tempos or bar.rehearsal or bar.repeat_start or bar.jump)
    return same and plain and not (before.repeat_end or before.barline or before.jump)


def _rest(measure: Any, bars: int) -> None:
    layer = next(measure.iter(MEI + "layer"))
    for child in list(layer):
        if child.tag in (MEI + "mRest", MEI + "rest", MEI + "space"):
            layer.remove(child)
    etree.SubElement(layer, MEI + "multiRest", num=str(bars))
