"""Explanation: weights that add up, conflicts that name a reading, and plain words."""

import math
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from faulttree.scorer.evidence import GONE, PRESENT, Evidence, Finding
from faulttree.scorer.explain import (
    biggest_moves,
    conflict,
    explain,
    opening_findings,
    percent,
    weight_of_evidence,
)
from faulttree.scorer.inference import Impossible, solve
from faulttree.scorer.network import Network, Node, Source, make_network

from .reference import enumerate_all, random_evidence, random_network

COMPLAINT = Finding("complaint", {PRESENT: 1.0})


def three_gauges() -> Network:
    """One likely cause that three tests show nearly always, and a rival that none shows."""
    nodes = [Node("pump", "Weak pump", 0.1), Node("coil", "Weak coil", 0.1)]
    complaint = Source(
        "complaint", "It stalls", (PRESENT,), GONE, "complaint", {0: (0.9,), 1: (0.9,)}, (0.01,),
        is_complaint=True,
    )  # fmt: skip
    gauges = [
        Source(name, f"Gauge {name}", ("low",), "in limits", name, {0: (0.98,)}, (0.01,))
        for name in ("a", "b", "c")
    ]
    return make_network(nodes, [complaint, *gauges], ["complaint"])


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32), st.integers(1, 5))
def test_decibans_add_up(seed: int, findings: int) -> None:
    """The weights of all steps sum to the whole way, for every cause short of certainty."""
    rng = random.Random(seed)
    network = random_network(rng)
    evidence = random_evidence(rng, network, findings)
    try:
        end = dict(zip(network.index, solve(network, evidence).was, strict=True))
        found = explain(network, evidence)
    except Impossible:
        return
    assert len(found.steps) == findings - opening_findings(network, evidence)
    for cause, start in found.start.items():
        way = [start, *(step.chances[cause] for step in found.steps)]
        assert way[-1] == pytest.approx(end[cause], abs=1e-12)
        if all(1e-9 < chance < 1 - 1e-9 for chance in way):
            total = sum(step.decibans[cause] for step in found.steps)
            odds = (way[-1] / (1 - way[-1])) / (start / (1 - start))
            assert total == pytest.approx(10 * math.log10(odds), abs=1e-6)


def test_a_step_speaks_of_its_own_reading() -> None:
    """Each step names its test and band, and moves the cause as that reading should."""
    evidence = Evidence((COMPLAINT, Finding("a", {"low": 1.0}), Finding("b", {"in limits": 1.0})))
    found = explain(three_gauges(), evidence)
    assert [(step.source, step.band, step.index) for step in found.steps] == [
        ("a", "low", 1),
        ("b", "in limits", 2),
    ]
    assert found.steps[0].decibans["pump"] > 10
    assert found.steps[1].decibans["pump"] < -10


def test_a_repair_is_not_taken_for_evidence() -> None:
    """What a repair does to a chance is no reading's weight: only findings move the past."""
    network = three_gauges()
    before = Evidence((COMPLAINT, Finding("a", {"low": 1.0})))
    after = Evidence(before.findings, {"pump": 1})
    assert explain(network, before).steps == explain(network, after).steps


def test_the_reading_that_sits_worst_is_named() -> None:
    """Of three gauges of one cause, the one that disagrees is to be taken again."""
    network = three_gauges()
    low, fine = {"low": 1.0}, {"in limits": 1.0}
    for odd in "abc":
        readings = [Finding(name, fine if name == odd else low) for name in "abc"]
        found = conflict(network, Evidence((COMPLAINT, *readings)))
        assert found.worst == odd
        assert found.measure > 0
    # And the other way about: one that reads low where two are fine.
    readings = [Finding(name, low if name == "b" else fine) for name in "abc"]
    assert conflict(network, Evidence((COMPLAINT, *readings))).worst == "b"


