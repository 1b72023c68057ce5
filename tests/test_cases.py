"""The worked cases of `tests/cases`, scored: how often are the true causes ranked first?

The cases were written from trade reasoning before the scorer saw them. Every case must be readable
and scorable. How well the scorer does is reported (`pytest tests/test_cases.py -rA` shows the
table); the assertion is only that a true cause is never ruled out by honest readings and that the
whole does better than a technician who repairs the three commonest faults.

A case names one of the shop's cars, with further `figures` if need be, or makes one up of specs.
`why` is the trade's reason for the true causes, written first; `missed` says, for a case in which
they do not all come among the first three, why that is so.
"""

from collections import defaultdict
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import pytest
import yaml

from faulttree.scorer.evidence import PRESENT, Evidence, Finding, weigh
from faulttree.scorer.inference import solve
from faulttree.scorer.network import NOT_LISTED, build_network
from faulttree.session.entry import parse_entry
from faulttree.tree.car import Car, describe_car
from faulttree.tree.load import load
from faulttree.tree.model import Knowledge

HERE = Path(__file__).parent
CASES = sorted((HERE / "cases").glob("*.yaml"))


@dataclass(frozen=True)
class Result:
    """One case: its kind of engine, the true causes, and the causes in the scorer's order."""

    name: str
    kind: str
    true: tuple[str, ...]
    ranked: tuple[str, ...]
    chances: dict[str, float]
    commonest: tuple[str, ...]
    missed: str

    @property
    def all_in_three(self) -> bool:
        """Whether every true cause stands among the first three."""
        return set(self.true) <= set(self.ranked[:3])


@cache
def known(trees: tuple[str, ...]) -> Knowledge:
    """What a session about these complaints would load, and no other tree's causes."""
    return load(trees, trees_dir=HERE.parent / "trees")


def car_of(case: dict[str, Any], knowledge: Knowledge) -> Car:
    """The car of a case: one of the shop's with further `figures`, or one made up of specs."""
    from faulttree.trade.units import parse_quantity

    vehicle = case.get("vehicle")
    named = vehicle if isinstance(vehicle, str) else None
    typed = {}
    for name, value in (case.get("figures", {}) if named else vehicle or {}).items():
        spec = knowledge.specs[name]
        if spec.unit is not None:
            typed[name] = parse_quantity(value, spec.unit).value_in_default
        elif isinstance(value, list):
            typed[name] = tuple(
                tuple(map(int, v)) if isinstance(v, list) else int(v) for v in value
            )
        else:
            typed[name] = value
    return describe_car(knowledge, named, typed)


def kind_of(car: Car) -> str:
    if car.choice("ignition") == "coil-on-plug":
        return "coil on plug"
    if car.choice("fuel_system") == "multipoint":
        return "multipoint, distributor"
    return "carburettor or throttle body"


@cache
def result(path: Path) -> Result:
    # Every scalar as it is written: `true` and `yes` are words here.
    case = yaml.load(path.read_text(encoding="utf-8"), Loader=yaml.BaseLoader)
    knowledge = known(tuple(case["complaint"]))
    car = car_of(case, knowledge)
    network = build_network(knowledge, case["complaint"], car)
    findings = [Finding(tree, {PRESENT: 1.0}) for tree in case["complaint"]]
    for reading in case["readings"]:
        test = knowledge.tests[reading["test"]]
        value = reading["value"]
        weighed = weigh(test, [parse_entry(test, value, car)], car, knowledge)
        showing = {"yes": True, "no": False}.get(reading.get("showing"))
        findings.append(Finding(test.id, weighed.bands, 0, showing))
    opening = solve(network, Evidence(tuple(findings[: len(case["complaint"])]))).chances
    chances = solve(network, Evidence(tuple(findings))).chances

    def order(of: dict[str, float]) -> tuple[str, ...]:
        listed = [cause for cause in of if not cause.startswith(NOT_LISTED)]
        return tuple(sorted(listed, key=lambda cause: -of[cause]))

    return Result(
        path.stem,
        kind_of(car),
        tuple(case["true"]),
        order(chances),
        chances,
        order(opening),
        " ".join(case.get("missed", "no reason written down yet").split()),
    )


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_a_true_cause_is_never_ruled_out(path: Path) -> None:
    """Honest readings leave every true cause a chance worth keeping in mind."""
    found = result(path)
    for cause in found.true:
        assert found.chances[cause] > 0.005, f"{cause} fell to {found.chances[cause]:.4f}"


def test_report_of_all_cases() -> None:
    """Prints the table, and holds that the readings help: far better than the opening order."""
    rows: dict[tuple[str, str], list[Result]] = defaultdict(list)
    results = [result(path) for path in CASES]
    for found in results:
        rows[found.kind, "one fault" if len(found.true) == 1 else "two faults"].append(found)
    print(f"\n{'engine kind':30} {'faults':11} cases  a true cause first  all in first three")
    for (kind, faults), group in sorted(rows.items()):
        first = sum(found.ranked[0] in found.true for found in group)
        three = sum(found.all_in_three for found in group)
        print(f"{kind:30} {faults:11} {len(group):5}  {first:18}  {three:18}")
    for found in results:
        if not found.all_in_three:
            places = ", ".join(f"{c} at {found.ranked.index(c) + 1}" for c in found.true)
            print(f"missed: {found.name}: {places}; first {', '.join(found.ranked[:3])}")
            print(f"        {found.missed}")
    assert len(results) >= 40
    assert sum(len(found.true) >= 2 for found in results) * 3 >= len(results)
    hits = sum(found.all_in_three for found in results)
    by_habit = sum(set(found.true) <= set(found.commonest[:3]) for found in results)
    assert hits > 2 * by_habit
