"""The variants of a problem that are asked about: what could come next, and what came before.

"No band up to k thrown" at a test not yet done is one more plain finding, and so is "every
complaint gone" after a repair: neither widens the table of the passes. Leaving findings out of
the evidence does not widen it either. So each question is one column of the tables.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from faulttree.scorer.network import Array, Network, Numbers, rest_of
from faulttree.scorer.passes import Variants, Varied, plain_weights
from faulttree.scorer.problem import Problem


@dataclass(frozen=True, slots=True)
class Cuts:
    """ "No band up to k thrown" for every cut k of a source, as entries.

    Entry e says that in cut `rows[e]` the cause `causes[e]`, showing in group `groups[e]`, throws
    nothing with the chance `keep[e]`. `leak[k]` is the leak's chance of the same.
    """

    rows: Numbers
    causes: Numbers
    groups: Numbers
    keep: Array
    leak: Array


@dataclass(frozen=True, slots=True)
class Questions:
    """The variants of a look ahead: column 0 the problem itself, then repairs, then cuts.

    With repairs, column 1 is the variant in which every complaint is gone and no cause at work in
    one (see `Variants.idle`). `cuts[test]` is the first column of a test. Columns from `worked` on
    touch none of the causes in the passes' table: they need no pass of their own.
    """

    variants: Variants
    cuts: Mapping[str, int]
    worked: int


def cuts_of(network: Network, source: str) -> Cuts:
    """The cuts of a source, from the network's memo when they were asked for before."""
    key = ("cuts", source)
    known = network.groups.memo.get(key)
    if isinstance(known, Cuts):
        return known
    links = network.groups.links[source]
    keep = rest_of(np.cumsum(links.chances, axis=1)).T
    rows, at = np.nonzero(keep < 1.0)
    leak = rest_of(np.cumsum(np.array(network.sources[source].leak, dtype=np.float64)))
    made = Cuts(rows, links.causes[at], links.groups[at], keep[rows, at], leak)
    network.groups.memo[key] = made
    return made


def ask(problem: Problem, tests: Sequence[str], repairs: bool) -> Questions:
    """The variants for the problem itself, for every cut of the tests, and for repairs."""
    network = problem.network
    touched = np.zeros(len(network.nodes), dtype=bool)
    touched[problem.touched] = True
    found = [(name, cuts_of(network, name)) for name in dict.fromkeys(tests)]
    ranked = [
        (not touched[cuts.causes].any(), network.sources[name].family, at)
        for at, (name, cuts) in enumerate(found)
    ]
    ranked.sort()
    # Tests of one family side by side (see `Varied`), those that need no pass last.
    found = [found[at] for _, _, at in ranked]
    first: dict[str, int] = {}
    reach: dict[str, tuple[int, int]] = {}
    column = 2 if repairs else 1
    worked = column
    for (apart, family, _), (name, cuts) in zip(ranked, found, strict=True):
        first[name] = column
        column += len(cuts.leak)
        if not apart:
            low = reach[family][0] if family in reach else first[name]
            reach[family] = (low, column)
            worked = column
    weight, mix = plain_weights(problem)
    variants = Variants(
        np.repeat(weight[:, None], column, axis=1), np.full(column, problem.log_scale)
    )
    if found:
        _cut(problem, variants, found, first, reach, weight, mix)
    if repairs:
        _all_gone(problem, variants)
    return Questions(variants, first, worked)


