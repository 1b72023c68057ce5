"""The walk by prompts: what stands, what to do next, one command at a time."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from faulttree.screen.plain import mending
from faulttree.screen.plain.bench import Bench
from faulttree.screen.plain.intake import SEEN, ask_often, ask_showing
from faulttree.screen.plain.reading import TestTaker, check_instrument
from faulttree.screen.plain.spoken import said_aloud, sentences
from faulttree.screen.plain.talk import (
    Back,
    Option,
    Talk,
    matching,
    sentence,
    settles_aloud,
    title_aloud,
)
from faulttree.screen.wording import (
    chance_words,
    minutes_words,
    money_words,
    percent,
    reach_words,
    weight_words,
)
from faulttree.screen.work import Advised, Standing, Work
from faulttree.session.events import ComplaintTaken, Noted
from faulttree.session.moves import Undo, to_undo
from faulttree.session.words import name_of

LIKELIEST = 5

COMMANDS: tuple[tuple[str, str, str], ...] = (
    ("route", "r", "do what the route asks for next"),
    ("advice", "a", "do what is worth most for its cost"),
    ("test", "t", "choose any other test"),
    ("again", "g", "take the last test again; repeats count together"),
    ("fix", "f", "record a repair, then prove it"),
    ("proof", "p", "after a repair: what to go through again, and what came of it"),
    ("why", "w", "why a cause stands where it does, reading by reading"),
    ("causes", "k", "the chances of all causes"),
    ("look", "l", "say again where things stand"),
    ("entries", "m", "say all entries so far"),
    ("cannot", "x", "say that the route's next test cannot be done, and why"),
    ("note", "n", "write a note into the session"),
    ("driver", "d", "what the driver says, and the answers to the questions"),
    ("figures", "e", "type one of the maker's figures for this car"),
    ("instrument", "i", "say where an instrument is known to be out"),
    ("undo", "u", "take the last entry back"),
    ("handover", "h", "say the report, and write it into the folder of the log"),
    ("close", "c", "close the session"),
    ("quit", "q", "leave; everything is saved"),
)
OTHER_WORDS = {"repair": "fix", "report": "handover", "exit": "quit", "leave": "quit"}
"""Words that people type for a command that is called otherwise."""


class Walk(Bench):
    """The loop of a session."""

    def __init__(self, talk: Talk, work: Work) -> None:
        super().__init__(talk, work)
        self.told_chances: list[str] | None = None
        self.told_ways: list[str] | None = None
        self.written: set[Path] = set()

    def run(self) -> None:
        """Go on until the session is closed or left."""
        self.talk.say(f"Session: {title_aloud(self.work.title)}")
        for tree in self.work.state.trees:
            try:
                self.cautions("tree", tree)
            except Back:
                self.talk.say("The caution stays open; it is asked again when you resume.")
        while self.work.state.is_open:
            self.look()
            self._situation()
            try:
                if not self._command():
                    return
            except Back:
                self.talk.say("Back at the walk.")

    # --- what stands -----------------------------------------------------------------------------

    def _situation(self) -> None:
        """The likeliest causes, then route and advice; what was said before is not said again.

        A voice takes its time, and what it says should be news.
        """
        # A route goes on looking for causes; where the complaint is gone nobody asks for more.
        ways = [*([] if self.gone else self._route_lines()), *self._advice_lines()]
        # How a chance moved is told once; without a move the same chances are no news.
        chances = [
            *self._doubts(),
            *(f"{cause.id} {percent(cause.chance)}" for cause in self._standing()[:LIKELIEST]),
        ]
        if chances and chances != self.told_chances:
            self.talk.say("\n".join(self._cause_lines(LIKELIEST)))
        if ways != self.told_ways:
            self.talk.say("\n".join(ways))
        self.told_chances, self.told_ways = chances, ways

    def _route_lines(self) -> list[str]:
        knowledge = self.work.knowledge
        lines = []
        said = set()
        for tree, step in self.steps.items():
            if (step.kind, step.id) in said:
                continue
            said.add((step.kind, step.id))
            of_tree = f" for {knowledge.trees[tree].complaint}" if len(self.steps) > 1 else ""
            if step.kind == "test":
                test = knowledge.tests[step.id]
                words = f"{test.name}, {minutes_words(test.minutes)}, {reach_words(test.reach)}"
            elif step.kind == "cause":
                words = f"suspect {knowledge.causes[step.id].name}; type route to repair it"
            else:
                words = step.why or "the route ends here"
            lines.append(f"Route{of_tree}: {words.rstrip('.')}.")
            last = step.last
            if step.kind != "end" and last is not None and last.how == "read":
                lines.append(f"That is because {knowledge.tests[last.test].name} read {last.band}.")
        return lines

    def _advice_lines(self) -> list[str]:
        if self.gone:
            return ["Advice: the complaint is gone. Type close to close the session."]
        best = self.best
        if best is None:
            return ["Advice: nothing is left that would tell more."]
        verb = "repair " if best.kind == "repair" else ""
        parts = f", parts {money_words(best.parts)}" if best.parts else ""
        return [
            f"Advice: {verb}{best.name}, {minutes_words(best.minutes)}{parts}.",
            *map(settles_aloud, best.settles[:2]),
        ]

    def _standing(self) -> list[Standing]:
        """The causes that were not put right, the likeliest first."""
        found = self.reckoned.causes if self.reckoned else ()
        return [cause for cause in found if not cause.repaired]

    def _doubts(self) -> list[str]:
        """What is to be known of the chances themselves: none, rough, or readings at odds."""
        assert self.reckoned is not None
        lines = []
        if self.reckoned.trouble:
            lines.append(self.reckoned.trouble)
        if not self.reckoned.exact:
            left = percent(self.reckoned.omitted)
            lines.append(f"Rough figures: {left} of what is possible is left out.")
        if self.advised and self.advised.conflict and self.advised.conflict.serious:
            lines.append(self.advised.conflict.message)
        return lines

    def _cause_lines(self, count: int | None) -> list[str]:
        lines, standing = self._doubts(), self._standing()
        if standing:
            lines.append("Likeliest causes:" if count else "Causes:")
        for at, cause in enumerate(standing[:count], 1):
            moved = ""
            if percent(cause.before) != percent(cause.chance):
                word = "rose" if cause.chance > cause.before else "fell"
                moved = f", {word} from {percent(cause.before)}"
            chance = f"{percent(cause.chance)}, {chance_words(cause.chance)}"
            lines.append(f"{at}. {cause.name}: {chance}{moved}")
        return lines

    # --- commands --------------------------------------------------------------------------------

    def _command(self) -> bool:
        """Ask for one command and do it; False when it was to leave."""
        help = "\n".join(f"{name} or {key}: {about}." for name, key, about in COMMANDS)
        typed = self.talk.line("What now? (Enter for the route, ? for help)", f"{help}\n")
        if typed.casefold() == "help":
            self.talk.say(help)
            return True
        word = OTHER_WORDS.get(typed.casefold(), typed)
        options = [(name, name) for name, _, _ in COMMANDS]
        found = [name for name, key, _ in COMMANDS if word.casefold() == key]
        found = found or (matching(word, options) if not word.isdigit() else [])
        name = "route" if not typed else found[0] if len(found) == 1 else ""
        if name == "quit":
            return False
        if not name:
            if len(found) > 1:
                self.talk.say(f"{typed} may be {' or '.join(found)}. Type more of it.")
            else:
                self.talk.say(f"{typed} is no command. Type ? for the list of commands.")
            return True
        getattr(self, f"_do_{name}")()
        return True

    def _do_look(self) -> None:
        self.told_chances = self.told_ways = None

    def _do_route(self) -> None:
        going = {(s.kind, s.id): s for s in self.steps.values() if s.kind != "end"}
        if not going:
            self.talk.say("The route has ended. Take the advice, a test, or record a repair.")
            return
        options = [(f"{kind}:{id}", name_of(id, self.work.knowledge)) for kind, id in going]
        chosen = options[0][0]
        if len(options) > 1:
            help = "Each complaint has a route of its own; either may go first."
            chosen = self.talk.choose("Which route?", options, default=chosen, help=help)
        kind, _, id = chosen.partition(":")
        if kind == "test":
            TestTaker(self, self.work.knowledge.tests[id], "route").take()
        else:
            mending.repair(self, id)

    def _do_advice(self) -> None:
        best = self.best
        if best is None:
            self.talk.say(self._advice_lines()[0])
        elif best.kind == "test":
            TestTaker(self, self.work.knowledge.tests[best.id], "advice").take()
        else:
            mending.repair(self, best.id)

    def _do_test(self) -> None:
        tests = [test for test in self.work.knowledge.tests.values() if self.work.fits(test)]
        id = self.talk.find("Which test?", [(test.id, test.name) for test in tests])
        TestTaker(self, self.work.knowledge.tests[id], "free").take()

    def _do_again(self) -> None:
        if not self.work.state.readings:
            self.talk.say("No reading has been taken yet.")
            return
        last = self.work.state.readings[-1].event.test
        if last not in self.work.knowledge.tests:
            self.talk.say("The last test is not in what this session knows.")
            return
        TestTaker(self, self.work.knowledge.tests[last], "free").take()

    def _do_fix(self) -> None:
        mending.fix(self)

    def _do_proof(self) -> None:
        mending.proof(self)

    def _do_close(self) -> None:
        mending.close(self)

    def _do_causes(self) -> None:
        self.talk.say("\n".join(self._cause_lines(None)))

    def _do_why(self) -> None:
        standing = self._standing()
        way = self.advised.explanation if self.advised else None
        if not standing or way is None or self.advised is None:
            self.talk.say("There is nothing to explain: the readings exclude one another.")
            return
        options = [(c.id, f"{c.name}, {percent(c.chance)}") for c in standing[:12]]
        cause = self.talk.choose("Why which cause?", options)
        for line in why_lines(self.work, cause, self.advised):
            self.talk.say(line)

    def _do_entries(self) -> None:
        state = self.work.state
        for envelope in state.history:
            back = " (taken back)" if envelope.sequence in state.withdrawn else ""
            said = said_aloud(envelope.event, self.work.knowledge)
            self.talk.say(sentence(f"Entry {envelope.sequence}{back}: {said}"))

    def _do_cannot(self) -> None:
        going = [step for step in self.steps.values() if step.kind == "test"]
        if not going:
            self.talk.say("The route asks for no test.")
            return
        self.cannot(going[0].id)

    def _do_note(self) -> None:
        note = self.talk.line("Note:", "A line in your own words; it goes into the report.")
        if self.do(Noted(note)):
            self.talk.say("Noted.")

    def _do_driver(self) -> None:
        """Say what was taken down of a complaint, and let one line of it be changed."""
        trees = [tree for tree in self.work.state.trees if self.work.has_tree(tree)]
        tree = trees[0]
        if len(trees) > 1:
            options = [(id, self.work.knowledge.trees[id].complaint) for id in trees]
            tree = self.talk.choose("Which complaint?", options)
        known = self.work.knowledge.trees[tree]
        while True:
            taken = self.work.state.complaint(tree) or ComplaintTaken(tree)
            seen = {"yes": "yes", "no": "no", "unknown": "not known"}[taken.showing]
            lines: list[Option] = [
                ("said", f"Driver says: {taken.said or 'nothing written'}"),
                ("often", f"How often: {taken.how_often or 'not said'}"),
                ("seen", f"Seen before work began: {seen}"),
                *(
                    (f"?{one}", f"{one} {taken.answers.get(one) or 'not known'}")
                    for one in known.ask
                ),
            ]
            help = "Type the number of the line that is to be changed."
            chosen = self.talk.choose(
                "Which line is to be changed?",
                [*lines, ("none", "none")],
                default="none",
                help=help,
            )
            if chosen == "none":
                return
            if self.do(self._changed(taken, chosen)):
                self.talk.say("Recorded.")

    def _changed(self, taken: ComplaintTaken, line: str) -> ComplaintTaken:
        if line == "said":
            return replace(taken, said=self.talk.line("What does the driver say?", "In one line."))
        if line == "often":
            return replace(taken, how_often=ask_often(self.talk))
        if line == "seen":
            return replace(taken, showing=ask_showing(self.talk, SEEN))
        ask = line[1:]
        answer = self.talk.line(f"{ask} (Enter: not known)", "A question for the driver.")
        return replace(taken, answers={**taken.answers, ask: answer})

    def _do_figures(self) -> None:
        specs = self.work.knowledge.specs
        self.figure(self.talk.find("Which figure?", [(one.id, one.name) for one in specs.values()]))

    def _do_instrument(self) -> None:
        known = self.work.knowledge.instruments.values()
        if not known:
            self.talk.say("The shop's file of instruments names none.")
            return
        chosen = self.talk.find("Which instrument?", [(one.id, one.name) for one in known])
        check_instrument(self, chosen)

    def _do_undo(self) -> None:
        state = self.work.state
        undone = to_undo(state)
        if not undone:
            self.talk.say("There is nothing to undo.")
            return
        for what, one in zip(("The last entry", "And with it"), undone, strict=False):
            self.talk.say(sentence(f"{what}: {said_aloud(one.event, self.work.knowledge)}"))
        help = "What is taken back stays in the log, marked as such, and counts no more."
        if self.talk.yes("Take it back?", help=help) and self.do(Undo()):
            self.talk.say("Taken back.")

    def _do_handover(self) -> None:
        from faulttree.handover.markdown import to_markdown
        from faulttree.handover.report import report

        blocks = report(self.work.state, self.work.knowledge, "")
        for line in sentences(blocks):
            self.talk.say(line)
        if self.work.path is None:
            return
        path = self.work.path.with_suffix(".md")
        # Somebody may have written into a report of an earlier day.
        if path.exists() and path not in self.written:
            self.talk.exact(f"There is a report already: {path}")
            help = "No leaves it as it is; the report was said all the same."
            if not self.talk.yes("Write over it?", default=False, help=help):
                self.talk.say("Not written.")
                return
        try:
            path.write_text(to_markdown(blocks), encoding="utf-8")
        except OSError as trouble:
            self.talk.say(f"{path}: the report cannot be written: {trouble.strerror}.")
            return
        self.written.add(path)
        self.talk.exact(f"Written: {path}")


def why_lines(work: Work, cause: str, advised: Advised) -> list[str]:
    """The evidence for one cause, reading by reading, in sentences."""
    way = advised.explanation
    if way is None:
        return ["There is nothing to explain: the readings exclude one another."]
    known = work.knowledge.causes.get(cause)
    what = f" {' '.join(known.what.split())}" if known is not None and known.what else ""
    said = [
        f"{name_of(cause, work.knowledge)}.{what}",
        f"With the complaint alone: {percent(way.start.get(cause, 0.0))}.",
    ]
    stage = 0
    for step in way.steps:
        for fact in work.state.repairs[stage : step.stage]:
            said.append(f"Then repaired: {name_of(fact.event.cause, work.knowledge)}.")
        stage = step.stage
        weight = step.decibans.get(cause, 0.0)
        name = advised.sources.get(step.source, step.source)
        chance = percent(step.chances.get(cause, 0.0))
        figure = f" (weight {weight:+.1f})" if abs(weight) >= 0.05 else ""
        said.append(f"{name}, {step.band}: {weight_words(weight)}{figure}, then {chance}.")
    if not way.steps:
        return [*said, "No reading has been counted yet."]
    said.append(
        "Weight: +3 doubles the odds that it is this, +10 makes them ten times as good; minus does "
        "the opposite."
    )
    return said
