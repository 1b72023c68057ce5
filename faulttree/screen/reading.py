"""One test taken again, for the proof of a repair: the walk's card, without a walk around it."""

from __future__ import annotations

from typing import Any, ClassVar

from faulttree.screen import actions
from faulttree.screen.cards import Next
from faulttree.screen.walk import WalkPage
from faulttree.screen.work import Work
from faulttree.session.events import ReadingTaken
from faulttree.session.words import figure_text


class ReadingPage(WalkPage, inherit_bindings=False):
    """Take one reading; gives nothing, the session has it."""

    PAGE = "reading"
    BINDINGS: ClassVar[list[Any]] = [
        *actions.bindings(actions.EVERYWHERE),
        *actions.bindings("reading"),
    ]

    def __init__(self, work: Work, test: str) -> None:
        super().__init__(work)
        self.next = Next("test", test, "free", self._before(test))

    def _before(self, test: str) -> str:
        """What the test read before the repair."""
        earlier = [f for f in self.work.state.readings_of(test) if f.stage < self.work.state.stage]
        if not earlier:
            return "not read before the repair."
        event = earlier[-1].event
        return f"before the repair it read {event.band} {figure_text(event)}".rstrip() + "."

    def _still_open(self, now: Next) -> bool:
        return True

    def taken(self, reading: ReadingTaken) -> None:
        """Back to the proof with it."""
        self.dismiss(None)

    def skipped(self) -> None:
        """Back to the proof: it cannot be done."""
        self.dismiss(None)

    def choose(self, test: str, way: str = "free") -> None:
        """Nothing else is chosen here."""

    def action_back(self) -> None:
        self.dismiss(None)
