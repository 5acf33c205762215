"""The left-hand line under the notes of a system: fingers, strings, positions, shifts.

Fingers stand under their notes, marked ones upright and bold, implied ones italic and
paler. Below, one row says the string, one the position, each with a line as far as it
holds; a shift is a slanted stroke, rising or falling, dotted where an open string or a
rest hides it. Fingers that can stay down are lines with their number. The drawing counts
in mm from the strip's top left corner and stands under `System.notes`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from html import escape
from typing import Final

from repertoire.technique.fingering import Fingering, Placement
from repertoire.technique.left_hand import Hold, Shift, holds, shifts, without_vibrato
from repertoire.technique.line import event_address
from repertoire.technique.strings import POSITION_WORDS

from .picture import System

INK: Final = "currentColor"  # the page's ink, also in the dark
PALE: Final = 0.72  # implied: on white that is #5f5f5f, 6:1
_TEXT: Final = 3.0  # mm, height of the letters' size
_SMALL: Final = 2.5
_FINGER_ROW: Final = 3.2  # baselines from the strip's top
_STRING_ROW: Final = 7.2
_POSITION_ROW: Final = 10.8
_MORE_ROW: Final = 14.4
_ROW: Final = 3.4
_EM: Final = 0.55  # mean width of a letter, of its size


@dataclass(frozen=True)
class Strip:
    """A drawing for `System.with_strip`, its height, and the same in words."""

    drawing: str
    height_mm: float
    words: str


@dataclass(frozen=True, slots=True)
class _Head:
    placement: Placement
    x: float


def left_hand_strip(
    fingering: Fingering, system: System, *, guides: bool = False, implied: bool = True, hold_lines: bool = True
) -> Strip:
    """The strip for one system. `guides` adds both guide notes of each shift as text,
    `implied` shows what isn't marked (off: only marked fingers, for a page to be printed)."""
    heads = _heads(fingering, system.notes)
    if not heads:
        return Strip("", 0.0, "")
    out: list[str] = []
    for head in heads:
        out += _finger(head, heads, implied)
    if implied:
        out += _row(_runs(heads, _string_words), _STRING_ROW)
        out += _row(_runs(heads, _position_word), _POSITION_ROW)
    at = {head.placement.address: head.x for head in heads}
    here = [s for s in shifts(fingering) if s.end.address in at]
    bottom = _POSITION_ROW if implied else _FINGER_ROW
    if implied:
        out += [_stroke(s, at) for s in here]
    if hold_lines and implied:
        drawn, rows = _hold_lines(holds(fingering), at)
        out += drawn
        bottom += rows * _ROW
    if guides and here:
        drawn, rows = _guides(here, at, bottom + _ROW)
        out += drawn
        bottom += rows * _ROW
    mute = [a for a in without_vibrato(fingering) if a in at and _wanted(fingering, a)]
    if mute:
        bottom += _ROW
        out += [_text(at[a], bottom, "no vib.", _SMALL, anchor="middle") for a in mute]
    return Strip("".join(out), bottom + 1.2, _words(fingering, heads, here))


def _heads(fingering: Fingering, notes: Mapping[str, tuple[float, float]]) -> list[_Head]:
    out = []
    for placement in fingering.placements:
        place = notes.get(placement.address) or notes.get(event_address(placement.address))
        if place is not None:
            out.append(_Head(placement, place[0]))
    return out


def _text(
    x: float, y: float, words: str, size: float = _TEXT, *, anchor: str = "start", share: float = 1, style: str = ""
) -> str:
    place = f' text-anchor="{anchor}"' if anchor != "start" else ""
    pale = f' fill-opacity="{share:g}"' if share != 1 else ""
    return f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size}"{place} fill="{INK}"{pale}{style}>{escape(words)}</text>'


def _finger(head: _Head, heads: list[_Head], implied: bool) -> list[str]:
    placement = head.placement
    if not placement.marked and not implied:
        return []
    together = [h for h in heads if h.placement.moment == placement.moment]
    if len(together) > 1:
        if placement is not together[0].placement:
            return []
        sign = "·".join(_sign(h.placement) for h in together)
        marked = all(h.placement.marked for h in together)
    else:
        sign, marked = _sign(placement), placement.marked
    style = ' font-weight="bold"' if marked else ' font-style="italic"'
    return [_text(head.x, _FINGER_ROW, sign, anchor="middle", share=1 if marked else PALE, style=style)]


def _sign(placement: Placement) -> str:
    sign = str(placement.finger) if placement.leaves is None else f"{placement.finger}-{placement.leaves}"
    return sign + {"forward": "+", "back": "−", "": ""}[placement.extension]


def _position_word(together: list[Placement]) -> str:
    position = together[0].position
    return POSITION_WORDS[position] if position < len(POSITION_WORDS) else f"{position}th"


def _string_words(together: list[Placement]) -> str:
    return "·".join(dict.fromkeys(p.string_name for p in together))


