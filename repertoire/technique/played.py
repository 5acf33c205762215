"""The played order of a line: through repeats, endings, da capo and dal segno.

Addresses and print follow the written order; bow, time and playback follow this one.
After a da capo or dal segno repeats are not taken again and the last ending is played,
as is the custom. A repeat whose beginning lies outside the line is played once.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from .line import Bar, Event, Line


@dataclass(frozen=True, slots=True)
class PlayedBar:
    """A bar as it comes in playing. `pass_number` counts from 1 how often it has come; `onset`
    is its start in played time, quarter notes; `after_jump` tells that the bar before it in
    playing isn't the bar before it on paper."""

    bar: Bar
    pass_number: int
    onset: Fraction
    after_jump: bool


@dataclass(frozen=True, slots=True)
class Played:
    """An event as it comes in playing; `onset` in played quarter notes from the line's start."""

    event: Event
    pass_number: int
    onset: Fraction
    after_jump: bool  # stands in a bar that follows a jump


def _ending_group(bars: tuple[Bar, ...], place: int) -> tuple[Bar, ...]:
    """The neighbouring bars that make first, second, … endings of one repeat."""
    first = last = place
    while first > 0 and bars[first - 1].ending and min(bars[first - 1].ending) <= min(bars[first].ending):
        first -= 1
    while last + 1 < len(bars) and bars[last + 1].ending and min(bars[last + 1].ending) >= min(bars[last].ending):
        last += 1
    return bars[first : last + 1]


def played_bars(line: Line) -> tuple[PlayedBar, ...]:
    """The bars of a line in the order they are played."""
    bars = line.bars
    out: list[PlayedBar] = []
    seen: dict[int, int] = {}
    onset = Fraction(0)
    place, start, turn = 0, 0, 1
    start_known = bool(bars) and (bars[0].index == 1 or bars[0].repeat_start)
    gone_back = False  # after da capo or dal segno
    came_from = -1
    while place < len(bars):
        bar = bars[place]
        if bar.repeat_start and place != start:
            start, turn, start_known = place, 1, True
        if bar.ending:
            group = _ending_group(bars, place)
            wanted = max(max(b.ending) for b in group) if gone_back else turn
            if wanted not in bar.ending and any(wanted in b.ending for b in group):
                place += 1
                continue
        elif place and bars[place - 1].ending and came_from == place - 1:
            start, turn, start_known = place, 1, True
        seen[bar.index] = seen.get(bar.index, 0) + 1
        out.append(PlayedBar(bar, seen[bar.index], onset, came_from != place - 1))
        onset += bar.length
        came_from = place
        if bar.repeat_end and not gone_back:
            group = _ending_group(bars, place) if bar.ending else ()
            times = max([bar.repeat_end, *(n for b in group for n in b.ending)])
            if turn < times:
                turn += 1
                if start_known:
                    place = start
                    continue
            elif not bar.ending:
                start, turn, start_known = place + 1, 1, True
        if gone_back and bar.jump == "fine":
            break
        if gone_back and bar.jump == "tocoda":
            place = next((i for i, b in enumerate(bars) if b.jump == "coda" and i > place), place + 1)
            continue
        if bar.jump in ("dacapo", "dalsegno") and not gone_back:
            signs = [0] if bar.jump == "dacapo" else [i for i, b in enumerate(bars[:place]) if b.jump == "segno"]
            if signs and (bar.jump == "dalsegno" or bars[0].index == 1):
                gone_back = True
                place = signs[-1]
                continue
        place += 1
    return tuple(out)


def played(line: Line) -> tuple[Played, ...]:
    """The events of a line, rests included, in the order they are played."""
    by_bar: dict[int, list[Event]] = {}
    for event in line.events:
        by_bar.setdefault(event.bar, []).append(event)
    return tuple(
        Played(event, b.pass_number, b.onset + event.onset, b.after_jump)
        for b in played_bars(line)
        for event in by_bar.get(b.bar.index, ())
    )


def played_length(line: Line) -> Fraction:
    """Quarter notes from the first to the last played bar's end."""
    bars = played_bars(line)
    return bars[-1].onset + bars[-1].bar.length if bars else Fraction(0)
