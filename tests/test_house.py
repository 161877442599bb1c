"""The house: imports point one way, heavy libraries stay in their rooms, files stay short, nothing leaks.

Below is the one list of the rooms in the order data flows: a module may import from rooms above its own
in this list and from its own room, never from one below. A new module must be given its place here.
"""

from __future__ import annotations

import ast
import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "estimator"

# What stands on one line may import each other; a package's name stands for all its modules.
ROOMS = (
    ("estimator",),
    ("clock", "toml_lines", "problems", "file_models", "files", "locks"),
    ("distribution", "streams"),
    ("catalogue",),
    ("casefile", "case", "starter", "viewing"),
    ("wear",),
    ("car", "odometer", "history"),
    ("evidence",),
    ("money.ranges", "money.access", "money.book"),
    ("pipeline",),
    ("simulate",),
    ("money",),
    ("known", "why"),
    ("outlays",),
    ("assess",),
    ("decide", "provenance"),
    ("record", "record_papers", "look_back", "lives"),
    ("sums", "result_tables"),
    ("store",),
    ("views",),
    ("report",),
    ("pages",),
    ("commands",),
    ("cli", "__main__"),
)
HEIGHT = {name: height for height, room in enumerate(ROOMS) for name in room}
ONLY = {  # library -> modules that may import it
    "streamlit": ("pages",),
    "altair": ("views.charts", "views.decision_charts", "views.year_charts", "views.plan", "views.timeline"),
    "pandas": ("result_tables", "views", "pages", "report", "decide"),
    "typst": ("report",),
    "xlsxwriter": ("report",),
    "vl_convert": ("report",),
    "tomlkit": ("casefile.text",),
    "sqlite3": ("store",),
}
WEAR_MAY = {"numpy", "scipy"}
MOST_LINES = 500


def module_name(path: Path) -> str:
    """estimator/wear/life.py -> "wear.life"; the package itself is "estimator"."""
    parts = path.relative_to(PACKAGE).with_suffix("").parts
    return ".".join(parts).removesuffix("__init__").rstrip(".") or "estimator"


MODULES = {module_name(path): path for path in sorted(PACKAGE.rglob("*.py"))}


def room_of(module: str) -> int | None:
    """Height of the nearest name of ROOMS around a module."""
    while module:
        if module in HEIGHT:
            return HEIGHT[module]
        module = module.rpartition(".")[0]
    return None


