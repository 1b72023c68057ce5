"""Rules for what tests tell: that each cause can be found, and no two look the same for ever."""

import itertools
import math
from collections.abc import Iterator, Mapping

from faulttree.tree.car import fits
from faulttree.tree.model import Knowledge, Place
from faulttree.tree.problem import Problem, did_you_mean, listed
from faulttree.tree.rules.table import Checked, one_car, rule

TELLS_APART = 0.1
"""Two causes whose chances differ by less than this at every test cannot be told apart."""

MOST_FAULTS = 3.0
"""A car that comes in with more faults than this, on average, is not one that still runs."""


@rule(
    "cause-untested",
    "warning",
    "no reading can bring it forward or clear it: add it to `points_to` of a test",
)
def cause_untested(checked: Checked, knowledge: Knowledge) -> Iterator[Problem]:
    """Every cause that a tree lists should have a test, loaded with that tree, that points to it.

    No reading can bring such a cause forward, nor clear it: its chance moves only as the others'
    do, and it stays on the list to the end.

    Bad:

    ```yaml
    causes:
      tank-vent-blocked: {name: Tank vent blocked}
    brings_on: {fuel-pump-weak: 0.3, tank-vent-blocked: 0.4}
    ```

    Good:

    ```yaml
    causes:
      tank-vent-blocked: {name: Tank vent blocked}
    tests:
      tank-cap-off:
        choices: [no change, better]
        expect: no change
        points_to: {tank-vent-blocked: {better: 0.8}}
    brings_on: {fuel-pump-weak: 0.3, tank-vent-blocked: 0.4}
    ```
    """
    for tree in knowledge.trees.values():
        item = checked.shelf.trees[tree.id]
        pointed_to = {cause for test in checked.tests_of(tree.id) for cause in test.points_to}
        for cause in tree.brings_on:
            away = _left_out(checked, tree.id, cause)
            if cause not in pointed_to and not away:
                place = item.place("brings_on", cause, key=True)
                yield Problem(place, f"no test of this tree points to `{cause}`")


@rule(
    "test-tells-nothing",
    "warning",
    "it costs minutes and settles nothing: say under `points_to` what it shows, or say `base`",
)
def test_tells_nothing(checked: Checked, knowledge: Knowledge) -> Iterator[Problem]:
    """A test should point to a cause, or be a base reading.

    Whatever it reads, the causes stand as they stood: it costs minutes and settles nothing. A base
    reading may still decide whether going on makes sense; say so with `base`.

    Bad:

    ```yaml
    tests:
      plugs-look-over: {choices: [clean, sooty], expect: clean, by_chance: {sooty: 0.1}}
    ```

    Good:

    ```yaml
    tests:
      plugs-look-over:
        choices: [clean, sooty]
        expect: clean
        by_chance: {sooty: 0.1}
        points_to: {regulator-high: {sooty: 0.7}}
    ```
    """
    for test in knowledge.tests.values():
        if not test.base and not any(test.points_to.values()):
            place = checked.shelf.tests[test.id].place()
            yield Problem(place, f"`{test.id}` points to no cause")


@rule(
    "band-says-nothing",
    "warning",
    "a reading there could only be chance: say under `points_to` what it shows, or join bands",
)
def band_says_nothing(checked: Checked, knowledge: Knowledge) -> Iterator[Problem]:
    """Every band that is not expected should speak for some cause.

    A reading in a band that no cause brings about can only be chance. If it does mean something,
    say what; if not, join the band to its neighbour.

    Bad:

    ```yaml
    tests:
      idle-watch:
        choices: [steady, hunting, dying]
        points_to: {fuel-pump-weak: {hunting: 0.4}}
    ```

    Good:

    ```yaml
    tests:
      idle-watch:
        choices: [steady, hunting, dying]
        points_to: {fuel-pump-weak: {hunting: 0.3, dying: 0.2}}
    ```
    """
    for test in knowledge.tests.values():
        pushed = {band for bands in test.points_to.values() for band in bands}
        if pushed:
            for band in test.cascade:
                if band not in pushed:
                    place = _band_place(checked, test.id, band)
                    yield Problem(place, f"no cause puts `{test.id}` into `{band}`")


@rule(
    "by-chance-missing",
    "warning",
    "a reading there would prove a fault: write how often it comes by chance, such as 0.02",
)
def by_chance_missing(checked: Checked, knowledge: Knowledge) -> Iterator[Problem]:
    """Every band that is not expected should have a chance on a car with none of the causes.

    Without one, a reading in that band proves that one of the listed causes is there. No reading is
    that good: gauges slip, people misread, and the list is never complete.

    Bad:

    ```yaml
    tests:
      idle-watch: {choices: [steady, hunting, dying], by_chance: {hunting: 0.05}}
    ```

    Good:

    ```yaml
    tests:
      idle-watch: {choices: [steady, hunting, dying], by_chance: {hunting: 0.05, dying: 0.02}}
    ```
    """
    for test in knowledge.tests.values():
        missing = [band for band in test.cascade if band not in test.by_chance]
        if missing:
            place = checked.shelf.tests[test.id].place("by_chance", key=True)
            yield Problem(
                place, f"`{test.id}` has no chance that {listed(missing)} is read on a sound car"
            )


