"""Learns from closed sessions with confirmed causes how far the trees' numbers fit this shop.

The author's number is taken as if it had been seen on `strength` cars (its equivalent sample size);
the sessions add what was really seen. Each number so becomes a Beta distribution: its mean is the
new number, its central 95 % the interval. What was only filled in narrows no interval.

What a session does not say is filled in with its expected value, again and again until nothing
moves (the EM algorithm of Dempster, Laird and Rubin 1977, here with a prior):

- Cars without a complaint never come in. How many there were, and what they had, follows from the
  numbers themselves; without this every cause would look as common as it is among complaining cars.
- Of two causes present, either or both may have brought the complaint on, or put a reading out of
  its band; each gets its share.
- An observer at a choice may have erred; the true band is spread as the log has it.

Counted are sessions closed as cured with at least one listed cause; of their readings, those taken
before the first repair. A cause that was not confirmed is taken to have been absent, and a
complaint that was not taken down likewise. `not_listed` cannot be learnt from such sessions and is
left alone. Nothing is written: the report is for the shop lead to judge.
"""

import json
import math
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Literal

from faulttree.scorer.evidence import Finding
from faulttree.tree.car import fits
from faulttree.tree.model import Knowledge

Kind = Literal["how_common", "brings_on", "points_to", "by_chance"]
STRENGTH = 20.0
"""The author's number counts as if seen on this many cars, unless another strength is given."""
ENOUGH_SESSIONS = 20
"""Fewer sessions than this are refused: the author's numbers would hardly move, and by luck."""
ENOUGH_CARS = 5
"""A number seen on fewer cars than this is not offered."""
ROUNDS = 200
STILL = 1e-6

Key = tuple[Kind, str, str, str]
"""A number: its kind, the cause ("" for by_chance), the tree or test if any, and the band."""


class TooLittle(ValueError):
    """There are too few sessions to learn from; the message says how many it takes."""


@dataclass(frozen=True, slots=True)
class Case:
    """One closed session: its complaints, its confirmed causes, and what was read before repair.

    `fitting` holds the listed causes that the car can have. `readings` gives, for each test, the
    chance of each band as the session weighed it.
    """

    complaints: frozenset[str]
    causes: frozenset[str]
    fitting: frozenset[str]
    readings: Mapping[str, Mapping[str, float]] = field(default_factory=dict)


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
class Lesson:
    """What the sessions teach: every number, and what was counted to get there."""

    strength: float
    sessions: int
    skipped: Mapping[str, int]
    numbers: tuple[Learnt, ...]


def learn(
    knowledge: Knowledge,
    cases: Sequence[Case],
    *,
    strength: float = STRENGTH,
    skipped: Mapping[str, int] | None = None,
) -> Lesson:
    """The numbers of a shelf after these sessions.

    `strength` is the equivalent sample size of the author's numbers, in cars. Raises TooLittle when
    there are fewer than `ENOUGH_SESSIONS` sessions, ValueError for a strength that is not positive.
    """
    if not strength > 0.0:
        raise ValueError("the strength of the author's numbers must be above zero")
    if len(cases) < ENOUGH_SESSIONS:
        raise TooLittle(
            f"There are {len(cases)} closed sessions with confirmed causes; it takes "
            f"{ENOUGH_SESSIONS} before anything can be learnt from them."
        )
    old = numbers_of(knowledge)
    alike = _alike(knowledge, cases)
    # Complete data come in two parts that do not touch: who has what, and what is then read.
    tables = [
        _settle(old, strength, lambda now: _count_cars(knowledge, cases, now)),
        _settle(old, strength, lambda now: _count_readings(knowledge, alike, now)),
    ]
    seen = _cars(knowledge, cases)
    fitting = Counter(cause for case in cases for cause in case.fitting)
    learnt = []
    for key, author in old.items():
        kind, cause, where, band = key
        yes, no = next((t[key] for t in tables if key in t), (0.0, 0.0))
        new = (strength * author + yes) / (strength + yes + no)
        cars = seen[key]
        why = "" if cars >= ENOUGH_CARS else f"seen on {cars} cars; it takes {ENOUGH_CARS}"
        # Cars that never came in move the number but are no evidence: the interval leaves them out.
        size = strength + (fitting[cause] if kind == "how_common" else cars)
        low, high = beta_interval(new * size, (1.0 - new) * size)
        learnt.append(Learnt(kind, cause, where, band, author, new, low, high, cars, not why, why))
    return Lesson(strength, len(cases), dict(skipped or {}), tuple(learnt))