def imported(path: Path) -> set[str]:
    """Full names of what a file imports when it runs, inside functions too; type hints' imports left out."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    hints = {
        id(inner)
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test)
        for inner in ast.walk(node)
    }
    found: set[str] = set()
    for node in ast.walk(tree):
        if id(node) in hints:
            continue
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            for alias in node.names:
                whole = f"{node.module}.{alias.name}"
                inside = whole.removeprefix("estimator.") in MODULES
                found.add(whole if inside else str(node.module))
    return found


def ours(path: Path) -> set[str]:
    names = {name for name in imported(path) if name.split(".")[0] == "estimator"}
    return {name.removeprefix("estimator.") for name in names}


def libraries(path: Path) -> set[str]:
    return {name.split(".")[0] for name in imported(path)} - {"estimator"}


@pytest.mark.parametrize("module", MODULES)
def test_every_module_has_its_place(module):
    assert room_of(module) is not None, f"give estimator.{module} its place in ROOMS"


@pytest.mark.parametrize("module", MODULES)
def test_imports_point_one_way(module):
    here = room_of(module)
    wrong = {other for other in ours(MODULES[module]) if (room_of(other) or 0) > (here or 0)}
    assert not wrong, f"estimator.{module} reaches down the list to {sorted(wrong)}"


def test_no_module_imports_itself_through_others():
    graph = {module: ours(path) & set(MODULES) for module, path in MODULES.items()}
    done: set[str] = set()

    def visit(module: str, way: tuple[str, ...]) -> None:
        assert module not in way, " -> ".join((*way[way.index(module) :], module))
        if module not in done:
            for other in graph[module]:
                visit(other, (*way, module))
            done.add(module)

    for module in graph:
        visit(module, ())


@pytest.mark.parametrize("library", ONLY)
def test_heavy_libraries_stay_in_their_rooms(library):
    allowed = ONLY[library]
    wrong = [
        module
        for module, path in MODULES.items()
        if library in libraries(path)
        and not any(module == room or module.startswith(f"{room}.") for room in allowed)
    ]
    assert not wrong


def test_wear_stands_on_numpy_and_scipy_alone():
    standard = __import__("sys").stdlib_module_names
    for module, path in MODULES.items():
        if module.startswith("wear."):
            assert libraries(path) - standard - WEAR_MAY == set(), module
            assert all(other.startswith("wear") for other in ours(path)), module


def test_noisy_or_stands_on_numpy_alone():
    standard = __import__("sys").stdlib_module_names
    network = [
        f"evidence.{m}" for m in ("noisy_or", "frontier", "subsets", "network", "backward_draws", "guided")
    ]
    for module in (*network, "streams"):
        path = MODULES[module]
        assert libraries(path) - standard - {"numpy"} == set(), module
        assert all(other.startswith("evidence") or other == "streams" for other in ours(path)), module


def test_scipy_stats_is_imported_by_nothing_that_assesses():
    """It costs more to import than everything else together."""
    for module, path in MODULES.items():
        if module.split(".")[0] not in ("decide", "report", "views", "pages"):
            assert not any(name.startswith("scipy.stats") for name in imported(path)), module


@pytest.mark.parametrize("module", [m for m in MODULES if m.startswith("commands.")])
def test_verbs_import_what_is_heavy_only_when_they_run(module):
    """`--help` must not wait for the engines."""
    top = ast.parse(MODULES[module].read_text(encoding="utf-8")).body
    names = {alias.name for node in top if isinstance(node, ast.Import) for alias in node.names}
    names |= {str(node.module) for node in top if isinstance(node, ast.ImportFrom)}
    light = ("estimator.commands", "estimator.problems", "estimator.starter", "estimator.report.strict_json")
    assert all(name.startswith(light) for name in names if name.startswith("estimator"))
    assert not names & {"numpy", "scipy", "pandas", "pydantic", "streamlit", "altair", "rich"}


# --- everything committed ---------------------------------------------------------------------------


def committed() -> list[Path]:
    """Files of the project: what git follows, and what it would follow."""
    done = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        pytest.skip("not a git checkout")
    paths = [ROOT / name for name in done.stdout.splitlines()]
    return [path for path in paths if path.is_file()]


def test_no_python_file_is_too_long_to_read_in_one_sitting():
    lengths = {
        path: len(path.read_text("utf-8").splitlines()) for path in committed() if path.suffix == ".py"
    }
    assert not {str(path.relative_to(ROOT)): n for path, n in lengths.items() if n > MOST_LINES}


LEAKS = {
    "a machine's own path": r"/(?:home|root|Users|tmp|work)/[\w.]",
    "a package registry": r"(?:py" + r"pi|pyth" + r"onhosted|conda\.anaconda|npm" + r"js)\.(?:org|com)",
    "a lock file of addresses": r"^uv\.lock$",
}


@pytest.mark.parametrize("what", LEAKS)
def test_nothing_committed_names(what):
    pattern = re.compile(LEAKS[what])
    wrong = []
    for path in committed():
        if path.suffix in {".png", ".jpg", ".ico", ".woff2", ".pdf"}:
            continue
        text = path.read_text(encoding="utf-8", errors="ignore")
        wrong += [f"{path.relative_to(ROOT)}: {m.group()}" for m in pattern.finditer(text)]
        if pattern.search(path.name):
            wrong.append(str(path.relative_to(ROOT)))
    assert not wrong
