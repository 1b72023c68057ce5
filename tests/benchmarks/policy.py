"""Following the advice against the exact optimum, on random problems small enough to solve.

A problem is a belief over fault states, tests with three bands, and the costs of tests and
repairs; the complaint shows until every cause at work is repaired. Each test is read at most
once. The advice sees it as a network and findings, like any other car; the optimum sees the
belief. Single-fault problems are solved by dynamic programming over every outcome of the tests
and every set of repairs, problems of several faults by branch and bound over beliefs.
"""

import itertools
import math
import statistics
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from faulttree.scorer.advice import (
    AS_TELLING,
    LEAST_GAIN,
    NEARLY,
    PAYS_BACK,
    RATES_APART,
    _Leaves,
    _Money,
    advise,
)
from faulttree.scorer.evidence import GONE, PRESENT, Evidence, Finding
from faulttree.scorer.inference import Problem
from faulttree.scorer.network import Array, Network, Node, Source, make_network

BANDS = ("low", "high", "ok")
TINY = 1e-6
"""Priors of single-fault problems are scaled by this, so that two faults at once do not count."""
NEGLIGIBLE = 1e-8
"""A way that is less likely than this is cut off at the cost of repairing what is at work."""


@dataclass(frozen=True, slots=True)
class Case:
    """A problem: the fault states' weights, what is present and at work in each, and the costs.

    `present` and `active` hold one bit for each cause. `likely[k][repaired]` is the chance of
    every band of test k, shape (states, bands), once the causes in `repaired` are gone.
    """

    network: Network
    weights: Array
    active: np.ndarray
    likely: tuple[tuple[Array, ...], ...]
    test_cost: Array
    repair_cost: Array
    scope: tuple[int, ...]

    def at_work(self) -> Array:
        """One row for each state, one column for each cause."""
        return (self.active[:, None] >> np.arange(len(self.repair_cost)) & 1).astype(np.float64)

    def least(self, weights: Array, repaired: int) -> float:
        """What it would cost if all were known: the causes at work and no others."""
        live = np.array([c * (not repaired >> i & 1) for i, c in enumerate(self.repair_cost)])
        return float(weights @ (self.at_work() @ live))

    def left(self, weights: Array, repaired: int) -> Array:
        """The weights of the states in which the complaint still shows."""
        return weights * ((self.active & ~repaired) != 0)


def _costs(rng: np.random.Generator, causes: int, tests: int, dear: bool) -> tuple[Array, Array]:
    repair = np.exp(rng.uniform(math.log(20), math.log(300), causes))
    return repair, rng.uniform(10, 60, tests) if dear else rng.uniform(1, 10, tests)


def _network(
    priors: Array, brings_on: Array, links: Array, leak: Array, repair: Array, test: Array,
    reach: list[int],
) -> Network:  # fmt: skip
    """Links have shape (tests, bands but the last, causes); a minute costs one unit of money."""
    nodes = [
        Node(f"c{i}", f"cause {i}", float(p), parts=float(repair[i])) for i, p in enumerate(priors)
    ]
    shows = {i: (float(q),) for i, q in enumerate(brings_on)}
    sources = [
        Source("complaint", "complaint", (PRESENT,), GONE, "complaint", shows, (0.0,),
               is_complaint=True)
    ]  # fmt: skip
    for k in range(len(test)):
        rows = {
            i: tuple(map(float, links[k, :, i])) for i in range(len(priors)) if links[k, :, i].any()
        }
        sources.append(
            Source(f"t{k}", f"test {k}", BANDS[:-1], BANDS[-1], f"t{k}", rows,
                   tuple(map(float, leak[k])), float(test[k]), reach[k])
        )  # fmt: skip
    return make_network(nodes, sources, ["complaint"])


