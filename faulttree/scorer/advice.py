"""What to do next: tests and repairs in one list, by one-step lookahead on expected cost.

The cost of a state is the money still to be spent until the complaint is gone: minutes at the
shop's hourly rate, plus parts. For every test and every repair that could come next the lookahead
takes its own cost, and the value of each state it can lead to, weighted by the chance of getting
there. The smallest total wins, and so it also decides when to stop testing and repair.

What counts about a cause is whether it is *at work* in a complaint of the session: a fault that
is there but idle costs nothing until the complaint is gone. The value of a state is the smaller of
two plans: repair in the order of chance over cost until the complaint is gone; or find out first,
at the best price per bit that a test now offers, and repair what is at work.

The bits are those of independent causes of which at least one is at work, fitted to the chances at
hand: the entropy over rivals when the chances sum to 1, that of every cause by itself when one is
sure. In the order of repairs the chance of still waiting is the sum of what is left, at most 1.

Tried on random problems against the exact optimum (`tests/benchmarks`), as expected cost over the
optimum, mean / worst:

    one fault, 8 causes and 8 tests                 200, cheap tests  200, dear tests
    as it is                                        1.0057 / 1.021    1.0101 / 1.054
    gain a minute, stop at 90 %                     1.0517 / 1.218    1.4397 / 2.366
    repairs by chance over cost, no tests           1.8722 / 2.651    1.3184 / 1.923

    several faults, 4 causes and 4 tests            100, cheap tests  100, dear tests
    as it is                                        1.0081 / 1.046    1.0060 / 1.076
    gain a minute, stop at 90 %                     1.1084 / 1.287    1.6424 / 2.956
    repairs by chance over cost, no tests           1.1819 / 1.462    1.0464 / 1.250

    several faults, 5 causes and 5 tests            100, cheap tests
    as it is                                        1.0147 / 1.050
    gain a minute, stop at 90 %                     1.1227 / 1.333
    repairs by chance over cost, no tests           1.2669 / 1.642

Other forms, on the first 30 of the problems with several faults:

    several faults, 4 causes and 4 tests            30, cheap tests   30, dear tests
    as it is                                        1.0078 / 1.032    1.0042 / 1.076
    waiting by the same independence                1.0089 / 1.025    1.0115 / 1.112
    bits over rivals only                           1.0091 / 1.034    1.0056 / 1.076
    bits of every cause, waiting as in the second   1.0106 / 1.043    1.0120 / 1.112
    bits of every cause present, at work or idle    1.0210 / 1.138    1.0028 / 1.024

On 87 further problems the present form beat the second by 0.001 in the mean, with either kind of
tests. When low reach comes first among tests of four reaches drawn at random, one fault with cheap
tests comes to 1.0117 / 1.019 on 29 problems.
"""

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from faulttree.scorer.evidence import Evidence
from faulttree.scorer.explain import percent
from faulttree.scorer.inference import (
    Ahead,
    Outlook,
    Posterior,
    Problem,
    RepairOutlook,
    look_ahead,
)
from faulttree.scorer.network import Array, Network

RATE_PER_HOUR = 60.0

PAYS_BACK = 0.75
"""A test is worth doing before the best one when it pays this share of its own cost back."""
NEARLY = 0.02
"""So it is when the expected cost with it first is at most this share above the best one's, if it
also tells nearly as much (AS_TELLING)."""
AS_TELLING = 0.75
"""A test that gains at least this share of another's bits tells nearly as much."""
RATES_APART = 3.0
"""A test that gains this many times more per minute may come before one of lower reach."""

AGAIN = "Once more: the last reading lay near a limit, or nothing showed at the time."
EASY_FIRST = "Nearly as good as one that takes more apart, so it comes first."

RULED_OUT = 0.005
"""A chance under this reads "≤1 %": the cause counts as ruled out."""
SPOKEN_OF = 0.02
"""A band less likely than this gets no line, nor a cause that was less likely than this before."""

