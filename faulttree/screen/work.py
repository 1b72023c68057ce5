"""The session that is open: what may be asked of it, without any widget.

`Work` holds the knowledge and the journal. Every change goes the same way: `decide` on the state as
it stands, one append (on the disk when it returns), and the new state. What the scorer makes of it
is worked out in `reckon`, which the pages call from a worker thread.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from faulttree.scorer.evidence import GONE, Evidence, Weighed
from faulttree.screen.wording import rests_on_generic
from faulttree.session.events import (
    CannotDo,
    ComplaintChecked,
    ComplaintTaken,
    Envelope,
    Event,
    Opened,
    ReadingTaken,
    Repaired,
    SpecGiven,
    VehicleDescribed,
    Withdrawn,
)
from faulttree.session.moves import Command, NotAllowed, decide
from faulttree.session.standing import bands_now, car_of, evidence, open_cautions
from faulttree.session.state import Fact, State, apply, fold
from faulttree.session.words import name_of
from faulttree.tree.car import Car, fits
from faulttree.tree.model import Caution, Knowledge, Test

if TYPE_CHECKING:
    from faulttree.scorer.advice import Suggestion
    from faulttree.scorer.explain import Conflict, Explanation
    from faulttree.scorer.network import Network
    from faulttree.session.events import Carrier
    from faulttree.session.journal import Journal
    from faulttree.tree.graph import RouteStep

PROGRAM = "faulttree"

MOVING = (ComplaintTaken, VehicleDescribed, SpecGiven, ReadingTaken, Repaired, ComplaintChecked)
"""What moves the chances; taking one of them back does so as well."""


def moved(state: State) -> int:
    """The number of the last entry that may have moved the chances, 0 when there is none."""
    for envelope in reversed(state.history):
        if isinstance(envelope.event, (*MOVING, CannotDo, Withdrawn)):
            return envelope.sequence
    return 0


class Work:
    """A session at work. `journal` is None for one that is only looked at."""

    def __init__(
        self,
        knowledge: Knowledge,
        state: State,
        who: str,
        journal: Journal | None = None,
        path: Path | None = None,
    ) -> None:
        self.knowledge = knowledge
        self.who = who
        self.journal = journal
        self.path = journal.path if journal is not None else path
        self._state = state
        self._car: tuple[int, Car] | None = None

    @property
    def state(self) -> State:
        """The session as it stands on the disk."""
        return self.journal.state if self.journal is not None else self._state

    @property
    def car(self) -> Car:
        """The car as known now."""
        last = self.state.last
        if self._car is None or self._car[0] != last:
            self._car = (last, car_of(self.state, self.knowledge))
        return self._car[1]

    def do(self, *commands: Command) -> tuple[Event, ...]:
        """Decide on the commands one after another, write what they make, all of it or nothing.

        Raises what `decide` raises (NotAllowed, ReadingError, SpecUnknown), and JournalError.
        """
        state, events = self.state, []
        now = datetime.now(UTC)
        for command in commands:
            for event in decide(state, command, self.knowledge):
                state = apply(state, Envelope(state.last + 1, now, self.who, event))
                events.append(event)
        if self.journal is None:
            raise RuntimeError("this session is only looked at")
        self.journal.append(events, self.who, now)
        return tuple(events)

    def before_last(self) -> State | None:
        """The state before the last entry that moved the chances, None when there is none."""
        for envelope in reversed(self.state.history):
            standing = envelope.sequence not in self.state.withdrawn
            if standing and isinstance(envelope.event, MOVING):
                return fold(self.state.history[: envelope.sequence - 1])
        return None

    def last_moving(self) -> Event | None:
        """The last standing event that moved the chances."""
        for envelope in reversed(self.state.history):
            standing = envelope.sequence not in self.state.withdrawn
            if standing and isinstance(envelope.event, MOVING):
                return envelope.event
        return None

    @property
    def gone(self) -> bool:
        """Whether every complaint was looked for since the last repair and found gone."""
        state = self.state
        return bool(state.trees) and all(state.status(tree) == GONE for tree in state.trees)

    @property
    def moved(self) -> int:
        """The number of the last entry that may have moved the chances."""
        return moved(self.state)

    def close(self) -> None:
        """Let others write to the session."""
        if self.journal is not None:
            self.journal.close()

    # --- what stands -----------------------------------------------------------------------------

    @property
    def title(self) -> str:
        """What the session is called."""
        return self.state.opened.title if self.state.opened else ""

    def complaints(self) -> str:
        """The complaints of the session in one line."""
        names = [self.knowledge.trees[t].complaint for t in self.state.trees if self.has_tree(t)]
        return " + ".join(names)

    def has_tree(self, tree: str) -> bool:
        """Whether the knowledge holds that tree."""
        return tree in self.knowledge.trees

    def fits(self, test: Test) -> bool:
        """Whether a test applies to the car."""
        return fits(test.fits, self.car)

    def read_now(self) -> dict[str, str]:
        """The band of every test as far as it says something of the car as it is now."""
        return bands_now(self.state, self.knowledge)

    def readings_now(self, test: str) -> tuple[Fact[ReadingTaken], ...]:
        """The standing readings of a test since the last repair."""
        return self.state.readings_of(test, self.state.stage)

    def cautions(self, carrier: Carrier, id: str) -> tuple[Caution, ...]:
        """The cautions that must still be answered before this test or repair."""
        return open_cautions(self.state, self.knowledge, carrier, id)

    def dangers_read(self) -> frozenset[str]:
        """The cautions that were read in this session, for whatever test or repair."""
        return frozenset(
            fact.event.caution
            for fact in self.state.acknowledged
            if fact.event.answer == "understood"
        )

    def holds_new(self, cautions: Iterable[Caution]) -> bool:
        """Whether one of these cautions stops the work or was not read in this session yet."""
        read = self.dangers_read()
        return any(caution.kind == "stop" or caution.id not in read for caution in cautions)

    def routes(self) -> dict[str, RouteStep]:
        """The next step of every complaint's route."""
        from faulttree.session.standing import route_step

        return {
            tree: route_step(self.state, self.knowledge, tree)
            for tree in self.state.trees
            if self.has_tree(tree)
        }


