"""Sums over one reading per cylinder: compression, leakage, cut-out drops, injector drops, leads.

Each takes the readings in cylinder order, all in one unit. How sure it is that a cylinder is low,
given the gauge, is the work of `patterns`.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import fsum
from typing import Literal

from faulttree.trade.layout import LayoutError, checked_banks, one_after_another, side_by_side
from faulttree.trade.registry import (
    BANKS,
    EACH_CYLINDER,
    FIRING_ORDER,
    SAME,
    SumError,
    need,
    sum_of,
)

ARITHMETIC = "arithmetic"
WEAK_CYLINDER = (
    "arithmetic; a drop under half the mean marks a weak cylinder: common practice, no source"
)
LOW_LIMIT = (
    "TM 5-4210-230-14&P-1, addendum 2: the lowest at least 75 % of the highest; "
    "lowest, highest and count are arithmetic"
)


@sum_of(
    name="lowest",
    gives=SAME,
    inputs={"values": EACH_CYLINDER},
    formula="lowest = min(values)",
    source=ARITHMETIC,
)
def lowest(values: Sequence[float]) -> float:
    """The lowest of the readings."""
    _at_least(values, 1)
    return min(values)


@sum_of(
    name="highest",
    gives=SAME,
    inputs={"values": EACH_CYLINDER},
    formula="highest = max(values)",
    source=ARITHMETIC,
)
def highest(values: Sequence[float]) -> float:
    """The highest of the readings."""
    _at_least(values, 1)
    return max(values)


@sum_of(
    name="mean",
    gives=SAME,
    inputs={"values": EACH_CYLINDER},
    formula="mean = total(values) / count(values)",
    source=ARITHMETIC,
)
def mean(values: Sequence[float]) -> float:
    """The mean of the readings."""
    _at_least(values, 1)
    return _average(values)


@sum_of(
    name="total",
    gives=SAME,
    inputs={"values": EACH_CYLINDER},
    formula="total = total(values)",
    source=ARITHMETIC,
)
def total(values: Sequence[float]) -> float:
    """All readings added up, such as the volt drops along one circuit."""
    _at_least(values, 1)
    return fsum(values)


@sum_of(
    name="range",
    gives=SAME,
    inputs={"values": EACH_CYLINDER},
    formula="range = max(values) - min(values)",
    source=ARITHMETIC,
)
def spread(values: Sequence[float]) -> float:
    """How far the highest reading lies above the lowest."""
    _at_least(values, 1)
    return max(values) - min(values)


@sum_of(
    name="lowest-share",
    gives="%",
    inputs={"values": EACH_CYLINDER},
    formula="lowest share = 100 * min(values) / max(values)",
    valid="readings not below nought, the highest above it",
    source=LOW_LIMIT,
)
def lowest_share(values: Sequence[float]) -> float:
    """The lowest reading as a share of the highest."""
    _at_least(values, 1)
    _not_negative("lowest-share", values)
    need(max(values) > 0, "lowest-share: every reading is nought, so there is nothing to compare.")
    return 100 * min(values) / max(values)


@sum_of(
    name="lowest-against-mean",
    gives="%",
    inputs={"values": EACH_CYLINDER},
    formula="lowest against mean = 100 * min(values) / mean(values)",
    valid="readings not below nought, their mean above it",
    source=WEAK_CYLINDER,
)
def lowest_against_mean(values: Sequence[float]) -> float:
    """The lowest reading as a share of the mean, such as the smallest drop at a cut-out test."""
    return 100 * min(values) / _mean_above_nought("lowest-against-mean", values)


@sum_of(
    name="highest-against-mean",
    gives="%",
    inputs={"values": EACH_CYLINDER},
    formula="highest against mean = 100 * max(values) / mean(values)",
    valid="readings not below nought, their mean above it",
    source=ARITHMETIC,
)
def highest_against_mean(values: Sequence[float]) -> float:
    """The highest reading as a share of the mean."""
    return 100 * max(values) / _mean_above_nought("highest-against-mean", values)


@sum_of(
    name="largest-deviation",
    gives="%",
    inputs={"values": EACH_CYLINDER},
    formula=(
        "above = max(values) - mean(values)\n"
        "below = mean(values) - min(values)\n"
        "largest deviation = 100 * max(above, below) / mean(values)"
    ),
    valid="readings not below nought, their mean above it",
    source=(
        "arithmetic; TM 1-1500-204-23-1 has a compression 20 % under the mean looked into "
        "(aircraft pistons)"
    ),
)
def largest_deviation(values: Sequence[float]) -> float:
    """How far the reading that differs most from the mean lies from it, up or down."""
    middle = _mean_above_nought("largest-deviation", values)
    return 100 * max(max(values) - middle, middle - min(values)) / middle


@sum_of(
    name="highest-against-others",
    gives="%",
    inputs={"values": EACH_CYLINDER},
    formula=(
        "others = (total(values) - max(values)) / (count(values) - 1)\n"
        "highest against others = 100 * max(values) / others"
    ),
    valid="two readings or more, none below nought, the mean of the others above it",
    source="arithmetic; a plug lead over 1.5 times the others is suspect: common practice",
)
def highest_against_others(values: Sequence[float]) -> float:
    """The highest reading as a share of the mean of all the others."""
    return 100 * max(values) / _others("highest-against-others", values, max(values))


@sum_of(
    name="lowest-against-others",
    gives="%",
    inputs={"values": EACH_CYLINDER},
    formula=(
        "others = (total(values) - min(values)) / (count(values) - 1)\n"
        "lowest against others = 100 * min(values) / others"
    ),
    valid="two readings or more, none below nought, the mean of the others above it",
    source=ARITHMETIC,
)
def lowest_against_others(values: Sequence[float]) -> float:
    """The lowest reading as a share of the mean of all the others."""
    return 100 * min(values) / _others("lowest-against-others", values, min(values))


@sum_of(
    name="weakest-drop",
    gives="%",
    inputs={"values": EACH_CYLINDER, "all_firing": SAME},
    formula="weakest drop = 100 * (all_firing - max(values)) / (all_firing - mean(values))",
    valid="the engine slows down on the whole when cylinders are cut out",
    source=WEAK_CYLINDER,
)
def weakest_drop(values: Sequence[float], all_firing: float) -> float:
    """The smallest drop against the mean drop, from the speeds with each cylinder cut out."""
    _at_least(values, 1)
    drop = all_firing - _average(values)
    need(
        drop > 0,
        "weakest-drop: the engine did not slow down on the whole when cylinders were cut out. "
        "Hold the idle control fixed and read the speeds again.",
    )
    return 100 * (all_firing - max(values)) / drop


@sum_of(
    name="low-count",
    gives="",
    inputs={"values": EACH_CYLINDER, "low_below": ""},
    rule="the number of cylinders that read below low_below times the highest",
    ranges={"low_below": (0, 1)},
    valid="readings not below nought",
    source=LOW_LIMIT,
)
def low_count(values: Sequence[float], low_below: float = 0.75) -> float:
    """How many cylinders read low against the highest."""
    return float(len(_low("low-count", values, low_below)))


@sum_of(
    name="neighbours-low",
    gives="",
    inputs={"values": EACH_CYLINDER, "banks": BANKS, "low_below": ""},
    rule=(
        "the number of cylinders that read below low_below times the highest and stand beside "
        "another such cylinder in one bank"
    ),
    ranges={"low_below": (0, 1)},
    valid="readings not below nought; without banks, one bank in number order",
    source="TM 5-4210-230-14&P-1, addendum 2: two neighbours low point to the head gasket",
)
def neighbours_low(
    values: Sequence[float], banks: Sequence[Sequence[int]] | None = None, low_below: float = 0.75
) -> float:
    """How many low cylinders stand beside another low one."""
    low = _low("neighbours-low", values, low_below)
    try:
        pairs = side_by_side(len(values), banks)
    except LayoutError as trouble:
        raise SumError(str(trouble)) from None
    return _members_of_pairs_in(low, pairs)


@sum_of(
    name="followers-low",
    gives="",
    inputs={"values": EACH_CYLINDER, "firing_order": FIRING_ORDER, "low_below": ""},
    rule=(
        "the number of cylinders that read below low_below times the highest and fire directly "
        "before or after another such cylinder"
    ),
    ranges={"low_below": (0, 1)},
    valid="readings not below nought",
    source=(
        "common practice, no source: neighbours in the firing order share a distributor cap, "
        "a lead run or a port"
    ),
)
def followers_low(
    values: Sequence[float], firing_order: Sequence[int], low_below: float = 0.75
) -> float:
    """How many low cylinders fire next to another low one."""
    low = _low("followers-low", values, low_below)
    try:
        pairs = one_after_another(len(values), firing_order)
    except LayoutError as trouble:
        raise SumError(str(trouble)) from None
    return _members_of_pairs_in(low, pairs)


@sum_of(
    name="bank-low",
    gives="%",
    inputs={"values": EACH_CYLINDER, "banks": BANKS},
    rule="100 times the mean of the lowest bank over the mean of the highest bank",
    valid="two banks or more; readings not below nought, one above it",
    source="arithmetic; a whole bank low points to its valve timing or gasket: common practice",
)
def bank_low(values: Sequence[float], banks: Sequence[Sequence[int]]) -> float:
    """The mean of the lowest bank as a share of that of the highest bank."""
    _not_negative("bank-low", values)
    try:
        checked = checked_banks(len(values), banks)
    except LayoutError as trouble:
        raise SumError(str(trouble)) from None
    need(
        len(checked) > 1 and all(checked),
        "bank-low: the engine has one bank, so there is none to compare. Use lowest-share.",
    )
    means = [_average([values[number - 1] for number in bank]) for bank in checked]
    need(max(means) > 0, "bank-low: every reading is nought, so there is nothing to compare.")
    return 100 * min(means) / max(means)


def against_mean(values: Sequence[float]) -> tuple[float, ...]:
    """Every reading as a share of the mean, in %, in cylinder order."""
    middle = _mean_above_nought("against-mean", values)
    return tuple(100 * value / middle for value in values)


def low_cylinders(
    values: Sequence[float], low_below: float, of: Literal["highest", "mean"] = "highest"
) -> tuple[int, ...]:
    """The numbers of the cylinders that read below `low_below` times the highest, or the mean."""
    reference = max(values) if of == "highest" else _average(values)
    return tuple(
        number for number, value in enumerate(values, start=1) if value < low_below * reference
    )


def _members_of_pairs_in(low: tuple[int, ...], pairs: list[tuple[int, int]]) -> float:
    return float(len({n for pair in pairs if pair[0] in low and pair[1] in low for n in pair}))


def _low(name: str, values: Sequence[float], low_below: float) -> tuple[int, ...]:
    _at_least(values, 1)
    _not_negative(name, values)
    return low_cylinders(values, low_below)


def _at_least(values: Sequence[float], count: int) -> None:
    need(
        len(values) >= count,
        f"{len(values)} readings given where at least {count} is needed: enter one per cylinder.",
    )


def _not_negative(name: str, values: Sequence[float]) -> None:
    need(
        all(value >= 0 for value in values),
        f"{name}: a reading is below nought, and a share of it says nothing. Read it again.",
    )


def _mean_above_nought(name: str, values: Sequence[float]) -> float:
    _at_least(values, 1)
    _not_negative(name, values)
    middle = _average(values)
    need(middle > 0, f"{name}: every reading is nought, so there is nothing to compare.")
    return middle


def _others(name: str, values: Sequence[float], without: float) -> float:
    _at_least(values, 2)
    _not_negative(name, values)
    others = (fsum(values) - without) / (len(values) - 1)
    need(others > 0, f"{name}: all the other readings are nought, so there is nothing to compare.")
    return others


def _average(values: Sequence[float]) -> float:
    return fsum(values) / len(values)