NOTHING_LEFT = 1e-6
"""The chances of all causes together of being at work, below which the complaint counts as gone."""
LEAST_GAIN = 1e-6
"""Bits; a test that brings less than this brings nothing."""


@dataclass(frozen=True, slots=True)
class Suggestion:
    """One thing to do next, and what it would bring.

    `cost` is the money of doing it; `expected_cost` the money until the complaint is gone if it is
    done now and the best is done afterwards. `bands` gives the chance of each band of a test (for
    a repair: cured, not cured). `settles` says in plain words what each would do, `note` what else
    there is to know about this suggestion.
    """

    kind: Literal["test", "repair"]
    id: str
    name: str
    minutes: float
    parts: float
    cost: float
    expected_cost: float
    gain_bits: float
    reach: int
    bands: Mapping[str, float]
    settles: tuple[str, ...]
    note: str = ""


def _times_log(chances: Array) -> Array:
    """p log2 p, which is 0 at 0."""
    return np.asarray(chances * np.log2(np.maximum(chances, 1e-300)))


def _entropy(chances: Array) -> Array:
    """Bits of every chance on its own, 0 at certainty."""
    return -(_times_log(chances) + _times_log(1.0 - chances))


def _some_at_work(chances: Array) -> Array:
    """The chance Z that independent causes would give of any being at work; last axis summed up.

    Given a complaint, at least one cause is at work. Causes that were independent before that was
    known have chances a = b / Z after it, with Z = 1 - product of (1 - b); this solves for Z. It
    is 0 when the chances sum to 1 or less: the causes then exclude one another.
    """
    total = chances.sum(axis=-1)
    pairs = np.maximum(0.5 * (total**2 - (chances**2).sum(axis=-1)), 1e-300)
    # Newton from the right: 1 - product is concave, so this falls to the larger root. That is
    # at most 2 (total - 1) / pairs as long as triples weigh little against pairs.
    start = 2.0 * np.maximum(total - 1.0, 0.0) / pairs
    z = np.where((start < 1.0) & (start * total < 1.5), start, 1.0)
    for _ in range(6):
        rest = np.maximum(1.0 - chances * z[:, None], 1e-12)
        product = np.prod(rest, axis=-1)
        slope = product * (chances / rest).sum(axis=-1) - 1.0
        before = z
        z = z - (1.0 - product - z) / np.where(slope < 0.0, slope, -math.inf)
        z = np.minimum(np.maximum(z, 0.0), 1.0)
        if np.abs(z - before).max(initial=0.0) < 1e-14:
            break
    return np.asarray(np.where(total > 1.0, z, 0.0))


class _Money:
    """Costs of the causes that count: those that can bring on the session's complaints."""

    def __init__(self, problem: Problem, rate_per_hour: float) -> None:
        network = problem.network
        self.rate = rate_per_hour / 60.0
        known = [i for i in sorted(network.relevant) if i not in problem.gone_at]
        self.counting = [i for i in known if network.nodes[i].repairable]
        self.known = self.counting + [i for i in known if not network.nodes[i].repairable]
        self.count = len(self.counting)
        nodes = [network.nodes[i] for i in self.counting]
        self.costs = np.array([node.minutes * self.rate + node.parts for node in nodes])
        self.repair = np.maximum(1e-6, self.costs)

    def leaves(self, active: Array) -> "_Leaves":
        """What is still to be spent in each of many states; `active` has one row for each."""
        a = active[:, self.known]
        total = a.sum(axis=1)
        z = np.zeros(len(a))
        several = total > 1.0 + 1e-9
        z[several] = _some_at_work(a[several])
        together = z > 1e-4
        joint = np.where(together, z, 1.0)[:, None]
        bits = (_entropy(a * joint).sum(axis=1) - _entropy(joint)[:, 0]) / joint[:, 0]
        # One at a time, or none: what is left over is the chance that none is at work.
        none = np.clip(1.0 - total, 0.0, 1.0)
        apart = -(_times_log(a).sum(axis=1) + _times_log(none))
        bits = np.maximum(np.where(together, bits, apart), 0.0)
        return _Leaves(bits, self._in_order(a), a[:, : self.count] @ self.repair)

    def _in_order(self, a: Array) -> Array:
        """The cost of repairing in the order of chance over cost until the complaint is gone."""
        mine, others = a[:, : self.count], a[:, self.count :]
        backwards = np.argsort(-mine / self.repair, axis=1, kind="stable")[:, ::-1]
        # Not cured before a repair: some cause from it onwards (or one not listed) is at work.
        waiting = np.cumsum(np.take_along_axis(mine, backwards, axis=1), axis=1)
        waiting += others.sum(axis=1)[:, None]
        return np.asarray((self.repair[backwards] * np.minimum(1.0, waiting)).sum(axis=1))


