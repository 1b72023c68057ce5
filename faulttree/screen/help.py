"""The help of a page: its keys, from the table of actions, and how lists and fields work."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import Vertical, VerticalScroll
from textual.content import Content

from faulttree.screen import actions, text
from faulttree.screen.page import Box, KeyLine, PageLike, Words

ALWAYS = (
    ("digits", "Begin a reading, or choose a row of a list by its number."),
    ("arrows", "Move in a list, or between the fields of a reading."),
    ("Enter", "Take what is typed or highlighted."),
    ("Tab", "To the next field."),
)


class HelpBox(Box[None]):
    """What every key does on the page behind."""

    def __init__(self, page: PageLike) -> None:
        super().__init__()
        self.page = page

    def compose(self) -> ComposeResult:
        with Vertical(classes="box"):
            yield Words(text.line(("What the keys do here", "bold")), classes="box-title")
            with VerticalScroll(classes="box-text"):
                yield Words(self.said())
            yield KeyLine()

    def said(self) -> Content:
        """The whole help as text."""
        keymap = self.host.keymap
        lines = [_row(key, about) for key, about in ALWAYS]
        lines.append(Content(""))
        for action in actions.actions_of(self.page.PAGE):
            keys = [actions.show_key(key) for key in actions.keys_of(action, keymap)]
            method = action.method.partition("(")[0]
            if not keys or self.page.check_action(method, ()) is False:
                continue
            lines.append(_row(" ".join(keys), action.about))
        lines.append(Content(""))
        lines.append(
            text.line(
                (
                    "Letters do what stands here as long as nothing is typed in a reading's field; "
                    "after a digit they belong to the unit.",
                    "$text-muted",
                )
            )
        )
        for problem in self.host.key_problems:
            lines.append(text.line(("Key file: ", "bold"), problem))
        return text.stack(lines)


def _row(keys: str, about: str) -> Content:
    return text.line((text.left(keys, 13), "bold $text-primary"), f" {about}")
