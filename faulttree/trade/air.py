"""Sums of the air: standard atmosphere, vacuum at altitude, compression, power correction.

Pressures are in kPa. Compression and vacuum are gauge readings, the one above and the other below
the air outside; `pressure` and `barometer` are absolute.
"""

from __future__ import annotations

from math import exp

from faulttree.trade.registry import need, sum_of

SEA_LEVEL_PRESSURE = 101.325
SEA_LEVEL_TEMPERATURE = 288.15
LAPSE_RATE = 0.0065
GRAVITY = 9.80665
GAS_CONSTANT = 287.05287

ISO_2533 = "ISO 2533:1975, standard atmosphere, troposphere (second-hand copy of table 5)"
PRESSURE_LINE = (
    "pressure = 101.325 * (1 - 0.0065 * altitude / 288.15) ^ (9.80665 / (0.0065 * 287.05287))"
)
ALTITUDES = (-500.0, 5000.0)


@sum_of(
    name="standard-pressure",
    gives="kPa",
    inputs={"altitude": "m"},
    formula=PRESSURE_LINE,
    ranges={"altitude": ALTITUDES},
    source=ISO_2533,
)
def standard_pressure(altitude: float) -> float:
    """Pressure of the air at an altitude, on a standard day."""
    share = 1 - LAPSE_RATE * altitude / SEA_LEVEL_TEMPERATURE
    return float(SEA_LEVEL_PRESSURE * share ** (GRAVITY / (LAPSE_RATE * GAS_CONSTANT)))


@sum_of(
    name="standard-temperature",
    gives="degC",
    inputs={"altitude": "m"},
    formula="temperature = 15 - 0.0065 * altitude",
    ranges={"altitude": ALTITUDES},
    source=ISO_2533,
)
def standard_temperature(altitude: float) -> float:
    """Temperature of the air at an altitude, on a standard day."""
    return 15 - LAPSE_RATE * altitude


@sum_of(
    name="standard-density",
    gives="kg/m3",
    inputs={"altitude": "m"},
    formula=(
        f"{PRESSURE_LINE}\ndensity = 1000 * pressure / (287.05287 * (288.15 - 0.0065 * altitude))"
    ),
    ranges={"altitude": ALTITUDES},
    source=ISO_2533,
)
def standard_density(altitude: float) -> float:
    """Density of the air at an altitude, on a standard day."""
    temperature = SEA_LEVEL_TEMPERATURE - LAPSE_RATE * altitude
    return 1000 * standard_pressure(altitude) / (GAS_CONSTANT * temperature)


@sum_of(
    name="manifold-pressure",
    gives="kPa",
    inputs={"barometer": "kPa", "vacuum": "kPa"},
    formula="manifold pressure = barometer - vacuum",
    valid="the vacuum no greater than the barometer",
    ranges={"barometer": (50, 110), "vacuum": (-20, 110)},
    source="definition of gauge pressure",
)
def manifold_pressure(barometer: float, vacuum: float) -> float:
    """Absolute pressure in the manifold, from the barometer and a vacuum gauge."""
    need(
        vacuum <= barometer,
        "manifold-pressure: the vacuum is greater than the air pressure outside, which cannot be. "
        "Check the gauge and its unit.",
    )
    return barometer - vacuum


@sum_of(
    name="vacuum-at-altitude",
    gives="kPa",
    inputs={"vacuum": "kPa", "altitude": "m"},
    formula=f"{PRESSURE_LINE}\nvacuum there = vacuum - (101.325 - pressure)",
    valid="a throttled engine at idle: it wants the same absolute manifold pressure anywhere",
    ranges={"vacuum": (0, 101.325), "altitude": ALTITUDES},
    source=(
        "derived from ISO 2533; US Army OD1001 lesson 3 says about 1 inHg less per 1000 ft, "
        "which agrees"
    ),
)
def vacuum_at_altitude(vacuum: float, altitude: float) -> float:
    """What a gauge shows at an altitude, of a vacuum that would show so much at sea level."""
    return vacuum - (SEA_LEVEL_PRESSURE - standard_pressure(altitude))


