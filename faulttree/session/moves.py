"""What may happen when: the one table of a session's legal moves.

`decide` turns a command into events, or raises NotAllowed and changes nothing. Most commands say
just what the event will say, so the event itself is the command; `TakeReading`, `Undo` and
`Reopen` need something worked out first, and a `SpecGiven` is looked at for its range. `RULES`
lists, for every kind of event, the conditions that must hold, each a function that gives the reason
why not. A withdrawal is judged by the same table: what came later must still be allowed without the
event that is taken back.
"""

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, Literal, get_args

from faulttree.scorer.evidence import Entry
from faulttree.session.entry import entry_trouble, outside, parse_spec
from faulttree.session.events import (
    KIND_OF,
    Advice,
    CannotDo,
    CautionAcknowledged,
    CautionAnswer,
    Closed,
    ComplaintChecked,
    ComplaintTaken,
    Envelope,
    Event,
    InstrumentChecked,
    Noted,
    Opened,
    Outcome,
    ReadingTaken,
    Repaired,
    RouteLeft,
    Showing,
    SpecGiven,
    TakenAs,
    VehicleDescribed,
    Withdrawn,
)
from faulttree.session.standing import (
    NOT_LISTED,
    car_of,
    cautions_of,
    checked_points,
    open_cautions,
    specs_used,
    weigh_entry,
)
from faulttree.session.state import State, apply
from faulttree.trade.typed import MOST_READINGS
from faulttree.trade.units import ReadingError
from faulttree.trade.words import plain
from faulttree.tree.car import CYLINDERS, fits
from faulttree.tree.model import Knowledge, Spec, Value


class NotAllowed(Exception):
    """The session does not allow this now; the message says why and what to do."""


@dataclass(frozen=True, slots=True)
class TakeReading:
    """Record a reading: the text exactly as typed, and what it was parsed to.

    `anyway` says that the technician was asked about a figure outside what the test can read, and
    takes it all the same; without it such a reading is refused.
    """

    test: str
    typed: str
    entry: Entry
    showing: Showing = "unknown"
    taken_as: TakenAs = "free"
    anyway: bool = False
    advice: Advice | None = None


@dataclass(frozen=True, slots=True)
class Undo:
    """Take back the last event that stands, and what came with it: see `to_undo`."""

    reason: str = ""


@dataclass(frozen=True, slots=True)
class Reopen:
    """Go on with a closed session: takes the closing back."""

    reason: str = ""


Command = Event | TakeReading | Undo | Reopen
Rule = Callable[[State, Any, Knowledge], str | None]


def decide(state: State, command: Command, knowledge: Knowledge) -> tuple[Event, ...]:
    """The events that a command makes in this state.

    Raises NotAllowed with the reason; a reading may also raise ReadingError (its figures make no
    sense) or SpecUnknown (a limit needs a spec that is not known).
    """
    events: tuple[Event, ...]
    if isinstance(command, TakeReading):
        # The cheap reasons first: nobody wants to hear of a unit when the session is closed.
        _insist(state, ReadingTaken(command.test, showing=command.showing), knowledge)
        events = (_weighed(state, command, knowledge),)
    elif isinstance(command, Undo):
        events = tuple(Withdrawn(one.sequence, command.reason) for one in to_undo(state))
        if not events:
            raise NotAllowed("There is nothing to undo.")
    elif isinstance(command, Reopen):
        if state.closed is None:
            raise NotAllowed("The session is not closed, so there is nothing to reopen.")
        events = (Withdrawn(state.closed.sequence, command.reason),)
    elif isinstance(command, SpecGiven):
        events = (_in_its_range(command, knowledge),)
    else:
        events = (command,)
    for event in events:
        _insist(state, event, knowledge)
    return events


def read_spec(spec: Spec, text: str) -> Value:
    """A spec's value from what was typed, whether or not it is usual: see `spec_outside`.

    Raises ReadingError, with what to write instead, for what is no value of this spec at all.
    """
    value = parse_spec(spec, text, anyway=True)
    trouble = _value_suits(spec, value)
    if trouble:
        raise ReadingError(trouble)
    return value


