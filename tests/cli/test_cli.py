"""The commands: what they print, and one plain message for everything that can be wrong."""

import errno
import itertools
import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from faulttree import cli

Run = Callable[..., Any]
FOLDER = Path(__file__).parent


def python(*arguments: str, **options: Any) -> "subprocess.CompletedProcess[str]":
    """Run `python -m faulttree` as a process of its own."""
    root = FOLDER.parent.parent
    environment = {**os.environ, "PYTHONPATH": str(root)}
    return subprocess.run(
        [sys.executable, "-m", "faulttree", *arguments],
        capture_output=True,
        text=True,
        env=environment,
        check=False,
        **options,
    )


# --- what is wrong, and what is said about it --------------------------------------------------

WRONG = [
    (
        ["wlak"],
        2,
        "Argument COMMAND: invalid choice: 'wlak' (choose from ",
    ),
    (["score"], 2, "The following arguments are required: TREE. See `faulttree score --help`."),
    (["resume"], 2, "The following arguments are required: SESSION."),
    (["score", "idle-unsteady", "--fast"], 2, "Unrecognized arguments: --fast."),
    (["score", "idle-unsteady", "--read", "a=1"], 2, "Unrecognized arguments: --read a=1."),
    (
        ["score", "idle-unstedy"],
        2,
        "There is no tree 'idle-unstedy' in trees. Did you mean idle-unsteady?\n",
    ),
    (
        ["score", "IDLE_UNSTEADY"],
        2,
        "There is no tree 'IDLE_UNSTEADY' in trees. Did you mean idle-unsteady?\n",
    ),
    (
        ["score", "zzz"],
        2,
        "There is no tree 'zzz' in trees. There are: idle-unsteady, power-lacking.\n",
    ),
    (["score", "./missing.yaml"], 1, "the trees cannot be used as they stand:\n"),
    (
        ["--trees", "nowhere", "score", "x"],
        1,
        "There is no folder of trees nowhere. Give one with --trees.\n",
    ),
    (
        ["score", "idle-unsteady", "--vehicle", "campr"],
        2,
        "There is no vehicle 'campr', neither as a file nor in trees/vehicles. "
        "Did you mean camper?\n",
    ),
    (
        ["score", "idle-unsteady", "--vehicle", "trees/idle-unsteady.yaml"],
        1,
        "the trees cannot be used as they stand:\ntrees/idle-unsteady.yaml:",
    ),
    (
        ["score", "idle-unsteady", "--spec", "fuel_pressure"],
        2,
        "'fuel_pressure' is no spec: write it like fuel_pressure=36psi.\n",
    ),
    (
        ["score", "idle-unsteady", "--spec", "fuel_presure=36psi"],
        2,
        "There is no spec 'fuel_presure' in these trees. Did you mean fuel_pressure?\n",
    ),
    (
        ["score", "idle-unsteady", "--spec", "fuel_pressure=9000 psi"],
        2,
        "fuel_pressure: Fuel pressure: 62052.8 kPa cannot be: it lies between 7 and 800.\n",
    ),
    (
        ["score", "idle-unsteady", "--spec", "fuel_system=carburetor"],
        2,
        "fuel_system: Fuel system is one of: carburettor, multipoint. Did you mean carburettor?\n",
    ),
    (
        ["score", "idle-unsteady", "--reading", "34psi"],
        2,
        "'34psi' is no reading: write it like fuel-pressure-prime=34psi.\n",
    ),
    (
        ["score", "idle-unsteady", "--reading", "idle-watch="],
        2,
        "'idle-watch=' is no reading: write it like fuel-pressure-prime=34psi.\n",
    ),
    (
        ["score", "idle-unsteady", "--reading", "compression=150"],
        2,
        "There is no test 'compression' in these trees. Did you mean compression-dry?\n",
    ),
    (
        ["score", "idle-unsteady", "--repaired", "zzz"],
        2,
        "There is no cause 'zzz' in these trees. The ids of every cause stand in the files of the "
        "trees.\n",
    ),
    (["sum"], 2, "The following arguments are required: NAME. See `faulttree sum --help`.\n"),
    (["sum", "zzz"], 2, "There is no sum called 'zzz'. `faulttree sums` lists them.\n"),
    (
        ["check", "--explain", "zzz"],
        2,
        "There is no rule 'zzz'. `faulttree check --explain` lists them.\n",
    ),
    (
        ["score", "idle-unsteady", "--reading", "idle-watch=hunts"],
        2,
        "idle-watch: 'hunts' is not one of the choices of Watch the idle: steady, hunting, low. "
        "Did you mean hunting?\n",
    ),
    (
        ["score", "idle-unsteady", "--vehicle", "camper", "--reading", "fuel-pressure-prime=soft"],
        2,
        "fuel-pressure-prime: 'soft' is not a reading: ",
    ),
    (
        [
            "score",
            "idle-unsteady",
            "--vehicle",
            "camper",
            "--reading",
            "fuel-pressure-prime=500 psi",
        ],
        2,
        "fuel-pressure-prime: 500 psi is outside what this test can read (0 to 120 psi). "
        "Check the figure and its unit.\n",
    ),
    (
        ["score", "idle-unsteady", "--reading", "fuel-pressure-prime=34psi"],
        2,
        "fuel-pressure-prime: Fuel pressure is not known for this car: look it up and type it in "
        "(spec fuel_pressure)\n",
    ),
    (
        [
            "score",
            "idle-unsteady",
            "--spec",
            "fuel_system=carburettor",
            "--reading",
            "fuel-pressure-prime=34psi",
        ],
        2,
        "fuel-pressure-prime: Fuel pressure at prime does not apply to this car: Fuel system is "
        "carburettor, the test is for multipoint. If the car is described wrongly, correct that "
        "first.\n",
    ),
    (
        ["score", "idle-unsteady", "--reading", "compression-dry=150,148,95 psi"],
        2,
        "compression-dry: 4 readings are wanted, one per cylinder, but 3 given: 150, 148, 95. "
        "Give one for each, in cylinder order.\n",
    ),
    (
        ["score", "idle-unsteady", "--reading", "coolant-sensor=60 degC"],
        2,
        "coolant-sensor: Coolant sensor against a thermometer takes its figures by name: "
        "write shown=55 degC, true=50 degC.\n",
    ),
    (
        ["score", "idle-unsteady", "--reading", "coolant-sensor=shown=60 degC"],
        2,
        "coolant-sensor: Coolant sensor against a thermometer: true is missing. "
        "Write shown=55 degC, true=50 degC.\n",
    ),
    (
        ["score", "idle-unsteady", "--reading", "idle-unsteady=better"],
        2,
        "idle-unsteady: a complaint is `present` or `gone`, not 'better'.\n",
    ),
    (
        ["score", "idle-unsteady", "--reading", "power-lacking=gone"],
        2,
        "There is no test 'power-lacking' in these trees.",
    ),
    (
        ["score", "idle-unsteady", "--repaired", "air-leek"],
        2,
        "There is no cause 'air-leek' in these trees. Did you mean air-leak?\n",
    ),
    (["walk", "idle"], 2, "There is no tree 'idle' in trees."),
    (
        ["walk", "idle-unsteady", "--vehicle", "van"],
        2,
        "There is no vehicle 'van' in trees/vehicles. There are: camper.\n",
    ),
    (["replay", "1999"], 2, "There is no session '1999' in "),
    (["resume", "1999"], 2, "There is no session '1999' in "),
    (["handover", "1999"], 2, "There is no session '1999' in "),
    (["sessions", "--sessions", "nowhere"], 1, "There is no folder of sessions nowhere.\n"),
    (
        ["handover", "trees/idle-unsteady.yaml"],
        1,
        "trees/idle-unsteady.yaml:1: this is not the log",
    ),
    (["check", "--explain", "bad-idd"], 2, "There is no rule 'bad-idd'. Did you mean bad-id?\n"),
    ([], 1, "The screens need a terminal, and this is none."),
    (["walk", "idle-unsteady"], 1, "The screens need a terminal, and this is none."),
    (["--keys", "none.toml", "walk"], 1, "The screens need a terminal"),
]


