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

import json
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from typing import Literal

import numpy as np

from faulttree.scorer.advice import RATE_PER_HOUR, advise
from faulttree.scorer.evidence import Evidence, Finding
from faulttree.scorer.inference import AHEAD_LIMIT, Impossible, Problem, solve_problem
from faulttree.scorer.network import Network, build_network
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
WIDEST = 1 << 9
"""Past so many cells the choices read are taken at their word, or a rehearsal takes all day."""
SURELY_UNLISTED = 0.9
"""Once something not listed is as likely as this, the car is handed on."""
MOVED = 0.05
"""A reading earned its time when it moved the likeliest cause by this much, or changed it."""
ENOUGH = 10
"""Fewer sessions than this say little about a cause or a test."""

Event = tuple[str, str, str]
"""One thing that happened: `test`, its id and band; or `repair`, the cause and what is left."""
History = tuple[Event, ...]


@dataclass(frozen=True, slots=True)
class CauseLine:
    """How it went when one cause was at work.

    `named` counts the sessions in which it was the one named when the first repair was begun (or
    the work given up). `tests` is the mean number done before that, `minutes` the mean time of all
    work until the cure, over the sessions that were cured. `mistaken_for` counts what was named
    when nothing at work was; "" stands for nothing at all.
    """

    id: str
    name: str
    at_work: int
    named: int
    cured: int
    tests: float
    minutes: float
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
    given up because their readings hang together too closely to be reckoned with exactly.
    `at_word` counts the points, of `points` judged, at which an observer's errors could no longer
    be reckoned with and choices were taken at their word. `never_done` lists the tests that could
    have told something but were never chosen. `weak_spots` says the worst of it in plain words.
    """

    trees: tuple[str, ...]
    follow: Follow
    as_cause: str | None
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
    at_word: int
    tangled: int
    causes: tuple[CauseLine, ...]
    tests_done: tuple[TestLine, ...]
    never_done: tuple[TestLine, ...]
    weak_spots: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Shop:
    """All that is needed to judge a history; handed to every process once."""

    knowledge: Knowledge
    network: Network
    car: Car
    follow: Follow
    sure: Mapping[str, float]
    rate: float


@dataclass(frozen=True, slots=True)
class _Judgement:
    """What is to be done after a history, and which cause looks likeliest then."""

    kind: Literal["test", "repair", "stop"]
    id: str
    likeliest: str
    chance: float
    tangled: bool = False
    at_word: bool = False


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
    minutes: float = 0.0
    money: float = 0.0
    needless: int = 0
    tangled: bool = False
    before: _Judgement | None = None
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
    processes: int = 1,
    rate_per_hour: float = RATE_PER_HOUR,
) -> Report:
    """Walk `runs` cars with hidden faults to their cure and say how it went.

    `as_cause` draws only cars on which that cause is at work. The same seed gives the same report,
    whatever the number of processes. Raises KeyError for an unknown tree or cause, ValueError for
    fewer than one run, simulate.OutOfReach when no such car exists.
    """
    if runs < 1:
        raise ValueError("a rehearsal needs at least one session")
    network = build_network(knowledge, tree_ids, car)
    shop = _Shop(knowledge, network, car, follow, sureness(knowledge), rate_per_hour)
    sessions = []
    for number in range(runs):
        drawing, observing = (np.random.default_rng([seed, number, k]) for k in (0, 1))
        hidden = draw_car(network, drawing, as_cause)
        sessions.append(_Session(hidden, observing, _at_work(hidden)))
    with _judges(shop, processes) as judge_all:
        judged = _walk(shop, sessions, judge_all)
    return _report(shop, sessions, judged, tuple(tree_ids), seed, as_cause)


# --- the walk ----------------------------------------------------------------------------------


def _walk(
    shop: _Shop,
    sessions: list[_Session],
    judge_all: Callable[[list[History]], Iterable[_Judgement]],
) -> dict[History, _Judgement]:
    """Take every session to its end, round by round; returns every judgement made."""
    judged: dict[History, _Judgement] = {}
    going = sessions
    for _ in range(MOST_STEPS + 1):
        new = list(dict.fromkeys(s.history for s in going if s.history not in judged))
        judged.update(zip(new, judge_all(new), strict=True))
        going = [session for session in going if _advance(shop, session, judged[session.history])]
        if not going:
            break
    for session in going:
        if session.named is None:
            _name(session, session.before.likeliest if session.before else "")
    return judged


def _with(history: History, event: Event) -> History:
    """A history with one more event; the tests since the last repair stand in order of name."""
    if event[0] == "repair":
        return (*history, event)
    at = len(history)
    while at > 0 and history[at - 1][0] == "test" and history[at - 1] > event:
        at -= 1
    return (*history[:at], event, *history[at:])


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
        said = observe(source, session.car.read(source.id), sure, session.observer)
        session.history = _with(session.history, ("test", source.id, said))
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


def _at_work(car: HiddenCar) -> frozenset[str]:
    """The causes that bring any of the complaints on now."""
    return frozenset().union(*(car.brings_on(tree) for tree in car.network.complaints))


# --- judging -----------------------------------------------------------------------------------


def evidence_of(shop: _Shop, history: History, at_word: bool = False) -> Evidence:
    """A history as the scorer counts it; `at_word` leaves no doubt in a choice."""
    trees = shop.network.complaints
    findings: list[Finding] = [complaint_finding(tree, True, 0) for tree in trees]
    repaired: dict[str, int] = {}
    stage = 0
    for kind, id, what in history:
        if kind == "test":
            source = shop.network.sources[id]
            findings.append(finding_of(source, what, None if at_word else shop.sure.get(id), stage))
        else:
            stage += 1
            repaired[id] = stage
            left = what.split()
            findings += [complaint_finding(tree, tree in left, stage) for tree in trees]
    return Evidence(tuple(findings), repaired)


def _judge(shop: _Shop, history: History) -> _Judgement:
    """What to do after a history, by the advice or by the route."""
    network = shop.network
    evidence = evidence_of(shop, history)
    try:
        problem = Problem(network, evidence)
        at_word = problem.cells > WIDEST
        if at_word:
            evidence = evidence_of(shop, history, at_word)
            problem = Problem(network, evidence)
        if problem.cells > AHEAD_LIMIT:
            return _Judgement("stop", "", "", 0.0, True)
        posterior = solve_problem(problem)
    except Impossible:
        return _Judgement("stop", "", "", 0.0)
    at = max(sorted(network.relevant), key=lambda i: float(posterior.active[i]))
    found = (network.nodes[at].id, float(posterior.active[at]), False, at_word)
    if shop.follow == "route":
        kind, id = _on_route(shop, history)
        return _Judgement(kind, id, *found)
    suggestions = advise(
        network, evidence, rate_per_hour=shop.rate, problem=problem, posterior=posterior
    )
    if not suggestions:
        return _Judgement("stop", "", *found)
    unlisted = max(float(posterior.active[i]) for i in network.relevant if _unlisted(network, i))
    if unlisted >= SURELY_UNLISTED:
        return _Judgement("stop", "", *found)
    best = suggestions[0]
    if best.kind == "repair" and best.bands["cured"] < HARDLY_WORTH:
        return _Judgement("stop", "", *found)
    return _Judgement(best.kind, best.id, *found)


def _unlisted(network: Network, cause: int) -> bool:
    return not is_listed(network.nodes[cause].id)


def _on_route(shop: _Shop, history: History) -> tuple[Literal["test", "repair", "stop"], str]:
    """The next step of the authored route of the first complaint that is still there."""
    left = list(shop.network.complaints)
    bands: dict[str, str] = {}
    repaired = set()
    for kind, id, what in history:
        if kind == "test":
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


def _judge_here(history: History) -> _Judgement:
    return _judge(_SHOP[0], history)


@contextmanager
def _judges(
    shop: _Shop, processes: int
) -> Iterator[Callable[[list[History]], Iterable[_Judgement]]]:
    """A way to judge many histories: in this process, or in several."""
    if processes <= 1:
        yield lambda histories: [_judge(shop, history) for history in histories]
        return
    with ProcessPoolExecutor(processes, initializer=_start_process, initargs=(shop,)) as pool:
        yield lambda histories: pool.map(
            _judge_here, histories, chunksize=max(1, min(16, len(histories) // (4 * processes)))
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
        at_word=sum(judgement.at_word for judgement in judged.values()),
        tangled=sum(session.tangled for session in sessions),
        causes=causes,
        tests_done=done,
        never_done=never,
        weak_spots=_weak_spots(shop.network, causes, done),
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
                minutes=sum(s.minutes for s in cured) / len(cured) if cured else 0.0,
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
        taken = ""
        if wrong:
            other = network.nodes[network.index[wrong[0][0]]].name
            taken = f" It was most often taken for: {other} ({wrong[0][1]} times)."
        spots.append(
            f"{line.name}: at work in {line.at_work} sessions, named first in only "
            f"{_share(line.named, line.at_work)} of them.{taken}"
        )
    left = [line for line in often if 10 * line.cured < 9 * line.at_work]
    for line in sorted(left, key=lambda line: line.cured - line.at_work)[:3]:
        spots.append(
            f"{line.name}: {line.at_work - line.cured} of {line.at_work} sessions ended without "
            "a cure."
        )
    for test in idle_tests(tests):
        spots.append(
            f"{test.name}: done {test.done} times at {test.minutes:g} minutes, and moved the "
            f"likeliest cause in only {_share(test.earned, test.done)} of them."
        )
    return tuple(spots)


def idle_tests(tests: Sequence[TestLine]) -> list[TestLine]:
    """The tests that hardly ever earn their time: moved something less than one time in ten."""
    return [test for test in tests if test.done >= ENOUGH and 10 * test.earned < test.done]


# --- rendering ---------------------------------------------------------------------------------


def to_text(report: Report, width: int = 80) -> str:
    """The report as plain text for a terminal or a file."""
    how = "the advice" if report.follow == "advice" else "the authored route"
    lines = [
        f"Rehearsal of {', '.join(report.trees)}: {report.runs} sessions by {how}, "
        f"seed {report.seed}",
    ]
    if report.as_cause:
        lines.append(f"only cars with {report.as_cause} at work")
    lines += [
        "",
        f"cured                        {report.cured} ({_share(report.cured, report.runs)})",
        f"right cause named first      {report.named_right} "
        f"({_share(report.named_right, report.runs)})",
        f"tests a car                  {report.tests:.1f}",
        f"minutes a car, all work      {report.minutes:.0f}",
        f"money a car, parts included  {report.money:.0f}",
        f"needless repairs a car       {report.needless:.2f}",
    ]
    if report.at_word:
        share = _share(report.at_word, report.points)
        lines.append(f"choices taken at their word  at {share} of {report.points} points")
    if report.tangled:
        lines.append(f"given up as too tangled      {report.tangled}")
    lines += ["", "When at work               sessions  named first  cured  tests  minutes", ""]
    names = {line.id: line.name for line in report.causes}
    for line in report.causes:
        lines.append(
            f"{_fit(line.name, 26)} {line.at_work:8}  {_share(line.named, line.at_work):>11}  "
            f"{_share(line.cured, line.at_work):>5}  {line.tests:5.1f}  {line.minutes:7.0f}"
        )
        wrong = [
            f"{names.get(id, id) if id else 'nothing named'} {count}"
            for id, count in line.mistaken_for[:3]
        ]
        if wrong:
            lines.append(_fit(f"    taken for: {', '.join(wrong)}", width).rstrip())
    lines += ["", "Test                                        done  moved something", ""]
    for test in report.tests_done:
        lines.append(f"{_fit(test.name, 40)} {test.done:7}  {_share(test.earned, test.done):>15}")
    if report.never_done:
        lines += ["", "Never chosen: " + ", ".join(test.id for test in report.never_done)]
    lines += ["", "Weak spots"]
    lines += [f"- {spot}" for spot in report.weak_spots] or ["- none that so many sessions show"]
    lines += [
        "",
        "The cars obey the trees' own numbers: this is what the trees can do if those",
        "are right.",
    ]
    return "\n".join(lines) + "\n"


def to_json(report: Report) -> str:
    """The report as JSON."""
    return json.dumps(asdict(report), indent=1, ensure_ascii=False) + "\n"


def _fit(text: str, width: int) -> str:
    """A text cut or filled to a width."""
    return text.ljust(width) if len(text) <= width else text[: width - 1] + "…"


def _share(part: int, whole: int) -> str:
    return f"{round(100 * part / whole)} %" if whole else "-"
