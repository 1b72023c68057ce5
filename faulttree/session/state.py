"""Where a session stands: a fold over its events.

    state = fold(envelopes)                         replay, resume and undo are all this
    state = apply(state, envelope)                  one event further
    events = moves.decide(state, command, knowledge)    what may follow; changes nothing

A stage is the number of repairs so far. A withdrawn event is folded as if it had never happened:
`history` still holds it, everything else in the state forgets it, so two states are equal when the
same things stand in them.

No clock, no file and no knowledge is needed here: sequence, time and person come in with the
envelope. What may happen when is in `moves`; what the state means together with the knowledge
(the car, the evidence, the route, the open cautions) in `standing`; how a repair came out and what
is left to do in `proof`; the file in `journal`.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any, Generic, Literal, TypeVar

from faulttree.session.events import (
    KIND_OF,
    CannotDo,
    CautionAcknowledged,
    Closed,
    ComplaintChecked,
    ComplaintTaken,
    Envelope,
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


class BrokenLog(ValueError):
    """Events that cannot follow one another: not a session, or not the whole of one."""


E = TypeVar("E")


@dataclass(frozen=True, slots=True)
class Fact(Generic[E]):
    """An event that stands, with its envelope's particulars and the stage it belongs to."""

    sequence: int
    at: datetime = field(repr=False)
    who: str = field(repr=False)
    stage: int
    event: E


@dataclass(frozen=True, slots=True)
class State:
    """A session as it stands after some of its events. Made by `fold` and `apply` only.

    `history` holds every envelope, withdrawn ones too, and `withdrawn` maps the number of each
    withdrawn event to the withdrawal; neither counts when two states are compared. The tuples
    hold what stands, in order. `cannot_do` maps a test to why; doing it after all removes it.
    """

    history: tuple[Envelope, ...] = field(default=(), compare=False, repr=False)
    withdrawn: Mapping[int, Envelope] = field(default_factory=dict, compare=False, repr=False)
    opened: Opened | None = None
    complaints: tuple[Fact[ComplaintTaken], ...] = ()
    vehicle: Fact[VehicleDescribed] | None = None
    specs: Mapping[str, Fact[SpecGiven]] = field(default_factory=dict)
    acknowledged: tuple[Fact[CautionAcknowledged], ...] = ()
    readings: tuple[Fact[ReadingTaken], ...] = ()
    cannot_do: Mapping[str, Fact[CannotDo]] = field(default_factory=dict)
    notes: tuple[Fact[Noted], ...] = ()
    routes_left: tuple[Fact[RouteLeft], ...] = ()
    repairs: tuple[Fact[Repaired], ...] = ()
    checks: tuple[Fact[ComplaintChecked], ...] = ()
    instruments: tuple[Fact[InstrumentChecked], ...] = ()
    closed: Fact[Closed] | None = None

    @property
    def last(self) -> int:
        """The sequence number of the last event, 0 before the first."""
        return len(self.history)

    @property
    def is_open(self) -> bool:
        """Whether work goes on: opened and not closed."""
        return self.opened is not None and self.closed is None

    @property
    def stage(self) -> int:
        """The number of repairs so far."""
        return len(self.repairs)

    @property
    def trees(self) -> tuple[str, ...]:
        """The trees of the session: those it was opened for, then those of later complaints."""
        opened = self.opened.trees if self.opened else ()
        return tuple(dict.fromkeys((*opened, *(fact.event.tree for fact in self.complaints))))

    def complaint(self, tree: str) -> ComplaintTaken | None:
        """The complaint of a tree as last taken, or None."""
        taken = [fact.event for fact in self.complaints if fact.event.tree == tree]
        return taken[-1] if taken else None

    def readings_of(self, test: str, stage: int | None = None) -> tuple[Fact[ReadingTaken], ...]:
        """The standing readings of a test, in order; those of one stage if it is named."""
        return tuple(
            fact
            for fact in self.readings
            if fact.event.test == test and stage in (None, fact.stage)
        )

    def latest(self, test: str) -> Fact[ReadingTaken] | None:
        """The last standing reading of a test, or None."""
        readings = self.readings_of(test)
        return readings[-1] if readings else None

    def status(self, tree: str) -> Literal["present", "gone"] | None:
        """What was found of a complaint in the current stage; None when not looked for in it.

        A complaint that showed once in a stage is present: one that comes and goes is not gone
        because it kept quiet for a while.
        """
        return self.found().get((tree, self.stage))

    def found(self) -> dict[tuple[str, int], Literal["present", "gone"]]:
        """What was found of every complaint, by tree and stage, in the order of looking.

        Taking a complaint finds it present, in the stage in which it is first taken.
        """
        looks: list[tuple[int, str, int, Literal["present", "gone"]]] = []
        for taken in {fact.event.tree: fact for fact in reversed(self.complaints)}.values():
            looks.append((taken.sequence, taken.event.tree, taken.stage, "present"))
        for check in self.checks:
            looks.append((check.sequence, check.event.tree, check.stage, check.event.found))
        found: dict[tuple[str, int], Literal["present", "gone"]] = {}
        for _, tree, stage, what in sorted(looks):
            if found.get((tree, stage)) != "present":
                found[tree, stage] = what
        return found


