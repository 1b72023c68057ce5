"""Opens a session that is on the disk, in a worker thread, and says what stands in the way."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from faulttree.screen import text
from faulttree.screen.boxes import ReadBox

if TYPE_CHECKING:
    from faulttree.screen.app import FaulttreeApp
    from faulttree.screen.work import Work


def open_session(app: FaulttreeApp, path: Path, then: Callable[[Work], None]) -> None:
    """Open for writing, with the knowledge that the session was recorded with."""
    _in_thread(app, path, then, writing=True)


def read_session(app: FaulttreeApp, path: Path, then: Callable[[Work], None]) -> None:
    """Open to look at only."""
    _in_thread(app, path, then, writing=False)


def _in_thread(
    app: FaulttreeApp, path: Path, then: Callable[[Work], None], *, writing: bool
) -> None:
    def work() -> None:
        # The knowledge is built by code that costs more than a list of sessions may.
        from faulttree.screen.work import look_at, resume
        from faulttree.session.journal import JournalError, bring_in
        from faulttree.tree.places import SESSIONS, shipped
        from faulttree.tree.problem import TreeError

        try:
            here = path
            home, own = path.parent.resolve(), app.sessions.resolve()
            if writing and home == shipped(SESSIONS).resolve() != own:
                # The program's own demo is worked on in a copy.
                here = bring_in(path, app.sessions)
            opened = (resume if writing else look_at)(here, app.who)
        except (JournalError, TreeError, OSError) as trouble:
            app.call_from_thread(failed, str(trouble))
            return
        app.call_from_thread(show, opened)

    def show(opened: Work) -> None:
        app.ahead.release()
        app.busy("")
        then(opened)

    def failed(why: str) -> None:
        app.ahead.release()
        _say_why(app, why)

    app.busy("opening the session...")
    app.ahead.hold()
    app.run_worker(work, thread=True)


def _say_why(app: FaulttreeApp, why: str) -> None:
    app.busy("")
    rows = [text.line(row) for row in why.splitlines()]
    app.push_screen(ReadBox("The session cannot be opened", text.stack(rows)))
