"""Every rule has a page, and the examples on it are true."""

import copy
import re
from pathlib import Path
from typing import Any

import pytest
import yaml

from faulttree.tree.check import check
from faulttree.tree.problem import Problem
from faulttree.tree.rules import RULES, Rule
from faulttree.tree.source import parse_text

# What an entry must have at least, so that an example can show one thing alone.
CAUSE = {
    "name": "A cause",
    "what": "It is there for the example.",
    "how_common": 0.02,
    "repair": {"do": "Put it right.", "minutes": 10, "parts": 0},
}
TEST = {"name": "A test", "do": "Do it.", "minutes": 5, "reach": 0}
CHOICE = {"choices": ["good", "bad"], "expect": "good"}
NUMBER = {
    "reading": {"unit": "psi", "accuracy": 1},
    "bands": ["low", 32, "in limits", 40, "high"],
    "expect": "in limits",
}
# What a file may hold beside the examples: rules about whole files have none.
WITHOUT_EXAMPLES = {"file-unreadable", "not-utf-8", "file-ignored"}


def merged(old: Any, new: Any) -> Any:
    """`new` laid over `old`: mappings key by key, anything else replaced."""
    if isinstance(old, dict) and isinstance(new, dict):
        return {**copy.deepcopy(old), **{k: merged(old.get(k), v) for k, v in new.items()}}
    return new


def file_of(data: dict[str, Any]) -> str:
    """The file of the good shelf that an example belongs in, by its keys."""
    for key in ("specs", "instruments", "cautions"):
        if key in data and "vehicle" not in data and "complaint" not in data:
            return f"shared/{key}.yaml"
    if "vehicle" in data:
        return "vehicles/old-saloon.yaml"
    return "shared/fuel.yaml" if data.keys() & {"causes", "tests"} else "engine-stalls.yaml"


def lay(shelf: Path, text: str) -> None:
    """Put an example into the good shelf.

    A whole file takes the place of its like, and so does one that YAML itself stumbles over; a
    part of one is laid over it, and new causes and tests get the keys that the example leaves out.
    """
    source = parse_text(text)
    if source.problems or "format" in source.data:
        keys = dict.fromkeys(re.findall(r"^(\w+):", text, re.M))
        (shelf / file_of(keys)).write_text(text, encoding="utf-8")
        return
    for key, value in source.data.items():
        path = shelf / file_of({key: value})
        whole = parse_text(path.read_text(encoding="utf-8")).data
        if key == "causes":
            value = {id_: _filled(whole, key, id_, CAUSE, raw) for id_, raw in value.items()}
        elif key == "tests":
            value = {id_: _filled_test(whole, id_, raw) for id_, raw in value.items()}
        data = merged(whole, {key: value})
        path.write_text(yaml.safe_dump(data, sort_keys=False, allow_unicode=True))


def _filled(whole: Any, section: str, id_: str, least: Any, raw: Any) -> Any:
    return raw if id_ in whole.get(section, {}) else merged(least, raw)


def _filled_test(whole: Any, id_: str, raw: Any) -> Any:
    if id_ in whole.get("tests", {}):
        return raw
    kind = {} if "bands" in raw else CHOICE if "reading" not in raw else NUMBER
    return merged({**TEST, **kind}, raw)


def found(shelf: Path) -> list[Problem]:
    return check([shelf])


with_examples = pytest.mark.parametrize(
    "rule", [rule for rule in RULES.values() if rule.id not in WITHOUT_EXAMPLES], ids=lambda r: r.id
)


@pytest.mark.parametrize("rule", RULES.values(), ids=lambda rule: rule.id)
def test_page_opens_with_a_sentence(rule: Rule) -> None:
    """Each page says in its first line what must hold, and after that why."""
    assert re.fullmatch(r"[A-Z].+\.|[A-Z].+", rule.title)
    assert re.search(r"\.$", rule.page.split("\n\n")[0])
    assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", rule.id)
    assert len(rule.page.split("\n\n")) >= 2 or rule.id in WITHOUT_EXAMPLES


@pytest.mark.parametrize("rule", RULES.values(), ids=lambda rule: rule.id)
def test_every_rule_says_what_to_do(rule: Rule) -> None:
    """Each rule has a line of advice that fits under a problem of it."""
    assert re.fullmatch(r"[a-z`\[].+[^.]", rule.mend)
    assert len(rule.mend) <= 100


