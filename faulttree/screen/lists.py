"""A list to choose from: arrows or digits move, Enter or a click takes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from textual import events
from textual.content import Content
from textual.message import Message
from textual.widgets import Input, OptionList
from textual.widgets.option_list import Option

from faulttree.screen import text


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a list. A row without an id is a heading and cannot be chosen."""

    id: str
    content: Content


def heading(words: str) -> Row:
    """A row that only says what follows."""
    return Row("", text.line((words, "bold $text-muted")))


class PickList(OptionList):
    """A list whose first nine rows can be chosen by digit.

    With `at_once` a digit takes the row at once; otherwise it only moves there. With `numbered` the
    digits stand before the rows. Without `pages` PgUp and PgDn scroll the page's text instead.
    """

    class Picked(Message):
        """A row was taken."""

        def __init__(self, pick_list: PickList, id: str) -> None:
            super().__init__()
            self.pick_list = pick_list
            self.id = id

        @property
        def control(self) -> PickList:
            return self.pick_list

    class Unpicked(Message):
        """Enter was pressed while no row was highlighted."""

    class Moved(Message):
        """Another row is highlighted."""

        def __init__(self, pick_list: PickList, id: str) -> None:
            super().__init__()
            self.pick_list = pick_list
            self.id = id

        @property
        def control(self) -> PickList:
            return self.pick_list

    def __init__(
        self,
        rows: Sequence[Row] = (),
        *,
        at_once: bool = False,
        numbered: bool = True,
        pages: bool = True,
        **keywords: Any,
    ) -> None:
        self.at_once = at_once
        self.numbered = numbered
        self.pages = pages
        self._rows: list[Row] = []
        super().__init__(markup=False, compact=True, **keywords)
        self.show_rows(rows)

    @property
    def chosen(self) -> str:
        """The id of the highlighted row, "" when there is none."""
        option = self.highlighted_option
        return (option.id or "") if option is not None else ""

    def show_rows(self, rows: Sequence[Row], keep: str | None = None) -> None:
        """Show other rows; the highlight goes to the row `keep`, or stays on its id if it can."""
        wanted = self.chosen if keep is None else keep
        self._rows = list(rows)
        self.clear_options()
        number = 0
        made = []
        for row in rows:
            if not row.id:
                made.append(Option(row.content, disabled=True))
                continue
            number += 1
            sign = f"{number} " if number <= 9 else "  "
            mark = text.line((sign, "bold")) if self.numbered else Content("")
            made.append(Option(mark + text.without_colours(row.content), id=row.id))
        self.add_options(made)
        ids = [row.id for row in rows]
        if wanted and wanted in ids:
            self.highlighted = ids.index(wanted)
        else:
            self.highlighted = next((at for at, id in enumerate(ids) if id), None)

    def has_number(self, number: int) -> bool:
        """Whether a row has that number."""
        return 1 <= number <= sum(1 for row in self._rows if row.id)

    def pick_number(self, number: int) -> None:
        """What a digit does: go to that row, and take it if that is how the list works."""
        if not self.has_number(number):
            return
        ids = [row.id for row in self._rows if row.id]
        self.highlighted = [row.id for row in self._rows].index(ids[number - 1])
        if self.at_once:
            self.action_select()

    def on_key(self, event: events.Key) -> None:
        if event.key.isdigit() and event.key != "0":
            event.stop()
            event.prevent_default()
            self.pick_number(int(event.key))

    def action_select(self) -> None:
        if self.highlighted is None:
            self.post_message(self.Unpicked())
        super().action_select()

    def action_page_up(self) -> None:
        self._page(-1)

    def action_page_down(self) -> None:
        self._page(1)

    def _page(self, direction: int) -> None:
        if not self.pages:
            self.call_later(self.run_action, f"screen.scroll_text({direction})")
        elif direction < 0:
            super().action_page_up()  # type: ignore[no-untyped-call]
        else:
            super().action_page_down()  # type: ignore[no-untyped-call]

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        event.stop()
        self.post_message(self.Picked(self, event.option_id or ""))

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        event.stop()
        self.post_message(self.Moved(self, event.option_id or ""))


class Search(Input):
    """A line to search by, over a list: letters go here, arrows, digits and Tab go to the list."""

    class Steered(Message):
        """A key for the list."""

        def __init__(self, search: Search, key: str) -> None:
            super().__init__()
            self.search, self.key = search, key

        @property
        def control(self) -> Search:
            return self.search

    def __init__(self, hint: str) -> None:
        super().__init__(placeholder=text.clean(hint), compact=True, max_length=80)

    def on_key(self, event: events.Key) -> None:
        if event.key in {"up", "down", "pageup", "pagedown", "tab"} or (
            event.key.isdigit() and event.key != "0"
        ):
            event.stop()
            event.prevent_default()
            self.post_message(self.Steered(self, event.key))


def steer(pick_list: PickList, key: str) -> None:
    """Move in a list by a key that was typed elsewhere; digits and Tab are left to the page."""
    match key:
        case "up":
            pick_list.action_cursor_up()
        case "down":
            pick_list.action_cursor_down()
        case "pageup":
            pick_list.action_page_up()
        case "pagedown":
            pick_list.action_page_down()
