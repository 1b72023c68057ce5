"""A session on the bench: writing into it, where it stands, and what several parts ask for."""

from __future__ import annotations

from typing import TYPE_CHECKING

from faulttree.screen.plain.intake import ask_figure
from faulttree.screen.plain.talk import Option, Talk
from faulttree.screen.work import Advised, Reckoned, Reckoner, Work
from faulttree.session.chances import advice_at
from faulttree.session.events import (
    Advice,
    CannotDo,
    CautionAcknowledged,
    CautionAnswer,
    Event,
    ReadingTaken,
    RouteLeft,
    TakenAs,
)
from faulttree.session.journal import JournalError
from faulttree.session.moves import Command, NotAllowed
from faulttree.session.standing import cautions_of
from faulttree.session.words import danger_words
from faulttree.trade.units import ReadingError
from faulttree.tree.car import SpecUnknown

if TYPE_CHECKING:
    from faulttree.scorer.advice import Suggestion
    from faulttree.session.events import Carrier
    from faulttree.tree.graph import RouteStep
    from faulttree.tree.model import Caution


DANGER = "Type danger to hear its cautions in full."


class Bench:
    """The session, what the scorer makes of it, and the questions that come up everywhere."""

    def __init__(self, talk: Talk, work: Work) -> None:
        self.talk, self.work = talk, work
        self.reckoner = Reckoner(work.knowledge)
        self.reckoned: Reckoned | None = None
        self.advised: Advised | None = None
        self.steps: dict[str, RouteStep] = {}
        self.hinted = False
        self.told_steps: set[str] = set()
        """The tests whose steps were said in this sitting."""
        self._told_dangers: set[tuple[str, str]] = set()

    def do(self, *commands: Command) -> tuple[Event, ...]:
        """Write what the commands make; says why not and gives nothing when it is not allowed."""
        try:
            return self.work.do(*commands)
        except (NotAllowed, ReadingError, JournalError, SpecUnknown) as trouble:
            self.talk.say(f"Not recorded. {trouble}")
            return ()

    def look(self) -> None:
        """Have everything as it stands now."""
        if self.reckoned is None or self.reckoned.moved != self.work.moved:
            state, car = self.work.state, self.work.car
            self.reckoned = self.reckoner.chances(state, car, self.work.before_last())
            self.advised = self.reckoner.advice(state, car)
        self.steps = self.work.routes()

    @property
    def gone(self) -> bool:
        """Whether every complaint was looked for since the last repair and found gone."""
        return self.work.gone

    @property
    def best(self) -> Suggestion | None:
        """What is worth most for its cost, if anything is left to be cured."""
        if self.advised is None or self.gone:
            return None
        return self.advised.suggestions[0] if self.advised.suggestions else None

    def advice_for(self, step: str) -> Advice | None:
        """What was advised as this test or repair was taken, to be kept with it."""
        return advice_at(self.advised.suggestions, step) if self.advised else None

    # --- what several parts ask for --------------------------------------------------------------

    def figure(self, spec: str) -> None:
        """Ask for a figure of the maker's, and write it into the session."""
        while True:
            if self.do(ask_figure(self.talk, self.work.knowledge.specs[spec])):
                self.talk.say("Recorded.")
                return

    def cannot(self, test: str) -> None:
        """Ask why a test cannot be done, and write that down."""
        name = self.work.knowledge.tests[test].name
        reason = self.talk.line(
            f"{name} cannot be done. Why?", "No tool, no access, no part: in a few words."
        )
        if self.do(CannotDo(test, reason)):
            self.talk.say("Recorded. The route and the advice pass it by.")

    def cautions(self, carrier: Carrier, id: str) -> None:
        """Say every caution of a test, repair or complaint; ask for an answer where one is due.

        What is heard too often is no longer listened to: a danger is said in full once in a
        sitting, then by its first words. One that stops the work is always said in full.
        """
        open_ones = {caution.id for caution in self.work.cautions(carrier, id)}
        as_before: list[str] = []
        for caution in cautions_of(self.work.knowledge, carrier, id):
            told = (caution.danger, caution.do) in self._told_dangers and caution.kind != "stop"
            if not told:
                self._say_danger(caution)
            elif caution.id in open_ones:
                self.talk.say(f"Caution, as before: {danger_words(caution)}.")
            else:
                as_before.append(danger_words(caution))
            if caution.id in open_ones:
                self._answer(caution, carrier, id)
        if as_before:
            word, them = ("Caution", "it") if len(as_before) == 1 else ("Cautions", "them")
            self.talk.say(
                f"{word}, as before: {'; '.join(as_before)}. Type danger to hear {them} in full."
            )

    def dangers(self, carrier: Carrier, id: str) -> None:
        """Say every caution in full, whether or not it was heard before."""
        found = cautions_of(self.work.knowledge, carrier, id)
        for caution in found:
            self._say_danger(caution)
        if not found:
            self.talk.say("It has no cautions of its own.")

    def _say_danger(self, caution: Caution) -> None:
        self._told_dangers.add((caution.danger, caution.do))
        self.talk.say(f"Caution: {' '.join(caution.danger.split())} {' '.join(caution.do.split())}")

    def _answer(self, caution: Caution, carrier: Carrier, id: str) -> None:
        trained: Option = ("trained", "someone trained for it does this part")
        options: list[Option] = [("understood", "understood, and I will do it so"), trained]
        help = "The answer goes into the log. Type a number, or danger to hear it in full."
        if caution.kind == "stop":
            # Petrol and belts are in every car; of what stops the work many have nothing.
            options = [("does not apply", "this car has nothing of the kind"), trained]
            help = "This stops the work. If neither is so, go back and hand the car on."
            self.talk.say("This stops the work.")
        while True:
            chosen = self.talk.choose("Which is so?", options, words=("danger",), help=help)
            if chosen == "danger":
                self._say_danger(caution)
                continue
            answer: CautionAnswer = chosen  # type: ignore[assignment]
            if self.do(CautionAcknowledged(caution.id, carrier, id, answer)):
                return

    # --- the route -------------------------------------------------------------------------------

    def due(self) -> list[str]:
        """The tests that a repair asks for again and that nobody has repeated yet."""
        from faulttree.session.proof import to_repeat

        return [one.id for one in to_repeat(self.work.state, self.work.knowledge) if not one.done]

    def leaves_route(self, test: str, way: TakenAs) -> list[RouteLeft]:
        """What to note when something else is done than every route asks for."""
        asked = [(tree, s.id) for tree, s in self.steps.items() if s.kind in {"test", "cause"}]
        if not asked or any(id == test for _, id in asked) or self.work.readings_now(test):
            return []
        # Going through tests again to prove a repair is no leaving of the route.
        if test in self.due():
            return []
        tree, step = asked[0]
        return [RouteLeft(tree, step, test, "the advice" if way == "advice" else "")]


def taken_of(events: tuple[Event, ...]) -> ReadingTaken:
    """The reading among what was written."""
    return next(event for event in events if isinstance(event, ReadingTaken))
