"""The three answers to an uneven rhythm, for one place: uneven speed, a hook, a retake.

A long note and the short one after it either share the bow equally (the short one is then
faster), or go in one bow, or keep one speed and the bow is lifted back. Common practice,
without a source; the numbers are arithmetic. Nothing is hooked to an ornament, so there two stay.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction
from itertools import pairwise

from .bow_place import even_rate, wishes
from .bow_words import share_figure, share_word
from .bowing import read_strokes
from .line import Line, LineError, event_address
from .marks import Kind, Mark, Marks
from .spans import ends
from .strokes import BOW, Bowing, BowSettings, Direction, Moment, StrokeKind


class UnevenError(ValueError):
    """The place chosen has no long and short note beside each other; the message says so."""


@dataclass(frozen=True)
class UnevenAnswer:
    """One answer. Speeds are mm a second (None under a fermata), `ratio` the short note's speed
    over the long one's, `travel` the share of the bow by which both together move the bow in
    the long note's direction before any lift, `lift_mm` the way through the air, `cuts` the
    slurs and hooked groups that had to be cut."""

    name: str  # "uneven speed", "hook", "retake"
    marks: Marks
    long: str
    short: str
    long_share: Fraction
    short_share: Fraction
    long_mm_s: float | None
    short_mm_s: float | None
    ratio: Fraction
    travel: Fraction
    lift_mm: float
    next_direction: Direction
    sentence: str
    cuts: Marks = ()

    @property
    def marks_with_amounts(self) -> Marks:
        """The marks with the amounts the answer counts on written at both notes, for a picture."""
        amounts = {self.long: self.long_share, self.short: self.short_share}
        if any(m.kind is Kind.HOOK and m.at == self.long for m in self.marks):
            amounts = {self.long: self.long_share + self.short_share, self.short: self.short_share}
        others = (m for m in self.marks if m.kind is not Kind.AMOUNT or event_address(m.at) not in amounts)
        return tuple(sorted({*others, *(Mark(Kind.AMOUNT, at, str(share)) for at, share in amounts.items())}))


def uneven_answers(
    line: Line, marks: Marks, address: str, tempo: Fraction | float | None = None, settings: BowSettings = BOW
) -> tuple[UnevenAnswer, ...]:
    """The three answers at the long or the short note of a pair, without the hook where one of
    them has an ornament. Raises UnevenError.

    The long note's share is the teacher's amount, or what the even reading gives it.
    """
    bowing = read_strokes(line, marks, settings, tempo)
    long, short, after = _pair(bowing, address)
    stroke = bowing.stroke_at(long.address)
    assert stroke is not None
    way = stroke.direction
    asked = wishes(bowing)[0][stroke.number - 1].share
    alone = len(stroke.moments) == 1
    share = asked if asked is not None and alone else min(Fraction(1), even_rate(bowing) * long.beats)
    small = share * short.beats / long.beats
    fixed = asked is not None and alone
    together = share if fixed else min(Fraction(1), share + small)
    pulled = together * long.beats / (long.beats + short.beats)
    base, cuts = _cleared(line, marks, long, short, after)
    first = Mark(Kind.BOW, long.address, way.value)

    def answer(
        name: str, new: tuple[Mark, ...], shares: tuple[Fraction, Fraction], turn: int, lift: Fraction,
        following: Direction, sentence: str,
    ) -> UnevenAnswer:  # fmt: skip
        speeds = [_speed(bowing, m, s) for m, s in zip((long, short), shares, strict=True)]
        ratio = (shares[1] / short.beats) / (shares[0] / long.beats)
        return UnevenAnswer(
            name, tuple(sorted({*base, first, *new})), long.address, short.address, *shares, speeds[0], speeds[1],
            ratio, shares[0] + turn * shares[1], float(lift) * settings.hair_mm, following, sentence, cuts,
        )  # fmt: skip

    # As much bow for the short note has to be said where the long one's amount is marked.
    as_much = [Mark(Kind.AMOUNT, short.address, str(share))] if fixed else []
    times = share_figure(long.beats / short.beats)
    lifted = [Mark(Kind.RETAKE, after.address), Mark(Kind.BOW, after.address, way.value)] if after else []
    answers = (
        answer(
            "uneven speed", (Mark(Kind.BOW, short.address, way.other.value), *as_much), (share, share), -1,
            Fraction(0), way,
            f"The short note takes as much bow as the long one, {times} times as fast; the bow is back where it was.",
        ),
        answer(
            "hook", (Mark(Kind.HOOK, long.address, "hooked", short.address),), (pulled, together - pulled), 1,
            Fraction(0), way.other,
            f"Both go {way} at one speed with a stop between; the next stroke goes {way.other}.",
        ),
        answer(
            "retake", (Mark(Kind.BOW, short.address, way.other.value), *lifted), (share, small), -1, share - small, way,
            f"Both keep one speed; the bow is lifted back by {share_word(share - small)} before the next note, "
            f"after a short note of {float(short.seconds(bowing.tempi)):.1f} s.",
        ),
    )  # fmt: skip
    ornate = _has_ornament(marks, _events(long, short))
    return tuple(a for a in answers if not (ornate and a.name == "hook"))


QUICK_SECONDS = Fraction(2, 5)  # a short note under this is a quick one


class PairKind(StrEnum):
    """Which places are worth a look first."""

    QUICK = "quick dotted rhythms"
    DOTTED = "other dotted rhythms"
    OTHER = "other long and short notes"
    SLURRED = "under a slur, or where one would be cut"
    ORNATE = "with an ornament, where nothing is hooked"


@dataclass(frozen=True, slots=True)
class UnevenPair:
    """A longer note with a shorter one right after it."""

    long: Moment
    short: Moment
    kind: PairKind


def uneven_pairs(bowing: Bowing, also: str = "") -> tuple[UnevenPair, ...]:
    """The longer notes with a shorter one right after them, each written pair once, in the order
    of their kinds and then in playing order, quick ones in separate bows first. Calm pairs (a
    half and a quarter, a quarter and a dotted eighth) are left out where there are others, but
    for one with the note `also`."""
    moments = [m for s in bowing.strokes for m in s.moments if m.pass_number == 1]
    groups = [_covered(bowing.line, m) for m in bowing.marks if m.kind in (Kind.SLUR, Kind.HOOK)]
    found = [UnevenPair(a, b, _pair_kind(bowing, groups, a, b)) for a, b in pairwise(moments) if _is_pair(a, b)]
    if any(not _is_calm(pair) for pair in found):
        asked = {event_address(also)} if also else set()
        found = [pair for pair in found if not _is_calm(pair) or asked & _events(pair.long, pair.short)]
    kinds = tuple(PairKind)
    return tuple(
        sorted(found, key=lambda p: (kinds.index(p.kind), p.kind is PairKind.QUICK and _in_one_bow(bowing, p)))
    )


def _is_calm(pair: UnevenPair) -> bool:
    """Hardly uneven: less than two to one, or less than three to one with a short note of a beat or more."""
    ratio = pair.long.beats / pair.short.beats
    return ratio < 2 or (ratio < 3 and pair.short.beats >= 1)


def _in_one_bow(bowing: Bowing, pair: UnevenPair) -> bool:
    return bowing.stroke_at(pair.long.address) is bowing.stroke_at(pair.short.address)


def _pair_kind(bowing: Bowing, groups: list[set[str]], long: Moment, short: Moment) -> PairKind:
    here = _events(long, short)
    if _has_ornament(bowing.marks, here):
        return PairKind.ORNATE
    if any(group & here and group - here for group in groups):
        return PairKind.SLURRED
    dotted = bool(long.main.value.dots)
    quick = short.beats <= Fraction(1, 2) and short.seconds(bowing.tempi) < QUICK_SECONDS
    if dotted and quick and long.beats >= 3 * short.beats:
        return PairKind.QUICK
    stroke = bowing.stroke_at(long.address)
    if stroke is not None and stroke is bowing.stroke_at(short.address) and stroke.kind is StrokeKind.SLURRED:
        return PairKind.SLURRED
    return PairKind.DOTTED if dotted and long.beats >= 2 * short.beats else PairKind.OTHER


def _events(*moments: Moment) -> set[str]:
    return {e.address for m in moments for e in m.events}


def _has_ornament(marks: Marks, addresses: set[str]) -> bool:
    return any(m.kind is Kind.ORNAMENT and event_address(m.at) in addresses for m in marks)


def _is_pair(long: Moment, short: Moment) -> bool:
    return bool(short.beats) and long.beats > short.beats and not short.continues and long.end == short.onset


def _pair(bowing: Bowing, address: str) -> tuple[Moment, Moment, Moment | None]:
    """The long and the short moment around an address, and the moment after them."""
    try:
        wanted = event_address(bowing.line.event(address).address)
    except LineError as error:
        raise UnevenError(str(error)) from None
    moments = [m for s in bowing.strokes for m in s.moments if m.pass_number == 1]
    spot = next((i for i, m in enumerate(moments) if any(e.address == wanted for e in m.events)), None)
    if spot is None:
        raise UnevenError(f"The bow plays nothing in {bowing.line.where(wanted)}.")
    for first in (spot, spot - 1):
        if first >= 0 and first + 1 < len(moments):
            long, short = moments[first], moments[first + 1]
            if _is_pair(long, short):
                return long, short, moments[first + 2] if first + 2 < len(moments) else None
    raise UnevenError(f"No longer note stands right before a shorter one in {bowing.line.where(wanted)}.")


def _cleared(line: Line, marks: Marks, long: Moment, short: Moment, after: Moment | None) -> tuple[list[Mark], Marks]:
    """The marks without directions, groups and amounts that would decide the place already, and
    the groups that were cut for it; what is left of a slur before or after stays."""
    inside, shorts = _events(long, short), _events(short)
    next_ones = _events(after) if after else set()
    out: list[Mark] = []
    cuts: list[Mark] = []
    for mark in marks:
        at = event_address(mark.at)
        if mark.kind in (Kind.SLUR, Kind.HOOK) and (covered := _covered(line, mark)) & inside:
            out += _left_of(line, mark, inside)
            if covered - inside:
                cuts.append(mark)
            continue
        turns = mark.kind in (Kind.BOW, Kind.RETAKE) and at in inside | next_ones
        amounts = mark.kind in (Kind.AMOUNT, Kind.PART) and at in shorts
        if not (turns or amounts):
            out.append(mark)
    return out, tuple(sorted(cuts))


def _span(line: Line, mark: Mark) -> list[str]:
    """The notes a slur or group covers, in order, in its own voice."""
    found = ends(line, mark)
    if found is None:
        return []
    first, last = found
    return [
        e.address for e in line.between(first.address, last.address)
        if e.pitches and not e.grace and e.voice == first.voice
    ]  # fmt: skip


def _covered(line: Line, mark: Mark) -> set[str]:
    return set(_span(line, mark))


def _left_of(line: Line, mark: Mark, inside: set[str]) -> list[Mark]:
    """What stays of a slur on either side of some of its notes, where two notes or more do."""
    notes = _span(line, mark)
    taken = [n for n, address in enumerate(notes) if address in inside]
    before, after = notes[: taken[0]], notes[taken[-1] + 1 :]
    enters = mark.at not in line
    leaves = mark.to not in line
    out = []
    if len(before) > 1 or (before and enters):
        out.append(replace(mark, to=before[-1]))
    if len(after) > 1 or (after and leaves):
        out.append(replace(mark, at=after[0]))
    return out


def _speed(bowing: Bowing, moment: Moment, share: Fraction) -> float | None:
    if moment.fermata or not moment.beats:
        return None
    return float(share / moment.seconds(bowing.tempi)) * bowing.settings.hair_mm
