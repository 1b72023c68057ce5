"""Rules for figures: limits that can be read and that rise, what is possible, cylinders."""

import itertools
from collections.abc import Iterator

from faulttree.trade import units
from faulttree.tree.car import Car, SpecUnknown, limits_for
from faulttree.tree.model import Knowledge, Part, SpecLimit, Test
from faulttree.tree.problem import Problem
from faulttree.tree.rules.table import Checked, rule


def _limits(test: Test, car: Car, knowledge: Knowledge) -> tuple[float, ...]:
    """The limits of a test for a car; none where they are not known."""
    if test.kind != "number":
        return ()
    try:
        return limits_for(test, car, knowledge)
    except SpecUnknown:
        return ()


def _with_unit(value: float, test: Test) -> str:
    unit = test.reading.figure_unit if test.reading else ""
    return f"{units.plain(value, 4)} {unit}".rstrip()


@rule(
    "limits-cross",
    "error",
    "check the spec values of that car and their units, or write the limits from one spec alone",
)
def limits_cross(checked: Checked, knowledge: Knowledge) -> Iterator[Problem]:
    """Limits must rise for every car, also where they depend on it.

    Limits that rest on two specs, or on a spec and a number, can cross when a car's own values are
    put in. A band between them could then never be read on that car.

    Bad:

    ```yaml
    tests:
      fuel-pressure-prime: {bands: [low, {spec: fuel_pressure, less: 4}, in limits, 30, high]}
    ```

    Good:

    ```yaml
    tests:
      fuel-pressure-prime: {bands: [low, {spec: fuel_pressure, less: 4}, in limits, 90, high]}
    ```
    """
    for test in knowledge.tests.values():
        for name, car in checked.cars_for(test.fits):
            limits = _limits(test, car, knowledge)
            falls = [at for at in range(1, len(limits)) if limits[at] <= limits[at - 1]]
            if falls:
                at = falls[0]
                place = checked.shelf.tests[test.id].place("bands", 2 * at + 1)
                message = (
                    f"for {name} this limit, {_with_unit(limits[at], test)}, does not rise above"
                    f" {_with_unit(limits[at - 1], test)} before it"
                )
                yield Problem(place, message)
                break


@rule("limit-not-possible", "warning", "mend the limit, or `possible`, or the unit of one of them")
def limit_not_possible(checked: Checked, knowledge: Knowledge) -> Iterator[Problem]:
    """A limit should lie within what can be read.

    Outside the reading's `possible` range, one of the bands beside the limit can never be read.
    Either the limit or the range is wrong, or they are in different units.

    Bad:

    ```yaml
    tests:
      fuel-pressure-prime:
        reading: {possible: [0, 120]}
        bands: [low, 250, in limits, 400, high]
    ```

    Good:

    ```yaml
    tests:
      fuel-pressure-prime:
        reading: {possible: [0, 120]}
        bands: [low, 36, in limits, 58, high]
    ```
    """
    for test in knowledge.tests.values():
        part = _only_part(test)
        if part is None or part.possible is None:
            continue
        low, high = part.possible
        reported: set[int] = set()
        for name, car in checked.cars_for(test.fits):
            for at, limit in enumerate(_limits(test, car, knowledge)):
                if low < limit < high or at in reported:
                    continue
                reported.add(at)
                place = checked.shelf.tests[test.id].place("bands", 2 * at + 1)
                whose = f" for {name}" if isinstance(test.limits[at], SpecLimit) else ""
                message = f"this limit is {_with_unit(limit, test)}{whose}"
                span = f"{_with_unit(low, test)} to {_with_unit(high, test)}"
                hint = f"{span} can be read: mend the limit, `possible`, or the unit of one of them"
                yield Problem(place, message, hint)


@rule(
    "possible-missing",
    "note",
    "write `possible: [lowest, highest]`, so that a slip or a wrong unit is caught when typed",
)
def possible_missing(checked: Checked, knowledge: Knowledge) -> Iterator[Problem]:
    """A reading should say what is possible.

    With the lowest and the highest value that can be read at all, a slip of the finger or a wrong
    unit is caught as it is typed, and a comma can be told from a decimal point.

    Bad:

    ```yaml
    tests:
      battery-rest-volts:
        reading: {unit: V, accuracy: 0.1}
        bands: [low, 12.4, in limits]
        expect: in limits
    ```

    Good:

    ```yaml
    tests:
      battery-rest-volts:
        reading: {unit: V, accuracy: 0.1, possible: [0, 16]}
        bands: [low, 12.4, in limits]
        expect: in limits
    ```
    """
    for test in knowledge.tests.values():
        if test.reading is None:
            continue
        for part in test.reading.parts:
            if part.possible is None:
                place = checked.shelf.tests[test.id].place("reading", "possible", key=True)
                which = "the reading" if len(test.reading.parts) == 1 else f"`{part.name}`"
                yield Problem(place, f"`{test.id}` does not say what is possible for {which}")


def _only_part(test: Test) -> Part | None:
    """The number that is banded as it is read, without a sum."""
    reading = test.reading
    if test.kind != "number" or reading is None or reading.take is not None:
        return None
    return reading.parts[0]


@rule(
    "vehicle-cylinders",
    "error",
    "write it as the engine has it: neighbouring cylinders are told by it",
)
def vehicle_cylinders(checked: Checked, knowledge: Knowledge) -> Iterator[Problem]:
    """A car's firing order and banks must hold each of its cylinders once.

    Neighbours and cross-firing leads are worked out from them.

    Bad:

    ```yaml
    format: 1
    vehicle: Saloon, four cylinders
    specs: {cylinders: 4, firing_order: [1, 5, 3, 6, 2, 4]}
    ```

    Good:

    ```yaml
    format: 1
    vehicle: Saloon, four cylinders
    specs: {cylinders: 4, firing_order: [1, 3, 4, 2]}
    ```
    """
    for vehicle in knowledge.vehicles.values():
        number = vehicle.specs.get("cylinders")
        if not isinstance(number, float):
            continue
        wanted = list(range(1, int(number) + 1))
        for name in ("firing_order", "banks"):
            value = vehicle.specs.get(name)
            if not isinstance(value, tuple):
                continue
            rows = [row if isinstance(row, tuple) else (row,) for row in value]
            if sorted(itertools.chain.from_iterable(rows)) != wanted:
                place = checked.shelf.vehicles[vehicle.id].place("specs", name)
                held = list(itertools.chain.from_iterable(rows))
                missing = [str(one) for one in wanted if one not in held]
                extra = [str(one) for one in held if one not in wanted]
                wrong = [f"{', '.join(missing)} missing"] if missing else []
                wrong += [f"{', '.join(extra)} too many"] if extra else []
                message = (
                    f"`{name}` must hold the cylinders 1 to {len(wanted)}, each once: "
                    f"{' and '.join(wrong)}"
                )
                yield Problem(place, message)
