"""The whole program line by line: for screen readers, and for terminals that can do nothing else.

`run_plain` takes a car in and walks it, `resume_plain` goes on with a session, `replay_plain` steps
through one or makes an exercise of it. What is said comes as whole sentences, one fact a line,
without drawings, colours or movement. At every prompt `?` gives help and `back` goes one step back.
Every reading is on the disk before the next prompt, so the end of the input (or of the power)
loses nothing that was confirmed. Nothing here needs the screens' library; rules and sums are those
of the session and the scorer.

Its parts: `talk` asks and says, `intake` takes the car in, `bench` is the session with what several
parts need, `reading` takes one reading, `mending` repairs, proves and closes, `walk` is the loop,
`spoken` turns a report into sentences, `past` is the replay and `trainee` the exercise.
"""

from __future__ import annotations

import getpass
import shlex
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from faulttree.screen.plain.talk import (
    Ask,
    Back,
    Say,
    Talk,
    from_terminal,
    terminal_width,
    title_aloud,
)
from faulttree.screen.work import Work, look_at, resume
from faulttree.session.journal import JournalError
from faulttree.session.moves import NotAllowed, Reopen

INTERRUPTED = 130
"""The exit code after Ctrl+C, as shells know it."""


def run_plain(
    trees: Path,
    sessions: Path,
    tree_ids: Sequence[str] = (),
    vehicle: str | None = None,
    who: str | None = None,
    *,
    ask: Ask = from_terminal,
    say: Say = print,
) -> int:
    """Take a car in and walk it, line by line. Returns the exit code."""
    from faulttree.screen.plain.intake import Intake

    talk = _talk(ask, say)
    try:
        work = Intake(talk, trees, sessions, tuple(tree_ids), vehicle, who or _login()).work()
    except (Back, EOFError):
        talk.say("\nLeft. No session was begun.")
        return 0
    except KeyboardInterrupt:
        talk.say("\nLeft. No session was begun.")
        return INTERRUPTED
    return _walk(talk, work) if work is not None else 1


def resume_plain(
    path: Path, who: str | None = None, *, ask: Ask = from_terminal, say: Say = print
) -> int:
    """Go on with a session, line by line; a closed one is reopened if wished. The exit code."""
    from faulttree.tree.problem import TreeError

    talk = _talk(ask, say)
    try:
        work = resume(path, who or _login())
    except (JournalError, TreeError) as trouble:
        talk.say(str(trouble))
        return 1
    return _walk(talk, work)


def replay_plain(
    path: Path,
    sessions: Path,
    who: str | None = None,
    *,
    exercise: bool = False,
    ask: Ask = from_terminal,
    say: Say = print,
) -> int:
    """Step through a past session line by line, or walk it as an exercise. The exit code."""
    from faulttree.session.journal import read
    from faulttree.tree.problem import TreeError

    talk = _talk(ask, say)
    try:
        work, record = look_at(path, who or _login()), read(path)
    except (JournalError, TreeError, OSError) as trouble:
        talk.say(str(trouble))
        return 1
    if record.damage is not None:
        talk.say(f"Not the whole log could be read: {record.damage}.")

    def run() -> None:
        if exercise:
            from faulttree.screen.plain.trainee import Exercise

            Exercise(talk, work, path.name, sessions).run()
        else:
            from faulttree.screen.plain.past import Replay

            Replay(talk, work, record.envelopes).run()

    return _until_left(talk, run)


def _walk(talk: Talk, work: Work) -> int:
    from faulttree.screen.plain.walk import Walk

    def run() -> None:
        if work.state.closed is None or _reopened(talk, work):
            Walk(talk, work).run()

    try:
        code = _until_left(talk, run)
    finally:
        work.close()
    if work.path is not None:
        talk.exact(f"Everything is saved in {work.path}.")
        as_typed = shlex.quote(str(work.path))
        if work.state.is_open:
            talk.exact(f"Go on with: faulttree resume --plain {as_typed}")
        else:
            talk.exact(f"Its report: faulttree handover --plain {as_typed}")
    return code


def _until_left(talk: Talk, run: Callable[[], None]) -> int:
    """Run until it is done, the input ends, or somebody presses Ctrl+C. Returns the exit code."""
    try:
        run()
    except Back:
        talk.say("Left.")
    except EOFError:
        talk.say("\nThe input has ended.")
    except KeyboardInterrupt:
        talk.say("\nLeft with Ctrl+C.")
        return INTERRUPTED
    return 0


def _reopened(talk: Talk, work: Work) -> bool:
    """Ask whether a closed session is to be gone on with, and take its closing back."""
    closed = work.state.closed
    assert closed is not None
    talk.say(f"Session: {title_aloud(work.title)}")
    talk.say(f"It is closed: {closed.event.outcome}.")
    help = "Its closing is then marked in the log as taken back. Without that nothing changes."
    if not talk.yes("Reopen it and go on?", default=False, help=help):
        return False
    try:
        work.do(Reopen())
    except (NotAllowed, JournalError) as trouble:
        talk.say(f"It cannot be reopened. {trouble}")
        return False
    talk.say("Reopened.")
    return True


def _talk(ask: Ask, say: Say) -> Talk:
    """A conversation; on a terminal its lines break between words, in a pipe they stay whole."""
    on_terminal = say is print and sys.stdout.isatty()
    return Talk(ask, say, terminal_width if on_terminal else None)


def _login() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return "technician"
