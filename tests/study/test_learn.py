"""Learning: known numbers recovered from simulated cars, and the sums against scipy."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
import scipy.stats

from faulttree.scorer.network import build_network
from faulttree.study.learn import (
    Case,
    TooLittle,
    beta_interval,
    cases_of,
    learn,
    numbers_of,
    to_text,
)
from faulttree.study.simulate import draw_any, finding_of, is_listed, observe, sureness
from faulttree.tree.car import Car
from faulttree.tree.model import Knowledge

from .small import small_knowledge
from .test_tally import START, session, write_log

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
    """Cars drawn from the true shelf that come in with some complaint, every test read on each."""
    network = build_network(TRUTH, list(TRUTH.trees), Car())
    sure = sureness(TRUTH)
    random = np.random.default_rng(seed)
    cases: list[Case] = []
    while len(cases) < count:
        car = draw_any(network, random)
        complaints = frozenset(tree for tree in TRUTH.trees if car.has_complaint(tree))
        if not complaints or not all(map(is_listed, car.causes)):
            continue
        readings = {}
        for test in TRUTH.tests:
            source = network.sources[test]
            said = observe(source, car.read(test), sure.get(test), random)
            readings[test] = finding_of(source, said, sure.get(test), 0).bands
        cases.append(Case(complaints, car.causes, frozenset(TRUTH.causes), readings))
    return cases


def test_known_numbers_are_recovered_from_simulated_cars() -> None:
    """Numbers guessed badly come to the true ones, and nearly all lie within their intervals."""
    lesson = learn(mistaken(), simulated(3000, 1), strength=10)
    true = numbers_of(TRUTH)
    inside = 0
    for number in lesson.numbers:
        key = (number.kind, number.cause, number.where, number.band)
        assert number.new == pytest.approx(true[key], abs=0.06), key
        inside += number.low <= true[key] <= number.high
        if abs(number.old - true[key]) > 0.05:
            assert abs(number.new - true[key]) < abs(number.old - true[key]) / 2, key
    assert inside >= 0.75 * len(lesson.numbers)


def test_a_strong_author_moves_less() -> None:
    """The larger the equivalent sample size of the author's number, the nearer the result to it."""
    cases = simulated(100, 2)

    def moved(strength: float) -> float:
        return sum(abs(n.new - n.old) for n in learn(mistaken(), cases, strength=strength).numbers)

    assert moved(5) > moved(50) > moved(5000) > 0


def test_too_few_sessions_are_refused() -> None:
    """Nineteen sessions are too few, and the message says how many it takes."""
    with pytest.raises(TooLittle, match=r"19 closed sessions.*it takes 20"):
        learn(TRUTH, simulated(19, 3))
    assert learn(TRUTH, simulated(20, 3)).sessions == 20


def test_a_number_seen_on_few_cars_is_not_offered() -> None:
    """A cause that was never confirmed keeps its number unoffered, with the reason."""
    cases = [replace(case, causes=case.causes - {"rings"}) for case in simulated(60, 4)]
    lesson = learn(TRUTH, cases)
    rings = [number for number in lesson.numbers if number.cause == "rings"]
    assert rings
    assert all(not number.offered and "seen on 0 cars" in number.why for number in rings)
    assert any(number.offered for number in lesson.numbers if number.cause == "leak")


@pytest.mark.parametrize(
    ("a", "b"), [(0.5, 0.5), (1.2, 30.0), (10.0, 10.0), (250.0, 4000.0), (90.0, 3.0)]
)
def test_intervals_agree_with_scipy(a: float, b: float) -> None:
    """The central 95 % of a Beta distribution are those of scipy.stats.beta."""
    assert beta_interval(a, b) == pytest.approx(scipy.stats.beta.interval(0.95, a, b), abs=1e-9)


def test_cases_come_from_closed_and_cured_logs_alone(tmp_path: Path) -> None:
    """Of four logs only the cured one with a listed cause counts; the rest are accounted for."""
    write_log(tmp_path / "a.jsonl", session("leak"))
    write_log(tmp_path / "b.jsonl", session("leak")[:4], START + timedelta(days=1))
    write_log(tmp_path / "c.jsonl", session("no such cause"))
    (tmp_path / "d.jsonl").write_text("rubbish\n")
    cases, skipped = cases_of(TRUTH, tmp_path)
    (case,) = cases
    assert case.causes == {"leak"}
    assert case.complaints == {"rough"}
    assert set(case.readings) == {"smoke", "prime"}
    assert skipped == {
        "still open": 1,
        "no listed cause confirmed": 1,
        "could not be read": 1,
    }


def test_the_text_says_old_new_and_on_how_many_cars() -> None:
    """A number that the sessions contradict is marked, and nothing is said to be written."""
    text = to_text(learn(mistaken(), simulated(400, 5), skipped={"still open": 3}))
    marked = [line for line in text.splitlines() if line.startswith("* ")]
    assert any("how common: leak" in line and "0.400" in line for line in marked)
    assert "Left out: 3 (still open)" in text
    assert "Nothing was written" in text
