"""Bow amounts chosen so that a passage stays within the bow and near the speed it asks for.

The planned reading is an optimisation over the whole passage: a dynamic programme over bow
places on a grid of 48ths, exact on that grid and deterministic. What a plan costs stands in
`PlanCosts`, one named term each, so that a teacher can weigh them. What the teacher fixed
outweighs everything else; where it can't be kept the plan says so. The terms are common
practice without a source; their weights are this project's choice.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from .bow_place import NotePlace, Placed, StrokePlace, Wish, lay, tempi_for, wishes
from .bow_words import share_word
from .line import event_address
from .loudness import Loudness, loudness
from .marks import Kind
from .strokes import Bowing, Finding, FindingKind, Stroke, StrokeKind, finding
from .tempi import Tempi

GRID = 48
BLOCK = 256  # strokes whose costs are held in memory at a time
Floats = NDArray[np.float64]
_SPEEDS = {
    "pppp": 90.0, "ppp": 110.0, "pp": 140.0, "p": 180.0, "mp": 220.0,
    "mf": 270.0, "f": 340.0, "ff": 420.0, "fff": 500.0, "ffff": 560.0,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class PlanCosts:
    """Weights and thresholds of the planned reading. Shares and places are 0 to 1, squared
    where a term says so; a weight of 0 takes a term out."""

    # speed: squared natural logarithm of (speed ÷ wanted speed), every stroke
    speed: float = 1.0
    wanted_mm_s: Mapping[str, float] = field(default_factory=lambda: dict(_SPEEDS))
    unmarked_mm_s: float = 240.0  # wanted where no dynamic is marked
    accent_factor: float = 1.25  # an accented stroke goes faster
    tenuto_factor: float = 1.1
    staccato_factor: float = 0.5  # the bow stops for about half of the note
    # sung long notes with the whole bow: squared share left unused, from this length on
    sung: float = 0.8
    sung_seconds: float = 1.2
    # short strokes near the balance point: squared distance of the stroke's middle from it
    short: float = 4.0
    short_seconds: float = 0.4
    balance: float = 0.42
    # accents towards the frog, soft ends towards the tip: squared distance from there
    accent: float = 0.8
    soft_end: float = 0.8
    # a start at the frog for a down-bow, at the tip for an up-bow: squared distance
    start: float = 0.15
    # sustained and loud at the very frog or tip: once for each end of the stroke
    loud_edge: float = 0.3
    # the way through the air at a retake, and where a rest gives time: per bow length
    retake: float = 0.5
    rest: float = 0.05
    # within a stroke: weight of an accented note, and of a crescendo's last note (the first
    # of a diminuendo) against a plain one
    accent_share: Fraction = Fraction(3, 2)
    swell_share: Fraction = Fraction(3, 2)
    # what the teacher fixed: squared miss of the share, distance outside the part
    fixed: float = 5000.0


COSTS = PlanCosts()


def place_planned(bowing: Bowing, tempo: Fraction | float | None = None, costs: PlanCosts = COSTS) -> Placed:
    """The planned places of every note, within 0 to 1. `tempo` is in quarters a minute at the
    beginning and defaults to the bowing's. Teacher's shares are kept to the nearest 48th."""
    tempi = tempi_for(bowing, tempo)
    asked, inner = wishes(bowing)
    loud = loudness(bowing.line, bowing.marks)
    path = _cheapest(bowing, asked, loud, tempi, costs) if bowing.strokes else []
    strokes: list[StrokePlace] = []
    notes: list[NotePlace] = []
    findings: list[Finding] = []
    for stroke, wish, (start, end) in zip(bowing.strokes, asked, path, strict=True):
        share = Fraction(abs(end - start), GRID)
        shares = _shares(stroke, share, inner, loud, tempi, costs)
        found, its_notes = lay(stroke, Fraction(start, GRID), shares, tempi, bowing.settings.hair_mm)
        strokes.append(found)
        notes += its_notes
        if wish.share is not None and abs(share - wish.share) > Fraction(1, GRID):
            text = (
                "The plan can’t keep the amount marked in {where}: "
                f"{share_word(wish.share)} is asked for, {share_word(share)} is there."
            )
            findings.append(finding(bowing.line, stroke.first, FindingKind.PLACE, text))
    return Placed("planned", tuple(strokes), tuple(notes), tuple(findings), tempi.opening, bowing.settings.hair_mm)


def wanted_speeds(bowing: Bowing, loud: Mapping[str, Loudness], costs: PlanCosts) -> list[float]:
    """The speed each stroke asks for by its dynamic and articulation, mm a second."""
    touched: dict[str, set[str]] = {}
    for mark in bowing.marks:
        if mark.kind is Kind.ARTICULATION:
            touched.setdefault(event_address(mark.at), set()).add(mark.value)
    out = []
    for stroke in bowing.strokes:
        levels = [costs.wanted_mm_s.get(loud[m.address].level, costs.unmarked_mm_s) for m in stroke.moments]
        speed = sum(levels) / len(levels)
        words = set().union(*(touched.get(m.address, set()) for m in stroke.moments))
        if loud[stroke.first].accent:
            speed *= costs.accent_factor
        if words & {"staccato", "staccatissimo"}:
            speed *= costs.staccato_factor
        elif "tenuto" in words:
            speed *= costs.tenuto_factor
        out.append(speed)
    return out


def _cheapest(
    bowing: Bowing, asked: list[Wish], loud: Mapping[str, Loudness], tempi: Tempi, costs: PlanCosts
) -> list[tuple[int, int]]:
    """Start and end of every stroke on the grid."""
    parts = _cost_parts(bowing, asked, loud, tempi, costs)
    places = np.arange(GRID + 1)
    distance = np.abs(places[:, None] - places[None, :]) / GRID
    count = len(bowing.strokes)
    came = np.zeros((count, GRID + 1), dtype=np.int64)  # where the stroke that ends here began
    was = np.zeros((count, GRID + 1), dtype=np.int64)  # where the bow was before a start here
    best: Floats = np.zeros(GRID + 1)
    cost: Floats = np.zeros((0, 0, 0))
    for number, stroke in enumerate(bowing.strokes):
        if number % BLOCK == 0:
            cost = parts.assemble(number, number + BLOCK)
        if number == 0:
            begin = best
            was[number] = places
        elif stroke.free or stroke.retake:
            air = (costs.rest if stroke.free else costs.retake) * distance
            reached = best[:, None] + air
            was[number] = reached.argmin(axis=0)
            begin = reached.min(axis=0)
        else:
            begin = best
            was[number] = places
        total = begin[:, None] + cost[number % BLOCK]
        came[number] = total.argmin(axis=0)
        best = total.min(axis=0)
    end = int(best.argmin())
    path: list[tuple[int, int]] = []
    for number in range(count - 1, -1, -1):
        start = int(came[number, end])
        path.append((start, end))
        end = int(was[number, start])
    return path[::-1]


@dataclass(frozen=True)
class _CostParts:
    """Cost of every stroke by what it depends on: arrays (strokes, grid)."""

    by_share: Floats
    by_middle: Floats
    by_start: Floats
    by_end: Floats
    sign: NDArray[np.int64]

    def assemble(self, first: int, last: int) -> Floats:
        """Cost of some strokes for every start and end: array (strokes, start, end)."""
        start, end = np.arange(GRID + 1)[:, None], np.arange(GRID + 1)[None, :]
        block = slice(first, last)
        total = self.by_share[block][:, np.abs(end - start)] + self.by_middle[block][:, start + end]
        total += self.by_start[block][:, :, None] + self.by_end[block][:, None, :]
        wrong = (end - start)[None, :, :] * self.sign[block][:, None, None] < 0
        total[wrong] = np.inf
        return total


def _cost_parts(
    bowing: Bowing, asked: list[Wish], loud: Mapping[str, Loudness], tempi: Tempi, costs: PlanCosts
) -> _CostParts:
    strokes = bowing.strokes
    sign = np.array([s.direction.sign for s in strokes])
    seconds = np.array([max(float(sum(m.seconds(tempi) for m in s.moments)), 1e-3) for s in strokes])
    still = np.array([s.kind is StrokeKind.TREMOLO for s in strokes])
    wanted = np.array(wanted_speeds(bowing, loud, costs))
    grid = np.arange(GRID + 1) / GRID

    by_share = np.zeros((len(strokes), GRID + 1))
    with np.errstate(divide="ignore"):
        ratio = np.log(grid[None, 1:] * bowing.settings.hair_mm / (seconds * wanted)[:, None])
    by_share[:, 1:] += costs.speed * ratio**2
    by_share[:, 0] = np.inf
    by_share[still] = np.inf
    by_share[still, 0] = 0.0
    sung = seconds >= costs.sung_seconds
    by_share[sung] += costs.sung * (1 - grid) ** 2
    for number, wish in enumerate(asked):
        if wish.share is not None and not still[number]:
            by_share[number] += costs.fixed * (grid - float(wish.share)) ** 2

    by_start = np.zeros((len(strokes), GRID + 1))
    by_end = np.zeros((len(strokes), GRID + 1))
    edges = (grid <= bowing.settings.edge) | (grid >= 1 - bowing.settings.edge)
    for number, (stroke, wish) in enumerate(zip(strokes, asked, strict=True)):
        low, high = (float(p) for p in wish.span)
        if wish.part:
            outside = np.maximum(low - grid, 0) + np.maximum(grid - high, 0)
            by_start[number] += costs.fixed * outside
            by_end[number] += costs.fixed * outside
        first, last = loud[stroke.first], loud[stroke.last]
        if first.accent:
            by_start[number] += costs.accent * grid**2
        if _ends_softly(strokes, number, last):
            by_end[number] += costs.soft_end * (1 - grid) ** 2
        if stroke.start:
            edge = 0.0 if stroke.direction.sign > 0 else 1.0
            by_start[number] += costs.start * (grid - edge) ** 2
        if seconds[number] >= bowing.settings.sustained_seconds:
            by_start[number] += costs.loud_edge * (edges & first.is_loud)
            by_end[number] += costs.loud_edge * (edges & last.is_loud)
    short = seconds < costs.short_seconds
    middle = np.arange(2 * GRID + 1) / (2 * GRID)
    by_middle = np.where(short | still, costs.short, 0.0)[:, None] * (middle[None, :] - costs.balance) ** 2
    return _CostParts(by_share, by_middle, by_start, by_end, sign)


def _ends_softly(strokes: tuple[Stroke, ...], number: int, last: Loudness) -> bool:
    """A diminuendo, or a soft note with nothing joined to it."""
    if last.way == "diminuendo":
        return True
    closes = number + 1 == len(strokes) or strokes[number + 1].free
    return closes and last.is_soft and last.way != "crescendo"


def _shares(
    stroke: Stroke, share: Fraction, inner: Mapping[str, Fraction], loud: Mapping[str, Loudness], tempi: Tempi,
    costs: PlanCosts,
) -> list[Fraction]:  # fmt: skip
    """A stroke's share among its moments: by their seconds, more for accents and where it swells."""
    if len(stroke.moments) == 1:
        return [share]
    weights = []
    swelling = {way: [m for m in stroke.moments if loud[m.address].way == way] for way in ("crescendo", "diminuendo")}
    for moment in stroke.moments:
        here = loud[moment.address]
        weight = Fraction(1)
        group = swelling.get(here.way, [])
        if len(group) > 1:
            step = Fraction(group.index(moment), len(group) - 1)
            weight += (costs.swell_share - 1) * (step if here.way == "crescendo" else 1 - step)
        if here.accent and len(stroke.moments) > 1:
            weight *= costs.accent_share
        weights.append(weight * moment.seconds(tempi))
    fixed = {i: inner[m.address] for i, m in enumerate(stroke.moments) if i and m.address in inner}
    left = share - sum(fixed.values(), Fraction(0))
    whole = sum((w for i, w in enumerate(weights) if i not in fixed), Fraction(0))
    if left < 0 or not whole:
        fixed, left, whole = {}, share, sum(weights, Fraction(0))
    if not whole:
        return [share / len(weights)] * len(weights)
    return [fixed.get(i, left * w / whole) for i, w in enumerate(weights)]
