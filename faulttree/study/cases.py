"""Which sessions teach something, and what each says: from a folder of logs to plain cases.

Counted are sessions closed as cured with listed causes confirmed; of their readings, those taken
before the first repair while the complaint was not known to be quiet. A session that speaks
against itself, or against the trees, teaches nothing: it is named with the reason, for the shop
lead to look at. That the trees have been written anew since a session was opened is no
contradiction: readings count as the session weighed them, and those of tests the shelf no longer
knows are left out.

Minutes are taken from the times in the log. A reading took the time since the last entry that
ended other work: cautions, notes and a word about the route belong to what comes after them. Four
kinds of gap say nothing:

- A repeat of the same reading: all was set up already.
- More than `STOOD` minutes, or less than none: the car stood over night, or the clock was set.
- Less than `AT_ONCE` minutes, or than `TOO_QUICK` of what the author gives: the reading was
  entered late, in one go with the one before. That one has the time of both, so neither counts.
- A gap far out above the others of the same test (Tukey 1977: three times the quartile range above
  the upper quartile): a lunch break, or a telephone call. These `learn.timed` sets aside.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

from faulttree.scorer.evidence import Finding
from faulttree.session.events import (
    CannotDo,
    ComplaintChecked,
    ComplaintTaken,
    InstrumentChecked,
    Opened,
    ReadingTaken,
    Repaired,
    SpecGiven,
    VehicleDescribed,
)
from faulttree.session.journal import SUFFIX, JournalError, Record, logs_in, read
from faulttree.session.standing import car_of, evidence, groups, weighed_bands
from faulttree.session.state import State
from faulttree.tree.car import Car, fits
from faulttree.tree.model import Knowledge

STOOD = 240.0
AT_ONCE = 1.0 / 3.0
TOO_QUICK = 0.1
STILL_OUT = 0.95
"""A proof reading speaks against a cure when it is this surely out of its expected band."""

ENDS_WORK = (
    Opened,
    ComplaintTaken,
    VehicleDescribed,
    SpecGiven,
    ReadingTaken,
    CannotDo,
    Repaired,
    ComplaintChecked,
    InstrumentChecked,
)


@dataclass(frozen=True, slots=True)
class Case:
    """One closed session: its complaints, the causes at work, and what was read before repair.

    `fitting` holds the listed causes that the car can have. `readings` gives, for each test, the
    chance of each band as the session weighed it.
    """

    complaints: frozenset[str]
    causes: frozenset[str]
    fitting: frozenset[str]
    readings: Mapping[str, Mapping[str, float]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Contradiction:
    """A session that speaks against itself or the trees, and how."""

    session: str
    why: str


@dataclass(frozen=True, slots=True)
class Gathered:
    """What a folder of logs says: what can be learnt from, and what was left out and why.

    `gaps` gives for every test the minutes between entries that its readings took.
    """

    cases: tuple[Case, ...] = ()
    skipped: Mapping[str, int] = field(default_factory=dict)
    contradictions: tuple[Contradiction, ...] = ()
    gaps: Mapping[str, Sequence[float]] = field(default_factory=dict)


def gather(knowledge: Knowledge, folder: Path) -> Gathered:
    """Read every log of a folder against a shelf; a folder that is not there holds none.

    Raises JournalError when the folder cannot be listed.
    """
    cases: list[Case] = []
    contradictions: list[Contradiction] = []
    skipped: Counter[str] = Counter()
    gaps: defaultdict[str, list[float]] = defaultdict(list)
    seen: set[str] = set()
    for path in logs_in(folder):
        try:
            record = read(path)
        except JournalError:
            skipped["could not be read"] += 1
            continue
        first = record.envelopes[0].chain
        if first in seen:
            skipped["a copy of another log"] += 1
            continue
        seen.add(first)
        if record.damage is not None and not record.damage.tail:
            skipped["damaged"] += 1
            continue
        for test, minutes in gaps_of(record, knowledge):
            gaps[test].append(minutes)
        found = _case(record.state, knowledge)
        if isinstance(found, Case):
            cases.append(found)
        elif isinstance(found, str):
            skipped[found] += 1
        else:
            contradictions.append(Contradiction(path.name.removesuffix(SUFFIX), found[0]))
    return Gathered(tuple(cases), dict(skipped), tuple(contradictions), dict(gaps))


def _case(state: State, knowledge: Knowledge) -> Case | str | tuple[str]:
    """The case of a session; why it was left out; or, in a tuple, how it contradicts itself."""
    if state.closed is None:
        return "still open"
    closing = state.closed.event
    if closing.outcome != "cured":
        return "not cured"
    causes = frozenset(closing.causes) & set(knowledge.causes)
    if not causes:
        return "no listed cause confirmed"
    if len(causes) < len(set(closing.causes)):
        return "a cause that is not listed was confirmed too"
    complaints = frozenset(fact.event.tree for fact in state.complaints)
    if not complaints:
        return "no complaint taken down"
    if not complaints <= set(knowledge.trees):
        return "a complaint that is not on this shelf"
    car = car_of(state, knowledge)
    why = contradiction(state, knowledge, car)
    if why:
        return (why,)
    fitting = frozenset(c.id for c in knowledge.causes.values() if fits(c.fits, car))
    readings = _before_repair(knowledge, evidence(state, knowledge).findings)
    return Case(complaints, causes, fitting, readings)


def contradiction(state: State, knowledge: Knowledge, car: Car) -> str:
    """How a session that was closed as cured speaks against that, or against the trees; or ""."""
    assert state.closed is not None
    confirmed = [c for c in dict.fromkeys(state.closed.event.causes) if c in knowledge.causes]
    complaints = list(dict.fromkeys(fact.event.tree for fact in state.complaints))
    repaired = {fact.event.cause: stage for stage, fact in enumerate(state.repairs, 1)}
    for cause in confirmed:
        if not fits(knowledge.causes[cause].fits, car):
            return f"`{cause}` was confirmed, but this car cannot have it"
    if not repaired:
        return "closed as cured, but nothing was repaired"
    for cause in confirmed:
        if cause not in repaired:
            return f"`{cause}` was confirmed, but not repaired; yet the car is cured"
    looks = state.found()
    for tree in complaints:
        last = max(stage for which, stage in looks if which == tree)
        if last == 0:
            return f"closed as cured, but `{tree}` was not looked for after a repair"
        if looks[tree, last] == "present":
            return f"closed as cured, but `{tree}` was there when it was last looked for"
    out = _proof_still_out(state, knowledge, car, confirmed, complaints, repaired)
    if out:
        return out
    return _not_by_the_trees(knowledge, confirmed, complaints)


def _proof_still_out(
    state: State,
    knowledge: Knowledge,
    car: Car,
    confirmed: Sequence[str],
    complaints: Iterable[str],
    repaired: Mapping[str, int],
) -> str:
    """The proof reading that was still out of its expected band after the repair, if any."""
    proofs = {
        test: repaired[cause] for cause in confirmed for test in knowledge.causes[cause].prove_with
    }
    # A road test proves the whole: after the last repair.
    for tree in complaints:
        proofs |= dict.fromkeys(knowledge.trees[tree].road_test, state.stage)
    last = {group.test: group for group in groups(state)}
    for test, since in proofs.items():
        group = last.get(test)
        if group is None or group.stage < since or test not in knowledge.tests:
            continue
        bands = weighed_bands(group, car, knowledge)
        if bands and 1.0 - bands.get(knowledge.tests[test].expect, 0.0) >= STILL_OUT:
            band = max(bands, key=lambda name: bands[name])
            return f"closed as cured, but the proof reading `{test}` was still {band}"
    return ""


def _not_by_the_trees(
    knowledge: Knowledge, confirmed: Sequence[str], complaints: Sequence[str]
) -> str:
    """The cause or complaint that by the trees has nothing to do with the rest, if any."""
    for cause in confirmed:
        if not any(knowledge.trees[t].brings_on.get(cause, 0.0) > 0.0 for t in complaints):
            return (
                f"`{cause}` was confirmed, but by the trees it cannot bring on "
                f"{' or '.join(f'`{tree}`' for tree in complaints)}; if it can, say so in brings_on"
            )
    for tree in complaints:
        if not any(knowledge.trees[tree].brings_on.get(c, 0.0) > 0.0 for c in confirmed):
            return (
                f"`{tree}` was cured, but by the trees no confirmed cause can bring it on; if one "
                "can, say so in brings_on"
            )
    return ""


def _before_repair(
    knowledge: Knowledge, found: Iterable[Finding]
) -> dict[str, Mapping[str, float]]:
    """The readings before the first repair, taken while the complaint was not known to be quiet.

    One whose bands are called otherwise by now says nothing of the bands of today.
    """
    return {
        finding.source: finding.bands
        for finding in found
        if finding.source in knowledge.tests
        and finding.stage == 0
        and finding.showing is not False
        and set(finding.bands) <= set(knowledge.tests[finding.source].bands)
    }


# --- minutes -----------------------------------------------------------------------------------


def gaps_of(record: Record, knowledge: Knowledge) -> list[tuple[str, float]]:
    """The tests of a log with the minutes that their readings took, where the times can say."""
    state = record.state
    standing = [
        envelope
        for envelope in state.history
        if envelope.sequence not in state.withdrawn and isinstance(envelope.event, ENDS_WORK)
    ]
    found: list[tuple[str, float]] = []
    together = False
    # Backwards: a reading entered at once after another spoils that one too.
    for before, envelope in reversed(list(pairwise(standing))):
        event = envelope.event
        if not isinstance(event, ReadingTaken) or event.test not in knowledge.tests:
            together = False
            continue
        minutes = (envelope.at - before.at).total_seconds() / 60.0
        authored = knowledge.tests[event.test].minutes
        at_once = 0.0 <= minutes < max(AT_ONCE, TOO_QUICK * authored)
        usable = 0.0 <= minutes <= STOOD and not event.repeat_of
        if usable and not at_once and not together:
            found.append((event.test, minutes))
        together = at_once
    return found[::-1]
