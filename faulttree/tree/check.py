"""Checks trees: everything the loader refuses, and everything that is merely unwise."""

from collections.abc import Sequence
from pathlib import Path

from faulttree.tree.problem import Problem, in_order


def check(paths: Sequence[Path | str]) -> list[Problem]:
    """Every problem of some trees, or of whole folders of them, file by file."""
    from faulttree.tree.resolve import resolve
    from faulttree.tree.shelf import catalogues, read_shelf, tree_files

    problems: list[Problem] = []
    for path in map(Path, paths):
        if path.is_dir():
            shelf = read_shelf(path, tree_files(path), more_catalogues=catalogues(path))
            resolve(shelf)
            problems += shelf.problems
        else:
            folder = (
                path.parent.parent if path.parent.name in ("shared", "vehicles") else path.parent
            )
            shelf = read_shelf(folder, tree_files(folder), more_catalogues=catalogues(folder))
            resolve(shelf)
            problems += [problem for problem in shelf.problems if problem.place.file == str(path)]
    return in_order(problems)