@dataclass(frozen=True, slots=True)
class Standing:
    """One cause: its chance now, and before the last entry that counts."""

    id: str
    name: str
    chance: float
    before: float
    repaired: bool = False


@dataclass(frozen=True, slots=True)
class Reckoned:
    """What the scorer makes of a session: the causes, likeliest first, and how exact that is.

    `moved` is the number of the last event that moved the chances, so that a late answer can be
    told from the present one. `trouble` says why there is no answer.
    """

    moved: int
    causes: tuple[Standing, ...] = ()
    exact: bool = True
    omitted: float = 0.0
    trouble: str = ""


@dataclass(frozen=True, slots=True)
class Advised:
    """The slower part: what is worth doing next, whether the readings agree, and the way so far."""

    moved: int
    suggestions: tuple[Suggestion, ...] = ()
    conflict: Conflict | None = None
    explanation: Explanation | None = None
    names: dict[str, str] = field(default_factory=dict)
    sources: dict[str, str] = field(default_factory=dict)


@dataclass(slots=True)
class Reckoner:
    """Works a session out, once for each state; keeps the network as long as the car is the same.

    Called from one worker thread at a time.
    """

    knowledge: Knowledge
    rate_per_hour: float = 60.0
    _network: tuple[object, Network] | None = None
    _chances: dict[int, dict[str, float]] = field(default_factory=dict)

    def network(self, state: State, car: Car) -> Network:
        """The network of the session's complaints on this car."""
        # numpy is first needed here.
        from faulttree.scorer.network import build_network

        trees = tuple(tree for tree in state.trees if tree in self.knowledge.trees)
        choices = tuple(sorted((spec, str(known.value)) for spec, known in car.specs.items()))
        key = (trees, choices)
        if self._network is None or self._network[0] != key:
            self._network = (key, build_network(self.knowledge, trees, car))
            self._chances.clear()
        return self._network[1]

    def chances(self, state: State, car: Car, before: State | None = None) -> Reckoned:
        """The chances of the causes, and how each moved since the state `before`."""
        from faulttree.scorer.inference import Impossible, solve

        network = self.network(state, car)
        found = _only_known(evidence(state, self.knowledge), network)
        try:
            posterior = solve(network, found)
        except Impossible:
            return Reckoned(
                moved(state),
                trouble="No cause, alone or with others, explains these readings together. "
                "Take the doubtful one again, or undo it.",
            )
        now = posterior.chances
        was = self._before(before, car, now)
        self._chances[moved(state)] = now
        gone = {fact.event.cause for fact in state.repairs}
        relevant = {network.nodes[at].id for at in network.relevant}
        causes = [
            Standing(node.id, node.name, now[node.id], was.get(node.id, now[node.id]))
            for node in network.nodes
            if node.id in relevant and node.id not in gone
        ]
        causes.sort(key=lambda cause: -cause.chance)
        causes += [
            Standing(node.id, node.name, 0.0, 0.0, True)
            for node in network.nodes
            if node.id in gone
        ]
        return Reckoned(moved(state), tuple(causes), posterior.exact, posterior.omitted)

    def _before(self, before: State | None, car: Car, now: dict[str, float]) -> dict[str, float]:
        """The chances before the last entry; the present ones when nothing came before."""
        from faulttree.scorer.inference import Impossible, solve

        if before is None or not before.complaints:
            return now
        network = self.network(before, car)
        if (known := self._chances.get(moved(before))) is not None:
            # Worked out when it was the present: the history before an entry never changes.
            return known
        try:
            return solve(network, _only_known(evidence(before, self.knowledge), network)).chances
        except Impossible:
            return now

    def advice(self, state: State, car: Car) -> Advised:
        """What to do next, whether the readings agree, and what each of them did."""
        from faulttree.scorer.advice import advise
        from faulttree.scorer.explain import conflict, explain
        from faulttree.scorer.inference import Impossible

        network = self.network(state, car)
        found = _only_known(evidence(state, self.knowledge), network)
        names = {node.id: node.name for node in network.nodes}
        sources = {source.id: source.name for source in network.sources.values()}
        try:
            suggestions = advise(
                network,
                found,
                barred=tuple(state.cannot_do),
                repeatable=_worth_repeating(state, self.knowledge),
                rate_per_hour=self.rate_per_hour,
            )
            explanation = explain(network, found)
        except Impossible:
            return Advised(moved(state), (), conflict(network, found), None, names, sources)
        return Advised(
            moved(state),
            tuple(suggestions),
            conflict(network, found),
            explanation,
            names,
            sources,
        )


