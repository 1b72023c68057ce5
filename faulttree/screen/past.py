"""What replays have in common, on the screen and line by line: one entry in words, and jumping.

Nothing here knows a widget.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from faulttree.screen.wording import (
    figure,
    minutes_words,
    percent,
    spread_shown,
    to_shown,
    unit_shown,
    with_unit,
)
from faulttree.screen.work import MOVING, Reckoned, Reckoner
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
    ReadingTaken,
    Repaired,
    TakenAs,
    VehicleDescribed,
    Withdrawn,
)
from faulttree.session.standing import car_of
from faulttree.session.state import State
from faulttree.session.words import figure_text, name_of, say, true_text
from faulttree.tree.model import Knowledge, Test

KINDS: dict[str, tuple[type[Event], ...]] = {
    "repair": (Repaired,),
    "complaint": (ComplaintTaken, ComplaintChecked),
    "reading": (ReadingTaken,),
    "note": (Noted,),
    "close": (Closed,),
    "caution": (CautionAcknowledged,),
    "cannot": (CannotDo,),
    "instrument": (InstrumentChecked,),
    "undo": (Withdrawn,),
}
"""What can be jumped to by its kind."""

WAYS: dict[TakenAs, str] = {"route": "the route", "advice": "the advice", "free": "own choice"}
"""Why a test was taken."""


@dataclass(frozen=True, slots=True)
class Found:
    """Where a jump leads, counted from 0; `round` when it began again at the first entry."""

    at: int
    round: bool = False


def jump(envelopes: Sequence[Envelope], at: int, wanted: str, knowledge: Knowledge) -> Found | None:
    """Where a jump from the entry `at` leads: to a number, or to the next entry that is meant.

    A kind (`repair`, `complaint`, `reading`, ...) means the next of that kind; other words mean the
    next reading of a test with these words in its name, and if there is none, the next entry that
    says them. After the last entry the search begins anew at the first.
    """
    wanted = " ".join(wanted.split()).casefold()
    if not wanted:
        return None
    if wanted.isascii() and wanted.isdigit():
        number = int(wanted)
        return Found(number - 1) if 1 <= number <= len(envelopes) else None
    kind = KINDS.get(wanted) or KINDS.get(wanted.removesuffix("s"))
    words = wanted.split()

    def of_kind(event: Event) -> bool:
        return kind is not None and isinstance(event, kind)

    def of_test(event: Event) -> bool:
        if not isinstance(event, ReadingTaken | CannotDo):
            return False
        name = f"{name_of(event.test, knowledge)} {event.test}".casefold()
        return all(word in name for word in words)

    def says(event: Event) -> bool:
        said = say(event, knowledge)
        if isinstance(event, CautionAcknowledged):
            # Its line is the danger; people also know it by the short name of its file.
            said += f" {event.caution}"
        return all(word in said.casefold() for word in words)

    order = [*range(at + 1, len(envelopes)), *range(at + 1)]
    for meant in (of_kind,) if kind else (of_test, says):
        for place in order:
            if meant(envelopes[place].event):
                return Found(place, place <= at)
    return None


def reckon_entry(
    reckoner: Reckoner, knowledge: Knowledge, state: State, before: State | None
) -> Reckoned:
    """The chances after an entry, each with what it was before it; none without a complaint."""
    if not state.complaints:
        return Reckoned(state.last)
    car = car_of(state, knowledge)
    known = before is not None and bool(before.complaints)
    was: Mapping[str, float] = {}
    if before is not None and known and (earlier := car_of(before, knowledge)).specs != car.specs:
        # The entry told of the car: what was known of it before has chances of its own.
        was = {one.id: one.chance for one in reckoner.chances(before, earlier).causes}
    found = reckoner.chances(state, car, before)
    if not was:
        return found
    causes = [replace(one, before=was.get(one.id, 0.0)) for one in found.causes]
    return replace(found, causes=tuple(causes))


def changed_little(event: Event, before: State | None) -> list[str]:
    """What to say of an entry that moved no chance much; nothing of one that never does."""
    if isinstance(event, Repaired):
        return ["From here on this cause counts as put right."]
    if isinstance(event, ComplaintTaken) and not (before and before.complaints):
        return ["The first chances, with the complaint alone."]
    return ["This entry changed little."] if isinstance(event, MOVING) else []


def entry_facts(event: Event, knowledge: Knowledge) -> list[str]:
    """What was recorded with an entry besides what its line says."""
    match event:
        case ReadingTaken():
            return _reading_facts(event, knowledge)
        case ComplaintTaken():
            seen = {"yes": "yes", "no": "no", "unknown": ""}[event.showing]
            items = [("How often", event.how_often), ("Seen before work began", seen)]
            asked = [f"{question} {answer}" for question, answer in event.answers.items()]
            return [*_labelled(items), *asked]
        case VehicleDescribed():
            own = knowledge.vehicles.get(event.vehicle or "")
            return _labelled([("The shop's own", own.name if own and event.name else "")])
        case Repaired():
            minutes = "" if event.minutes is None else minutes_words(event.minutes)
            return _labelled([("It took", minutes)])
        case ComplaintChecked():
            return _labelled([("How", event.how)])
        case InstrumentChecked():
            return _labelled([("Held against", event.against)])
        case Closed():
            found = ", ".join(name_of(cause, knowledge) for cause in event.causes)
            return _labelled([("Really found", found), ("Left to do", event.remaining)])
    return []


def _labelled(items: Sequence[tuple[str, str]]) -> list[str]:
    return [f"{label}: {text.rstrip('.')}" for label, text in items if text.strip()]


def _figures(event: ReadingTaken, test: Test | None) -> list[str]:
    """The figure that was banded and its limits, in the unit of the gauge where that can be."""
    if event.figure is None:
        return []
    if test is None or test.reading is None or test.reading.figure_unit != event.unit:
        said, limits, unit = figure_text(event), list(event.limits), event.unit
    else:
        unit = unit_shown(test)
        said = figure(to_shown(test, event.figure))
        if event.u:
            said += f" ± {figure(spread_shown(test, 2 * event.u), 2)}"
        said = with_unit(said, unit)
        limits = [to_shown(test, limit) for limit in event.limits]
    told = _limits([figure(limit) for limit in limits], unit, test.bands if test else ())
    return [f"Figure: {said}", *([f"Limits: {told}"] if told else [])]


def _limits(limits: Sequence[str], unit: str, bands: Sequence[str]) -> str:
    """The bands with the limits between them; the limits alone where the bands are not theirs."""
    ends = [with_unit(limit, unit) for limit in limits]
    if not ends or len(bands) != len(ends) + 1:
        return ", ".join(ends)
    between = [
        f"{band} {low} to {high}"
        for band, low, high in zip(bands[1:-1], limits, ends[1:], strict=False)
    ]
    return ", ".join([f"{bands[0]} below {ends[0]}", *between, f"{bands[-1]} above {ends[-1]}"])


def _reading_facts(event: ReadingTaken, knowledge: Knowledge) -> list[str]:
    """What was recorded with a reading: figure, limits, how sure, showing, why it was taken."""
    facts = []
    true = true_text(event, knowledge.tests.get(event.test))
    if true:
        facts.append(f"Corrected for the instrument: {true}")
    facts += _figures(event, knowledge.tests.get(event.test))
    bands = sorted(event.bands.items(), key=lambda item: -item[1])
    sure = ", ".join(f"{band} {percent(chance)}" for band, chance in bands if chance >= 0.005)
    facts.append(f"How sure: {sure}")
    if event.showing != "unknown":
        facts.append(f"The complaint was showing: {event.showing}")
    facts.append(f"Chosen by: {WAYS[event.taken_as]}")
    return facts
