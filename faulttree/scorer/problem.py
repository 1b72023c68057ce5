"""One evidence against one network, made ready for the passes.

A finding has a weight for each of its bands; the band is the earliest one that any present cause,
or the leak, throws. Bands next to each other with the same weight need not be told apart, so a
finding is in one of a few *states*: state 0 is "nothing that matters was thrown yet", a later
state is an earlier run of bands, and a leading run of weight 0 is ruled out. "Not thrown" is a
product over causes: it is folded into the group's plain factor, and so is a whole reading in its
expected band. What is left is *open*: a hard abnormal reading has two states ("explained so far":
no, yes), a soft one has one or two more.

This module also lays out the order of the passes: which open finding is opened when, which cause
is added to the table when, and when a finding is summed out. It does no sums over fault sets.
"""

import functools
import math
import operator
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from faulttree.scorer.evidence import Evidence, Finding
from faulttree.scorer.network import Array, Network, Numbers, Source, rest_of

FEW = 4
"""Up to this many blocks a matrix is applied where its axis stands; past it the axis is moved to
the front first, which costs a copy but makes one large product of many small ones."""


class Impossible(ValueError):
    """The evidence has probability zero: no set of causes explains it, not even by chance."""


@dataclass(frozen=True, slots=True)
class Pushed:
    """What a source in given states does to each of its groups (row by row of its `Links`).

    `plain[r]` is the chance that cause r, showing, throws nothing that is ruled out; `throws[r]`
    spreads what is left over the states, so that it sums to 1. `leak` and `start` are the same for
    the leak. `pushes[r]` is the matrix (state after, state before) of cause r.
    """

    size: int
    plain: Array
    throws: Array
    leak: float
    start: Array
    pushes: Array
    open_rows: tuple[tuple[int, int, int], ...]
    """(row, cause, group) of the causes that do throw something other than state 0."""


@dataclass(slots=True)
class Read:
    """A finding as the passes see it.

    `rows` are the rows of the source's links that count: None for all, fewer after a repair;
    `groups` and `plain` belong to those rows. `number` is the axis of an open finding, else -1.
    """

    source: str
    pushed: Pushed
    rows: frozenset[int] | None
    groups: Numbers
    plain: Array
    log_scale: float
    weights: Array
    number: int = -1


class Piece(NamedTuple):
    """One open group of a cause: how it pushes the axes of its family.

    `push` is the matrix (state after, state before) when the cause shows, `mix` the same with
    showing or not summed out, plain factor included.
    """

    group: int
    axes: tuple[int, ...]
    push: Array
    mix: Array
    size: int
    complaint: bool


class Move(NamedTuple):
    """Axes brought into another order: the table's shape and the new order, and the way back."""

    shape: tuple[int, ...]
    order: tuple[int, ...]
    back_shape: tuple[int, ...]
    back_order: tuple[int, ...]


class Step(NamedTuple):
    """Adding one cause to the table.

    `before[k]` is how many blocks of the table stand before the axes of piece k; `move` brings
    the axes into place first, unless they stand well.
    """

    cause: int
    pieces: Sequence[Piece]
    before: Sequence[int]
    move: Move | None


class Opening(NamedTuple):
    """A finding enters the table, with the causes that touch nothing else already in it."""

    number: int
    private: Sequence[Step]


class Closing(NamedTuple):
    """A finding leaves the table: its states are summed with its weights."""

    number: int
    before: int
    size: int


@dataclass(slots=True)
class Plan:
    """The order of the passes, and how many cells the largest table has."""

    steps: list[Step | Opening | Closing] = field(default_factory=list)
    cells: int = 1


def states_of(weights: Sequence[float]) -> tuple[tuple[int, ...], list[float]]:
    """Sort bands (cascade then expected) into states; -1 is a band that is ruled out.

    Returns the state of every band, and the weight of every state.
    """
    last = len(weights) - 1
    runs = [0]
    state = 0
    values = [weights[last]]
    for k in range(last - 1, -1, -1):
        if weights[k] != weights[k + 1]:
            state += 1
            values.append(weights[k])
        runs.append(state)
    runs.reverse()
    if state > 0 and values[state] == 0.0:
        runs = [-1 if s == state else s for s in runs]
        values.pop()
    return tuple(runs), values


def by_throw(weights: Sequence[float]) -> tuple[tuple[int, ...], list[float], tuple[float, ...]]:
    """`states_of` with the error of a reading charged to every throw that it contradicts.

    A band thrown before the likeliest one then counts as the likeliest one, times its own weight.
    That is exact as long as no two causes throw such a band at once, and it needs as few states as
    a hard reading does. Returns the charge of every band as well.
    """
    likeliest = max(range(len(weights)), key=lambda k: weights[k])
    charges = (*weights[:likeliest], *(1.0 for _ in weights[likeliest:]))
    states, values = states_of([weights[likeliest]] * likeliest + list(weights[likeliest:]))
    return states, values, charges


