"""A finished and an unfinished session for the tests of the report."""

import importlib.util
from collections.abc import Callable, Sequence
from pathlib import Path
from types import ModuleType

import pytest

from faulttree.handover.markdown import to_markdown
from faulttree.handover.report import report
from faulttree.scorer.evidence import Entry
from faulttree.session.events import (
    CannotDo,
    CautionAcknowledged,
    Closed,
    ComplaintChecked,
    ComplaintTaken,
    Envelope,
    InstrumentChecked,
    Noted,
    Opened,
    Repaired,
    SpecGiven,
    VehicleDescribed,
    Withdrawn,
)
from faulttree.session.moves import Command, TakeReading, decide
from faulttree.session.state import State, apply
from faulttree.tree.model import Knowledge


def _shelf() -> ModuleType:
    """The invented shelf of the session tests."""
    path = Path(__file__).parent.parent / "session" / "conftest.py"
    spec = importlib.util.spec_from_file_location("session_shelf", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


SHELF = _shelf()
Played = Callable[[Sequence[Command]], State]


@pytest.fixture(scope="session")
def knowledge() -> Knowledge:
    """The small shelf."""
    made: Knowledge = SHELF.small_knowledge()
    return made


@pytest.fixture
def played(knowledge: Knowledge) -> Played:
    """What becomes of commands, all of them allowed."""

    def play(commands: Sequence[Command]) -> State:
        opened = Opened("faulttree 1.0.0", ("unsteady",), knowledge.digest, "Blue estate, hunts")
        state = State()
        for command in [opened, *commands]:
            for event in decide(state, command, knowledge):
                envelope = Envelope(state.last + 1, SHELF.START, "A. Tester", event)
                state = apply(state, envelope)
        return state

    return play


def number(test: str, typed: str, value: float, **more: str) -> TakeReading:
    """A reading with one figure."""
    return TakeReading(test, typed, Entry({"value": (value,)}), **more)  # type: ignore[arg-type]


OPEN: list[Command] = [
    VehicleDescribed("demo-car", "Blue estate"),
    SpecGiven("fuel_pressure", 44.0, "44 psi", "maker's handbook"),
    ComplaintTaken("unsteady", "shakes at the lights", {"Hot or cold?": "hot"}, "yes", "often"),
    TakeReading("idle-look", "hunting", Entry(choice="hunting"), "yes", "route"),
    InstrumentChecked("vacuum-gauge", 15, 17, "a new gauge"),
    number("vacuum", "12,5", 12.5, showing="yes", taken_as="advice"),
    CannotDo("compression", "no gauge in the shop"),
    Noted("split hose behind the servo"),
    CautionAcknowledged("petrol", "test", "pressure"),
    number("pressure", "30 psi", 30.0),
    Withdrawn(11, "gauge not bled"),
    number("pressure", "44.5 psi", 44.5),
]

FINISHED: list[Command] = [
    *OPEN,
    Repaired("air-leak", "hose renewed", 25),
    number("vacuum", "16", 16.0, showing="no"),
    TakeReading("idle-look", "steady", Entry(choice="steady"), "no"),
    ComplaintChecked("unsteady", "gone", "the same five kilometres"),
    Closed("cured", ("air-leak",), "Check the belt at the next service."),
]


@pytest.fixture
def open_commands() -> list[Command]:
    """What was done in a session under way."""
    return list(OPEN)


@pytest.fixture
def open_text(played: Played, knowledge: Knowledge) -> str:
    """The report of a session under way."""
    return to_markdown(report(played(OPEN), knowledge))


@pytest.fixture
def finished_text(played: Played, knowledge: Knowledge) -> str:
    """The report of a finished session."""
    return to_markdown(report(played(FINISHED), knowledge))