ENOUGH_REPEATS = 3


def _worth_repeating(state: State, knowledge: Knowledge) -> set[str]:
    """Tests of this stage that may tell more a second time: near a limit, or with nothing showing.

    A fault that must be present at the moment proves little when the complaint kept quiet.
    """
    again = set()
    for test in {fact.event.test for fact in state.readings if fact.stage == state.stage}:
        taken = state.readings_of(test, state.stage)
        last = taken[-1].event
        known = knowledge.tests.get(test)
        quiet = last.showing == "no" and known is not None and known.shows_only is not None
        if len(taken) < ENOUGH_REPEATS and (last.near or quiet):
            again.add(test)
    return again


def _only_known(found: Evidence, network: Network) -> Evidence:
    """The evidence without findings that the network does not know (an older tree, another car)."""
    kept = tuple(finding for finding in found.findings if finding.source in network.sources)
    return Evidence(kept, {c: at for c, at in found.repaired.items() if c in network.index})


def begin(
    sessions: Path,
    knowledge: Knowledge,
    who: str,
    title: str,
    trees: Sequence[str],
    first: Sequence[Event],
) -> Work:
    """Open a session and write what the intake found; raises JournalError and NotAllowed."""
    from faulttree.session.journal import create

    opened = Opened(_program(), tuple(trees), knowledge.digest, title)
    # What would be refused is found out before a file is made.
    state = apply(State(), Envelope(1, datetime.now(UTC), who, opened))
    for event in first:
        for decided in decide(state, event, knowledge):
            state = apply(state, Envelope(state.last + 1, datetime.now(UTC), who, decided))
    journal = create(sessions, opened, knowledge, who)
    work = Work(knowledge, journal.state, who, journal)
    try:
        work.do(*first)
    except BaseException:
        # The file stays: what was written of it is true. But nobody holds it.
        journal.close()
        raise
    return work


