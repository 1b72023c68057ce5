"""Keys that come faster than the pages: each one waits until the one before has done its work.

A key that opens a page, or takes a reading, changes what the next key is meant for. So after such a
key the later ones are held until its messages have run through and whatever page or card it brought
up stands there; then they go on in their order. Letters and digits that are typed into a field
change nothing but the field, and are not held. What a key does is no business of this module.
"""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Awaitable, Callable
from contextlib import suppress
from typing import TYPE_CHECKING, Any

from textual import events

if TYPE_CHECKING:
    from textual.app import App
    from textual.message_pump import MessagePump

CARD = "card"
"""The group of the workers that put up a card."""

MOVING = frozenset({"up", "down", "left", "right", "home", "end", "pageup", "pagedown"})
"""Keys that only move about, so that none has to wait for them."""

HEAD_START = 0.03
"""For how many seconds a key's own work goes on before its end is looked for."""

HOPS = 3
"""How often a widget may send a message to itself before it sends one to its parent."""

ROUNDS = 8
"""How often a page may give way to another before the next key goes on."""

STILL_THERE = 0.1
"""How many seconds apart it is looked whether a widget that has not answered is still there."""

LOOK_AGAIN = 0.003
"""How many seconds apart it is looked whether what is coming is there."""

PATIENCE = 10.0
"""After how many seconds keys go on although something is still at work."""


class TypeAhead:
    """The keys that wait, and what they wait for."""

    def __init__(
        self, app: App[Any], pass_on: Callable[[events.Key], Awaitable[None]], at_once: set[str]
    ) -> None:
        self.app = app
        self._pass_on = pass_on
        self._at_once = at_once
        self._waiting: deque[events.Key] = deque()
        self._loading = 0
        self._task: asyncio.Task[None] | None = None

    async def take(self, event: events.Key) -> None:
        """Pass a key on, now or when it is its turn."""
        if event.key in self._at_once:
            await self._pass_on(event)
        elif self._task is not None:
            self._waiting.append(event)
        else:
            changes = self._may_change(event)
            start = self.app.focused or self.app.screen
            await self._pass_on(event)
            if changes:
                self._task = asyncio.create_task(self._go_on(start))

    def hold(self) -> None:
        """Something is being loaded; keys wait for `release`."""
        self._loading += 1

    def release(self) -> None:
        """It is there."""
        self._loading = max(0, self._loading - 1)

    @property
    def quiet(self) -> bool:
        """Whether every key has done its work, and none waits."""
        return self._task is None

    def drop(self) -> None:
        """Forget the keys that wait: what comes up has to be seen before it is answered."""
        self._waiting.clear()

    def _may_change(self, event: events.Key) -> bool:
        """Whether a key may bring up something else, and is not just typed into a field."""
        focused = self.app.focused
        if event.key in MOVING:
            return False
        return focused is None or not focused.check_consume_key(event.key, event.character)

    async def _go_on(self, start: MessagePump) -> None:
        """Wait for what a key sets off, pass the next one on, until none waits."""
        try:
            await self._run_through(start)
            while self._waiting and self._runs():
                event = self._waiting.popleft()
                changes = self._may_change(event)
                start = self.app.focused or self.app.screen
                await self._pass_on(event)
                if changes:
                    await self._run_through(start)
        except Exception as trouble:
            # Nobody waits for this task, so the app has to be told, as of any key that fails.
            self.app._handle_exception(trouble)
        finally:
            self._waiting.clear()
            self._task = None

    async def _run_through(self, start: MessagePump) -> None:
        """Wait until all that a key set off has been seen to, and nothing is being put up."""
        node = start
        clock = asyncio.get_running_loop().time
        end = clock() + PATIENCE
        await asyncio.sleep(HEAD_START)
        for _ in range(ROUNDS):
            if not self._runs():
                return
            screen = self.app.screen
            with suppress(TimeoutError):
                await asyncio.wait_for(self._up_from(node), end - clock())
            while self._runs() and self._is_busy() and clock() < end:
                await asyncio.sleep(LOOK_AGAIN)
            if not self._runs():
                return
            now = self.app.focused or self.app.screen
            if clock() >= end or (now is node and self.app.screen is screen):
                return
            node = now

    async def _up_from(self, node: MessagePump) -> None:
        """Let the messages of a widget and of all above it be worked off, in that order."""
        chain: list[MessagePump] = [node]
        while (above := chain[-1]._parent) is not None:
            chain.append(above)
        for pump in chain:
            for _ in range(HOPS):
                done = asyncio.Event()
                if not pump.call_later(done.set):
                    break
                # A widget that is gone never answers, and its messages went with it.
                while pump.is_running and not done.is_set():
                    with suppress(TimeoutError):
                        await asyncio.wait_for(done.wait(), STILL_THERE)

    def _runs(self) -> bool:
        """Whether there is still an app to pass keys on to."""
        return self.app.is_running and bool(self.app.screen_stack)

    def _is_busy(self) -> bool:
        """Whether something is being loaded, a page opened or a card put up."""
        if self._loading or not self.app.screen.is_mounted:
            return True
        return any(worker.group == CARD and not worker.is_finished for worker in self.app.workers)
