"""Reads the file in which keys are changed.

What may stand there is decided in `actions.check_keymap`; this module only reads, with the
project's own YAML reader, so that every complaint names its line.
"""

from __future__ import annotations

import os
from pathlib import Path

from faulttree.screen.actions import check_keymap


def default_keyfile() -> Path:
    """Where the file is looked for when none is named."""
    base = os.environ.get("XDG_CONFIG_HOME") or "~/.config"
    return Path(base).expanduser() / "faulttree" / "keys.yaml"


def read_keyfile(path: Path) -> tuple[dict[str, str], list[str]]:
    """The usable part of a key file as a keymap, and what is wrong with the rest, line by line.

    A file that cannot be read changes no key.
    """
    # The YAML reader is not needed by anyone who keeps the keys as they are.
    from faulttree.tree.source import read_source

    source = read_source(path)
    problems = [str(problem) for problem in source.problems]
    data = source.data
    if data is None:
        return {}, problems
    if not isinstance(data, dict) or set(data) - {"keys"} or not isinstance(data.get("keys"), dict):
        place = source.place(())
        return {}, [*problems, f"{place}: the file holds one key, `keys:`, with actions under it"]
    wanted: dict[str, list[str]] = {}
    for id, value in data["keys"].items():
        items = value if isinstance(value, list) else [value]
        if not all(isinstance(item, str | int) for item in items):
            problems.append(
                f"{source.place(('keys', id))}: a key, or a list of keys, is wanted here"
            )
            continue
        wanted[str(id)] = [str(item) for item in items]
    usable, wrong = check_keymap(wanted)
    problems += [f"{source.place(('keys', p.action), key=True)}: {p.message}" for p in wrong]
    return usable, problems
