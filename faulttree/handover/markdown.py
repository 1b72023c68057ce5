"""Blocks written out as Markdown, in the common dialect with tables and struck text.

Texts are data. Every character with which Markdown, its usual extensions or HTML do something is
written with a backslash or as an entity, so that a note like `# <b>[x](y)` stays those characters.
"""

import re
from collections.abc import Iterable

from faulttree.handover.blocks import Block, Facts, Heading, Paragraph, Table, plain_line

_SPECIAL = re.compile(r"([\\`*_{}\[\]#|~!$^=])")
_LINKED = re.compile(r"(?i)(https?|ftp|mailto|www)(?=[:.])")
_BLOCK_START = re.compile(r"^([-+]|\d+[.)](?=\s|$))")


def to_markdown(blocks: Iterable[Block]) -> str:
    """The blocks as one Markdown text, with a line end at its end."""
    return "\n\n".join(_block(block) for block in blocks) + "\n"


def escape(text: str) -> str:
    """A text that Markdown shows as it is, in one line."""
    text = plain_line(text).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    text = _SPECIAL.sub(r"\\\1", text)
    # Addresses are made into links by many readers without being asked.
    text = _LINKED.sub(lambda m: f"{m[1][:-1]}&#{ord(m[1][-1])};", text).replace("@", "&#64;")
    return _BLOCK_START.sub(lambda m: f"{m[1][:-1]}\\{m[1][-1]}", text)


def _block(block: Block) -> str:
    match block:
        case Heading():
            text = escape(block.text)
            return f"{'#' * block.level} {f'~~{text}~~' if block.struck else text}"
        case Paragraph():
            text = escape(block.text)
            return f"**{text}**" if block.important and text else text
        case Facts():
            return "\n".join(_item(label, text) for label, text in block.items)
        case Table():
            lines = [_row(block.head), _row(["---"] * len(block.head), escaped=True)]
            return "\n".join([*lines, *(_row(row) for row in block.rows)])


def _item(label: str, text: str) -> str:
    if not label:
        return f"- {escape(text)}"
    stop = "" if label.rstrip().endswith(("?", ".")) else ":"
    return f"- {escape(label)}{stop} {escape(text)}"


def _row(cells: Iterable[str], *, escaped: bool = False) -> str:
    return f"| {' | '.join(cell if escaped else escape(cell) for cell in cells)} |"
