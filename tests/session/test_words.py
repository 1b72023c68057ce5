"""One plain line for every kind of event."""

import pytest

from faulttree.session.events import (
    KINDS,
    CannotDo,
    CautionAcknowledged,
    Closed,
    ComplaintChecked,
    ComplaintTaken,
    Event,
    InstrumentChecked,
    Noted,
    Opened,
    ReadingTaken,
    Repaired,
    RouteLeft,
    SpecGiven,
    VehicleDescribed,
    Withdrawn,
)
from faulttree.session.words import (
    danger_words,
    figure_text,
    name_of,
    say,
    shown_text,
    true_text,
    value_text,
)
from faulttree.tree.model import Caution, Knowledge

LINES = [
    (Opened("1", ("unsteady",), "", "Blue van"), "Opened: Blue van"),
    (ComplaintTaken("unsteady", "shakes"), "Complaint: Idle is unsteady: shakes"),
    (VehicleDescribed("demo-car"), "Vehicle: Demo car"),
    (SpecGiven("fuel_pressure", 36.0, "", "book"), "Fuel pressure: 36 psi (book)"),
    (
        CautionAcknowledged("petrol", "test", "pressure"),
        "Caution understood: Petrol burns (for Fuel pressure)",
    ),
    (
        ReadingTaken("pressure", "34", {"value": (34.0,)}, bands={"low": 0.9, "in limits": 0.1}),
        "Fuel pressure: 34 psi = low",
    ),
    (ReadingTaken("idle-look", "h", choice="hunting"), "Watch the idle: hunting"),
    (CannotDo("vacuum", "no port"), "Cannot do: Manifold vacuum (no port)"),
    (Noted("a smell"), "Note: a smell"),
    (
        RouteLeft("unsteady", "vacuum", "pressure", "gauge fitted"),
        "Left the route at Manifold vacuum for Fuel pressure (gauge fitted)",
    ),
    (Repaired("air-leak", "hose"), "Repaired: Air leak: hose"),
    (ComplaintChecked("unsteady", "gone"), "Complaint gone: Idle is unsteady"),
    (InstrumentChecked("gauge", 30, 33), "Fuel gauge checked: 30 shown, 33 true"),
    (Closed("cured"), "Closed: cured"),
    (Withdrawn(4, "wrong hose"), "Withdrew entry 4 (wrong hose)"),
]


@pytest.mark.parametrize(("event", "line"), LINES)
def test_line(event: Event, line: str, knowledge: Knowledge) -> None:
    """An event is said in one line, with names in place of ids."""
    assert say(event, knowledge) == line


def test_every_kind_is_covered() -> None:
    """The lines above leave no kind of event out."""
    assert {type(event) for event, _ in LINES} == set(KINDS.values())


def test_without_knowledge() -> None:
    """Without knowledge the ids stand for the names."""
    assert say(Repaired("air-leak")) == "Repaired: air-leak"
    assert name_of("not-listed:unsteady", None) == "Something not listed here"


@pytest.mark.parametrize(
    ("danger", "said"),
    [
        ("Carbon monoxide has no smell; an engine fills\n a shop.", "Carbon monoxide has no smell"),
        ("The coil makes 20.5 kV. A shock can injure.", "The coil makes 20.5 kV"),
        ("It falls, and kills.", "It falls, and kills"),
        ("Under charge: a spark bursts it.", "Under charge"),
        ("", "exhaust fumes"),
    ],
)
def test_a_caution_is_told_by_its_danger(danger: str, said: str) -> None:
    """A caution is called by the first clause of its danger, never by the id of its file."""
    assert danger_words(Caution("exhaust-fumes", danger, "Mind it.", "acknowledge")) == said


def test_the_answer_to_a_caution_nobody_knows_has_no_file_signs() -> None:
    """Without knowledge, the id of a caution is said as words."""
    answered = CautionAcknowledged("exhaust-fumes", "test", "idle", "does not apply")
    assert say(answered) == "Caution does not apply: exhaust fumes (for idle)"


def test_a_caution_left_to_others_says_so(knowledge: Knowledge) -> None:
    """Who had somebody trained do it reads it so, with the repair that it was for."""
    answered = CautionAcknowledged("petrol", "cause", "weak-pump", "trained")
    said = say(answered, knowledge)
    assert said == "Caution left to somebody trained: Petrol burns (for the repair: Weak pump)"


def test_values() -> None:
    """Values are written as people write them."""
    assert value_text(36.0) == "36"
    assert value_text("distributor") == "distributor"
    assert value_text((1, 3, 4, 2)) == "1-3-4-2"
    assert value_text(((1, 2), (3, 4))) == "1-2 | 3-4"


def test_figures(knowledge: Knowledge) -> None:
    """What was shown, what was true, and the figure with two standard uncertainties."""
    reading = ReadingTaken(
        "vacuum",
        values={"value": (15.0,)},
        true_values={"value": (18.0,)},
        figure=18.0,
        u=0.29,
        unit="inHg",
    )
    test = knowledge.tests["vacuum"]
    assert shown_text(reading, test) == "15 inHg"
    assert true_text(reading, test) == "18 inHg"
    assert figure_text(reading) == "18 ± 0.58 inHg"
    assert true_text(ReadingTaken("vacuum", values={"value": (15.0,)}), test) == ""
