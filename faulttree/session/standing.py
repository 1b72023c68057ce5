"""What a state means together with what the shop knows: the car, the evidence, route and cautions.

Pure functions of a state and its knowledge. The state itself is folded in `state`; the chances that
the evidence makes are the work of `faulttree.scorer`.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from faulttree.scorer.evidence import GONE, PRESENT, Entry, Evidence, Finding, Weighed, weigh
from faulttree.session.events import Carrier, ReadingTaken, Showing, SpecUsed
from faulttree.session.state import Fact, State
from faulttree.trade.units import ReadingError
from faulttree.tree.car import Car, SpecUnknown, describe_car, fits
from faulttree.tree.graph import RouteStep, next_on_route
from faulttree.tree.model import Caution, Knowledge, SpecLimit, Test

NOT_LISTED = "not-listed"
"""The cause that stands for everything the trees do not list, as the scorer calls it.

With several complaints there is one for each, called `not-listed:TREE`.
"""

UNUSUAL = "outside the usual range, taken anyway"
"""What is said of the source of a typed figure that was asked about and taken all the same."""

SURE_OF_GONE = 0.95
"""How sure a look is that does not find a complaint which comes and goes; as for any choice seen.

A complaint that goes with a repair that can have cured it is gone. One that came back later, or
that went without such a repair, may only have kept quiet.
"""


@dataclass(frozen=True, slots=True)
class Group:
    """The standing readings of one test in one stage: together they are one finding."""

    test: str
    stage: int
    readings: tuple[Fact[ReadingTaken], ...]

    @property
    def last(self) -> Fact[ReadingTaken]:
        """The reading that was taken last."""
        return self.readings[-1]


@dataclass(frozen=True, slots=True)
class OpenCaution:
    """A caution that nobody has answered yet, and what carries it."""

    caution: Caution
    carrier: Carrier
    id: str


def car_of(state: State, knowledge: Knowledge) -> Car:
    """The car as known now: typed specs, its vehicle file, generic defaults, instrument checks.

    An instrument that was checked in this session is corrected by these checks alone: what was
    seen today replaces what the files say of it.
    """
    described = state.vehicle.event if state.vehicle else None
    typed = dict(described.specs) if described else {}
    typed |= {spec: fact.event.value for spec, fact in state.specs.items()}
    vehicle = described.vehicle if described else None
    car = describe_car(knowledge, vehicle if vehicle in knowledge.vehicles else None, typed)
    specs = dict(car.specs)
    for spec, known in car.specs.items():
        if known.origin != "typed" or known.out_of:
            continue
        given = state.specs.get(spec)
        source = given.event.source if given else described.source if described else ""
        beyond = UNUSUAL if given and given.event.outside else ""
        specs[spec] = replace(known, source=", ".join(filter(None, (source, beyond))))
    corrections = dict(car.corrections)
    for instrument, points in checked_points(state).items():
        corrections[instrument] = tuple(sorted(points.items()))
    name = (described.name if described else "") or car.name
    return Car(name, specs, corrections)


def checked_points(state: State) -> dict[str, dict[float, float]]:
    """The checks of every instrument in this session: instrument to shown to true."""
    points: dict[str, dict[float, float]] = {}
    for fact in state.instruments:
        points.setdefault(fact.event.instrument, {})[fact.event.shown] = fact.event.true
    return points


def specs_of(test: Test, car: Car) -> tuple[str, ...]:
    """The specs on which the limits, sums and pattern of a test depend, each once.

    A value that was worked out is followed by the figures it came of.
    """
    limits = list(test.limits)
    needed: list[str] = []
    if test.pattern is not None:
        if test.pattern.level_below is not None:
            limits.append(test.pattern.level_below)
        needed += ["cylinders", "firing_order", "banks"]
    needed += [limit.spec for limit in limits if isinstance(limit, SpecLimit)]
    if test.reading is not None:
        needed += [given for given in test.reading.given.values() if isinstance(given, str)]
        if test.reading.per_cylinder:
            needed.append("cylinders")
    whole: list[str] = []
    for name in needed:
        known = car.specs.get(name)
        whole += [name, *(known.out_of if known is not None else ())]
    return tuple(dict.fromkeys(whole))


def specs_used(test: Test, car: Car) -> tuple[SpecUsed, ...]:
    """The spec values that a test's result stands on for this car, as far as they are known."""
    return tuple(
        SpecUsed(spec, known.value, known.unit, known.origin, known.source)
        for spec in specs_of(test, car)
        if (known := car.specs.get(spec)) is not None
    )


def groups(state: State) -> tuple[Group, ...]:
    """The standing readings, test by test and stage by stage, in the order of each one's first."""
    found: dict[tuple[str, int], list[Fact[ReadingTaken]]] = {}
    for fact in state.readings:
        found.setdefault((fact.event.test, fact.stage), []).append(fact)
    return tuple(Group(test, stage, tuple(facts)) for (test, stage), facts in found.items())


