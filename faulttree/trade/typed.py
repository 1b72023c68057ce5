"""Figures as people type them: one reading, or a list with one reading per cylinder.

Rules for a number. The digits 0 to 9, a sign, and at most one decimal point or decimal comma:
`34`, `-10.2`, `2,4`, `.5`. A group of three may be set off: `1,400.5`, `1.400,5`, `1,400,000`. No
exponents, no underscores, no other digits, no `inf` or `nan`.

A single comma before exactly three digits (`1,400`) may be either. It is read so that the value is
`possible`, if that settles it; otherwise as thousands in units where thousands are usual and
as a decimal comma in the others. A single point is always the decimal point. `how` says what was
made of it, so that a screen can show it before anything is recorded.

Rules for a list. Readings are parted by semicolons, strokes, commas or spaces, with one unit at the
end or the same unit at each. With semicolons, strokes or spaces a comma inside a number belongs to
the number (`12,5; 12,4` or `12,5 12,4`); without any of them every comma parts two readings
(`150,148,95,151`). What could still be read in two ways, such as a lone `12,5`, is refused.

What lies outside the possible range is not refused here: that is for whoever knows the test.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from faulttree.trade.measures import UnitError, beside, canonical, convert, of_kind, suggest
from faulttree.trade.words import plain, quoted

LONGEST_READING = 60
LONGEST_LIST = 400
MOST_READINGS = 24

Possible = tuple[float, float] | None

# Units in which a reading of a thousand and more is nothing out of the ordinary.
THOUSANDS_ARE_USUAL = frozenset(
    {"rpm", "deg/s", "ohm", "ohm/m", "Pa", "kPa", "mbar", "ppm", "cc", "cc/min", "mV", "m"}
)

_OTHER_SPACES = str.maketrans(
    {"\u00a0": " ", "\u202f": " ", "\u2009": " ", "\t": " ", "\n": " ", "\r": " "}
)
_MINUS = "\N{MINUS SIGN}"
# Compiled at their first use (re keeps them), so that the import stays cheap.
_NUMBER = rf"[+\-{_MINUS}]?[0-9.,]+"
_DECIMAL_POINT = r"[0-9]+\.?|[0-9]*\.[0-9]+"
_DECIMAL_COMMA = r"[0-9]*,[0-9]+"
_LONE_THOUSANDS = r"[1-9][0-9]{0,2},[0-9]{3}"
_COMMA_GROUPS = r"[1-9][0-9]{0,2}(?:(?:,[0-9]{3})+\.[0-9]+|(?:,[0-9]{3}){2,})"
_POINT_GROUPS = r"[1-9][0-9]{0,2}(?:(?:\.[0-9]{3})+,[0-9]+|(?:\.[0-9]{3}){2,})"
_LIST_OF_NUMBERS = rf"[+\-{_MINUS}0-9.,;\s]*"
_STROKE = rf"(?<=[0-9])\s*/\s*(?=[+\-{_MINUS}]?[.0-9])"
_TIGHT_COMMA = r"(?<=[0-9]),(?=[0-9])"
_TIGHT_COMMA_NOT_BEFORE_THREE = r"(?<=[0-9]),(?![0-9]{3}(?![0-9]))(?=[0-9])"
_EMPTY_PLACE = r"^\s*,|,\s*,|,\s*$"
_AFTER_A_UNIT = rf"(?<=[^\s0-9.,;+\-{_MINUS}])(?:\s*[;,]\s*|\s+)(?=[+\-{_MINUS}]?[0-9.])"


class ReadingError(ValueError):
    """Typed text that is not a reading, or could be more than one."""


@dataclass(frozen=True)
class Quantity:
    """One typed reading: as typed, in the unit that was wanted, and how the text was read."""

    value: float
    unit: str
    value_in_default: float
    how: str


@dataclass(frozen=True)
class Quantities:
    """A typed list of readings in one unit, in the order typed."""

    values: tuple[float, ...]
    unit: str
    values_in_default: tuple[float, ...]
    how: str


def parse_quantity(text: str, default_unit: str, possible: Possible = None) -> Quantity:
    """Read one figure, with or without a unit.

    `default_unit` is meant where none is typed; `possible` (lowest, highest, in that unit) helps to
    tell a decimal comma from a thousands comma. Raises ReadingError with what was wrong and what to
    write instead, and UnitError when `default_unit` itself is not known.
    """
    own = canonical(default_unit)
    clean = _clean(text, LONGEST_READING, own)
    found = re.match(_NUMBER, clean)
    if found is None:
        raise ReadingError(_not_a_number(clean, own))
    unit = _unit_after(clean[found.end() :].strip(), own, clean)
    value, note = _number(found.group(), unit, own, possible, clean)
    in_own = _in(value, unit, own)
    how = f"read as {_with_unit(plain(value, 10), unit)}"
    if unit != own:
        how += f", that is {_with_unit(plain(in_own), own)}"
    return Quantity(value, unit, in_own, how + (f" ({note})" if note else ""))


def parse_list(
    text: str, default_unit: str, possible: Possible = None, count: int | None = None
) -> Quantities:
    """Read a list of figures, one per cylinder, by the rules at the head of this module.

    `count` is how many there must be (None: any number). Raises ReadingError when the text cannot
    be read, can be read in two ways, or holds another number of readings.
    """
    own = canonical(default_unit)
    clean = re.sub(_STROKE, ";", _clean(text, LONGEST_LIST, own))
    numbers, rest = _numbers_then_rest(clean)
    if not numbers:
        raise ReadingError(_not_a_number(clean, own))
    try:
        unit = beside(rest, own) if rest else own
    except UnitError:
        if not any(c.isdigit() for c in rest):
            raise ReadingError(_unit_trouble(rest, own)) from None
        unit, values, note = _each_with_unit(clean, own, possible)
    else:
        values, note = _separated(numbers, unit, own, possible, count, clean)
    if len(values) > MOST_READINGS:
        raise ReadingError(f"{len(values)} readings are too many: at most {MOST_READINGS} fit.")
    listed = ", ".join(plain(value, 10) for value in values)
    if count is not None and len(values) != count:
        raise ReadingError(
            f"{count} readings are wanted, one per cylinder, but {len(values)} given: {listed}. "
            "Give one for each, in cylinder order."
        )
    in_own = tuple(_in(value, unit, own) for value in values)
    how = f"read as {len(values)} readings: {_with_unit(listed, unit)}"
    if unit != own:
        how += f", that is {_with_unit(', '.join(plain(value) for value in in_own), own)}"
    return Quantities(values, unit, in_own, how + (f" ({note})" if note else ""))


def _clean(text: str, longest: int, unit: str) -> str:
    """The text without outer spaces; too long, empty or with control characters is refused."""
    clean = text.translate(_OTHER_SPACES).strip()
    if not clean:
        raise ReadingError(f"No reading given: write it like {_example(unit)}.")
    if len(clean) > longest:
        raise ReadingError(
            f"{quoted(clean)} is too long for a reading ({len(clean)} characters, at most "
            f"{longest}): write the number and its unit only."
        )
    if not clean.isprintable():
        raise ReadingError(
            f"{quoted(clean)} holds a control or invisible character: type the number anew."
        )
    return clean


def _example(unit: str) -> str:
    return _with_unit("34", unit)


def _with_unit(figure: str, unit: str) -> str:
    return f"{figure} {unit}".rstrip()


def _not_a_number(text: str, unit: str) -> str:
    """Say why a text is no number, as plainly as the text allows."""
    if any(c.isnumeric() and c not in "0123456789" for c in text):
        why = "only the digits 0 to 9 are understood"
    elif re.search(r"[0-9][eE][+\-]?[0-9]", text):
        why = "exponents are not understood, write the number out"
    elif re.search(r"[0-9]\s+[0-9]", text):
        why = "one number is wanted here"
    else:
        why = "it is not a plain number with its unit behind it"
    return f"{quoted(text)} is not a reading: {why}. Write it like {_example(unit)}."


def _unit_after(rest: str, own: str, text: str) -> str:
    """The unit typed after a number; nothing means the wanted one."""
    if not rest:
        return own
    try:
        return beside(rest, own)
    except UnitError:
        if any(c.isnumeric() for c in rest) or not any(c.isalpha() or c in '%°"' for c in rest):
            raise ReadingError(_not_a_number(text, own)) from None
        raise ReadingError(_unit_trouble(rest, own)) from None


def _unit_trouble(unit: str, own: str) -> str:
    near = suggest(unit)
    hint = f" Did you mean {near}?" if near else ""
    wanted = ", ".join(filter(None, of_kind(own))) or "a plain number without a unit"
    return f"{quoted(unit)} is not a unit of the trade.{hint} This reading takes: {wanted}."


def _in(value: float, unit: str, own: str) -> float:
    try:
        return convert(value, unit, own)
    except UnitError as trouble:
        raise ReadingError(str(trouble)) from None


def _number(written: str, unit: str, own: str, possible: Possible, text: str) -> tuple[float, str]:
    """The value of one written number, and a note where its commas or points had to be judged."""
    sign = -1.0 if written[0] in ("-", _MINUS) else 1.0
    body = written.lstrip(f"+-{_MINUS}")
    if re.fullmatch(_DECIMAL_POINT, body):
        return sign * float(body) + 0.0, ""
    if re.fullmatch(_COMMA_GROUPS, body):
        return sign * float(body.replace(",", "")), "commas taken as thousands"
    if re.fullmatch(_POINT_GROUPS, body):
        value = float(body.replace(".", "").replace(",", "."))
        return sign * value, "points taken as thousands"
    if not re.fullmatch(_DECIMAL_COMMA, body):
        raise ReadingError(_not_a_number(text, own))
    decimal = sign * float(body.replace(",", ".")) + 0.0
    if not re.fullmatch(_LONE_THOUSANDS, body):
        return decimal, "decimal comma"
    thousands = sign * float(body.replace(",", ""))
    fits = [_is_possible(value, unit, own, possible) for value in (thousands, decimal)]
    as_thousands = fits[0] if fits[0] != fits[1] else unit in THOUSANDS_ARE_USUAL
    if as_thousands:
        return thousands, "comma taken as thousands"
    return decimal, "comma taken as the decimal point"


def _is_possible(value: float, unit: str, own: str, possible: Possible) -> bool:
    return possible is None or possible[0] <= _in(value, unit, own) <= possible[1]


def _numbers_then_rest(text: str) -> tuple[str, str]:
    """Part a list into its leading run of numbers and whatever follows, usually the unit."""
    found = re.match(_LIST_OF_NUMBERS, text)
    end = found.end() if found else 0
    numbers, rest = text[:end].strip(), text[end:].strip()
    # The 1 of a trailing `1/min` belongs to the unit.
    if rest.startswith("/") and numbers.endswith(" 1"):
        numbers, rest = numbers[:-2].rstrip(), f"1{rest}"
    return numbers, rest


def _each_with_unit(text: str, own: str, possible: Possible) -> tuple[str, tuple[float, ...], str]:
    """Read `150 psi, 148 psi`: the same unit must stand at every reading."""
    pieces = re.split(_AFTER_A_UNIT, text)
    if len(pieces) == 1:
        raise ReadingError(_not_a_number(text, own))
    if any(piece[-1] in "0123456789.,;" for piece in pieces):
        raise ReadingError(
            f"{quoted(text)} has a unit at some readings only: "
            "give it once at the end, or with each."
        )
    read = [parse_quantity(piece, own, possible) for piece in pieces]
    if len({quantity.unit for quantity in read}) > 1:
        raise ReadingError(f"{quoted(text)} mixes units: give all readings in one unit.")
    return read[0].unit, tuple(quantity.value for quantity in read), "a unit at each"


def _separated(
    numbers: str, unit: str, own: str, possible: Possible, count: int | None, text: str
) -> tuple[tuple[float, ...], str]:
    """Part a run of numbers by the rules at the head of this module."""

    def read(items: list[str]) -> tuple[tuple[float, ...], str]:
        for place, item in enumerate(items, start=1):
            if not item:
                raise ReadingError(f"Place {place} in {quoted(text)} is empty: every one counts.")
            if not re.fullmatch(_NUMBER, item):
                raise ReadingError(_not_a_number(item, own))
        pairs = [_number(item, unit, own, possible, item) for item in items]
        notes = dict.fromkeys(note for _, note in pairs if note)
        return tuple(value for value, _ in pairs), ", ".join(notes)

    if ";" in numbers:
        return read([item.strip() for item in numbers.split(";")])
    if re.search(_EMPTY_PLACE, numbers):
        raise ReadingError(f"A place in {quoted(text)} is empty: give a reading for each cylinder.")
    every_comma_parts = re.split(r"\s*,\s*|\s+", numbers)
    if not re.search(_TIGHT_COMMA, numbers):
        return read(every_comma_parts)

    # Commas without a space beside them: do they part two readings, or stand inside a number?
    tight_commas_belong = re.split(r"\s*,\s+|\s+,\s*|\s+", numbers)
    ways = [tight_commas_belong]
    # Next to spaces, `12,5` is meant as a number; only `150,148` might be two readings.
    if len(tight_commas_belong) == 1 or not re.search(_TIGHT_COMMA_NOT_BEFORE_THREE, numbers):
        ways.insert(0, every_comma_parts)
    if len(ways) == 1:
        return read(tight_commas_belong)
    open_ways: list[tuple[tuple[float, ...], str]] = []
    for way in ways:
        try:
            values, note = read(way)
        except ReadingError:
            continue
        if (count is None or len(values) == count) and all(
            _is_possible(value, unit, own, possible) for value in values
        ):
            open_ways.append((values, note))
    if len(open_ways) == 1:
        return open_ways[0]
    # Several commas and no spaces are a list: nobody lists a single reading of millions. And where
    # no way gives as many as are wanted, the plainest one makes the plainest complaint.
    is_list = len(tight_commas_belong) == 1 and len(every_comma_parts) > 2
    if is_list or (count is not None and not open_ways):
        return read(every_comma_parts)
    raise ReadingError(
        f"{quoted(text)} can be read in more than one way: put a semicolon between the readings "
        "and use the comma, or better the point, for decimals only."
    )
