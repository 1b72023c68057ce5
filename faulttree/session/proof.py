"""Whether a repair did it: what to read again, before beside after, and what is left to do.

Pure functions of a state and its knowledge. A repair is proved by the same readings and the same
road test as before it, and by the complaint being gone.
"""

import math
from dataclasses import dataclass
from typing import Literal

from faulttree.scorer.evidence import GONE, PRESENT
from faulttree.session.standing import Group, car_of, groups, unanswered, weighed_bands
from faulttree.session.state import State
from faulttree.session.words import name_of
from faulttree.tree.car import Car, SpecUnknown, fits, limits_for
from faulttree.tree.model import Knowledge, Test

Verdict = Literal["better", "same", "worse", "changed", "not repeated", "not read before"]
"""How a reading came out beside the one before. `changed`: still out of limits, but otherwise."""

TELLING = 2.0
"""Two figures differ when they are this many standard uncertainties apart (about 95 %)."""


@dataclass(frozen=True, slots=True)
class Due:
    """A test or complaint to be gone through again after a repair.

    `why` says what asks for it; `cannot` why it cannot be done, if somebody said so.
    """

    kind: Literal["test", "complaint"]
    id: str
    name: str
    why: str
    done: bool
    cannot: str = ""


@dataclass(frozen=True, slots=True)
class Side:
    """One side of a comparison: the band, how sure, the readings it rests on, and the stage."""

    band: str
    sure: float
    stage: int
    group: Group | None = None


@dataclass(frozen=True, slots=True)
class ProofRow:
    """A test or complaint, before beside after.

    `between` is the last that was found after an earlier repair, where a later repair asks for
    another look that nobody has taken: it is then no proof, and `after` is None.
    """

    kind: Literal["test", "complaint"]
    id: str
    name: str
    before: Side | None
    after: Side | None
    verdict: Verdict
    between: Side | None = None


def to_repeat(state: State, knowledge: Knowledge) -> tuple[Due, ...]:
    """What is to be gone through again after the repairs, done or not; () before the first repair.

    For every repair the tests that prove it, if they had been read before it; after the last one
    the road tests of every complaint, and the complaint itself.
    """
    if not state.repairs:
        return ()
    car = car_of(state, knowledge)
    due: dict[str, Due] = {}

    def add_test(test: str, why: str, since: int) -> None:
        found = knowledge.tests.get(test)
        if found is None or not fits(found.fits, car):
            return
        done = any(fact.stage >= since for fact in state.readings_of(test))
        cannot = state.cannot_do.get(test)
        if test not in due or not done:
            said = cannot.event.reason if cannot else ""
            due[test] = Due("test", test, found.name, why, done, said)

    for stage, repair in enumerate(state.repairs, 1):
        cause = knowledge.causes.get(repair.event.cause)
        for test in cause.prove_with if cause else ():
            if any(fact.stage < stage for fact in state.readings_of(test)):
                add_test(
                    test, f"proves the repair: {name_of(repair.event.cause, knowledge)}", stage
                )
    complaints = dict.fromkeys(fact.event.tree for fact in state.complaints)
    for tree in complaints:
        if tree in knowledge.trees:
            for test in knowledge.trees[tree].road_test:
                add_test(test, f"road test: {name_of(tree, knowledge)}", state.stage)
    looked_for = {check.event.tree for check in state.checks if check.stage == state.stage}
    rows = list(due.values())
    for tree in complaints:
        name = name_of(tree, knowledge)
        rows.append(Due("complaint", tree, name, "the complaint itself", tree in looked_for))
    return tuple(rows)


def before_beside_after(state: State, knowledge: Knowledge) -> tuple[ProofRow, ...]:
    """Every test that was read again after a repair, or should have been, and every complaint.

    Before is the first reading of the session, after the last one of a later stage, if it was
    taken after every repair that it is to prove. Where no repair asks for it, a reading out of
    limits says nothing of the repairs that came later. A test that was in limits and that nothing
    asks for again has no row. () before the first repair.
    """
    if not state.repairs:
        return ()
    car = car_of(state, knowledge)
    found: dict[str, list[Group]] = {}
    for group in groups(state):
        found.setdefault(group.test, []).append(group)
    asked = {due.id: due for due in to_repeat(state, knowledge)}
    rows = []
    for test_id in dict.fromkeys((*found, *(due.id for due in asked.values()))):
        test = knowledge.tests.get(test_id)
        if test is None:
            continue
        due = asked.get(test_id)
        row = _test_row(test, found.get(test_id, []), state.stage, due, car, knowledge)
        settled = row.before is not None and row.before.band == test.expect
        if row.after is not None or test_id in asked or not settled:
            rows.append(row)
    for tree in dict.fromkeys(fact.event.tree for fact in state.complaints):
        rows.append(_complaint_row(state, tree, knowledge))
    return tuple(rows)


