"""What a state means: the car, what counts as evidence, the cautions that are open."""

import itertools
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Literal

import pytest

from faulttree.scorer.evidence import Entry, Finding
from faulttree.session.chances import reckon
from faulttree.session.events import (
    CannotDo,
    CautionAcknowledged,
    ComplaintChecked,
    ComplaintTaken,
    Event,
    InstrumentChecked,
    Opened,
    ReadingTaken,
    Repaired,
    Showing,
    SpecGiven,
    VehicleDescribed,
    Withdrawn,
)
from faulttree.session.moves import TakeReading, decide
from faulttree.session.standing import (
    SURE_OF_GONE,
    bands_now,
    car_of,
    evidence,
    groups,
    open_cautions,
    route_step,
    unanswered,
)
from faulttree.session.state import State
from faulttree.tree.model import Knowledge

Folded = Callable[[Sequence[Event]], State]


@pytest.fixture
def after(folded: Folded, knowledge: Knowledge) -> Callable[..., list[Event]]:
    """Events with readings taken one after another through `decide`."""

    def take(events: list[Event], *readings: tuple[str, float | str, Showing]) -> list[Event]:
        for test, value, showing in readings:
            entry = (
                Entry(choice=value) if isinstance(value, str) else Entry({"value": (float(value),)})
            )
            command = TakeReading(test, str(value), entry, showing)
            events = [*events, *decide(folded(events), command, knowledge)]
        return events

    return take


Take = Callable[..., list[Event]]


def finding(state: State, knowledge: Knowledge, source: str, stage: int = 0) -> Finding:
    """The one finding of a source in a stage."""
    (found,) = [
        f for f in evidence(state, knowledge).findings if f.source == source and f.stage == stage
    ]
    return found