def _spread(
    chances: Array, states: Sequence[int], size: int, charges: Sequence[float] = ()
) -> tuple[Array, Array]:
    """Sort chances (rows, cascade bands) into states.

    Returns what is not ruled out, shape (rows,), and how that spreads over the states.
    """
    into = np.zeros((len(chances), size))
    ruled_out = np.zeros(len(chances))
    for k, state in enumerate(states[:-1]):
        column = chances[:, k]
        if charges and charges[k] < 1.0:
            ruled_out += column * (1.0 - charges[k])
            column = column * charges[k]
        if state > 0:
            into[:, state] += column
        elif state < 0:
            ruled_out += column
    into[:, 0] = rest_of(ruled_out + into[:, 1:].sum(axis=1))
    plain = into.sum(axis=1)
    sure = plain <= 0.0
    into[sure, 0] = 1.0
    return plain, into / np.where(sure, 1.0, plain)[:, None]


def _pushed(
    network: Network,
    source: Source,
    states: tuple[int, ...],
    scale: float,
    charges: tuple[float, ...] = (),
) -> Pushed:
    """`Pushed` for a source in these states, from the network's memo when it was met before."""
    key = ("pushed", source.id, states, scale, charges)
    known = network.groups.memo.get(key)
    if isinstance(known, Pushed):
        return known
    links = network.groups.links[source.id]
    size = max(states) + 1
    plain, throws = _spread(links.chances * scale, states, size, charges)
    leak, start = _spread(np.array([source.leak], dtype=np.float64), states, size, charges)
    at_most = np.cumsum(throws, axis=1)
    pushes = np.zeros((len(throws), size, size))
    for before in range(size):
        pushes[:, before, before] = at_most[:, before]
        pushes[:, before + 1 :, before] = throws[:, before + 1 :]
    open_rows = tuple(
        (row, int(links.causes[row]), int(links.groups[row]))
        for row in range(len(throws))
        if throws[row, 0] < 1.0
    )
    made = Pushed(size, plain, throws, float(leak[0]), start[0], pushes, open_rows)
    network.groups.memo[key] = made
    return made


def _log(chance: float) -> float:
    return math.log(chance) if chance > 0.0 else -math.inf


