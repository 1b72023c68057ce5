"""Typed text becomes an entry, or a reason that says what to write instead."""

from dataclasses import replace

import pytest

from faulttree.scorer.evidence import Entry
from faulttree.session.entry import entry_trouble, outside, parse_entry, parse_spec
from faulttree.trade.units import ReadingError
from faulttree.tree.car import Car, Known
from faulttree.tree.model import Knowledge, Part, Reading, Spec, Test

FOUR = Car("", {"cylinders": Known(4.0, "", "generic")})


@pytest.fixture
def two_parts(knowledge: Knowledge) -> Test:
    """A test that takes two figures by name."""
    parts = (
        Part("shown", "degC", 1.0, (-50.0, 160.0)),
        Part("true", "degC", 2.0, (-50.0, 160.0)),
    )
    test = knowledge.tests["vacuum"]
    return replace(test, reading=Reading(parts, "degC", take="sensor-error"))


@pytest.mark.parametrize(
    ("typed", "value"),
    [("17", 17.0), ("17 inHg", 17.0), ("17,5", 17.5), (" 17.5in Hg ", 17.5), ("0", 0.0)],
)
def test_one_number(typed: str, value: float, knowledge: Knowledge) -> None:
    """One figure, with or without its unit."""
    assert parse_entry(knowledge.tests["vacuum"], typed, FOUR).values == {"value": (value,)}


def test_another_unit(knowledge: Knowledge) -> None:
    """A figure in another unit of its kind is turned into the test's (NIST SP 811: 1 bar)."""
    entry = parse_entry(knowledge.tests["pressure"], "2.5 bar", FOUR)
    assert entry.values["value"][0] == pytest.approx(36.2594, abs=1e-3)


@pytest.mark.parametrize(
    "typed",
    ["150,148,95,151 psi", "150 148 95 151", "150;148;95;151", "150 psi, 148 psi, 95 psi, 151 psi"],
)
def test_one_for_each_cylinder(typed: str, knowledge: Knowledge) -> None:
    """A list takes commas, spaces or semicolons, and one unit or the same at each."""
    entry = parse_entry(knowledge.tests["compression"], typed, FOUR)
    assert entry.values == {"value": (150.0, 148.0, 95.0, 151.0)}


@pytest.mark.parametrize(
    ("typed", "choice"),
    [("steady", "steady"), (" HUNTING ", "hunting"), ("Low", "low")],
)
def test_choice(typed: str, choice: str, knowledge: Knowledge) -> None:
    """A choice is known without regard to capitals and spaces."""
    assert parse_entry(knowledge.tests["idle-look"], typed, FOUR) == Entry(choice=choice)
    assert parse_entry(knowledge.tests["wiggle"], "it-cuts_out", FOUR).choice == "it cuts out"


@pytest.mark.parametrize(
    "typed",
    [
        "shown=60 degC, true=85 degC",
        "true=85, shown=60",
        "shown = 60 true = 85",
        "SHOWN=60;TRUE=85 C",
        "shown=140 F, true=185 F",
    ],
)
def test_parts_by_name(typed: str, two_parts: Test) -> None:
    """Figures by name come in any order, each in its own unit."""
    values = parse_entry(two_parts, typed, FOUR).values
    assert values["shown"][0] == pytest.approx(60)
    assert values["true"][0] == pytest.approx(85)


@pytest.mark.parametrize(
    ("typed", "reason"),
    [
        ("60, 85", "by name: write shown=55 degC, true=55 degC"),
        ("60 shown=60, true=85", "by name"),
        ("shown=60", "true is missing"),
        ("shown=60, true=85, both=1", "no figure called 'both'"),
        ("shown=60, shwon=85", "Did you mean shown"),
        ("shown=60, shown=61, true=85", "shown is given twice"),
        ("shown=, true=85", "No reading given"),
        ("shown=600, true=85", r"600 degC is outside what this test can read \(-50 to 160 degC\)"),
        ("", "by name"),
        ("=", "by name"),
    ],
)
def test_parts_that_are_wrong(typed: str, reason: str, two_parts: Test) -> None:
    """What is wrong with figures by name is said with how to write them."""
    with pytest.raises(ReadingError, match=reason):
        parse_entry(two_parts, typed, FOUR)


@pytest.mark.parametrize(
    ("possible", "example"),
    [
        ((0.0, 8000.0), "4000 rpm"),
        ((-40.0, 130.0), "45 rpm"),
        ((14.62, 14.68), "14.65 rpm"),
        ((0.0, 14.5), "7.2 rpm"),
        ((0.0011, 0.0013), "0.0012 rpm"),
        (None, "10 rpm"),
    ],
)
def test_the_figure_of_an_example_can_be_read(
    possible: tuple[float, float] | None, example: str, two_parts: Test
) -> None:
    """What is offered as an example is possible for its part, and written in few digits."""
    part = Part("engine-speed", "rpm", 10.0, possible)
    test = replace(two_parts, reading=Reading((part, Part("b", "V")), "rpm"))
    with pytest.raises(ReadingError, match=f"write engine-speed={example}, b="):
        parse_entry(test, "12", FOUR)


