"""The rule that an instrument must be fine enough for the limits it is to judge.

Where a sum stands between what is read and what is judged, or cylinders are compared, the accuracy
of the instrument is carried through: each number is moved by its accuracy at a typical reading
(`figure.moves`), and what that does to the figure is added up as the root of the sum of squares
(JCGM 100:2008, 5.1.2). How readings are weighed in a session is left to the scorer.
"""

import itertools
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from faulttree.trade import sums, units
from faulttree.tree.car import Car, SpecUnknown, limits_for
from faulttree.tree.figure import Figure, Numbers, accuracy_of, figure_of, moves
from faulttree.tree.model import Knowledge, Part, Pattern, Reading, SpecLimit, Test
from faulttree.tree.problem import Problem
from faulttree.tree.rules.table import Checked, rule

BEST_RATIO = 4.0
"""The tolerance should be four times the accuracy of the instrument: the rule of calibration
practice, as in ANSI/NCSL Z540-1 (1994), from memory."""

_SHARES = 2, 5, 8
"""Tenths of what is possible at which a comparison of even readings must come out alike."""

InARow = Callable[[Sequence[float]], float]
"""What is judged, as a function of all numbers that are read, one after the other."""


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
            doubt = ((part, accuracy_of(part, car, knowledge)),)
            return Judged(tolerance, (), doubt, span) if math.isfinite(tolerance) else None
        return _judge_sum(test, reading, (low, high), car, knowledge)
    except (SpecUnknown, sums.SumError, units.UnitError):
        return None  # nothing to judge by on this car, or no reading that the sum is good for


def _judge_sum(
    test: Test, reading: Reading, band: tuple[float, float], car: Car, knowledge: Knowledge
) -> Judged | None:
    parts = reading.parts * (car.cylinders if reading.per_cylinder else 1)
    if any(part.possible is None for part in parts):
        return None  # the rule `possible-missing` says so
    figure_from = figure_of(reading, car, knowledge)

    def figure(row: Sequence[float]) -> float:
        return figure_from(_by_part(reading, row))

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
    doubt = _moves_of(figure_from, reading, typical, car, knowledge)
    return Judged(tolerance, tuple(typical), doubt, _span(low, high, test))


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

    def figure(numbers: Numbers) -> float:
        # The highest is one other cylinder: that two are equal is an accident of the example.
        row = numbers[part.name]
        return row[0] / (row[-1] if pattern.of == "highest" else math.fsum(row) / len(row))

    doubt = _moves_of(figure, reading, values, car, knowledge)
    bounds = [f"{units.plain(100 * one)} %" for one in shares]
    span = " to ".join(bounds) if len(bounds) > 1 else f"from {bounds[0]}"
    return Judged(abs(1.0 - share), tuple(values), doubt, f"{span} of the {pattern.of}")


def _span(low: float, high: float, test: Test) -> str:
    if math.isinf(low):
        return f"up to {_in_unit(high, test)}"
    if math.isinf(high):
        return f"from {_in_unit(low, test)}"
    return f"{_in_unit(low, test)} to {_in_unit(high, test)}"


def _by_part(reading: Reading, row: Sequence[float]) -> Numbers:
    """Numbers in a row, by the parts that they are read for."""
    if reading.per_cylinder:
        return {reading.parts[0].name: row}
    return {part.name: (number,) for part, number in zip(reading.parts, row, strict=True)}


def _moves_of(
    figure: Figure, reading: Reading, row: Sequence[float], car: Car, knowledge: Knowledge
) -> tuple[tuple[Part, float], ...]:
    """By how much the accuracy of each number moves the figure, with the part that it is."""
    parts = {part.name: part for part in reading.parts}
    steps = {name: accuracy_of(part, car, knowledge) for name, part in parts.items()}
    found = moves(figure, _by_part(reading, row), steps)
    return tuple((parts[name], move) for name, move in found)


def _middle(part: Part, tenths: float = 5) -> float:
    """A place within what is possible for a number."""
    assert part.possible is not None
    low, high = part.possible
    return low + (high - low) * tenths / 10


def _moved(
    figure: InARow,
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


def _or_nan(figure: InARow, numbers: Sequence[float]) -> float:
    """The figure, or not a number where the sum is not good for these."""
    try:
        return figure(numbers)
    except (sums.SumError, units.UnitError):
        return math.nan


def _even(figure: InARow, parts: Sequence[Part]) -> list[float] | None:
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
