"""A simulated shop: cars with hidden faults come in, are walked, cured and logged.

The cars are drawn by `faulttree.study.simulate` from the numbers of a shelf, the truth. A
technician follows the authored route of each complaint, does a few tests of his own choice, puts
right what is at work, now and then after a repair of something else, and closes the session. Every
session is a list of events with times, as the program itself would have logged it; only the advice
in it is made up, since working it out at every step would take hours. Some cars come in again.
`write_shop` writes the sessions as logs; `distort` makes an author who guessed badly out of the
truth.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from faulttree.scorer.network import Network, build_network
from faulttree.session.events import (
    Advice,
    Closed,
    ComplaintChecked,
    ComplaintTaken,
    Envelope,
    Event,
    Opened,
    ReadingTaken,
    Repaired,
    TakenAs,
    VehicleDescribed,
)
from faulttree.session.lines import NOTHING_BEFORE, chain_of, write_line
from faulttree.session.standing import specs_used
from faulttree.study.simulate import HiddenCar, finding_of, is_listed, observe, sureness
from faulttree.tree.car import Car, describe_car, fits
from faulttree.tree.graph import next_on_route
from faulttree.tree.model import Knowledge

OPENING = datetime(2026, 1, 5, 8, 0, tzinfo=UTC)
WRONG_FIRST = 0.1
"""How often something that was not at work is repaired first."""
FOLLOWED = 0.7
"""How often what is done is what the advice named."""
CARS = 5000
"""After so many sessions the same cars come in again."""


@dataclass(frozen=True, slots=True)
class Simulated:
    """One session: its events with their times, and the causes that were at work."""

    events: tuple[tuple[datetime, Event], ...]
    at_work: frozenset[str]


def draw_any(network: Network, random: np.random.Generator) -> HiddenCar:
    """A car from the prior, whatever it complains of."""
    chances = random.random(len(network.nodes)).tolist()
    present = {i for i, node in enumerate(network.nodes) if chances[i] < node.prior}
    return HiddenCar(network, random, frozenset(network.nodes[i].id for i in present), present)


def simulate_shop(
    truth: Knowledge,
    count: int,
    seed: int,
    *,
    vehicle: str | None = None,
    own_choice: float = 4.0,
    pace: Mapping[str, float] | None = None,
) -> Iterator[Simulated]:
    """Sessions on cars that come in with a complaint and whose faults are all listed.

    `own_choice` is how many tests beside the route are done on average, chosen at random. `pace`
    gives the true minutes of tests where they are not the author's.
    """
    random = np.random.default_rng(seed)
    car = describe_car(truth, vehicle)
    network = build_network(truth, list(truth.trees), car)
    sure = sureness(truth)
    tests = [test for test in truth.tests if test in network.sources]
    made = 0
    while made < count:
        hidden = draw_any(network, random)
        complaints = [tree for tree in truth.trees if hidden.has_complaint(tree)]
        work = frozenset[str]().union(*(hidden.brings_on(tree) for tree in complaints))
        if not complaints or not work or not all(map(is_listed, work)):
            continue
        if not all(hidden.brings_on(tree) for tree in complaints):
            continue
        technician = _Technician(truth, network, car, hidden, random, sure, pace or {}, made)
        technician.open(complaints, vehicle)
        technician.follow_routes(complaints)
        technician.choose(tests, int(random.poisson(own_choice)))
        technician.cure(complaints, work)
        yield Simulated(tuple(technician.events), work)
        made += 1


class _Technician:
    """Works on one car and keeps the log."""

    def __init__(
        self,
        truth: Knowledge,
        network: Network,
        car: Car,
        hidden: HiddenCar,
        random: np.random.Generator,
        sure: Mapping[str, float],
        pace: Mapping[str, float],
        number: int,
    ) -> None:
        self.truth, self.network, self.car, self.hidden = truth, network, car, hidden
        self.random, self.sure, self.pace, self.number = random, sure, pace, number
        self.at = OPENING + timedelta(hours=6 * number)
        self.events: list[tuple[datetime, Event]] = []
        self.bands: dict[str, str] = {}

    def log(self, event: Event, minutes: float = 0.5) -> None:
        """One more event, some minutes later."""
        self.at += timedelta(minutes=minutes)
        self.events.append((self.at, event))

    def open(self, complaints: list[str], vehicle: str | None) -> None:
        """Take the car and its complaints in."""
        title = f"Car {self.number % CARS}"
        self.log(Opened("1.0.0", tuple(complaints), self.truth.digest, title))
        for tree in complaints:
            self.log(ComplaintTaken(tree, "as the driver says", showing="yes"))
        self.log(VehicleDescribed(vehicle, title))

    def read(self, test: str, taken_as: TakenAs) -> None:
        """Do a test: it takes its minutes, give or take a third, and sometimes a lunch break."""
        source = self.network.sources[test]
        said = observe(source, self.hidden.read(test), self.sure.get(test), self.random)
        minutes = self.pace.get(test, source.minutes) * float(self.random.lognormal(0.0, 0.3))
        if self.random.random() < 0.05:
            minutes += 45.0
        card = self.truth.tests[test]
        reading = ReadingTaken(
            test,
            said,
            choice=said if card.kind == "choice" else None,
            showing="yes",
            taken_as=taken_as,
            bands=finding_of(source, said, self.sure.get(test), 0).bands,
            specs_used=specs_used(card, self.car),
            advice=self.advice(test, source.minutes),
        )
        self.bands[test] = said
        self.log(reading, minutes)

    def advice(self, done: str, minutes: float) -> Advice | None:
        """Made-up advice of this moment: mostly what is done, else some other test; rarely none."""
        chance = float(self.random.random())
        if chance < FOLLOWED:
            return Advice(done, minutes, 0.0)
        if chance > 0.95:
            return None
        other = list(self.truth.tests)[int(self.random.integers(len(self.truth.tests)))]
        extra = round(float(self.random.exponential(15.0)), 2)
        return Advice(other, self.truth.tests[other].minutes, extra if chance < 0.9 else None)

    def follow_routes(self, complaints: list[str]) -> None:
        """Each complaint's authored route, as far as it leads."""
        for tree in complaints:
            while (step := next_on_route(self.truth, tree, self.bands, self.car)).kind == "test":
                self.read(step.id, "route")

    def choose(self, tests: list[str], count: int) -> None:
        """A few more tests, whatever they are."""
        left = [test for test in tests if test not in self.bands]
        for at in self.random.permutation(len(left))[:count]:
            self.read(left[int(at)], "free")

    def cure(self, complaints: list[str], work: frozenset[str]) -> None:
        """Repair what is at work, look for every complaint again, and close."""
        fitting = sorted(c.id for c in self.truth.causes.values() if fits(c.fits, self.car))
        order = sorted(work)
        if self.random.random() < WRONG_FIRST:
            order.insert(0, fitting[int(self.random.integers(len(fitting)))])
        for cause in order:
            minutes = self.truth.causes[cause].repair.minutes
            self.log(Repaired(cause, "done", minutes, self.advice(cause, minutes)), minutes)
            self.hidden.repair(cause)
        for tree in complaints:
            self.log(ComplaintChecked(tree, "gone", "same road"), 5)
        self.log(Closed("cured", tuple(sorted(work))))


