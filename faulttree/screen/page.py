"""What every page has: a head line, its body, and the line of keys at the foot.

A page names itself in `PAGE`; its bindings, its keys at the foot and its help come from the table
in `actions`. Boxes that lie over a page share all of that. The app behind them is reached through
`Host`, so that pages need not import it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, ClassVar, TypeVar, cast

from textual import events
from textual.binding import BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.reactive import reactive
from textual.screen import ModalScreen, Screen
from textual.visual import VisualType
from textual.widgets import Static

from faulttree.screen import actions, text
from faulttree.screen.foot import MOST_DIGITS, Piece, with_digits, with_paging
from faulttree.screen.lists import ChoiceList

if TYPE_CHECKING:
    from faulttree.screen.app import FaulttreeApp

Result = TypeVar("Result")


class Words(Static):
    """Text that has passed the gate, and that runs our own actions where it is clicked."""

    def __init__(self, content: Content | None = None, **keywords: Any) -> None:
        super().__init__(content or Content(""), markup=False, **keywords)

    def update(self, content: VisualType = "", *, layout: bool = True) -> None:
        """Show other text. A page is laid out anew only where the text may need other room.

        Laying a page out costs more than all else that a key press does.
        """
        shown = self.content
        if isinstance(shown, Content) and isinstance(content, Content):
            if content.plain == shown.plain:
                if content.spans == shown.spans:
                    return
                layout = False
            elif layout and self._fits_alike(shown.plain, content.plain):
                layout = False
        super().update(content, layout=layout)

    def _fits_alike(self, shown: str, wanted: str) -> bool:
        """Whether both texts take the same rows, because no row of either has to be broken."""
        width, room = self.styles.width, self.content_size.width
        if (width is not None and width.is_auto) or not room:
            return False
        before, after = shown.split("\n"), wanted.split("\n")
        return len(before) == len(after) and all(
            text.width(row) <= room for row in (*before, *after)
        )

    async def on_click(self, event: events.Click) -> None:
        does = event.style.meta.get("does")
        if does:
            event.stop()
            await self.run_action(does)


class Head(Words):
    """The line at the top: where one is, and what state things are in."""

    title: reactive[str] = reactive("", layout=False)
    status: reactive[str] = reactive("", layout=False)

    def render(self) -> Content:
        room = max(1, self.size.width)
        status = text.title(self.status, room // 2)
        # One space keeps the two apart.
        cells = room - text.width(status) - (1 if status else 0)
        title = text.left(text.title(self.title, cells), cells)
        return text.line((title, "bold"), " " if status else "", (status, "$text-muted"))


class KeyLine(Words):
    """The keys of the page, as many as fit; what matters least is dropped first."""

    def on_mount(self) -> None:
        self.screen.bindings_updated_signal.subscribe(self, lambda _: self.refresh())

    def render(self) -> Content:
        page = cast("PageLike", self.screen)
        shown = page.foot()
        room = self.size.width
        while len(shown) > 1 and sum(_room(*piece) for piece in shown) > room:
            least = max(range(len(shown)), key=lambda at: (shown[at][3], at))
            shown = [piece for at, piece in enumerate(shown) if at != least]
        pieces = []
        for key, name, method, _ in shown:
            piece = text.line((key, "bold $text-primary"), f" {name}  ")
            pieces.append(text.link(piece, f"screen.{method}") if method else piece)
        return Content("").join(pieces)


def _room(key: str, name: str, method: str, foot: int) -> int:
    return text.width(key) + text.width(name) + 3


class PageLike:
    """What pages and boxes share. Mixed into a Textual screen."""

    PAGE: ClassVar[str] = actions.EVERYWHERE
    DIGITS: ClassVar[str] = ""
    """What a digit does in the numbered list here, for the line of keys; "" to leave it out."""
    PAGED: ClassVar[bool] = False
    """Whether there is a text here that is mostly longer than its room."""

    if TYPE_CHECKING:
        app: Any
        query: Any
        dismiss: Any
        focused: Any
        check_action: Any
        is_mounted: Any
        is_attached: Any

    @property
    def is_there(self) -> bool:
        """Whether something can be shown here; a page that was left stays `is_mounted` for ever.

        Whatever comes from a worker, or after a refresh, may come too late.
        """
        return bool(self.is_mounted and self.is_attached)

    @property
    def host(self) -> FaulttreeApp:
        """The app, with what pages may ask of it."""
        return cast("FaulttreeApp", self.app)

    def enter_does(self) -> str:
        """What Enter does here, for the line of keys; "" to leave it out."""
        return ""

    def numbered_rows(self) -> int:
        """How many rows of the list here have a number."""
        return MOST_DIGITS

    def paged(self) -> bool:
        """Whether PgDn shows more of a text here, which the line of keys then says."""
        return self.PAGED

    def foot(self) -> list[Piece]:
        """The keys to show: key, name, method, and how soon it is dropped."""
        shown: list[Piece] = []
        if self.enter_does():
            shown.append(("Enter", self.enter_does(), "", 1))
        for action in actions.actions_of(self.PAGE):
            key = self._shown_key(action) if action.foot else ""
            if not key:
                continue
            method, _, _ = action.method.partition("(")
            if self.check_action(method, ()) is False:
                continue
            shown.append((key, self.name_of(action), action.method, action.foot))
        if self.DIGITS:
            shown = with_digits(shown, self.DIGITS, self.numbered_rows())
        return with_paging(shown) if self.paged() else shown

    def shown_key(self, method: str) -> str:
        """The key that does something here now, as it stands on the keyboard; "" without one."""
        for action in actions.actions_of(self.PAGE):
            if action.method == method:
                return self._shown_key(action)
        return ""

    def _shown_key(self, action: actions.Action) -> str:
        """The first key of an action that is not typed into what has the cursor."""
        keys = actions.keys_of(action, self.host.keymap)
        free = next((key for key in keys if not self._is_text(key)), "")
        if free or not keys or not isinstance(self.focused, ChoiceList):
            return actions.show_key(free) if free else ""
        return f"Space {actions.show_key(keys[0])}"

    def _is_text(self, key: str) -> bool:
        """Whether a key would be typed into the field that has the cursor."""
        focused = self.focused
        if focused is None:
            return False
        character = key if len(key) == 1 else {"question_mark": "?"}.get(key)
        if isinstance(focused, ChoiceList):
            # Whatever is being typed there, what stands at the foot stays as it is.
            return focused.is_choice_letter(key)
        return bool(focused.check_consume_key(key, character))

    def name_of(self, action: actions.Action) -> str:
        """How an action is called here; pages may say it more exactly."""
        return action.name

    def scrollable(self) -> VerticalScroll | None:
        """What PgUp and PgDn scroll."""
        found = self.query(VerticalScroll)
        return found.first() if found else None

    def action_scroll_text(self, direction: int) -> None:
        body = self.scrollable()
        if body is not None:
            step = max(1, body.size.height - 1)
            body.scroll_relative(y=direction * step, animate=False)

    def action_back(self) -> None:
        self.dismiss(None)

    def action_help(self) -> None:
        from faulttree.screen.help import HelpBox

        self.app.push_screen(HelpBox(self))

    def action_palette(self) -> None:
        self.app.action_command_palette()

    def action_colours(self) -> None:
        self.host.choose_colours()

    def action_leave(self) -> None:
        self.app.exit()

    def say(self, message: object, *, severity: Any = "information", title: str = "") -> None:
        """A short notice; what must be read stands on the page instead."""
        self.app.notify(
            text.clean(message, lines=True),
            title=text.clean(title),
            severity=severity,
            markup=False,
            timeout=8 if severity != "information" else 4,
        )


class Page(PageLike, Screen[Result]):
    """A page that fills the terminal."""

    BINDINGS: ClassVar[list[BindingType]] = actions.bindings(actions.EVERYWHERE)

    def head(self, title: str, status: str = "") -> None:
        """Say where one is."""
        head = self.query_one(Head)
        head.title, head.status = title, status

    def on_mount(self) -> None:
        self.ready()

    def ready(self) -> None:
        """What a page does once its widgets are there."""

    def on_key(self, event: events.Key) -> None:
        """A letter that does nothing is not lost in silence."""
        focused, letter = self.focused, event.character or ""
        typed = focused is not None and focused.check_consume_key(event.key, event.character)
        if event.is_printable and letter.isalpha() and not typed:
            self._say_of(event.key)

    def _say_of(self, key: str) -> None:
        """Say of a letter that it does nothing, or nothing now."""
        here = actions.actions_of(self.PAGE)
        known = next((a for a in here if key in actions.keys_of(a, self.host.keymap)), None)
        # A word typed where none is taken would else cover the page with one notice a letter.
        self.app.clear_notifications()
        if known is None:
            self.say(f"{key} is no key here; ? shows the keys.")
        elif self.check_action(known.method.partition("(")[0], ()) is False:
            self.say(f"{key} ({known.name}) does nothing just now; ? shows the keys.")


class Box(PageLike, ModalScreen[Result]):
    """A box over a page."""

    BINDINGS: ClassVar[list[BindingType]] = actions.bindings(actions.EVERYWHERE)


def rows(pieces: Sequence[Content]) -> Content:
    """Rows one under another; a shorthand for pages."""
    return text.stack(pieces)
