"""What replays have in common, on the screen and line by line: one entry in words, and jumping.

Nothing here knows a widget.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from faulttree.screen.wording import (
    figure,
    percent,
    spread_shown,
    to_shown,
    unit_shown,
    with_unit,
)
from faulttree.screen.work import MOVING
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
    Withdrawn,
)
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


def changed_little(event: Event) -> list[str]:
    """What to say of an entry that moved no chance much; nothing of one that never does."""
    if isinstance(event, Repaired):
        return ["From here on this cause counts as put right."]
    return ["This entry changed little."] if isinstance(event, MOVING) else []


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
    between = ", ".join(with_unit(figure(limit), unit) for limit in limits)
    return [f"Figure: {said}", *([f"Limits: {between}"] if between else [])]


def reading_facts(event: Event, knowledge: Knowledge) -> list[str]:
    """What was recorded with a reading: figure, limits, how sure, showing, why it was taken."""
    if not isinstance(event, ReadingTaken):
        return []
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
    facts.append(f"Taken by: {WAYS[event.taken_as]}")
    return facts
