"""The authored route is followed as written, and the graph holds the same steps."""

from collections.abc import Mapping
from pathlib import Path

import pytest

from faulttree.tree.car import Car, describe_car
from faulttree.tree.graph import (
    Passed,
    follow,
    loops,
    makes_sense,
    next_on_route,
    out_of_reach,
    route_edges,
    route_graph,
)
from faulttree.tree.load import load
from faulttree.tree.model import Knowledge

OWN = """
tests:
  trim:
    name: Trim
    do: Read it.
    choices: [normal, lean]
    expect: normal
    by_chance: {lean: 0.05}
    fits: {fuel_system: [multipoint]}
    minutes: 5
    reach: 0
    points_to: {fuel-pump-weak: {lean: 0.4}}
  trim-again:
    name: Trim again
    do: Read it under load.
    choices: [normal, lean]
    expect: normal
    by_chance: {lean: 0.05}
    after: {trim: [lean]}
    minutes: 5
    reach: 0
    points_to: {fuel-pump-weak: {lean: 0.4}}
causes:
  jet-blocked:
    name: Blocked jet
    what: Dirt.
    how_common: 0.01
    fits: {fuel_system: [carburettor]}
    repair: {do: Clean it., minutes: 30, parts: 5}
"""
ROUTE = """\
route:
  idle-watch: {hunting: trim, otherwise: fuel-pressure-prime}
  trim: {lean: fuel-pressure-prime, normal: trim-again}
  trim-again: {lean: regulator-high, normal: fuel-pressure-prime}
  fuel-pressure-prime: {low: fuel-pump-weak, high: regulator-high, in limits: jet-blocked}
road_test: [idle-watch]
"""


@pytest.fixture
def knowledge(shelf: Path) -> Knowledge:
    """The good shelf's tree with a longer route."""
    path = shelf / "engine-stalls.yaml"
    head = path.read_text().partition("route:")[0]
    path.write_text(head + ROUTE + OWN)
    return load(["engine-stalls"])


@pytest.fixture
def injected(knowledge: Knowledge) -> Car:
    """A car on which the trim can be read."""
    return describe_car(knowledge, typed={"fuel_system": "multipoint"})


@pytest.fixture
def carburetted(knowledge: Knowledge) -> Car:
    """A car without trims."""
    return describe_car(knowledge, typed={"fuel_system": "carburettor"})


TREE = "engine-stalls"


def test_route_starts_at_the_first_test(knowledge: Knowledge, injected: Car) -> None:
    """Without readings the route stands at its first test, with no way behind it."""
    step = next_on_route(knowledge, TREE, {}, injected)
    assert (step.kind, step.id, step.path, step.last) == ("test", "idle-watch", (), None)


@pytest.mark.parametrize(
    ("readings", "kind", "id_"),
    [
        ({"idle-watch": "hunting"}, "test", "trim"),
        ({"idle-watch": "steady"}, "test", "fuel-pressure-prime"),
        ({"idle-watch": "hunting", "trim": "lean"}, "test", "fuel-pressure-prime"),
        ({"idle-watch": "steady", "fuel-pressure-prime": "low"}, "cause", "fuel-pump-weak"),
        # Readings that the route does not come to change nothing.
        ({"fuel-pressure-prime": "low"}, "test", "idle-watch"),
    ],
)
def test_route_follows_what_was_read(
    knowledge: Knowledge, injected: Car, readings: Mapping[str, str], kind: str, id_: str
) -> None:
    """Each reading leads by its band, or by `otherwise`, to a test or to a cause."""
    step = next_on_route(knowledge, TREE, readings, injected)
    assert (step.kind, step.id) == (kind, id_)


def test_path_tells_what_was_read(knowledge: Knowledge, injected: Car) -> None:
    """The way so far names each test with the band it was left by."""
    readings = {"idle-watch": "hunting", "trim": "lean"}
    step = next_on_route(knowledge, TREE, readings, injected)
    assert step.path == (Passed("idle-watch", "hunting"), Passed("trim", "lean"))
    assert step.last == Passed("trim", "lean")


def test_test_that_does_not_fit_is_passed_by_its_expected_band(
    knowledge: Knowledge, carburetted: Car
) -> None:
    """On a car without trims the route goes on as if they were normal, and says why."""
    step = next_on_route(knowledge, TREE, {"idle-watch": "hunting"}, carburetted)
    assert (step.kind, step.id) == ("test", "fuel-pressure-prime")
    assert step.path[1:] == (
        Passed("trim", "normal", "does not fit"),
        Passed("trim-again", "normal", "makes no sense yet"),
    )


def test_test_that_cannot_be_done_is_passed_by_its_expected_band(
    knowledge: Knowledge, injected: Car
) -> None:
    """A test that the technician cannot do does not stop the route."""
    step = next_on_route(knowledge, TREE, {}, injected, {"idle-watch"})
    assert (step.id, step.path) == (
        "fuel-pressure-prime",
        (Passed("idle-watch", "steady", "cannot do"),),
    )


