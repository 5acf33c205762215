"""Time zones to choose from: those that stand for a place today, grouped by continent.

The zone database lists them in `zone.tab` (one or more for every country) and names obsolete ones in
`tzdata.zi` (`L Asia/Kolkata Asia/Calcutta`). Both are looked for beside Python's zone files, then in the
package tzdata; where neither is there, zones named by place are offered, without those of obsolete regions.
"""

from __future__ import annotations

import zoneinfo
from functools import cache
from importlib import resources
from itertools import groupby
from pathlib import Path

CONTINENTS = (
    "Africa",
    "America",
    "Antarctica",
    "Arctic",
    "Asia",
    "Atlantic",
    "Australia",
    "Europe",
    "Indian",
    "Pacific",
)

Choices = list[tuple[str, str] | tuple[str, list[tuple[str, str]]]]


@cache
def current_zones() -> tuple[str, ...]:
    """The names of zones that stand for a place today, in order; UTC is not among them."""
    known = zoneinfo.available_timezones()
    listed = {line.split("\t")[2] for line in _table("zone.tab") if line.count("\t") >= 2 and line[0] != "#"} & known
    return tuple(sorted(listed or {name for name in known if name.partition("/")[0] in CONTINENTS and "/" in name}))


@cache
def renamed_zones() -> dict[str, str]:
    """Obsolete names of current zones: `Asia/Calcutta` for Asia/Kolkata. Browsers still tell some of them."""
    links = [line.split() for line in _table("tzdata.zi") if line.startswith("L ")]
    current = set(current_zones())
    return {old: new for _, new, old in links if new in current and old not in current and "/" in old}


def zone_choices(first: str = "") -> Choices:
    """`first` on top, whatever it is (a stored zone may be obsolete), then UTC and the zones by continent."""
    choices: Choices = [(name, _words(name)) for name in dict.fromkeys(filter(None, (first, "UTC")))]
    for continent, names in groupby(current_zones(), key=lambda name: name.partition("/")[0]):
        offered = [(name, _words(name)) for name in names if name != first]
        choices.append((continent, offered))
    return choices


def _words(name: str) -> str:
    return name.replace("_", " ")


def _table(name: str) -> list[str]:
    """The lines of one of the zone database's tables, none where it isn't installed."""
    for folder in zoneinfo.TZPATH:
        if (path := Path(folder, name)).is_file():
            return path.read_text(encoding="utf-8").splitlines()
    try:
        return resources.files("tzdata").joinpath("zoneinfo", name).read_text(encoding="utf-8").splitlines()
    except (ModuleNotFoundError, FileNotFoundError):
        return []
