"""The file of a session: appended to line by line, never changed, read by anyone at any time.

`sessions/<date>-<slug>-<4 hex>.jsonl` holds one line for each event (see `lines`). Every line names
the SHA-256 of the line before it. A line is written with one `write` and is on the disk (`fsync`)
before `append` returns. What the session knew when it was opened is kept once, beside the logs, as
`sessions/knowledge/<digest>.json`.

One writer at a time: a lock file in `sessions/.locks` is held while a `Journal` is open, and a note
beside it says by whom. Reading needs no lock.

What can go wrong with a log, and what is made of it:

- The last line is torn (a crash, a full disk): it was never confirmed to anyone. It is reported and
  left out; opening for writing keeps it in a file of its own and cuts it off.
- A line before the last cannot be read, or does not follow from the line before it: it and all that
  comes after it are not trusted. What stands before is shown; the file is left as it is, and
  nothing more is written to it.
"""

import contextlib
import errno
import json
import os
import secrets
import socket
import tempfile
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from faulttree.session.events import Closed, Envelope, Event, Opened
from faulttree.session.lines import (
    NOTHING_BEFORE,
    LineError,
    NewerFormat,
    chain_of,
    read_line,
    write_line,
)
from faulttree.session.state import BrokenLog, State, apply
from faulttree.tree.model import Knowledge

if TYPE_CHECKING:
    from filelock import FileLock

SUFFIX = ".jsonl"
KNOWLEDGE, LOCKS = "knowledge", ".locks"
"""The folders beside the logs: what the sessions knew, and who writes to which."""
EXERCISES = "exercises.jsonl"
"""Lies among the logs and is none: what trainees made of past sessions (`study.exercise`)."""


class JournalError(Exception):
    """A log that cannot be read or written; the message says what, where and what to do."""


class NoSuchSession(JournalError):
    """A name that is no session's, or the beginning of more than one."""


class SessionHeld(JournalError):
    """Another program is writing to this session now."""


@dataclass(frozen=True, slots=True)
class Damage:
    """From which line on a log is not to be trusted, and why. `tail` is True for a torn last line.

    A torn last line was never confirmed to anyone, so nothing is lost with it.
    """

    line: int
    reason: str
    tail: bool

    def __str__(self) -> str:
        if self.tail:
            return (
                f"line {self.line} is incomplete ({self.reason}) and is left out; "
                "all lines before it are sound"
            )
        return f"line {self.line} cannot be trusted, nor anything after it: {self.reason}"


@dataclass(frozen=True, slots=True)
class Record:
    """What a log says, as far as it can be trusted.

    `size` is the length in bytes of the trusted part and `chain` the SHA-256 of its last line.
    """

    path: Path
    envelopes: tuple[Envelope, ...]
    state: State
    size: int
    chain: str
    damage: Damage | None = None

    @property
    def digest(self) -> str:
        """The digest of the knowledge that the session was opened with."""
        assert self.state.opened is not None
        return self.state.opened.digest


@dataclass(frozen=True, slots=True)
class SessionCard:
    """A session in a list: what can be told from a look at its file.

    `trouble` is "" for a sound look; a card with `opened_at` None could not be read at all.
    """

    path: Path
    title: str = ""
    trees: tuple[str, ...] = ()
    opened_at: datetime | None = None
    last_at: datetime | None = None
    who: str = ""
    entries: int = 0
    status: Literal["open", "closed", "damaged"] = "open"
    outcome: str = ""
    trouble: str = ""

    @property
    def id(self) -> str:
        """The name of the session: its file's name without the ending."""
        return self.path.name.removesuffix(SUFFIX)


