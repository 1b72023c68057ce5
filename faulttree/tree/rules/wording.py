"""Rules for what is written for people, and for what nothing makes use of."""

import re
from collections.abc import Iterable, Iterator
from typing import Any

from faulttree.tree.model import Caution, Knowledge, Place, SpecLimit
from faulttree.tree.problem import Problem
from faulttree.tree.rules.table import Checked, rule
from faulttree.tree.shelf import LEARNED, SHARED, VEHICLES, Item

PROGRAM_SPECS = frozenset({"cylinders", "firing_order", "banks"})
"""Specs that the program itself asks for."""


@rule("caution-missing", "warning", "add it to the `cautions`")
def caution_missing(checked: Checked, knowledge: Knowledge) -> Iterator[Problem]:
    """A test or repair that names something dangerous should carry the caution for it.

    Each caution lists the words that call for it. A test whose steps or tools hold one of them, or
    a repair, must name the caution, so that nobody starts without having read it.

    Bad:

    ```yaml
    tests:
      fuel-pressure-load:
        do: Fit the gauge at the fuel rail and drive.
        cautions: []
    ```

    Good:

    ```yaml
    tests:
      fuel-pressure-load:
        do: Fit the gauge at the fuel rail and drive.
        cautions: [petrol]
    ```
    """
    finders = [(caution, _finder(caution)) for caution in knowledge.cautions.values()]
    for test in knowledge.tests.values():
        texts = [("do", test.do), *(("tools", tool) for tool in test.tools)]
        item: Item[Any] = checked.shelf.tests[test.id]
        yield from _missing(item, test.cautions, texts, finders)
    for cause in knowledge.causes.values():
        item = checked.shelf.causes[cause.id]
        texts = [("repair", cause.repair.do), ("set_up", cause.set_up)]
        yield from _missing(item, cause.cautions, texts, finders)


def _finder(caution: Caution) -> re.Pattern[str] | None:
    """What finds the words of a caution, also in the plural, and with a hyphen for a space."""
    if not caution.words:
        return None
    # The longest first, so that the message quotes all of it.
    words = sorted(caution.words, key=len, reverse=True)
    parts = (re.split(r"[\s-]+", word) for word in words)
    choices = "|".join(r"[\s-]+".join(map(re.escape, part)) for part in parts)
    return re.compile(rf"(?<!\w)(?:{choices})(?:e?s)?(?!\w)", re.IGNORECASE)


def _missing(
    item: Item[Any],
    carried: Iterable[str],
    texts: Iterable[tuple[str, str]],
    finders: Iterable[tuple[Caution, re.Pattern[str] | None]],
) -> Iterator[Problem]:
    own = set(carried)
    texts = list(texts)
    for caution, finder in finders:
        if finder is None or caution.id in own:
            continue
        for key, text in texts:
            found = finder.search(" ".join(text.split()))
            if found:
                hint = f"add it to the `cautions` of `{item.id}`"
                message = f"`{found.group()}` calls for the caution `{caution.id}`"
                yield Problem(item.place(key), message, hint)
                break


@rule(
    "source-missing", "warning", "write `source:`; `common practice, no source` is an honest answer"
)
def source_missing(checked: Checked, knowledge: Knowledge) -> Iterator[Problem]:
    """A test should say where its limits come from.

    A figure of which nobody knows the origin can be neither trusted nor corrected. `common
    practice, no source` is an honest answer.

    Bad:

    ```yaml
    tests:
      battery-rest-volts:
        reading: {unit: V, accuracy: 0.1, possible: [0, 16]}
        bands: [low, 12.4, in limits]
        expect: in limits
    ```

    Good:

    ```yaml
    tests:
      battery-rest-volts:
        reading: {unit: V, accuracy: 0.1, possible: [0, 16]}
        bands: [low, 12.4, in limits]
        expect: in limits
        source: common practice, no source
    ```
    """
    for test in knowledge.tests.values():
        if not test.source:
            place = checked.shelf.tests[test.id].place()
            yield Problem(place, f"`{test.id}` does not say where its figures come from")


