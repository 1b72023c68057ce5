"""Sums of the electrics: windings and sensors against temperature, battery, volt drops."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import exp, log

from faulttree.trade.registry import need, sum_of

COPPER = 0.00393
ZERO_CELSIUS = 273.15
SENSOR_TEMPERATURES = (-60.0, 250.0)
SENSOR_RESISTANCES = (0.1, 1e7)
BETAS = (500.0, 8000.0)

# Volts at rest against charge, 12 V lead-acid battery, after the table named in battery_charge.
REST_VOLTS = ((11.7, 0.0), (12.0, 25.0), (12.2, 50.0), (12.4, 75.0), (12.6, 100.0))


@sum_of(
    name="copper-resistance",
    gives="ohm",
    inputs={"resistance": "ohm", "temperature": "degC", "wanted": "degC"},
    formula=(
        "resistance there = resistance * (1 + 0.00393 * (wanted - 20)) "
        "/ (1 + 0.00393 * (temperature - 20))"
    ),
    valid="annealed copper windings, not carbon, not resistance wire",
    ranges={"resistance": (0, 1e6), "temperature": (-50, 200), "wanted": (-50, 200)},
    source="IEC 60028:1925: temperature coefficient of annealed copper 0.00393 per K at 20 degC",
)
def copper_resistance(resistance: float, temperature: float, wanted: float = 20.0) -> float:
    """Resistance of a copper winding at another temperature, at 20 degC unless one is given."""
    return resistance * (1 + COPPER * (wanted - 20)) / (1 + COPPER * (temperature - 20))


@sum_of(
    name="sensor-resistance",
    gives="ohm",
    inputs={"resistance_25": "ohm", "beta": "K", "temperature": "degC"},
    formula=("resistance = resistance_25 * exp(beta * (1 / (temperature + 273.15) - 1 / 298.15))"),
    valid="sensors whose resistance falls with heat; the nearer to 25 degC the better",
    ranges={
        "resistance_25": SENSOR_RESISTANCES,
        "beta": BETAS,
        "temperature": SENSOR_TEMPERATURES,
    },
    source="the beta equation of thermistors, any handbook of sensors",
)
def sensor_resistance(resistance_25: float, beta: float, temperature: float) -> float:
    """Resistance a temperature sensor should have."""
    return resistance_25 * exp(beta * (1 / (temperature + ZERO_CELSIUS) - 1 / 298.15))


@sum_of(
    name="sensor-temperature",
    gives="degC",
    inputs={"resistance": "ohm", "resistance_25": "ohm", "beta": "K"},
    formula=("temperature = 1 / (1 / 298.15 + ln(resistance / resistance_25) / beta) - 273.15"),
    valid="sensors whose resistance falls with heat; the nearer to 25 degC the better",
    ranges={
        "resistance": SENSOR_RESISTANCES,
        "resistance_25": SENSOR_RESISTANCES,
        "beta": BETAS,
    },
    source="the beta equation of thermistors, any handbook of sensors",
)
def sensor_temperature(resistance: float, resistance_25: float, beta: float) -> float:
    """Temperature a sensor reports by its resistance."""
    inverse = 1 / 298.15 + log(resistance / resistance_25) / beta
    need(inverse > 0, "sensor-temperature: no temperature fits. Check the resistances and beta.")
    return 1 / inverse - ZERO_CELSIUS


@sum_of(
    name="sensor-beta",
    gives="K",
    inputs={
        "temperature_1": "degC",
        "resistance_1": "ohm",
        "temperature_2": "degC",
        "resistance_2": "ohm",
    },
    formula=(
        "beta = ln(resistance_1 / resistance_2) "
        "/ (1 / (temperature_1 + 273.15) - 1 / (temperature_2 + 273.15))"
    ),
    valid="two different temperatures",
    ranges={
        "temperature_1": SENSOR_TEMPERATURES,
        "resistance_1": SENSOR_RESISTANCES,
        "temperature_2": SENSOR_TEMPERATURES,
        "resistance_2": SENSOR_RESISTANCES,
    },
    source="the beta equation of thermistors, any handbook of sensors",
)
def sensor_beta(
    temperature_1: float, resistance_1: float, temperature_2: float, resistance_2: float
) -> float:
    """The beta of a sensor, from two points of its data sheet."""
    need(
        temperature_1 != temperature_2,
        "sensor-beta: both points are at one temperature. Take a cold one and a hot one.",
    )
    span = 1 / (temperature_1 + ZERO_CELSIUS) - 1 / (temperature_2 + ZERO_CELSIUS)
    return log(resistance_1 / resistance_2) / span


@dataclass(frozen=True, slots=True)
class SensorCurve:
    """The three constants of the Steinhart-Hart equation, 1/T = a + b ln R + c (ln R)^3."""

    a: float
    b: float
    c: float

    def temperature(self, resistance: float) -> float:
        """Temperature in degC at a resistance in ohm."""
        need(resistance > 0, "A sensor's resistance must be above nought: measure it again.")
        logarithm = log(resistance)
        inverse = self.a + self.b * logarithm + self.c * logarithm**3
        need(inverse > 0, "No temperature fits this resistance: check it against the three points.")
        return 1 / inverse - ZERO_CELSIUS

    def resistance(self, temperature: float) -> float:
        """Resistance in ohm at a temperature in degC; the curve must fall steadily (c >= 0)."""
        kelvin = temperature + ZERO_CELSIUS
        need(
            kelvin > 0 and self.b > 0 and self.c >= 0,
            "The curve has no resistance at this temperature: check its three points.",
        )
        # The cubic b y + c y^3 = 1/T - a rises steadily, so halving the interval always finds y.
        wanted = 1 / kelvin - self.a
        low, high = -50.0, 50.0
        for _ in range(200):
            middle = (low + high) / 2
            if self.b * middle + self.c * middle**3 < wanted:
                low = middle
            else:
                high = middle
        return exp((low + high) / 2)


def sensor_curve(points: tuple[tuple[float, float], ...]) -> SensorCurve:
    """The Steinhart-Hart curve through three points of degC and ohm.

    Raises SumError when there are not three different ones. Source: Steinhart and Hart, 1968.
    """
    need(
        len(points) == 3
        and all(resistance > 0 for _, resistance in points)
        and len({resistance for _, resistance in points}) == 3
        and len({temperature for temperature, _ in points}) == 3,
        "The curve needs three points with different temperatures and resistances: "
        "take a cold, a middle and a hot one.",
    )
    logs = [log(resistance) for _, resistance in points]
    inverses = [1 / (temperature + ZERO_CELSIUS) for temperature, _ in points]
    slope_2 = (inverses[1] - inverses[0]) / (logs[1] - logs[0])
    slope_3 = (inverses[2] - inverses[0]) / (logs[2] - logs[0])
    total = logs[0] + logs[1] + logs[2]
    need(abs(total) > 1e-9, "The curve cannot be fitted to these three points: take others.")
    c = (slope_3 - slope_2) / (logs[2] - logs[1]) / total
    b = slope_2 - c * (logs[0] ** 2 + logs[0] * logs[1] + logs[1] ** 2)
    a = inverses[0] - (b + logs[0] ** 2 * c) * logs[0]
    return SensorCurve(a, b, c)


@sum_of(
    name="sensor-temperature-three-points",
    gives="degC",
    inputs={
        "resistance": "ohm",
        "temperature_1": "degC",
        "resistance_1": "ohm",
        "temperature_2": "degC",
        "resistance_2": "ohm",
        "temperature_3": "degC",
        "resistance_3": "ohm",
    },
    rule="the curve 1/T = a + b ln R + c (ln R)^3 through the three points, solved for T",
    valid="three different points; trust it between the coldest and the hottest of them",
    ranges={
        "resistance": SENSOR_RESISTANCES,
        "temperature_1": SENSOR_TEMPERATURES,
        "resistance_1": SENSOR_RESISTANCES,
        "temperature_2": SENSOR_TEMPERATURES,
        "resistance_2": SENSOR_RESISTANCES,
        "temperature_3": SENSOR_TEMPERATURES,
        "resistance_3": SENSOR_RESISTANCES,
    },
    source="Steinhart and Hart, Calibration curves for thermistors, 1968 (from memory)",
)
def sensor_temperature_three_points(
    resistance: float,
    temperature_1: float,
    resistance_1: float,
    temperature_2: float,
    resistance_2: float,
    temperature_3: float,
    resistance_3: float,
) -> float:
    """Temperature a sensor reports by its resistance, from three points of its data sheet."""
    curve = sensor_curve(
        (
            (temperature_1, resistance_1),
            (temperature_2, resistance_2),
            (temperature_3, resistance_3),
        )
    )
    return curve.temperature(resistance)


@sum_of(
    name="divider-volts",
    gives="V",
    inputs={"supply": "V", "pull_up": "ohm", "sensor": "ohm"},
    formula="volts = supply * sensor / (pull_up + sensor)",
    valid="a sensor to earth behind a resistor to the supply, with a meter of high impedance",
    ranges={"supply": (0, 30), "pull_up": (1, 1e6), "sensor": (0, 1e7)},
    source="Ohm's law",
)
def divider_volts(supply: float, pull_up: float, sensor: float) -> float:
    """Volts at the signal wire of a temperature sensor."""
    return supply * sensor / (pull_up + sensor)


@sum_of(
    name="divider-resistance",
    gives="ohm",
    inputs={"supply": "V", "pull_up": "ohm", "volts": "V"},
    formula="sensor = pull_up * volts / (supply - volts)",
    valid="a signal below the supply; at the supply the sensor is open",
    ranges={"supply": (0.1, 30), "pull_up": (1, 1e6), "volts": (0, 30)},
    source="Ohm's law",
)
def divider_resistance(supply: float, pull_up: float, volts: float) -> float:
    """Resistance of a temperature sensor, from the volts at its signal wire."""
    need(
        volts < supply,
        "divider-resistance: the signal is at the supply, so the sensor or its wire is open.",
    )
    return pull_up * volts / (supply - volts)


@sum_of(
    name="battery-charge",
    gives="%",
    inputs={"rest_volts": "V"},
    rule=(
        "a straight line between 11.7 V (0 %), 12.0 V (25 %), 12.2 V (50 %), 12.4 V (75 %) and "
        "12.6 V (100 %); flat beyond"
    ),
    valid="a 12 V lead-acid battery at rest: lamps on for 15 s, then 3 minutes off",
    ranges={"rest_volts": (0, 13.2)},
    source="US Army TM 5-3805-262-20, p. 5-142; the straight lines between are judgement",
)
def battery_charge(rest_volts: float) -> float:
    """Charge of a battery, from its volts at rest."""
    if rest_volts <= REST_VOLTS[0][0]:
        return 0.0
    for (low, charge_low), (high, charge_high) in pairwise(REST_VOLTS):
        if rest_volts <= high:
            return charge_low + (rest_volts - low) / (high - low) * (charge_high - charge_low)
    return 100.0


@sum_of(
    name="volt-drop-per-100-amps",
    gives="V",
    inputs={"drop": "V", "current": "A"},
    formula="drop at 100 A = drop / current * 100",
    valid="the drop is read while the current flows",
    ranges={"drop": (0, 30), "current": (1, 2000)},
    source="Ohm's law; TM 10-3930-671-24 allows 0.20 V per 100 A in a starter circuit",
)
def volt_drop_per_100_amps(drop: float, current: float) -> float:
    """Volt drop of a cable or connection, brought to a current of 100 A."""
    return drop / current * 100


@sum_of(
    name="volt-drop-limit",
    gives="V",
    inputs={"current": "A", "allowed": "V"},
    formula="limit = allowed * current / 100",
    valid="cables and connections of a 12 V starter circuit",
    ranges={"current": (0, 2000), "allowed": (0.01, 2)},
    source="TM 10-3930-671-24: 0.20 V per 100 A",
)
def volt_drop_limit(current: float, allowed: float = 0.20) -> float:
    """Volt drop allowed at a current, from what is allowed per 100 A."""
    return allowed * current / 100
