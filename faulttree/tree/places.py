"""Where trees and sessions are kept: as asked for, beside the user, or with the program.

Only finds folders; whether they can be read or written is found out by whoever opens them.
"""

from pathlib import Path

TREES, SESSIONS = "trees", "sessions"

_PACKAGE = Path(__file__).resolve().parents[1]


def find_trees(option: Path | str | None = None) -> Path:
    """The folder of trees: the one asked for, `./trees` if it holds YAML, or the shipped one."""
    if option is not None:
        return Path(option)
    here = Path(TREES)
    return here if _holds_yaml(here) else shipped(TREES)


def find_sessions(option: Path | str | None = None) -> Path:
    """The folder to read sessions from: as asked for, `./sessions` if it is there, or the shipped.

    New sessions are never written among the shipped ones: see `sessions_to_write`.
    """
    if option is not None:
        return Path(option)
    here = Path(SESSIONS)
    return here if here.is_dir() else shipped(SESSIONS)


def sessions_to_write(option: Path | str | None = None) -> Path:
    """The folder to write sessions to: as asked for, or `./sessions`; it need not exist yet."""
    return Path(SESSIONS if option is None else option)


def shipped(what: str) -> Path:
    """The trees or sessions that came with the program, in a wheel or in a checkout of it."""
    inside = _PACKAGE / "shipped" / what
    return inside if inside.is_dir() else _PACKAGE.parent / what


def _holds_yaml(folder: Path) -> bool:
    try:
        return any(path.suffix == ".yaml" for path in folder.iterdir())
    except OSError:
        return False
