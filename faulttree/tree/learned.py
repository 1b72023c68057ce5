"""Figures that closed sessions taught, laid over the authored ones.

The file is `learned.yaml` in the folder of the trees, for what `faulttree learn` found. Whoever
deletes it has the authored figures back, since the authored files are never touched. Its form:

    format: 1
    about: from 40 closed sessions            # may be left out
    causes:
      fuel-pump-weak: {how_common: 0.08}
    tests:
      fuel-pressure-prime:
        minutes: 18
        by_chance: {low: 0.03}
        points_to:
          fuel-pump-weak: {low: 0.81}
    trees:
      idle-unsteady:
        brings_on: {fuel-pump-weak: 0.2}

Each figure takes the place of the authored one, band by band and cause by cause; whatever is not
there stays as authored, and a pair that the author left out is added. Every id must exist somewhere
in the folder, and what is not loaded is passed over, so one file serves every choice of trees. A
chance is more than 0 and less than 1, minutes are more than 0, no band is the expected one, and
together with the authored figures that stay, the bands of a test leave room for the expected one.
Whoever learns anew loads the trees with `learned=False`, or the same sessions would count twice.
What the figures should be is left to whoever writes the file (`faulttree.study.overlay`).
"""

import dataclasses
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from faulttree.tree.model import Cause, Knowledge, Test, Tree
from faulttree.tree.problem import Problem, did_you_mean, in_order, listed
from faulttree.tree.resolve import MOST_FOR_ALL_BANDS, resolve
from faulttree.tree.shelf import Item, Shelf, read_cached, read_learned, read_shelf, tree_files


def apply_learned(knowledge: Knowledge, shelf: Shelf) -> Knowledge | None:
    """A Knowledge with the shelf's learned figures in place of the authored ones.

    Returns None when a figure does not fit; why is added to the shelf's problems. The document and
    the digest are left as they were.
    """
    if not (shelf.learned_causes or shelf.learned_tests or shelf.learned_trees):
        return knowledge
    before = len(shelf.problems)
    overlay = _Overlay(knowledge, shelf)
    causes = {**knowledge.causes, **overlay.causes()}
    tests = {**knowledge.tests, **overlay.tests()}
    trees = {**knowledge.trees, **overlay.trees()}
    if len(shelf.problems) > before:
        return None
    return dataclasses.replace(knowledge, causes=causes, tests=tests, trees=trees)


def problems_of(folder: Path, path: Path) -> list[Problem]:
    """What is wrong with a file of learned figures for the trees of a folder, wherever it lies."""
    shelf = read_shelf(folder, tree_files(folder), learned=False)
    read_learned(shelf, path)
    knowledge = resolve(shelf)
    if knowledge is not None:
        apply_learned(knowledge, shelf)
    return in_order([p for p in shelf.problems if knowledge is None or p.place.file == str(path)])


@dataclass(slots=True)
class _Overlay:
    """Looks up what the learned figures name, and collects what does not fit."""

    knowledge: Knowledge
    shelf: Shelf
    _not_loaded: dict[str, set[str]] = field(default_factory=dict)

    def causes(self) -> dict[str, Cause]:
        """The causes of which something was learned and that are loaded."""
        made = {}
        for name, item in self.shelf.learned_causes.items():
            if item.entry is None or not self.loaded(item, (), "causes", name):
                continue
            authored = self.knowledge.causes[name]
            made[name] = dataclasses.replace(authored, how_common=item.entry.how_common)
        return made

    def tests(self) -> dict[str, Test]:
        """The tests of which something was learned and that are loaded."""
        made = {}
        for name, item in self.shelf.learned_tests.items():
            if item.entry is None or not self.loaded(item, (), "tests", name):
                continue
            test = self.knowledge.tests[name]
            by_chance = self.bands(item, ("by_chance",), test, test.by_chance, item.entry.by_chance)
            points_to = dict(test.points_to)
            for cause, chances in item.entry.points_to.items():
                path = ("points_to", cause)
                if self.loaded(item, path, "causes", cause):
                    authored = test.points_to.get(cause, {})
                    points_to[cause] = self.bands(item, path, test, authored, chances)
            minutes = test.minutes if item.entry.minutes is None else item.entry.minutes
            made[name] = dataclasses.replace(
                test, minutes=minutes, by_chance=by_chance, points_to=points_to
            )
        return made

    def trees(self) -> dict[str, Tree]:
        """The trees of which something was learned and that are loaded."""
        made = {}
        for name, item in self.shelf.learned_trees.items():
            if item.entry is None or not self.loaded(item, (), "trees", name):
                continue
            tree = self.knowledge.trees[name]
            brings_on = dict(tree.brings_on)
            for cause, chance in item.entry.brings_on.items():
                if self.loaded(item, ("brings_on", cause), "causes", cause):
                    brings_on[cause] = chance
            made[name] = dataclasses.replace(tree, brings_on=brings_on)
        return made

    def loaded(self, item: Item[Any], path: tuple[str, ...], section: str, name: str) -> bool:
        """Whether something is loaded; records it when it is nowhere in the folder."""
        here: Mapping[str, object] = getattr(self.knowledge, section)
        if name in here:
            return True
        elsewhere = self.not_loaded(section)
        if name not in elsewhere:
            what = section.removesuffix("s")
            hint = did_you_mean(name, (*here, *elsewhere))
            hint = hint or "take it out: what was learned is of other trees"
            self.report(item, path, f"there is no {what} `{name}`", hint, "unknown-id")
        return False

    def not_loaded(self, section: str) -> set[str]:
        """The ids of a section in the files of the folder that were not loaded."""
        if section not in self._not_loaded:
            paths = tree_files(self.shelf.folder)
            if section == "trees":
                self._not_loaded[section] = {path.stem for path in paths}
            else:
                names = set(self.shelf.elsewhere(section))
                for path in paths:
                    names |= _ids(read_cached(path).data, section)
                self._not_loaded[section] = names
        return self._not_loaded[section]

    def bands(
        self,
        item: Item[Any],
        path: tuple[str, ...],
        test: Test,
        authored: Mapping[str, float],
        learned: Mapping[str, float],
    ) -> dict[str, float]:
        """Authored chances of a test's bands with the learned ones in their place, checked."""
        for band in learned:
            if band == test.expect:
                message = f"`{band}` is the expected band: its chance is what the others leave"
                self.report(item, (*path, band), message, "", "expected-band")
            elif band not in test.bands:
                message = f"there is no band `{band}`"
                hint = did_you_mean(band, test.cascade) or f"they are {listed(test.cascade)}"
                self.report(item, (*path, band), message, hint, "unknown-band")
        made = {**authored, **learned}
        total = sum(made.values())
        if learned and total > MOST_FOR_ALL_BANDS + 1e-9:
            stay = _all_but(authored, learned)
            whose = f", with {listed(stay)} as authored" if stay else ""
            message = f"the chances sum to {total:.3g}{whose}"
            hint = f"at most {MOST_FOR_ALL_BANDS:g}: nothing is certain"
            self.report(item, path, message, hint, "chances-too-large")
        return made

    def report(
        self, item: Item[Any], path: tuple[str, ...], message: str, hint: str, rule: str
    ) -> None:
        """Record an error at a path below an entry."""
        place = item.place(*path, key=True)
        self.shelf.problems.append(Problem(place, message, hint, rule))


def _ids(data: object, section: str) -> set[str]:
    found = data.get(section) if isinstance(data, dict) else None
    return set(found) if isinstance(found, dict) else set()


def _all_but(names: Iterable[str], without: Mapping[str, object]) -> list[str]:
    return [name for name in names if name not in without]
