"""Rehearses trees on cars with hidden faults: how well do they find what is wrong?

Many cars are drawn (see `simulate`) and each is walked to its cure, by the advice or by the
authored route. What is counted says where a tree is weak: a cause that is taken for another, a
test that never earns its time, a route that ends in nothing. The cars obey the very numbers that
the advice reckons with, so a rehearsal shows what the trees can do if those numbers are right;
whether they are is for `learn` to say.

Sessions in which the same was read and repaired stand at the same point, in whatever order they
came there, so every point is judged once. The sessions advance together, one step a round: the
points new in a round are judged side by side in as many processes as are asked for, and the
outcome does not depend on how many these are.
"""

import gc
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from faulttree.scorer.advice import RATE_PER_HOUR, judge, may_come_next
from faulttree.scorer.evidence import Evidence, Finding
from faulttree.scorer.inference import AHEAD_LIMIT, Impossible, Problem, solve_problem
from faulttree.scorer.network import Array, Network, build_network
from faulttree.scorer.promise import promising
from faulttree.study.simulate import (
    HiddenCar,
    complaint_finding,
    draw_car,
    finding_of,
    is_listed,
    observe,
    sureness,
)
from faulttree.tree.car import Car
from faulttree.tree.graph import next_on_route
from faulttree.tree.model import Knowledge

Follow = Literal["advice", "route"]

MOST_STEPS = 25
"""A session longer than this is given up: tests and repairs together, on one car."""
HARDLY_WORTH = 0.03
"""A repair that cures with less than this chance is not begun; the car is handed on instead."""
EXACT_UP_TO = 2
"""Past so many readings by eye the observer's error is charged by the throw (`by_throw`)."""
MOST_TESTS = ((128, 4, 3), (1024, 3, 2), (8192, 2, 1), (AHEAD_LIMIT, 1, 1))
"""Up to so many cells, how many tests `promising` picks by either measure, and easy ones beside."""
SURELY_UNLISTED = 0.9
"""Once something not listed is as likely as this, the car is handed on."""
MOVED = 0.05
"""A reading earned its time when it moved the likeliest cause by this much, or changed it."""
ENOUGH = 10
"""Fewer sessions than this say little about a cause or a test."""

Event = tuple[str, str, str]
"""One thing that happened: `test`, its id and band, or `quiet` for one that was done while the
complaint, which it needs, did not show; or `repair`, the cause and the complaints that are left."""
History = tuple[Event, ...]


@dataclass(frozen=True, slots=True)
class CauseLine:
    """How it went when one cause was at work.

    `named` counts the sessions in which it was the one named when the first repair was begun (or
    the work given up). `tests` and `minutes` are the mean number of tests done before that and the
    time they took, `cure_minutes` the mean time of all work until the cure, over the sessions that
    were cured. `mistaken_for` counts what was named when nothing at work was; "" stands for
    nothing at all.
    """

    id: str
    name: str
    at_work: int
    named: int
    cured: int
    tests: float
    minutes: float
    cure_minutes: float
    mistaken_for: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class TestLine:
    """What one test brought: how often it was done, and how often it moved anything."""

    __test__ = False

    id: str
    name: str
    minutes: float
    done: int
    earned: int


@dataclass(frozen=True, slots=True)
class Report:
    """What a rehearsal found. Means are over all sessions unless said otherwise.

    `needless` is the mean number of repairs of what was not at work. `tangled` counts the sessions
    given up because their readings hang together too closely to be reckoned with. `charged` counts
    the points, of `points` judged, at which an observer's errors were charged by the throw (see
    `scorer.problem.by_throw`). `unnamed` counts the sessions in which nothing was named at all.
    `never_done` lists the tests that could
    have told something but were never chosen. `weak_spots` says the worst of it in plain words.
    """

    trees: tuple[str, ...]
    follow: Follow
    as_cause: str | None
    showing: float
    runs: int
    seed: int
    cured: int
    given_up: int
    named_right: int
    tests: float
    minutes: float
    money: float
    needless: float
    points: int
    charged: int
    tangled: int
    unnamed: int
    causes: tuple[CauseLine, ...]
    tests_done: tuple[TestLine, ...]
    never_done: tuple[TestLine, ...]
    weak_spots: tuple[str, ...]
    names: Mapping[str, str]
    """What the causes are called, by id."""


@dataclass(frozen=True, slots=True)
class _Shop:
    """All that is needed to judge a history; handed to every process once."""

    knowledge: Knowledge
    network: Network
    car: Car
    follow: Follow
    sure: Mapping[str, float]
    rate: float
    showing: float


