"""When the demonstration's versions were kept: the Sunday before the week that first used them.

A version is used by an assignment, to try or in use, or by a change in a lesson; what a later
version was begun from is at least as old.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

UNUSED = 1  # weeks ago


def weeks_ago(scenario: Mapping[str, Any]) -> dict[str, int]:
    """By a version's key, how many weeks ago it was first used, or begun from."""
    found: dict[str, int] = {}
    for key, ago in _uses(scenario):
        found[key] = max(ago, found.get(key, 0))
    parents = dict(_parents(scenario))
    for key in parents:
        ago, older = found.setdefault(key, UNUSED), parents[key]
        while older in parents:
            found[older] = max(ago, found.get(older, 0))
            older = parents[older]
    return found


def _uses(scenario: Mapping[str, Any]) -> Iterable[tuple[str, int]]:
    for student in scenario["students"]:
        for work in student["assignments"]:
            for key in (work.get("marking"), work.get("starts_with"), *work["to_try"]):
                if key:
                    yield key, work["begun"]
        for week in student["weeks"]:
            for _, key, _ in week["change"]:
                yield key, week["ago"]


def _parents(scenario: Mapping[str, Any]) -> Iterable[tuple[str, str]]:
    for piece in (*scenario["pieces"], {"passages": scenario["shared_by_colleague"]}):
        for passage in piece.get("passages", ()):
            for version in passage["markings"]:
                yield version["key"], version["parent"]
