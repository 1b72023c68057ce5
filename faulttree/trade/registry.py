"""How a sum of the trade is entered, looked up, checked and shown line by line.

The sums themselves stand in the modules beside this one, one module for each system of the car;
`sums` gathers them. A sum is a plain typed function of numbers in the units it declares; turning
readings into those units is left to the caller (`Sum.units_for` says which they are).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import wraps
from math import isfinite
from typing import Any, Literal, ParamSpec

from faulttree.trade.measures import canonical, known, same_kind
from faulttree.trade.words import did_you_mean, plain, quoted

SAME = "same"
"""In place of a unit: whatever unit the readings have, alike for all inputs that say so."""

EACH_CYLINDER = "each cylinder"
"""In place of a unit: a list with one reading for each cylinder, all in one unit."""

EACH_POINT = "each point"
"""In place of a unit: a list with one number for each correction point, in the readings' unit."""

BANKS = "banks"
"""In place of a unit: lists of cylinder numbers, in the order they stand in each bank."""

FIRING_ORDER = "firing order"
"""In place of a unit: a list of cylinder numbers."""

NOT_UNITS = frozenset({SAME, EACH_CYLINDER, EACH_POINT, BANKS, FIRING_ORDER})

Input = float | Sequence[float] | Sequence[Sequence[int]] | None

P = ParamSpec("P")


class SumError(ValueError):
    """An unknown sum, an input it does not have, or one outside what it is good for."""


@dataclass(frozen=True, slots=True)
class Working:
    """A sum worked out: the result, its unit, and the lines that show how it came about."""

    result: float
    unit: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Sum:
    """One sum of the trade.

    `inputs` gives the unit of every input, or one of the words above; `optional` the default of
    those that may be left out. `gives` is the unit of the result, or `same`. `formula` is the
    arithmetic, one `name = expression` a line, in the names of the inputs; where arithmetic does
    not say it, it is a sentence, and `arithmetic` is False. `ranges` are the limits of validity
    that are checked; `valid` says them, and the others, in words.
    """

    name: str
    about: str
    inputs: Mapping[str, str]
    optional: Mapping[str, Input]
    gives: str
    formula: str
    arithmetic: bool
    valid: str
    source: str
    kind: Literal["values", "named"]
    function: Callable[..., float]
    ranges: Mapping[str, tuple[float, float]] = field(default_factory=dict)

    def units_for(self, given: Mapping[str, str]) -> tuple[dict[str, str], str]:
        """The units to convert inputs to, and the unit of the result.

        `given` holds the unit each reading is taken in, by the name of the input; a list of
        readings, one per cylinder, goes by `values`. Raises SumError for inputs the sum does not
        have, lacks, or cannot convert.
        """
        self._refuse_names(given)
        wanted: dict[str, str] = {}
        alike = ""
        first = ""
        for name, unit in given.items():
            declared = self.inputs[name]
            if declared in (BANKS, FIRING_ORDER):
                continue
            if declared in NOT_UNITS:
                if not first and known(unit):
                    first, alike = name, canonical(unit)
                declared = alike
            if not known(unit) or not same_kind(unit, declared):
                wants = declared or "a number without a unit"
                if first:
                    wants += f", as {first} is,"
                raise SumError(
                    f"{self.name}: {name} is given in {quoted(unit)}, but must be in {wants} "
                    "or a unit that converts to it."
                )
            wanted[name] = declared
        return wanted, alike if self.gives == SAME else self.gives

    def apply(self, inputs: Mapping[str, Input]) -> float:
        """The result for inputs in the declared units.

        Raises SumError for inputs that are missing, unknown, not finite or out of range.
        """
        self._refuse_names(inputs)
        return self.function(**inputs)

    def work(self, inputs: Mapping[str, Input], unit: str = "") -> Working:
        """The result with its working, line by line; `unit` is that of readings that may have any.

        Raises SumError as `apply` does.
        """
        # Formulas are parsed only when somebody wants to see one.
        from faulttree.trade.workings import lines_of

        result = self.apply(inputs)
        given = {**self.optional, **inputs}
        shown = {name: given[name] for name in self.inputs}
        gives = unit if self.gives == SAME else self.gives
        return Working(result, gives, tuple(lines_of(self, shown, unit, result, gives)))

    def _refuse_names(self, inputs: Iterable[str]) -> None:
        names = list(inputs)
        for name in names:
            if name not in self.inputs:
                raise SumError(
                    f"{self.name} has no input {quoted(name)}.{did_you_mean(name, self.inputs)} "
                    f"It takes: {', '.join(self.inputs)}."
                )
        missing = [n for n in self.inputs if n not in names and n not in self.optional]
        if missing:
            raise SumError(f"{self.name} still needs: {', '.join(missing)}.")


