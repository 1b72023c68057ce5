"""How likely each cause is at a point of a session: the evidence handed to the scorer.

What the chances mean is the work of `faulttree.scorer`; this module puts a session to it and says
in words when it cannot answer.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from faulttree.scorer.evidence import Evidence
from faulttree.session.events import Advice
from faulttree.session.standing import car_of, evidence
from faulttree.session.state import State
from faulttree.tree.model import Knowledge

if TYPE_CHECKING:
    from faulttree.scorer.advice import Suggestion
    from faulttree.scorer.inference import Posterior
    from faulttree.scorer.network import Network

UNEXPLAINED = (
    "No set of the causes listed explains these readings together. Take the doubtful one again, "
    "or withdraw it."
)


@dataclass(frozen=True, slots=True)
class Reckoning:
    """What a session's evidence says of the causes.

    `posterior` is None when nothing explains the evidence; `trouble` then says so. `names` maps
    the ids of all causes, `not-listed` among them, to their names.
    """

    network: "Network"
    evidence: Evidence
    posterior: "Posterior | None"
    trouble: str = ""
    names: Mapping[str, str] = field(default_factory=dict)

    @property
    def now(self) -> dict[str, float]:
        """The chance of every cause to be present now; empty when there is no answer."""
        return self.posterior.chances if self.posterior else {}

    @property
    def at_start(self) -> dict[str, float]:
        """The chance of every cause to have been present when the car came in."""
        if self.posterior is None:
            return {}
        return dict(zip(self.posterior.ids, map(float, self.posterior.was), strict=True))


def reckon(state: State, knowledge: Knowledge) -> Reckoning:
    """The chances of the causes, given all that stands in a state."""
    # numpy is first needed here.
    from faulttree.scorer.network import build_network

    trees = [tree for tree in state.trees if tree in knowledge.trees]
    network = build_network(knowledge, trees, car_of(state, knowledge))
    return _solved(network, evidence(state, knowledge))


def before_readings(reckoning: Reckoning) -> dict[str, float]:
    """The chance of every cause with the complaints known, but before any reading."""
    network = reckoning.network
    first = tuple(
        finding
        for finding in reckoning.evidence.findings
        if finding.stage == 0 and network.sources[finding.source].is_complaint
    )
    return _solved(network, Evidence(first)).now


def advice_at(suggestions: "Sequence[Suggestion]", taken: str) -> Advice | None:
    """What was advised as a test or repair was taken, for its event; None without any advice.

    `suggestions` are those that `scorer.advice` made of the state before, best first.
    """
    if not suggestions:
        return None
    first = suggestions[0]
    costs = {suggestion.id: suggestion.expected_cost for suggestion in suggestions}
    extra = round(costs[taken] - first.expected_cost, 2) if taken in costs else None
    return Advice(first.id, first.minutes, extra)


def _solved(network: "Network", found: Evidence) -> Reckoning:
    from faulttree.scorer.inference import Impossible, solve

    # An older tree, or a car described otherwise since, may not know every finding.
    known = tuple(finding for finding in found.findings if finding.source in network.sources)
    found = replace(found, findings=known)
    names = {node.id: node.name for node in network.nodes}
    try:
        return Reckoning(network, found, solve(network, found), "", names)
    except Impossible:
        return Reckoning(network, found, None, UNEXPLAINED, names)
