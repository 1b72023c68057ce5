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

import itertools
import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
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
    rest = 1.0 - chances
    log = np.log2(np.maximum(chances, 1e-300))
    log_rest = np.log2(np.maximum(rest, 1e-300))
    return np.asarray(-(chances * log + rest * log_rest))


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
        rest = np.maximum(1.0 - chances * z[..., None], 1e-12)
        product = np.multiply.reduce(rest, axis=-1)
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


class _States:
    """States that the session can come to, one in each row, and what is still to be spent there.

    `bits` is what is not known in each about the causes at work.
    """

    def __init__(self, money: _Money, active: Array) -> None:
        self.repair = money.repair
        self.chances = active[:, money.known]
        self.listed = self.chances[:, : len(money.counting)]
        self.z = _some_at_work(self.chances)
        # Below this the causes as good as exclude one another, and dividing would cost digits.
        self.together = self.z > 1e-4
        self.joint = np.where(self.together, self.z, 1.0)
        self.bits = self._bits()

    def _bits(self) -> Array:
        a = self.chances
        bits = np.empty(len(a))
        some, joint = self.together, self.joint[self.together]
        own = _entropy(a[some] * joint[:, None]).sum(axis=-1)
        bits[some] = (own - _entropy(joint)) / joint
        a = a[~some]
        rest = np.clip(1.0 - a.sum(axis=-1), 0.0, 1.0)
        shares = np.concatenate([a, rest[:, None]], axis=-1)
        bits[~some] = -(shares * np.log2(np.maximum(shares, 1e-300))).sum(axis=-1)
        return np.maximum(bits, 0.0)

    def value(self, price_per_bit: float) -> Array:
        """The cost still to come: repair in order, or settle what is unknown and repair that."""
        in_order = self._in_order()
        if math.isinf(price_per_bit):
            return in_order
        settled = self.listed @ self.repair + price_per_bit * self.bits
        return np.asarray(np.minimum(in_order, settled))

    def _in_order(self) -> Array:
        """The cost of repairing in the order of chance over cost until the complaint is gone."""
        order = np.argsort(-self.listed / self.repair, axis=-1, kind="stable")
        # From the last to be repaired to the first, those not listed before all of them.
        backwards = order[:, ::-1]
        a = np.take_along_axis(self.listed, backwards, axis=-1)
        others = self.chances[:, self.listed.shape[1] :]
        # Not cured before a repair: some cause from it onwards (or one not listed) is at work.
        quiet = np.cumprod(1.0 - a * self.joint[:, None], axis=-1)
        quiet *= np.prod(1.0 - others * self.joint[:, None], axis=-1)[:, None]
        waiting = (1.0 - quiet) / self.joint[:, None]
        apart = ~self.together
        waiting[apart] = np.cumsum(a[apart], axis=-1) + others[apart].sum(axis=-1)[:, None]
        np.minimum(waiting, 1.0, out=waiting)
        return np.asarray((self.repair[backwards] * waiting).sum(axis=-1))


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
    # Every state that can come next in one table: now, each band of each test, each repair.
    repaired = [repair.active for repair in ahead.repairs]
    states = _States(money, np.vstack([posterior.active, ahead.active, *repaired]))
    bands = slice(1, 1 + len(ahead.chance))
    edges = list(itertools.accumulate((len(o.bands) for o in ahead.outlooks), initial=0))
    after_bits = ahead.chance * states.bits[bands]
    gains = [
        float(states.bits[0] - after_bits[low:high].sum())
        for low, high in itertools.pairwise(edges)
    ]
    costs = [network.sources[name].minutes * money.rate for name in names]
    price = min(
        (c / g for c, g in zip(costs, gains, strict=True) if g > LEAST_GAIN), default=math.inf
    )
    value = states.value(price)
    later = ahead.chance * value[bands]
    said = _settles(network, money, posterior, ahead)
    suggestions = [
        _test_suggestion(network, outlook, gain, cost, float(later[low:high].sum()), said[low:high])
        for outlook, gain, cost, (low, high) in zip(
            ahead.outlooks, gains, costs, itertools.pairwise(edges), strict=True
        )
        if gain > LEAST_GAIN
    ]
    suggestions += [
        _repair_suggestion(network, money, repair, float(left))
        for repair, left in zip(ahead.repairs, value[bands.stop :], strict=True)
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
    chosen = {s.id for s in near}
    rest = [s for s in suggestions if s.kind == "repair" or s.id not in chosen]
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
    outlook: Outlook,
    gain: float,
    cost: float,
    later: float,
    said: Sequence[str],
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
        settles=tuple(line for line in said if line),
    )


def _settles(network: Network, money: _Money, posterior: Posterior, ahead: Ahead) -> list[str]:
    """For each band of each test that may well come, the cause it moves most; else nothing."""
    was = posterior.present[money.known]
    now = ahead.after[:, money.known]
    most = np.abs(now - was).argmax(axis=1)
    rows = zip(
        (band for outlook in ahead.outlooks for band in outlook.bands),
        ahead.chance.tolist(),
        most.tolist(),
        was[most].tolist(),
        now[np.arange(len(now)), most].tolist(),
        strict=True,
    )
    lines = []
    for band, chance, at, before, after in rows:
        if chance < 0.02 or abs(after - before) < 0.01:
            lines.append("")
            continue
        name = network.nodes[money.known[at]].name
        lines.append(f"{band} ({percent(chance)}): {name} {percent(before)} -> {percent(after)}")
    return lines
