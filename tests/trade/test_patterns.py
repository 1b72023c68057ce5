"""The chances of the cylinder patterns, against enumeration, simulation and limiting cases."""

import itertools
import math

import numpy as np
import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from faulttree.trade.layout import side_by_side
from faulttree.trade.patterns import (
    ALL_LOW,
    HIGH,
    IN_LIMITS,
    NEIGHBOURS_LOW,
    ONE_LOW,
    PATTERNS,
    SEVERAL_LOW,
    PatternError,
    low_chances,
    pattern_chances,
    which_high,
    which_low,
)

READINGS = st.lists(st.floats(0.0, 200.0, allow_subnormal=False), min_size=1, max_size=8)
UNCERTAINTY = st.just(0.0) | st.floats(0.01, 50.0)
NAMED = st.lists(st.sampled_from(PATTERNS[1:]), unique=True, max_size=5).map(
    lambda names: [*names, IN_LIMITS]
)


def _by_enumeration(values, u, of, low_below, high_above, level_below, banks, names):
    """The same chances from all combinations of low, high and neither, one by one, with scipy."""
    count = len(values)
    mean, best = math.fsum(values) / count, values.index(max(values))
    reference = max(values) if of == "highest" else mean

    def chance_below(limit, value, doubt):
        if doubt == 0:
            return float(value < limit)
        return float(scipy.stats.norm.cdf((limit - value) / doubt))

    def doubt(times):
        # Standard uncertainty of times x the mean less x_i, from the weights of all readings.
        weights = [times / count - 1] + [times / count] * (count - 1)
        return u * math.sqrt(sum(w * w for w in weights))

    low, high = [], []
    for place, value in enumerate(values):
        if reference <= 0 or (of == "highest" and place == best):
            low.append(0.0)
        elif of == "highest":
            spread = math.hypot(u, low_below * u)
            low.append(chance_below(low_below * reference, value, spread))
        else:
            low.append(chance_below(low_below * reference, value, doubt(low_below)))
        above = 0.0
        if high_above is not None and mean > 0:
            above = chance_below(value, high_above * mean, doubt(high_above))
        high.append(min(above, 1 - low[-1]))
    level = 0.0 if level_below is None else chance_below(level_below, max(values), u)
    neighbours = {frozenset(pair) for pair in side_by_side(count, banks)}
    chances = dict.fromkeys(names, 0.0)
    for states in itertools.product(["low", "high", "neither"], repeat=count):
        p = math.prod(
            {"low": low[i], "high": high[i], "neither": 1 - low[i] - high[i]}[state]
            for i, state in enumerate(states)
        )
        lows = [i + 1 for i, state in enumerate(states) if state == "low"]
        if not lows:
            seen = HIGH if "high" in states else IN_LIMITS
        elif len(lows) == 1:
            seen = ONE_LOW
        else:
            seen = NEIGHBOURS_LOW if frozenset(lows) in neighbours else SEVERAL_LOW
        if seen == NEIGHBOURS_LOW and seen not in names:
            seen = SEVERAL_LOW
        if seen == SEVERAL_LOW and seen not in names:
            seen = ONE_LOW
        for missed, part in ((True, level), (False, 1 - level)):
            fired = {seen} | ({ALL_LOW} if missed else set())
            won = next((n for n in names if n in fired and n != IN_LIMITS), IN_LIMITS)
            chances[won] += p * part
    return chances


@given(
    st.lists(st.floats(-50.0, 200.0, allow_subnormal=False), min_size=1, max_size=6),
    UNCERTAINTY,
    st.sampled_from(["highest", "mean"]),
    st.floats(0.3, 0.95),
    st.floats(1.05, 3.0),
    st.none() | st.floats(1.0, 200.0),
    NAMED,
    st.booleans(),
)
def test_chances_agree_with_enumeration(
    values, u, of, low_below, high_above, level_below, names, two_banks
):
    """All combinations of low and high cylinders, gone through one by one, give the same."""
    above = high_above if of == "mean" else None
    numbers = list(range(1, len(values) + 1))
    banks = [numbers[::2], numbers[1::2]] if two_banks else None
    found = pattern_chances(
        values,
        u,
        of=of,
        low_below=low_below,
        high_above=above,
        level_below=level_below,
        banks=banks,
        names=names,
    )
    expected = _by_enumeration(values, u, of, low_below, above, level_below, banks, names)
    assert list(found) == names
    assert found == pytest.approx(expected, abs=1e-12)


