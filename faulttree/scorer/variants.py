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
    """The variants of a look ahead: column 0 the problem itself, then cuts and repairs.

    `cuts[test]` is the first column of a test, `repairs[cause]` the column of a repair. Columns
    from `worked` on touch none of the causes in the passes' table: they need no pass of their own.
    """

    variants: Variants
    cuts: Mapping[str, int]
    repairs: Mapping[str, int]
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


def ask(problem: Problem, tests: Sequence[str], causes: Sequence[str]) -> Questions:
    """The variants for the problem itself, for every cut of the tests and for the repairs."""
    network = problem.network
    touched = np.zeros(len(network.nodes) + 1, dtype=bool)
    touched[problem.touched] = True
    gone = np.zeros(len(network.nodes), dtype=bool)
    gone[list(problem.gone_at)] = True
    found = [(name, cuts_of(network, name)) for name in dict.fromkeys(tests)]
    # Tests of one family side by side (see `Varied`), those that need no pass last.
    found.sort(
        key=lambda pair: (not touched[pair[1].causes].any(), network.sources[pair[0]].family)
    )
    first: dict[str, int] = {}
    reach: dict[str, tuple[int, int]] = {}
    repairs: dict[str, int] = {}
    column = 1
    worked = 0
    for name, cuts in found:
        if not worked and not touched[cuts.causes].any():
            repairs = {cause: column + at for at, cause in enumerate(causes)}
            column += len(causes)
            worked = column
        first[name] = column
        family = network.sources[name].family
        low = reach.get(family, (column, 0))[0]
        column += len(cuts.leak)
        if not worked:
            reach[family] = (low, column)
    if not worked:
        repairs = {cause: column + at for at, cause in enumerate(causes)}
        column += len(causes)
        worked = column

    weight, mix = plain_weights(problem)
    variants = Variants(
        np.repeat(weight[:, None], column, axis=1), np.full(column, problem.log_scale)
    )
    if found:
        _cut(problem, variants, found, first, reach, weight, mix, gone)
    if repairs:
        _repair(problem, variants, repairs, weight, gone)
    return Questions(variants, first, repairs, worked)


def _cut(
    problem: Problem,
    variants: Variants,
    found: Sequence[tuple[str, Cuts]],
    first: Mapping[str, int],
    reach: Mapping[str, tuple[int, int]],
    weight: Array,
    mix: Array,
    gone: npt.NDArray[np.bool_],
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
        still = ~gone[causes]
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


def _repair(
    problem: Problem,
    variants: Variants,
    repairs: Mapping[str, int],
    weight: Array,
    gone: npt.NDArray[np.bool_],
) -> None:
    """Fill in the columns of the repairs: every complaint gone, the repaired cause absent."""
    network = problem.network
    groups = network.groups
    low = min(repairs.values())
    high = low + len(repairs)
    left = np.ones(len(groups.cause))
    for tree in network.complaints:
        source = network.sources[tree]
        links = groups.links[tree]
        keep = rest_of(links.chances.sum(axis=1))
        left[links.groups] *= np.where(gone[links.causes], 1.0, keep)
        with np.errstate(divide="ignore"):
            variants.log_scale[low:high] += np.log(rest_of(np.array(sum(source.leak))))
    after, _ = plain_weights(problem, problem.factor * left)
    variants.weight[:, low:high] = after[:, None]
    for cause, column in repairs.items():
        variants.weight[network.index[cause], column] = weight[network.index[cause]]
    own = {network.index[cause]: column - low for cause, column in repairs.items()}
    found: dict[int, dict[int, Array]] = {}
    for group in problem.open_groups.tolist():
        if left[group] == 1.0:
            continue
        at = int(groups.cause[group])
        row = np.full(high - low, problem.factor[group] * left[group])
        if at in own:
            row[own[at]] = problem.factor[group]
        found.setdefault(at, {})[group] = row
    for at, factors in found.items():
        variants.varied.setdefault(at, []).append(Varied(low, high, factors))


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