@rule("causes-alike", "warning", "add a test that does, or make one cause of them with one repair")
def causes_alike(checked: Checked, knowledge: Knowledge) -> Iterator[Problem]:
    """Two causes of one complaint should differ at some test.

    When no test gives them chances that differ by a tenth, no amount of testing will tell which of
    the two it is. Add a test that does, or make one cause of them with one repair.

    Bad:

    ```yaml
    causes:
      fuel-filter-blocked: {name: Fuel filter blocked}
    tests:
      fuel-pressure-prime:
        points_to:
          fuel-pump-weak: {low: 0.75}
          fuel-filter-blocked: {low: 0.7}
      idle-watch: {points_to: {fuel-pump-weak: {hunting: 0.3}, fuel-filter-blocked: {hunting: 0.3}}}
    brings_on: {fuel-pump-weak: 0.3, fuel-filter-blocked: 0.3}
    ```

    Good:

    ```yaml
    causes:
      fuel-filter-blocked: {name: Fuel filter blocked}
    tests:
      fuel-pressure-prime:
        points_to:
          fuel-pump-weak: {low: 0.75}
          fuel-filter-blocked: {low: 0.2}
    brings_on: {fuel-pump-weak: 0.3, fuel-filter-blocked: 0.3}
    ```
    """
    told: set[frozenset[str]] = set()
    for tree in knowledge.trees.values():
        tells: dict[str, dict[tuple[str, str], float]] = {}
        for test in checked.tests_of(tree.id):
            for cause, bands in test.points_to.items():
                for band, chance in bands.items():
                    tells.setdefault(cause, {})[test.id, band] = chance
        order = [cause for cause in knowledge.causes if cause in tree.brings_on and cause in tells]
        for one, other in itertools.combinations(order, 2):
            pair = frozenset((one, other))
            alike = pair not in told and _alike(tells[one], tells[other])
            if alike and one_car(knowledge.causes[one].fits, knowledge.causes[other].fits):
                told.add(pair)
                message = f"no test of the tree `{tree.id}` tells `{other}` from `{one}`"
                yield Problem(checked.shelf.causes[other].place(), message)


def _alike(one: Mapping[tuple[str, str], float], other: Mapping[tuple[str, str], float]) -> bool:
    keys = one.keys() | other.keys()
    return all(abs(one.get(key, 0.0) - other.get(key, 0.0)) < TELLS_APART for key in keys)


@rule(
    "proof-blind",
    "warning",
    "name under `prove_with` a test that points to it, to be read before and after",
)
def proof_blind(checked: Checked, knowledge: Knowledge) -> Iterator[Problem]:
    """A repair should be proved by a test that shows its cause.

    The cause needs a test under `prove_with`, and one of them must point to it; otherwise the same
    readings before and after the repair would say nothing about it.

    Bad:

    ```yaml
    causes:
      regulator-high: {prove_with: []}
    ```

    Good:

    ```yaml
    causes:
      regulator-high: {prove_with: [fuel-pressure-prime]}
    ```
    """
    for cause in knowledge.causes.values():
        item = checked.shelf.causes[cause.id]
        if item.entry is None:
            continue
        if not item.entry.prove_with:
            place = item.place("prove_with", key=True)
            yield Problem(place, f"no test proves the repair of `{cause.id}`")
        elif len(cause.prove_with) == len(item.entry.prove_with):
            # With a test left out of this load, the one that shows the cause may be elsewhere.
            tests = [knowledge.tests[name] for name in cause.prove_with]
            if not any(cause.id in test.points_to for test in tests):
                place = item.place("prove_with", key=True)
                yield Problem(
                    place,
                    f"none of these tests shows `{cause.id}`, so that they cannot prove its repair",
                )


@rule("left-out", "warning", "add its catalogue to `uses`")
def left_out(checked: Checked, knowledge: Knowledge) -> Iterator[Problem]:
    """A cause that brings a complaint on should be in a catalogue that the tree uses.

    It is left out when the tree is loaded, so that the tree is silent about a cause which its
    author had in mind.

    Bad:

    ```yaml
    uses: [shared/fuel.yaml]
    brings_on: {fuel-pump-weak: 0.3, battery-weak: 0.6}
    ```

    Good:

    ```yaml
    uses: [shared/fuel.yaml, shared/battery.yaml]
    brings_on: {fuel-pump-weak: 0.3, battery-weak: 0.6}
    ```
    """
    for tree in knowledge.trees.values():
        item = checked.shelf.trees[tree.id]
        for cause in item.entry.brings_on if item.entry else ():
            if _left_out(checked, tree.id, cause):
                place = item.place("brings_on", cause, key=True)
                file = checked.shelf.causes[cause].source.file
                hint = f"add shared/{file.rpartition('/')[2]} to `uses`"
                yield Problem(place, f"`{cause}` is left out of this tree", hint)


