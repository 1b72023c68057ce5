"""Sums of the fuel system: pressure across the injector, flow against pressure, blends."""

from __future__ import annotations

from math import pi, sqrt

from faulttree.trade.registry import need, sum_of

BERNOULLI = "derived: flow through an orifice goes with the root of the pressure (Bernoulli)"
AIR_MASS = 28.964
OXYGEN_IN_AIR = 0.20946


@sum_of(
    name="injector-pressure",
    gives="kPa",
    inputs={"rail": "kPa", "vacuum": "kPa"},
    formula="pressure across the injector = rail + vacuum",
    ranges={"rail": (0, 1000), "vacuum": (-200, 101.325)},
    valid="port injection; vacuum below nought stands for boost",
    source="derived: the gauge reads against the air outside, the nozzle sprays into the manifold",
)
def injector_pressure(rail: float, vacuum: float) -> float:
    """Pressure that drives the fuel through the injector."""
    return rail + vacuum


@sum_of(
    name="rail-expected",
    gives="kPa",
    inputs={"set_pressure": "kPa", "vacuum": "kPa"},
    formula="rail gauge = set_pressure - vacuum",
    ranges={"set_pressure": (50, 1000), "vacuum": (-200, 101.325)},
    valid="a regulator with its hose on the manifold",
    source="derived: the regulator holds the pressure across the injector",
)
def rail_expected(set_pressure: float, vacuum: float) -> float:
    """What the rail gauge should show with the regulator's hose on."""
    return set_pressure - vacuum


@sum_of(
    name="regulator-rise",
    gives="kPa",
    inputs={"hose_on": "kPa", "hose_off": "kPa"},
    formula="rise = hose_off - hose_on",
    ranges={"hose_on": (0, 1000), "hose_off": (0, 1000)},
    valid="a regulator with its hose on the manifold, engine idling",
    source="arithmetic",
)
def regulator_rise(hose_on: float, hose_off: float) -> float:
    """How far the rail pressure rises when the regulator's hose is pulled off."""
    return hose_off - hose_on


@sum_of(
    name="regulator-agreement",
    gives="kPa",
    inputs={"hose_on": "kPa", "hose_off": "kPa", "vacuum": "kPa"},
    formula="disagreement = hose_off - hose_on - vacuum",
    ranges={"hose_on": (0, 1000), "hose_off": (0, 1000), "vacuum": (0, 101.325)},
    valid="a regulator with its hose on the manifold, engine idling",
    source="derived: the rise must be the manifold vacuum that was taken off the diaphragm",
)
def regulator_agreement(hose_on: float, hose_off: float, vacuum: float) -> float:
    """How far the rise with the hose off differs from the vacuum; nought when they agree."""
    return hose_off - hose_on - vacuum


@sum_of(
    name="injector-flow",
    gives="cc/min",
    inputs={"flow": "cc/min", "pressure_before": "kPa", "pressure_after": "kPa"},
    formula="flow after = flow * sqrt(pressure_after / pressure_before)",
    ranges={"flow": (0, 5000), "pressure_before": (1, 2000), "pressure_after": (0, 2000)},
    valid="pressures across the injector, not rail gauge readings",
    source=BERNOULLI,
)
def injector_flow(flow: float, pressure_before: float, pressure_after: float) -> float:
    """Flow of an injector at another pressure."""
    return flow * sqrt(pressure_after / pressure_before)


@sum_of(
    name="pressure-for-flow",
    gives="kPa",
    inputs={"pressure": "kPa", "flow_before": "cc/min", "flow_after": "cc/min"},
    formula="pressure after = pressure * (flow_after / flow_before) ^ 2",
    ranges={"pressure": (0, 2000), "flow_before": (0.1, 5000), "flow_after": (0, 5000)},
    valid="pressures across the injector, not rail gauge readings",
    source=BERNOULLI,
)
def pressure_for_flow(pressure: float, flow_before: float, flow_after: float) -> float:
    """Pressure that would change an injector's flow by so much."""
    return float(pressure * (flow_after / flow_before) ** 2)


@sum_of(
    name="orifice-flow",
    gives="cc/min",
    inputs={"diameter": "mm", "discharge": "", "density": "kg/m3", "pressure": "kPa"},
    formula=(
        "area = pi / 4 * (diameter / 1000) ^ 2\n"
        "speed = sqrt(2 * pressure * 1000 / density)\n"
        "flow = discharge * area * speed * 60 * 1000000"
    ),
    ranges={
        "diameter": (0.01, 20),
        "discharge": (0.1, 1),
        "density": (500, 1100),
        "pressure": (0, 2000),
    },
    valid="one steady jet of liquid; the coefficient of discharge must be known",
    source="derived: Q = Cd A sqrt(2 dp / rho) (Bernoulli)",
)
def orifice_flow(diameter: float, discharge: float, density: float, pressure: float) -> float:
    """Flow through a round hole, such as a jet or an injector held open."""
    area = pi / 4 * (diameter / 1000) ** 2
    return discharge * area * sqrt(2 * pressure * 1000 / density) * 60e6


