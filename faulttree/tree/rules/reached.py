"""Rules for what the authored way leaves out, and for steps that no car ever takes."""

from collections.abc import Iterator, Mapping

from faulttree.tree.car import fits
from faulttree.tree.graph import NodeId, route_edges, route_graph
from faulttree.tree.model import OTHERWISE, Knowledge, Test, Tree
from faulttree.tree.problem import Problem, listed
from faulttree.tree.rules.table import Checked, one_car, rule

Kind = Mapping[str, frozenset[str]]
"""A kind of car: for each spec that matters, the values that it may still have."""

MOST_NAMED = 3
"""So many tests are named in a hint; more would not be read."""


def _reached(knowledge: Knowledge, tree: str) -> set[NodeId]:
    """What the route of a tree leads to."""
    import networkx

    graph = route_graph(knowledge, tree)
    return set(networkx.descendants(graph, ("tree", tree)))


def _narrowed(kind: Kind, needs: Mapping[str, tuple[str, ...]]) -> Kind | None:
    """The cars of a kind that something also fits; None when there are none."""
    made = dict(kind)
    for spec, values in needs.items():
        made[spec] = made.get(spec, frozenset(values)) & frozenset(values)
        if not made[spec]:
            return None
    return made


@rule("cause-off-route", "note", "lead a band of the route to a test that does")
def cause_off_route(checked: Checked, knowledge: Knowledge) -> Iterator[Problem]:
    """A route should pass a test that points to each cause of its tree.

    Whoever keeps to the authored way has then looked for everything that brings the complaint on.
    A cause that no test on the way points to is found only by those who follow the advice. Lead a
    band to one of the tests that do, or take the cause out of `brings_on` if it is not worth the
    minutes.

    Bad:

    ```yaml
    causes:
      fuel-filter-blocked: {name: Fuel filter blocked}
    tests:
      fuel-flow: {choices: [good, poor], points_to: {fuel-filter-blocked: {poor: 0.8}}}
    brings_on: {fuel-pump-weak: 0.3, fuel-filter-blocked: 0.3}
    route:
      idle-watch: {hunting: fuel-pressure-prime}
      fuel-pressure-prime: {low: fuel-pump-weak, high: regulator-high}
    ```

    Good:

    ```yaml
    causes:
      fuel-filter-blocked: {name: Fuel filter blocked}
    tests:
      fuel-flow: {choices: [good, poor], points_to: {fuel-filter-blocked: {poor: 0.8}}}
    brings_on: {fuel-pump-weak: 0.3, fuel-filter-blocked: 0.3}
    route:
      idle-watch: {hunting: fuel-pressure-prime}
      fuel-pressure-prime: {low: fuel-flow, high: regulator-high}
      fuel-flow: {poor: fuel-filter-blocked, otherwise: fuel-pump-weak}
    ```
    """
    for tree in knowledge.trees.values():
        reached = _reached(knowledge, tree.id)
        tests = checked.tests_of(tree.id)
        for cause in tree.brings_on:
            pointing = [
                test
                for test in tests
                if cause in test.points_to and one_car(test.fits, knowledge.causes[cause].fits)
            ]
            if not pointing or any(("test", test.id) in reached for test in pointing):
                continue  # without any such test, `cause-untested` says so
            # The test that tells most is the one to lead to.
            pointing.sort(key=lambda test: -sum(test.points_to[cause].values()))
            names = listed(test.id for test in pointing[:MOST_NAMED])
            place = checked.shelf.trees[tree.id].place("brings_on", cause, key=True)
            message = f"the route passes no test that points to `{cause}`"
            yield Problem(place, message, f"lead a band of the route to {names}")


@rule("test-off-route", "note", "lead a band of a route to it")
def test_off_route(checked: Checked, knowledge: Knowledge) -> Iterator[Problem]:
    """A test should be on the way of some tree, or be its road test.

    A test that no route leads to is taken only by those who follow the advice, however well it
    tells causes apart. Lead a band of a route to it, or take it out if it is not worth its minutes.

    Bad:

    ```yaml
    tests:
      hose-look:
        choices: [sound, chafed]
        expect: sound
        points_to: {regulator-high: {chafed: 0.4}}
    ```

    Good:

    ```yaml
    tests:
      hose-look:
        choices: [sound, chafed]
        expect: sound
        points_to: {regulator-high: {chafed: 0.4}}
    route:
      idle-watch: {hunting: fuel-pressure-prime}
      fuel-pressure-prime: {low: fuel-pump-weak, high: hose-look}
      hose-look: {otherwise: regulator-high}
    ```
    """
    trees = knowledge.trees.values()
    on_way = {name for tree in trees for name in (tree.first, *tree.road_test, *tree.route)}
    on_way |= {follows for tree in trees for _, _, follows in route_edges(tree)}
    used = {file for files in checked.shelf.uses.values() for file in files}
    for test in knowledge.tests.values():
        item = checked.shelf.tests[test.id]
        # Of a catalogue that no tree uses, and of a test that says nothing, other rules tell.
        in_use = item.tree is not None or item.source.file in used
        if in_use and test.id not in on_way and (any(test.points_to.values()) or test.base):
            message = f"no route leads to `{test.id}`: only the advice ever brings it up"
            yield Problem(item.place(), message, _where_it_would_help(knowledge, test, item.tree))


def _where_it_would_help(knowledge: Knowledge, test: Test, own: str | None) -> str:
    """The trees whose causes a test tells most about, as a hint; `own` has it for itself alone."""
    tells: dict[str, float] = {}
    for tree in knowledge.trees.values():
        causes = tree.brings_on.keys() & test.points_to.keys()
        if causes and own in (None, tree.id):
            tells[tree.id] = sum(sum(test.points_to[cause].values()) for cause in causes)
    best = sorted(tells, key=lambda tree: -tells[tree])[:MOST_NAMED]
    return f"lead a band to it; its causes bring on {listed(best)}" if best else "lead a band to it"