@dataclass(frozen=True, slots=True)
class Judged:
    """What could come next, best first, and the look ahead that says so."""

    suggestions: list[Suggestion]
    ahead: Ahead


@dataclass(frozen=True, slots=True)
class _Leaves:
    """States at the end of the lookahead: one row each.

    `bits` is what is not known about which causes are at work, `in_order` the cost of repairing
    in order without another test, `settled` that of repairing what is at work once it is known.
    """

    bits: Array
    in_order: Array
    settled: Array

    def value(self, price_per_bit: float) -> Array:
        """The cost still to come: the cheaper of the two plans."""
        if math.isinf(price_per_bit):
            return self.in_order
        return np.minimum(self.in_order, self.settled + price_per_bit * self.bits)


def open_tests(
    network: Network,
    evidence: Evidence,
    done: Collection[str],
    repeatable: Collection[str] = (),
) -> list[str]:
    """Tests that may come next: not `done` unless `repeatable`, and `after` satisfied."""
    read = {f.source: f for f in evidence.findings}
    names = []
    for source in network.sources.values():
        if source.is_complaint or not source.links:
            continue
        if source.id in done and source.id not in repeatable:
            continue
        allowed = not source.after or all(
            test in read and max(read[test].bands, key=lambda b: read[test].bands[b]) in bands
            for test, bands in source.after.items()
        )
        if allowed:
            names.append(source.id)
    return names


def advise(
    network: Network,
    evidence: Evidence,
    *,
    done: Collection[str] = (),
    barred: Collection[str] = (),
    repeatable: Collection[str] = (),
    rate_per_hour: float = RATE_PER_HOUR,
    problem: Problem | None = None,
    posterior: Posterior | None = None,
) -> list[Suggestion]:
    """Every test and repair that could come next, best first.

    `done` are tests already read since the last repair, `barred` those that cannot be done; both
    are left out. `repeatable` are tests worth reading again although they are done: the figure lay
    near a limit, or the complaint was not showing; they are judged as one more reading of their
    family. `problem` and `posterior` may be handed in when they are at hand.

    The order is by expected cost, but a test of lower reach that is nearly as good as the best
    test comes before it.
    """
    problem = problem or Problem(network, evidence)
    names = may_come_next(network, evidence, done, barred, repeatable)
    return judge(
        problem,
        names,
        again=_read_before(evidence, done) & set(repeatable),
        rate_per_hour=rate_per_hour,
        posterior=posterior,
    ).suggestions


def may_come_next(
    network: Network,
    evidence: Evidence,
    done: Collection[str] = (),
    barred: Collection[str] = (),
    repeatable: Collection[str] = (),
) -> list[str]:
    """The tests that `advise` judges; see there."""
    before = _read_before(evidence, done)
    return [
        name for name in open_tests(network, evidence, before, repeatable) if name not in barred
    ]


def _read_before(evidence: Evidence, done: Collection[str]) -> set[str]:
    """What is `done`, and every source read since the last repair."""
    return {*done, *(f.source for f in evidence.findings if f.stage == evidence.stage)}