@pytest.mark.parametrize(("arguments", "code", "message"), WRONG, ids=lambda v: str(v)[:60])
def test_wrong(run: Run, arguments: list[str], code: int, message: str) -> None:
    """Whatever is wrong is said in one message on standard error, with its exit code."""
    result = run(*arguments)
    assert result.err.startswith(f"faulttree: {message}")
    assert result.code == code
    assert result.out == ""
    assert "Traceback" not in result.err


def test_hostile_arguments_do_not_reach_the_terminal(run: Run) -> None:
    """A name that holds escapes is named without them."""
    for arguments in (
        ["score", "\x1b[2Jidle"],
        ["score", "idle-unsteady", "--reading", "\x1b]0;x\x07=3"],
        ["score", "idle-unsteady", "--reading", "idle-watch=\x9b31m"],
        ["handover", "\x1b[31m"],
        ["check", "\x1b[31m"],
    ):
        result = run(*arguments)
        assert result.code != 0
        assert all(c == "\n" or c.isprintable() for c in result.err + result.out)


# --- the screens -----------------------------------------------------------------------------


@pytest.fixture
def started(monkeypatch: pytest.MonkeyPatch) -> list[tuple[Any, ...]]:
    """What the screens would have been started with, in place of starting them."""
    from faulttree.screen import app

    calls: list[tuple[Any, ...]] = []
    for name in ("run_home", "run_walk", "run_resume", "run_replay"):

        def start(*arguments: Any, _name: str = name, **options: Any) -> int:
            calls.append((_name, *arguments, options))
            return 0

        monkeypatch.setattr(app, name, start)
    # That a terminal is insisted on is held above.
    monkeypatch.setattr(cli, "_insist_on_terminal", lambda: None)
    return calls


