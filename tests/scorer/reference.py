"""Two references for the scorer that share no code with it: enumeration, and pyagrum.

`enumerate_all` sums over every set of causes and every way they can show in their families.
`by_pyagrum` writes the same model as a Bayesian network, families as hidden nodes and each
finding as a chain of small tables, and asks pyagrum's lazy propagation.
"""

import itertools
import math
import random

from faulttree.scorer.evidence import Evidence, Finding
from faulttree.scorer.network import Network, Node, Source, make_network


def enumerate_all(network: Network, evidence: Evidence) -> tuple[float, list[float]]:
    """P(evidence), and the chance of every cause at the start given it; small networks only."""
    count = len(network.nodes)
    families = sorted({network.sources[f.source].family for f in evidence.findings})
    total, mass = 0.0, [0.0] * count
    for members in itertools.product([0, 1], repeat=count):
        present = [i for i in range(count) if members[i]]
        weight = 1.0
        for node, here in zip(network.nodes, members, strict=True):
            weight *= node.prior if here else 1 - node.prior
        for family in families:
            weight *= _family_likelihood(network, evidence, family, present)
        total += weight
        for i in present:
            mass[i] += weight
    return total, [m / total if total else 0.0 for m in mass]


def _family_likelihood(
    network: Network, evidence: Evidence, family: str, present: list[int]
) -> float:
    findings = [f for f in evidence.findings if network.sources[f.source].family == family]
    likelihood = 0.0
    for showing in itertools.product([0, 1], repeat=len(present)):
        weight = 1.0
        for cause, shows in zip(present, showing, strict=True):
            m = network.shows.get((cause, family), 0.0)
            weight *= m if shows else 1 - m
        if weight:
            for finding in findings:
                acting = [c for c, s in zip(present, showing, strict=True) if s]
                weight *= _finding_likelihood(network, evidence, finding, acting)
            likelihood += weight
    return likelihood


def throws(
    network: Network, evidence: Evidence, finding: Finding, cause: int
) -> list[float] | None:
    """The chances with which a showing cause throws each cascade band; None if it has no say."""
    source = network.sources[finding.source]
    gone = evidence.repaired.get(network.nodes[cause].id, math.inf)
    if cause not in source.links or finding.stage >= gone:
        return None
    m = network.shows[cause, source.family]
    if m == 0:
        return None
    absent = finding.showing is False and source.shows_only is not None
    scale = source.shows_only if absent else 1.0
    assert scale is not None
    return [q * scale / m for q in source.links[cause]]


def _finding_likelihood(
    network: Network, evidence: Evidence, finding: Finding, acting: list[int]
) -> float:
    source = network.sources[finding.source]
    rows = [list(source.leak)]
    for cause in acting:
        row = throws(network, evidence, finding, cause)
        if row is not None:
            rows.append(row)
    likelihood, before = 0.0, 1.0
    for k, band in enumerate(source.cascade):
        after = math.prod(max(0.0, 1 - sum(row[: k + 1])) for row in rows)
        likelihood += finding.bands.get(band, 0.0) * (before - after)
        before = after
    return likelihood + finding.bands.get(source.expect, 0.0) * before


