"""A small invented shelf of knowledge, and helpers to make events, for the tests of sessions."""

from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta

import pytest

from faulttree.session.events import (
    CautionAcknowledged,
    ComplaintTaken,
    Envelope,
    Event,
    Opened,
    VehicleDescribed,
)
from faulttree.session.state import State, fold
from faulttree.tree.document import from_document, with_document
from faulttree.tree.model import (
    Cause,
    Caution,
    Instrument,
    Knowledge,
    Part,
    Pattern,
    Reading,
    Repair,
    Spec,
    SpecLimit,
    Test,
    Tree,
    Vehicle,
)

START = datetime(2026, 3, 9, 8, 0, tzinfo=UTC)


def small_knowledge() -> Knowledge:
    """Two complaints, three causes and six tests of every kind; invented for the tests."""
    causes = [
        Cause(
            "weak-pump",
            "Weak pump",
            "The pump no longer makes its pressure.",
            0.1,
            Repair("Replace the pump", 60, 100),
            set_up="Prime the rail and look for leaks.",
            cautions=("petrol",),
            prove_with=("pressure", "idle-look"),
        ),
        Cause(
            "air-leak",
            "Air leak",
            "Air gets in after the throttle.",
            0.2,
            Repair("Renew the hose", 20, 5),
            prove_with=("vacuum",),
        ),
        Cause("worn-rings", "Worn rings", "The rings leak.", 0.05, Repair("Rebuild", 900, 700)),
    ]
    tests = [
        Test(
            "pressure",
            "Fuel pressure",
            "number",
            "Fit the gauge and read it.",
            ("low", "in limits", "high"),
            "in limits",
            {"low": 0.02, "high": 0.02},
            {"weak-pump": {"low": 0.8}},
            15,
            2,
            reading=Reading((Part("value", "psi", 1.0, (0.0, 120.0), "gauge"),), "psi"),
            limits=(
                SpecLimit("fuel_pressure", plus=-4.0),
                SpecLimit("fuel_pressure", plus=4.0),
            ),
            fits={"fuel_system": ("multipoint",)},
            cautions=("petrol",),
        ),
        Test(
            "vacuum",
            "Manifold vacuum",
            "number",
            "Read the vacuum gauge at idle.",
            ("low", "in limits"),
            "in limits",
            {"low": 0.03},
            {"air-leak": {"low": 0.7}, "worn-rings": {"low": 0.4}},
            5,
            1,
            reading=Reading(
                (Part("value", "inHg", None, (0.0, 30.0), "vacuum-gauge"),),
                "inHg",
            ),
            limits=(16.0,),
        ),
        Test(
            "compression",
            "Compression",
            "pattern",
            "Crank each cylinder.",
            ("one low", "neighbours low", "all low", "in limits"),
            "in limits",
            {"one low": 0.02, "neighbours low": 0.01, "all low": 0.01},
            {"worn-rings": {"one low": 0.5, "all low": 0.3}},
            40,
            2,
            reading=Reading((Part("value", "psi", 4.0, (0.0, 300.0)),), "psi", per_cylinder=True),
            pattern=Pattern("highest", 0.75),
        ),
        Test(
            "idle-look",
            "Watch the idle",
            "choice",
            "Watch it.",
            ("steady", "hunting", "low"),
            "steady",
            {"hunting": 0.03, "low": 0.03},
            {"air-leak": {"hunting": 0.6}, "weak-pump": {"hunting": 0.1, "low": 0.2}},
            2,
            0,
            sure=0.9,
        ),
        Test(
            "wiggle",
            "Wiggle the plugs",
            "choice",
            "Wiggle.",
            ("nothing", "it cuts out"),
            "nothing",
            {"it cuts out": 0.02},
            {"weak-pump": {"it cuts out": 0.3}},
            10,
            1,
            shows_only=0.3,
        ),
        Test(
            "sensor",
            "Temperature sensor against a thermometer",
            "choice",
            "Compare.",
            ("agrees", "differs"),
            "agrees",
            {"differs": 0.02},
            {},
            10,
            1,
            cautions=("stop-hybrid",),
        ),
    ]
    trees = [
        Tree(
            "unsteady",
            "Idle is unsteady",
            {"air-leak": 0.8, "weak-pump": 0.2, "worn-rings": 0.1},
            0.05,
            "idle-look",
            {
                "idle-look": {"hunting": "vacuum", "low": "pressure", "steady": "compression"},
                "vacuum": {"low": "air-leak", "in limits": "pressure"},
                "pressure": {"low": "weak-pump", "otherwise": "compression"},
                "compression": {"otherwise": "worn-rings"},
            },
            ("idle-look",),
            ask=("Hot or cold?",),
            cautions=("road",),
        ),
        Tree(
            "no-power",
            "Pulls badly",
            {"weak-pump": 0.7, "worn-rings": 0.6},
            0.05,
            "pressure",
            {"pressure": {"low": "weak-pump", "otherwise": "compression"}},
            (),
        ),
    ]
    specs = [
        Spec("fuel_system", "Fuel system", choices=("carburettor", "multipoint")),
        Spec("fuel_pressure", "Fuel pressure", unit="psi", default=40.0, possible=(1.0, 120.0)),
        Spec("cylinders", "Cylinders", unit="", default=4.0),
        Spec("firing_order", "Firing order", is_list=True),
        Spec("banks", "Banks", is_list=True),
    ]
    instruments = [
        Instrument("gauge", "Fuel gauge", "psi", 1.5),
        Instrument("vacuum-gauge", "Vacuum gauge", "inHg", 0.5),
    ]
    cautions = [
        Caution("petrol", "Petrol burns.", "Ventilate.", "acknowledge"),
        Caution("road", "A road test takes eyes off the road.", "Two people.", "acknowledge"),
        Caution("stop-hybrid", "Orange cables kill.", "Hand over.", "stop"),
    ]
    vehicles = [Vehicle("demo-car", "Demo car", {"fuel_pressure": 45.0}, source="its card")]
    made = with_document(
        Knowledge(
            trees={tree.id: tree for tree in trees},
            causes={cause.id: cause for cause in causes},
            tests={test.id: test for test in tests},
            specs={spec.id: spec for spec in specs},
            instruments={instrument.id: instrument for instrument in instruments},
            cautions={caution.id: caution for caution in cautions},
            vehicles={vehicle.id: vehicle for vehicle in vehicles},
        )
    )
    # Once through the document, which turns the whole numbers above into the floats of a loader.
    return from_document(made.document)


