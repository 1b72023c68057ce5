"""Typed figures: what is read, how it is said to have been read, and what is refused."""

import math
import string

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from faulttree.trade.units import (
    ReadingError,
    UnitError,
    convert,
    parse_list,
    parse_quantity,
    plain,
    units,
)

HOSTILE = [
    "9**9**9",
    "(1)(2)",
    "1+1",
    "__import__('os').system('true')",
    "[red]34[/red]",
    "34 [kPa]",
    "[/",
    "<b>34</b>",
    "34\x1b[31m psi",
    "\x1b]0;title\x07 34",
    "34\x00",
    "34\x1fpsi",
    "3\u202e4",
    "3\u200b4",
    "1_0",
    "1_000 psi",
    "1e3",
    "1E3 psi",
    "2.5e-3",
    "١٢",
    "३४ psi",
    "\uff13\uff14",
    "3²",
    "½",
    "nan",
    "NaN psi",
    "inf",
    "-inf",
    "Infinity kPa",
    "0x22",
    "0b11",
    "1j",
    "",
    "   ",
    "psi",
    "psi 34",
    "--34",
    "+-34",
    "3 4",
    "34 35 psi",
    "34;35",
    "1,2,3",
    "1.2.3",
    "1,40,0",
    "1.400,50.0",
    ".",
    ",",
    "-",
    "+",
    "34-",
    "34 psi 5",
    "34 psi psi",
    "34 rpm",
    "34 degC",
    "$(reboot)",
    "; rm -rf /",
    "{34}",
    "%s",
    "9" * 61,
    "9" * 100_000,
    "34 " + "p" * 1000,
    "a" * 100_000,
]


# Among these, what is a plain list.
LISTS = ("3 4", "34 35 psi", "34;35", "1,2,3", "1,40,0", "1.400,50.0")


@pytest.mark.parametrize("text", HOSTILE, ids=lambda text: ascii(text[:20]))
def test_hostile_text_is_refused(text: str):
    """Expressions, markup, control characters, foreign digits and the like are no reading."""
    with pytest.raises(ReadingError) as caught:
        parse_quantity(text, "psi")
    message = str(caught.value)
    assert message.isprintable()
    assert len(message) < 300


@pytest.mark.parametrize(
    "text",
    [t for t in HOSTILE if t not in LISTS],
    ids=lambda text: ascii(text[:20]),
)
def test_hostile_lists_are_refused(text: str):
    """What is no reading is no list of readings either."""
    if len(text) == 61:
        # A run of digits this long is one absurd number, which a list may hold.
        text *= 7
    with pytest.raises(ReadingError) as caught:
        parse_list(text, "psi")
    assert str(caught.value).isprintable()


def _attempt(parse, *arguments):
    """What a parser gives, or None and its complaint; any other error is left to fail the test."""
    try:
        return parse(*arguments), ""
    except ReadingError as error:
        return None, str(error)


@given(st.text(max_size=80))
@example("34 psi")
def test_any_text_is_read_or_refused(text: str):
    """Whatever is typed gives a finite reading in the wanted unit or a ReadingError."""
    quantity, complaint = _attempt(parse_quantity, text, "kPa")
    if quantity is None:
        assert complaint.isprintable()
    else:
        assert math.isfinite(quantity.value_in_default)
        assert quantity.how.isprintable()


@given(st.text(alphabet="0123456789.,;-+/ psiea", max_size=40), st.none() | st.integers(1, 8))
def test_any_list_is_read_or_refused(text: str, count: int | None):
    """Whatever list is typed gives the wanted number of finite readings or a ReadingError."""
    read, complaint = _attempt(parse_list, text, "psi", (0.0, 300.0), count)
    if read is None:
        assert complaint.isprintable()
    else:
        assert all(map(math.isfinite, read.values_in_default))
        assert count is None or len(read.values) == count


@given(
    st.integers(-99_999, 99_999).map(lambda n: n / 100),
    st.sampled_from(units()),
    st.sampled_from(["", " ", "  ", "\u00a0"]),
)
def test_what_is_written_is_read_back(value: float, unit: str, gap: str):
    """A number written with a point and any unit is read as that number in that unit."""
    quantity = parse_quantity(f"{value:.2f}{gap}{unit}", unit)
    assert (quantity.value, quantity.unit, quantity.value_in_default) == (value, unit, value)