def remaining(state: State, knowledge: Knowledge) -> tuple[str, ...]:
    """What is left to do, one sentence each: complaints, proof, setting up, tests, cautions."""
    left = []
    for tree in dict.fromkeys(fact.event.tree for fact in state.complaints):
        if state.status(tree) == PRESENT:
            still = "is still there" if state.repairs else "has not been cured"
            left.append(f"The complaint {still}: {name_of(tree, knowledge)}.")
    for due in to_repeat(state, knowledge):
        if due.done:
            continue
        if due.cannot:
            left.append(f"Not proved by {due.name}: cannot be done ({due.cannot}).")
        else:
            left.append(f"To be repeated after the repair: {due.name} ({due.why}).")
    causes = dict.fromkeys(fact.event.cause for fact in state.repairs)
    for cause in causes:
        if cause in knowledge.causes and knowledge.causes[cause].set_up:
            # With several repairs the words alone do not say which one asks for it.
            which = f", {name_of(cause, knowledge)}" if len(causes) > 1 else ""
            left.append(f"Set up after the repair{which}: {knowledge.causes[cause].set_up}")
    repeated = {due.id for due in to_repeat(state, knowledge)}
    for test, cannot in state.cannot_do.items():
        if test not in repeated:
            left.append(f"Not done: {name_of(test, knowledge)} ({cannot.event.reason}).")
    for open_one in unanswered(state, knowledge):
        bearer = name_of(open_one.id, knowledge)
        left.append(f"Caution not acknowledged, {bearer}: {open_one.caution.danger}")
    if state.closed and state.closed.event.remaining.strip():
        left.append(state.closed.event.remaining)
    return tuple(left)


def taken_when(side: Side, repairs: int, *, before: bool = False) -> str:
    """Between which repairs one side of a row was found, where its column does not say that.

    "" for what stands before and was found before the first repair, and for what stands after and
    was found after the last one. A complaint can come up after all repairs and stand before.
    """
    if before and side.stage == repairs:
        return "after the last repair"
    if not 0 < side.stage < repairs:
        return ""
    return f"between repairs {side.stage} and {side.stage + 1}"


def _test_row(
    test: Test, found: list[Group], stage: int, due: Due | None, car: Car, knowledge: Knowledge
) -> ProofRow:
    groups_of = list(found)
    before = None
    if groups_of and groups_of[0].stage < stage:
        before = _side(groups_of.pop(0), car, knowledge)
    last = _side(groups_of[-1], car, knowledge) if groups_of else None
    proves = last is not None and (
        due.done if due else last.stage == stage or last.band == test.expect
    )
    after, between = (last, None) if proves else (None, last)
    verdict: Verdict
    if after is None:
        verdict = "not repeated"
    elif before is None:
        verdict = "not read before"
    else:
        verdict = _compare(test, before, after, car, knowledge)
    return ProofRow("test", test.id, test.name, before, after, verdict, between)


def _side(group: Group, car: Car, knowledge: Knowledge) -> Side:
    bands = weighed_bands(group, car, knowledge)
    band = max(bands, key=lambda name: bands[name], default="")
    return Side(band, bands.get(band, 0.0), group.stage, group)


def _compare(test: Test, before: Side, after: Side, car: Car, knowledge: Knowledge) -> Verdict:
    good_before, good_after = before.band == test.expect, after.band == test.expect
    if good_before or good_after:
        if good_before and good_after:
            return "same"
        return "better" if good_after else "worse"
    if test.kind == "number" and before.group and after.group:
        return _compare_figures(test, before.group, after.group, car, knowledge)
    return "same" if before.band == after.band else "changed"


def _compare_figures(
    test: Test, before: Group, after: Group, car: Car, knowledge: Knowledge
) -> Verdict:
    """Two figures out of limits: which is further out, if that can be told at all."""
    try:
        limits = limits_for(test, car, knowledge)
    except SpecUnknown:
        limits = after.last.event.limits
    at = test.bands.index(test.expect)
    low = limits[at - 1] if at > 0 else -math.inf
    high = limits[at] if at < len(limits) else math.inf
    out = []
    for event in (before.last.event, after.last.event):
        if event.figure is None:
            return "changed"
        out.append(max(low - event.figure, event.figure - high, 0.0))
    u = math.hypot(before.last.event.u or 0.0, after.last.event.u or 0.0)
    if abs(out[0] - out[1]) <= TELLING * u:
        return "same"
    return "better" if out[1] < out[0] else "worse"


def _complaint_row(state: State, tree: str, knowledge: Knowledge) -> ProofRow:
    looks = {stage: what for (which, stage), what in state.found().items() if which == tree}
    first, last = min(looks), max(looks)
    before = Side(looks[first], 1.0, first)
    # A look after an earlier repair says nothing of the last one.
    later = Side(looks[last], 1.0, last) if first < last else None
    after, between = (later, None) if last == state.stage else (None, later)
    verdict: Verdict = "not repeated"
    if after is not None:
        verdict = "better" if after.band == GONE else "same"
    return ProofRow("complaint", tree, name_of(tree, knowledge), before, after, verdict, between)
