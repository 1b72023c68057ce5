"""What closed sessions say of each number: expected counts, settled by turns.

What a session does not say is filled in with its expected value, again and again until nothing
moves (the EM algorithm of Dempster, Laird and Rubin 1977, here with the author as a prior):

- Cars without a complaint never come in. How many there were, and what they had, follows from the
  numbers themselves; without this every cause would look as common as it is among complaining cars.
- A confirmed cause was at work: it brought at least one of the complaints on. Of several, any or
  all may have brought on the same one.
- A cause that was not confirmed was not at work in any complaint. It may have been there quietly,
  as likely as the numbers say.
- Of all that can put a reading out of its band (a confirmed cause, one that was there quietly, or
  nothing at all) each gets its share. An observer at a choice may have erred; the true band is
  spread as the log has it.

How sure a number is comes from the curvature of what was observed, not from the filled-in counts:
for a cause, its `how_common` and all its `brings_on` together, since sessions tell their product
better than each; for a test, all its bands by chance and by every cause together, since what one of
two causes did not throw the other did. How a test shares its family's mechanism with another is
left out. Which sessions count is the work of `cases`, what is made of the numbers that of `learn`.
"""

import math
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from faulttree.study.cases import Case
from faulttree.tree.model import Knowledge

Kind = Literal["how_common", "brings_on", "points_to", "by_chance"]
Key = tuple[Kind, str, str, str]
"""A number: its kind, the cause ("" for by_chance), the tree or test if any, and the band."""
Array = npt.NDArray[np.float64]

ROUNDS = 300
STILL = 1e-5
"""Settled: in one round no number moves by more than this."""
TOGETHER = 8
"""With more confirmed causes than this, that each did something is no longer insisted on."""


@dataclass(frozen=True, slots=True)
class Settled:
    """A number as the sessions leave it.

    `size` is on how many cars it rests, the author's included, as if each had told all: the new
    number is the mean of a Beta distribution of that size.
    """

    value: float
    size: float


def numbers_of(knowledge: Knowledge) -> dict[Key, float]:
    """Every number of the shelf that can be learnt; noughts and ones are the author's word."""
    numbers: dict[Key, float] = {}
    for cause in knowledge.causes.values():
        numbers["how_common", cause.id, "", ""] = cause.how_common
    for tree in knowledge.trees.values():
        for cause_id, chance in tree.brings_on.items():
            numbers["brings_on", cause_id, tree.id, ""] = chance
    for test in knowledge.tests.values():
        for cause_id, bands in test.points_to.items():
            for band, chance in bands.items():
                numbers["points_to", cause_id, test.id, band] = chance
        for band, chance in test.by_chance.items():
            numbers["by_chance", "", test.id, band] = chance
    return {key: chance for key, chance in numbers.items() if 0.0 < chance < 1.0}


def settle(knowledge: Knowledge, cases: Sequence[Case], strength: float) -> dict[Key, Settled]:
    """Every number after these sessions; the author's counts as if seen on `strength` cars."""
    cars = _Cars(knowledge, cases, strength)
    cars.settle()
    found = dict(cars.settled())
    quiet = {fitting: cars.quiet(fitting) for fitting in cars.fitting}
    alike: defaultdict[str, Counter[_Reading]] = defaultdict(Counter)
    for case in cases:
        for test, bands in case.readings.items():
            causes = case.causes & set(knowledge.tests[test].points_to)
            alike[test][causes, case.fitting, tuple(sorted(bands.items()))] += 1
    for test, readings in alike.items():
        found.update(_settle_test(knowledge, test, readings, quiet, strength))
    return {
        key: found.get(key, Settled(author, strength))
        for key, author in numbers_of(knowledge).items()
    }


# --- who has what, and complains of what -------------------------------------------------------


