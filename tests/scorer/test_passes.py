"""The passes from other sides: causes at work, parts of the evidence, width, small numbers."""

import itertools
import math
import random
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from faulttree.scorer import inference, passes, problem, sets
from faulttree.scorer.evidence import GONE, PRESENT, Entry, Evidence, Finding, weigh
from faulttree.scorer.inference import Impossible, Problem, look_ahead, solve, solve_parts
from faulttree.scorer.network import Network, Node, Source, make_network
from faulttree.tree.car import Car
from faulttree.tree.model import Knowledge, Part, Reading, Test

from .reference import enumerate_all, random_evidence, random_network, throws

cases = st.tuples(st.integers(0, 2**32), st.integers(0, 6))


def make(case: tuple[int, int]) -> tuple[Network, Evidence]:
    rng = random.Random(case[0])
    network = random_network(rng)
    return network, random_evidence(rng, network, case[1])


def at_work(network: Network, evidence: Evidence) -> list[float]:
    """The joint chance with the evidence that each cause is there now and at work in a complaint.

    Enumerated over every set of causes and every way of showing in every family.
    """
    count = len(network.nodes)
    complained = {network.sources[tree].family for tree in network.complaints}
    found = {network.sources[f.source].family for f in evidence.findings}
    mass = [0.0] * count
    for members in itertools.product([0, 1], repeat=count):
        present = [i for i in range(count) if members[i]]
        weight = math.prod(
            node.prior if here else 1 - node.prior
            for node, here in zip(network.nodes, members, strict=True)
        )
        # For each family the likelihood, and the part of it in which a cause is idle.
        idle = dict.fromkeys(present, weight)
        for family in sorted(complained | found):
            total, quiet = _likelihood(network, evidence, family, present)
            weight *= total
            for i in present:
                idle[i] *= quiet[i] if family in complained else total
        for i in present:
            if network.nodes[i].id not in evidence.repaired:
                mass[i] += weight - idle[i]
    return mass


def _likelihood(
    network: Network, evidence: Evidence, family: str, present: list[int]
) -> tuple[float, dict[int, float]]:
    findings = [f for f in evidence.findings if network.sources[f.source].family == family]
    total, quiet = 0.0, dict.fromkeys(present, 0.0)
    for showing in itertools.product([0, 1], repeat=len(present)):
        acting = [i for i, shows in zip(present, showing, strict=True) if shows]
        weight = math.prod(
            m if i in acting else 1 - m
            for i in present
            for m in [network.shows.get((i, family), 0.0)]
        )
        for finding in findings:
            source = network.sources[finding.source]
            rows = [list(source.leak)]
            rows += [r for i in acting if (r := throws(network, evidence, finding, i)) is not None]
            likelihood, before = 0.0, 1.0
            for k, band in enumerate(source.cascade):
                after = math.prod(max(0.0, 1 - sum(row[: k + 1])) for row in rows)
                likelihood += finding.bands.get(band, 0.0) * (before - after)
                before = after
            weight *= likelihood + finding.bands.get(source.expect, 0.0) * before
        total += weight
        for i in present:
            if i not in acting:
                quiet[i] += weight
    return total, quiet


@settings(max_examples=60, deadline=None)
@given(cases)
def test_causes_at_work_equal_enumeration(case: tuple[int, int]) -> None:
    """The chance of being at work is that of showing in a complaint, over every way to show."""
    network, evidence = make(case)
    total, _ = enumerate_all(network, evidence)
    if total < 1e-12:
        return
    expected = np.array(at_work(network, evidence)) / total
    assert solve(network, evidence).active == pytest.approx(expected, abs=1e-11)


@settings(max_examples=25, deadline=None)
@given(cases)
def test_causes_at_work_after_a_test_and_after_a_repair(case: tuple[int, int]) -> None:
    """What a look ahead says of causes at work is what enumeration says once it has been done."""
    network, evidence = make(case)
    total, _ = enumerate_all(network, evidence)
    if total < 1e-9:
        return
    causes = [n.id for i, n in enumerate(network.nodes) if i in network.relevant]
    causes = [cause for cause in causes if cause not in evidence.repaired]
    ahead = look_ahead(Problem(network, evidence), ["t2", "t4"], causes)
    assert ahead.posterior.active == pytest.approx(solve(network, evidence).active, abs=1e-12)
    for outlook in ahead.outlooks:
        for k, band in enumerate(outlook.bands):
            if outlook.chance[k] < 1e-4:
                continue
            finding = Finding(outlook.source, {band: 1.0}, evidence.stage)
            then = replace(evidence, findings=(*evidence.findings, finding))
            expected = np.array(at_work(network, then)) / (total * outlook.chance[k])
            assert outlook.active[k] == pytest.approx(expected, abs=1e-9)
    for repair in ahead.repairs:
        assert 0.0 <= repair.cured <= 1.0
        assert repair.active[network.index[repair.cause]] == 0.0