def _left_out(checked: Checked, tree: str, cause: str) -> bool:
    """Whether a cause is in a catalogue that a tree does not use."""
    written = checked.shelf.causes.get(cause)
    uses = checked.shelf.uses[tree]
    return written is not None and written.tree is None and written.source.file not in uses


@rule("too-common", "warning", "`how_common` is the share of all cars that come in")
def too_common(checked: Checked, knowledge: Knowledge) -> Iterator[Problem]:
    """The shares of cars with each cause should sum to something that can be.

    `how_common` counts the cars that come in with a cause, whatever the complaint. Added up over
    the causes that fit one car, it is the number of faults such a car comes in with on average.
    More than three of them, and the figures were most likely meant as shares of one complaint, or
    per cent.

    Bad:

    ```yaml
    causes:
      fuel-pump-weak: {how_common: 0.9}
      regulator-high: {how_common: 0.9}
      fuel-filter-blocked: {how_common: 0.9}
      injectors-dirty: {how_common: 0.9}
    ```

    Good:

    ```yaml
    causes:
      fuel-pump-weak: {how_common: 0.09}
      regulator-high: {how_common: 0.02}
      fuel-filter-blocked: {how_common: 0.05}
      injectors-dirty: {how_common: 0.06}
    ```
    """
    for name, car in checked.cars:
        there = [cause for cause in knowledge.causes.values() if fits(cause.fits, car)]
        total = sum(cause.how_common for cause in there)
        if total > MOST_FAULTS:
            most = max(there, key=lambda cause: cause.how_common)
            place = checked.shelf.causes[most.id].place("how_common")
            message = f"on average {name} would have {total:.1f} of the causes at once"
            yield Problem(place, message)
            return


@rule(
    "not-listed-largest",
    "warning",
    "it is a share of all cars: a twelfth of what the causes bring about is a fair start",
)
def not_listed_largest(checked: Checked, knowledge: Knowledge) -> Iterator[Problem]:
    """A complaint should come from the listed causes more often than from none of them.

    `not_listed` is the chance of the complaint on a car without any of the causes. When that is
    more than what all of them bring about together, the tree starts by saying that it does not
    know, and every reading has to argue against it.

    Bad:

    ```yaml
    brings_on: {fuel-pump-weak: 0.3, regulator-high: 0.2}
    not_listed: 0.5
    ```

    Good:

    ```yaml
    brings_on: {fuel-pump-weak: 0.3, regulator-high: 0.2}
    not_listed: 0.01
    ```
    """
    for tree in knowledge.trees.values():
        shares = [
            knowledge.causes[cause].how_common * chance for cause, chance in tree.brings_on.items()
        ]
        listed_share = 1.0 - math.prod(1.0 - share for share in shares)
        if tree.not_listed > listed_share:
            place = checked.shelf.trees[tree.id].place("not_listed")
            message = (
                f"{tree.not_listed:.3g} is more than the {listed_share:.3g} that all listed causes"
                " bring about together"
            )
            yield Problem(place, message)


@rule("family-of-one", "warning", "give another test the same `family`, or take it out")
def family_of_one(checked: Checked, knowledge: Knowledge) -> Iterator[Problem]:
    """A family should have two tests or more.

    A family says that its tests share a mechanism. With one member it says nothing; most often its
    name is misspelt, and two readings of one mechanism are then counted as independent. A family
    that bears the name of its one test is taken to be meant so.

    Bad:

    ```yaml
    tests:
      fuel-pressure-prime: {family: fuel-supply}
      fuel-pressure-load: {family: fuel-suply}
    ```

    Good:

    ```yaml
    tests:
      fuel-pressure-prime: {family: fuel-supply}
      fuel-pressure-load: {family: fuel-supply}
    ```
    """
    families: dict[str, list[str]] = {}
    for test in knowledge.tests.values():
        if test.family:
            families.setdefault(test.family, []).append(test.id)
    for family, tests in families.items():
        if len(tests) == 1 and family != tests[0]:
            others = [name for name in families if name != family]
            place = checked.shelf.tests[tests[0]].place("family")
            hint = did_you_mean(family, others)
            yield Problem(place, f"`{tests[0]}` is the only test of `{family}`", hint)


def _band_place(checked: Checked, test: str, band: str) -> Place:
    """Where a band of a test is named, among its bands or choices."""
    item = checked.shelf.tests[test]
    for key in ("choices", "bands"):
        written = item.raw.get(key)
        if isinstance(written, list) and band in written:
            return item.place(key, written.index(band))
    return item.place()