def write_shop(folder: Path, sessions: Iterator[Simulated]) -> int:
    """Write sessions as logs, sound in every line; returns how many."""
    folder.mkdir(parents=True, exist_ok=True)
    count = 0
    for count, session in enumerate(sessions, 1):
        write_events(folder / f"{count:06}.jsonl", session.events)
    return count


def write_events(path: Path, events: Iterable[tuple[datetime, Event]]) -> Path:
    """Write events with their times as one log, sound in every line."""
    chain, data = NOTHING_BEFORE, b""
    for number, (at, event) in enumerate(events, 1):
        line = write_line(Envelope(number, at, "A. Tester", event), chain)
        chain = chain_of(line)
        data += line
    path.write_bytes(data)
    return path


def distort(truth: Knowledge, seed: int, spread: float = 0.5) -> Knowledge:
    """The shelf of an author whose every number is off: its log-odds by `spread`, as a normal."""
    random = np.random.default_rng(seed)

    def off(chance: float) -> float:
        odds = chance / (1.0 - chance) * float(np.exp(random.normal(0.0, spread)))
        return odds / (1.0 + odds)

    def bands(chances: Mapping[str, float]) -> dict[str, float]:
        made = {band: off(chance) for band, chance in chances.items()}
        total = sum(made.values())
        return {band: chance * min(1.0, 0.95 / total) for band, chance in made.items()}

    causes = {c.id: replace(c, how_common=off(c.how_common)) for c in truth.causes.values()}
    trees = {
        tree.id: replace(tree, brings_on={c: off(p) for c, p in tree.brings_on.items()})
        for tree in truth.trees.values()
    }
    tests = {
        test.id: replace(
            test,
            by_chance=bands(test.by_chance),
            points_to={cause: bands(b) for cause, b in test.points_to.items()},
        )
        for test in truth.tests.values()
    }
    return replace(truth, causes=causes, trees=trees, tests=tests)