def _runs(heads: list[_Head], label: Callable[[list[Placement]], str]) -> list[tuple[str, float, float, float]]:
    """(label, first x, last x, x where the next run begins) of neighbouring moments with one label."""
    moments: dict[int, list[_Head]] = {}
    for head in heads:
        moments.setdefault(head.placement.moment, []).append(head)
    out: list[tuple[str, float, float, float]] = []
    for together in moments.values():
        word, x = label([h.placement for h in together]), together[0].x
        if out and out[-1][0] == word:
            out[-1] = (word, out[-1][1], x, x)
        else:
            if out:
                out[-1] = (*out[-1][:3], x)
            out.append((word, x, x, x + 12.0))
    if out:
        last = out[-1]
        out[-1] = (last[0], last[1], last[2], last[2] + 12.0)
    return out


def _row(runs: list[tuple[str, float, float, float]], y: float) -> list[str]:
    out = []
    free = -1.0
    for word, first, last, following in runs:
        size = _SMALL if len(word) > 3 else _TEXT
        wide = len(word) * size * _EM
        start = first - min(1.2, wide / 2)
        if start >= free or wide < following - first:
            out.append(_text(max(start, free), y, word, size))
            free = max(start, free) + wide + 0.6
        if last + 1 > free:
            out.append(_rule(free, last + 1, y - 0.9))
            free = last + 1.2
    return out


def _rule(x1: float, x2: float, y: float, *, dotted: bool = False, y2: float | None = None) -> str:
    dash = ' stroke-dasharray="0.5 0.6"' if dotted else ""
    low = y if y2 is None else y2
    return f'<line x1="{x1:.2f}" y1="{y:.2f}" x2="{x2:.2f}" y2="{low:.2f}" stroke="{INK}" stroke-width="0.2"{dash}/>'


def _stroke(shift: Shift, at: Mapping[str, float]) -> str:
    """The slanted stroke of a shift, in the gap before its arrival."""
    end = at[shift.end.address] - 1.4
    start = max(at.get(shift.start.address, end - 3.0) + 1.4, end - 2.6)
    if start >= end - 0.6:
        start = end - 1.2
    low, high = _FINGER_ROW + 0.3, _FINGER_ROW - 2.0
    first, second = (low, high) if shift.positions > 0 else (high, low)
    dash = ' stroke-dasharray="0.5 0.6"' if shift.hidden else ""
    return (
        f'<line class="shift" x1="{start:.2f}" y1="{first:.2f}" x2="{end:.2f}" y2="{second:.2f}" stroke="{INK}" '
        f'stroke-width="0.35"{dash}><title>{escape(shift.sentence)}</title></line>'
    )


def _hold_lines(found: tuple[Hold, ...], at: Mapping[str, float]) -> tuple[list[str], int]:
    """Lines of fingers kept down, on as many rows as overlap; a line may leave the system."""
    rows: list[float] = []
    out = []
    left, right = min(at.values()), max(at.values())
    for hold in found:
        if hold.start not in at and hold.end not in at:
            continue
        x1, x2 = at.get(hold.start, left - 2), at.get(hold.end, right + 2)
        row = next((n for n, end in enumerate(rows) if end + 2 < x1), len(rows))
        rows[row : row + 1] = [x2]
        y = _MORE_ROW + row * _ROW
        out.append(_text(x1, y, str(hold.finger), _SMALL, anchor="middle"))
        out.append(_rule(x1 + 1.0, x2, y - 0.9))
        if hold.end in at:
            out.append(_rule(x2, x2, y - 1.7, y2=y - 0.1))
    return out, len(rows)


def _guides(found: list[Shift], at: Mapping[str, float], y: float) -> tuple[list[str], int]:
    out = []
    free = [-1.0, -1.0]
    used = 0
    for shift in found:
        ways = [f"{g.pitch.label} {g.finger}" for g in (shift.starting, shift.arriving) if g is not None]
        words = "(" + " / ".join(dict.fromkeys(ways)) + ")"
        x = at[shift.end.address] - 6
        row = 0 if x >= free[0] else 1
        x = max(x, free[row])
        out.append(_text(x, y + row * _ROW, words, _SMALL))
        free[row] = x + len(words) * _SMALL * _EM + 1
        used = max(used, row + 1)
    return out, used


def _wanted(fingering: Fingering, address: str) -> bool:
    found = fingering.by_address[address]
    return fingering.moments[found.moment].vibrato


def _words(fingering: Fingering, heads: list[_Head], here: list[Shift]) -> str:
    """The strip for a screen reader: runs of string and position, then the shifts."""
    runs = _runs(heads, lambda g: f"string {_string_words(g)}, {_position_word(g)} position")
    parts = ["; ".join(word for word, *_ in runs)]
    parts += [f"shift at {fingering.where(s.end.address)}: {s.sentence}" for s in here]
    return ". ".join(parts) + "."
