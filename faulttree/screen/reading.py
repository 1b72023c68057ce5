"""One test taken again, for the proof of a repair: one card, and back with the reading."""

from __future__ import annotations

from faulttree.screen import actions, text
from faulttree.screen.cards import Next
from faulttree.screen.lists import Row
from faulttree.screen.taking import TakingPage
from faulttree.screen.wording import figure_shown
from faulttree.screen.work import Work, base_is_out
from faulttree.session.events import ReadingTaken


class ReadingPage(TakingPage):
    """Take one reading and go back; the session has it."""

    PAGE = "reading"
    BINDINGS = actions.bindings("reading")

    def __init__(self, work: Work, test: str) -> None:
        super().__init__(work, Next("test", test, "free", _before(work, test)))

    def taken(self, reading: ReadingTaken) -> None:
        """A reading is on the disk: back with it, unless a base reading is out."""
        if not base_is_out(self.work.knowledge.tests[reading.test], reading):
            self.dismiss(None)
            return
        self.renew()
        answers = [
            Row("on", text.line("Keep it, and go back to the proof")),
            Row("again", text.line("Take this reading again")),
        ]

        def answered(answer: str | None) -> None:
            if answer != "again":
                self.dismiss(None)

        self.ask_about_base(reading, answers, answered)


def _before(work: Work, test: str) -> str:
    """What the test read before the repair."""
    earlier = [fact for fact in work.state.readings_of(test) if fact.stage < work.state.stage]
    if not earlier:
        return "not read before the repair."
    event = earlier[-1].event
    shown = figure_shown(event, work.knowledge.tests.get(test))
    return f"before the repair it read {event.band} {shown}".rstrip() + "."