def numbers_of(knowledge: Knowledge) -> dict[Key, float]:
    """Every number of the shelf that can be learnt; noughts and ones are the author's word."""
    numbers: dict[Key, float] = {}
    for cause in knowledge.causes.values():
        numbers["how_common", cause.id, "", ""] = cause.how_common
    for tree in knowledge.trees.values():
        for cause_id, chance in tree.brings_on.items():
            numbers["brings_on", cause_id, tree.id, ""] = chance
    for test in knowledge.tests.values():
        for cause_id, bands in test.points_to.items():
            for band, chance in bands.items():
                numbers["points_to", cause_id, test.id, band] = chance
        for band, chance in test.by_chance.items():
            numbers["by_chance", "", test.id, band] = chance
    return {key: chance for key, chance in numbers.items() if 0.0 < chance < 1.0}


Counts = dict[Key, tuple[float, float]]
"""For each number, on how many cars it came true and on how many not, as expected."""


def _settle(
    old: Mapping[Key, float], strength: float, count: Callable[[Mapping[Key, float]], Counts]
) -> Counts:
    """Count with the numbers as they are, take the new numbers, and again until they stay."""
    now = dict(old)
    counts: Counts = {}
    for _ in range(ROUNDS):
        counts = count(now)
        moved = 0.0
        for key, (yes, no) in counts.items():
            new = (strength * old[key] + yes) / (strength + yes + no)
            moved = max(moved, abs(new - now[key]))
            now[key] = new
        if moved < STILL:
            break
    return counts


# --- who has what, and complains of what -------------------------------------------------------


def _count_cars(knowledge: Knowledge, cases: Sequence[Case], now: Mapping[Key, float]) -> Counts:
    """Expected counts for how_common and brings_on, cars that never came in included."""
    yes: defaultdict[Key, float] = defaultdict(float)
    no: defaultdict[Key, float] = defaultdict(float)

    def brings(cause: str, tree: str) -> float:
        author = knowledge.trees[tree].brings_on.get(cause, 0.0)
        return now.get(("brings_on", cause, tree, ""), author)

    def common(cause: str) -> float:
        author = knowledge.causes[cause].how_common
        return now.get(("how_common", cause, "", ""), author)

    same = Counter((case.complaints, case.causes, case.fitting) for case in cases)
    for (complaints, causes, fitting), times in same.items():
        for cause in fitting:
            here = yes if cause in causes else no
            here["how_common", cause, "", ""] += times
        for tree in knowledge.trees:
            quiet = math.prod(1.0 - brings(cause, tree) for cause in causes)
            for cause in causes:
                key: Key = ("brings_on", cause, tree, "")
                shown = 0.0
                if tree in complaints and quiet < 1.0:
                    shown = min(1.0, brings(cause, tree) / (1.0 - quiet))
                yes[key] += times * shown
                no[key] += times * (1.0 - shown)
    # On a car without any complaint the causes are independent of one another.
    for fitting, seen in Counter(case.fitting for case in cases).items():
        silent = {c: math.prod(1.0 - brings(c, tree) for tree in knowledge.trees) for c in fitting}
        none = math.prod(1.0 - common(c) * (1.0 - silent[c]) for c in fitting)
        unseen = seen * none / (1.0 - none) if none < 1.0 else 0.0
        for cause in fitting:
            quietly = common(cause) * silent[cause]
            had = unseen * quietly / (quietly + 1.0 - common(cause))
            yes["how_common", cause, "", ""] += had
            no["how_common", cause, "", ""] += unseen - had
            for tree in knowledge.trees:
                no["brings_on", cause, tree, ""] += had
    return {key: (yes[key], no[key]) for key in {*yes, *no} if key in now}


# --- what is then read ------------------------------------------------------------------------


Alike = Counter[tuple[str, frozenset[str], tuple[tuple[str, float], ...]]]
"""How often a test read the same with the same causes present that it points to."""


def _alike(knowledge: Knowledge, cases: Sequence[Case]) -> Alike:
    return Counter(
        (test, case.causes & set(knowledge.tests[test].points_to), tuple(sorted(bands.items())))
        for case in cases
        for test, bands in case.readings.items()
    )


