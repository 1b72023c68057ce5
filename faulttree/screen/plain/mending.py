"""Repair, proof and close by prompts."""

from __future__ import annotations

from typing import Literal, get_args

from faulttree.screen.plain.bench import DANGER, Bench
from faulttree.screen.plain.reading import TestTaker
from faulttree.screen.plain.talk import Back, Option, sentence
from faulttree.screen.wording import OUTCOMES, figure_shown, minutes_words, money_words, percent
from faulttree.screen.work import helped_nothing
from faulttree.session.events import Closed, ComplaintChecked, Outcome, Repaired
from faulttree.session.moves import refusal
from faulttree.session.proof import Due, Side, before_beside_after, remaining, taken_when, to_repeat
from faulttree.session.standing import NOT_LISTED
from faulttree.session.words import name_of
from faulttree.trade.units import ReadingError, parse_quantity
from faulttree.tree.model import Test

# --- repair --------------------------------------------------------------------------------------


def fix(bench: Bench) -> None:
    """Ask which cause was put right, and go through its repair."""
    standing = [c for c in bench.reckoned.causes if not c.repaired] if bench.reckoned else []
    options = [
        (c.id, f"{c.name}, {percent(c.chance)}")
        for c in standing[:9]
        if not c.id.startswith(NOT_LISTED)
    ]
    options += [("other", "another of the listed causes"), (NOT_LISTED, "a cause not listed")]
    help = "The cause whose repair was done; its steps and dangers are said first."
    while True:
        cause = bench.talk.choose("What is to be put right?", options, help=help)
        if cause != "other":
            break
        known = bench.work.knowledge.causes.values()
        try:
            cause = bench.talk.find("Which cause?", [(one.id, one.name) for one in known])
            break
        except Back:
            continue
    repair(bench, cause)


def repair(bench: Bench, id: str) -> None:
    """Say how a cause is put right, and record that it was; then go to the proof."""
    talk = bench.talk
    cause = bench.work.knowledge.causes.get(id)
    as_written, minutes = "", None
    if cause is not None:
        as_written = " ".join(cause.repair.do.split())
        talk.say(f"Cause: {cause.name}. {' '.join(cause.what.split())}")
        bench.cautions("cause", id)
        parts = f", parts {money_words(cause.repair.parts)}" if cause.repair.parts else ""
        talk.say(f"Repair, {minutes_words(cause.repair.minutes)}{parts}: {as_written}")
    else:
        talk.say("A cause that the trees do not list: say what was found and done.")
    hint = " (Enter: as written)" if as_written else ""
    help = f"Type what was found and done, once it is done; before that nothing counts. {DANGER}"
    while True:
        typed = talk.line(f"What was done?{hint}", help)
        if typed.casefold() == "danger":
            bench.dangers("cause", id)
            continue
        try:
            if typed:
                minutes = _minutes(bench)
        except Back:
            continue
        break
    if not bench.do(Repaired(id, typed, minutes, bench.advice_for(id))):
        return
    talk.say("Repair recorded. Now prove it.")
    if cause is not None and cause.set_up:
        talk.say(f"Afterwards: {' '.join(cause.set_up.split())}")
    proof(bench)


def _minutes(bench: Bench) -> float | None:
    while True:
        typed = bench.talk.line("Minutes it took? (Enter: leave open)", "Such as 40 or 1.5 h.")
        if not typed:
            return None
        try:
            minutes = parse_quantity(typed, "min").value_in_default
        except ReadingError as trouble:
            bench.talk.say(str(trouble))
            continue
        if minutes >= 0:
            return minutes
        bench.talk.say("The minutes of a repair are a number, 0 or more.")


# --- proof ---------------------------------------------------------------------------------------


def proof(bench: Bench) -> None:
    """Go through what proves the repair, until all is done or somebody goes back."""
    work, talk = bench.work, bench.talk
    if not work.state.repairs:
        talk.say("Nothing was repaired yet, so there is nothing to prove.")
        return
    try:
        while left := _left(bench):
            bench.look()
            options = [(f"{due.kind}:{due.id}", _due_words(due)) for due in left]
            chosen = talk.choose(
                "Which is to be gone through again? Type back for the walk.",
                options,
                default=options[0][0],
                help="A repair is proved by the same readings as before it, and by the complaint "
                "being gone. Going back leaves the rest for later.",
            )
            kind, _, id = chosen.partition(":")
            try:
                if kind == "test":
                    TestTaker(bench, work.knowledge.tests[id], "free").take()
                else:
                    check(bench, id)
            except Back:
                talk.say("Back at the proof.")
    except Back:
        _before_after(bench)
        raise
    _before_after(bench)


