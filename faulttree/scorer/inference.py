"""Exact chances of every cause, given readings, complaints and repairs.

Notation: a finding f has a weight w[k] for each of its bands (its evidence); the band is the
earliest one that any present cause, or the leak, throws. Bands next to each other with the same
weight need not be told apart, so a finding is in one of a few *states*: state 0 is "nothing that
matters was thrown yet", a later state is an earlier run of bands, and a leading run of weight 0
is a dead end. A reading in its expected band has one state and is a plain product over causes; a
hard abnormal reading has two ("explained so far": no, yes); a soft one has one or two more.

The forward pass adds one cause at a time: absent, or present and then, family by family, not
showing, or showing and throwing a band at every finding of the family. It keeps a table over the
states of the *live* findings only: a finding is opened just before the first cause that touches
it, starting from its leak, and summed out with its weights after the last. The causes are ordered
greedily to keep that table small, so the cost follows the width of the case, not the number of
its findings. Forward times backward gives every marginal. All terms are positive: nothing cancels
(the inclusion-exclusion form of the same sum loses three digits at a dozen abnormal findings).

Causes that no open finding touches factor out. When the table would pass `STATE_LIMIT` cells,
`solve` enumerates sets of at most `SET_SIZE` of the touched causes instead, says so in `exact`,
and reports in `omitted` the estimated share of the evidence that larger sets would have held.

Repairs are interventions: a cause repaired at stage r answers to findings before r as it was, and
to findings from r on as absent.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt

from faulttree.scorer.evidence import Evidence, Finding
from faulttree.scorer.network import Network, Source

Array = npt.NDArray[np.float64]

STATE_LIMIT = 1 << 14
"""The largest table of states that is worked through exactly (14 bits)."""
SET_SIZE = 4
"""How many touched causes at once the fallback allows for."""
CHUNK = 1 << 14
"""How many table cells a sweep works on at once; about what a processor's cache holds."""


class Impossible(ValueError):
    """The evidence has probability zero: no set of causes explains it, not even by chance."""


@dataclass(frozen=True, slots=True)
class Posterior:
    """The chance of every cause, present now, in the order of the network's nodes.

    `present` is the chance now (0 for a repaired cause); `was` the chance that it was present at
    the start. `log_evidence` is the natural logarithm of the probability of the evidence.
    `omitted` is the estimated share of the evidence left out when `exact` is False.
    """

    ids: tuple[str, ...]
    present: Array
    was: Array
    log_evidence: float
    exact: bool = True
    omitted: float = 0.0

    @property
    def chances(self) -> dict[str, float]:
        """Cause id to its chance of being present now."""
        return dict(zip(self.ids, map(float, self.present), strict=True))


@dataclass(frozen=True, slots=True)
class Outlook:
    """What one test not yet done would bring: each band's chance and the chances after it.

    `bands` are the cascade then the expected band; `chance[k]` is the band's probability and
    `after[k, i]` the chance of cause i, present now, once that band has been read.
    """

    source: str
    bands: tuple[str, ...]
    chance: Array
    after: Array


@dataclass(frozen=True, slots=True)
class RepairOutlook:
    """What repairing one cause would bring: the chance that every complaint is then gone.

    `after[i]` is the chance of cause i once the repair has been done and a complaint has shown
    itself again.
    """

    cause: str
    cured: float
    after: Array


@dataclass(slots=True)
class _Open:
    """A finding with more than one state: its size, its start (the leak) and its weights."""

    size: int
    start: Array
    weights: Array


@dataclass(slots=True)
class _Group:
    """One family of one cause: chance to show, plain factor when showing, open findings."""

    shows: float
    factor: float
    throws: list[tuple[int, tuple[float, ...]]]


def _states(weights: Sequence[float]) -> tuple[list[int], list[float]]:
    """Sort bands (cascade then expected) into states; -1 is the dead end.

    Returns the state of every band, and the weight of every state.
    """
    last = len(weights) - 1
    runs = [last]  # the run's state, walking from the expected band to the front
    state = 0
    values = [weights[last]]
    for k in range(last - 1, -1, -1):
        if weights[k] != weights[k + 1]:
            state += 1
            values.append(weights[k])
        runs.append(state)
    runs.reverse()
    runs[last] = 0
    if state > 0 and values[state] == 0.0:
        runs = [-1 if s == state else s for s in runs]
        values.pop()
    return runs, values


