"""Which instrument a reading was taken with, and where that instrument is known to be out.

Which ones can take it at all is worked out in `instruments`.
"""

from __future__ import annotations

from textual.app import ComposeResult

from faulttree.screen import actions, text
from faulttree.screen.boxes import WriteBox
from faulttree.screen.instruments import offered
from faulttree.screen.lists import PickList, Row, heading
from faulttree.screen.page import Head, KeyLine, Page, Words
from faulttree.screen.wording import figure, with_unit
from faulttree.screen.work import Work
from faulttree.session.events import InstrumentChecked
from faulttree.session.journal import JournalError
from faulttree.session.moves import NotAllowed
from faulttree.trade.units import ReadingError, parse_quantity
from faulttree.tree.car import instrument_for
from faulttree.tree.model import Instrument, Part, Test

AS_ASKED = "as-asked!"
CHECK = "check!"
DONE = "done!"


class GaugePage(Page[dict[str, str]]):
    """Choose each part's instrument; gives those that differ from what the test asks for."""

    PAGE = "gauge"
    BINDINGS = actions.bindings("gauge")
    DIGITS = "Choose at once"

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