def judge(
    problem: Problem,
    names: Sequence[str],
    *,
    again: Collection[str] = (),
    rate_per_hour: float = RATE_PER_HOUR,
    posterior: Posterior | None = None,
    first_only: bool = False,
) -> Judged:
    """These tests, and every repair, best first.

    `again` are those of the tests that were read before. `first_only` is for whoever wants to know
    no more than what comes first: `settles` stays empty, and only the best of the repairs is there.
    """
    network, evidence = problem.network, problem.evidence
    money = _Money(problem, rate_per_hour)
    causes = [network.nodes[i].id for i in money.counting]
    if evidence.stage > 0 and not _looked_again(network, evidence):
        # The last repair may have cured the complaint already: no next one before that is known.
        causes = []
    ahead = look_ahead(problem, names, causes)
    posterior = posterior or ahead.posterior
    if ahead.posterior.active[money.known].sum() < NOTHING_LEFT:
        # The complaint is gone: whatever is still there costs nothing, and no repair cures it.
        return Judged([], ahead)
    costs = [network.sources[name].minutes * money.rate for name in names]
    # Every state at once: now, after each band of each test, after each repair that fails.
    failed = [repair.active[None] for repair in ahead.repairs]
    # What comes next is set against the look ahead's own now: it may be rougher than `posterior`.
    leaves = money.leaves(np.concatenate([[ahead.posterior.active], ahead.active, *failed]))
    count = len(ahead.chance)
    starts = np.cumsum([0, *(len(outlook.bands) for outlook in ahead.outlooks)])[:-1]
    gains: list[float] = []
    if names:
        after = np.add.reduceat(ahead.chance * leaves.bits[1 : count + 1], starts)
        gains = [float(gain) for gain in leaves.bits[0] - after]
    price = min(
        (c / g for c, g in zip(costs, gains, strict=True) if g > LEAST_GAIN), default=math.inf
    )
    values = leaves.value(price)
    suggestions: list[Suggestion] = []
    if names:
        later = np.add.reduceat(ahead.chance * values[1 : count + 1], starts)
        said: list[tuple[str, ...]] = [() for _ in names]
        if not first_only:
            said = _settles(network, money, posterior, ahead)
        suggestions += [
            _test_suggestion(
                network, outlook, gain, cost, float(rest), lines, AGAIN * (outlook.source in again)
            )
            for outlook, gain, cost, rest, lines in zip(
                ahead.outlooks, gains, costs, later, said, strict=True
            )
            if gain > LEAST_GAIN
        ]
    repairs = list(zip(ahead.repairs, values[count + 1 :].tolist(), strict=True))
    if first_only and repairs:
        cured = np.array([repair.cured for repair in ahead.repairs])
        repairs = [repairs[int((money.costs + (1.0 - cured) * values[count + 1 :]).argmin())]]
    suggestions += [_repair_suggestion(network, money, *each) for each in repairs]
    return Judged(_low_reach_first(sorted(suggestions, key=lambda s: s.expected_cost)), ahead)


def _looked_again(network: Network, evidence: Evidence) -> bool:
    """Whether a complaint was looked for, present or gone, since the last repair."""
    return any(
        network.sources[finding.source].is_complaint and finding.stage == evidence.stage
        for finding in evidence.findings
    )


def _low_reach_first(suggestions: Sequence[Suggestion]) -> list[Suggestion]:
    """Put tests of lower reach that are nearly as good as the best test before it.

    The usual rule is not to reach further into the engine while something useful is to be had with
    less, unless it gains more than three times as much a minute (common practice, no source). By
    itself that would have every look done first that tells next to nothing, so the easier test
    must pay most of its own cost back, or tell nearly as much for little more.

    On 1,200 simulated sessions with six of the shipped trees the mean cost is then 312 (150 counted
    for a car given up, standard error 12) with 12.2 tests a session. Without any such rule it is
    312 with 11.6 tests; with "at most 2 % above the best" alone 307 with 14.0 tests.
    """
    best = next((s for s in suggestions if s.kind == "test"), None)
    if best is None:
        return list(suggestions)
    near = [
        s
        for s in suggestions
        if s.kind == "test"
        and s.reach <= best.reach
        and _nearly_as_good(s, best)
        and s.gain_bits * best.minutes * RATES_APART >= best.gain_bits * s.minutes
    ]
    near.sort(key=lambda s: (s.reach, s.expected_cost))
    if near and near[0] is not best and near[0].reach < best.reach and not near[0].note:
        near[0] = replace(near[0], note=EASY_FIRST)
    at = suggestions.index(best)
    moved = {s.id for s in near}
    rest = [s for s in suggestions if s.kind != "test" or s.id not in moved]
    return [*rest[:at], *near, *rest[at:]]