NO_OPTIONS = {"who": None, "keys": None, "colours": None}


def test_screens_are_started_with_what_was_asked_for(
    run: Run, started: list[tuple[Any, ...]], session: Path
) -> None:
    """Each way into the screens hands over its folders, complaints, car and options."""
    trees, sessions = Path("trees"), Path("sessions")
    assert run().code == 0
    assert started.pop() == ("run_home", trees, sessions, NO_OPTIONS)
    assert run("walk", "idle-unsteady", "--vehicle", "camper", "--who", "B").code == 0
    assert started.pop() == (
        "run_walk",
        trees,
        sessions,
        ("idle-unsteady",),
        "camper",
        {**NO_OPTIONS, "who": "B"},
    )
    assert run("--who", "B", "walk").code == 0
    assert started.pop() == ("run_walk", trees, sessions, (), None, {**NO_OPTIONS, "who": "B"})
    assert run("replay", session.stem, "--exercise").code == 0
    expected = {**NO_OPTIONS, "exercise": True}
    assert started.pop() == ("run_replay", trees, sessions, sessions / session.name, expected)


def test_resume_goes_on_with_an_open_session(
    run: Run, started: list[tuple[Any, ...]], session: Path
) -> None:
    """An open session is resumed, one torn at its end as well."""
    lines = session.read_bytes().splitlines(keepends=True)
    session.write_bytes(b"".join(lines[:-1]) + b'{"torn')
    result = run("resume", session.stem)
    assert result.code == 0
    assert "line 11 is incomplete" in result.err
    (call,) = started
    assert call[:4] == (
        "run_resume",
        Path("trees"),
        Path("sessions"),
        Path("sessions") / session.name,
    )


def test_a_file_of_keys_that_is_not_there(run: Run, started: list[tuple[Any, ...]]) -> None:
    """A missing file of keys is said before the screen is taken over."""
    result = run("--keys", "none.toml")
    assert (result.code, result.err) == (1, "faulttree: There is no file of keys none.toml.\n")
    assert started == []


# --- score -----------------------------------------------------------------------------------


def scored(run: Run, *arguments: str) -> Any:
    """What `score --json` found."""
    result = run("score", *arguments, "--json")
    assert result.err == ""
    assert result.code == 0
    return json.loads(result.out)


def chances(found: Any, column: str = "chance") -> dict[str, float]:
    """The chances of a result by cause."""
    return {cause["id"]: cause[column] for cause in found["causes"]}


PRIORS = {"air-leak": 0.2, "fuel-pump-weak": 0.1, "rings-worn": 0.05, "not-listed": 0.05}
BRINGS_ON = {"air-leak": 0.8, "fuel-pump-weak": 0.2, "rings-worn": 0.1, "not-listed": 1.0}