@rule("file-ignored", "warning", "rename it")
def file_ignored(checked: Checked, knowledge: Knowledge) -> Iterator[Problem]:
    """A file that looks like YAML should be named so that it is read.

    Trees, catalogues and vehicles are the files that end in `.yaml`. One that ends in `.yml` or
    `.YAML` is passed over in silence. Rename it.
    """
    folder = checked.shelf.folder
    for part in (folder, folder / SHARED, folder / VEHICLES):
        for path in sorted(part.iterdir()) if part.is_dir() else ():
            ending = path.suffix.lower()
            if ending in (".yml", ".yaml") and path.suffix != ".yaml" and path.name != LEARNED:
                message = "this file is not read"
                yield Problem(Place(str(path), 1, 1), message, f"name it {path.stem}.yaml")


@rule("unused", "note", "use it, or take it out")
def unused(checked: Checked, knowledge: Knowledge) -> Iterator[Problem]:
    """What is written should be used by something.

    A catalogue that no tree uses, a cause that brings no complaint on, a test that no cause and no
    route asks for, a spec, instrument or caution that nothing names: left over, or forgotten.

    Bad:

    ```yaml
    instruments:
      vacuum-gauge: {name: Vacuum gauge, unit: inHg, accuracy: 0.5}
    ```

    Good:

    ```yaml
    instruments:
      vacuum-gauge: {name: Vacuum gauge, unit: inHg, accuracy: 0.5}
    tests:
      manifold-vacuum:
        reading: {unit: inHg, with: vacuum-gauge, possible: [0, 30]}
        bands: [low, 16, in limits]
        expect: in limits
        points_to: {regulator-high: {low: 0.1}}
    ```
    """
    shelf = checked.shelf
    used_files = {file for files in shelf.uses.values() for file in files}
    items: list[Item[Any]] = [*shelf.causes.values(), *shelf.tests.values()]
    left_over = {
        item.source.file
        for item in items
        if item.tree is None and item.source.file not in used_files
    }
    for file in sorted(left_over):
        hint = "add it to `uses` of a tree that its tests would help"
        yield Problem(Place(file, 1, 1), "no tree uses this catalogue", hint)
    for section, used in _used_ids(knowledge).items():
        for name, item in getattr(shelf, section).items():
            if name not in used and item.source.file not in left_over:
                yield Problem(item.place(), f"nothing uses the {section[:-1]} `{name}`")


def _used_ids(knowledge: Knowledge) -> dict[str, set[str]]:
    """Every id that something makes use of, by section."""
    trees, tests, causes = (
        list(knowledge.trees.values()),
        list(knowledge.tests.values()),
        list(knowledge.causes.values()),
    )
    used: dict[str, set[str]] = {
        "causes": {name for tree in trees for name in tree.brings_on},
        "tests": {test.id for test in tests if test.points_to or test.base},
        "specs": set(PROGRAM_SPECS),
        "instruments": set(),
        "cautions": set(),
    }
    for tree in trees:
        targets = {follows for edges in tree.route.values() for follows in edges.values()}
        used["tests"] |= {tree.first, *tree.road_test, *tree.route, *targets}
        used["causes"] |= targets
        used["cautions"] |= set(tree.cautions)
    for cause in causes:
        used["tests"] |= set(cause.prove_with)
        used["cautions"] |= set(cause.cautions)
        used["specs"] |= cause.fits.keys()
    for test in tests:
        used["cautions"] |= set(test.cautions)
        used["specs"] |= {*test.fits, *test.figures}
        limits = [*test.limits, test.pattern.level_below if test.pattern else None]
        used["specs"] |= {limit.spec for limit in limits if isinstance(limit, SpecLimit)}
        if test.reading is not None:
            used["specs"] |= {v for v in test.reading.given.values() if isinstance(v, str)}
            parts = test.reading.parts
            used["instruments"] |= {part.instrument for part in parts if part.instrument}
    for spec in knowledge.specs.values():
        used["specs"] |= {name for when, _ in spec.defaults for name in when}
        used["specs"] |= {name for name in spec.given.values() if isinstance(name, str)}
    for vehicle in knowledge.vehicles.values():
        used["instruments"] |= vehicle.corrections.keys()
    used["cautions"] |= {c.id for c in knowledge.cautions.values() if c.kind == "stop"}
    return used
