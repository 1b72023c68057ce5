"""The rule that an instrument must be fine enough for the limits it is to judge.

Where a sum stands between what is read and what is judged, or cylinders are compared, the accuracy
of the instrument is carried through: each number is moved by its accuracy at a typical reading, and
what that does to the figure is added up as the root of the sum of squares (JCGM 100:2008, 5.1.2
and 5.1.3, note 2). How readings are weighed in a session is left to the scorer.
"""

import itertools
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from faulttree.trade import sums, units
from faulttree.trade.registry import EACH_CYLINDER, NOT_UNITS
from faulttree.tree.car import Car, SpecUnknown, instrument_for, limits_for
from faulttree.tree.model import Knowledge, Part, Pattern, Reading, SpecLimit, Test
from faulttree.tree.problem import Problem
from faulttree.tree.rules.table import Checked, rule

BEST_RATIO = 4.0
"""The tolerance should be four times the accuracy of the instrument: the rule of calibration
practice, as in ANSI/NCSL Z540-1 (1994), from memory."""

_SHARES = 2, 5, 8
"""Tenths of what is possible at which a comparison of even readings must come out alike."""

Figure = Callable[[Sequence[float]], float]
"""What is judged, as a function of the numbers that are entered, in their own units."""


@dataclass(frozen=True, slots=True)
class Judged:
    """How finely a figure is known, and how finely it is judged, both in the figure's unit.

    `reading` holds the numbers of the typical reading; `moves` says by how much the accuracy of
    each of them moves the figure, with the part that the number is. `tolerance` is the way from
    the middle of the expected band to its limit, `span` the band in words.
    """

    tolerance: float
    reading: tuple[float, ...]
    moves: tuple[tuple[Part, float], ...]
    span: str

    @property
    def doubt(self) -> float:
        """How far the figure may be out: the root of the sum of the squares of the moves."""
        return math.hypot(*(move for _, move in self.moves))

    @property
    def worst(self) -> tuple[Part, bool]:
        """The number that the figure owes most of its doubt to, and whether it stands out."""
        part, most = max(self.moves, key=lambda one: one[1])
        others = [move for other, move in self.moves if other.name != part.name]
        return part, bool(others) and max(others) < 0.9 * most


@rule(
    "instrument-coarse",
    "warning",
    "take a finer instrument, or widen the limits if the engine allows it",
)
def instrument_coarse(checked: Checked, knowledge: Knowledge) -> Iterator[Problem]:
    """An instrument should be four times finer than the tolerance it is to judge.

    The ratio is the way from the middle of the expected band to its limit, to the accuracy of what
    is judged. Below four to one, many readings lie so near a limit that they speak for both sides;
    the program then counts them for less, and the test is worth less than its minutes. Take a finer
    instrument, or wider limits if the engine allows them. The figure of four to one is that of
    calibration practice (ANSI/NCSL Z540-1, from memory).

    Where `take` makes one figure of several numbers, the accuracy of each is carried through the
    sum at a typical reading and added up as the root of the sum of squares, as the Guide to the
    expression of uncertainty in measurement says (JCGM 100:2008, 5.1.2 and 5.1.3, note 2). The
    typical reading is the middle of what is `possible`, with one number moved so that the figure
    lies in the middle of its band. Patterns compare a cylinder with the highest or the mean: their
    tolerance is the way from even cylinders to the limit, and the reading is one cylinder at that
    limit. So it is with a sum that only compares numbers and has a limit on one side. Other tests
    with a limit on one side have no tolerance to compare with. Numbers are taken to err each by
    itself, as in a session: what two readings of one gauge have in common is not taken off.

    Bad:

    ```yaml
    tests:
      fuel-pressure-prime:
        reading: {unit: psi, accuracy: 2}
        bands: [low, 32, in limits, 40, high]
    ```

    Good:

    ```yaml
    tests:
      fuel-pressure-prime:
        reading: {unit: psi, accuracy: 1}
        bands: [low, 32, in limits, 40, high]
    ```
    """
    for test in knowledge.tests.values():
        for name, car in checked.cars_for(test.fits):
            judged = judge(test, car, knowledge)
            if judged is None or judged.doubt <= 0:
                continue
            ratio = judged.tolerance / judged.doubt
            if ratio < BEST_RATIO - 1e-9:
                whose = f" for {name}" if any(map(_depends, test.limits)) else ""
                yield _problem(checked, test, judged, ratio, whose)
                break


