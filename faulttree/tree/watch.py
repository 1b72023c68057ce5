"""Waits for files of trees to be saved, by looking at their times and sizes now and then.

Nothing but the standard library is needed for it, and it works on any file system, also one that is
reached over a network. What is done after each save is left to the caller.
"""

import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from faulttree.tree.shelf import SHARED, VEHICLES

EVERY = 0.5
"""Seconds between two looks: soon enough after a save, and hardly any work."""

Stamps = dict[str, tuple[int, int]]
"""The time and size of each file that is there."""


def pause() -> None:
    """Wait until the next look."""
    time.sleep(EVERY)


def stamps(paths: Sequence[Path | str]) -> Stamps:
    """The times and sizes of all that a check of some files and folders reads."""
    found: Stamps = {}
    for path in map(Path, paths):
        home = path if path.is_dir() else path.parent
        folder = home.parent if home.name in (SHARED, VEHICLES) and home != path else home
        for place in (folder, folder / SHARED, folder / VEHICLES):
            try:
                for file in place.iterdir():
                    if file.suffix in (".yaml", ".yml"):
                        status = file.stat()
                        found[str(file)] = (status.st_mtime_ns, status.st_size)
            except OSError:
                continue  # gone, or just being replaced: the next look tells
    return found


def rounds(look: Callable[[], Stamps], wait: Callable[[], None] | None = None) -> Iterator[Stamps]:
    """Yield at once, and again whenever what `look` gives has changed; never ends by itself.

    What is saved while the caller works is seen, since the look is taken before.
    """
    seen = look()
    yield seen
    while True:
        (wait or pause)()
        now = look()
        if now != seen:
            seen = now
            yield now
