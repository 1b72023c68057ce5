"""Units: the table, the conversions against other libraries, and pint unloaded until needed."""

import math
import subprocess
import sys

import pint
import pytest
import scipy.constants as constants
from hypothesis import given
from hypothesis import strategies as st

from faulttree.trade import measures
from faulttree.trade.measures import (
    UnitError,
    canonical,
    convert,
    convert_difference,
    kind,
    known,
    of_kind,
    same_kind,
    spellings,
    suggest,
    units,
)

UNITS = units()
FINITE = st.floats(min_value=-1e9, max_value=1e9)
UNIT = st.sampled_from(UNITS)

# Our spelling, and the same unit in pint's own definitions, which are not used by the project.
IN_PINTS_OWN_WORDS = {
    "psi": "psi",
    "kPa": "kilopascal",
    "bar": "bar",
    "mbar": "millibar",
    "Pa": "pascal",
    "inHg": "inch_Hg",
    "mmHg": "millimeter_Hg",
    "rpm": "revolution / minute",
    "deg/s": "degree / second",
    "degC": "degC",
    "degF": "degF",
    "K": "kelvin",
    "ohm": "ohm",
    "kohm": "kiloohm",
    "V": "volt",
    "mV": "millivolt",
    "kV": "kilovolt",
    "A": "ampere",
    "mA": "milliampere",
    "ms": "millisecond",
    "s": "second",
    "min": "minute",
    "h": "hour",
    "mm": "millimeter",
    "cm": "centimeter",
    "m": "meter",
    "km": "kilometer",
    "in": "inch",
    "thou": "thou",
    "ft": "foot",
    "mile": "mile",
    "km/h": "kilometer / hour",
    "mph": "mile / hour",
    "L": "liter",
    "cc": "cubic_centimeter",
    "US gal": "gallon",
    "UK gal": "imperial_gallon",
    "L/min": "liter / minute",
    "cc/min": "cubic_centimeter / minute",
    "g/s": "gram / second",
    "kg/h": "kilogram / hour",
    "%": "percent",
    "ppm": "ppm",
    "N m": "newton * meter",
    "lbf ft": "force_pound * foot",
    "W": "watt",
    "kW": "kilowatt",
    "hp": "horsepower",
    "metric hp": "metric_horsepower",
    "ohm/m": "ohm / meter",
    "kohm/m": "kiloohm / meter",
}
# Nothing to compare these with: each is the only unit of its kind.
ALONE = {"deg", "", "kg/m3"}

PINTS_OWN = pint.UnitRegistry(cache_folder=None)


def test_every_unit_is_compared_or_alone():
    """No unit with a fellow of its kind goes without a comparison."""
    assert set(IN_PINTS_OWN_WORDS) | ALONE == set(UNITS)
    assert all(of_kind(unit) == (unit,) for unit in ALONE)


@pytest.mark.parametrize("unit", sorted(IN_PINTS_OWN_WORDS))
def test_factors_agree_with_pints_own_definitions(unit: str):
    """Turning 12.5 of a unit into each of its kind gives what pint's own definitions give."""
    for other in of_kind(unit):
        theirs = PINTS_OWN.Quantity(12.5, IN_PINTS_OWN_WORDS[unit])
        expected = theirs.to(IN_PINTS_OWN_WORDS[other]).magnitude
        assert convert(12.5, unit, other) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("unit", "base", "factor"),
    [
        ("psi", "Pa", constants.psi),
        ("bar", "Pa", constants.bar),
        ("in", "m", constants.inch),
        ("ft", "m", constants.foot),
        ("mile", "m", constants.mile),
        ("thou", "m", constants.mil),
        ("km/h", "mph", constants.kmh / constants.mph),
        ("US gal", "L", constants.gallon / constants.liter),
        ("UK gal", "L", constants.gallon_imp / constants.liter),
        ("hp", "W", constants.hp),
        ("lbf ft", "N m", constants.lbf * constants.foot),
        ("min", "s", constants.minute),
        ("h", "s", constants.hour),
    ],
)
def test_factors_agree_with_scipy(unit: str, base: str, factor: float):
    """The factors are those of scipy's table of physical constants (CODATA, NIST)."""
    assert convert(1.0, unit, base) == pytest.approx(factor, rel=1e-12)