@given(st.integers(-99_999, 99_999), st.sampled_from(["psi", "bar", "rpm", ""]))
def test_a_decimal_comma_is_a_decimal_point(hundredths: int, unit: str):
    """Two places behind a comma mean what they mean behind a point."""
    text = f"{hundredths / 100:.2f}"
    assert parse_quantity(text.replace(".", ","), unit).value == parse_quantity(text, unit).value


@pytest.mark.parametrize(
    ("text", "unit", "possible", "value", "how"),
    [
        ("34", "psi", None, 34, "read as 34 psi"),
        ("34 psi", "psi", None, 34, "read as 34 psi"),
        ("  34psi ", "psi", None, 34, "read as 34 psi"),
        (".5", "mm", None, 0.5, "read as 0.5 mm"),
        ("5.", "mm", None, 5, "read as 5 mm"),
        ("+11.7", "%", None, 11.7, "read as 11.7 %"),
        ("-10.2 %", "%", None, -10.2, "read as -10.2 %"),
        ("−10.2 %", "%", None, -10.2, "read as -10.2 %"),
        ("2,4 bar", "bar", None, 2.4, "read as 2.4 bar (decimal comma)"),
        ("1,400", "rpm", None, 1400, "read as 1400 rpm (comma taken as thousands)"),
        ("1,400 rpm", "rpm", (0, 8000), 1400, "read as 1400 rpm (comma taken as thousands)"),
        ("1,400", "kPa", (0, 600), 1.4, "read as 1.4 kPa (comma taken as the decimal point)"),
        ("1,015", "", (0.5, 2), 1.015, "read as 1.015 (comma taken as the decimal point)"),
        ("1,015", "", None, 1.015, "read as 1.015 (comma taken as the decimal point)"),
        ("1,500", "mm", (300, 2000), 1500, "read as 1500 mm (comma taken as thousands)"),
        ("0,950", "rpm", None, 0.95, "read as 0.95 rpm (decimal comma)"),
        ("1234,567", "rpm", None, 1234.567, "read as 1234.567 rpm (decimal comma)"),
        ("1.400", "rpm", None, 1.4, "read as 1.4 rpm"),
        ("1,400.5", "ohm", None, 1400.5, "read as 1400.5 ohm (commas taken as thousands)"),
        ("1.400,5", "ohm", None, 1400.5, "read as 1400.5 ohm (points taken as thousands)"),
        ("1,400,000", "ohm", None, 1.4e6, "read as 1400000 ohm (commas taken as thousands)"),
        ("82°", "degC", None, 82, "read as 82 degC"),
        ("800 1/min", "rpm", None, 800, "read as 800 rpm"),
        ("4 cylinders", "", None, 4, "read as 4"),
        ("12 k", "kohm", None, 12, "read as 12 kohm"),
        ("12 R", "ohm", None, 12, "read as 12 ohm"),
        ("1,200", "ppm", None, 1200, "read as 1200 ppm (comma taken as thousands)"),
    ],
)
def test_readings(text: str, unit: str, possible, value: float, how: str):
    """A reading is read as documented, and says how."""
    quantity = parse_quantity(text, unit, possible)
    assert quantity.value == value
    assert quantity.value_in_default == value
    assert quantity.how == how