class Problem:
    """One evidence against one network, prepared once: `solve` and `sweep` share it.

    `charged` makes soft readings cheap: see `by_throw`. Raises KeyError when a finding names a
    source that the network does not hold. Evidence that nothing explains is found out when it is
    solved.
    """

    def __init__(self, network: Network, evidence: Evidence, *, charged: bool = False) -> None:
        self.network = network
        self.evidence = evidence
        self.charged = charged
        self.ids = tuple(node.id for node in network.nodes)
        self.stage = evidence.stage
        self.gone_at = {
            network.index[cause]: stage
            for cause, stage in evidence.repaired.items()
            if cause in network.index
        }
        self.complained = {network.sources[tree].family for tree in network.complaints}
        self.reads = [self._read(finding) for finding in evidence.findings]
        self.log_scale = sum((read.log_scale for read in self.reads), 0.0)
        self.factor: Array = np.ones(len(network.groups.cause))
        for read in self.reads:
            self.factor[read.groups] *= read.plain
        # Findings of one family stand side by side, those of the complaints' families last.
        self.opens = sorted(
            (read for read in self.reads if read.pushed.size > 1),
            key=lambda read: self._rank(network.sources[read.source].family),
        )
        for number, read in enumerate(self.opens):
            read.number = number
        self.pieces: dict[int, list[Piece]] = {}
        """For every touched cause its open groups, in the order of their axes; not yet placed."""
        self._gather()
        self.open_groups = np.array(
            sorted(piece.group for pieces in self.pieces.values() for piece in pieces),
            dtype=np.intp,
        )
        touched = np.zeros(len(network.nodes), dtype=bool)
        touched[list(self.pieces)] = True
        self.touched = np.flatnonzero(touched)
        self.free = np.flatnonzero(~touched)
        self.touched_and_unsure = np.flatnonzero(touched & (network.groups.prior < 1.0))
        self.plan = lay_out(self)
        self.idle_share = self._idle_share()

    def _idle_share(self) -> Array:
        """For every present cause, the chance that it shows in no complaint's family.

        Only the complaints' groups without open findings count here; the passes see to the rest.
        """
        groups = self.network.groups
        counts = groups.of_families(self.complained)
        counts[self.open_groups] = False
        mine = np.flatnonzero(counts)
        quiet = 1.0 - groups.shows[mine]
        seen = quiet + groups.shows[mine] * self.factor[mine]
        share: Array = np.ones(len(self.network.nodes))
        np.multiply.at(share, groups.cause[mine], quiet / np.where(seen > 0.0, seen, 1.0))
        return share

    def _rank(self, family: str) -> tuple[bool, str]:
        return (family in self.complained, family)

    def _read(self, finding: Finding) -> Read:
        """One finding, sorted into states."""
        source = self.network.sources[finding.source]
        links = self.network.groups.links[finding.source]
        weights = [max(0.0, finding.bands.get(band, 0.0)) for band in source.bands]
        top = max(weights)
        # No band at all is impossible; the other findings can still be looked at without it.
        weights = [w / top for w in weights] if top > 0.0 else [1.0] * len(weights)
        charges: tuple[float, ...] = ()
        if self.charged:
            states, values, charges = by_throw(weights)
        else:
            states, values = states_of(weights)
        scale = 1.0
        if finding.showing is False and source.shows_only is not None:
            scale = source.shows_only
        pushed = _pushed(self.network, source, states, scale, charges)
        log_scale = _log(top) + _log(pushed.leak)
        gone = [c for c, at in self.gone_at.items() if at <= finding.stage and c in source.links]
        if not gone:
            return Read(
                source.id, pushed, None, links.groups, pushed.plain, log_scale, np.array(values)
            )
        rows = [row for row, cause in enumerate(links.causes.tolist()) if cause not in gone]
        return Read(
            source.id,
            pushed,
            frozenset(rows),
            links.groups[rows],
            pushed.plain[rows],
            log_scale,
            np.array(values),
        )

    def _gather(self) -> None:
        """For every cause, the groups that have open findings, and how they push them."""
        groups = self.network.groups
        found: dict[int, list[tuple[int, int, Array]]] = {}
        cause_of: dict[int, int] = {}
        for number, read in enumerate(self.opens):
            its_groups = groups.links[read.source].groups
            shows = groups.shows[its_groups]
            mixes = read.pushed.pushes * (shows * self.factor[its_groups])[:, None, None]
            diagonal = np.arange(read.pushed.size)
            mixes[:, diagonal, diagonal] += (1.0 - shows)[:, None]
            for row, cause, group in read.pushed.open_rows:
                if read.rows is None or row in read.rows:
                    found.setdefault(group, []).append((number, row, mixes[row]))
                    cause_of[group] = cause
        # Sorted by first axis, the groups of a cause come in the order of their axes.
        for group, parts in sorted(found.items(), key=lambda item: item[1][0][0]):
            number, row, mix = parts[0]
            push = self.opens[number].pushed.pushes[row]
            if len(parts) > 1:
                for more, its_row, _ in parts[1:]:
                    other = self.opens[more].pushed.pushes[its_row]
                    size = len(push) * len(other)
                    push = (push[:, None, :, None] * other[None, :, None, :]).reshape(size, size)
                chance = float(groups.shows[group])
                mix = push * (chance * self.factor[group])
                mix[np.diag_indices(len(mix))] += 1.0 - chance
            axes = tuple(part[0] for part in parts)
            complaint = groups.family[group] in self.complained
            piece = Piece(group, axes, push, mix, len(push), complaint)
            self.pieces.setdefault(cause_of[group], []).append(piece)

    @property
    def cells(self) -> int:
        """How many cells the largest table has."""
        return self.plan.cells


@dataclass(frozen=True, slots=True)
class _Order:
    """Masks of findings in the order of their causes, with what opens before and closes after."""

    rows: tuple[tuple[int, int, int], ...]
    cost: float


def _bits(mask: int) -> list[int]:
    found = []
    while mask:
        low = mask & -mask
        found.append(low.bit_length() - 1)
        mask ^= low
    return found


def _width(sizes: Sequence[float]) -> Callable[[int], float]:
    """How many bits the table of a mask has; each mask is added up once."""
    widths = {0: 0.0}

    def width_of(mask: int) -> float:
        width = widths.get(mask)
        if width is None:
            low = mask & -mask
            width = widths[mask] = sizes[low.bit_length() - 1] + width_of(mask ^ low)
        return width

    return width_of


