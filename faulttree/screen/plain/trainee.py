"""An exercise by prompts: walk a past session again, choose every step, hear what it was worth.

The sums are in `study.exercise`, the words in `screen.scores`; both are those of the screens.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from faulttree.screen.plain.spoken import said_aloud
from faulttree.screen.plain.talk import Back, Talk, sentence, settles_aloud, title_aloud
from faulttree.screen.scores import (
    ANY_OTHER,
    COSTS,
    brier_words,
    car_words,
    choice_name,
    choice_settles,
    choice_worth,
    cost_words,
    driver_words,
    found_words,
    pick_rows,
    stated_rows,
)
from faulttree.screen.wording import minutes_words
from faulttree.screen.work import Work
from faulttree.session.state import Fact
from faulttree.session.words import name_of
from faulttree.study.exercise import (
    Choice,
    Forecast,
    Picked,
    Scene,
    as_line,
    asked,
    before,
    confirmed,
    forecast,
    keep,
    parse_chances,
    scene,
    steps_of,
)

SHOW, QUIT = "show", "quit"


class Exercise:
    """One trainee's way through one session."""

    def __init__(self, talk: Talk, work: Work, session: str, sessions: Path) -> None:
        self.talk, self.work, self.session, self.sessions = talk, work, session, sessions
        self.steps = steps_of(work.state)
        self.picked: list[Picked] = []
        self.forecast: Forecast | None = None
        self.offered = False
        self.told = 0
        self.who = work.who

    def run(self) -> None:
        """Go through all steps; leaving early keeps no result."""
        self.talk.say(f"Exercise: {title_aloud(self.work.title)}")
        if not self.steps:
            self.talk.say("Nothing was read or repaired in it, so there is nothing to choose.")
            return
        self.who = (
            self.talk.line(
                f"Who does this exercise? (Enter: {self.who})",
                "The result is kept under this name.",
            )
            or self.who
        )
        self.talk.say(
            f"{len(self.steps)} steps. At each, choose what you would do next; then hear what your "
            "choice, the recorded one and the advice were worth. Type show to hear a step without "
            "choosing, quit to leave."
        )
        known = before(self.work.state, self.steps[0])
        for said in driver_words(known, self.work.knowledge):
            self.talk.say(sentence(said))
        self.talk.say(sentence(car_words(known, self.work.knowledge)))
        for at, step in enumerate(self.steps, 1):
            self.talk.say(f"Step {at} of {len(self.steps)}.")
            found = scene(self.work.state, self.work.knowledge, step)
            if not self._step(found, last=at == len(self.steps)):
                self.talk.say("Left. An exercise that is not finished keeps no result.")
                return
        self._end()

    def _step(self, found: Scene, *, last: bool) -> bool:
        """Have one step chosen and compared; False when it was to leave."""
        self._known(found)
        if found.trouble:
            self.talk.say(found.trouble)
        wanted = found.step.kind == "repair" or last
        # A repair would give the answer away, so the chances are asked for before the first one.
        if wanted and not self.offered and found.chances and confirmed(self.work.state):
            self.offered = True
            self._chances(found)
        pick = self._pick(found)
        if pick == QUIT:
            return False
        choice = None if isinstance(pick, str) else pick
        self.picked.append(Picked(found, choice))
        self._compare(found, choice)
        return True

    def _known(self, found: Scene) -> None:
        """What has become known since the last step."""
        known = before(self.work.state, found.step)
        facts: list[Fact[Any]] = [*known.readings, *known.repairs, *known.checks, *known.notes]
        facts += known.cannot_do.values()
        new = sorted((f for f in facts if f.sequence > self.told), key=lambda f: f.sequence)
        for fact in new:
            # The recorded step itself was said when it was compared.
            if not self.picked or fact.sequence != self.picked[-1].scene.step.entry:
                self.talk.say(sentence(f"Known: {said_aloud(fact.event, self.work.knowledge)}"))
            self.told = fact.sequence
        if not facts:
            self.talk.say("Nothing has been read yet.")

    def _pick(self, found: Scene) -> Choice | str:
        by_id = {f"{one.kind}:{one.id}": one for one in found.choices}
        options = [
            (id, f"{choice_name(one)}, {minutes_words(one.minutes)}") for id, one in by_id.items()
        ]
        help = "Type show to hear what was done without choosing, quit to leave."
        while True:
            try:
                chosen = self.talk.find(
                    "What would you do next?", options, words=(SHOW, QUIT), help=help
                )
            except Back:
                if self.talk.yes("Leave the exercise?", default=False):
                    return QUIT
                continue
            return by_id.get(chosen, chosen)

    def _compare(self, found: Scene, pick: Choice | None) -> None:
        say_ = self.talk.say
        say_(sentence(f"What was done: {said_aloud(found.step.event, self.work.knowledge)}"))
        if pick is None:
            say_("You: no choice.")
        else:
            self._worth("You", pick, found)
        if pick == found.recorded:
            say_("Recorded: the same.")
        else:
            self._worth("Recorded", found.recorded, found)
        if found.advice is None:
            say_("Advice: nothing that would tell more.")
        elif found.advice == pick:
            say_("Advice: the same as yours.")
        elif found.advice == found.recorded:
            say_("Advice: the same as recorded.")
        else:
            self._worth("Advice", found.advice, found)
        if len(self.picked) == 1:
            say_(COSTS)

    def _worth(self, label: str, choice: Choice, found: Scene) -> None:
        self.talk.say(f"{label}: {choice_name(choice)}: {choice_worth(choice, found)}.")
        for line in choice_settles(choice, found):
            self.talk.say(settles_aloud(line))

    # --- the chances and the end -----------------------------------------------------------------

    def _chances(self, found: Scene) -> None:
        """Ask for a chance for each of the likeliest causes; going back leaves the score out."""
        causes = asked(found.chances)
        names = [*(name_of(cause, self.work.knowledge) for cause in causes), ANY_OTHER]
        self.talk.say("Before you hear it: how likely is each cause? Several can be true at once.")
        stated: list[float] = []
        while len(stated) < len(names):
            try:
                typed = self.talk.line(
                    f"{names[len(stated)]}, in per cent:", "A figure from 0 to 100, such as 70."
                )
                stated += parse_chances(typed, 1)
            except ValueError as wrong:
                self.talk.say(str(wrong))
            except Back:
                if not stated:
                    self.talk.say("No chances were stated, so there will be no score for them.")
                    return
                stated.pop()
        self.forecast = forecast(causes, stated, found.chances, self.work.state)

    def _end(self) -> None:
        say_, knowledge = self.talk.say, self.work.knowledge
        say_("How it came out.")
        say_(found_words(self.work.state, knowledge))
        say_(cost_words(self.picked))
        if self.forecast is not None:
            say_(brier_words(self.forecast))
            for name, tail in stated_rows(self.forecast, knowledge):
                say_(f"{name}: {tail}.")
        for at, (name, tail) in enumerate(pick_rows(self.picked), 1):
            say_(f"Step {at}: {name}: {tail}.")
        try:
            kept = keep(self.sessions, as_line(self.session, self.who, self.picked, self.forecast))
        except OSError as trouble:
            why = trouble.strerror or trouble
            say_(f"The result could not be kept in {self.sessions}: {why}.")
            return
        self.talk.exact(f"Kept under {self.who} in {kept}.")
