"""Which steps of a route some car takes, and what a route leaves out."""

import itertools
from collections.abc import Mapping
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from faulttree.tree.car import Car, Known, fits
from faulttree.tree.check import check
from faulttree.tree.graph import follow
from faulttree.tree.model import OTHERWISE, Cause, Knowledge, Repair, Test, Tree
from faulttree.tree.rules.reached import _kinds, untaken

SPECS = {"fuel": ("carburettor", "multipoint", "single point"), "spark": ("points", "coil")}
BANDS = ("good", "bad", "worse")

Fits = Mapping[str, tuple[str, ...]]
some_fits = st.fixed_dictionaries(
    {},
    optional={
        spec: st.lists(st.sampled_from(values), min_size=1, unique=True).map(tuple)
        for spec, values in SPECS.items()
    },
)


def a_test(name: str, needs: Fits) -> Test:
    """A look at something, for some cars."""
    return Test(
        id=name,
        name=name,
        kind="choice",
        do="Look.",
        bands=BANDS,
        expect="good",
        by_chance={},
        points_to={},
        minutes=1,
        reach=0,
        fits=needs,
    )


def a_cause(name: str, needs: Fits) -> Cause:
    """A cause, on some cars."""
    return Cause(name, name, "", 0.1, Repair("", 1, 0), fits=needs)


@st.composite
def shops(draw: st.DrawFn) -> Knowledge:
    """A tree whose route leads from test to later tests and to causes, for all kinds of cars."""
    tests = [a_test(f"t{at}", draw(some_fits)) for at in range(5)]
    causes = [a_cause(f"c{at}", draw(some_fits)) for at in range(3)]
    route: dict[str, dict[str, str]] = {}
    for at, test in enumerate(tests):
        ends = [*(later.id for later in tests[at + 1 :]), *(cause.id for cause in causes)]
        bands = draw(st.lists(st.sampled_from((*BANDS, OTHERWISE)), unique=True))
        route[test.id] = {band: draw(st.sampled_from(ends)) for band in bands}
    tree = Tree("tree", "Odd", {cause.id: 0.5 for cause in causes}, 0.01, "t0", route, ())
    return Knowledge(
        {"tree": tree},
        {cause.id: cause for cause in causes},
        {test.id: test for test in tests},
        {},
        {},
        {},
        {},
    )


def walked(shop: Knowledge) -> tuple[set[str], set[tuple[str, str]]]:
    """The tests that the route leads to at all, and the steps to a cause that some car takes.

    Found the long way: every kind of car walks the route with every outcome of each test that fits
    it, and with the expected one of each that does not.
    """
    tree = shop.trees["tree"]
    led_to: set[str] = set()
    taken: set[tuple[str, str]] = set()
    for values in itertools.product(*SPECS.values()):
        known = {spec: Known(value, "", "typed") for spec, value in zip(SPECS, values, strict=True)}
        car = Car("", known)
        here, seen = [tree.first], set[str]()
        while here:
            test = shop.tests[here.pop()]
            if test.id in seen:
                continue
            seen.add(test.id)
            for band in test.bands if fits(test.fits, car) else (test.expect,):
                follows = follow(tree, test.id, band)
                if follows in shop.tests:
                    here.append(follows)
                elif follows is not None and fits(shop.causes[follows].fits, car):
                    key = band if band in tree.route[test.id] else OTHERWISE
                    taken.add((test.id, key))
        led_to |= seen
    return led_to, taken


@settings(max_examples=300, deadline=None)
@given(shop=shops())
def test_steps_that_no_car_takes_are_those_that_no_walk_takes(shop: Knowledge) -> None:
    """A step to a cause is named exactly when no walk of any kind of car comes along it."""
    led_to, taken = walked(shop)
    tree = shop.trees["tree"]
    named = {(test, band) for test, band, _, _ in untaken(shop, tree)}
    assert not named & taken
    for test, band, follows in ((t, b, f) for t, e in tree.route.items() for b, f in e.items()):
        stands_for_none = band == OTHERWISE and set(BANDS) <= set(tree.route[test])
        if follows in shop.causes and test in led_to and not stands_for_none:
            assert ((test, band) in named) == ((test, band) not in taken)