def test_where_a_spec_came_from(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """Typed beats the vehicle's file, which beats the generic; each says where it is from."""
    known = car_of(folded(beginning[:1]), knowledge).specs["fuel_pressure"]
    assert (known.value, known.origin) == (40.0, "generic")
    known = car_of(folded(beginning), knowledge).specs["fuel_pressure"]
    assert (known.value, known.origin, known.source) == (45.0, "vehicle", "its card")
    typed = [*beginning, SpecGiven("fuel_pressure", 38.0, "38 psi", "maker's handbook, page 12")]
    known = car_of(folded(typed), knowledge).specs["fuel_pressure"]
    assert (known.value, known.origin) == (38.0, "typed")
    assert known.source == "maker's handbook, page 12"
    described = [
        beginning[0],
        VehicleDescribed(None, "a van", {"fuel_pressure": 39.0}, "plate on the sill"),
    ]
    car = car_of(folded(described), knowledge)
    assert car.name == "a van"
    assert car.specs["fuel_pressure"].source == "plate on the sill"


def test_spec_withdrawn(beginning: list[Event], folded: Folded, knowledge: Knowledge) -> None:
    """A typed spec that is withdrawn gives way to the figure that stood before it."""
    events = [*beginning, SpecGiven("fuel_pressure", 38.0), Withdrawn(6)]
    assert car_of(folded(events), knowledge).number("fuel_pressure") == 45.0


def test_unknown_vehicle_in_an_old_log(
    opened: Opened, folded: Folded, knowledge: Knowledge
) -> None:
    """A vehicle that the knowledge does not hold leaves the generic figures."""
    car = car_of(folded([opened, VehicleDescribed("sold-long-ago", "Old van")]), knowledge)
    assert car.name == "Old van"
    assert car.number("fuel_pressure") == 40.0


def test_complaint_is_evidence(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """A complaint that was taken is certainly present, at the stage in which it was taken."""
    found = evidence(folded(beginning), knowledge)
    assert found.findings == (Finding("unsteady", {"present": 1.0, "gone": 0.0}, 0),)
    assert found.repaired == {}


def gone_bands(events: Sequence[Event], folded: Folded, knowledge: Knowledge) -> dict[str, float]:
    """The bands of the complaint in the first stage in which it was found gone."""
    for found in evidence(folded(events), knowledge).findings:
        if found.source == "unsteady" and found.bands["gone"] > 0.5:
            return dict(found.bands)
    raise AssertionError("never gone")


def test_gone_with_a_repair_that_can_cure_it(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """A complaint that goes with a repair of what can bring it on is gone for certain."""
    for cause in ("air-leak", "not-listed", "not-listed:unsteady"):
        events = [*beginning, Repaired(cause), ComplaintChecked("unsteady", "gone")]
        assert gone_bands(events, folded, knowledge) == {"gone": 1.0, "present": 0.0}


def test_gone_without_such_a_repair(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """A complaint that went by itself, or came back, may have kept quiet: that is not certain."""
    unsure = pytest.approx({"gone": SURE_OF_GONE, "present": 1 - SURE_OF_GONE})
    check = ComplaintChecked("unsteady", "gone")
    elsewhere = [*beginning, Repaired("not-listed:no-power"), check]
    assert gone_bands(elsewhere, folded, knowledge) == unsure
    back = [
        *beginning,
        Repaired("air-leak"),
        check,
        Repaired("weak-pump"),
        ComplaintChecked("unsteady", "present"),
    ]
    assert gone_bands(back, folded, knowledge) == unsure
    too_early = [
        *beginning,
        Repaired("air-leak"),
        ComplaintChecked("unsteady", "present"),
        Repaired("not-listed:no-power"),
        check,
    ]
    assert gone_bands(too_early, folded, knowledge) == unsure


def test_evidence_is_never_impossible(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """Whatever is repaired and found afterwards, the scorer has an answer."""
    causes = ("air-leak", "weak-pump", "not-listed:no-power", "not-listed")
    found: tuple[Literal["present", "gone"], ...] = ("present", "gone")
    for repairs in itertools.product(causes, repeat=2):
        for looks in itertools.product(found, repeat=2):
            events = list(beginning)
            for cause, look in zip(repairs, looks, strict=True):
                events += [Repaired(cause), ComplaintChecked("unsteady", look)]
            reckoning = reckon(folded(events), knowledge)
            assert reckoning.trouble == ""
            assert all(0.0 <= chance <= 1.0 for chance in reckoning.now.values())


def test_what_is_not_listed_goes_by_the_name_the_scorer_uses(
    opened: Opened, folded: Folded, knowledge: Knowledge
) -> None:
    """A repair of something not listed is known to the scorer, whatever complaints came since."""
    one = Opened("1.0.0", ("unsteady",), "", "")
    taken = ComplaintTaken("unsteady")
    alone = evidence(folded([one, taken, Repaired("not-listed")]), knowledge)
    assert alone.repaired == {"not-listed": 1}
    named = evidence(folded([one, taken, Repaired("not-listed:unsteady")]), knowledge)
    assert named.repaired == {"not-listed": 1}
    joined = [one, taken, Repaired("not-listed"), ComplaintTaken("no-power")]
    assert evidence(folded(joined), knowledge).repaired == {
        "not-listed:unsteady": 1,
        "not-listed:no-power": 1,
    }
    assert set(evidence(folded(joined), knowledge).repaired) <= set(
        reckon(folded(joined), knowledge).names
    )


def test_gone_before_any_repair_is_no_evidence_against_the_complaint(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """A complaint that keeps quiet before the repair is still what the car came in with."""
    events = [*beginning, ComplaintChecked("unsteady", "gone")]
    assert evidence(folded(events), knowledge) == evidence(folded(beginning), knowledge)


def test_repeats_are_one_finding(
    beginning: list[Event], folded: Folded, knowledge: Knowledge, after: Take
) -> None:
    """Repeats in one stage are one finding: their mean and the scatter of both."""
    once = after(beginning, ("vacuum", 15.8, "unknown"))
    twice = after(once, ("vacuum", 16.6, "unknown"))
    event = twice[-1]
    assert isinstance(event, ReadingTaken)
    assert event.repeat_of == (6,)
    assert event.figure == pytest.approx(16.2)
    # JCGM 100:2008, 4.2.3: s^2 / n of 15.8 and 16.6 is 0.16; the gauge gives (0.5 / sqrt 3)^2.
    assert event.u == pytest.approx((0.16 + 0.25 / 3) ** 0.5)
    found = evidence(folded(twice), knowledge)
    assert [f.source for f in found.findings] == ["unsteady", "vacuum"]
    assert found.findings[1].bands == event.bands
    assert [len(group.readings) for group in groups(folded(twice))] == [2]


def test_a_repeat_withdrawn_leaves_the_others(
    beginning: list[Event], folded: Folded, knowledge: Knowledge, after: Take
) -> None:
    """When one of several repeats is withdrawn the rest are weighed again without it."""
    events = after(beginning, ("vacuum", 10, "unknown"), ("vacuum", 18, "unknown"))
    alone = after(beginning, ("vacuum", 18, "unknown"))
    without_first = folded([*events, Withdrawn(6)])
    assert finding(without_first, knowledge, "vacuum") == finding(
        folded(alone), knowledge, "vacuum"
    )
    without_second = folded([*events, Withdrawn(7)])
    first = after(beginning, ("vacuum", 10, "unknown"))
    assert finding(without_second, knowledge, "vacuum") == finding(
        folded(first), knowledge, "vacuum"
    )


def test_a_repair_parts_readings(
    beginning: list[Event], folded: Folded, knowledge: Knowledge, after: Take
) -> None:
    """The same test before and after a repair is two findings, each in its stage."""
    events = after(beginning, ("vacuum", 12, "unknown"))
    events = after([*events, Repaired("air-leak")], ("vacuum", 18, "unknown"))
    event = events[-1]
    assert isinstance(event, ReadingTaken)
    assert event.repeat_of == ()
    state = folded(events)
    assert finding(state, knowledge, "vacuum", 0).bands["low"] > 0.99
    assert finding(state, knowledge, "vacuum", 1).bands["in limits"] > 0.99


def test_repairs_in_order(beginning: list[Event], folded: Folded, knowledge: Knowledge) -> None:
    """Each repaired cause is gone from its own stage on; one repaired twice from the later one."""
    events = [*beginning, Repaired("air-leak"), Repaired("weak-pump"), Repaired("air-leak")]
    found = evidence(folded(events), knowledge)
    assert found.repaired == {"air-leak": 3, "weak-pump": 2}
    assert found.stage == folded(events).stage == 3


def test_a_spec_given_later_moves_the_limits(
    beginning: list[Event], folded: Folded, knowledge: Knowledge, after: Take
) -> None:
    """The maker's figure, typed after the reading, decides its band; the record stays as it was."""
    events = after(beginning, ("pressure", 36, "unknown"))
    state = folded([*events, SpecGiven("fuel_pressure", 38.0)])
    assert finding(folded(events), knowledge, "pressure").bands["low"] > 0.99
    assert finding(state, knowledge, "pressure").bands["in limits"] > 0.99
    assert state.readings[0].event.band == "low"
    assert bands_now(state, knowledge)["pressure"] == "in limits"


def test_stored_chances_count_while_nothing_changed(
    beginning: list[Event], folded: Folded, knowledge: Knowledge, after: Take
) -> None:
    """What was concluded when the reading was taken stands, so that a replay shows the same."""
    events = after(beginning, ("pressure", 41.2, "unknown"))
    event = events[-1]
    assert isinstance(event, ReadingTaken)
    stored = {"low": 0.25, "in limits": 0.75, "high": 0.0}
    state = folded([*events[:-1], replace(event, bands=stored)])
    assert finding(state, knowledge, "pressure").bands == stored


def test_instrument_check_corrects_later_readings_only(
    beginning: list[Event], folded: Folded, knowledge: Knowledge, after: Take
) -> None:
    """A gauge found out corrects what is read with it from then on, and both figures are kept."""
    events = after(beginning, ("vacuum", 15, "unknown"))
    events = after(
        [*events, InstrumentChecked("vacuum-gauge", 15, 18), Repaired("air-leak")],
        ("vacuum", 15, "unknown"),
    )
    first, second = (fact.event for fact in folded(events).readings)
    assert first.figure == 15.0
    assert second.figure == pytest.approx(18.0)
    assert second.values == {"value": (15.0,)}
    assert second.true_values["value"] == pytest.approx((18.0,))
    state = folded(events)
    assert finding(state, knowledge, "vacuum", 0).bands["low"] > 0.9
    assert finding(state, knowledge, "vacuum", 1).bands["in limits"] > 0.9


def test_repeat_after_an_instrument_check_mixes_true_figures(
    beginning: list[Event], folded: Folded, knowledge: Knowledge, after: Take
) -> None:
    """A repeat after a check counts corrected beside the earlier one as it was corrected then."""
    events = after(beginning, ("vacuum", 15, "unknown"))
    events = after([*events, InstrumentChecked("vacuum-gauge", 15, 18)], ("vacuum", 15, "unknown"))
    event = events[-1]
    assert isinstance(event, ReadingTaken)
    assert event.figure == pytest.approx(16.5)
    assert event.true_values["value"] == pytest.approx((18.0,))


def test_showing_goes_with_the_finding(
    beginning: list[Event], folded: Folded, knowledge: Knowledge, after: Take
) -> None:
    """A finding knows whether the complaint was showing; one reading while it did is enough."""
    for said, expected in (
        (["no"], False),
        (["yes"], True),
        (["unknown"], None),
        (["no", "unknown"], None),
        (["no", "no"], False),
        (["no", "yes"], True),
    ):
        readings = [("idle-look", "steady", showing) for showing in said]
        state = folded(after(beginning, *readings))
        assert finding(state, knowledge, "idle-look").showing is expected


def test_a_reading_while_it_showed_outweighs_one_while_it_did_not(
    beginning: list[Event], folded: Folded, knowledge: Knowledge, after: Take
) -> None:
    """Where a fault must be present to be seen, a look while it kept quiet does not dilute one."""
    quiet_then = after(beginning, ("wiggle", "nothing", "no"), ("wiggle", "it cuts out", "yes"))
    alone = after(beginning, ("wiggle", "it cuts out", "yes"))
    assert finding(folded(quiet_then), knowledge, "wiggle") == finding(
        folded(alone), knowledge, "wiggle"
    )


def test_a_test_that_turns_out_not_to_fit(
    beginning: list[Event], folded: Folded, knowledge: Knowledge, after: Take
) -> None:
    """A reading of a test that does not fit the car, as it is known now, is no evidence."""
    events = after(beginning, ("pressure", 30, "unknown"))
    state = folded([*events, SpecGiven("fuel_system", "carburettor")])
    assert [f.source for f in evidence(state, knowledge).findings] == ["unsteady"]


def test_stale_readings_after_a_repair(
    beginning: list[Event], folded: Folded, knowledge: Knowledge, after: Take
) -> None:
    """After a repair good readings still stand and bad ones are to be taken again."""
    events = after(beginning, ("vacuum", 12, "yes"), ("pressure", 45, "yes"))
    events.append(Repaired("air-leak"))
    assert bands_now(folded(events), knowledge) == {"pressure": "in limits"}
    events = after(events, ("vacuum", 18, "no"))
    assert bands_now(folded(events), knowledge) == {
        "pressure": "in limits",
        "vacuum": "in limits",
    }


def test_open_cautions(opened: Opened, folded: Folded, knowledge: Knowledge) -> None:
    """A caution is open for each thing that carries it until it is answered for that thing."""
    events: list[Event] = [opened, ComplaintTaken("unsteady")]
    assert [c.id for c in open_cautions(folded(events), knowledge, "test", "pressure")] == [
        "petrol"
    ]
    assert open_cautions(folded(events), knowledge, "test", "vacuum") == ()
    assert open_cautions(folded(events), knowledge, "test", "unheard-of") == ()
    events.append(CautionAcknowledged("petrol", "test", "pressure"))
    assert open_cautions(folded(events), knowledge, "test", "pressure") == ()
    assert len(open_cautions(folded(events), knowledge, "cause", "weak-pump")) == 1


def test_unanswered_cautions_of_a_session(
    opened: Opened, folded: Folded, knowledge: Knowledge
) -> None:
    """The cautions left unanswered are those of the complaints, the tests read and the repairs."""
    events: list[Event] = [
        opened,
        ComplaintTaken("unsteady"),
        ReadingTaken("sensor"),
        ReadingTaken("sensor"),
        Repaired("weak-pump"),
    ]
    left = [(c.carrier, c.id, c.caution.id) for c in unanswered(folded(events), knowledge)]
    assert left == [
        ("tree", "unsteady", "road"),
        ("test", "sensor", "stop-hybrid"),
        ("cause", "weak-pump", "petrol"),
    ]


def test_a_figure_that_is_gone_leaves_what_was_concluded(
    opened: Opened, folded: Folded, knowledge: Knowledge, after: Take
) -> None:
    """When the figure a limit stood on was taken back, the reading counts as it did at the time."""
    specs = dict(knowledge.specs)
    specs["fuel_pressure"] = replace(specs["fuel_pressure"], default=None)
    bare = replace(knowledge, specs=specs)
    events: list[Event] = [
        opened,
        ComplaintTaken("unsteady"),
        CautionAcknowledged("petrol", "test", "pressure"),
        SpecGiven("fuel_pressure", 44.0),
    ]
    entry = Entry({"value": (36.0,)})
    events += decide(folded(events), TakeReading("pressure", "36", entry), bare)
    state = folded([*events, Withdrawn(4)])
    assert car_of(state, bare).number("fuel_pressure") is None
    assert finding(state, bare, "pressure").bands["low"] > 0.99


def test_a_test_that_asks_for_other_figures_now_leaves_what_was_concluded(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """A reading of parts that the test no longer has counts as it did when it was taken."""
    old = ReadingTaken("vacuum", values={"hot": (9.0,)}, bands={"low": 0.8, "in limits": 0.2})
    state = folded([*beginning, old, replace(old, repeat_of=(99,))])
    assert finding(state, knowledge, "vacuum").bands == old.bands


def test_the_route_follows_what_stands_now(
    beginning: list[Event], folded: Folded, knowledge: Knowledge, after: Take
) -> None:
    """The route goes by the readings that still stand, and passes what cannot be done."""

    def step(events: list[Event]) -> tuple[str, str]:
        found = route_step(folded(events), knowledge, "unsteady")
        return (found.kind, found.id)

    assert step(beginning) == ("test", "idle-look")
    events = after(beginning, ("idle-look", "hunting", "yes"))
    assert step(events) == ("test", "vacuum")
    # Not done, so passed through as in limits.
    assert step([*events, CannotDo("vacuum", "no port")]) == ("test", "pressure")
    events = after(events, ("vacuum", 12, "yes"))
    assert step(events) == ("cause", "air-leak")
    # What was out of limits before the repair has to be looked at again.
    assert step([*events, Repaired("air-leak")]) == ("test", "idle-look")
