"""A measured thing with its goal, how to measure it, and the table that `make bench` prints."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Figure:
    """One measured thing; `goal` is the most it may be, None when there is none."""

    what: str
    value: float
    unit: str
    goal: float | None = None

    @property
    def missed(self) -> bool:
        return self.goal is not None and self.value > self.goal


def seconds(work: Callable[[], object]) -> float:
    begun = time.perf_counter()
    work()
    return time.perf_counter() - begun


def least(action: Callable[[], object], times: int = 5) -> float:
    """Processor seconds of the quickest of several runs: other work on the machine counts less."""
    best = float("inf")
    for _ in range(times):
        start = time.process_time()
        action()
        best = min(best, time.process_time() - start)
    return best


def show(figures: Iterable[Figure]) -> None:
    figures = list(figures)
    wide = max(len(figure.what) for figure in figures)
    for figure in figures:
        shown = f"{figure.value:.2f}" if figure.unit in {"×", "s"} else f"{figure.value:.0f}"
        goal = (
            ""
            if figure.goal is None
            else f"at most {figure.goal:g} {figure.unit}: {'MISSED' if figure.missed else 'met'}"
        )
        print(f"{figure.what:<{wide}}  {shown:>7} {figure.unit:<2}  {goal}".rstrip())
