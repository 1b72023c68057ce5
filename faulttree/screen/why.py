"""Why a cause stands where it does: the weight of every reading, in words and as a figure."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import Vertical, VerticalScroll
from textual.content import Content

from faulttree.screen import actions, draw, text
from faulttree.screen.lists import PickList, Row
from faulttree.screen.page import Head, KeyLine, Page, Words
from faulttree.screen.wording import chance_words, percent, weight_words
from faulttree.screen.work import Advised, Reckoned, Standing, Work
from faulttree.session.words import name_of


class WhyPage(Page[bool]):
    """Choose a cause and see its evidence; gives whether a repair was recorded from here."""

    PAGE = "why"
    BINDINGS = actions.bindings("why")
    DIGITS = "Go to"
    PAGED = True

    def __init__(self, work: Work, reckoned: Reckoned | None, advised: Advised | None) -> None:
        super().__init__()
        self.work, self.reckoned, self.advised = work, reckoned, advised
        self.causes = {cause.id: cause for cause in reckoned.causes} if reckoned else {}

    def compose(self) -> ComposeResult:
        yield Head()
        with Vertical(id="why-list"):
            yield PickList(pages=False)
        with VerticalScroll(id="why-text", can_focus=False):
            yield Words(id="why-words")
        yield KeyLine()

    def ready(self) -> None:
        self.head("Why", self.work.title)
        rows = [self._row(cause) for cause in self.causes.values()]
        listed = self.query_one(PickList)
        listed.show_rows(rows)
        listed.focus()
        if not rows:
            self.query_one("#why-words", Words).update(
                text.line("The chances are still being worked out: go back and come again.")
            )

    def on_resize(self) -> None:
        listed = self.query_one(PickList)
        listed.show_rows([self._row(cause) for cause in self.causes.values()])

    def _row(self, cause: Standing) -> Row:
        room = max(40, self.size.width - 6) - 40
        if cause.repaired:
            return Row(cause.id, text.line(text.left(cause.name, room), ("  repaired", "bold")))
        return Row(
            cause.id,
            text.line(
                text.left(cause.name, room),
                " ",
                (draw.bar(cause.chance, 10), "$text-primary"),
                (text.right(percent(cause.chance), 6), "bold"),
                f" {chance_words(cause.chance)}",
            ),
        )

    def on_pick_list_moved(self, event: PickList.Moved) -> None:
        event.stop()
        cause = self.causes.get(event.id)
        if cause is not None:
            self.query_one("#why-words", Words).update(self._evidence(cause))
            self.query_one("#why-text", VerticalScroll).scroll_home(animate=False)

    def on_pick_list_picked(self, event: PickList.Picked) -> None:
        self.action_fix()

    def enter_does(self) -> str:
        return ""

    def numbered_rows(self) -> int:
        return len(self.causes)

    def action_fix(self) -> None:
        chosen = self.query_one(PickList).chosen
        cause = self.causes.get(chosen)
        if cause is None or cause.repaired or not self._can_repair():
            return
        from faulttree.screen.repair import RepairPage

        # Over this page, so that going back leads here again.
        self.app.push_screen(
            RepairPage(self.work, self.reckoned, chosen, self.advised),
            lambda done: self.dismiss(True) if done else None,
        )

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        return self._can_repair() if action == "fix" else True

    def _can_repair(self) -> bool:
        """Whether a repair can be recorded: not in a session that is closed or only looked at."""
        return self.work.journal is not None and self.work.state.is_open

    def _evidence(self, cause: Standing) -> Content:
        """The evidence for one cause, reading by reading."""
        rows: list[Content] = [text.line((cause.name, "bold"))]
        known = self.work.knowledge.causes.get(cause.id)
        if known is not None and known.what:
            rows.append(text.paragraph((known.what.strip(), "$text-muted")))
        way = self.advised.explanation if self.advised is not None else None
        if way is None:
            rows.append(text.line("Still being worked out: go back and come again."))
            return text.stack(rows)
        cells = max(40, self.size.width - 4)
        name_room = max(16, cells - 52)
        start = way.start.get(cause.id, 0.0)
        rows.append(Content(""))
        rows.append(
            text.line(
                (text.left("Reading", name_room), "bold"),
                (text.left(" shows", 19), "bold"),
                (text.right("weight", 8), "bold"),
                (text.right("chance", 8), "bold"),
                ("  in words", "bold"),
            )
        )
        rows.append(
            text.line(
                text.left("With the complaint alone", name_room + 19 + 8),
                (text.right(percent(start), 8), "bold"),
            )
        )
        sources = self.advised.sources if self.advised is not None else {}
        stage = 0
        for step in way.steps:
            # What was read on the repaired car weighs otherwise than the same before.
            for fact in self.work.state.repairs[stage : step.stage]:
                name = name_of(fact.event.cause, self.work.knowledge)
                rows.append(text.line((text.clip(f"Repaired: {name}", cells), "bold")))
            stage = step.stage
            weight = step.decibans.get(cause.id, 0.0)
            name = sources.get(step.source, step.source)
            rows.append(
                text.line(
                    text.left(name, name_room),
                    f" {text.left(step.band, 18)}",
                    text.right(_signed(weight), 8),
                    (text.right(percent(step.chances.get(cause.id, 0.0)), 8), "bold"),
                    (f"  {weight_words(weight)}", "bold" if abs(weight) >= 5 else "$text-muted"),
                )
            )
        rows.append(
            text.line(
                (
                    "Weight: +3 doubles the odds that it is this, +10 makes them ten times as "
                    "good; minus does the opposite.",
                    "$text-muted",
                )
            )
        )
        return text.stack(rows)


def _signed(weight: float) -> str:
    """A weight with its sign; nothing at all has none."""
    return f"{weight:+.1f}" if abs(weight) >= 0.05 else "0.0"