def _nearly_as_good(one: Suggestion, best: Suggestion) -> bool:
    extra = one.expected_cost - best.expected_cost
    if extra <= (1.0 - PAYS_BACK) * one.cost:
        return True
    telling = one.gain_bits >= AS_TELLING * best.gain_bits
    return telling and extra <= NEARLY * best.expected_cost


def _repair_suggestion(
    network: Network, money: _Money, repair: RepairOutlook, later: float
) -> Suggestion:
    node = network.nodes[network.index[repair.cause]]
    cost = node.minutes * money.rate + node.parts
    return Suggestion(
        kind="repair",
        id=node.id,
        name=node.name,
        minutes=node.minutes,
        parts=node.parts,
        cost=cost,
        expected_cost=cost + (1.0 - repair.cured) * later,
        gain_bits=0.0,
        reach=0,
        bands={"cured": repair.cured, "not cured": 1.0 - repair.cured},
        settles=(f"cures the complaint with a chance of {percent(repair.cured)}",),
    )


def _test_suggestion(
    network: Network,
    outlook: Outlook,
    gain: float,
    cost: float,
    later: float,
    said: tuple[str, ...],
    note: str,
) -> Suggestion:
    source = network.sources[outlook.source]
    return Suggestion(
        kind="test",
        id=source.id,
        name=source.name,
        minutes=source.minutes,
        parts=0.0,
        cost=cost,
        expected_cost=cost + later,
        gain_bits=gain,
        reach=source.reach,
        bands=dict(zip(outlook.bands, outlook.chance.tolist(), strict=True)),
        settles=said,
        note=note,
    )


def _settles(
    network: Network, money: _Money, posterior: Posterior, ahead: Ahead
) -> list[tuple[str, ...]]:
    """For each test, and each band of it that may well come, what it would do, in plain words.

    A band tells the cause that it moves most; when that one falls and is ruled out, all that are.
    """
    if not money.known:
        return [() for _ in ahead.outlooks]
    was = posterior.present[money.known]
    now = ahead.after[:, money.known]
    most = np.abs(now - was).argmax(axis=1)
    out = (was >= SPOKEN_OF) & (now < RULED_OUT)
    rows = zip(
        ahead.chance.tolist(),
        most.tolist(),
        was[most].tolist(),
        now[np.arange(len(now)), most].tolist(),
        out,
        strict=True,
    )
    names = [network.nodes[at].name for at in money.known]
    said = []
    for outlook in ahead.outlooks:
        lines = []
        for band, (chance, at, before, after, fallen) in zip(outlook.bands, rows, strict=False):
            if chance < SPOKEN_OF or abs(after - before) < 0.01:
                continue
            told = f"{names[at]} {percent(before)} -> {percent(after)}"
            if fallen[at]:
                ruled_out = sorted(np.flatnonzero(fallen), key=lambda i: -was[i])
                told = f"rules out {_listed([names[i] for i in ruled_out])}"
            lines.append(f"{band} ({percent(chance)}): {told}")
        said.append(tuple(lines))
    return said


def _listed(names: Sequence[str], most: int = 3) -> str:
    """Names in a row; past the first few only how many more there are."""
    if len(names) > most:
        return f"{', '.join(names[: most - 1])} and {len(names) - most + 1} more"
    if len(names) < 2:
        return names[0]
    return f"{', '.join(names[:-1])} and {names[-1]}"
