"""Which instrument a reading was taken with, and where that instrument is known to be out.

Files say an instrument's unit and nothing of its range, and a unit alone says little: a wire gauge
and a road both have a length. So what an instrument can read is told by the tests that ask for it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from textual.app import ComposeResult

from faulttree.screen import actions, text
from faulttree.screen.boxes import WriteBox
from faulttree.screen.foot import Piece, with_digits
from faulttree.screen.lists import PickList, Row, heading
from faulttree.screen.page import Head, KeyLine, Page, Words
from faulttree.screen.wording import figure, with_unit
from faulttree.screen.work import Work
from faulttree.session.events import InstrumentChecked
from faulttree.session.journal import JournalError
from faulttree.session.moves import NotAllowed
from faulttree.trade.units import (
    ReadingError,
    convert,
    convert_difference,
    kind,
    parse_quantity,
    same_kind,
)
from faulttree.tree.car import instrument_for
from faulttree.tree.model import Instrument, Knowledge, Part, Test

AS_ASKED = "as-asked!"
CHECK = "check!"
DONE = "done!"


class GaugePage(Page[dict[str, str]]):
    """Choose each part's instrument; gives those that differ from what the test asks for."""

    PAGE = "gauge"
    BINDINGS = actions.bindings("gauge")

    def __init__(self, work: Work, test: Test, instruments: dict[str, str]) -> None:
        super().__init__()
        self.work, self.test, self.instruments = work, test, instruments
        assert test.reading is not None
        self.parts = list(test.reading.parts)
        self.part = self.parts[0]

    def compose(self) -> ComposeResult:
        yield Head()
        yield Words(classes="intro")
        yield PickList(at_once=True)
        yield Words(id="about", classes="foot-note")
        yield KeyLine()

    def ready(self) -> None:
        self.head("Instrument", self.test.name)
        self.show()
        self.query_one(PickList).focus()

    def enter_does(self) -> str:
        return "Choose"

    def foot(self) -> list[Piece]:
        return with_digits(super().foot(), "Choose at once")

    def action_back(self) -> None:
        self.dismiss(dict(self.instruments))

    def used(self, part: Part) -> str | None:
        """The instrument that a part is read with."""
        return self.instruments.get(part.name, part.instrument)

    def show(self) -> None:
        """Show the instruments that can read this part."""
        name = "" if len(self.parts) == 1 else f" for {self.part.name}"
        self.query_one(".intro", Words).update(
            text.line((f"With which instrument{name}? ", "bold"), "Its known errors are corrected.")
        )
        used = self.used(self.part)
        rows = []
        for instrument in offered(self.test, self.part, self.work.knowledge):
            mark = "  (this one)" if instrument.id == used else ""
            accuracy = f"± {with_unit(figure(instrument.accuracy), instrument.unit)}"
            room = max(40, self.size.width - 8)
            rows.append(
                Row(
                    instrument.id,
                    text.line(
                        (
                            text.ends(f"{instrument.name}{mark}", accuracy, room),
                            "bold" if mark else "",
                        )
                    ),
                )
            )
        if not rows:
            unit = f"reads {self.part.unit}" if self.part.unit else "reads this"
            rows.append(heading(f"None of the shop's instruments {unit}."))
        if self.part.instrument is None:
            mark = "  (this one)" if used is None else ""
            rows.append(Row(AS_ASKED, text.line(f"As the test says, no special one{mark}")))
        rows.append(heading(""))
        if used is not None:
            shown = self.work.knowledge.instruments[used].name
            said = f"It was held against a better one: note what both showed ({shown})"
            rows.append(Row(CHECK, text.line(text.clip(said, max(40, self.size.width - 8)))))
        rows.append(Row(DONE, text.line(("Back to the reading", "bold $text-primary"))))
        self.query_one(PickList).show_rows(rows, keep=used or AS_ASKED)

    def on_pick_list_moved(self, event: PickList.Moved) -> None:
        event.stop()
        instrument = self.work.knowledge.instruments.get(event.id)
        said = text.line("")
        if instrument is not None:
            now = instrument_for(instrument.id, self.work.car, self.work.knowledge)
            rows = [text.line((instrument.about, "$text-muted"))]
            if now.correction:
                points = ", ".join(f"{figure(s)} is {figure(t)}" for s, t in now.correction)
                rows.append(text.line(("Known errors: ", "bold"), f"{points} {now.unit}"))
            said = text.stack(rows)
        self.query_one("#about", Words).update(said)

    def on_pick_list_picked(self, event: PickList.Picked) -> None:
        if event.id == DONE:
            self.dismiss(dict(self.instruments))
        elif event.id == CHECK:
            self._check()
        else:
            self.instruments.pop(self.part.name, None)
            if event.id not in {AS_ASKED, self.part.instrument}:
                self.instruments[self.part.name] = event.id
            at = self.parts.index(self.part) + 1
            if at < len(self.parts):
                self.part = self.parts[at]
                self.show()
            else:
                self.dismiss(dict(self.instruments))

    def _check(self) -> None:
        used = self.used(self.part)
        if used is None:
            return
        instrument = self.work.knowledge.instruments[used]
        unit = f"in {instrument.unit}" if instrument.unit else ""

        def shown(typed: str | None) -> None:
            value = self._read(typed, instrument)
            if value is None:
                return

            def true(typed_true: str | None) -> None:
                true_value = self._read(typed_true, instrument)
                if true_value is not None:
                    self._add(InstrumentChecked(used, value, true_value))

            said = text.line(f"It showed {with_unit(figure(value, 8), instrument.unit)}.")
            self.app.push_screen(WriteBox("And what was true?", said, "", unit), true)

        self.app.push_screen(WriteBox(f"What did {instrument.name} show?", None, "", unit), shown)

    def _read(self, typed: str | None, instrument: Instrument) -> float | None:
        if typed is None:
            return None
        try:
            return parse_quantity(typed, instrument.unit).value_in_default
        except ReadingError as trouble:
            self.say(trouble, severity="warning")
            return None

    def _add(self, checked: InstrumentChecked) -> None:
        try:
            self.work.do(checked)
        except (NotAllowed, JournalError) as trouble:
            self.say(trouble, severity="warning", title="Not recorded")
            return
        self.say("The point is kept; readings from now on are corrected.")
        self.show()


