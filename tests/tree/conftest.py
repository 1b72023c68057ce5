"""A small shelf in which everything is right, for tests that then spoil one thing."""

import shutil
from pathlib import Path

import pytest

GOOD = Path(__file__).parents[1] / "bad_trees" / "good"


@pytest.fixture
def shelf(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder `trees` with the good shelf in it, in an empty working folder."""
    shutil.copytree(GOOD, tmp_path / "trees")
    monkeypatch.chdir(tmp_path)
    return Path("trees")