def single_fault(
    rng: np.random.Generator, dear: bool, causes: int = 8, tests: int = 8, reaches: int = 1
) -> Case:
    """One fault: chances and bands drawn evenly and unevenly (Dirichlet 1 and 0.5)."""
    weights = rng.dirichlet(np.ones(causes))
    links = rng.dirichlet(np.full(3, 0.5), size=(tests, causes)).transpose(0, 2, 1)
    repair, test = _costs(rng, causes, tests, dear)
    reach = [int(r) for r in rng.integers(0, reaches, tests)]
    network = _network(
        TINY * weights, np.ones(causes), links[:, :2], np.zeros((tests, 2)), repair, test, reach
    )
    same = tuple(tuple(links[k].T for _ in range(1 << causes)) for k in range(tests))
    return Case(network, weights, 1 << np.arange(causes), same, test, repair, (0,) * tests)


def several_faults(
    rng: np.random.Generator, dear: bool, causes: int, tests: int, common: float = 0.4
) -> Case:
    """Causes present together, each at work or idle; tests that see some of them, with leaks."""
    prior = rng.uniform(0.05, common, causes)
    brings_on = rng.uniform(0.3, 1.0, causes)
    links = rng.dirichlet(np.full(3, 0.5), size=(tests, causes)).transpose(0, 2, 1)[:, :2]
    links = links * (rng.random((tests, 1, causes)) < 0.6)
    leak = rng.uniform(0.01, 0.05, (tests, 2))
    repair, test = _costs(rng, causes, tests, dear)
    states = np.array(list(itertools.product(range(3), repeat=causes)))
    each = np.stack([1 - prior, prior * (1 - brings_on), prior * brings_on])
    weights = np.prod(each[states, np.arange(causes)], axis=1)
    bits = 1 << np.arange(causes)
    active = (states == 2) @ bits
    present = (states > 0) @ bits
    keep = active != 0
    weights, active, present = weights[keep], active[keep], present[keep]
    likely = []
    for k in range(tests):
        quiet = 1.0 - np.cumsum(links[k], axis=0)
        table = np.empty((1 << causes, 3))
        for these in range(1 << causes):
            up_to = 1.0 - np.cumsum(leak[k])
            for i in range(causes):
                if these >> i & 1:
                    up_to = up_to * quiet[:, i]
            table[these] = [1.0 - up_to[0], up_to[0] - up_to[1], up_to[1]]
        likely.append(tuple(table[present & ~gone] for gone in range(1 << causes)))
    network = _network(prior, brings_on, links, leak, repair, test, [0] * tests)
    scope = tuple(int(links[k].any(axis=0) @ bits) for k in range(tests))
    return Case(
        network, weights / weights.sum(), active, tuple(likely), test, repair, scope
    )  # fmt: skip


# --- the optimum -------------------------------------------------------------------------------


def best_single(case: Case) -> float:
    """The exact optimum of a single-fault problem, everything left unnormalised.

    An axis of length 4 for each test says "not read" or which band; the first axis is the set of
    repairs. Test outcomes are filled in from the last test unread to the first.
    """
    tests, causes = len(case.test_cost), len(case.repair_cost)
    count = 1 << causes
    bits = np.arange(count)[:, None] >> np.arange(causes) & 1
    alive = 1.0 - bits
    sizes = bits.sum(axis=1)
    layers = [
        [(i, np.flatnonzero((sizes == size) & (bits[:, i] == 0))) for i in range(causes)]
        for size in range(causes - 1, -1, -1)
    ]
    value = np.zeros((count, *[4] * tests))
    subsets = sorted(itertools.product((0, 1), repeat=tests), key=lambda unread: sum(unread))
    for unread in subsets:
        weights = case.weights[:, *[None] * tests]
        for k in range(tests):
            if not unread[k]:
                shape = [causes] + [3 if j == k else 1 for j in range(tests)]
                weights = weights * case.likely[k][0].reshape(shape)
        mass = np.tensordot(alive, weights, axes=1)
        at = [slice(0, 1) if u else slice(1, 4) for u in unread]
        best = np.full(mass.shape, np.inf)
        for k in range(tests):
            if unread[k]:
                then = list(at)
                then[k] = slice(1, 4)
                after = value[:, *then].sum(axis=k + 1, keepdims=True)
                np.minimum(best, case.test_cost[k] * mass + after, out=best)
        best[count - 1] = 0.0
        for layer in layers:
            for i, rows in layer:
                if len(rows):
                    tried = case.repair_cost[i] * mass[rows] + best[rows | 1 << i]
                    best[rows] = np.minimum(best[rows], tried)
        value[:, *at] = best
    return float(value[0, *[0] * tests])