def spec_outside(spec: Spec, value: Value) -> str | None:
    """How a number lies outside what is usual for its spec, as a sentence, or None.

    Most often it is mistyped, or in another unit; but makers differ, so it is taken where whoever
    typed it says so again: a `SpecGiven` with `outside`. The number of cylinders is no such figure.
    """
    if not spec.possible or isinstance(value, bool) or not isinstance(value, int | float):
        return None
    if not math.isfinite(value) or spec.id == CYLINDERS:
        return None
    low, high = spec.possible
    if low <= value <= high:
        return None
    shown = f"{plain(value)} {spec.unit or ''}".rstrip()
    usual = f"{plain(low)} to {plain(high)} {spec.unit or ''}".rstrip()
    return f"{spec.name}: {shown} is outside the usual range ({usual})."


def refusal(state: State, event: Event, knowledge: Knowledge) -> str | None:
    """Why an event is not allowed in this state, or None when it is."""
    for rule in RULES[type(event)]:
        reason = rule(state, event, knowledge)
        if reason is not None:
            return reason
    return None


def to_undo(state: State) -> tuple[Envelope, ...]:
    """What Undo takes back, the last first; nothing when nothing is left.

    That is the last event that stands. With a reading that left the route goes the leaving.
    """
    last = next(_standing_before(state, state.last + 1), None)
    if last is None:
        return ()
    if isinstance(last.event, ReadingTaken):
        left = next(_standing_before(state, last.sequence), None)
        if left is not None and left.sequence == last.sequence - 1:
            leaving = left.event
            if isinstance(leaving, RouteLeft) and leaving.to == last.event.test:
                return last, left
    return (last,)


def _standing_before(state: State, sequence: int) -> Iterator[Envelope]:
    """The events that can be undone and stand before an entry, the last first."""
    for envelope in reversed(state.history[: sequence - 1]):
        standing = envelope.sequence not in state.withdrawn
        if standing and not isinstance(envelope.event, Opened | Withdrawn):
            yield envelope


def _insist(state: State, event: Event, knowledge: Knowledge) -> None:
    reason = refusal(state, event, knowledge)
    if reason is not None:
        raise NotAllowed(reason)


def _in_its_range(given: SpecGiven, knowledge: Knowledge) -> SpecGiven:
    """The event of a typed figure, marked as unusual only where it is."""
    spec = knowledge.specs.get(given.spec)
    beyond = spec is not None and spec_outside(spec, given.value) is not None
    return replace(given, outside=given.outside and beyond)


def _weighed(state: State, command: TakeReading, knowledge: Knowledge) -> ReadingTaken:
    """The event of a reading, with all that it came to."""
    test = knowledge.tests[command.test]
    entry = command.entry
    trouble = entry_trouble(test, entry, car_of(state, knowledge))
    beyond = outside(test, entry)
    if beyond and not command.anyway and not trouble:
        trouble = f"{beyond} Check the figure and its unit, or say that it is to be taken anyway."
    if trouble:
        raise NotAllowed(trouble)
    for part, instrument in entry.instruments.items():
        reason = _known("instrument", instrument, knowledge.instruments)
        if test.reading is None or part not in {p.name for p in test.reading.parts} or reason:
            raise NotAllowed(reason or f"{test.name} has no figure called {part!r}.")
    weighed, repeat_of = weigh_entry(state, knowledge, command.test, entry, command.showing)
    return ReadingTaken(
        test=command.test,
        typed=command.typed,
        values=dict(entry.values),
        choice=entry.choice,
        instruments=dict(entry.instruments),
        showing=command.showing,
        taken_as=command.taken_as,
        bands=dict(weighed.bands),
        figure=weighed.figure,
        u=weighed.u,
        unit=weighed.unit,
        limits=weighed.limits,
        specs_used=specs_used(test, car_of(state, knowledge)),
        true_values=dict(weighed.true_values),
        near=weighed.near,
        repeat_of=repeat_of,
        advice=command.advice,
        outside=beyond is not None,
    )


# --- conditions: each gives the reason why not, or None --------------------------------------


def _not_opened_yet(state: State, event: Opened, knowledge: Knowledge) -> str | None:
    return None if state.opened is None else "The session is open already."