def resume(path: Path, who: str) -> Work:
    """Open a session for writing, with what it knew; raises JournalError."""
    from faulttree.session.journal import knowledge_of, open_journal

    journal = open_journal(path, who)
    try:
        knowledge = knowledge_of(journal.record)
    except BaseException:
        journal.close()
        raise
    return Work(knowledge, journal.state, who, journal)


def look_at(path: Path, who: str) -> Work:
    """A session to look at only; raises JournalError."""
    from faulttree.session.journal import knowledge_of, read

    record = read(path)
    return Work(knowledge_of(record), record.state, who, None, path)


def _program() -> str:
    from faulttree import __version__

    return f"{PROGRAM} {__version__}"


def base_is_out(test: Test, taken: ReadingTaken) -> bool:
    """Whether this is a base reading, without which others mean little, and it is out."""
    return bool(test.base) and taken.band != test.expect


def base_doubts(work: Work, taken: ReadingTaken) -> list[str]:
    """What a base reading that is out may rest on besides the car: a limit, or a repair."""
    knowledge, test = work.knowledge, work.knowledge.tests[taken.test]
    said = []
    if rests_on_generic(test, work.car):
        said.append(
            "The limit is a generic figure, not this car's: look up the maker's before you act."
        )
    mended = dict.fromkeys(
        name_of(fact.event.cause, knowledge)
        for fact in work.state.repairs
        if test.points_to.get(fact.event.cause, {}).get(taken.band)
    )
    if mended:
        said.append(
            f"Repaired already, and it would read like this: {'; '.join(mended)}. "
            "See whether that repair holds."
        )
    return said


def helped_nothing(work: Work, cause: str) -> bool:
    """Whether every complaint looked for after a repair was still there, and no reading came right.

    Such a repair is hardly what was wrong, and is not marked as found unless somebody marks it.
    """
    state, tests = work.state, work.knowledge.tests
    stages = [n for n, fact in enumerate(state.repairs, 1) if fact.event.cause == cause]
    looked = [found for (_, stage), found in state.found().items() if stage in stages]
    if not looked or GONE in looked:
        return False

    def is_right(reading: ReadingTaken) -> bool:
        return reading.test in tests and reading.band == tests[reading.test].expect

    was_out = {f.event.test for f in state.readings if not is_right(f.event)}
    return not any(
        fact.stage in stages and fact.event.test in was_out and is_right(fact.event)
        for fact in state.readings
    )


def spread_of(weighed: Weighed) -> float:
    """The half-width in which the true value lies: two standard uncertainties."""
    return 2.0 * weighed.u if weighed.u and math.isfinite(weighed.u) else 0.0


class WorkFigures:
    """The figures of the car in the bay, kept in its session."""

    def __init__(self, work: Work) -> None:
        self.work = work

    @property
    def knowledge(self) -> Knowledge:
        """What the shop knows."""
        return self.work.knowledge

    def car(self) -> Car:
        """The car as known now."""
        return self.work.car

    def give(self, given: SpecGiven) -> str | None:
        """Write a typed figure into the session; says why not."""
        return self._try(given)

    def forget(self, spec: str) -> str | None:
        """Take a typed figure back; says why not."""
        fact = self.work.state.specs.get(spec)
        if fact is None:
            return "This figure was not typed in this session."
        return self._try(Withdrawn(fact.sequence, "unknown after all"))

    def open_tests(self) -> tuple[Test, ...]:
        """The tests that fit the car and were not done since the last repair."""
        work = self.work
        done = {*work.read_now(), *work.state.cannot_do}
        return tuple(
            test
            for test in self.knowledge.tests.values()
            if test.id not in done and work.fits(test)
        )

    def _try(self, command: Command) -> str | None:
        from faulttree.session.journal import JournalError

        try:
            self.work.do(command)
        except (NotAllowed, JournalError) as trouble:
            return str(trouble)
        return None
