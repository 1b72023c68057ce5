"""Learning: known numbers recovered from simulated cars, refusals, minutes, and the report."""

import json
from dataclasses import replace

import numpy as np
import pytest

from faulttree.scorer.network import build_network
from faulttree.study.cases import Case, Contradiction, Gathered
from faulttree.study.counting import numbers_of
from faulttree.study.learn import (
    ENOUGH_TIMES,
    TooContradictory,
    TooLittle,
    learn,
    timed,
    to_json,
    to_text,
)
from faulttree.study.simulate import finding_of, is_listed, observe, sureness
from faulttree.tree.car import Car
from faulttree.tree.model import Knowledge

from .shop import draw_any
from .small import small_knowledge

TRUTH = small_knowledge()


def mistaken() -> Knowledge:
    """The shelf as an author might have it who guessed five numbers badly."""
    causes = {
        **TRUTH.causes,
        "pump": replace(TRUTH.causes["pump"], how_common=0.05),
        "leak": replace(TRUTH.causes["leak"], how_common=0.4),
    }
    rough = TRUTH.trees["rough"]
    trees = {
        **TRUTH.trees,
        "rough": replace(rough, brings_on={**rough.brings_on, "rings": 0.8}),
    }
    tests = {
        **TRUTH.tests,
        "prime": replace(TRUTH.tests["prime"], points_to={"pump": {"low": 0.3, "high": 0.1}}),
        "smoke": replace(TRUTH.tests["smoke"], by_chance={"seen": 0.2}),
    }
    return replace(TRUTH, causes=causes, trees=trees, tests=tests)


def simulated(count: int, seed: int) -> list[Case]:
    """Cars drawn from the true shelf that come in with some complaint, every test read on each.

    Confirmed is what was at work; what else was there quietly stays unknown, as in a shop.
    """
    network = build_network(TRUTH, list(TRUTH.trees), Car())
    sure = sureness(TRUTH)
    random = np.random.default_rng(seed)
    cases: list[Case] = []
    while len(cases) < count:
        car = draw_any(network, random)
        complaints = frozenset(tree for tree in TRUTH.trees if car.has_complaint(tree))
        work = frozenset[str]().union(*(car.brings_on(tree) for tree in complaints))
        if not work or not all(map(is_listed, work)):
            continue
        readings = {}
        for test in TRUTH.tests:
            source = network.sources[test]
            said = observe(source, car.read(test), sure.get(test), random)
            readings[test] = finding_of(source, said, sure.get(test), 0).bands
        cases.append(Case(complaints, work, frozenset(TRUTH.causes), readings))
    return cases


def test_known_numbers_are_recovered_from_simulated_cars() -> None:
    """Numbers guessed badly come to the true ones, and nearly all lie within their intervals.

    Of a cause that one complaint alone can tell, sessions say how often it is at work, the product
    of its two numbers; how that falls to the two is left to the author, and the intervals know it.
    """
    lesson = learn(mistaken(), simulated(3000, 1), strength=10)
    true = numbers_of(TRUTH)
    inside, product = 0, 1.0
    for number in lesson.numbers:
        key = (number.kind, number.cause, number.where, number.band)
        inside += number.low <= true[key] <= number.high
        if number.cause == "leak" and number.kind in ("how_common", "brings_on"):
            product *= number.new
            continue
        assert number.new == pytest.approx(true[key], abs=0.06), key
        if abs(number.old - true[key]) > 0.05:
            assert abs(number.new - true[key]) < abs(number.old - true[key]) / 2, key
    assert product == pytest.approx(0.2 * 0.7, abs=0.01)
    assert inside >= 0.85 * len(lesson.numbers)


def test_a_strong_author_moves_less() -> None:
    """The larger the equivalent sample size of the author's number, the nearer the result to it."""
    cases = simulated(100, 2)

    def moved(strength: float) -> float:
        return sum(abs(n.new - n.old) for n in learn(mistaken(), cases, strength=strength).numbers)

    assert moved(5) > moved(50) > moved(5000) > 0


@pytest.mark.parametrize("strength", [0.0, -1.0, float("nan"), float("inf")])
def test_a_strength_is_a_number_above_zero(strength: float) -> None:
    """An author cannot count for nothing, for less, or for infinitely many cars."""
    with pytest.raises(ValueError, match="a number above zero"):
        learn(TRUTH, simulated(20, 3), strength=strength)