def _problem(checked: Checked, test: Test, judged: Judged, ratio: float, whose: str) -> Problem:
    item = checked.shelf.tests[test.id]
    worst, stands_out = judged.worst
    key = "accuracy" if worst.accuracy is not None else "with"
    written = item.raw["reading"].get(key)
    within = (worst.name,) if isinstance(written, dict) else ()
    wanted = f"the ratio is {ratio:.1f} to 1 and four to one is wanted"
    if len(judged.moves) == 1:
        move = judged.moves[0][1]
        message = f"{_in_unit(move, test)} is too coarse for `{test.expect}`, {judged.span}{whose}"
        hint = f"{wanted}: take a finer instrument, or widen the limits if the engine allows it"
    else:
        message = (
            f"readings of this accuracy give the figure to {_in_unit(judged.doubt, test, 2)}, "
            f"too coarse for `{test.expect}`, {judged.span}{whose}"
        )
        finer = f"read `{worst.name}` more finely first" if stands_out else "read more finely"
        hint = f"{wanted}: {finer}, or widen the limits if the engine allows it"
    return Problem(item.place("reading", key, *within), message, hint)


def _depends(limit: float | SpecLimit) -> bool:
    return isinstance(limit, SpecLimit)


def _in_unit(value: float, test: Test, digits: int = 4) -> str:
    if test.kind == "pattern":
        return f"{units.plain(100 * value, digits)} %"
    unit = test.reading.figure_unit if test.reading else ""
    return f"{units.plain(value, digits)} {unit}".rstrip()


def judge(test: Test, car: Car, knowledge: Knowledge) -> Judged | None:
    """How finely a test is read and judged on a car; None where there is no tolerance to judge."""
    reading = test.reading
    if reading is None:
        return None
    if test.pattern is not None:
        return _judge_pattern(reading, test.pattern, car, knowledge)
    try:
        limits = limits_for(test, car, knowledge)
        at = test.bands.index(test.expect)
        low = limits[at - 1] if at > 0 else -math.inf
        high = limits[at] if at < len(limits) else math.inf
        if reading.take is None:
            tolerance, span = (high - low) / 2.0, _span(low, high, test)
            part = reading.parts[0]
            moves = ((part, _accuracy(part, car, knowledge)),)
            return Judged(tolerance, (), moves, span) if math.isfinite(tolerance) else None
        return _judge_sum(test, reading, (low, high), car, knowledge)
    except (SpecUnknown, sums.SumError, units.UnitError):
        return None  # nothing to judge by on this car, or no reading that the sum is good for


def _judge_sum(
    test: Test, reading: Reading, band: tuple[float, float], car: Car, knowledge: Knowledge
) -> Judged | None:
    parts = reading.parts * (car.cylinders if reading.per_cylinder else 1)
    if any(part.possible is None for part in parts):
        return None  # the rule `possible-missing` says so
    figure = _figure(reading, car)
    low, high = band
    middle = [_middle(part) for part in parts]
    if math.isfinite(low) and math.isfinite(high):
        tolerance = (high - low) / 2.0
        typical = _moved(figure, middle, parts, (low + high) / 2.0, reading.per_cylinder)
    else:
        even = _even(figure, parts)
        nominal = figure(even) if even else math.nan
        if not low < nominal < high:
            return None
        # There one number decides; where all are even, the lowest and the highest are not settled.
        limit = high if math.isfinite(high) else low
        tolerance = abs(limit - nominal)
        typical = _moved(figure, even or middle, parts, limit, together=False)
    if typical is None:
        return None
    moves = _moves(figure, typical, parts, car, knowledge)
    return Judged(tolerance, tuple(typical), moves, _span(low, high, test))


def _judge_pattern(
    reading: Reading, pattern: Pattern, car: Car, knowledge: Knowledge
) -> Judged | None:
    """A pattern as the share that one cylinder has of the reference, at its nearer limit."""
    part = reading.parts[0]
    if part.possible is None or sum(part.possible) <= 0:
        return None
    level = sum(part.possible) / 2.0
    shares = [pattern.low_below, *filter(None, [pattern.high_above])]
    share = min(shares, key=lambda one: abs(1.0 - one))
    values = [share * level, *[level] * (car.cylinders - 1)]

    def figure(numbers: Sequence[float]) -> float:
        # The highest is one other cylinder: that two are equal is an accident of the example.
        mean = math.fsum(numbers) / len(numbers)
        return numbers[0] / (numbers[-1] if pattern.of == "highest" else mean)

    moves = _moves(figure, values, (part,) * len(values), car, knowledge)
    bounds = [f"{units.plain(100 * one)} %" for one in shares]
    span = " to ".join(bounds) if len(bounds) > 1 else f"from {bounds[0]}"
    return Judged(abs(1.0 - share), tuple(values), moves, f"{span} of the {pattern.of}")


def _span(low: float, high: float, test: Test) -> str:
    if math.isinf(low):
        return f"up to {_in_unit(high, test)}"
    if math.isinf(high):
        return f"from {_in_unit(low, test)}"
    return f"{_in_unit(low, test)} to {_in_unit(high, test)}"