@pytest.mark.parametrize(
    ("text", "unit", "value", "typed_unit", "how"),
    [
        ("2.4bar", "psi", 34.80906, "bar", "read as 2.4 bar, that is 34.8091 psi"),
        ("2,4 bar", "kPa", 240, "bar", "read as 2.4 bar, that is 240 kPa (decimal comma)"),
        ("20 in Hg", "kPa", 67.72777, "inHg", "read as 20 inHg, that is 67.7278 kPa"),
        ('20"Hg', "kPa", 67.72777, "inHg", "read as 20 inHg, that is 67.7278 kPa"),
        ("180 F", "degC", 82.22222, "degF", "read as 180 degF, that is 82.2222 degC"),
        ("12k", "ohm", 12000, "kohm", "read as 12 kohm, that is 12000 ohm"),
        ("35 thou", "mm", 0.889, "thou", "read as 35 thou, that is 0.889 mm"),
    ],
)
def test_readings_in_another_unit(text: str, unit: str, value: float, typed_unit: str, how: str):
    """A reading in another unit is kept as typed and given in the wanted one beside it."""
    quantity = parse_quantity(text, unit)
    assert quantity.value_in_default == pytest.approx(value, rel=1e-6)
    assert (quantity.unit, quantity.how) == (typed_unit, how)


@pytest.mark.parametrize("text", ["-0", "-0.0", "-0,0", "-0,000"])
def test_nought_has_no_sign(text: str):
    """A minus before nought is dropped."""
    assert math.copysign(1.0, parse_quantity(text, "degC").value) == 1.0


def test_what_is_possible_is_judged_in_the_wanted_unit():
    """The possible range counts in the unit wanted, whatever unit is typed."""
    assert parse_quantity("1,200 kPa", "psi", (0, 300)).value == 1200
    assert parse_quantity("1,200 kPa", "bar", (0, 5)).value == 1.2


@pytest.mark.parametrize(
    ("text", "unit", "sentence"),
    [
        ("34 rpm", "psi", "rpm is for engine speed, but pressure is wanted: give it in one of psi"),
        ("34 psii", "psi", "'psii' is not a unit of the trade. Did you mean psi?"),
        ("5 %", "", "% is for share, but a plain number is wanted: give it without a unit"),
        ("1e3", "rpm", "exponents are not understood, write the number out"),
        ("١٢", "rpm", "only the digits 0 to 9 are understood"),
        ("3 4", "rpm", "one number is wanted here"),
        ("", "psi", "No reading given: write it like 34 psi"),
    ],
)
def test_errors_say_what_to_do(text: str, unit: str, sentence: str):
    """An error says what was wrong and what to write instead."""
    with pytest.raises(ReadingError) as caught:
        parse_quantity(text, unit)
    assert sentence in str(caught.value)


def test_an_unknown_wanted_unit_is_the_authors_error():
    """A wanted unit that does not exist is a UnitError, not an error of who typed."""
    for parse in (parse_quantity, parse_list):
        with pytest.raises(UnitError):
            parse("34", "psii")


@pytest.mark.parametrize(
    ("text", "unit", "values"),
    [
        ("150,148,95,151 psi", "psi", (150, 148, 95, 151)),
        ("150, 148, 95, 151", "psi", (150, 148, 95, 151)),
        ("150 , 148 ,95 , 151", "psi", (150, 148, 95, 151)),
        ("150 148 95 151 psi", "psi", (150, 148, 95, 151)),
        ("150\t148\n95\r\n151", "psi", (150, 148, 95, 151)),
        ("150;148;95;151psi", "psi", (150, 148, 95, 151)),
        ("150/148/95/151", "psi", (150, 148, 95, 151)),
        ("12.5,12.4,12.6", "kohm", (12.5, 12.4, 12.6)),
        ("12,5;12,4;12,6 kohm", "kohm", (12.5, 12.4, 12.6)),
        ("12,5 12,4 12,6", "kohm", (12.5, 12.4, 12.6)),
        ("12,5, 12,4, 12,6", "kohm", (12.5, 12.4, 12.6)),
        ("150 psi, 148 psi, 95 psi", "psi", (150, 148, 95)),
        ("12,5 kohm, 12,4 kohm", "kohm", (12.5, 12.4)),
        ("800 810 1/min", "rpm", (800, 810)),
        ("-3, 4.5", "%", (-3, 4.5)),
        ("34", "psi", (34,)),
        ("150,148,951", "psi", (150, 148, 951)),
        ("1,380; 1,400", "rpm", (1380, 1400)),
    ],
)
def test_lists(text: str, unit: str, values: tuple[float, ...]):
    """Commas, semicolons, strokes and spaces part a list as documented."""
    assert parse_list(text, unit).values_in_default == values