@rule("route-wrong-car", "warning", "lead another test to it")
def route_wrong_car(checked: Checked, knowledge: Knowledge) -> Iterator[Problem]:
    """Some kind of car should be able to come along every step of a route that names a cause.

    A test for carburettors cannot find a fault that only injected engines have. A test that does
    not fit a car is passed through by its expected band, so that a step by any other band is taken
    only on cars that the test fits. When on every way to a cause some test is for other cars than
    the cause, or than another test on that way, the step is never taken.

    Bad:

    ```yaml
    causes:
      fuel-pump-weak: {fits: {fuel_system: [multipoint]}}
    tests:
      idle-watch: {fits: {fuel_system: [carburettor]}}
    route:
      idle-watch: {hunting: fuel-pressure-prime}
      fuel-pressure-prime: {low: fuel-pump-weak, high: regulator-high}
    ```

    Good:

    ```yaml
    causes:
      fuel-pump-weak: {fits: {fuel_system: [multipoint]}}
    tests:
      idle-watch: {fits: {fuel_system: [carburettor]}}
    route:
      idle-watch: {steady: fuel-pressure-prime, hunting: regulator-high}
      fuel-pressure-prime: {low: fuel-pump-weak, high: regulator-high}
    ```
    """
    for tree in knowledge.trees.values():
        for test, band, cause, arriving in untaken(knowledge, tree):
            place = checked.shelf.trees[tree.id].place("route", test, band)
            message = f"no car that comes this way can have `{cause}`"
            needs = knowledge.causes[cause].fits
            yield Problem(place, message, _why_none(arriving, needs, test, band))


def untaken(knowledge: Knowledge, tree: Tree) -> Iterator[tuple[str, str, str, list[Kind | None]]]:
    """The steps to a cause that no car takes: test, band and cause, and the cars that leave there.

    What the route does not lead to at all is not among them.
    """
    kinds = _kinds(knowledge, tree)
    for test, band, follows in route_edges(tree):
        if follows in knowledge.causes and test in kinds:
            needs = knowledge.causes[follows].fits
            arriving = [_leaving(knowledge, tree, test, band, kind) for kind in kinds[test]]
            if all(kind is None or _narrowed(kind, needs) is None for kind in arriving):
                yield test, band, follows, arriving


def _why_none(
    arriving: list[Kind | None], needs: Mapping[str, tuple[str, ...]], test: str, band: str
) -> str:
    """In which spec the cause differs from the cars that come, as a hint."""
    for kind in arriving:
        for spec, values in needs.items():
            if kind is not None and spec in kind and not kind[spec] & set(values):
                return (
                    f"it needs `{spec}` {listed(values)}, and only {listed(sorted(kind[spec]))} "
                    "come here; lead another test to it"
                )
    return f"no car for which `{test}` is done in `{band}` comes here; lead another test to it"


def _kinds(knowledge: Knowledge, tree: Tree) -> dict[str, list[Kind]]:
    """For each test that the route leads to, the kinds of car that come there."""
    came: dict[str, list[Kind]] = {tree.first: [{}]}
    waiting: list[tuple[str, Kind]] = [(tree.first, {})]
    while waiting:
        test, kind = waiting.pop()
        for band, follows in tree.route.get(test, {}).items():
            leaving = _leaving(knowledge, tree, test, band, kind)
            if leaving is None or follows not in knowledge.tests:
                continue
            there = came.setdefault(follows, [])
            if not any(_within(leaving, other) for other in there):
                there.append(leaving)
                waiting.append((follows, leaving))
    return came


def _leaving(knowledge: Knowledge, tree: Tree, test: str, band: str, kind: Kind) -> Kind | None:
    """The cars of a kind that leave a test by a step; None when there are none."""
    entry = knowledge.tests[test]
    named = tree.route[test]
    by = [one for one in entry.bands if one not in named] if band == OTHERWISE else [band]
    if not by:
        return None  # every band has a step of its own
    return kind if entry.expect in by else _narrowed(kind, entry.fits)


def _within(kind: Kind, other: Kind) -> bool:
    """Whether every car of a kind is of another kind too."""
    return all(spec in kind and kind[spec] <= values for spec, values in other.items())


@rule(
    "cause-no-vehicle",
    "note",
    "widen `fits`, or add a vehicle of that kind to walk and rehearse with",
)
def cause_no_vehicle(checked: Checked, knowledge: Knowledge) -> Iterator[Problem]:
    """A cause that a route names should be possible on one of the shop's own vehicles.

    Nobody can walk the route to it with a car of the shop's, nor rehearse it. That is as it should
    be where strangers' cars come in; else the cause's `fits` is too narrow, or a vehicle's file
    lacks a value or is missing. A shelf without vehicles is not looked at.

    Bad:

    ```yaml
    causes:
      regulator-high: {fits: {fuel_system: [carburettor]}}
    ```

    Good:

    ```yaml
    causes:
      regulator-high: {fits: {fuel_system: [multipoint]}}
    ```
    """
    own = checked.cars[1:]
    named = {
        follows
        for tree in knowledge.trees.values()
        for _, _, follows in route_edges(tree)
        if follows in knowledge.causes
    }
    for cause in knowledge.causes.values():
        if own and cause.id in named and not any(fits(cause.fits, car) for _, car in own):
            needs = " and ".join(f"`{spec}` {listed(ok)}" for spec, ok in cause.fits.items())
            message = f"none of the shop's vehicles can have `{cause.id}`: it needs {needs}"
            yield Problem(checked.shelf.causes[cause.id].place("fits", key=True), message)
