"""Counts what a folder of session logs holds: complaints, causes, time to find, comebacks, advice.

The logs are scanned one after the other, line by line, without the checks of `session.journal`: a
tally of ten thousand sessions should take seconds, and a changed line in one of them matters
little here. Of each log only a few figures are kept, so the memory does not grow with their size.
What was withdrawn does not count. A log that cannot be read is counted as such, never passed over
in silence. Names of people are not read.

*Time to find* a cause is the work from the opening to the last reading before its repair (before
the closing, if no repair was logged). Gaps of more than `STOOD` minutes do not count: the car
stood.

*Advice* is judged at every reading and repair before which some had been worked out. A reading of a
test that was read before an earlier repair is proof, not a choice, and is left out. It was followed
when what it named first was done. What it cost not to follow it is told three ways: the money that
the advice itself reckoned with beyond its own choice, at the moment; the minutes that the steps
took, beside those of what was advised; and how sessions that followed it went beside those that did
not. The last compares cars that may differ, so it shows what happened, not what caused it.
"""

import csv
import io
import json
import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass, field
from datetime import datetime
from pathlib import Path
from statistics import median
from typing import Any

from faulttree.session.journal import SUFFIX, logs_in

FOUND = ("cured",)
"""The outcomes in which the causes given at closing were proved."""
STOOD = 240.0
"""A gap between entries longer than this many minutes is not work."""
SHOWN = 20
"""So many comebacks are listed for people, the latest."""
GROUPS = ("followed throughout", "followed at half the steps or more", "followed less")


@dataclass(frozen=True, slots=True)
class Steps:
    """The readings and repairs before which advice had been worked out.

    `extra` is the money beyond its own choice that the advice reckoned with at the steps not
    followed, over the `weighed` of them. `minutes` is what the steps not followed took, and
    `advised_minutes` what the advised ones would have taken.
    """

    followed: int = 0
    not_followed: int = 0
    weighed: int = 0
    extra: float = 0.0
    minutes: float = 0.0
    advised_minutes: float = 0.0

    @property
    def all(self) -> int:
        """How many there were."""
        return self.followed + self.not_followed

    def __add__(self, other: "Steps") -> "Steps":
        return Steps(
            self.followed + other.followed,
            self.not_followed + other.not_followed,
            self.weighed + other.weighed,
            self.extra + other.extra,
            self.minutes + other.minutes,
            self.advised_minutes + other.advised_minutes,
        )


@dataclass(frozen=True, slots=True)
class Scanned:
    """What one log says, as far as a tally needs it.

    `to_find` gives the minutes for each cause that was confirmed, `readings` how many were taken
    before the first repair.
    """

    id: str
    opened: datetime
    ended: datetime
    trees: tuple[str, ...]
    vehicle: str
    outcome: str
    to_find: Mapping[str, float]
    readings: int
    taken_as: Mapping[str, int]
    steps: Steps


@dataclass(frozen=True, slots=True)
class Found:
    """One cause: in how many sessions it was confirmed, and the minutes of work to find it."""

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
class Following:
    """Cured sessions by how far the advice was followed: how many, and what they took.

    Medians, over the sessions, of the minutes until all causes were found and of the readings
    before the first repair.
    """

    how: str
    sessions: int
    median_minutes: float
    median_readings: float


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
    steps: Steps = Steps()
    following: tuple[Following, ...] = ()
    unreadable: tuple[str, ...] = ()


def tally(folder: Path) -> Tally:
    """Count the logs of a folder; one that is not there holds none.

    Raises JournalError when the folder cannot be listed.
    """
    counting = _Counting()
    for path in logs_in(folder):
        found = scan(path)
        if found is None:
            counting.unreadable.append(path.name)
        else:
            counting.add(found)
    return counting.tally()


# --- one log -----------------------------------------------------------------------------------


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
        worked = _worked(lines)
        standing = [line for line in lines if line["sequence"] not in withdrawn]
        return _facts(path.name.removesuffix(SUFFIX), standing, worked)
    except (OSError, LookupError, TypeError, ValueError, AttributeError, OverflowError):
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


def _worked(lines: Iterable[dict[str, Any]]) -> dict[int, float]:
    """The minutes of work from the opening to each entry, by its number."""
    minutes, last = 0.0, None
    made = {}
    for line in lines:
        at = _time(line["at"])
        gap = (at - last).total_seconds() / 60.0 if last is not None else 0.0
        if 0.0 <= gap <= STOOD:
            minutes += gap
        last = at
        made[line["sequence"]] = minutes
    return made


