"""Counts what a folder of session logs holds: complaints, causes found, time, comebacks.

The logs are scanned line by line, without the checks of `session.journal`: a tally of ten thousand
sessions should take seconds, and a changed line in one of them matters little here. What was
withdrawn does not count. A log that cannot be read is counted as such, never passed over in
silence. Names of people are not read.
"""

import csv
import io
import json
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass, field
from datetime import datetime
from pathlib import Path
from statistics import median
from typing import Any

SUFFIX = ".jsonl"
FOUND = ("cured",)
"""The outcomes in which the causes given at closing were proved."""


@dataclass(frozen=True, slots=True)
class Scanned:
    """What one log says, as far as a tally needs it."""

    id: str
    opened: datetime
    ended: datetime
    trees: tuple[str, ...]
    vehicle: str
    outcome: str
    causes: tuple[str, ...]
    taken_as: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class Found:
    """One cause: in how many sessions it was confirmed, and the minutes from opening to closing."""

    cause: str
    sessions: int
    median_minutes: float
    longest_minutes: float


@dataclass(frozen=True, slots=True)
class Comeback:
    """A vehicle that came in again with the same complaint after a session on it was closed."""

    vehicle: str
    tree: str
    first: str
    again: str
    days: float


@dataclass(frozen=True, slots=True)
class Tally:
    """The counts of a folder. `unreadable` names the logs that could not be counted."""

    sessions: int = 0
    open: int = 0
    complaints: Mapping[str, int] = field(default_factory=dict)
    outcomes: Mapping[str, int] = field(default_factory=dict)
    causes: tuple[Found, ...] = ()
    comebacks: tuple[Comeback, ...] = ()
    taken_as: Mapping[str, int] = field(default_factory=dict)
    unreadable: tuple[str, ...] = ()


def tally(folder: Path) -> Tally:
    """Count the logs of a folder; one that is not there holds none."""
    scanned: list[Scanned] = []
    unreadable = []
    for path in _logs(folder):
        found = scan(path)
        if found is None:
            unreadable.append(path.name)
        else:
            scanned.append(found)
    return _count(scanned, tuple(unreadable))


def _logs(folder: Path) -> list[Path]:
    try:
        return sorted(path for path in folder.iterdir() if path.name.endswith(SUFFIX))
    except FileNotFoundError:
        return []


def scan(path: Path) -> Scanned | None:
    """A quick look through one log; None when it does not begin like the log of a session.

    What comes after a line that cannot be read is left out, as the journal leaves it out.
    """
    try:
        lines = list(_lines(path.read_bytes()))
        opened = lines[0]
        if opened["kind"] != "opened":
            return None
        withdrawn = {line["entry"] for line in lines if line["kind"] == "withdrawn"}
        standing = [line for line in lines if line["sequence"] not in withdrawn]
        return Scanned(path.name.removesuffix(SUFFIX), *_facts(standing))
    except (OSError, LookupError, TypeError, ValueError, AttributeError):
        return None


def _lines(data: bytes) -> Iterator[dict[str, Any]]:
    for line in data.split(b"\n")[:-1]:
        try:
            found = json.loads(line)
        except (ValueError, RecursionError):
            return
        if not isinstance(found, dict):
            return
        yield found


def _facts(
    lines: list[dict[str, Any]],
) -> tuple[datetime, datetime, tuple[str, ...], str, str, tuple[str, ...], dict[str, int]]:
    trees = dict.fromkeys(str(tree) for tree in lines[0]["trees"])
    vehicle, outcome = "", ""
    causes: tuple[str, ...] = ()
    taken: Counter[str] = Counter()
    for line in lines:
        kind = line["kind"]
        if kind == "reading":
            taken[str(line.get("taken_as", "free"))] += 1
        elif kind == "complaint":
            trees[str(line["tree"])] = None
        elif kind == "vehicle":
            vehicle = str(line.get("name") or line.get("vehicle") or "")
        elif kind == "closed":
            outcome = str(line["outcome"])
            causes = tuple(str(cause) for cause in line.get("causes", ()))
    first, last = _time(lines[0]["at"]), _time(lines[-1]["at"])
    return first, last, tuple(trees), vehicle, outcome, causes, dict(taken)


def _time(text: str) -> datetime:
    return datetime.fromisoformat(text)


