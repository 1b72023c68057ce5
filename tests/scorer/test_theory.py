"""Published values for the scorer, each beside its source and how it was had.

`read` means read in a stored copy or a text that quotes it; `from memory` that the figure was
remembered. All were recomputed by hand before they were written down. The budget of NIST TN 1297
and the JCGM 100 figures stand in `test_evidence`, repair order in `test_advice`, the Brier score
with the exercise. The chest clinic of Lauritzen and Spiegelhalter 1988 does not apply: its dyspnoea
(0.1, 0.7, 0.8, 0.9) is no noisy-OR, which would need 0.93 for both causes, so no tree can hold it.
"""

import math

import pytest

from faulttree.scorer.advice import advise
from faulttree.scorer.evidence import GONE, PRESENT, Evidence, Finding, conformance
from faulttree.scorer.explain import weight_of_evidence
from faulttree.scorer.inference import solve
from faulttree.scorer.network import Network, Node, Source, make_network


def chance(network: Network, *findings: Finding) -> dict[str, float]:
    return solve(network, Evidence(findings)).chances


def one_test(
    priors: dict[str, float], links: dict[str, float], leak: float = 0.0, id: str = "e"
) -> Network:
    """Causes with one yes-or-no finding."""
    nodes = [Node(name, name, p) for name, p in priors.items()]
    index = {name: i for i, name in enumerate(priors)}
    rows = {index[name]: (q,) for name, q in links.items()}
    return make_network(nodes, [Source(id, id, ("yes",), "no", id, rows, (leak,))])


def test_conformance_between_two_limits() -> None:
    """JCGM 106:2012, 7.4 (inputs read, 0.66 from memory): y 13.6, u 1.8, limits 12.5, 16.3."""
    assert conformance(13.6, 1.8, [12.5, 16.3])[1] == pytest.approx(0.6626, abs=5e-5)


def test_noisy_or_of_three_fevers() -> None:
    """Fever example of Russell and Norvig (from memory): inhibitors .6 .2 .1 give .012."""
    sure = 1 - 1e-9
    network = one_test(
        {"cold": sure, "flu": sure, "malaria": sure}, {"cold": 0.4, "flu": 0.8, "malaria": 0.9}
    )
    none = solve(network, Evidence((Finding("e", {"no": 1.0}),)))
    assert math.exp(none.log_evidence) == pytest.approx(0.012, abs=1e-8)


def test_leak_is_an_independent_cause() -> None:
    """Diez's convention (recomputed with pyagrum): links .8 and .6, leak .1, both on: .928.

    The other convention in use (Henrion) would give .9111.
    """
    sure = 1 - 1e-12
    network = one_test({"a": sure, "b": sure}, {"a": 0.8, "b": 0.6}, leak=0.1)
    fired = solve(network, Evidence((Finding("e", {"yes": 1.0}),)))
    assert math.exp(fired.log_evidence) == pytest.approx(0.928, abs=1e-9)


def test_virtual_evidence() -> None:
    """Pearl 1988 (from memory): prior 1e-4, alarm .95 / .01, evidence 4 to 1: 3.737e-4."""
    # P(alarm | burglary) = 1 - (1 - q)(1 - .01) = .95 gives the link.
    link = 1 - 0.05 / 0.99
    network = one_test({"burglary": 1e-4}, {"burglary": link}, leak=0.01)
    soft = chance(network, Finding("e", {"yes": 4.0, "no": 1.0}))
    hard = chance(network, Finding("e", {"yes": 1.0}))
    assert soft["burglary"] == pytest.approx(3.737e-4, abs=5e-8)
    assert hard["burglary"] == pytest.approx(0.00941, abs=5e-6)


def test_weight_of_evidence_after_good() -> None:
    """I. J. Good (read): likelihoods .6 and .5 weigh .792 decibans; odds 2.5 become 3.0."""
    before, after = 2.5 / 3.5, 3.0 / 4.0
    assert weight_of_evidence(before, after) == pytest.approx(0.792, abs=5e-4)
    # And the scorer itself, with the leak as the "absent" likelihood.
    network = one_test({"h": before}, {"h": 1 - 0.4 / 0.5}, leak=0.5)
    now = chance(network, Finding("e", {"yes": 1.0}))["h"]
    assert now / (1 - now) == pytest.approx(3.0)


