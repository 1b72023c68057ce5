"""The posterior and the sweeps against enumeration, against pyagrum, and against themselves."""

import math
import random
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from faulttree.scorer import inference
from faulttree.scorer.evidence import GONE, PRESENT, Evidence, Finding
from faulttree.scorer.inference import Impossible, Problem, solve, sweep, sweep_repairs
from faulttree.scorer.network import Network, Node, build_network, make_network
from faulttree.tree.car import describe_car
from faulttree.tree.load import load

from .reference import by_pyagrum, enumerate_all, random_evidence, random_network

TREES = Path(__file__).parents[2] / "trees"

cases = st.tuples(st.integers(0, 2**32), st.integers(0, 6))


def make(case: tuple[int, int]) -> tuple[Network, Evidence]:
    rng = random.Random(case[0])
    network = random_network(rng)
    return network, random_evidence(rng, network, case[1])


@settings(max_examples=120, deadline=None)
@given(cases)
def test_posterior_equals_enumeration(case: tuple[int, int]) -> None:
    """Chances and evidence agree with the sum over every set of causes to 1e-12."""
    network, evidence = make(case)
    total, was = enumerate_all(network, evidence)
    if total == 0.0:
        with pytest.raises(Impossible):
            solve(network, evidence)
        return
    posterior = solve(network, evidence)
    assert posterior.exact
    assert max(abs(a - b) for a, b in zip(posterior.was, was, strict=True)) < 1e-12
    assert posterior.log_evidence == pytest.approx(math.log(total), abs=1e-11)


@settings(max_examples=40, deadline=None)
@given(cases)
def test_sweep_equals_doing_the_test(case: tuple[int, int]) -> None:
    """Each band's chance and the chances after it are those of really reading that band."""
    network, evidence = make(case)
    total, _ = enumerate_all(network, evidence)
    if total < 1e-9:
        return
    posterior = solve(network, evidence)
    for outlook in sweep(Problem(network, evidence), posterior, list(network.sources)):
        assert outlook.chance.sum() == pytest.approx(1.0, abs=1e-12)
        for k, band in enumerate(outlook.bands):
            finding = Finding(outlook.source, {band: 1.0}, evidence.stage)
            then = replace(evidence, findings=(*evidence.findings, finding))
            joint, was = enumerate_all(network, then)
            assert outlook.chance[k] == pytest.approx(joint / total, abs=1e-12)
            # A chance after a band is a quotient: as exact as rounding leaves it over the band's.
            slack = max(1e-12, 1e-12 * total / joint) if joint > 0.0 else math.inf
            for i, node in enumerate(network.nodes):
                now = 0.0 if node.id in evidence.repaired else was[i]
                assert outlook.after[k, i] == pytest.approx(now, abs=slack)


@settings(max_examples=40, deadline=None)
@given(cases)
def test_repair_outlook_equals_doing_the_repair(case: tuple[int, int]) -> None:
    """The chance of a cure is that of finding every complaint gone after the repair."""
    network, evidence = make(case)
    if enumerate_all(network, evidence)[0] < 1e-9:
        return
    posterior = solve(network, evidence)
    causes = [
        node.id
        for i, node in enumerate(network.nodes)
        if i in network.relevant and node.id not in evidence.repaired
    ]
    total, _ = enumerate_all(network, evidence)
    for outlook in sweep_repairs(Problem(network, evidence), posterior, causes):
        stage = evidence.stage + 1
        gone = tuple(Finding(tree, {GONE: 1.0}, stage) for tree in network.complaints)
        then = Evidence((*evidence.findings, *gone), {**evidence.repaired, outlook.cause: stage})
        cured, _ = enumerate_all(network, then)
        assert outlook.cured == pytest.approx(cured / total, abs=1e-12)


@pytest.mark.parametrize("seed", range(12))
def test_random_networks_agree_with_pyagrum(seed: int) -> None:
    """On networks too large to enumerate the chances equal pyagrum's exact inference to 1e-9."""
    rng = random.Random(seed)
    network = random_network(rng, causes=16, tests=12)
    evidence = random_evidence(rng, network, 9, repairs=3)
    try:
        ours = solve(network, evidence)
    except Impossible:
        return
    theirs = by_pyagrum(network, evidence)
    assert max(abs(a - b) for a, b in zip(ours.was, theirs, strict=True)) < 1e-9


@pytest.mark.parametrize("tree", ["idle-unsteady", "stumble-on-opening", "misfire"])
@pytest.mark.parametrize("vehicle", ["camper-four", "saloon-six", "estate-vee-eight"])
def test_shipped_trees_agree_with_pyagrum(tree: str, vehicle: str) -> None:
    """On every shipped engine kind the chances equal pyagrum's exact inference to 1e-9."""
    knowledge = load([tree], trees_dir=TREES)
    network = build_network(knowledge, [tree], describe_car(knowledge, vehicle))
    rng = random.Random(f"{tree} {vehicle}")
    tests = [name for name, source in network.sources.items() if source.links and name != tree]
    worst = 0.0
    for _ in range(17):
        evidence = random_evidence(rng, network, rng.randint(1, 6), tests)
        evidence = Evidence((Finding(tree, {PRESENT: 1.0}), *evidence.findings), evidence.repaired)
        ours = solve(network, evidence)
        theirs = by_pyagrum(network, evidence)
        worst = max(worst, max(abs(a - b) for a, b in zip(ours.was, theirs, strict=True)))
    assert worst < 1e-9