class Journal:
    """A session's log, held open for writing. Use as a context manager, or call `close`.

    `state` is the session as it stands on the disk. `dropped` tells of a torn last line that was
    cut off on opening, or is None.
    """

    def __init__(self, record: Record, lock: "FileLock", dropped: Damage | None = None) -> None:
        self.path = record.path
        self.dropped = dropped
        self._record = record
        self._lock = lock

    @property
    def state(self) -> State:
        """The session as it stands, with everything that was appended so far."""
        return self._record.state

    @property
    def record(self) -> Record:
        """What the log says now."""
        return self._record

    def append(
        self, events: Event | Sequence[Event], who: str, at: datetime | None = None
    ) -> State:
        """Write events and return the state after them; they are on the disk when this returns.

        Either all of them are written or none. `at` is now, unless it is given. Raises
        JournalError when they cannot be written, BrokenLog when they cannot follow.
        """
        events = (events,) if not isinstance(events, Sequence) else tuple(events)
        if not events:
            return self.state
        if not self._lock.is_locked:
            raise JournalError(f"{self.path}: the session is closed for writing; open it again.")
        stamp = at or datetime.now(UTC)
        state, chain, lines = self.state, self._record.chain, []
        for event in events:
            line = write_line(Envelope(state.last + 1, stamp, who, event), chain)
            # Take the event as it reads back, so that memory never says more than the disk.
            envelope, _ = read_line(line)
            state = apply(state, envelope)
            chain = envelope.chain
            lines.append(line)
        data = b"".join(lines)
        _append(self.path, data, self._record.size)
        self._record = replace(
            self._record,
            envelopes=state.history,
            state=state,
            size=self._record.size + len(data),
            chain=chain,
        )
        return state

    def close(self) -> None:
        """Let others write to the session. May be called more than once."""
        if self._lock.is_locked:
            _held_note(self.path).unlink(missing_ok=True)
            self._lock.release()

    def __enter__(self) -> "Journal":
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()


def insist_writable(folder: Path) -> None:
    """Raise JournalError when no session can be begun in a folder, before anything is typed."""
    there = folder
    while not there.exists() and there != there.parent:
        there = there.parent
    # What a session knows and its lock are written into folders of their own.
    inner = [path for path in (folder / KNOWLEDGE, folder / LOCKS) if path.exists()]
    for path in (there, *inner):
        trouble = None
        if not path.is_dir():
            trouble = errno.ENOTDIR
        elif not os.access(path, os.W_OK | os.X_OK):
            trouble = errno.EACCES
        if trouble is not None:
            reason = OSError(trouble, os.strerror(trouble), str(path))
            raise JournalError(_explain(reason, path, "no session can be begun here"))


def create(
    folder: Path, opened: Opened, knowledge: Knowledge, who: str, at: datetime | None = None
) -> Journal:
    """Begin a session in a folder: keep what it knows, make its file, write its first line.

    The folder is made when it is not there. The file is named after the day and the title.
    Raises JournalError.
    """
    stamp = at or datetime.now(UTC)
    with _explained(folder, "the session cannot be begun"):
        folder.mkdir(parents=True, exist_ok=True)
        keep_knowledge(folder, knowledge)
        first = write_line(Envelope(1, stamp, who, opened), NOTHING_BEFORE)
        envelope, _ = read_line(first)
        while True:
            name = f"{stamp:%Y-%m-%d}-{slug(opened.title)}-{secrets.token_hex(2)}{SUFFIX}"
            path = folder / name
            lock = _acquire(path, who)
            try:
                os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o644))
            except FileExistsError:
                lock.release()
                continue
            except BaseException:
                _held_note(path).unlink(missing_ok=True)
                lock.release()
                raise
            break
        try:
            _append(path, first, 0)
            _sync_folder(folder)
        except BaseException:
            # Nobody was told of this session yet, so an empty file of it would only puzzle.
            path.unlink(missing_ok=True)
            _held_note(path).unlink(missing_ok=True)
            lock.release()
            raise
    record = Record(path, (envelope,), apply(State(), envelope), len(first), envelope.chain)
    return Journal(record, lock)


def open_journal(path: Path, who: str) -> Journal:
    """Open a session for writing.

    A torn last line is kept in a file beside the log and cut off. Raises SessionHeld when another
    program writes to it, JournalError when it cannot be read or is damaged before its end.
    """
    with _explained(path, "the session cannot be opened for writing"):
        # A file that may not be written is found out now, not after the first reading was typed.
        os.close(os.open(path, os.O_WRONLY | os.O_APPEND))
        lock = _acquire(path, who)
        try:
            record = read(path)
            damage = record.damage
            if damage is not None and not damage.tail:
                raise JournalError(
                    f"{path}: {damage}. Nothing more is written to this file. Look at it with "
                    f"`faulttree replay`; to go on from line {damage.line - 1}, copy the first "
                    f"{damage.line - 1} lines to a new file and resume that."
                )
            if damage is not None:
                _cut_off_tail(path, record.size)
            return Journal(replace(record, damage=None), lock, damage)
        except BaseException:
            _held_note(path).unlink(missing_ok=True)
            lock.release()
            raise