def _figure(reading: Reading, car: Car) -> Figure:
    """The sum of a reading, as a function of the numbers in their own units."""
    chosen = sums.get(reading.take or "")
    free = [name for name in chosen.inputs if name not in reading.given]
    if reading.per_cylinder:
        free = [name for name in free if chosen.inputs[name] == EACH_CYLINDER]
    # A number without a name of its own is the sum's first.
    names = [part.name if part.name in free else free[0] for part in reading.parts]
    own = {name: part.unit for name, part in zip(names, reading.parts, strict=True)}
    declared = {name: chosen.inputs[name] for name in reading.given}
    plain = {name: "" if unit in NOT_UNITS else unit for name, unit in declared.items()}
    wanted, _ = chosen.units_for({**own, **plain})
    given = {name: _given(value, wanted.get(name), car) for name, value in reading.given.items()}

    def figure(numbers: Sequence[float]) -> float:
        if reading.per_cylinder:
            row = [units.convert(n, own[names[0]], wanted[names[0]]) for n in numbers]
            return chosen.apply({names[0]: row, **given})
        values = {
            name: units.convert(number, own[name], wanted[name])
            for name, number in zip(names, numbers, strict=True)
        }
        return chosen.apply({**values, **given})

    return figure


def _given(value: float | str, unit: str | None, car: Car) -> sums.Input:
    if not isinstance(value, str):
        return value
    known = car.specs.get(value)
    if known is None:
        raise SpecUnknown(value, value)
    if isinstance(known.value, tuple):
        return known.value
    number = car.number(value, unit)
    if number is None:
        raise SpecUnknown(value, value)
    return number


def _middle(part: Part, tenths: float = 5) -> float:
    """A place within what is possible for a number."""
    assert part.possible is not None
    low, high = part.possible
    return low + (high - low) * tenths / 10


def _moved(
    figure: Figure,
    start: Sequence[float],
    parts: Sequence[Part],
    wanted: float,
    together: bool,
) -> list[float] | None:
    """A reading with the first number, or all together, moved until the figure is as wanted.

    Where the first cannot bring it there, the next is tried. None where none can.
    """
    for at, part in enumerate(parts[:1] if together else parts):

        def moved(value: float, at: int = at) -> list[float]:
            if together:
                return [value] * len(start)
            return [*start[:at], value, *start[at + 1 :]]

        def off(value: float, moved: Callable[[float], list[float]] = moved) -> float:
            return _or_nan(figure, moved(value)) - wanted

        found = _where(off, part)
        if found is not None:
            return moved(found)
    return None


def _where(off: Callable[[float], float], part: Part) -> float | None:
    """Where a function of one number crosses nought within what is possible, by halving."""
    places = [_middle(part, tenths) for tenths in range(11)]
    for low, high in itertools.pairwise(places):
        sign = off(low)
        if sign * off(high) <= 0:  # it is not where one of them is not a number
            for _ in range(60):
                half = (low + high) / 2.0
                low, high = (half, high) if off(half) * sign > 0 else (low, half)
            return high
    return None


def _or_nan(figure: Figure, numbers: Sequence[float]) -> float:
    """The figure, or not a number where the sum is not good for these."""
    try:
        return figure(numbers)
    except (sums.SumError, units.UnitError):
        return math.nan


def _even(figure: Figure, parts: Sequence[Part]) -> list[float] | None:
    """Even numbers in the middle of what is possible, if the figure only compares them."""
    ranges = [part.possible for part in parts if part.possible is not None]
    if len(parts) < 2 or len({part.unit for part in parts}) > 1:
        return None
    low, high = max(one[0] for one in ranges), min(one[1] for one in ranges)
    if low >= high:
        return None
    shared = Part("", "", possible=(low, high))
    levels = [_middle(shared, tenths) for tenths in _SHARES]
    figures = [figure([level] * len(parts)) for level in levels]
    if max(figures) - min(figures) > 1e-9 * max(1.0, *map(abs, figures)):
        return None
    return [levels[1]] * len(parts)


def _moves(
    figure: Figure, values: Sequence[float], parts: Sequence[Part], car: Car, knowledge: Knowledge
) -> tuple[tuple[Part, float], ...]:
    """By how much the accuracy of each number moves the figure: half the way from down to up."""
    moves = []
    for at, part in enumerate(parts):
        accuracy = _accuracy(part, car, knowledge)
        ends = [
            _or_nan(figure, [*values[:at], values[at] + step, *values[at + 1 :]])
            for step in (accuracy, -accuracy)
        ]
        moves.append((part, abs(ends[0] - ends[1]) / 2.0))
    return tuple(moves)


def _accuracy(part: Part, car: Car, knowledge: Knowledge) -> float:
    if part.accuracy is not None:
        return part.accuracy
    instrument = instrument_for(part.instrument or "", car, knowledge)
    return units.convert_difference(instrument.accuracy, instrument.unit, part.unit)