def _left(bench: Bench) -> list[Due]:
    found = to_repeat(bench.work.state, bench.work.knowledge)
    return [due for due in found if not due.done and not due.cannot]


def _due_words(due: Due) -> str:
    return f"Is it gone: {due.name}" if due.kind == "complaint" else f"{due.name}; {due.why}"


def check(bench: Bench, tree: str) -> None:
    """Ask whether a complaint is still there."""
    found: Literal["present", "gone"] = bench.talk.choose(  # type: ignore[assignment]
        f"{name_of(tree, bench.work.knowledge)}: is it still there?",
        (("present", "still there"), ("gone", "gone")),
        help="Drive the car as when it came in, long enough for the complaint to show.",
    )
    how = bench.talk.line("How was it looked for? (Enter for nothing)", "Where, how long.")
    if bench.do(ComplaintChecked(tree, found, how)):
        bench.talk.say("Recorded.")


def _before_after(bench: Bench) -> None:
    state, knowledge, talk = bench.work.state, bench.work.knowledge, bench.talk
    talk.say("Before and after:")
    open_ones = {due.id for due in _left(bench)}
    for row in before_beside_after(state, knowledge):
        said, test = [], knowledge.tests.get(row.id)
        if row.before is not None:
            when = taken_when(row.before, state.stage, before=True) or "before"
            said.append(f"{when} {_found(row.before, test)}")
        later = row.after or row.between
        when = taken_when(later, state.stage) if later else ""
        if row.between is not None:
            # What was found after an earlier repair says nothing of the last one.
            said += [f"{when} {_found(row.between, test)}", "not looked at since"]
        elif row.after is None:
            yet = " yet" if row.id in open_ones else ""
            said.append(f"not looked at again{yet}" if row.before else f"not read{yet}")
        elif row.before is None:
            said += ["not read before", f"{when or 'now'} {_found(row.after, test)}"]
        else:
            said.append(f"{when or 'after'} {_found(row.after, test)}: {row.verdict}")
        talk.say(f"{row.name}: {', '.join(said)}.")
    still = [name_of(tree, knowledge) for tree in state.trees if state.status(tree) == "present"]
    if still:
        talk.say(f"Still there: {', '.join(still)}. Go on with the walk; the chances are new.")
    elif not _left(bench):
        talk.say(
            "All that the repair asks for is repeated. Type close to close the session, or go on "
            "with the walk."
        )
    for line in remaining(state, knowledge):
        if not line.startswith(("The complaint", "To be repeated")):
            talk.say(sentence(f"Left to do: {line}"))


def _found(side: Side, test: Test | None) -> str:
    """The band, and the figure in the unit of its gauge."""
    value = figure_shown(side.group.last.event, test) if side.group is not None else ""
    return f"{side.band} ({value})" if value else side.band


# --- close ---------------------------------------------------------------------------------------


def close(bench: Bench) -> None:
    """Ask how it came out and which causes were really found, and close the session."""
    talk, work = bench.talk, bench.work
    repaired = tuple(dict.fromkeys(fact.event.cause for fact in work.state.repairs))
    while True:
        outcome: Outcome = talk.choose(  # type: ignore[assignment]
            "How did it come out?",
            [(outcome, f"{outcome}: {OUTCOMES[outcome]}") for outcome in get_args(Outcome)],
            help="Cured needs a repair, its cause, and the complaint found gone afterwards.",
        )
        # What stands against it is said before anything more is asked.
        why = refusal(work.state, Closed(outcome, repaired), work.knowledge)
        if why is None:
            break
        talk.say(f"Not yet. {why}")
    causes = () if outcome == "not found" else _confirmed(bench, repaired)
    left = talk.line("What is left to be done? (Enter for nothing)", "A line for whoever is next.")
    if bench.do(Closed(outcome, causes, left)):
        talk.say(f"Closed: {outcome}.")


def _confirmed(bench: Bench, repaired: tuple[str, ...]) -> tuple[str, ...]:
    """The causes that were really found: those repaired, and any other that is named."""
    talk, knowledge = bench.talk, bench.work.knowledge
    help = "Past sessions are learned from: say yes only for what was really at fault."
    causes = [
        cause
        for cause in repaired
        if talk.yes(
            f"Was this really a cause: {name_of(cause, knowledge)}?",
            default=not helped_nothing(bench.work, cause),
            help=help,
        )
    ]
    options: list[Option] = [
        (cause.id, cause.name) for cause in knowledge.causes.values() if cause.id not in repaired
    ]
    if NOT_LISTED not in repaired:
        options.append((NOT_LISTED, "Something not listed here"))
    while options:
        found = talk.find(
            "Was another cause really found? A word of its name", options, enter="none"
        )
        if not found:
            break
        causes.append(found)
        options = [option for option in options if option[0] != found]
    return tuple(causes)