def by_pyagrum(network: Network, evidence: Evidence) -> list[float]:
    """The chance of every cause at the start, by exact inference in pyagrum."""
    import pyagrum as gum

    bn = gum.BayesNet()
    for i, node in enumerate(network.nodes):
        bn.add(gum.LabelizedVariable(f"c{i}", "", 2))
        bn.cpt(f"c{i}").fillWith([1 - node.prior, node.prior])
    shown: set[str] = set()
    likelihoods = {}
    for number, finding in enumerate(evidence.findings):
        source = network.sources[finding.source]
        size = len(source.bands)
        last = f"f{number}_leak"
        bn.add(gum.LabelizedVariable(last, "", size))
        bn.cpt(last).fillWith([*source.leak, 1 - sum(source.leak)])
        for cause in source.links:
            row = throws(network, evidence, finding, cause)
            if row is None:
                continue
            shows = f"s{cause}_{source.family}"
            if shows not in shown:
                shown.add(shows)
                m = network.shows[cause, source.family]
                bn.add(gum.LabelizedVariable(shows, "", 2))
                bn.addArc(f"c{cause}", shows)
                bn.cpt(shows)[{f"c{cause}": 0}] = [1, 0]
                bn.cpt(shows)[{f"c{cause}": 1}] = [1 - m, m]
            name = f"f{number}_{cause}"
            bn.add(gum.LabelizedVariable(name, "", size))
            bn.addArc(last, name)
            bn.addArc(shows, name)
            own = [*row, max(0.0, 1 - sum(row))]
            for state in range(size):
                same = [float(k == state) for k in range(size)]
                moved = [0.0] * size
                for k, chance in enumerate(own):
                    moved[min(k, state)] += chance
                bn.cpt(name)[{last: state, shows: 0}] = same
                bn.cpt(name)[{last: state, shows: 1}] = moved
            last = name
        likelihoods[last] = [finding.bands.get(band, 0.0) for band in source.bands]
    engine = gum.LazyPropagation(bn)
    engine.setTargets({f"c{i}" for i in range(len(network.nodes))})
    engine.setEvidence(likelihoods)
    engine.makeInference()
    return [float(engine.posterior(f"c{i}")[1]) for i in range(len(network.nodes))]


def random_network(rng: random.Random, causes: int = 6, tests: int = 5) -> Network:
    """A small network: up to three cascade bands, three shared families, links up to certainty."""
    nodes = [
        Node(f"c{i}", f"cause {i}", rng.uniform(0.01, 0.4), minutes=30, parts=rng.uniform(5, 90))
        for i in range(causes)
    ]
    sources = []
    for j in range(tests):
        bands = rng.randint(1, 3)
        links = {}
        for i in range(causes):
            if rng.random() < 0.5:
                parts = [rng.random() * (rng.random() < 0.8) for _ in range(bands)]
                total = rng.choice([1.0, rng.uniform(0.05, 0.98)])
                scale = total / (sum(parts) or 1.0)
                links[i] = tuple(part * scale for part in parts)
        complaint = j < 2
        sources.append(
            Source(
                id=f"t{j}",
                name=f"test {j}",
                cascade=("present",) if complaint else tuple(f"b{k}" for k in range(bands)),
                expect="gone" if complaint else "ok",
                family=f"complaint:{j}" if complaint else f"family {rng.randint(0, 2)}",
                links={i: (min(1.0, sum(row)),) for i, row in links.items()}
                if complaint
                else links,
                leak=(0.03,) if complaint else tuple(rng.uniform(0.001, 0.1) for _ in range(bands)),
                minutes=rng.uniform(1, 30),
                reach=rng.randint(0, 3),
                shows_only=rng.choice([None, 0.3]),
                is_complaint=complaint,
            )
        )
    return make_network(nodes, sources, ["t0", "t1"])


def random_evidence(
    rng: random.Random,
    network: Network,
    findings: int,
    sources: list[str] | None = None,
    repairs: int = 2,
) -> Evidence:
    """Findings hard and soft, in any band, with repairs between them."""
    names = sources or list(network.sources)
    found: list[Finding] = []
    repaired: dict[str, int] = {}
    for _ in range(findings):
        if len(repaired) < repairs and rng.random() < 0.25:
            cause = rng.choice(network.nodes).id
            if cause not in repaired:
                repaired[cause] = len(repaired) + 1
        source = network.sources[rng.choice(names)]
        kind = rng.random()
        if kind < 0.4:
            bands = {rng.choice(source.bands): 1.0}
        elif kind < 0.6:
            bands = {band: rng.random() for band in source.bands}
        else:
            sure = rng.choice([0.8, 0.95])
            chosen = rng.choice(source.bands)
            rest = (1 - sure) / (len(source.bands) - 1)
            bands = {band: sure if band == chosen else rest for band in source.bands}
        found.append(
            Finding(source.id, bands, len(repaired), rng.choice([None, None, True, False]))
        )
    return Evidence(tuple(found), repaired)
