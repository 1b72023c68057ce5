"""The short ways to judge many points: errors charged by the throw, a rough look first."""

import random
from dataclasses import replace

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from faulttree.scorer.advice import advise, judge, may_come_next
from faulttree.scorer.evidence import PRESENT, Evidence, Finding, spread_choice
from faulttree.scorer.inference import Problem, solve, solve_problem
from faulttree.scorer.network import Network, Source, make_network
from faulttree.scorer.problem import by_throw
from faulttree.scorer.promise import promising

from .reference import random_evidence, random_network
from .test_advice import COMPLAINT, one_of, telling

seeds = st.integers(0, 2**32)


def soft_evidence(rng: random.Random, network: Network, count: int) -> Evidence:
    """Looks at something, each right with the chance 0.9."""
    names = rng.sample(list(network.sources), count)
    sources = [network.sources[name] for name in names]
    return Evidence(
        tuple(Finding(s.id, spread_choice(s.bands, rng.choice(s.bands), 0.9)) for s in sources)
    )


def test_a_band_before_the_likeliest_counts_as_it_times_its_weight() -> None:
    """Of three bands and the expected one, the second seen: two states, the first is charged."""
    assert by_throw([0.1, 1.0, 0.1, 0.1]) == ((1, 1, 0, 0), [0.1, 1.0], (0.1, 1.0, 1.0, 1.0))
    # The expected band seen: nothing is left open, every other band is charged.
    assert by_throw([0.1, 0.1, 0.1, 1.0]) == ((0, 0, 0, 0), [1.0], (0.1, 0.1, 0.1, 1.0))
    # A hard reading is as it was.
    assert by_throw([0.0, 1.0, 0.0]) == ((1, 1, 0), [0.0, 1.0], (0.0, 1.0, 1.0))


@settings(max_examples=60, deadline=None)
@given(seeds)
def test_charging_by_the_throw_is_exact_when_one_cause_throws(seed: int) -> None:
    """With one cause and no leak nothing is thrown twice, so nothing is lost."""
    rng = random.Random(seed)
    network = random_network(rng, causes=1)
    sources = [_without_leak(network, name) for name in network.sources]
    network = make_network(network.nodes, sources, ["t0", "t1"])
    evidence = soft_evidence(rng, network, 4)
    exact = solve(network, evidence)
    short = solve_problem(Problem(network, evidence, charged=True))
    assert short.log_evidence == pytest.approx(exact.log_evidence, abs=1e-12)
    assert short.present == pytest.approx(exact.present, abs=1e-12)


def _without_leak(network: Network, name: str) -> Source:
    source = network.sources[name]
    return replace(source, leak=tuple(0.0 for _ in source.leak))


@settings(max_examples=60, deadline=None)
@given(seeds)
def test_charging_by_the_throw_leaves_hard_readings_alone(seed: int) -> None:
    """Without an error to charge, the chances are the same and so is the table."""
    rng = random.Random(seed)
    network = random_network(rng)
    found = random_evidence(rng, network, 5)
    hard = Evidence(
        tuple(
            Finding(f.source, {max(f.bands, key=lambda b: f.bands[b]): 1.0}, f.stage, f.showing)
            for f in found.findings
        ),
        found.repaired,
    )
    exact, short = Problem(network, hard), Problem(network, hard, charged=True)
    assert exact.cells == short.cells
    assert solve_problem(short).present == pytest.approx(solve_problem(exact).present, abs=1e-12)


@settings(max_examples=60, deadline=None)
@given(seeds)
def test_charging_by_the_throw_takes_no_wider_a_table_than_certainty(seed: int) -> None:
    """A look costs as many states as if its band were certain, and no more than with its error."""
    rng = random.Random(seed)
    network = random_network(rng, tests=6)
    evidence = soft_evidence(rng, network, 5)
    short = Problem(network, evidence, charged=True)
    assert all(read.pushed.size <= 2 for read in short.opens)
    assert len(short.opens) <= len(Problem(network, evidence).opens)


def single(seed: int) -> Network:
    """Six causes that exclude one another, and thirty tests that tell more or less of them."""
    rng = random.Random(seed)
    weights = [rng.random() + 0.05 for _ in range(6)]
    chances = {f"c{i}": w / sum(weights) for i, w in enumerate(weights)}
    costs = {cause: rng.uniform(20.0, 200.0) for cause in chances}
    tests = [
        telling(
            f"t{n}",
            {i: rng.uniform(0.1, 0.95) for i in rng.sample(range(6), rng.randint(1, 3))},
            minutes=rng.uniform(2.0, 40.0),
        )
        for n in range(30)
    ]
    return one_of(chances, costs, *tests)


@settings(max_examples=40, deadline=None)
@given(seeds)
def test_what_would_come_first_is_among_the_promising(seed: int) -> None:
    """Among causes that exclude one another the rough look misses no best test."""
    network = single(seed)
    evidence = Evidence((COMPLAINT, Finding("t0", {"good": 1.0})))
    problem = Problem(network, evidence)
    now = solve_problem(problem)
    names = may_come_next(network, evidence)
    few = promising(problem, now.present, now.active, names, 6)
    assert len(few) <= 12 < len(names)
    assert set(few) <= set(names)
    first = advise(network, evidence)[0]
    if first.kind == "test":
        assert first.id in few
    judged = judge(problem, few, first_only=True).suggestions[0]
    assert (judged.kind, judged.id) == (first.kind, first.id)
    assert judged.expected_cost == pytest.approx(first.expected_cost, rel=0.01)


def test_few_tests_are_all_promising() -> None:
    """Where there is nothing to sort out, nothing is sorted out."""
    network = one_of({"a": 0.5, "b": 0.5}, {"a": 10.0, "b": 10.0}, telling("t", {0: 0.9}))
    problem = Problem(network, Evidence((COMPLAINT,)))
    now = solve_problem(problem)
    assert promising(problem, now.present, now.active, ["t"], 4) == ["t"]


@settings(max_examples=40, deadline=None)
@example(124994)
@given(seeds)
def test_what_comes_first_alone_is_what_comes_first_of_all(seed: int) -> None:
    """Judged for the first alone, the first is the same, at the same cost, without its words."""
    rng = random.Random(seed)
    network = random_network(rng)
    evidence = Evidence((Finding("t0", {PRESENT: 1.0}), Finding("t2", {"ok": 1.0})))
    whole = advise(network, evidence)
    problem = Problem(network, evidence)
    brief = judge(problem, may_come_next(network, evidence), first_only=True).suggestions
    assert bool(brief) == bool(whole)
    if not whole:
        return  # no cause is at work: nothing is left to advise
    assert sum(s.kind == "repair" for s in brief) <= 1
    assert (brief[0].kind, brief[0].id) == (whole[0].kind, whole[0].id)
    assert brief[0].expected_cost == whole[0].expected_cost
    assert all(s.settles == () for s in brief if s.kind == "test")
