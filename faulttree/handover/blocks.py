"""What a report is made of: headings, paragraphs, lists and tables of plain text.

Every text in a block is data; whoever writes the blocks out makes it harmless for the form that is
written. Control characters are taken out here already.
"""

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

_STEERING = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading of level 1 to 4."""

    level: int
    text: str
    struck: bool = False


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A paragraph of running text; `important` sets it off."""

    text: str
    important: bool = False


@dataclass(frozen=True, slots=True)
class Facts:
    """A list of items, each with a label or without (label "")."""

    items: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A table: the heads of its columns, and its rows."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


Block = Heading | Paragraph | Facts | Table


def plain_line(text: str) -> str:
    """The text in one line, without any character that steers a terminal or turns text about."""
    kept = (" " if c in "\n\r\t\v\f\u2028\u2029\u0085" else c for c in text)
    visible = "".join(c for c in kept if unicodedata.category(c) not in _STEERING)
    return " ".join(visible.split())


def facts(items: Sequence[tuple[str, str]]) -> Facts:
    """A list of items without those that say nothing."""
    return Facts(tuple((label, text) for label, text in items if text))
