"""A small invented shop, and ways to run the app on it and to read what it shows."""

from __future__ import annotations

import asyncio
import re
import threading
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest
from textual.pilot import Pilot

from faulttree.screen.app import FaulttreeApp
from faulttree.screen.work import Reckoner, Work, begin
from faulttree.session.events import ComplaintTaken, Event, VehicleDescribed
from faulttree.session.state import State
from faulttree.tree.load import load
from faulttree.tree.model import Knowledge

SHOP = Path(__file__).parent / "shop"
NARROW, WIDE = (80, 24), (120, 40)

MOST_SECONDS = 100.0
"""How long anything may take on the slowest machine; only what hangs takes so long."""


@pytest.fixture(autouse=True)
def _no_key_file(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """No test reads the keys or colours of whoever runs it."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.delenv("FAULTTREE_COLOURS", raising=False)
    monkeypatch.delenv("NO_COLOR", raising=False)


@pytest.fixture(scope="session")
def shop() -> Path:
    """The trees of the small shop."""
    return SHOP


@pytest.fixture(scope="session")
def knowledge() -> Knowledge:
    """What the small shop knows of one complaint."""
    return load(["idle"], trees_dir=SHOP)


@pytest.fixture(params=[NARROW, WIDE], ids=["80x24", "120x40"])
def size(request: pytest.FixtureRequest) -> tuple[int, int]:
    """Both sizes that count."""
    return request.param


@pytest.fixture
def sessions(tmp_path: Path) -> Path:
    """An empty folder for sessions."""
    return tmp_path / "sessions"


@pytest.fixture
def begin_on(sessions: Path) -> Callable[..., Work]:
    """Begin a session on some knowledge, with more events after its beginning."""
    return lambda knowledge, *more, trees=None: begun(sessions, knowledge, *more, trees=trees)


@pytest.fixture
def work(knowledge: Knowledge, sessions: Path) -> Work:
    """A session on the van, just begun."""
    return begun(sessions, knowledge)


def begun(sessions: Path, knowledge: Knowledge, *more: Event, trees: Any = None) -> Work:
    """A session on the van, with more events after its beginning."""
    trees = tuple(trees or knowledge.trees)
    first: list[Event] = [ComplaintTaken(tree) for tree in trees]
    if "van" in knowledge.vehicles:
        first.append(VehicleDescribed("van"))
    return begin(sessions, knowledge, "sam", "Idle wanders - van", trees, [*first, *more])


@pytest.fixture
def app(sessions: Path) -> FaulttreeApp:
    """The app at its home page."""
    return FaulttreeApp(SHOP, sessions, who="sam")


@pytest.fixture
def on_walk(sessions: Path) -> Callable[[Work], FaulttreeApp]:
    """The app with the walk of a session over its home page."""
    return lambda work: FaulttreeApp(SHOP, sessions, who="sam", opening=lambda app: app.go_on(work))


@pytest.fixture
def hold(monkeypatch: pytest.MonkeyPatch) -> Callable[[str], threading.Event]:
    """Have the scorer's `chances` or `advice` wait, once a reading was taken, for an event."""

    def held(name: str) -> threading.Event:
        gate = threading.Event()
        real = getattr(Reckoner, name)

        def slow(self: Reckoner, state: State, *rest: Any) -> Any:
            if state.readings:
                gate.wait(60)
            return real(self, state, *rest)

        monkeypatch.setattr(Reckoner, name, slow)
        return gate

    return held


class Seat:
    """Somebody at the keyboard: presses keys, waits until all is quiet, reads the screen."""

    def __init__(self, pilot: Pilot[Any]) -> None:
        self.pilot = pilot
        self.app = pilot.app

    @property
    def frame(self) -> str:
        """Everything that the terminal shows, as plain text."""
        rows = self.app.screen._compositor.render_strips()
        return "\n".join("".join(segment.text for segment in row).rstrip() for row in rows)

    @property
    def words(self) -> str:
        """The same in one line, so that it does not matter where a line was broken."""
        return re.sub(r"[\s│▔▁▂▃▄▅▆▇█▏▎▍▌▋▊▉]+", " ", self.frame)

    @property
    def page(self) -> Any:
        """The page that is shown."""
        return self.app.screen

    async def settle(self) -> None:
        """Wait until every key, worker and repaint is done."""
        before = None
        while True:
            await self.until(self._is_quiet, "it to be quiet")
            # What came in between two looks would show.
            if (now := self.frame) == before:
                return
            before = now

    async def until(self, holds: Callable[[], object], what: str = "what was expected") -> None:
        """Wait until something holds, however slow the machine; fail after MOST_SECONDS."""
        clock = asyncio.get_running_loop().time
        end = clock() + MOST_SECONDS
        while True:
            await self.pilot.pause(0.005)
            if self.app._exception is not None:
                raise self.app._exception
            if holds():
                return
            assert clock() < end, f"waited in vain for {what}; shown is:\n{self.frame}"

    def _is_quiet(self) -> bool:
        """Whether nothing is left to be done, by keys, workers, messages or for the next paint."""
        app = self.app
        if any(not worker.is_finished for worker in app.workers) or not app.ahead.quiet:
            return False
        screen = app.screen
        pumps = [app, *screen.walk_children(with_self=True)]
        if any(pump.message_queue_size or pump._next_callbacks for pump in pumps):
            return False
        return not (screen._callbacks or screen._dirty_widgets or screen._layout_required)

    async def press(self, *keys: str) -> str:
        """Press keys one after another; gives the words on the screen then."""
        for key in keys:
            await self.pilot.press(key)
            await self.settle()
        return self.words

    async def type(self, text: str) -> str:
        """Type a text."""
        names = {" ": "space", ",": "comma", ".": "full_stop", "-": "minus", "?": "question_mark"}
        await self.pilot.press(*(names.get(char, char) for char in text))
        await self.settle()
        return self.words


@pytest.fixture
def drive() -> Callable[..., Any]:
    """Run an app, with notices on as people see them, and sit down at it."""

    @asynccontextmanager
    async def start(app: FaulttreeApp, size: tuple[int, int] = NARROW) -> AsyncIterator[Seat]:
        async with app.run_test(size=size, notifications=True) as pilot:
            seat = Seat(pilot)
            await seat.settle()
            yield seat

    return start
