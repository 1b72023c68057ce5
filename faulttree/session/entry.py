"""From what somebody typed at a test to an entry that can be weighed, or a reason why not.

How a figure or a list is read is the work of `trade.typed`; this module knows what a test asks for:
one of its choices, one number, one for each cylinder, or several parts by name. Screens with a
field for each part use `parse_part`; a whole line of text goes through `parse_entry`.

A figure outside what a test can read is most often mistyped, but gauges stick and cars surprise:
it is refused once, with the reason, and taken where whoever typed it says so again (`anyway`).
"""

import math
import re
from collections.abc import Mapping

from faulttree.scorer.evidence import Entry
from faulttree.trade.units import ReadingError, parse_list, parse_quantity
from faulttree.trade.words import did_you_mean, plain, quoted
from faulttree.tree.car import Car
from faulttree.tree.model import Part, Spec, Test, Value


def parse_entry(
    test: Test,
    text: str,
    car: Car,
    instruments: Mapping[str, str] | None = None,
    *,
    anyway: bool = False,
) -> Entry:
    """An entry from one line of text.

    A choice by its name; a number with or without its unit (`34`, `34 psi`); one number for each
    cylinder (`150,148,95,151 psi`); several parts by name (`shown=60 degC, true=85 degC`). With
    `anyway`, figures outside what the test can read are taken too. Raises ReadingError with what
    was wrong and what to write instead.
    """
    if test.kind == "choice":
        return Entry(choice=parse_choice(test, text))
    assert test.reading is not None
    parts = test.reading.parts
    if len(parts) == 1:
        found = {parts[0].name: parse_part(test, parts[0], text, car, anyway=anyway)}
    else:
        texts = _by_part(test, text)
        found = {
            part.name: parse_part(test, part, texts[part.name], car, anyway=anyway)
            for part in parts
        }
    return Entry(values=found, instruments=dict(instruments or {}))


def parse_choice(test: Test, text: str) -> str:
    """The choice that is meant: its name, without regard to capitals, hyphens and spaces."""
    wanted = _folded(text)
    for band in test.bands:
        if _folded(band) == wanted:
            return band
    choices = ", ".join(test.bands)
    given = f"{quoted(text)} is not one of the choices" if wanted else "No choice given"
    raise ReadingError(
        f"{given} of {test.name}: {choices}.{did_you_mean(text.strip(), test.bands)}"
    )


def parse_part(
    test: Test, part: Part, text: str, car: Car, *, anyway: bool = False
) -> tuple[float, ...]:
    """The numbers typed for one part of a test, in the part's unit; one, or one per cylinder.

    Raises ReadingError for what is no reading and, unless `anyway`, for what the test cannot read.
    """
    reading = test.reading
    assert reading is not None
    if reading.per_cylinder:
        values = parse_list(text, part.unit, part.possible, car.cylinders).values_in_default
    else:
        values = (parse_quantity(text, part.unit, part.possible).value_in_default,)
    reason = _not_finite(values)
    if not reason and not anyway and (outside := _outside(part, values)):
        reason = f"{outside} Check the figure and its unit."
    if reason:
        raise ReadingError(reason)
    return values


def parse_spec(spec: Spec, text: str, *, anyway: bool = False) -> Value:
    """A spec's value from what was typed: a choice, a number with or without its unit, or a list.

    A list holds cylinder numbers (`1-3-4-2`), or banks of them parted by a stroke
    (`1 2 3 4 | 5 6 7 8`). Raises ReadingError with what to write instead; with `anyway`, a number
    outside the range of the spec is taken too.
    """
    if spec.choices:
        for choice in spec.choices:
            if _folded(choice) == _folded(text):
                return choice
        raise ReadingError(
            f"{spec.name} is one of: {', '.join(spec.choices)}."
            f"{did_you_mean(text.strip(), spec.choices)}"
        )
    if spec.is_list:
        return _cylinder_numbers(spec, text)
    value = parse_quantity(text, spec.unit or "", spec.possible).value_in_default
    if not anyway and spec.possible and not spec.possible[0] <= value <= spec.possible[1]:
        low, high = map(plain, spec.possible)
        raise ReadingError(
            f"{spec.name}: {plain(value)} {spec.unit or ''}".rstrip()
            + f" cannot be: it lies between {low} and {high}."
        )
    return value


