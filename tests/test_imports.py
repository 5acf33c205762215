"""Imports go one way: lessons → repertoire → studio; inside repertoire, models and views → notation → technique.

Notation and technique know no Django; technique knows no music21 and no Verovio.
"""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
OUTSIDE_THE_CORE = ("django", "dj_database_url", "csp", "axes", "django_htmx", "whitenoise")

# A package, and what it may not import.
FORBIDDEN = {
    "studio": ("repertoire", "lessons", "tests", "music21", "verovio"),
    "repertoire": ("lessons", "tests"),
    "repertoire/notation": ("lessons", "studio", "tests", *OUTSIDE_THE_CORE),
    "repertoire/technique": ("lessons", "studio", "tests", "music21", "verovio", *OUTSIDE_THE_CORE),
    "lessons": ("tests",),
}
# Inside repertoire: notation may import technique and itself only, technique itself only.
INSIDE = {
    "repertoire/notation": ("repertoire.notation", "repertoire.technique"),
    "repertoire/technique": ("repertoire.technique",),
}


def imports_of(source: str, package: str) -> list[tuple[int, str]]:
    """Every module a source imports, with its line; relative imports made absolute; inside functions too."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found += [(node.lineno, alias.name) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = package.split(".")[: len(package.split(".")) - node.level + 1] if node.level else []
            start = ".".join([*base, *([node.module] if node.module else [])])
            found += [(node.lineno, f"{start}.{alias.name}") for alias in node.names]
    return found


def within(module: str, package: str) -> bool:
    return module == package or module.startswith(package + ".")


def wrong_imports(folder: str, source: str, package: str) -> list[tuple[int, str]]:
    wrong = [
        (line, module)
        for line, module in imports_of(source, package)
        if any(within(module, other) for other in FORBIDDEN[folder])
    ]
    allowed = INSIDE.get(folder)
    if allowed:
        wrong += [
            (line, module)
            for line, module in imports_of(source, package)
            if within(module, "repertoire") and not any(within(module, other) for other in allowed)
        ]
    return wrong


@pytest.mark.parametrize("folder", FORBIDDEN)
def test_no_module_imports_against_the_direction(folder):
    wrong = []
    modules = sorted((ROOT / folder).rglob("*.py"))
    assert modules
    for path in modules:
        package = ".".join(path.relative_to(ROOT).parent.parts)
        wrong += [
            f"{path.relative_to(ROOT)}:{line}: {module}"
            for line, module in wrong_imports(folder, path.read_text(), package)
        ]
    assert wrong == []


@pytest.mark.parametrize(
    ("folder", "source", "package", "expected"),
    [
        ("studio", "from lessons.models import Lesson", "studio", [(1, "lessons.models.Lesson")]),
        ("studio", "def f():\n    import repertoire", "studio", [(2, "repertoire")]),
        (
            "repertoire/technique",
            "from ..notation import cutting",
            "repertoire.technique",
            [(1, "repertoire.notation.cutting")],
        ),
        ("repertoire/technique", "import music21.pitch", "repertoire.technique", [(1, "music21.pitch")]),
        ("repertoire/notation", "from repertoire import models", "repertoire.notation", [(1, "repertoire.models")]),
        ("repertoire/notation", "from django.db import models", "repertoire.notation", [(1, "django.db.models")]),
        ("repertoire/notation", "from repertoire.technique.line import Line", "repertoire.notation", []),
        ("lessons", "from studio.models import Student", "lessons", []),
        ("studio", "import lessonsmith", "studio", []),
    ],
)
def test_the_walk_itself_notices(folder, source, package, expected):
    assert wrong_imports(folder, source, package) == expected
