"""The expected counts against plain enumeration, and the intervals against scipy."""

from collections.abc import Sequence
from itertools import product

import numpy as np
import pytest
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st

from faulttree.study.cases import Case
from faulttree.study.counting import beta_intervals, chance_slope, fired, settle, thrown

from .small import small_knowledge

chances = st.floats(0.01, 0.95)


def enumerated(brings: Sequence[Sequence[float]]) -> np.ndarray:
    """Who brought what on, by going through all that can have happened."""
    table = np.array(brings)
    total, made = 0.0, np.zeros_like(table)
    for flags in product((0, 1), repeat=table.size):
        did = np.array(flags).reshape(table.shape)
        if did.any(axis=1).all() and did.any(axis=0).all():
            chance = float(np.prod(np.where(did == 1, table, 1.0 - table)))
            total += chance
            made += chance * did
    return made / total


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 4), st.integers(1, 3), st.data())
def test_who_brought_what_on_agrees_with_enumeration(
    causes: int, trees: int, data: st.DataObject
) -> None:
    """Given that each did something and each complaint came from one, the shares are exact."""
    brings = [[data.draw(chances) for _ in range(trees)] for _ in range(causes)]
    assert fired(np.array(brings)) == pytest.approx(enumerated(brings), abs=1e-9)


def test_what_cannot_be_has_no_shares() -> None:
    """A complaint that none of the causes can bring on gives noughts, not a division by nought."""
    assert fired(np.array([[0.5, 0.0], [0.4, 0.0]])) == pytest.approx(np.zeros((2, 2)))


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 3), st.integers(1, 3), st.data())
def test_who_threw_the_band_agrees_with_enumeration(
    sources: int, size: int, data: st.DataObject
) -> None:
    """Every source throws a band or none and the earliest is read: the shares are exact."""
    table = np.array(
        [[data.draw(st.floats(0.01, 0.3)) for _ in range(size)] for _ in range(sources)]
    )
    weights = np.array([data.draw(st.floats(0.01, 1.0)) for _ in range(size + 1)])
    weights /= weights.sum()
    total, made = 0.0, np.zeros_like(table)
    for picks in product(range(size + 1), repeat=sources):
        chance = 1.0
        for source, pick in enumerate(picks):
            row = table[source]
            chance *= float(row[pick]) if pick < size else 1.0 - float(row.sum())
        chance *= weights[min(picks)]
        total += chance
        for source, pick in enumerate(picks):
            if pick < size:
                made[source, pick] += chance
    assert thrown(table, weights) == pytest.approx(made / total, abs=1e-9)


def test_many_at_once_are_as_one_by_one() -> None:
    """Tables worked out side by side come to what each comes to by itself."""
    random = np.random.default_rng(6)
    brings = random.uniform(0.0, 0.9, (5, 3, 2))
    assert fired(brings) == pytest.approx(np.array([fired(one) for one in brings]))
    table, weights = random.uniform(0.0, 0.25, (5, 4, 3)), random.dirichlet(np.ones(4), 5)
    pairs = list(zip(table, weights, strict=True))
    assert thrown(table, weights) == pytest.approx(np.array([thrown(t, w) for t, w in pairs]))
    slopes = np.array([chance_slope(t, w) for t, w in pairs])
    assert chance_slope(table, weights) == pytest.approx(slopes)


def test_the_slope_of_a_reading_agrees_with_small_steps() -> None:
    """How a reading's chance changes with each number is what two small steps to the side give."""
    random = np.random.default_rng(5)
    table, weights = random.uniform(0.05, 0.25, (3, 3)), random.dirichlet(np.ones(4))

    def chance(of: np.ndarray) -> float:
        late = 1.0 - np.concatenate([np.zeros((3, 1)), np.cumsum(of, axis=1)], axis=1)
        every = late.prod(axis=0)
        return float(weights[:3] @ (every[:3] - every[1:]) + weights[3] * every[3])

    slope = np.zeros_like(table)
    for at in np.ndindex(*table.shape):
        step = np.zeros_like(table)
        step[at] = 1e-6
        slope[at] = (np.log(chance(table + step)) - np.log(chance(table - step))) / 2e-6
    assert chance_slope(table, weights) == pytest.approx(slope, abs=1e-7)


@pytest.mark.parametrize("inside", [0.5, 0.95])
def test_intervals_agree_with_scipy(inside: float) -> None:
    """The central intervals of Beta distributions are those of scipy.stats.beta."""
    a = np.array([0.5, 1.2, 10.0, 250.0, 90.0, 0.05, 2000.0])
    b = np.array([0.5, 30.0, 10.0, 4000.0, 3.0, 19.0, 1e5])
    low, high = beta_intervals(a, b, inside)
    expected = scipy.stats.beta.interval(inside, a, b)
    assert low == pytest.approx(expected[0], rel=1e-7, abs=1e-12)
    assert high == pytest.approx(expected[1], rel=1e-7, abs=1e-12)


def test_without_sessions_the_author_stands() -> None:
    """A number that no session touched is the author's, with the author's size."""
    knowledge = small_knowledge()
    case = Case(frozenset({"rough"}), frozenset({"leak"}), frozenset(knowledge.causes))
    found = settle(knowledge, [case], 12.0)
    untouched = found["points_to", "pump", "prime", "low"]
    assert (untouched.value, untouched.size) == (0.6, 12.0)
    assert found["brings_on", "leak", "rough", ""].value > 0.7


def test_a_reading_that_two_causes_explain_tells_less_of_each() -> None:
    """The same count of cars is worth less where another cause can have thrown the band too."""
    knowledge = small_knowledge()
    every = frozenset(knowledge.causes)

    def size(causes: set[str]) -> float:
        case = Case(frozenset({"rough"}), frozenset(causes), every, {"smoke": {"seen": 1.0}})
        found = settle(knowledge, [case] * 40, 20.0)
        return found["points_to", "leak", "smoke", "seen"].size

    assert 20.0 < size({"leak", "rings"}) < size({"leak"}) <= 60.0