def _order(
    counts: Mapping[int, int],
    width_of: Callable[[int], float],
    start: int | None = None,
    below: float = math.inf,
) -> _Order | None:
    """Order the masks so that few findings are open at once; None when it would not cost `below`.

    Greedy: close next the finding that needs the narrowest table. `counts` says how many causes
    each mask has, `start` which finding to close first.
    """
    bits = {mask: _bits(mask) for mask in sorted(counts)}
    holders: dict[int, list[int]] = {}
    # What closing each finding needs open: kept up, because it is looked at in every round.
    needs: dict[int, int] = {}
    for mask, numbers in bits.items():
        for n in numbers:
            holders.setdefault(1 << n, []).append(mask)
            needs[1 << n] = needs.get(1 << n, 0) | mask
    live = 0
    cost = 0.0
    rows: list[tuple[int, int, int]] = []
    while holders:
        if start is None:
            best = min(
                (width_of(live | need), len(holders[bit]), bit) for bit, need in needs.items()
            )
            chosen = holders[best[2]]
        else:
            chosen = holders[1 << start]
            start = None
        while chosen:
            mask = chosen[0]
            if len(chosen) > 1:
                closed = ~live
                mask = min(chosen, key=lambda m: width_of(m & closed))
            opening = mask & ~live
            live |= mask
            cost += counts[mask] * 2.0 ** width_of(live)
            if cost >= below:
                return None
            closing = 0
            for n in bits[mask]:
                # `chosen` is one of these lists: it runs out as its masks are taken.
                bit = 1 << n
                left = holders[bit]
                left.remove(mask)
                if left:
                    needs[bit] = functools.reduce(operator.or_, left)
                else:
                    closing |= bit
                    del holders[bit], needs[bit]
            live &= ~closing
            rows.append((opening, mask, closing))
    return _Order(tuple(rows), cost)


def _best_order(counts: Mapping[int, int], sizes: Sequence[float]) -> _Order:
    """The greedy order, or where tables get wide the best of those that begin elsewhere.

    `sizes` holds the bits of every finding.
    """
    width_of = _width(sizes)
    order = _order(counts, width_of)
    assert order is not None
    if order.cost > WIDE * sum(counts.values()):
        for n in _bits(functools.reduce(operator.or_, counts, 0)):
            # Most are dear before they are half done.
            order = _order(counts, width_of, n, order.cost) or order
    return order


WIDE = 256
"""From this many cells a cause on it pays to look for a better order than the first greedy one."""


def lay_out(problem: Problem) -> Plan:
    """The order of the passes for a problem."""
    opens = problem.opens
    sizes = [read.pushed.size for read in opens]
    bits = [math.log2(size) for size in sizes]
    private: dict[int, list[int]] = {n: [] for n in range(len(opens))}
    by_mask: dict[int, list[int]] = {}
    for cause, pieces in problem.pieces.items():
        mask = 0
        for piece in pieces:
            for n in piece.axes:
                mask |= 1 << n
        if mask & (mask - 1):
            by_mask.setdefault(mask, []).append(cause)
        else:
            private[mask.bit_length() - 1].append(cause)
    counts = {mask: len(causes) for mask, causes in by_mask.items()}
    order = _best_order(counts, bits)

    plan = Plan()
    axes: list[int] = []

    def enter(n: int) -> None:
        steps = [Step(cause, problem.pieces[cause], (1,), None) for cause in private[n]]
        plan.steps.append(Opening(n, steps))
        axes.insert(0, n)
        plan.cells = max(plan.cells, math.prod(sizes[m] for m in axes))

    def leave(n: int) -> None:
        at = axes.index(n)
        plan.steps.append(Closing(n, math.prod(sizes[m] for m in axes[:at]), sizes[n]))
        axes.remove(n)

    met = 0
    for opening, mask, closing in order.rows:
        for n in _bits(opening):
            enter(n)
        # Causes of one mask have the same axes in the same families: they are placed alike.
        causes = by_mask[mask]
        before, move, axes = _place(problem.pieces[causes[0]], axes, sizes)
        for cause in causes:
            plan.steps.append(Step(cause, problem.pieces[cause], before, move))
            move = None
        for n in _bits(closing):
            leave(n)
        met |= mask
    for n in range(len(opens)):
        if not met >> n & 1:
            enter(n)
            leave(n)
    return plan


def _place(
    pieces: Sequence[Piece], axes: list[int], sizes: Sequence[int]
) -> tuple[list[int], Move | None, list[int]]:
    """How the pieces of a cause meet a table with these axes, and the axes as it leaves them."""
    before = []
    fine = True
    for piece in pieces:
        at = axes.index(piece.axes[0])
        blocks = math.prod([sizes[n] for n in axes[:at]])
        fine = fine and blocks <= FEW and tuple(axes[at : at + len(piece.axes)]) == piece.axes
        before.append(blocks)
    if fine:
        return before, None, axes
    local = [n for piece in pieces for n in piece.axes]
    new = local + [n for n in axes if n not in local]
    move = Move(
        tuple([sizes[n] for n in axes]),
        tuple([axes.index(n) for n in new]),
        tuple([sizes[n] for n in new]),
        tuple([new.index(n) for n in axes]),
    )
    before = []
    blocks = 1
    for piece in pieces:
        before.append(blocks)
        blocks *= piece.size
    return before, move, new
