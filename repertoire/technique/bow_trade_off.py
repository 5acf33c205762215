"""What a possible bowing gives, asks for and leaves out, each in a sentence.

The figures are those of `bow_facts.py`, set against the bowing it was made from. Nothing is
called better: a teacher weighs it.
"""

from __future__ import annotations

from collections.abc import Collection

from .bow_facts import BowFacts
from .bow_words import place_word
from .line import Line, beat_label
from .marks import Kind, Mark, Marks

_SIGNS = frozenset({Kind.BOW, Kind.RETAKE, Kind.HOOK, Kind.AMOUNT, Kind.PART})
UNEVEN = 2.0  # a stroke less than this many times as fast as its neighbour is not worth a word
NAMED = 6  # bars that are named for signs left out


def trade_off(before: BowFacts, after: BowFacts) -> str:
    """What a bowing gives and what it asks, against the one it was made from."""
    gives: list[str] = []
    asks: list[str] = []

    def weigh(better: bool, given: str, asked: str) -> None:
        (gives if better else asks).append(given if better else asked)

    if after.bow_changes != before.bow_changes:
        fewer, counts = after.bow_changes < before.bow_changes, f"({after.bow_changes} instead of {before.bow_changes})"
        weigh(fewer, f"fewer bow changes {counts}", f"more bow changes {counts}")
    old, new = before.longest_seconds, after.longest_seconds
    if old is not None and new is not None and abs(new - old) > 0.05:
        lasts = f"of {new:.1f} s at most, instead of {old:.1f} s"
        weigh(new < old, f"shorter strokes, {lasts}", f"longer strokes, {lasts}")
    if after.downbeats_down != before.downbeats_down:
        more = after.downbeats_down > before.downbeats_down
        bars, ups = after.downbeats, after.downbeats - after.downbeats_down
        weigh(
            more,
            f"{after.downbeats_down} of {bars} downbeats on a down-bow instead of {before.downbeats_down}",
            f"up-bows on {ups} of {bars} downbeats instead of {before.downbeats - before.downbeats_down or 'none'}",
        )
    if after.retakes != before.retakes:
        count = f"{after.retakes or 'none'} instead of {before.retakes or 'none'}"
        weigh(after.retakes < before.retakes, f"fewer retakes, {count}", f"retakes, {count}")
    old_ratio, new_ratio = before.fastest_ratio or 1.0, after.fastest_ratio or 1.0
    if abs(new_ratio - old_ratio) > 0.25 and max(old_ratio, new_ratio) >= UNEVEN:
        ratio = f"the fastest stroke {new_ratio:.1f} times its neighbour instead of {old_ratio:.1f}"
        weigh(new_ratio < old_ratio, f"a more even speed, {ratio}", f"a quick bow, {ratio}")
    parts = []
    if gives:
        parts.append("Gives " + "; ".join(gives))
    if asks:
        parts.append("Asks for " + "; ".join(asks))
    if after.last_place is not None:
        parts.append(f"The last note ends {after.last_direction}-bow, {_at(place_word(after.last_place))}")
    else:
        parts.append("No bowed note ends it")
    return ". ".join(parts) + "."


def left_out(line: Line, before: Marks, after: Marks, source: Collection[Mark]) -> str:
    """Which bow signs a bowing gives up, the teacher's own first; "" for none. `source` are
    the printed marks. Slurs are what it groups otherwise, and aren't named."""
    kept = set(after)
    gone = [m for m in before if m.kind in _SIGNS and m not in kept and m.at in line]
    own = sorted((m for m in gone if m not in source), key=lambda m: line.order(m.at))
    printed = sorted((m for m in gone if m in source), key=lambda m: line.order(m.at))
    parts = [_named(line, found, whose) for found, whose in ((own, "your"), (printed, "the printed")) if found]
    return f"Leaves out {' and '.join(parts)}." if parts else ""


def _named(line: Line, found: list[Mark], whose: str) -> str:
    """“your up-bow in bar 3, beat 1”, “the printed down-bows on beat 1 of bars 2, 3 and 4”."""
    alike: dict[tuple[str, str], list[Mark]] = {}
    for mark in found:
        event = line.event(mark.at)
        beat = beat_label(line.bar(event.bar).beat(event.onset))
        alike.setdefault((_sign(mark), beat), []).append(mark)
    told = []
    for (sign, beat), marks in alike.items():
        if len(marks) == 1:
            told.append(f"{whose} {sign} in {line.where(marks[0].at)}")
            continue
        bars = list(dict.fromkeys(line.bar_of(m.at).number for m in marks))
        shown, more = bars[:NAMED], len(bars) - NAMED
        last = f"{more} more" if more > 0 else shown.pop() if len(shown) > 1 else ""
        words = ", ".join(shown) + (f" and {last}" if last else "")
        told.append(f"{whose} {_many(sign)} on beat {beat} of {'bars' if len(bars) > 1 else 'bar'} {words}")
    return ", ".join(told)


def _sign(mark: Mark) -> str:
    if mark.kind is Kind.BOW:
        return f"{mark.value}-bow"
    if mark.kind is Kind.HOOK:
        return f"{mark.value} notes"
    return {Kind.RETAKE: "retake", Kind.AMOUNT: "amount of bow", Kind.PART: "part of the bow"}[mark.kind]


def _many(sign: str) -> str:
    """A sign's words for several: down-bows, amounts of bow, hooked notes."""
    if sign.endswith("notes"):
        return sign
    first, _, rest = sign.partition(" ")
    return f"{first}s {rest}".strip()


def _at(word: str) -> str:
    return f"in the {word}" if word.endswith("half") or word == "middle" else f"at the {word}"
