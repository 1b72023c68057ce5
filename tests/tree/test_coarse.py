"""Whether an instrument is fine enough is judged through sums and patterns as the Guide says."""

import math
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from faulttree.scorer.evidence import Entry, weigh
from faulttree.trade import sums
from faulttree.tree import shelf as shelf_module
from faulttree.tree.car import Car, describe_car
from faulttree.tree.check import check
from faulttree.tree.load import load_all
from faulttree.tree.model import Knowledge, Part, Pattern, Reading, Test
from faulttree.tree.places import shipped
from faulttree.tree.problem import Problem
from faulttree.tree.rules.coarse import BEST_RATIO, Judged, judge

SPARE = Knowledge({}, {}, {}, {}, {}, {}, {})


def made(reading: Reading, limits: tuple[float, ...], bands: tuple[str, ...], expect: str) -> Test:
    """A test of which only the reading and the bands matter."""
    return Test(
        id="t",
        name="T",
        kind="number",
        do="Do it.",
        bands=bands,
        expect=expect,
        by_chance={},
        points_to={},
        minutes=1,
        reach=0,
        reading=reading,
        limits=limits,
    )


def two(unit: str, accuracies: tuple[float, float], take: str) -> Reading:
    """Readings before and after of one gauge, from 0 to 100."""
    parts = tuple(
        Part(name, unit, accuracy, (0.0, 100.0))
        for name, accuracy in zip(("before", "after"), accuracies, strict=True)
    )
    return Reading(parts, unit if take == "drop" else "%", take=take)


def judged_of(test: Test, car: Car | None = None) -> Judged:
    """The judgement, which must be there."""
    judged = judge(test, car or Car(), SPARE)
    assert judged is not None
    return judged


def test_difference_adds_up_as_the_root_of_the_sum_of_squares() -> None:
    """For y = a - b both sensitivities are 1 (JCGM 100:2008, equation 11a)."""
    judged = judged_of(made(two("psi", (0.3, 0.4), "drop"), (5.0,), ("ok", "high"), "ok"))
    assert judged.doubt == pytest.approx(0.5)
    assert judged.tolerance == pytest.approx(5.0)


def test_share_has_the_sensitivities_of_its_derivatives() -> None:
    """For y = 100 (1 - b/a) they are 100 b/a^2 and 100/a, taken where y is at the limit.

    The derivatives are worked out by hand (JCGM 100:2008, 5.1.3). Even readings stand at 50; the
    first is moved until 20 % are lost, which is at 62.5.
    """
    judged = judged_of(made(two("psi", (0.3, 0.4), "share-lost"), (20.0,), ("ok", "high"), "ok"))
    a, b = 62.5, 50.0
    wanted = math.hypot(100 * b / a**2 * 0.3, 100 / a * 0.4)
    assert judged.doubt == pytest.approx(wanted, rel=1e-4)
    assert judged.tolerance == pytest.approx(20.0)


def test_correction_is_judged_where_its_band_lies() -> None:
    """Of a resistance that is brought to 20 degC the temperature counts as the resistance does.

    R20 = R / (1 + alpha (T - 20)): the derivatives are 1 / (...) and -R20 alpha / (...). alpha of
    copper is 0.00393 per kelvin (IEC 60028). The band lies at 2 ohm, far below what is possible.
    """
    parts = (
        Part("resistance", "ohm", 0.01, (0.0, 100.0)),
        Part("temperature", "degC", 5.0, (-20.0, 140.0)),
    )
    reading = Reading(parts, "ohm", take="copper-resistance")
    judged = judged_of(made(reading, (1.5, 2.5), ("low", "ok", "high"), "ok"))
    stretch = 1 + 0.00393 * (60 - 20)
    wanted = math.hypot(0.01 / stretch, 2.0 * 0.00393 / stretch * 5.0)
    assert judged.doubt == pytest.approx(wanted, rel=2e-3)
    assert judged.worst[0].name == "temperature"


@pytest.mark.parametrize(
    ("pattern", "tolerance", "doubt"),
    [
        # One cylinder at the limit, the highest or the mean of four at 50: in the share x / ref
        # the sensitivities are 1 / ref and share / ref.
        (Pattern("highest", 0.75), 0.25, 2 / 50 * math.hypot(1, 0.75)),
        (Pattern("mean", 0.6, 1.2), 0.2, None),
    ],
)
def test_pattern_is_judged_at_its_nearer_limit(
    pattern: Pattern, tolerance: float, doubt: float | None
) -> None:
    """A pattern compares one cylinder with the highest or the mean, both read with one gauge."""
    reading = Reading((Part("value", "psi", 2.0, (0.0, 100.0)),), "psi", per_cylinder=True)
    test = made(reading, (), ("one low", "high", "in limits"), "in limits")
    object.__setattr__(test, "kind", "pattern")
    object.__setattr__(test, "pattern", pattern)
    judged = judged_of(test)
    assert judged.tolerance == pytest.approx(tolerance)
    if doubt is None:
        # d/dx of x / mean: (mean - x / 4) / mean^2 for the one, -x / 4 / mean^2 for the others.
        x, mean = 60.0, (60.0 + 3 * 50.0) / 4
        one, other = (mean - x / 4) / mean**2, x / 4 / mean**2
        doubt = 2.0 * math.sqrt(one**2 + 3 * other**2)
    assert judged.doubt == pytest.approx(doubt, rel=1e-3)