def test_readings_that_agree_are_no_conflict() -> None:
    """Readings that support each other are likelier together than apart."""
    readings = [Finding(name, {"low": 1.0}) for name in "abc"]
    found = conflict(three_gauges(), Evidence((COMPLAINT, *readings)))
    assert found.measure < 0
    assert found.worst is None
    assert not found.serious
    assert found.message == ""


def test_a_serious_conflict_says_what_to_do() -> None:
    """Readings 30 times likelier apart than together name the reading, and say to repeat it."""
    nodes = [Node("pump", "Weak pump", 0.5)]
    sources = [
        Source(name, f"Gauge {name}", ("low",), "in limits", name, {0: (0.999,)}, (0.001,))
        for name in ("a", "b", "c")
    ]
    evidence = Evidence(
        (
            Finding("a", {"low": 1.0}),
            Finding("b", {"low": 1.0}),
            Finding("c", {"in limits": 1.0}),
        )
    )
    found = conflict(make_network(nodes, sources), evidence)
    assert found.serious
    assert found.message == (
        "The readings do not fit together well. Gauge c (in limits) sits worst: "
        "take it again before you rely on it."
    )


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32))
def test_the_measure_is_that_of_enumeration(seed: int) -> None:
    """ln of the product of the single chances over the joint one, both by enumeration."""
    rng = random.Random(seed)
    network = random_network(rng)
    evidence = random_evidence(rng, network, 4, ["t2", "t3", "t4"])
    joint, _ = enumerate_all(network, evidence)
    alone = [
        enumerate_all(network, Evidence((finding,), evidence.repaired))[0]
        for finding in evidence.findings
    ]
    if joint < 1e-12 or min(alone) < 1e-12:
        return
    expected = sum(map(math.log, alone)) - math.log(joint)
    assert conflict(network, evidence).measure == pytest.approx(expected, abs=1e-9)


def test_evidence_that_nothing_explains_still_names_a_reading() -> None:
    """When the readings contradict each other outright, the measure is without limit."""
    nodes = [Node("pump", "Weak pump", 0.3)]
    sources = [
        Source(name, f"Gauge {name}", ("low",), "in limits", name, {0: (1.0,)}, (0.0,))
        for name in ("a", "b")
    ]
    evidence = Evidence((Finding("a", {"low": 1.0}), Finding("b", {"in limits": 1.0})))
    found = conflict(make_network(nodes, sources), evidence)
    assert found.measure == math.inf
    assert found.worst in ("a", "b")
    assert found.serious


def test_weights_are_held_at_certainty() -> None:
    """A step to certainty weighs 200 decibans, not without limit; back again the same."""
    assert weight_of_evidence(0.5, 1.0) == 200.0
    assert weight_of_evidence(0.5, 0.0) == -200.0
    assert weight_of_evidence(1.0, 0.0) == -200.0
    assert weight_of_evidence(0.0, 0.0) == 0.0


@pytest.mark.parametrize(
    ("chance", "said"),
    [
        (0.005, "≤1 %"),
        (0.995, "≥99 %"),
        (0.0, "0 %"),
        (1e-5, "≤1 %"),
        (0.123, "12 %"),
        (0.9949, "99 %"),
        (0.99999, "≥99 %"),
        (1.0, "100 %"),
    ],
)
def test_percent_is_never_falsely_certain(chance: float, said: str) -> None:
    """Only certainty reads 0 or 100 %."""
    assert percent(chance) == said


def test_biggest_moves_come_first() -> None:
    """Moves are told from the largest on, small ones not at all."""
    before = {"a": 0.5, "b": 0.2, "c": 0.3}
    names = {"a": "Weak pump", "b": "Weak coil"}
    assert biggest_moves(before, {"a": 0.1, "b": 0.9, "c": 0.31}, names) == [
        "Weak coil rose from 20 % to 90 %",
        "Weak pump fell from 50 % to 10 %",
    ]
    assert biggest_moves(before, before, names) == ["This reading changed little."]
