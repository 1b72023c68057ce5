"""A past session as an exercise: what could have been done at each step, and what it was worth.

Only sums and values: a step is a recorded reading or repair, a `Scene` what somebody who knew no
more than was known then could choose from, and `Result` what a trainee made of it. The page is
`screen.exercise`; `keep` is the one function that writes, one line a finished exercise.
"""

import contextlib
import errno
import json
import math
import os
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

from faulttree.scorer.advice import Suggestion, advise
from faulttree.session.chances import reckon
from faulttree.session.events import ReadingTaken, Repaired
from faulttree.session.journal import EXERCISES
from faulttree.session.standing import car_of
from faulttree.session.state import State, standing_until
from faulttree.session.words import name_of
from faulttree.tree.car import fits
from faulttree.tree.model import Knowledge

ASKED = 5
"""For how many causes a trainee states a chance; one more figure is for any other cause."""
OTHER = "another cause"


@dataclass(frozen=True, slots=True)
class Step:
    """A reading or a repair that stands in the session: its entry, and what was done."""

    entry: int
    kind: Literal["test", "repair"]
    id: str
    event: ReadingTaken | Repaired


@dataclass(frozen=True, slots=True)
class Choice:
    """One thing that could be done at a step.

    `expected_cost` is the money until the complaint is gone if this is done now; None for what the
    advice does not weigh, because it says nothing new there, or nothing yet.
    """

    kind: Literal["test", "repair"]
    id: str
    name: str
    minutes: float
    expected_cost: float | None = None
    gain_bits: float = 0.0
    settles: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Scene:
    """What could be chosen at a step, by name so that the order gives nothing away.

    `advice` is what the advice would have done and `recorded` what was done. `chances` are those
    of the causes before the step. `trouble` says why nothing could be weighed.
    """

    step: Step
    choices: tuple[Choice, ...]
    recorded: Choice
    advice: Choice | None
    chances: Mapping[str, float]
    trouble: str = ""


@dataclass(frozen=True, slots=True)
class Picked:
    """What a trainee picked at a scene; None when it was shown without choosing."""

    scene: Scene
    pick: Choice | None


@dataclass(frozen=True, slots=True)
class Forecast:
    """The chances that were stated, those of the program at that moment, and what came true."""

    stated: Mapping[str, float]
    reckoned: Mapping[str, float]
    true: Mapping[str, bool]

    @property
    def brier(self) -> float:
        """The trainee's score; 0 is perfect."""
        return brier([self.true[key] for key in self.stated], list(self.stated.values()))

    @property
    def brier_reckoned(self) -> float:
        """The score of the program's own chances for the same causes."""
        return brier([self.true[key] for key in self.stated], [self.reckoned[k] for k in self.true])


# --- sums --------------------------------------------------------------------------------------


def brier(outcomes: Sequence[bool | int], forecasts: Sequence[float]) -> float:
    """The Brier score: the mean of the squared differences between forecasts and outcomes.

    0 is perfect, 1 is always wrong; half for everything gives 0.25. Proper: nobody does better on
    average than by stating the chances he believes in (Brier 1950, Monthly Weather Review 78).
    """
    if not outcomes or len(outcomes) != len(forecasts):
        raise ValueError("a Brier score takes one forecast for every outcome, and at least one")
    if not all(0.0 <= forecast <= 1.0 for forecast in forecasts):
        raise ValueError("a forecast is a chance between 0 and 1")
    pairs = zip(forecasts, outcomes, strict=True)
    return math.fsum((forecast - outcome) ** 2 for forecast, outcome in pairs) / len(outcomes)


def over_advice(choice: Choice | None, scene: Scene) -> float | None:
    """How much more a choice costs than the advice, or None where one of them is not weighed."""
    if choice is None or scene.advice is None:
        return None
    if choice.expected_cost is None or scene.advice.expected_cost is None:
        return None
    return choice.expected_cost - scene.advice.expected_cost