def test_a_list_says_how_it_was_read():
    """The count, the readings, and the wanted unit are named."""
    read = parse_list("10,5; 10,2 bar", "psi")
    assert read.how == (
        "read as 2 readings: 10.5, 10.2 bar, that is 152.29, 147.938 psi (decimal comma)"
    )
    assert read.unit == "bar"
    assert read.values_in_default[0] == convert(10.5, "bar", "psi")


@pytest.mark.parametrize(
    ("text", "possible", "count", "values"),
    [
        ("150,148", None, 2, (150, 148)),
        ("12,5", (10, 20), None, (12.5,)),
        ("150,148", (50, 300), None, None),
        ("1,400 1,380 1,420", (300, 8000), 3, (1400, 1380, 1420)),
        ("150,148 95,151", (50, 300), 4, (150, 148, 95, 151)),
    ],
)
def test_count_and_range_settle_a_list(text: str, possible, count, values):
    """The number of cylinders and the possible range settle what commas mean, if they can."""
    unit = "rpm" if possible == (300, 8000) else "psi"
    if values is None:
        with pytest.raises(ReadingError, match="more than one way"):
            parse_list(text, unit, possible, count)
    else:
        assert parse_list(text, unit, possible, count).values_in_default == values


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("12,5", "can be read in more than one way"),
        ("150,148 95,151", "can be read in more than one way"),
        ("150,,95,151", "is empty"),
        ("150,148,", "is empty"),
        (",150,148", "is empty"),
        ("150; ;95", "Place 2"),
        ("150 psi 148 95", "at some readings only"),
        ("150 psi, 10 bar", "mixes units"),
        ("150-148", "is not a reading"),
        ("150 148 rmp", "Did you mean rpm"),
        (" ".join("150" for _ in range(25)), "too many"),
    ],
)
def test_lists_that_are_refused(text: str, sentence: str):
    """A list that is ambiguous, has a gap or mixes units is refused with the reason."""
    with pytest.raises(ReadingError, match=sentence):
        parse_list(text, "psi")


def test_a_missing_cylinder_is_told():
    """A list that is one short says how many are wanted and which were read."""
    with pytest.raises(ReadingError, match=r"4 readings are wanted.*3 given: 150, 148, 95\."):
        parse_list("150,148,95", "psi", None, 4)


@given(
    st.lists(st.integers(0, 30_000).map(lambda n: n / 100), min_size=1, max_size=12),
    st.sampled_from([";", "; ", ", ", " ", "/"]),
)
def test_lists_are_read_back(values: list[float], separator: str):
    """A list written with points and any separator is read as it was written."""
    text = separator.join(f"{value:.2f}" for value in values)
    read = parse_list(text + " psi", "psi", None, len(values))
    assert list(read.values_in_default) == values


@given(
    st.lists(st.integers(0, 30_000).map(lambda n: n / 100), min_size=2, max_size=12),
    st.sampled_from([";", "; ", ", ", " "]),
)
def test_lists_with_decimal_commas_are_read_back(values: list[float], separator: str):
    """With semicolons or spaces between them, two places behind a comma are decimals."""
    text = separator.join(f"{value:.2f}".replace(".", ",") for value in values)
    assert list(parse_list(text, "psi").values_in_default) == values


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.0, "0"),
        (-0.0, "0"),
        (1e-7, "0.0000001"),
        (1234567.0, "1234567"),
        (1234567.4, "1234567"),
        (360.9554, "360.955"),
        (-15.625, "-15.625"),
        (1e12, "1000000000000"),
        (0.00036, "0.00036"),
    ],
)
def test_figures_are_written_plainly(value: float, text: str):
    """A figure has no exponent, no trailing noughts and no minus before nought."""
    assert plain(value) == text


@given(st.floats(min_value=-1e15, max_value=1e15))
def test_written_figures_can_be_read(value: float):
    """What is written for a person is a plain number near the value."""
    text = plain(value, 12)
    assert set(text) <= set(string.digits + ".-")
    assert float(text) == pytest.approx(value, rel=1e-10)