def _cut(
    problem: Problem,
    variants: Variants,
    found: Sequence[tuple[str, Cuts]],
    first: Mapping[str, int],
    reach: Mapping[str, tuple[int, int]],
    weight: Array,
    mix: Array,
) -> None:
    """Fill in the columns of the tests."""
    groups = problem.network.groups
    columns = np.concatenate([cuts.rows + first[name] for name, cuts in found])
    causes = np.concatenate([cuts.causes for _, cuts in found])
    numbers = np.concatenate([cuts.groups for _, cuts in found])
    keep = np.concatenate([cuts.keep for _, cuts in found])
    leak = np.concatenate([cuts.leak for _, cuts in found])
    at = np.concatenate([first[name] + np.arange(len(cuts.leak)) for name, cuts in found])
    with np.errstate(divide="ignore"):
        variants.log_scale[at] += np.log(leak)
    if problem.gone_at:
        still = ~np.isin(causes, list(problem.gone_at))
        columns, causes, numbers, keep = columns[still], causes[still], numbers[still], keep[still]
    is_open = np.zeros(len(groups.cause), dtype=bool)
    is_open[problem.open_groups] = True
    in_open = is_open[numbers]
    plain = ~in_open
    g, c, k = numbers[plain], causes[plain], keep[plain]
    shows = groups.shows[g]
    others = _without(problem, weight, mix, c, g)
    variants.weight[c, columns[plain]] = others * (1.0 - shows + shows * problem.factor[g] * k)
    columns, causes, numbers, keep = (
        columns[in_open],
        causes[in_open],
        numbers[in_open],
        keep[in_open],
    )
    for group in np.unique(numbers):
        low, high = reach[groups.family[group]]
        row = np.full(high - low, problem.factor[group])
        mine = numbers == group
        row[columns[mine] - low] *= keep[mine]
        variants.varied.setdefault(int(groups.cause[group]), []).append(
            Varied(low, high, {int(group): row})
        )


def _without(problem: Problem, weight: Array, mix: Array, causes: Numbers, own: Numbers) -> Array:
    """The weight of causes without the mix of one of their groups."""
    mixes = mix[own]
    zero = mixes <= 0.0
    others = weight[causes] / np.where(zero, 1.0, mixes)
    for at in np.flatnonzero(zero):
        # A product that is zero cannot be divided back: multiply the others up.
        folded = mix.copy()
        folded[problem.open_groups] = 1.0
        folded[own[at]] = 1.0
        groups = problem.network.groups
        mine = folded[groups.cause == causes[at]]
        others[at] = groups.prior[causes[at]] * float(np.prod(mine))
    return others


def _all_gone(problem: Problem, variants: Variants) -> None:
    """Fill in column 1: every complaint gone, and so no cause at work in one."""
    network = problem.network
    groups = network.groups
    column = variants.idle = 1
    left = np.ones(len(groups.cause))
    for tree in network.complaints:
        links = groups.links[tree]
        left[links.groups] *= rest_of(links.chances.sum(axis=1))
        with np.errstate(divide="ignore"):
            leak = np.array(sum(network.sources[tree].leak))
            variants.log_scale[column] += np.log(rest_of(leak))
    left[np.isin(groups.cause, list(problem.gone_at))] = 1.0
    variants.weight[:, column] = plain_weights(problem, problem.factor * left)[0]
    found: dict[int, dict[int, Array]] = {}
    for group in problem.open_groups[left[problem.open_groups] < 1.0].tolist():
        row = np.array([problem.factor[group] * left[group]])
        found.setdefault(int(groups.cause[group]), {})[group] = row
    for cause, factors in found.items():
        variants.varied.setdefault(cause, []).append(Varied(column, column + 1, factors))


def leave_out(problem: Problem, kept: npt.NDArray[np.bool_]) -> Variants:
    """Variants in which only some of the findings count: `kept` has shape (variants, findings)."""
    groups = problem.network.groups
    count = len(kept)
    factor = np.ones((len(groups.cause), count))
    log_scale = np.zeros(count)
    closings: dict[int, Array] = {}
    for at, read in enumerate(problem.reads):
        counts = kept[:, at]
        factor[read.groups] *= np.where(counts, read.plain[:, None], 1.0)
        log_scale += np.where(counts, read.log_scale, 0.0)
        if read.number >= 0 and not counts.all():
            closings[read.number] = np.where(counts, read.weights[:, None], 1.0)
    weight, _ = plain_weights(problem, factor)
    variants = Variants(weight, log_scale, closings=closings)
    for cause, pieces in problem.pieces.items():
        factors = {
            piece.group: factor[piece.group]
            for piece in pieces
            if (factor[piece.group] != problem.factor[piece.group]).any()
        }
        if factors:
            variants.varied[cause] = [Varied(0, count, factors)]
    return variants
