"""Home: start a session, go on with an open one, look at a finished one, or at the trees.

This is the first page that is painted, so it imports nothing but widgets; what sessions there are
is looked up by a worker thread after the first paint.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from textual.app import ComposeResult

from faulttree.screen import actions, text
from faulttree.screen.lists import PickList, Row, heading
from faulttree.screen.page import Head, KeyLine, Page, Words

if TYPE_CHECKING:
    from faulttree.session.journal import SessionCard

START = "start"
TREES = "trees"
FINISHED_SHOWN = 50


class HomePage(Page[None]):
    """Where the program starts."""

    PAGE = "home"
    BINDINGS = actions.bindings("home")

    def __init__(self) -> None:
        super().__init__()
        self.cards: dict[str, SessionCard] = {}
        self._looked = False

    def compose(self) -> ComposeResult:
        yield Head()
        yield Words(classes="intro")
        # Whatever a row opens can be left again with nothing done, so a digit opens it at once.
        yield PickList(_first_rows(), at_once=True)
        yield KeyLine()

    def ready(self) -> None:
        self.show_head()
        does = "Press Enter to start. Digits open a row."
        self.query_one(".intro", Words).update(
            text.line(("A car runs, but does not drive well? ", "bold"), does)
        )
        self.query_one(PickList).focus()
        # What is looked up must not hold the first paint back.
        self.call_after_refresh(self.look)

    def show_head(self) -> None:
        """Say what is being done, or where the sessions lie."""
        folder = self.host.sessions
        where = folder if folder.is_absolute() else f"./{folder}"
        self.head("faulttree", self.host.busy_words or f"sessions are kept in {where}")

    def enter_does(self) -> str:
        card = self.cards.get(self.query_one(PickList).chosen) if self.is_mounted else None
        if card is None:
            return "Open"
        return "Go on" if card.status == "open" else "Replay"

    # --- what is there ---------------------------------------------------------------------------

    def on_screen_resume(self) -> None:
        # Whatever lay over this page may have begun, closed or copied a session.
        if self._looked:
            self.look()

    def look(self) -> None:
        """Look which sessions there are, in a worker thread."""
        self.run_worker(self._look, thread=True, exclusive=True, group="look")

    def _look(self) -> None:
        # The session package reads JSON and knows the model; neither is needed for a first paint.
        from faulttree.session.journal import JournalError, list_sessions
        from faulttree.tree.places import SESSIONS, shipped

        try:
            folder = self.host.sessions
            # Whoever has no folder of sessions yet is shown the demo; going on with it copies it.
            cards = list_sessions(folder if folder.exists() else shipped(SESSIONS))
            trouble = ""
        except JournalError as error:
            cards, trouble = [], str(error)
        self.app.call_from_thread(self._show, cards, trouble)
        _warm_up()

    def _show(self, cards: list[SessionCard], trouble: str) -> None:
        if not self.is_there:
            return
        self.cards = {str(card.path): card for card in cards}
        rows = _first_rows()[:1]
        open_cards = [card for card in cards if card.status == "open"]
        others = [card for card in cards if card.status != "open"]
        if open_cards:
            rows.append(heading("Open sessions: go on where you stopped"))
            rows += [self._row(card) for card in open_cards]
        if others:
            rows.append(heading("Finished: step through again, read the report"))
            rows += [self._row(card) for card in others[:FINISHED_SHOWN]]
        if len(others) > FINISHED_SHOWN:
            rows.append(heading(f"  and {len(others) - FINISHED_SHOWN} older ones in the folder"))
        rows.append(heading("What the shop knows"))
        rows += _first_rows()[-1:]
        self._looked = True
        chosen = self.query_one(PickList).chosen
        self.query_one(PickList).show_rows(rows, keep=chosen)
        if trouble:
            self.say(trouble, severity="error", title="Sessions")
        self.refresh_bindings()

    def _row(self, card: SessionCard) -> Row:
        room = max(20, self.size.width - 6)
        when = f"{card.last_at.astimezone():%d %b %H:%M}" if card.last_at else ""
        if card.status == "damaged":
            tail = f"damaged  {when}"
        elif card.status == "closed":
            tail = f"{card.outcome}  {when}"
        else:
            tail = f"{card.entries} entries  {when}"
        title = text.title(card.title or card.id, room - text.width(tail) - 1)
        return Row(str(card.path), text.line(text.ends(title, tail, room)))

    def on_resize(self) -> None:
        if self._looked:
            self._show(list(self.cards.values()), "")

    # --- what can be done ------------------------------------------------------------------------

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        card = self._chosen_card()
        if action in {"replay", "exercise", "handover"}:
            return card is not None
        if action == "reopen":
            return card is not None and card.status == "closed"
        return action != "back"

    def on_pick_list_moved(self, event: PickList.Moved) -> None:
        self.refresh_bindings()

    def on_pick_list_picked(self, event: PickList.Picked) -> None:
        if event.id == START:
            self.action_start()
        elif event.id == TREES:
            self.action_trees()
        elif (card := self.cards.get(event.id)) is not None:
            if card.status == "open":
                self.host.resume(card.path)
            elif card.status == "damaged":
                self.say(card.trouble or "It cannot be read.", severity="warning", title=card.id)
                self.host.replay(card.path)
            else:
                self.host.replay(card.path)

    def action_start(self) -> None:
        self.host.start_intake()

    def action_replay(self) -> None:
        if (path := self._chosen_path()) is not None:
            self.host.replay(path)

    def action_exercise(self) -> None:
        if (path := self._chosen_path()) is not None:
            self.host.replay(path, exercise=True)

    def action_reopen(self) -> None:
        if (path := self._chosen_path()) is not None:
            self.host.reopen(path)

    def action_handover(self) -> None:
        if (path := self._chosen_path()) is not None:
            self.host.show_report(path)

    def action_trees(self) -> None:
        self.host.show_trees()

    def _chosen_card(self) -> SessionCard | None:
        if not self.is_mounted:
            return None
        return self.cards.get(self.query_one(PickList).chosen)

    def _chosen_path(self) -> Path | None:
        card = self._chosen_card()
        return card.path if card else None


def _first_rows() -> list[Row]:
    return [
        Row(START, text.line(("Start a session", "bold"), "  a car has come in")),
        Row(TREES, text.line("The trees", ("  every complaint and its route", "$text-muted"))),
    ]


def _warm_up() -> None:
    """Import what the next pages need while nobody waits for it."""
    import faulttree.scorer.advice
    import faulttree.scorer.explain
    import faulttree.screen.intake
    import faulttree.screen.walk
    import faulttree.tree.load
    import faulttree.tree.resolve  # noqa: F401