_Chances = tuple[Array, Array]
"""The chance of every cause of being present, and of being at work."""


@dataclass(frozen=True, slots=True)
class _After:
    """What the look ahead says of the causes after each band of the test that comes next."""

    bands: tuple[str, ...]
    chance: Array
    present: Array
    active: Array

    def said(self, finding: Finding) -> _Chances:
        """The chances once this is what was said of the test."""
        weight = self.chance * [finding.bands.get(band, 0.0) for band in self.bands]
        total = float(weight.sum())
        if total <= 0.0:
            weight, total = self.chance, 1.0
        return weight @ self.present / total, weight @ self.active / total


@dataclass(frozen=True, slots=True)
class _Point:
    """A history to be judged, with the chances that are already known there, if they are."""

    history: History
    chances: _Chances | None


@dataclass(frozen=True, slots=True)
class _Judgement:
    """What is to be done after a history, and which cause looks likeliest then."""

    kind: Literal["test", "repair", "stop"]
    id: str
    likeliest: str
    chance: float
    tangled: bool = False
    charged: bool = False
    after: "_After | None" = None


@dataclass(slots=True)
class _Session:
    """One car's way through the shop, as far as it has come."""

    car: HiddenCar
    observer: np.random.Generator
    at_work: frozenset[str]
    history: History = ()
    cured: bool = False
    named: str | None = None
    tests: int = 0
    tests_before_naming: int = 0
    minutes_before_naming: float = 0.0
    minutes: float = 0.0
    money: float = 0.0
    needless: int = 0
    tangled: bool = False
    before: _Judgement | None = None
    said: Finding | None = None
    read: list[tuple[str, bool]] = field(default_factory=list)


def rehearse(
    knowledge: Knowledge,
    tree_ids: Sequence[str],
    car: Car,
    *,
    runs: int = 1000,
    seed: int = 1,
    follow: Follow = "advice",
    as_cause: str | None = None,
    showing: float = 1.0,
    processes: int = 1,
    rate_per_hour: float = RATE_PER_HOUR,
    progress: Callable[[float], None] | None = None,
) -> Report:
    """Walk `runs` cars with hidden faults to their cure and say how it went.

    `as_cause` draws only cars on which that cause is at work. `showing` is how often the complaint
    shows itself while a test is done that needs it (`shows_only`); when it does not, that is known,
    and the test may be done again. `progress` is told what share of the work is done. The same seed
    gives the same report, whatever the number of processes. Raises KeyError for an unknown tree or
    cause, ValueError for fewer than one run or a share that is none, simulate.OutOfReach when no
    such car exists.
    """
    if runs < 1:
        raise ValueError("a rehearsal needs at least one session")
    if not 0.0 <= showing <= 1.0:
        raise ValueError("a complaint shows itself between never (0) and always (1)")
    network = build_network(knowledge, tree_ids, car)
    shop = _Shop(knowledge, network, car, follow, sureness(knowledge), rate_per_hour, showing)
    sessions = []
    for number in range(runs):
        drawing, observing = (np.random.default_rng([seed, number, k]) for k in (0, 1))
        hidden = draw_car(network, drawing, as_cause)
        sessions.append(_Session(hidden, observing, _at_work(hidden)))
    with _judges(shop, processes) as judge_all:
        judged = _walk(shop, sessions, judge_all, progress or (lambda share: None))
    return _report(shop, sessions, judged, tuple(tree_ids), seed, as_cause)


# --- the walk ----------------------------------------------------------------------------------


def _walk(
    shop: _Shop,
    sessions: list[_Session],
    judge_all: Callable[[list[_Point]], Iterable[_Judgement]],
    progress: Callable[[float], None],
) -> dict[History, _Judgement]:
    """Take every session to its end, round by round; returns every judgement made."""
    judged: dict[History, _Judgement] = {}
    going = sessions
    for step in range(MOST_STEPS):
        new: dict[History, _Point] = {}
        for session in going:
            if session.history not in judged and session.history not in new:
                new[session.history] = _Point(session.history, _foreseen(session))
        answers = zip(new, judge_all(list(new.values())), strict=True)
        for number, (history, judgement) in enumerate(answers):
            judged[history] = judgement
            # A session that has ended has done its part; one that goes on may take every step.
            steps = step + number / len(new)
            progress(1.0 - len(going) / len(sessions) * (1.0 - steps / MOST_STEPS))
        going = [session for session in going if _advance(shop, session, judged[session.history])]
        if not going:
            break
    progress(1.0)
    for session in going:
        if session.named is None:
            _name(session, session.before.likeliest if session.before else "")
    return judged