def read(path: Path) -> Record:
    """Read a log as far as it can be trusted; needs no lock and changes nothing.

    Raises JournalError when there is no such file, it may not be read, not even its first line can
    be trusted, or a newer version of this program wrote it.
    """
    with _explained(path, "the session cannot be read"):
        data = path.read_bytes()
    if not data:
        raise JournalError(f"{path}: the file is empty; it holds no session.")
    state, chain, size, damage = State(), NOTHING_BEFORE, 0, None
    lines = data.split(b"\n")
    # What follows the last line end is "" in a sound file, and a torn line otherwise.
    last_complete = len(lines) - 1
    for number, line in enumerate(lines, 1):
        torn = number > last_complete
        if torn and not line:
            break
        is_last = torn or (number == last_complete and not lines[-1])
        if torn:
            damage = Damage(number, "it does not end", True)
            break
        try:
            envelope, before = read_line(line)
            if before != chain:
                raise LineError(_broken_chain(number))
            state = apply(state, envelope)
        except NewerFormat as trouble:
            raise JournalError(f"{path}:{number}: this line cannot be read: {trouble}.") from None
        except (LineError, BrokenLog) as trouble:
            # A crash can leave a last line that is complete in length but not in content.
            tail = is_last and not _is_json(line)
            damage = Damage(number, str(trouble), tail)
            break
        chain = envelope.chain
        size += len(line) + 1
    if not state.history:
        assert damage is not None
        raise JournalError(
            f"{path}:1: this is not the log of a session: {damage.reason}. If it should be one, "
            "look for a copy."
        )
    return Record(path, state.history, state, size, chain, damage)


def logs_in(folder: Path) -> list[Path]:
    """The logs of a folder, by name; none when it is not there. JournalError when it is shut."""
    try:
        found = [path for path in folder.iterdir() if path.name.endswith(SUFFIX)]
    except FileNotFoundError:
        return []
    except OSError as trouble:
        raise JournalError(_explain(trouble, folder, "the sessions cannot be listed")) from None
    # A named pipe would be waited for until somebody writes into it.
    return sorted(path for path in found if path.name != EXERCISES and not path.is_fifo())


def list_sessions(folder: Path) -> list[SessionCard]:
    """The sessions of a folder, the latest first; a look at the first and last line of each.

    A folder that is not there holds no sessions. A file that cannot be read is listed with its
    trouble, because a session that is silently missing would be worse. Raises JournalError when
    the folder cannot be listed.
    """
    cards = [_card(path) for path in logs_in(folder)]
    oldest = datetime.min.replace(tzinfo=UTC)
    return sorted(cards, key=lambda card: (card.last_at or oldest, card.id), reverse=True)


def keep_knowledge(folder: Path, knowledge: Knowledge) -> Path:
    """Keep what a session knows beside the logs, under its digest; once is enough.

    The file appears complete or not at all.
    """
    path = knowledge_path(folder, knowledge.digest)
    if path.exists():
        return path
    data = json.dumps(
        knowledge.document, sort_keys=True, separators=(",", ":"), ensure_ascii=False
    ).encode()
    with _explained(path, "what the session knows cannot be kept"):
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=".", suffix=".part")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            os.chmod(name, 0o644)
            os.replace(name, path)
        except BaseException:
            with contextlib.suppress(OSError):
                os.unlink(name)
            raise
        _sync_folder(path.parent)
    return path


def knowledge_of(record: Record) -> Knowledge:
    """What a session knew, from the file kept beside its log.

    Raises JournalError when that file is missing or not what the log was written with.
    """
    # A list of sessions needs no knowledge, so it does not wait for this.
    from faulttree.tree.document import from_document
    from faulttree.tree.problem import TreeError

    path = knowledge_path(record.path.parent, record.digest)
    with _explained(path, "what the session knew cannot be read"):
        try:
            document = json.loads(path.read_bytes())
        except FileNotFoundError:
            raise JournalError(
                f"{path}: what this session knew is missing. Copy the folder `knowledge` from "
                "where the session was recorded."
            ) from None
        except (ValueError, RecursionError):
            raise JournalError(_changed_knowledge(path)) from None
    try:
        if not isinstance(document, dict):
            raise TreeError([])
        knowledge = from_document(document, str(path))
    except TreeError:
        raise JournalError(_changed_knowledge(path)) from None
    if knowledge.digest != record.digest:
        raise JournalError(_changed_knowledge(path))
    return knowledge


def knowledge_path(folder: Path, digest: str) -> Path:
    """Where the knowledge with that digest is kept."""
    safe = digest if digest.isalnum() else "unknown"
    return folder / KNOWLEDGE / f"{safe}.json"


