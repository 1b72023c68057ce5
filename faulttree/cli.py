"""The commands; the only place that prints or exits."""

import argparse
from collections.abc import Sequence


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command; returns its exit code."""
    parser = argparse.ArgumentParser(prog="faulttree")
    commands = parser.add_subparsers(dest="command", required=True)
    check = commands.add_parser("check", help="check trees for mistakes")
    check.add_argument("paths", nargs="*", default=["trees"], metavar="PATH")
    options = parser.parse_args(arguments)
    return _check(options.paths)


def _check(paths: Sequence[str]) -> int:
    from faulttree.tree.check import check

    problems = check(paths)
    for problem in problems:
        print(problem)
    return 1 if any(problem.severity == "error" for problem in problems) else 0
