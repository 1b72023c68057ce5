"""A past session, entry by entry: what was done, what it said, and where the causes then stood.

Nothing is written. The figures of a reading are those that were recorded; the chances are worked
out again from the knowledge that the session was recorded with.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from textual.app import ComposeResult
from textual.containers import Vertical, VerticalScroll
from textual.content import Content

from faulttree.screen import actions, text
from faulttree.screen.lists import PickList, Row
from faulttree.screen.page import Head, KeyLine, Page, Words

if TYPE_CHECKING:
    from faulttree.screen.work import Advised, Reckoned, Reckoner, Work
    from faulttree.session.events import Envelope
    from faulttree.session.state import State


class ReplayPage(Page[None]):
    """Step forward and back through a session."""

    PAGE = "replay"
    BINDINGS = actions.bindings("replay")

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.path = path
        self.work: Work | None = None
        self.steps: list[tuple[Envelope, State]] = []
        self.reckoner: Reckoner | None = None
        self.reckoned: dict[int, Reckoned] = {}
        self.at = 0
        self.damage = ""

    def compose(self) -> ComposeResult:
        yield Head()
        with Vertical(id="replay-list"):
            yield PickList(numbered=False)
        with VerticalScroll(id="replay-text", can_focus=False):
            yield Words(text.line(("Reading the session...", "$text-muted")), id="replay-words")
        yield KeyLine()

    def ready(self) -> None:
        self.head("Replay", self.path.name)
        path = self.path

        def read() -> None:
            from faulttree.screen.work import look_at
            from faulttree.session.journal import JournalError, read
            from faulttree.session.state import states
            from faulttree.tree.problem import TreeError

            try:
                work = look_at(path, self.host.who)
                record = read(path)
            except (JournalError, TreeError, OSError) as trouble:
                self.app.call_from_thread(self._cannot, str(trouble))
                return
            damage = str(record.damage) if record.damage is not None else ""
            self.app.call_from_thread(self._ready, work, list(states(record.envelopes)), damage)

        self.run_worker(read, thread=True)

    def _cannot(self, why: str) -> None:
        self.query_one("#replay-words", Words).update(
            text.stack([text.line(("The session cannot be replayed.", "bold")), text.line(why)])
        )

    def _ready(self, work: Work, steps: list[tuple[Envelope, State]], damage: str) -> None:
        from faulttree.screen.work import Reckoner

        self.work, self.steps, self.damage = work, steps, damage
        self.reckoner = Reckoner(work.knowledge)
        self.head(f"Replay: {work.title}", f"{len(steps)} entries")
        self._list()
        self.query_one(PickList).focus()
        if damage:
            self.say(damage, severity="warning", title="Not the whole log could be read")

    def _list(self) -> None:
        from faulttree.session.words import say

        if self.work is None:
            return
        withdrawn = self.work.state.withdrawn
        rows = []
        for envelope, _ in self.steps:
            gone = envelope.sequence in withdrawn
            rows.append(
                Row(
                    str(envelope.sequence),
                    text.line(
                        (text.right(envelope.sequence, 3), "bold"),
                        f" {envelope.at:%H:%M} ",
                        (
                            ("(taken back) " if gone else "")
                            + text.clean(say(envelope.event, self.work.knowledge)),
                            "strike" if gone else "",
                        ),
                    ),
                )
            )
        self.query_one(PickList).show_rows(rows)

    def on_resize(self) -> None:
        if self.steps:
            self._show()

    # --- stepping --------------------------------------------------------------------------------

    def on_pick_list_moved(self, event: PickList.Moved) -> None:
        event.stop()
        if event.id:
            self.at = int(event.id) - 1
            self._show()

    def _go(self, at: int) -> None:
        if self.steps:
            self.query_one(PickList).highlighted = max(0, min(at, len(self.steps) - 1))

    def action_next(self) -> None:
        self._go(self.at + 1)

    def action_previous(self) -> None:
        self._go(self.at - 1)

    def action_first(self) -> None:
        self._go(0)

    def action_last(self) -> None:
        self._go(len(self.steps) - 1)

    def action_why(self) -> None:
        """Why each cause stood where it did at this entry."""
        reckoned = self.reckoned.get(self.at)
        if self.work is None or self.reckoner is None or reckoned is None:
            return
        from faulttree.screen.why import WhyPage
        from faulttree.screen.work import Work

        then = Work(self.work.knowledge, self.steps[self.at][1], self.work.who, None, self.path)
        reckoner = self.reckoner

        def advise() -> None:
            advised = reckoner.advice(then.state, then.car)
            self.app.call_from_thread(self._show_why, WhyPage(then, reckoned, advised))

        if then.state.complaints:
            self.run_worker(advise, thread=True, group="replay")
        else:
            self.say("No complaint had been taken yet, so no cause had been weighed.")

    def _show_why(self, page: Page[str]) -> None:
        self.app.push_screen(page)

    # --- one entry -------------------------------------------------------------------------------

    def _show(self) -> None:
        if self.work is None or self.reckoner is None:
            return
        self.query_one("#replay-words", Words).update(self._words())
        if self.at in self.reckoned:
            return
        at, (_, state), reckoner = self.at, self.steps[self.at], self.reckoner
        before = self.steps[at - 1][1] if at > 0 else None
        knowledge = self.work.knowledge

        def reckon() -> None:
            from faulttree.screen.work import Reckoned
            from faulttree.session.standing import car_of

            if not state.complaints:
                found = Reckoned(state.last, trouble="No complaint has been taken yet.")
            else:
                found = reckoner.chances(state, car_of(state, knowledge), before)
            self.app.call_from_thread(self._reckoned, at, found)

        self.run_worker(reckon, thread=True, group="replay", exclusive=True)

    def _reckoned(self, at: int, reckoned: Reckoned) -> None:
        self.reckoned[at] = reckoned
        if at == self.at:
            self.query_one("#replay-words", Words).update(self._words())

    def _words(self) -> Content:
        from faulttree.screen.cards import cause_rows, doubts, moves_words
        from faulttree.session.words import say

        assert self.work is not None
        cells = max(40, self.size.width - 4)
        envelope, _ = self.steps[self.at]
        rows = [
            text.line(
                (f"Entry {envelope.sequence} of {len(self.steps)}", "bold"),
                f"  {envelope.at:%d %b %Y %H:%M} UTC, {text.clean(envelope.who)}",
            )
        ]
        rows += [
            text.line((row, "bold"))
            for row in text.wrap(say(envelope.event, self.work.knowledge), cells)
        ]
        rows += [text.line(row) for fact in self._reading() for row in text.wrap(fact, cells)]
        reckoned = self.reckoned.get(self.at)
        rows.append(Content(""))
        if reckoned is None:
            rows.append(text.line(("Working the chances out...", "$text-muted")))
            return text.stack(rows)
        if reckoned.causes:
            moved = moves_words(reckoned, 3, cells)
            rows += [text.line(row) for row in moved or ["This entry changed little."]]
        no_advice: Advised | None = None
        rows += doubts(reckoned, no_advice)
        rows += cause_rows(reckoned, 5 if self.size.height < 30 else 12, cells)
        return text.stack(rows)

    def _reading(self) -> list[str]:
        """What was recorded with a reading: limits, how sure, showing or not, why it was taken."""
        from faulttree.screen.cards import way_words
        from faulttree.screen.wording import figure, percent, with_unit
        from faulttree.session.events import ReadingTaken
        from faulttree.session.words import figure_text

        event = self.steps[self.at][0].event
        if not isinstance(event, ReadingTaken):
            return []
        facts = []
        if event.figure is not None:
            facts.append(f"Figure: {figure_text(event)}")
        if event.limits:
            limits = ", ".join(with_unit(figure(limit), event.unit) for limit in event.limits)
            facts.append(f"Limits: {limits}")
        bands = sorted(event.bands.items(), key=lambda item: -item[1])
        sure = ", ".join(f"{band} {percent(chance)}" for band, chance in bands if chance >= 0.005)
        facts.append(f"How sure: {sure}")
        if event.showing != "unknown":
            facts.append(f"The complaint was showing: {event.showing}")
        facts.append(f"Taken as: {way_words(event.taken_as)}")
        return facts
