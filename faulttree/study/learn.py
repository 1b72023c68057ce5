"""Learns from closed sessions with confirmed causes how far the trees' numbers fit this shop.

The author's number is taken as if it had been seen on `strength` cars (its equivalent sample size);
the sessions add what was really seen. Each number so becomes a Beta distribution: its mean is the
new number, its central 95 % the interval. Which sessions count, and which speak against themselves,
is said in `cases`; how what they do not say is filled in, in `counting`. `not_listed` cannot be
learnt from sessions in which everything was listed, and is left alone.

Minutes are not mixed with the author's: they are simply measured, and the median stands.

Too few sessions are refused, and so are sessions of which too many contradict themselves: whoever
confirms what was not there teaches nonsense. Nothing is written here; that is the work of
`overlay`.
"""

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from statistics import median

import numpy as np

from faulttree.study.cases import Case, Contradiction, Gathered
from faulttree.study.counting import Kind, beta_intervals, numbers_of, seen_on, settle
from faulttree.tree.model import Knowledge

STRENGTH = 20.0
"""The author's number counts as if seen on this many cars, unless another strength is given."""
ENOUGH_SESSIONS = 20
"""Fewer sessions than this are refused: the author's numbers would hardly move, and by luck."""
ENOUGH_CARS = 5
"""A number seen on fewer cars than this is not offered."""
ENOUGH_TIMES = 8
"""Minutes measured fewer times than this are not offered: the quartiles would be two readings."""
MOST_CONTRADICTORY = 0.2
"""Refused when more than this share of the sessions closed as cured contradict themselves."""
FAR_OUT = 3.0
SHOWN = 5
"""How many contradictory sessions a refusal names; the report names them all."""


class Refused(ValueError):
    """Nothing can be learnt from these sessions; the message says why."""


class TooLittle(Refused):
    """There are too few sessions to learn from; the message says how many it takes."""


class TooContradictory(Refused):
    """Too many sessions contradict themselves; the message names some."""


@dataclass(frozen=True, slots=True)
class Learnt:
    """One number: the author's, the new one, its 95 % interval, and what it rests on.

    `cars` is how many sessions could say something of it (with the cause present, or for by_chance
    with the test read). `offered` is False when they are too few; `why` then says so.
    """

    kind: Kind
    cause: str
    where: str
    band: str
    old: float
    new: float
    low: float
    high: float
    cars: int
    offered: bool
    why: str = ""


@dataclass(frozen=True, slots=True)
class Timed:
    """The minutes of one test: the author's, the median measured, the quartiles, and how many.

    `set_aside` counts the gaps that were far out above the others.
    """

    test: str
    old: float
    new: float
    lower_quartile: float
    upper_quartile: float
    times: int
    set_aside: int
    offered: bool
    why: str = ""


@dataclass(frozen=True, slots=True)
class Lesson:
    """What the sessions teach: every number, and what was counted to get there."""

    strength: float
    sessions: int
    skipped: Mapping[str, int]
    contradictions: tuple[Contradiction, ...]
    numbers: tuple[Learnt, ...]
    minutes: tuple[Timed, ...]


def learn(
    knowledge: Knowledge, gathered: Gathered | Sequence[Case], *, strength: float = STRENGTH
) -> Lesson:
    """The numbers of a shelf after these sessions.

    `strength` is the equivalent sample size of the author's numbers, in cars. Raises TooLittle when
    there are fewer than `ENOUGH_SESSIONS` sessions, TooContradictory when too many of them speak
    against themselves, ValueError for a strength that is not a positive number.
    """
    if not (strength > 0.0 and math.isfinite(strength)):
        raise ValueError("the strength of the author's numbers must be a number above zero")
    if not isinstance(gathered, Gathered):
        gathered = Gathered(tuple(gathered))
    _insist(gathered)
    cases = gathered.cases
    settled, seen = settle(knowledge, cases, strength), seen_on(knowledge, cases)
    old = numbers_of(knowledge)
    sizes = np.array([settled[key].size for key in old])
    values = np.array([settled[key].value for key in old])
    low, high = beta_intervals(values * sizes, (1.0 - values) * sizes)
    learnt = []
    for at, (key, author) in enumerate(old.items()):
        kind, cause, where, band = key
        cars = seen[key]
        why = "" if cars >= ENOUGH_CARS else f"seen on {cars} cars; it takes {ENOUGH_CARS}"
        learnt.append(
            Learnt(
                kind,
                cause,
                where,
                band,
                author,
                float(values[at]),
                float(low[at]),
                float(high[at]),
                cars,
                not why,
                why,
            )
        )
    minutes = [timed(knowledge, test, gaps) for test, gaps in sorted(gathered.gaps.items())]
    return Lesson(
        strength,
        len(cases),
        dict(gathered.skipped),
        gathered.contradictions,
        tuple(learnt),
        tuple(minutes),
    )


