"""A past session, entry by entry: what was done, what it said, and where the causes then stood.

It is stepped through, jumped about in, or played at a pace. Nothing is written. The figures of a
reading are those that were recorded; the chances are worked out again from the knowledge that the
session was recorded with.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from textual.app import ComposeResult
from textual.containers import Vertical, VerticalScroll
from textual.content import Content

from faulttree.screen import actions, text
from faulttree.screen.boxes import WriteBox
from faulttree.screen.lists import PickList, Row
from faulttree.screen.page import Head, KeyLine, Page, Words

if TYPE_CHECKING:
    from textual.timer import Timer

    from faulttree.screen.work import Advised, Reckoned, Reckoner, Work
    from faulttree.session.events import Envelope
    from faulttree.session.state import State


PACES = (1.0, 2.0, 4.0, 8.0, 15.0, 30.0)
"""For how many seconds an entry stays while the session is played."""
USUAL_PACE = 4.0
LOOK_AGAIN = 0.1
"""After how many seconds to look again whether the chances of an entry are there."""

JUMP = (
    "An entry's number; repair, complaint, reading, note or close for the next of them; or a word "
    "of a test's name for its next reading. After the last entry it begins at the first again."
)


def side_by_side(facts: list[str], cells: int) -> list[str]:
    """Short facts in as few lines as they fit into, in their order; a long one has its own."""
    rows: list[str] = []
    room_left = False
    for fact in facts:
        if room_left and text.width(f"{rows[-1]}   {fact}") <= cells:
            rows[-1] += f"   {fact}"
            continue
        wrapped = text.wrap(fact, cells)
        rows += wrapped
        room_left = len(wrapped) == 1
    return rows


class JumpBox(WriteBox):
    """Where to jump to."""

    def enter_does(self) -> str:
        return "Go there"


class ReplayPage(Page[None]):
    """Step forward and back through a session, jump in it, or let it play."""

    PAGE = "replay"
    BINDINGS = actions.bindings("replay")

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.VERTICAL_BREAKPOINTS = [(0, "-short"), (36, "-tall")]
        self.path = path
        self.work: Work | None = None
        self.steps: list[tuple[Envelope, State]] = []
        self.reckoner: Reckoner | None = None
        self.reckoned: dict[int, Reckoned] = {}
        self.at = 0
        self.damage = ""
        self.pace = USUAL_PACE
        self.playing = False
        self.wanted = ""
        self._timer: Timer | None = None
        self._played = 0

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
        self._say_pace()
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
            at = int(event.id) - 1
            # Whoever moves about while it plays wants to look for himself.
            if self.playing and at != self._played:
                self._stop()
            self.at = at
            self._show()

    def _go(self, at: int) -> None:
        if self.steps:
            self.query_one(PickList).highlighted = max(0, min(at, len(self.steps) - 1))

    def action_next(self) -> None:
        self._stop()
        self._go(self.at + 1)

    def action_previous(self) -> None:
        self._stop()
        self._go(self.at - 1)

    def action_first(self) -> None:
        self._stop()
        self._go(0)

    def action_last(self) -> None:
        self._stop()
        self._go(len(self.steps) - 1)

    # --- playing ---------------------------------------------------------------------------------

    def action_play(self) -> None:
        """Begin to play, from the first entry when the last one is shown; or stop."""
        if self.playing:
            self._stop()
        elif self.steps:
            self.playing = True
            self._played = self.at if self.at + 1 < len(self.steps) else 0
            self._go(self._played)
            self._wait(self.pace)
            self._say_pace()

    def action_pace(self, step: int) -> None:
        """Stay longer or shorter at each entry."""
        at = PACES.index(self.pace) if self.pace in PACES else 0
        self.pace = PACES[max(0, min(at + step, len(PACES) - 1))]
        if self.playing:
            self._wait(self.pace)
        self._say_pace()

    def _wait(self, seconds: float) -> None:
        if self._timer is not None:
            self._timer.stop()
        self._timer = self.set_timer(seconds, self._play_on)

    def _play_on(self) -> None:
        """The next entry, once the chances of this one were there to be seen."""
        if not self.playing:
            return
        if self.at not in self.reckoned:
            self._wait(LOOK_AGAIN)
        elif self.at + 1 == len(self.steps):
            self._stop()
            self.say("That was the last entry.")
        else:
            self._played = self.at + 1
            self._go(self._played)
            self._wait(self.pace)

    def _stop(self) -> None:
        if self.playing:
            self.playing = False
            if self._timer is not None:
                self._timer.stop()
            self._say_pace()

    def _say_pace(self) -> None:
        """Say at the head whether it plays, and how fast."""
        title = self.work.title if self.work is not None else self.path.name
        status = f"{len(self.steps)} entries"
        if self.playing:
            status = f"playing, {self.pace:g} s an entry"
        elif self.pace != USUAL_PACE:
            status += f", pace {self.pace:g} s"
        self.head(f"Replay: {title}", status)
        self.refresh_bindings()

    def on_screen_suspend(self) -> None:
        # What lies over the page is read in peace.
        self._stop()

    def name_of(self, action: actions.Action) -> str:
        if action.id == "replay.play" and self.playing:
            return "Stop"
        return action.name

    # --- jumping ---------------------------------------------------------------------------------

    def action_jump(self) -> None:
        """Ask where to, and go there."""
        if not self.steps:
            return
        self._stop()
        box = JumpBox("Jump to", text.line(JUMP), self.wanted, "12, repair, complaint, vacuum...")
        self.app.push_screen(box, lambda wanted: self.action_jump_to(wanted) if wanted else None)

    def action_jump_to(self, wanted: str) -> None:
        """Go to the next entry that is meant."""
        from faulttree.screen.past import jump

        if self.work is None or not self.steps:
            return
        self._stop()
        if wanted not in {"repair", "complaint"}:
            self.wanted = wanted
        envelopes = [envelope for envelope, _ in self.steps]
        found = jump(envelopes, self.at, wanted, self.work.knowledge)
        if found is None:
            self.say(f"{wanted}: no entry answers that.", severity="warning", title="Jump")
            return
        if found.round:
            self.say("From the first entry again.", title="Jump")
        self._go(found.at)

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

    def _show_why(self, page: Page[bool]) -> None:
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
            from faulttree.screen.past import reckon_entry

            found = reckon_entry(reckoner, knowledge, state, before)
            self.app.call_from_thread(self._reckoned, at, found)

        self.run_worker(reckon, thread=True, group="replay", exclusive=True)

    def _reckoned(self, at: int, reckoned: Reckoned) -> None:
        self.reckoned[at] = reckoned
        if at == self.at:
            self.query_one("#replay-words", Words).update(self._words())

    def _words(self) -> Content:
        from faulttree.screen.cards import cause_rows, doubts, moves_words
        from faulttree.screen.past import changed_little, entry_facts
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
        facts = entry_facts(envelope.event, self.work.knowledge)
        rows += [text.line(row) for row in side_by_side(facts, cells)]
        reckoned = self.reckoned.get(self.at)
        rows.append(Content(""))
        if reckoned is None:
            rows.append(text.line(("Working the chances out...", "$text-muted")))
            return text.stack(rows)
        if not self.steps[self.at][1].complaints:
            # A session begins so: there is nothing wrong with it, and nothing to warn of.
            rows.append(text.line(("No complaint has been taken yet.", "$text-muted")))
            return text.stack(rows)
        if reckoned.causes:
            moved = moves_words(reckoned, 3, cells)
            before = self.steps[self.at - 1][1] if self.at else None
            rows += [text.line(row) for row in moved or changed_little(envelope.event, before)]
        no_advice: Advised | None = None
        rows += doubts(reckoned, no_advice)
        rows += cause_rows(reckoned, 5 if self.size.height < 30 else 9, cells)
        return text.stack(rows)
