"""The map: the route with the way marked, how the chances went, and every entry of the session."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual.app import ComposeResult
from textual.containers import VerticalScroll
from textual.content import Content

from faulttree.screen import actions, draw, text
from faulttree.screen.page import Head, KeyLine, Page, Words
from faulttree.screen.work import Advised, Reckoned, Work
from faulttree.session.words import say

if TYPE_CHECKING:
    from faulttree.tree.graph import RouteStep


class MapPage(Page[None]):
    """Where the session has been and where its route leads."""

    PAGE = "map"
    BINDINGS = actions.bindings("map")
    PAGED = True

    def __init__(
        self,
        work: Work,
        steps: dict[str, RouteStep],
        reckoned: Reckoned | None,
        advised: Advised | None,
    ) -> None:
        super().__init__()
        self.work, self.steps = work, steps
        self.reckoned, self.advised = reckoned, advised

    def compose(self) -> ComposeResult:
        yield Head()
        with VerticalScroll(id="map"):
            yield Words(id="map-words")
        yield KeyLine()

    def ready(self) -> None:
        self.head("Map: ● read on the way, ▶ next", self.work.title)
        self.on_resize()
        self.query_one("#map").focus()

    def on_resize(self) -> None:
        cells = max(40, self.size.width - 4)
        self.query_one("#map-words", Words).update(text.stack(self._rows(cells)))

    def _rows(self, cells: int) -> list[Content]:
        work, rows = self.work, []
        for tree, step in self.steps.items():
            name = work.knowledge.trees[tree].complaint
            rows.append(text.line(("The route: ", "bold"), (name, "bold")))
            rows += draw.draw_route(
                draw.route_lines(work.knowledge, work.knowledge.trees[tree], step, fits=work.fits),
                cells,
            )
            rows.append(Content(""))
        rows += self._plot(cells)
        rows.append(text.line(("All entries, the last first", "bold")))
        for envelope in reversed(work.state.history):
            gone = envelope.sequence in work.state.withdrawn
            lead = f"{envelope.sequence:3} {envelope.at.astimezone():%d %b %H:%M} "
            who = text.clip(envelope.who, 10)
            said = f"{say(envelope.event, work.knowledge)}{'  (taken back)' if gone else ''}"
            room = cells - text.width(lead) - text.width(who) - 2
            rows.append(
                text.line(
                    (lead, "$text-muted"),
                    (text.left(said, room), "$text-muted strike" if gone else ""),
                    (f" {who}", "$text-muted"),
                )
            )
        return rows

    def _plot(self, cells: int) -> list[Content]:
        if self.advised is None or self.advised.explanation is None or self.reckoned is None:
            return []
        way = self.advised.explanation
        if not way.steps:
            return []
        top = [cause for cause in self.reckoned.causes if not cause.repaired][:4]
        series = [
            (c.name, [way.start.get(c.id, 0.0), *(s.chances.get(c.id, 0.0) for s in way.steps)])
            for c in top
        ]
        legend = [text.line((f" {n} ", "bold"), cause.name) for n, cause in enumerate(top, 1)]
        return [
            text.line(("The chances of the likeliest causes, reading by reading", "bold")),
            *draw.plot(series, cells, 9),
            *legend,
            Content(""),
        ]