def weigh_entry(
    state: State, knowledge: Knowledge, test: str, entry: Entry, showing: Showing = "unknown"
) -> tuple[Weighed, tuple[int, ...]]:
    """What an entry at a test comes to now, with the readings it repeats, and their numbers.

    The readings of the same test in the same stage count together with it. Raises ReadingError for
    figures that make no sense, SpecUnknown for a limit that cannot be had, KeyError for the test.
    """
    spec = knowledge.tests[test]
    car = car_of(state, knowledge)
    try:
        alone = weigh(spec, [entry], car, knowledge)
        earlier = state.readings_of(test, state.stage)
        if not earlier:
            return alone, ()
        corrected = replace(entry, values=alone.true_values) if alone.true_values else entry
        taken = [(fact.event.showing, _corrected(fact.event)) for fact in earlier]
        kept = _telling(spec, [*taken, (showing, corrected)])
        together = weigh(spec, [each for _, each in kept], _uncorrected(car, knowledge), knowledge)
    except ValueError as trouble:
        # A sum outside what it is good for, or an instrument of another kind: all are typed wrong.
        raise ReadingError(str(trouble)) from trouble
    return replace(together, true_values=alone.true_values), tuple(f.sequence for f in earlier)


def evidence(state: State, knowledge: Knowledge) -> Evidence:
    """All that the session has found, as the scorer counts it.

    A reading counts as it was weighed when it was taken, unless what it stands on has changed
    since: a spec value given later, or a repeat withdrawn. Then it is weighed again from its
    corrected figures. Readings of tests that do not fit the car as it is now known are left out.
    """
    car = car_of(state, knowledge)
    found: list[tuple[int, Finding]] = []
    for group in groups(state):
        test = knowledge.tests.get(group.test)
        if test is None or not fits(test.fits, car):
            continue
        bands = weighed_bands(group, car, knowledge)
        if bands:
            showing = _showing(test, group)
            found.append(
                (group.readings[0].sequence, Finding(group.test, bands, group.stage, showing))
            )
    trees = {tree for tree in state.trees if tree in knowledge.trees}
    repaired = _repaired(state)
    for (tree, stage), (sequence, what) in _complaint_findings(state).items():
        if tree in trees:
            gone = 0.0
            if what == GONE:
                cured = _may_be_cured(state, tree, stage, repaired, car, knowledge)
                gone = 1.0 if cured else SURE_OF_GONE
            bands = {PRESENT: 1.0 - gone, GONE: gone}
            found.append((sequence, Finding(tree, bands, stage)))
    found.sort(key=lambda pair: pair[0])
    return Evidence(tuple(finding for _, finding in found), repaired)


def weighed_bands(group: Group, car: Car, knowledge: Knowledge) -> Mapping[str, float]:
    """The chances of the bands of a group of readings, weighed again only where need be."""
    test = knowledge.tests[group.test]
    event = group.last.event
    together = (*event.repeat_of, group.last.sequence)
    same_readings = together == tuple(fact.sequence for fact in group.readings)
    stood_on = {used.spec: used.value for used in event.specs_used}
    stands_on = {used.spec: used.value for used in specs_used(test, car)}
    if event.bands and same_readings and stood_on == stands_on:
        return event.bands
    kept = _telling(test, [(fact.event.showing, _corrected(fact.event)) for fact in group.readings])
    try:
        entries = [entry for _, entry in kept]
        return weigh(test, entries, _uncorrected(car, knowledge), knowledge).bands
    except (ValueError, KeyError, SpecUnknown):
        # What it stood on is gone, or the test asks for other figures now; what was concluded at
        # the time is the best there is.
        return event.bands


def bands_now(state: State, knowledge: Knowledge) -> dict[str, str]:
    """The band of every test as far as it says something of the car as it is now.

    After a repair, a reading in its expected band still stands; one out of it has to be taken
    again, and is left out here until it is.
    """
    car = car_of(state, knowledge)
    now: dict[str, str] = {}
    for group in groups(state):
        test = knowledge.tests.get(group.test)
        if test is None:
            continue
        bands = weighed_bands(group, car, knowledge)
        band = max(bands, key=lambda name: bands[name], default="")
        if group.stage == state.stage or band == test.expect:
            now[group.test] = band
        else:
            now.pop(group.test, None)
    return now


def route_step(state: State, knowledge: Knowledge, tree: str) -> RouteStep:
    """The next step of a tree's authored route, after what was read and what cannot be done."""
    car = car_of(state, knowledge)
    return next_on_route(
        knowledge, tree, bands_now(state, knowledge), car, frozenset(state.cannot_do)
    )