def _foreseen(session: _Session) -> _Chances | None:
    """What the last judgement foresaw of what was read since; nothing after a repair."""
    last = session.before
    if last is None or last.after is None or session.said is None:
        return None
    return last.after.said(session.said)


def _with(history: History, event: Event) -> History:
    """A history with one more event; the tests since the last repair stand in order of name."""
    if event[0] == "repair":
        return (*history, event)
    at = len(history)
    while at > 0 and history[at - 1][0] != "repair":
        at -= 1
    # A test that is done again because nothing showed the first time counts as done now.
    now = [done for done in history[at:] if done[1] != event[1]]
    return (*history[:at], *sorted([*now, event], key=lambda done: done[1]))


def _earned(was: _Judgement, now: _Judgement) -> bool:
    """Whether what was read between two judgements moved the likeliest cause."""
    return was.likeliest != now.likeliest or abs(was.chance - now.chance) >= MOVED


def _advance(shop: _Shop, session: _Session, judgement: _Judgement) -> bool:
    """Do what was judged; returns whether the session goes on."""
    before, session.before = session.before, judgement
    if before is not None and before.kind == "test":
        session.read.append((before.id, _earned(before, judgement)))
    session.tangled = judgement.tangled
    if judgement.kind == "stop":
        if session.named is None:
            _name(session, judgement.likeliest if shop.follow == "advice" else "")
        return False
    network, rate = shop.network, shop.rate / 60.0
    if judgement.kind == "test":
        source = network.sources[judgement.id]
        sure = shop.sure.get(source.id)
        showing = source.shows_only is None or shop.showing >= 1.0
        showing = showing or bool(session.observer.random() < shop.showing)
        band = session.car.read(source.id, showing=showing)
        said = observe(source, band, sure, session.observer)
        session.history = _with(session.history, ("test" if showing else "quiet", source.id, said))
        # The look ahead took it that the complaint would show.
        session.said = finding_of(source, said, sure, 0) if showing else None
        session.tests += 1
        session.minutes += source.minutes
        session.money += source.minutes * rate
        return True
    node = network.nodes[network.index[judgement.id]]
    if session.named is None:
        _name(session, judgement.likeliest if shop.follow == "advice" else node.id)
    session.needless += node.id not in _at_work(session.car)
    session.car.repair(node.id)
    session.minutes += node.minutes
    session.money += node.minutes * rate + node.parts
    left = [tree for tree in network.complaints if session.car.has_complaint(tree)]
    session.history = _with(session.history, ("repair", node.id, " ".join(left)))
    session.cured = not left
    return bool(left)


def _name(session: _Session, cause: str) -> None:
    session.named = cause
    session.tests_before_naming = session.tests
    session.minutes_before_naming = session.minutes


def _at_work(car: HiddenCar) -> frozenset[str]:
    """The causes that bring any of the complaints on now."""
    return frozenset().union(*(car.brings_on(tree) for tree in car.network.complaints))


# --- judging -----------------------------------------------------------------------------------


def evidence_of(shop: _Shop, history: History) -> Evidence:
    """A history as the scorer counts it."""
    trees = shop.network.complaints
    findings: list[Finding] = [complaint_finding(tree, True, 0) for tree in trees]
    repaired: dict[str, int] = {}
    stage = 0
    left = list(trees)
    for kind, id, what in history:
        if kind != "repair":
            source = shop.network.sources[id]
            showing = False if kind == "quiet" else None
            findings.append(finding_of(source, what, shop.sure.get(id), stage, showing))
            continue
        stage += 1
        repaired[id] = stage
        before, left = left, what.split()
        for tree in trees:
            # Once a complaint is gone there is nothing new to be found in its being gone.
            if tree in before:
                curable = shop.network.index[id] in shop.network.sources[tree].links
                findings.append(complaint_finding(tree, tree in left, stage, curable=curable))
    return Evidence(tuple(findings), repaired)