def test_four_level_test() -> None:
    """Diamond and Forrester 1979 (read): ST depression levels, priors .05 and .92.

    With disease .42 .24 .20 .15, without .96 .02 .02 0; the published rows sum to 1.01, so the
    likelihoods are given as they stand, as weights of two bands: priors .05 give .0225 and .387.
    """
    rows = {"0-0.5": (0.42, 0.96), "0.5-1": (0.24, 0.02)}
    expected = {(0.05, "0-0.5"): 0.0225, (0.92, "0-0.5"): 0.834, (0.05, "0.5-1"): 0.387,
                (0.92, "0.5-1"): 0.993}  # fmt: skip
    for (prior, level), wanted in expected.items():
        sick, well = rows[level]
        network = one_test({"disease": prior}, {"disease": 1.0})
        # Certain link: the finding "yes" is the disease itself, seen through these likelihoods.
        now = chance(network, Finding("e", {"yes": sick, "no": well}))
        assert now["disease"] == pytest.approx(wanted, abs=6e-4)


def test_minimal_diagnoses_of_the_adders_and_multipliers() -> None:
    """De Kleer and Williams 1987 (abstract read): two adders, three multipliers, faults .01 each.

    Output one is wrong (it rests on M1, M2, A1), output two right (M2, M3, A2). With single faults
    first, M1 and A1 lead alike; M2, which touches both outputs, needs a second fault to hide it.
    """
    names = ["M1", "M2", "M3", "A1", "A2"]
    nodes = [Node(name, name, 0.01) for name in names]
    wrong = 0.999  # a fault shows at an output it reaches
    first = {0: (wrong,), 1: (wrong,), 3: (wrong,)}
    second = {1: (wrong,), 2: (wrong,), 4: (wrong,)}
    network = make_network(
        nodes,
        [
            Source("one", "one", ("wrong",), "right", "one", first, (1e-9,)),
            Source("two", "two", ("wrong",), "right", "two", second, (1e-9,)),
        ],
    )
    now = chance(network, Finding("one", {"wrong": 1.0}), Finding("two", {"right": 1.0}))
    order = sorted(now, key=lambda name: -now[name])
    assert set(order[:2]) == {"M1", "A1"}
    assert now["M1"] == pytest.approx(now["A1"])
    assert now["M1"] > 50 * now["M2"]


def test_the_question_bound() -> None:
    """Huffman 1952 (from memory): .25 .25 .2 .15 .15 take 2.30 questions, entropy 2.2855 bits.

    With a yes-or-no test for every way to part five causes, and repairs too dear to guess at, the
    advice asks at least that many and no more than entropy + 1; a test that told all five apart
    would gain the entropy.
    """
    chances = [0.25, 0.25, 0.2, 0.15, 0.15]
    tiny, dear = 1e-7, 1e6
    nodes = [Node(f"c{i}", f"c{i}", tiny * p, parts=dear) for i, p in enumerate(chances)]
    complaint = Source(
        "x", "x", (PRESENT,), GONE, "x", dict.fromkeys(range(5), (1.0,)), (0.0,), is_complaint=True
    )
    questions = [
        Source(f"q{mask}", f"q{mask}", ("yes",), "no", f"q{mask}",
               {i: (1.0,) for i in range(5) if mask >> i & 1}, (0.0,), minutes=1.0)
        for mask in range(1, 16)
    ]  # fmt: skip
    network = make_network(nodes, [complaint, *questions], ["x"])
    found = Finding("x", {PRESENT: 1.0})

    def asked(evidence: Evidence) -> float:
        best = advise(network, evidence)[0]
        if best.kind == "repair":
            return 0.0
        return 1.0 + sum(
            chance * asked(Evidence((*evidence.findings, Finding(best.id, {band: 1.0}))))
            for band, chance in best.bands.items()
            if chance > 1e-9
        )

    mean = asked(Evidence((found,)))
    entropy = -sum(p * math.log2(p) for p in chances)
    assert entropy == pytest.approx(2.2855, abs=5e-5)
    assert 2.30 - 1e-6 <= mean < entropy + 1.0
    assert mean == pytest.approx(2.30, abs=0.06)
    bands = tuple(f"b{i}" for i in range(4))
    rows = {i: tuple(float(i == k) for k in range(4)) for i in range(5)}
    teller = Source("all", "all", bands, "b4", "all", rows, (0.0,) * 4, minutes=1.0)
    telling = make_network(nodes, [complaint, teller], ["x"])
    first = next(s for s in advise(telling, Evidence((found,))) if s.kind == "test")
    assert first.gain_bits == pytest.approx(entropy, abs=1e-4)
