"""Units of the trade: which there are, how people spell them, and turning one into another.

`typed` reads what people type, and `units` is the face of both; this module knows only units.
The factors come from pint and the definitions in units.txt. Pint is imported at the first real
conversion and not before: that costs about a fifth of a second, and a reading in its own unit
needs none. A unit name as typed is looked up in the table below and never handed to pint, whose
parser evaluates expressions.
"""

from __future__ import annotations

from functools import lru_cache
from math import isfinite
from typing import TYPE_CHECKING, Any, NamedTuple

from faulttree.trade.words import nearest, plain, quoted

if TYPE_CHECKING:
    import pint


class UnitError(ValueError):
    """A unit that is not known, or that does not fit the one it should be turned into."""


class _Unit(NamedTuple):
    """One unit: what it measures, its name in units.txt, and other spellings of it."""

    kind: str
    definition: str
    spellings: tuple[str, ...]


# The key is the spelling used in files and on screen. Spellings are matched without regard to
# capitals and spaces; no two units may share one (a test holds that).
_UNITS: dict[str, _Unit] = {
    "psi": _Unit(
        "pressure",
        "pound_per_square_inch",
        ("psig", "lb/in2", "lb/in²", "lbf/in2", "lbf/in²", "lb/sq in", "pounds per square inch"),
    ),
    "kPa": _Unit("pressure", "kilopascal", ("kilopascal", "kilopascals", "kN/m2", "kN/m²")),
    "bar": _Unit("pressure", "bar", ("bars", "barg")),
    "mbar": _Unit("pressure", "millibar", ("millibar", "millibars", "hPa")),
    "Pa": _Unit("pressure", "pascal", ("pascal", "pascals", "N/m2", "N/m²")),
    "inHg": _Unit(
        "pressure",
        "inch_of_mercury",
        ('"Hg', "in. Hg", "ins Hg", "inch Hg", "inches Hg", "inches of mercury", "″Hg", "”Hg"),
    ),
    "mmHg": _Unit("pressure", "millimetre_of_mercury", ("millimetres of mercury",)),
    "rpm": _Unit(
        "engine speed",
        "revolution_per_minute",
        ("1/min", "/min", "min-1", "min^-1", "min⁻¹", "r/min", "rev/min", "revs/min", "revs"),
    ),
    "deg/s": _Unit("engine speed", "degree_per_second", ("°/s", "degrees/s", "degrees per second")),
    "deg": _Unit("angle", "degree", ("°", "degree", "degrees", "degs")),
    "degC": _Unit(
        "temperature",
        "degree_celsius",
        ("°C", "ºC", "℃", "C", "celsius", "centigrade", "degrees C", "degrees celsius"),
    ),
    "degF": _Unit(
        "temperature",
        "degree_fahrenheit",
        ("°F", "ºF", "℉", "F", "fahrenheit", "degrees F", "degrees fahrenheit"),
    ),
    "K": _Unit("temperature", "kelvin", ("kelvin", "kelvins")),
    "ohm": _Unit("resistance", "ohm", ("Ω", "\N{OHM SIGN}", "ohms")),
    "kohm": _Unit(
        "resistance",
        "kiloohm",
        ("kΩ", "k\N{OHM SIGN}", "kohms", "kiloohm", "kiloohms", "kilohm", "kilohms"),
    ),
    "V": _Unit("voltage", "volt", ("volt", "volts", "v dc", "vdc")),
    "mV": _Unit("voltage", "millivolt", ("millivolt", "millivolts")),
    "kV": _Unit("voltage", "kilovolt", ("kilovolt", "kilovolts")),
    "A": _Unit("current", "ampere", ("amp", "amps", "ampere", "amperes")),
    "mA": _Unit("current", "milliampere", ("milliamp", "milliamps")),
    "ms": _Unit("time", "millisecond", ("msec", "millisecond", "milliseconds")),
    "s": _Unit("time", "second", ("sec", "secs", "second", "seconds")),
    "min": _Unit("time", "minute", ("mins", "minute", "minutes")),
    "h": _Unit("time", "hour", ("hr", "hrs", "hour", "hours")),
    "mm": _Unit("length", "millimetre", ("millimetre", "millimetres", "millimeter")),
    "cm": _Unit("length", "centimetre", ("centimetre", "centimetres", "centimeter")),
    "m": _Unit("length", "metre", ("metre", "metres", "meter", "meters")),
    "km": _Unit("length", "kilometre", ("kilometre", "kilometres", "kilometer")),
    "in": _Unit("length", "inch", ('"', "″", "”", "inch", "inches", "ins")),
    "thou": _Unit("length", "thousandth_of_an_inch", ("thousandths", "thousandth", "thous")),
    "ft": _Unit("length", "foot", ("foot", "feet")),
    "mile": _Unit("length", "mile", ("miles", "mi")),
    "km/h": _Unit("road speed", "kilometre_per_hour", ("kmh", "kph", "km/hr")),
    "mph": _Unit("road speed", "mile_per_hour", ("mile/h", "miles/h", "mi/h", "miles per hour")),
    "L": _Unit("volume", "litre", ("litre", "litres", "liter", "liters", "ltr")),
    "cc": _Unit("volume", "cubic_centimetre", ("cm3", "cm³", "ccm", "ml")),
    "US gal": _Unit("volume", "us_gallon", ("US gallon", "US gallons")),
    "UK gal": _Unit("volume", "uk_gallon", ("UK gallon", "UK gallons", "imperial gallon")),
    "L/min": _Unit("flow", "litre_per_minute", ("litre/min", "litres/min", "lpm")),
    "cc/min": _Unit("flow", "cubic_centimetre_per_minute", ("cm3/min", "cm³/min", "ml/min")),
    "g/s": _Unit("mass flow", "gram_per_second", ("gm/s", "g/sec", "grams/s")),
    "kg/h": _Unit("mass flow", "kilogram_per_hour", ("kg/hr",)),
    "kg/m3": _Unit("density", "kilogram_per_cubic_metre", ("kg/m³", "g/L")),
    "%": _Unit("share", "percent", ("percent", "per cent", "pct", "vol-%", "vol%", "% vol")),
    "ppm": _Unit("share", "part_per_million", ("ppm vol", "vol ppm", "parts per million")),
    "": _Unit(
        "a plain number", "plain_number", ("no unit", "none", "cylinder", "cylinders", "cyl")
    ),
    "N m": _Unit("torque", "newton_metre", ("N·m", "N-m", "N*m", "newton metres")),
    "lbf ft": _Unit(
        "torque",
        "pound_force_foot",
        ("lb ft", "lb-ft", "lbf-ft", "lbf·ft", "ft lb", "ft-lb", "ft lbf", "ft-lbf", "foot pounds"),
    ),
    "kW": _Unit("power", "kilowatt", ("kilowatt", "kilowatts")),
    "W": _Unit("power", "watt", ("watt", "watts")),
    "hp": _Unit("power", "horsepower", ("bhp", "horsepower")),
    "metric hp": _Unit("power", "metric_horsepower", ("PS", "cv", "metric horsepower")),
    "ohm/m": _Unit("resistance per length", "ohm_per_metre", ("Ω/m", "ohms/m", "ohm per metre")),
    "kohm/m": _Unit(
        "resistance per length", "kiloohm_per_metre", ("kΩ/m", "kohms/m", "kohm per metre")
    ),
}


