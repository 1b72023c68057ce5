"""Sums of the exhaust: lambda from four gases, and whether the sample is the engine's alone."""

from __future__ import annotations

from dataclasses import dataclass

from faulttree.trade.registry import need, sum_of


@dataclass(frozen=True, slots=True)
class Fuel:
    """A fuel's atoms of hydrogen and oxygen per atom of carbon, and where the figures are from."""

    hydrogen: float
    oxygen: float
    source: str


FUELS: dict[str, Fuel] = {
    "petrol": Fuel(1.7261, 0.0176, "second-hand: several public programs; OIML R 99, ISO 3930"),
    "E5": Fuel(1.89, 0.016, "UN ECE R83, later series (from memory)"),
    "E10": Fuel(1.93, 0.033, "UN ECE R83, later series (from memory)"),
    "E85": Fuel(2.74, 0.39, "UN ECE R83, later series (from memory)"),
    "LPG": Fuel(2.53, 0.0, "UN ECE R83, later series (from memory)"),
    "natural gas": Fuel(4.0, 0.0, "UN ECE R83, later series (from memory)"),
}


@sum_of(
    name="lambda-four-gas",
    gives="",
    inputs={"co": "%", "co2": "%", "o2": "%", "hc": "ppm", "hydrogen": "", "oxygen": ""},
    formula=(
        "water = hydrogen / 4 * 3.5 / (3.5 + co / co2) - oxygen / 2\n"
        "oxygen_out = co2 + co / 2 + o2 + water * (co2 + co)\n"
        "oxygen_wanted = (1 + hydrogen / 4 - oxygen / 2) * (co2 + co + 0.0006 * hc)\n"
        "lambda = oxygen_out / oxygen_wanted"
    ),
    valid=(
        "petrol; HC as ppm of hexane; no air from a pump or a leak in the exhaust: CO + CO2 at "
        "least 6 %"
    ),
    ranges={
        # An analyser may show a little less than nought.
        "co": (-0.5, 15),
        "co2": (0.1, 20),
        "o2": (-0.5, 21.5),
        "hc": (-50, 30000),
        "hydrogen": (0, 4),
        "oxygen": (0, 1),
    },
    source=(
        "the formula of OIML R 99 / ISO 3930 (second-hand: three independent public programs); "
        "void below CO + CO2 of 6 %: 40 CFR 85.2213"
    ),
)
def lambda_four_gas(
    co: float,
    co2: float,
    o2: float,
    hc: float,
    hydrogen: float = FUELS["petrol"].hydrogen,
    oxygen: float = FUELS["petrol"].oxygen,
) -> float:
    """Lambda from CO, CO2, O2 and HC in the exhaust."""
    need(
        co + co2 >= 6,
        f"lambda-four-gas: CO + CO2 is {co + co2:.1f} %, a sample under 6 % is diluted and void. "
        "Look for a leak in the exhaust or the probe, push the probe in further, read again.",
    )
    water = hydrogen / 4 * 3.5 / (3.5 + co / co2) - oxygen / 2
    return (co2 + co / 2 + o2 + water * (co2 + co)) / (
        (1 + hydrogen / 4 - oxygen / 2) * (co2 + co + 6e-4 * hc)
    )


@sum_of(
    name="gas-sum",
    gives="%",
    inputs={"co": "%", "co2": "%"},
    formula="gas sum = co + co2",
    ranges={"co": (-0.5, 15), "co2": (-0.5, 20)},
    valid="below 6 % the sample is void; 11 to 16 % is usual undiluted",
    source="40 CFR 85.2213: a test is void below 6 %; the usual figures are common practice",
)
def gas_sum(co: float, co2: float) -> float:
    """CO and CO2 together, low when air gets into the exhaust or the probe."""
    return co + co2


@sum_of(
    name="air-fuel-ratio",
    gives="",
    inputs={"lambda_value": "", "stoichiometric": ""},
    formula="air-fuel ratio = lambda_value * stoichiometric",
    ranges={"lambda_value": (0.3, 5), "stoichiometric": (5, 18)},
    source="definition of lambda; 14.7 for petrol: US alternative fuels data centre (second-hand)",
)
def air_fuel_ratio(lambda_value: float, stoichiometric: float = 14.7) -> float:
    """Air to fuel by mass, from lambda."""
    return lambda_value * stoichiometric