def _rest(fired: float) -> float:
    """What a chance leaves to its opposite. A sure thing leaves 0, not the last digit's rounding,
    or evidence that contradicts itself would be explained by that digit."""
    rest = 1.0 - fired
    return rest if rest > 1e-13 else 0.0


def _thrown(
    chances: Sequence[float], states: Sequence[int], size: int, scale: float
) -> tuple[float, ...]:
    """The chance of throwing into each state; a dead end's share is missing from the sum."""
    into = [0.0] * size
    fired = 0.0
    for chance, state in zip(chances, states, strict=False):
        q = chance * scale
        if state != 0:
            fired += q
        if state > 0:
            into[state] += q
    into[0] = _rest(fired)
    return tuple(into)


class Problem:
    """One evidence against one network, prepared once: `solve` and `sweep` share it.

    Raises KeyError when a finding names a source that the network does not hold.
    """

    def __init__(self, network: Network, evidence: Evidence) -> None:
        self.network = network
        self.evidence = evidence
        self.stage = evidence.stage
        self.opens: list[_Open] = []
        self.log_scale = 0.0
        self.gone_at = {
            network.index[cause]: stage
            for cause, stage in evidence.repaired.items()
            if cause in network.index
        }
        self.groups: list[dict[str, _Group]] = [{} for _ in network.nodes]
        for finding in evidence.findings:
            self._add(finding)
        self.touched: list[int] = []
        self.free: list[int] = []
        for i, groups in enumerate(self.groups):
            has_open = any(group.throws for group in groups.values())
            (self.touched if has_open else self.free).append(i)
        self._settle_untouched_findings()
        self._order()

    def _add(self, finding: Finding) -> None:
        """Fold one finding into the groups of the causes it touches."""
        source = self.network.sources[finding.source]
        weights = [max(0.0, finding.bands.get(band, 0.0)) for band in source.bands]
        top = max(weights)
        if top <= 0.0:
            raise Impossible(f"the reading of {source.name} gives every band the chance zero")
        weights = [w / top for w in weights]
        self.log_scale += math.log(top)
        states, values = _states(weights)
        scale = 1.0
        if finding.showing is False and source.shows_only is not None:
            scale = source.shows_only
        start = _thrown(source.leak, states, len(values), 1.0)
        number = -1
        if len(values) == 1:
            self._plain(start[0])
            self.log_scale += math.log(values[0])
        else:
            number = len(self.opens)
            self.opens.append(_Open(len(values), np.array(start), np.array(values)))
        for cause, chances in source.links.items():
            if finding.stage >= self.gone_at.get(cause, 1 << 30):
                continue
            shows = self.network.shows[cause, source.family]
            if shows <= 0.0:
                continue
            throws = _thrown(chances, states, len(values), scale / shows)
            group = self.groups[cause].get(source.family)
            if group is None:
                group = self.groups[cause][source.family] = _Group(shows, 1.0, [])
            if number < 0:
                group.factor *= throws[0]
            elif throws[0] < 1.0:
                group.throws.append((number, throws))

    def _plain(self, factor: float) -> None:
        if factor <= 0.0:
            raise Impossible("a reading in its expected band has the chance zero")
        self.log_scale += math.log(factor)

    def _settle_untouched_findings(self) -> None:
        """Findings that no cause touches rest on their leak alone."""
        reached = {n for g in self.groups for group in g.values() for n, _ in group.throws}
        for number, finding in enumerate(self.opens):
            if number not in reached:
                self._plain(float(finding.start @ finding.weights))

    def _order(self) -> None:
        """Order the touched causes greedily so that few findings are live at once."""
        masks = {
            i: sum({1 << n for group in self.groups[i].values() for n, _ in group.throws})
            for i in self.touched
        }
        bits = [math.log2(finding.size) for finding in self.opens]
        left = dict.fromkeys(range(len(self.opens)), 0)
        for mask in masks.values():
            for n in left:
                left[n] += mask >> n & 1
        live = 0
        self.steps: list[tuple[int, list[int], list[int]]] = []
        self.peak = 0.0
        width = 0.0
        waiting = list(self.touched)
        while waiting:
            best = None
            for i in waiting:
                mask = masks[i]
                cost = 0.0
                rest = mask
                while rest:
                    low = rest & -rest
                    n = low.bit_length() - 1
                    rest ^= low
                    if not live & low:
                        cost += bits[n]
                    # A finding with few causes left is the sooner summed out.
                    cost -= bits[n] / (left[n] * left[n])
                if best is None or cost < best[0]:
                    best = (cost, i)
            assert best is not None
            i = best[1]
            waiting.remove(i)
            mask = masks[i]
            opening = [n for n in left if mask >> n & 1 and not live >> n & 1]
            live |= mask
            width += sum(bits[n] for n in opening)
            self.peak = max(self.peak, width)
            closing = []
            for n in left:
                if mask >> n & 1:
                    left[n] -= 1
                    if left[n] == 0:
                        closing.append(n)
                        live &= ~(1 << n)
                        width -= bits[n]
            self.steps.append((i, opening, closing))

    @property
    def cells(self) -> int:
        """How many cells the largest table has."""
        return round(2**self.peak)


