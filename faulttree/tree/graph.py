"""The trees as a graph, and the authored way through one of them.

Tests, causes and the tree are nodes; the route's edges carry their band. Reachability, loops, dead
ends, drawing and the walk read the same edges, so they cannot disagree. What to do when the route
and the advice differ is left to the session.
"""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from faulttree.tree.car import Car, fits
from faulttree.tree.model import OTHERWISE, Knowledge, Test, Tree

if TYPE_CHECKING:
    import networkx

How = Literal["read", "does not fit", "cannot do", "makes no sense yet"]

NodeId = tuple[Literal["tree", "test", "cause"], str]
"""A node of the graph: what it is, and its id."""


@dataclass(frozen=True, slots=True)
class Passed:
    """A test that the route went by: the band it was left by, and whether that was really read.

    For a test that was not read, `band` is the expected one and `how` says why it was passed
    through.
    """

    test: str
    band: str
    how: How = "read"


@dataclass(frozen=True, slots=True)
class RouteStep:
    """Where the authored route stands: the test to do, the cause to repair, or its end.

    `path` is the way there from the first test. `why` says why the route ended, in a sentence, and
    is empty otherwise.
    """

    kind: Literal["test", "cause", "end"]
    id: str
    path: tuple[Passed, ...]
    why: str = ""

    @property
    def last(self) -> Passed | None:
        """The test passed last, None at the start."""
        return self.path[-1] if self.path else None


def follow(tree: Tree, test: str, band: str) -> str | None:
    """What the route of a tree names after a test fell in a band, or None where it ends."""
    edges = tree.route.get(test, {})
    return edges.get(band, edges.get(OTHERWISE))


def next_on_route(
    knowledge: Knowledge,
    tree_id: str,
    readings: Mapping[str, str],
    car: Car,
    skipped: Collection[str] = (),
) -> RouteStep:
    """Follow the authored route of a tree from its first test as far as readings are known.

    `readings` gives the band of every test that was read, `skipped` the tests that cannot be done.
    A test that was not read is passed through as if it had fallen in its expected band when it does
    not fit the car, cannot be done, or makes sense only after a reading that was not had.
    """
    tree = knowledge.trees[tree_id]
    path: list[Passed] = []
    seen: set[str] = set()
    here = tree.first
    while True:
        if here in knowledge.causes:
            if fits(knowledge.causes[here].fits, car):
                return RouteStep("cause", here, tuple(path))
            name = knowledge.causes[here].name
            return RouteStep(
                "end", "", tuple(path), f"The route leads to: {name}. Not on this car."
            )
        test = knowledge.tests[here]
        if here in seen:
            why = f"The route comes back to {test.name} with nothing new."
            return RouteStep("end", "", tuple(path), why)
        seen.add(here)
        if here in readings:
            passed = Passed(here, readings[here])
        else:
            how = _why_passed(test, readings, car, skipped)
            if how is None:
                return RouteStep("test", here, tuple(path))
            passed = Passed(here, test.expect, how)
        path.append(passed)
        follows = follow(tree, here, passed.band)
        if follows is None:
            why = f"The route ends after {test.name}: {passed.band}."
            return RouteStep("end", "", tuple(path), why)
        here = follows


def _why_passed(
    test: Test, readings: Mapping[str, str], car: Car, skipped: Collection[str]
) -> How | None:
    """Why a test that was not read is passed through, or None when it is the one to do."""
    if not fits(test.fits, car):
        return "does not fit"
    if test.id in skipped:
        return "cannot do"
    if not makes_sense(test, readings):
        return "makes no sense yet"
    return None


def makes_sense(test: Test, readings: Mapping[str, str]) -> bool:
    """Whether every test that this one comes after was read in one of the bands it names."""
    return all(readings.get(other) in bands for other, bands in test.after.items())


def route_edges(tree: Tree) -> Iterator[tuple[str, str, str]]:
    """Every step of a tree's route as test, band and what follows."""
    for test, edges in tree.route.items():
        for band, follows in edges.items():
            yield test, band, follows


def route_graph(knowledge: Knowledge, tree_id: str) -> "networkx.MultiDiGraph[NodeId]":
    """The route of one tree as a directed multigraph.

    Nodes are `("tree", id)` of that tree, and `("test", id)` and `("cause", id)` of all there are,
    each with a `name`. Edges carry `kind`: `first` from the tree to its first test, `route` with
    the `band` by which the step is taken.
    """
    # networkx costs a tenth of a second to import, and the walk does without it.
    import networkx

    tree = knowledge.trees[tree_id]
    home: NodeId = ("tree", tree_id)
    graph: Any = networkx.MultiDiGraph()
    graph.add_node(home, name=tree.complaint)
    for test in knowledge.tests.values():
        graph.add_node(("test", test.id), name=test.name)
    for cause in knowledge.causes.values():
        graph.add_node(("cause", cause.id), name=cause.name)
    graph.add_edge(home, ("test", tree.first), kind="first")
    for test_id, band, follows in route_edges(tree):
        end: NodeId = ("cause" if follows in knowledge.causes else "test", follows)
        graph.add_edge(("test", test_id), end, kind="route", band=band)
    return graph


def out_of_reach(knowledge: Knowledge, tree_id: str) -> list[str]:
    """The tests that the route of a tree tells how to leave, but never leads to."""
    import networkx

    graph = route_graph(knowledge, tree_id)
    reached = networkx.descendants(graph, ("tree", tree_id))
    return [test for test in knowledge.trees[tree_id].route if ("test", test) not in reached]


def loops(knowledge: Knowledge, tree_id: str) -> list[tuple[str, ...]]:
    """The rings of tests in a tree's route, each from the test that the tree names first."""
    import networkx

    order = list(knowledge.trees[tree_id].route)
    found = []
    graph = networkx.DiGraph(route_graph(knowledge, tree_id))
    for ring in networkx.strongly_connected_components(graph):
        tests = {name for _, name in ring}
        start = min(tests, key=lambda name: order.index(name) if name in order else len(order))
        if len(ring) > 1 or graph.has_edge(*([next(iter(ring))] * 2)):
            found.append(_one_ring(graph, ring, ("test", start)))
    return sorted(found, key=lambda ring: order.index(ring[0]))


def _one_ring(graph: Any, ring: Collection[NodeId], start: NodeId) -> tuple[str, ...]:
    """A shortest way from a test back to itself, within its strongly connected part."""
    import networkx

    inside = graph.subgraph(ring)
    if inside.has_edge(start, start):
        return (start[1],)
    ways = [networkx.shortest_path(inside, after, start) for after in inside.successors(start)]
    shortest = min(ways, key=len)
    return (start[1], *(name for _, name in shortest[:-1]))
