"""The sums over fault sets: a forward and a backward pass over the states of open findings.

The forward pass adds one cause at a time to a table over the states of the findings open at that
moment: absent, or present and then, group by group, not showing, or showing and pushing every
finding of the family to the larger of its state and the one thrown. A finding enters the table
starting from its leak, with the causes that touch nothing else already in it, and is summed out
with its weights after the last cause that touches it. Forward times backward gives every
marginal. All terms are positive, so nothing cancels (the inclusion-exclusion form of the same
sum loses three digits at a dozen abnormal findings).

Many *variants* of one problem run at once, as the columns of the tables: variants differ in the
plain weight of causes, in the plain factor of open groups, or in the weights of findings, and all
share the order of the passes. That is how the outlook on every test and repair, and what each
reading has done, are worked out exactly for little more than the price of one solution.
"""

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from faulttree.scorer.network import Array
from faulttree.scorer.problem import Closing, Opening, Piece, Problem, Step

CHUNK = 1 << 15
"""How many table cells are worked on at once, over all variants; what a processor caches."""
SMALL = 1 << 14
"""Up to so many numbers a table is small: what counts is the price of a call, not of the sums."""
TINY = 1e-100
"""A table whose largest cell has sunk below this is scaled up again."""


@dataclass(frozen=True, slots=True)
class Varied:
    """Variants from `low` up to `high` in which open groups of a cause have factors of their own.

    `factors[group]` has one plain factor for each of those variants.
    """

    low: int
    high: int
    factors: Mapping[int, Array]


@dataclass(slots=True)
class Variants:
    """Variants of one problem, one in each column.

    `weight[cause]` is the plain weight of the cause being present: its prior times, for each of
    its groups without open findings, 1 - shows + shows x factor. `log_scale` collects what does
    not depend on the causes. `closings[number]` holds weights of an open finding, shape (states,
    variants), where they are not the same for all.

    In the variant `idle`, if there is one, no cause shows in any complaint's family. Beside it the
    passes work out, for each cause, the same variant with that cause alone free to show; for this
    they need its weight when free, which is that of variant 0.
    """

    weight: Array
    log_scale: Array
    varied: dict[int, list[Varied]] = field(default_factory=dict)
    closings: dict[int, Array] = field(default_factory=dict)
    idle: int | None = None

    @property
    def count(self) -> int:
        """How many variants there are."""
        return int(self.weight.shape[1])

    def part(self, low: int, high: int) -> "Variants":
        """The variants from `low` up to `high`."""
        varied: dict[int, list[Varied]] = {}
        whole = low == 0 and all(each.high <= high for f in self.varied.values() for each in f)
        for cause, found in () if whole else self.varied.items():
            for each in found:
                begin, end = max(low, each.low), min(high, each.high)
                if begin < end:
                    factors = {
                        group: row[begin - each.low : end - each.low]
                        for group, row in each.factors.items()
                    }
                    varied.setdefault(cause, []).append(Varied(begin - low, end - low, factors))
        return Variants(
            self.weight[:, low:high],
            self.log_scale[low:high],
            self.varied if whole else varied,
            {number: rows[:, low:high] for number, rows in self.closings.items()},
            self.idle if low == 0 else None,
        )


@dataclass(frozen=True, slots=True)
class Sums:
    """What the passes come to: shapes (variants,), (causes, variants), (causes, variants).

    `was` is the chance that a cause was present, `idle` that it was present and shows in none of
    the complaints' families. A variant that nothing explains has log weight -inf and chances 0.
    `alone[cause]` is the weight of the variant `Variants.idle` with that cause free to show, over
    the weight of variant 0; empty when there is no such variant.
    """

    log_weight: Array
    was: Array
    idle: Array
    alone: Array


def plain_weights(problem: Problem, factor: Array | None = None) -> tuple[Array, Array]:
    """The plain weight of each cause and the mix 1 - shows + shows x factor of each group.

    The mix of a group with open findings is left out of the weight. `factor` stands in for the
    problem's own; with a second axis it gives the weights of that many variants.
    """
    groups = problem.network.groups
    if factor is None:
        factor = problem.factor
    shows, prior = groups.shows, groups.prior
    if factor.ndim == 2:
        shows, prior = shows[:, None], prior[:, None]
    mix = 1.0 - shows + shows * factor
    folded = mix.copy()
    folded[problem.open_groups] = 1.0
    return prior * np.multiply.reduceat(folded, groups.first, axis=0), mix


