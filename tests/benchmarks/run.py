"""Benchmarks of the scorer: `python tests/benchmarks/run.py [PART ...]`.

The parts are posterior, width, memory, route and policy.

Prints tables; pytest does not collect it and nothing here is asserted. Figures are ratios of
things measured side by side in one run wherever there is something to measure against. Without a
name all parts run; `policy` takes the number of problems as an option, `--problems 200`.
"""

import argparse
import random
import statistics
import sys
import time
import tracemalloc
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TypeVar

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests"), str(Path(__file__).resolve().parent)]

from scorer.reference import throws  # noqa: E402  (the paths above come first)

from faulttree.scorer.advice import advise  # noqa: E402
from faulttree.scorer.evidence import PRESENT, Evidence, Finding  # noqa: E402
from faulttree.scorer.inference import Problem, look_ahead, solve, solve_problem  # noqa: E402
from faulttree.scorer.network import (  # noqa: E402
    Network,
    Node,
    Source,
    build_network,
    make_network,
)
from faulttree.tree.car import describe_car  # noqa: E402
from faulttree.tree.load import load_all  # noqa: E402

Answer = TypeVar("Answer")
TREES = ROOT / "trees"


def best_of(work: Callable[[], Answer], repeats: int) -> tuple[Answer, float]:
    """The answer and the shortest of a few runs, in milliseconds."""
    times = []
    for _ in range(repeats):
        begin = time.perf_counter()
        answer = work()
        times.append(1e3 * (time.perf_counter() - begin))
    return answer, min(times)


