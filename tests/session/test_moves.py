"""The legal moves: each condition refuses what it should, with a reason, and nothing else."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from faulttree.scorer.evidence import Entry
from faulttree.session.events import (
    CannotDo,
    CautionAcknowledged,
    Closed,
    ComplaintChecked,
    ComplaintTaken,
    Envelope,
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
from faulttree.session.lines import NOTHING_BEFORE, read_line, write_line
from faulttree.session.moves import (
    RULES,
    Command,
    NotAllowed,
    Reopen,
    TakeReading,
    Undo,
    decide,
    read_spec,
    spec_outside,
    to_undo,
)
from faulttree.session.standing import car_of
from faulttree.session.state import State
from faulttree.session.words import say
from faulttree.trade.units import ReadingError
from faulttree.tree.model import Knowledge

Folded = Callable[[Sequence[Event]], State]


def number(test: str, *values: float) -> TakeReading:
    """A reading with one part."""
    return TakeReading(test, " ".join(map(str, values)), Entry(values={"value": values}))


def choice(test: str, word: str) -> TakeReading:
    """A reading by choice."""
    return TakeReading(test, word, Entry(choice=word))


def test_every_event_has_rules() -> None:
    """The table knows every kind of event."""
    assert set(RULES) == set(Event.__args__)
    assert all(RULES.values())


@pytest.mark.parametrize(
    ("command", "reason"),
    [
        (Opened("1", ("unsteady",), "", ""), "open already"),
        (ComplaintTaken("unheard-of"), "no complaint 'unheard-of'"),
        (VehicleDescribed("unheard-of"), "no vehicle"),
        (VehicleDescribed(None, "", {"colour": "blue"}), "no spec 'colour'"),
        (VehicleDescribed(None, "", {"fuel_system": "steam"}), "one of: carburettor, multipoint"),
        (SpecGiven("colour", "blue"), "no spec"),
        (SpecGiven("fuel_pressure", "36"), "is a number in psi"),
        (SpecGiven("fuel_pressure", float("nan")), "is a number in psi"),
        (SpecGiven("fuel_pressure", 500.0), r"500 psi is outside the usual range \(1 to 120 psi\)"),
        (VehicleDescribed(None, "", {"fuel_pressure": 500.0}), "outside the usual range"),
        (SpecGiven("fuel_pressure", float("inf"), outside=True), "is a number in psi"),
        (SpecGiven("fuel_system", "steam", outside=True), "one of: carburettor, multipoint"),
        (SpecGiven("cylinders", 0.0, outside=True), "a whole number from 1 to"),
        (SpecGiven("cylinders", 4.5), "a whole number from 1 to"),
        (SpecGiven("cylinders", 1000.0, outside=True), "a whole number from 1 to"),
        (SpecGiven("firing_order", 4.0), "is a list"),
        (CautionAcknowledged("petrol", "test", "vacuum"), "does not carry"),
        (CautionAcknowledged("stop-hybrid", "test", "sensor"), "hand the car on"),
        (number("unheard-of", 1), "no test"),
        (number("vacuum", 1, 2), "takes 1 readings, but 2"),
        (number("compression", 150, 150), "takes 4 readings, but 2"),
        (number("vacuum", 31), "31 inHg is outside"),
        (number("vacuum", float("inf")), "finite"),
        (choice("vacuum", "low"), "takes a figure for: value"),
        (choice("idle-look", "sideways"), "takes one of: steady, hunting, low"),
        (number("idle-look", 1), "takes one of"),
        (TakeReading("vacuum", "", Entry({"other": (1.0,)})), "takes a figure for"),
        (
            TakeReading("vacuum", "", Entry({"value": (17.0,)}, None, {"value": "odd"})),
            "no instrument",
        ),
        (
            TakeReading("vacuum", "", Entry({"value": (17.0,)}, None, {"x": "gauge"})),
            "no figure called",
        ),
        (choice("sensor", "agrees"), "stops the work"),
        (CannotDo("vacuum", "  "), "Say why"),
        (CannotDo("unheard-of", "why"), "no test"),
        (Noted(" \n"), "empty"),
        (RouteLeft("no-power", "vacuum", ""), "Take the complaint down first: Pulls badly"),
        (RouteLeft("unsteady", "vacuum", "nowhere"), "no test or cause nowhere"),
        (Repaired("unheard-of"), "no cause"),
        (Repaired("air-leak", minutes=-1), "0 or more"),
        (Repaired("not-listed"), "Say what was found and done"),
        (ComplaintChecked("no-power", "gone"), "Take the complaint down first"),
        (InstrumentChecked("odd", 1, 1), "no instrument"),
        (InstrumentChecked("gauge", float("nan"), 1), "two numbers"),
        (Closed("cured", ("air-leak",)), "Nothing was repaired"),
        (Closed("not found", ("unheard-of",)), "no cause"),
        (Withdrawn(0), "no entry 0"),
        (Withdrawn(99), "no entry 99"),
        (Withdrawn(1), "opening of a session cannot be withdrawn"),
        (Reopen(), "not closed"),
    ],
)
def test_refused(
    command: Command, reason: str, beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """What makes no sense is refused with a reason that says what to do."""
    with pytest.raises((NotAllowed, ReadingError), match=reason):
        decide(folded(beginning), command, knowledge)


def test_outside_is_taken_when_said_again(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """A figure outside what the test can read is taken once confirmed, marked, and banded last."""
    state = folded(beginning)
    (high,) = decide(state, replace(number("vacuum", 31), anyway=True), knowledge)
    (low,) = decide(state, replace(number("vacuum", -9), anyway=True), knowledge)
    (usual,) = decide(state, replace(number("vacuum", 17), anyway=True), knowledge)
    assert isinstance(high, ReadingTaken)
    assert isinstance(low, ReadingTaken)
    assert isinstance(usual, ReadingTaken)
    assert (high.outside, low.outside, usual.outside) == (True, True, False)
    # Far beyond every limit the outermost band is certain, and the chances still add up to 1.
    bands = knowledge.tests["vacuum"].bands
    assert high.bands == {band: float(band == bands[-1]) for band in bands}
    assert low.bands == {band: float(band == bands[0]) for band in bands}
    assert "outside what the test can read" in say(high, knowledge)
    assert "outside" not in say(usual, knowledge)


def test_an_unusual_figure_of_the_car_is_taken_when_said_again(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """A figure outside the usual range is taken once confirmed, and told with its source."""
    state = folded(beginning)
    unusual = SpecGiven("fuel_pressure", 500.0, "500", "plate", outside=True)
    assert decide(state, unusual, knowledge) == (unusual,)
    # Nothing that is usual is marked, whatever was asked.
    usual = replace(unusual, value=50.0)
    assert decide(state, usual, knowledge) == (replace(usual, outside=False),)
    known = car_of(folded([*beginning, unusual]), knowledge).specs["fuel_pressure"]
    assert (known.value, known.origin) == (500.0, "typed")
    assert known.source == "plate, outside the usual range, taken anyway"
    plain = car_of(folded([*beginning, replace(usual, outside=False)]), knowledge)
    assert plain.specs["fuel_pressure"].source == "plate"


def test_the_mark_of_an_unusual_figure_is_kept_in_the_log() -> None:
    """A line keeps the mark; a line from before there was one reads as a usual figure."""
    at = datetime(2026, 3, 9, tzinfo=UTC)
    unusual = SpecGiven("fuel_pressure", 500.0, "500", outside=True)
    line = write_line(Envelope(1, at, "sam", unusual), NOTHING_BEFORE)
    assert read_line(line)[0].event == unusual
    old = line.replace(b', "outside": true', b"")
    assert old != line
    assert read_line(old)[0].event == replace(unusual, outside=False)


@pytest.mark.parametrize(
    ("typed", "value", "beyond"),
    [
        ("36", 36.0, False),
        ("250", 250.0, True),
        ("-3 psi", -3.0, True),
        # Only as a decimal comma it is within the range, so that is what was meant.
        ("1,400", 1.4, False),
    ],
)
def test_a_typed_figure_is_read_whether_or_not_it_is_usual(
    typed: str, value: float, beyond: bool, knowledge: Knowledge
) -> None:
    """What is a number in a unit that fits is read; that it is unusual is told apart from that."""
    spec = knowledge.specs["fuel_pressure"]
    assert read_spec(spec, typed) == value
    assert (spec_outside(spec, value) is not None) is beyond


@pytest.mark.parametrize("typed", ["much", "40 ohm", "", "1e5", "40 40"])
def test_what_is_no_figure_is_never_read(typed: str, knowledge: Knowledge) -> None:
    """Words, units of another kind and two numbers at once are refused, asked or not."""
    with pytest.raises(ReadingError):
        read_spec(knowledge.specs["fuel_pressure"], typed)


@pytest.mark.parametrize("typed", ["0", "-4", "4.5", "1000"])
def test_the_number_of_cylinders_is_never_unusual(typed: str, knowledge: Knowledge) -> None:
    """As many fields are laid out, so a number that no engine has is refused outright."""
    spec = knowledge.specs["cylinders"]
    with pytest.raises(ReadingError, match="Number of cylinders is a whole number from 1"):
        read_spec(replace(spec, name="Number of cylinders"), typed)


def test_nothing_makes_an_infinite_figure_a_reading(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """What is no finite number is refused even when it is said again."""
    command = replace(number("vacuum", float("inf")), anyway=True)
    with pytest.raises(NotAllowed, match="finite"):
        decide(folded(beginning), command, knowledge)


def test_nothing_before_the_opening(opened: Opened, knowledge: Knowledge) -> None:
    """Nothing but the opening may come first, and that needs a complaint that is known."""
    for command in (Noted("x"), ComplaintTaken("unsteady"), Undo(), number("vacuum", 17)):
        with pytest.raises(NotAllowed):
            decide(State(), command, knowledge)
    with pytest.raises(NotAllowed, match="at least one"):
        decide(State(), Opened("1", (), "", ""), knowledge)
    with pytest.raises(NotAllowed, match="no complaint"):
        decide(State(), Opened("1", ("odd",), "", ""), knowledge)
    assert decide(State(), opened, knowledge) == (opened,)


def test_complaint_before_readings_and_repairs(
    opened: Opened, folded: Folded, knowledge: Knowledge
) -> None:
    """Readings and repairs wait until a complaint has been taken down; notes do not."""
    state = folded([opened])
    for command in (number("vacuum", 17), Repaired("air-leak")):
        with pytest.raises(NotAllowed, match="complaint"):
            decide(state, command, knowledge)
    decide(state, Noted("a smell"), knowledge)


def test_cautions_before_the_work(
    opened: Opened, beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """A test or repair with a caution waits until that is acknowledged for it, not for another."""
    bare = folded([opened, ComplaintTaken("unsteady")])
    with pytest.raises(NotAllowed, match=r"Acknowledge .* Petrol burns\. Ventilate\."):
        decide(bare, number("pressure", 40), knowledge)
    with pytest.raises(NotAllowed, match="Petrol burns"):
        decide(bare, Repaired("weak-pump"), knowledge)
    only_test = [opened, ComplaintTaken("unsteady"), beginning[3]]
    decide(folded(only_test), number("pressure", 40), knowledge)
    with pytest.raises(NotAllowed, match="Petrol burns"):
        decide(folded(only_test), Repaired("weak-pump"), knowledge)


@pytest.mark.parametrize("answer", ["does not apply", "trained"])
def test_stop_caution(
    answer: str, beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """Work that a caution stops goes on only when it is said why it may."""
    answered = CautionAcknowledged("stop-hybrid", "test", "sensor", answer)  # type: ignore[arg-type]
    state = folded([*beginning, *decide(folded(beginning), answered, knowledge)])
    (event,) = decide(state, choice("sensor", "agrees"), knowledge)
    assert isinstance(event, ReadingTaken)


def test_a_test_for_another_kind_of_car(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """A test that does not fit the car as described is refused with the spec that says so."""
    carburettor = [*beginning, SpecGiven("fuel_system", "carburettor")]
    with pytest.raises(NotAllowed, match="Fuel system is carburettor, the test is for multipoint"):
        decide(folded(carburettor), number("pressure", 40), knowledge)


def test_reading_holds_what_it_came_to(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """A reading records the figure, its limits and where they came from, as weighed then."""
    (event,) = decide(folded(beginning), number("pressure", 34), knowledge)
    assert isinstance(event, ReadingTaken)
    assert event.band == "low"
    assert event.figure == 34.0
    # A half-width of 1 psi, rectangular: 1 / sqrt(3), JCGM 100:2008, 4.3.7.
    assert event.u == pytest.approx(0.57735, abs=1e-5)
    assert event.unit == "psi"
    assert event.limits == (41.0, 49.0)
    (used,) = event.specs_used
    assert (used.spec, used.value, used.origin, used.source) == (
        "fuel_pressure",
        45.0,
        "vehicle",
        "its card",
    )
    assert event.repeat_of == ()
    assert sum(event.bands.values()) == pytest.approx(1.0)


def test_closing_as_cured_needs_proof(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """Cured means: something was repaired, the complaint is gone since, and a cause is named."""
    cured = Closed("cured", ("air-leak",))
    repaired = [*beginning, Repaired("air-leak")]
    gone = [*repaired, ComplaintChecked("unsteady", "gone")]
    still = [*repaired, ComplaintChecked("unsteady", "present")]
    with pytest.raises(NotAllowed, match="Not proved: Idle is unsteady"):
        decide(folded(repaired), cured, knowledge)
    with pytest.raises(NotAllowed, match="Not proved"):
        decide(folded(still), cured, knowledge)
    with pytest.raises(NotAllowed, match="Name the cause"):
        decide(folded(gone), Closed("cured"), knowledge)
    with pytest.raises(NotAllowed, match="Not proved: Pulls badly"):
        decide(folded([*gone, ComplaintTaken("no-power")]), cured, knowledge)
    assert decide(folded(gone), cured, knowledge) == (cured,)
    for outcome in ("not cured", "not found", "handed on"):
        decide(folded(beginning), Closed(outcome), knowledge)  # type: ignore[arg-type]


def test_closed_session_takes_nothing_but_reopening(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """A closed session refuses everything until its closing is taken back."""
    closed = [*beginning, Closed("not found")]
    state = folded(closed)
    assert not state.is_open
    for command in (
        Noted("late"),
        number("vacuum", 17),
        Repaired("air-leak"),
        Closed("handed on"),
        Withdrawn(3),
    ):
        with pytest.raises(NotAllowed, match="Reopen it first"):
            decide(state, command, knowledge)
    (event,) = decide(state, Reopen("came back"), knowledge)
    assert event == Withdrawn(len(closed), "came back")
    assert folded([*closed, event]).is_open
    assert decide(state, Undo(), knowledge) == (Withdrawn(len(closed)),)


@pytest.mark.parametrize(
    ("later", "reason"),
    [
        (ReadingTaken("vacuum"), "Take the complaint down first"),
        (Repaired("air-leak"), "Take the complaint down first"),
        (ComplaintChecked("unsteady", "present"), "Take the complaint down first"),
        (RouteLeft("unsteady", "vacuum", ""), "Take the complaint down first"),
    ],
)
def test_what_later_entries_need_cannot_be_withdrawn(
    later: Event, reason: str, beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """A complaint that later entries need stays, and the reason names the first of them."""
    state = folded([*beginning, later])
    with pytest.raises(NotAllowed, match=rf"Entry 6 .* needs it: {reason}.*Withdraw entry 6"):
        decide(state, Withdrawn(3), knowledge)
    freed = folded([*beginning, later, Withdrawn(6)])
    assert decide(freed, Withdrawn(3), knowledge) == (Withdrawn(3),)


def test_a_complaint_taken_twice_may_lose_one(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """Of two takings of one complaint either may go, since the other carries what follows."""
    events = [*beginning, ComplaintTaken("unsteady", "better said"), ReadingTaken("vacuum")]
    for number in (3, 6):
        assert decide(folded(events), Withdrawn(number), knowledge) == (Withdrawn(number),)


def test_what_is_refused_either_way_is_no_reason(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """A later entry that this knowledge would refuse anyway does not hold an earlier one fast."""
    events = [*beginning, Noted("a smell"), ReadingTaken("a test of another shop")]
    assert decide(folded(events), Withdrawn(6), knowledge) == (Withdrawn(6),)


def test_an_acknowledgement_under_a_reading_stays(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """The acknowledgement of a caution cannot be withdrawn from under the work it allowed."""
    state = folded([*beginning, ReadingTaken("pressure")])
    with pytest.raises(NotAllowed, match="Entry 6"):
        decide(state, Withdrawn(4), knowledge)


@pytest.mark.parametrize(
    ("between", "undone"),
    [
        ([RouteLeft("unsteady", "pressure", "vacuum")], [7, 6]),
        # Left for another test, or something else was done in between: that is its own step.
        ([RouteLeft("unsteady", "vacuum", "pressure")], [7]),
        ([RouteLeft("unsteady", "pressure", "vacuum"), Noted("a smell")], [8]),
    ],
)
def test_undoing_a_reading_undoes_the_leaving_of_the_route(
    between: list[Event],
    undone: list[int],
    beginning: list[Event],
    folded: Folded,
    knowledge: Knowledge,
) -> None:
    """A reading that left the route is taken back together with the leaving, and with no more."""
    events = [*beginning, *between, ReadingTaken("vacuum")]
    state = folded(events)
    assert [one.sequence for one in to_undo(state)] == undone
    taken_back = decide(state, Undo("slip"), knowledge)
    assert taken_back == tuple(Withdrawn(number, "slip") for number in undone)
    after = folded([*events, *taken_back])
    assert after.readings == ()
    assert [one.sequence for one in to_undo(after)] == [undone[-1] - 1]


def test_undo_goes_back_step_by_step(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """Undo takes back the last event that stands, again and again, down to the opening."""
    events: list[Event] = list(beginning)
    for expected in range(len(beginning), 1, -1):
        state = folded(events)
        (last,) = to_undo(state)
        assert last.sequence == expected
        events += decide(state, Undo(), knowledge)
    assert to_undo(folded(events)) == ()
    with pytest.raises(NotAllowed, match="nothing to undo"):
        decide(folded(events), Undo(), knowledge)
    assert folded(events) == folded(beginning[:1])


def test_instrument_checks_must_agree(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """Checks of one instrument that turn its scale about are refused with the two that disagree."""
    state = folded([*beginning, InstrumentChecked("gauge", 30, 33)])
    with pytest.raises(NotAllowed, match=r"30 shown was 33, but 40 shown was 32"):
        decide(state, InstrumentChecked("gauge", 40, 32), knowledge)
    decide(state, InstrumentChecked("gauge", 40, 42), knowledge)
    decide(state, InstrumentChecked("gauge", 30, 31), knowledge)


def test_a_cause_that_is_not_listed(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """What no tree lists may be repaired and confirmed, if it is said what it was."""
    repaired = Repaired("not-listed", "nest in the air box removed")
    assert decide(folded(beginning), repaired, knowledge) == (repaired,)
    state = folded([*beginning, repaired, ComplaintChecked("unsteady", "gone")])
    cured = Closed("cured", ("not-listed",))
    assert decide(state, cured, knowledge) == (cured,)
