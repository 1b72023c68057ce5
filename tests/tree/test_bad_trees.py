"""What is said about each broken file in `tests/bad_trees`, word for word.

Each `NAME.yaml` there is one broken file; the first word of its name says which file of the good
shelf it is laid beside or over. `NAME.out` is what the checker then prints about it. To write new
ones: `python tests/tree/test_bad_trees.py`, and read what it wrote.
"""

import itertools
import os
import re
import shutil
import sys
import tempfile
from pathlib import Path

import pytest

from faulttree.tree.check import check, render

BAD = Path(__file__).parents[1] / "bad_trees"
CASES = sorted(path.stem for path in BAD.glob("*.yaml"))
OVER = ("specs", "instruments", "cautions")


def said_about(name: str, folder: Path) -> str:
    """What the checker prints about a broken file in a copy of the good shelf in `folder`."""
    kind = name.partition("-")[0]
    trees = folder / "trees"
    shutil.copytree(BAD / "good", trees)
    targets = {
        "tree": trees / f"{name}.yaml",
        "catalogue": trees / "shared" / f"{name}.yaml",
        "vehicle": trees / "vehicles" / f"{name}.yaml",
        **{over: trees / "shared" / f"{over}.yaml" for over in OVER},
    }
    shutil.copyfile(BAD / f"{name}.yaml", targets[kind])
    return render(check([targets[kind].relative_to(folder)]))


@pytest.mark.parametrize("name", CASES)
def test_broken_file_is_reported_word_for_word(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The checker names the right place and says about the broken file what its `.out` says."""
    monkeypatch.chdir(tmp_path)
    assert said_about(name, tmp_path) == (BAD / f"{name}.out").read_text(encoding="utf-8")


def test_good_shelf_has_no_problems(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is said about the shelf that the broken files are laid into."""
    monkeypatch.chdir(tmp_path)
    shutil.copytree(BAD / "good", tmp_path / "trees")
    assert render(check(["trees"])) == "no problems\n"


@pytest.mark.parametrize("name", CASES)
def test_every_problem_says_what_to_do(name: str) -> None:
    """Below every problem stand its line, the caret and a line of advice."""
    lines = (BAD / f"{name}.out").read_text(encoding="utf-8").splitlines()
    heads = [at for at, line in enumerate(lines) if not line.startswith("  ")]
    for start, end in itertools.pairwise(heads):
        assert end - start == 4, lines[start]
        assert lines[start + 2].strip() == "^"
        assert re.search(r"\w", lines[start + 3])


def test_every_output_belongs_to_a_broken_file() -> None:
    """No `.out` is left over, and none is empty of problems."""
    assert {path.stem for path in BAD.glob("*.out")} == set(CASES)
    assert [name for name in CASES if "no problems" in (BAD / f"{name}.out").read_text()] == []


if __name__ == "__main__":
    for case in CASES:
        with tempfile.TemporaryDirectory() as scratch:
            os.chdir(scratch)
            out = said_about(case, Path(scratch))
        if not (BAD / f"{case}.out").exists() or "--all" in sys.argv:
            (BAD / f"{case}.out").write_text(out, encoding="utf-8")
