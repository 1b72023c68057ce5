"""A report as sentences: tables become rows that name their columns, headings stand alone."""

from __future__ import annotations

from collections.abc import Sequence

from faulttree.handover.blocks import Block, Facts, Heading, Paragraph, Table
from faulttree.screen.plain.talk import aloud, sentence, title_aloud
from faulttree.session.events import Event, Opened, ReadingTaken
from faulttree.session.words import say
from faulttree.tree.model import Knowledge


def sentences(blocks: Sequence[Block]) -> list[str]:
    """The lines in which a report is read aloud, one fact a line."""
    said: list[str] = []
    for block in blocks:
        match block:
            case Heading():
                back = " (taken back)" if block.struck else ""
                # An empty line is a pause, and a place to look for on a terminal.
                text = title_aloud(block.text) if block.level == 1 else block.text
                said += ["", sentence(f"{text}{back}")]
            case Paragraph():
                said.append(sentence(f"{'Important: ' if block.important else ''}{block.text}"))
            case Facts():
                said += [sentence(_labelled(label, text)) for label, text in block.items]
            case Table():
                said += [_row(block.head, row) for row in block.rows]
    return said


def said_aloud(event: Event, knowledge: Knowledge) -> str:
    """An event in one line, as it is to be heard."""
    said = say(event, knowledge)
    if isinstance(event, ReadingTaken):
        return said.replace(f" = {event.band}", f", which is {event.band}", 1)
    return title_aloud(said) if isinstance(event, Opened) else said


def aloud_text(blocks: Sequence[Block]) -> str:
    """The whole report as text to be read aloud."""
    return "\n".join(aloud(line) for line in sentences(blocks)).strip("\n") + "\n"


def _labelled(label: str, text: str) -> str:
    """A fact under its label; a label that is a sentence of its own ends as one."""
    if not label:
        return text
    return f"{label} {text}" if label.rstrip().endswith((".", "!", "?")) else f"{label}: {text}"


def _row(head: Sequence[str], row: Sequence[str]) -> str:
    # Every cell is a part of one sentence, so that a cell's own stop would cut it short.
    cells = zip(head, (cell.rstrip(".") for cell in row), strict=True)
    return sentence("; ".join(f"{name}: {cell}" if name else cell for name, cell in cells if cell))