def enumerated(hunting: bool) -> dict[str, float]:
    """The chances by counting every set of faults: the textbook noisy-OR, and nothing of ours."""
    total, marginal = 0.0, dict.fromkeys(PRIORS, 0.0)
    for present in itertools.product([False, True], repeat=len(PRIORS)):
        there = {cause for cause, here in zip(PRIORS, present, strict=True) if here}
        weight = 1.0
        quiet = 1.0
        for cause, prior in PRIORS.items():
            weight *= prior if cause in there else 1.0 - prior
            quiet *= 1.0 - BRINGS_ON[cause] if cause in there else 1.0
        weight *= 1.0 - quiet
        if hunting:
            # Hunting comes first in the cascade, then low, then steady. The observer is 0.9 sure.
            # Air leak and leak throw hunting; pump and leak throw low; one throw for each.
            no_hunt = (1 - 0.03) * (1 - 0.6 * ("air-leak" in there))
            nothing = (1 - 0.03 - 0.03) * (1 - 0.6 * ("air-leak" in there))
            nothing *= 1 - 0.2 * ("fuel-pump-weak" in there)
            weight *= 0.9 * (1 - no_hunt) + 0.05 * (no_hunt - nothing) + 0.05 * nothing
        total += weight
        for cause in there:
            marginal[cause] += weight
    return {cause: value / total for cause, value in marginal.items()}


def test_score_against_enumeration(run: Run) -> None:
    """The chances with the complaint alone, and with one look, are those of counting all sets."""
    found = scored(run, "idle-unsteady", "--reading", "idle-watch=hunting")
    assert chances(found, "before") == pytest.approx(enumerated(hunting=False), abs=1e-12)
    assert chances(found) == pytest.approx(enumerated(hunting=True), abs=1e-12)
    assert found["exact"] is True


def test_score_form(run: Run) -> None:
    """The JSON holds what it promises, causes highest first and advice best first."""
    found = scored(
        run,
        "idle-unsteady",
        "--vehicle",
        "camper",
        "--reading",
        "fuel-pressure-prime=34psi",
        "--reading",
        "compression-dry=150,148,95,151 psi",
        "--reading",
        "coolant-sensor=shown=60 degC, true=85 degC",
    )
    assert list(found)[:5] == ["exact", "causes", "advice", "conflict", "bands"]
    for cause in found["causes"]:
        assert list(cause)[:4] == ["id", "name", "before", "chance"]
    order = [cause["chance"] for cause in found["causes"]]
    assert order == sorted(order, reverse=True)
    for advice in found["advice"]:
        assert list(advice)[:5] == ["kind", "id", "name", "minutes", "expected_cost"]
        assert advice["kind"] in ("test", "repair")
    costs = [advice["expected_cost"] for advice in found["advice"]]
    assert costs == sorted(costs)
    assert isinstance(found["conflict"], float)
    assert set(found["bands"]) == {"fuel-pressure-prime", "compression-dry", "coolant-sensor"}
    for bands in found["bands"].values():
        assert sum(bands.values()) == pytest.approx(1.0)
    assert found["bands"]["fuel-pressure-prime"]["low"] > 0.95
    assert found["bands"]["compression-dry"]["one low"] > 0.95
    assert found["bands"]["coolant-sensor"]["cold"] > 0.95


def test_units_are_turned_into_the_tests_own(run: Run) -> None:
    """34 psi, 2.344 bar and 234.4 kPa are the same reading (NIST SP 811: 1 psi = 6.894757 kPa)."""
    results = [
        scored(run, "idle-unsteady", "--vehicle", "camper", "--reading", f"fuel-pressure-prime={r}")
        for r in ("37 psi", "37", "255.106 kPa", "2.55106bar", "2,55106 bar")
    ]
    first = results[0]["bands"]["fuel-pressure-prime"]["low"]
    assert 0.01 < first < 0.99
    for other in results[1:]:
        assert other["bands"]["fuel-pressure-prime"]["low"] == pytest.approx(first, abs=1e-4)


def test_order_counts(run: Run) -> None:
    """A reading before a repair speaks of the car as it was, one after it of the car without it."""
    before = scored(
        run, "idle-unsteady", "--reading", "idle-watch=hunting", "--repaired", "air-leak"
    )
    after = scored(
        run, "idle-unsteady", "--repaired", "air-leak", "--reading", "idle-watch=hunting"
    )
    assert chances(before)["air-leak"] == chances(after)["air-leak"] == 0.0
    assert chances(before, "at_start")["air-leak"] > 0.9
    assert chances(after, "at_start")["air-leak"] < 0.8


