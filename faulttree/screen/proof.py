"""The proof of a repair: the same tests and the same road test again, before beside after."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import VerticalScroll
from textual.content import Content

from faulttree.scorer.evidence import PRESENT
from faulttree.screen import actions, text
from faulttree.screen.boxes import AskBox
from faulttree.screen.lists import PickList, Row
from faulttree.screen.page import Head, KeyLine, Page, Words
from faulttree.screen.wording import figure_shown
from faulttree.screen.work import Work
from faulttree.session.events import ComplaintChecked, Event, Repaired
from faulttree.session.journal import JournalError
from faulttree.session.moves import NotAllowed, to_undo
from faulttree.session.proof import (
    Due,
    ProofRow,
    Side,
    before_beside_after,
    remaining,
    taken_when,
    to_repeat,
)
from faulttree.session.words import name_of

SIGNS = {
    "better": "✓ better",
    "same": "= same",
    "worse": "✗ worse",
    "changed": "~ changed",
    "not repeated": "· to do",
    "not read before": "  new",
}


class ProofPage(Page[None]):
    """What to repeat, what came of it, and how it ends."""

    PAGE = "proof"
    BINDINGS = actions.bindings("proof")
    DIGITS = "Choose at once"

    def __init__(self, work: Work) -> None:
        super().__init__()
        self.work = work

    def compose(self) -> ComposeResult:
        yield Head()
        yield Words(classes="intro")
        yield PickList(id="proof-list", at_once=True, pages=False)
        with VerticalScroll(id="proof-text", can_focus=False):
            yield Words(id="proof-words")
        yield KeyLine()

    def ready(self) -> None:
        self.show()
        self.query_one(PickList).focus()

    def enter_does(self) -> str:
        return "Choose"

    def numbered_rows(self) -> int:
        return self.query_one(PickList).option_count

    def on_screen_resume(self) -> None:
        if self.is_mounted:
            self.show()

    def on_resize(self) -> None:
        self.show()

    def show(self) -> None:
        """Show what is left to repeat and what came of what was."""
        state = self.work.state
        due = to_repeat(state, self.work.knowledge)
        left = [one for one in due if not one.done and not one.cannot]
        self.head(
            f"Proof after {state.stage} repair" + ("s" if state.stage != 1 else ""), self.work.title
        )
        still = [tree for tree in state.trees if state.status(tree) == PRESENT]
        if still:
            said = text.line(
                ("Not cured: the complaint is still there. ", "bold"),
                f"{self.shown_key('walk')}: look further on the walk.",
            )
        elif left:
            said = text.line(
                ("Repeat what was out before, and the road test. ", "bold"),
                f"{len(due) - len(left)} of {len(due)} done.",
            )
        else:
            said = text.line(("All is repeated. ", "bold"), "Close it, or go back to the walk.")
        self.query_one(".intro", Words).update(said)
        listed = self.query_one(PickList)
        chosen = listed.chosen
        rows = self._rows(due, self._out_before(due))
        first = f"{left[0].kind}:{left[0].id}" if left else "close"
        # What was just repeated stands where it stood; the cursor goes on to what is left.
        settled = {f"{one.kind}:{one.id}" for one in due if one not in left}
        stays = any(row.id == chosen for row in rows) and chosen not in settled
        listed.show_rows(rows, keep=chosen if stays else first)
        self.query_one("#proof-words", Words).update(self._words())

    def _out_before(self, due: tuple[Due, ...]) -> list[Row]:
        """What was out before the repair, though no proof asks for it: it can be read again too."""
        asked = {one.id for one in due}
        room = max(40, self.size.width - 6)
        return [
            Row(
                f"test:{row.id}",
                text.line(text.ends(row.name, "if you like: was out before", room)),
            )
            for row in before_beside_after(self.work.state, self.work.knowledge)
            if row.kind == "test" and row.after is None and row.id not in asked
        ]

    def _rows(self, due: tuple[Due, ...], more: list[Row]) -> list[Row]:
        """What is to be repeated, done or not, each with the number that it keeps."""
        room = max(40, self.size.width - 6)
        rows: list[Row] = []
        for one in due:
            tail = one.why.partition(":")[0]
            if one.done:
                tail = "done"
            elif one.cannot:
                tail = f"cannot: {one.cannot}"
            lead = "Is the complaint gone? " if one.kind == "complaint" else ""
            row = text.line(text.ends(lead + one.name, tail, room))
            rows.append(Row(f"{one.kind}:{one.id}", row))
        return [
            *rows,
            *more,
            Row("close", text.line("Close the session: what it was, and how it came out")),
            Row("walk", text.line("Back to the walk, with the chances as they are now")),
        ]

    def _words(self) -> Content:
        """Before beside after, and what is still to be done."""
        cells = max(50, self.size.width - 4)
        name_room = max(20, cells - 58)
        rows: list[Content] = [
            text.line(
                (text.left("Before beside after", name_room), "bold"),
                (text.left(" before", 24), "bold"),
                (text.left(" after", 24), "bold"),
            )
        ]
        cannot = self.work.state.cannot_do
        found = before_beside_after(self.work.state, self.work.knowledge)
        for row in found:
            undone = row.verdict == "not repeated" and row.id in cannot
            rows.append(
                text.line(
                    text.left(row.name, name_room),
                    f" {text.left(self._side(row, row.before), 23)}",
                    f" {text.left(self._side(row, row.after), 23)}",
                    (" · cannot" if undone else f" {SIGNS[row.verdict]}", "bold"),
                )
            )
        for said in self._between(found):
            rows += [text.line((line, "$text-muted")) for line in text.wrap(said, cells)]
        for cause in dict.fromkeys(fact.event.cause for fact in self.work.state.repairs):
            known = self.work.knowledge.causes.get(cause)
            if known is not None and known.set_up:
                rows.append(
                    text.paragraph(
                        (f"Set up after {name_of(cause, self.work.knowledge)}: ", "bold"),
                        known.set_up.strip(),
                    )
                )
        still = [
            line
            for line in remaining(self.work.state, self.work.knowledge)
            if not line.startswith(("Set up", "To be repeated"))
        ]
        if still:
            rows.append(text.line(("Still open", "bold")))
            rows += [text.line(f"- {line}") for line in still]
        return text.stack(rows)

    def _between(self, found: tuple[ProofRow, ...]) -> list[str]:
        """What was found neither before the first repair nor after the last, and when it was."""
        repairs, said = self.work.state.stage, []
        for row in found:
            sides = [(row.before, True), (row.between, False), (row.after, False)]
            for side, before in sides:
                when = taken_when(side, repairs, before=before) if side else ""
                if side and when:
                    since = ", not looked at since" if side is row.between else ""
                    said.append(f"{row.name}: {side.band} {when}{since}.")
        return said

    def _side(self, row: ProofRow, side: Side | None) -> str:
        if side is None:
            return "-"
        if side.group is None:
            return side.band
        test = self.work.knowledge.tests.get(row.id)
        good = "✓" if test is not None and side.band == test.expect else "✗"
        event = side.group.last.event
        return f"{good} {side.band} {figure_shown(event, test)}".rstrip()

    # --- doing it --------------------------------------------------------------------------------

    def on_pick_list_moved(self, event: PickList.Moved) -> None:
        event.stop()

    def on_pick_list_picked(self, event: PickList.Picked) -> None:
        kind, _, id = event.id.partition(":")
        if kind == "close":
            self.action_close()
        elif kind == "walk":
            self.action_walk()
        elif kind == "complaint":
            self._look_again(id)
        else:
            self._read_again(id)

    def _read_again(self, test: str) -> None:
        from faulttree.screen.reading import ReadingPage

        self.app.push_screen(ReadingPage(self.work, test), lambda _: self.show())

    def _look_again(self, tree: str) -> None:
        name = self.work.knowledge.trees[tree].complaint
        answers = [
            Row("gone", text.line("Gone: it did not show, driven as when it came in")),
            Row("present", text.line("Still there")),
        ]

        def answered(found: str | None) -> None:
            if found is not None:
                try:
                    self.work.do(ComplaintChecked(tree, "gone" if found == "gone" else "present"))
                except (NotAllowed, JournalError) as trouble:
                    self.say(trouble, severity="warning", title="Not recorded")
            self.show()

        said = text.stack(
            [
                text.line((name, "bold")),
                text.line("Drive it as it was driven when the complaint showed, hot or cold."),
            ]
        )
        self.app.push_screen(
            AskBox("Is the complaint gone?", said, answers, careful=True), answered
        )

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        return bool(to_undo(self.work.state)) if action == "undo" else True

    def action_undo(self) -> None:
        from faulttree.screen.undo import ask_undo

        def undone(event: Event) -> None:
            # Without its repair there is nothing to prove.
            if isinstance(event, Repaired):
                self.dismiss(None)
            else:
                self.show()

        ask_undo(self, self.work, undone)

    def action_walk(self) -> None:
        self.dismiss(None)

    def action_close(self) -> None:
        from faulttree.screen.closing import ClosePage

        def closed(done: bool | None) -> None:
            if done:
                self.dismiss(None)

        self.app.push_screen(ClosePage(self.work, None), closed)

    def action_handover(self) -> None:
        from faulttree.screen.report import ReportPage

        self.app.push_screen(ReportPage(self.work))