class TooLarge(Exception):
    """The branch and bound met more beliefs than it may."""


class Bound:
    """Branch and bound over beliefs: what is known about a state is the set of its readings.

    A reading is told by its test, its band, and which of the causes it sees were gone by then.
    """

    def __init__(self, case: Case, limit: int) -> None:
        self.case = case
        self.limit = limit
        self.seen: dict[tuple[int, tuple[tuple[int, int, int], ...]], tuple[float, bool]] = {}

    def best(self, upper: float) -> float:
        """The optimum, given the cost of some policy."""
        unread = tuple(range(len(self.case.test_cost)))
        return min(upper, self._go(self.case.weights, 0, (), unread, upper * (1 + 1e-12)))

    def _go(
        self,
        weights: Array,
        repaired: int,
        read: tuple[tuple[int, int, int], ...],
        unread: tuple[int, ...],
        bound: float,
    ) -> float:
        """The least cost from here if it is below the bound, else anything from the bound up."""
        case = self.case
        mass = float(weights.sum())
        if mass < 1e-9:
            return case.least(weights, repaired)
        known = self.seen.get((repaired, read))
        if known is not None and (known[1] or known[0] >= bound):
            return known[0]
        if len(self.seen) > self.limit:
            raise TooLarge
        tries = []
        for i, cost in enumerate(case.repair_cost):
            if not repaired >> i & 1:
                then = repaired | 1 << i
                left = case.left(weights, then)
                tries.append((cost * mass + case.least(left, then), True, i, left))
        for k in unread:
            split = weights[:, None] * case.likely[k][repaired]
            tries.append(
                (case.test_cost[k] * mass + case.least(weights, repaired), False, k, split)
            )
        tries.sort(key=lambda one: one[0])
        best, found = bound, False
        for least, is_repair, at, then in tries:
            if least >= best:
                break
            if is_repair:
                cost = case.repair_cost[at] * mass
                cost += self._go(then, repaired | 1 << at, read, unread, best - cost)
            else:
                cost = self._test(then, repaired, read, unread, at, best, mass)
            if cost < best:
                best, found = cost, True
        self.seen[repaired, read] = (best, found)
        return best

    def _test(
        self, split: Array, repaired: int, read: tuple[tuple[int, int, int], ...],
        unread: tuple[int, ...], test: int, best: float, mass: float,
    ) -> float:  # fmt: skip
        case = self.case
        others = tuple(k for k in unread if k != test)
        leasts = [case.least(split[:, b], repaired) for b in range(3)]
        cost = case.test_cost[test] * mass
        rest = sum(leasts)
        for b in sorted(range(3), key=lambda b: -leasts[b]):
            rest -= leasts[b]
            reading = (test, b, repaired & case.scope[test])
            then = tuple(sorted((*read, reading)))
            cost += self._go(split[:, b], repaired, then, others, best - cost - rest)
            if cost + rest >= best:
                return math.inf
        return float(cost)


# --- policies ----------------------------------------------------------------------------------

Choice = tuple[bool, int]
"""Is it a repair, and which."""
Policy = Callable[[Case, Evidence, Array, int, tuple[int, ...]], Choice]


def by_advice(
    case: Case, evidence: Evidence, weights: Array, repaired: int, unread: tuple[int, ...]
) -> Choice:
    """Do what the advice puts first."""
    done = [f"t{k}" for k in range(len(case.test_cost)) if k not in unread]
    first = advise(case.network, evidence, done=done)[0]
    return first.kind == "repair", int(first.id[1:])


def _order(case: Case, weights: Array, repaired: int) -> Choice:
    chances = weights @ case.at_work() / weights.sum()
    worth = [
        -1.0 if repaired >> i & 1 else chances[i] / cost for i, cost in enumerate(case.repair_cost)
    ]
    return True, int(np.argmax(worth))