# --- the fold ----------------------------------------------------------------------------------


def apply(state: State, envelope: Envelope) -> State:
    """The state after one more event; raises BrokenLog when it cannot follow."""
    if envelope.sequence != state.last + 1:
        raise BrokenLog(f"entry {state.last + 1} was expected, entry {envelope.sequence} came")
    event = envelope.event
    if isinstance(event, Opened) != (state.opened is None):
        raise BrokenLog("a session has one `opened`, and it comes first")
    history = (*state.history, envelope)
    if isinstance(event, Withdrawn):
        reason = _cannot_withdraw(state, event.sequence)
        if reason:
            raise BrokenLog(reason)
        withdrawn = {**state.withdrawn, event.sequence: envelope}
        return _refold(history, withdrawn)
    return replace(_add(state, envelope), history=history)


def fold(envelopes: Iterable[Envelope]) -> State:
    """The state after these events, from the first; raises BrokenLog when they do not fit."""
    state = State()
    for envelope in envelopes:
        state = apply(state, envelope)
    return state


def states(envelopes: Iterable[Envelope]) -> Iterator[tuple[Envelope, State]]:
    """Every event with the state after it: what a replay steps through."""
    state = State()
    for envelope in envelopes:
        state = apply(state, envelope)
        yield envelope, state


def standing_until(state: State, sequence: int) -> State:
    """What stands now, as far as it had happened by that entry.

    Unlike the fold of the first entries this leaves out what was withdrawn later, so that the way
    to the present conclusions can be told without detours.
    """
    return _refold(state.history[:sequence], state.withdrawn)


def _refold(history: tuple[Envelope, ...], withdrawn: Mapping[int, Envelope]) -> State:
    """The state of a history without its withdrawn events."""
    state = State()
    for envelope in history:
        if envelope.sequence not in withdrawn and not isinstance(envelope.event, Withdrawn):
            state = _add(state, envelope)
    return replace(state, history=history, withdrawn=withdrawn)


def _cannot_withdraw(state: State, sequence: int) -> str | None:
    """Why the event with that number can never be withdrawn, or None."""
    if not 1 <= sequence <= state.last:
        return f"there is no entry {sequence} to withdraw"
    if sequence in state.withdrawn:
        return f"entry {sequence} is withdrawn already"
    event = state.history[sequence - 1].event
    if isinstance(event, Opened | Withdrawn):
        return f"entry {sequence} ({KIND_OF[type(event)]}) cannot be withdrawn"
    return None


def _add(state: State, envelope: Envelope) -> State:
    """What one event that stands adds to a state; touches neither history nor withdrawals."""
    event = envelope.event
    fact: Fact[Any] = Fact(envelope.sequence, envelope.at, envelope.who, state.stage, event)
    match event:
        case Opened():
            return replace(state, opened=event)
        case ComplaintTaken():
            return replace(state, complaints=(*state.complaints, fact))
        case VehicleDescribed():
            return replace(state, vehicle=fact)
        case SpecGiven():
            return replace(state, specs={**state.specs, event.spec: fact})
        case CautionAcknowledged():
            return replace(state, acknowledged=(*state.acknowledged, fact))
        case ReadingTaken():
            cannot = {test: why for test, why in state.cannot_do.items() if test != event.test}
            return replace(state, readings=(*state.readings, fact), cannot_do=cannot)
        case CannotDo():
            return replace(state, cannot_do={**state.cannot_do, event.test: fact})
        case Noted():
            return replace(state, notes=(*state.notes, fact))
        case RouteLeft():
            return replace(state, routes_left=(*state.routes_left, fact))
        case Repaired():
            return replace(state, repairs=(*state.repairs, fact))
        case ComplaintChecked():
            return replace(state, checks=(*state.checks, fact))
        case InstrumentChecked():
            return replace(state, instruments=(*state.instruments, fact))
        case Closed():
            return replace(state, closed=fact)
        case Withdrawn():
            raise BrokenLog("a withdrawal stands for nothing by itself")