@pytest.mark.parametrize(
    ("test", "typed", "reason"),
    [
        ("vacuum", "", "No reading"),
        ("vacuum", "low", "not a reading"),
        ("vacuum", "31", "31 inHg is outside"),
        ("vacuum", "-1", "-1 inHg is outside"),
        ("vacuum", "17 V", "17 V|voltage|cannot"),
        ("vacuum", "9**9**9", "not a reading|not a unit"),
        ("vacuum", "nan", "not a reading"),
        ("vacuum", "1e1", "exponents"),
        ("compression", "150 148", "4 readings are wanted, one per cylinder, but 2"),
        ("compression", "150 148 95 900", "900 psi is outside"),
        ("idle-look", "", "No choice given"),
        ("idle-look", "hunt", "Did you mean hunting"),
    ],
)
def test_wrong(test: str, typed: str, reason: str, knowledge: Knowledge) -> None:
    """What is no reading, or cannot be one, is refused with the reason."""
    with pytest.raises(ReadingError, match=reason):
        parse_entry(knowledge.tests[test], typed, FOUR)


@pytest.mark.parametrize(
    ("test", "typed", "values"),
    [
        ("vacuum", "31", {"value": (31.0,)}),
        ("compression", "150 148 95 900", {"value": (150.0, 148.0, 95.0, 900.0)}),
        ("two-parts", "shown=600, true=85", {"shown": (600.0,), "true": (85.0,)}),
    ],
)
def test_taken_anyway(
    test: str,
    typed: str,
    values: dict[str, tuple[float, ...]],
    knowledge: Knowledge,
    two_parts: Test,
) -> None:
    """A figure outside what the test can read is taken where it is said again."""
    card = two_parts if test == "two-parts" else knowledge.tests[test]
    entry = parse_entry(card, typed, FOUR, anyway=True)
    assert dict(entry.values) == values
    assert entry_trouble(card, entry, FOUR) is None
    assert "is outside what this test can read" in (outside(card, entry) or "")


def test_inside_is_not_outside(knowledge: Knowledge) -> None:
    """The ends of what a test can read still belong to it, and a choice is never outside."""
    vacuum = knowledge.tests["vacuum"]
    assert vacuum.reading is not None
    low, high = vacuum.reading.parts[0].possible or (0.0, 0.0)
    for value in (low, high):
        assert outside(vacuum, Entry({"value": (value,)})) is None
    assert outside(vacuum, Entry({"value": (high + 0.01,)}))
    assert outside(knowledge.tests["idle-look"], Entry(choice="steady")) is None


def test_what_is_parsed_has_no_trouble(knowledge: Knowledge) -> None:
    """The check of ready entries passes what the parser makes."""
    for test, typed in (
        ("vacuum", "17"),
        ("compression", "150 148 95 151"),
        ("idle-look", "steady"),
    ):
        card = knowledge.tests[test]
        assert entry_trouble(card, parse_entry(card, typed, FOUR), FOUR) is None


@pytest.mark.parametrize(
    ("spec", "typed", "value"),
    [
        (Spec("a", "A", unit="psi"), "36", 36.0),
        (Spec("a", "A", unit="psi"), "36psi", 36.0),
        (Spec("a", "A", choices=("coil-on-plug", "distributor")), "Coil on plug", "coil-on-plug"),
        (Spec("a", "A", is_list=True), "1-3-4-2", (1, 3, 4, 2)),
        (Spec("a", "A", is_list=True), "1, 3, 4, 2", (1, 3, 4, 2)),
        (Spec("banks", "A", is_list=True), "1 2 3 | 4 5 6", ((1, 2, 3), (4, 5, 6))),
        (Spec("banks", "A", is_list=True), "1 2 3", ((1, 2, 3),)),
        (Spec("a", "A", unit=""), "4", 4.0),
    ],
)
def test_spec(spec: Spec, typed: str, value: object) -> None:
    """A spec's value is read by its kind."""
    assert parse_spec(spec, typed) == value


@pytest.mark.parametrize(
    ("spec", "typed", "reason"),
    [
        (Spec("a", "A", unit="psi", possible=(1.0, 120.0)), "500", "500 psi cannot be"),
        (Spec("a", "A", unit="psi"), "blue", "not a reading"),
        (Spec("a", "A", choices=("valve", "screw")), "valv", "Did you mean valve"),
        (Spec("a", "A", is_list=True), "1-3-3-2", "each cylinder once"),
        (Spec("a", "A", is_list=True), "2-3-4", "numbered from 1"),
        (Spec("a", "A", is_list=True), "1-x", "cylinder numbers"),
        (Spec("a", "A", is_list=True), "", "cylinder numbers"),
        (Spec("a", "A", is_list=True), "134", "cylinder numbers|numbered"),
    ],
)
def test_spec_that_is_wrong(spec: Spec, typed: str, reason: str) -> None:
    """A spec's value that makes no sense is refused with what to write."""
    with pytest.raises(ReadingError, match=reason):
        parse_spec(spec, typed)
