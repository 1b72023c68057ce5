"""What a session costs to look at: no screen ever, and nothing slow before it is needed."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent.parent
PACKAGES = ("session", "handover")


def loaded_after(code: str) -> set[str]:
    """The top-level packages that are loaded once some code has run in a fresh interpreter."""
    script = f"{code}\nimport sys\nprint(*{{name.partition('.')[0] for name in sys.modules}})"
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=True
    )
    return set(done.stdout.split())


def test_the_session_knows_no_screen() -> None:
    """Every module of the session and of the handover can be had without the screen."""
    names = [
        f"faulttree.{package}.{path.stem}"
        for package in PACKAGES
        for path in (ROOT / "faulttree" / package).glob("*.py")
        if path.stem != "__init__"
    ]
    assert len(names) > 10
    assert not loaded_after("\n".join(f"import {name}" for name in names)) & {"textual", "rich"}


@pytest.mark.parametrize(
    ("code", "not_needed"),
    [
        (
            "from pathlib import Path\n"
            "from faulttree.session.journal import list_sessions\n"
            "list_sessions(Path('sessions'))",
            {"textual", "numpy", "pint", "pydantic", "networkx", "filelock", "yaml"},
        ),
        ("import faulttree.session.state", {"numpy", "pint", "pydantic", "networkx"}),
        ("import faulttree.cli", {"numpy", "pint", "pydantic", "networkx", "yaml", "textual"}),
    ],
)
def test_nothing_slow_before_it_is_needed(code: str, not_needed: set[str]) -> None:
    """Listing sessions, folding them, and the command line load none of the slow packages."""
    assert not loaded_after(code) & not_needed
