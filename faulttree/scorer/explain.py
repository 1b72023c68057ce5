"""Why the chances are what they are: what each reading did, and whether the readings agree.

The weight of evidence of a finding for a cause is 10 log10 of the odds after it over the odds
before it, in decibans (I. J. Good). Findings are taken in the order in which they came, so the
weights of a cause add up to the whole way from its starting chance to its present one.
"""

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from faulttree.scorer.evidence import Evidence
from faulttree.scorer.inference import Impossible, Problem, solve_parts
from faulttree.scorer.network import Network
from faulttree.trade.words import percent as percent

SERIOUS = math.log(30.0)
"""A conflict above this (in nats) is worth a word: readings 30 times less likely together than
they would be if they had nothing to do with each other. Judgement, no source."""

CERTAIN_DECIBANS = 200.0


@dataclass(frozen=True, slots=True)
class Step:
    """What one finding did: the chances after it and its weight of evidence for each cause.

    `index` is the finding's place in the evidence; `band` its likeliest band; `stage` counts the
    repairs made before it.
    """

    index: int
    source: str
    band: str
    chances: Mapping[str, float]
    decibans: Mapping[str, float]
    stage: int = 0


@dataclass(frozen=True, slots=True)
class Explanation:
    """The whole way: chances once the complaints at the start are known, then step by step."""

    start: Mapping[str, float]
    steps: tuple[Step, ...]
    exact: bool


@dataclass(frozen=True, slots=True)
class Conflict:
    """Whether the readings fit together.

    `measure` is ln(product of P(e_i) / P(e)): above zero the findings are less likely together
    than apart. `worst` is the reading whose removal lowers it most, None without readings.
    """

    measure: float
    worst: str | None
    serious: bool
    message: str


def weight_of_evidence(before: float, after: float) -> float:
    """Decibans from one chance to another, held to 200 either way at certainty."""
    if before == after:
        return 0.0

    def log_odds(chance: float) -> float:
        if chance <= 0.0:
            return -CERTAIN_DECIBANS
        if chance >= 1.0:
            return CERTAIN_DECIBANS
        return 10.0 * math.log10(chance / (1.0 - chance))

    moved = log_odds(after) - log_odds(before)
    return max(-CERTAIN_DECIBANS, min(CERTAIN_DECIBANS, moved))


def opening_findings(network: Network, evidence: Evidence) -> int:
    """How many findings at the start are complaints taken down: where the session sets out from."""
    count = 0
    for finding in evidence.findings:
        if not network.sources[finding.source].is_complaint or finding.stage > 0:
            break
        count += 1
    return count


def explain(network: Network, evidence: Evidence, *, problem: Problem | None = None) -> Explanation:
    """What every finding after the opening complaints did to the chance of every cause.

    The chances of a step are of being present at the start of the session, so that a repair is
    not mistaken for evidence. All steps are worked out in one pass. Raises Impossible when
    nothing explains the findings up to some step. `problem` may be handed in when it is at hand.
    """
    problem = problem or Problem(network, evidence)
    findings = evidence.findings
    opening = opening_findings(network, evidence)
    counts = np.arange(opening, len(findings) + 1)
    # A repair does not change what the findings before it say, so it may count from the start.
    parts = solve_parts(problem, np.arange(len(findings)) < counts[:, None])
    if np.isneginf(parts.log_evidence).any():
        raise Impossible("no set of causes explains these readings, not even by chance")
    chances = [dict(zip(problem.ids, row, strict=True)) for row in parts.was.tolist()]
    steps = [
        Step(
            index=at,
            source=finding.source,
            band=max(finding.bands, key=lambda band: finding.bands[band]),
            chances=after,
            decibans={cause: weight_of_evidence(before[cause], after[cause]) for cause in after},
            stage=finding.stage,
        )
        for (at, finding), (before, after) in zip(
            list(enumerate(findings))[opening:], itertools.pairwise(chances), strict=True
        )
    ]
    return Explanation(chances[0], tuple(steps), parts.exact)


def biggest_moves(
    before: Mapping[str, float],
    after: Mapping[str, float],
    names: Mapping[str, str],
    count: int = 3,
    least: float = 0.02,
) -> list[str]:
    """What rose and what fell most, in plain words, largest move first.

    Moves smaller than `least` are left out; when all are, one sentence says so.
    """
    moved = sorted(after, key=lambda c: -abs(after[c] - before.get(c, 0.0)))
    lines = []
    for cause in moved[:count]:
        was, now = before.get(cause, 0.0), after[cause]
        if abs(now - was) < least:
            break
        word = "rose" if now > was else "fell"
        lines.append(f"{names.get(cause, cause)} {word} from {percent(was)} to {percent(now)}")
    return lines or ["This reading changed little."]


def conflict(network: Network, evidence: Evidence, *, problem: Problem | None = None) -> Conflict:
    """Whether the readings fit together, and if not, which sits worst (leave one out).

    Works for evidence that nothing explains, too: the measure is then infinite. All the parts are
    worked out in one pass. `problem` may be handed in when it is at hand.
    """
    findings = evidence.findings
    count = len(findings)
    readings = [i for i, f in enumerate(findings) if not network.sources[f.source].is_complaint]
    if count < 2 or not readings:
        return Conflict(0.0, None, False, "")
    problem = problem or Problem(network, evidence)
    each = np.eye(count, dtype=bool)
    parts = solve_parts(problem, np.vstack([each, ~each, np.ones((1, count), dtype=bool)]))
    alone = parts.log_evidence[:count]
    without = parts.log_evidence[count:-1]
    impossible = [i for i in range(count) if alone[i] == -math.inf]
    if impossible:
        # A reading that cannot be on any car is worse than any that only sits badly.
        whole, worst = math.inf, impossible[0]
    else:
        whole = float(alone.sum() - parts.log_evidence[-1])
        if whole <= 0.0:
            return Conflict(whole, None, False, "")
        left = {i: float(alone.sum() - alone[i] - without[i]) for i in readings}
        # The last reading, when leaving out any one alone does not help.
        worst = min(reversed(readings), key=lambda i: left[i])
    finding = findings[worst]
    source = network.sources[finding.source]
    serious = whole > SERIOUS
    message = ""
    if serious:
        band = max(finding.bands, key=lambda name: finding.bands[name])
        fit = "do not fit together well" if whole < math.inf else "cannot all be right"
        message = (
            f"The readings {fit}. {source.name} ({band}) sits worst: "
            "take it again before you rely on it."
        )
    return Conflict(whole, source.id, serious, message)