@sum_of(
    name="vacuum-at-sea-level",
    gives="kPa",
    inputs={"vacuum": "kPa", "altitude": "m"},
    formula=f"{PRESSURE_LINE}\nvacuum at sea level = vacuum + (101.325 - pressure)",
    valid="a throttled engine at idle: it wants the same absolute manifold pressure anywhere",
    ranges={"vacuum": (0, 101.325), "altitude": ALTITUDES},
    source="derived from ISO 2533, the other way round from vacuum-at-altitude",
)
def vacuum_at_sea_level(vacuum: float, altitude: float) -> float:
    """What a vacuum read at an altitude would show at sea level."""
    return vacuum + (SEA_LEVEL_PRESSURE - standard_pressure(altitude))


@sum_of(
    name="cranking-compression",
    gives="kPa",
    inputs={"ratio": "", "altitude": "m", "exponent": ""},
    formula=f"{PRESSURE_LINE}\ncompression = pressure * (ratio ^ exponent - 1)",
    valid=(
        "a guide: late inlet closing, leakage, heat loss and slow cranking lower it; "
        "the maker's figure wins"
    ),
    ranges={"ratio": (4, 16), "altitude": ALTITUDES, "exponent": (1, 1.4)},
    source=(
        "polytropic compression, any textbook of thermodynamics; the exponent of a cranking "
        "engine, 1.2, is judgement"
    ),
)
def cranking_compression(ratio: float, altitude: float = 0.0, exponent: float = 1.2) -> float:
    """Compression to expect on the gauge, from the compression ratio and the altitude."""
    return float(standard_pressure(altitude) * (ratio**exponent - 1))


@sum_of(
    name="compression-at-altitude",
    gives="kPa",
    inputs={"compression": "kPa", "altitude": "m"},
    formula=f"{PRESSURE_LINE}\ncompression there = compression * pressure / 101.325",
    valid="gauge readings: they go with the pressure of the air drawn in",
    ranges={"compression": (0, 4000), "altitude": ALTITUDES},
    source="derived: polytropic compression of air at the pressure of ISO 2533",
)
def compression_at_altitude(compression: float, altitude: float) -> float:
    """What a compression specified for sea level comes to at an altitude."""
    return compression * standard_pressure(altitude) / SEA_LEVEL_PRESSURE


@sum_of(
    name="compression-at-sea-level",
    gives="kPa",
    inputs={"compression": "kPa", "altitude": "m"},
    formula=f"{PRESSURE_LINE}\ncompression at sea level = compression * 101.325 / pressure",
    valid="gauge readings: they go with the pressure of the air drawn in",
    ranges={"compression": (0, 4000), "altitude": ALTITUDES},
    source="derived: polytropic compression of air at the pressure of ISO 2533",
)
def compression_at_sea_level(compression: float, altitude: float) -> float:
    """What a compression read at an altitude would be at sea level."""
    return compression * SEA_LEVEL_PRESSURE / standard_pressure(altitude)


@sum_of(
    name="air-flow",
    gives="g/s",
    inputs={"displacement": "L", "speed": "rpm", "filling": "%", "density": "kg/m3"},
    formula="air flow = displacement / 2 * speed / 60 * filling / 100 * density",
    valid="four-stroke engines; the filling is an estimate: 80 % wide open, 20 to 30 % at idle",
    ranges={
        "displacement": (0.1, 12),
        "speed": (0, 10000),
        "filling": (0, 130),
        "density": (0.5, 1.6),
    },
    source="derived: half the displacement is drawn in each turn; density by ISO 2533",
)
def air_flow(displacement: float, speed: float, filling: float, density: float = 1.225) -> float:
    """Air mass an engine draws in, to hold against what its air meter says."""
    return displacement / 2 * speed / 60 * filling / 100 * density


@sum_of(
    name="filling",
    gives="%",
    inputs={"air_mass": "g/s", "speed": "rpm", "displacement": "L", "density": "kg/m3"},
    formula="filling = 100 * air_mass / (displacement / 2 * speed / 60 * density)",
    valid="four-stroke engines; warm air under the bonnet takes some per cent off",
    ranges={
        "air_mass": (0, 1000),
        "speed": (300, 10000),
        "displacement": (0.1, 12),
        "density": (0.5, 1.6),
    },
    source="derived: air-flow the other way round",
)
def filling(air_mass: float, speed: float, displacement: float, density: float = 1.225) -> float:
    """How full the cylinders get, from what the air meter says, the speed and the displacement."""
    return 100 * air_mass / (displacement / 2 * speed / 60 * density)