def test_too_few_sessions_are_refused() -> None:
    """Nineteen sessions are too few, and the message says how many it takes."""
    with pytest.raises(TooLittle, match=r"19 closed sessions.*it takes 20"):
        learn(TRUTH, simulated(19, 3))
    assert learn(TRUTH, simulated(20, 3)).sessions == 20


def test_too_many_contradictions_are_refused() -> None:
    """One session in five may contradict itself, one more may not; some are named, with why."""
    cases = tuple(simulated(40, 6))
    against = [Contradiction(f"session-{n}", "cured and not cured") for n in range(11)]
    lesson = learn(TRUTH, Gathered(cases, contradictions=tuple(against[:10])))
    assert lesson.contradictions == tuple(against[:10])
    assert "session-9: cured and not cured" in to_text(lesson)
    with pytest.raises(TooContradictory, match="11 of 51 sessions") as refused:
        learn(TRUTH, Gathered(cases, contradictions=tuple(against)))
    assert "session-0: cured and not cured" in str(refused.value)
    assert "and 6 more" in str(refused.value)


def test_a_number_seen_on_few_cars_is_not_offered() -> None:
    """A cause that was never confirmed keeps its number unoffered, with the reason."""
    cases = [case for case in simulated(120, 4) if "rings" not in case.causes]
    lesson = learn(TRUTH, cases)
    rings = [number for number in lesson.numbers if number.cause == "rings"]
    assert rings
    assert all(not number.offered and "seen on 0 cars" in number.why for number in rings)
    assert any(number.offered for number in lesson.numbers if number.cause == "leak")


def test_minutes_are_a_median_that_a_lunch_break_does_not_move() -> None:
    """The median and quartiles of what was measured stand; a gap far out above is set aside."""
    found = timed(TRUTH, "prime", [18, 22, 19, 21, 20, 23, 17, 20, 80])
    assert (found.old, found.new, found.times, found.set_aside) == (15, 20, 8, 1)
    assert found.lower_quartile == pytest.approx(
        np.quantile([17, 18, 19, 20, 20, 21, 22, 23], 0.25)
    )
    assert found.offered
    # What is always slow is no break.
    assert timed(TRUTH, "prime", [80, 75, 90, 85, 82, 79, 88, 84]).set_aside == 0
    # Nor is what took a little longer where all others took the same.
    assert timed(TRUTH, "prime", [20.0] * 8 + [24.0]).set_aside == 0
    assert timed(TRUTH, "prime", [20.0] * 8 + [40.0]).set_aside == 1


def test_minutes_measured_too_few_times_are_not_offered() -> None:
    """Seven times are too few, eight are enough."""
    few = timed(TRUTH, "prime", [20.0] * (ENOUGH_TIMES - 1))
    assert (few.offered, few.why) == (False, "timed 7 times; it takes 8")
    assert timed(TRUTH, "prime", [20.0] * ENOUGH_TIMES).offered


def test_the_text_says_old_new_and_on_how_many_cars() -> None:
    """A number outside its interval is marked, with the interval and the cars it rests on."""
    gathered = Gathered(tuple(simulated(400, 5)), {"still open": 3}, (), {"prime": [20.0] * 9})
    lesson = learn(mistaken(), gathered)
    text = to_text(lesson)
    (leak,) = [n for n in lesson.numbers if (n.kind, n.cause) == ("how_common", "leak")]
    row = f"* 0.4000  {leak.new:6.4f}  {leak.low:6.4f} - {leak.high:6.4f}  {leak.cars:5}  leak"
    assert row in text.splitlines()
    assert "Left out: 3 (still open)" in text
    assert "as if seen on 20 cars" in text
    assert "*  15.0    20.0   20.0 -  20.0       9  prime" in text.splitlines()


def test_json_holds_what_the_text_says() -> None:
    """Every number stands in the JSON with its interval, its cars, and whether it is offered."""
    lesson = learn(mistaken(), simulated(60, 5))
    data = json.loads(to_json(lesson, "trees/learned.yaml", {"a": "b"}))
    assert (data["sessions"], data["strength"]) == (60, 20.0)
    assert (data["written"], data["kept_out"]) == ("trees/learned.yaml", {"a": "b"})
    assert len(data["numbers"]) == len(numbers_of(TRUTH))
    assert {"old", "new", "low", "high", "cars", "offered", "why"} <= set(data["numbers"][0])
