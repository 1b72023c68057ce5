"""Problems can be handed to other programs, and come out as they went in."""

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import jsonschema
import pytest

from faulttree.tree.check import FORMATS, check, render
from faulttree.tree.model import Place
from faulttree.tree.problem import Problem
from faulttree.tree.render import hint_of


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
    assert again == [replace(problem, hint=hint_of(problem)) for problem in problems]


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


def thing(required: str, **properties: Any) -> dict[str, Any]:
    """An object with these properties and no others, some of them required."""
    return {
        "type": "object",
        "required": required.split(),
        "properties": properties,
        "additionalProperties": False,
    }


# What SARIF 2.1.0 (OASIS Standard, 27 March 2020) asks of those of its objects that are written
# here, by section; written from the standard's text, not copied from its schema. The output was
# also held once against the whole published schema (sarif-schema-2.1.0, release rtm.5).
TEXT = {"type": "string"}
MESSAGE = thing("text", text=TEXT, markdown=TEXT)  # 3.11, 3.12
LEVEL = {"enum": ["none", "note", "warning", "error"]}  # 3.27.10
COUNT = {"type": "integer", "minimum": 1}
REGION = thing("startLine", startLine=COUNT, startColumn=COUNT)  # 3.30.5, 3.30.6
URI = {"type": "string", "format": "uri-reference"}  # 3.4.3
PHYSICAL = thing("artifactLocation", artifactLocation=thing("uri", uri=URI), region=REGION)
RULE = thing(  # 3.49
    "id",
    id=TEXT,
    shortDescription=MESSAGE,
    help=MESSAGE,
    defaultConfiguration=thing("level", level=LEVEL),
)
RESULT = thing(  # 3.27
    "message",
    ruleId=TEXT,
    ruleIndex={"type": "integer", "minimum": -1},
    level=LEVEL,
    message=MESSAGE,
    locations={"type": "array", "items": thing("", physicalLocation=PHYSICAL)},
)
DRIVER = thing(  # 3.19: `name` alone is required
    "name", name=TEXT, version=TEXT, rules={"type": "array", "items": RULE, "uniqueItems": True}
)
RUN = thing(  # 3.14
    "tool",
    tool=thing("driver", driver=DRIVER),  # 3.18
    columnKind={"enum": ["utf16CodeUnits", "unicodeCodePoints"]},  # 3.14.17
    results={"type": "array", "items": RESULT},
)
LOG = thing(  # 3.13
    "version runs", version={"const": "2.1.0"}, runs={"type": "array", "items": RUN}
)
LOG["properties"]["$schema"] = {"type": "string", "format": "uri"}  # 3.13.3
SARIF = jsonschema.Draft202012Validator(LOG, format_checker=jsonschema.FormatChecker())


def test_sarif_is_of_the_form_that_the_standard_asks_for(problems: list[Problem]) -> None:
    """Objects, properties and values are those of SARIF 2.1.0, and say what was found."""
    document = json.loads(render(problems, "sarif"))
    assert [error.message for error in SARIF.iter_errors(document)] == []
    (run,) = document["runs"]
    rules = run["tool"]["driver"]["rules"]
    assert len({rule["id"] for rule in rules}) == len(rules)
    assert len(run["results"]) == len(problems)
    for result, problem in zip(run["results"], problems, strict=True):
        assert rules[result["ruleIndex"]]["id"] == result["ruleId"] == problem.rule
        assert result["level"] == problem.severity
        assert result["message"]["text"].startswith(problem.message)
        (location,) = result["locations"]
        physical = location["physicalLocation"]
        assert unquote(physical["artifactLocation"]["uri"]) == problem.place.file
        assert re.fullmatch(r"[A-Za-z0-9/._%-]+", physical["artifactLocation"]["uri"])
        assert physical["region"] == {
            "startLine": problem.place.line,
            "startColumn": problem.place.column,
        }


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("version",), "2.0"),
        (("runs", 0, "tool", "driver", "name"), None),
        (("runs", 0, "columnKind"), "bytes"),
        (("runs", 0, "results", 0, "level"), "notice"),
        (("runs", 0, "results", 0, "message"), "text alone"),
        (("runs", 0, "results", 0, "locations", 0, "physicalLocation", "region", "startLine"), 0),
        (("runs", 0, "results", 0, "severity"), "high"),
    ],
)
def test_model_of_the_standard_refuses_what_breaks_it(
    problems: list[Problem], path: tuple[str | int, ...], value: object
) -> None:
    """The model that output is held against is not satisfied by whatever comes."""
    document = json.loads(render(problems, "sarif"))
    node = document
    for step in path[:-1]:
        node = node[step]
    node[path[-1]] = value
    assert not SARIF.is_valid(document)


def test_absolute_path_is_written_as_a_uri_of_its_own(tmp_path: Path) -> None:
    """A file outside the working folder has a URI with a scheme, which any program can open."""
    place = Place(str(tmp_path / "odd name.yaml"), 1, 1)
    document = json.loads(render([Problem(place, "m", "", "wrong-value")], "sarif"))
    (result,) = document["runs"][0]["results"]
    uri = result["locations"][0]["physicalLocation"]["artifactLocation"]["uri"]
    assert uri.startswith("file:///")
    assert uri.endswith("/odd%20name.yaml")


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
