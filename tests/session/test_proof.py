"""Proof of a repair: what to read again, how it came out, and what is left."""

from collections.abc import Callable, Sequence

import pytest

from faulttree.session.events import (
    CannotDo,
    CautionAcknowledged,
    Closed,
    ComplaintChecked,
    ComplaintTaken,
    Event,
    ReadingTaken,
    Repaired,
    SpecGiven,
)
from faulttree.session.proof import (
    ProofRow,
    Side,
    Verdict,
    before_beside_after,
    remaining,
    taken_when,
    to_repeat,
)
from faulttree.session.state import State
from faulttree.tree.model import Knowledge

Folded = Callable[[Sequence[Event]], State]


def number(test: str, figure: float, band: str, u: float = 0.3) -> ReadingTaken:
    """A reading of a number test as it would be recorded."""
    return ReadingTaken(test, bands={band: 1.0}, figure=figure, u=u, values={"value": (figure,)})


def choice(test: str, band: str) -> ReadingTaken:
    """A reading of a choice test as it would be recorded."""
    return ReadingTaken(test, choice=band, bands={band: 1.0})


def due(state: State, knowledge: Knowledge) -> dict[str, bool]:
    """What is to be repeated, and whether it was."""
    return {row.id: row.done for row in to_repeat(state, knowledge)}


def verdicts(state: State, knowledge: Knowledge) -> dict[str, Verdict]:
    """How everything came out."""
    return {row.id: row.verdict for row in before_beside_after(state, knowledge)}


