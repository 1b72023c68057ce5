"""The way out when too many findings are open at once: sets of a few causes, one by one.

Every set of at most `SET_SIZE` of the causes that open findings touch is weighed exactly; larger
sets are left out, and `left_out` estimates how much that matters. Causes that no open finding
touches stay exact.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from faulttree.scorer.network import Array, Numbers
from faulttree.scorer.passes import plain_weights
from faulttree.scorer.problem import Impossible, Problem

SET_SIZE = 4
"""How many touched causes at once are allowed for."""


@dataclass(frozen=True, slots=True)
class Sets:
    """Sets of touched causes, what each weighs, and how much each number of causes weighs.

    `members` holds places in `causes`, padded with their number. `weight` sums to 1; `idle[s, b]`
    is the chance that member b of set s shows in none of the complaints' families. `masses[k]` is
    the weight of the sets of k causes before it was made to sum to 1.
    """

    causes: tuple[int, ...]
    members: Numbers
    weight: Array
    idle: Array
    masses: tuple[float, ...]

    def total(self, values: Array) -> Array:
        """The expectation, for each of the causes, of values given for the members of the sets."""
        count = len(self.causes)
        weighted = (values * self.weight[:, None]).ravel()
        return np.bincount(self.members.ravel(), weighted, count + 1)[:count].astype(np.float64)


@dataclass(slots=True)
class _Family:
    """One family over all touched causes, with a last cause that never shows for padding."""

    shows: Array
    factor: Array
    at_most: dict[int, Array]
    complaint: bool


def _families(problem: Problem, causes: Sequence[int]) -> list[_Family]:
    found: dict[str, _Family] = {}
    groups = problem.network.groups
    count = len(causes) + 1
    for at, cause in enumerate(causes):
        for piece in problem.pieces[cause]:
            name = groups.family[piece.group]
            family = found.get(name)
            if family is None:
                family = _Family(np.zeros(count), np.ones(count), {}, piece.complaint)
                found[name] = family
            family.shows[at] = groups.shows[piece.group]
            family.factor[at] = problem.factor[piece.group]
    for number, read in enumerate(problem.opens):
        family = found.get(problem.network.sources[read.source].family)
        if family is None:
            continue
        table = np.ones((count, read.pushed.size))
        place = {cause: at for at, cause in enumerate(causes)}
        for row, cause, _ in read.pushed.open_rows:
            if read.rows is None or row in read.rows:
                table[place[cause]] = np.cumsum(read.pushed.throws[row])
        family.at_most[number] = table
    return list(found.values())


def weigh_sets(problem: Problem) -> Sets:
    """Weigh every set of at most SET_SIZE touched causes. Raises Impossible when none fits."""
    groups = problem.network.groups
    causes = tuple(problem.touched.tolist())
    count = len(causes)
    weight, _ = plain_weights(problem)
    odds = np.ones(count + 1)
    odds[:count] = weight[problem.touched] / (1.0 - groups.prior[problem.touched])
    families = _families(problem, causes)
    alone = 1.0
    for number, read in enumerate(problem.opens):
        if not any(number in family.at_most for family in families):
            alone *= float(read.pushed.start @ read.weights)
    parts = []
    for size in range(min(SET_SIZE, count) + 1):
        chosen = list(combinations(range(count), size))
        members = np.array(chosen, dtype=np.intp).reshape(len(chosen), size)
        heavy = np.prod(odds[members], axis=1) * alone
        idle = np.ones((len(chosen), SET_SIZE))
        for family in families:
            total, quiet = _weigh_family(problem, family, members)
            heavy = heavy * total
            if family.complaint:
                share = quiet / np.where(total > 0.0, total, 1.0)[:, None]
                idle[:, :size] *= share
        padded = np.full((len(chosen), SET_SIZE), count, dtype=np.intp)
        padded[:, :size] = members
        parts.append((padded, heavy, idle))
    masses = tuple(float(heavy.sum()) for _, heavy, _ in parts)
    if sum(masses) <= 0.0:
        raise Impossible(f"no set of up to {SET_SIZE} causes explains these readings")
    return Sets(
        causes,
        np.concatenate([padded for padded, _, _ in parts]),
        np.concatenate([heavy for _, heavy, _ in parts]) / sum(masses),
        np.concatenate([idle for _, _, idle in parts]),
        masses,
    )


def _weigh_family(problem: Problem, family: _Family, members: Numbers) -> tuple[Array, Array]:
    """What a family's findings weigh for each set; and the part in which a member is idle."""
    count, size = members.shape
    total = np.zeros(count)
    quiet = np.zeros((count, size))
    for pattern in range(1 << size):
        showing = [b for b in range(size) if pattern >> b & 1]
        part = np.ones(count)
        for b in range(size):
            shows = family.shows[members[:, b]]
            part = part * (shows if b in showing else 1.0 - shows)
        if not part.any():
            continue
        for b in showing:
            part = part * family.factor[members[:, b]]
        for number, table in family.at_most.items():
            read = problem.opens[number]
            at_most = np.cumsum(read.pushed.start)[None, :]
            for b in showing:
                at_most = at_most * table[members[:, b]]
            steps = np.diff(at_most, axis=1, prepend=0.0)
            part = part * (np.maximum(steps, 0.0) @ read.weights)
        total += part
        for b in range(size):
            if b not in showing:
                quiet[:, b] += part
    return total, quiet


def left_out(masses: Sequence[float]) -> float:
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