def in_order(
    case: Case, evidence: Evidence, weights: Array, repaired: int, unread: tuple[int, ...]
) -> Choice:
    """No tests: repair in the order of chance over cost."""
    return _order(case, weights, repaired)


def gain_then_stop(
    case: Case, evidence: Evidence, weights: Array, repaired: int, unread: tuple[int, ...]
) -> Choice:
    """The test of the largest gain a minute, until a cause stands at 90 %; then repair it."""
    live = np.array([not repaired >> i & 1 for i in range(len(case.repair_cost))])
    chances = live * (weights @ case.at_work()) / weights.sum()
    if chances.max() < 0.9:
        now = _bits(case, weights, repaired)
        rates = []
        for k in unread:
            split = weights[:, None] * case.likely[k][repaired]
            shares = split.sum(axis=0) / weights.sum()
            after = sum(
                share * _bits(case, split[:, b], repaired)
                for b, share in enumerate(shares)
                if share > 0.0
            )
            rates.append((now - after) / case.test_cost[k])
        if rates and max(rates) > 1e-6:
            return False, unread[int(np.argmax(rates))]
    return True, int(np.argmax(np.where(live, chances, -1.0)))


def _bits(case: Case, weights: Array, repaired: int) -> float:
    """What is not known about which set of causes is at work."""
    sets = np.bincount(case.active & ~repaired, weights)
    sets = sets[sets > 0.0] / sets.sum()
    return float(-(sets * np.log2(sets)).sum())


POLICIES: dict[str, Policy] = {
    "advice": by_advice,
    "gain a minute, stop at 90 %": gain_then_stop,
    "repairs by chance over cost": in_order,
}


def expected_cost(case: Case, policy: Policy) -> float:
    """What following a policy costs, over every way that its readings and repairs can turn out."""

    seen: dict[tuple[int, frozenset[tuple[int, int, int]]], float] = {}

    def go(
        evidence: Evidence,
        weights: Array,
        repaired: int,
        unread: tuple[int, ...],
        read: frozenset[tuple[int, int, int]],
    ) -> float:
        mass = float(weights.sum())
        if mass < NEGLIGIBLE:
            return case.least(weights, repaired)
        # The same readings in another order are the same belief, and the same way on.
        if (repaired, read) in seen:
            return mass * seen[repaired, read]
        is_repair, at = policy(case, evidence, weights, repaired, unread)
        stage = evidence.stage
        if is_repair:
            again = Finding("complaint", {PRESENT: 1.0}, stage + 1)
            then = Evidence((*evidence.findings, again), {**evidence.repaired, f"c{at}": stage + 1})
            gone = repaired | 1 << at
            cost = float(case.repair_cost[at] * mass)
            cost += go(then, case.left(weights, gone), gone, unread, read)
        else:
            cost = float(case.test_cost[at] * mass)
            split = weights[:, None] * case.likely[at][repaired]
            others = tuple(k for k in unread if k != at)
            for b, band in enumerate(BANDS):
                finding = Finding(f"t{at}", {band: 1.0}, stage)
                then = Evidence((*evidence.findings, finding), evidence.repaired)
                reading = (at, b, repaired & case.scope[at])
                cost += go(then, split[:, b], repaired, others, read | {reading})
        seen[repaired, read] = cost / mass
        return cost

    start = Evidence((Finding("complaint", {PRESENT: 1.0}),))
    return go(start, case.weights, 0, tuple(range(len(case.test_cost))), frozenset())


# --- many beliefs at once ----------------------------------------------------------------------


