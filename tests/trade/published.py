"""Figures from outside the project that the sums and units must give, with their sources.

`status` says how each was had:

- `read`: the figure stands in a source that was read;
- `second-hand`: the figure, or the formula or constant it was worked from, was read in somebody's
  transcription or quotation of the source;
- `from memory`: nobody looked it up; the source named is where it should stand;
- `derived`: worked out apart from this project's code, from textbook physics or plain geometry.

`tolerance` is half of the last digit given, unless a line says otherwise.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from faulttree.trade.electrics import sensor_curve
from faulttree.trade.measures import convert
from faulttree.trade.sums import get

Status = Literal["read", "second-hand", "from memory", "derived"]


@dataclass(frozen=True)
class Published:
    """One figure: the sum it is for, what goes in, what must come out, and who says so."""

    what: str
    inputs: Mapping[str, Any]
    expected: float
    tolerance: float
    source: str
    status: Status

    @property
    def id(self) -> str:
        """A name for the test report that shows source and status."""
        inputs = ",".join(f"{name}={value}" for name, value in self.inputs.items())
        return f"{self.what}({inputs}) | {self.source} | {self.status}"

    def result(self) -> float:
        """What the project gives for it."""
        if self.what in OTHERS:
            return OTHERS[self.what](**self.inputs)
        return get(self.what).apply(self.inputs)


def _convert(value: float, unit: str, to: str) -> float:
    return convert(value, unit, to)


CURVE = sensor_curve(((0.0, 5900.0), (40.0, 1180.0), (90.0, 240.0)))

OTHERS: dict[str, Callable[..., float]] = {
    "convert": _convert,
    "three-point curve, a": lambda: CURVE.a,
    "three-point curve, b": lambda: CURVE.b,
    "three-point curve, c": lambda: CURVE.c,
}

NIST = "NIST SP 811 (2008), appendix B"
ISO_ATMOSPHERE = "ISO 2533:1975, table 5"
LAMBDA = "OIML R 99 / ISO 3930 formula"
SOCKET = "SAE J1979 / ISO 15031-5, mode 01"
BERNOULLI = "textbook orifice flow (Bernoulli)"
BETA = "beta equation of thermistors"
STEINHART = "Steinhart and Hart 1968"
COPPER = "IEC 60028:1925"
POLYTROPE = "textbook polytropic compression"
GEOMETRY = "geometry"
FUEL_TABLE = "US alternative fuels data centre, fuel properties"
COMBUSTION = "complete combustion of CHxOy, air 28.964 g/mol with 20.946 % oxygen"
BATTERY = "US Army TM 5-3805-262-20, p. 5-142"


def _units() -> list[Published]:
    factors: list[tuple[str, str, float, float, str, Status]] = [
        ("psi", "Pa", 6894.757, 5e-4, NIST, "second-hand"),
        ("inHg", "Pa", 3386.389, 5e-4, f"{NIST}, conventional mercury", "second-hand"),
        ("bar", "Pa", 1e5, 1e-9, NIST, "second-hand"),
        ("mmHg", "Pa", 133.3224, 5e-5, f"{NIST}, conventional mercury", "second-hand"),
        ("US gal", "L", 3.785412, 5e-7, NIST, "second-hand"),
        ("UK gal", "L", 4.54609, 5e-9, NIST, "second-hand"),
        ("hp", "W", 745.6999, 5e-5, f"{NIST}, 550 ft lbf/s", "second-hand"),
        ("metric hp", "W", 735.4988, 6e-5, NIST, "second-hand"),
        ("mile", "m", 1609.344, 1e-9, NIST, "second-hand"),
        ("lbf ft", "N m", 1.355818, 5e-7, NIST, "from memory"),
        ("lbf ft", "N m", 4.4482216152605 * 0.3048, 1e-12, "exact pound-force and foot", "derived"),
    ]
    rows = [
        Published(
            "convert", {"value": 1.0, "unit": a, "to": b}, expected, tolerance, source, status
        )
        for a, b, expected, tolerance, source, status in factors
    ]
    readings: list[tuple[float, str, str, float, float]] = [
        (40.0, "psi", "kPa", 275.790, 5e-4),
        (18.0, "inHg", "kPa", 60.955, 5e-4),
        (195.0, "degF", "degC", 90.556, 5e-4),
        (20.0, "degC", "degF", 68.0, 1e-9),
    ]
    rows += [
        Published("convert", {"value": v, "unit": a, "to": b}, expected, tolerance, NIST, "derived")
        for v, a, b, expected, tolerance in readings
    ]
    return rows


# Geopotential altitude in m, temperature in K, pressure in hPa, density in kg/m3.
ATMOSPHERE_TABLE = (
    (0, 288.150, 1013.25, 1.225),
    (500, 284.900, 954.608, 1.16727),
    (1000, 281.650, 898.746, 1.11164),
    (1500, 278.400, 845.560, 1.05807),
    (2000, 275.150, 794.952, 1.00649),
    (2500, 271.900, 746.825, 0.956859),
    (3000, 268.650, 701.085, 0.909122),
)


def _atmosphere() -> list[Published]:
    rows = []
    for altitude, kelvin, hectopascal, density in ATMOSPHERE_TABLE:
        for what, expected, tolerance in (
            ("standard-temperature", kelvin - 273.15, 5e-4),
            ("standard-pressure", hectopascal / 10, 5e-5),
            ("standard-density", density, 5e-6 if density > 1 else 5e-7),
        ):
            at = {"altitude": float(altitude)}
            rows.append(Published(what, at, expected, tolerance, ISO_ATMOSPHERE, "second-hand"))
    return rows


def _air() -> list[Published]:
    tm = "US Army OD1001, lesson 3: about 1 inHg less per 1000 ft"
    sea = 20 * 3.386389
    rows = [
        # 20 inHg at sea level is 15.05 inHg at 1500 m for the same absolute manifold pressure.
        Published(
            "vacuum-at-altitude",
            {"vacuum": sea, "altitude": 1500.0},
            15.05 * 3.386389,
            0.005 * 3.386389,
            f"{ISO_ATMOSPHERE}, same absolute manifold pressure",
            "derived",
        ),
        # The rule of thumb, 4.92 inHg for 4921 ft: the tolerance is its own, 0.05 inHg.
        Published(
            "vacuum-at-altitude",
            {"vacuum": sea, "altitude": 1500.0},
            (20 - 4.92) * 3.386389,
            0.05 * 3.386389,
            tm,
            "read",
        ),
        Published(
            "vacuum-at-sea-level",
            {"vacuum": 15.05 * 3.386389, "altitude": 1500.0},
            sea,
            0.005 * 3.386389,
            f"{ISO_ATMOSPHERE}, same absolute manifold pressure",
            "derived",
        ),
        # Tolerance 0.05 %: the equation's own.
        *(
            Published(
                "dry-pressure",
                {"barometer": 101.325, "humidity": 100.0, "air_temperature": temperature},
                101.325 - saturated,
                5e-4 * saturated,
                f"saturated steam tables: {saturated} kPa",
                "from memory",
            )
            for temperature, saturated in ((20.0, 2.339), (40.0, 7.384))
        ),
        Published(
            "manifold-pressure",
            {"barometer": 101.325, "vacuum": 60.955},
            40.370,
            5e-4,
            "definition of gauge pressure",
            "derived",
        ),
        Published(
            "air-flow",
            {"displacement": 2.0, "speed": 3000.0, "filling": 80.0, "density": 1.2},
            48.0,
            1e-9,
            "50 turns a second draw in 50 L/s of a four-stroke 2.0 L: x 0.8 x 1.2 g/L",
            "derived",
        ),
        Published(
            "filling",
            {"air_mass": 48.0, "speed": 3000.0, "displacement": 2.0, "density": 1.2},
            80.0,
            1e-9,
            "48 g/s are 40 L/s at 1.2 g/L, of the 50 L/s that a four-stroke 2.0 L could draw",
            "derived",
        ),
        # 4.4 L at 4000 rpm sweep 146.667 L/s; at 1500 m a litre weighs 1.05807 g.
        Published(
            "filling",
            {"air_mass": 124.0, "speed": 4000.0, "displacement": 4.4, "density": 1.05807},
            79.9054,
            5e-5,
            f"{ISO_ATMOSPHERE}, density at 1500 m",
            "derived",
        ),
    ]
    for ratio, exponent, expected in (
        (10.0, 1.20, 1504.6),
        (10.0, 1.25, 1700.5),
        (10.0, 1.30, 1920.4),
        (8.5, 1.30, 1535.3),
    ):
        given = {"ratio": ratio, "altitude": 0.0, "exponent": exponent}
        rows.append(Published("cranking-compression", given, expected, 0.05, POLYTROPE, "derived"))
    for altitude, bar, share in (
        (0.0, 15.86, 1.0),
        (1500.0, 13.23, 0.83450),
        (3000.0, 10.97, 0.69192),
    ):
        given = {"ratio": 9.0, "altitude": altitude, "exponent": 1.28}
        source = f"{POLYTROPE}, {ISO_ATMOSPHERE}"
        rows += [
            Published("cranking-compression", given, bar * 100, 0.5, source, "derived"),
            Published(
                "compression-at-altitude",
                {"compression": 1200.0, "altitude": altitude},
                1200 * share,
                1200 * 5e-6,
                source,
                "derived",
            ),
            Published(
                "compression-at-sea-level",
                {"compression": 1200.0 * share, "altitude": altitude},
                1200.0,
                0.01,
                source,
                "derived",
            ),
        ]
    j1349 = "SAE J1349, form of June 1990"
    rows += [
        Published(
            "power-correction-j1349",
            {"dry_pressure": 95.0, "air_temperature": 35.0},
            1.0701,
            5e-5,
            j1349,
            "second-hand",
        ),
        Published(
            "power-correction-j1349",
            {"dry_pressure": 99.0, "air_temperature": 25.0},
            1.0,
            1e-12,
            j1349,
            "second-hand",
        ),
        Published(
            "power-correction-iso1585",
            {"dry_pressure": 99.0, "air_temperature": 25.0},
            1.0,
            1e-12,
            "ISO 1585 / UN ECE R85",
            "from memory",
        ),
        Published(
            "corrected-power",
            {"power": 80.0, "factor": 1.05},
            84.0,
            1e-9,
            j1349,
            "derived",
        ),
        Published(
            "pull-gain",
            {"time_before": 11.0, "time_after": 10.0, "factor_before": 1.0, "factor_after": 1.0},
            10.0,
            1e-9,
            "same mass to the same speed in 10/11 of the time is 1.1 times the power",
            "derived",
        ),
    ]
    return rows


def _fuel() -> list[Published]:
    vacuum = 18 * 3.386389
    rows = [
        Published(
            "injector-pressure",
            {"rail": 300.0, "vacuum": vacuum},
            360.96,
            0.01,
            BERNOULLI,
            "derived",
        ),
        Published(
            "rail-expected",
            {"set_pressure": 300.0, "vacuum": vacuum},
            239.0,
            0.05,
            BERNOULLI,
            "derived",
        ),
        Published(
            "regulator-rise",
            {"hose_on": 239.045, "hose_off": 300.0},
            vacuum,
            0.001,
            BERNOULLI,
            "derived",
        ),
        Published(
            "regulator-agreement",
            {"hose_on": 239.045, "hose_off": 300.0, "vacuum": vacuum},
            0.0,
            0.001,
            BERNOULLI,
            "derived",
        ),
        Published(
            "injector-flow",
            {"flow": 200.0, "pressure_before": 250.0, "pressure_after": 300.0},
            219.09,
            0.005,
            BERNOULLI,
            "derived",
        ),
        Published(
            "mixture-shift",
            {"pressure_before": 300.0, "pressure_after": 350.0},
            8.01,
            0.005,
            BERNOULLI,
            "derived",
        ),
        Published(
            "lambda-after-pressure",
            {"lambda_before": 1.0801, "pressure_before": 300.0, "pressure_after": 350.0},
            1.0,
            5e-5,
            BERNOULLI,
            "derived",
        ),
        Published(
            "pressure-for-flow",
            {"pressure": 300.0, "flow_before": 100.0, "flow_after": 90.0},
            300 * 0.81,
            1e-9,
            BERNOULLI,
            "derived",
        ),
        Published(
            "orifice-flow",
            {"diameter": 0.5, "discharge": 0.62, "density": 740.0, "pressure": 300.0},
            207.99,
            0.005,
            BERNOULLI,
            "derived",
        ),
        Published("delivery", {"volume": 0.5, "time": 30.0}, 1.0, 1e-12, "arithmetic", "derived"),
        Published(
            "injector-duty",
            {"pulse": 10.0, "speed": 6000.0, "pulses_per_cycle": 1.0},
            50.0,
            1e-9,
            "one working cycle at 6000 rpm takes 20 ms",
            "derived",
        ),
    ]
    for hydrogen, oxygen, expected in (
        (1.85, 0.0, 14.57),
        (1.89, 0.016, 14.29),
        (1.93, 0.033, 14.00),
        (2.74, 0.385, 9.86),
        (3.0, 0.5, 9.00),
        (18 / 8, 0.0, 15.13),
    ):
        given = {"hydrogen": hydrogen, "oxygen": oxygen}
        rows.append(
            Published("stoichiometric-ratio", given, expected, 0.006, COMBUSTION, "derived")
        )
    for ethanol, expected, status in (
        (0.0, 14.7, "second-hand"),
        (100.0, 9.0, "second-hand"),
        (5.0, 14.40, "derived"),
        (10.0, 14.10, "derived"),
        (85.0, 9.81, "derived"),
    ):
        rows.append(
            Published(
                "blend-ratio",
                {"ethanol": ethanol},
                expected,
                0.006,
                FUEL_TABLE,
                "second-hand" if status == "second-hand" else "derived",
            )
        )
    return rows


LAMBDA_CASES = (
    # CO %, CO2 %, O2 %, HC ppm hexane; lambda with petrol, and with the constants of E5
    (0.5, 14.5, 0.8, 100.0, 1.0187, 1.0178),
    (0.1, 15.2, 0.1, 20.0, 1.0009, 1.0008),
    (3.5, 12.5, 0.4, 250.0, 0.9097, 0.9100),
    (0.2, 12.0, 4.0, 250.0, 1.2084, 1.2020),
    (0.5, 13.0, 3.5, 1200.0, 1.1069, 1.1021),
)


def _exhaust() -> list[Published]:
    rows = []
    for co, co2, o2, hc, petrol, e5 in LAMBDA_CASES:
        gases = {"co": co, "co2": co2, "o2": o2, "hc": hc}
        rows += [
            Published(
                "lambda-four-gas", gases, petrol, 5e-5, f"{LAMBDA}, Hcv 1.7261", "second-hand"
            ),
            Published(
                "lambda-four-gas",
                {**gases, "hydrogen": 1.89, "oxygen": 0.016},
                e5,
                5e-5,
                f"{LAMBDA}, constants of E5 after UN ECE R83",
                "from memory",
            ),
        ]
    rows += [
        Published(
            "lambda-four-gas",
            {"co": 0.0, "co2": 15.0, "o2": 0.0, "hc": 0.0},
            1.0,
            1e-12,
            f"{LAMBDA}: complete combustion is 1 exactly",
            "derived",
        ),
        Published("gas-sum", {"co": 0.5, "co2": 14.5}, 15.0, 1e-12, "arithmetic", "derived"),
        Published("air-fuel-ratio", {"lambda_value": 1.0}, 14.7, 1e-12, FUEL_TABLE, "second-hand"),
    ]
    return rows


def _ignition() -> list[Published]:
    figures: list[tuple[str, dict[str, float], float, float]] = [
        ("advance-time", {"advance": 10.0, "speed": 3000.0}, 0.5556, 5e-5),
        ("advance-time", {"advance": 1.0, "speed": 800.0}, 0.2083, 5e-5),
        ("advance-angle", {"time": 0.5556, "speed": 3000.0}, 10.0, 1e-3),
        ("crank-angle", {"distributor": 12.0}, 24.0, 1e-12),
        ("dwell-share", {"dwell": 54.0, "cylinders": 4.0}, 60.0, 1e-9),
        ("dwell-share", {"dwell": 35.0, "cylinders": 6.0}, 58.33, 0.005),
        ("dwell-share", {"dwell": 30.0, "cylinders": 8.0}, 66.67, 0.005),
        ("dwell-angle", {"share": 60.0, "cylinders": 4.0}, 54.0, 1e-9),
        ("spark-interval", {"speed": 3000.0, "cylinders": 4.0}, 10.0, 1e-9),
        ("dwell-time", {"share": 60.0, "speed": 3000.0, "cylinders": 4.0}, 6.0, 1e-9),
        ("lead-resistance", {"resistance": 15.0, "length": 0.5}, 30.0, 1e-9),
    ]
    return [Published(w, i, e, t, GEOMETRY, "derived") for w, i, e, t in figures]


def _electrics() -> list[Published]:
    ntc = {"resistance_25": 2000.0, "beta": 3500.0}
    rows = [
        Published(
            "copper-resistance",
            {"resistance": 0.8, "temperature": 20.0, "wanted": 85.0},
            1.00436,
            5e-6,
            COPPER,
            "second-hand",
        ),
        # The other usual form, (234.5 + t) / 254.5, differs in the fifth digit: its own tolerance.
        Published(
            "copper-resistance",
            {"resistance": 0.8, "temperature": 20.0, "wanted": 85.0},
            1.00432,
            5e-5,
            "copper by the 234.5 rule",
            "from memory",
        ),
        Published(
            "copper-resistance",
            {"resistance": 1.0, "temperature": 80.0},
            0.809,
            5e-4,
            COPPER,
            "second-hand",
        ),
        Published(
            "sensor-beta",
            {
                "temperature_1": 0.0,
                "resistance_1": 5900.0,
                "temperature_2": 90.0,
                "resistance_2": 240.0,
            },
            3529.19,
            0.005,
            BETA,
            "derived",
        ),
        Published("three-point curve, a", {}, 1.344349e-3, 5e-10, STEINHART, "derived"),
        Published("three-point curve, b", {}, 2.507476e-4, 5e-11, STEINHART, "derived"),
        Published("three-point curve, c", {}, 2.130746e-7, 5e-14, STEINHART, "derived"),
        Published(
            "divider-volts",
            {"supply": 5.0, "pull_up": 2200.0, "sensor": 2000.0},
            2.381,
            5e-4,
            "Ohm's law",
            "derived",
        ),
        Published(
            "divider-volts",
            {"supply": 5.0, "pull_up": 2200.0, "sensor": 240.0},
            0.492,
            5e-4,
            "Ohm's law",
            "derived",
        ),
        Published(
            "divider-resistance",
            {"supply": 5.0, "pull_up": 2200.0, "volts": 2.5},
            2200.0,
            1e-9,
            "Ohm's law",
            "derived",
        ),
        Published(
            "volt-drop-limit",
            {"current": 100.0},
            0.20,
            1e-12,
            "TM 10-3930-671-24",
            "read",
        ),
        Published(
            "volt-drop-per-100-amps",
            {"drop": 0.3, "current": 150.0},
            0.20,
            1e-12,
            "Ohm's law",
            "derived",
        ),
    ]
    for temperature, resistance, digit in (
        (-10.0, 9530.4, 0.05),
        (0.0, 5856.6, 0.05),
        (20.0, 2443.3, 0.05),
        (40.0, 1139.8, 0.05),
        (80.0, 321.39, 0.005),
        (100.0, 188.94, 0.005),
    ):
        rows += [
            Published(
                "sensor-resistance",
                {**ntc, "temperature": temperature},
                resistance,
                digit,
                BETA,
                "derived",
            ),
            Published(
                "sensor-temperature",
                {**ntc, "resistance": resistance},
                temperature,
                0.002,
                BETA,
                "derived",
            ),
        ]
    points = {
        "temperature_1": 0.0,
        "resistance_1": 5900.0,
        "temperature_2": 40.0,
        "resistance_2": 1180.0,
        "temperature_3": 90.0,
        "resistance_3": 240.0,
    }
    for resistance, temperature in ((2500.0, 20.25), (300.0, 82.20)):
        rows.append(
            Published(
                "sensor-temperature-three-points",
                {"resistance": resistance, **points},
                temperature,
                0.005,
                STEINHART,
                "derived",
            )
        )
    for volts, charge in ((12.6, 100.0), (12.4, 75.0), (12.2, 50.0), (12.0, 25.0), (11.7, 0.0)):
        given = {"rest_volts": volts}
        rows.append(Published("battery-charge", given, charge, 1e-9, BATTERY, "read"))
    rows.append(
        Published(
            "battery-charge", {"rest_volts": 12.5}, 87.5, 1e-9, f"{BATTERY}, between", "derived"
        )
    )
    return rows


def _road() -> list[Published]:
    tyre = {"diameter": 631.9}
    gearing = {"final_drive": 4.06, "gear": 0.80}
    geometric, rolling = 1.98517, 1.92729
    figures: list[tuple[str, dict[str, float], float, float, str, Status]] = [
        (
            "tyre-diameter",
            {"width": 205.0, "aspect": 55.0, "rim": 16.0},
            631.9,
            1e-9,
            "tyre code",
            "derived",
        ),
        (
            "tyre-diameter",
            {"width": 205.0, "aspect": 55.0, "rim": 16.0},
            632.0,
            0.5,
            "ISO 4000-1 / ETRTO table",
            "from memory",
        ),
        (
            "tyre-circumference",
            {**tyre, "factor": 3.141592653589793},
            geometric,
            5e-6,
            GEOMETRY,
            "derived",
        ),
        ("tyre-circumference", tyre, rolling, 1e-5, "ETRTO rolling factor 3.05", "from memory"),
        (
            "speed-per-1000",
            {"circumference": geometric, **gearing},
            36.67,
            0.005,
            GEOMETRY,
            "derived",
        ),
        (
            "speed-per-1000",
            {"circumference": rolling, **gearing},
            35.60,
            0.005,
            GEOMETRY,
            "derived",
        ),
        (
            "road-speed",
            {"speed": 3000.0, "circumference": rolling, **gearing},
            3 * 35.60,
            0.015,
            GEOMETRY,
            "derived",
        ),
        (
            "engine-speed",
            {"road_speed": 36.67, "circumference": geometric, **gearing},
            1000.0,
            0.15,
            GEOMETRY,
            "derived",
        ),
        (
            "clutch-slip",
            {"speed": 1100.0, "road_speed": 36.67, "circumference": geometric, **gearing},
            100 / 11,
            0.02,
            GEOMETRY,
            "derived",
        ),
    ]
    return [Published(*figure) for figure in figures]


def _socket() -> list[Published]:
    figures: list[tuple[str, tuple[int, ...], float, float]] = [
        ("socket-engine-speed", (0x1A, 0xF8), 1726.0, 1e-9),
        ("socket-fuel-trim", (0x8F,), 11.71875, 1e-9),
        ("socket-fuel-trim", (0x6C,), -15.625, 1e-9),
        ("socket-fuel-trim", (0x80,), 0.0, 1e-12),
        ("socket-advance", (0x98,), 12.0, 1e-12),
        ("socket-air-flow", (0x01, 0x90), 4.00, 1e-12),
        ("socket-manifold-pressure", (0x23,), 35.0, 1e-12),
        ("socket-coolant", (0x7B,), 83.0, 1e-12),
        ("socket-oxygen-sensor", (0x5A,), 0.45, 1e-12),
        ("socket-load", (0xFF,), 100.0, 1e-12),
        ("socket-road-speed", (0x32,), 50.0, 1e-12),
        ("socket-supply", (0x35, 0xE8), 13.8, 1e-12),
    ]
    return [
        Published(
            what,
            dict(zip(("a", "b"), map(float, data), strict=False)),
            expected,
            tolerance,
            SOCKET,
            "second-hand",
        )
        for what, data, expected, tolerance in figures
    ]


def _comparing_and_cylinders() -> list[Published]:
    four = {"values": (150.0, 148.0, 95.0, 151.0)}
    drops = {"values": (100.0, 90.0, 10.0, 95.0)}
    low_limit = "TM 5-4210-230-14&P-1, addendum 2: lowest over highest"
    figures: list[tuple[str, Mapping[str, Any], float, float, str]] = [
        (
            "instrument-correction",
            {"shown": 2000.0, "shown_points": (1050.0, 3090.0), "true_points": (1000.0, 3000.0)},
            1931.37,
            0.005,
            "linear interpolation",
        ),
        ("sensor-error", {"shown": 1050.0, "true": 1000.0}, 50.0, 1e-12, "arithmetic"),
        ("error-share", {"shown": 1050.0, "true": 1000.0}, 5.0, 1e-12, "arithmetic"),
        ("rise", {"before": 120.0, "after": 135.0}, 15.0, 1e-12, "arithmetic"),
        ("drop", {"before": 300.0, "after": 240.0}, 60.0, 1e-12, "arithmetic"),
        ("difference", {"first": 12.6, "second": 12.1}, 0.5, 1e-12, "arithmetic"),
        ("ratio", {"first": 3.0, "second": 4.0}, 0.75, 1e-12, "arithmetic"),
        ("share-lost", {"before": 300.0, "after": 210.0}, 30.0, 1e-12, "arithmetic"),
        ("lowest", four, 95.0, 1e-12, "arithmetic"),
        ("highest", four, 151.0, 1e-12, "arithmetic"),
        ("mean", four, 136.0, 1e-12, "arithmetic"),
        ("total", {"values": (0.1, 0.2, 0.1)}, 0.4, 1e-12, "arithmetic"),
        ("range", four, 56.0, 1e-12, "arithmetic"),
        ("lowest-share", four, 62.91, 0.005, low_limit),
        ("low-count", four, 1.0, 1e-12, low_limit),
        ("lowest-against-mean", drops, 100 * 10 / 73.75, 1e-9, "arithmetic"),
        ("highest-against-mean", drops, 100 * 100 / 73.75, 1e-9, "arithmetic"),
        ("largest-deviation", drops, 100 * 63.75 / 73.75, 1e-9, "arithmetic"),
        ("highest-against-others", drops, 100 * 100 / 65, 1e-9, "arithmetic"),
        ("lowest-against-others", drops, 100 * 10 / 95, 1e-9, "arithmetic"),
        (
            "weakest-drop",
            {"values": (700.0, 710.0, 790.0, 705.0), "all_firing": 800.0},
            100 * 10 / 73.75,
            1e-9,
            "arithmetic",
        ),
        (
            "neighbours-low",
            {"values": (150.0, 100.0, 95.0, 151.0)},
            2.0,
            1e-12,
            "TM 5-4210-230-14&P-1, addendum 2: two neighbours low",
        ),
        (
            "followers-low",
            {"values": (150.0, 148.0, 95.0, 100.0), "firing_order": (1, 3, 4, 2)},
            2.0,
            1e-12,
            "arithmetic",
        ),
        (
            "bank-low",
            {"values": (150.0, 75.0, 150.0, 75.0), "banks": ((1, 3), (2, 4))},
            50.0,
            1e-12,
            "arithmetic",
        ),
    ]
    return [Published(*figure, "derived") for figure in figures]


PUBLISHED: tuple[Published, ...] = (
    *_units(),
    *_atmosphere(),
    *_air(),
    *_fuel(),
    *_exhaust(),
    *_ignition(),
    *_electrics(),
    *_road(),
    *_socket(),
    *_comparing_and_cylinders(),
)
