"""From readings to band chances: conformance, repeats, instruments, choices and patterns."""

import math
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from faulttree.scorer.evidence import Entry, conformance, spread_choice, weigh
from faulttree.trade import registry, sums
from faulttree.tree.car import Car, Known, SpecUnknown, describe_car
from faulttree.tree.load import load
from faulttree.tree.model import Instrument, Knowledge, Part, Reading, Test

KNOWN = load(["idle-unsteady"], trees_dir=Path(__file__).parents[2] / "trees")

finite = st.floats(-1e3, 1e3)


@given(finite, st.floats(1e-3, 100), st.lists(finite, min_size=1, max_size=4, unique=True))
def test_conformance_equals_the_normal_distribution(
    figure: float, u: float, limits: list[float]
) -> None:
    """Every band's chance is the difference of scipy's normal distribution function."""
    limits = sorted(limits)
    ours = conformance(figure, u, limits)
    edges = [-math.inf, *limits, math.inf]
    for k, chance in enumerate(ours):
        low, high = edges[k], edges[k + 1]
        expected = stats.norm.cdf(high, figure, u) - stats.norm.cdf(low, figure, u)
        assert chance == pytest.approx(expected, abs=1e-9)
    assert sum(ours) == pytest.approx(1.0, abs=1e-12)


@given(finite, st.floats(1e-3, 10))
def test_a_reading_on_a_limit_moves_two_bands_equally(limit: float, u: float) -> None:
    """Exactly on a single limit either band has one half."""
    assert conformance(limit, u, [limit]) == pytest.approx([0.5, 0.5])
    assert conformance(limit, 0.0, [limit]) == [0.5, 0.5]


def test_deep_in_a_band_is_hard_evidence() -> None:
    """Ten standard uncertainties inside, the other bands are ruled out altogether."""
    assert conformance(50.0, 0.5, [36.0, 44.0]) == [0.0, 0.0, 1.0]


def pressure(accuracy: float | None = 1.0, instrument: str | None = None) -> Test:
    part = Part("value", "psi", accuracy, (0.0, 120.0), instrument)
    return Test(
        id="p",
        name="Pressure",
        kind="number",
        do="",
        bands=("low", "in limits", "high"),
        expect="in limits",
        by_chance={},
        points_to={},
        minutes=1,
        reach=0,
        reading=Reading((part,), "psi"),
        limits=(36.0, 44.0),
    )


def entry(*values: float) -> Entry:
    return Entry(values={"value": values})


def test_accuracy_is_a_rectangular_half_width() -> None:
    """JCGM 100:2008, 4.3.7 (from memory): u = a / sqrt 3, so 0.40 gives 0.231, 4 gives 2.31."""
    for half_width, expected in ((0.40, 0.231), (4.0, 2.31)):
        weighed = weigh(pressure(half_width), [entry(40.0)], Car(), KNOWN)
        assert weighed.u == pytest.approx(expected, abs=0.0005 * expected + 0.0005)


def test_a_digital_display_is_out_by_half_a_digit() -> None:
    """JCGM 100:2008, F.2.2.1 (from memory): a last digit of 1 has u = 0.289."""
    weighed = weigh(pressure(accuracy=0.5), [entry(40.0)], Car(), KNOWN)
    assert weighed.u == pytest.approx(0.289, abs=5e-4)


def test_near_a_limit_two_readings_do_not_tell_opposite_stories() -> None:
    """35.9 and 36.1 psi at a limit of 36 differ by little, and both ask to be repeated."""
    below = weigh(pressure(), [entry(35.9)], Car(), KNOWN)
    above = weigh(pressure(), [entry(36.1)], Car(), KNOWN)
    assert abs(below.bands["low"] - above.bands["low"]) < 0.2
    assert below.near
    assert above.near
    assert not weigh(pressure(), [entry(40.0)], Car(), KNOWN).near


def test_repeats_are_one_finding() -> None:
    """Mean of the figures, u^2 = u_instrument^2 + s^2 / n."""
    weighed = weigh(pressure(), [entry(38.0), entry(40.0), entry(42.0)], Car(), KNOWN)
    assert weighed.figure == pytest.approx(40.0)
    assert weighed.u == pytest.approx(math.sqrt(1 / 3 + 4 / 3))