def test_repeats_before_a_repair_are_one_finding(run: Run) -> None:
    """The same test twice before a repair is weighed together, twice around one apart."""
    low = ["--reading", "fuel-pressure-prime=34psi"]
    high = ["--reading", "fuel-pressure-prime=40psi"]
    car = ["idle-unsteady", "--vehicle", "camper"]
    together = scored(run, *car, *low, *high)
    apart = scored(run, *car, *low, "--repaired", "fuel-pump-weak", *high)
    # Mean 37; s^2 / n = 9 of 34 and 40, and the gauge's half-width of 1.5 psi: u = 3.12 psi.
    assert 0.3 < together["bands"]["fuel-pressure-prime"]["low"] < 0.6
    assert apart["bands"]["fuel-pressure-prime"]["in limits"] > 0.99


def test_complaint_gone_after_a_repair(run: Run) -> None:
    """A complaint that is gone after a repair speaks for that repair, one that stays against it."""
    repaired = ["idle-unsteady", "--repaired", "air-leak"]
    gone = scored(run, *repaired, "--reading", "idle-unsteady=gone")
    still = scored(run, *repaired, "--reading", "idle-unsteady=present")
    neither = scored(run, *repaired)
    at_start = [chances(found, "at_start")["air-leak"] for found in (still, neither, gone)]
    assert at_start == sorted(at_start)
    assert at_start[2] - at_start[0] > 0.3
    assert chances(gone)["not-listed"] < chances(still)["not-listed"]


def test_complaint_gone_before_any_repair(run: Run) -> None:
    """A complaint that keeps quiet before a repair changes nothing, and that is said."""
    result = run("score", "idle-unsteady", "--reading", "idle-unsteady=gone", "--json")
    assert result.code == 0
    assert "comes and goes" in result.err
    assert chances(json.loads(result.out)) == chances(scored(run, "idle-unsteady"))


def test_vehicle_by_file_and_specs_by_hand(run: Run, bench: Path) -> None:
    """A vehicle may be a file from anywhere, and a typed spec wins over its figure."""
    elsewhere = bench / "elsewhere.yaml"
    elsewhere.write_text((bench / "trees/vehicles/camper.yaml").read_text())
    reading = ["--reading", "fuel-pressure-prime=37psi"]
    by_id = scored(run, "idle-unsteady", "--vehicle", "camper", *reading)
    by_file = scored(run, "idle-unsteady", "--vehicle", "elsewhere.yaml", *reading)
    assert by_file == by_id
    typed = scored(
        run, "idle-unsteady", "--vehicle", "camper", "--spec", "fuel_pressure=50 psi", *reading
    )
    assert typed["bands"]["fuel-pressure-prime"]["low"] > 0.99


def test_two_complaints(run: Run) -> None:
    """Two complaints together speak for the cause that brings on both."""
    both = chances(scored(run, "idle-unsteady", "power-lacking"))
    one = chances(scored(run, "idle-unsteady"))
    assert both["fuel-pump-weak"] > 2 * one["fuel-pump-weak"]
    assert {"not-listed:idle-unsteady", "not-listed:power-lacking"} <= set(both)


def test_tree_by_path(run: Run) -> None:
    """A tree may be given as a path."""
    assert scored(run, "trees/idle-unsteady.yaml") == scored(run, "idle-unsteady")


def test_score_for_people(run: Run) -> None:
    """Without --json the same is printed as two small tables."""
    result = run("score", "idle-unsteady", "--reading", "idle-watch=hunting")
    assert result.code == 0
    assert "Air leak after the throttle" in result.out
    assert "what next" in result.out


# --- the other commands ------------------------------------------------------------------------


def test_sessions(run: Run, session: Path) -> None:
    """The list shows a session with its outcome, and says so when there are none."""
    result = run("sessions")
    assert result.code == 0
    assert session.name.removesuffix(".jsonl") in result.out
    assert "cured" in result.out
    assert "11 entries" in result.out
    empty = session.parent.parent / "none"
    empty.mkdir()
    assert run("sessions", "--sessions", "none").out == "No sessions in none.\n"


def test_handover(run: Run, session: Path, bench: Path) -> None:
    """The report goes to the screen, or to a file; both are the same."""
    shown = run("handover", "2026-03-09-camper")
    assert shown.code == 0
    assert shown.out.startswith("# Handover: Camper hunts\n")
    written = run("handover", str(session), "-o", "report.md")
    assert (written.code, written.out, written.err) == (0, "", "")
    assert (bench / "report.md").read_text() == shown.out
    assert "\x1b" not in shown.out


