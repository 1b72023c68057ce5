"""The hidden cars against exact chances, and against the scorer's own model."""

import math
from dataclasses import replace

import numpy as np
import pytest

from faulttree.scorer.evidence import GONE, PRESENT, Evidence, Finding
from faulttree.scorer.inference import Problem, solve, solve_problem, sweep
from faulttree.scorer.network import make_network
from faulttree.study.simulate import HiddenCar, OutOfReach, draw_car, finding_of, observe

from .small import complaint, small_network

RUNS = 6000
COMPLAINT = Finding("rough", {PRESENT: 1.0, GONE: 0.0})


def within(found: int, runs: int, chance: float) -> bool:
    """Whether a count is within four and a half standard deviations of what it should be."""
    return abs(found - runs * chance) <= 4.5 * math.sqrt(runs * chance * (1.0 - chance)) + 1


def test_causes_come_as_the_posterior_after_the_complaint() -> None:
    """Cars drawn with the complaint hold each cause as often as exact inference says."""
    network = small_network()
    random = np.random.default_rng(1)
    cars = [draw_car(network, random) for _ in range(RUNS)]
    chances = solve(network, Evidence((COMPLAINT,))).chances
    for cause, chance in chances.items():
        assert within(sum(cause in car.causes for car in cars), RUNS, chance), cause


def test_answers_come_as_the_outlook_of_the_test() -> None:
    """Each band of each test is read as often as the scorer expects after the complaint."""
    network = small_network()
    random = np.random.default_rng(2)
    tests = ["prime", "load", "smoke", "squeeze"]
    cars = [draw_car(network, random) for _ in range(RUNS)]
    problem = Problem(network, Evidence((COMPLAINT,)))
    for outlook in sweep(problem, solve_problem(problem), tests):
        answers = [car.read(outlook.source) for car in cars]
        for band, chance in zip(outlook.bands, outlook.chance, strict=True):
            assert within(answers.count(band), RUNS, float(chance)), (outlook.source, band)


def test_a_second_reading_of_a_family_follows_the_first() -> None:
    """Both pressures low together are as common as the family's model says, not as two chances."""
    network = small_network()
    random = np.random.default_rng(3)
    both = 0
    for _ in range(RUNS):
        car = draw_car(network, random)
        both += car.read("prime") == "low" and car.read("load") == "low"
    start = solve(network, Evidence((COMPLAINT,))).log_evidence
    low = Evidence((COMPLAINT, Finding("prime", {"low": 1.0}), Finding("load", {"low": 1.0})))
    assert within(both, RUNS, math.exp(solve(network, low).log_evidence - start))


def test_a_named_cause_is_at_work() -> None:
    """A car drawn for a cause has it, and has it bring the complaint on."""
    network = small_network()
    random = np.random.default_rng(4)
    for _ in range(200):
        car = draw_car(network, random, "rings")
        assert "rings" in car.brings_on("rough")
        assert car.has_complaint("rough")


def test_a_repair_cures_only_what_was_at_work() -> None:
    """Once every cause at work is repaired the complaint is gone, and not before."""
    network = small_network()
    random = np.random.default_rng(5)
    for _ in range(300):
        car = draw_car(network, random)
        while at_work := car.brings_on("rough"):
            assert car.has_complaint("rough")
            car.repair(sorted(at_work)[0])
        assert not car.has_complaint("rough")


def test_a_cause_that_cannot_bring_the_complaint_on_is_refused() -> None:
    """A cause without a link to the complaint is said to be out of reach, not searched for."""
    network = small_network()
    links = {k: v for k, v in network.sources["rough"].links.items() if k != 2}
    sources = [
        replace(source, links=links) if source.is_complaint else source
        for source in network.sources.values()
    ]
    without = make_network(network.nodes, sources, ["rough"])
    with pytest.raises(OutOfReach, match="Worn rings"):
        draw_car(without, np.random.default_rng(0), "rings")


def test_an_observer_errs_at_choices_alone_and_as_often_as_said() -> None:
    """A choice with `sure` 0.8 is said wrongly in a fifth of cases; a number never is."""
    source = small_network().sources["prime"]
    random = np.random.default_rng(6)
    said = [observe(source, "low", 0.8, random) for _ in range(RUNS)]
    assert within(said.count("low"), RUNS, 0.8)
    assert within(said.count("high"), RUNS, 0.1)
    assert {observe(source, "low", None, random) for _ in range(100)} == {"low"}
    assert finding_of(source, "low", None, 2) == Finding("prime", {"low": 1.0}, 2)
    assert finding_of(source, "low", 0.8, 0).bands == pytest.approx(
        {"low": 0.8, "high": 0.1, "fine": 0.1}
    )


def test_a_test_that_needs_the_complaint_shows_less_without_it() -> None:
    """Read while nothing shows, a fault is seen `shows_only` times as often; the leak stays."""
    network = small_network()
    source = replace(network.sources["squeeze"], shows_only=0.25)
    sources = {**network.sources, "squeeze": source}
    network = make_network(network.nodes, sources.values(), ["rough"])
    random = np.random.default_rng(7)
    cars = [draw_car(network, random, "rings") for _ in range(RUNS)]
    low = sum(car.read("squeeze", showing=False) == "low" for car in cars)
    assert within(low, RUNS, 1.0 - (1.0 - 0.9 * 0.25) * (1.0 - 0.01))
    # A test that does not need it is not touched.
    low = sum(car.read("load", showing=False) == "low" for car in cars)
    assert within(low, RUNS, _load_low(cars))


def _load_low(cars: list[HiddenCar]) -> float:
    """How often the loaded pressure is low, from what each car holds."""
    total = 0.0
    for car in cars:
        fine = 0.96
        for cause, chance in (("pump", 0.8), ("rings", 0.1)):
            fine *= 1.0 - chance * (cause in car.causes)
        total += 1.0 - fine
    return total / len(cars)


def test_cars_with_two_complaints_have_both() -> None:
    """Drawn for two complaints, every car has each, and causes come as the posterior says."""
    network = small_network()
    second = complaint("weak", {0: 0.6, 2: 0.5}, 3)
    network = make_network(network.nodes, [*network.sources.values(), second], ["rough", "weak"])
    random = np.random.default_rng(8)
    cars = [draw_car(network, random) for _ in range(1500)]
    assert all(car.has_complaint("rough") and car.has_complaint("weak") for car in cars)
    both = Evidence((COMPLAINT, Finding("weak", {PRESENT: 1.0, GONE: 0.0})))
    for cause, chance in solve(network, both).chances.items():
        assert within(sum(cause in car.causes for car in cars), 1500, chance), cause
