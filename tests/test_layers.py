"""Imports point down the list of packages, and the core never drags the screen in."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
ORDER = ["trade", "tree", "scorer", "session", "handover", "study", "screen", "cli"]
CORE = ["trade", "tree", "scorer", "session"]


def imported(path: Path) -> set[str]:
    """The packages of this project that a module imports, wherever in the module."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names: list[str] = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module:
            names = [node.module]
            if node.module == "faulttree":
                names = [f"faulttree.{alias.name}" for alias in node.names]
        for name in names:
            first, _, rest = name.partition(".")
            if first == "faulttree" and rest:
                found.add(rest.partition(".")[0])
    return found


@pytest.mark.parametrize("package", ORDER[:-1])
def test_imports_point_down(package: str) -> None:
    """No module imports from a package that stands later in the list."""
    later = set(ORDER[ORDER.index(package) + 1 :])
    for path in (ROOT / "faulttree" / package).rglob("*.py"):
        assert not imported(path) & later, f"{path} imports {imported(path) & later}"


def test_the_core_does_not_know_the_screen() -> None:
    """Importing every module of the core loads no Textual and no Rich."""
    modules = [
        ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
        for package in CORE
        for path in sorted((ROOT / "faulttree" / package).rglob("*.py"))
    ]
    code = "\n".join(
        [
            "import importlib, sys",
            f"for name in {modules!r}: importlib.import_module(name)",
            "print([m for m in ('textual', 'rich', 'typer', 'jinja2') if m in sys.modules])",
        ]
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True
    )
    assert done.stdout.strip() == "[]"


def test_importing_the_package_costs_nothing() -> None:
    """`import faulttree` loads none of the libraries it is built on."""
    heavy = ("textual", "pydantic", "networkx", "numpy", "pint", "yaml")
    code = f"import faulttree, sys; print([m for m in {heavy!r} if m in sys.modules])"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True
    )
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("package", CORE)
def test_the_core_neither_prints_nor_reads_the_terminal(package: str) -> None:
    """Printing, exiting and asking are left to the command line and the screens."""
    for path in (ROOT / "faulttree" / package).rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                assert node.func.id not in {"print", "input", "exit", "quit"}, path


def test_the_readme_and_ci_run_the_same_tests() -> None:
    """The test command stands in README.md in the form that .ci/run looks for."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    after = readme.partition("<!-- the tests -->")[2].partition("```\n\n")[0]
    commands = [line for line in after.splitlines() if line.startswith("python3 -m venv")]
    assert len(commands) == 1
    assert commands[0].endswith(".venv/bin/python -m pytest")
    assert "<!-- the tests -->" in (ROOT / ".ci/run").read_text(encoding="utf-8")