def _has_trees(state: State, event: Opened, knowledge: Knowledge) -> str | None:
    if not event.trees:
        return "Choose at least one complaint."
    for tree in event.trees:
        reason = _known("complaint", tree, knowledge.trees)
        if reason:
            return reason
    return None


def _is_open(state: State, event: Event, knowledge: Knowledge) -> str | None:
    if state.opened is None:
        return "No session has been opened yet."
    if state.closed is not None:
        return "The session is closed. Reopen it first (take the closing back)."
    return None


def _is_open_or_takes_closing_back(
    state: State, event: Withdrawn, knowledge: Knowledge
) -> str | None:
    if state.closed is not None and event.sequence == state.closed.sequence:
        return None
    return _is_open(state, event, knowledge)


def _has_complaint(state: State, event: Event, knowledge: Knowledge) -> str | None:
    return None if state.complaints else "Take the complaint down first."


def _complaint_known(
    state: State, event: ComplaintTaken | RouteLeft | ComplaintChecked, knowledge: Knowledge
) -> str | None:
    return _known("complaint", event.tree, knowledge.trees)


def _complaint_was_taken(
    state: State, event: RouteLeft | ComplaintChecked, knowledge: Knowledge
) -> str | None:
    if state.complaint(event.tree) is None:
        name = knowledge.trees[event.tree].complaint
        return f"Take the complaint down first: {name}."
    return None


def _test_known(state: State, event: ReadingTaken | CannotDo, knowledge: Knowledge) -> str | None:
    return _known("test", event.test, knowledge.tests)


def _test_fits(state: State, event: ReadingTaken, knowledge: Knowledge) -> str | None:
    test, car = knowledge.tests[event.test], car_of(state, knowledge)
    if fits(test.fits, car):
        return None
    for spec, allowed in test.fits.items():
        value = car.choice(spec)
        if value is not None and value not in allowed:
            name = knowledge.specs[spec].name if spec in knowledge.specs else spec
            return (
                f"{test.name} does not apply to this car: {name} is {value}, the test is for "
                f"{' or '.join(allowed)}. If the car is described wrongly, correct that first."
            )
    return None


def _test_cautions_answered(state: State, event: ReadingTaken, knowledge: Knowledge) -> str | None:
    return _unanswered(state, "test", event.test, knowledge)


def _cause_cautions_answered(state: State, event: Repaired, knowledge: Knowledge) -> str | None:
    return _unanswered(state, "cause", event.cause, knowledge)


def _unanswered(
    state: State, carrier: Literal["test", "cause"], id: str, knowledge: Knowledge
) -> str | None:
    still_open = open_cautions(state, knowledge, carrier, id)
    if not still_open:
        return None
    first = next((c for c in still_open if c.kind == "stop"), still_open[0])
    if first.kind == "stop":
        return (
            f"This caution stops the work: {first.danger} {first.do} Go on only if it does not "
            "apply to this car, or if someone trained for it does this part, and say which."
        )
    return f"Acknowledge the caution first: {first.danger} {first.do}"


def _showing_is_a_word(state: State, event: ReadingTaken, knowledge: Knowledge) -> str | None:
    return _one_of("Whether the complaint was showing", event.showing, get_args(Showing))


def _caution_fits_carrier(
    state: State, event: CautionAcknowledged, knowledge: Knowledge
) -> str | None:
    carried = {caution.id: caution for caution in cautions_of(knowledge, event.carrier, event.id)}
    caution = carried.get(event.caution)
    if caution is None:
        return f"The {event.carrier} {event.id} does not carry the caution {event.caution}."
    if caution.kind == "stop" and event.answer == "understood":
        return (
            f"{caution.danger} {caution.do} To go on, say that it does not apply to this car, or "
            "that someone trained for it does this part; otherwise hand the car on."
        )
    return _one_of("The answer to a caution", event.answer, get_args(CautionAnswer))


def _spec_makes_sense(state: State, event: SpecGiven, knowledge: Knowledge) -> str | None:
    reason = _known("spec", event.spec, knowledge.specs)
    if reason:
        return reason
    spec = knowledge.specs[event.spec]
    beyond = None if event.outside else spec_outside(spec, event.value)
    if beyond:
        return f"{beyond} Check the figure and its unit, or say that it is to be taken anyway."
    return _value_suits(spec, event.value)


