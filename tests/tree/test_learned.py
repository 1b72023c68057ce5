"""Learned figures take the place of authored ones, and only where they fit."""

import shutil
from pathlib import Path

import jsonschema
import pytest

from faulttree.cli import main
from faulttree.tree.check import check
from faulttree.tree.learned import problems_of
from faulttree.tree.load import TreeError, from_document, load, load_all
from faulttree.tree.model import Knowledge
from faulttree.tree.schema import json_schema
from faulttree.tree.source import read_source

LEARNED = """\
format: 1
causes:
  fuel-pump-weak: {how_common: 0.11}
tests:
  fuel-pressure-prime:
    minutes: 17.5
    by_chance: {low: 0.07}
    points_to:
      fuel-pump-weak: {low: 0.66}
      regulator-high: {low: 0.05}
  cranking-volts:
    points_to: {battery-weak: {low: 0.9}}
trees:
  engine-stalls: {brings_on: {fuel-pump-weak: 0.45}}
  starts-badly: {brings_on: {battery-weak: 0.6}}
"""


def write(shelf: Path, text: str = LEARNED) -> Path:
    """Lay a file of learned figures into the shelf."""
    path = shelf / "learned.yaml"
    path.write_text(text)
    return path


def test_learned_figures_take_the_place_of_authored_ones(shelf: Path) -> None:
    """Each learned figure is used, and each that was not learned is the author's."""
    write(shelf)
    knowledge = load_all(shelf)
    assert knowledge.causes["fuel-pump-weak"].how_common == 0.11
    assert knowledge.causes["regulator-high"].how_common == 0.02
    test = knowledge.tests["fuel-pressure-prime"]
    assert test.minutes == 17.5
    authored = load_all(shelf, learned=False)
    assert knowledge.tests["cranking-volts"].minutes == authored.tests["cranking-volts"].minutes
    assert test.by_chance == {"low": 0.07, "high": 0.02}
    assert test.points_to == {
        "fuel-pump-weak": {"low": 0.66},
        "regulator-high": {"low": 0.05, "high": 0.85},
    }
    assert knowledge.tests["idle-watch"].points_to == {"fuel-pump-weak": {"hunting": 0.3}}
    assert knowledge.trees["engine-stalls"].brings_on == {
        "fuel-pump-weak": 0.45,
        "regulator-high": 0.2,
    }


def test_learned_figures_are_in_the_document_and_the_digest(shelf: Path) -> None:
    """The digest tells learned figures from authored ones; without the file it is the old one."""
    authored = load_all(shelf)
    path = write(shelf)
    learned = load_all(shelf)
    assert learned.digest != authored.digest
    assert from_document(learned.document) == learned
    path.unlink()
    assert load_all(shelf) == authored


def test_authored_files_are_not_touched(shelf: Path) -> None:
    """Loading with learned figures leaves every other file byte for byte as it was."""
    before = {path: path.read_bytes() for path in shelf.rglob("*.yaml")}
    write(shelf)
    load_all(shelf)
    assert {path: path.read_bytes() for path in before} == before


def test_what_is_not_loaded_is_passed_over(shelf: Path) -> None:
    """One file serves every choice of trees: figures for what was not loaded are left aside."""
    write(shelf)
    knowledge = load(["engine-stalls"], trees_dir=shelf)
    assert "cranking-volts" not in knowledge.tests
    assert knowledge.trees["engine-stalls"].brings_on["fuel-pump-weak"] == 0.45


def test_causes_of_one_tree_alone_are_known(shelf: Path) -> None:
    """A cause or test written in a tree is known when another tree is loaded."""
    path = shelf / "starts-badly.yaml"
    own = "causes:\n  flat-key: {name: N, what: W., how_common: 0.01, "
    own += "repair: {do: Do it., minutes: 1, parts: 0}}\n"
    path.write_text(path.read_text() + own)
    write(shelf, "format: 1\ncauses:\n  flat-key: {how_common: 0.03}\n")
    assert "flat-key" not in load(["engine-stalls"], trees_dir=shelf).causes
    assert load_all(shelf).causes["flat-key"].how_common == 0.03


def test_learned_figures_alone_are_empty(shelf: Path) -> None:
    """A file that holds nothing but its format changes nothing."""
    authored = load_all(shelf)
    write(shelf, "format: 1\nabout: nothing yet\n")
    assert load_all(shelf) == authored