def enveloped(events: Sequence[Event], start: int = 1) -> list[Envelope]:
    """The events in envelopes, one a minute, all by the same person."""
    return [
        Envelope(number, START + timedelta(minutes=number), "A. Tester", event)
        for number, event in enumerate(events, start)
    ]


@pytest.fixture(scope="session")
def knowledge() -> Knowledge:
    """The small shelf."""
    return small_knowledge()


@pytest.fixture
def opened(knowledge: Knowledge) -> Opened:
    """The opening of a session for both complaints."""
    return Opened("1.0.0", ("unsteady", "no-power"), knowledge.digest, "Blue estate, idle hunts")


@pytest.fixture
def beginning(opened: Opened) -> list[Event]:
    """A session that has come as far as the first reading."""
    return [
        opened,
        VehicleDescribed("demo-car", "Blue estate"),
        ComplaintTaken("unsteady", "shakes at the lights", {"Hot or cold?": "hot"}, "yes"),
        CautionAcknowledged("petrol", "test", "pressure"),
        CautionAcknowledged("petrol", "cause", "weak-pump"),
    ]


@pytest.fixture
def folded() -> Callable[[Sequence[Event]], State]:
    """Fold events, without asking whether they were allowed."""
    return lambda events: fold(enveloped(events))


@pytest.fixture
def in_envelopes() -> Callable[..., list[Envelope]]:
    """Put events in envelopes."""
    return enveloped
