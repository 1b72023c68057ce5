"""The words of an exercise, on the screen and line by line: what choices were worth, the scores.

The sums are in `study.exercise`. Nothing here knows a widget.
"""

from __future__ import annotations

from collections.abc import Sequence

from faulttree.screen.wording import minutes_words, money_words, percent
from faulttree.session.events import ReadingTaken
from faulttree.session.standing import car_of
from faulttree.session.state import State
from faulttree.session.words import name_of, value_text
from faulttree.study.exercise import (
    OTHER,
    Choice,
    Forecast,
    Picked,
    Scene,
    confirmed,
    over_advice,
    total_over_advice,
)
from faulttree.tree.model import Knowledge

CAME = "it came out "
"""How the line begins that tells which reading came."""
ANY_OTHER = "Any other cause"
"""What the last figure of a forecast is asked and told for."""
COSTS = (
    "Costs: the money still to be spent until the complaint is gone, if this is done now and the "
    "best after it. Bits: how much it can be expected to tell of the causes."
)


def driver_words(state: State, knowledge: Knowledge) -> list[str]:
    """What was known from the driver: every complaint with his words, and his answers."""
    said = []
    for tree in dict.fromkeys(fact.event.tree for fact in state.complaints):
        taken = state.complaint(tree)
        if taken is None:
            continue
        words = [name_of(tree, knowledge), taken.said, taken.how_often]
        words += [f"{question} {answer}" for question, answer in taken.answers.items()]
        said.append(f"Complaint: {'; '.join(word.rstrip('.') for word in words if word)}")
    return said


def car_words(state: State, knowledge: Knowledge) -> str:
    """Which car it is and of what kind, as far as that was known; what is assumed is left out."""
    car = car_of(state, knowledge)
    kind = [
        f"{name_of(spec, knowledge)}: {value_text(known.value)}"
        for spec, known in car.specs.items()
        if spec in knowledge.specs and knowledge.specs[spec].choices and known.origin != "generic"
    ]
    return f"Car: {'; '.join([car.name or 'not named', *kind])}"


def choice_name(choice: Choice) -> str:
    """What a choice is called: a test by its name, a repair with the word before it."""
    return f"repair {choice.name}" if choice.kind == "repair" else choice.name


def choice_worth(choice: Choice, scene: Scene) -> str:
    """What a choice was worth at that moment, in one sentence without its end."""
    if choice.expected_cost is None:
        return "not weighed: at this point it says nothing new, or nothing yet"
    said = f"costs {money_words(choice.expected_cost)}"
    over = over_advice(choice, scene)
    if over is not None and choice != scene.advice:
        if round(over) > 0:
            said += f", {money_words(over)} more than the advice"
        elif round(over) < 0:
            said += f", {money_words(-over)} less than the advice, which reaches less far"
        else:
            said += ", as good as the advice"
    if choice.kind == "test":
        said += f"; tells {choice.gain_bits:.2f} bits"
    return f"{said}; takes {minutes_words(choice.minutes)}"


def choice_settles(choice: Choice, scene: Scene, most: int = 2) -> list[str]:
    """What a choice may do to the causes; for what was recorded, first the reading that came."""
    event = scene.step.event
    if choice != scene.recorded or not isinstance(event, ReadingTaken) or not choice.settles:
        return list(choice.settles[:most])
    came = [line for line in choice.settles if line.startswith(f"{event.band} (")]
    others = [line for line in choice.settles if line not in came]
    first = came[0] if came else f"{event.band}, which was hardly expected or changes little"
    return [f"{CAME}{first}", *others[: most - 1]]


def found_words(state: State, knowledge: Knowledge) -> str:
    """Which causes the session found."""
    found = [name_of(cause, knowledge) for cause in confirmed(state)]
    return f"Found: {', '.join(found) or 'no cause'}."


def cost_words(picked: Sequence[Picked]) -> str:
    """What all picks cost against the advice, and what was recorded at the same steps."""
    extra, weighed = total_over_advice(picked)
    if not weighed:
        return "No pick of yours could be weighed against the advice."
    done, _ = total_over_advice(picked, recorded=True)
    picks = "pick" if weighed == 1 else "picks"
    steps = "step" if weighed == 1 else "steps"
    return (
        f"Your {weighed} {picks} cost {_more(extra)} the advice, added up step by step. What was "
        f"recorded at the same {steps} cost {_more(done)} the advice."
    )


def _more(money: float) -> str:
    if round(money) == 0:
        return "as much as"
    return f"{money_words(abs(money))} {'more' if money > 0 else 'less'} than"


def brier_words(forecast: Forecast) -> str:
    """Both Brier scores, and what they mean."""
    return (
        f"Brier score of your chances: {forecast.brier:.3f} (0 is perfect, 0.25 is half for "
        f"everything); the program's own: {forecast.brier_reckoned:.3f}."
    )


def stated_rows(forecast: Forecast, knowledge: Knowledge) -> list[tuple[str, str]]:
    """Every cause a chance was stated for, with both chances and what came true."""
    rows = []
    for cause, stated in forecast.stated.items():
        name = ANY_OTHER if cause == OTHER else name_of(cause, knowledge)
        came = "was so" if forecast.true[cause] else "was not so"
        reckoned = percent(forecast.reckoned[cause])
        rows.append((name, f"you {percent(stated)}, program {reckoned}, {came}"))
    return rows


def pick_rows(picked: Sequence[Picked]) -> list[tuple[str, str]]:
    """Every step: what was picked, and how much more it cost."""
    rows = []
    for one in picked:
        over = over_advice(one.pick, one.scene)
        tail = "not chosen" if one.pick is None else "not weighed"
        if over is not None:
            tail = f"{money_words(over)} more" if round(over) > 0 else "as good as the advice"
        chosen = one.pick if one.pick is not None else one.scene.recorded
        rows.append((choice_name(chosen), tail))
    return rows