# --- which instruments can take a reading --------------------------------------------------------

Reach = Mapping[str, tuple[float, float]]

LEAST_COVERED, WHOLE = 0.3, 0.9
"""How much of what a test may read an instrument must reach to be offered, and to reach it all."""
COARSEST, FINEST = 1 / 4, 1e-6
"""How far an instrument may be out, in shares of what a test may read; finer ones are for less."""

NAMES_NOTHING = frozenset({"angle", "share", "a plain number"})
"""Kinds of unit that do not say what is measured: percent of carbon monoxide, or of leakage."""
MERCURY = frozenset({"inHg", "mmHg"})
"""Units in which the trade reads suction, and no other pressure."""


def offered(test: Test, part: Part, knowledge: Knowledge) -> list[Instrument]:
    """The instruments that can read a part of a test, those that are meant for it first.

    That is the one it asks for, then those that its tools name, then those in its own unit; of
    those alike, what reaches all that may be read comes first, and then the finest.
    """
    reach = _reach(knowledge)

    def order(one: Instrument) -> tuple[bool, float, bool, bool, float]:
        if one.id == part.instrument:
            return False, 0.0, False, False, 0.0
        partly = _covered(one, part, reach) < WHOLE
        width = convert_difference(one.accuracy, one.unit, part.unit)
        return True, -_named(one, test), one.unit != part.unit, partly, width

    known = [one for one in knowledge.instruments.values() if _reads(one, test, part, reach)]
    asked = knowledge.instruments.get(part.instrument or "")
    of_cylinders = asked is not None and _is_for_cylinders(asked, knowledge)
    fitting = [
        one
        for one in known
        if _asks_for(test, one) or _is_for_cylinders(one, knowledge) == of_cylinders
    ]
    return sorted(fitting, key=order)