def _judge(shop: _Shop, point: _Point) -> _Judgement:
    """What to do at a point, by the advice or by the route."""
    network = shop.network
    evidence = evidence_of(shop, point.history)
    soft = sum(max(finding.bands.values()) < 1.0 for finding in evidence.findings)
    charged = soft > EXACT_UP_TO
    problem = Problem(network, evidence, charged=charged)
    if problem.cells > AHEAD_LIMIT:
        return _Judgement("stop", "", "", 0.0, tangled=True)
    try:
        if shop.follow == "route":
            found = _likeliest(network, solve_problem(problem).active)
            return _Judgement(*_on_route(shop, point.history), *found, charged=charged)
        if point.chances is None:
            start = solve_problem(problem)
            chances = start.present, start.active
        else:
            chances = point.chances
        again = [id for id, kind in _done_now(point.history).items() if kind == "quiet"]
        names = may_come_next(network, evidence, repeatable=again)
        names = promising(problem, *chances, names, *most_tests(problem))
        judged = judge(problem, names, again=again, rate_per_hour=shop.rate, first_only=True)
    except Impossible:
        return _Judgement("stop", "", "", 0.0)
    active = judged.ahead.posterior.active
    found = _likeliest(network, active)
    unlisted = max(float(active[i]) for i in network.relevant if _unlisted(network, i))
    best = judged.suggestions[0] if judged.suggestions else None
    if (
        best is None
        or unlisted >= SURELY_UNLISTED
        or (best.kind == "repair" and best.bands["cured"] < HARDLY_WORTH)
    ):
        return _Judgement("stop", "", *found, charged=charged)
    after = None
    if best.kind == "test":
        it = next(each for each in judged.ahead.outlooks if each.source == best.id)
        after = _After(it.bands, it.chance, it.after, it.active)
    return _Judgement(best.kind, best.id, *found, charged=charged, after=after)


def _done_now(history: History) -> dict[str, str]:
    """The tests done since the last repair, and whether the complaint showed at them."""
    now: dict[str, str] = {}
    for kind, id, _ in reversed(history):
        if kind == "repair":
            break
        now[id] = kind
    return now


def most_tests(problem: Problem) -> tuple[int, int]:
    """How many tests the exact look ahead is to judge: see `MOST_TESTS`."""
    return next((most, easy) for cells, most, easy in MOST_TESTS if problem.cells <= cells)


def _likeliest(network: Network, active: Array) -> tuple[str, float]:
    """The cause that is most likely at work, and its chance."""
    at = max(sorted(network.relevant), key=lambda i: float(active[i]))
    return network.nodes[at].id, float(active[at])


def _unlisted(network: Network, cause: int) -> bool:
    return not is_listed(network.nodes[cause].id)


def _on_route(shop: _Shop, history: History) -> tuple[Literal["test", "repair", "stop"], str]:
    """The next step of the authored route of the first complaint that is still there."""
    left = list(shop.network.complaints)
    bands: dict[str, str] = {}
    repaired = set()
    for kind, id, what in history:
        if kind != "repair":
            bands[id] = what
        else:
            repaired.add(id)
            left = what.split()
            # What was out of its band before a repair has to be read again, as in a session.
            tests = shop.knowledge.tests
            bands = {test: band for test, band in bands.items() if band == tests[test].expect}
    for tree in left:
        step = next_on_route(shop.knowledge, tree, bands, shop.car)
        if step.kind == "test":
            return "test", step.id
        if step.kind == "cause" and step.id not in repaired:
            return "repair", step.id
    return "stop", ""


_SHOP: list[_Shop] = []


def _start_process(shop: _Shop) -> None:
    _SHOP[:] = [shop]
    # What was handed over stays for good: no need to look through it for garbage again and again.
    gc.freeze()


def _judge_here(point: _Point) -> _Judgement:
    return _judge(_SHOP[0], point)


