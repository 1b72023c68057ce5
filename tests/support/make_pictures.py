#!/usr/bin/env python3
"""Draws the README's pictures of the screens anew: `python tests/support/make_pictures.py`.

Each picture is what the program shows on its own demo after some keys. `tests/screen` holds the
words of the pictures against what the program shows now, so they cannot go stale unnoticed.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import re
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree

from faulttree.screen.app import FaulttreeApp
from faulttree.tree.places import SESSIONS, TREES, shipped

FOLDER = Path(__file__).parents[1] / "screen" / "snapshots"


def _typed(text: str) -> list[str]:
    return ["space" if char == " " else char for char in text]


GO_ON = ("down", "enter")
FUEL_PRESSURE = ("t", *_typed("fuel pressure"), "enter", "enter", "enter")

PICTURES: dict[str, tuple[tuple[int, int], tuple[str, ...]]] = {
    "home": ((80, 24), ()),
    "walk": ((120, 40), (*GO_ON, *FUEL_PRESSURE, "3", "4")),
    "why": ((100, 30), (*GO_ON, "w")),
}
"""The pictures: columns and rows, and the keys that lead from Home to what is shown."""

_REMOTE_FONT = re.compile(r"@font-face \{.*?\}\s*", re.DOTALL)
_FONT = "ui-monospace, 'DejaVu Sans Mono', Menlo, Consolas, monospace"


@contextlib.contextmanager
def _away_from_home() -> Iterator[None]:
    """A new folder to work in, and one time zone: nothing of this machine is to be seen."""
    here, zone = Path.cwd(), os.environ.get("TZ")
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        os.environ["TZ"] = "UTC"
        time.tzset()
        try:
            yield
        finally:
            os.chdir(here)
            os.environ.pop("TZ")
            if zone is not None:
                os.environ["TZ"] = zone
            time.tzset()


async def draw(name: str) -> str:
    """One picture as SVG."""
    size, keys = PICTURES[name]
    with _away_from_home():
        app = FaulttreeApp(
            shipped(TREES).resolve(),
            Path(SESSIONS),
            who="sam",
            keys=Path("no-keys.yaml"),
            colours="bench-dark",
        )
        app.animation_level = "none"
        async with app.run_test(size=size) as pilot:
            for key in ("", *keys):
                await pilot.press(*filter(None, [key]))
                await _settle(pilot)
            svg = app.export_screenshot(title="faulttree")
    # A picture must not fetch anything when it is looked at.
    return _REMOTE_FONT.sub("", svg).replace("Fira Code, monospace", _FONT).replace("Fira Code", "")


async def _settle(pilot: object) -> None:
    """Wait until nothing is being worked out, loaded or painted any more."""
    app = pilot.app  # type: ignore[attr-defined]
    before = ""
    for _ in range(200):
        await pilot.pause(0.02)  # type: ignore[attr-defined]
        while list(app.workers):
            with contextlib.suppress(Exception):
                await app.workers.wait_for_complete()
        now = "\n".join(words_of(app.export_screenshot()))
        if now == before and app.ahead.quiet:
            return
        before = now


def words_of(svg: str) -> list[str]:
    """The text of a picture, row by row from the top."""
    rows: dict[float, dict[float, str]] = {}
    for piece in ElementTree.fromstring(svg).iter("{http://www.w3.org/2000/svg}text"):
        if "-title" in piece.get("class", ""):
            continue
        row = rows.setdefault(float(piece.get("y", "0")), {})
        row[float(piece.get("x", "0"))] = piece.text or ""
    return [
        "".join(row[x] for x in sorted(row)).replace("\N{NO-BREAK SPACE}", " ").rstrip()
        for _, row in sorted(rows.items())
    ]


def main() -> None:
    """Write every picture."""
    FOLDER.mkdir(exist_ok=True)
    for name in PICTURES:
        path = FOLDER / f"{name}.svg"
        path.write_text(asyncio.run(draw(name)), encoding="utf-8")
        print(path, file=sys.stderr)


if __name__ == "__main__":
    main()
