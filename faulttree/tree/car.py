"""What is known about the car in the bay: its spec values, and what then applies to it.

The maker's figure, typed or from the vehicle's file, always wins over a generic default, and each
value remembers where it came from, because the screen and the handover say which was used.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

from faulttree.trade import units
from faulttree.tree.model import Instrument, Knowledge, Limit, Spec, SpecLimit, Test, Value

CYLINDERS = "cylinders"
"""The spec that says how many readings a test of every cylinder takes."""

Origin = Literal["typed", "vehicle", "generic"]


def as_word(value: object) -> str:
    """A value as the word that `fits` and `when` compare: four cylinders are `4`, not `4.0`."""
    return f"{value:g}" if isinstance(value, float) else str(value)


class SpecUnknown(LookupError):
    """A limit needs a spec value that nobody has given and that has no generic default."""

    def __init__(self, spec: str, name: str) -> None:
        super().__init__(f"{name} is not known for this car: look it up and type it in")
        self.spec = spec


@dataclass(frozen=True, slots=True)
class Known:
    """A spec value for this car, its unit ("" for a count, choice or list) and its origin."""

    value: Value
    unit: str
    origin: Origin
    source: str = ""
    out_of: tuple[str, ...] = ()
    """The specs that a sum worked it out of; the origin is then that of the poorest of them."""


@dataclass(frozen=True, slots=True)
class Car:
    """The car as far as it is known: every spec that has a value, and instrument corrections."""

    name: str = ""
    specs: Mapping[str, Known] = field(default_factory=dict)
    corrections: Mapping[str, tuple[tuple[float, float], ...]] = field(default_factory=dict)

    def choice(self, spec: str) -> str | None:
        """The value of a choice spec as a word, or None when it is unknown."""
        known = self.specs.get(spec)
        return None if known is None else as_word(known.value)

    def number(self, spec: str, unit: str | None = None) -> float | None:
        """The value of a number spec, in `unit` if one is given, or None when it is unknown."""
        known = self.specs.get(spec)
        if known is None or not isinstance(known.value, int | float):
            return None
        if unit is None or unit == known.unit or not known.unit:
            return float(known.value)
        return units.convert(float(known.value), known.unit, unit)

    @property
    def cylinders(self) -> int:
        """How many cylinders: as known, or as the firing order says, or four."""
        number = self.number(CYLINDERS)
        if number is not None:
            return int(number)
        order = self.firing_order
        return len(order) if order else 4

    @property
    def firing_order(self) -> tuple[int, ...]:
        """The firing order as cylinder numbers, empty when it is unknown."""
        known = self.specs.get("firing_order")
        if known is None or not isinstance(known.value, tuple):
            return ()
        return tuple(int(c) for c in known.value if isinstance(c, int))

    def order(self, firing: bool = False) -> tuple[int, ...]:
        """The cylinders in number order, or in firing order where that is known of all of them."""
        numbers = tuple(range(1, self.cylinders + 1))
        return self.firing_order if firing and self.fires_in_order else numbers

    @property
    def fires_in_order(self) -> bool:
        """Whether the firing order is known, every cylinder once."""
        return sorted(self.firing_order) == list(range(1, self.cylinders + 1))

    @property
    def banks(self) -> tuple[tuple[int, ...], ...]:
        """The cylinders bank by bank, side by side as they stand; one row when unknown."""
        known = self.specs.get("banks")
        if known is not None and isinstance(known.value, tuple):
            banks = tuple(tuple(bank) for bank in known.value if isinstance(bank, tuple))
            if sum(map(len, banks)) == self.cylinders:
                return banks
        return (self.order(),)


def describe_car(
    knowledge: Knowledge, vehicle: str | None = None, typed: Mapping[str, Value] | None = None
) -> Car:
    """What is known of a car: typed values first, then its vehicle file, then generic defaults.

    Generic defaults that depend on other specs, and values that a sum gives, are worked out in the
    order of the specs file.
    Raises KeyError for a vehicle that the knowledge does not hold.
    """
    typed = typed or {}
    own = knowledge.vehicles[vehicle] if vehicle else None
    specs: dict[str, Known] = {}
    for spec in knowledge.specs.values():
        unit = spec.unit or ""
        if spec.id in typed:
            specs[spec.id] = Known(typed[spec.id], unit, "typed")
        elif own and spec.id in own.specs:
            specs[spec.id] = Known(own.specs[spec.id], unit, "vehicle", own.source)
    for spec in knowledge.specs.values():
        if spec.id in specs:
            continue
        unit = spec.unit or ""
        if spec.take is not None:
            worked = _worked_out(spec, specs)
            if worked is not None:
                specs[spec.id] = worked
            continue
        for when, value in spec.defaults:
            if all(key in specs and as_word(specs[key].value) in ok for key, ok in when.items()):
                specs[spec.id] = Known(value, unit, "generic", spec.source)
                break
        else:
            if spec.default is not None:
                specs[spec.id] = Known(spec.default, unit, "generic", spec.source)
    corrections = dict(own.corrections) if own else {}
    return Car(own.name if own else "", specs, corrections)


SURENESS: tuple[Origin, ...] = ("generic", "vehicle", "typed")
"""The origins, the least to be relied on first."""


def _worked_out(spec: Spec, specs: Mapping[str, Known]) -> Known | None:
    """A value that a sum gives, as good as the poorest figure in it; None where it cannot be had.

    It cannot where a figure is unknown or outside what the sum is good for.
    """
    # Only here, because the list of sessions describes no car.
    from faulttree.trade import sums

    chosen = sums.get(spec.take or "")
    origins: list[Origin] = []
    values: dict[str, float | Value] = {}
    units_given = {}
    for name, given in spec.given.items():
        known = specs.get(given) if isinstance(given, str) else None
        if known is not None:
            origins.append(known.origin)
            values[name], units_given[name] = known.value, known.unit
        elif isinstance(given, str):
            return None
        else:
            declared = chosen.inputs[name]
            values[name] = given
            units_given[name] = "" if declared in sums.NOT_UNITS else declared
    wanted, gives = chosen.units_for(units_given)
    for name, value in values.items():
        if isinstance(value, int | float) and name in wanted:
            values[name] = units.convert(float(value), units_given[name], wanted[name])
    try:
        result = chosen.function(**values)
    except sums.SumError:
        return None
    unit = spec.unit or ""
    parts = tuple(given for given in spec.given.values() if isinstance(given, str))
    origin: Origin = min(origins, key=SURENESS.index) if origins else "generic"
    return Known(units.convert(result, gives, unit), unit, origin, spec.source, parts)


def fits(needs: Mapping[str, tuple[str, ...]], car: Car) -> bool:
    """Whether something applies to the car: each need is met, or the car's value is unknown."""
    for spec, allowed in needs.items():
        value = car.choice(spec)
        if value is not None and value not in allowed:
            return False
    return True


def limit_value(limit: Limit, unit: str, car: Car, knowledge: Knowledge) -> float:
    """A limit as a number in `unit` for this car; raises SpecUnknown when it cannot be had."""
    if not isinstance(limit, SpecLimit):
        return limit
    value = car.number(limit.spec, unit)
    if value is None:
        raise SpecUnknown(limit.spec, knowledge.specs[limit.spec].name)
    return value * limit.times + limit.plus


def limits_for(test: Test, car: Car, knowledge: Knowledge) -> tuple[float, ...]:
    """The limits of a number test for this car, in the unit of its bands; may raise SpecUnknown."""
    unit = test.reading.figure_unit if test.reading else ""
    return tuple(limit_value(limit, unit, car, knowledge) for limit in test.limits)


def instrument_for(name: str, car: Car, knowledge: Knowledge) -> Instrument:
    """The instrument, with the corrections that are known for this car in place of its own."""
    own = knowledge.instruments[name]
    points = car.corrections.get(name)
    if points is None:
        return own
    return replace(own, correction=tuple(points))
