"""A rough look over the tests: which of them could come first at all?

A look ahead costs about as much as it has tests to judge, and most of them have nothing to say
about a case. Here every test gets a quick estimate of what it would tell, as if the causes at work
excluded one another and were all that hung together. It only sorts out which tests are worth the
exact look ahead of `advice`; nothing that is shown or weighed comes from here.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from faulttree.scorer.network import Array, Network, Numbers
from faulttree.scorer.problem import Problem
from faulttree.scorer.variants import cuts_of

LEAST = 1e-12


@dataclass(frozen=True, slots=True)
class _Table:
    """Every cut of every test in turn (see `variants.Cuts`), and which rows make up its bands.

    A test's rows are "nothing at all ruled out" (row 0 of all), then its cuts; a band is the
    difference between the rows `upper` and `lower`. `starts` says at which band each test begins,
    `minutes` how long it takes and `reaches` how far it reaches in.
    """

    place: dict[str, int]
    rows: Numbers
    causes: Numbers
    groups: Numbers
    throws: Array
    leak: Array
    upper: Numbers
    lower: Numbers
    starts: Numbers
    minutes: Array
    reaches: Numbers


def _table(network: Network) -> _Table:
    known = network.groups.memo.get("promise")
    if isinstance(known, _Table):
        return known
    names = [s.id for s in network.sources.values() if not s.is_complaint and s.links]
    cuts = [cuts_of(network, name) for name in names]
    counts = [len(each.leak) for each in cuts]
    first = 1 + np.concatenate([[0], np.cumsum(counts)[:-1]]).astype(np.intp)
    last_row = 1 + sum(counts)
    upper: list[int] = []
    lower: list[int] = []
    starts = []
    for begin, count in zip(first.tolist(), counts, strict=True):
        starts.append(len(upper))
        upper += [0, *range(begin, begin + count)]
        lower += [*range(begin, begin + count), last_row]
    made = _Table(
        {name: at for at, name in enumerate(names)},
        np.concatenate([each.rows + begin for each, begin in zip(cuts, first, strict=True)]),
        np.concatenate([each.causes for each in cuts]),
        np.concatenate([each.groups for each in cuts]),
        np.concatenate([1.0 - each.keep for each in cuts]),
        np.concatenate([[1.0], *(each.leak for each in cuts), [0.0]]),
        np.array(upper, dtype=np.intp),
        np.array(lower, dtype=np.intp),
        np.array(starts, dtype=np.intp),
        np.array([network.sources[name].minutes for name in names]),
        np.array([network.sources[name].reach for name in names], dtype=np.intp),
    )
    network.groups.memo["promise"] = made
    return made


def promising(
    problem: Problem,
    present: Array,
    active: Array,
    names: Sequence[str],
    most: int,
    easy: int = 0,
) -> list[str]:
    """Those of the tests that promise most, in the order given.

    `most` of them are those that promise most for their time, `most` those that promise most when
    time weighs a quarter, and of every lower reach `easy` by either measure. `present` and
    `active` are chances as in `Posterior`.
    """
    if len(names) <= most:
        return list(names)
    network = problem.network
    table = _table(network)
    groups = network.groups
    # How likely a cause, when present, shows in a family after what the family has read.
    factor = problem.factor
    shows = groups.shows * factor / (1.0 - groups.shows * (1.0 - factor))
    if len(problem.open_groups):
        shows[problem.open_groups] = 1.0
    throws = table.throws * shows[table.groups]
    idle = np.maximum(present - active, 0.0)
    by_chance = table.leak.copy()
    np.multiply.at(by_chance, table.rows, 1.0 - idle[table.causes] * throws)
    known = [i for i in sorted(network.relevant) if i not in problem.gone_at]
    column = np.full(len(network.nodes), len(known) + 1, dtype=np.intp)
    column[known] = np.arange(len(known))
    rivals = active[known]
    total = float(rivals.sum())
    share = np.append(rivals / max(1.0, total), max(0.0, 1.0 - total))
    # One column for each rival, one for "none of them", one that collects all other causes.
    keep = np.repeat(by_chance[:, None], len(known) + 2, axis=1)
    keep[table.rows, column[table.causes]] *= 1.0 - throws
    keep = keep[:, :-1]
    band = keep[table.upper] - keep[table.lower]
    whole = band @ share
    told = (band * np.log2(np.maximum(band, LEAST))) @ share
    told -= whole * np.log2(np.maximum(whole, LEAST))
    bits = np.maximum(np.add.reduceat(told, table.starts), LEAST)
    at = np.array([table.place[name] for name in names], dtype=np.intp)
    bits, minutes, reaches = bits[at], table.minutes[at], table.reaches[at]
    price = float((minutes / bits).min())
    chosen = np.zeros(len(names), dtype=bool)
    for worth in (price * bits - minutes, 4.0 * price * bits - minutes):
        order = np.argsort(-worth, kind="stable")
        chosen[order[:most]] = True
        # Of tests that are nearly as good the advice puts the one of lowest reach first.
        for reach in range(int(reaches.max())):
            chosen[order[reaches[order] == reach][:easy]] = True
    return [name for name, wanted in zip(names, chosen, strict=True) if wanted]
