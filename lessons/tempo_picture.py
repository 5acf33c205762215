"""The picture of a tempo over time: one line, the goal as a dashed line, marking changes as signs.

Drawn with presentation attributes and classes only, so that it needs no inline style, and
in black with shapes, so that it reads on a grey printer. Its numbers stand beside it as text.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from html import escape

from lessons.history import TempoCourse

WIDTH, HEIGHT = 640, 190
LEFT, RIGHT, TOP, BOTTOM = 44, 56, 22, 34
CHANGES = 20  # the row of change signs between the line and its dates, where there are any


def tempo_picture(course: TempoCourse) -> str:
    """The course as an <svg> element of 640 by 190 units, 20 higher with changes, or "" with fewer than two tempi."""
    if len(course.points) < 2:
        return ""
    first, last = course.points[0].day, course.points[-1].day
    tempi = [p.tempo for p in course.points] + ([course.goal] if course.goal else [])
    low, high = _bounds(min(tempi), max(tempi))

    def x(day: date) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * ((day - first).days / max(1, (last - first).days))

    def y(tempo: float) -> float:
        return HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * (tempo - low) / (high - low)

    changes = [(number, day) for number, (day, _) in enumerate(course.changes, 1) if first <= day <= last]
    height = HEIGHT + (CHANGES if changes else 0)
    parts = [_grid(low, high, y), _dates(first, last, height)]
    if course.goal:
        parts.append(
            f'<line class="goal" x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{y(course.goal):.1f}" y2="{y(course.goal):.1f}" '
            'stroke="currentColor" stroke-width="1.2" stroke-dasharray="6 4"/>'
            f'<text x="{LEFT + 6}" y="{y(course.goal) - 5:.1f}">goal {course.goal}</text>'
        )
    parts += [_change_sign(x(day), number) for number, day in changes]
    path = " ".join(f"{x(p.day):.1f},{y(p.tempo):.1f}" for p in course.points)
    parts.append(f'<polyline points="{path}" fill="none" stroke="currentColor" stroke-width="2"/>')
    parts += [f'<circle cx="{x(p.day):.1f}" cy="{y(p.tempo):.1f}" r="3.5" fill="currentColor"/>' for p in course.points]
    end = course.points[-1]
    parts.append(f'<text class="end" x="{x(end.day) + 8:.1f}" y="{y(end.tempo) + 5:.1f}">{end.tempo}</text>')
    words = (
        f"{course.assignment}: from {course.points[0].tempo} to {end.tempo} beats a minute in "
        f"{len(course.points)} lessons" + (f", goal {course.goal}" if course.goal else "")
    )
    return (
        f'<svg class="tempo-picture" viewBox="0 0 {WIDTH} {height}" role="img" aria-label="{escape(words)}" '
        f'font-size="13" fill="currentColor" xmlns="http://www.w3.org/2000/svg">{"".join(parts)}</svg>'
    )


def _bounds(low: int, high: int) -> tuple[int, int]:
    """Whole tens around the tempi, at least twenty apart."""
    bottom, top = low // 10 * 10, -(-high // 10) * 10
    return (bottom, top) if top - bottom >= 20 else (bottom - 10, top + 10)


def _grid(low: int, high: int, y: Callable[[float], float]) -> str:
    every = 10 if high - low <= 50 else 20
    return "".join(
        f'<line class="grid" x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{y(tempo):.1f}" y2="{y(tempo):.1f}" '
        'stroke="currentColor" stroke-opacity="0.18"/>'
        f'<text x="{LEFT - 8}" y="{y(tempo) + 4:.1f}" text-anchor="end">{tempo}</text>'
        for tempo in range(low, high + 1, every)
    )


def _dates(first: date, last: date, height: int) -> str:
    def text(x: float, anchor: str, day: date) -> str:
        return f'<text x="{x}" y="{height - 8}" text-anchor="{anchor}">{day.day} {day:%b %Y}</text>'

    return text(LEFT, "start", first) + text(WIDTH - RIGHT, "end", last)


def _change_sign(x: float, number: int) -> str:
    base = HEIGHT - BOTTOM
    return (
        f'<line x1="{x:.1f}" x2="{x:.1f}" y1="{TOP}" y2="{base}" stroke="currentColor" stroke-dasharray="2 3"/>'
        f'<path d="M{x - 5:.1f} {base + 10} h10 l-5 -9 z" fill="currentColor"/>'
        f'<text x="{x + 8:.1f}" y="{base + 16}" font-size="12">{number}</text>'
    )