def _vehicle_makes_sense(state: State, event: VehicleDescribed, knowledge: Knowledge) -> str | None:
    if event.vehicle is not None:
        reason = _known("vehicle", event.vehicle, knowledge.vehicles)
        if reason:
            return reason
    for spec, value in event.specs.items():
        reason = _known("spec", spec, knowledge.specs)
        if not reason:
            known = knowledge.specs[spec]
            # Nobody can be asked here, so what is unusual is given one by one.
            reason = _value_suits(known, value) or spec_outside(known, value)
        if reason:
            return reason
    return None


def _value_suits(spec: Spec, value: Value) -> str | None:
    """Why a value cannot be this spec's, or None."""
    if spec.is_list:
        return None if isinstance(value, tuple) and value else f"{spec.name} is a list of numbers."
    if spec.choices:
        return _one_of(spec.name, value, spec.choices)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        return f"{spec.name} is a number{f' in {spec.unit}' if spec.unit else ''}."
    if spec.id == CYLINDERS:
        # As many readings are taken and laid out, so no other number can be worked with.
        low, high = spec.possible or (1, MOST_READINGS)
        low, high = max(1, low), min(high, MOST_READINGS)
        if value != int(value) or not low <= value <= high:
            return f"{spec.name} is a whole number from {plain(low)} to {plain(high)}."
    return None


def _has_reason(state: State, event: CannotDo, knowledge: Knowledge) -> str | None:
    return None if event.reason.strip() else "Say why the test cannot be done."


def _has_text(state: State, event: Noted, knowledge: Knowledge) -> str | None:
    return None if event.text.strip() else "The note is empty."


def _step_known(state: State, event: RouteLeft, knowledge: Knowledge) -> str | None:
    for step in (event.at_step, event.to):
        if step and step not in knowledge.tests and step not in knowledge.causes:
            return f"There is no test or cause {step}."
    return None


def _cause_known(state: State, event: Repaired, knowledge: Knowledge) -> str | None:
    return _known_cause(event.cause, knowledge)


def _repair_of_the_unlisted_is_described(
    state: State, event: Repaired, knowledge: Knowledge
) -> str | None:
    if event.cause in knowledge.causes or event.done.strip():
        return None
    return "Say what was found and done: this cause is not in the trees."


def _minutes_make_sense(state: State, event: Repaired, knowledge: Knowledge) -> str | None:
    if event.minutes is None or (math.isfinite(event.minutes) and event.minutes >= 0):
        return None
    return "The minutes of a repair are a number, 0 or more."


def _instrument_makes_sense(
    state: State, event: InstrumentChecked, knowledge: Knowledge
) -> str | None:
    reason = _known("instrument", event.instrument, knowledge.instruments)
    if reason:
        return reason
    if not (math.isfinite(event.shown) and math.isfinite(event.true)):
        return "What the instrument showed and what was true are two numbers."
    points = dict(checked_points(state).get(event.instrument, {}))
    points[event.shown] = event.true
    ordered = sorted(points.items())
    for (shown, true), (shown_next, true_next) in pairwise(ordered):
        if true_next <= true:
            return (
                f"The checks of {knowledge.instruments[event.instrument].name} do not agree: "
                f"{shown:g} shown was {true:g}, but {shown_next:g} shown was {true_next:g}. Check "
                "again, or take the wrong one back."
            )
    return None


def _outcome_is_a_word(state: State, event: Closed, knowledge: Knowledge) -> str | None:
    return _one_of("The outcome", event.outcome, get_args(Outcome))


def _causes_known(state: State, event: Closed, knowledge: Knowledge) -> str | None:
    return next(filter(None, (_known_cause(cause, knowledge) for cause in event.causes)), None)


