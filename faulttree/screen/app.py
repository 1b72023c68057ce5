"""The app that holds the pages, and the four ways to start it.

`run_home`, `run_walk`, `run_resume` and `run_replay` are what the command line calls. The first
paint needs only this module, `home` and what they import: everything heavy (YAML, pydantic,
networkx, numpy, pint and the session) is loaded by a worker thread right after it.

Pages of their own plug in here by name: `replay.ReplayPage(path)`, `exercise.ExercisePage(path)`.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from textual import events
from textual.app import App, SystemCommand
from textual.screen import Screen

from faulttree.screen import actions, text, theme
from faulttree.screen.ahead import TypeAhead
from faulttree.screen.home import HomePage
from faulttree.screen.page import PageLike

if TYPE_CHECKING:
    from faulttree.screen.work import Work
    from faulttree.tree.model import Knowledge

Opening = Callable[["FaulttreeApp"], None]
"""What is opened over the home page at the start."""


class FaulttreeApp(App[int]):
    """The app: where trees and sessions lie, who works, which keys and colours are in use."""

    TITLE = "faulttree"
    CSS_PATH = "style.tcss"
    ENABLE_COMMAND_PALETTE = True
    # The palette is opened by our own action, so that its key stands in the one table.
    COMMAND_PALETTE_BINDING = "f20"
    BINDINGS: ClassVar[list[Any]] = []

    def __init__(
        self,
        trees: Path,
        sessions: Path,
        *,
        opening: Opening | None = None,
        who: str | None = None,
        keys: Path | None = None,
        colours: str | None = None,
    ) -> None:
        super().__init__()
        self.trees = trees
        self.sessions = sessions
        self.who = who or _login()
        self.keymap: dict[str, str] = {}
        self.key_problems: list[str] = []
        self.busy_words = ""
        self._opening = opening
        self._keyfile = keys
        self._shelf: dict[tuple[str, ...], Knowledge] = {}
        for one in theme.THEMES:
            self.register_theme(one)
        wanted = colours or os.environ.get("FAULTTREE_COLOURS", "")
        self.theme = wanted if wanted in theme.LABELS else theme.DARK
        # To leave the program nobody has to wait.
        leave = set(actions.keys_of(actions.BY_ID["everywhere.quit"], {}))
        self.ahead = TypeAhead(self, super().on_event, leave)

    def get_default_screen(self) -> Screen[Any]:
        return HomePage()

    def on_mount(self) -> None:
        self._use_keyfile()
        if self._opening is not None:
            self._opening(self)

    async def on_event(self, event: events.Event) -> None:
        """Keys go on one at a time, so that none falls into a page that is on its way out."""
        if isinstance(event, events.Key) and not event.is_forwarded:
            await self.ahead.take(event)
        else:
            await super().on_event(event)

    # --- keys and commands -----------------------------------------------------------------------

    def _use_keyfile(self) -> None:
        """Change keys as the key file says; without a file nothing is loaded."""
        from faulttree.screen.keyfile import default_keyfile, read_keyfile

        path = self._keyfile or default_keyfile()
        if self._keyfile is None and not path.is_file():
            return
        self.keymap, self.key_problems = read_keyfile(path)
        self.set_keymap(self.keymap)
        if self.key_problems:
            first = self.key_problems[0]
            more = f" (and {len(self.key_problems) - 1} more)" if len(self.key_problems) > 1 else ""
            self.notify(
                text.clean(f"{first}{more}. The keys that are in use: press ?"),
                title="Key file",
                severity="warning",
                markup=False,
                timeout=12,
            )

    def get_system_commands(self, screen: Screen[Any]) -> Iterable[SystemCommand]:
        if not isinstance(screen, PageLike):
            return
        for action in actions.actions_of(screen.PAGE):
            method, _, _ = action.method.partition("(")
            if method == "palette" or screen.check_action(method, ()) is False:
                continue
            keys = " ".join(actions.show_key(k) for k in actions.keys_of(action, self.keymap))
            about = f"{action.about} ({keys})" if keys else action.about
            yield SystemCommand(action.name, about, _runner(screen, action.method))

    def choose_colours(self) -> None:
        """Ask for the colours, and use them from now on."""
        from textual.content import Content

        from faulttree.screen.boxes import AskBox
        from faulttree.screen.lists import Row

        answers = [
            Row(name, text.line(label, " (now)" if name == self.theme else ""))
            for name, label in theme.LABELS.items()
        ]

        def use(name: str | None) -> None:
            if name:
                self.theme = name

        self.push_screen(AskBox("Colours", Content(""), answers), use)

    # --- what pages ask for ----------------------------------------------------------------------

    def load_trees(
        self,
        trees: Sequence[str],
        then: Callable[[Knowledge], None],
        failed: Callable[[str], None],
    ) -> None:
        """Load trees in a worker thread and hand what the shop knows to `then`, on this thread."""
        wanted = tuple(trees)
        if wanted in self._shelf:
            then(self._shelf[wanted])
            return

        def came(what: Knowledge) -> None:
            self.ahead.release()
            then(what)

        def went_wrong(why: str) -> None:
            self.ahead.release()
            failed(why)

        def work() -> None:
            # pydantic and the YAML reader are first needed here.
            from faulttree.tree.load import load, load_all
            from faulttree.tree.problem import TreeError

            try:
                if wanted:
                    knowledge = load(list(wanted), trees_dir=self.trees)
                else:
                    knowledge = load_all(self.trees)
            except (TreeError, OSError) as trouble:
                self.call_from_thread(went_wrong, str(trouble))
                return
            self._shelf[wanted] = knowledge
            self.call_from_thread(came, knowledge)

        self.ahead.hold()

        self.run_worker(work, thread=True, exit_on_error=True)

    def start_intake(self, trees: Sequence[str] = (), vehicle: str | None = None) -> None:
        """Take in a car; with a complaint and a vehicle given, only the last look is left."""
        from faulttree.screen.intake import start

        start(self, tuple(trees), vehicle)

    def resume(self, path: Path) -> None:
        """Go on with a session where it was left."""
        from faulttree.screen.opening import open_session

        open_session(self, path, self.go_on)

    def reopen(self, path: Path) -> None:
        """Take the closing of a session back, and go on with it."""
        from faulttree.screen.opening import open_session

        def opened(work: Work) -> None:
            from faulttree.session.moves import NotAllowed, Reopen

            try:
                work.do(Reopen())
            except NotAllowed as trouble:
                work.close()
                self.notify(text.clean(trouble), severity="warning", markup=False)
                return
            self.go_on(work)

        open_session(self, path, opened)

    def go_on(self, work: Work) -> None:
        """Show where a session stands: the walk, or the proof of a repair."""
        from faulttree.screen.walk import WalkPage

        self.push_screen(WalkPage(work), lambda _: self.refresh_home())

    def busy(self, words: str) -> None:
        """Say at the head of the page that something takes a moment; "" once it is done."""
        self.busy_words = words
        if isinstance(self.screen, HomePage) and self.screen.is_mounted:
            self.screen.show_head()

    def refresh_home(self) -> None:
        """Look again which sessions there are."""
        for screen in self.screen_stack:
            if isinstance(screen, HomePage):
                screen.look()

    def replay(self, path: Path, *, exercise: bool = False) -> None:
        """Step through a past session, or walk it as an exercise."""
        if exercise:
            from faulttree.screen.exercise import ExercisePage

            self.push_screen(ExercisePage(path))
        else:
            from faulttree.screen.replay import ReplayPage

            self.push_screen(ReplayPage(path))

    def show_report(self, path: Path) -> None:
        """Show the report of a session that is not open here."""
        from faulttree.screen.opening import read_session
        from faulttree.screen.report import ReportPage

        def show(work: Work) -> None:
            self.push_screen(ReportPage(work))

        read_session(self, path, show)

    def show_trees(self) -> None:
        """Show the list of trees."""
        from faulttree.screen.trees import TreesPage

        self.push_screen(TreesPage())


def _runner(screen: Screen[Any], method: str) -> Callable[[], Any]:
    async def run() -> None:
        await screen.run_action(method)

    return run


def _login() -> str:
    """Who is at the keyboard, as the system knows them."""
    import getpass

    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return "technician"


def _run(app: FaulttreeApp) -> int:
    app.run()
    return app.return_code or 0


def run_home(
    trees: Path,
    sessions: Path,
    *,
    who: str | None = None,
    keys: Path | None = None,
    colours: str | None = None,
) -> int:
    """Start at the home page. Returns the exit code."""
    return _run(FaulttreeApp(trees, sessions, who=who, keys=keys, colours=colours))


def run_walk(
    trees: Path,
    sessions: Path,
    tree_ids: Sequence[str],
    vehicle: str | None = None,
    *,
    who: str | None = None,
    keys: Path | None = None,
    colours: str | None = None,
) -> int:
    """Start taking in a car with these complaints; only the last look is left to do."""

    def opening(app: FaulttreeApp) -> None:
        app.start_intake(tree_ids, vehicle)

    return _run(FaulttreeApp(trees, sessions, opening=opening, who=who, keys=keys, colours=colours))


def run_resume(
    trees: Path,
    sessions: Path,
    path: Path,
    *,
    who: str | None = None,
    keys: Path | None = None,
    colours: str | None = None,
) -> int:
    """Go on with a session."""

    def opening(app: FaulttreeApp) -> None:
        app.resume(path)

    return _run(FaulttreeApp(trees, sessions, opening=opening, who=who, keys=keys, colours=colours))


def run_replay(
    trees: Path,
    sessions: Path,
    path: Path,
    *,
    exercise: bool = False,
    who: str | None = None,
    keys: Path | None = None,
    colours: str | None = None,
) -> int:
    """Step through a past session, or walk it as an exercise."""

    def opening(app: FaulttreeApp) -> None:
        app.replay(path, exercise=exercise)

    return _run(FaulttreeApp(trees, sessions, opening=opening, who=who, keys=keys, colours=colours))