@pytest.mark.parametrize("celsius", [-40.0, -10.0, 0.0, 20.0, 37.0, 90.0, 110.0])
def test_temperatures_agree_with_scipy(celsius: float):
    """Temperatures are turned with their offset."""
    for unit, scale in (("degF", "F"), ("K", "K")):
        expected = constants.convert_temperature(celsius, "C", scale)
        assert convert(celsius, "degC", unit) == pytest.approx(expected, abs=1e-9)


def test_temperature_differences_have_no_offset():
    """Nine degrees Fahrenheit more are five degrees Celsius more, and five kelvins more."""
    assert convert_difference(9.0, "degF", "degC") == pytest.approx(5.0, rel=1e-12)
    assert convert_difference(9.0, "degF", "K") == pytest.approx(5.0, rel=1e-12)
    assert convert_difference(5.0, "K", "degF") == pytest.approx(9.0, rel=1e-12)
    assert convert_difference(2.0, "bar", "kPa") == pytest.approx(200.0, rel=1e-12)


@given(FINITE, UNIT, st.data())
def test_there_and_back(value: float, unit: str, data: st.DataObject):
    """A value turned into another unit of its kind and back is the value."""
    other = data.draw(st.sampled_from(of_kind(unit)))
    there = convert(value, unit, other)
    # A temperature near nought loses digits to the offset of its scale, never more than this.
    assert convert(there, other, unit) == pytest.approx(value, rel=1e-9, abs=1e-9)


@given(FINITE, FINITE, UNIT, st.data())
def test_order_is_kept(low: float, high: float, unit: str, data: st.DataObject):
    """The greater of two values stays the greater, or equal, in any unit."""
    other = data.draw(st.sampled_from(of_kind(unit)))
    low, high = sorted((low, high))
    assert convert(low, unit, other) <= convert(high, unit, other)


@given(FINITE, FINITE, UNIT, st.data())
def test_a_difference_is_the_difference_of_two_values(
    first: float, second: float, unit: str, data: st.DataObject
):
    """Turning a difference gives the difference of the two values turned."""
    other = data.draw(st.sampled_from(of_kind(unit)))
    expected = convert(first, unit, other) - convert(second, unit, other)
    scale = max(abs(convert(x, unit, other)) for x in (first, second))
    found = convert_difference(first - second, unit, other)
    assert found == pytest.approx(expected, abs=1e-9 * (1 + scale))


@given(UNIT, UNIT)
def test_kinds_and_conversions_agree(one: str, other: str):
    """Units convert exactly when the table says that they measure the same kind of thing."""
    if same_kind(one, other):
        assert math.isfinite(convert(1.0, one, other))
    else:
        with pytest.raises(UnitError, match="is wanted"):
            convert(1.0, one, other)


def test_the_definitions_keep_kinds_apart():
    """Pint's own dimensions, from units.txt, part the units exactly as the table does."""
    registry = measures._registry()
    dimension = {
        unit: registry.get_dimensionality(entry.definition)
        for unit, entry in measures._UNITS.items()
    }
    for one in UNITS:
        for other in UNITS:
            assert (dimension[one] == dimension[other]) == same_kind(one, other), (one, other)


def test_no_spelling_belongs_to_two_units():
    """Every spelling, folded, is claimed by one unit only."""
    claims: dict[str, set[str]] = {}
    for unit in UNITS:
        for spelling in (unit, *spellings(unit)):
            claims.setdefault(measures._folded(spelling), set()).add(unit)
    assert {s: c for s, c in claims.items() if len(c) > 1} == {}