def test_a_failed_repair_leaves_the_others_at_work() -> None:
    """After a repair that did not cure, chances at work are those of the evidence that says so."""
    nodes = [Node(c, c, p, parts=50.0) for c, p in (("a", 0.2), ("b", 0.1), ("c", 0.05))]
    complaint = Source(
        "x", "x", (PRESENT,), GONE, "complaint:x", {0: (0.7,), 1: (0.5,), 2: (0.9,)}, (0.0,),
        is_complaint=True,
    )  # fmt: skip
    test = Source("t", "t", ("low",), "ok", "t", {0: (0.6,), 2: (0.3,)}, (0.02,))
    network = make_network(nodes, [complaint, test], ["x"])
    evidence = Evidence((Finding("x", {PRESENT: 1.0}), Finding("t", {"low": 1.0})))
    for repair in look_ahead(Problem(network, evidence), (), ["a", "b", "c"]).repairs:
        again = Finding("x", {PRESENT: 1.0}, 1)
        then = Evidence((*evidence.findings, again), {repair.cause: 1})
        after = solve(network, then)
        assert repair.active == pytest.approx(after.active, abs=1e-12)
        now = solve(network, evidence).log_evidence
        assert repair.cured == pytest.approx(1.0 - math.exp(after.log_evidence - now), abs=1e-12)


@settings(max_examples=40, deadline=None)
@given(cases, st.integers(0, 2**32))
def test_parts_of_the_evidence_equal_solving_them_alone(case: tuple[int, int], which: int) -> None:
    """Leaving findings out of one pass gives what the rest gives on its own."""
    network, evidence = make(case)
    rng = random.Random(which)
    kept = np.array([[rng.random() < 0.6 for _ in evidence.findings] for _ in range(4)], dtype=bool)
    kept = kept.reshape(4, len(evidence.findings))
    parts = solve_parts(Problem(network, evidence), kept)
    for row, log_evidence, was in zip(kept, parts.log_evidence, parts.was, strict=True):
        some = tuple(f for f, counts in zip(evidence.findings, row, strict=True) if counts)
        try:
            alone = solve(network, Evidence(some, evidence.repaired))
        except Impossible:
            assert log_evidence == -math.inf
            assert not was.any()
            continue
        assert was == pytest.approx(alone.was, abs=1e-12)
        assert log_evidence == pytest.approx(alone.log_evidence, abs=1e-11)


@settings(max_examples=20, deadline=None)
@given(cases)
@pytest.mark.parametrize(
    ("module", "name", "value"),
    [(passes, "CHUNK", 1), (problem, "FEW", 0), (problem, "WIDE", 0), (passes, "TINY", 1e300)],
)
def test_how_the_work_is_cut_up_does_not_matter(
    module: object, name: str, value: float, case: tuple[int, int]
) -> None:
    """Chunks, moved axes, another order and rescaling are a matter of speed alone."""
    network, evidence = make(case)
    tests, causes = list(network.sources), [node.id for node in network.nodes]

    def everything() -> list[np.ndarray]:
        try:
            ahead = look_ahead(Problem(network, evidence), tests, causes)
        except Impossible:
            return []
        cured = np.array([repair.cured for repair in ahead.repairs])
        return [ahead.posterior.was, ahead.chance, ahead.after, ahead.active, cured]

    usual = everything()
    before = getattr(module, name)
    setattr(module, name, value)
    try:
        other = everything()
    finally:
        setattr(module, name, before)
    assert len(usual) == len(other)
    for one, two in zip(usual, other, strict=True):
        assert one == pytest.approx(two, abs=1e-9)


