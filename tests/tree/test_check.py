"""The checker names the right line whatever is spoilt, and shows it safely."""

import json
import re
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from faulttree.cli import main
from faulttree.tree import shelf as shelf_module
from faulttree.tree.check import check, explain, render, rule_list, summary, worst
from faulttree.tree.load import TreeError, load_all
from faulttree.tree.model import Place
from faulttree.tree.places import shipped
from faulttree.tree.problem import Problem, did_you_mean, in_order, visible
from faulttree.tree.rules import RULES
from faulttree.tree.schema import id_hint
from faulttree.tree.source import parse_text

GOOD = Path(__file__).parents[1] / "bad_trees" / "good"
FILES = sorted(str(path.relative_to(GOOD)) for path in GOOD.rglob("*.yaml"))


def test_shipped_trees_have_no_errors() -> None:
    """The trees that come with the program keep every rule that is not mere advice."""
    problems = check([shipped("trees")])
    assert [str(problem) for problem in problems if problem.severity == "error"] == []


def test_check_finds_what_loading_refuses(shelf: Path) -> None:
    """Whatever the loader refuses, the checker reports as an error, word for word."""
    path = shelf / "shared" / "fuel.yaml"
    path.write_text(path.read_text().replace("expect: steady", "expect: stable"))
    with pytest.raises(TreeError) as caught:
        load_all(shelf)
    assert check([shelf]) == list(caught.value.problems)


def test_file_alone_is_checked_with_what_lies_beside_it(shelf: Path) -> None:
    """For one file the whole shelf is read, but only that file's problems are given."""
    spoilt = shelf / "shared" / "battery.yaml"
    spoilt.write_text(spoilt.read_text().replace("minutes: 4", "minutes: -4"))
    for file in ["shared/battery.yaml", "shared/fuel.yaml", "engine-stalls.yaml"]:
        found = {problem.place.file for problem in check([shelf / file])}
        assert found == ({str(spoilt)} if file == "shared/battery.yaml" else set())
    assert {problem.place.file for problem in check([shelf, spoilt])} == {str(spoilt)}


@pytest.mark.parametrize("name", ["notes.md", "trees.txt", "shared/notes.md", "elsewhere/a.md"])
def test_file_that_is_not_of_trees_is_not_called_sound(shelf: Path, name: str) -> None:
    """A file that nobody reads as a tree is an error of its own, wherever it lies."""
    path = shelf / name
    path.parent.mkdir(exist_ok=True)
    path.write_text("complaint: [")
    (problem,) = check([path])
    assert (problem.severity, problem.rule) == ("error", "unknown-file")
    assert (problem.place.file, problem.message) == (str(path), "this is not a file of trees")


