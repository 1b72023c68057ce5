"""Rules for the authored way: that every part of it is reached, leads on, and suits the car."""

from collections.abc import Iterator, Mapping

from faulttree.tree.graph import loops, out_of_reach, route_edges, route_graph
from faulttree.tree.model import OTHERWISE, Knowledge
from faulttree.tree.problem import Problem, listed
from faulttree.tree.rules.table import Checked, rule


@rule("route-loop", "error", "its reading is known by then: let one of these bands lead elsewhere")
def route_loop(checked: Checked, knowledge: Knowledge) -> Iterator[Problem]:
    """A route must not come back to a test it has already been at.

    The test's reading is known by then, so that the walk would go round without end. Let one of the
    bands lead elsewhere; the technician may take any test again at any time.

    Bad:

    ```yaml
    route:
      idle-watch: {hunting: fuel-pressure-prime}
      fuel-pressure-prime: {low: fuel-pump-weak, otherwise: idle-watch}
    ```

    Good:

    ```yaml
    route:
      idle-watch: {hunting: fuel-pressure-prime}
      fuel-pressure-prime: {low: fuel-pump-weak, high: regulator-high}
    ```
    """
    for tree in knowledge.trees:
        for ring in loops(knowledge, tree):
            way = " to ".join(f"`{test}`" for test in (*ring, ring[0]))
            place = checked.shelf.trees[tree].place("route", ring[0], key=True)
            yield Problem(place, f"the route goes round: {way}")


@rule(
    "route-out-of-reach",
    "warning",
    "lead a band of another test to it, or take it out of the route",
)
def route_out_of_reach(checked: Checked, knowledge: Knowledge) -> Iterator[Problem]:
    """Every test that the route tells how to leave should be reached from the first one.

    What cannot be reached is never done on the authored way. Either a step to it was forgotten, or
    it is left over.

    Bad:

    ```yaml
    first: idle-watch
    route:
      idle-watch: {hunting: regulator-high}
      fuel-pressure-prime: {low: fuel-pump-weak}
    ```

    Good:

    ```yaml
    first: idle-watch
    route:
      idle-watch: {hunting: fuel-pressure-prime}
      fuel-pressure-prime: {low: fuel-pump-weak, high: regulator-high}
    ```
    """
    for tree in knowledge.trees:
        for test in out_of_reach(knowledge, tree):
            place = checked.shelf.trees[tree].place("route", test, key=True)
            yield Problem(place, f"the route never reaches `{test}`")


@rule(
    "route-dead-end",
    "note",
    "name what follows, or write `otherwise` for every band that is not named",
)
def route_dead_end(checked: Checked, knowledge: Knowledge) -> Iterator[Problem]:
    """A reading out of the expected band should lead on.

    The technician has found something and is told nothing about it; only the advice is left. Name
    what follows, or write `otherwise` for all the bands that are not named.

    Bad:

    ```yaml
    tests:
      idle-watch: {choices: [steady, hunting, dying]}
    route:
      idle-watch: {hunting: fuel-pressure-prime}
    ```

    Good:

    ```yaml
    tests:
      idle-watch: {choices: [steady, hunting, dying]}
    route:
      idle-watch: {hunting: fuel-pressure-prime, dying: fuel-pressure-prime}
    ```
    """
    for tree in knowledge.trees.values():
        item = checked.shelf.trees[tree.id]
        reached = {follows for _, _, follows in route_edges(tree)} | {tree.first}
        for name in [test for test in knowledge.tests if test in reached]:
            edges = tree.route.get(name, {})
            if OTHERWISE in edges:
                continue
            ends = [band for band in knowledge.tests[name].cascade if band not in edges]
            if ends and name in tree.route:
                place = item.place("route", name, key=True)
                yield Problem(place, f"the route ends where `{name}` reads {listed(ends)}")


@rule(
    "route-after",
    "warning",
    "the walk passes it by until then: lead to it by that reading, or change its `after`",
)
def route_after(checked: Checked, knowledge: Knowledge) -> Iterator[Problem]:
    """A test that makes sense only after a certain reading should be led to by that reading.

    The walk passes such a test through as long as the reading is not there, so that a step to it by
    another band does nothing.

    Bad:

    ```yaml
    tests:
      fuel-pressure-load: {after: {fuel-pressure-prime: [in limits]}}
    route:
      idle-watch: {hunting: fuel-pressure-prime}
      fuel-pressure-prime: {low: fuel-pressure-load}
    ```

    Good:

    ```yaml
    tests:
      fuel-pressure-load: {after: {fuel-pressure-prime: [in limits]}}
    route:
      idle-watch: {hunting: fuel-pressure-prime}
      fuel-pressure-prime: {low: fuel-pump-weak, in limits: fuel-pressure-load}
    ```
    """
    for tree in knowledge.trees.values():
        item = checked.shelf.trees[tree.id]
        graph = route_graph(knowledge, tree.id)
        for test, band, follows in route_edges(tree):
            if follows not in knowledge.tests:
                continue
            for other, bands in knowledge.tests[follows].after.items():
                place = item.place("route", test, band)
                if other == test:
                    left_by = _bands_of_step(knowledge, tree.route[test], test, band)
                    if not set(left_by) & set(bands):
                        message = f"`{follows}` makes sense only after {listed(bands)}"
                        yield Problem(place, message)
                elif not _leads_to(graph, other, test):
                    message = f"`{follows}` makes sense only after `{other}`"
                    yield Problem(place, message, "the route does not pass it before this")


def _bands_of_step(
    knowledge: Knowledge, edges: Mapping[str, str], test: str, band: str
) -> list[str]:
    if band != OTHERWISE:
        return [band]
    return [name for name in knowledge.tests[test].bands if name not in edges]


def _leads_to(graph: object, start: str, end: str) -> bool:
    import networkx

    return bool(networkx.has_path(graph, ("test", start), ("test", end)))


@rule(
    "no-road-test",
    "note",
    "name under `road_test` what shows the complaint, to set before beside after",
)
def no_road_test(checked: Checked, knowledge: Knowledge) -> Iterator[Problem]:
    """A tree should name the road test that is done before any work and again as proof.

    Without one there is nothing to set the repaired car against.

    Bad:

    ```yaml
    road_test: []
    ```

    Good:

    ```yaml
    road_test: [idle-watch]
    ```
    """
    for tree in knowledge.trees.values():
        if not tree.road_test:
            place = checked.shelf.trees[tree.id].place("road_test", key=True)
            yield Problem(place, "the tree has no road test")
