"""How sure each pattern of low cylinders is, from one reading per cylinder and the gauge's doubt.

A cylinder is low when it reads below `low_below` times a reference, the highest reading or the
mean. The gauge is not exact, so every cylinder is low with a chance; the chances of the patterns
follow by adding up all ways in which each can come about. Which test has which pattern, and what
a pattern points to, is left to the trees.

The patterns:

- `one low`: exactly one cylinder is low;
- `neighbours low`: exactly two are, side by side in one bank;
- `several low`: two or more are, other than that;
- `all low`: the highest reading itself is below a level;
- `high`: none is low, and one or more read above `high_above` times the mean;
- `in limits`: none of these.

A test names the patterns it tells apart, in the order in which they win. A pattern that it does
not name counts as the next wider one: neighbours low as several low, several low as one low; what
is left counts as in limits.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from math import erfc, fsum, inf, isfinite, prod, sqrt
from typing import Literal

from faulttree.trade.layout import LayoutError, side_by_side
from faulttree.trade.words import did_you_mean, quoted

IN_LIMITS = "in limits"
ONE_LOW = "one low"
NEIGHBOURS_LOW = "neighbours low"
SEVERAL_LOW = "several low"
ALL_LOW = "all low"
HIGH = "high"
PATTERNS = (IN_LIMITS, ONE_LOW, NEIGHBOURS_LOW, SEVERAL_LOW, ALL_LOW, HIGH)

Reference = Literal["highest", "mean"]

_WIDER = {NEIGHBOURS_LOW: SEVERAL_LOW, SEVERAL_LOW: ONE_LOW}


class PatternError(ValueError):
    """Readings, limits or pattern names from which no pattern can be told."""


def pattern_chances(
    values: Sequence[float],
    u: float,
    *,
    of: Reference,
    low_below: float,
    high_above: float | None = None,
    level_below: float | None = None,
    banks: Sequence[Sequence[int]] | None = None,
    names: Sequence[str] = PATTERNS,
) -> dict[str, float]:
    """The chance of each named pattern, in the order of `names`; they add up to 1.

    `values` are the readings in cylinder order, `u` the standard uncertainty of one of them, and
    `level_below` the level for `all low`, all in one unit. `banks` lists the cylinders of each bank
    in the order they stand; without it there is one bank in number order. `names` are the patterns
    told apart, the first that applies wins; `in limits` must be among them.

    The cylinders are independent and normal: cylinder i is low with the chance
    Phi((low_below * reference - x_i) / u_i). Against the highest, u_i = u sqrt(1 + low_below^2) and
    the highest itself is never low; against the mean of n, in which x_i itself takes part,
    u_i = u sqrt(1 - 2 low_below / n + low_below^2 / n). After JCGM 106:2012, conformance
    probability. Raises PatternError for readings or settings that make no sense.
    """
    readings = tuple(values)
    _check(readings, u, of, low_below, high_above, names)
    low = low_chances(readings, u, of=of, low_below=low_below)
    above = (0.0,) * len(readings)
    if high_above is not None:
        above = _above_chances(readings, u, high_above, low)
    happens = {**_low_patterns(low, _side_by_side(len(readings), banks)), **_none_low(low, above)}
    all_low = 0.0 if level_below is None else _chance_below(level_below, max(readings), u)

    chances = dict.fromkeys(names, 0.0)
    for pattern, chance in happens.items():
        counted = _counted_as(pattern, names)
        # With the level missed as well, whichever of the two patterns is listed first wins.
        if ALL_LOW in names and (
            counted == IN_LIMITS or names.index(ALL_LOW) < names.index(counted)
        ):
            chances[ALL_LOW] += chance * all_low
            chance *= 1 - all_low
        chances[counted] += chance
    # Adding up may round a certainty to a hair more than 1.
    return {name: min(chance, 1.0) for name, chance in chances.items()}


def low_chances(
    values: Sequence[float], u: float, *, of: Reference, low_below: float
) -> tuple[float, ...]:
    """The chance that each cylinder is low against the reference, in cylinder order.

    Where the reference is nought or less there is nothing to compare, and none counts as low.
    """
    reference = max(values) if of == "highest" else fsum(values) / len(values)
    if reference <= 0:
        return (0.0,) * len(values)
    limit = low_below * reference
    if of == "mean":
        doubt = u * _doubt_against_mean(low_below, len(values))
        return tuple(_chance_below(limit, value, doubt) for value in values)
    # The highest is the reference itself; of several equal ones, the first.
    best = list(values).index(reference)
    doubt = u * sqrt(1 + low_below**2)
    return tuple(
        0.0 if place == best else _chance_below(limit, value, doubt)
        for place, value in enumerate(values)
    )


def which_low(values: Sequence[float], *, of: Reference, low_below: float) -> tuple[int, ...]:
    """The numbers of the cylinders that read low, counted from 1: for the screen and the report."""
    chances = low_chances(values, 0.0, of=of, low_below=low_below)
    return tuple(number for number, chance in enumerate(chances, start=1) if chance > 0.5)


def which_high(values: Sequence[float], *, high_above: float) -> tuple[int, ...]:
    """The numbers of the cylinders that read above so many times the mean, counted from 1."""
    limit = high_above * (fsum(values) / len(values))
    return tuple(number for number, value in enumerate(values, start=1) if value > limit > 0)


def _low_patterns(low: Sequence[float], neighbours: set[tuple[int, int]]) -> dict[str, float]:
    """The chances that one, two side by side, or several are low.

    Every term is a product of chances and all are added, so nothing cancels.
    """
    none, one, two, three_or_more = 1.0, 0.0, 0.0, 0.0
    for chance in low:
        three_or_more += two * chance
        two = two * (1 - chance) + one * chance
        one = one * (1 - chance) + none * chance
        none *= 1 - chance
    side_by_side = apart = 0.0
    for left, right in combinations(range(len(low)), 2):
        others = prod(1 - chance for place, chance in enumerate(low) if place not in (left, right))
        only_these = low[left] * low[right] * others
        if (left + 1, right + 1) in neighbours:
            side_by_side += only_these
        else:
            apart += only_these
    return {ONE_LOW: one, NEIGHBOURS_LOW: side_by_side, SEVERAL_LOW: apart + three_or_more}


def _none_low(low: Sequence[float], above: Sequence[float]) -> dict[str, float]:
    """The chances that none is low, with and without one that is high."""
    within, high = 1.0, 0.0
    for below, over in zip(low, above, strict=True):
        high = high * (1 - below) + within * over
        within *= 1 - below - over
    return {HIGH: high, IN_LIMITS: within}


def _above_chances(
    values: Sequence[float], u: float, high_above: float, low: Sequence[float]
) -> tuple[float, ...]:
    """The chance that each cylinder reads above `high_above` times the mean."""
    limit = high_above * (fsum(values) / len(values))
    if limit <= 0:
        return (0.0,) * len(values)
    doubt = u * _doubt_against_mean(high_above, len(values))
    # A cylinder is not low and high at once, however coarse the gauge.
    return tuple(
        min(_chance_below(value, limit, doubt), 1 - below)
        for value, below in zip(values, low, strict=True)
    )


def _doubt_against_mean(times: float, count: int) -> float:
    """Standard uncertainty of `times` the mean less one of its readings, for readings of u = 1."""
    return sqrt(1 - 2 * times / count + times**2 / count)


def _chance_below(limit: float, value: float, u: float) -> float:
    """Chance that what read `value` lies below the limit: the normal distribution function."""
    if u == 0:
        return 1.0 if value < limit else 0.0
    return 0.5 * erfc((value - limit) / (u * sqrt(2)))


def _side_by_side(count: int, banks: Sequence[Sequence[int]] | None) -> set[tuple[int, int]]:
    try:
        pairs = side_by_side(count, banks)
    except LayoutError as trouble:
        raise PatternError(str(trouble)) from None
    return {(min(pair), max(pair)) for pair in pairs}


def _counted_as(pattern: str, names: Sequence[str]) -> str:
    """The named pattern that this one counts as."""
    while pattern not in names:
        pattern = _WIDER.get(pattern, IN_LIMITS)
    return pattern


def _check(
    values: Sequence[float],
    u: float,
    of: str,
    low_below: float,
    high_above: float | None,
    names: Sequence[str],
) -> None:
    """Refuse readings and settings from which no pattern can be told."""
    for name in names:
        if name not in PATTERNS:
            raise PatternError(
                f"{quoted(name)} is not a pattern.{did_you_mean(name, PATTERNS)} "
                f"Patterns: {', '.join(PATTERNS)}."
            )
    if IN_LIMITS not in names or len(set(names)) != len(names):
        raise PatternError(f"The patterns of a test name {IN_LIMITS!r}, and each pattern once.")
    if of not in ("highest", "mean"):
        raise PatternError(f"{quoted(of)} is no reference: compare with highest or with mean.")
    if not 0 < low_below < 1:
        raise PatternError(f"low_below is {low_below}, but must lie between 0 and 1.")
    if high_above is not None and (of != "mean" or not 1 < high_above < inf):
        raise PatternError(
            "high_above must be more than 1 and needs `of: mean`: nothing reads above the highest."
        )
    if not values or not all(isfinite(value) for value in values):
        raise PatternError("Every cylinder needs a reading that is a number: read them again.")
    if not 0 <= u < inf:
        raise PatternError(f"The uncertainty of a reading is {u}, but must be nought or more.")