def test_an_instrument_known_to_be_out_is_corrected() -> None:
    """Shown 1,150 means 850; both figures are kept, and the true one is banded."""
    dash = Instrument("dash", "Dash", "psi", 1.0, ((30.0, 35.0), (50.0, 45.0)))
    knowledge: Knowledge = replace(KNOWN, instruments={**KNOWN.instruments, "dash": dash})
    weighed = weigh(pressure(None, "dash"), [entry(40.0)], Car(), knowledge)
    assert weighed.figure == pytest.approx(40.0)
    assert weigh(pressure(None, "dash"), [entry(30.0)], Car(), knowledge).figure == 35.0
    other = Car(corrections={"dash": ((30.0, 33.0),)})
    assert weigh(pressure(None, "dash"), [entry(30.0)], other, knowledge).figure == 33.0


def test_a_limit_from_a_spec_follows_the_car() -> None:
    """The fuel pressure test is banded by this car's own figure."""
    test = KNOWN.tests["fuel-pressure-prime"]
    car = describe_car(KNOWN, "camper-four")
    weighed = weigh(test, [entry(40.0)], car, KNOWN)
    spec = car.number("fuel_pressure", "psi")
    assert spec == pytest.approx(40.0)
    assert weighed.limits == pytest.approx((0.9 * spec, 1.1 * spec))
    stiff = replace(car, specs={**car.specs, "fuel_pressure": Known(500.0, "kPa", "typed")})
    assert weigh(test, [entry(40.0)], stiff, KNOWN).band == "low"


def test_a_choice_spreads_by_how_sure_the_observer_is() -> None:
    """The chosen band has `sure`; the rest share what is left."""
    spread = spread_choice(("a", "b", "c"), "b", 0.9)
    assert spread == pytest.approx({"a": 0.05, "b": 0.9, "c": 0.05})


def test_compression_of_every_cylinder_falls_into_a_pattern() -> None:
    """95 beside 150 is one low cylinder; an even low engine is low all over."""
    test = KNOWN.tests["compression-dry"]
    car = describe_car(KNOWN, "camper-four")
    assert weigh(test, [entry(150, 148, 95, 151)], car, KNOWN).band == "one low"
    assert weigh(test, [entry(150, 95, 96, 151)], car, KNOWN).band == "neighbours low"
    assert weigh(test, [entry(90, 92, 91, 93)], car, KNOWN).band == "all low"
    assert weigh(test, [entry(150, 148, 149, 151)], car, KNOWN).band == "in limits"


@pytest.mark.parametrize("test", KNOWN.tests.values(), ids=lambda test: test.id)
def test_every_shipped_test_can_be_weighed(test: Test) -> None:
    """A value in the middle of what is possible gives chances that sum to 1, on any car."""
    car = describe_car(KNOWN, "camper-four")
    if test.kind == "choice":
        weighed = weigh(test, [Entry(choice=test.bands[0])], car, KNOWN)
    else:
        assert test.reading is not None
        values = {}
        for part in test.reading.parts:
            low, high = part.possible or (0.0, 10.0)
            count = car.cylinders if test.reading.per_cylinder else 1
            values[part.name] = ((low + high) / 2,) * count
        weighed = weigh(test, [Entry(values=values)], car, KNOWN)
    assert sum(weighed.bands.values()) == pytest.approx(1.0)
    assert set(weighed.bands) == set(test.bands)


def test_a_reading_at_the_end_of_a_sums_range_is_taken() -> None:
    """A dead-shorted coil reads 0 ohm: below it the sum does not hold, yet the reading counts."""
    test = KNOWN.tests["coil-primary"]
    assert test.reading is not None
    values = {part.name: (0.0,) if part.unit == "ohm" else (20.0,) for part in test.reading.parts}
    weighed = weigh(test, [Entry(values=values)], describe_car(KNOWN, "camper-four"), KNOWN)
    assert weighed.band == "low"
    assert weighed.u is not None
    assert weighed.u > 0


def taking(sum_name: str, parts: tuple[Part, ...], unit: str, limit: float, **more: bool) -> Test:
    """A number test whose figure comes from a sum, banded at one limit."""
    reading = Reading(parts, unit, take=sum_name, per_cylinder=more.get("per_cylinder", False))
    return replace(
        pressure(), bands=("low", "in limits"), expect="in limits", reading=reading, limits=(limit,)
    )


def test_uncertainty_of_a_sum_follows_from_its_inputs() -> None:
    """JCGM 100:2008, 5.1.2 (from memory): root sum of squares, each input by its own slope.

    Pressure falling from 40 +- 1 to 30 +- 2 psi: the share lost is 25 %, its slopes are
    100 x 30 / 40^2 and 100 / 40.
    """
    parts = (Part("before", "psi", 1.0, (0.0, 120.0)), Part("after", "psi", 2.0, (0.0, 120.0)))
    test = taking("share-lost", parts, "%", 20.0)
    read = Entry(values={"before": (40.0,), "after": (30.0,)})
    weighed = weigh(test, [read], Car(), KNOWN)
    assert weighed.figure == pytest.approx(25.0)
    slopes = (100 * 30 / 40**2 * 1 / math.sqrt(3), 100 / 40 * 2 / math.sqrt(3))
    assert weighed.u == pytest.approx(math.hypot(*slopes), rel=1e-2)
    assert weighed.bands["in limits"] == pytest.approx(
        1 - stats.norm.cdf(20.0, weighed.figure, weighed.u), abs=1e-9
    )