def follow_together(case: Case) -> float:
    """What following the advice costs on a single-fault problem, step by step for all ways at once.

    It is `expected_cost(case, by_advice)`, with the chances taken from the beliefs instead of from
    the network, and with the advice's own leaves, prices and order. `agreement` holds the two
    against each other.
    """
    start = Problem(case.network, Evidence((Finding("complaint", {PRESENT: 1.0}),)))
    money = _Money(start, 60.0)
    weights = case.weights[None, :]
    unread = np.ones((1, len(case.test_cost)), dtype=bool)
    cost = 0.0
    while len(weights):
        mass = weights.sum(axis=1)
        keep = mass >= NEGLIGIBLE
        cost += float((weights[~keep] @ case.repair_cost).sum())
        weights, unread, mass = weights[keep], unread[keep], mass[keep]
        ways = []
        for low in range(0, len(weights), 1000):
            part = slice(low, low + 1000)
            step, *way = _step(case, money, weights[part], unread[part], mass[part])
            cost += step
            ways.append(way)
        if not ways:
            break
        weights = np.concatenate([way[0] for way in ways])
        unread = np.concatenate([way[1] for way in ways])
    return cost


def _rank(
    case: Case, money: _Money, weights: Array, unread: np.ndarray, mass: Array
) -> tuple[Array, Array]:
    """The expected cost of every test and of every repair, one row for each belief."""
    count, causes = weights.shape
    belief = weights / mass[:, None]
    joint = belief[:, None, None, :] * np.stack([table[0].T for table in case.likely])
    chance = joint.sum(axis=-1)
    after = joint / np.maximum(chance, 1e-300)[..., None]
    rest = np.broadcast_to(belief[:, None, :], (count, causes, causes)).copy()
    rest[:, np.arange(causes), np.arange(causes)] = 0.0
    failed = rest.sum(axis=-1)
    rest /= np.maximum(failed, 1e-300)[..., None]
    now, read = money.leaves(belief), money.leaves(after.reshape(-1, causes))
    gains = now.bits[:, None] - (chance * read.bits.reshape(chance.shape)).sum(axis=-1)
    useful = unread & (gains > LEAST_GAIN)
    price = np.where(useful, case.test_cost / np.where(useful, gains, 1.0), math.inf).min(axis=1)
    price = np.minimum(price, 1e30)

    def value(states: _Leaves, shape: tuple[int, ...]) -> Array:
        # As the states' own `value`, but with a price of its own for each belief.
        each = np.repeat(price, len(states.bits) // count)
        settled = states.settled + each * states.bits
        return np.minimum(states.value(math.inf), settled).reshape(shape)

    tests = case.test_cost + (chance * value(read, chance.shape)).sum(axis=-1)
    tests = np.where(useful, tests, math.inf)
    later = value(money.leaves(rest.reshape(-1, causes)), failed.shape)
    repairs = case.repair_cost + failed * later
    reach = np.array([case.network.sources[f"t{k}"].reach for k in range(len(case.test_cost))])
    best = tests.argmin(axis=1)[:, None]
    with np.errstate(invalid="ignore"):
        least = np.take_along_axis(tests, best, 1)
        near = gains >= AS_TELLING * np.take_along_axis(gains, best, 1)
        near &= tests <= least * (1.0 + NEARLY)
        near |= tests - least <= (1.0 - PAYS_BACK) * case.test_cost
        speed = gains / case.test_cost
        near &= speed * RATES_APART >= np.take_along_axis(speed, best, 1)
    # A nearly as good test of lower reach takes the place of the best one.
    turn = np.where(near & useful, reach * 1e12 + tests, math.inf).argmin(axis=1)
    swapped = np.take_along_axis(tests, best, 1)[:, 0]
    rows = np.arange(count)
    tests[rows, best[:, 0]] = np.inf
    tests[rows, turn] = swapped
    return tests, repairs


def _step(
    case: Case, money: _Money, weights: Array, unread: np.ndarray, mass: Array
) -> tuple[float, Array, np.ndarray]:
    """Do the best thing in every belief: its cost, and the beliefs that it leads to."""
    tests, repairs = _rank(case, money, weights, unread, mass)
    choice = np.concatenate([tests, repairs], axis=1).argmin(axis=1)
    count = len(case.test_cost)
    cost = float(mass @ np.concatenate([case.test_cost, case.repair_cost])[choice])
    is_test = choice < count
    tested, at = weights[is_test], choice[is_test]
    likely = np.stack([table[0].T for table in case.likely])[at]
    split = (tested[:, None, :] * likely).reshape(-1, weights.shape[1])
    left = unread[is_test].copy()
    left[np.arange(len(at)), at] = False
    repaired = weights[~is_test].copy()
    repaired[np.arange(len(repaired)), choice[~is_test] - count] = 0.0
    then = np.concatenate([split, repaired])
    return cost, then, np.concatenate([np.repeat(left, len(BANDS), axis=0), unread[~is_test]])


def agreement(problems: int = 6) -> tuple[str, list[str], list[list[str]]]:
    """`follow_together` against following `advise` itself, on smaller problems."""
    worst = 0.0
    for seed in range(problems):
        rng = np.random.default_rng(seed)
        case = single_fault(rng, dear=bool(seed % 2), causes=5, tests=5, reaches=1 + 3 * (seed % 3))
        one = expected_cost(case, by_advice)
        worst = max(worst, abs(follow_together(case) / one - 1.0))
    title = "Following advise() itself, and all ways at once as below"
    return title, ["problems", "largest difference"], [[str(problems), f"{worst:.1e}"]]


# --- tables ------------------------------------------------------------------------------------


def _row(name: str, ratios: list[float]) -> list[str]:
    ordered = sorted(ratios)
    return [
        name,
        f"{statistics.fmean(ratios):.4f}",
        f"{ordered[int(0.95 * (len(ordered) - 1))]:.3f}",
        f"{max(ratios):.3f}",
    ]


HEAD = ["policy", "mean", "p95", "worst"]


def single_table(
    problems: int, dear: bool, reaches: int = 1
) -> tuple[str, list[str], list[list[str]]]:
    """Single-fault problems, 8 causes and 8 tests."""
    rng = np.random.default_rng(7 + dear)
    ratios: dict[str, list[float]] = {name: [] for name in POLICIES}
    for _ in range(problems):
        case = single_fault(rng, dear, reaches=reaches)
        optimum = best_single(case)
        for name, policy in POLICIES.items():
            cost = follow_together(case) if name == "advice" else expected_cost(case, policy)
            ratios[name].append(cost / optimum)
    title = (
        f"One fault, {'dear' if dear else 'cheap'} tests"
        f"{', tests of four reaches' if reaches > 1 else ''}: "
        f"expected cost over the optimum, {problems} problems of 8 causes and 8 tests"
    )
    return title, HEAD, [_row(name, found) for name, found in ratios.items()]


def several_table(
    problems: int, dear: bool, causes: int, tests: int, limit: int = 60_000
) -> tuple[str, list[str], list[list[str]]]:
    """Problems of several faults; those too large for the branch and bound are counted apart."""
    rng = np.random.default_rng(11 + dear)
    ratios: dict[str, list[float]] = {name: [] for name in POLICIES}
    skipped = 0
    for _ in range(problems):
        case = several_faults(rng, dear, causes, tests)
        costs = {name: expected_cost(case, policy) for name, policy in POLICIES.items()}
        try:
            optimum = Bound(case, limit).best(min(costs.values()))
        except TooLarge:
            skipped += 1
            continue
        for name, cost in costs.items():
            ratios[name].append(cost / optimum)
    title = (
        f"Several faults, {'dear' if dear else 'cheap'} tests: expected cost over the optimum, "
        f"{problems - skipped} problems of {causes} causes and {tests} tests "
        f"({skipped} more were too large to solve)"
    )
    return title, HEAD, [_row(name, found) for name, found in ratios.items()]


def tables(problems: int) -> Iterator[tuple[str, list[str], list[list[str]]]]:
    """Every table of the policy part, with how long it took."""
    jobs: list[Callable[[], tuple[str, list[str], list[list[str]]]]] = [
        agreement,
        lambda: single_table(problems, False),
        lambda: single_table(problems, True),
        lambda: single_table(problems, False, reaches=4),
        lambda: several_table(problems, False, 4, 4),
        lambda: several_table(problems, True, 4, 4),
        lambda: several_table(problems, False, 5, 5),
    ]
    for job in jobs:
        begin = time.perf_counter()
        title, head, rows = job()
        yield f"{title}; {time.perf_counter() - begin:.0f} s", head, rows
