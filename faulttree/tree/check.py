"""Checks trees: everything that the loader refuses, and everything that is merely unwise.

The rules stand in `rules`; this module runs them and writes down what they found. Reading the
command line, watching files and setting the exit code is left to `cli`.
"""

import unicodedata
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path

from faulttree.tree.model import Place
from faulttree.tree.problem import Problem, Severity, in_order, visible
from faulttree.tree.resolve import resolve
from faulttree.tree.rules import RULES, Checked, Rule
from faulttree.tree.shelf import (
    SHARED,
    VEHICLES,
    catalogues,
    read_cached,
    read_shelf,
    tree_files,
)

SEVERITIES: tuple[Severity, ...] = ("error", "warning", "note")
"""From the worst down."""

WIDEST_LINE = 100
"""A longer line of a file is shown in part, around the place."""


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
            home = path.parent
            folder = home.parent if home.name in (SHARED, VEHICLES) else home
            files = wanted.setdefault(folder, set())
            if files is not None:
                files.add(str(path))
    chosen = list(RULES.values() if rules is None else rules)
    for folder, files in wanted.items():
        found = _check_folder(folder, chosen)
        problems += [p for p in found if files is None or p.place.file in files]
    return in_order(problems)


def _check_folder(folder: Path, rules: Iterable[Rule]) -> list[Problem]:
    trees = tree_files(folder)
    if not trees and not catalogues(folder):
        return [Problem(Place(str(folder), 1, 1), "no trees here", "", "unknown-file")]
    shelf = read_shelf(folder, trees, more_catalogues=catalogues(folder))
    checked = Checked(shelf, resolve(shelf))
    return [problem for rule in rules for problem in rule.look(checked)]


def worst(problems: Iterable[Problem]) -> Severity | None:
    """The worst severity among some problems, None when there are none."""
    there = {problem.severity for problem in problems}
    return next((severity for severity in SEVERITIES if severity in there), None)


def render(problems: Sequence[Problem], fmt: str = "text") -> str:
    """Problems as text in one of the FORMATS; raises KeyError for another."""
    return FORMATS[fmt](problems)


def summary(problems: Sequence[Problem]) -> str:
    """How many problems of each severity there are, in a line."""
    counts = []
    for severity in SEVERITIES:
        number = sum(problem.severity == severity for problem in problems)
        if number:
            counts.append(f"{number} {severity}{'s' if number > 1 else ''}")
    return ", ".join(counts) if counts else "no problems"


def as_text(problems: Sequence[Problem]) -> str:
    """Each problem with the line it is in and a caret below its place, then a summary."""
    blocks = []
    for problem in problems:
        lines = [f"{problem.place}: {problem.severity}: {problem.message} [{problem.rule}]"]
        lines += _line_with_caret(problem.place)
        if problem.hint:
            lines.append(f"  {problem.hint}")
        blocks.append("\n".join(map(visible, lines)))
    return "\n".join([*blocks, summary(problems)]) + "\n"


def _line_with_caret(place: Place) -> list[str]:
    """The line of a place and a caret below it, or nothing where there is no such line."""
    lines = _lines(place.file)
    if not 0 < place.line <= len(lines):
        return []
    line = lines[place.line - 1].replace("\t", " ")
    column = min(place.column - 1, len(line))
    start = 0
    if len(line) > WIDEST_LINE and column > WIDEST_LINE - 20:
        start = column - WIDEST_LINE + 40
    shown = line[start : start + WIDEST_LINE]
    if not shown.strip():
        return []
    before = visible(shown[: column - start])
    width = sum(2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in before)
    return [f"  {visible(shown)}", f"  {' ' * width}^"]


def _lines(file: str) -> list[str]:
    path = Path(file)
    if not path.is_file():
        return []
    return read_cached(path).text.replace("\r\n", "\n").replace("\r", "\n").split("\n")


FORMATS: Mapping[str, Callable[[Sequence[Problem]], str]] = {"text": as_text}
"""How problems can be written, by name."""


def explain(rule_id: str) -> str | None:
    """The page of a rule, or None when there is no such rule."""
    rule = RULES.get(rule_id)
    if rule is None:
        return None
    return f"{rule.id} ({rule.severity})\n\n{rule.page}\n"