def test_nine_components_combine_as_published(monkeypatch: pytest.MonkeyPatch) -> None:
    """NIST TN 1297 (1994), table D.1 (read): nine components in nm combine to 34 (33.81).

    Each component is the standard uncertainty of one part of a sum that adds nine parts.
    """
    components = (25, 5.8, 3.9, 6.7, 1.7, 5.8, 10.2, 2.9, 16.6)
    monkeypatch.setattr(registry, "ENTERED", sums.SUMS.copy())
    monkeypatch.setattr(sums, "SUMS", registry.ENTERED)
    names = "abcdefghi"

    def add(
        a: float,
        b: float,
        c: float,
        d: float,
        e: float,
        f: float,
        g: float,
        h: float,
        i: float,
    ) -> float:
        """Nine lengths end to end."""
        return a + b + c + d + e + f + g + h + i

    inputs = dict.fromkeys(names, "mm")
    registry.sum_of(
        name="end-to-end", gives="mm", inputs=inputs, source="arithmetic", formula="all of them"
    )(add)
    parts = tuple(
        Part(name, "mm", u * math.sqrt(3.0), (0.0, 1e6))
        for name, u in zip(names, components, strict=True)
    )
    read = Entry(values=dict.fromkeys(names, (1000.0,)))
    weighed = weigh(taking("end-to-end", parts, "mm", 0.0), [read], Car(), KNOWN)
    assert weighed.u == pytest.approx(33.81, abs=5e-3)


def test_parts_in_other_units_come_to_the_same_figure() -> None:
    """A sum is handed its inputs in one unit: 100 kPa before and 60 after, or the same in psi."""
    limits = 100.0
    metric = (Part("before", "kPa", 7.0, (0.0, 900.0)), Part("after", "kPa", 7.0, (0.0, 900.0)))
    mixed = (Part("before", "kPa", 7.0, (0.0, 900.0)), Part("after", "psi", 1.0, (0.0, 120.0)))
    psi = 6.894757
    one = weigh(
        taking("drop", metric, "kPa", limits),
        [Entry(values={"before": (400.0,), "after": (30 * psi,)})],
        Car(),
        KNOWN,
    )
    two = weigh(
        taking("drop", mixed, "kPa", limits),
        [Entry(values={"before": (400.0,), "after": (30.0,)})],
        Car(),
        KNOWN,
    )
    assert two.figure == pytest.approx(one.figure, rel=1e-6)


def test_a_given_figure_is_in_the_unit_of_the_reading_it_is_held_against() -> None:
    """What a tree gives to a sum that takes readings of any unit is meant in the reading's own."""
    part = Part("before", "psi", 1.0, (0.0, 120.0))
    reading = Reading((part,), "psi", take="drop", given={"after": 30.0})
    test = replace(taking("drop", (part,), "psi", 5.0), reading=reading)
    weighed = weigh(test, [Entry(values={"before": (40.0,)})], Car(), KNOWN)
    assert (weighed.figure, weighed.u) == (10.0, pytest.approx(1 / math.sqrt(3)))


def test_the_highest_cylinder_has_the_uncertainty_of_one_reading() -> None:
    """Only the reading that is the highest moves the figure, so the others add nothing."""
    part = Part("value", "psi", 4.0, (0.0, 300.0))
    test = taking("highest", (part,), "psi", 100.0, per_cylinder=True)
    weighed = weigh(test, [entry(120, 150, 118, 121)], Car(), KNOWN)
    assert weighed.figure == 150.0
    assert weighed.u == pytest.approx(4 / math.sqrt(3), rel=1e-6)