# A sweep works on many variants of one problem at once: variant b adds one plain finding, which
# multiplies, for some causes, the factor of one family. `Extra[cause][family]` holds those
# multipliers, one for each variant.
Extra = Mapping[int, Mapping[str, Array]]


def _push(table: Array, axis: tuple[int, int], throws: Sequence[float | Array]) -> Array:
    """Move the states of one finding forward: the new state is the larger of old and thrown."""
    variants = table.shape[0]
    before, size = axis
    cube = table.reshape(variants, before, size, -1)
    moved = np.empty_like(cube)
    np.multiply(cube[:, :, 0], throws[0], out=moved[:, :, 0])
    below = cube[:, :, 0]
    stay = throws[0]
    for s in range(1, size):
        stay = stay + throws[s]
        np.multiply(cube[:, :, s], stay, out=moved[:, :, s])
        moved[:, :, s] += below * throws[s]
        if s + 1 < size:
            below = below + cube[:, :, s]
    return moved.reshape(variants, -1)


def _pull(table: Array, axis: tuple[int, int], throws: Sequence[float | Array]) -> Array:
    """The transpose of `_push`, for the backward pass."""
    variants = table.shape[0]
    before, size = axis
    cube = table.reshape(variants, before, size, -1)
    moved = np.empty_like(cube)
    stay: list[float | Array] = [throws[0]]
    for s in range(1, size):
        stay.append(stay[-1] + throws[s])
    above: Array | None = None
    for s in range(size - 1, -1, -1):
        np.multiply(cube[:, :, s], stay[s], out=moved[:, :, s])
        if above is not None:
            moved[:, :, s] += above
        if s > 0:
            part = cube[:, :, s] * throws[s]
            above = part if above is None else above + part
    return moved.reshape(variants, -1)