def _count_readings(knowledge: Knowledge, same: Alike, now: Mapping[Key, float]) -> Counts:
    """Expected counts for points_to and by_chance, test by test.

    Every cause present, and the leak, throws one band of the cascade or none; the earliest is read.
    """
    yes: defaultdict[Key, float] = defaultdict(float)
    trials: defaultdict[tuple[str, str], float] = defaultdict(float)
    for (test_id, causes, weighed), times in same.items():
        test = knowledge.tests[test_id]
        cascade = test.cascade
        sources: dict[str, list[float]] = {}
        for cause in ("", *sorted(causes)):
            kind: Kind = "points_to" if cause else "by_chance"
            author = test.points_to[cause] if cause else test.by_chance
            sources[cause] = [
                now.get((kind, cause, test_id, band), author.get(band, 0.0)) for band in cascade
            ]
            trials[cause, test_id] += times
        weights = dict(weighed)
        joint = _thrown(sources, [weights.get(band, 0.0) for band in (*cascade, test.expect)])
        for cause, thrown in joint.items():
            kind = "points_to" if cause else "by_chance"
            for band, share in zip(cascade, thrown, strict=True):
                yes[kind, cause, test_id, band] += times * share
    return {
        key: (count, max(0.0, trials[key[1], key[2]] - count))
        for key, count in yes.items()
        if key in now
    }


def _thrown(
    sources: Mapping[str, Sequence[float]], weights: Sequence[float]
) -> dict[str, list[float]]:
    """The chance that each source threw each band, given how likely each band was read.

    `weights` are those of the cascade's bands, then of the expected one.
    """
    size = len(weights) - 1
    # late[s][k]: the chance that s throws nothing before band k.
    late = {s: [1.0 - sum(q[:k]) for k in range(size + 1)] for s, q in sources.items()}
    total = 0.0
    thrown = {source: [0.0] * size for source in sources}
    for k, weight in enumerate(weights):
        all_late = math.prod(late[s][k] for s in sources)
        all_later = math.prod(late[s][k + 1] for s in sources) if k < size else 0.0
        total += weight * (all_late - all_later)
        for source, chances in sources.items():
            others = [s for s in sources if s != source]
            if k == size:
                continue
            rest_late = math.prod(late[s][k] for s in others)
            rest_later = math.prod(late[s][k + 1] for s in others)
            thrown[source][k] += weight * chances[k] * rest_late
            for m in range(k + 1, size):
                thrown[source][m] += weight * chances[m] * (rest_late - rest_later)
    if total <= 0.0:
        return {source: [0.0] * size for source in sources}
    return {source: [share / total for share in row] for source, row in thrown.items()}


def _cars(knowledge: Knowledge, cases: Sequence[Case]) -> Counter[Key]:
    """On how many cars each number was put to the test."""
    seen: Counter[Key] = Counter()
    present: Counter[str] = Counter()
    read: Counter[tuple[str, str]] = Counter()
    for case in cases:
        present.update(case.causes)
        for test in case.readings:
            read.update((cause, test) for cause in ("", *case.causes))
    for key in numbers_of(knowledge):
        kind, cause, where, _ = key
        seen[key] = present[cause] if kind in ("how_common", "brings_on") else read[cause, where]
    return seen


# --- the sessions ------------------------------------------------------------------------------


def cases_of(knowledge: Knowledge, folder: Path) -> tuple[list[Case], dict[str, int]]:
    """The closed sessions of a folder that can teach something, and why others were left out.

    Readings count as the session weighed them; those of tests or causes that the shelf no longer
    knows are left out.
    """
    from faulttree.session.journal import SUFFIX, JournalError, read
    from faulttree.session.standing import car_of, evidence

    cases: list[Case] = []
    skipped: Counter[str] = Counter()
    try:
        paths = sorted(path for path in folder.iterdir() if path.name.endswith(SUFFIX))
    except FileNotFoundError:
        paths = []
    for path in paths:
        try:
            state = read(path).state
        except JournalError:
            skipped["could not be read"] += 1
            continue
        trees = frozenset(tree for tree in state.trees if tree in knowledge.trees)
        if state.closed is None:
            skipped["still open"] += 1
        elif state.closed.event.outcome != "cured":
            skipped["not cured"] += 1
        elif not (confirmed := frozenset(state.closed.event.causes) & set(knowledge.causes)):
            skipped["no listed cause confirmed"] += 1
        elif not trees:
            skipped["complaint not on this shelf"] += 1
        else:
            car = car_of(state, knowledge)
            fitting = {c.id for c in knowledge.causes.values() if fits(c.fits, car)}
            found = evidence(state, knowledge).findings
            readings = _before_repair(knowledge, found)
            cases.append(Case(trees, confirmed, frozenset(fitting | confirmed), readings))
    return cases, dict(skipped)


