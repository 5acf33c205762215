"""README.md and DEVELOPERS.md say what the code does: variables, make targets, dependencies, links."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text()
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text()
MAKEFILE = (ROOT / "Makefile").read_text()


def table_after(text: str, heading: str) -> list[str]:
    """The first column, in backquotes, of the first table below a heading."""
    rows = text.split(heading, 1)[1].split("\n## ", 1)[0]
    return re.findall(r"^\| `([^`]+)`", rows, flags=re.MULTILINE)


def test_the_variables_of_the_table_are_those_the_program_reads():
    read = set()
    for path in [path for app in ("studio", "repertoire", "lessons") for path in (ROOT / app).rglob("*.py")]:
        read |= set(re.findall(r'"(PASSAGEWORK_[A-Z_]+)"', path.read_text()))
    listed = table_after(README, "## Settings")
    assert sorted(listed) == sorted(read)
    assert len(listed) == len(set(listed))


def test_the_defaults_of_the_table_are_the_settings():
    source = (ROOT / "studio" / "settings.py").read_text()
    row = re.compile(r"^\| `(PASSAGEWORK_[A-Z_]+)` \| `([^`]+)` \|", flags=re.MULTILINE)
    defaults = dict(row.findall(README))
    assert len(defaults) == 10
    for name, default in defaults.items():
        found = re.search(rf'\w+\("{name}", (?:"([^"]*)"|(\w+))', source)
        assert found, name
        written = found[1] or {"False": "no", "True": "yes"}.get(found[2], found[2])
        assert written == default, name


def test_the_make_targets_are_those_listed():
    targets = re.findall(r"^([a-z-]+):.*## ", MAKEFILE, flags=re.MULTILINE)
    listed = [row.split()[1] for row in table_after(DEVELOPERS, "## Running everything")]
    assert sorted(listed) == sorted(set(targets) - {"help"})


def test_every_make_command_named_in_the_documents_exists():
    targets = set(re.findall(r"^([a-z-]+):", MAKEFILE, flags=re.MULTILINE))
    named = set(re.findall(r"(?:`|^    )make ([a-z-]+)", README + DEVELOPERS, flags=re.MULTILINE))
    assert named
    assert named <= targets


def test_each_dependency_has_its_line():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    declared = [*project["dependencies"], *project["optional-dependencies"]["test"]]
    names = [re.match(r"[A-Za-z0-9-]+", line)[0] for line in declared]
    assert sorted(table_after(DEVELOPERS, "## Dependencies")) == sorted(names)


def test_each_dependency_is_pinned_with_hashes_and_no_host():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    for file, declared in [
        ("requirements.txt", project["dependencies"]),
        ("requirements-test.txt", [*project["dependencies"], *project["optional-dependencies"]["test"]]),
    ]:
        pinned = (ROOT / file).read_text()
        for line in declared:
            name = re.match(r"[A-Za-z0-9-]+", line)[0].lower()
            assert re.search(rf"^{name}==\S+ \\\n    --hash=sha256:", pinned, flags=re.MULTILINE), name
        assert not re.search(r"https?:|--(extra-)?index-url|--find-links|--trusted-host|file:", pinned)


def test_links_to_files_lead_somewhere():
    for text in (README, DEVELOPERS, (ROOT / "CHANGELOG.md").read_text()):
        for target in re.findall(r"\]\(([^)#]+)\)", text):
            if not target.startswith("http"):
                assert (ROOT / target).exists(), target


def test_the_continuous_integration_runs_make_test_and_nothing_hidden():
    script = (ROOT / ".ci" / "run").read_text()
    assert script.rstrip().endswith("\nmake test")
    assert "pytest" not in script


def test_what_the_makefile_and_setup_scripts_name_exists():
    for module in re.findall(r"-m (tests\.\w+)", MAKEFILE):
        path = ROOT / module.replace(".", "/")
        assert path.with_suffix(".py").is_file() or (path / "__main__.py").is_file(), module
    for script in re.findall(r"sh (setup/\w+\.sh)", MAKEFILE):
        assert (ROOT / script).is_file(), script
