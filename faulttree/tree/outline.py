"""The outline of a tree's route that every drawing is made of, read from the graph.

What was walked in a session comes in as the steps of the route, and is marked by signs, so that
nothing rests on colour. How an outline is written down is left to `draw` and `picture`.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from faulttree.tree.graph import NodeId, RouteStep, out_of_reach, route_graph
from faulttree.tree.model import OTHERWISE, Knowledge

TEST, READ, PASSED, NEXT, CAUSE = "○", "●", "◌", "▶", "■"
"""The signs of the drawings: a test, one read on the way, one gone by, what is next, a cause."""

LEGEND = {
    TEST: "test",
    READ: "read on the way",
    PASSED: "gone by without a reading",
    NEXT: "next",
    CAUSE: "cause to repair",
}


@dataclass(frozen=True, slots=True)
class Step:
    """One line of the drawing: from a test, by these bands, to what follows.

    `back` marks a step to a test that lies on the way to this one: a loop in the route.
    """

    start: NodeId
    end: NodeId
    bands: tuple[str, ...]
    walked: bool = False
    back: bool = False

    @property
    def label(self) -> str:
        """The bands as one text."""
        return " / ".join(self.bands)


@dataclass(frozen=True, slots=True)
class Outline:
    """What is drawn: the names, signs and depths of tests and causes, and the steps between them.

    Tests stand in an order in which each comes after those that lead to it, loops apart. `ahead`
    gives for each test the one where a reading as expected leads, and `never` the names of tests
    that the route does not reach.
    """

    title: str
    first: NodeId
    names: Mapping[NodeId, str]
    signs: Mapping[NodeId, str]
    depths: Mapping[NodeId, int]
    steps: tuple[Step, ...]
    ahead: Mapping[NodeId, NodeId]
    never: tuple[str, ...] = ()
    walked: bool = False

    def after(self, node: NodeId) -> list[Step]:
        """The steps that leave a node, in the order of its bands."""
        return [step for step in self.steps if step.start == node]


def outline(knowledge: Knowledge, tree_id: str, ways: Sequence[RouteStep] = ()) -> Outline:
    """The route of a tree, and on it the ways that were walked, the present one last."""
    tree = knowledge.trees[tree_id]
    graph = route_graph(knowledge, tree_id)
    first: NodeId = ("test", tree.first)
    walked, signs = _walked(ways)
    after: dict[NodeId, dict[NodeId, list[str]]] = {}

    def follows(node: NodeId) -> list[NodeId]:
        ends: dict[NodeId, list[str]] = {}
        edges = [(end, band) for _, end, band in graph.out_edges(node, data="band")]
        if node[0] == "test":
            # A kept document has lost the author's order of keys; that of the bands it has not.
            bands = [*knowledge.tests[node[1]].bands, OTHERWISE]
            edges.sort(key=lambda edge: bands.index(edge[1]))
        for end, band in edges:
            ends.setdefault(end, []).append(band)
        after[node] = ends
        return list(ends)

    order, back = _order(first, follows)
    depths = dict.fromkeys(order, 0)
    steps = []
    for node in order:
        named = tree.route.get(node[1], {})
        for end, bands in after[node].items():
            gone = any(
                band in bands or (OTHERWISE in bands and band not in named)
                for band in walked.get(node[1], ())
            )
            steps.append(Step(node, end, tuple(bands), gone, (node, end) in back))
            if (node, end) not in back:
                depths[end] = max(depths[end], depths[node] + 1)
    ahead = {}
    for node in order:
        expected = knowledge.tests[node[1]].expect if node[0] == "test" else ""
        for wanted in (expected, OTHERWISE):
            ends = [end for end, bands in after[node].items() if wanted in bands]
            if ends and node not in ahead:
                ahead[node] = ends[0]
    plain = {node: TEST if node[0] == "test" else CAUSE for node in order}
    return Outline(
        title=tree.complaint,
        first=first,
        names={node: graph.nodes[node]["name"] for node in order},
        signs={**plain, **{node: sign for node, sign in signs.items() if node in plain}},
        depths=depths,
        steps=tuple(steps),
        ahead=ahead,
        never=tuple(knowledge.tests[test].name for test in out_of_reach(knowledge, tree_id)),
        walked=bool(ways),
    )


def _walked(ways: Sequence[RouteStep]) -> tuple[dict[str, set[str]], dict[NodeId, str]]:
    """The bands by which each test was left, and the signs of what lies on the ways."""
    bands: dict[str, set[str]] = {}
    signs: dict[NodeId, str] = {}
    for at, way in enumerate(ways):
        for passed in way.path:
            bands.setdefault(passed.test, set()).add(passed.band)
            node: NodeId = ("test", passed.test)
            if passed.how == "read" or signs.get(node) != READ:
                signs[node] = READ if passed.how == "read" else PASSED
        if way.kind == "cause":
            signs[("cause", way.id)] = f"{NEXT} {CAUSE}" if at == len(ways) - 1 else READ
        elif way.kind == "test" and at == len(ways) - 1:
            signs.setdefault(("test", way.id), NEXT)
    return bands, signs


def _order(
    first: NodeId, follows: Callable[[NodeId], list[NodeId]]
) -> tuple[list[NodeId], set[tuple[NodeId, NodeId]]]:
    """All that is reached, each after what leads to it, and the steps that go back."""
    done: list[NodeId] = []
    back = set()
    on_way, seen = {first}, {first}
    stack = [(first, iter(follows(first)))]
    while stack:
        node, rest = stack[-1]
        end = next(rest, None)
        if end is None:
            stack.pop()
            on_way.discard(node)
            done.append(node)
        elif end in on_way:
            back.add((node, end))
        elif end not in seen:
            seen.add(end)
            on_way.add(end)
            stack.append((end, iter(follows(end))))
    return done[::-1], back