def table(title: str, head: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Print rows in columns that are as wide as they need to be."""
    widths = [max(len(row[k]) for row in [head, *rows]) for k in range(len(head))]
    print(f"\n{title}")
    for row in [head, *rows]:
        print("  " + "  ".join(cell.rjust(w) for cell, w in zip(row, widths, strict=True)))


# --- posterior and sweep against pyagrum -------------------------------------------------------


def two_layers(rng: random.Random, causes: int, tests: int, per_test: int = 4) -> Network:
    """A random network of three-band tests, each with a few causes and a family of its own."""
    nodes = [Node(f"c{i}", f"cause {i}", rng.uniform(0.01, 0.1)) for i in range(causes)]
    sources = []
    for j in range(tests):
        links = {}
        for i in rng.sample(range(causes), per_test):
            low = rng.uniform(0.05, 0.9)
            links[i] = (low, rng.uniform(0.0, 0.95 - low))
        leak = (rng.uniform(0.01, 0.05), rng.uniform(0.01, 0.05))
        sources.append(Source(f"t{j}", f"test {j}", ("low", "high"), "ok", f"t{j}", links, leak))
    return make_network(nodes, sources)


def findings_for(
    rng: random.Random, network: Network, count: int, abnormal: int
) -> tuple[Evidence, list[str]]:
    """Hard findings, some of them abnormal, and the tests that are left."""
    names = rng.sample(list(network.sources), count)
    found = [
        Finding(name, {rng.choice(("low", "high")) if k < abnormal else "ok": 1.0})
        for k, name in enumerate(names)
    ]
    return Evidence(tuple(found)), [name for name in network.sources if name not in names]


class ByPyagrum:
    """The same network in pyagrum, every test a chain of small tables, for three engines."""

    def __init__(self, network: Network) -> None:
        import pyagrum as gum

        self.gum = gum
        self.network = network
        self.bn = gum.BayesNet()
        self.last: dict[str, str] = {}
        for i, node in enumerate(network.nodes):
            self.bn.add(gum.LabelizedVariable(f"c{i}", "", 2))
            self.bn.cpt(f"c{i}").fillWith([1 - node.prior, node.prior])
        for source in network.sources.values():
            self._add(source)

    def _add(self, source: Source) -> None:
        gum, bn = self.gum, self.bn
        size = len(source.bands)
        last = f"{source.id}_leak"
        bn.add(gum.LabelizedVariable(last, "", size))
        bn.cpt(last).fillWith([*source.leak, 1 - sum(source.leak)])
        probe = Finding(source.id, {source.expect: 1.0})
        for cause in source.links:
            row = throws(self.network, Evidence(), probe, cause)
            assert row is not None
            # Families of one test: showing or not can be summed into the link.
            shows = self.network.shows[cause, source.family]
            own = [q * shows for q in row]
            own.append(max(0.0, 1.0 - sum(own)))
            name = f"{source.id}_{cause}"
            bn.add(gum.LabelizedVariable(name, "", size))
            bn.addArc(last, name)
            bn.addArc(f"c{cause}", name)
            for state in range(size):
                moved = [0.0] * size
                for k, chance in enumerate(own):
                    moved[min(k, state)] += chance
                bn.cpt(name)[{last: state, f"c{cause}": 0}] = [
                    float(k == state) for k in range(size)
                ]
                bn.cpt(name)[{last: state, f"c{cause}": 1}] = moved
            last = name
        self.last[source.id] = last

    def engine(self, kind: str, evidence: Evidence) -> object:
        """An engine of the given class with the causes as its targets and the evidence set."""
        engine = getattr(self.gum, kind)(self.bn)
        engine.setTargets({f"c{i}" for i in range(len(self.network.nodes))})
        engine.setEvidence(
            {
                self.last[f.source]: self.network.sources[f.source].bands.index(
                    max(f.bands, key=lambda band: f.bands[band])
                )
                for f in evidence.findings
            }
        )
        return engine

    def marginals(self, engine: object) -> list[float]:
        """The chance of every cause, as the engine's evidence stands."""
        engine.makeInference()  # type: ignore[attr-defined]
        count = len(self.network.nodes)
        return [float(engine.posterior(f"c{i}")[1]) for i in range(count)]  # type: ignore[attr-defined]

    def posterior(self, kind: str, evidence: Evidence) -> list[float]:
        """Every marginal, from an engine made afresh."""
        return self.marginals(self.engine(kind, evidence))

    def sweep_by_band(
        self, kind: str, evidence: Evidence, tests: Sequence[str]
    ) -> dict[str, list[list[float]]]:
        """For every band of every test, every marginal once it is read; one engine throughout.

        This is its fastest way: with the tests as targets and one inference for each cause, Bayes'
        rule the other way about, 20/30 took a fifth longer and 40/60 many times as long.
        """
        engine = self.engine(kind, evidence)
        found = {}
        for test in tests:
            rows = []
            for k in range(len(self.network.sources[test].bands)):
                engine.addEvidence(self.last[test], k)  # type: ignore[attr-defined]
                rows.append(self.marginals(engine))
                engine.eraseEvidence(self.last[test])  # type: ignore[attr-defined]
            found[test] = rows
        return found


def posterior_part() -> None:
    """Posterior and sweep, ours and pyagrum's, on the same random networks."""
    engines = ("LazyPropagation", "ShaferShenoyInference", "VariableElimination")
    solved, swept = [], []
    for causes, tests in ((20, 30), (40, 60), (60, 65)):
        rng = random.Random(causes)
        network = two_layers(rng, causes, tests)
        evidence, left = findings_for(rng, network, 8, 3)
        peer = ByPyagrum(network)
        solve(network, evidence)
        ours, our_time = best_of(lambda n=network, e=evidence: solve(n, e), 20)
        cells = [f"{causes}/{tests}", f"{our_time:.2f}"]
        worst = 0.0
        for kind in engines:
            theirs, their_time = best_of(lambda p=peer, k=kind, e=evidence: p.posterior(k, e), 3)
            worst = max(worst, *(abs(a - b) for a, b in zip(ours.was, theirs, strict=True)))
            cells += [f"{their_time:.1f}", f"{their_time / our_time:.0f}"]
        solved.append([*cells, f"{worst:.1e}"])

        def sweep_ours(n: Network = network, e: Evidence = evidence, t: list[str] = left) -> object:
            return look_ahead(Problem(n, e), t, ())

        outlook, our_time = best_of(sweep_ours, 20)
        cells = [f"{causes}/{tests}", f"{our_time:.2f}"]
        worst = 0.0
        for kind in engines[:2]:
            theirs, their_time = best_of(
                lambda p=peer, k=kind, e=evidence, t=left: p.sweep_by_band(k, e, t), 1
            )
            for one in outlook.outlooks:  # type: ignore[attr-defined]
                for k, row in enumerate(theirs[one.source]):
                    off = max(abs(a - b) for a, b in zip(one.after[k], row, strict=True))
                    worst = max(worst, off)
            cells += [f"{their_time:.0f}", f"{their_time / our_time:.0f}"]
        swept.append([*cells, f"{worst:.1e}"])
    head = ["causes/tests", "ours ms"]
    for kind in ("lazy", "shafer-shenoy", "elimination"):
        head += [f"{kind} ms", "ratio"]
    table(
        "Posterior, 8 findings of which 3 abnormal (pyagrum beside it)",
        [*head, "largest difference"],
        solved,
    )
    table(
        "Sweep: all marginals after every band of every other test",
        [*head[:6], "largest difference"],
        swept,
    )


# --- width, on the shipped trees ---------------------------------------------------------------


def shipped() -> Network:
    """All shipped trees at once, without a vehicle: the widest network there is."""
    knowledge = load_all(TREES)
    return build_network(knowledge, list(knowledge.trees), describe_car(knowledge))


def abnormal_evidence(rng: random.Random, network: Network, abnormal: int) -> Evidence:
    """One complaint and abnormal readings, the causes of which are drawn among those that fit."""
    tree = rng.choice(network.complaints)
    found = [Finding(tree, {PRESENT: 1.0})]
    able = [s for s in network.sources.values() if s.links and not s.is_complaint]
    for source in rng.sample(able, abnormal - 1):
        pushed = [k for k in range(len(source.cascade)) if any(r[k] for r in source.links.values())]
        found.append(Finding(source.id, {source.cascade[rng.choice(pushed)]: 1.0}))
    return Evidence(tuple(found))


def percentile(times: Sequence[float], share: float) -> float:
    """The time that the given share of runs keeps to."""
    ordered = sorted(times)
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))]