class _Cars:
    """How common the causes are, and how often each brings each complaint on."""

    def __init__(self, knowledge: Knowledge, cases: Sequence[Case], strength: float) -> None:
        self.strength = strength
        self.causes = list(knowledge.causes)
        self.trees = list(knowledge.trees)
        self.at = {cause: i for i, cause in enumerate(self.causes)}
        tree_at = {tree: j for j, tree in enumerate(self.trees)}
        self.old_common = np.array([c.how_common for c in knowledge.causes.values()], float)
        self.old_brings = np.zeros((len(self.causes), len(self.trees)))
        for tree in knowledge.trees.values():
            for cause, chance in tree.brings_on.items():
                if cause in self.at:
                    self.old_brings[self.at[cause], tree_at[tree.id]] = chance
        self.common, self.brings = self.old_common.copy(), self.old_brings.copy()
        self.fixed = (self.old_brings <= 0.0) | (self.old_brings >= 1.0)
        self.fitting: Counter[frozenset[str]] = Counter(case.fitting for case in cases)
        self.rows = {f: np.array(sorted(self.at[c] for c in f), int) for f in self.fitting}
        self.confirmed = {f: np.zeros(len(self.causes)) for f in self.fitting}
        for case in cases:
            for cause in case.causes:
                self.confirmed[case.fitting][self.at[cause]] += 1
        self.present = sum(self.confirmed.values(), np.zeros(len(self.causes)))
        # A cause that was alone brought on all there was; only of several it must be worked out,
        # side by side for all sessions with as many causes and complaints.
        self.alone = np.zeros_like(self.brings)
        alike: defaultdict[tuple[int, int], list[tuple[list[int], list[int], int]]]
        alike = defaultdict(list)
        same = Counter((case.causes, case.complaints) for case in cases)
        for (causes, complaints), times in same.items():
            rows = sorted(self.at[cause] for cause in causes)
            columns = sorted(tree_at[tree] for tree in complaints)
            if len(rows) == 1:
                self.alone[np.ix_(rows, columns)] += times
            else:
                alike[len(rows), len(columns)].append((rows, columns, times))
        self.same = [
            (np.array(rows)[:, :, None], np.array(columns)[:, None, :], np.array(times, float))
            for rows, columns, times in (zip(*group, strict=True) for group in alike.values())
        ]
        self.fired = np.zeros_like(self.brings)
        self.unsure = np.zeros_like(self.brings)

    def settle(self) -> None:
        """Fill in and count by turns until the numbers stay."""
        for _ in range(ROUNDS):
            common, brings = self.common, self.brings
            self._fill_in()
            if max(abs(self.common - common).max(), abs(self.brings - brings).max()) < STILL:
                break

    def _fill_in(self) -> None:
        """One round: what the cars had and did as expected, and the numbers that follow."""
        strength, brings = self.strength, self.brings
        self.fired, self.unsure = self.alone.copy(), np.zeros_like(brings)
        for causes, trees, times in self.same:
            did = fired(brings[causes, trees])
            weighed = times[:, None, None] * did
            np.add.at(self.fired, (causes, trees), weighed)
            np.add.at(self.unsure, (causes, trees), weighed * (1.0 - did))
        silent = np.prod(1.0 - brings, axis=1)
        had, total = self.present.copy(), np.zeros(len(self.common))
        for fitting, seen in self.fitting.items():
            rows = self.rows[fitting]
            cars = seen + self._unseen(fitting, silent)
            # On the other cars the cause, if it is there, is there quietly.
            had[rows] += (cars - self.confirmed[fitting][rows]) * self._quietly(silent)[rows]
            total[rows] += cars
        common = (strength * self.old_common + had) / (strength + total)
        made = (strength * self.old_brings + self.fired) / (strength + had[:, None])
        self.common = common
        self.brings = np.where(self.fixed, self.old_brings, made)

    def _quietly(self, silent: Array) -> Array:
        """The chance that a cause is there, given that it is not at work in any complaint."""
        quiet = self.common * silent
        return np.asarray(quiet / (quiet + 1.0 - self.common))

    def _unseen(self, fitting: frozenset[str], silent: Array) -> float:
        """How many cars had no complaint at all, for those of this kind that came in."""
        rows = self.rows[fitting]
        none = float(np.prod(1.0 - self.common[rows] * (1.0 - silent[rows])))
        return self.fitting[fitting] * none / (1.0 - none) if none < 1.0 else 0.0

    def quiet(self, fitting: frozenset[str]) -> dict[str, float]:
        """For each cause that fits, the chance that it was there without having been at work."""
        there = self._quietly(np.prod(1.0 - self.brings, axis=1))
        return {self.causes[i]: float(there[i]) for i in self.rows[fitting]}

    def settled(self) -> Iterator[tuple[Key, Settled]]:
        """Every number with the size that its curvature gives it."""
        for i, cause in enumerate(self.causes):
            trees = [j for j in range(len(self.trees)) if not self.fixed[i, j]]
            spread = self._spread(i, trees)
            values = [self.common[i], *self.brings[i, trees]]
            keys: list[Key] = [("how_common", cause, "", "")]
            keys += [("brings_on", cause, self.trees[j], "") for j in trees]
            for key, value, variance in zip(keys, values, spread, strict=True):
                most = value * (1.0 - value) / max(variance, 1e-300) - 1.0
                yield key, Settled(float(value), float(max(most, 1.0)))

    def _spread(self, i: int, trees: list[int]) -> Array:
        """The variance of a cause's numbers, from the curvature of the likelihood and the prior."""
        h, b, s = self.common[i], self.brings[i, trees], self.strength
        old = self.old_brings[i, trees]
        k, did = self.present[i], self.fired[i, trees]
        bend = np.zeros((1 + len(trees), 1 + len(trees)))
        bend[0, 0] = (k + s * self.old_common[i]) / h**2
        bend[0, 0] += s * (1.0 - self.old_common[i]) / (1.0 - h) ** 2
        known = (did + s * old) / b**2 + (k - did + s * (1.0 - old)) / (1.0 - b) ** 2
        known -= self.unsure[i, trees] / (b * (1.0 - b)) ** 2
        bend[range(1, 1 + len(trees)), range(1, 1 + len(trees))] = known
        # u = h (1 - product of (1 - b)): the chance that the cause is there and at work.
        stay = np.prod(1.0 - self.brings[i])
        u = h * (1.0 - stay)
        slope = np.concatenate([[1.0 - stay], h * stay / (1.0 - b)])
        twice = np.zeros_like(bend)
        twice[0, 1:] = twice[1:, 0] = stay / (1.0 - b)
        twice[1:, 1:] = -h * stay / np.outer(1.0 - b, 1.0 - b)
        np.fill_diagonal(twice, 0.0)
        silent = np.prod(1.0 - self.brings, axis=1)
        for fitting, seen in self.fitting.items():
            rows = self.rows[fitting]
            if i not in rows:
                continue
            others = float(np.prod((1.0 - self.common * (1.0 - silent))[rows[rows != i]]))
            idle = seen - self.confirmed[fitting][i]
            come = 1.0 - (1.0 - u) * others
            first = -idle / (1.0 - u) - seen * others / come
            second = -idle / (1.0 - u) ** 2 + seen * (others / come) ** 2
            bend -= first * twice + second * np.outer(slope, slope)
        try:
            np.linalg.cholesky(bend)
            return np.asarray(np.diag(np.linalg.inv(bend)))
        except np.linalg.LinAlgError:
            return np.asarray(1.0 / np.maximum(np.diag(bend), 1e-9))


