"""What to do next: tests and repairs in one list, by one-step lookahead on expected cost.

The cost of a state is the money still to be spent until the complaint is gone: minutes at the
shop's hourly rate, plus parts. For every test and every repair that could come next the lookahead
takes its own cost, and the value of each state it can lead to, weighted by the chance of getting
there. The smallest total wins, and so it also decides when to stop testing and repair.

What counts about a cause is whether it is *at work* in a complaint of the session: a fault that
is there but idle costs nothing until the complaint is gone. The value of a state is the smaller of
two plans: repair in the order of chance over cost until the complaint is gone; or find out first,
at the best price per bit that a test now offers, and repair what is at work.
"""

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from faulttree.scorer.evidence import Evidence
from faulttree.scorer.explain import percent
from faulttree.scorer.inference import Outlook, Posterior, Problem, RepairOutlook, look_ahead
from faulttree.scorer.network import Array, Network

RATE_PER_HOUR = 60.0

NEARLY = 0.02
"""A test whose expected cost is at most this share above the best test's is nearly as good."""
RATES_APART = 3.0
"""A test that gains this many times more per minute may come before one of lower reach."""

LEAST_GAIN = 1e-6
"""Bits; a test that brings less than this brings nothing."""


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
        rest = np.clip(1.0 - chances * z[..., None], 1e-12, 1.0)
        product = np.exp(np.log(rest).sum(axis=-1))
        slope = product * (chances / rest).sum(axis=-1) - 1.0
        value = 1.0 - product - z
        z = np.clip(z - value / np.where(slope < 0.0, slope, -math.inf), 0.0, 1.0)
    return np.asarray(np.where(total > 1.0, z, 0.0))


class _Money:
    """Costs of the causes that count: those that can bring on the session's complaints."""

    def __init__(self, problem: Problem, rate_per_hour: float) -> None:
        network = problem.network
        self.rate = rate_per_hour / 60.0
        known = [i for i in sorted(network.relevant) if i not in problem.gone_at]
        self.counting = [i for i in known if network.nodes[i].repairable]
        self.others = [i for i in known if not network.nodes[i].repairable]
        self.known = self.counting + self.others
        self.repair = np.array(
            [
                max(1e-6, network.nodes[i].minutes * self.rate + network.nodes[i].parts)
                for i in self.counting
            ]
        )

    def bits(self, active: Array) -> Array:
        """What is not known about the causes at work; leading axes kept."""
        a = active[..., self.known]
        z = _some_at_work(a)
        joint = np.where(z > 1e-4, z, 1.0)
        together = (_entropy(a * joint[..., None]).sum(axis=-1) - _entropy(joint)) / joint
        rest = np.clip(1.0 - a.sum(axis=-1), 0.0, 1.0)
        shares = np.concatenate([a, rest[..., None]], axis=-1)
        apart = -(shares * np.log2(np.clip(shares, 1e-300, 1.0))).sum(axis=-1)
        return np.asarray(np.maximum(np.where(z > 1e-4, together, apart), 0.0))

    def value(self, active: Array, price_per_bit: float) -> Array:
        """The cost still to come: repair in order, or settle what is unknown and repair that."""
        a = active[..., self.counting]
        in_order = self._in_order(active, a)
        settled = (a * self.repair).sum(axis=-1)
        if not math.isinf(price_per_bit):
            settled = settled + price_per_bit * self.bits(active)
            return np.asarray(np.minimum(in_order, settled))
        return in_order

    def _in_order(self, active: Array, a: Array) -> Array:
        """The cost of repairing in the order of chance over cost until the complaint is gone."""
        order = np.argsort(-a / self.repair, axis=-1, kind="stable")
        sorted_a = np.take_along_axis(a, order, axis=-1)
        others = active[..., self.others]
        z = _some_at_work(active[..., self.known])
        joint = np.where(z > 1e-4, z, 1.0)
        # Not cured before a repair: some cause from it onwards (or one not listed) is at work.
        quiet = np.cumprod((1.0 - sorted_a * joint[..., None])[..., ::-1], axis=-1)[..., ::-1]
        quiet = quiet * np.prod(1.0 - others * joint[..., None], axis=-1)[..., None]
        together = (1.0 - quiet) / joint[..., None]
        apart = np.cumsum(sorted_a[..., ::-1], axis=-1)[..., ::-1]
        apart = apart + others.sum(axis=-1)[..., None]
        waiting = np.where(z[..., None] > 1e-4, together, apart)
        return np.asarray((self.repair[order] * np.minimum(1.0, waiting)).sum(axis=-1))


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
    money = _Money(problem, rate_per_hour)
    read_now = {f.source for f in evidence.findings if f.stage == evidence.stage}
    names = [
        name
        for name in open_tests(network, evidence, {*done, *read_now}, repeatable)
        if name not in barred
    ]
    causes = [network.nodes[i].id for i in money.counting]
    if evidence.stage > 0 and not _looked_again(network, evidence):
        # The last repair may have cured the complaint already: no next one before that is known.
        causes = []
    ahead = look_ahead(problem, names, causes)
    posterior = posterior or ahead.posterior
    after_bits = ahead.chance * money.bits(ahead.active)
    now_bits = float(money.bits(posterior.active))
    costs = [network.sources[name].minutes * money.rate for name in names]
    spans: list[slice] = []
    at = 0
    for outlook in ahead.outlooks:
        spans.append(slice(at, at + len(outlook.bands)))
        at += len(outlook.bands)
    gains = [now_bits - float(after_bits[span].sum()) for span in spans]
    price = min(
        (c / g for c, g in zip(costs, gains, strict=True) if g > LEAST_GAIN), default=math.inf
    )
    later = ahead.chance * money.value(ahead.active, price)
    suggestions = [
        _test_suggestion(network, money, posterior, outlook, gain, cost, float(later[span].sum()))
        for outlook, gain, cost, span in zip(ahead.outlooks, gains, costs, spans, strict=True)
        if gain > LEAST_GAIN
    ]
    if ahead.repairs:
        left = money.value(np.stack([repair.active for repair in ahead.repairs]), price)
        suggestions += [
            _repair_suggestion(network, money, repair, float(value))
            for repair, value in zip(ahead.repairs, left, strict=True)
        ]
    return _low_reach_first(sorted(suggestions, key=lambda s: s.expected_cost))


