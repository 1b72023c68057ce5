"""The report of a session on the screen, and written beside its log as Markdown."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from textual.app import ComposeResult
from textual.containers import VerticalScroll
from textual.content import Content

from faulttree.handover.blocks import Block, Facts, Heading, Paragraph, Table
from faulttree.screen import actions, text
from faulttree.screen.page import Head, KeyLine, Page, Words
from faulttree.screen.work import Work


class ReportPage(Page[None]):
    """What was found, with the evidence, for whoever goes on with the car."""

    PAGE = "report"
    BINDINGS = actions.bindings("report")
    PAGED = True

    def __init__(self, work: Work) -> None:
        super().__init__()
        self.work = work
        self.blocks: list[Block] = []

    def compose(self) -> ComposeResult:
        yield Head()
        with VerticalScroll(id="report"):
            yield Words(text.line(("Writing the report...", "$text-muted")), id="report-words")
        yield KeyLine()

    def ready(self) -> None:
        self.head("Report", self.work.title)
        self.query_one("#report").focus()
        state, knowledge = self.work.state, self.work.knowledge

        def write() -> None:
            # The report works the chances out again for every reading.
            from faulttree.handover.report import report

            self.app.call_from_thread(self._written, report(state, knowledge))

        self.run_worker(write, thread=True)

    def _written(self, blocks: list[Block]) -> None:
        if not self.is_there:
            return
        self.blocks = blocks
        self.on_resize()
        self.refresh_bindings()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        return bool(self.blocks) if action == "write" else True

    def on_resize(self) -> None:
        if self.blocks:
            cells = max(30, self.size.width - 4)
            rows = [row for block in self.blocks for row in show_block(block, cells)]
            self.query_one("#report-words", Words).update(text.stack(rows))

    def action_write(self) -> None:
        from faulttree.handover.markdown import to_markdown

        path = self.target()
        if path is None:
            return
        try:
            path.write_text(to_markdown(self.blocks), encoding="utf-8")
        except OSError as trouble:
            self.say(f"{path}: {trouble.strerror}", severity="error", title="Not written")
            return
        self.say(f"Written: {path}", severity="warning", title="Report")

    def target(self) -> Path | None:
        """Where the report is written: beside the log, with its name."""
        return self.work.path.with_suffix(".md") if self.work.path is not None else None


def show_block(block: Block, cells: int) -> list[Content]:
    """A block of the report as rows of the screen."""
    match block:
        case Heading():
            style = "bold" if block.level > 1 else "bold underline"
            style += " strike" if block.struck else ""
            return [Content(""), text.line((block.text, style))]
        case Paragraph():
            return [text.paragraph((block.text, "bold" if block.important else ""))]
        case Facts():
            return [row for label, said in block.items for row in _fact(label, said, cells)]
        case Table():
            return _table(block, cells)
    return []


def _fact(label: str, said: str, cells: int) -> list[Content]:
    stop = "" if not label or label.rstrip().endswith("?") else ":"
    lead = f"{text.clean(label)}{stop} " if label else ""
    rows = text.wrap(f"{lead}{text.clean(said)}", cells - 4)
    first = text.line("  - ", (rows[0][: len(lead)], "bold"), rows[0][len(lead) :])
    return [first, *(text.line(f"    {row}") for row in rows[1:])]


def _table(table: Table, cells: int) -> list[Content]:
    """A table whose columns share the width by what stands in them."""
    lines = [tuple(table.head), *[tuple(row) for row in table.rows]]
    count = len(table.head)

    def widest(lines: Sequence[Sequence[str]]) -> list[int]:
        said = [[text.width(text.clean(cell)) for cell in line] for line in lines]
        return [
            max((line[at] for line in said if at < len(line)), default=1) for at in range(count)
        ]

    words = [cell.split() or [""] for cell in table.head]
    longest = [max(text.width(text.clean(word)) for word in head) for head in words]
    least = [max(pair) for pair in zip(longest, widest(lines[1:]), strict=True)]
    room = cells - 2 * (count - 1)
    widths = _share(widest(lines), least, room)
    rows: list[Content] = []
    for at, line in enumerate(lines):
        cut = [text.wrap(cell, widths[column]) for column, cell in enumerate(line)]
        for level in range(max(len(cell) for cell in cut)):
            parts = [
                text.left(cell[level] if level < len(cell) else "", widths[column])
                for column, cell in enumerate(cut)
            ]
            rows.append(text.line(("  ".join(parts), "bold" if at == 0 else "")))
    return rows


def _share(wanted: list[int], least: list[int], room: int) -> list[int]:
    """Widths for columns: what they want if it fits, else the wide ones give way first.

    Before all others that is a column which only its head makes wide, down to its `least`: heads
    may take two rows, so that the names beside figures stay in one.
    """
    widths = [max(1, want) for want in wanted]
    while sum(widths) > room and any(w > m for w, m in zip(widths, least, strict=True)):
        spare = [w - m for w, m in zip(widths, least, strict=True)]
        widths[spare.index(max(spare))] -= 1
    while sum(widths) > room and max(widths) > 6:
        widths[widths.index(max(widths))] -= 1
    return widths
