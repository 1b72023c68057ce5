"""Where the trees and the sessions lie: an option, the working folder, or what was shipped.

Only looks for folders; reading them, and making the folder of sessions when one is begun, is left
to others.
"""

from pathlib import Path

PACKAGE = Path(__file__).resolve().parent.parent


def find_trees(option: str | Path | None = None) -> Path:
    """The folder of trees: the option, `./trees` if it holds YAML, or the shipped trees."""
    if option is not None:
        return Path(option)
    here = Path("trees")
    if any(here.glob("*.yaml")):
        return here
    return _shipped("trees")


def find_sessions(option: str | Path | None = None) -> Path:
    """Where to look for sessions: the option, `./sessions` if it is there, or shipped ones."""
    if option is not None:
        return Path(option)
    here = Path("sessions")
    return here if here.is_dir() else _shipped("sessions")


def sessions_to_write(option: str | Path | None = None) -> Path:
    """The folder in which sessions are begun: the option or `./sessions`, which may not be yet."""
    return Path("sessions") if option is None else Path(option)


def _shipped(name: str) -> Path:
    """A folder as it comes with the package: inside it in a wheel, beside it in a checkout."""
    inside = PACKAGE / "shipped" / name
    return inside if inside.is_dir() else PACKAGE.parent / name