@pytest.mark.parametrize(
    ("typed", "unit"),
    [
        ("°C", "degC"),
        ("C", "degC"),
        ("° C", "degC"),
        ("kpa", "kPa"),
        ("KPA", "kPa"),
        ("PSI", "psi"),
        ("Ω", "ohm"),
        ("\N{OHM SIGN}", "ohm"),
        ("kΩ", "kohm"),
        ('"Hg', "inHg"),
        ("inhg", "inHg"),
        ("in Hg", "inHg"),
        ("in. Hg", "inHg"),
        ("1/min", "rpm"),
        ("rpm", "rpm"),
        ("RPM", "rpm"),
        ("Nm", "N m"),
        ("lb ft", "lbf ft"),
        ("kmh", "km/h"),
        ("l", "L"),
        ("cylinders", ""),
        ("percent", "%"),
    ],
)
def test_usual_spellings(typed: str, unit: str):
    """The spellings people use are understood."""
    assert canonical(typed) == unit
    assert known(typed)


@pytest.mark.parametrize(
    "typed", ["psii", "metre**9", "psi*1e9", "__import__", "[psi]", "p s i x", "kelvin + 1", "ρ"]
)
def test_what_is_no_unit_is_refused(typed: str):
    """A unit is looked up and never worked out, so an expression is simply not known."""
    assert not known(typed)
    with pytest.raises(UnitError, match="is not a unit of the trade"):
        canonical(typed)
    with pytest.raises(UnitError, match="is not a unit of the trade"):
        convert(1.0, typed, "psi")


@pytest.mark.parametrize(("typed", "unit"), [("psii", "psi"), ("rmp", "rpm"), ("Ohmns", "ohm")])
def test_the_nearest_unit_is_suggested(typed: str, unit: str):
    """A slip of the finger is met with the unit that was meant."""
    assert suggest(typed) == unit
    with pytest.raises(UnitError, match=f"Did you mean {unit}"):
        kind(typed)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_only_finite_values_convert(value: float):
    """What is no number is refused, in its own unit as well."""
    for to in ("psi", "kPa"):
        with pytest.raises(UnitError, match="finite"):
            convert(value, "psi", to)


def test_overflow_is_refused():
    """A value that the other unit cannot hold is an error, not an infinity."""
    with pytest.raises(UnitError, match="too large"):
        convert(1e308, "bar", "Pa")


def test_pint_is_loaded_by_a_conversion_and_by_nothing_before():
    """Looking units up, and a conversion that changes nothing, leave pint and numpy unloaded."""
    script = (
        "import sys\n"
        "from faulttree.trade import units, sums, patterns\n"
        "units.known('psi'); units.suggest('psii'); units.same_kind('psi', 'kPa')\n"
        "units.convert(1.0, 'psi', 'PSI'); units.parse_list('1, 2 psi', 'psi')\n"
        "sums.get('lowest-share').work({'values': [1.0, 2.0]}, 'psi')\n"
        "print(sorted({'pint', 'numpy', 'textual', 'pydantic', 'networkx'} & set(sys.modules)))\n"
        "units.convert(1.0, 'psi', 'kPa')\n"
        "print('pint' in sys.modules)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    assert done.stdout.split("\n")[:2] == ["[]", "True"]


def test_definitions_can_be_loaded_ahead():
    """A screen may have the definitions loaded while nobody waits."""
    script = (
        "import sys\n"
        "from faulttree.trade import units\n"
        "units.prepare()\n"
        "print('pint' in sys.modules, units.convert(1.0, 'bar', 'kPa'))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    assert done.stdout.split() == ["True", "100.0"]


def test_the_trade_imports_nothing_of_the_project_but_itself():
    """Units, sums and patterns stand at the bottom of the list of imports."""
    script = (
        "import sys\n"
        "from faulttree.trade import units, sums, patterns, workings\n"
        "print([m for m in sys.modules if m.startswith('faulttree.') "
        "and not m.startswith('faulttree.trade')])\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"