@pytest.mark.parametrize("cylinders", [4, 6, 8])
def test_cylinders_that_read_alike_do_not_settle_how_they_differ(cylinders: int) -> None:
    """The errors of equal readings spread the largest from the smallest as chance does.

    The range of n normal deviations has the mean d2 and the standard deviation d3 (the factors of
    control charts, ISO 7870-2: 2.059 and 0.880 for 4, from memory), so that it is off from nought
    by the root of d2^2 + d3^2. Half the way from one side to the other would say nought: certain.
    """
    d2, d3 = {4: (2.059, 0.880), 6: (2.534, 0.848), 8: (2.847, 0.820)}[cylinders]
    off = 3.0 / math.sqrt(3.0) * math.hypot(d2, d3)
    car = describe_car(KNOWN, None, {"cylinders": cylinders})
    part = Part("value", "psi", 3.0, (0.0, 300.0))
    range_of = taking("range", (part,), "psi", 20.0, per_cylinder=True)
    weighed = weigh(range_of, [entry(*[150.0] * cylinders)], car, KNOWN)
    assert (weighed.figure, weighed.u) == (0.0, pytest.approx(off, rel=0.15))
    # As a share of the highest, 3 of 150 psi are 2 %.
    share_of = taking("lowest-share", (part,), "%", 90.0, per_cylinder=True)
    weighed = weigh(share_of, [entry(*[150.0] * cylinders)], car, KNOWN)
    assert (weighed.figure, weighed.u) == (100.0, pytest.approx(off / 1.5, rel=0.15))


def test_another_instrument_brings_its_own_accuracy() -> None:
    """Read with a gauge other than the one asked for, that gauge's accuracy counts."""
    coarse = Instrument("coarse", "Coarse gauge", "psi", 6.0, ())
    knowledge: Knowledge = replace(KNOWN, instruments={**KNOWN.instruments, "coarse": coarse})
    read = Entry(values={"value": (40.0,)}, instruments={"value": "coarse"})
    weighed = weigh(pressure(), [read], Car(), knowledge)
    assert weighed.u == pytest.approx(6 / math.sqrt(3))
    assert weighed.near


def test_choices_repeated_are_averaged() -> None:
    """Two looks that differ leave both bands open; two alike say what one says."""
    test = next(t for t in KNOWN.tests.values() if t.kind == "choice")
    first, second = (Entry(choice=band) for band in test.bands[:2])
    alike = weigh(test, [first, first], Car(), KNOWN)
    once = weigh(test, [first], Car(), KNOWN)
    assert alike.bands == pytest.approx(once.bands)
    split = weigh(test, [first, second], Car(), KNOWN)
    assert split.bands[test.bands[0]] == pytest.approx(split.bands[test.bands[1]])
    assert sum(split.bands.values()) == pytest.approx(1.0)


def test_a_cylinder_at_the_edge_of_a_pattern_asks_for_another_look() -> None:
    """One cylinder just at three quarters of the best: the pattern is in doubt, and says so."""
    test = KNOWN.tests["compression-dry"]
    assert test.pattern is not None
    edge = 150.0 * test.pattern.low_below
    car = describe_car(KNOWN, "camper-four")
    weighed = weigh(test, [entry(150, 150, edge, 150)], car, KNOWN)
    assert 0.2 < weighed.bands["one low"] < 0.8
    assert weighed.near
    assert not weigh(test, [entry(150, 150, 60, 150)], car, KNOWN).near


def test_sum_is_handed_the_banks_and_firing_order_of_the_car() -> None:
    """A list among the specs reaches the sum as it stands: a whole bank low, and two that follow.

    By hand: banks of 4 with means 100 and 150 give 66.7 %; 5 fires after 1 on this engine.
    """
    car = describe_car(KNOWN, "estate-vee-eight")
    banks = replace(leads(), reading=each_cylinder("bank-low", {"banks": "banks"}))
    row = (150.0, 150.0, 150.0, 150.0, 100.0, 100.0, 100.0, 100.0)
    assert weigh(banks, [entry(*row)], car, KNOWN).figure == pytest.approx(200 / 3)
    follow = each_cylinder("followers-low", {"firing_order": "firing_order"})
    row = (50.0, 150.0, 150.0, 150.0, 50.0, 150.0, 150.0, 150.0)
    assert weigh(replace(leads(), reading=follow), [entry(*row)], car, KNOWN).figure == 2


def test_sum_without_the_firing_order_says_what_is_missing() -> None:
    """A list that nobody has given is asked for by its name."""
    follow = each_cylinder("followers-low", {"firing_order": "firing_order"})
    with pytest.raises(SpecUnknown, match="Firing order"):
        weigh(replace(leads(), reading=follow), [entry(50.0, 150.0)], Car(), KNOWN)


def each_cylinder(take: str, given: dict[str, float | str]) -> Reading:
    """A pressure of every cylinder, of which a sum makes one figure."""
    part = Part("value", "psi", 1.0, (0.0, 300.0), None)
    return Reading((part,), "", per_cylinder=True, take=take, given=given)


def leads() -> Test:
    """A number test with one limit."""
    return replace(pressure(), bands=("in limits", "low"), limits=(1.0,))
