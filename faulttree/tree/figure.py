"""From the numbers that are read to the figure that is judged: through a test's sum, on one car.

Readings are weighed with it, and the checker asks with it whether an instrument is fine enough, so
that the two cannot disagree. What the figure is held against is in `car`; how likely each band then
is, is left to the scorer.
"""

import contextlib
import math
import statistics
from collections.abc import Callable, Iterator, Mapping, Sequence

from faulttree.trade import sums, units
from faulttree.tree.car import Car, SpecUnknown, instrument_for
from faulttree.tree.model import Knowledge, Part, Reading

Numbers = Mapping[str, Sequence[float]]
"""What is read, by the name of the part: one number, or one for each cylinder, in its unit."""
Figure = Callable[[Numbers], float]
"""What is judged, as a function of what is read; SumError where the sum is not good for it."""


def figure_of(reading: Reading, car: Car, knowledge: Knowledge) -> Figure:
    """How the figure of a reading comes of its numbers, in the unit that the bands are in.

    Raises SpecUnknown when the sum needs a figure of the car that is not known.
    """
    first = reading.parts[0]
    if reading.take is None:
        return lambda numbers: numbers[first.name][0]
    chosen = sums.get(reading.take)
    names = {part.name: _input_name(reading, part) for part in reading.parts}
    own = {names[part.name]: part.unit for part in reading.parts}
    for name in reading.given:
        declared = chosen.inputs.get(name, "")
        own[name] = first.unit if declared in sums.NOT_UNITS else declared
    wanted, _ = chosen.units_for(own)
    given = {
        name: _given(value, wanted.get(name), car, knowledge)
        for name, value in reading.given.items()
    }

    def figure(numbers: Numbers) -> float:
        inputs = dict(given)
        for part in reading.parts:
            name = names[part.name]
            row = [units.convert(n, part.unit, wanted[name]) for n in numbers[part.name]]
            inputs[name] = row if reading.per_cylinder else row[0]
        return float(chosen.apply(inputs))

    return figure


def _input_name(reading: Reading, part: Part) -> str:
    """What the sum calls a part: its own name; a lone unnamed number is the sum's first input."""
    if reading.per_cylinder:
        return "values"
    inputs = sums.get(reading.take or "").inputs
    return next(iter(inputs)) if part.name == "value" and "value" not in inputs else part.name


def _given(value: float | str, unit: str | None, car: Car, knowledge: Knowledge) -> sums.Input:
    """A further input of a sum: a number as it stands, a list, or a spec in the sum's unit."""
    if not isinstance(value, str):
        return float(value)
    known = car.specs.get(value)
    if known is not None and isinstance(known.value, tuple):
        return known.value
    number = car.number(value, unit)
    if number is None:
        raise SpecUnknown(value, knowledge.specs[value].name)
    return number


def accuracy_of(part: Part, car: Car, knowledge: Knowledge, used: str | None = None) -> float:
    """The half-width that a part is good for, in its own unit, with the instrument `used`."""
    if used is None or used == part.instrument:
        if part.accuracy is not None:
            return part.accuracy
        used = part.instrument
    if used is None:
        return 0.0
    instrument = instrument_for(used, car, knowledge)
    return units.convert_difference(instrument.accuracy, instrument.unit, part.unit)


def moves(
    figure: Figure, numbers: Numbers, steps: Mapping[str, float]
) -> Iterator[tuple[str, float]]:
    """By how much each number moves the figure when it is out by the step of its part.

    Each number is moved up and down (JCGM 100:2008, 5.1.3, note 2, from memory), and the root mean
    square of what that does is taken. Where the figure follows the number in a straight line, that
    is the half of the way from one to the other, as the note has it. Where the figure turns, as the
    smallest of cylinders does that all read alike, half that way would be nought, though an error
    to either side moves the figure. At the end of what a sum is good for (a shorted coil reads
    0 ohm) one side is enough.
    """
    there = figure(numbers)
    for name, step in steps.items():
        row = numbers[name]
        for at, number in enumerate(row):
            squares = []
            for moved in (number + step, number - step):
                with contextlib.suppress(sums.SumError, units.UnitError):
                    shifted = (*row[:at], moved, *row[at + 1 :])
                    squares.append((figure({**numbers, name: shifted}) - there) ** 2)
            yield name, math.sqrt(statistics.fmean(squares)) if squares else 0.0
