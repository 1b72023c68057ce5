"""Boxes over a page: a question with numbered answers, a line to write, something to read."""

from __future__ import annotations

from collections.abc import Sequence

from textual.app import ComposeResult
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.widgets import Input

from faulttree.screen import text
from faulttree.screen.foot import Piece
from faulttree.screen.lists import PickList, Row
from faulttree.screen.page import Box, KeyLine, Words


class AskBox(Box[str]):
    """A question with numbered answers; gives the id of the answer, or None for going back.

    A digit answers at once, which the foot says. Where an answer must not be given by accident,
    `careful` starts with nothing highlighted, so that Enter alone does nothing.
    """

    DIGITS = "Choose at once"

    def __init__(
        self, title: str, said: Content, answers: Sequence[Row], *, careful: bool = False
    ) -> None:
        super().__init__()
        self.box_title, self.said, self.answers = title, said, answers
        self.careful = careful

    def compose(self) -> ComposeResult:
        with Vertical(classes="box"):
            yield Words(text.line((self.box_title, "bold")), classes="box-title")
            if self.said.plain:
                with VerticalScroll(can_focus=False, classes="box-text"):
                    yield Words(self.said)
            yield PickList(self.answers, at_once=True)
            yield KeyLine()

    def on_mount(self) -> None:
        answers = self.query_one(PickList)
        if self.careful:
            answers.highlighted = None
            # Whatever was typed ahead was not meant for this question.
            self.host.ahead.drop()
        answers.focus()

    def enter_does(self) -> str:
        return "" if self.careful else "Choose"

    def numbered_rows(self) -> int:
        return len(self.answers)

    def on_pick_list_unpicked(self, event: PickList.Unpicked) -> None:
        """Enter where nothing is highlighted: say what to do instead."""
        event.stop()
        self.query_one(".box-title", Words).update(
            text.line((self.box_title, "bold"), ("  Press its digit.", "bold $text-primary"))
        )

    def on_pick_list_picked(self, event: PickList.Picked) -> None:
        self.dismiss(event.id)


class WriteBox(Box[str]):
    """A line to write; gives the text, or None for going back.

    Enter on an empty line goes back as well; where nothing is an answer too, `blank` gives "".
    """

    def __init__(
        self,
        title: str,
        said: Content | None = None,
        value: str = "",
        hint: str = "",
        *,
        blank: bool = False,
    ) -> None:
        super().__init__()
        self.box_title, self.said = title, said or Content("")
        self.value, self.hint, self.blank = value, hint, blank

    def compose(self) -> ComposeResult:
        with Vertical(classes="box"):
            yield Words(text.line((self.box_title, "bold")), classes="box-title")
            if self.said.plain:
                yield Words(self.said, classes="box-text")
            yield Input(self.value, placeholder=text.clean(self.hint), compact=True, max_length=500)
            yield KeyLine()

    def foot(self) -> list[Piece]:
        # Any character may be written here, so `?` is none of the keys; there is little to explain.
        return [piece for piece in super().foot() if piece[2] != "help"]

    def on_mount(self) -> None:
        self.query_one(Input).focus()

    def enter_does(self) -> str:
        return "Keep it"

    def on_input_submitted(self, event: Input.Submitted) -> None:
        written = event.value.strip()
        self.dismiss(written if written or self.blank else None)


class ReadBox(Box[None]):
    """Something to read, with nothing to decide."""

    def __init__(self, title: str, said: Content) -> None:
        super().__init__()
        self.box_title, self.said = title, said

    def compose(self) -> ComposeResult:
        with Vertical(classes="box"):
            yield Words(text.line((self.box_title, "bold")), classes="box-title")
            with VerticalScroll(classes="box-text"):
                yield Words(self.said)
            yield KeyLine()
