"""All sums of the trade by name: for a tree's `take:`, for the screen and for the command line.

The sums stand in the modules imported here, one for each system of the car; `registry` says what a
sum is. `read_inputs` turns typed text into the inputs of a sum.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType

from faulttree.trade import (  # noqa: F401  importing a module enters its sums
    air,
    comparing,
    cylinders,
    electrics,
    exhaust,
    fuel,
    ignition,
    road,
    socket_data,
)
from faulttree.trade.measures import canonical, convert
from faulttree.trade.registry import (
    BANKS,
    EACH_CYLINDER,
    EACH_POINT,
    ENTERED,
    FIRING_ORDER,
    NOT_UNITS,
    Input,
    Sum,
    SumError,
    Working,
    sum_of,
)
from faulttree.trade.typed import parse_list, parse_quantity
from faulttree.trade.words import did_you_mean, quoted

SUMS: Mapping[str, Sum] = MappingProxyType(ENTERED)


def get(name: str) -> Sum:
    """The sum of this name. Raises SumError with the nearest name when there is none."""
    found = SUMS.get(name)
    if found is None:
        raise SumError(f"There is no sum called {quoted(name)}.{did_you_mean(name, SUMS)}")
    return found


def read_inputs(chosen: Sum, texts: Mapping[str, str]) -> tuple[dict[str, Input], str]:
    """The inputs of a sum from typed text, in its units, and the unit its free readings share.

    Readings may carry a unit (`rail` as `43.5 psi`), lists too; banks are written `1,2,3; 4,5,6`
    and a firing order `1-3-4-2`. Raises SumError for inputs the sum does not have or lacks,
    and ReadingError or UnitError for text that cannot be read.
    """
    # Only the sum can say which inputs there are; every one is checked again by `units_for`.
    for name in texts:
        if name not in chosen.inputs:
            chosen.units_for({name: ""})
    read: dict[str, Input] = {}
    stated: dict[str, str] = {}
    for name, text in texts.items():
        declared = chosen.inputs[name]
        if declared == BANKS:
            read[name] = tuple(_cylinder_numbers(bank) for bank in text.split(";"))
        elif declared == FIRING_ORDER:
            read[name] = _cylinder_numbers(text)
        elif declared in (EACH_CYLINDER, EACH_POINT):
            stated[name] = _typed_unit(text)
            read[name] = parse_list(text, stated[name]).values
        else:
            unit = _typed_unit(text) if declared in NOT_UNITS else declared
            quantity = parse_quantity(text, unit, chosen.ranges.get(name))
            stated[name] = quantity.unit
            read[name] = quantity.value
    # A reading without a unit is meant in the unit of its fellows.
    fellows = [n for n in stated if chosen.inputs[n] in NOT_UNITS]
    common = next((stated[n] for n in fellows if stated[n]), "")
    for name in fellows:
        stated[name] = stated[name] or common
    units, _ = chosen.units_for({**dict.fromkeys(read, ""), **stated})
    for name, unit in stated.items():
        value = read[name]
        if isinstance(value, int | float):
            read[name] = convert(value, unit, units[name])
        elif isinstance(value, tuple):
            read[name] = tuple(
                convert(item, unit, units[name]) for item in value if isinstance(item, int | float)
            )
    return read, next((units[n] for n in fellows), "")


_LAST_NUMBER = re.compile(r".*[0-9][.,]?\s*(?=[^0-9\s.,;]|$)", re.DOTALL)


def _typed_unit(text: str) -> str:
    """The unit at the end of a text, for readings that may have any; nothing when there is none."""
    found = _LAST_NUMBER.match(text)
    rest = text[found.end() :].strip() if found else ""
    return canonical(rest) if rest else ""


def _cylinder_numbers(text: str) -> tuple[int, ...]:
    numbers = re.split(r"[\s,\-]+", text.strip())
    if len(text) > 100 or not all(re.fullmatch(r"[0-9]{1,2}", number) for number in numbers):
        raise SumError(f"{quoted(text)} is not a list of cylinders. Write it like 1-3-4-2.")
    return tuple(int(number) for number in numbers)


__all__ = [
    "BANKS",
    "EACH_CYLINDER",
    "EACH_POINT",
    "FIRING_ORDER",
    "NOT_UNITS",
    "SUMS",
    "Input",
    "Sum",
    "SumError",
    "Working",
    "get",
    "read_inputs",
    "sum_of",
]