def test_otherwise_beside_every_band_leads_nowhere() -> None:
    """Where every band has its own step, no car goes on by `otherwise`."""
    tests = {name: a_test(name, {}) for name in ("t0", "t1")}
    every = {**dict.fromkeys(BANDS, "c0"), OTHERWISE: "t1"}
    tree = Tree("tree", "Odd", {"c0": 0.5}, 0.01, "t0", {"t0": every, "t1": {"good": "c0"}}, ())
    shop = Knowledge({"tree": tree}, {"c0": a_cause("c0", {})}, tests, {}, {}, {}, {})
    assert walked(shop)[0] == {"t0"}
    assert list(_kinds(shop, tree)) == ["t0"]


def rules_of(shelf: Path, rule: str) -> list[str]:
    """The messages of one rule about the whole shelf."""
    return [problem.message for problem in check([shelf]) if problem.rule == rule]


def make_for(shelf: Path, name: str, fuel_system: str) -> None:
    """Say of an entry of the fuel catalogue that it is for one kind of car."""
    path = shelf / "shared" / "fuel.yaml"
    line = f"    name: {name}\n"
    text = path.read_text()
    assert text.count(line) == 1
    path.write_text(text.replace(line, f"{line}    fits: {{fuel_system: [{fuel_system}]}}\n"))


def test_expected_band_leads_through_a_test_for_other_cars(shelf: Path) -> None:
    """A test that does not fit is passed by its expected band, so that its causes are reached."""
    path = shelf / "shared" / "fuel.yaml"
    text = path.read_text()
    text = text.replace(
        "    name: Watch the idle",
        "    fits: {fuel_system: [carburettor]}\n    name: Watch the idle",
    ).replace(
        "    name: Weak fuel pump",
        "    fits: {fuel_system: [multipoint]}\n    name: Weak fuel pump",
    )
    path.write_text(text)
    assert rules_of(shelf, "route-wrong-car") == [
        "no car that comes this way can have `fuel-pump-weak`"
    ]
    tree = shelf / "engine-stalls.yaml"
    tree.write_text(tree.read_text().replace("{hunting: fuel-", "{otherwise: fuel-"))
    assert rules_of(shelf, "route-wrong-car") == []


def test_test_that_is_loaded_elsewhere_is_no_test_of_this_tree(shelf: Path) -> None:
    """A cause counts as left out of the way only for tests of the catalogues that the tree uses."""
    path = shelf / "engine-stalls.yaml"
    text = path.read_text().replace("regulator-high: 0.2", "regulator-high: 0.2, odd-one: 0.1")
    path.write_text(
        text
        + "causes:\n  odd-one:\n    name: Odd one\n    what: It is odd.\n    how_common: 0.01\n"
        + "    repair: {do: Mend it., minutes: 5, parts: 0}\n    prove_with: [idle-watch]\n"
    )
    assert rules_of(shelf, "cause-off-route") == []
    assert rules_of(shelf, "cause-untested") != []


def test_shelf_without_vehicles_is_not_asked_for_them(shelf: Path) -> None:
    """Causes of cars that the shop does not have are told only where it has vehicles at all."""
    path = shelf / "shared" / "fuel.yaml"
    text = path.read_text().replace(
        "    name: Regulator high",
        "    fits: {fuel_system: [carburettor]}\n    name: Regulator high",
    )
    path.write_text(text)
    assert len(rules_of(shelf, "cause-no-vehicle")) == 1
    for vehicle in (shelf / "vehicles").iterdir():
        vehicle.unlink()
    assert rules_of(shelf, "cause-no-vehicle") == []
