"""The fold: a state is what its standing events say, and nothing else."""

from collections.abc import Callable, Sequence
from dataclasses import fields
from datetime import UTC, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from faulttree.scorer.evidence import Entry
from faulttree.session.events import (
    KINDS,
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
from faulttree.session.moves import Command, NotAllowed, Reopen, TakeReading, Undo, decide
from faulttree.session.proof import before_beside_after, remaining, to_repeat
from faulttree.session.standing import evidence
from faulttree.session.state import BrokenLog, Fact, State, apply, fold, states
from faulttree.trade.units import ReadingError
from faulttree.tree.car import SpecUnknown
from faulttree.tree.model import Knowledge

Folded = Callable[[Sequence[Event]], State]
InEnvelopes = Callable[..., list[Envelope]]

# --- any commands, sensible or not -----------------------------------------------------------

TREES = st.sampled_from(["unsteady", "no-power", "unheard-of"])
TESTS = st.sampled_from(
    ["pressure", "vacuum", "compression", "idle-look", "wiggle", "sensor", "unheard-of"]
)
CAUSES = st.sampled_from(["weak-pump", "air-leak", "worn-rings", "not-listed", "unheard-of"])
TEXTS = st.text(max_size=12)
FIGURES = st.floats(-10, 200, allow_nan=False)


def entries() -> st.SearchStrategy[Entry]:
    """Entries of every shape, right or wrong for the test they are given to."""
    rows = st.lists(FIGURES, min_size=1, max_size=5).map(tuple)
    numbers = rows.map(lambda row: Entry(values={"value": row}))
    right = st.lists(st.floats(60, 180), min_size=4, max_size=4).map(
        lambda row: Entry(values={"value": tuple(row)})
    )
    words = st.sampled_from(
        ["steady", "hunting", "low", "nothing", "it cuts out", "agrees", "sideways"]
    )
    return st.one_of(numbers, right, words.map(lambda word: Entry(choice=word)))


COMMANDS: st.SearchStrategy[Command] = st.one_of(
    st.builds(
        TakeReading,
        TESTS,
        TEXTS,
        entries(),
        st.sampled_from(["yes", "no", "unknown"]),
        st.sampled_from(["route", "advice", "free"]),
    ),
    st.builds(ComplaintTaken, TREES, TEXTS, st.dictionaries(TEXTS, TEXTS, max_size=2)),
    st.builds(
        VehicleDescribed,
        st.sampled_from([None, "demo-car", "unheard-of"]),
        TEXTS,
        st.dictionaries(
            st.just("fuel_system"), st.sampled_from(["carburettor", "multipoint", "steam"])
        ),
    ),
    st.builds(SpecGiven, st.sampled_from(["fuel_pressure", "cylinders", "odd"]), FIGURES, TEXTS),
    st.builds(
        CautionAcknowledged,
        st.sampled_from(["petrol", "road", "stop-hybrid"]),
        st.sampled_from(["test", "cause", "tree"]),
        st.one_of(TESTS, CAUSES, TREES),
        st.sampled_from(["understood", "does not apply", "trained"]),
    ),
    st.builds(CannotDo, TESTS, TEXTS),
    st.builds(Noted, TEXTS),
    st.builds(RouteLeft, TREES, TESTS, st.one_of(TESTS, CAUSES, st.just("")), TEXTS),
    st.builds(Repaired, CAUSES, TEXTS, st.one_of(st.none(), FIGURES)),
    st.builds(ComplaintChecked, TREES, st.sampled_from(["present", "gone"])),
    st.builds(
        InstrumentChecked, st.sampled_from(["gauge", "vacuum-gauge", "odd"]), FIGURES, FIGURES
    ),
    st.builds(
        Closed,
        st.sampled_from(["cured", "not cured", "not found", "handed on"]),
        st.lists(CAUSES, max_size=2).map(tuple),
        TEXTS,
    ),
    st.builds(Withdrawn, st.integers(-1, 25), TEXTS),
    st.builds(Undo, TEXTS),
    st.builds(Reopen, TEXTS),
)

# What most sessions begin with, so that the random commands get further than the first refusal.
BEGINNINGS = st.lists(
    st.sampled_from(
        [
            ComplaintTaken("unsteady"),
            ComplaintTaken("no-power"),
            CautionAcknowledged("petrol", "test", "pressure"),
            CautionAcknowledged("petrol", "cause", "weak-pump"),
            TakeReading("pressure", "31", Entry(values={"value": (31.0,)})),
            TakeReading("idle-look", "hunting", Entry(choice="hunting")),
            Repaired("weak-pump"),
            ComplaintChecked("unsteady", "gone"),
        ]
    ),
    max_size=8,
)


AT = datetime(2026, 3, 9, 8, 0, tzinfo=UTC)


def play(commands: Sequence[Command], knowledge: Knowledge) -> State:
    """What becomes of commands: those that are refused leave no trace."""
    opened = Opened("1.0.0", ("unsteady",), knowledge.digest, "any session")
    state = State()
    for command in [opened, *commands]:
        try:
            events = decide(state, command, knowledge)
        except (NotAllowed, ReadingError, SpecUnknown):
            continue
        for event in events:
            state = apply(state, Envelope(state.last + 1, AT, "A. Tester", event))
    return state


SESSIONS = st.tuples(BEGINNINGS, st.lists(COMMANDS, max_size=12)).map(
    lambda pair: [*pair[0], *pair[1]]
)


def standing(state: State) -> dict[str, object]:
    """All that stands in a state, without the numbers of the entries."""

    def bare(value: object) -> object:
        if isinstance(value, Fact):
            return (value.stage, value.event)
        if isinstance(value, tuple):
            return [bare(item) for item in value]
        if isinstance(value, dict):
            return {key: bare(item) for key, item in value.items()}
        return value

    names = [field.name for field in fields(State) if field.compare]
    return {name: bare(getattr(state, name)) for name in names}


@given(commands=SESSIONS)
@settings(deadline=None)
def test_what_is_decided_can_be_folded(commands: list[Command], knowledge: Knowledge) -> None:
    """No decided event is refused by the fold, and folding all at once gives the same state."""
    state = play(commands, knowledge)
    assert fold(state.history) == state
    assert [after for _, after in states(state.history)][-1] == state


@given(commands=SESSIONS)
@settings(deadline=None, max_examples=50)
def test_every_prefix_says_something(commands: list[Command], knowledge: Knowledge) -> None:
    """At every point of a session its evidence, proof and remaining work can be had."""
    for _, state in states(play(commands, knowledge).history):
        found = evidence(state, knowledge)
        assert all(sum(f.bands.values()) == pytest.approx(1.0) for f in found.findings)
        assert all(0 <= f.stage <= state.stage for f in found.findings)
        assert len(before_beside_after(state, knowledge)) >= len(to_repeat(state, knowledge))
        assert all(sentence.strip() for sentence in remaining(state, knowledge))


@given(commands=SESSIONS)
@settings(deadline=None)
def test_withdrawing_the_last_event_restores_the_state(
    commands: list[Command], knowledge: Knowledge
) -> None:
    """Whatever happened last, taking it back gives exactly the state before it."""
    history = play(commands, knowledge).history
    before = State()
    for envelope in history:
        after = apply(before, envelope)
        if not isinstance(envelope.event, Opened | Withdrawn):
            (event,) = decide(after, _back(after, envelope), knowledge)
            again = apply(after, Envelope(after.last + 1, AT, "A. Tester", event))
            assert again == before
            assert standing(again) == standing(before)
            assert len(again.history) == len(after.history) + 1
        before = after


def _back(state: State, envelope: Envelope) -> Command:
    return Reopen() if state.closed else Withdrawn(envelope.sequence)


@given(commands=SESSIONS, number=st.integers(2, 20))
@settings(deadline=None)
def test_withdrawn_is_as_if_it_had_never_happened(
    commands: list[Command], number: int, knowledge: Knowledge
) -> None:
    """A state without an event is the fold of the other events alone."""
    state = play(commands, knowledge)
    try:
        (event,) = decide(state, Withdrawn(number), knowledge)
    except NotAllowed:
        return
    state = apply(state, Envelope(state.last + 1, AT, "A. Tester", event))
    others = [
        envelope.event
        for envelope in state.history
        if envelope.sequence not in state.withdrawn and not isinstance(envelope.event, Withdrawn)
    ]
    alone = fold(Envelope(n, AT, "A. Tester", event) for n, event in enumerate(others, 1))
    assert standing(state) == standing(alone)


@given(commands=SESSIONS)
@settings(deadline=None)
def test_every_event_survives_its_line(commands: list[Command], knowledge: Knowledge) -> None:
    """An event written as a line and read back is the same event."""
    for envelope in play(commands, knowledge).history:
        again, before = read_line(write_line(envelope, NOTHING_BEFORE))
        assert before == NOTHING_BEFORE
        assert (again.sequence, again.at, again.who) == (envelope.sequence, AT, "A. Tester")
        assert again.event == envelope.event


def test_every_kind_of_event_has_a_word() -> None:
    """The words of the log and the events are in step, one for one."""
    assert set(KINDS.values()) == set(Event.__args__)
    assert len(set(KINDS.values())) == len(KINDS)


def test_order_is_insisted_on(opened: Opened, in_envelopes: InEnvelopes) -> None:
    """A fold refuses a gap, a second opening, a missing one, and a withdrawal of nothing."""
    first, second = in_envelopes([opened, Noted("x")])
    for wrong in (
        [second],
        [first, first],
        [first, Envelope(3, AT, "A", Noted("x"))],
        [first, Envelope(2, AT, "A", opened)],
        [Envelope(1, AT, "A", Noted("x"))],
        [first, Envelope(2, AT, "A", Withdrawn(1))],
        [first, Envelope(2, AT, "A", Withdrawn(2))],
        [first, second, Envelope(3, AT, "A", Withdrawn(2)), Envelope(4, AT, "A", Withdrawn(2))],
        [first, second, Envelope(3, AT, "A", Withdrawn(2)), Envelope(4, AT, "A", Withdrawn(3))],
    ):
        with pytest.raises(BrokenLog):
            fold(wrong)


def test_stage_counts_repairs(beginning: list[Event], folded: Folded) -> None:
    """A reading belongs to the stage of the repairs before it, also when one is withdrawn later."""
    events = [
        *beginning,
        ReadingTaken("vacuum"),
        Repaired("air-leak"),
        ReadingTaken("vacuum"),
        Repaired("worn-rings"),
        ReadingTaken("vacuum"),
    ]
    state = folded(events)
    assert state.stage == 2
    assert [fact.stage for fact in state.readings] == [0, 1, 2]
    withdrawn = folded([*events, Withdrawn(len(beginning) + 2)])
    assert withdrawn.stage == 1
    assert [fact.stage for fact in withdrawn.readings] == [0, 0, 1]


def test_doing_a_test_after_all(beginning: list[Event], folded: Folded) -> None:
    """A test that could not be done and then was is no longer one that cannot be done."""
    cannot = [*beginning, CannotDo("vacuum", "no port")]
    assert set(folded(cannot).cannot_do) == {"vacuum"}
    done = [*cannot, ReadingTaken("vacuum")]
    assert folded(done).cannot_do == {}
    assert set(folded([*done, Withdrawn(len(done))]).cannot_do) == {"vacuum"}


def test_complaint_taken_again_replaces_the_words(beginning: list[Event], folded: Folded) -> None:
    """The last words of a complaint count; what it was before comes back with a withdrawal."""
    again = [*beginning, ComplaintTaken("unsteady", "only when wet")]
    state = folded(again)
    assert state.complaint("unsteady") == ComplaintTaken("unsteady", "only when wet")
    assert state.complaint("no-power") is None
    back = folded([*again, Withdrawn(len(again))]).complaint("unsteady")
    assert back is not None
    assert back.said == "shakes at the lights"


def test_a_complaint_that_showed_once_is_present(beginning: list[Event], folded: Folded) -> None:
    """Within one stage present outweighs gone, whichever came first; a repair starts afresh."""
    gone, present = ComplaintChecked("unsteady", "gone"), ComplaintChecked("unsteady", "present")
    repaired = [*beginning, Repaired("air-leak")]
    assert folded(beginning).status("unsteady") == "present"
    assert folded([*beginning, gone]).status("unsteady") == "present"
    assert folded(repaired).status("unsteady") is None
    assert folded([*repaired, gone]).status("unsteady") == "gone"
    assert folded([*repaired, gone, present]).status("unsteady") == "present"
    assert folded([*repaired, present, gone]).status("unsteady") == "present"


def test_trees_of_later_complaints_join(
    beginning: list[Event], opened: Opened, folded: Folded
) -> None:
    """A complaint taken later adds its tree to those the session was opened for."""
    only_one = Opened(opened.program, ("unsteady",), opened.digest, opened.title)
    events = [only_one, *beginning[1:]]
    assert folded(events).trees == ("unsteady",)
    assert folded([*events, ComplaintTaken("no-power")]).trees == ("unsteady", "no-power")