def _before_repair(
    knowledge: Knowledge, found: Iterable[Finding]
) -> dict[str, Mapping[str, float]]:
    """The readings before the first repair, taken while the complaint was not known to be quiet."""
    return {
        finding.source: finding.bands
        for finding in found
        if finding.source in knowledge.tests and finding.stage == 0 and finding.showing is not False
    }


# --- the Beta distribution ---------------------------------------------------------------------


def beta_interval(a: float, b: float, inside: float = 0.95) -> tuple[float, float]:
    """The central interval of a Beta distribution that holds the share `inside`."""
    tail = (1.0 - inside) / 2.0
    return _beta_quantile(tail, a, b), _beta_quantile(1.0 - tail, a, b)


def _beta_quantile(chance: float, a: float, b: float) -> float:
    """Where the distribution function reaches `chance`, by halving."""
    low, high = 0.0, 1.0
    for _ in range(60):
        middle = (low + high) / 2.0
        if _beta_below(middle, a, b) < chance:
            low = middle
        else:
            high = middle
    return (low + high) / 2.0


def _beta_below(x: float, a: float, b: float) -> float:
    """The regularised incomplete beta function I_x(a, b), by its continued fraction.

    NIST Digital Library of Mathematical Functions, 8.17.22; the fraction is taken on the side where
    it converges fast, with I_x(a, b) = 1 - I_1-x(b, a).
    """
    if x <= 0.0 or x >= 1.0:
        return float(x >= 1.0)
    if x > (a + 1.0) / (a + b + 2.0):
        return 1.0 - _beta_below(1.0 - x, b, a)
    log_front = a * math.log(x) + b * math.log1p(-x)
    log_front += math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b)
    # Successive convergents, rescaled so that the denominator is 1.
    old_top, old_bottom, top, bottom = 1.0, 0.0, 1.0, 1.0
    before = 0.0
    for m in range(500):
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        even = (m + 1) * (b - m - 1) * x / ((a + 2 * m + 1) * (a + 2 * m + 2))
        for step in (odd, even):
            old_top, top = top, top + step * old_top
            old_bottom, bottom = bottom, bottom + step * old_bottom
            scale = bottom
            old_top, old_bottom, top, bottom = old_top / scale, old_bottom / scale, top / scale, 1.0
        if abs(top - before) < 1e-13 * abs(top):
            break
        before = top
    return math.exp(log_front) / (a * top)


# --- rendering ---------------------------------------------------------------------------------


def to_text(lesson: Lesson) -> str:
    """The report as plain text: what moved outside its author's number first."""
    lines = [
        f"Learnt from {lesson.sessions} closed sessions with confirmed causes.",
        f"The author's numbers count as if seen on {lesson.strength:g} cars.",
    ]
    lines += [f"Left out: {count} ({why})" for why, count in lesson.skipped.items()]
    offered = [number for number in lesson.numbers if number.offered]
    if offered:
        lines += ["", "    old     new   95 % interval    cars", ""]
    for number in sorted(offered, key=lambda n: (n.low <= n.old <= n.high, -abs(n.new - n.old))):
        mark = " " if number.low <= number.old <= number.high else "*"
        lines.append(
            f"{mark} {number.old:6.3f}  {number.new:6.3f}  {number.low:6.3f} - {number.high:6.3f}"
            f"  {number.cars:5}  {name_of(number)}"
        )
    few = len(lesson.numbers) - len(offered)
    if offered:
        lines += ["", "* the author's number lies outside the interval"]
    if few:
        lines.append(f"{few} more numbers were seen on fewer than {ENOUGH_CARS} cars.")
    lines.append("Nothing was written; the trees are as they were.")
    return "\n".join(lines) + "\n"


def name_of(number: Learnt) -> str:
    """What a number is, in a few words."""
    match number.kind:
        case "how_common":
            return f"how common: {number.cause}"
        case "brings_on":
            return f"{number.cause} brings on {number.where}"
        case "points_to":
            return f"{number.cause} puts {number.where} to {number.band}"
        case _:
            return f"{number.where} {number.band} by chance"


def to_json(lesson: Lesson) -> str:
    """The report as JSON."""
    return json.dumps(asdict(lesson), indent=1, ensure_ascii=False) + "\n"