def _run(problem: Problem, variants: int, extra: Extra) -> tuple[Array, Array]:
    """Forward and backward over every variant.

    Returns the log of the weight of each variant, shape (variants,), and the chance that each
    cause was present, shape (variants, causes). A variant that cannot be has the weight zero and
    no meaningful chances; without `extra`, Impossible is raised instead.
    """
    nodes = problem.network.nodes
    was = np.empty((variants, len(nodes)))
    log_weight = np.full(variants, problem.log_scale)
    for i in problem.free:
        here = extra.get(i, {})
        present: float | Array = nodes[i].prior
        for family, group in problem.groups[i].items():
            factor = group.factor * here[family] if family in here else group.factor
            present = present * ((1.0 - group.shows) + group.shows * factor)
        for family in here:
            if family not in problem.groups[i]:
                shows = problem.network.shows[i, family]
                present = present * ((1.0 - shows) + shows * here[family])
        total = (1.0 - nodes[i].prior) + present
        was[:, i] = present / total
        log_weight += np.log(total)

    live: list[int] = []
    dead = np.zeros(variants, dtype=bool)
    table = np.ones((variants, 1))
    kept: list[tuple[Array, list[int], float | Array, list[_Prepared]]] = []
    for i, opening, closing in problem.steps:
        for n in opening:
            start = problem.opens[n].start
            table = (table[:, :, None] * start).reshape(variants, -1)
            live.append(n)
        weight, families = _prepare(problem, i, extra.get(i, {}))
        kept.append((table, list(live), weight, families))
        moved = table
        for prepared in families:
            moved = prepared.forward(moved, live, problem.opens)
        # Present first, then absent; the table is ours to overwrite only when it was copied.
        table = table * (1.0 - nodes[i].prior) + moved * weight
        for n in closing:
            before, size = _axis(live, n, problem.opens)
            cube = table.reshape(variants, before, size, -1)
            table = np.tensordot(cube, problem.opens[n].weights, axes=([2], [0])).reshape(
                variants, -1
            )
            live.remove(n)
        top = table.max(axis=1, keepdims=True)
        # A variant may well be impossible (its table is all zero); the evidence itself may not.
        dead |= top[:, 0] <= 0.0
        if not extra and dead.any():
            raise Impossible("no set of causes explains these readings, not even by chance")
        top = np.where(top > 0.0, top, 1.0)
        table = table / top
        log_weight += np.log(top[:, 0])
    # At the end no finding is live: the table is one cell of value 1 for each variant.

    backward = np.ones((variants, 1))
    live = []
    for (i, opening, closing), (before_table, live_then, weight, families) in zip(
        reversed(problem.steps), reversed(kept), strict=True
    ):
        for n in reversed(closing):
            # Put the closed axis back where it was, in the order of the table at that step.
            axes = [m for m in live_then if m in live or m == n]
            before = math.prod(problem.opens[m].size for m in axes[: axes.index(n)])
            cube = backward.reshape(variants, before, 1, -1)
            backward = (cube * problem.opens[n].weights[None, None, :, None]).reshape(variants, -1)
            live = axes
        pulled = backward
        for prepared in reversed(families):
            pulled = prepared.backward(pulled, live_then, problem.opens)
        present_mass = np.einsum("bs,bs->b", before_table, pulled)
        absent_mass = np.einsum("bs,bs->b", before_table, backward)
        w = weight if isinstance(weight, float) else weight[:, 0]
        present_mass = present_mass * w
        total = present_mass + absent_mass * (1.0 - nodes[i].prior)
        was[:, i] = present_mass / np.where(total > 0.0, total, 1.0)
        backward = backward * (1.0 - nodes[i].prior) + pulled * weight
        for n in reversed(opening):
            # Opened axes stand last, in the order of opening.
            opened = backward.reshape(variants, -1, problem.opens[n].size)
            backward = opened @ problem.opens[n].start
        live = [m for m in live_then if m not in opening]
        top = backward.max(axis=1, keepdims=True)
        backward = backward / np.where(top > 0.0, top, 1.0)
    log_weight[dead] = -np.inf
    return log_weight, was


def _axis(live: Sequence[int], n: int, opens: Sequence[_Open]) -> tuple[int, int]:
    """Where a finding's axis lies in the table: the product of the sizes before it, its size."""
    at = live.index(n)
    return math.prod(opens[m].size for m in live[:at]), opens[n].size


@dataclass(slots=True)
class _Prepared:
    """One family of one cause, ready to be applied to a table of variants.

    With one open finding, showing or not is already mixed into `throws` and `shows` is None.
    """

    throws: list[tuple[int, tuple[float | Array, ...]]]
    shows: float | None
    factor: float | Array

    def forward(self, table: Array, live: Sequence[int], opens: Sequence[_Open]) -> Array:
        moved = table
        for n, throws in self.throws:
            moved = _push(moved, _axis(live, n, opens), throws)
        if self.shows is None:
            return moved
        return table * (1.0 - self.shows) + moved * (self.shows * self.factor)

    def backward(self, table: Array, live: Sequence[int], opens: Sequence[_Open]) -> Array:
        moved = table
        for n, throws in reversed(self.throws):
            moved = _pull(moved, _axis(live, n, opens), throws)
        if self.shows is None:
            return moved
        return table * (1.0 - self.shows) + moved * (self.shows * self.factor)


def _prepare(
    problem: Problem, cause: int, here: Mapping[str, Array]
) -> tuple[float | Array, list[_Prepared]]:
    """The plain weight of a cause being present, and its families with open findings."""
    weight: float | Array = problem.network.nodes[cause].prior
    prepared: list[_Prepared] = []
    for family, group in problem.groups[cause].items():
        factor: float | Array = group.factor
        if family in here:
            factor = group.factor * here[family][:, None]
        if not group.throws:
            weight = weight * ((1.0 - group.shows) + group.shows * factor)
        elif len(group.throws) == 1:
            n, chances = group.throws[0]
            scale = group.shows * factor
            if not isinstance(scale, float):
                scale = scale[:, :, None]
            mixed: list[float | Array] = [scale * chance for chance in chances]
            mixed[0] = mixed[0] + (1.0 - group.shows)
            # The axis ops broadcast over (variants, before, after).
            prepared.append(_Prepared([(n, tuple(mixed))], None, 1.0))
        else:
            throws: list[tuple[int, tuple[float | Array, ...]]] = [
                (n, tuple(chances)) for n, chances in group.throws
            ]
            prepared.append(_Prepared(throws, group.shows, factor))
    for family in here:
        if family not in problem.groups[cause]:
            shows = problem.network.shows[cause, family]
            weight = weight * ((1.0 - shows) + shows * here[family][:, None])
    return weight, prepared


