"""A past session by prompts: entry by entry, forward, back, or to what is asked for by name."""

from __future__ import annotations

from collections.abc import Sequence

from faulttree.screen.past import changed_little, entry_facts, jump, reckon_entry
from faulttree.screen.plain.spoken import said_aloud
from faulttree.screen.plain.talk import Back, Talk, sentence, title_aloud
from faulttree.screen.plain.walk import why_lines
from faulttree.screen.wording import chance_words, percent
from faulttree.screen.work import Reckoned, Reckoner, Work
from faulttree.session.events import Envelope
from faulttree.session.standing import car_of
from faulttree.session.state import State, states

MOVED = 0.02
"""By how much a chance must move to be told."""

HELP = (
    "Enter: the next entry.\n"
    "back: the one before.\n"
    "first or f, last or l: the first, the last.\n"
    "A number: that entry.\n"
    "repair, complaint, reading, note, close: the next of that kind.\n"
    "A word of a test's name: its next reading.\n"
    "causes or k: the chances as they stood then.\n"
    "why or w: why a cause stood where it did.\n"
    "all or a: all entries from here to the end, without stopping.\n"
    "quit or q: leave. Nothing is written."
)


class Replay:
    """Steps through a session; writes nothing."""

    def __init__(self, talk: Talk, work: Work, envelopes: Sequence[Envelope]) -> None:
        self.talk, self.work, self.envelopes = talk, work, envelopes
        self.steps: list[tuple[Envelope, State]] = list(states(envelopes))
        self.reckoner = Reckoner(work.knowledge)
        self.reckoned: dict[int, Reckoned] = {}
        self.at = 0

    def run(self) -> None:
        """Go on until somebody leaves."""
        self.talk.say(f"Replay: {title_aloud(self.work.title)}")
        count = len(self.steps)
        if not count:
            self.talk.say("There is nothing in it.")
            return
        self.talk.say(f"{count} entries. Enter says the next one, ? helps.")
        self._entry()
        while True:
            prompt = "Next? (Enter, or ? for help)"
            if self.at + 1 == count:
                prompt = "That was the last entry. Where to? (? for help, q to leave)"
            try:
                typed = self.talk.line(prompt, f"{HELP}\n")
            except Back:
                self._go(self.at - 1)
                continue
            if not self._does(typed):
                return

    def _does(self, typed: str) -> bool:
        word = typed.casefold()
        match word:
            case "q" | "quit" | "exit":
                return False
            case "":
                self._go(self.at + 1)
            case "f" | "first":
                self._go(0)
            case "l" | "last":
                self._go(len(self.steps) - 1)
            case "k" | "causes":
                self._causes()
            case "w" | "why":
                try:
                    self._why()
                except Back:
                    self.talk.say("Back at the replay.")
            case "a" | "all":
                while self.at + 1 < len(self.steps):
                    self._go(self.at + 1)
            case "help":
                self.talk.say(HELP)
            case _:
                self._jump(typed)
        return True

    def _jump(self, wanted: str) -> None:
        found = jump(self.envelopes, self.at, wanted, self.work.knowledge)
        if found is None:
            self.talk.say(f"{wanted}: no entry answers that. Type ? for what can be typed.")
            return
        if found.round:
            self.talk.say("From the first entry again:")
        self._go(found.at)

    def _go(self, at: int) -> None:
        if at < 0:
            self.talk.say("This is the first entry.")
        elif at >= len(self.steps):
            self.talk.say("This is the last entry.")
        else:
            self.at = at
            self._entry()

    # --- one entry -------------------------------------------------------------------------------

    def _entry(self) -> None:
        envelope, _ = self.steps[self.at]
        back = " (taken back later)" if envelope.sequence in self.work.state.withdrawn else ""
        self.talk.say(
            f"Entry {envelope.sequence} of {len(self.steps)}, {envelope.at:%d %b %Y %H:%M} UTC, by "
            f"{envelope.who}{back}."
        )
        self.talk.say(sentence(said_aloud(envelope.event, self.work.knowledge)))
        for fact in entry_facts(envelope.event, self.work.knowledge):
            self.talk.say(sentence(fact))
        reckoned = self._reckon()
        if reckoned.trouble:
            self.talk.say(reckoned.trouble)
        moved = [
            cause
            for cause in sorted(reckoned.causes, key=lambda c: -abs(c.chance - c.before))
            if abs(cause.chance - cause.before) >= MOVED and not cause.repaired
        ]
        if reckoned.causes and not moved:
            for line in changed_little(envelope.event, self._before()):
                self.talk.say(line)
        for cause in moved[:3]:
            word = "rose" if cause.chance > cause.before else "fell"
            self.talk.say(
                f"{cause.name} {word} from {percent(cause.before)} to {percent(cause.chance)}."
            )

    def _before(self) -> State | None:
        return self.steps[self.at - 1][1] if self.at else None

    def _reckon(self) -> Reckoned:
        if self.at not in self.reckoned:
            state = self.steps[self.at][1]
            found = reckon_entry(self.reckoner, self.work.knowledge, state, self._before())
            self.reckoned[self.at] = found
        return self.reckoned[self.at]

    def _causes(self) -> None:
        standing = [cause for cause in self._reckon().causes if not cause.repaired]
        if not standing:
            self.talk.say("No complaint had been taken yet, so no cause had been weighed.")
        for at, cause in enumerate(standing, 1):
            self.talk.say(
                f"{at}. {cause.name}: {percent(cause.chance)}, {chance_words(cause.chance)}"
            )

    def _why(self) -> None:
        standing = [cause for cause in self._reckon().causes if not cause.repaired]
        if not standing:
            self._causes()
            return
        options = [(c.id, f"{c.name}, {percent(c.chance)}") for c in standing[:12]]
        chosen = self.talk.choose("Why which cause?", options)
        state = self.steps[self.at][1]
        advised = self.reckoner.advice(state, car_of(state, self.work.knowledge))
        for line in why_lines(self.work, chosen, advised):
            self.talk.say(line)