@sum_of(
    name="dry-pressure",
    gives="kPa",
    inputs={"barometer": "kPa", "humidity": "%", "air_temperature": "degC"},
    formula=(
        "slope = (18.678 - air_temperature / 234.5) / (257.14 + air_temperature)\n"
        "saturated = 0.61121 * exp(slope * air_temperature)\n"
        "dry pressure = barometer - humidity / 100 * saturated"
    ),
    ranges={"barometer": (50, 110), "humidity": (0, 100), "air_temperature": (-30, 50)},
    source="saturation pressure over water: Buck's equation of 1996, good to 0.05 % (from memory)",
)
def dry_pressure(barometer: float, humidity: float, air_temperature: float) -> float:
    """Pressure of the air without its moisture, as power corrections want it."""
    slope = (18.678 - air_temperature / 234.5) / (257.14 + air_temperature)
    saturated = 0.61121 * exp(slope * air_temperature)
    return barometer - humidity / 100 * saturated


@sum_of(
    name="power-correction-j1349",
    gives="",
    inputs={"dry_pressure": "kPa", "air_temperature": "degC"},
    formula=("factor = 1.18 * (99 / dry_pressure * sqrt((air_temperature + 273) / 298)) - 0.18"),
    valid="petrol engines without supercharger, wide open throttle",
    ranges={"dry_pressure": (80, 105), "air_temperature": (5, 45)},
    source=(
        "SAE J1349, form of June 1990 (second-hand quotations; later forms differ in detail); "
        "the range checked is wider than the standard's own: judgement"
    ),
)
def power_correction_j1349(dry_pressure: float, air_temperature: float) -> float:
    """Factor that brings a power measured on the day to standard air, by SAE J1349."""
    root: float = ((air_temperature + 273) / 298) ** 0.5
    return 1.18 * (99 / dry_pressure * root) - 0.18


@sum_of(
    name="power-correction-iso1585",
    gives="",
    inputs={"dry_pressure": "kPa", "air_temperature": "degC"},
    formula="factor = (99 / dry_pressure) ^ 1.2 * ((air_temperature + 273) / 298) ^ 0.6",
    valid="spark-ignition engines, wide open throttle; the factor itself from 0.93 to 1.07",
    ranges={"dry_pressure": (50, 110), "air_temperature": (-30, 60)},
    source="ISO 1585 and UN ECE R85 (form and validity from memory)",
)
def power_correction_iso1585(dry_pressure: float, air_temperature: float) -> float:
    """Factor that brings a power measured on the day to standard air, by ISO 1585."""
    factor = float((99 / dry_pressure) ** 1.2 * ((air_temperature + 273) / 298) ** 0.6)
    need(
        0.93 <= factor <= 1.07,
        f"power-correction-iso1585: the factor comes to {factor:.4f}, but the standard holds from "
        "0.93 to 1.07. Measure again on a day nearer to 25 degC and 99 kPa.",
    )
    return factor


@sum_of(
    name="corrected-power",
    gives="kW",
    inputs={"power": "kW", "factor": ""},
    formula="corrected power = power * factor",
    ranges={"power": (0, 2000), "factor": (0.8, 1.4)},
    source="SAE J1349 and ISO 1585: corrected power is the factor times the measured power",
)
def corrected_power(power: float, factor: float) -> float:
    """A measured power brought to standard air."""
    return power * factor


@sum_of(
    name="pull-gain",
    gives="%",
    inputs={"time_before": "s", "time_after": "s", "factor_before": "", "factor_after": ""},
    formula=("gain = 100 * (factor_after / time_after / (factor_before / time_before) - 1)"),
    valid=(
        "the same car, load, road, gear and speeds both times; drag is left out, so it is good for "
        "a comparison and not for a power figure"
    ),
    ranges={
        "time_before": (0.5, 120),
        "time_after": (0.5, 120),
        "factor_before": (0.8, 1.4),
        "factor_after": (0.8, 1.4),
    },
    source="derived: the mean power that speeds a given mass up goes with one over the time",
)
def pull_gain(
    time_before: float, time_after: float, factor_before: float = 1.0, factor_after: float = 1.0
) -> float:
    """What a repair gained in timed pulls, each brought to standard air by its factor."""
    return 100 * (factor_after / time_after / (factor_before / time_before) - 1)