@contextmanager
def _judges(
    shop: _Shop, processes: int
) -> Iterator[Callable[[list[_Point]], Iterable[_Judgement]]]:
    """A way to judge many histories: in this process, or in several."""
    if processes <= 1:
        yield lambda points: [_judge(shop, point) for point in points]
        return
    with ProcessPoolExecutor(processes, initializer=_start_process, initargs=(shop,)) as pool:
        yield lambda points: pool.map(
            _judge_here, points, chunksize=max(1, min(16, len(points) // (4 * processes)))
        )


# --- counting ----------------------------------------------------------------------------------


def _report(
    shop: _Shop,
    sessions: list[_Session],
    judged: Mapping[History, _Judgement],
    trees: tuple[str, ...],
    seed: int,
    as_cause: str | None,
) -> Report:
    runs = len(sessions)
    causes = _cause_lines(shop.network, sessions)
    done, never = _test_lines(shop, sessions)
    cured = sum(session.cured for session in sessions)
    return Report(
        trees=trees,
        follow=shop.follow,
        as_cause=as_cause,
        showing=shop.showing,
        runs=runs,
        seed=seed,
        cured=cured,
        given_up=runs - cured,
        named_right=sum(session.named in session.at_work for session in sessions),
        tests=sum(session.tests for session in sessions) / runs,
        minutes=sum(session.minutes for session in sessions) / runs,
        money=sum(session.money for session in sessions) / runs,
        needless=sum(session.needless for session in sessions) / runs,
        points=len(judged),
        charged=sum(judgement.charged for judgement in judged.values()),
        tangled=sum(session.tangled for session in sessions),
        unnamed=sum(not session.named for session in sessions),
        causes=causes,
        tests_done=done,
        never_done=never,
        weak_spots=_weak_spots(shop.network, causes, done),
        names={shop.network.nodes[i].id: shop.network.nodes[i].name for i in shop.network.relevant},
    )


def _cause_lines(network: Network, sessions: Sequence[_Session]) -> tuple[CauseLine, ...]:
    lines = []
    for i in sorted(network.relevant):
        node = network.nodes[i]
        mine = [session for session in sessions if node.id in session.at_work]
        if not mine:
            continue
        cured = [session for session in mine if session.cured]
        mistaken = Counter(s.named or "" for s in mine if s.named not in s.at_work)
        lines.append(
            CauseLine(
                id=node.id,
                name=node.name,
                at_work=len(mine),
                named=sum(session.named == node.id for session in mine),
                cured=len(cured),
                tests=sum(session.tests_before_naming for session in mine) / len(mine),
                minutes=sum(session.minutes_before_naming for session in mine) / len(mine),
                cure_minutes=sum(s.minutes for s in cured) / len(cured) if cured else 0.0,
                mistaken_for=tuple(sorted(mistaken.items(), key=lambda item: (-item[1], item[0]))),
            )
        )
    return tuple(sorted(lines, key=lambda line: (-line.at_work, line.id)))


def _test_lines(
    shop: _Shop, sessions: Sequence[_Session]
) -> tuple[tuple[TestLine, ...], tuple[TestLine, ...]]:
    """The tests that were done, by how often, and those that could tell something but were not."""
    done: Counter[str] = Counter()
    earned: Counter[str] = Counter()
    for session in sessions:
        for test, moved in session.read:
            done[test] += 1
            earned[test] += moved
    network = shop.network
    lines, never = [], []
    for source in network.sources.values():
        line = TestLine(source.id, source.name, source.minutes, done[source.id], earned[source.id])
        if source.id in done:
            lines.append(line)
        elif not source.is_complaint and set(source.links) & network.relevant:
            never.append(line)
    return tuple(sorted(lines, key=lambda line: (-line.done, line.id))), tuple(never)


def _weak_spots(
    network: Network, causes: Sequence[CauseLine], tests: Sequence[TestLine]
) -> tuple[str, ...]:
    """The worst of what was found, in sentences; the causes first that cost most sessions."""
    spots = []
    often = [line for line in causes if line.at_work >= ENOUGH and is_listed(line.id)]
    missed = [line for line in often if 2 * line.named < line.at_work]
    for line in sorted(missed, key=lambda line: line.named - line.at_work)[:5]:
        wrong = [(id, count) for id, count in line.mistaken_for if id]
        nothing = dict(line.mistaken_for).get("", 0)
        taken = ""
        if wrong and wrong[0][1] >= nothing:
            other = network.nodes[network.index[wrong[0][0]]].name
            taken = f" It was most often taken for: {other} ({wrong[0][1]} times)."
        elif nothing:
            taken = f" In {nothing} of them nothing was named."
        spots.append(
            f"{line.name}: at work in {line.at_work} sessions, named first in only "
            f"{share_of(line.named, line.at_work)} of them.{taken}"
        )
    left = [line for line in often if 10 * line.cured < 9 * line.at_work]
    for line in sorted(left, key=lambda line: line.cured - line.at_work)[:3]:
        spots.append(
            f"{line.name}: {line.at_work - line.cured} of {line.at_work} sessions ended without "
            "a cure."
        )
    for test in idle_tests(tests)[:5]:
        spots.append(
            f"{test.name}: done {test.done} times at {test.minutes:g} minutes, and moved the "
            f"likeliest cause in only {share_of(test.earned, test.done)} of them."
        )
    return tuple(spots)


def idle_tests(tests: Sequence[TestLine]) -> list[TestLine]:
    """The tests that hardly ever earn their time, the most time lost first.

    They moved something less than one time in ten.
    """
    idle = [test for test in tests if test.done >= ENOUGH and 10 * test.earned < test.done]
    return sorted(idle, key=lambda test: (-(test.done - test.earned) * test.minutes, test.id))


def share_of(part: int, whole: int) -> str:
    """A share in whole per cent."""
    return f"{round(100 * part / whole)} %" if whole else "-"
