"""The form of a studio's bow settings: hair, limits, and the weights of the planned reading."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Any

from django import forms

from repertoire.technique.bow_planning import COSTS, PlanCosts
from repertoire.technique.bow_words import NO_TERMS
from repertoire.technique.bowing import BOW, BowSettings
from studio.terms import worded


@dataclass(frozen=True, slots=True)
class Entry:
    """A number that can be set: its name in the dataclass, its words, and its bounds."""

    name: str
    label: str
    least: float
    most: float
    unit: str = ""


SETTINGS = (
    Entry("hair_mm", "Playing hair", 300, 800, "mm"),
    Entry("tempo", "Tempo where none is printed", 20, 300, "beats a minute, of the metre’s own beat"),
    Entry("rest_seconds", "A rest this long lets the bow be set anywhere", 0, 5, "seconds"),
    Entry("fresh_seconds", "After a rest this long one begins as at the start", 0, 30, "seconds"),
    Entry("long_soft_seconds", "A soft stroke longer than this is told", 0.5, 60, "seconds"),
    Entry("long_loud_seconds", "A loud stroke longer than this is told", 0.5, 60, "seconds"),
    Entry("uneven_ratio", "A stroke this many times as fast as its neighbour is told", 1.1, 20, "times"),
    Entry("edge", "Nearer than this is the very frog or tip", 0, 0.25, "of the bow"),
    Entry("sustained_seconds", "A note this long counts as sustained", 0.1, 20, "seconds"),
)
COSTS_SET = (
    Entry("speed", "A speed that fits dynamic and articulation", 0, 100),
    Entry("unmarked_mm_s", "Speed wanted where no dynamic is marked", 20, 2000, "mm a second"),
    Entry("accent_factor", "An accented stroke is faster by", 0.1, 5, "times"),
    Entry("tenuto_factor", "A tenuto stroke is faster by", 0.1, 5, "times"),
    Entry("staccato_factor", "A staccato stroke is faster by", 0.1, 5, "times"),
    Entry("sung", "Long notes with the whole bow", 0, 100),
    Entry("sung_seconds", "Long from", 0.1, 20, "seconds"),
    Entry("short", "Short strokes near the balance point", 0, 100),
    Entry("short_seconds", "Short below", 0.05, 5, "seconds"),
    Entry("balance", "The balance point", 0, 1, "of the bow from the frog"),
    Entry("accent", "Accents towards the frog", 0, 100),
    Entry("soft_end", "Soft ends towards the tip", 0, 100),
    Entry("start", "A start at the frog for a down-bow, at the tip for an up-bow", 0, 100),
    Entry("loud_edge", "No loud sustained note at the very frog or tip", 0, 100),
    Entry("retake", "A short way through the air at a retake", 0, 100),
    Entry("rest", "A short way through the air in a rest", 0, 100),
    Entry("accent_share", "An accented note within a stroke takes more bow", 0.1, 5, "times"),
    Entry("swell_share", "The loud end of a swell takes more bow", 0.1, 5, "times"),
    Entry("fixed", "What is marked is kept", 0, 100000),
)
SPEEDS = tuple(COSTS.wanted_mm_s)


def figure(value: Any) -> str:
    """A number as a field shows it."""
    return f"{float(value):.4f}".rstrip("0").rstrip(".")


class BowSettingsForm(forms.Form):
    """One number field for each entry; `chosen` gives only what differs from the defaults."""

    def __init__(
        self,
        given: Any = None,
        *,
        settings: BowSettings = BOW,
        costs: PlanCosts = COSTS,
        terms: Mapping[str, str] = NO_TERMS,
    ) -> None:
        super().__init__(given)
        self.terms = terms
        for prefix, entries, current, usual in (("s", SETTINGS, settings, BOW), ("c", COSTS_SET, costs, COSTS)):
            for entry in entries:
                self._add(f"{prefix}-{entry.name}", entry, getattr(current, entry.name), getattr(usual, entry.name))
        for level in SPEEDS:
            entry = Entry(level, f"Speed wanted at {level}", 20, 2000, "mm a second")
            self._add(f"v-{level}", entry, costs.wanted_mm_s[level], COSTS.wanted_mm_s[level])

    def _add(self, name: str, entry: Entry, current: Any, usual: Any) -> None:
        words = worded(f"{entry.unit}; ", self.terms) if entry.unit else ""
        self.fields[name] = forms.FloatField(
            label=worded(entry.label, self.terms),
            min_value=entry.least,
            max_value=entry.most,
            initial=figure(current),
            help_text=f"{words}usually {figure(usual)}",
            widget=forms.NumberInput(attrs={"step": "any"}),
        )

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        speeds = [(level, found.get(f"v-{level}")) for level in SPEEDS]
        for (softer, slow), (louder, fast) in pairwise(speeds):
            if slow is not None and fast is not None and slow > fast:
                self.add_error(f"v-{louder}", f"At {louder} the bow is to be no slower than at {softer}.")
        rest, fresh = found.get("s-rest_seconds"), found.get("s-fresh_seconds")
        if rest is not None and fresh is not None and rest > fresh:
            self.add_error(
                "s-fresh_seconds", "This rest can’t be shorter than the one that lets the bow be set anywhere."
            )
        return found

    def chosen(self) -> tuple[dict[str, str], dict[str, Any]]:
        """Settings and costs that differ from the defaults, as they are stored."""
        found = self.cleaned_data
        settings = _differing(SETTINGS, found, "s", BOW)
        costs: dict[str, Any] = dict(_differing(COSTS_SET, found, "c", COSTS))
        speeds = {
            level: figure(found[f"v-{level}"])
            for level in SPEEDS
            if figure(found[f"v-{level}"]) != figure(COSTS.wanted_mm_s[level])
        }
        return settings, costs | ({"wanted_mm_s": speeds} if speeds else {})

    def groups(self) -> list[tuple[str, list[forms.BoundField]]]:
        """The fields under their headings."""
        return [
            ("The bow and its limits", [self[f"s-{e.name}"] for e in SETTINGS]),
            ("The speed wanted at each dynamic", [self[f"v-{level}"] for level in SPEEDS]),
            ("What a planned bowing weighs", [self[f"c-{e.name}"] for e in COSTS_SET]),
        ]


def _differing(entries: tuple[Entry, ...], found: Mapping[str, Any], prefix: str, usual: Any) -> dict[str, str]:
    out = {}
    for entry in entries:
        value = figure(found[f"{prefix}-{entry.name}"])
        if value != figure(Fraction(getattr(usual, entry.name))):
            out[entry.name] = value
    return out