def run(problem: Problem, variants: Variants, *, idle: bool = False) -> Sums:
    """Forward and backward over every variant, in chunks that a processor's cache holds."""
    count = variants.count
    per_chunk = max(8, CHUNK // problem.cells)
    assert variants.idle is None or variants.idle < 2, "the first chunk must hold it"
    if count <= per_chunk:
        return _run(problem, variants, idle)
    # Even chunks: a last one of a few columns would cost as much as a full one.
    chunks = -(-count // per_chunk)
    edges = [count * k // chunks for k in range(chunks + 1)]
    done = [
        _run(problem, variants.part(low, high), idle) for low, high in itertools.pairwise(edges)
    ]
    return Sums(
        np.concatenate([each.log_weight for each in done]),
        np.concatenate([each.was for each in done], axis=1),
        np.concatenate([each.idle for each in done], axis=1),
        done[0].alone,
    )


def _run(problem: Problem, variants: Variants, idle: bool) -> Sums:
    absent = 1.0 - problem.network.groups.prior
    free, touched = problem.free, problem.touched
    was = np.empty(variants.weight.shape)
    weight = variants.weight[free]
    total = weight + absent[free, None]
    worked = _Passes(problem, variants, was, idle)
    with np.errstate(divide="ignore", invalid="ignore"):
        was[free] = weight / total
        worked.forward()
        log_weight = variants.log_scale + np.log(total).sum(axis=0)
        log_weight += worked.scale + np.log(worked.end)
        worked.backward()
    dead = np.isneginf(log_weight)
    if dead.any():
        was[:, dead] = 0.0
        worked.idle[:, dead] = 0.0
    resting = worked.idle
    if idle:
        resting[free] = was[free]
        resting *= problem.idle_share[:, None]
    alone = np.empty(0)
    at = variants.idle
    if at is not None and not dead[0]:
        alone = worked.alone
        own = total[:, at]
        # A cause that is surely there may not be idle at all: then no other can be alone.
        sure = own <= 0.0
        own = np.where(sure, 1.0, own)
        scaled = variants.log_scale[at] + np.log(own).sum() + worked.scale[at] - log_weight[0]
        alone[free] = np.where(sure.sum() > sure, 0.0, worked.end[at] * total[:, 0] / own)
        if sure.any():
            alone[touched] = 0.0
        alone *= np.exp(scaled)
    return Sums(log_weight, was, resting, alone)


class _Passes:
    """The tables of one run. `forward` must come before `backward`, which fills `was`."""

    def __init__(self, problem: Problem, variants: Variants, was: Array, idle: bool) -> None:
        self.problem = problem
        self.count = variants.count
        self.closings = variants.closings
        self.was = was
        self.want_idle = idle
        self.idle = np.zeros(was.shape)
        self.idle_variant = variants.idle
        self.alone = np.zeros(len(was))
        self.kept: list[Array] = []
        self.scales: list[Array | None] = []
        self.opened: list[tuple[Array, Array]] = []
        absent = 1.0 - problem.network.groups.prior
        # Weights as odds save a product a cause; a cause that is surely present has none.
        sure = absent <= 0.0
        self.sure = set(np.flatnonzero(sure).tolist())
        self.odds = variants.weight / np.where(sure, 1.0, absent)[:, None]
        self.log_absent = float(np.log(absent[problem.touched_and_unsure]).sum())
        self.shows = problem.network.groups.shows.tolist()
        self.rows = {cause: self._rows(found) for cause, found in variants.varied.items()}
        """For a cause that differs between variants, the row that `_mixed` takes for each group."""

    def _rows(self, found: Sequence[Varied]) -> dict[int, Array]:
        rows: dict[int, Array] = {}
        for varied in found:
            for group, factors in varied.factors.items():
                if group not in rows:
                    rows[group] = np.full(self.count, self.problem.factor[group])
                rows[group][varied.low : varied.high] = factors
        for group, row in rows.items():
            row *= self.shows[group]
        return rows

    def forward(self) -> None:
        """Work out `end`, the weight of every variant, and `scale`, the log of its scale."""
        count = self.count
        log_weight = np.full(count, self.log_absent)
        table = np.ones((1, count))
        for item in self.problem.plan.steps:
            if type(item) is Step:
                if item.move is not None:
                    table = _moved(table, item.move.shape, item.move.order)
                table = self._add(item, table)
            elif type(item) is Opening:
                start = self.problem.opens[item.number].pushed.start
                own = np.empty((len(start), count))
                own[:] = start[:, None]
                for step in item.private:
                    own = self._add(step, own)
                self.opened.append((table, own))
                table = (own[:, None, :] * table).reshape(-1, count)
            else:
                assert isinstance(item, Closing)
                table = self._close(item, table)
                largest = table.max(axis=0)
                scale = None
                if largest.min() < TINY:
                    scale = np.where(largest > 0.0, largest, 1.0)
                    table = table / scale
                    log_weight += np.log(scale)
                self.scales.append(scale)
        self.end = table[0]
        self.scale = log_weight

    def backward(self) -> None:
        """Fill in the chance of every touched cause."""
        count = self.count
        table = np.ones((1, count))
        for item in reversed(self.problem.plan.steps):
            if type(item) is Step:
                table = self._take(item, table)
                if item.move is not None:
                    table = _moved(table, item.move.back_shape, item.move.back_order)
            elif type(item) is Opening:
                before, own = self.opened.pop()
                cube = table.reshape(len(own), -1, count)
                side = np.einsum("scv,cv->sv", cube, before)
                table = np.einsum("scv,sv->cv", cube, own)
                for step in reversed(item.private):
                    side = self._take(step, side)
            else:
                assert isinstance(item, Closing)
                scale = self.scales.pop()
                if scale is not None:
                    table = table / scale
                table = self._reopen(item, table)
        touched = self.problem.touched
        share = 1.0 / np.where(self.end > 0.0, self.end, 1.0)
        self.was[touched] *= share
        if self.want_idle:
            self.idle[touched] *= share * self.odds[touched]

    def _weights(self, number: int) -> list[Array]:
        """The weights of a finding's states: one for all variants, or one for each."""
        return list(self.closings.get(number, self.problem.opens[number].weights))

    def _close(self, item: Closing, table: Array) -> Array:
        """Sum an axis out with the finding's weights."""
        cube = table.reshape(item.before, item.size, -1, self.count)
        summed: Array | None = None
        for state, weight in enumerate(self._weights(item.number)):
            if weight.ndim == 0 and weight == 0.0:
                continue
            part = cube[:, state] * weight
            summed = part if summed is None else np.add(summed, part, out=summed)
        assert summed is not None
        return summed.reshape(-1, self.count)

    def _reopen(self, item: Closing, table: Array) -> Array:
        """The transpose of `_close`."""
        cube = table.reshape(item.before, -1, self.count)
        wide = np.empty((item.before, item.size, *cube.shape[1:]))
        for state, weight in enumerate(self._weights(item.number)):
            np.multiply(cube, weight, out=wide[:, state])
        return wide.reshape(-1, self.count)

    def _add(self, step: Step, table: Array) -> Array:
        """Forward over one cause: absent, or present and pushing."""
        self.kept.append(table)
        cause, pieces, before, _ = step
        rows = self.rows.get(cause, {})
        moved = table
        for piece, blocks in zip(pieces, before, strict=True):
            row = rows.get(piece.group)
            if row is None:
                moved = _apply(piece.mix, moved, blocks)
            else:
                moved = self._mixed(piece.push, moved, blocks, piece, row)
        moved *= self.odds[cause]
        if cause not in self.sure:
            moved += table
        return moved

    def _take(self, step: Step, table: Array) -> Array:
        """Backward over one cause; fills in its chance on the way."""
        forward = self.kept.pop()
        cause, pieces, before, _ = step
        odds = self.odds[cause]
        rows = self.rows.get(cause, {})
        alone = self.idle_variant
        # The idle variant's column, pulled as if this cause were free to show.
        free: Array | None = None
        pulled = table
        resting = self.want_idle
        for piece, blocks in zip(pieces, before, strict=True):
            # Complaints' groups stand last: before them, all that is not yet idle is at work.
            if piece.complaint and resting:
                self._rest(cause, pieces, forward, pulled)
                resting = False
            if piece.complaint and alone is not None:
                column = pulled[:, alone : alone + 1] if free is None else free
                free = _apply(piece.mix.T, column, blocks)
            row = rows.get(piece.group)
            if row is None:
                pulled = _apply(piece.mix.T, pulled, blocks)
            else:
                pulled = self._mixed(piece.push.T, pulled, blocks, piece, row)
        if alone is not None:
            column = pulled[:, alone] if free is None else free[:, 0]
            mass = forward[:, alone] @ column * odds[0]
            if cause not in self.sure:
                mass += forward[:, alone] @ table[:, alone]
            self.alone[cause] = mass
        if resting:
            self.idle[cause] = np.einsum("cv,cv->v", forward, pulled)
        pulled *= odds
        self.was[cause] = np.einsum("cv,cv->v", forward, pulled)
        if cause not in self.sure:
            pulled += table
        return pulled

    def _rest(self, cause: int, pieces: Sequence[Piece], forward: Array, pulled: Array) -> None:
        """The mass of a cause that is present and shows in none of the complaints' families."""
        idle = np.einsum("cv,cv->v", forward, pulled)
        for piece in pieces:
            if piece.complaint:
                idle *= 1.0 - self.shows[piece.group]
        self.idle[cause] = idle

    def _mixed(self, matrix: Array, part: Array, blocks: int, piece: Piece, row: Array) -> Array:
        """One group whose plain factor is not the same in all variants; `row` is shows x factor."""
        pushed = _apply(matrix, part, blocks)
        pushed *= row
        pushed += part * (1.0 - self.shows[piece.group])
        return pushed


def _apply(matrix: Array, table: Array, blocks: int) -> Array:
    """A matrix on some axes of the table, for all variants; a new table."""
    if blocks == 1:
        flat = table.reshape(len(matrix), -1)
        # On small tables `dot` takes half the time of `@`, on large ones twice.
        done = matrix.dot(flat) if table.size <= SMALL else matrix @ flat
        return done.reshape(table.shape)
    return (matrix @ table.reshape(blocks, len(matrix), -1)).reshape(table.shape)


def _moved(table: Array, shape: tuple[int, ...], order: tuple[int, ...]) -> Array:
    """The table with its axes in another order."""
    count = table.shape[1]
    return table.reshape(*shape, count).transpose(*order, len(order)).reshape(-1, count)
