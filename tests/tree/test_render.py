"""Problems can be handed to other programs, and come out as they went in."""

import json
import re
from pathlib import Path
from urllib.parse import unquote

import pytest

from faulttree.tree.check import FORMATS, check, render
from faulttree.tree.model import Place
from faulttree.tree.problem import Problem


@pytest.fixture
def problems(shelf: Path) -> list[Problem]:
    """Problems of every severity, one of them with signs in it that formats must guard."""
    tree = shelf / "engine-stalls.yaml"
    tree.write_text(tree.read_text().replace("road_test: [idle-watch]", "road_test: []"))
    fuel = shelf / "shared" / "fuel.yaml"
    fuel.write_text(fuel.read_text().replace("accuracy: 0.5", "accuracy: 3"))
    odd = Problem(Place("trees/50%, odd: name.yaml", 3, 7), "50 %: a\nb", "c, d", "wrong-value")
    return [*check([shelf]), odd]


def test_problems_of_every_severity_are_there(problems: list[Problem]) -> None:
    """The problems that these tests write down are of three severities."""
    assert {problem.severity for problem in problems} == {"error", "warning", "note"}


def test_json_holds_every_field(problems: list[Problem]) -> None:
    """Read back, the JSON gives the same problems."""
    again = [
        Problem(
            Place(row["file"], row["line"], row["column"]),
            row["message"],
            row["hint"],
            row["rule"],
            row["severity"],
        )
        for row in json.loads(render(problems, "json"))
    ]
    assert again == problems


def test_github_commands_are_one_to_a_line_and_escaped(problems: list[Problem]) -> None:
    """Each problem is one command; per cent, line ends, colons and commas cannot break it."""
    lines = render(problems, "github").splitlines()
    assert len(lines) == len(problems)
    for line in lines:
        assert re.fullmatch(
            r"::(error|warning|notice) file=[^,:]+,line=\d+,col=\d+,title=[a-z-]+::.+", line
        )
    # The workflow runner undoes these escapes: %25, %0D, %0A, and %3A and %2C in properties.
    assert unquote(lines[-1]) == (
        "::error file=trees/50%, odd: name.yaml,line=3,col=7,title=wrong-value::50 %: a\nb; c, d"
    )


def test_sarif_is_of_the_form_that_the_standard_asks_for(problems: list[Problem]) -> None:
    """Properties and values are those of SARIF 2.1.0 (OASIS, 2020; sections 3.13, 3.14, 3.27)."""
    document = json.loads(render(problems, "sarif"))
    assert document["version"] == "2.1.0"
    (run,) = document["runs"]
    assert run["columnKind"] in ("utf16CodeUnits", "unicodeCodePoints")
    rules = run["tool"]["driver"]["rules"]
    assert len({rule["id"] for rule in rules}) == len(rules)
    assert len(run["results"]) == len(problems)
    for result, problem in zip(run["results"], problems, strict=True):
        assert result["level"] in ("none", "note", "warning", "error")
        assert rules[result["ruleIndex"]]["id"] == result["ruleId"] == problem.rule
        assert result["message"]["text"].startswith(problem.message)
        (location,) = result["locations"]
        physical = location["physicalLocation"]
        assert unquote(physical["artifactLocation"]["uri"]) == problem.place.file
        assert re.fullmatch(r"[A-Za-z0-9/._%-]+", physical["artifactLocation"]["uri"])
        assert physical["region"] == {
            "startLine": problem.place.line,
            "startColumn": problem.place.column,
        }


@pytest.mark.parametrize("name", FORMATS)
def test_no_problems_are_written_in_every_format(name: str) -> None:
    """An empty list is a good result in each format, and valid."""
    text = render([], name)
    if name in ("json", "sarif"):
        json.loads(text)
    assert "error" not in text


def test_unknown_format_is_refused() -> None:
    """A format that is none raises KeyError."""
    with pytest.raises(KeyError):
        render([], "pictures")