def fired(brings: Array) -> Array:
    """The chance that each cause brought each complaint on, given all that is certain.

    `brings` has a row for each confirmed cause and a column for each complaint, and may hold many
    such tables. Certain is that every cause brought at least one of them on, and that every one
    was brought on. All noughts when that cannot be.
    """
    causes, complaints = brings.shape[-2:]
    quiet = 1.0 - brings
    # Inclusion and exclusion over which causes did nothing at all; beyond a few, over none.
    count = 1 << causes if causes <= TOGETHER else 1
    idle = (np.arange(count)[:, None] >> np.arange(causes)[None, :]) & 1
    sign = np.where(idle.sum(axis=1) % 2, -1.0, 1.0)
    silent = quiet.prod(axis=-1)[..., None, :]
    did_nothing = np.prod(np.where(idle == 1, silent, 1.0), axis=-1) * sign
    working = np.where(idle[:, :, None] == 1, 1.0, quiet[..., None, :, :])
    brought = 1.0 - np.prod(working, axis=-2)
    total = (did_nothing * np.prod(brought, axis=-1)).sum(axis=-1)[..., None]
    made = np.zeros_like(brings)
    for j in range(complaints):
        rest = did_nothing * np.prod(np.delete(brought, j, axis=-1), axis=-1)
        made[..., j] = brings[..., j] * (rest @ (1 - idle)) / np.maximum(total, 1e-300)
    return np.clip(np.where(total[..., None] > 1e-12, made, 0.0), 0.0, 1.0)


# --- what is then read ------------------------------------------------------------------------