@settings(max_examples=40, deadline=None)
@given(cases)
def test_causes_that_are_surely_there_or_surely_not(case: tuple[int, int]) -> None:
    """Priors of 0 and 1 are sums like any other, without a division by zero on the way."""
    network, evidence = make(case)
    rng = random.Random(case[0])
    nodes = [replace(node, prior=rng.choice([0.0, 1.0, node.prior])) for node in network.nodes]
    network = make_network(nodes, network.sources.values(), network.complaints)
    total, was = enumerate_all(network, evidence)
    if total < 1e-12:
        return
    with np.errstate(all="raise", under="ignore"):
        ahead = look_ahead(Problem(network, evidence), list(network.sources), list(network.index))
    assert ahead.posterior.was == pytest.approx(was, abs=1e-11)
    for values in (ahead.chance, ahead.after, ahead.active):
        assert ((values >= 0.0) & (values <= 1.0 + 1e-12)).all()
    assert all(0.0 <= repair.cured <= 1.0 for repair in ahead.repairs)


def crowded(findings: int, seed: int = 3, causes: int = 6) -> tuple[Network, Evidence]:
    """Few causes, each pushing every one of many findings: nothing can be summed out early."""
    rng = random.Random(seed)
    nodes = [Node(f"c{i}", f"c{i}", rng.uniform(0.05, 0.3)) for i in range(causes)]
    sources = [
        Source(
            f"t{j}",
            f"t{j}",
            ("bad",),
            "good",
            f"t{j}",
            {i: (rng.uniform(0.1, 0.9),) for i in range(causes)},
            (rng.uniform(0.01, 0.1),),
        )
        for j in range(findings)
    ]
    found = tuple(Finding(source.id, {"bad": 1.0}) for source in sources)
    return make_network(nodes, sources), Evidence(found)


def test_a_wide_table_is_still_exact() -> None:
    """With 15 abnormal findings open at once the chances are those of enumeration."""
    network, evidence = crowded(15)
    assert Problem(network, evidence).cells == 1 << 15
    total = 0.0
    mass = np.zeros(len(network.nodes))
    for members in itertools.product([0, 1], repeat=len(network.nodes)):
        weight = math.prod(
            node.prior if here else 1 - node.prior
            for node, here in zip(network.nodes, members, strict=True)
        )
        for source in network.sources.values():
            quiet = 1.0 - source.leak[0]
            for i, here in enumerate(members):
                quiet *= 1.0 - here * source.links[i][0]
            weight *= 1.0 - quiet
        total += weight
        mass += weight * np.array(members)
    posterior = solve(network, evidence)
    assert posterior.exact
    assert posterior.was == pytest.approx(mass / total, abs=1e-12)
    assert posterior.log_evidence == pytest.approx(math.log(total), abs=1e-10)


def test_past_the_limit_the_omitted_share_is_said() -> None:
    """One finding more than the table may hold: sets of a few causes, and what they leave out."""
    network, evidence = crowded(12, causes=9)
    exact = solve(network, evidence)
    limit = inference.STATE_LIMIT
    inference.STATE_LIMIT = 1 << 11
    try:
        rough = solve(network, evidence)
        ahead = look_ahead(Problem(network, evidence), [], ["c0"])
    finally:
        inference.STATE_LIMIT = limit
    assert exact.exact
    assert not rough.exact
    assert not ahead.posterior.exact
    left_out = 1.0 - math.exp(rough.log_evidence - exact.log_evidence)
    assert 0.0 < left_out <= rough.omitted < 1.0


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32), st.integers(1, 3))
def test_sets_never_weigh_more_than_everything(seed: int, size: int) -> None:
    """Fewer sets can only miss evidence, and what they miss is at most twice what they own to."""
    network, evidence = crowded(5, seed, causes=7)
    exact = solve(network, evidence)
    limit, usual = inference.STATE_LIMIT, sets.SET_SIZE
    inference.STATE_LIMIT, sets.SET_SIZE = 0, size
    try:
        rough = solve(network, evidence)
    finally:
        inference.STATE_LIMIT, sets.SET_SIZE = limit, usual
    left_out = 1.0 - math.exp(rough.log_evidence - exact.log_evidence)
    assert -1e-9 < left_out <= 2.0 * rough.omitted + 1e-9


