"""Sums of the ignition: advance in time, dwell, plug leads. Degrees are of the crankshaft unless
it says distributor."""

from __future__ import annotations

from faulttree.trade.registry import sum_of

SPEED = (1.0, 12000.0)
GEOMETRY = "derived: one turn is 360 degrees"
FOUR_STROKE = (
    "derived: the distributor turns once for two turns of the crank and fires every cylinder"
)


@sum_of(
    name="advance-time",
    gives="ms",
    inputs={"advance": "deg", "speed": "rpm"},
    formula="time = 1000 * advance / (6 * speed)",
    ranges={"advance": (-90, 90), "speed": SPEED},
    source=GEOMETRY,
)
def advance_time(advance: float, speed: float) -> float:
    """Time that an advance angle takes at a speed."""
    return 1000 * advance / (6 * speed)


@sum_of(
    name="advance-angle",
    gives="deg",
    inputs={"time": "ms", "speed": "rpm"},
    formula="advance = 6 * speed * time / 1000",
    ranges={"time": (-100, 100), "speed": SPEED},
    source=GEOMETRY,
)
def advance_angle(time: float, speed: float) -> float:
    """Angle the crank turns in a time."""
    return 6 * speed * time / 1000


@sum_of(
    name="crank-angle",
    gives="deg",
    inputs={"distributor": "deg"},
    formula="crank = 2 * distributor",
    ranges={"distributor": (-360, 360)},
    source=FOUR_STROKE,
)
def crank_angle(distributor: float) -> float:
    """Degrees of the crank for degrees of the distributor."""
    return 2 * distributor


@sum_of(
    name="dwell-share",
    gives="%",
    inputs={"dwell": "deg", "cylinders": ""},
    formula="share = 100 * dwell * cylinders / 360",
    valid="dwell in degrees of the distributor, one set of points for all cylinders",
    ranges={"dwell": (0, 360), "cylinders": (1, 12)},
    source=FOUR_STROKE,
)
def dwell_share(dwell: float, cylinders: float) -> float:
    """Dwell as a share of the angle from one spark to the next."""
    return 100 * dwell * cylinders / 360


@sum_of(
    name="dwell-angle",
    gives="deg",
    inputs={"share": "%", "cylinders": ""},
    formula="dwell = share / 100 * 360 / cylinders",
    valid="degrees of the distributor, one set of points for all cylinders",
    ranges={"share": (0, 100), "cylinders": (1, 12)},
    source=FOUR_STROKE,
)
def dwell_angle(share: float, cylinders: float) -> float:
    """Dwell in degrees of the distributor, from its share."""
    return share / 100 * 360 / cylinders


@sum_of(
    name="spark-interval",
    gives="ms",
    inputs={"speed": "rpm", "cylinders": ""},
    formula="interval = 120000 / (speed * cylinders)",
    valid="four-stroke engines with one coil for all cylinders",
    ranges={"speed": SPEED, "cylinders": (1, 12)},
    source=FOUR_STROKE,
)
def spark_interval(speed: float, cylinders: float) -> float:
    """Time from one spark to the next."""
    return 120000 / (speed * cylinders)


@sum_of(
    name="dwell-time",
    gives="ms",
    inputs={"share": "%", "speed": "rpm", "cylinders": ""},
    formula="dwell time = share / 100 * 120000 / (speed * cylinders)",
    valid="four-stroke engines with one coil for all cylinders",
    ranges={"share": (0, 100), "speed": SPEED, "cylinders": (1, 12)},
    source=FOUR_STROKE,
)
def dwell_time(share: float, speed: float, cylinders: float) -> float:
    """Time the coil is charged before each spark."""
    return share / 100 * 120000 / (speed * cylinders)


@sum_of(
    name="lead-resistance",
    gives="kohm/m",
    inputs={"resistance": "kohm", "length": "m"},
    formula="per metre = resistance / length",
    valid="carbon-core leads; others by their own figure",
    ranges={"resistance": (0, 10000), "length": (0.05, 5)},
    source="arithmetic",
)
def lead_resistance(resistance: float, length: float) -> float:
    """Resistance of a plug lead for each metre of its length."""
    return resistance / length
