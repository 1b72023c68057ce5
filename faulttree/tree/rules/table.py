"""What a rule is, and the table of all of them.

A rule is a function from what is checked to its problems. Its docstring is the page that
`faulttree check --explain RULE` prints: what the rule does, why it is there, and a bad and a good
example in YAML, which the tests run. The rules themselves stand in the modules beside this one.
"""

import functools
import inspect
import itertools
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace

from faulttree.tree.car import Car, describe_car, fits
from faulttree.tree.model import Knowledge, Test
from faulttree.tree.problem import Problem, Severity
from faulttree.tree.shelf import Shelf

MOST_KINDS = 12
"""So many kinds of car are tried for one test; no shipped one is for more than four."""


@dataclass(frozen=True)
class Checked:
    """What the rules look at: the files as read, and what they mean where the loader took them."""

    shelf: Shelf
    knowledge: Knowledge | None

    def refused(self, rule: str) -> Iterator[Problem]:
        """The problems of one rule that the loader has already found."""
        return (problem for problem in self.shelf.problems if problem.rule == rule)

    def tests_of(self, tree: str) -> list[Test]:
        """The tests that are loaded with a tree: its own, and those of the catalogues it uses."""
        if self.knowledge is None:
            return []
        used = set(self.shelf.uses[tree])
        items = self.shelf.tests
        return [
            test
            for test in self.knowledge.tests.values()
            if items[test.id].tree == tree
            or (items[test.id].tree is None and items[test.id].source.file in used)
        ]

    def cars_for(self, needs: Mapping[str, tuple[str, ...]]) -> list[tuple[str, Car]]:
        """The cars that something is for: one of which only that is known, and the shop's own."""
        if self.knowledge is None:
            return []
        if not needs:
            return list(self.cars)
        cars = []
        for values in itertools.islice(itertools.product(*needs.values()), MOST_KINDS):
            typed = dict(zip(needs, values, strict=True))
            car = describe_car(self.knowledge, typed=typed)
            cars.append((f"a car with {' and '.join(values)}", car))
        return cars + [(name, car) for name, car in self.cars[1:] if fits(needs, car)]

    @functools.cached_property
    def cars(self) -> tuple[tuple[str, Car], ...]:
        """The shop's vehicles, and a car of which nothing is known, each with a name for it."""
        if self.knowledge is None:
            return ()
        cars = [("a car of which nothing is known", describe_car(self.knowledge))]
        for vehicle in self.knowledge.vehicles.values():
            cars.append((f"`{vehicle.id}`", describe_car(self.knowledge, vehicle.id)))
        return tuple(cars)


def one_car(one: Mapping[str, tuple[str, ...]], other: Mapping[str, tuple[str, ...]]) -> bool:
    """Whether what fits some cars and what fits some others can be on one car."""
    return all(set(one[spec]) & set(other[spec]) for spec in one.keys() & other.keys())


Look = Callable[[Checked], Iterator[Problem]]
KnowingLook = Callable[[Checked, Knowledge], Iterator[Problem]]


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule: its id, how bad a breach is, its page, and what looks for breaches.

    `mend` says what to do about a breach, where the problem itself has no better hint.
    """

    id: str
    severity: Severity
    mend: str
    page: str
    look: Look
    needs_knowledge: bool

    @property
    def title(self) -> str:
        """The first sentence of the page."""
        return self.page.partition("\n")[0]

    def examples(self) -> Mapping[str, str]:
        """The examples of the page: `bad` and `good`, as YAML."""
        found = re.findall(r"^(Bad|Good):?\n+```yaml\n(.*?)^```", self.page, re.M | re.S)
        return {name.lower(): text for name, text in found}


@dataclass(slots=True)
class Table:
    """All rules by id, in the order in which they were entered."""

    rules: dict[str, Rule] = field(default_factory=dict)

    def refusal(
        self, rule_id: str, mend: str
    ) -> Callable[[Callable[[], None]], Callable[[], None]]:
        """Enter the page of something that the loader refuses; the function itself does nothing."""

        def enter(function: Callable[[], None]) -> Callable[[], None]:
            page = inspect.cleandoc(function.__doc__ or "")
            self._enter(Rule(rule_id, "error", mend, page, lambda c: c.refused(rule_id), False))
            return function

        return enter

    def rule(
        self, rule_id: str, severity: Severity, mend: str
    ) -> Callable[[KnowingLook], KnowingLook]:
        """Enter a rule that looks at what loaded well; it gives problems a place and words."""

        def enter(function: KnowingLook) -> KnowingLook:
            def look(checked: Checked) -> Iterator[Problem]:
                if checked.knowledge is not None:
                    for problem in function(checked, checked.knowledge):
                        yield replace(problem, rule=rule_id, severity=severity)

            page = inspect.cleandoc(function.__doc__ or "")
            self._enter(Rule(rule_id, severity, mend, page, look, True))
            return function

        return enter

    def _enter(self, rule: Rule) -> None:
        if rule.id in self.rules:
            raise TypeError(f"there are two rules {rule.id}")
        self.rules[rule.id] = rule


TABLE = Table()
refusal = TABLE.refusal
rule = TABLE.rule
