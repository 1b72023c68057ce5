"""Closes a session: which causes were confirmed, how it came out, and what is left to be done."""

from __future__ import annotations

from typing import get_args

from textual.app import ComposeResult

from faulttree.scorer.network import NOT_LISTED
from faulttree.screen import actions, text
from faulttree.screen.boxes import AskBox, ReadBox, WriteBox
from faulttree.screen.lists import PickList, Row, heading
from faulttree.screen.page import Head, KeyLine, Page, Words
from faulttree.screen.wording import OUTCOMES, percent
from faulttree.screen.work import Reckoned, Work, helped_nothing
from faulttree.session.events import Closed, Outcome
from faulttree.session.journal import JournalError
from faulttree.session.moves import NotAllowed, refusal
from faulttree.session.words import name_of

LIKELY_SHOWN = 4


def _label(outcome: Outcome) -> str:
    return f"{outcome.capitalize()}: {OUTCOMES[outcome]}"


class ClosePage(Page[bool]):
    """Close the session; gives True once it is closed."""

    PAGE = "closing"
    BINDINGS = actions.bindings("closing")
    DIGITS = "Mark, or choose at once"

    def __init__(self, work: Work, reckoned: Reckoned | None) -> None:
        super().__init__()
        self.work = work
        repaired = dict.fromkeys(fact.event.cause for fact in work.state.repairs)
        self.confirmed = [cause for cause in repaired if not helped_nothing(work, cause)]
        self.helped_nothing = {cause for cause in repaired if cause not in self.confirmed}
        likely = [c for c in (reckoned.causes if reckoned else ()) if not c.repaired]
        self.offered = list(repaired) + [c.id for c in likely[:LIKELY_SHOWN]]
        if not any(id.startswith(NOT_LISTED) for id in self.offered):
            self.offered.append(NOT_LISTED)
        self.chances = {cause.id: cause.chance for cause in likely}
        self.left = ""

    def compose(self) -> ComposeResult:
        yield Head()
        yield Words(
            text.line(
                ("How did it come out? ", "bold"),
                "Mark the causes that were really found, then choose.",
            ),
            classes="intro",
        )
        yield PickList(at_once=True)
        yield Words(id="about", classes="foot-note")
        yield KeyLine()

    def ready(self) -> None:
        self.head("Close the session", self.work.title)
        self.show("")
        self.query_one(PickList).focus()

    def enter_does(self) -> str:
        return "Choose"

    def on_resize(self) -> None:
        self.show(None)

    def show(self, keep: str | None) -> None:
        """Show causes to confirm, outcomes, and what is left."""
        knowledge = self.work.knowledge
        rows = [heading("Confirmed causes: what was really found")]
        for cause in self.offered:
            mark = "[x]" if cause in self.confirmed else "[ ]"
            chance = f"  {percent(self.chances[cause])}" if cause in self.chances else "  repaired"
            if cause in self.helped_nothing:
                chance += ", no help"
            if cause.startswith(NOT_LISTED) and cause not in self.chances:
                chance = ""
            rows.append(
                Row(
                    f"cause:{cause}",
                    text.line(
                        (f"{mark} ", "bold"), name_of(cause, knowledge), (chance, "$text-muted")
                    ),
                )
            )
        rows.append(heading("Outcome: choosing one asks once more, then closes the session"))
        for outcome in get_args(Outcome):
            label = _label(outcome)
            why = refusal(self.work.state, self._ending(outcome), knowledge)
            rows.append(
                Row(
                    outcome,
                    text.line((label, "$text-muted" if why else ""), "  (not yet)" if why else ""),
                )
            )
        rows.append(heading("What is left to be done"))
        rows.append(Row("left", text.line(self.left or "nothing written yet; Enter writes it")))
        listed = self.query_one(PickList)
        listed.show_rows(rows, keep=listed.chosen if keep is None else keep)

    def _ending(self, outcome: Outcome) -> Closed:
        causes = tuple(self.confirmed) if outcome in {"cured", "not cured", "handed on"} else ()
        return Closed(outcome, causes, self.left)

    def on_pick_list_moved(self, event: PickList.Moved) -> None:
        event.stop()
        why = ""
        if event.id in OUTCOMES:
            closed = self._ending(event.id)
            why = refusal(self.work.state, closed, self.work.knowledge) or ""
        self.query_one("#about", Words).update(text.line((why, "bold")))

    def on_pick_list_picked(self, event: PickList.Picked) -> None:
        kind, _, cause = event.id.partition(":")
        if kind == "cause":
            if cause in self.confirmed:
                self.confirmed.remove(cause)
            else:
                self.confirmed.append(cause)
            self.show(event.id)
        elif kind == "left":

            def written(left: str | None) -> None:
                self.left = left or self.left
                self.show("left")

            self.app.push_screen(WriteBox("What is left to be done?", None, self.left), written)
        elif event.id in OUTCOMES:
            self._ask(event.id)

    def _ask(self, outcome: Outcome) -> None:
        """Closing ends the work, so it is asked once; what stands against it is said here."""
        closed = self._ending(outcome)
        why = refusal(self.work.state, closed, self.work.knowledge)
        if why:
            self.app.push_screen(ReadBox("Not yet", text.line(why)))
            return
        names = ", ".join(name_of(cause, self.work.knowledge) for cause in closed.causes)
        said = text.stack(
            [
                text.line((_label(outcome), "bold")),
                text.line(("Confirmed: ", "bold"), names or "nothing"),
            ]
        )
        answers = [
            Row("close", text.line(("Close the session", "bold"))),
            Row("keep", text.line("Keep it open")),
        ]

        def answered(answer: str | None) -> None:
            if answer == "close":
                self._end(outcome)

        self.app.push_screen(AskBox("Close the session?", said, answers), answered)

    def _end(self, outcome: Outcome) -> None:
        try:
            self.work.do(self._ending(outcome))
        except (NotAllowed, JournalError) as trouble:
            self.say(trouble, severity="warning", title="Not closed")
            return
        self.dismiss(True)