def test_many_rare_findings_do_not_underflow() -> None:
    """Two hundred findings of one in ten million each: their logarithms simply add up."""
    nodes = [Node(f"c{j}", f"c{j}", 1e-6) for j in range(200)]
    sources = [
        Source(f"t{j}", f"t{j}", ("bad",), "good", f"t{j}", {j: (0.5,)}, (1e-7,))
        for j in range(200)
    ]
    found = tuple(Finding(source.id, {"bad": 1.0}) for source in sources)
    posterior = solve(make_network(nodes, sources), Evidence(found))
    with_it = 1e-6 * (1.0 - (1.0 - 1e-7) * 0.5)
    one = with_it + (1.0 - 1e-6) * 1e-7
    assert posterior.exact
    assert posterior.log_evidence == pytest.approx(200 * math.log(one), rel=1e-12)
    assert posterior.was == pytest.approx(with_it / one, rel=1e-12)


@settings(max_examples=40, deadline=None)
@given(cases)
def test_withdrawing_the_last_reading_restores_the_chances(case: tuple[int, int]) -> None:
    """Nothing of a reading stays behind in the network: the chances come back to the last digit."""
    network, evidence = make(case)
    try:
        before = solve(network, evidence)
    except Impossible:
        return
    more = Finding("t3", {"b0": 0.9, "ok": 0.1}, evidence.stage)
    for band in ("b0", "ok"):
        hard = replace(more, bands={band: 1.0})
        for finding in (more, hard):
            wider = replace(evidence, findings=(*evidence.findings, finding))
            try:
                look_ahead(Problem(network, wider), ["t2"], ["c0"])
            except Impossible:
                continue
    after = solve(network, evidence)
    assert (after.was == before.was).all()
    assert after.log_evidence == before.log_evidence


def test_an_impossible_band_has_no_chance_and_no_nonsense() -> None:
    """A band that nothing can bring gets the chance 0, and finite chances after it."""
    nodes = [Node("a", "a", 0.3), Node("b", "b", 0.2)]
    complaint = Source(
        "x", "x", (PRESENT,), GONE, "complaint:x", {0: (1.0,), 1: (1.0,)}, (0.0,),
        is_complaint=True,
    )  # fmt: skip
    sure = Source("t", "t", ("low", "high"), "ok", "t", {0: (1.0, 0.0), 1: (1.0, 0.0)}, (0.0, 0.0))
    network = make_network(nodes, [complaint, sure], ["x"])
    evidence = Evidence((Finding("x", {PRESENT: 1.0}),))
    (outlook,) = look_ahead(Problem(network, evidence), ["t"], []).outlooks
    assert outlook.chance == pytest.approx([1.0, 0.0, 0.0], abs=1e-12)
    assert np.isfinite(outlook.after).all()
    assert outlook.after[0] == pytest.approx(solve(network, evidence).present, abs=1e-12)


def test_deep_in_a_band_equals_hard_evidence() -> None:
    """A figure far from every limit moves the chances exactly as the band itself does."""
    part = Part("value", "psi", 1.0, (0.0, 120.0))
    test = Test(
        id="p", name="Pressure", kind="number", do="", bands=("low", "in limits", "high"),
        expect="in limits", by_chance={}, points_to={}, minutes=1, reach=0,
        reading=Reading((part,), "psi"), limits=(36.0, 44.0),
    )  # fmt: skip
    nothing = Knowledge({}, {}, {}, {}, {}, {}, {})
    nodes = [Node("a", "a", 0.1), Node("b", "b", 0.2)]
    links = {0: (0.7, 0.1), 1: (0.05, 0.6)}
    source = Source("p", "Pressure", test.cascade, test.expect, "p", links, (0.02, 0.03))
    network = make_network(nodes, [source])
    for figure, band in ((20.0, "low"), (40.0, "in limits"), (60.0, "high")):
        soft = weigh(test, [Entry(values={"value": (figure,)})], Car(), nothing).bands
        read = solve(network, Evidence((Finding("p", soft),)))
        known = solve(network, Evidence((Finding("p", {band: 1.0}),)))
        assert read.was == pytest.approx(known.was, abs=1e-11)
    # On a limit the two bands count alike: the chances lie between, odds for odds.
    soft = weigh(test, [Entry(values={"value": (36.0,)})], Car(), nothing).bands
    assert soft["low"] == pytest.approx(soft["in limits"], abs=1e-9)