_Reading = tuple[frozenset[str], frozenset[str], tuple[tuple[str, float], ...]]
"""What bears on a reading of a test: confirmed causes it points to, causes that fit, bands."""


def _settle_test(
    knowledge: Knowledge,
    test_id: str,
    readings: Mapping[_Reading, int],
    quiet: Mapping[frozenset[str], Mapping[str, float]],
    strength: float,
) -> Iterator[tuple[Key, Settled]]:
    """The bands of one test, by chance and by each cause that was confirmed somewhere.

    Every cause present, and the leak, throws one band of the cascade or none; the earliest is read.
    """
    test = knowledge.tests[test_id]
    bands = [*test.cascade, test.expect]
    names = ["", *sorted({cause for causes, _, _ in readings for cause in causes})]
    at = {name: i for i, name in enumerate(names)}
    old = np.array(
        [
            [(test.points_to[name] if name else test.by_chance).get(b, 0.0) for b in test.cascade]
            for name in names
        ]
    ).reshape(len(names), len(test.cascade))
    # Those that may be there quietly throw together as one.
    hidden = {
        key: _thrown_quietly(test.cascade, test.points_to, quiet[key[1]], key[0])
        for key in {(causes, fitting) for causes, fitting, _ in readings}
    }
    times = np.array(list(readings.values()), float)
    weights = np.array([[dict(w).get(band, 0.0) for band in bands] for _, _, w in readings])
    present = np.zeros((len(readings), len(names), 1))
    present[:, 0] = 1.0
    for row, (causes, _, _) in enumerate(readings):
        present[row, [at[cause] for cause in causes]] = 1.0
    quietly = np.array([hidden[causes, fitting] for causes, fitting, _ in readings])[:, None]
    trials = times @ present[:, :, 0]
    now = old.copy()
    for _ in range(ROUNDS):
        chances = np.concatenate([now * present, quietly], axis=1)
        count = np.tensordot(times, thrown(chances, weights)[:, :-1], axes=1)
        new = (strength * old + count) / (strength + trials[:, None])
        new = np.where((old > 0.0) & (old < 1.0), new, old)
        moved, now = float(abs(new - now).max(initial=0.0)), new
        if moved < STILL:
            break
    free = np.flatnonzero(((old > 0.0) & (old < 1.0)).ravel())
    chances = np.concatenate([now * present, quietly], axis=1)
    slope = (chance_slope(chances, weights)[:, :-1] * present).reshape(len(readings), -1)
    bend = slope.T @ (times[:, None] * slope)
    q, a = now.ravel()[free], old.ravel()[free]
    inside = bend[np.ix_(free, free)]
    inside[range(len(free)), range(len(free))] += strength * (a / q**2 + (1 - a) / (1 - q) ** 2)
    sizes = q * (1.0 - q) / np.diag(np.linalg.inv(inside))
    for at_, value, size in zip(free, q, sizes, strict=True):
        name, band = names[at_ // len(test.cascade)], test.cascade[at_ % len(test.cascade)]
        kind: Kind = "points_to" if name else "by_chance"
        yield (kind, name, test_id, band), Settled(float(value), float(size))


def _thrown_quietly(
    cascade: Sequence[str],
    points_to: Mapping[str, Mapping[str, float]],
    quiet: Mapping[str, float],
    confirmed: frozenset[str],
) -> Array:
    """The chance of each band being thrown first by causes that may be there quietly."""
    late = np.ones(len(cascade) + 1)
    for cause, bands in points_to.items():
        there = 0.0 if cause in confirmed else quiet.get(cause, 0.0)
        if there > 0.0:
            so_far = np.cumsum([0.0, *(bands.get(band, 0.0) for band in cascade)])
            late *= 1.0 - there * so_far
    return np.asarray(late[:-1] - late[1:])


def thrown(chances: Array, weights: Array) -> Array:
    """The chance that each source threw each band, given how likely each band was read.

    `chances` has a row for each source and a column for each band of the cascade; `weights` are
    those of the cascade's bands, then of the expected one. Both may hold many readings.
    """
    # late[s, k]: the chance that s throws nothing before band k.
    late = 1.0 - np.cumsum(np.concatenate([np.zeros_like(chances[..., :1]), chances], -1), axis=-1)
    every = late.prod(axis=-2, keepdims=True)
    # Chances leave room for the expected band, so nothing here is nought.
    rest = every / late
    read, expected = weights[..., None, :-1], weights[..., None, -1:]
    total = (read * (every[..., :-1] - every[..., 1:])).sum(axis=-1, keepdims=True)
    total = total + expected * every[..., -1:]
    # Read was the band that s threw (all others are as late), or an earlier one of another's.
    gone = np.cumsum(read * (rest[..., :-1] - rest[..., 1:]), axis=-1)
    earlier = np.concatenate([np.zeros_like(gone[..., :1]), gone[..., :-1]], axis=-1)
    share = chances * (read * rest[..., :-1] + earlier)
    return np.where(total > 0.0, share / np.where(total > 0.0, total, 1.0), 0.0)


def chance_slope(chances: Array, weights: Array) -> Array:
    """How the logarithm of a reading's chance changes with each chance of `thrown`."""
    late = 1.0 - np.cumsum(chances, axis=-1)
    every = late.prod(axis=-2, keepdims=True)
    rest = every / late
    steps = np.diff(weights, axis=-1)[..., None, :]
    total = weights[..., None, :1] + (steps * every).sum(axis=-1, keepdims=True)
    # A source that throws band m is no longer late for any band after m.
    after = np.cumsum((steps * rest)[..., ::-1], axis=-1)[..., ::-1]
    return np.where(total > 0.0, -after / np.where(total > 0.0, total, 1.0), 0.0)


def seen_on(knowledge: Knowledge, cases: Sequence[Case]) -> Counter[Key]:
    """On how many cars each number was put to the test."""
    seen: Counter[Key] = Counter()
    present: Counter[str] = Counter()
    read: Counter[tuple[str, str]] = Counter()
    for case in cases:
        present.update(case.causes)
        for test in case.readings:
            read.update((cause, test) for cause in ("", *case.causes))
    for key in numbers_of(knowledge):
        kind, cause, where, _ = key
        seen[key] = present[cause] if kind in ("how_common", "brings_on") else read[cause, where]
    return seen


# --- the Beta distribution ---------------------------------------------------------------------


def beta_intervals(a: Array, b: Array, inside: float = 0.95) -> tuple[Array, Array]:
    """The central intervals of Beta distributions that hold the share `inside`."""
    tail = (1.0 - inside) / 2.0
    return _beta_quantile(tail, a, b), _beta_quantile(1.0 - tail, a, b)


def _beta_quantile(chance: float, a: Array, b: Array) -> Array:
    """Where the distribution functions reach `chance`, by halving."""
    low, high = np.zeros_like(a), np.ones_like(a)
    for _ in range(60):
        middle = (low + high) / 2.0
        below = _beta_below(middle, a, b) < chance
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return np.asarray((low + high) / 2.0)


def _beta_below(x: Array, a: Array, b: Array) -> Array:
    """The regularised incomplete beta function I_x(a, b), by its continued fraction.

    NIST Digital Library of Mathematical Functions, 8.17.22; the fraction is taken on the side where
    it converges fast, with I_x(a, b) = 1 - I_1-x(b, a).
    """
    turned = x > (a + 1.0) / (a + b + 2.0)
    x, a, b = np.where(turned, 1.0 - x, x), np.where(turned, b, a), np.where(turned, a, b)
    x = np.clip(x, 1e-300, 1.0)
    ln_gamma = np.vectorize(math.lgamma, otypes=[float])
    log_front = a * np.log(x) + b * np.log1p(-np.minimum(x, 1.0 - 1e-16))
    log_front += ln_gamma(a + b) - ln_gamma(a) - ln_gamma(b)
    # Successive convergents, rescaled so that the denominator is 1.
    old_top, old_bottom = np.ones_like(x), np.zeros_like(x)
    top, bottom, before = np.ones_like(x), np.ones_like(x), np.zeros_like(x)
    for m in range(500):
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        even = (m + 1) * (b - m - 1) * x / ((a + 2 * m + 1) * (a + 2 * m + 2))
        for step in (odd, even):
            old_top, top = top, top + step * old_top
            old_bottom, bottom = bottom, bottom + step * old_bottom
            old_top, old_bottom, top = old_top / bottom, old_bottom / bottom, top / bottom
            bottom = np.ones_like(x)
        if (abs(top - before) < 1e-13 * abs(top)).all():
            break
        before = top
    below = np.exp(log_front) / (a * top)
    return np.where(turned, 1.0 - below, below)