def _facts(id: str, lines: list[dict[str, Any]], worked: Mapping[int, float]) -> Scanned:
    trees = dict.fromkeys(str(tree) for tree in lines[0]["trees"])
    vehicle, outcome = "", ""
    causes: tuple[str, ...] = ()
    taken: Counter[str] = Counter()
    steps = Steps()
    repaired: dict[str, float] = {}
    read_at = 0.0
    readings = 0
    read: set[str] = set()
    proved_by: set[str] = set()
    before = 0.0
    for line in lines:
        kind = line["kind"]
        now = worked[line["sequence"]]
        if kind == "reading":
            test = str(line["test"])
            taken[str(line.get("taken_as", "free"))] += 1
            if test not in proved_by:
                steps += _step(line, test, now - before)
            read.add(test)
            read_at = now
            readings += not repaired
        elif kind == "repaired":
            cause = str(line["cause"])
            steps += _step(line, cause, now - before)
            repaired[cause] = read_at
            proved_by |= read
        elif kind == "complaint":
            trees[str(line["tree"])] = None
        elif kind == "vehicle":
            vehicle = str(line.get("name") or line.get("vehicle") or "")
        elif kind == "closed":
            outcome = str(line["outcome"])
            causes = tuple(str(cause) for cause in line.get("causes", ()))
        # Cautions and notes belong to the step that follows them.
        if kind not in ("caution acknowledged", "note", "route left"):
            before = now
    to_find = {}
    if outcome in FOUND:
        to_find = {cause: repaired.get(cause, read_at) for cause in causes}
    first, last = _time(lines[0]["at"]), _time(lines[-1]["at"])
    return Scanned(
        id, first, last, tuple(trees), vehicle, outcome, to_find, readings, dict(taken), steps
    )


def _step(line: Mapping[str, Any], done: str, minutes: float) -> Steps:
    """One step set beside the advice of its moment; nothing where there was none."""
    advice = line.get("advice")
    if not advice:
        return Steps()
    if advice["id"] == done:
        return Steps(followed=1)
    extra = advice.get("extra")
    return Steps(
        not_followed=1,
        weighed=int(extra is not None),
        extra=_finite(extra or 0.0),
        minutes=minutes,
        advised_minutes=_finite(advice["minutes"]),
    )


def _time(text: str) -> datetime:
    found = datetime.fromisoformat(text)
    if found.tzinfo is None:
        raise ValueError(f"{text} says no time zone, so it cannot be set beside others")
    return found


def _finite(value: Any) -> float:
    """A figure that can be added to others; nothing that is no number counts for one."""
    found = float(value)
    if not math.isfinite(found):
        raise ValueError(f"{value} is no figure")
    return found


# --- all of them -------------------------------------------------------------------------------


class _Counting:
    """Adds one log after the other; keeps figures only, and of each closed session its name."""

    def __init__(self) -> None:
        self.sessions = self.open = 0
        self.complaints: Counter[str] = Counter()
        self.outcomes: Counter[str] = Counter()
        self.taken_as: Counter[str] = Counter()
        self.minutes: defaultdict[str, list[float]] = defaultdict(list)
        self.visits: defaultdict[tuple[str, str], list[tuple[datetime, datetime, str, str, bool]]]
        self.visits = defaultdict(list)
        self.steps = Steps()
        self.following: dict[str, list[tuple[float, int]]] = {how: [] for how in GROUPS}
        self.unreadable: list[str] = []

    def add(self, session: Scanned) -> None:
        """Count one more session."""
        self.sessions += 1
        self.open += not session.outcome
        self.complaints.update(session.trees)
        self.taken_as.update(session.taken_as)
        if session.outcome:
            self.outcomes[session.outcome] += 1
        for cause, minutes in session.to_find.items():
            self.minutes[cause].append(minutes)
        self.steps += session.steps
        if session.to_find and session.steps.all:
            share = session.steps.followed / session.steps.all
            how = GROUPS[0 if share == 1.0 else 1 if share >= 0.5 else 2]
            took = (max(session.to_find.values()), session.readings)
            self.following[how].append(took)
        name = " ".join(session.vehicle.split()).casefold()
        if name:
            visit = (session.opened, session.ended, session.id, session.vehicle)
            for tree in session.trees:
                self.visits[name, tree].append((*visit, bool(session.outcome)))

    def tally(self) -> Tally:
        """What was counted."""
        found = [Found(cause, len(m), median(m), max(m)) for cause, m in self.minutes.items()]
        return Tally(
            sessions=self.sessions,
            open=self.open,
            complaints=_by_count(self.complaints),
            outcomes=_by_count(self.outcomes),
            causes=tuple(sorted(found, key=lambda line: (-line.sessions, line.cause))),
            comebacks=tuple(self._comebacks()),
            taken_as=_by_count(self.taken_as),
            steps=self.steps,
            following=tuple(
                Following(how, len(took), median(m for m, _ in took), median(r for _, r in took))
                for how, took in self.following.items()
                if took
            ),
            unreadable=tuple(self.unreadable),
        )

    def _comebacks(self) -> Iterator[Comeback]:
        """Sessions on a vehicle and complaint that had a closed session before."""
        found: list[tuple[datetime, Comeback]] = []
        for (_, tree), visits in self.visits.items():
            last: tuple[datetime, str] | None = None
            for opened, ended, id, vehicle, closed in sorted(visits):
                if last is not None and last[0] <= opened:
                    days = (opened - last[0]).total_seconds() / 86400.0
                    found.append((opened, Comeback(vehicle, tree, last[1], id, days)))
                if closed:
                    last = (ended, id)
        for _, comeback in sorted(found, key=lambda pair: (pair[0], pair[1].again, pair[1].tree)):
            yield comeback


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
        lines.append(
            "  Minutes are work until the cause was found: to the reading before its repair"
        )
    lines += _advice_lines(counts)
    if counts.comebacks:
        lines += ["", f"Came back with the same complaint: {len(counts.comebacks)}"]
        lines += [
            f"  {line.vehicle}, {line.tree}: after {line.days:.0f} days ({line.first}, then "
            f"{line.again})"
            for line in counts.comebacks[-SHOWN:]
        ]
        if len(counts.comebacks) > SHOWN:
            lines.append(f"  These are the last {SHOWN}; JSON has them all.")
    if counts.unreadable:
        lines += ["", "Could not be read: " + ", ".join(counts.unreadable)]
    return "\n".join(lines) + "\n"


