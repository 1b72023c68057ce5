"""A list to choose from: arrows or digits move, Enter or a click takes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from textual import events
from textual.content import Content
from textual.message import Message
from textual.widgets import Input, OptionList
from textual.widgets.option_list import Option

from faulttree.screen import text

HELP = "?"
"""What asks for help even where figures and names are typed, of which it is no part."""


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

    With `at_once` a digit takes the row at once; otherwise it only moves there. Without `numbered`
    digits are left to the page. Without `pages` PgUp and PgDn scroll the page's text instead.
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
        if self.numbered and event.key.isdigit() and event.key != "0":
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


class ChoiceList(PickList):
    """Choices that can be typed as well: a letter that one begins with goes to it, nothing more.

    Only Enter takes a choice, so nothing happens that was not meant. The next letters go on with
    the word, the same letter again goes to the next such choice. A letter that no choice begins
    with is left to the page, and so is any letter after Space, or once a digit or an arrow chose.
    """

    class Typed(Message):
        """Letters went to the choices, or did not; `words` says what to make of it."""

        def __init__(self, choices: ChoiceList, words: str) -> None:
            super().__init__()
            self.choices, self.words = choices, words

        @property
        def control(self) -> ChoiceList:
            return self.choices

    typed = ""
    led = False
    """Whether Space was pressed, so that the next letter is a key of the page."""
    passed = ""
    """The key that was left to the page because of it."""
    moved: Callable[[], None] | None = None
    """Called as soon as another row is highlighted, so that what it means is painted with it."""

    def watch_highlighted(self, highlighted: int | None) -> None:
        super().watch_highlighted(highlighted)
        if self.moved is not None and self.is_mounted:
            self.moved()

    @property
    def _settled(self) -> bool:
        """Whether a digit or an arrow chose; no letter may then put another in its place."""
        return self.highlighted is not None and not self.typed

    def is_choice_letter(self, letter: str) -> bool:
        """Whether a choice begins with this letter, so that a key of the page gives way to it."""
        if self._settled or len(letter) != 1 or not letter.isalpha():
            return False
        return bool(self._beginning_with(letter))

    def check_consume_key(self, key: str, character: str | None) -> bool:
        if self.led or character is None or key == self.passed:
            return False
        return bool(self.typed and character.isprintable()) or self.is_choice_letter(character)

    def forget_typed(self) -> None:
        """Forget what was typed; what is highlighted stays."""
        self.typed, self.led = "", False

    def on_key(self, event: events.Key) -> None:
        character = event.character or ""
        self.passed = ""
        if self.led:
            # Whatever it is, it is meant for the page, which looks for it once this is done.
            self.led, self.passed = False, event.key
            return
        if event.key == "space" and not self._beginning_with(f"{self.typed} "):
            self._stop(event)
            self.forget_typed()
            self.led = True
            self.post_message(self.Typed(self, "Space: now the letter of a command; ? shows them."))
        elif event.key == "backspace" and self.typed:
            self._stop(event)
            self.typed = self.typed[:-1]
            self._go(self.typed)
        elif event.is_printable and not character.isdigit() and self._takes(character):
            self._stop(event)
        elif event.key not in {"enter", "escape"}:
            # Digits and arrows are the list's own, and begin anew.
            self.forget_typed()

    def _takes(self, character: str) -> bool:
        """Take a letter as the next one of a choice; False when it is no business of the list."""
        if self._settled:
            return False
        wanted = self.typed + character
        if self._beginning_with(wanted):
            self.typed = wanted
            self._go(wanted)
        elif not self.typed:
            return False
        elif len(self.typed) == 1 and character.casefold() == self.typed.casefold():
            self._go(character, on=True)
        else:
            said = f"No choice begins with {wanted!r}. Space first: then a letter is a command."
            self.post_message(self.Typed(self, said))
        return True

    def _beginning_with(self, letters: str) -> list[str]:
        wanted = letters.casefold()
        return [row.id for row in self._rows if wanted and row.id.casefold().startswith(wanted)]

    def _go(self, letters: str, *, on: bool = False) -> None:
        """Go to the first choice with these letters, or `on` to the next one."""
        found = self._beginning_with(letters)
        if not found:
            return
        at = found.index(self.chosen) + 1 if on and self.chosen in found else 0
        id = found[at % len(found)]
        self.highlighted = [row.id for row in self._rows].index(id)
        self.post_message(self.Typed(self, f"{letters!r} goes to: {id}. Enter takes it."))

    def _stop(self, event: events.Key) -> None:
        event.stop()
        event.prevent_default()


class Search(Input):
    """A line to search by, over a list: letters go here, arrows, digits and Tab go to the list.

    A digit behind a space or another digit is part of a name: `vacuum 2500`.
    """

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

    def check_consume_key(self, key: str, character: str | None) -> bool:
        return character != HELP and super().check_consume_key(key, character)

    def on_key(self, event: events.Key) -> None:
        if event.character == HELP:
            # No part of any name: let it go on to the page.
            event.prevent_default()
        elif event.key in {"up", "down", "pageup", "pagedown", "tab"} or (
            event.key.isdigit() and event.key != "0" and not self._is_of_a_name()
        ):
            event.stop()
            event.prevent_default()
            self.post_message(self.Steered(self, event.key))

    def _is_of_a_name(self) -> bool:
        """Whether a digit goes on with what is searched for: behind a space or another digit."""
        before = self.value[: self.cursor_position]
        return before.endswith(" ") or before[-1:].isdigit()


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
