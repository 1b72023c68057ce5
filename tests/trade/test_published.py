"""The sums and units give the figures that stand outside the project, and not those of known slips.

The ids show source and status: `pytest -rA tests/trade/test_published.py` lists them.
"""

import math

import pytest

from faulttree.trade.exhaust import lambda_four_gas
from faulttree.trade.measures import convert
from faulttree.trade.registry import SumError
from faulttree.trade.sums import SUMS, get

from .published import ATMOSPHERE_TABLE, LAMBDA_CASES, PUBLISHED, Published


@pytest.mark.parametrize("figure", [pytest.param(p, id=p.id) for p in PUBLISHED])
def test_published_figure(figure: Published):
    """The sum gives the published figure to its last digit."""
    assert figure.result() == pytest.approx(figure.expected, rel=0, abs=figure.tolerance)


def test_every_sum_has_an_outside_figure():
    """No sum goes without a figure to hold it against."""
    assert set(SUMS) - {figure.what for figure in PUBLISHED} == set()


def _row(what: str, **inputs: float) -> Published:
    """The published row for these inputs."""
    return next(p for p in PUBLISHED if p.what == what and inputs.items() <= p.inputs.items())


def test_hydrocarbons_need_the_factor_six():
    """Leaving the six carbon atoms of hexane out of HC is off by far more than the tolerance."""
    co, co2, o2, hc, right, _ = LAMBDA_CASES[-1]
    slip = lambda_four_gas(co, co2, o2, hc / 6)
    row = _row("lambda-four-gas", hc=hc)
    assert row.expected == right
    assert slip == pytest.approx(1.1556, abs=5e-5)
    assert abs(slip - row.expected) > 100 * row.tolerance


def test_hydrocarbons_as_hexane_not_as_propane_or_twelvefold():
    """The variant that doubles HC for an infra-red reading is another figure, not ours."""
    co, co2, o2, hc, right, _ = LAMBDA_CASES[-1]
    assert abs(lambda_four_gas(co, co2, o2, 2 * hc) - right) > 0.01


def test_mercury_is_the_conventional_one():
    """Mercury at 60 degF would make 18 inHg 60.783 kPa (NIST SP 811); the conventional is used."""
    assert convert(18, "inHg", "kPa") == pytest.approx(60.955, abs=5e-4)
    assert abs(convert(18, "inHg", "kPa") - 60.783) > 0.1


@pytest.mark.parametrize(("altitude", "geometric"), [(1500.0, 84.5597), (3000.0, 70.1211)])
def test_altitude_column_is_the_geopotential_one(altitude: float, geometric: float):
    """The geometric column of ISO 2533 is told apart from the geopotential one that is used."""
    row = _row("standard-pressure", altitude=altitude)
    assert abs(row.result() - geometric) > 10 * row.tolerance


def test_vacuum_at_altitude_is_not_scaled():
    """Scaling by the pressure ratio, 16.69 inHg, is the wrong model for a throttled idle."""
    there = convert(
        get("vacuum-at-altitude").apply({"vacuum": 20 * 3.386389, "altitude": 1500.0}),
        "kPa",
        "inHg",
    )
    scaled = 20 * ATMOSPHERE_TABLE[3][2] / 1013.25
    assert scaled == pytest.approx(16.69, abs=0.005)
    assert abs(there - scaled) > 1.5


def test_power_correction_outside_its_validity_is_refused():
    """ISO 1585 at 950 mbar and 35 degC comes to 1.0718, past its own limit of 1.07."""
    with pytest.raises(SumError, match=r"1\.0718.*0\.93 to 1\.07"):
        get("power-correction-iso1585").apply({"dry_pressure": 95.0, "air_temperature": 35.0})


def test_revolutions_per_kilometre():
    """A 205/55 R16 tyre turns 503.73 times a kilometre by its geometry."""
    diameter = get("tyre-diameter").apply({"width": 205.0, "aspect": 55.0, "rim": 16.0})
    circumference = get("tyre-circumference").apply({"diameter": diameter, "factor": math.pi})
    assert 1000 / circumference == pytest.approx(503.73, abs=0.005)


@pytest.mark.parametrize(("circumference", "mph"), [(1.98517, 22.79), (1.92729, 22.12)])
def test_miles_an_hour_per_1000(circumference: float, mph: float):
    """The speed per 1000 rpm in mph is that in km/h by the mile of NIST SP 811."""
    speed = get("speed-per-1000").apply(
        {"circumference": circumference, "final_drive": 4.06, "gear": 0.8}
    )
    assert convert(speed, "km/h", "mph") == pytest.approx(mph, abs=0.005)


def test_gauge_shows_the_regulated_pressure_in_psi():
    """A referenced 300 kPa regulator at 18 inHg shows 34.67 psi."""
    shown = get("rail-expected").apply({"set_pressure": 300.0, "vacuum": 18 * 3.386389})
    assert convert(shown, "kPa", "psi") == pytest.approx(34.67, abs=0.005)