def width_part(draws: int = 12, updates: int = 60) -> None:
    """Cost against the number of abnormal findings; p95 of an update with advice."""
    network = shipped()
    rows = []
    first = 0.0
    for abnormal in range(1, 15):
        rng = random.Random(abnormal)
        times, cells, exact = [], [], 0
        for _ in range(draws):
            evidence = abnormal_evidence(rng, network, abnormal)
            answer, took = best_of(lambda e=evidence: solve(network, e), 2)
            times.append(took)
            cells.append(Problem(network, evidence).cells)
            exact += answer.exact
        middle = statistics.median(times)
        first = first or middle
        rows.append(
            [
                str(abnormal),
                f"{middle:.2f}",
                f"{max(times):.2f}",
                f"{middle / first:.1f}",
                f"{statistics.median(cells):.0f}",
                f"{exact}/{draws}",
            ]
        )
    table(
        f"Posterior on the shipped trees, {len(network.nodes)} causes, "
        f"{len(network.sources)} tests and complaints",
        ["abnormal", "median ms", "worst ms", "to one", "median cells", "exact"],
        rows,
    )
    rows = []
    for abnormal, target in ((6, 16), (10, 50)):
        rng = random.Random(100 + abnormal)
        times, busy = [], []
        for _ in range(updates):
            evidence = abnormal_evidence(rng, network, abnormal)
            begin, begin_busy = time.perf_counter(), time.process_time()
            problem = Problem(network, evidence)
            posterior = solve_problem(problem)
            advise(network, evidence, problem=problem, posterior=posterior)
            times.append(1e3 * (time.perf_counter() - begin))
            busy.append(1e3 * (time.process_time() - begin_busy))
        rows.append(
            [
                str(abnormal),
                f"{statistics.median(busy):.1f}",
                f"{percentile(busy, 0.95):.1f}",
                f"{statistics.median(times):.1f}",
                f"{percentile(times, 0.95):.1f}",
                str(target),
            ]
        )
    table(
        "Update with advice, the same network",
        [
            "abnormal",
            "processor: median ms",
            "p95 ms",
            "clock: median ms",
            "p95 ms",
            "target",
        ],
        rows,
    )


# --- memory ------------------------------------------------------------------------------------


def memory_part() -> None:
    """The most memory that Python and numpy hold at once during an update with advice."""
    network = shipped()
    rows = []
    for abnormal in (1, 6, 10, 14):
        rng = random.Random(abnormal)
        peaks = []
        for _ in range(4):
            evidence = abnormal_evidence(rng, network, abnormal)
            tracemalloc.start()
            advise(network, evidence)
            peaks.append(tracemalloc.get_traced_memory()[1] / 1e6)
            tracemalloc.stop()
        rows.append([str(abnormal), f"{statistics.median(peaks):.1f}", f"{max(peaks):.1f}"])
    table("Peak memory of an update with advice", ["abnormal", "median MB", "worst MB"], rows)


def policy_part(problems: int) -> None:
    """Following the advice against the exact optimum."""
    import policy

    for title, head, rows in policy.tables(problems):
        table(title, head, rows)


# --- the authored routes -----------------------------------------------------------------------


def route_part(runs: int = 60) -> None:
    """Simulated cars walked to their cure by the advice, and by the authored route alone."""
    from faulttree.study.rehearse import rehearse

    knowledge = load_all(TREES)
    vehicle = next(iter(knowledge.vehicles))
    rows = []
    for tree in ("idle-unsteady", "stumble-on-opening", "misfire"):
        for follow in ("advice", "route"):
            found = rehearse(
                knowledge,
                [tree],
                describe_car(knowledge, vehicle),
                runs=runs,
                follow=follow,  # type: ignore[arg-type]
            )
            rows.append(
                [
                    tree,
                    follow,
                    f"{100 * found.cured / runs:.0f}",
                    f"{100 * found.named_right / runs:.0f}",
                    f"{found.tests:.1f}",
                    f"{found.minutes:.0f}",
                    f"{found.money:.0f}",
                    f"{found.money * runs / max(1, found.cured):.0f}",
                ]
            )
    table(
        f"The shipped trees on {vehicle}, {runs} simulated cars each",
        ["tree", "follow", "cured %", "named %", "tests", "minutes", "money", "money a cure"],
        rows,
    )


def main() -> None:
    """Run the parts that were asked for."""
    parts = {
        "posterior": posterior_part,
        "width": width_part,
        "memory": memory_part,
        "route": route_part,
        "policy": policy_part,
    }
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("parts", nargs="*", metavar="PART", help=", ".join(parts))
    parser.add_argument("--problems", type=int, default=40, help="problems for policy")
    options = parser.parse_args()
    unknown = set(options.parts) - set(parts)
    if unknown:
        parser.error(f"no part is called {', '.join(sorted(unknown))}")
    for part in options.parts or parts:
        if part == "policy":
            policy_part(options.problems)
        else:
            parts[part]()  # type: ignore[operator]


if __name__ == "__main__":
    main()
