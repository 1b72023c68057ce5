"""Draws cars with hidden faults from the scorer's own model, and lets them answer tests.

A car is drawn as if it had come in with the complaints at hand: causes from the prior, kept only
when they bring every complaint on (rejection, so that the draw is exact). What shows in a family is
settled once for each car, as `scorer.network` says it; what a test throws, and its leak, are drawn
anew at every reading. A number is taken to fall well inside its band; at a choice the observer errs
as often as the author's `sure` says. Whether the complaint shows itself while a test is done is for
the caller to say: the trees hold what a test is worth then (`shows_only`), not how often that is.
The clock, the choice of tests and the counting are left to `rehearse`.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from faulttree.scorer.evidence import GONE, PRESENT, Finding, spread_choice
from faulttree.scorer.network import NOT_LISTED, Network, Source
from faulttree.session.standing import SURE_OF_GONE
from faulttree.tree.model import Knowledge

DRAWS = 200_000
"""How many cars are drawn from the prior before a complaint is said to be out of reach."""
AT_ONCE = 64
"""So many of them are drawn at once: most hold nothing that could bring the complaint on."""


class OutOfReach(ValueError):
    """No car with these complaints (and this cause) could be drawn."""


@dataclass(slots=True)
class HiddenCar:
    """A car whose faults are known to nobody but the one who drew it.

    `causes` are the ids present at the start, `present` those still there. Every answer is drawn
    from the car's own random numbers, so a car gives the same answers to the same questions.
    """

    network: Network
    random: np.random.Generator
    causes: frozenset[str]
    present: set[int]
    _shows: dict[tuple[int, str], bool] = field(default_factory=dict)

    def read(self, test: str, *, showing: bool = True) -> str:
        """The band that a test falls in now, before any error of the observer.

        Without the complaint `showing`, a test that needs it shows that much less of the faults.
        """
        source = self.network.sources[test]
        quiet = 1.0 if showing or source.shows_only is None else source.shows_only
        first = len(source.cascade)
        for cause in sorted(self.present):
            if cause in source.links and self.shows(cause, source.family):
                share = self.network.shows[cause, source.family]
                first = min(first, self._throw(source.links[cause], quiet / share))
        first = min(first, self._throw(source.leak, 1.0))
        return source.bands[first]

    def has_complaint(self, tree: str) -> bool:
        """Whether the complaint is there now."""
        return self.read(tree) == PRESENT

    def brings_on(self, tree: str) -> frozenset[str]:
        """The causes present now that bring this complaint on: those at work."""
        source = self.network.sources[tree]
        return frozenset(
            self.network.nodes[cause].id
            for cause in self.present
            if cause in source.links and self.shows(cause, source.family)
        )

    def repair(self, cause: str) -> None:
        """Put a cause right: it is absent from now on."""
        self.present.discard(self.network.index[cause])

    def shows(self, cause: int, family: str) -> bool:
        """Whether a cause shows in a family: drawn once, then fixed."""
        key = (cause, family)
        if key not in self._shows:
            chance = self.network.shows.get(key, 0.0)
            self._shows[key] = bool(self.random.random() < chance)
        return self._shows[key]

    def _throw(self, chances: Sequence[float], scale: float) -> int:
        """The position in the cascade that one cause throws; past its end when it throws none."""
        at = float(self.random.random())
        for k, chance in enumerate(chances):
            at -= chance * scale
            if at < 0.0:
                return k
        return len(chances)


def draw_likely(
    network: Network, random: np.random.Generator, with_cause: int = -1
) -> Iterator[HiddenCar]:
    """Cars from the prior, without those that hold nothing to bring one of the complaints on.

    `with_cause` is made present in all of them. Ends after `DRAWS` cars, those left out included.
    """
    able = np.zeros((len(network.complaints), len(network.nodes)))
    for links, tree in zip(able, network.complaints, strict=True):
        links[list(network.sources[tree].links)] = 1.0
    for _ in range(0, DRAWS, AT_ONCE):
        drawn = random.random((AT_ONCE, len(network.nodes))) < network.groups.prior
        if with_cause >= 0:
            drawn[:, with_cause] = True
        for row in np.flatnonzero((drawn @ able.T > 0.0).all(axis=1)):
            present = set(np.flatnonzero(drawn[row]).tolist())
            ids = frozenset(network.nodes[i].id for i in present)
            yield HiddenCar(network, random, ids, present)


def draw_car(
    network: Network, random: np.random.Generator, as_cause: str | None = None
) -> HiddenCar:
    """A car that has every complaint of the network, with one cause at work if it is named.

    `as_cause` is then present and brings at least one of the complaints on; everything else is as
    the model has it. Raises KeyError for a cause that the network does not hold, OutOfReach when
    no such car comes up.
    """
    fixed = network.index[as_cause] if as_cause is not None else -1
    if fixed >= 0 and fixed not in network.relevant:
        raise OutOfReach(f"{network.nodes[fixed].name} cannot bring this complaint on")
    for car in draw_likely(network, random, fixed):
        at_work = [car.brings_on(tree) for tree in network.complaints]
        if all(at_work) and (as_cause is None or any(as_cause in here for here in at_work)):
            return car
    raise OutOfReach(
        f"in {DRAWS:,} cars drawn from the trees not one came in with "
        f"{' and '.join(network.sources[tree].name for tree in network.complaints)}"
    )


def observe(source: Source, band: str, sure: float | None, random: np.random.Generator) -> str:
    """What an observer says of a band: in error with the chance 1 - sure, at a choice."""
    if sure is None or len(source.bands) < 2 or random.random() < sure:
        return band
    others = [other for other in source.bands if other != band]
    return others[int(random.integers(len(others)))]


def finding_of(
    source: Source, said: str, sure: float | None, stage: int, showing: bool | None = None
) -> Finding:
    """What was said, as the scorer counts it: hard for a number, spread for a choice."""
    bands = {said: 1.0} if sure is None else spread_choice(source.bands, said, sure)
    return Finding(source.id, bands, stage, showing)


def complaint_finding(tree: str, present: bool, stage: int, *, curable: bool = True) -> Finding:
    """A look for the complaint, weighed as a session weighs it.

    A complaint that went with a repair that can cure it is gone for certain; without one
    (`curable` is False) it may only be keeping quiet.
    """
    gone = 0.0 if present else 1.0 if curable else SURE_OF_GONE
    return Finding(tree, {PRESENT: 1.0 - gone, GONE: gone}, stage)


def sureness(knowledge: Knowledge) -> Mapping[str, float]:
    """How sure the observer is, for the tests that are choices."""
    return {test.id: test.sure for test in knowledge.tests.values() if test.kind == "choice"}


def is_listed(cause: str) -> bool:
    """Whether an id is that of a listed cause, not of `not-listed`."""
    return cause.partition(":")[0] != NOT_LISTED