def test_nothing_to_prove_before_a_repair(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """Before the first repair there is nothing to repeat and nothing to compare."""
    state = folded([*beginning, number("vacuum", 12, "low")])
    assert to_repeat(state, knowledge) == ()
    assert before_beside_after(state, knowledge) == ()


def test_what_is_to_be_repeated(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """The tests that prove the repair and were read, the road test, and the complaint."""
    events = [*beginning, number("vacuum", 12, "low"), Repaired("air-leak")]
    assert due(folded(events), knowledge) == {
        "vacuum": False,
        "idle-look": False,
        "unsteady": False,
    }
    not_read = [*beginning, Repaired("air-leak")]
    assert due(folded(not_read), knowledge) == {"idle-look": False, "unsteady": False}
    events += [
        number("vacuum", 18, "in limits"),
        choice("idle-look", "steady"),
        ComplaintChecked("unsteady", "gone"),
    ]
    assert due(folded(events), knowledge) == {
        "vacuum": True,
        "idle-look": True,
        "unsteady": True,
    }


def test_a_second_repair_asks_for_the_road_test_again(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """After another repair its own tests and the road test are due, not those already proved."""
    events = [
        *beginning,
        number("vacuum", 12, "low"),
        number("pressure", 30, "low"),
        Repaired("air-leak"),
        number("vacuum", 18, "in limits"),
        choice("idle-look", "hunting"),
        Repaired("weak-pump"),
    ]
    assert due(folded(events), knowledge) == {
        "vacuum": True,
        "pressure": False,
        "idle-look": False,
        "unsteady": False,
    }


def test_two_repairs_in_a_row_are_both_proved(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """Two repairs without a reading between them ask for the tests of both."""
    events = [
        *beginning,
        number("vacuum", 12, "low"),
        number("pressure", 30, "low"),
        Repaired("air-leak"),
        Repaired("weak-pump"),
    ]
    state = folded(events)
    assert not any(due(state, knowledge).values())
    assert {"vacuum", "pressure"} <= set(due(state, knowledge))


def test_the_same_repair_again_is_proved_again(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """A test that proved the first repair is due once more when the cause is repaired again."""
    events = [
        *beginning,
        number("vacuum", 12, "low"),
        Repaired("air-leak"),
        number("vacuum", 13, "low"),
        Repaired("air-leak"),
    ]
    assert due(folded(events), knowledge)["vacuum"] is False


def test_what_does_not_fit_the_car_is_not_due(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """A test that turns out not to fit the car is not asked for again."""
    events = [*beginning, number("pressure", 30, "low"), Repaired("weak-pump")]
    assert "pressure" in due(folded(events), knowledge)
    carburettor = [*events, SpecGiven("fuel_system", "carburettor")]
    assert "pressure" not in due(folded(carburettor), knowledge)


@pytest.mark.parametrize(
    ("before", "after", "verdict"),
    [
        (number("vacuum", 12, "low"), number("vacuum", 18, "in limits"), "better"),
        (number("vacuum", 18, "in limits"), number("vacuum", 12, "low"), "worse"),
        (number("vacuum", 18, "in limits"), number("vacuum", 19, "in limits"), "same"),
        # Out of limits twice: 2 inHg nearer is better, 0.5 is within what the gauge can tell.
        (number("vacuum", 12, "low"), number("vacuum", 14, "low"), "better"),
        (number("vacuum", 14, "low"), number("vacuum", 12, "low"), "worse"),
        (number("vacuum", 12, "low"), number("vacuum", 12.5, "low"), "same"),
        (number("pressure", 30, "low"), number("pressure", 52, "high"), "better"),
        (number("pressure", 38, "low"), number("pressure", 60, "high"), "worse"),
        (choice("idle-look", "hunting"), choice("idle-look", "steady"), "better"),
        (choice("idle-look", "hunting"), choice("idle-look", "hunting"), "same"),
        (choice("idle-look", "hunting"), choice("idle-look", "low"), "changed"),
        (choice("idle-look", "hunting"), None, "not repeated"),
        (None, choice("idle-look", "steady"), "not read before"),
    ],
)
def test_how_it_came_out(
    before: ReadingTaken | None,
    after: ReadingTaken | None,
    verdict: Verdict,
    beginning: list[Event],
    folded: Folded,
    knowledge: Knowledge,
) -> None:
    """Before beside after says better, same, worse, changed, or that one of the two is missing."""
    events = list(beginning)
    test = (before or after).test  # type: ignore[union-attr]
    if before:
        events.append(before)
    events.append(Repaired("not-listed", "something"))
    if after:
        events.append(after)
    assert verdicts(folded(events), knowledge)[test] == verdict


def test_complaint_row(beginning: list[Event], folded: Folded, knowledge: Knowledge) -> None:
    """The complaint has a row of its own: gone is better, still present is the same."""
    repaired = [*beginning, Repaired("air-leak")]
    assert verdicts(folded(repaired), knowledge)["unsteady"] == "not repeated"
    for found, verdict in (("gone", "better"), ("present", "same")):
        check = ComplaintChecked("unsteady", found)  # type: ignore[arg-type]
        assert verdicts(folded([*repaired, check]), knowledge)["unsteady"] == verdict


def test_a_look_after_an_earlier_repair_proves_nothing_of_the_last(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """After a second repair the complaint is to be looked for again, whatever was seen between."""
    still = ComplaintChecked("unsteady", "present")
    events = [*beginning, Repaired("air-leak"), still, Repaired("worn-rings")]
    assert verdicts(folded(events), knowledge)["unsteady"] == "not repeated"
    assert verdicts(folded([*events, still]), knowledge)["unsteady"] == "same"


def test_good_readings_need_no_row(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """A reading that was in limits, and that nothing asks for again, has no row."""
    events = [*beginning, number("pressure", 45, "in limits"), Repaired("air-leak")]
    assert "pressure" not in verdicts(folded(events), knowledge)


def test_before_is_the_first_and_after_the_last(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """Over several repairs the first reading of all stands beside the last of all."""
    events = [
        *beginning,
        number("vacuum", 10, "low"),
        Repaired("air-leak"),
        number("vacuum", 13, "low"),
        Repaired("worn-rings"),
        number("vacuum", 18, "in limits"),
    ]
    row = next(r for r in before_beside_after(folded(events), knowledge) if r.id == "vacuum")
    assert row.before is not None
    assert row.after is not None
    assert (row.before.stage, row.after.stage) == (0, 2)
    assert row.before.group is not None
    assert row.before.group.last.event.figure == 10


def row_of(state: State, knowledge: Knowledge, id: str) -> ProofRow:
    """The row of one test or complaint."""
    return next(row for row in before_beside_after(state, knowledge) if row.id == id)


def told(side: Side | None) -> tuple[str, int] | None:
    """The band of a side and the stage it was found in, or None."""
    return None if side is None else (side.band, side.stage)


def test_no_reading_between_two_repairs_stands_as_after_the_last(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """A road test that the second repair asks for again is not taken for done after it."""
    events = [
        *beginning,
        choice("idle-look", "hunting"),
        Repaired("air-leak"),
        choice("idle-look", "steady"),
        Repaired("worn-rings"),
    ]
    row = row_of(folded(events), knowledge, "idle-look")
    assert (told(row.before), told(row.after)) == (("hunting", 0), None)
    assert told(row.between) == ("steady", 1)
    assert row.verdict == "not repeated"
    row = row_of(folded([*events, choice("idle-look", "low")]), knowledge, "idle-look")
    assert (told(row.after), row.between, row.verdict) == (("low", 2), None, "changed")


def test_what_proved_an_earlier_repair_stays_its_proof(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """A test that no later repair asks for is not undone by one, and is told as of its time."""
    events = [
        *beginning,
        number("vacuum", 10, "low"),
        Repaired("air-leak"),
        number("vacuum", 18, "in limits"),
        Repaired("worn-rings"),
    ]
    row = row_of(folded(events), knowledge, "vacuum")
    assert (told(row.before), told(row.after)) == (("low", 0), ("in limits", 1))
    assert row.verdict == "better"
    assert row.after is not None
    assert taken_when(row.after, 2) == "between repairs 1 and 2"


def test_what_is_out_after_one_repair_is_before_the_next(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """A reading that nothing asks for, still out after one repair, says nothing of later ones."""
    events = [
        *beginning,
        number("vacuum", 10, "low"),
        Repaired("weak-pump"),
        number("vacuum", 12, "low"),
        Repaired("worn-rings"),
    ]
    row = row_of(folded(events), knowledge, "vacuum")
    assert (row.after, told(row.between), row.verdict) == (None, ("low", 1), "not repeated")
    healthy = [*events[:-2], number("vacuum", 18, "in limits"), events[-1]]
    row = row_of(folded(healthy), knowledge, "vacuum")
    assert (told(row.after), row.between, row.verdict) == (("in limits", 1), None, "better")


def test_three_repairs_each_with_what_belongs_to_it(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """Over three repairs each side is of the stage it says, and the last of several stands."""
    events = [
        *beginning,
        choice("idle-look", "hunting"),
        number("vacuum", 10, "low"),
        Repaired("air-leak"),
        choice("idle-look", "hunting"),
        number("vacuum", 18, "in limits"),
        number("pressure", 30, "low"),
        Repaired("weak-pump"),
        choice("idle-look", "low"),
        number("pressure", 45, "in limits"),
        ComplaintChecked("unsteady", "present"),
        Repaired("worn-rings"),
    ]
    state = folded(events)
    idle, vacuum, pressure = (
        row_of(state, knowledge, id) for id in ("idle-look", "vacuum", "pressure")
    )
    assert (told(idle.before), told(idle.between), idle.after) == (("hunting", 0), ("low", 2), None)
    assert (told(vacuum.before), told(vacuum.after)) == (("low", 0), ("in limits", 1))
    assert (told(pressure.before), told(pressure.after)) == (("low", 1), ("in limits", 2))
    assert pressure.before is not None
    assert taken_when(pressure.before, 3, before=True) == "between repairs 1 and 2"
    complaint = row_of(state, knowledge, "unsteady")
    assert (told(complaint.before), told(complaint.between)) == (("present", 0), ("present", 2))
    assert (complaint.after, complaint.verdict) == (None, "not repeated")
    done = [*events, choice("idle-look", "steady"), ComplaintChecked("unsteady", "gone")]
    after = [row_of(folded(done), knowledge, id).after for id in ("idle-look", "unsteady")]
    assert [told(side) for side in after] == [("steady", 3), ("gone", 3)]
    assert [taken_when(side, 3) for side in after if side] == ["", ""]


def test_a_complaint_that_came_up_after_all_repairs_says_so(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """What stands before is not called found before the repair when it was found after it."""
    events = [*beginning, Repaired("air-leak"), ComplaintTaken("no-power")]
    row = row_of(folded(events), knowledge, "no-power")
    assert row.before is not None
    assert taken_when(row.before, 1, before=True) == "after the last repair"


def test_what_remains(beginning: list[Event], folded: Folded, knowledge: Knowledge) -> None:
    """What remains names the complaint, the proof due, setting up, tests not done and cautions."""
    events = [
        *beginning,
        number("pressure", 30, "low"),
        CannotDo("compression", "no gauge"),
        Repaired("weak-pump"),
    ]
    text = "\n".join(remaining(folded(events), knowledge))
    assert "To be repeated after the repair: Fuel pressure" in text
    assert "To be repeated after the repair: Idle is unsteady" in text
    assert "Set up after the repair: Prime the rail and look for leaks." in text
    two = [*events, Repaired("not-listed", "a clip")]
    named = "Set up after the repair, Weak pump: Prime the rail and look for leaks."
    assert named in remaining(folded(two), knowledge)
    assert "Not done: Compression (no gauge)." in text
    assert "Caution not acknowledged, Idle is unsteady: A road test" in text
    assert "The complaint is still there" not in text
    still = [*events, ComplaintChecked("unsteady", "present")]
    assert "The complaint is still there: Idle is unsteady." in remaining(folded(still), knowledge)


def test_nothing_remains(beginning: list[Event], folded: Folded, knowledge: Knowledge) -> None:
    """A session that proved its repair and answered its cautions leaves only what was written."""
    events = [
        *beginning,
        CautionAcknowledged("road", "tree", "unsteady"),
        choice("idle-look", "hunting"),
        Repaired("air-leak"),
        choice("idle-look", "steady"),
        ComplaintChecked("unsteady", "gone"),
    ]
    assert remaining(folded(events), knowledge) == ()
    closed = [*events, Closed("cured", ("air-leak",), "Come back after 1000 km.")]
    assert remaining(folded(closed), knowledge) == ("Come back after 1000 km.",)


def test_a_proof_that_cannot_be_had(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """A test that is due but cannot be done is named with its reason, once."""
    events = [
        *beginning,
        choice("idle-look", "hunting"),
        Repaired("air-leak"),
        CannotDo("idle-look", "no time"),
    ]
    text = remaining(folded(events), knowledge)
    assert sum("Watch the idle" in sentence for sentence in text) == 1
    assert "Not proved by Watch the idle: cannot be done (no time)." in text


def test_a_complaint_that_came_later(
    beginning: list[Event], folded: Folded, knowledge: Knowledge
) -> None:
    """A complaint taken after a repair has no before to compare with, and is still to be cured."""
    events = [*beginning, Repaired("air-leak"), ComplaintTaken("no-power")]
    assert verdicts(folded(events), knowledge)["no-power"] == "not repeated"
    assert any("Pulls badly" in sentence for sentence in remaining(folded(events), knowledge))