def total_over_advice(picked: Sequence[Picked], *, recorded: bool = False) -> tuple[float, int]:
    """How much more all picks cost than the advice, step by step, and how many could be weighed.

    With `recorded` it is what was done in the session that is counted, at the same steps.
    """
    costs = [
        cost
        for one in picked
        if over_advice(one.pick, one.scene) is not None
        and (cost := over_advice(one.scene.recorded if recorded else one.pick, one.scene))
        is not None
    ]
    return math.fsum(costs), len(costs)


def parse_chances(text: str, count: int) -> tuple[float, ...]:
    """Chances from figures in per cent, parted by spaces; raises ValueError with what to write."""
    words = [word.strip(",%") for word in re.split(r"[\s;]+", text.replace("%", " "))]
    words = [word for word in words if word]
    if len(words) != count:
        raise ValueError(f"{count} figures are wanted, parted by spaces, not {len(words)}.")
    chances = []
    for word in words:
        if not re.fullmatch(r"[0-9]{1,3}(?:[.,][0-9]{1,4})?", word):
            raise ValueError(f"{word!r} is no figure in per cent; write one such as 70.")
        chance = float(word.replace(",", ".")) / 100.0
        if chance > 1.0:
            raise ValueError(f"{word} is more than 100 per cent.")
        chances.append(chance)
    return tuple(chances)


# --- the session as steps ----------------------------------------------------------------------


def steps_of(state: State) -> tuple[Step, ...]:
    """The standing readings and repairs of a session, in order; what was taken back is no step."""
    found = [Step(fact.sequence, "test", fact.event.test, fact.event) for fact in state.readings]
    found += [Step(fact.sequence, "repair", fact.event.cause, fact.event) for fact in state.repairs]
    return tuple(sorted(found, key=lambda step: step.entry))


def before(state: State, step: Step) -> State:
    """What was known just before a step, without what was taken back later."""
    return standing_until(state, step.entry - 1)


def confirmed(state: State) -> tuple[str, ...]:
    """The causes that a session found: those it was closed with as cured, else those repaired."""
    if state.closed is not None and state.closed.event.outcome == "cured":
        return state.closed.event.causes
    return tuple(dict.fromkeys(fact.event.cause for fact in state.repairs))


def scene(state: State, knowledge: Knowledge, step: Step) -> Scene:
    """What could be chosen before a step of the session, and what each choice was worth."""
    known = before(state, step)
    reckoning = reckon(known, knowledge)
    recorded = Choice(
        step.kind, step.id, name_of(step.id, knowledge), _minutes(knowledge, step.kind, step.id)
    )
    if reckoning.posterior is None:
        # Nothing can be weighed, but what was done must not be the only thing to choose.
        choices = {(one.kind, one.id): one for one in _unweighed(knowledge, known)}
        choices[step.kind, step.id] = recorded
        return Scene(step, _by_name(choices.values()), recorded, None, {}, reckoning.trouble)
    suggestions = advise(
        reckoning.network,
        reckoning.evidence,
        barred=[test for test in known.cannot_do if test != step.id],
        # What was taken again is weighed as one more reading; nothing else is offered twice.
        repeatable=[step.id] if step.kind == "test" else (),
        posterior=reckoning.posterior,
    )
    choices = {(one.kind, one.id): _choice(one) for one in suggestions}
    recorded = choices.setdefault((step.kind, step.id), recorded)
    advice = _choice(suggestions[0]) if suggestions else None
    return Scene(step, _by_name(choices.values()), recorded, advice, reckoning.now)


def asked(chances: Mapping[str, float]) -> tuple[str, ...]:
    """The likeliest causes, for which a chance is to be stated; the order gives nothing away."""
    likeliest = sorted(chances, key=lambda cause: (-chances[cause], cause))[:ASKED]
    return tuple(sorted(likeliest))