def _folded(spelling: str) -> str:
    """A spelling without capitals and spaces, so that `in Hg`, `INHG` and `inHg` are one."""
    return "".join(spelling.split()).casefold()


_SPELLINGS: dict[str, str] = {
    _folded(spelling): unit
    for unit, entry in _UNITS.items()
    for spelling in (unit, *entry.spellings)
}

# Short forms that mean something only beside a reading of a certain kind: `12 k` at a plug lead.
_SHORT_FORMS: dict[str, dict[str, str]] = {
    "resistance": {"k": "kohm", "r": "ohm"},
}


def units() -> tuple[str, ...]:
    """All units, in the spelling used in files and on screen; the plain number is `""`."""
    return tuple(_UNITS)


def spellings(unit: str) -> tuple[str, ...]:
    """The other spellings of a unit that are understood."""
    return _UNITS[canonical(unit)].spellings


def known(unit: str) -> bool:
    """Whether this is a unit of the trade, in any of its spellings."""
    return unit in _UNITS or _folded(unit) in _SPELLINGS


def suggest(unit: str) -> str | None:
    """The unit whose spelling is nearest to what was written, or None."""
    near = nearest(_folded(unit), _SPELLINGS)
    return None if near is None else _SPELLINGS[near]


def canonical(unit: str) -> str:
    """The one spelling of a unit that files and screens use.

    Raises UnitError when it is not a unit of the trade.
    """
    if unit in _UNITS:
        return unit
    found = _SPELLINGS.get(_folded(unit))
    if found is None:
        near = suggest(unit)
        hint = f" Did you mean {near}?" if near else f" Units: {', '.join(filter(None, _UNITS))}."
        raise UnitError(f"{quoted(unit)} is not a unit of the trade.{hint}")
    return found


