"""The compiled network of one car: which causes push which findings, and how hard.

Causes are independent beforehand, each present with its `how_common`. A test answers by a cascade
of noisy-ORs with the leak `by_chance`: every present cause, and the leak, throws one of the test's
cascade bands or none (with exactly the author's chances), and the earliest band thrown is read;
if none is thrown, the expected band is. That is the noisy-MAX form of the cascade: a cause alone
gives the author's numbers, and two causes together give 1 - (1 - q1)(1 - q2) for the first band.
A complaint is a finding with one cascade band, `present`, whose leak is the cause `not-listed`.

Readings of one family share a mechanism. A cause either *shows* in a family, with chance m, or
not; m is the largest total chance it has of putting any one test of that family out of its
expected band. Given that it shows, each test of the family answers with its chances divided by m,
so that every single test keeps the author's numbers. The leak of a test is an independent cause
of its own (the convention of Diez).
"""

from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from faulttree.scorer.evidence import GONE, PRESENT
from faulttree.tree.car import Car, fits
from faulttree.tree.model import Knowledge

Array = npt.NDArray[np.float64]
Numbers = npt.NDArray[np.intp]

NOT_LISTED = "not-listed"

LAST_DIGITS = 1e-13
"""What is left over when nearly certain chances are taken from 1 is rounding up to here."""


def rest_of(fired: Array) -> Array:
    """What chances leave to their opposites.

    A sure thing leaves 0, not the rounding of its last digit, or evidence that contradicts itself
    would be explained by that digit.
    """
    rest: Array = 1.0 - fired
    return np.where(rest > LAST_DIGITS, rest, 0.0)


@dataclass(frozen=True, slots=True)
class Node:
    """A cause in the network: its chance beforehand, and what it costs to put right."""

    id: str
    name: str
    prior: float
    minutes: float = 0.0
    parts: float = 0.0
    repairable: bool = True


@dataclass(frozen=True, slots=True)
class Source:
    """A test or a complaint in the network: its bands and the chances that push them.

    `cascade` lists the bands other than `expect`, first to win first. `links[cause index]` and
    `leak` hold one chance for each of them.
    """

    id: str
    name: str
    cascade: tuple[str, ...]
    expect: str
    family: str
    links: Mapping[int, tuple[float, ...]]
    leak: tuple[float, ...]
    minutes: float = 0.0
    reach: int = 0
    shows_only: float | None = None
    is_complaint: bool = False
    after: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    @property
    def bands(self) -> tuple[str, ...]:
        """Every band: the cascade, then the expected one."""
        return (*self.cascade, self.expect)


@dataclass(frozen=True, slots=True)
class Links:
    """The links of one source as arrays: row r is one cause that can show in its family.

    `chances` has one column for each band of the cascade; they are chances given that the cause
    shows, so they are the author's, divided by m.
    """

    causes: Numbers
    groups: Numbers
    chances: Array


@dataclass(frozen=True, slots=True)
class Groups:
    """A group is one cause in one family: the unit in which a cause shows or does not.

    Groups are numbered cause by cause; `first[i]` is the first of cause i. Each cause starts with
    a blank group that never shows, so that no cause is without one. `memo` keeps what inference
    works out from the network alone, so that the next reading need not work it out again.
    """

    cause: Numbers
    family: tuple[str, ...]
    shows: Array
    first: Numbers
    prior: Array
    links: Mapping[str, Links]
    memo: dict[Hashable, object] = field(default_factory=dict, compare=False, repr=False)

    def of_families(self, families: Iterable[str]) -> npt.NDArray[np.bool_]:
        """Which groups belong to one of the families."""
        wanted = set(families)
        return np.array([family in wanted for family in self.family], dtype=bool)


@dataclass(frozen=True, slots=True)
class Network:
    """Causes, tests and complaints that apply to one car, ready for inference.

    `shows[(cause index, family)]` is m, the chance that the cause shows in that family.
    `relevant` holds the indices of the causes that can bring on one of the session's complaints.
    `groups` holds the same as arrays.
    """

    nodes: tuple[Node, ...]
    sources: Mapping[str, Source]
    shows: Mapping[tuple[int, str], float]
    complaints: tuple[str, ...]
    relevant: frozenset[int]
    index: Mapping[str, int]
    groups: Groups = field(compare=False, repr=False)


def _shows(sources: Iterable[Source]) -> dict[tuple[int, str], float]:
    """For every cause and family, the largest total chance over the family's tests."""
    largest: dict[tuple[int, str], float] = {}
    for source in sources:
        for cause, chances in source.links.items():
            key = (cause, source.family)
            # Chances that sum to 1 may do so with a last digit too many.
            largest[key] = min(1.0, max(largest.get(key, 0.0), sum(chances)))
    return largest


