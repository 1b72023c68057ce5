"""The trees of the shop: every complaint, what its tree draws on, and its route as a drawing."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import Vertical, VerticalScroll
from textual.content import Content

from faulttree.screen import actions, draw, text
from faulttree.screen.lists import PickList, Row
from faulttree.screen.page import Head, KeyLine, Page, Words
from faulttree.tree.model import Knowledge, Tree


class TreesPage(Page[None]):
    """Look at the trees; nothing can be changed here."""

    PAGE = "trees"
    BINDINGS = actions.bindings("trees")
    DIGITS = "Go to"
    PAGED = True

    def __init__(self) -> None:
        super().__init__()
        self.knowledge: Knowledge | None = None

    def compose(self) -> ComposeResult:
        yield Head()
        with Vertical(id="why-list"):
            yield PickList(pages=False)
        with VerticalScroll(id="why-text", can_focus=False):
            yield Words(text.line(("Loading the trees...", "$text-muted")), id="why-words")
        yield KeyLine()

    def ready(self) -> None:
        self.head("Trees", f"in {self.host.trees}")
        self.query_one(PickList).focus()
        self.host.load_trees((), self._loaded, self._failed)

    def _loaded(self, knowledge: Knowledge) -> None:
        if not self.is_there:
            return
        self.knowledge = knowledge
        rows = [
            Row(tree.id, text.line(text.clip(tree.complaint, 70)))
            for tree in knowledge.trees.values()
        ]
        self.query_one(PickList).show_rows(rows)

    def _failed(self, why: str) -> None:
        rows = [text.line(("The trees cannot be used as they are", "bold"))]
        rows += [text.line(row) for row in why.splitlines()]
        self.query_one("#why-words", Words).update(text.stack(rows))

    def on_resize(self) -> None:
        self._show(self.query_one(PickList).chosen)

    def on_pick_list_moved(self, event: PickList.Moved) -> None:
        event.stop()
        self._show(event.id)

    def on_pick_list_picked(self, event: PickList.Picked) -> None:
        self._show(event.id)

    def _show(self, id: str) -> None:
        if self.knowledge is None or id not in self.knowledge.trees:
            return
        tree = self.knowledge.trees[id]
        self.query_one("#why-words", Words).update(self._words(self.knowledge, tree))
        self.query_one("#why-text", VerticalScroll).scroll_home(animate=False)

    def _words(self, knowledge: Knowledge, tree: Tree) -> Content:
        cells = max(40, self.size.width - 4)
        lines = draw.route_lines(knowledge, tree)
        rows = [text.line((tree.complaint, "bold"))]
        if tree.about:
            rows.append(text.paragraph(tree.about.strip()))
        if tree.driver_says:
            said = ", ".join(f'"{phrase}"' for phrase in tree.driver_says)
            rows.append(text.line(("Drivers say: ", "bold"), said))
        road = [knowledge.tests[t].name for t in tree.road_test if t in knowledge.tests]
        rows.append(text.line(("Road test: ", "bold"), "; ".join(road)))
        rows.append(
            text.line(
                ("Draws on: ", "bold"),
                f"{len(tree.brings_on)} causes, {len(tree.route)} tests on its route",
            )
        )
        rows.append(Content(""))
        rows.append(text.line(("Its route", "bold")))
        rows += draw.draw_route(lines, cells)
        return text.stack(rows)
