"""The list of all tests: any of them may be chosen, with what each is worth beside it."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.widgets import Input

from faulttree.screen import actions, text
from faulttree.screen.lists import PickList, Row, Search, heading, steer
from faulttree.screen.page import Head, KeyLine, Page, Words
from faulttree.screen.search import rank
from faulttree.screen.wording import minutes_words, reach_words
from faulttree.screen.work import Advised, Work
from faulttree.tree.model import Test


class TestsPage(Page[str]):
    """Choose any test; gives its id."""

    __test__ = False

    PAGE = "tests"
    BINDINGS = actions.bindings("tests")
    # Only there: a figure of a name may be meant for the search, and must take nothing.
    DIGITS = "Go to"

    def __init__(self, work: Work, advised: Advised | None) -> None:
        super().__init__()
        self.work = work
        suggestions = advised.suggestions if advised is not None else ()
        tests = [s for s in suggestions if s.kind == "test"]
        self.worth = {suggestion.id: at for at, suggestion in enumerate(tests, 1)}
        self.read = work.read_now()

    def compose(self) -> ComposeResult:
        yield Head()
        yield Words(
            text.line(("Which test? ", "bold"), "Type a word of it, or go down the list."),
            classes="intro",
        )
        yield Search("vacuum, plug, pressure...")
        yield PickList()
        yield Words(id="about", classes="foot-note")
        yield KeyLine()

    def ready(self) -> None:
        self.head("Choose a test", self.work.title)
        self.query_one(PickList).can_focus = False
        self.query_one(Search).focus()
        self.show()

    def enter_does(self) -> str:
        return "Take it"

    def on_pick_list_moved(self, event: PickList.Moved) -> None:
        event.stop()
        self._about(event.id)

    def _about(self, id: str) -> None:
        """The whole name of the highlighted test, and how the list is sorted."""
        test = self.work.knowledge.tests.get(id)
        rows = [text.line((test.name if test else "", "bold"))]
        order = "Not done yet come first, those worth most for their cost on top."
        self.query_one("#about", Words).update(
            text.stack([*rows, text.line((order, "$text-muted"))])
        )

    def on_resize(self) -> None:
        self.show()

    def show(self) -> None:
        """Show the tests that answer what is typed."""
        query = self.query_one(Search).value
        known = self.work.knowledge.tests.values()
        answers = {test.id: rank(query, (test.name, test.id)) for test in known}
        found = [test for test in known if answers[test.id] > 0]
        fitting = [test for test in found if self.work.fits(test)]
        open_ones = [test for test in fitting if test.id not in self.read]
        open_ones.sort(key=lambda test: self.worth.get(test.id, len(self.worth) + 1))
        # What answers the typed words best stands first; of those alike, what is worth most.
        open_ones.sort(key=lambda test: -answers[test.id])
        done = [test for test in fitting if test.id in self.read]
        others = [test for test in found if not self.work.fits(test)]
        rows = [self._row(test) for test in open_ones]
        if done:
            rows.append(heading("Read already; taking one again counts as a repeat"))
            rows += [self._row(test) for test in done]
        if others:
            rows.append(heading("Not for this car as it is described"))
            rows += [Row("", text.line(f"    {test.name}")) for test in others]
        if not found:
            rows = [heading("No test answers that.")]
        # The best answer is under the cursor even where it was read already.
        best = max([*open_ones, *done], key=lambda test: answers[test.id], default=None)
        self.query_one(PickList).show_rows(rows, keep=best.id if best is not None else "")
        self._about(best.id if best is not None else "")

    def _row(self, test: Test) -> Row:
        room = max(40, self.size.width - 8)
        cannot = self.work.state.cannot_do.get(test.id)
        if cannot is not None:
            tail = f"cannot: {text.clip(cannot.event.reason, 24)}"
        elif test.id in self.read:
            good = self.read[test.id] == test.expect
            tail = f"{'✓' if good else '✗'} {text.clip(self.read[test.id], 22)}"
        else:
            tail = f"{reach_words(test.reach)}, {minutes_words(test.minutes)}"
            if self.worth.get(test.id) == 1:
                tail = f"worth most, {tail}"
        return Row(test.id, text.line(text.ends(test.name, tail, room)))

    def on_input_changed(self, event: Input.Changed) -> None:
        event.stop()
        self.show()

    def on_search_steered(self, event: Search.Steered) -> None:
        listed = self.query_one(PickList)
        if event.key.isdigit():
            listed.pick_number(int(event.key))
        else:
            steer(listed, event.key)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        event.stop()
        chosen = self.query_one(PickList).chosen
        if chosen:
            self.dismiss(chosen)

    def on_pick_list_picked(self, event: PickList.Picked) -> None:
        self.dismiss(event.id)
