"""Runs commands in the tests' own folder, against trees invented for them."""

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from faulttree.cli import main
from faulttree.scorer.evidence import Entry
from faulttree.session.events import (
    CautionAcknowledged,
    Closed,
    ComplaintChecked,
    ComplaintTaken,
    Noted,
    Opened,
    Repaired,
    VehicleDescribed,
)
from faulttree.session.journal import create
from faulttree.session.moves import Command, TakeReading, decide
from faulttree.tree.load import load_all

TREES = Path(__file__).parent / "trees"
AT = datetime(2026, 3, 9, 8, 15, tzinfo=UTC)


@dataclass(frozen=True)
class Result:
    """What a command did."""

    code: int
    out: str
    err: str


Run = Callable[..., Result]


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A working folder with trees of its own, and no sessions yet."""
    shutil.copytree(TREES, tmp_path / "trees")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def run(bench: Path, capsys: pytest.CaptureFixture[str]) -> Run:
    """Run a command in the working folder."""

    def run(*arguments: str) -> Result:
        capsys.readouterr()
        try:
            code = main(arguments)
        except SystemExit as left:
            code = left.code if isinstance(left.code, int) else 1
        out, err = capsys.readouterr()
        return Result(code, out, err)

    return run


@pytest.fixture
def session(bench: Path) -> Path:
    """A session on a camper, closed as cured."""
    knowledge = load_all(bench / "trees")
    opened = Opened("1.0.0", ("idle-unsteady",), knowledge.digest, "Camper hunts")
    commands: list[Command] = [
        VehicleDescribed("camper", "Camper, green"),
        ComplaintTaken("idle-unsteady", "it hunts", {"Hot or cold?": "hot"}, "yes"),
        TakeReading("idle-watch", "hunting", Entry(choice="hunting"), "yes", "route"),
        CautionAcknowledged("petrol", "test", "fuel-pressure-prime"),
        TakeReading("fuel-pressure-prime", "39,5", Entry({"value": (39.5,)}), "yes", "advice"),
        Noted("hose \x1b[31mred\x1b[0m and <b>split</b>"),
        Repaired("air-leak", "hose renewed", 20),
        TakeReading("idle-watch", "steady", Entry(choice="steady"), "no", "free"),
        ComplaintChecked("idle-unsteady", "gone", "5 km"),
        Closed("cured", ("air-leak",)),
    ]
    with create(bench / "sessions", opened, knowledge, "A. Tester", AT) as log:
        for minute, command in enumerate(commands, 1):
            events = decide(log.state, command, knowledge)
            log.append(events, "A. Tester", AT + timedelta(minutes=minute))
    return log.path