@settings(max_examples=60, deadline=None)
@given(cases, st.randoms())
def test_order_between_repairs_does_not_matter(
    case: tuple[int, int], shuffler: random.Random
) -> None:
    """Findings may be entered in any order without changing a chance."""
    network, evidence = make(case)
    mixed = list(evidence.findings)
    shuffler.shuffle(mixed)
    try:
        first = solve(network, evidence)
    except Impossible:
        return
    second = solve(network, replace(evidence, findings=tuple(mixed)))
    assert first.was == pytest.approx(second.was, abs=1e-12)


@settings(max_examples=60, deadline=None)
@given(cases)
def test_chances_stay_in_bounds(case: tuple[int, int]) -> None:
    """Every chance lies in [0, 1], and a repaired cause is absent now."""
    network, evidence = make(case)
    try:
        posterior = solve(network, evidence)
    except Impossible:
        return
    assert ((posterior.was >= 0) & (posterior.was <= 1)).all()
    for cause in evidence.repaired:
        assert posterior.chances[cause] == 0.0


@settings(max_examples=40, deadline=None)
@given(cases)
def test_an_untouched_cause_moves_nothing_else(case: tuple[int, int]) -> None:
    """A cause that no test is pointed to by keeps its prior and leaves the others alone."""
    network, evidence = make(case)
    try:
        before = solve(network, evidence)
    except Impossible:
        return
    wider = make_network(
        (*network.nodes, Node("apart", "apart", 0.123)),
        network.sources.values(),
        network.complaints,
    )
    after = solve(wider, evidence)
    assert after.chances["apart"] == pytest.approx(0.123, abs=1e-15)
    assert after.was[:-1] == pytest.approx(before.was, abs=1e-14)


@settings(max_examples=40, deadline=None)
@given(cases)
def test_a_test_nobody_points_to_moves_nothing(case: tuple[int, int]) -> None:
    """Reading a test without links changes no chance, whatever it shows."""
    network, evidence = make(case)
    lone = replace(network.sources["t4"], id="lone", family="lone", links={})
    wider = make_network(network.nodes, (*network.sources.values(), lone), network.complaints)
    try:
        before = solve(wider, evidence)
    except Impossible:
        return
    for band in lone.bands:
        finding = Finding("lone", {band: 1.0}, evidence.stage)
        after = solve(wider, replace(evidence, findings=(*evidence.findings, finding)))
        assert after.was == pytest.approx(before.was, abs=1e-12)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32))
def test_fallback_is_exact_when_sets_are_large_enough(seed: int) -> None:
    """With sets of every size allowed, the enumeration gives the exact chances."""
    rng = random.Random(seed)
    network = random_network(rng, causes=4)
    evidence = random_evidence(rng, network, 5)
    try:
        exact = solve(network, evidence)
    except Impossible:
        return
    limit = inference.STATE_LIMIT
    inference.STATE_LIMIT = 0
    try:
        rough = solve(network, evidence)
    finally:
        inference.STATE_LIMIT = limit
    assert not rough.exact or not Problem(network, evidence).opens
    assert rough.was == pytest.approx(exact.was, abs=1e-11)
    assert rough.log_evidence == pytest.approx(exact.log_evidence, abs=1e-10)


def test_fallback_says_so_and_stays_close(monkeypatch: pytest.MonkeyPatch) -> None:
    """Past the limit the shipped network is enumerated, flagged, and off by less than it says."""
    knowledge = load(["idle-unsteady"], trees_dir=TREES)
    network = build_network(knowledge, ["idle-unsteady"], describe_car(knowledge))
    evidence = Evidence(
        (
            Finding("idle-unsteady", {PRESENT: 1.0}),
            Finding("manifold-vacuum-idle", {"low": 1.0}),
            Finding("idle-return", {"slow": 1.0}),
        )
    )
    exact = solve(network, evidence)
    monkeypatch.setattr(inference, "STATE_LIMIT", 1)
    rough = solve(network, evidence)
    assert exact.exact
    assert not rough.exact
    assert 0.0 < rough.omitted < 0.1
    assert abs(rough.was - exact.was).max() < 5 * rough.omitted


def test_nothing_explains_the_impossible() -> None:
    """A reading that no cause and no chance can bring is refused, not divided by zero."""
    network, _ = make((1, 0))
    sealed = replace(network.sources["t2"], id="sealed", links={}, family="x", leak=(0.0,) * 3)
    sealed = replace(sealed, cascade=("b0", "b1", "b2"))
    wider = make_network(network.nodes, (*network.sources.values(), sealed))
    with pytest.raises(Impossible):
        solve(wider, Evidence((Finding("sealed", {"b0": 1.0}),)))