@given(READINGS, UNCERTAINTY, st.sampled_from(["highest", "mean"]), NAMED)
def test_chances_add_up_to_one(values, u, of, names):
    """Whatever is read, the chances are between 0 and 1 and add up to 1."""
    found = pattern_chances(values, u, of=of, low_below=0.75, level_below=80.0, names=names)
    assert sum(found.values()) == pytest.approx(1.0, abs=1e-12)
    assert all(0 <= chance <= 1 for chance in found.values())


@given(st.lists(st.floats(0.0, 200.0), min_size=12, max_size=16), UNCERTAINTY)
def test_many_cylinders(values, u):
    """Twelve cylinders and more are worked exactly, without a limit."""
    found = pattern_chances(values, u, of="mean", low_below=0.75, high_above=1.25)
    assert sum(found.values()) == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize(
    ("values", "banks", "pattern"),
    [
        ((150, 148, 149, 151), None, IN_LIMITS),
        ((150, 148, 95, 151), None, ONE_LOW),
        ((150, 95, 90, 151), None, NEIGHBOURS_LOW),
        ((95, 148, 90, 151), None, SEVERAL_LOW),
        ((95, 90, 85, 151), None, SEVERAL_LOW),
        ((80, 82, 81, 79), None, ALL_LOW),
        ((150, 95, 90, 151), ((1, 2), (3, 4)), SEVERAL_LOW),
        ((95, 148, 90, 151), ((1, 3), (2, 4)), NEIGHBOURS_LOW),
        ((95, 148, 90, 151), ((3, 1), (4, 2)), NEIGHBOURS_LOW),
    ],
)
def test_clear_readings_of_compression(values, banks, pattern):
    """Readings far from any limit give their pattern for certain (common practice, 75 %)."""
    found = pattern_chances(
        values, 2.3, of="highest", low_below=0.75, level_below=110.0, banks=banks
    )
    assert found[pattern] > 0.999


@pytest.mark.parametrize(
    ("values", "pattern"),
    [
        ((100, 95, 98, 102), IN_LIMITS),
        ((100, 95, 20, 102), ONE_LOW),
        ((100, 95, 98, 170), HIGH),
    ],
)
def test_clear_drops_against_the_mean(values, pattern):
    """Against the mean a cylinder can read high as well as low."""
    found = pattern_chances(values, 2.0, of="mean", low_below=0.5, high_above=1.3)
    assert found[pattern] > 0.999


def test_a_reading_on_the_limit_is_even():
    """A cylinder that reads the limit to the digit is low with an even chance."""
    values = (160.0, 120.0, 160.0, 160.0)
    found = pattern_chances(values, 3.0, of="highest", low_below=0.75)
    assert found[ONE_LOW] == pytest.approx(0.5, abs=1e-6)
    # Without doubt about the gauge it is not low: it does not read below the limit.
    assert pattern_chances(values, 0.0, of="highest", low_below=0.75)[IN_LIMITS] == 1.0


def test_the_doubt_of_the_reference_counts():
    """Against the highest the spread is u sqrt(1 + k^2), as the root of the sum of squares."""
    chances = low_chances((160.0, 124.0), 3.0, of="highest", low_below=0.75)
    expected = scipy.stats.norm.cdf((0.75 * 160 - 124) / (3.0 * 1.25))
    assert chances == (0.0, pytest.approx(expected, rel=1e-12))


def test_the_chance_of_low_agrees_with_simulation():
    """A hundred thousand gauges with random errors find a cylinder low as often as is said.

    Independent errors of all readings, the mean taken anew from each set.
    """
    rng = np.random.default_rng(20240501)
    values = np.array([100.0, 52.0, 98.0, 102.0])
    drawn = values + rng.normal(0.0, 6.0, size=(100_000, 4))
    simulated = (drawn[:, 1] < 0.5 * drawn.mean(axis=1)).mean()
    chance = low_chances(tuple(values), 6.0, of="mean", low_below=0.5)[1]
    # Four standard errors of the simulation.
    assert chance == pytest.approx(simulated, abs=4 * math.sqrt(0.25 / 100_000))


@given(st.floats(0.0, 149.0), st.floats(0.1, 10.0))
def test_the_lower_it_reads_the_surer_it_is_low(reading: float, u: float):
    """Lowering one reading never makes it less likely to be low."""
    one = low_chances((150.0, reading), u, of="highest", low_below=0.75)[1]
    other = low_chances((150.0, reading * 0.9), u, of="highest", low_below=0.75)[1]
    assert other >= one


@pytest.mark.parametrize("of", ["highest", "mean"])
def test_nothing_read_is_nothing_compared(of):
    """Where every reading is nought none is low against the others; the level still tells."""
    found = pattern_chances((0.0,) * 4, 2.0, of=of, low_below=0.75, level_below=100.0)
    assert found[ALL_LOW] == pytest.approx(1.0)
    found = pattern_chances((0.0,) * 4, 2.0, of=of, low_below=0.75)
    assert found[IN_LIMITS] == 1.0


