"""A session that nobody held: a state from readings and repairs written down in a row.

It goes through the same moves as a real one, so that a reading which a technician could not enter
is refused here too. Cautions are taken as answered, because nothing is done to any car.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Literal

from faulttree.session.entry import parse_entry, parse_spec
from faulttree.session.events import (
    Carrier,
    CautionAcknowledged,
    ComplaintChecked,
    ComplaintTaken,
    Envelope,
    Opened,
    Repaired,
    SpecGiven,
    VehicleDescribed,
)
from faulttree.session.moves import Command, NotAllowed, TakeReading, decide
from faulttree.session.standing import NOT_LISTED, car_of, open_cautions
from faulttree.session.state import State, apply
from faulttree.trade.units import ReadingError
from faulttree.trade.words import did_you_mean, quoted
from faulttree.tree.car import SpecUnknown
from faulttree.tree.model import Knowledge

NO_TIME = datetime(1970, 1, 1, tzinfo=UTC)


class BadStep(ValueError):
    """A spec, reading or repair that makes no sense; the message says which and what to do."""


@dataclass(frozen=True, slots=True)
class Step:
    """One thing that happened: a reading as `TEST=VALUE`, or the cause that was repaired."""

    kind: Literal["reading", "repaired"]
    text: str


def imagine(
    knowledge: Knowledge,
    trees: Sequence[str],
    vehicle: str | None = None,
    specs: Iterable[str] = (),
    steps: Iterable[Step] = (),
) -> State:
    """The state after these complaints, specs (`ID=VALUE`) and steps, in the order given.

    Raises BadStep for the first that makes no sense.
    """
    state = _do(State(), Opened("", tuple(trees), knowledge.digest, "imagined"), knowledge)
    if vehicle is not None:
        state = _do(state, VehicleDescribed(vehicle), knowledge)
    for text in specs:
        state = _spec(state, text, knowledge)
    for tree in trees:
        state = _do(state, ComplaintTaken(tree), knowledge)
    for step in steps:
        if step.kind == "repaired":
            state = _repair(state, step.text, knowledge)
        else:
            state = _reading(state, step.text, knowledge)
    return state


def _spec(state: State, text: str, knowledge: Knowledge) -> State:
    id, value = _parted(text, "spec", "fuel_pressure=36psi")
    spec = knowledge.specs.get(id)
    if spec is None:
        raise BadStep(_unknown("spec", id, knowledge.specs))
    try:
        return _do(state, SpecGiven(id, parse_spec(spec, value), value), knowledge)
    except ReadingError as trouble:
        raise BadStep(f"{id}: {trouble}") from None


def _reading(state: State, text: str, knowledge: Knowledge) -> State:
    id, value = _parted(text, "reading", "fuel-pressure-prime=34psi")
    if id in knowledge.trees:
        return _complaint(state, id, value, knowledge)
    test = knowledge.tests.get(id)
    if test is None:
        raise BadStep(_unknown("test", id, [*knowledge.tests, *state.trees]))
    state = _heed(state, "test", id, knowledge)
    try:
        entry = parse_entry(test, value, car_of(state, knowledge))
        return _do(state, TakeReading(id, value, entry), knowledge)
    except (ReadingError, BadStep) as trouble:
        raise BadStep(f"{id}: {trouble}") from None
    except SpecUnknown as trouble:
        raise BadStep(f"{id}: {trouble.args[0]} (spec {trouble.spec})") from None


def _complaint(state: State, tree: str, value: str, knowledge: Knowledge) -> State:
    found = value.strip().casefold()
    if found == "present":
        return _do(state, ComplaintChecked(tree, "present"), knowledge)
    if found == "gone":
        return _do(state, ComplaintChecked(tree, "gone"), knowledge)
    raise BadStep(f"{tree}: a complaint is `present` or `gone`, not {quoted(value)}.")


def _repair(state: State, cause: str, knowledge: Knowledge) -> State:
    listed = [*knowledge.causes, NOT_LISTED, *(f"{NOT_LISTED}:{tree}" for tree in state.trees)]
    if cause not in listed:
        raise BadStep(_unknown("cause", cause, listed))
    state = _heed(state, "cause", cause, knowledge)
    return _do(state, Repaired(cause, "imagined"), knowledge)


def _heed(state: State, carrier: Carrier, id: str, knowledge: Knowledge) -> State:
    for caution in open_cautions(state, knowledge, carrier, id):
        state = _do(state, CautionAcknowledged(caution.id, carrier, id, "trained"), knowledge)
    return state


def _do(state: State, command: Command, knowledge: Knowledge) -> State:
    try:
        events = decide(state, command, knowledge)
    except NotAllowed as reason:
        raise BadStep(str(reason)) from None
    for event in events:
        state = apply(state, Envelope(state.last + 1, NO_TIME, "", event))
    return state


def _parted(text: str, what: str, example: str) -> tuple[str, str]:
    id, sign, value = text.partition("=")
    if not sign or not id.strip() or not value.strip():
        raise BadStep(f"{quoted(text)} is no {what}: write it like {example}.")
    return id.strip(), value


def _unknown(what: str, id: str, known: Mapping[str, object] | Sequence[str]) -> str:
    hint = did_you_mean(id, known) or f" The ids of every {what} stand in the files of the trees."
    return f"There is no {what} {quoted(id)} in these trees.{hint}"
