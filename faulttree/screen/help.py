"""The help of a page: its keys, from the table of actions, and how lists and fields work."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import Vertical, VerticalScroll
from textual.content import Content

from faulttree.screen import actions, text
from faulttree.screen.foot import Piece, digits_do
from faulttree.screen.page import Box, KeyLine, PageLike, Words

SEARCHED = frozenset({"complaint", "tests"})
"""Pages where letters search."""

BOX = 70
"""How many cells a line of the help has at 80 columns."""

ALWAYS = (
    ("arrows", "Move in a list, or scroll a text."),
    ("Enter", "Take what is typed or highlighted."),
)
DIGITS = ("digits", "To the row of that number in a list; some lists take it at once.")

ON_A_CARD = (
    ("digits", "Begin a reading, or choose a row of a list by its number."),
    ("arrows", "Move in a list, or between the fields of a reading."),
    ("Enter", "Take what is typed or highlighted."),
    ("Tab", "To the next field."),
    ("choices", "Their first letters go to them; Space first makes a letter a command."),
    ("paste", "A whole list pasted into the first field fills the table."),
)
"""What there is to know besides where a reading is entered."""

WORDS = (
    ("Route", "What the author of the tree does next. You may leave it at any time."),
    ("Advice", "What is worth most for its cost after everything read so far."),
    ("Chance", "How likely a cause is there now. Several can be; they need not add up to 100 %."),
    ("90 % sure", "Of a hundred such readings, taken so, 90 tell the truth."),
    ("In limits", "Where a healthy engine reads, and whose figure that is."),
    ("low 20 %, ...", "Behind a test: how likely it is to read so."),
    ("Showing", "Whether the driver's complaint could be felt or seen at that moment."),
    ("Base reading", "Must be right before the readings after it mean anything."),
)
"""What the words of a card mean."""


class HelpBox(Box[None]):
    """What every key does on the page behind."""

    def __init__(self, page: PageLike) -> None:
        super().__init__()
        self.page = page

    def foot(self) -> list[Piece]:
        return [piece for piece in super().foot() if piece[2] != "help"]

    def action_help(self) -> None:
        """The key that opened the help closes it, too."""
        self.dismiss(None)

    def compose(self) -> ComposeResult:
        with Vertical(classes="box"):
            yield Words(text.line(("What the keys do here", "bold")), classes="box-title")
            with VerticalScroll(classes="box-text"):
                yield Words(self.said())
            yield KeyLine()

    def said(self) -> Content:
        """The whole help as text."""
        keymap = self.host.keymap
        on_a_card = self.page.PAGE in {"walk", "reading"}
        lines = [_row(key, about) for key, about in (ON_A_CARD if on_a_card else self._keys())]
        lines.append(Content(""))
        for action in actions.actions_of(self.page.PAGE):
            keys = [actions.show_key(key) for key in actions.keys_of(action, keymap)]
            method = action.method.partition("(")[0]
            if not keys or self.page.check_action(method, ()) is False:
                continue
            lines.append(_row(" ".join(keys), action.about))
        lines.append(Content(""))
        if on_a_card:
            said = (
                "Letters do what stands here as long as nothing is typed in a reading's field; "
                "after a digit they belong to the unit."
            )
            lines.append(text.line((said, "$text-muted")))
        elif self.page.PAGE in SEARCHED:
            said = "Letters are typed into the search, and are no keys here."
            lines.append(text.line((said, "$text-muted")))
        if on_a_card:
            lines += [Content(""), text.line(("What the words mean", "bold"))]
            lines += [_row(word, about, 16) for word, about in WORDS]
        for problem in self.host.key_problems:
            lines.append(text.line(("Key file: ", "bold"), problem))
        return text.stack(lines)

    def _keys(self) -> list[tuple[str, str]]:
        """What digits, arrows, Enter and Tab do on a page without a field for a reading."""
        does = digits_do(self.page.foot())
        named = ("digits", f"{does}: the row of that number.") if does else DIGITS
        marks = [("Tab", "Mark the highlighted row, or take its mark away.")]
        return [named, *ALWAYS, *(marks if self.page.PAGE == "complaint" else [])]


def _row(keys: str, about: str, cells: int = 13) -> Content:
    """A key or word and what it does or means; further lines stand under the first."""
    first, *rest = text.wrap(about, BOX - cells - 1)
    rows = [text.line((text.left(keys, cells), "bold $text-primary"), f" {first}")]
    return text.stack([*rows, *(text.line(f"{' ' * cells} {row}") for row in rest)])