def _finish(problem: Problem, was: Array) -> Array:
    """Chances now: a repaired cause is absent."""
    now = was.copy()
    for cause in problem.gone_at:
        now[..., cause] = 0.0
    return now


def solve(network: Network, evidence: Evidence) -> Posterior:
    """The exact chance of every cause given the evidence.

    Raises Impossible when nothing explains the evidence, KeyError for a finding whose source the
    network does not hold. See the module's text for the method and for what `exact` means.
    """
    return solve_problem(Problem(network, evidence))


def solve_problem(problem: Problem) -> Posterior:
    """`solve` for a problem that is already prepared."""
    ids = tuple(node.id for node in problem.network.nodes)
    if problem.cells > STATE_LIMIT:
        return _enumerate(problem, ids)
    log_weight, was = _run(problem, 1, {})
    return Posterior(ids, _finish(problem, was[0]), was[0], float(log_weight[0]))


def sweep(problem: Problem, posterior: Posterior, sources: Sequence[str]) -> list[Outlook]:
    """What each of the given tests would bring if it were done now, exactly.

    For every cut k of a test's cascade one variant of the problem is worked through in which no
    band up to k was thrown: one more plain finding, which leaves the width of the table as it is.
    Differences between neighbouring cuts are the bands. Shapes: see `Outlook`.
    """
    if not posterior.exact:
        return _sweep_sets(problem, posterior, sources)
    network = problem.network
    cuts: list[tuple[Source, int]] = []
    for name in sources:
        source = network.sources[name]
        cuts += [(source, k) for k in range(1, len(source.cascade) + 1)]
    per_chunk = max(8, CHUNK // problem.cells)
    not_thrown = np.empty(len(cuts))
    was = np.empty((len(cuts), len(network.nodes)))
    for begin in range(0, len(cuts), per_chunk):
        chunk = cuts[begin : begin + per_chunk]
        extra: dict[int, dict[str, Array]] = {}
        leaks = np.empty(len(chunk))
        for b, (source, k) in enumerate(chunk):
            leaks[b] = 1.0 - sum(source.leak[:k])
            for cause, chances in source.links.items():
                if cause in problem.gone_at:
                    continue
                fired = sum(chances[:k])
                shows = network.shows[cause, source.family]
                if fired <= 0.0 or shows <= 0.0:
                    continue
                families = extra.setdefault(cause, {})
                if source.family not in families:
                    families[source.family] = np.ones(len(chunk))
                families[source.family][b] *= _rest(fired / shows)
        log_weight, here = _run(problem, len(chunk), extra)
        end = begin + len(chunk)
        not_thrown[begin:end] = np.exp(log_weight - posterior.log_evidence) * leaks
        was[begin:end] = here
    outlooks = []
    at = 0
    for name in sources:
        source = network.sources[name]
        bands = len(source.cascade) + 1
        rest = np.concatenate([[1.0], not_thrown[at : at + bands - 1]])
        joint = np.vstack([posterior.was, was[at : at + bands - 1]]) * rest[:, None]
        at += bands - 1
        outlooks.append(_outlook(problem, source, rest, joint, posterior))
    return outlooks


def sweep_repairs(
    problem: Problem, posterior: Posterior, causes: Sequence[str]
) -> list[RepairOutlook]:
    """What each repair would bring if it were done now: is the complaint then gone?

    "Gone after the repair" is one more plain finding for each complaint, in the complaint's own
    family: no cause but the repaired one may be showing in it. Exact where the posterior is.
    """
    network = problem.network
    width = len(causes)
    if not posterior.exact or width == 0:
        return [_rough_repair(problem, posterior, cause) for cause in causes]
    outlooks = []
    per_chunk = max(8, CHUNK // problem.cells)
    for begin in range(0, width, per_chunk):
        chunk = causes[begin : begin + per_chunk]
        extra: dict[int, dict[str, Array]] = {}
        for tree in network.complaints:
            source = network.sources[tree]
            for cause, chances in source.links.items():
                shows = network.shows[cause, source.family]
                if cause in problem.gone_at or shows <= 0.0:
                    continue
                left = _rest(chances[0] / shows)
                row = np.full(len(chunk), left)
                if network.nodes[cause].id in chunk:
                    row[chunk.index(network.nodes[cause].id)] = 1.0
                extra.setdefault(cause, {})[source.family] = row
        log_weight, was = _run(problem, len(chunk), extra)
        by_leak = math.prod(1.0 - network.sources[tree].leak[0] for tree in network.complaints)
        cured = np.exp(log_weight - posterior.log_evidence) * by_leak
        for b, repaired in enumerate(chunk):
            share = min(1.0, float(cured[b]))
            after = posterior.was - was[b] * share
            after = after / (1.0 - share) if share < 1.0 else posterior.was
            after = _finish(problem, np.clip(after, 0.0, 1.0))
            after[network.index[repaired]] = 0.0
            outlooks.append(RepairOutlook(repaired, share, after))
    return outlooks


def _rough_repair(problem: Problem, posterior: Posterior, cause: str) -> RepairOutlook:
    """A repair's outlook when only approximate chances are to be had: as if single faults."""
    at = problem.network.index[cause]
    after = posterior.present.copy()
    after[at] = 0.0
    total = sum(float(posterior.present[i]) for i in problem.network.relevant) or 1.0
    return RepairOutlook(cause, min(1.0, float(posterior.present[at]) / total), after)


def _outlook(
    problem: Problem, source: Source, rest: Array, joint: Array, posterior: Posterior
) -> Outlook:
    """Turn "nothing thrown up to cut k" into the chance of every band and what follows from it."""
    chance = np.empty(len(rest))
    chance[:-1] = np.maximum(rest[:-1] - rest[1:], 0.0)
    chance[-1] = rest[-1]
    mass = np.empty_like(joint)
    mass[:-1] = joint[:-1] - joint[1:]
    mass[-1] = joint[-1]
    with np.errstate(divide="ignore", invalid="ignore"):
        after = np.where(chance[:, None] > 0.0, mass / chance[:, None], posterior.was)
    return Outlook(source.id, source.bands, chance, _finish(problem, np.clip(after, 0.0, 1.0)))


@dataclass(frozen=True, slots=True)
class _Sets:
    """Sets of touched causes, padded with the index `causes`, and their normalised weights."""

    members: npt.NDArray[np.intp]
    weight: Array


def _weigh_sets(problem: Problem) -> tuple[_Sets, list[float]]:
    """The weight of every set of at most SET_SIZE touched causes, and the mass of every size."""
    nodes = problem.network.nodes
    touched = problem.touched
    count = len(touched)
    families = sorted({f for i in touched for f, g in problem.groups[i].items() if g.throws})
    odds = np.ones(count + 1)
    for at, i in enumerate(touched):
        present = nodes[i].prior
        for group in problem.groups[i].values():
            if not group.throws:
                present *= (1.0 - group.shows) + group.shows * group.factor
        odds[at] = present / (1.0 - nodes[i].prior)
    # For every family: chance to show, factor when showing, and for each of its findings the
    # chance that the state thrown is at most s. The dummy cause at `count` never shows.
    tables = []
    for family in families:
        shows = np.zeros(count + 1)
        factor = np.ones(count + 1)
        cumulated: dict[int, Array] = {}
        for at, i in enumerate(touched):
            here = problem.groups[i].get(family)
            if here is None or not here.throws:
                continue
            shows[at] = here.shows
            factor[at] = here.factor
            for n, throws in here.throws:
                if n not in cumulated:
                    cumulated[n] = np.ones((count + 1, problem.opens[n].size))
                cumulated[n][at] = np.cumsum(throws)
        tables.append((shows, factor, cumulated))
    all_members: list[npt.NDArray[np.intp]] = []
    all_weights: list[Array] = []
    masses: list[float] = []
    for size in range(min(SET_SIZE, count) + 1):
        sets = list(combinations(range(count), size))
        members = np.array(sets, dtype=np.intp).reshape(len(sets), size)
        weight = np.prod(odds[members], axis=1)
        for shows, factor, cumulated in tables:
            total = np.zeros(len(sets))
            for pattern in range(1 << size):
                showing = [b for b in range(size) if pattern >> b & 1]
                part = np.ones(len(sets))
                for b in range(size):
                    here_shows = shows[members[:, b]]
                    part = part * (here_shows if b in showing else 1.0 - here_shows)
                if not part.any():
                    continue
                for b in showing:
                    part = part * factor[members[:, b]]
                for n, table in cumulated.items():
                    at_most = np.cumsum(problem.opens[n].start)[None, :]
                    for b in showing:
                        at_most = at_most * table[members[:, b]]
                    steps = np.diff(at_most, axis=1, prepend=0.0)
                    part = part * (np.maximum(steps, 0.0) @ problem.opens[n].weights)
                total += part
            weight = weight * total
        padded = np.full((len(sets), SET_SIZE), count, dtype=np.intp)
        padded[:, :size] = members
        all_members.append(padded)
        all_weights.append(weight)
        masses.append(float(weight.sum()))
    weights = np.concatenate(all_weights)
    total_mass = float(weights.sum())
    if total_mass <= 0.0:
        raise Impossible("no set of up to four causes explains these readings")
    return _Sets(np.concatenate(all_members), weights / total_mass), masses


def _enumerate(problem: Problem, ids: tuple[str, ...]) -> Posterior:
    """The fallback: sets of at most SET_SIZE touched causes; free causes stay exact."""
    nodes = problem.network.nodes
    sets, masses = _weigh_sets(problem)
    was = np.empty(len(nodes))
    log_evidence = problem.log_scale + math.log(sum(masses))
    for at, i in enumerate(problem.touched):
        was[i] = float(sets.weight[(sets.members == at).any(axis=1)].sum())
        log_evidence += math.log1p(-nodes[i].prior)
    for i in problem.free:
        present = nodes[i].prior
        for group in problem.groups[i].values():
            present *= (1.0 - group.shows) + group.shows * group.factor
        total = (1.0 - nodes[i].prior) + present
        was[i] = present / total
        log_evidence += math.log(total)
    return Posterior(ids, _finish(problem, was), was, log_evidence, False, _left_out(masses))


def _left_out(masses: Sequence[float]) -> float:
    """The share of the evidence that larger sets would hold, as the last two sizes suggest.

    The masses of sets of growing size fall faster than a geometric series once past their peak;
    continuing the last ratio therefore errs on the safe side. When they still grow, all that can
    be said is that at least half may be missing.
    """
    if len(masses) <= SET_SIZE or masses[-2] <= 0.0:
        return 0.0
    ratio = masses[-1] / masses[-2]
    if ratio >= 1.0:
        return 0.5
    tail = masses[-1] * ratio / (1.0 - ratio)
    return tail / (sum(masses) + tail)


def _sweep_sets(problem: Problem, posterior: Posterior, sources: Sequence[str]) -> list[Outlook]:
    """`sweep` over the enumerated sets: approximate, as the posterior then is."""
    sets, _ = _weigh_sets(problem)
    touched = problem.touched
    place = {cause: at for at, cause in enumerate(touched)}
    member = np.zeros((len(sets.weight), len(touched) + 1), dtype=bool)
    np.put_along_axis(member, sets.members, True, axis=1)
    outlooks = []
    for name in sources:
        source = problem.network.sources[name]
        rest = [1.0]
        joint = [posterior.was]
        for k in range(1, len(source.cascade) + 1):
            keep = np.ones(len(touched) + 1)
            factor = 1.0 - sum(source.leak[:k])
            row = posterior.was.copy()
            for cause, chances in source.links.items():
                fired = sum(chances[:k])
                if cause in problem.gone_at:
                    continue
                if cause in place:
                    keep[place[cause]] = 1.0 - fired
                else:
                    chance = posterior.was[cause]
                    factor *= 1.0 - chance * fired
                    row[cause] = chance * (1.0 - fired) / (1.0 - chance * fired)
            weight = sets.weight * np.prod(keep[sets.members], axis=1)
            mass = float(weight.sum())
            row[touched] = (weight @ member[:, :-1]) / mass if mass > 0.0 else 0.0
            rest.append(mass * factor)
            joint.append(row * rest[-1])
        outlooks.append(_outlook(problem, source, np.array(rest), np.array(joint), posterior))
    return outlooks