def _groups(
    nodes: tuple[Node, ...],
    sources: Mapping[str, Source],
    shows: Mapping[tuple[int, str], float],
) -> Groups:
    """The network's groups and links as arrays."""
    by_cause: list[list[str]] = [[""] for _ in nodes]
    for (cause, family), chance in shows.items():
        if chance > 0.0:
            by_cause[cause].append(family)
    number: dict[tuple[int, str], int] = {}
    causes: list[int] = []
    families: list[str] = []
    chances: list[float] = []
    first: list[int] = []
    for cause, row in enumerate(by_cause):
        first.append(len(causes))
        for at, family in enumerate(row):
            if at:
                number[cause, family] = len(causes)
            causes.append(cause)
            families.append(family)
            chances.append(shows[cause, family] if at else 0.0)
    links = {}
    for source in sources.values():
        rows = [c for c in source.links if (c, source.family) in number]
        groups = [number[c, source.family] for c in rows]
        links[source.id] = Links(
            causes=np.array(rows, dtype=np.intp),
            groups=np.array(groups, dtype=np.intp),
            chances=np.array(
                [[q / shows[c, source.family] for q in source.links[c]] for c in rows],
                dtype=np.float64,
            ).reshape(len(rows), len(source.cascade)),
        )
    return Groups(
        cause=np.array(causes, dtype=np.intp),
        family=tuple(families),
        shows=np.array(chances, dtype=np.float64),
        first=np.array(first, dtype=np.intp),
        prior=np.array([node.prior for node in nodes], dtype=np.float64),
        links=links,
    )


def make_network(
    nodes: Iterable[Node], sources: Iterable[Source], complaints: Iterable[str] = ()
) -> Network:
    """A network from its parts; used by `build_network` and by tests that need small ones."""
    nodes = tuple(nodes)
    by_id = {source.id: source for source in sources}
    complaints = tuple(complaints)
    relevant = {cause for tree in complaints for cause in by_id[tree].links}
    shows = _shows(by_id.values())
    return Network(
        nodes=nodes,
        sources=by_id,
        shows=shows,
        complaints=complaints,
        relevant=frozenset(relevant),
        index={node.id: i for i, node in enumerate(nodes)},
        groups=_groups(nodes, by_id, shows),
    )


def build_network(knowledge: Knowledge, tree_ids: Iterable[str], car: Car) -> Network:
    """The network for one car and one or more complaints.

    Causes and tests that do not fit the car are left out. Each complaint adds a cause of its own,
    `not-listed`, so that nothing listed can reach certainty for want of a rival (with several
    complaints they are called `not-listed:TREE`). Raises KeyError for an unknown tree.
    """
    trees = [knowledge.trees[tree] for tree in tree_ids]
    causes = [cause for cause in knowledge.causes.values() if fits(cause.fits, car)]
    nodes = [Node(c.id, c.name, c.how_common, c.repair.minutes, c.repair.parts) for c in causes]
    index = {node.id: i for i, node in enumerate(nodes)}
    sources: list[Source] = []
    for test in knowledge.tests.values():
        if not fits(test.fits, car):
            continue
        cascade = test.cascade
        links = {
            index[cause]: tuple(chances.get(band, 0.0) for band in cascade)
            for cause, chances in test.points_to.items()
            if cause in index
        }
        sources.append(
            Source(
                id=test.id,
                name=test.name,
                cascade=cascade,
                expect=test.expect,
                family=test.family or test.id,
                links=links,
                leak=tuple(test.by_chance.get(band, 0.0) for band in cascade),
                minutes=test.minutes,
                reach=test.reach,
                shows_only=test.shows_only,
                after=test.after,
            )
        )
    for tree in trees:
        rival = NOT_LISTED if len(trees) == 1 else f"{NOT_LISTED}:{tree.id}"
        name = "Something not listed here"
        if len(trees) > 1:
            name = f"{name} ({tree.complaint})"
        nodes.append(Node(rival, name, tree.not_listed, repairable=False))
        brings_on = {index[cause]: (p,) for cause, p in tree.brings_on.items() if cause in index}
        sources.append(
            Source(
                id=tree.id,
                name=tree.complaint,
                cascade=(PRESENT,),
                expect=GONE,
                family=f"complaint:{tree.id}",
                links={**brings_on, len(nodes) - 1: (1.0,)},
                leak=(0.0,),
                is_complaint=True,
            )
        )
    return make_network(nodes, sources, (tree.id for tree in trees))