def _is_for_cylinders(one: Instrument, knowledge: Knowledge) -> bool:
    """Whether an instrument is made for cylinders: no other test asks for it.

    A gauge that is screwed into a plug hole and holds the highest stroke reads psi like one for a
    fuel line, and yet neither can stand in for the other.
    """
    asking = [test for test in knowledge.tests.values() if _asks_for(test, one)]
    return bool(asking) and all(_is_of_cylinders(test, knowledge) for test in asking)


def _asks_for(test: Test, one: Instrument) -> bool:
    """Whether a test names an instrument, for one of its readings or among its tools."""
    parts = test.reading.parts if test.reading is not None else ()
    if any(part.instrument == one.id for part in parts):
        return True
    return any(same_kind(part.unit, one.unit) for part in parts) and _named(one, test) == 1.0


def _is_of_cylinders(test: Test, knowledge: Knowledge) -> bool:
    """Whether a test reads every cylinder, or goes on from one that does with those it found."""
    found = [test, *(knowledge.tests[id] for id in test.after if id in knowledge.tests)]
    return any(one.reading is not None and one.reading.per_cylinder for one in found)


def _reads(one: Instrument, test: Test, part: Part, reach: Reach) -> bool:
    """Whether an instrument can read a part at all."""
    if one.id == part.instrument:
        return True
    if not part.unit or not same_kind(one.unit, part.unit) or not _is_of_its_size(one, part, reach):
        return False
    measures = kind(part.unit)
    if measures == "share" and one.id in reach:
        # It has a use of its own, and that is another share.
        return False
    if measures in NAMES_NOTHING or (part.unit in MERCURY and one.unit not in MERCURY):
        return _named(one, test) == 1.0
    return True


def _is_of_its_size(one: Instrument, part: Part, reach: Reach) -> bool:
    """Whether an instrument tells a part's readings apart, and reaches enough of them."""
    if part.possible is None:
        return True
    low, high = part.possible
    width = convert_difference(one.accuracy, one.unit, part.unit)
    if not (high - low) * FINEST <= width <= (high - low) * COARSEST:
        return False
    return _covered(one, part, reach) >= LEAST_COVERED


def _covered(one: Instrument, part: Part, reach: Reach) -> float:
    """The share of what a part may read that an instrument reaches; 1 where nothing is known."""
    if part.possible is None or one.id not in reach:
        return 1.0
    low, high = part.possible
    least, most = (convert(end, one.unit, part.unit) for end in reach[one.id])
    # Suction is a pressure with the other sign: some tests count it below nought, some above.
    cover = max(min(most, high) - max(least, low), min(most, -low) - max(least, -high))
    return cover / (high - low)


def _reach(knowledge: Knowledge) -> Reach:
    """What every instrument is known to read, in its own unit: all that is asked of it."""
    found: dict[str, tuple[float, float]] = {}
    for test in knowledge.tests.values():
        for part in test.reading.parts if test.reading is not None else ():
            one = knowledge.instruments.get(part.instrument or "")
            if one is None or part.possible is None or not same_kind(one.unit, part.unit):
                continue
            low, high = (convert(end, part.unit, one.unit) for end in part.possible)
            least, most = found.get(one.id, (low, high))
            found[one.id] = min(least, low), max(most, high)
    return found


def _named(one: Instrument, test: Test) -> float:
    """How far a tool of a test is such an instrument: the share of its name's words found there.

    Of the name, what comes before that which tells it from others of its sort.
    """
    head = re.split(r",| (?:with|for|of|on|or|and|against) ", one.name)[0]
    words = _words(head)
    return max((len(words & _words(tool)) / len(words) for tool in test.tools if words), default=0)


def _words(said: str) -> set[str]:
    return set(re.findall(r"\w+", said.casefold()))