def bring_in(path: Path, folder: Path) -> Path:
    """Copy a session that lies elsewhere, with what it knows, into a folder to work in.

    A session that is there already is left as it is. Returns its path there; raises JournalError.
    """
    target = folder / path.name
    with _explained(target, "the session cannot be copied"):
        if not target.exists():
            digest = read(path).digest
            knowledge = knowledge_path(folder, digest)
            knowledge.parent.mkdir(parents=True, exist_ok=True)
            if not knowledge.exists():
                _copy(knowledge_path(path.parent, digest), knowledge)
            _copy(path, target)
    return target


def _copy(source: Path, target: Path) -> None:
    """Copy a file so that it is there whole or not at all."""
    with tempfile.NamedTemporaryFile(dir=target.parent, delete=False) as made:
        made.write(source.read_bytes())
        made.flush()
        os.fsync(made.fileno())
    os.chmod(made.name, 0o644)
    os.replace(made.name, target)


def find_session(folder: Path, name: str) -> Path:
    """The file of a session, from a path, a file name, or an unambiguous beginning of its name.

    Raises NoSuchSession, with the candidates, when there is none or more than one.
    """
    with contextlib.suppress(OSError, ValueError):
        direct = Path(name)
        if direct.is_file():
            return direct
    ids = [path.name.removesuffix(SUFFIX) for path in logs_in(folder)]
    wanted = name.removesuffix(SUFFIX)
    if wanted in ids:
        return folder / f"{wanted}{SUFFIX}"
    found = [id for id in ids if wanted and id.startswith(wanted)]
    if len(found) == 1:
        return folder / f"{found[0]}{SUFFIX}"
    if found:
        listed = "".join(f"\n  {id}" for id in found)
        raise NoSuchSession(
            f"{name!r} begins more than one session; give more of the name:{listed}"
        )
    listed = "".join(f"\n  {id}" for id in ids[-10:])
    known = f" The latest there:{listed}" if ids else " There are no sessions there."
    raise NoSuchSession(f"There is no session {name!r} in {folder}.{known}")


def slug(title: str) -> str:
    """A title as a part of a file name: small letters, digits and hyphens, not too long."""
    plain = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode().lower()
    words = "".join(c if c.isalnum() else " " for c in plain).split()
    return "-".join(words)[:40].strip("-") or "session"


# --- the file ----------------------------------------------------------------------------------


def _append(path: Path, data: bytes, expected: int) -> None:
    """Write to the end of a file with one write and see it to the disk, or leave it as it was."""
    with _explained(path, "the entry could not be written and is not recorded"):
        handle = os.open(path, os.O_WRONLY | os.O_APPEND)
        try:
            size = os.fstat(handle).st_size
            if size != expected:
                raise JournalError(
                    f"{path}: the file changed while the session was open ({expected} bytes were "
                    f"expected, it has {size}). The entry is not recorded. Another program wrote "
                    "to it: close it there, then resume the session."
                )
            try:
                written = os.write(handle, data)
                if written != len(data):
                    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
                os.fsync(handle)
            except OSError:
                with contextlib.suppress(OSError):
                    os.ftruncate(handle, expected)
                raise
        finally:
            os.close(handle)


def _cut_off_tail(path: Path, size: int) -> None:
    """Keep what stands after `size` bytes in a file of its own, then cut it off."""
    tail = path.read_bytes()[size:]
    number = 1
    while True:
        copy = path.with_name(f"{path.name}.torn-{number}")
        try:
            handle = os.open(copy, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o644)
            break
        except FileExistsError:
            number += 1
    with os.fdopen(handle, "wb") as file:
        file.write(tail)
        file.flush()
        os.fsync(file.fileno())
    _sync_folder(path.parent)
    handle = os.open(path, os.O_WRONLY)
    try:
        os.ftruncate(handle, size)
        os.fsync(handle)
    finally:
        os.close(handle)


