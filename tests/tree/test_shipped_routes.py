"""The routes of the shipped trees, walked in every way on every kind of car.

Kinds of engine that none of the shop's vehicles has are made up of choices. What a route should
lead to is trade judgement; what it must never do is held here.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import pytest

from faulttree.tree.car import Car, describe_car, fits
from faulttree.tree.graph import follow, makes_sense
from faulttree.tree.load import load_all
from faulttree.tree.model import Knowledge, SpecLimit, Tree, Value

THROTTLE_BODY: Mapping[str, Value] = {
    "fuel_system": "throttle-body",
    "ignition": "distributor",
    "trigger": "electronic",
    "diagnostic_socket": "none",
    "idle_control": "valve",
    "fuel_return": "none",
    "catalyst": "fitted",
    "egr": "fitted",
    "tappets": "hydraulic",
    "gearbox": "manual",
    "layout": "inline",
    "cylinders": 4.0,
}
MULTIPOINT: Mapping[str, Value] = {
    **THROTTLE_BODY,
    "fuel_system": "multipoint",
    "diagnostic_socket": "fitted",
    "fuel_return": "referenced",
    "tappets": "solid",
    "gearbox": "automatic",
}
KINDS: Mapping[str, Mapping[str, Value]] = {
    "throttle body": THROTTLE_BODY,
    "multipoint, distributor, automatic": MULTIPOINT,
    "coil on plug, idle valve": {**MULTIPOINT, "ignition": "coil-on-plug"},
    "carburettor, electronic, automatic": {
        **THROTTLE_BODY,
        "fuel_system": "carburettor",
        "idle_control": "screw",
        "catalyst": "none",
        "gearbox": "automatic",
    },
    "carburettor, flat, points": {
        **THROTTLE_BODY,
        "fuel_system": "carburettor",
        "trigger": "points",
        "idle_control": "screw",
        "catalyst": "none",
        "layout": "flat",
        "tappets": "solid",
    },
}

LEFT_TO_THE_ADVICE = {
    # With an electronic throttle nothing but the plate itself can stick; throttle data, idle
    # position and the look at the plate find it.
    ("idle-slow-return", "throttle-sticking"),
    # On a carburettor engine the pump's delivery test takes the filler cap off and shows it there.
    ("hard-start-hot", "tank-vent-blocked"),
    ("power-lacking", "tank-vent-blocked"),
    ("stalling", "tank-vent-blocked"),
    ("surge-light-throttle", "tank-vent-blocked"),
}
"""Causes that the route of a tree does not name on some kinds of car, each for its reason."""

SCREWS = ("base-idle", "idle-mixture-screw")
"""Tests that turn a setting."""


@cache
def known() -> Knowledge:
    return load_all(Path(__file__).parents[2] / "trees")


@cache
def cars() -> dict[str, Car]:
    shop = {name: describe_car(known(), name) for name in known().vehicles}
    return shop | {name: describe_car(known(), None, typed) for name, typed in KINDS.items()}


@dataclass
class Walked:
    """All that a route can come to on one car: causes named, and the tests before each step."""

    named: set[str] = field(default_factory=set)
    not_on_this_car: set[str] = field(default_factory=set)
    again: set[str] = field(default_factory=set)
    steps: dict[str, list[frozenset[str]]] = field(default_factory=dict)


@cache
def walked(tree_id: str, car_name: str) -> Walked:
    """Every way through a route, as `next_on_route` would go, whatever is read."""
    knowledge, car = known(), cars()[car_name]
    tree = knowledge.trees[tree_id]
    found = Walked()
    # Which tests of this route make sense only after another one, by that other one.
    asked_later: dict[str, set[str]] = {}
    for step in steps_of(tree) & set(knowledge.tests):
        for other in knowledge.tests[step].after:
            asked_later.setdefault(other, set()).add(step)
    Open = tuple[str, frozenset[tuple[str, str]], frozenset[str], frozenset[str]]
    open_ways: list[Open] = [(tree.first, frozenset(), frozenset(), frozenset())]
    done: set[tuple[str, frozenset[tuple[str, str]], frozenset[str]]] = set()
    while open_ways:
        here, read, before, path = open_ways.pop()
        if here in knowledge.causes:
            fit = fits(knowledge.causes[here].fits, car)
            (found.named if fit else found.not_on_this_car).add(here)
            continue
        if here in path:
            found.again.add(here)
            continue
        # Of what was read before, only what a later step depends on tells two ways apart.
        key = (here, read, before & {"compression-dry"})
        if key in done:
            continue
        done.add(key)
        test = knowledge.tests[here]
        passed = not fits(test.fits, car) or not makes_sense(test, dict(read))
        if not passed:
            found.steps.setdefault(here, []).append(before)
        for band in [test.expect] if passed else test.bands:
            follows = follow(tree, here, band)
            if follows is not None:
                more = {(here, band)} if here in asked_later and not passed else set()
                also = set() if passed else {here}
                behind = path | {here}
                # A reading is forgotten once all that ask for it lie behind: no way comes back.
                still = {fact for fact in read | more if asked_later[fact[0]] - behind}
                open_ways.append((follows, frozenset(still), before | also, behind))
    return found


EVERY = [(tree, car) for tree in known().trees for car in cars()]


@pytest.mark.parametrize(("tree", "car"), EVERY)
def test_no_route_names_a_cause_that_the_car_cannot_have(tree: str, car: str) -> None:
    """Whatever is read, no way ends at a part that is not on this kind of car."""
    assert walked(tree, car).not_on_this_car == set()


@pytest.mark.parametrize(("tree", "car"), EVERY)
def test_no_route_comes_back_to_a_test(tree: str, car: str) -> None:
    """Whatever is read, no way runs in a ring."""
    assert walked(tree, car).again == set()


@pytest.mark.parametrize("tree", list(known().trees))
def test_route_can_name_every_cause_that_brings_its_complaint_on(tree: str) -> None:
    """On every kind of car that can have it, unless for a reason it is left to the advice."""
    missed = set()
    for name, car in cars().items():
        fitting = {
            cause
            for cause in known().trees[tree].brings_on
            if fits(known().causes[cause].fits, car)
        }
        missed |= {(tree, cause) for cause in fitting - walked(tree, name).named}
    assert missed == {pair for pair in LEFT_TO_THE_ADVICE if pair[0] == tree}


@pytest.mark.parametrize(("tree", "car"), EVERY)
def test_no_screw_is_turned_before_the_compression_is_known(tree: str, car: str) -> None:
    """Every way to a test that turns a setting has the compression behind it."""
    for screw in SCREWS:
        for before in walked(tree, car).steps.get(screw, []):
            assert "compression-dry" in before, f"{screw} after {sorted(before)}"


def steps_of(tree: Tree) -> set[str]:
    """The tests that a route leads to."""
    return {tree.first, *(follows for edges in tree.route.values() for follows in edges.values())}


def test_nearly_every_test_stands_on_a_route() -> None:
    """Those that do not are twins in figures of one that does, and their file says so."""
    on_routes = {step for tree in known().trees.values() for step in steps_of(tree)}
    off = set(known().tests) - on_routes
    assert off == {"lambda-idle", "co-idle", "closed-throttle-volts"}


def test_no_figure_is_shown_twice() -> None:
    """What a limit stands on is told with the limits; no test has it shown besides."""
    for test in known().tests.values():
        limits = [*test.limits, test.pattern.level_below if test.pattern else None]
        specs = {limit.spec for limit in limits if isinstance(limit, SpecLimit)}
        assert not specs & set(test.figures), test.id


def test_a_step_that_names_the_cars_idle_speed_has_it_shown() -> None:
    """Whoever is sent to the idle speed of this car, or of its book, sees it on the card."""
    told = re.compile(r"idle speed of this car|set idle speed|set speed|base speed of the book")
    sent = {test.id for test in known().tests.values() if told.search(" ".join(test.do.split()))}
    assert sent >= {"idle-watch", "base-idle", "dwell-angle", "base-timing"}
    assert {id for id in sent if "idle_speed" not in known().tests[id].figures} == set()


def test_steps_are_written_so_that_their_layout_holds() -> None:
    """Steps count up from one, a table stands below its step, and each row of it is one line."""
    wrong = []
    for test in known().tests.values():
        count, after_row = 0, False
        for line in test.do.splitlines():
            step = re.match(r"([0-9]{1,2})[.)] (.*)", line.strip())
            text = step[2] if step else line.strip()
            row = "  " in text
            count += bool(step)
            if (step and (int(step[1]) != count or row)) or not (step or count):
                wrong.append((test.id, line))
            elif after_row and not step and not row:
                # It would be shown as a paragraph of its own, at the far left.
                wrong.append((test.id, line))
            after_row = row
    assert wrong == []


def test_where_petrol_is_about_the_lamp_is_a_sealed_one() -> None:
    """No test with the caution for petrol asks for a lamp that the caution forbids."""
    lit = {test.id for test in known().tests.values() if "sealed lamp" in test.tools}
    assert "fuel-leak-look" in lit
    bare = [test for test in known().tests.values() if "lamp" in test.tools]
    assert [test.id for test in bare if "petrol" in test.cautions] == []
