"""What to do next: tests and repairs in one list, by one-step lookahead on expected cost.

The cost of a state is the money still to be spent until the complaint is gone: minutes at the
shop's hourly rate, plus parts. For every test and every repair that could come next the lookahead
takes its own cost, and the value of each state it can lead to, weighted by the chance of getting
there. The smallest total wins, and so it also decides when to stop testing and repair.
"""

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from faulttree.scorer.evidence import Evidence
from faulttree.scorer.explain import percent
from faulttree.scorer.inference import (
    Outlook,
    Posterior,
    Problem,
    solve_problem,
    sweep,
    sweep_repairs,
)
from faulttree.scorer.network import Array, Network

RATE_PER_HOUR = 60.0


@dataclass(frozen=True, slots=True)
class Suggestion:
    """One thing to do next, and what it would bring.

    `cost` is the money of doing it; `expected_cost` the money until the complaint is gone if it is
    done now and the best is done afterwards. `bands` gives the chance of each band of a test (for
    a repair: cured, not cured). `settles` says in plain words what each would do.
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


def _entropy(chances: Array) -> Array:
    """Bits of every chance on its own, 0 at certainty."""
    p = np.clip(chances, 1e-300, 1.0)
    q = np.clip(1.0 - chances, 1e-300, 1.0)
    return -(chances * np.log2(p) + (1.0 - chances) * np.log2(q))


class _Money:
    """Costs of the causes that count: those that can bring on the session's complaints."""

    def __init__(self, problem: Problem, rate_per_hour: float) -> None:
        network = problem.network
        self.rate = rate_per_hour / 60.0
        self.counting = [
            i
            for i in sorted(network.relevant)
            if network.nodes[i].repairable and i not in problem.gone_at
        ]
        self.repair = np.array(
            [
                max(1e-6, network.nodes[i].minutes * self.rate + network.nodes[i].parts)
                for i in self.counting
            ]
        )
        self.known = [i for i in sorted(network.relevant) if i not in problem.gone_at]

    def bits(self, chances: Array) -> Array:
        """What is not known about the causes that count, summed over them; leading axes kept."""
        return np.asarray(_entropy(chances[..., self.known]).sum(axis=-1))

    def value(self, chances: Array, price_per_bit: float) -> Array:
        """The cost still to come: repair in order, or settle what is unknown and repair that."""
        p = chances[..., self.counting]
        order = np.argsort(-p / self.repair, axis=-1)
        sorted_p = np.take_along_axis(p, order, axis=-1)
        sorted_cost = self.repair[order]
        # Not cured before a repair: some cause from it onwards (or nothing listed) is at work.
        listed = np.cumsum(sorted_p[..., ::-1], axis=-1)[..., ::-1]
        rest = chances[..., [i for i in self.known if i not in set(self.counting)]].sum(axis=-1)
        waiting = np.minimum(1.0, listed + rest[..., None])
        in_order = (sorted_cost * waiting).sum(axis=-1)
        settled = (p * self.repair).sum(axis=-1) + price_per_bit * self.bits(chances)
        return np.asarray(np.minimum(in_order, settled))


def open_tests(network: Network, evidence: Evidence, done: Collection[str]) -> list[str]:
    """Tests that may come next: not done since the last repair, and `after` satisfied."""
    read = {f.source: f for f in evidence.findings}
    names = []
    for source in network.sources.values():
        if source.is_complaint or source.id in done or not source.links:
            continue
        allowed = all(
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
    rate_per_hour: float = RATE_PER_HOUR,
    problem: Problem | None = None,
    posterior: Posterior | None = None,
) -> list[Suggestion]:
    """Every test and repair that could come next, best first.

    `done` are tests already read since the last repair, `barred` those that cannot be done; both
    are left out. `problem` and `posterior` may be handed in when they are at hand.
    """
    problem = problem or Problem(network, evidence)
    posterior = posterior or solve_problem(problem)
    money = _Money(problem, rate_per_hour)
    read_now = {f.source for f in evidence.findings if f.stage == evidence.stage}
    names = open_tests(network, evidence, {*done, *barred, *read_now})
    outlooks = sweep(problem, posterior, names) if names else []
    now_bits = float(money.bits(posterior.present))
    gains = [max(0.0, now_bits - float(o.chance @ money.bits(o.after))) for o in outlooks]
    costs = [network.sources[o.source].minutes * money.rate for o in outlooks]
    useful = [c / g for c, g in zip(costs, gains, strict=True) if g > 1e-6]
    price = min(useful, default=math.inf)
    if math.isinf(price):
        price = 1e9
    suggestions = [
        _test_suggestion(network, money, posterior, outlook, gain, cost, price)
        for outlook, gain, cost in zip(outlooks, gains, costs, strict=True)
        if gain > 1e-6
    ]
    causes = [network.nodes[i].id for i in money.counting]
    for repair in sweep_repairs(problem, posterior, causes):
        at = network.index[repair.cause]
        node = network.nodes[at]
        cost = node.minutes * money.rate + node.parts
        later = float(money.value(repair.after, price))
        suggestions.append(
            Suggestion(
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
        )
    return sorted(suggestions, key=lambda s: s.expected_cost)


def _test_suggestion(
    network: Network,
    money: _Money,
    posterior: Posterior,
    outlook: Outlook,
    gain: float,
    cost: float,
    price: float,
) -> Suggestion:
    source = network.sources[outlook.source]
    later = float(outlook.chance @ money.value(outlook.after, price))
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
        bands=dict(zip(outlook.bands, map(float, outlook.chance), strict=True)),
        settles=_settles(network, money, posterior, outlook),
    )


def _settles(
    network: Network, money: _Money, posterior: Posterior, outlook: Outlook
) -> tuple[str, ...]:
    """For each band that may well come: the cause it moves most, in plain words."""
    lines = []
    for k, band in enumerate(outlook.bands):
        if outlook.chance[k] < 0.02:
            continue
        moves = outlook.after[k] - posterior.present
        at = max(money.known, key=lambda i: abs(moves[i]))
        was, now = float(posterior.present[at]), float(outlook.after[k, at])
        if abs(now - was) < 0.01:
            continue
        lines.append(
            f"{band} ({percent(float(outlook.chance[k]))}): {network.nodes[at].name} "
            f"{percent(was)} -> {percent(now)}"
        )
    return tuple(lines)
