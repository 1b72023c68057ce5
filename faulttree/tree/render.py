"""Problems as text: for people, for programs, and for the places where code is looked over.

`json` is our own form; `sarif` is the Static Analysis Results Interchange Format 2.1.0 (OASIS
Standard, 2020); `github` are the workflow commands that mark lines in a pull request. What is wrong
is found by `check`.
"""

import json
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path, PurePath
from typing import Any
from urllib.parse import quote

from faulttree import __version__
from faulttree.tree.model import Place
from faulttree.tree.problem import Problem, Severity, visible
from faulttree.tree.rules import RULES, Rule
from faulttree.tree.shelf import read_cached

SEVERITIES: tuple[Severity, ...] = ("error", "warning", "note")
"""From the worst down."""

WIDEST_LINE = 100
"""A longer line of a file is shown in part, around the place."""


def render(problems: Sequence[Problem], fmt: str = "text") -> str:
    """Problems as text in one of the FORMATS; raises KeyError for another."""
    return FORMATS[fmt](problems)


def hint_of(problem: Problem) -> str:
    """What to do about a problem: its own hint, else that of its rule."""
    rule = RULES.get(problem.rule)
    return problem.hint or (rule.mend if rule else "")


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
        if hint_of(problem):
            lines.append(f"  {hint_of(problem)}")
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


def as_json(problems: Sequence[Problem]) -> str:
    """A list of objects, one for each problem, in plain JSON."""
    rows = [
        {
            "file": problem.place.file,
            "line": problem.place.line,
            "column": problem.place.column,
            "severity": problem.severity,
            "rule": problem.rule,
            "message": problem.message,
            "hint": hint_of(problem),
        }
        for problem in problems
    ]
    return json.dumps(rows, indent=1, ensure_ascii=False) + "\n"


def as_github(problems: Sequence[Problem]) -> str:
    """One workflow command a line: an error, a warning or a notice at a line of a file."""
    kinds = {"error": "error", "warning": "warning", "note": "notice"}
    lines = []
    for problem in problems:
        place = problem.place
        where = f"file={_property(place.file)},line={place.line},col={place.column}"
        said = _said(problem)
        title = f"title={_property(problem.rule)}"
        lines.append(f"::{kinds[problem.severity]} {where},{title}::{_data(said)}\n")
    return "".join(lines)


def _said(problem: Problem) -> str:
    hint = hint_of(problem)
    return f"{problem.message}; {hint}" if hint else problem.message


def _data(text: str) -> str:
    return text.replace("%", "%25").replace("\r", "%0D").replace("\n", "%0A")


def _property(text: str) -> str:
    return _data(text).replace(":", "%3A").replace(",", "%2C")


def as_sarif(problems: Sequence[Problem]) -> str:
    """One run of the checker, with the pages of the rules that were broken."""
    broken = [RULES[rule] for rule in dict.fromkeys(problem.rule for problem in problems)]
    order = {rule.id: at for at, rule in enumerate(broken)}
    run = {
        "tool": {
            "driver": {
                "name": "faulttree",
                "version": __version__,
                "rules": [_sarif_rule(rule) for rule in broken],
            }
        },
        "columnKind": "unicodeCodePoints",
        "results": [_sarif_result(problem, order) for problem in problems],
    }
    document = {
        "$schema": "https://docs.oasis-open.org/sarif/sarif/v2.1.0/os/schemas/sarif-schema-2.1.0.json",
        "version": "2.1.0",
        "runs": [run],
    }
    return json.dumps(document, indent=1, ensure_ascii=False) + "\n"


def _sarif_rule(rule: Rule) -> dict[str, Any]:
    return {
        "id": rule.id,
        "shortDescription": {"text": rule.title},
        "help": {"text": rule.page, "markdown": rule.page},
        "defaultConfiguration": {"level": rule.severity},
    }


def _sarif_result(problem: Problem, order: Mapping[str, int]) -> dict[str, Any]:
    said = _said(problem)
    place = problem.place
    return {
        "ruleId": problem.rule,
        "ruleIndex": order[problem.rule],
        "level": problem.severity,
        "message": {"text": said},
        "locations": [
            {
                "physicalLocation": {
                    "artifactLocation": {"uri": _uri(place.file)},
                    "region": {"startLine": place.line, "startColumn": place.column},
                }
            }
        ],
    }


def _uri(file: str) -> str:
    """A file as a URI: of the scheme `file` where the path is absolute, else relative as it is."""
    path = PurePath(file)
    return path.as_uri() if path.is_absolute() else quote(path.as_posix())


FORMATS: Mapping[str, Callable[[Sequence[Problem]], str]] = {
    "text": as_text,
    "json": as_json,
    "github": as_github,
    "sarif": as_sarif,
}
"""How problems can be written, by name."""