def test_handover_in_html(run: Run, session: Path) -> None:
    """The report can be had as a page that holds no address and no script."""
    page = run("handover", str(session), "--html")
    assert page.code == 0
    assert page.out.startswith("<!DOCTYPE html>")
    assert "&lt;b&gt;split&lt;/b&gt;" in page.out
    assert "://" not in page.out
    assert "<script" not in page.out


def test_handover_in_sentences(run: Run, session: Path) -> None:
    """The report can be had as sentences, with neither tables nor signs of a markup."""
    said = run("handover", str(session), "--plain")
    assert said.code == 0
    assert said.out.startswith("Handover: Camper hunts.\n")
    assert not any(line.startswith(("#", "|", "- ", "*")) for line in said.out.splitlines())
    assert any(line.startswith("Cause: ") for line in said.out.splitlines())
    assert run("handover", str(session), "--plain", "--html").code == 2


def test_handover_does_not_overwrite_the_log(run: Run, session: Path) -> None:
    """The report is never written over a log, its own or another, nor into a folder."""
    before = session.read_bytes()
    other = session.with_name("other.jsonl")
    other.write_bytes(before)
    link = session.with_name("link.md")
    link.symlink_to(session)
    for output in (session, other, link):
        result = run("handover", str(session), "-o", str(output))
        assert result.code == 2
        assert f"{output} is the name of a log" in result.err
    assert session.read_bytes() == other.read_bytes() == before
    assert run("handover", str(session), "-o", "trees").code == 1
    assert run("handover", str(session), "-o", "no/such/folder.md").code == 1


def test_handover_of_a_damaged_log(run: Run, session: Path) -> None:
    """What is sound of a damaged log is reported, and the damage is said twice."""
    session.write_bytes(session.read_bytes()[:-10])
    result = run("handover", str(session))
    assert result.code == 0
    assert "line 11 is incomplete" in result.err
    assert "The log of this session is damaged" in result.out


def test_handover_without_its_knowledge(run: Run, session: Path) -> None:
    """A log without what it knew says which file is missing."""
    for kept in (session.parent / "knowledge").iterdir():
        kept.unlink()
    result = run("handover", str(session))
    assert result.code == 1
    assert "what this session knew is missing" in result.err


def test_resume_of_a_closed_session(run: Run, session: Path) -> None:
    """A closed session is not resumed, and it is said what to do."""
    result = run("resume", str(session))
    assert result.code == 1
    assert "the session is closed (cured)" in result.err


def test_ambiguous_session(run: Run, session: Path) -> None:
    """A beginning that two sessions share lists both."""
    twin = session.with_name(session.name[:-7] + "z.jsonl")
    twin.write_bytes(session.read_bytes())
    result = run("handover", "2026-03-09")
    assert result.code == 2
    assert session.stem in result.err
    assert twin.stem in result.err


def test_check(run: Run, bench: Path) -> None:
    """Sound trees exit 0; an error exits 1 and is given with its place."""
    assert run("check").code == 0
    tree = bench / "trees" / "idle-unsteady.yaml"
    tree.write_text(tree.read_text().replace("first: idle-watch", "first: idle-wach"))
    result = run("check", "trees")
    assert result.code == 1
    assert "trees/idle-unsteady.yaml:9:8: error: " in result.out
    assert run("score", "idle-unsteady").code == 1
    page = run("check", "--explain", "unknown-id")
    assert page.code == 0
    assert page.out.startswith("unknown-id (error)")


def test_options_before_and_after_the_command(run: Run, bench: Path) -> None:
    """--trees and --sessions are understood on either side of the command."""
    (bench / "trees").rename(bench / "moved")
    assert run("--trees", "moved", "score", "idle-unsteady").code == 0
    assert run("score", "idle-unsteady", "--trees", "moved").code == 0


def test_help_and_version(run: Run) -> None:
    """Help and version exit 0 and name every command."""
    help = run("--help")
    assert help.code == 0
    for command in ("walk", "resume", "replay", "handover", "check", "sessions", "score"):
        assert command in help.out
        assert run(command, "--help").code == 0
    assert run("--version").out.startswith("faulttree ")


def test_as_a_module(bench: Path) -> None:
    """`python -m faulttree` is the command, with the same messages and codes."""
    result = python("score", "zzz", cwd=bench)
    assert result.returncode == 2
    assert result.stderr.startswith("faulttree: There is no tree 'zzz'")


