"""Exact chances of every cause, given readings, complaints and repairs, and what could come next.

`problem` sorts the evidence, `passes` sums over fault sets; this module asks them the questions:
the posterior, the outlook on every test not yet done and on every repair.

Nothing is left out as long as the table of open findings has at most `STATE_LIMIT` cells, for a
look ahead `AHEAD_LIMIT`. Past that, sets of at most `SET_SIZE` causes are enumerated instead
(`sets`); the posterior then says so in `exact`, and in `omitted` which share of the evidence
larger sets would have held. Ten abnormal findings on the shipped trees take some hundred cells.

Repairs are interventions: a cause repaired at stage r answers to findings before r as it was, and
to findings from r on as absent.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from faulttree.scorer.evidence import Evidence
from faulttree.scorer.network import Array, Network
from faulttree.scorer.passes import Sums, Variants, plain_weights, run
from faulttree.scorer.problem import Impossible, Problem
from faulttree.scorer.sets import Sets, left_out, weigh_sets
from faulttree.scorer.variants import ask, leave_out

__all__ = [
    "Ahead",
    "Impossible",
    "Outlook",
    "Posterior",
    "Problem",
    "RepairOutlook",
    "look_ahead",
    "solve",
    "solve_parts",
    "solve_problem",
    "sweep",
    "sweep_repairs",
]

STATE_LIMIT = 1 << 20
"""The largest table of states that is worked through exactly (20 bits: about 0.2 s, 0.1 GB)."""
AHEAD_LIMIT = 1 << 16
"""The same for a look ahead, which works on some two hundred tables at once (about 2 s)."""


@dataclass(frozen=True, slots=True)
class Posterior:
    """The chance of every cause, present now, in the order of the network's nodes.

    `present` is the chance now (0 for a repaired cause); `was` the chance that it was present at
    the start; `active` the chance that it is present now and at work in one of the session's
    complaints. `log_evidence` is the natural logarithm of the probability of the evidence.
    `omitted` is the estimated share of the evidence left out when `exact` is False.
    """

    ids: tuple[str, ...]
    present: Array
    was: Array
    active: Array
    log_evidence: float
    exact: bool = True
    omitted: float = 0.0

    @property
    def chances(self) -> dict[str, float]:
        """Cause id to its chance of being present now."""
        return dict(zip(self.ids, map(float, self.present), strict=True))


@dataclass(frozen=True, slots=True)
class Outlook:
    """What one test would bring if it were done now: each band's chance, and the chances after it.

    `bands` are the cascade then the expected band; `chance[k]` is the band's probability,
    `after[k, i]` the chance of cause i, present now, once that band has been read, and
    `active[k, i]` the chance that it is then also at work in a complaint. A chance after a band
    is as exact as rounding allows: to about 1e-15 over the chance of the band.
    """

    source: str
    bands: tuple[str, ...]
    chance: Array
    after: Array
    active: Array


@dataclass(frozen=True, slots=True)
class RepairOutlook:
    """What repairing one cause would bring: the chance that every complaint is then gone.

    `active[i]` is the chance that cause i is at work in a complaint once the repair has been done
    and a complaint has shown itself again.
    """

    cause: str
    cured: float
    active: Array


@dataclass(frozen=True, slots=True)
class Ahead:
    """The posterior, and the outlook on every test and repair asked for, in one go.

    The outlooks' arrays are rows of `chance`, `after` and `active`, which hold every band of
    every test in turn, so that a caller can work on all of them at once.
    """

    posterior: Posterior
    outlooks: tuple[Outlook, ...]
    repairs: tuple[RepairOutlook, ...]
    chance: Array
    after: Array
    active: Array


def solve(network: Network, evidence: Evidence) -> Posterior:
    """The exact chance of every cause given the evidence.

    Raises Impossible when nothing explains the evidence, KeyError for a finding whose source the
    network does not hold. See the module's text for what `exact` means.
    """
    return solve_problem(Problem(network, evidence))


def solve_problem(problem: Problem) -> Posterior:
    """`solve` for a problem that is already prepared."""
    if problem.cells > STATE_LIMIT:
        return _rough(problem)
    weight, _ = plain_weights(problem)
    variants = Variants(weight[:, None], np.array([problem.log_scale]))
    return _posterior(problem, run(problem, variants, idle=True))


@dataclass(frozen=True, slots=True)
class Parts:
    """What parts of the evidence come to: shapes (parts,) and (parts, causes).

    `log_evidence` is the natural logarithm of the chance of each part, -inf when nothing explains
    it (its chances are then 0); `was` the chance of every cause at the start.
    """

    log_evidence: Array
    was: Array
    exact: bool


def solve_parts(problem: Problem, kept: npt.NDArray[np.bool_]) -> Parts:
    """Solve for several parts of the evidence in one pass.

    `kept` has shape (parts, findings) and says which findings count in each part; the repairs
    count in all of them.
    """
    if problem.cells <= min(STATE_LIMIT, AHEAD_LIMIT):
        sums = run(problem, leave_out(problem, kept))
        return Parts(sums.log_weight, sums.was.T, True)
    found = [_solve_part(problem, row) for row in kept]
    return Parts(
        np.array([-math.inf if part is None else part.log_evidence for part in found]),
        np.array([np.zeros(len(problem.ids)) if part is None else part.was for part in found]),
        all(part is None or part.exact for part in found),
    )


def _solve_part(problem: Problem, kept: npt.NDArray[np.bool_]) -> Posterior | None:
    """One part on its own, which may be narrow where the whole is not; None when impossible."""
    evidence = problem.evidence
    findings = tuple(f for f, counts in zip(evidence.findings, kept, strict=True) if counts)
    try:
        return solve(problem.network, Evidence(findings, evidence.repaired))
    except Impossible:
        return None


def look_ahead(problem: Problem, tests: Sequence[str], causes: Sequence[str]) -> Ahead:
    """The posterior, the outlook on each of the tests and on the repair of each of the causes.

    Every question is one column of the passes (see `variants`). The chance of a band is the
    difference between "nothing thrown" up to neighbouring cuts of the test's cascade.
    """
    if problem.cells > min(STATE_LIMIT, AHEAD_LIMIT):
        return _rough_ahead(problem, tests, causes)
    questions = ask(problem, tests, bool(causes))
    sums = run(problem, questions.variants.part(0, questions.worked), idle=True)
    posterior = _posterior(problem, sums)
    repairs = _repaired(problem, posterior, causes, sums.alone)
    if questions.worked < questions.variants.count:
        sums = _with_untouched(problem, questions.variants, questions.worked, sums)
    share = np.exp(sums.log_weight - sums.log_weight[0])
    joint = np.stack([sums.was.T, sums.was.T])
    joint[1] -= sums.idle.T
    joint[:, :, list(problem.gone_at)] = 0.0
    joint *= share[:, None]
    chance, after, active = _bands(problem, posterior, questions.cuts, tests, share, joint)
    return _ahead(problem, posterior, tests, repairs, chance, after, active)


def sweep(problem: Problem, posterior: Posterior, sources: Sequence[str]) -> list[Outlook]:
    """What each of the given tests would bring if it were done now. See `look_ahead`."""
    return list(look_ahead(problem, sources, ()).outlooks)


def sweep_repairs(
    problem: Problem, posterior: Posterior, causes: Sequence[str]
) -> list[RepairOutlook]:
    """What each repair would bring if it were done now: is the complaint then gone?"""
    return list(look_ahead(problem, (), causes).repairs)


def _posterior(problem: Problem, sums: Sums) -> Posterior:
    """The posterior from the first column of the sums."""
    log_evidence = float(sums.log_weight[0])
    if log_evidence == -math.inf:
        raise Impossible("no set of causes explains these readings, not even by chance")
    was = sums.was[:, 0].copy()
    present = was.copy()
    idle = sums.idle[:, 0].copy()
    for cause in problem.gone_at:
        present[cause] = idle[cause] = 0.0
    active = np.maximum(present - idle, 0.0)
    return Posterior(problem.ids, present, was, active, log_evidence)


def _with_untouched(problem: Problem, variants: Variants, worked: int, sums: Sums) -> Sums:
    """The sums with the columns from `worked` on, which differ from the first in free causes."""
    free, touched = problem.free, problem.touched
    absent = 1.0 - problem.network.groups.prior[free, None]
    weight = variants.weight[free, worked:]
    total = weight + absent
    base = np.log(variants.weight[free, :1] + absent).sum()
    was = np.empty((len(sums.was), variants.count))
    idle = np.empty_like(was)
    was[:, :worked] = sums.was
    idle[:, :worked] = sums.idle
    was[free, worked:] = weight / np.where(total > 0.0, total, 1.0)
    idle[free, worked:] = was[free, worked:] * problem.idle_share[free, None]
    was[touched, worked:] = sums.was[touched, :1]
    idle[touched, worked:] = sums.idle[touched, :1]
    moved = variants.log_scale[worked:] - variants.log_scale[0] - base
    with np.errstate(divide="ignore"):
        moved += np.log(total).sum(axis=0)
    log_weight = np.concatenate([sums.log_weight, sums.log_weight[0] + moved])
    return Sums(log_weight, was, idle, sums.alone)


def _bands(
    problem: Problem,
    posterior: Posterior,
    cuts: Mapping[str, int],
    tests: Sequence[str],
    share: Array,
    joint: Array,
) -> tuple[Array, Array, Array]:
    """Turn "nothing thrown up to cut k" into bands: differences between neighbouring cuts.

    `share` (columns,) and `joint` (2, columns, causes) are joint with the evidence, over its own
    chance. Returns the chance of every band, and the chances of the causes after it.
    """
    upper: list[int] = []
    lower: list[int] = []
    for test in tests:
        first = cuts[test]
        last = first + len(problem.network.sources[test].cascade)
        upper += [0, *range(first, last)]
        lower += [*range(first, last), -1]
    share = np.append(share, 0.0)
    joint = np.concatenate([joint, np.zeros((2, 1, joint.shape[2]))], axis=1)
    chance = np.maximum(share[upper] - share[lower], 0.0)
    mass = joint[:, upper] - joint[:, lower]
    never = chance <= 0.0
    after = mass / np.where(never, 1.0, chance)[:, None]
    if never.any():
        after[0, never] = posterior.present
        after[1, never] = posterior.active
    after = np.clip(after, 0.0, 1.0, out=after)
    return chance, after[0], after[1]


def _ahead(
    problem: Problem,
    posterior: Posterior,
    tests: Sequence[str],
    repairs: tuple[RepairOutlook, ...],
    chance: Array,
    after: Array,
    active: Array,
) -> Ahead:
    """Cut the rows of all bands up into one outlook for each test."""
    outlooks = []
    at = 0
    for test in tests:
        bands = problem.network.sources[test].bands
        rows = slice(at, at + len(bands))
        outlooks.append(Outlook(test, bands, chance[rows], after[rows], active[rows]))
        at += len(bands)
    return Ahead(posterior, tuple(outlooks), repairs, chance, after, active)


def _repaired(
    problem: Problem, posterior: Posterior, causes: Sequence[str], alone: Array
) -> tuple[RepairOutlook, ...]:
    """The outlook on each repair, from the chance that no other cause is at work."""
    if not causes:
        return ()
    at = np.array([problem.network.index[cause] for cause in causes], dtype=np.intp)
    cured = np.minimum(1.0, alone[at])
    left = 1.0 - cured
    idle = (left <= 0.0) | np.isin(at, list(problem.gone_at))
    # Once all complaints are gone no cause left is at work in them: none of it is lost to a cure.
    active = np.minimum(posterior.active / np.where(idle, 1.0, left)[:, None], 1.0)
    still = np.flatnonzero(~idle)
    active[still, at[still]] = 0.0
    rows = zip(causes, cured.tolist(), active, strict=True)
    return tuple([RepairOutlook(cause, chance, row) for cause, chance, row in rows])


def _rough(problem: Problem) -> Posterior:
    """The posterior from sets of a few causes."""
    return _rough_posterior(problem, weigh_sets(problem))


def _rough_posterior(problem: Problem, sets: Sets) -> Posterior:
    weight, _ = plain_weights(problem)
    prior = problem.network.groups.prior
    total = weight + (1.0 - prior)
    was = weight / total
    idle = was * problem.idle_share
    places = list(sets.causes)
    was[places] = sets.total(np.ones_like(sets.idle))
    idle[places] = sets.total(sets.idle) * problem.idle_share[places]
    log_evidence = problem.log_scale + math.log(sum(sets.masses))
    log_evidence += float(np.log(total[problem.free]).sum())
    log_evidence += float(np.log1p(-prior[places]).sum())
    present = was.copy()
    for cause in problem.gone_at:
        present[cause] = idle[cause] = 0.0
    active = np.maximum(present - idle, 0.0)
    omitted = left_out(sets.masses)
    return Posterior(problem.ids, present, was, active, log_evidence, False, omitted)


def _rough_ahead(problem: Problem, tests: Sequence[str], causes: Sequence[str]) -> Ahead:
    """`look_ahead` over the sets of a few causes: approximate, as the posterior then is.

    What a family has already shown is not followed up, and a repair counts as if it were a matter
    of single faults.
    """
    network = problem.network
    sets = weigh_sets(problem)
    posterior = _rough_posterior(problem, sets)
    place = {cause: at for at, cause in enumerate(sets.causes)}
    places = list(sets.causes)
    share = [1.0]
    joint = [posterior.present]
    cuts = {}
    for test in tests:
        source = network.sources[test]
        cuts[test] = len(share)
        for k in range(1, len(source.cascade) + 1):
            keep = np.ones(len(places) + 1)
            factor = max(0.0, 1.0 - sum(source.leak[:k]))
            row = posterior.present.copy()
            for cause, chances in source.links.items():
                fired = sum(chances[:k])
                if cause in problem.gone_at:
                    continue
                if cause in place:
                    keep[place[cause]] = max(0.0, 1.0 - fired)
                else:
                    chance = posterior.was[cause]
                    factor *= 1.0 - chance * fired
                    row[cause] = chance * (1.0 - fired) / (1.0 - chance * fired)
            weight = np.prod(keep[sets.members], axis=1)
            mass = float(weight @ sets.weight)
            here = np.broadcast_to(weight[:, None], sets.members.shape)
            row[places] = sets.total(here) / mass if mass > 0.0 else 0.0
            row[list(problem.gone_at)] = 0.0
            share.append(mass * factor)
            joint.append(row * share[-1])
    at_work = posterior.active / np.where(posterior.present > 0.0, posterior.present, 1.0)
    both = np.stack([np.array(joint), np.array(joint) * at_work])
    chance, after, active = _bands(problem, posterior, cuts, tests, np.array(share), both)
    repairs = tuple(_rough_repair(problem, posterior, cause) for cause in causes)
    return _ahead(problem, posterior, tests, repairs, chance, after, active)


def _rough_repair(problem: Problem, posterior: Posterior, cause: str) -> RepairOutlook:
    """A repair's outlook when only approximate chances are to be had: as if single faults."""
    at = problem.network.index[cause]
    active = posterior.active.copy()
    active[at] = 0.0
    total = float(posterior.active.sum()) or 1.0
    return RepairOutlook(cause, min(1.0, float(posterior.active[at]) / total), active)