def _advice_lines(counts: Tally) -> list[str]:
    steps = counts.steps
    if not steps.all:
        return []
    lines = [
        "",
        "Advice",
        f"  followed at {steps.followed} of {steps.all} steps ({steps.followed / steps.all:.0%})",
    ]
    if steps.weighed:
        lines.append(
            f"  {steps.weighed} of the {steps.not_followed} others were reckoned to cost "
            f"{steps.extra:.0f} more in all, {steps.extra / steps.weighed:.1f} each"
        )
    if steps.not_followed:
        lines.append(
            f"  they took {steps.minutes:.0f} minutes; what was advised takes "
            f"{steps.advised_minutes:.0f}"
        )
    if counts.following:
        lines.append("  Cured sessions                       sessions  median min  readings")
    lines += [
        f"  {line.how:36} {line.sessions:8}  {line.median_minutes:10.0f}  "
        f"{line.median_readings:8.1f}"
        for line in counts.following
    ]
    return lines


def to_csv(counts: Tally) -> str:
    """The counts as CSV: what is counted, its name, the number, and minutes where there are any.

    A cell that a spreadsheet would take for a formula is given a leading apostrophe.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["what", "name", "count", "median_minutes", "longest_minutes", "sum"])
    counted: list[tuple[str, Mapping[str, int]]] = [
        ("complaint", counts.complaints),
        ("outcome", counts.outcomes),
        ("test taken as", counts.taken_as),
    ]
    for what, rows in counted:
        writer.writerows([what, _cell(name), number, "", "", ""] for name, number in rows.items())
    for line in counts.causes:
        times = (f"{line.median_minutes:.1f}", f"{line.longest_minutes:.1f}")
        writer.writerow(["cause", _cell(line.cause), line.sessions, *times, ""])
    steps = counts.steps
    if steps.all:
        writer.writerow(["advice", "followed", steps.followed, "", "", ""])
        writer.writerow(["advice", "not followed", steps.not_followed, "", "", ""])
        extra = f"{steps.extra:.2f}"
        writer.writerow(["advice", "reckoned extra money", steps.weighed, "", "", extra])
        for name, minutes in (("taken", steps.minutes), ("advised", steps.advised_minutes)):
            cells = [steps.not_followed, "", "", f"{minutes:.1f}"]
            writer.writerow(["advice", f"minutes {name} where not followed", *cells])
    for group in counts.following:
        writer.writerow(
            ["cured sessions", group.how, group.sessions, f"{group.median_minutes:.1f}", "", ""]
        )
    back: Counter[str] = Counter(line.tree for line in counts.comebacks)
    for tree, number in back.items():
        writer.writerow(["comeback", _cell(tree), number, "", "", ""])
    return out.getvalue()


def _cell(text: str) -> str:
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text


def to_json(counts: Tally) -> str:
    """The counts as JSON."""
    return json.dumps(asdict(counts), indent=1, ensure_ascii=False) + "\n"