def test_the_order_of_the_names_decides_who_wins():
    """A low engine with one cylinder lower still is what the test lists first."""
    values = (80.0, 82.0, 40.0, 81.0)
    settings = {"of": "highest", "low_below": 0.75, "level_below": 110.0}
    first = pattern_chances(values, 1.0, names=[ONE_LOW, ALL_LOW, IN_LIMITS], **settings)
    assert first[ONE_LOW] > 0.999
    first = pattern_chances(values, 1.0, names=[ALL_LOW, ONE_LOW, IN_LIMITS], **settings)
    assert first[ALL_LOW] > 0.999


@pytest.mark.parametrize(
    ("names", "counted"),
    [
        ([ONE_LOW, NEIGHBOURS_LOW, IN_LIMITS], NEIGHBOURS_LOW),
        ([ONE_LOW, SEVERAL_LOW, IN_LIMITS], SEVERAL_LOW),
        ([ONE_LOW, IN_LIMITS], ONE_LOW),
        ([ALL_LOW, IN_LIMITS], IN_LIMITS),
    ],
)
def test_patterns_not_named_fold_into_wider_ones(names, counted):
    """Neighbours low count as several low, those as one low, and what is left as in limits."""
    found = pattern_chances((150, 95, 90, 151), 1.0, of="highest", low_below=0.75, names=names)
    assert found[counted] > 0.999


def test_levels_and_highs_not_named_are_in_limits():
    """All low and high count as in limits where the test does not name them."""
    settings = {"of": "mean", "low_below": 0.5, "high_above": 1.3, "level_below": 300.0}
    found = pattern_chances((100, 95, 98, 170), 1.0, names=[ONE_LOW, IN_LIMITS], **settings)
    assert found[IN_LIMITS] > 0.999


def test_a_cylinder_is_not_low_and_high_at_once():
    """Far below nought and with a coarse gauge, the chances still leave one another room."""
    values = (-400.0, 300.0, 302.0)
    found = pattern_chances(values, 500.0, of="mean", low_below=0.95, high_above=3.0)
    assert sum(found.values()) == pytest.approx(1.0, abs=1e-12)
    assert all(0 <= chance <= 1 for chance in found.values())
    low = low_chances(values, 500.0, of="mean", low_below=0.95)
    none_low = math.prod(1 - chance for chance in low)
    assert found[HIGH] + found[IN_LIMITS] == pytest.approx(none_low, rel=1e-12)


def test_which_cylinders():
    """The screen names cylinders by their numbers."""
    assert which_low((150.0, 95.0, 148.0, 100.0), of="highest", low_below=0.75) == (2, 4)
    assert which_low((100.0, 95.0, 20.0, 102.0), of="mean", low_below=0.5) == (3,)
    assert which_low((0.0, 0.0), of="highest", low_below=0.75) == ()
    assert which_high((100.0, 95.0, 98.0, 170.0), high_above=1.3) == (4,)
    assert which_high((0.0, 0.0), high_above=1.3) == ()


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"names": ["one low"]}, "name 'in limits'"),
        ({"names": ["one low", "one low", "in limits"]}, "each pattern once"),
        ({"names": ["on low", "in limits"]}, "Did you mean one low"),
        ({"of": "lowest"}, "no reference"),
        ({"low_below": 1.0}, "between 0 and 1"),
        ({"low_below": 0.0}, "between 0 and 1"),
        ({"high_above": 1.2}, "needs `of: mean`"),
        ({"of": "mean", "high_above": 1.0}, "more than 1"),
        ({"values": ()}, "Every cylinder needs a reading"),
        ({"values": (1.0, math.nan)}, "Every cylinder needs a reading"),
        ({"u": -1.0}, "uncertainty"),
        ({"u": math.inf}, "uncertainty"),
        ({"banks": ((1, 2), (3,))}, "each of the 4 cylinders"),
        ({"banks": ((1, 2), (3, 3))}, "each of the 4 cylinders"),
    ],
)
def test_what_makes_no_sense_is_refused(change, sentence: str):
    """Settings and readings from which no pattern can be told are refused with the reason."""
    sound = {
        "values": (150.0, 148.0, 95.0, 151.0),
        "u": 2.3,
        "of": "highest",
        "low_below": 0.75,
    }
    pattern_chances(**sound)
    with pytest.raises(PatternError) as caught:
        pattern_chances(**{**sound, **change})
    assert sentence in str(caught.value)