@pytest.mark.parametrize("folder", ["shared", "vehicles"])
def test_file_named_from_its_own_folder_is_checked_as_what_it_is(
    shelf: Path, folder: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In `shared` or `vehicles` a file is checked as what it is, not taken for a tree."""
    monkeypatch.chdir(shelf / folder)
    for path in sorted(Path().glob("*.yaml")):
        assert check([path]) == []
        path.write_text(path.read_text() + "\nodd: 1\n")
        (problem,) = check([path])
        assert problem.message == "unknown key `odd`"
        assert problem.place.file == str(Path("..", folder, path))


def test_nothing_to_check_is_an_error(tmp_path: Path) -> None:
    """An empty folder and a missing file are reported, not passed as good."""
    assert [p.rule for p in check([tmp_path])] == ["unknown-file"]
    assert [p.rule for p in check([tmp_path / "x.yaml"])] == ["file-unreadable"]


def test_problems_are_given_once_and_in_order() -> None:
    """Problems are sorted by file, line and column, and one that is found twice is given once."""
    one, two = Problem(Place("a", 2, 1), "x"), Problem(Place("a", 10, 1), "y")
    three = Problem(Place("b", 1, 1), "z")
    assert in_order([three, two, one, two]) == [one, two, three]


def test_worst_and_summary() -> None:
    """The worst severity decides, and the summary counts each."""
    note = Problem(Place("a", 1, 1), "x", severity="note")
    warning = Problem(Place("a", 1, 1), "y", severity="warning")
    assert worst([]) is None
    assert worst([note, warning]) == "warning"
    assert summary([]) == "no problems"
    assert summary([note, warning, note]) == "1 warning, 2 notes"


def test_page_of_a_rule_can_be_had_by_its_id() -> None:
    """`explain` gives the page of each rule, and None for what is none."""
    for rule in RULES.values():
        page = explain(rule.id)
        assert page is not None
        assert page.startswith(f"{rule.id} ({rule.severity})\n\n{rule.title}")
        assert page.endswith(f"What to do: {rule.mend}.\n")
    assert explain("no-such-rule") is None


def test_rules_can_be_listed() -> None:
    """The list has a line for every rule, with its severity and what must hold."""
    rows = [line.split(maxsplit=2) for line in rule_list().splitlines()]
    assert [row[0] for row in rows] == sorted(RULES)
    assert all([row[1], row[2]] == [RULES[row[0]].severity, RULES[row[0]].title] for row in rows)


def test_misspelt_key_is_told_once(shelf: Path) -> None:
    """A needed key with a slip in it is one problem; one that is not there at all is told too."""
    path = shelf / "shared" / "fuel.yaml"
    text = path.read_text()
    path.write_text(text.replace("    minutes: 15\n", "    minuts: 15\n", 1))
    assert [(p.rule, p.hint) for p in check([path])] == [("unknown-key", "did you mean `minutes`?")]
    path.write_text(text.replace("    minutes: 15\n", "    weight: 15\n", 1))
    found = {problem.rule: problem for problem in check([path])}
    assert found.keys() == {"unknown-key", "missing-key"}
    assert found["missing-key"].hint == "`minutes`: how long it takes"


@pytest.mark.parametrize(
    ("text", "separator", "hint"),
    [
        ("Idle Speed", "_", "write `idle_speed`: small letters and digits, with _ between words"),
        ("Low--Fuel!", "-", "write `low-fuel`: small letters and digits, with - between words"),
        ("漢字", "-", "small letters and digits, with - between words"),
    ],
)
def test_id_is_proposed_for_what_is_none(text: str, separator: str, hint: str) -> None:
    """A name that is no id is offered as one, where letters are left."""
    assert id_hint(text, separator) == hint


def test_command_tells_by_its_exit_code_and_points_to_the_page(
    shelf: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Notes and warnings exit 0, an error 1; a word on standard error says where to read more."""
    assert main(["check", "trees"]) == 0
    assert capsys.readouterr().err == ""
    path = shelf / "engine-stalls.yaml"
    good = path.read_text()
    path.write_text(good.replace("road_test: [idle-watch]", "road_test: []"))
    assert main(["check", "trees"]) == 0
    said = capsys.readouterr()
    assert said.out.endswith("1 note\n")
    assert said.err == "faulttree: more about one: faulttree check --explain no-road-test\n"
    path.write_text(good.replace("first: idle-watch", "first: idle-wach"))
    assert main(["check", "trees", "--format", "json"]) == 1
    said = capsys.readouterr()
    assert [row["rule"] for row in json.loads(said.out)] == ["unknown-id"]
    assert said.err == ""


def test_command_lists_the_rules(capsys: pytest.CaptureFixture[str]) -> None:
    """`--explain` without a rule lists them all."""
    assert main(["check", "--explain"]) == 0
    assert capsys.readouterr().out == rule_list()


# Showing


def shown(tmp_path: Path, text: str, line: int, column: int, message: str = "m") -> str:
    path = tmp_path / "x.yaml"
    path.write_bytes(text.encode())
    return render([Problem(Place(str(path), line, column), message, "h", "r")])


def test_caret_stands_below_the_place(tmp_path: Path) -> None:
    """The line is shown with a caret below its column."""
    out = shown(tmp_path, "a: 1\r\nbb: {c: 2}\r\n", 2, 6)
    assert out.split("\n")[1:5] == ["  bb: {c: 2}", "       ^", "  h", "1 error"]


def test_caret_allows_for_wide_characters(tmp_path: Path) -> None:
    """Characters that take two cells push the caret two cells to the right."""
    out = shown(tmp_path, "漢字: x\n", 1, 5)
    assert out.split("\n")[1:3] == ["  漢字: x", "        ^"]


def test_long_line_is_cut_around_the_place(tmp_path: Path) -> None:
    """Of a line that is too long for a screen the part around the place is shown."""
    out = shown(tmp_path, "a: [" + "x, " * 200 + "HERE, " + "y, " * 200 + "]\n", 1, 605)
    line, caret = out.split("\n")[1:3]
    assert len(line) < 110
    assert line[caret.index("^") :].startswith("HERE")


def test_place_outside_the_file_shows_no_line(tmp_path: Path) -> None:
    """A problem at a line that is not there, or in no file, is shown without one."""
    assert len(shown(tmp_path, "a: 1\n", 9, 1).split("\n")) == 4
    assert render([Problem(Place("none", 1, 1), "m", "", "r")]) == (
        "none:1:1: error: m [r]\n1 error\n"
    )


@pytest.mark.parametrize(
    "hostile", ["\x1b[31mred", "a\rb", "x\x9b2J", "\u202egnp", "\u2066x", "\x00"]
)
def test_nothing_in_a_file_reaches_the_terminal_as_a_command(tmp_path: Path, hostile: str) -> None:
    """Control characters and bidirectional marks in lines and messages become symbols."""
    out = shown(tmp_path, f"a: {hostile}\n", 1, 1, f"`{hostile}`")
    assert all(character.isprintable() for character in out.replace("\n", ""))
    assert str(Problem(Place("f", 1, 1), hostile)).isprintable()
    assert visible("plain °C") == "plain °C"


def test_escapes_in_quoted_ids_are_shown_as_symbols(shelf: Path) -> None:
    """A name with an escape sequence in it is quoted without the escape."""
    path = shelf / "engine-stalls.yaml"
    path.write_text(path.read_text().replace("first: idle-watch", 'first: "\\e[2Jidle"'))
    (problem,) = check([path])
    assert "␛[2Jidle" in str(problem)
    assert "\x1b" not in render([problem])


@pytest.mark.parametrize(
    ("word", "known", "hint"),
    [
        ("minuts", ["minutes", "name"], "did you mean `minutes`?"),
        ("fuelsystem", ["fuel_system"], "did you mean `fuel_system`?"),
        ("IDLE WATCH", ["idle-watch"], "did you mean `idle-watch`?"),
        ("zzz", ["idle-watch"], ""),
        ("x", [], ""),
    ],
)
def test_nearest_word_is_offered(word: str, known: list[str], hint: str) -> None:
    """A hint names the nearest known word, also across hyphens and capitals, or nothing."""
    assert did_you_mean(word, known) == hint


# Properties


def mappings(data: Any, path: tuple[str | int, ...] = ()) -> Any:
    """The path of every mapping in nested data."""
    if isinstance(data, dict):
        yield path
        for key, value in data.items():
            yield from mappings(value, (*path, key))
    elif isinstance(data, list):
        for at, value in enumerate(data):
            yield from mappings(value, (*path, at))


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_broken_key_is_reported_where_it_stands(data: st.DataObject, shelf: Path) -> None:
    """A key that makes no sense, put anywhere in any file, is reported at its line and column."""
    file = data.draw(st.sampled_from(FILES))
    content = yaml.safe_load((GOOD / file).read_text())
    path = data.draw(st.sampled_from(sorted(mappings(content), key=repr)))
    node = content
    for step in path:
        node = node[step]
    at = data.draw(st.integers(0, len(node)))
    items = list(node.items())
    items.insert(at, ("zz_broken", "zz"))
    node.clear()
    node.update(items)
    text = yaml.safe_dump(
        content,
        sort_keys=False,
        default_flow_style=data.draw(st.sampled_from([None, True, False])),
        indent=data.draw(st.integers(2, 5)),
        width=data.draw(st.sampled_from([30, 100])),
    )
    target = shelf / file
    shelf_module._CACHE.clear()
    target.write_text(text)
    problems = check([target])
    target.write_text((GOOD / file).read_text())
    before = text[: text.index("zz_broken")].split("\n")
    key = Place(str(target), len(before), len(before[-1]) + 1)
    value = parse_text(text, str(target)).place((*path, "zz_broken"))
    errors = [problem for problem in problems if problem.severity == "error"]
    assert {key, value} & {problem.place for problem in errors}, (path, text)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60)
@given(data=st.data())
def test_no_damage_makes_the_checker_fail(data: st.DataObject, shelf: Path) -> None:
    """Whatever is cut out of or put into a file, checking gives problems, never an exception."""
    file = data.draw(st.sampled_from(FILES))
    text = (GOOD / file).read_text()
    start = data.draw(st.integers(0, len(text)))
    end = min(len(text), start + data.draw(st.integers(0, 12)))
    patch = data.draw(st.text(alphabet="ab:-[]{}'\"#&*!|> \n\t,?1.~\x07é", max_size=6))
    target = shelf / file
    shelf_module._CACHE.clear()
    target.write_text(text[:start] + patch + text[end:], encoding="utf-8")
    problems = check([shelf])
    target.write_text(text)
    assert render(problems).endswith(summary(problems) + "\n")
    for problem in problems:
        assert re.fullmatch(r"[a-z0-9-]+", problem.rule)
        assert problem.place.line >= 1