def beside(unit: str, reading_unit: str) -> str:
    """The unit meant by what was typed beside a reading that is wanted in `reading_unit`.

    Takes short forms that the reading's kind makes plain: `k` and `R` for a resistance, a bare
    degree sign for a temperature.
    """
    own = canonical(reading_unit)
    short = _folded(unit)
    if kind(own) == "temperature" and _SPELLINGS.get(short) == "deg":
        return own
    return _SHORT_FORMS.get(kind(own), {}).get(short) or canonical(unit)


def kind(unit: str) -> str:
    """What a unit measures, in a word: `pressure`, `engine speed`, `a plain number`..."""
    return _UNITS[canonical(unit)].kind


def same_kind(a: str, b: str) -> bool:
    """Whether two units measure the same kind of thing, so that one can be turned into the other.

    Raises UnitError when one of them is not known.
    """
    return kind(a) == kind(b)


def of_kind(unit: str) -> tuple[str, ...]:
    """All units that measure the same kind of thing as this one."""
    wanted = kind(unit)
    return tuple(name for name, entry in _UNITS.items() if entry.kind == wanted)


def convert(value: float, from_unit: str, to_unit: str) -> float:
    """Turn a value into another unit; temperatures by their offset as well.

    Raises UnitError when a unit is not known, the units measure different things, or the value
    is not a finite number. Source: NIST SP 811 (2008), appendix B, by way of units.txt.
    """
    return _convert(value, from_unit, to_unit, "")


def convert_difference(value: float, from_unit: str, to_unit: str) -> float:
    """Turn a difference of two values into another unit: 9 degF more are 5 degC more.

    Differs from `convert` for temperatures alone; the errors are the same.
    """
    return _convert(value, from_unit, to_unit, "delta_")


def prepare() -> None:
    """Load the definitions now, so that the first conversion does not make anyone wait."""
    _registry()


def _convert(value: float, from_unit: str, to_unit: str, prefix: str) -> float:
    if not isfinite(value):
        raise UnitError(f"{value} {from_unit} is not a finite number and cannot be converted.")
    source, target = canonical(from_unit), canonical(to_unit)
    if source == target:
        return value
    _refuse_unlike(source, target)
    # Only the scales with an offset have a separate unit for differences.
    have, want = (
        (prefix if unit in ("degC", "degF") else "") + _UNITS[unit].definition
        for unit in (source, target)
    )
    result = float(_registry().convert(float(value), have, want))
    if not isfinite(result):
        raise UnitError(f"{plain(value)} {source} is too large to be given in {target}.")
    return result


def _refuse_unlike(source: str, target: str) -> None:
    has, wants = kind(source), kind(target)
    if has != wants:
        choice = ", ".join(filter(None, of_kind(target)))
        raise UnitError(
            f"{source or 'A number without a unit'} is for {has}, but {wants} is wanted: "
            + (f"give it in one of {choice}." if choice else "give it without a unit.")
        )


@lru_cache(maxsize=1)
def _registry() -> pint.UnitRegistry[Any]:
    # Costs 150 to 250 ms on a 2-core machine, nearly all of it pint's and numpy's import.
    from importlib.resources import files

    import pint

    registry: pint.UnitRegistry[Any] = pint.UnitRegistry(None, cache_folder=None)
    lines = files("faulttree.trade").joinpath("units.txt").read_text(encoding="utf-8")
    registry.load_definitions(lines.splitlines())
    return registry
