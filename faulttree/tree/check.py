"""Checks trees: everything that the loader refuses, and everything that is merely unwise.

The rules stand in `rules`, how problems are written down in `render`. Reading the command line,
watching files and setting the exit code is left to `cli`.
"""

import os
from collections.abc import Iterable, Sequence
from pathlib import Path

from faulttree.tree.learned import apply_learned
from faulttree.tree.model import Place
from faulttree.tree.problem import Problem, Severity, in_order
from faulttree.tree.render import FORMATS, SEVERITIES, as_text, render, summary
from faulttree.tree.resolve import resolve
from faulttree.tree.rules import RULES, Checked, Rule
from faulttree.tree.shelf import (
    SHARED,
    VEHICLES,
    catalogues,
    read_shelf,
    tree_files,
)

__all__ = [
    "FORMATS",
    "SEVERITIES",
    "as_text",
    "check",
    "explain",
    "render",
    "rule_list",
    "summary",
    "worst",
]

NOT_OF_TREES = (
    f"a tree is NAME.yaml in a folder of trees, a catalogue stands in its {SHARED}/, a car in its "
    f"{VEHICLES}/"
)


def check(paths: Sequence[Path | str], *, rules: Iterable[Rule] | None = None) -> list[Problem]:
    """Every problem of some files and folders of trees, file by file and line by line.

    A folder is checked whole. For a file everything beside it is read as well, since its meaning
    depends on it, but only the file's own problems are given. Never raises for what is in a file.
    """
    problems: list[Problem] = []
    wanted: dict[Path, set[str] | None] = {}
    for path in map(Path, paths):
        if path.is_dir():
            wanted[path] = None
        elif not path.is_file():
            problems.append(Problem(Place(str(path), 1, 1), "no such file", "", "file-unreadable"))
        else:
            folder, file = _home_of(path)
            files = wanted.setdefault(folder, set())
            if files is not None:
                files.add(str(file))
    chosen = list(RULES.values() if rules is None else rules)
    for folder, files in wanted.items():
        found, read = _check_folder(folder, chosen)
        if files is None:
            problems += found
            continue
        problems += [p for p in found if p.place.file in files]
        problems += [
            Problem(Place(file, 1, 1), "this is not a file of trees", NOT_OF_TREES, "unknown-file")
            for file in files - read
        ]
    return in_order(problems)


def _home_of(path: Path) -> tuple[Path, Path]:
    """The folder of trees that a file belongs to, and the file as it is named from there."""
    home = path.parent
    name = Path(os.path.abspath(home)).name
    if name not in (SHARED, VEHICLES):
        return home, path
    # Whoever works in `shared` itself names a catalogue without a folder.
    folder = home.parent if home.name == name else home / ".."
    return folder, folder / name / path.name


def _check_folder(folder: Path, rules: Iterable[Rule]) -> tuple[list[Problem], set[str]]:
    """What is wrong in a folder of trees, and the files that were read to say so."""
    trees = tree_files(folder)
    if not trees and not catalogues(folder):
        return [Problem(Place(str(folder), 1, 1), "no trees here", "", "unknown-file")], set()
    shelf = read_shelf(folder, trees, more_catalogues=catalogues(folder))
    knowledge = resolve(shelf)
    if knowledge is not None:
        # Learned figures must fit; what is judged is what the author wrote, where he wrote it.
        apply_learned(knowledge, shelf)
    checked = Checked(shelf, knowledge)
    found = [problem for rule in rules for problem in rule.look(checked)]
    return found, set(shelf.sources)


def worst(problems: Iterable[Problem]) -> Severity | None:
    """The worst severity among some problems, None when there are none."""
    there = {problem.severity for problem in problems}
    return next((severity for severity in SEVERITIES if severity in there), None)


def rule_list() -> str:
    """Every rule in a line: its id, its severity and what must hold."""
    widest = max(map(len, RULES))
    rows = [f"{rule.id:{widest}}  {rule.severity:7}  {rule.title}\n" for rule in RULES.values()]
    return "".join(sorted(rows))


def explain(rule_id: str) -> str | None:
    """The page of a rule, or None when there is no such rule."""
    rule = RULES.get(rule_id)
    if rule is None:
        return None
    return f"{rule.id} ({rule.severity})\n\n{rule.page}\n\nWhat to do: {rule.mend}.\n"