@sum_of(
    name="mixture-shift",
    gives="%",
    inputs={"pressure_before": "kPa", "pressure_after": "kPa"},
    formula="change of fuel = 100 * (sqrt(pressure_after / pressure_before) - 1)",
    ranges={"pressure_before": (1, 2000), "pressure_after": (0, 2000)},
    valid="the same injection time; pressures across the injector, not rail gauge readings",
    source=BERNOULLI,
)
def mixture_shift(pressure_before: float, pressure_after: float) -> float:
    """How much more fuel a change of pressure brings, below nought when less."""
    return 100 * (sqrt(pressure_after / pressure_before) - 1)


@sum_of(
    name="lambda-after-pressure",
    gives="",
    inputs={"lambda_before": "", "pressure_before": "kPa", "pressure_after": "kPa"},
    formula="lambda after = lambda_before * sqrt(pressure_before / pressure_after)",
    ranges={
        "lambda_before": (0.5, 2),
        "pressure_before": (1, 2000),
        "pressure_after": (1, 2000),
    },
    valid="the same air and injection time, no trim at work; pressures across the injector",
    source=BERNOULLI,
)
def lambda_after_pressure(
    lambda_before: float, pressure_before: float, pressure_after: float
) -> float:
    """Lambda once the pressure across the injector has changed."""
    return lambda_before * sqrt(pressure_before / pressure_after)


@sum_of(
    name="delivery",
    gives="L/min",
    inputs={"volume": "L", "time": "s"},
    formula="delivery = volume / time * 60",
    ranges={"volume": (0, 20), "time": (1, 600)},
    source="arithmetic",
)
def delivery(volume: float, time: float) -> float:
    """Delivery of a pump, from what ran into the measure and how long it took."""
    return volume / time * 60


@sum_of(
    name="injector-duty",
    gives="%",
    inputs={"pulse": "ms", "speed": "rpm", "pulses_per_cycle": ""},
    formula="duty = 100 * pulse * pulses_per_cycle / (120000 / speed)",
    ranges={"pulse": (0, 100), "speed": (1, 10000), "pulses_per_cycle": (1, 4)},
    valid="four-stroke engines; above 100 % the injector never shuts",
    source="derived: one working cycle is two turns",
)
def injector_duty(pulse: float, speed: float, pulses_per_cycle: float = 1.0) -> float:
    """Share of the time an injector is open."""
    return 100 * pulse * pulses_per_cycle / (120000 / speed)


@sum_of(
    name="stoichiometric-ratio",
    gives="",
    inputs={"hydrogen": "", "oxygen": ""},
    formula=(
        "air = (1 + hydrogen / 4 - oxygen / 2) / 0.20946 * 28.964\n"
        "fuel = 12.011 + 1.008 * hydrogen + 15.999 * oxygen\n"
        "ratio = air / fuel"
    ),
    ranges={"hydrogen": (0, 4), "oxygen": (0, 1)},
    valid="fuels of carbon, hydrogen and oxygen only, as atoms per atom of carbon",
    source="derived: complete combustion; air of 28.964 g/mol with 20.946 % oxygen",
)
def stoichiometric_ratio(hydrogen: float, oxygen: float = 0.0) -> float:
    """Air for the complete combustion of a fuel, by mass, from its atoms."""
    air = (1 + hydrogen / 4 - oxygen / 2) / OXYGEN_IN_AIR * AIR_MASS
    need(air > 0, "stoichiometric-ratio: a fuel with so much oxygen would need no air.")
    return air / (12.011 + 1.008 * hydrogen + 15.999 * oxygen)


@sum_of(
    name="blend-ratio",
    gives="",
    inputs={
        "ethanol": "%",
        "petrol_ratio": "",
        "ethanol_ratio": "",
        "petrol_density": "kg/m3",
        "ethanol_density": "kg/m3",
    },
    formula=(
        "alcohol = ethanol / 100 * ethanol_density\n"
        "petrol = (1 - ethanol / 100) * petrol_density\n"
        "ratio = (alcohol * ethanol_ratio + petrol * petrol_ratio) / (alcohol + petrol)"
    ),
    ranges={
        "ethanol": (0, 100),
        "petrol_ratio": (13, 16),
        "ethanol_ratio": (8, 10),
        "petrol_density": (680, 800),
        "ethanol_density": (770, 810),
    },
    valid="blends of petrol and ethanol, the share of ethanol by volume",
    source=(
        "derived by mass from 14.7 and 9.0, fuel properties of the US alternative fuels data "
        "centre (second-hand), and densities of 745 and 789 kg/m3"
    ),
)
def blend_ratio(
    ethanol: float,
    petrol_ratio: float = 14.7,
    ethanol_ratio: float = 9.0,
    petrol_density: float = 745.0,
    ethanol_density: float = 789.0,
) -> float:
    """Air for the complete combustion of petrol with ethanol in it, by mass."""
    alcohol = ethanol / 100 * ethanol_density
    petrol = (1 - ethanol / 100) * petrol_density
    return (alcohol * ethanol_ratio + petrol * petrol_ratio) / (alcohol + petrol)