def _cylinder_numbers(spec: Spec, text: str) -> Value:
    banks = []
    for part in re.split(r"[|/]", text):
        if not re.fullmatch(r"[\s,;-]*[0-9]{1,2}(?:[\s,;-]+[0-9]{1,2})*[\s,;-]*", part):
            raise ReadingError(f"{spec.name}: write cylinder numbers, such as 1-3-4-2.")
        banks.append(tuple(int(number) for number in re.findall(r"[0-9]+", part)))
    flat = [number for bank in banks for number in bank]
    if sorted(flat) != list(range(1, len(flat) + 1)):
        raise ReadingError(f"{spec.name}: each cylinder once, numbered from 1 on.")
    return tuple(banks) if spec.id == "banks" or len(banks) > 1 else banks[0]


def entry_trouble(test: Test, entry: Entry, car: Car) -> str | None:
    """Why an entry does not answer its test, or None: for entries that no parser has seen.

    Figures outside what the test can read are no such trouble: see `outside`.
    """
    if test.kind == "choice":
        if entry.choice in test.bands and not entry.values:
            return None
        return f"{test.name} takes one of: {', '.join(test.bands)}."
    assert test.reading is not None
    names = [part.name for part in test.reading.parts]
    if entry.choice is not None or set(entry.values) != set(names):
        return f"{test.name} takes a figure for: {', '.join(names)}."
    wanted = car.cylinders if test.reading.per_cylinder else 1
    for part in test.reading.parts:
        values = entry.values[part.name]
        if len(values) != wanted:
            return f"{test.name} takes {wanted} readings, but {len(values)} were given."
        reason = _not_finite(values)
        if reason:
            return reason
    return None


def outside(test: Test, entry: Entry) -> str | None:
    """Which figure of an entry lies outside what its test can read, as a sentence, or None."""
    if test.reading is None:
        return None
    found = (_outside(part, entry.values.get(part.name, ())) for part in test.reading.parts)
    return next(filter(None, found), None)


def _not_finite(values: tuple[float, ...]) -> str | None:
    return None if all(map(math.isfinite, values)) else "A reading is a finite number."


def _outside(part: Part, values: tuple[float, ...]) -> str | None:
    if part.possible is None:
        return None
    low, high = part.possible
    for value in values:
        if not low <= value <= high:
            figure = f"{plain(value)} {part.unit}".rstrip()
            limits = f"{plain(low)} to {plain(high)} {part.unit}".rstrip()
            return f"{figure} is outside what this test can read ({limits})."
    return None


def _by_part(test: Test, text: str) -> dict[str, str]:
    """Part a line like `shown=60 degC, true=85 degC` by the names of the test's parts."""
    assert test.reading is not None
    names = [part.name for part in test.reading.parts]
    example = ", ".join(f"{part.name}={_example(part)}" for part in test.reading.parts)
    pieces = re.split(r"(?:^|[,;\s])\s*([^\W\d][\w-]*)\s*=", text)
    before, found = pieces[0], pieces[1:]
    if before.strip(" ,;") or not found:
        raise ReadingError(f"{test.name} takes its figures by name: write {example}.")
    texts: dict[str, str] = {}
    known = {_folded(name): name for name in names}
    for written, figure in zip(found[::2], found[1::2], strict=True):
        name = known.get(_folded(written))
        if name is None:
            raise ReadingError(
                f"{test.name} has no figure called {quoted(written)}.{did_you_mean(written, names)}"
                f" Write {example}."
            )
        if name in texts:
            raise ReadingError(f"{test.name}: {name} is given twice. Write {example}.")
        texts[name] = figure.strip(" ,;")
    missing = [name for name in names if name not in texts]
    if missing:
        raise ReadingError(f"{test.name}: {' and '.join(missing)} is missing. Write {example}.")
    return texts


def _example(part: Part) -> str:
    """A figure such as the part takes: about the middle of what is possible, in few digits."""
    low, high = part.possible or (1.0, 19.0)
    middle = (low + high) / 2.0
    # A narrow range can lie between two figures of two digits.
    figures = (plain(middle, digits) for digits in range(2, 7))
    figure = next((figure for figure in figures if low <= float(figure) <= high), plain(middle))
    return f"{figure} {part.unit}".rstrip()


def _folded(text: str) -> str:
    return re.sub(r"[\s_-]+", " ", text).strip().casefold()
