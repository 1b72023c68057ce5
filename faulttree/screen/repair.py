"""Records a repair: which cause, its dangers, what was done. What follows is the proof."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import VerticalScroll
from textual.content import Content

from faulttree.scorer.network import NOT_LISTED
from faulttree.screen import actions, cards, draw, text
from faulttree.screen.boxes import WriteBox
from faulttree.screen.lists import PickList, Row, heading
from faulttree.screen.page import Head, KeyLine, Page, Words
from faulttree.screen.wording import percent
from faulttree.screen.work import Advised, Reckoned, Work
from faulttree.session.chances import advice_at
from faulttree.session.events import CautionAcknowledged, CautionAnswer, Repaired
from faulttree.session.journal import JournalError
from faulttree.session.moves import NotAllowed
from faulttree.session.standing import cautions_of
from faulttree.session.words import name_of
from faulttree.trade.units import ReadingError, parse_quantity


class RepairPage(Page[bool]):
    """From the cause to the recorded repair; gives True once it is recorded."""

    PAGE = "repair"
    BINDINGS = actions.bindings("repair")
    DIGITS = "Choose at once"

    def __init__(
        self,
        work: Work,
        reckoned: Reckoned | None,
        cause: str = "",
        advised: Advised | None = None,
    ) -> None:
        super().__init__()
        self.work, self.reckoned, self.cause, self.advised = work, reckoned, cause, advised
        self.picked_here = not cause

    def compose(self) -> ComposeResult:
        yield Head()
        yield Words(classes="intro")
        with VerticalScroll(id="repair-text", can_focus=False):
            yield Words(id="repair-words")
        yield PickList(id="repair-list", at_once=True, pages=False)
        yield KeyLine()

    def ready(self) -> None:
        self.head("Repair", self.work.title)
        self.show()

    def enter_does(self) -> str:
        return "Choose"

    def numbered_rows(self) -> int:
        listed = self.query_one(PickList)
        return listed.option_count if listed.numbered else 0

    def action_back(self) -> None:
        if self.cause and self.picked_here:
            self.cause = ""
            self.show()
        else:
            self.dismiss(False)

    def on_resize(self) -> None:
        if not self.cause:
            self.show()

    def show(self) -> None:
        """Show the step that comes next: the cause, its dangers, or the work."""
        listed = self.query_one(PickList)
        self.set_class(not self.cause, "-choosing")
        intro, words = self.query_one(".intro", Words), self.query_one("#repair-words", Words)
        if not self.cause:
            intro.update(text.line(("Which cause was put right? ", "bold"), "Likeliest first."))
            words.update(Content(""))
            listed.show_rows(self._causes())
            listed.focus()
            return
        intro.update(self._intro())
        cause = self.work.knowledge.causes.get(self.cause)
        still = list(self.work.cautions("cause", self.cause))
        stops = [caution for caution in still if caution.kind == "stop"]
        listed.numbered = listed.at_once = not still
        if still:
            # Whatever was typed ahead was not meant for a danger that nobody has read yet.
            self.host.ahead.drop()
        if stops:
            intro.update(self._intro(cards.CHOOSE_IT))
            words.update(
                text.stack(
                    [
                        text.line(("STOP - this is for trained practice", "bold $text-warning")),
                        cards.caution_text(stops[0]),
                    ]
                )
            )
            listed.show_rows(
                [
                    Row("does not apply", text.line("This car has nothing of the kind")),
                    Row("trained", text.line("Someone trained and licensed for it does this")),
                ],
                keep="",
            )
            listed.highlighted = None
        elif still:
            new = self.work.holds_new(still)
            intro.update(self._intro(cards.READ_IT if new else cards.AS_BEFORE))
            words.update(cards.cautions_text(still, self.work.dangers_read()))
            listed.show_rows([Row("understood", text.line("Read, and done as it says"))], keep="")
            listed.highlighted = None if new else 0
        else:
            words.update(self._work(self.cause))
            rows = []
            if cause is not None:
                rows.append(Row("done", text.line(("Done as it says", "bold"), ": record it")))
            rows += [
                Row("written", text.line("Done otherwise: write what was found and done")),
                Row("other", text.line("It was another cause")),
            ]
            listed.show_rows(rows)
            # A second Enter that was meant for the dangers must not say that the work is done.
            listed.highlighted = None
        listed.focus()

    def _intro(self, todo: str = "") -> Content:
        name = name_of(self.cause, self.work.knowledge)
        said = text.line(("Repair: ", "bold"), (name, "bold"))
        return text.stack([said, text.line((todo, "bold $text-primary"))]) if todo else said

    def _work(self, id: str) -> Content:
        cause = self.work.knowledge.causes.get(id)
        if cause is None:
            return text.line("A cause that the trees do not list. Write what was found and done.")
        rows = [cards.suspect_body(cause)]
        rows += [
            cards.caution_text(caution) for caution in cautions_of(self.work.knowledge, "cause", id)
        ]
        return text.stack(rows)

    def _causes(self) -> list[Row]:
        room = max(40, self.size.width - 6)
        rows: list[Row] = []
        listed: set[str] = set()
        for cause in self.reckoned.causes if self.reckoned else ():
            if cause.repaired or cause.id.startswith(NOT_LISTED):
                continue
            listed.add(cause.id)
            rows.append(
                Row(
                    cause.id,
                    text.line(
                        text.left(cause.name, room - 18),
                        " ",
                        (draw.bar(cause.chance, 9), "$text-primary"),
                        (text.right(percent(cause.chance), 7), "bold"),
                    ),
                )
            )
        rows.append(heading("Something else"))
        rows.append(Row(NOT_LISTED, text.line("A cause that is not listed")))
        gone = {fact.event.cause for fact in self.work.state.repairs}
        others = [c for c in self.work.knowledge.causes.values() if c.id not in listed | gone]
        if others:
            rows.append(
                heading(
                    "Causes that do not bring this complaint on by themselves"
                    if listed
                    else "Every cause; there are no chances to sort them by just now"
                )
            )
            rows += [Row(cause.id, text.line(text.clip(cause.name, room))) for cause in others]
        return rows

    def on_pick_list_moved(self, event: PickList.Moved) -> None:
        event.stop()

    def on_pick_list_unpicked(self, event: PickList.Unpicked) -> None:
        """Enter where nothing is chosen yet: the second one says that it was read, or done."""
        event.stop()
        still = self.work.cautions("cause", self.cause) if self.cause else ()
        if any(caution.kind == "stop" for caution in still):
            return
        self.query_one(PickList).highlighted = 0
        again = cards.ENTER_AGAIN if still else "Enter again: it is done, and as it says."
        self.query_one(".intro", Words).update(self._intro(again))

    def on_pick_list_picked(self, event: PickList.Picked) -> None:
        if not self.cause:
            self.cause = event.id
            self.show()
            return
        match event.id:
            case "understood" | "does not apply" | "trained" as answer:
                self._answer(answer)
            case "done":
                # What the card says is an instruction, and its minutes are an estimate: neither is
                # put into anybody's mouth.
                self._record("", None)
            case "written":
                self.app.push_screen(WriteBox("What was found and done?"), self._written)
            case "other":
                self.cause, self.picked_here = "", True
                self.show()

    def _answer(self, answer: CautionAnswer) -> None:
        still = list(self.work.cautions("cause", self.cause))
        stops = [caution for caution in still if caution.kind == "stop"]
        events = [
            CautionAcknowledged(caution.id, "cause", self.cause, answer)
            for caution in (stops[:1] or still)
        ]
        try:
            self.work.do(*events)
        except (NotAllowed, JournalError) as trouble:
            self.say(trouble, severity="warning")
        self.show()

    def _written(self, done: str | None) -> None:
        if not done:
            return

        def minutes(typed: str | None) -> None:
            value = None
            if typed:
                try:
                    value = parse_quantity(typed, "min").value_in_default
                except ReadingError as trouble:
                    self.say(trouble, severity="warning")
                    return
            self._record(done, value)

        said = text.line(("Enter alone leaves it open.", "$text-muted"))
        self.app.push_screen(WriteBox("How many minutes did it take?", said), minutes)

    def _record(self, done: str, minutes: float | None) -> None:
        advice = advice_at(self.advised.suggestions, self.cause) if self.advised else None
        try:
            self.work.do(Repaired(self.cause, done, minutes, advice))
        except (NotAllowed, JournalError) as trouble:
            self.say(trouble, severity="warning", title="Not recorded")
            return
        self.dismiss(True)
