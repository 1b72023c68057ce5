"""What an event or a reading says, in one plain line; for messages, lists, replay and handover.

The words here are ours; names and texts from trees and people are put in as they are, so whoever
shows the line passes it through its own gate.
"""

import math
import re
from collections.abc import Mapping

from faulttree.session.events import (
    CannotDo,
    CautionAcknowledged,
    CautionAnswer,
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
from faulttree.trade.words import plain
from faulttree.tree.model import Caution, Knowledge, Test, Value

_GASES = {"co": "CO", "co2": "CO2", "o2": "O2", "hc": "HC"}
_ANSWERED: Mapping[CautionAnswer, str] = {
    "understood": "understood",
    "does not apply": "does not apply",
    "trained": "left to somebody trained",
}
_CLAUSE = re.compile(r"[.;:!](?=\s)")
_DIGITS = 4
"""Significant digits of what was read: more than any gauge in the shop can tell."""


def part_words(part: str) -> str:
    """The name of one of several figures as the trade writes it: `hose on`, `CO2`."""
    return _GASES.get(part, part.replace("_", " ").replace("-", " "))


def with_unit(figure: str, unit: str) -> str:
    """A figure with its unit behind it, or alone when it has none."""
    return f"{figure} {unit}".rstrip()


def value_text(value: Value) -> str:
    """A spec's value as people write it: `36`, `distributor`, `1-3-4-2`, `1-3-5-7 | 2-4-6-8`."""
    if isinstance(value, tuple):
        if any(isinstance(item, tuple) for item in value):
            return " | ".join(value_text(item) for item in value if isinstance(item, tuple))
        return "-".join(str(item) for item in value)
    return value if isinstance(value, str) else plain(value)


def shown_text(reading: ReadingTaken, test: Test | None) -> str:
    """What the instrument showed, in the units of the test's parts; or the choice."""
    return _numbers(reading, reading.values, test)


def true_text(reading: ReadingTaken, test: Test | None) -> str:
    """What was true after the instruments' correction, or "" when nothing was corrected."""
    if not reading.true_values or dict(reading.true_values) == dict(reading.values):
        return ""
    return _numbers(reading, reading.true_values, test)


def figure_text(reading: ReadingTaken) -> str:
    """The figure that was banded, with its standard uncertainty, or "" when there was none."""
    if reading.figure is None:
        return ""
    figure = plain(reading.figure, _DIGITS)
    if reading.u:
        width = 2 * reading.u
        # A figure has no use for digits far below its own uncertainty.
        places = max(0, 1 - math.floor(math.log10(width)))
        figure = f"{plain(round(reading.figure, places), 5)} ± {plain(width, 2)}"
    return with_unit(figure, reading.unit)


def name_of(id: str, knowledge: Knowledge | None) -> str:
    """The name of a test, cause, complaint, caution, instrument or spec; the id if not known."""
    if id == "not-listed" or id.startswith("not-listed:"):
        return "Something not listed here"
    if knowledge is None:
        return id
    if id in knowledge.tests:
        return knowledge.tests[id].name
    if id in knowledge.causes:
        return knowledge.causes[id].name
    if id in knowledge.trees:
        return knowledge.trees[id].complaint
    if id in knowledge.instruments:
        return knowledge.instruments[id].name
    return knowledge.specs[id].name if id in knowledge.specs else id


def danger_words(caution: Caution) -> str:
    """What a caution is about, short: the first clause of its danger, without its stop."""
    danger = " ".join(caution.danger.split())
    return _CLAUSE.split(danger, maxsplit=1)[0].rstrip(".!") or part_words(caution.id)


def say(event: Event, knowledge: Knowledge | None = None) -> str:
    """An event in one line, with names in place of ids as far as the knowledge has them."""

    def name(id: str) -> str:
        return name_of(id, knowledge)

    match event:
        case Opened():
            return f"Opened: {event.title}"
        case ComplaintTaken():
            said = f": {event.said}" if event.said else ""
            return f"Complaint: {name(event.tree)}{said}"
        case VehicleDescribed():
            own = knowledge.vehicles.get(event.vehicle or "") if knowledge else None
            return f"Vehicle: {event.name or (own.name if own else event.vehicle) or 'described'}"
        case SpecGiven():
            source = f" ({event.source})" if event.source else ""
            unit = ""
            if knowledge and event.spec in knowledge.specs:
                unit = knowledge.specs[event.spec].unit or ""
            beyond = " (outside the usual range, taken anyway)" if event.outside else ""
            return f"{name(event.spec)}: {with_unit(value_text(event.value), unit)}{source}{beyond}"
        case CautionAcknowledged():
            known = knowledge.cautions.get(event.caution) if knowledge else None
            danger = danger_words(known) if known else part_words(event.caution)
            bearer = f"{'the repair: ' if event.carrier == 'cause' else ''}{name(event.id)}"
            return f"Caution {_ANSWERED[event.answer]}: {danger} (for {bearer})"
        case ReadingTaken():
            test = knowledge.tests.get(event.test) if knowledge else None
            band = f" = {event.band}" if event.band and event.choice is None else ""
            beyond = " (outside what the test can read, taken anyway)" if event.outside else ""
            return f"{name(event.test)}: {shown_text(event, test)}{band}{beyond}"
        case CannotDo():
            return f"Cannot do: {name(event.test)} ({event.reason})"
        case Noted():
            return f"Note: {event.text}"
        case RouteLeft():
            to = f" for {name(event.to)}" if event.to else ""
            reason = f" ({event.reason})" if event.reason else ""
            return f"Left the route at {name(event.at_step)}{to}{reason}"
        case Repaired():
            done = f": {event.done}" if event.done else ""
            return f"Repaired: {name(event.cause)}{done}"
        case ComplaintChecked():
            return f"Complaint {event.found}: {name(event.tree)}"
        case InstrumentChecked():
            return (
                f"{name(event.instrument)} checked: {plain(event.shown)} shown, "
                f"{plain(event.true)} true"
            )
        case Closed():
            return f"Closed: {event.outcome}"
        case Withdrawn():
            reason = f" ({event.reason})" if event.reason else ""
            return f"Withdrew entry {event.sequence}{reason}"


def _numbers(
    reading: ReadingTaken, values: Mapping[str, tuple[float, ...]], test: Test | None
) -> str:
    if reading.choice is not None:
        return reading.choice
    units = {part.name: part.unit for part in test.reading.parts} if test and test.reading else {}
    texts = {
        part: with_unit(
            ", ".join(plain(number, _DIGITS) for number in numbers), units.get(part, "")
        )
        for part, numbers in values.items()
    }
    if set(texts) == {"value"}:
        return texts["value"]
    return ", ".join(f"{part_words(part)} {text}" for part, text in texts.items()) or reading.typed