@with_examples
def test_bad_example_is_reported(rule: Rule, shelf: Path) -> None:
    """The bad example on a rule's page breaks that rule."""
    lay(shelf, rule.examples()["bad"])
    problems = found(shelf)
    assert rule.id in {problem.rule for problem in problems}
    assert {problem.severity for problem in problems if problem.rule == rule.id} == {rule.severity}


@with_examples
def test_good_example_is_not_reported(rule: Rule, shelf: Path) -> None:
    """The good example on a rule's page keeps that rule, and is not refused for anything else."""
    lay(shelf, rule.examples()["good"])
    problems = found(shelf)
    if rule.id not in {"yaml-syntax", "yaml-documents", "file-empty"}:  # these are parts of files
        assert [problem for problem in problems if problem.severity == "error"] == []
    assert rule.id not in {problem.rule for problem in problems}


@with_examples
def test_examples_of_a_rule_differ_in_what_the_rule_sees(rule: Rule, shelf: Path) -> None:
    """A rule about loaded trees has a bad example that loads, so that the rule itself is tried."""
    lay(shelf, rule.examples()["bad"])
    errors = {problem.rule for problem in found(shelf) if problem.severity == "error"}
    if rule.needs_knowledge:
        assert errors <= {rule.id}


def test_every_rule_that_is_reported_has_a_page() -> None:
    """Each rule named anywhere in the package stands in the table."""
    package = Path(check.__code__.co_filename).parent
    named = set()
    for path in package.glob("*.py"):
        text = path.read_text(encoding="utf-8")
        named |= set(re.findall(r'rule="([a-z0-9-]+)"', text))
        named |= set(re.findall(r'"([a-z0-9]+(?:-[a-z0-9]+)+)"\)', text))
    encodings = {"utf-8", "utf-8-sig"}
    assert len(named) > 20
    assert named - encodings - set(RULES) == set()


def test_spec_that_a_card_shows_is_used(shelf: Path) -> None:
    """A spec that only the steps of a test send the technician to is not left over."""
    specs, fuel = shelf / "shared" / "specs.yaml", shelf / "shared" / "fuel.yaml"
    specs.write_text(specs.read_text() + "  plug_gap: {name: Plug gap, unit: mm}\n")
    told = [p.message for p in found(shelf) if p.rule == "unused"]
    assert told == ["nothing uses the spec `plug_gap`"]
    fuel.write_text(fuel.read_text().replace("    expect:", "    figures: [plug_gap]\n    expect:"))
    assert [p.message for p in found(shelf)] == []


def test_file_that_is_passed_over_is_reported(shelf: Path) -> None:
    """A tree whose name ends in .yml is not read, and the checker says so."""
    (shelf / "misfire.yml").write_text("format: 1\n")
    assert [str(p.place) for p in found(shelf) if p.rule == "file-ignored"] == [
        "trees/misfire.yml:1:1"
    ]


def test_file_in_another_encoding_is_reported_where_it_breaks_off(shelf: Path) -> None:
    """A byte that is not UTF-8 is reported at its own line and column."""
    (shelf / "vehicles" / "odd.yaml").write_bytes(b"format: 1\nvehicle: \xb0C\n")
    (shelf / "vehicles" / "wide.yaml").write_bytes("format: 1\n".encode("utf-16"))
    assert [str(p) for p in found(shelf) if p.rule == "not-utf-8"] == [
        "trees/vehicles/odd.yaml:2:10: error: the byte 0xB0 is not UTF-8; save the file as UTF-8"
        " [not-utf-8]",
        "trees/vehicles/wide.yaml:1:1: error: the file is UTF-16, not UTF-8; save it as UTF-8"
        " [not-utf-8]",
    ]


def test_file_that_cannot_be_read_is_reported(shelf: Path) -> None:
    """A folder in the place of a file, and a path that is not there, are problems and no crash."""
    (shelf / "odd.yaml").mkdir()
    problems = check([shelf, "nowhere.yaml"])
    assert [(p.place.file, p.rule) for p in problems if p.severity == "error"] == [
        ("nowhere.yaml", "file-unreadable"),
        ("trees/odd.yaml", "file-unreadable"),
    ]
