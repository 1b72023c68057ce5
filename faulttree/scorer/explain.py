"""Why the chances are what they are: what each reading did, and whether the readings agree.

The weight of evidence of a finding for a cause is 10 log10 of the odds after it over the odds
before it, in decibans (I. J. Good). Findings are taken in the order in which they came, so the
weights of a cause add up to the whole way from its starting chance to its present one.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from faulttree.scorer.evidence import Evidence, Finding
from faulttree.scorer.inference import Impossible, Posterior, solve
from faulttree.scorer.network import Network

SERIOUS = math.log(30.0)
"""A conflict above this (in nats) is worth a word: readings 30 times less likely together than
they would be if they had nothing to do with each other. Judgement, no source."""

CERTAIN_DECIBANS = 200.0


@dataclass(frozen=True, slots=True)
class Step:
    """What one finding did: the chances after it and its weight of evidence for each cause.

    `index` is the finding's place in the evidence; `band` its likeliest band.
    """

    index: int
    source: str
    band: str
    chances: Mapping[str, float]
    decibans: Mapping[str, float]


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


def _prefix(evidence: Evidence, count: int) -> Evidence:
    """The evidence as it stood after `count` findings, with the repairs done by then."""
    findings = evidence.findings[:count]
    stage = findings[-1].stage if findings else 0
    repaired = {cause: at for cause, at in evidence.repaired.items() if at <= stage}
    return Evidence(findings, repaired)


def explain(network: Network, evidence: Evidence) -> Explanation:
    """What every finding after the opening complaints did to the chance of every cause.

    The chances of a step are of being present at the start of the session, so that a repair is
    not mistaken for evidence. Cost: one exact solution for each finding.
    """
    opening = opening_findings(network, evidence)
    posterior = solve(network, _prefix(evidence, opening))
    before = _was(posterior)
    start = before
    exact = posterior.exact
    steps = []
    for count in range(opening + 1, len(evidence.findings) + 1):
        posterior = solve(network, _prefix(evidence, count))
        exact = exact and posterior.exact
        after = _was(posterior)
        finding = evidence.findings[count - 1]
        steps.append(
            Step(
                index=count - 1,
                source=finding.source,
                band=max(finding.bands, key=lambda band: finding.bands[band]),
                chances=after,
                decibans={c: weight_of_evidence(before[c], after[c]) for c in after},
            )
        )
        before = after
    return Explanation(start, tuple(steps), exact)


def _was(posterior: Posterior) -> dict[str, float]:
    return dict(zip(posterior.ids, map(float, posterior.was), strict=True))


def percent(chance: float) -> str:
    """A chance as a technician reads it: whole per cent, never a false 0 or 100."""
    if chance <= 0.0:
        return "0 %"
    if chance < 0.005:
        return "under 1 %"
    if chance >= 1.0:
        return "100 %"
    if chance > 0.995:
        return "over 99 %"
    return f"{100.0 * chance:.0f} %"


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


def _log_chance(network: Network, finding: Finding, repaired: Mapping[str, int]) -> float:
    """ln P(e_i): how likely the finding is by itself, knowing nothing else."""
    posterior = solve(network, Evidence((finding,), repaired))
    return posterior.log_evidence


def conflict(network: Network, evidence: Evidence) -> Conflict:
    """Whether the readings fit together, and if not, which sits worst (leave one out)."""
    findings = evidence.findings
    readings = [i for i, f in enumerate(findings) if not network.sources[f.source].is_complaint]
    if len(findings) < 2 or not readings:
        return Conflict(0.0, None, False, "")
    alone = [_log_chance(network, finding, evidence.repaired) for finding in findings]

    def measure(kept: Sequence[int]) -> float:
        together = solve(network, Evidence(tuple(findings[i] for i in kept), evidence.repaired))
        return sum(alone[i] for i in kept) - together.log_evidence

    everything = list(range(len(findings)))
    try:
        whole = measure(everything)
    except Impossible:
        whole = math.inf
    if whole <= 0.0:
        return Conflict(whole, None, False, "")
    worst, lowest = readings[-1], math.inf
    for i in readings:
        try:
            without = measure([k for k in everything if k != i])
        except Impossible:
            continue
        if without < lowest:
            worst, lowest = i, without
    finding = findings[worst]
    source = network.sources[finding.source]
    serious = whole > SERIOUS
    message = ""
    if serious:
        band = max(finding.bands, key=lambda name: finding.bands[name])
        message = (
            f"The readings do not fit together well. {source.name} ({band}) sits worst: "
            "take it again before you rely on it."
        )
    return Conflict(whole, source.id, serious, message)