def test_reader_that_leaves(bench: Path) -> None:
    """When whoever reads the output has gone, the command ends without a traceback."""
    environment = {**os.environ, "PYTHONPATH": str(FOLDER.parent.parent)}
    process = subprocess.Popen(
        [sys.executable, "-m", "faulttree", "score", "idle-unsteady", "--json"],
        cwd=bench,
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert process.stdout is not None
    assert process.stderr is not None
    process.stdout.close()
    error = process.stderr.read().decode()
    process.wait()
    assert error == ""


@pytest.mark.skipif(os.name != "posix", reason="has no shell to close streams with")
@pytest.mark.parametrize(
    ("command", "code", "said"),
    [
        ("sums >/dev/full", 1, "faulttree: The output cannot be written: No space left on device."),
        ("sums >&-", 1, "faulttree: There is nowhere to write to: the standard output is closed."),
        ("wlak 2>&-", 2, ""),
        ("wlak 2>/dev/full", 2, ""),
        ("handover zzz 2>/dev/full", 2, ""),
    ],
)
def test_streams_that_take_nothing(bench: Path, command: str, code: int, said: str) -> None:
    """A full disk or a closed stream is one sentence and the right exit code, no traceback."""
    if not Path("/dev/full").exists():
        pytest.skip("this system has no device that is always full")
    environment = {**os.environ, "PYTHONPATH": str(FOLDER.parent.parent)}
    done = subprocess.run(
        f"{sys.executable} -m faulttree {command}",
        shell=True,
        cwd=bench,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stderr.strip()) == (code, said)


@pytest.mark.parametrize("command", ["sessions", "tally", "learn"])
def test_folder_of_sessions_that_is_shut(
    run: Run, session: Path, command: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A folder that may not be listed is one message that says what to do."""
    listed = Path.iterdir

    def iterdir(self: Path) -> Any:
        if self.name == "sessions":
            raise PermissionError(errno.EACCES, "Permission denied", str(self))
        return listed(self)

    monkeypatch.setattr(Path, "iterdir", iterdir)
    result = run(command)
    assert (result.code, result.out) == (1, "")
    assert result.err == (
        "faulttree: sessions: the sessions cannot be listed: Permission denied. It may not be "
        "written or read here: change its permissions, or use --sessions.\n"
    )


@pytest.mark.parametrize(("given", "named"), [("a-file", "a-file"), ("a-file/deep", "a-file")])
def test_walk_says_at_once_that_nothing_can_be_kept(
    run: Run, bench: Path, given: str, named: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where no session can be begun, that is said before the car is taken in, not after."""
    (bench / "a-file").write_text("")
    monkeypatch.setattr("builtins.input", lambda prompt: pytest.fail("it asked"))
    result = run("walk", "idle-unsteady", "--plain", "--sessions", given)
    assert (result.code, result.out) == (1, "")
    assert result.err.startswith(
        f"faulttree: {named}: no session can be begun here: Not a directory."
    )


def test_walk_says_at_once_that_a_folder_may_not_be_written(
    run: Run, bench: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A folder that is not there yet is as good as the one it would be made in."""
    monkeypatch.setattr(os, "access", lambda path, mode: Path(path) != Path())
    result = run("walk", "idle-unsteady", "--plain", "--sessions", "new/one")
    assert (result.code, result.out) == (1, "")
    assert "no session can be begun here: Permission denied." in result.err


def test_file_that_may_not_be_read_is_named(
    run: Run, bench: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever the system refuses in a command is said with the file, not as a traceback."""
    monkeypatch.setattr(Path, "exists", _refused)
    result = run("score", "idle-unsteady")
    assert (result.code, result.out) == (1, "")
    assert result.err.endswith("/specs.yaml cannot be read or written: Permission denied.\n")


def _refused(path: Path) -> bool:
    raise PermissionError(errno.EACCES, "Permission denied", str(path))


def test_old_locale(bench: Path, session: Path) -> None:
    """In a locale without the report's signs these become question marks, not a traceback."""
    result = subprocess.run(
        [sys.executable, "-m", "faulttree", "handover", str(session)],
        cwd=bench,
        env={
            **os.environ,
            "PYTHONPATH": str(FOLDER.parent.parent),
            "PYTHONIOENCODING": "ascii",
        },
        capture_output=True,
        check=False,
    )
    assert result.returncode == 0
    assert b"39.5 ? " in result.stdout