def _count(sessions: list[Scanned], unreadable: tuple[str, ...]) -> Tally:
    complaints: Counter[str] = Counter()
    outcomes: Counter[str] = Counter()
    taken: Counter[str] = Counter()
    minutes: defaultdict[str, list[float]] = defaultdict(list)
    for session in sessions:
        complaints.update(session.trees)
        taken.update(session.taken_as)
        if session.outcome:
            outcomes[session.outcome] += 1
        if session.outcome in FOUND:
            for cause in session.causes:
                minutes[cause].append((session.ended - session.opened).total_seconds() / 60.0)
    found = [Found(cause, len(m), median(m), max(m)) for cause, m in minutes.items()]
    return Tally(
        sessions=len(sessions),
        open=sum(not session.outcome for session in sessions),
        complaints=_by_count(complaints),
        outcomes=_by_count(outcomes),
        causes=tuple(sorted(found, key=lambda line: (-line.sessions, line.cause))),
        comebacks=tuple(_comebacks(sessions)),
        taken_as=_by_count(taken),
        unreadable=unreadable,
    )


def _comebacks(sessions: Iterable[Scanned]) -> Iterator[Comeback]:
    """Sessions on a vehicle and complaint that had a closed session before."""
    closed: dict[tuple[str, str], Scanned] = {}
    for session in sorted(sessions, key=lambda session: (session.opened, session.id)):
        name = " ".join(session.vehicle.split()).casefold()
        if not name:
            continue
        for tree in session.trees:
            before = closed.get((name, tree))
            if before is not None and before.ended <= session.opened:
                days = (session.opened - before.ended).total_seconds() / 86400.0
                yield Comeback(session.vehicle, tree, before.id, session.id, days)
            if session.outcome:
                closed[name, tree] = session


def _by_count(counter: Counter[str]) -> dict[str, int]:
    return dict(sorted(counter.items(), key=lambda item: (-item[1], item[0])))


# --- rendering ---------------------------------------------------------------------------------


def to_text(counts: Tally) -> str:
    """The counts as plain text."""
    lines = [f"{counts.sessions} sessions, {counts.open} of them still open"]
    sections: list[tuple[str, Mapping[str, int]]] = [
        ("Complaints", counts.complaints),
        ("How they ended", counts.outcomes),
        ("Why each test was taken", counts.taken_as),
    ]
    for title, rows in sections:
        if rows:
            lines += ["", title]
            lines += [f"  {name:36} {number:6}" for name, number in rows.items()]
    if counts.causes:
        lines += ["", "Causes confirmed                       sessions  median min  longest"]
        lines += [
            f"  {line.cause:36} {line.sessions:8}  {line.median_minutes:10.0f}  "
            f"{line.longest_minutes:7.0f}"
            for line in counts.causes
        ]
    if counts.comebacks:
        lines += ["", "Came back with the same complaint"]
        lines += [
            f"  {line.vehicle}, {line.tree}: after {line.days:.0f} days ({line.first}, then "
            f"{line.again})"
            for line in counts.comebacks
        ]
    if counts.unreadable:
        lines += ["", "Could not be read: " + ", ".join(counts.unreadable)]
    return "\n".join(lines) + "\n"


def to_csv(counts: Tally) -> str:
    """The counts as CSV: what is counted, its name, the number, and minutes where there are any.

    A cell that a spreadsheet would take for a formula is given a leading apostrophe.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["what", "name", "sessions", "median_minutes", "longest_minutes"])
    counted: list[tuple[str, Mapping[str, int]]] = [
        ("complaint", counts.complaints),
        ("outcome", counts.outcomes),
        ("test taken as", counts.taken_as),
    ]
    for what, rows in counted:
        writer.writerows([what, _cell(name), number, "", ""] for name, number in rows.items())
    for line in counts.causes:
        times = (f"{line.median_minutes:.1f}", f"{line.longest_minutes:.1f}")
        writer.writerow(["cause", _cell(line.cause), line.sessions, *times])
    back: Counter[str] = Counter(line.tree for line in counts.comebacks)
    writer.writerows(["comeback", _cell(tree), number, "", ""] for tree, number in back.items())
    return out.getvalue()


def _cell(text: str) -> str:
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text


def to_json(counts: Tally) -> str:
    """The counts as JSON."""
    return json.dumps(asdict(counts), indent=1, ensure_ascii=False) + "\n"
