"""The house: what stands at its door, its locks, its manual, and words that have no place in it."""

import re
import subprocess
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
AT_THE_DOOR = {
    ".ci", ".dockerignore", ".gitignore", "DEVELOPERS.md", "Dockerfile", "LICENSE", "README.md", "docker-compose.yml",
    "estimating", "framing", "manage.py", "pyproject.toml", "quotes", "requirements-test.lock", "requirements.lock",
    "run", "templates", "tests",
}  # fmt: skip


@pytest.fixture(scope="module")
def files() -> list[Path]:
    """Every file of the project, ignored ones apart."""
    listed = subprocess.run(
        ["git", "ls-files", "-co", "--exclude-standard"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    return [path for name in listed.stdout.splitlines() if (path := ROOT / name).is_file()]


def test_only_the_listed_things_stand_at_the_door(files):
    assert {path.relative_to(ROOT).parts[0] for path in files} - AT_THE_DOOR - {"docs"} == set()


def test_no_room_stands_empty(files):
    for room in {path.parent for path in files if path.name == "__init__.py"}:
        inside = [path for path in files if room in path.parents and path.name != "__init__.py"]
        assert inside or room.name == "migrations", f"{room.relative_to(ROOT)} is empty"


@pytest.mark.parametrize("lock", ["requirements.lock", "requirements-test.lock"])
def test_a_lock_has_hashes_and_no_address(lock):
    text = (ROOT / lock).read_text()
    assert "://" not in text and "index" not in text and "--find-links" not in text
    for entry in re.split(r"\n(?=\S)", text.strip()):
        assert re.match(r"[A-Za-z0-9._-]+==\S+", entry) and "--hash=sha256:" in entry, entry[:80]


def test_the_locks_hold_every_requirement_and_agree_where_both_name_a_package():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())
    runs, tests = pins("requirements.lock"), pins("requirements-test.lock")
    assert {bare(name) for name in project["project"]["dependencies"]} <= set(runs)
    assert {bare(name) for name in project["dependency-groups"]["test"]} <= set(tests)
    assert all(tests[name] == runs[name] for name in tests.keys() & runs.keys())


def bare(requirement: str) -> str:
    return re.match(r"[A-Za-z0-9._-]+", requirement)[0].lower().replace("_", "-").replace(".", "-")


def pins(lock: str) -> dict[str, set[str]]:
    """The versions of each package; more than one where newer Pythons take another."""
    found: dict[str, set[str]] = {}
    for name, version in re.findall(r"^([A-Za-z0-9._-]+)==(\S+)", (ROOT / lock).read_text(), re.M):
        found.setdefault(bare(name), set()).add(version)
    return found


def test_the_licence_is_apache_2_in_full():
    text = (ROOT / "LICENSE").read_text()
    assert "Apache License" in text and "Version 2.0, January 2004" in text
    assert "END OF TERMS AND CONDITIONS" in text


def verbs() -> list[str]:
    usage = subprocess.run(["./run", "help"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    return re.findall(r"^\./run (\w+)", usage, re.M)


def test_help_names_every_verb_and_the_readme_too():
    assert verbs() == ["demo", "test", "serve", "help"]
    readme = (ROOT / "README.md").read_text()
    for verb in verbs():
        assert f"./run {verb}" in readme, f"README.md does not say what ./run {verb} does"


def test_an_unknown_verb_is_refused_with_the_list_of_verbs():
    done = subprocess.run(["./run", "paint"], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 1
    assert "no ./run paint" in done.stderr and "./run demo" in done.stderr


def test_every_setting_from_the_environment_stands_in_the_manual():
    source = (ROOT / "estimating/config/settings.py").read_text()
    names = set(re.findall(r'(?:environ\.get|switch|number|seconds|words)\("([A-Z_]+)"', source))
    manual = (ROOT / "DEVELOPERS.md").read_text()
    assert len(names) >= 10
    for name in names:
        assert f"`{name}`" in manual, f"DEVELOPERS.md does not say what {name} is for"


def test_every_command_has_a_help_text():
    for path in ROOT.glob("*/management/commands/[!_]*.py"):
        assert re.search(r'^    help = ."?', path.read_text(), re.M), f"{path.name} says nothing about itself"


def test_every_module_opens_with_a_sentence(files):
    for path in files:
        if path.suffix == ".py" and path.read_text().strip() and path.parent.name != "migrations":
            first = path.read_text().removeprefix("#!/usr/bin/env python\n").lstrip()
            assert first.startswith('"""'), f"{path.relative_to(ROOT)} does not say what it is"


# Where something was written, and where packages were fetched from, are nobody's business who carries it on. Spelled
# apart here so that this file does not find itself.
FOREIGN = ["/wo" + "rk/", "/ro" + "ot/", "index" + "-url", "pypi" + ".org"]


def test_no_file_tells_of_one_machine(files):
    for path in files:
        if path.suffix in {".png", ".jpg", ".pdf", ".ttf", ".otf", ".woff2"}:
            continue
        text = path.read_text("utf-8")
        for word in FOREIGN:
            assert word not in text, f"{path.relative_to(ROOT)} has {word!r}"


def test_every_command_stands_in_the_manual():
    manual = (ROOT / "DEVELOPERS.md").read_text()
    for path in ROOT.glob("*/management/commands/[!_]*.py"):
        assert f"`manage.py {path.stem}" in manual, f"DEVELOPERS.md does not name manage.py {path.stem}"