def _insist(gathered: Gathered) -> None:
    """Refuse sessions that are too few or too contradictory."""
    count, against = len(gathered.cases), gathered.contradictions
    if len(against) > MOST_CONTRADICTORY * (count + len(against)):
        named = "".join(f"\n  {one.session}: {one.why}" for one in against[:SHOWN])
        more = f"\n  and {len(against) - SHOWN} more" if len(against) > SHOWN else ""
        raise TooContradictory(
            f"{len(against)} of {count + len(against)} sessions closed as cured speak against "
            f"themselves or the trees; nothing is learnt while that is more than "
            f"{MOST_CONTRADICTORY:.0%}.{named}{more}"
        )
    if count < ENOUGH_SESSIONS:
        there = "There is 1 closed session" if count == 1 else f"There are {count} closed sessions"
        raise TooLittle(
            f"{there} with confirmed causes; it takes {ENOUGH_SESSIONS} before anything can be "
            "learnt from them."
        )


def timed(knowledge: Knowledge, test: str, gaps: Sequence[float]) -> Timed:
    """The minutes of a test from the gaps before its readings; those far out are set aside."""
    ordered = sorted(gaps)
    lower, upper = _quartiles(ordered)
    kept = [gap for gap in ordered if gap <= upper + FAR_OUT * max(upper - lower, 0.1 * upper)]
    lower, upper = _quartiles(kept)
    why = "" if len(kept) >= ENOUGH_TIMES else f"timed {len(kept)} times; it takes {ENOUGH_TIMES}"
    return Timed(
        test,
        knowledge.tests[test].minutes,
        median(kept),
        lower,
        upper,
        len(kept),
        len(gaps) - len(kept),
        not why,
        why,
    )


def _quartiles(ordered: Sequence[float]) -> tuple[float, float]:
    lower, upper = np.quantile(np.asarray(ordered, float), (0.25, 0.75))
    return float(lower), float(upper)


# --- rendering ---------------------------------------------------------------------------------

_TITLES: Mapping[Kind, str] = {
    "how_common": "How common a cause is",
    "brings_on": "How often a cause brings a complaint on",
    "points_to": "How often a cause puts a reading into a band",
    "by_chance": "How often a reading is there by chance",
}


def to_text(lesson: Lesson) -> str:
    """The report as plain text: what moved outside its author's number first."""
    lines = [
        f"Learnt from {lesson.sessions} closed sessions with confirmed causes.",
        f"The author's numbers count as if seen on {lesson.strength:g} cars.",
    ]
    lines += [f"Left out: {count} ({why})" for why, count in lesson.skipped.items()]
    if lesson.contradictions:
        lines.append(f"Left out: {len(lesson.contradictions)} that speak against themselves:")
        lines += [f"  {one.session}: {one.why}" for one in lesson.contradictions]
    offered = [number for number in lesson.numbers if number.offered]
    for kind, title in _TITLES.items():
        rows = [number for number in offered if number.kind == kind]
        if rows:
            lines += ["", title, "    old     new   95 % interval     cars"]
        for n in sorted(rows, key=lambda n: (_is_inside(n), -abs(n.new - n.old))):
            lines.append(
                f"{' ' if _is_inside(n) else '*'} {n.old:6.4f}  {n.new:6.4f}  "
                f"{n.low:6.4f} - {n.high:6.4f}  {n.cars:5}  {name_of(n)}"
            )
    times = [one for one in lesson.minutes if one.offered]
    if times:
        lines += ["", "Minutes of a test", "    old  median  quartiles       times"]
    for one in sorted(times, key=lambda t: (t.lower_quartile <= t.old <= t.upper_quartile, t.test)):
        mark = " " if one.lower_quartile <= one.old <= one.upper_quartile else "*"
        lines.append(
            f"{mark} {one.old:5.1f}  {one.new:6.1f}  {one.lower_quartile:5.1f} - "
            f"{one.upper_quartile:5.1f}  {one.times:6}  {one.test}"
        )
    if offered or times:
        lines += ["", "* the author's number lies outside the interval, or the quartiles"]
    few = len(lesson.numbers) - len(offered)
    if few:
        lines.append(f"{few} more numbers were seen on fewer than {ENOUGH_CARS} cars.")
    few = len(lesson.minutes) - len(times)
    if few:
        lines.append(f"{few} more tests were timed fewer than {ENOUGH_TIMES} times.")
    return "\n".join(lines) + "\n"


def _is_inside(number: Learnt) -> bool:
    return number.low <= number.old <= number.high


def name_of(number: Learnt) -> str:
    """What a number is, in a few words."""
    match number.kind:
        case "how_common":
            return number.cause
        case "brings_on":
            return f"{number.cause} brings on {number.where}"
        case "points_to":
            return f"{number.cause} puts {number.where} to {number.band}"
        case _:
            return f"{number.where} {number.band}"


def to_json(lesson: Lesson, written: str = "", kept_out: Mapping[str, str] | None = None) -> str:
    """The report as JSON, with the file that was written, or "", and what was kept out of it."""
    data = {**asdict(lesson), "written": written, "kept_out": dict(kept_out or {})}
    return json.dumps(data, indent=1, ensure_ascii=False) + "\n"