def _cure_is_proved(state: State, event: Closed, knowledge: Knowledge) -> str | None:
    if event.outcome != "cured":
        return None
    if not state.repairs:
        return "Nothing was repaired, so nothing was cured. Record the repair, or close otherwise."
    if not event.causes:
        return "Name the cause that was confirmed; without one, close as `not found`."
    found = state.found()
    for tree in dict.fromkeys(fact.event.tree for fact in state.complaints):
        looks = {stage: what for (which, stage), what in found.items() if which == tree}
        name = knowledge.trees[tree].complaint if tree in knowledge.trees else tree
        if looks[max(looks)] == "present":
            return (
                f"Not proved: {name}. Drive the car again as when it came in, and record that the "
                "complaint is gone; or close as `not cured`."
            )
    return None


def _can_be_withdrawn(state: State, event: Withdrawn, knowledge: Knowledge) -> str | None:
    number = event.sequence
    if not 1 <= number <= state.last:
        return f"There is no entry {number}."
    if number in state.withdrawn:
        return f"Entry {number} is withdrawn already."
    target = state.history[number - 1].event
    if isinstance(target, Opened):
        return "The opening of a session cannot be withdrawn. Close the session instead."
    if isinstance(target, Withdrawn):
        return "A withdrawal cannot be withdrawn. Enter again what was taken back."
    return None


def _later_events_can_do_without(
    state: State, event: Withdrawn, knowledge: Knowledge
) -> str | None:
    """Judge what came later as if the withdrawn event had never been."""
    gone = {event.sequence, *state.withdrawn}
    with_it, without = State(), State()
    for envelope in state.history:
        later = envelope.event
        if isinstance(later, Withdrawn) or envelope.sequence in state.withdrawn:
            continue
        if envelope.sequence > event.sequence:
            reason = refusal(without, later, knowledge)
            # What today's knowledge would not allow either way is no reason to keep this one.
            if reason and not refusal(with_it, later, knowledge):
                return (
                    f"Entry {envelope.sequence} ({KIND_OF[type(later)]}) needs it: {reason} "
                    f"Withdraw entry {envelope.sequence} first."
                )
        with_it = _next(with_it, later, envelope)
        if envelope.sequence not in gone:
            without = _next(without, later, envelope)
    return None


def _next(state: State, event: Event, envelope: Envelope) -> State:
    """The state with one more event, numbered anew so that gaps do not matter."""
    return apply(state, Envelope(state.last + 1, envelope.at, envelope.who, event))


def _known_cause(cause: str, knowledge: Knowledge) -> str | None:
    if cause == NOT_LISTED or cause.removeprefix(f"{NOT_LISTED}:") in knowledge.trees:
        return None
    return _known("cause", cause, knowledge.causes)


def _known(what: str, id: str, shelf: Mapping[str, object]) -> str | None:
    return None if id in shelf else f"There is no {what} {id!r} in what this session knows."


def _one_of(what: str, word: object, words: tuple[str, ...]) -> str | None:
    return None if word in words else f"{what} is one of: {', '.join(words)}."


# --- the table ---------------------------------------------------------------------------------

RULES: Mapping[type[Event], tuple[Rule, ...]] = {
    Opened: (_not_opened_yet, _has_trees),
    ComplaintTaken: (_is_open, _complaint_known),
    VehicleDescribed: (_is_open, _vehicle_makes_sense),
    SpecGiven: (_is_open, _spec_makes_sense),
    CautionAcknowledged: (_is_open, _caution_fits_carrier),
    ReadingTaken: (
        _is_open,
        _has_complaint,
        _test_known,
        _test_fits,
        _test_cautions_answered,
        _showing_is_a_word,
    ),
    CannotDo: (_is_open, _test_known, _has_reason),
    Noted: (_is_open, _has_text),
    RouteLeft: (_is_open, _complaint_known, _complaint_was_taken, _step_known),
    Repaired: (
        _is_open,
        _has_complaint,
        _cause_known,
        _repair_of_the_unlisted_is_described,
        _cause_cautions_answered,
        _minutes_make_sense,
    ),
    ComplaintChecked: (_is_open, _complaint_known, _complaint_was_taken),
    InstrumentChecked: (_is_open, _instrument_makes_sense),
    Closed: (_is_open, _outcome_is_a_word, _causes_known, _cure_is_proved),
    Withdrawn: (_is_open_or_takes_closing_back, _can_be_withdrawn, _later_events_can_do_without),
}
"""For every kind of event, the conditions under which it may happen, tried in order."""