def forecast(
    causes: Sequence[str], stated: Sequence[float], chances: Mapping[str, float], state: State
) -> Forecast:
    """Stated chances beside what the session found; the last figure is for any other cause."""
    found = confirmed(state)
    # The chance of any other cause, as if the others were independent of one another.
    others = math.prod(1.0 - p for cause, p in chances.items() if cause not in causes)
    reckoned = {cause: chances[cause] for cause in causes} | {OTHER: 1.0 - others}
    true = {cause: cause in found for cause in causes}
    true[OTHER] = any(cause not in causes for cause in found)
    return Forecast(dict(zip((*causes, OTHER), stated, strict=True)), reckoned, true)


def _by_name(choices: Iterable[Choice]) -> tuple[Choice, ...]:
    ordered = sorted(choices, key=lambda one: (one.kind != "test", one.name.casefold(), one.id))
    return tuple(ordered)


def _unweighed(knowledge: Knowledge, known: State) -> list[Choice]:
    """Every test and repair that applies to the car."""
    car = car_of(known, knowledge)
    choices = [
        Choice("test", test.id, test.name, test.minutes)
        for test in knowledge.tests.values()
        if fits(test.fits, car)
    ]
    choices += [
        Choice("repair", cause.id, cause.name, cause.repair.minutes)
        for cause in knowledge.causes.values()
        if fits(cause.fits, car)
    ]
    return choices


def _choice(one: Suggestion) -> Choice:
    return Choice(
        one.kind, one.id, one.name, one.minutes, one.expected_cost, one.gain_bits, one.settles
    )


def _minutes(knowledge: Knowledge, kind: str, id: str) -> float:
    if kind == "test":
        return knowledge.tests[id].minutes if id in knowledge.tests else 0.0
    return knowledge.causes[id].repair.minutes if id in knowledge.causes else 0.0


# --- the file ----------------------------------------------------------------------------------


def as_line(
    session: str,
    who: str,
    picked: Sequence[Picked],
    stated: Forecast | None,
    at: datetime | None = None,
) -> dict[str, object]:
    """A finished exercise as plain data: who, which session, every pick, and the scores."""
    extra, weighed = total_over_advice(picked)
    return {
        "format": 1,
        "at": f"{at or datetime.now(UTC):%Y-%m-%dT%H:%M:%SZ}",
        "who": who,
        "session": session,
        "picks": [
            {
                "entry": one.scene.step.entry,
                "picked": _plain(one.pick),
                "recorded": _plain(one.scene.recorded),
                "advice": _plain(one.scene.advice),
            }
            for one in picked
        ],
        "weighed": weighed,
        "over_advice": extra,
        "recorded_over_advice": total_over_advice(picked, recorded=True)[0],
        "stated": dict(stated.stated) if stated else None,
        "true": dict(stated.true) if stated else None,
        "brier": stated.brier if stated else None,
        "brier_reckoned": stated.brier_reckoned if stated else None,
    }


def keep(folder: Path, line: Mapping[str, object]) -> Path:
    """Add a finished exercise to the folder's file; it is on the disk when this returns.

    What others were told is kept stays whole: a line that does not fit is taken out again, and one
    that was torn by a crash is ended first. Raises OSError.
    """
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / EXERCISES
    data = (json.dumps(line, ensure_ascii=False, allow_nan=False) + "\n").encode()
    handle = os.open(path, os.O_RDWR | os.O_APPEND | os.O_CREAT, 0o644)
    try:
        size = os.fstat(handle).st_size
        if size:
            os.lseek(handle, -1, os.SEEK_END)
            data = data if os.read(handle, 1) == b"\n" else b"\n" + data
        try:
            if os.write(handle, data) != len(data):
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(path))
            os.fsync(handle)
        except OSError:
            with contextlib.suppress(OSError):
                os.ftruncate(handle, size)
            raise
    finally:
        os.close(handle)
    return path


def _plain(choice: Choice | None) -> dict[str, object] | None:
    if choice is None:
        return None
    return {"kind": choice.kind, "id": choice.id, "expected_cost": choice.expected_cost}