def test_reading_counts_more_than_fit_and_skip(knowledge: Knowledge, carburetted: Car) -> None:
    """A test that was read after all is left by its reading."""
    readings = {"idle-watch": "hunting", "trim": "lean"}
    step = next_on_route(knowledge, TREE, readings, carburetted, {"trim", "idle-watch"})
    assert step.path == (Passed("idle-watch", "hunting"), Passed("trim", "lean"))


def test_test_after_another_waits_for_its_reading(knowledge: Knowledge, injected: Car) -> None:
    """A test that comes after a lean trim is offered only then."""
    again = knowledge.tests["trim-again"]
    assert not makes_sense(again, {})
    assert not makes_sense(again, {"trim": "normal"})
    assert makes_sense(again, {"trim": "lean"})
    readings = {"idle-watch": "hunting", "trim": "normal"}
    step = next_on_route(knowledge, TREE, readings, injected)
    assert step.path[-1] == Passed("trim-again", "normal", "makes no sense yet")


def test_route_does_not_end_at_a_cause_that_the_car_cannot_have(
    knowledge: Knowledge, injected: Car, carburetted: Car
) -> None:
    """A step to a carburettor's fault ends the route on an injected car, and says so."""
    readings = {"idle-watch": "steady", "fuel-pressure-prime": "in limits"}
    step = next_on_route(knowledge, TREE, readings, injected)
    assert (step.kind, step.id) == ("end", "")
    assert step.why == "The route leads to: Blocked jet. Not on this car."
    assert next_on_route(knowledge, TREE, readings, carburetted).id == "jet-blocked"


def test_route_that_names_nothing_more_ends(shelf: Path) -> None:
    """Where neither the band nor `otherwise` is named, the route ends and says where."""
    knowledge = load(["engine-stalls"])
    step = next_on_route(knowledge, TREE, {"idle-watch": "steady"}, describe_car(knowledge))
    assert (step.kind, step.why) == ("end", "The route ends after Watch the idle: steady.")


def test_route_that_goes_round_ends(shelf: Path) -> None:
    """A route that comes back to a test does not loop for ever."""
    path = shelf / "engine-stalls.yaml"
    path.write_text(path.read_text().replace("low: fuel-pump-weak,", "in limits: idle-watch,"))
    knowledge = load(["engine-stalls"])
    readings = {"idle-watch": "hunting", "fuel-pressure-prime": "in limits"}
    step = next_on_route(knowledge, TREE, readings, describe_car(knowledge))
    assert (step.kind, len(step.path)) == ("end", 2)
    assert step.why == "The route comes back to Watch the idle with nothing new."
    assert loops(knowledge, TREE) == [("idle-watch", "fuel-pressure-prime")]


def test_step_to_itself_is_a_loop(shelf: Path) -> None:
    """A band that leads back to its own test is found as a ring of one."""
    path = shelf / "engine-stalls.yaml"
    path.write_text(path.read_text().replace("hunting: fuel", "steady: idle-watch, hunting: fuel"))
    assert loops(load(["engine-stalls"]), TREE) == [("idle-watch",)]


def test_good_route_has_no_loops_and_no_lost_tests(knowledge: Knowledge) -> None:
    """A route without rings and with every test reached gives empty lists."""
    assert loops(knowledge, TREE) == []
    assert out_of_reach(knowledge, TREE) == []


def test_test_that_is_never_led_to_is_found(shelf: Path) -> None:
    """A test that the route leaves but never comes to is out of reach."""
    path = shelf / "engine-stalls.yaml"
    path.write_text(
        path.read_text().replace("hunting: fuel-pressure-prime", "hunting: regulator-high")
    )
    assert out_of_reach(load(["engine-stalls"]), TREE) == ["fuel-pressure-prime"]


def test_graph_holds_every_step_with_its_band(knowledge: Knowledge) -> None:
    """Nodes and edges of the graph are those of the route, no more and no fewer."""
    graph = route_graph(knowledge, TREE)
    assert set(graph) == {
        ("tree", TREE),
        *(("test", test) for test in knowledge.tests),
        *(("cause", cause) for cause in knowledge.causes),
    }
    steps = [
        (start[1], data["band"], end[1])
        for start, end, data in graph.edges(data=True)
        if data["kind"] == "route"
    ]
    assert sorted(steps) == sorted(route_edges(knowledge.trees[TREE]))
    (first,) = graph.out_edges(("tree", TREE))
    assert first == (("tree", TREE), ("test", "idle-watch"))


def test_walk_agrees_with_the_graph(knowledge: Knowledge, injected: Car) -> None:
    """Every step of the walk, whatever is read, is an edge of the graph."""
    graph = route_graph(knowledge, TREE)
    tree = knowledge.trees[TREE]
    for test in tree.route:
        for band in knowledge.tests[test].bands:
            follows = follow(tree, test, band)
            if follows is not None:
                kind = "cause" if follows in knowledge.causes else "test"
                bands = {e["band"] for e in graph["test", test][kind, follows].values()}
                assert bands & {band, "otherwise"}