def cautions_of(knowledge: Knowledge, carrier: Carrier, id: str) -> tuple[Caution, ...]:
    """The cautions that a test, the repair of a cause, or a tree carries; none if it is unknown."""
    shelf: Mapping[str, object] = {
        "test": knowledge.tests,
        "cause": knowledge.causes,
        "tree": knowledge.trees,
    }[carrier]
    bearer = shelf.get(id)
    names: tuple[str, ...] = getattr(bearer, "cautions", ())
    return tuple(knowledge.cautions[name] for name in names if name in knowledge.cautions)


def open_cautions(
    state: State, knowledge: Knowledge, carrier: Carrier, id: str
) -> tuple[Caution, ...]:
    """The cautions to be answered before this test or repair; not those that are only told."""
    answered = {
        fact.event.caution
        for fact in state.acknowledged
        if fact.event.carrier == carrier and fact.event.id == id
    }
    return tuple(
        caution
        for caution in cautions_of(knowledge, carrier, id)
        if caution.kind != "tell" and caution.id not in answered
    )


def unanswered(state: State, knowledge: Knowledge) -> tuple[OpenCaution, ...]:
    """The cautions of the session's complaints, tests done and repairs that nobody answered."""
    carriers: list[tuple[Carrier, str]] = [("tree", tree) for tree in state.trees]
    carriers += [("test", fact.event.test) for fact in state.readings]
    carriers += [("cause", fact.event.cause) for fact in state.repairs]
    return tuple(
        OpenCaution(caution, carrier, id)
        for carrier, id in dict.fromkeys(carriers)
        for caution in open_cautions(state, knowledge, carrier, id)
    )


def _corrected(event: ReadingTaken) -> Entry:
    """A recorded reading as an entry of true values."""
    return Entry(event.true_values or event.values, event.choice, event.instruments)


def _uncorrected(car: Car, knowledge: Knowledge) -> Car:
    """The same car with instruments that show the truth, for values corrected already."""
    return replace(car, corrections=dict.fromkeys(knowledge.instruments, ()))


def _telling(test: Test, entries: list[tuple[Showing, Entry]]) -> list[tuple[Showing, Entry]]:
    """The entries that count: where a fault must show itself, those taken while it did, if any."""
    if test.shows_only is None:
        return entries
    return [pair for pair in entries if pair[0] == "yes"] or entries


def _showing(test: Test, group: Group) -> bool | None:
    """Whether the complaint was showing at a group of readings; None when it is not known."""
    said = {fact.event.showing for fact in group.readings}
    if "yes" in said:
        return True
    return False if said == {"no"} else None


def _repaired(state: State) -> dict[str, int]:
    """The stage from which each repaired cause is gone; of one repaired twice the later.

    The scorer knows what is not listed by one name for one complaint, and by one for each of
    several; a complaint that was added later must not make an earlier repair unknown.
    """
    repaired: dict[str, int] = {}
    trees = state.trees
    for stage, fact in enumerate(state.repairs, 1):
        for cause in _ids(fact.event.cause, trees):
            repaired[cause] = stage
    return repaired


def _ids(cause: str, trees: tuple[str, ...]) -> tuple[str, ...]:
    """The ids by which the scorer knows a cause among these complaints."""
    if cause != NOT_LISTED and not cause.startswith(f"{NOT_LISTED}:"):
        return (cause,)
    if len(trees) == 1:
        return (NOT_LISTED,)
    return tuple(f"{NOT_LISTED}:{tree}" for tree in trees) if cause == NOT_LISTED else (cause,)


def _may_be_cured(
    state: State,
    tree: str,
    stage: int,
    repaired: Mapping[str, int],
    car: Car,
    knowledge: Knowledge,
) -> bool:
    """Whether a complaint that was not found in a stage can have been cured by a repair.

    That is so when it did not come back later, and when since it was last there a cause was
    repaired that can bring it on.
    """
    there = [at for (which, at), what in state.found().items() if which == tree and what == PRESENT]
    if any(at > stage for at in there):
        return False
    since = max((at for at in there if at < stage), default=0)
    brings_on = knowledge.trees[tree].brings_on
    for cause, gone_from in repaired.items():
        if not since < gone_from <= stage:
            continue
        if cause in (NOT_LISTED, f"{NOT_LISTED}:{tree}"):
            return True
        if brings_on.get(cause, 0.0) > 0.0 and fits(knowledge.causes[cause].fits, car):
            return True
    return False


def _complaint_findings(state: State) -> dict[tuple[str, int], tuple[int, str]]:
    """What was found of every complaint in every stage, and the number of the first look."""
    first: dict[tuple[str, int], int] = {}
    looks = [(fact.sequence, fact.event.tree, fact.stage) for fact in state.complaints]
    looks += [(fact.sequence, fact.event.tree, fact.stage) for fact in state.checks]
    for sequence, tree, stage in sorted(looks):
        first.setdefault((tree, stage), sequence)
    return {key: (first[key], what) for key, what in state.found().items()}