WRONG = [
    (
        "causes:\n  fuel-pump-wek: {how_common: 0.1}",
        "3:3: error: there is no cause `fuel-pump-wek`; did you mean `fuel-pump-weak`? "
        "[unknown-id]",
    ),
    (
        "tests:\n  no-such: {by_chance: {low: 0.1}}",
        "3:3: error: there is no test `no-such`; take it out: what was learned is of other trees "
        "[unknown-id]",
    ),
    (
        "trees:\n  engine-stall: {brings_on: {fuel-pump-weak: 0.1}}",
        "3:3: error: there is no tree `engine-stall`; did you mean `engine-stalls`? [unknown-id]",
    ),
    (
        "trees:\n  engine-stalls:\n    brings_on: {fuel-pump-weka: 0.1}",
        "4:17: error: there is no cause `fuel-pump-weka`; did you mean `fuel-pump-weak`? "
        "[unknown-id]",
    ),
    (
        "tests:\n  fuel-pressure-prime:\n    points_to:\n      regulator-hihg: {low: 0.1}",
        "5:7: error: there is no cause `regulator-hihg`; did you mean `regulator-high`? "
        "[unknown-id]",
    ),
    (
        "causes:\n  fuel-pump-weak: {how_common: 1}",
        "3:32: error: `how_common` must be less than 1, not 1; nothing is certain: a chance of 1 "
        "could never be taken back [chance-certain]",
    ),
    (
        "causes:\n  fuel-pump-weak: {how_common: 0.1, minutes: 3}",
        "3:37: error: unknown key `minutes`; the keys here are `how_common` [unknown-key]",
    ),
    (
        "tests:\n  fuel-pressure-prime:\n    by_chance: {in limits: 0.5}",
        "4:17: error: `in limits` is the expected band: its chance is what the others leave "
        "[expected-band]",
    ),
    (
        "tests:\n  fuel-pressure-prime:\n    by_chance: {hihg: 0.5}",
        "4:17: error: there is no band `hihg`; did you mean `high`? [unknown-band]",
    ),
    (
        "tests:\n  fuel-pressure-prime:\n    points_to:\n      regulator-high: {low: 0.2}",
        "5:7: error: the chances sum to 1.05, with `high` as authored; at most 0.98: nothing is "
        "certain [chances-too-large]",
    ),
    (
        "tests:\n  fuel-pressure-prime: {minutes: 0}",
        "3:34: error: `minutes` must be more than 0, not 0 [chance-certain]",
    ),
    (
        "tests:\n  fuel-pressure-prime: {minutes: 5 min}",
        "3:34: error: `minutes` must be a number, not `5 min`; write the number alone [wrong-type]",
    ),
    ("sessions: 4", "2:1: error: unknown key `sessions`; "),
    ("causes: [1]", "2:9: error: `causes` must be a mapping of keys to values, not a list"),
]


@pytest.mark.parametrize(("body", "message"), WRONG)
def test_what_does_not_fit_is_refused_at_its_place(shelf: Path, body: str, message: str) -> None:
    """A learned figure that does not fit is an error at its line and column, also for `check`."""
    path = write(shelf, f"format: 1\n{body}\n")
    with pytest.raises(TreeError) as caught:
        load_all(shelf)
    problems = caught.value.problems
    assert len(problems) == 1
    assert str(problems[0]).startswith(f"{path}:{message}")
    found = [p for p in check([shelf]) if p.severity == "error"]
    assert found == list(problems)
    assert [p for p in check([path]) if p.severity == "error"] == found


def test_check_judges_what_the_author_wrote(shelf: Path, tmp_path: Path) -> None:
    """Advice on the authored figures is the same with and without learned ones."""
    plain = tmp_path / "plain" / "trees"
    shutil.copytree(shelf, plain)
    write(shelf)
    told = [(p.rule, p.place.line, p.message) for p in check([shelf])]
    assert told == [(p.rule, p.place.line, p.message) for p in check([plain])]


def test_authored_figures_can_be_had_whatever_was_learned(shelf: Path) -> None:
    """On request learned figures are left aside, even a file of them that is broken."""
    authored = load_all(shelf)
    write(shelf)
    assert load_all(shelf, learned=False) == authored
    write(shelf, "format: 1\ncauses: 3\n")
    assert load(["engine-stalls"], trees_dir=shelf, learned=False).trees
    with pytest.raises(TreeError):
        load(["engine-stalls"], trees_dir=shelf)


def test_learning_anew_starts_from_the_authored_figures(
    shelf: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """`faulttree learn` is handed what the author wrote, or the same sessions would count twice."""
    from faulttree.study import cases

    authored = load_all(shelf)
    write(shelf)
    given: list[Knowledge] = []

    def gather(knowledge: Knowledge, _: Path) -> cases.Gathered:
        given.append(knowledge)
        return cases.Gathered()

    monkeypatch.setattr(cases, "gather", gather)
    assert main(["learn"]) == 1
    assert given == [authored]
    assert capsys.readouterr().err


def test_a_file_can_be_held_against_the_trees_before_it_is_theirs(shelf: Path) -> None:
    """What is wrong with a file elsewhere is said with its own lines; what fits has no problems."""
    elsewhere = shelf.parent / "new.txt"
    elsewhere.write_text(LEARNED)
    assert problems_of(shelf, elsewhere) == []
    elsewhere.write_text("format: 1\ncauses:\n  fuel-pump-wek: {how_common: 0.1}\n")
    (problem,) = problems_of(shelf, elsewhere)
    assert (problem.place.file, problem.place.line) == (str(elsewhere), 3)


def test_an_editor_knows_the_form_of_the_file(shelf: Path) -> None:
    """A general JSON Schema validator accepts what the loader accepts, and refuses a wrong form."""
    validator = jsonschema.Draft202012Validator(json_schema())
    assert validator.is_valid(read_source(write(shelf)).data)
    for body in (
        "causes:\n  fuel-pump-weak: {how_common: 1}",
        "causes:\n  fuel-pump-weak: {how_common: 0.1, minutes: 3}",
        "tests:\n  fuel-pressure-prime: {minutes: 0}",
        "tests:\n  fuel-pressure-prime: {by_chance: {low: 1.5}}",
        "sessions: 4",
    ):
        data = read_source(write(shelf, f"format: 1\n{body}\n")).data
        assert not validator.is_valid(data), body
