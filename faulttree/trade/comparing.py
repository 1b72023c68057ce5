"""Sums of two readings, and the correction of an instrument: of use for any kind of reading."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from faulttree.trade.registry import EACH_POINT, SAME, need, sum_of

ARITHMETIC = "arithmetic"


@sum_of(
    name="rise",
    gives=SAME,
    inputs={"before": SAME, "after": SAME},
    formula="rise = after - before",
    source=ARITHMETIC,
)
def rise(before: float, after: float) -> float:
    """How far a reading went up; below nought when it fell."""
    return after - before


@sum_of(
    name="drop",
    gives=SAME,
    inputs={"before": SAME, "after": SAME},
    formula="drop = before - after",
    source=ARITHMETIC,
)
def drop(before: float, after: float) -> float:
    """How far a reading went down; below nought when it rose."""
    return before - after


@sum_of(
    name="difference",
    gives=SAME,
    inputs={"first": SAME, "second": SAME},
    formula="difference = first - second",
    source=ARITHMETIC,
)
def difference(first: float, second: float) -> float:
    """The first reading less the second."""
    return first - second


@sum_of(
    name="sensor-error",
    gives=SAME,
    inputs={"shown": SAME, "true": SAME},
    formula="error = shown - true",
    source=ARITHMETIC,
)
def sensor_error(shown: float, true: float) -> float:
    """How far a sensor or gauge shows above the truth; below nought when it shows too little."""
    return shown - true


@sum_of(
    name="error-share",
    gives="%",
    inputs={"shown": SAME, "true": SAME},
    formula="error share = 100 * (shown - true) / true",
    valid="the true value above nought",
    source=ARITHMETIC,
)
def error_share(shown: float, true: float) -> float:
    """How far a sensor or gauge shows above the truth, as a share of the truth."""
    need(true > 0, "error-share: the true value must be above nought to take a share of it.")
    return 100 * (shown - true) / true


@sum_of(
    name="ratio",
    gives="",
    inputs={"first": SAME, "second": SAME},
    formula="ratio = first / second",
    valid="the second reading not nought",
    source=ARITHMETIC,
)
def ratio(first: float, second: float) -> float:
    """The first reading over the second."""
    need(second != 0, "ratio: the second reading is nought, and nothing can be divided by it.")
    return first / second


@sum_of(
    name="share-lost",
    gives="%",
    inputs={"before": SAME, "after": SAME},
    formula="share lost = 100 * (before - after) / before",
    valid="the reading before above nought",
    source=ARITHMETIC,
)
def share_lost(before: float, after: float) -> float:
    """How much of a reading is gone, such as fuel pressure after twenty minutes."""
    need(before > 0, "share-lost: the reading before must be above nought to lose a share of it.")
    return 100 * (before - after) / before


@sum_of(
    name="instrument-correction",
    gives=SAME,
    inputs={"shown": SAME, "shown_points": EACH_POINT, "true_points": EACH_POINT},
    rule=(
        "a straight line between the two correction points that the shown value lies between; "
        "beyond the first or last point, that point's error is kept"
    ),
    valid="at least one point; what is shown rises from point to point",
    source="linear interpolation, any handbook of mathematics; beyond the points: judgement",
)
def instrument_correction(
    shown: float, shown_points: Sequence[float], true_points: Sequence[float]
) -> float:
    """The true value behind what an instrument shows, from points where its error is known."""
    need(
        len(shown_points) == len(true_points) > 0,
        "instrument-correction: give at least one point, and a true value for every shown one.",
    )
    points = sorted(zip(shown_points, true_points, strict=True))
    need(
        all(left[0] < right[0] for left, right in pairwise(points)),
        "instrument-correction: two points have the same shown value; keep the better one.",
    )
    if shown <= points[0][0]:
        return shown + points[0][1] - points[0][0]
    for (shown_low, true_low), (shown_high, true_high) in pairwise(points):
        if shown <= shown_high:
            part = (shown - shown_low) / (shown_high - shown_low)
            return true_low + part * (true_high - true_low)
    return shown + points[-1][1] - points[-1][0]


def correct(shown: float, points: Sequence[Sequence[float]]) -> float:
    """The same correction from pairs of shown and true values; without any, what is shown."""
    if not points:
        return shown
    return instrument_correction(
        shown, [point[0] for point in points], [point[1] for point in points]
    )
