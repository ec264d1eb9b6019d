"""The computation is pure: what it may import is a short list, and once imported it touches nothing outside itself."""

import ast
import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
ENGINE = [*sorted((ROOT / "framing/engine").rglob("*.py")), *sorted((ROOT / "framing/reference").rglob("*.py"))]
LEAVES = [
    *(ROOT / f"estimating/{name}.py" for name in ("burden", "business_days", "escalation", "matching", "money",
                                                  "notice_text", "right_to_cancel", "steps", "units")),
    *sorted((ROOT / "estimating/reference").rglob("*.py")),
]

# What computes and does nothing else. Nothing here opens, connects, asks the time or throws dice by itself.
STANDARD = {
    "__future__", "abc", "bisect", "collections", "collections.abc", "copy", "dataclasses", "datetime", "decimal",
    "enum", "fractions", "functools", "graphlib", "hashlib", "heapq", "html", "itertools", "json", "json.decoder",
    "math", "operator", "re", "statistics", "string", "textwrap", "types", "typing", "unicodedata", "xml.sax.saxutils",
}  # fmt: skip
SCIENCE = {"numpy", "scipy", "shapely", "pydantic", "pydantic_core", "annotated_types"}
OURS = ("framing.engine", "framing.reference")


def imports(path: Path) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Every module that a file imports, with the names taken from it."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            yield from ((alias.name, ()) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: a relative import"
            yield node.module or "", tuple(alias.name for alias in node.names)


def is_ours(module: str, names: tuple[str, ...]) -> bool:
    if module.startswith(OURS):
        return True
    return module == "framing" and all(f"framing.{name}" in OURS for name in names)


@pytest.mark.parametrize("path", ENGINE, ids=lambda path: str(path.relative_to(ROOT)))
def test_the_engine_imports_only_what_computes(path):
    for module, names in imports(path):
        allowed = module in STANDARD or module.partition(".")[0] in SCIENCE or is_ours(module, names)
        assert allowed, f"{path.relative_to(ROOT)} imports {module}; allowed are those at the top of this test"
    if "reference" in path.parts:
        assert not any(module.startswith("framing.engine") for module, _ in imports(path))


@pytest.mark.parametrize("path", ENGINE, ids=lambda path: str(path.relative_to(ROOT)))
def test_the_engine_calls_no_solver_that_writes_to_the_process_s_output(path):
    """HiGHS 1.12 prints from its integer programme when it mends a plan, whatever its options say: `--json` would
    have foreign text before it. Its linear programme keeps silent."""
    named = {name for _, names in imports(path) for name in names}
    used = {node.attr for node in ast.walk(ast.parse(path.read_text("utf-8"))) if isinstance(node, ast.Attribute)}
    assert "milp" not in named | used


@pytest.mark.parametrize("path", LEAVES, ids=lambda path: path.name)
def test_a_leaf_imports_only_what_computes(path):
    for module, names in imports(path):
        ours = module == "estimating" and set(names) <= {"money", "units"}
        leaf = module.startswith(("estimating.business_days", "estimating.reference."))
        assert module in STANDARD | {"calendar"} or ours or leaf, module


CLOCKS_AND_DICE = {
    ("datetime", "now"), ("datetime", "today"), ("date", "today"), ("random", "seed"), ("random", "rand"),
    ("random", "random"), ("random", "normal"), ("random", "shuffle"), ("random", "choice"), ("random", "randint"),
}  # fmt: skip


@pytest.mark.parametrize("path", ENGINE + LEAVES, ids=lambda path: str(path.relative_to(ROOT)))
def test_nothing_pure_opens_a_file_reads_a_clock_or_throws_dice_of_its_own(path):
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if not isinstance(node, ast.Call):
            continue
        if isinstance(node.func, ast.Name):
            assert node.func.id not in {"open", "print", "input", "eval", "exec", "__import__"}, ast.unparse(node)
        if isinstance(node.func, ast.Attribute):
            owner = ast.unparse(node.func.value).rpartition(".")[2]
            assert (owner, node.func.attr) not in CLOCKS_AND_DICE, ast.unparse(node)
            if node.func.attr == "default_rng":
                assert node.args or node.keywords, "default_rng() without a seed takes one from the system"


OUTSIDE_OF_ESTIMATING = {"estimating.models", "estimating.service", "estimating.money", "estimating.units"}


@pytest.mark.parametrize("path", sorted((ROOT / "framing").rglob("*.py")), ids=lambda path: str(path.relative_to(ROOT)))
def test_framing_takes_from_the_office_only_its_records_its_service_and_the_leaves(path):
    for module, names in imports(path):
        if module.partition(".")[0] == "estimating":
            wanted = {f"estimating.{name}" for name in names} if module == "estimating" else {module}
            assert all(name.startswith(tuple(OUTSIDE_OF_ESTIMATING)) for name in wanted), f"{path} imports {module}"
        assert module.partition(".")[0] != "quotes", f"{path} imports {module}"


WATCHED = """
import json, sys
from framing.engine.design import frame

survey, build = json.loads(sys.stdin.read())
frame(survey, build)  # what is imported late is imported now

touched = []
watching = True
def watch(event, args):
    outside = ("open", "os.", "socket.", "subprocess.", "shutil.", "urllib.", "sqlite3.", "tempfile.", "ctypes.dlopen")
    if watching and event.startswith(outside):
        touched.append([event, repr(args)[:200]])
sys.addaudithook(watch)
answer = frame(survey, build)
watching = False
print(json.dumps({"touched": touched, "members": len(answer.document["members"])}))
"""


def test_framing_opens_no_file_and_no_socket():
    """By the interpreter's own audit events, in a process of its own since a hook cannot be taken off again."""
    demo = ROOT / "quotes" / "demo"
    documents = [json.loads(next(demo.glob(f"*{name}*.json")).read_text("utf-8")) for name in ("survey", "build")]
    done = subprocess.run(
        [sys.executable, "-c", WATCHED],
        input=json.dumps(documents), capture_output=True, text=True, cwd=ROOT, timeout=120,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    answer = json.loads(done.stdout)
    assert answer["touched"] == []
    assert answer["members"] > 0


def test_the_watch_would_see_an_opened_file():
    hook = WATCHED.partition("touched = []")[2].partition("answer = ")[0]
    code = f"import sys\ntouched = []{hook}open('pyproject.toml').close()\nwatching = False\nprint(touched[0][0])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, timeout=60)
    assert done.stdout == "open\n"