ENTERED: dict[str, Sum] = {}
"""Every sum entered so far, by name; `sums.SUMS` is the face of it once all modules are in."""


def sum_of(
    *,
    name: str,
    gives: str,
    inputs: Mapping[str, str],
    source: str,
    formula: str = "",
    rule: str = "",
    valid: str = "",
    ranges: Mapping[str, tuple[float, float]] | None = None,
) -> Callable[[Callable[P, float]], Callable[P, float]]:
    """Enter a function as a sum of the trade; it is checked against `ranges` from then on.

    Give `formula` where arithmetic says it all (it can then be worked line by line), else `rule`, a
    sentence. The first line of the docstring says what the sum is for.
    """

    def enter(function: Callable[P, float]) -> Callable[P, float]:
        limits = dict(ranges or {})
        code = function.__code__
        names = code.co_varnames[: code.co_argcount + code.co_kwonlyargcount]
        if set(names) != set(inputs) or not set(limits) <= set(inputs) or name in ENTERED:
            raise TypeError(f"sum {name}: its inputs, ranges and name do not fit its function")
        for unit in (gives, *inputs.values()):
            if unit not in NOT_UNITS:
                canonical(unit)

        @wraps(function)
        def checked(*args: P.args, **kwargs: P.kwargs) -> float:
            for parameter, value in (*zip(names, args, strict=False), *kwargs.items()):
                _refuse_outside(name, parameter, value, inputs[parameter], limits.get(parameter))
            result = function(*args, **kwargs)
            if not isfinite(result):
                raise SumError(f"{name}: these inputs give no finite result: check every one.")
            return result

        in_words = [
            f"{parameter} {plain(low)} to {plain(high)} {_unit_word(inputs[parameter])}".rstrip()
            for parameter, (low, high) in limits.items()
        ]
        first = function.__defaults__ or ()
        ENTERED[name] = Sum(
            name=name,
            about=(function.__doc__ or "").strip().partition("\n")[0],
            inputs=dict(inputs),
            optional=dict(zip(names[len(names) - len(first) :], first, strict=True)),
            gives=gives,
            formula=formula or rule,
            arithmetic=bool(formula),
            valid="; ".join(filter(None, [valid, *in_words])) or "any finite values",
            source=source,
            kind="values" if EACH_CYLINDER in inputs.values() else "named",
            function=checked,
            ranges=limits,
        )
        return checked

    return enter


def need(holds: bool, sentence: str) -> None:
    """Raise SumError with this sentence unless the condition holds."""
    if not holds:
        raise SumError(sentence)


def _unit_word(unit: str) -> str:
    return "" if unit in NOT_UNITS else unit


def _refuse_outside(
    name: str, parameter: str, value: Any, unit: str, limits: tuple[float, float] | None
) -> None:
    """Refuse what is no finite number, or lies outside the limits; lists item by item."""
    if value is None or unit in (BANKS, FIRING_ORDER):
        return
    low, high = limits or (float("-inf"), float("inf"))
    single = isinstance(value, int | float)
    for place, number in enumerate([value] if single else value, start=1):
        which = parameter if single else f"{parameter}, place {place},"
        if not isfinite(number):
            raise SumError(f"{name}: {which} is {number}, which is not a number: read it again.")
        if not low <= number <= high:
            raise SumError(
                f"{name}: {which} is {plain(number)} {_unit_word(unit)}".rstrip()
                + f", but the sum holds from {plain(low)} to {plain(high)}"
                + f" {_unit_word(unit)}".rstrip()
                + ". Check the reading and its unit."
            )