def _looked_again(network: Network, evidence: Evidence) -> bool:
    """Whether a complaint was looked for, present or gone, since the last repair."""
    return any(
        network.sources[finding.source].is_complaint and finding.stage == evidence.stage
        for finding in evidence.findings
    )


def _low_reach_first(suggestions: Sequence[Suggestion]) -> list[Suggestion]:
    """Put tests of lower reach that are nearly as good as the best test before it.

    The usual rule is not to reach further into the engine while something useful is to be had with
    less, unless it gains more than three times as much a minute (common practice, no source).
    Here it holds only among tests within NEARLY of the best one's expected cost: so much, at the
    most, is paid for it at a step.
    """
    best = next((s for s in suggestions if s.kind == "test"), None)
    if best is None:
        return list(suggestions)
    limit = best.expected_cost * (1.0 + NEARLY)
    near = [
        s
        for s in suggestions
        if s.kind == "test"
        and s.reach <= best.reach
        and s.expected_cost <= limit
        and s.gain_bits * best.minutes * RATES_APART >= best.gain_bits * s.minutes
    ]
    near.sort(key=lambda s: (s.reach, s.expected_cost))
    at = suggestions.index(best)
    rest = [s for s in suggestions if s not in near]
    return [*rest[:at], *near, *rest[at:]]


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
    money: _Money,
    posterior: Posterior,
    outlook: Outlook,
    gain: float,
    cost: float,
    later: float,
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
        bands=dict(zip(outlook.bands, map(float, outlook.chance), strict=True)),
        settles=_settles(network, money, posterior, outlook),
    )


def _settles(
    network: Network, money: _Money, posterior: Posterior, outlook: Outlook
) -> tuple[str, ...]:
    """For each band that may well come: the cause it moves most, in plain words."""
    lines = []
    moves = np.abs(outlook.after - posterior.present)[:, money.known]
    most = [money.known[i] for i in moves.argmax(axis=1)]
    for k, (band, at) in enumerate(zip(outlook.bands, most, strict=True)):
        was, now = float(posterior.present[at]), float(outlook.after[k, at])
        if outlook.chance[k] < 0.02 or abs(now - was) < 0.01:
            continue
        lines.append(
            f"{band} ({percent(float(outlook.chance[k]))}): {network.nodes[at].name} "
            f"{percent(was)} -> {percent(now)}"
        )
    return tuple(lines)