def _sync_folder(folder: Path) -> None:
    """See a folder's list of names to the disk, where the system can."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _broken_chain(number: int) -> str:
    if number == 1:
        return "it should be the first line of a log, and names one before it"
    return f"it does not follow from line {number - 1}, so one of the two was changed"


def _changed_knowledge(path: Path) -> str:
    return (
        f"{path}: this is not what the session knew: the file was changed. Copy it anew from where "
        "the session was recorded."
    )


def _is_json(line: bytes) -> bool:
    try:
        json.loads(line)
    except (ValueError, RecursionError):
        return False
    return True


def _card(path: Path) -> SessionCard:
    """A card from the first and last line of a log."""
    try:
        data = path.read_bytes()
    except OSError as error:
        return SessionCard(
            path, status="damaged", trouble=_explain(error, path, "it cannot be read")
        )
    lines = data.split(b"\n")
    torn = bool(lines.pop())
    try:
        if not lines:
            raise LineError("it holds no complete line")
        first, before = read_line(lines[0])
        if before != NOTHING_BEFORE or not isinstance(first.event, Opened):
            raise LineError("it does not begin with the opening of a session")
    except LineError as error:
        return SessionCard(path, status="damaged", trouble=f"line 1: {error}")
    trouble = f"the last line is incomplete and is left out (line {len(lines) + 1})" if torn else ""
    card = SessionCard(
        path,
        title=first.event.title,
        trees=first.event.trees,
        opened_at=first.at,
        last_at=first.at,
        who=first.who,
        entries=len(lines),
        trouble=trouble,
    )
    try:
        last, before = read_line(lines[-1])
        if len(lines) > 1 and before != chain_of(lines[-2]):
            raise LineError(_broken_chain(len(lines)))
        if last.sequence != len(lines):
            raise LineError(f"it is entry {last.sequence}, so lines are missing")
    except LineError as error:
        return replace(card, status="damaged", trouble=f"line {len(lines)}: {error}")
    card = replace(card, last_at=last.at, who=last.who)
    # After a closing nothing but its withdrawal is allowed, so the last line tells.
    if isinstance(last.event, Closed):
        return replace(card, status="closed", outcome=last.event.outcome)
    return card


# --- the lock ----------------------------------------------------------------------------------


def _lock_file(path: Path) -> Path:
    return path.parent / LOCKS / f"{path.name}.lock"


def _held_note(path: Path) -> Path:
    return path.parent / LOCKS / f"{path.name}.held"


def _acquire(path: Path, who: str) -> "FileLock":
    """Take the lock of a session at once, or say who has it."""
    # Imported here because it costs as much as the whole of a list of sessions.
    from filelock import FileLock, Timeout

    lock_file = _lock_file(path)
    lock_file.parent.mkdir(exist_ok=True)
    lock = FileLock(lock_file, thread_local=False)
    try:
        lock.acquire(timeout=0)
    except Timeout:
        raise SessionHeld(_held_message(path)) from None
    except NotImplementedError as trouble:
        raise JournalError(
            f"{path}: this file system cannot lock files, so two people might write at once: "
            f"{trouble}. Keep the sessions on a local disk."
        ) from None
    note = {
        "who": who,
        "pid": os.getpid(),
        "host": socket.gethostname(),
        "since": f"{datetime.now(UTC):%Y-%m-%d %H:%M} UTC",
    }
    # The note is a courtesy; the lock holds without it.
    with contextlib.suppress(OSError):
        _held_note(path).write_text(json.dumps(note), encoding="utf-8")
    return lock


def _held_message(path: Path) -> str:
    by = "another program"
    with contextlib.suppress(OSError, ValueError, KeyError, TypeError):
        note = json.loads(_held_note(path).read_text(encoding="utf-8"))
        by = f"{note['who']} (process {note['pid']} on {note['host']}, since {note['since']})"
    return (
        f"{path}: the session is being written to by {by}. Close it there first; it can be looked "
        "at with `faulttree replay` in the meantime."
    )


# --- what to do about it -----------------------------------------------------------------------


@contextlib.contextmanager
def _explained(path: Path, what: str) -> Iterator[None]:
    """Turn the system's errors into one that says what to do."""
    try:
        yield
    except OSError as trouble:
        raise JournalError(_explain(trouble, path, what)) from trouble


def _explain(trouble: OSError, path: Path, what: str) -> str:
    where = Path(trouble.filename) if isinstance(trouble.filename, str) else path
    return f"{where}: {what}: {trouble.strerror or trouble}. {_advice(trouble)}"


def _advice(trouble: OSError) -> str:
    match trouble.errno:
        case errno.ENOSPC | errno.EDQUOT:
            return "The disk is full: make room on it, then try again."
        case errno.EROFS | errno.EACCES | errno.EPERM:
            return "It may not be written or read here: change its permissions, or use --sessions."
        case errno.ENOENT:
            return "Look whether the name is right."
        case errno.EISDIR | errno.ENOTDIR:
            return "A file is wanted where there is a folder, or the other way round."
        case errno.ENAMETOOLONG:
            return "The name is too long."
        case _:
            return "Look after the disk or the network share, then try again."