def test_lone_limit_without_a_middle_is_not_judged() -> None:
    """The highest of all has no reading that is right by itself, so no tolerance can be told."""
    reading = Reading((Part("value", "mm", 0.05, (0.0, 4.0)),), "mm", True, "highest")
    assert judge(made(reading, (1.0,), ("ok", "wide"), "ok"), Car(), SPARE) is None


def test_what_is_possible_must_be_known() -> None:
    """Without `possible` there is no typical reading, and nothing is judged."""
    parts = (Part("before", "psi", 1.0), Part("after", "psi", 1.0))
    reading = Reading(parts, "psi", take="drop")
    for limits, bands in [((5.0,), ("ok", "high")), ((-5.0, 5.0), ("low", "ok", "high"))]:
        assert judge(made(reading, limits, bands, "ok"), Car(), SPARE) is None


def test_figure_is_doubted_as_much_as_in_a_session() -> None:
    """At the same reading, the checker's doubt is sqrt(3) times the u that the session works with.

    So much is a half-width to the standard uncertainty of a rectangular distribution (JCGM
    100:2008, 4.3.7). The reading is taken back from the figure of the shipped tests that have one.
    """
    shop = load_all(shipped("trees"))
    car = describe_car(shop, "camper-four")
    compared = 0
    for test in shop.tests.values():
        judged = judge(test, car, shop)
        reading = test.reading
        if judged is None or reading is None or not reading.take:
            continue
        if reading.per_cylinder:
            values = {reading.parts[0].name: judged.reading}
        else:
            values = {
                part.name: (value,)
                for part, value in zip(reading.parts, judged.reading, strict=True)
            }
        weighed = weigh(test, [Entry(values)], car, shop)
        assert weighed.u is not None
        # Instruments with a known error shift the reading a little, and half-widths are larger
        # steps than standard uncertainties.
        assert judged.doubt == pytest.approx(math.sqrt(3) * weighed.u, rel=0.05), test.id
        compared += 1
    assert compared >= 6


def found(shelf: Path, before: float, after: float, limit: float) -> list[Problem]:
    """What is said about a test that takes a drop of two readings."""
    path = shelf / "shared" / "drop.yaml"
    path.write_text(
        f"""format: 1
tests:
  filter-drop:
    name: Drop
    do: Read both.
    reading:
      from: {{before: psi, after: psi}}
      accuracy: {{before: {before!r}, after: {after!r}}}
      possible: {{before: [0, 120], after: [0, 120]}}
      take: drop
    bands: [in limits, {limit!r}, high]
    expect: in limits
    by_chance: {{high: 0.02}}
    minutes: 15
    reach: 2
    points_to: {{fuel-pump-weak: {{high: 0.3}}}}
    source: common practice, no source
"""
    )
    shelf_module._CACHE.clear()
    return [problem for problem in check([path]) if problem.rule == "instrument-coarse"]


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    before=st.floats(0.1, 5),
    after=st.floats(0.1, 5),
    limit=st.floats(1, 40),
)
def test_warning_comes_below_four_to_one(
    shelf: Path, before: float, after: float, limit: float
) -> None:
    """The checker warns exactly where limit over root of the squares is less than four."""
    ratio = limit / math.hypot(before, after)
    if abs(ratio - BEST_RATIO) < 1e-6:
        return
    problems = found(shelf, before, after, limit)
    assert bool(problems) == (ratio < BEST_RATIO)
    for problem in problems:
        assert f"{ratio:.1f} to 1" in problem.hint
        worse = "before" if before > after else "after"
        stands_out = min(before, after) < 0.9 * max(before, after)
        assert (f"`{worse}`" in problem.hint) == stands_out
        line = (shelf / "shared" / "drop.yaml").read_text().splitlines()[problem.place.line - 1]
        assert "accuracy" in line


def test_sum_outside_its_range_is_no_crash() -> None:
    """A sum that no reading within what is possible is good for is left alone."""
    low, high = sums.get("lambda-four-gas").ranges["co2"]
    parts = tuple(
        Part(name, "%", 0.1, (high + 1, high + 2) if name == "co2" else (0.0, 1.0))
        for name in ("co", "co2", "o2", "hc")
    )
    assert low < high
    reading = Reading(parts, "", take="lambda-four-gas")
    assert judge(made(reading, (0.9, 1.1), ("low", "ok", "high"), "ok"), Car(), SPARE) is None
