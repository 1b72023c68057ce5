"""The whole walk line by line: for screen readers, and for terminals that can do nothing else.

`run_plain` takes a car in and walks it, `resume_plain` goes on with a session. What is said comes
as whole sentences, one fact a line, without drawings, colours or movement. At every prompt `?`
gives help and `back` goes one step back. Every reading is on the disk before the next prompt, so
the end of the input (or of the power) loses nothing that was confirmed. Nothing here needs the
screens' library; rules and sums are those of the session and the scorer.
"""

from __future__ import annotations

import getpass
import re
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, get_args

from faulttree.handover.blocks import plain_line
from faulttree.screen.wording import (
    band_range,
    chance_words,
    minutes_words,
    money_words,
    pattern_words,
    percent,
    reach_words,
    settles_words,
    sure_words,
    weight_words,
    why_limits,
)
from faulttree.screen.work import Advised, Reckoned, Reckoner, Work, begin, resume
from faulttree.session.entry import parse_choice, parse_part, parse_spec
from faulttree.session.events import (
    CannotDo,
    CautionAcknowledged,
    CautionAnswer,
    Closed,
    ComplaintChecked,
    ComplaintTaken,
    Event,
    Noted,
    Outcome,
    ReadingTaken,
    Repaired,
    RouteLeft,
    Showing,
    SpecGiven,
    TakenAs,
    VehicleDescribed,
)
from faulttree.session.journal import JournalError
from faulttree.session.moves import Command, NotAllowed, TakeReading, Undo, undoable
from faulttree.session.standing import NOT_LISTED, cautions_of
from faulttree.session.words import name_of, say
from faulttree.trade.units import ReadingError, parse_quantity
from faulttree.tree.car import SpecUnknown, limits_for

if TYPE_CHECKING:
    from faulttree.session.events import Carrier
    from faulttree.tree.graph import RouteStep
    from faulttree.tree.load import TreeCard
    from faulttree.tree.model import Caution, Knowledge, Test, Tree

Ask = Callable[[str], str]
Say = Callable[[str], Any]
Option = tuple[str, str]
"""The id of an answer, and its words."""

LIKELIEST = 5
SAID = "What does the driver say?"
SEEN = "Did you see the complaint before work began?"
ANOTHER = "another-car"
SHOWING: tuple[Option, ...] = (("yes", "yes"), ("no", "no"), ("unknown", "not known"))

COMMANDS: tuple[tuple[str, str, str], ...] = (
    ("route", "r", "do what the route asks for next"),
    ("advice", "a", "do what is worth most for its cost"),
    ("test", "t", "choose any other test"),
    ("fix", "f", "record a repair, then prove it"),
    ("proof", "p", "after a repair: what to go through again, before beside after"),
    ("why", "w", "why a cause stands where it does, reading by reading"),
    ("causes", "k", "the chances of all causes"),
    ("look", "l", "say again where things stand"),
    ("cannot", "x", "say that the route's next test cannot be done, and why"),
    ("note", "n", "write a note into the session"),
    ("figures", "e", "type one of the maker's figures for this car"),
    ("undo", "u", "take the last entry back"),
    ("handover", "h", "read the report, and write it beside the log"),
    ("close", "c", "close the session"),
    ("quit", "q", "leave; everything is saved"),
)


_STEP = re.compile(r"[0-9]{1,2}[.)]\s|[-*•]\s")


def whole_steps(written: str) -> str:
    """Steps one a line: what was broken for the width of a file is put together again.

    Words set apart by several spaces are a little table, whose rows are kept.
    """
    steps: list[str] = []
    for line in filter(None, map(str.strip, written.split("\n"))):
        goes_on = steps and not _STEP.match(line) and "  " not in line and "  " not in steps[-1]
        if goes_on:
            steps[-1] += f" {line}"
        else:
            steps.append(line)
    return "\n".join(steps)


class Back(Exception):
    """Somebody typed `back`."""


class Talk:
    """Questions and answers; the only place that asks and says.

    What is said is data as well as words of ours, so everything loses its power over the terminal
    here.
    """

    def __init__(self, ask: Ask, say: Say) -> None:
        self._ask, self._say = ask, say

    def say(self, text: str) -> None:
        """Say one or more lines."""
        for line in text.split("\n"):
            self._say(plain_line(line))

    def line(self, prompt: str, help: str) -> str:
        """A line that was typed; `?` says the help, `back` raises Back, the end EOFError."""
        while True:
            typed = self._ask(f"{plain_line(prompt)} ").strip()
            if typed == "?":
                self.say(f"{help} Type back to go one step back.")
            elif typed.casefold() == "back":
                raise Back
            else:
                return typed

    def choose(
        self, prompt: str, options: Sequence[Option], *, default: str = "", help: str = ""
    ) -> str:
        """The id of one of the numbered options, chosen by number, or by the words it begins with.

        Enter alone takes the default, when there is one.
        """
        for at, (id, words) in enumerate(options, 1):
            self.say(f"{at}. {words}{' (Enter)' if id == default else ''}")
        help = help or "Type the number of an answer, or the words it begins with."
        while True:
            typed = self.line(prompt, help)
            if not typed and default:
                return default
            found = matching(typed, options)
            if len(found) == 1:
                return found[0]
            which = "more than one answer begins like that" if found else "that is no answer here"
            self.say(f"{typed or 'Nothing'}: {which}. Type a number from 1 to {len(options)}.")


def matching(typed: str, options: Sequence[Option]) -> list[str]:
    """The ids that a typed answer means: one by its number or its whole words, else beginnings."""
    if typed.isascii() and typed.isdigit():
        at = int(typed)
        return [options[at - 1][0]] if 1 <= at <= len(options) else []
    wanted = typed.casefold()
    if not wanted:
        return []
    whole = [id for id, words in options if wanted in (id.casefold(), words.casefold())]
    return whole or [id for id, words in options if words.casefold().startswith(wanted)]


def run_plain(
    trees: Path,
    sessions: Path,
    tree_ids: Sequence[str] = (),
    vehicle: str | None = None,
    who: str | None = None,
    *,
    ask: Ask = input,
    say: Say = print,
) -> int:
    """Take a car in and walk it, line by line. Returns the exit code."""
    talk = Talk(ask, say)
    try:
        work = _Intake(talk, trees, sessions, tuple(tree_ids), vehicle, who or _login()).work()
    except (Back, EOFError):
        talk.say("\nLeft. No session was begun.")
        return 0
    return _walk(talk, work) if work is not None else 1


def resume_plain(path: Path, who: str | None = None, *, ask: Ask = input, say: Say = print) -> int:
    """Go on with a session, line by line. Returns the exit code."""
    from faulttree.tree.problem import TreeError

    talk = Talk(ask, say)
    try:
        work = resume(path, who or _login())
    except (JournalError, TreeError) as trouble:
        talk.say(str(trouble))
        return 1
    return _walk(talk, work)


def _walk(talk: Talk, work: Work) -> int:
    try:
        Walk(talk, work).run()
    except EOFError:
        talk.say("\nThe input has ended.")
    finally:
        work.close()
    if work.path is not None:
        talk.say(f"Everything is saved in {work.path}.")
        if work.state.is_open:
            talk.say(f"Go on with: faulttree resume --plain {work.path}")
    return 0


def _login() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return "technician"


# --- taking a car in ---------------------------------------------------------------------------


class _Intake:
    """The questions before a session begins; `back` goes to the one before."""

    def __init__(
        self,
        talk: Talk,
        trees: Path,
        sessions: Path,
        tree_ids: tuple[str, ...],
        vehicle: str | None,
        who: str,
    ) -> None:
        self.talk, self.trees, self.sessions, self.who = talk, trees, sessions, who
        self.given, self.given_vehicle = tree_ids, vehicle
        self.knowledge: Knowledge | None = None
        self.car = VehicleDescribed()
        self.taken: list[ComplaintTaken] = []

    def work(self) -> Work | None:
        """The session that was begun, or None when it cannot be; raises Back at the first one."""
        questions = (self._complaints, self._vehicle, self._driver)
        at = 0
        while at < len(questions):
            try:
                if not questions[at]():
                    return None
                at += 1
            except Back:
                at -= 1
                # What was given on the command line was not asked, so there is no way back to it.
                if (at == 1 and self.given_vehicle) or (at == 0 and self.given):
                    at -= 1
                if at < 0 or (at == 0 and self.given):
                    raise
        assert self.knowledge is not None
        names = [self.knowledge.trees[one.tree].complaint for one in self.taken]
        title = (
            f"{' + '.join(names)} - {self.car.name.split(',')[0]}"
            if self.car.name
            else " + ".join(names)
        )
        trees = [one.tree for one in self.taken]
        try:
            return begin(
                self.sessions, self.knowledge, self.who, title, trees, [*self.taken, self.car]
            )
        except (JournalError, NotAllowed) as trouble:
            self.talk.say(str(trouble))
            return None

    def _complaints(self) -> bool:
        from faulttree.tree.load import list_trees, load
        from faulttree.tree.problem import TreeError

        wanted = self.given or self._ask_complaints(list_trees(self.trees))
        if not wanted:
            return False
        try:
            self.knowledge = load(list(wanted), trees_dir=self.trees)
        except (TreeError, OSError) as trouble:
            self.talk.say(f"The trees cannot be used as they are:\n{trouble}")
            return False
        return True

    def _ask_complaints(self, cards: Sequence[TreeCard]) -> tuple[str, ...]:
        if not cards:
            self.talk.say(f"There are no trees in {self.trees}.")
            return ()
        for at, card in enumerate(cards, 1):
            self.talk.say(f"{at}. {card.complaint}")
        help = (
            "Type the number of a complaint, several with commas between them, or a word of what "
            "the driver says to find it."
        )
        while True:
            typed = self.talk.line("What does the driver complain of?", help)
            pieces = [piece.strip() for piece in typed.split(",") if piece.strip()]
            numbers = [int(piece) for piece in pieces if piece.isascii() and piece.isdigit()]
            if pieces and len(numbers) == len(pieces):
                if all(1 <= number <= len(cards) for number in numbers):
                    return tuple(dict.fromkeys(cards[number - 1].id for number in numbers))
                self.talk.say(f"The complaints are numbered from 1 to {len(cards)}.")
                continue
            words = typed.casefold().split()
            found = [
                (at, card)
                for at, card in enumerate(cards, 1)
                if words
                and all(
                    w in " ".join((card.complaint, *card.driver_says)).casefold() for w in words
                )
            ]
            for at, card in found:
                self.talk.say(f"{at}. {card.complaint}")
            self.talk.say("Type its number." if found else f"Nothing answers that. {help}")

    def _vehicle(self) -> bool:
        assert self.knowledge is not None
        cars = self.knowledge.vehicles
        chosen = self.given_vehicle
        if chosen is not None and chosen not in cars:
            known = ", ".join(cars) or "none"
            self.talk.say(f"There is no vehicle {chosen!r}. The shop's own: {known}.")
            self.given_vehicle = chosen = None
        if chosen is None:
            options = [*((car.id, car.name) for car in cars.values()), (ANOTHER, "another car")]
            chosen = self.talk.choose(
                "Which car is it?",
                options,
                help="The file of a car of the shop's own gives the maker's figures; for any other "
                "car they are generic until you type them. Type a number.",
            )
        if chosen != ANOTHER:
            self.car = VehicleDescribed(chosen, cars[chosen].name)
            return True
        name = self.talk.line(
            "What shall it be called? (Enter for no name)",
            "A registration or a few words, to tell it from other cars.",
        )
        self.car = VehicleDescribed(None, name)
        return True

    def _driver(self) -> bool:
        """What the driver says of every complaint, question by question."""
        assert self.knowledge is not None
        trees = tuple(self.knowledge.trees.values())
        asked = [(tree, what) for tree in trees for what in (SAID, *tree.ask, SEEN)]
        found: dict[tuple[str, str], str] = {}
        at = 0
        while at < len(asked):
            tree, what = asked[at]
            try:
                found[tree.id, what] = self._question(tree, what)
            except Back:
                if at == 0:
                    raise
                at -= 1
                continue
            at += 1
        self.taken = [
            ComplaintTaken(
                tree.id,
                found[tree.id, SAID],
                {what: found[tree.id, what] for what in tree.ask if found[tree.id, what]},
                found[tree.id, SEEN],  # type: ignore[arg-type]
            )
            for tree in trees
        ]
        return True

    def _question(self, tree: Tree, what: str) -> str:
        if what == SAID:
            self.talk.say(f"Complaint: {tree.complaint}")
            return self.talk.line(f"{SAID} (Enter for nothing)", "His own words, in one line.")
        if what == SEEN:
            return _showing(self.talk, SEEN)
        return self.talk.line(f"{what} (Enter: not known)", "A question for the driver.")


def _showing(talk: Talk, prompt: str) -> Showing:
    help = (
        "A fault that comes and goes can be missed. A reading taken while the complaint was not "
        "showing counts for less."
    )
    answer: Showing = talk.choose(prompt, SHOWING, default="unknown", help=help)  # type: ignore[assignment]
    return answer


# --- the walk ----------------------------------------------------------------------------------


class Walk:
    """The loop of a session: what stands, what to do next, one command at a time."""

    def __init__(self, talk: Talk, work: Work) -> None:
        self.talk, self.work = talk, work
        self.reckoner = Reckoner(work.knowledge)
        self.reckoned: Reckoned | None = None
        self.advised: Advised | None = None
        self.steps: dict[str, RouteStep] = {}
        self.told = self.told_causes = -1

    def run(self) -> None:
        """Go on until the session is closed or left."""
        self.talk.say(f"Session: {self.work.title}")
        if self.work.state.closed is not None:
            self.talk.say("The session is closed.")
            return
        for tree in self.work.state.trees:
            try:
                self._cautions("tree", tree)
            except Back:
                self.talk.say("The caution stays open; it is asked again when you resume.")
        while self.work.state.is_open:
            self._look()
            # Said again only when something was recorded: a voice takes its time.
            if self.told != self.work.state.last:
                self._situation()
            try:
                if not self._command():
                    return
            except Back:
                self.talk.say("Back at the walk.")

    def _do(self, *commands: Command) -> tuple[Event, ...]:
        """Write what the commands make; says why not and gives nothing when it is not allowed."""
        try:
            return self.work.do(*commands)
        except (NotAllowed, ReadingError, JournalError) as trouble:
            self.talk.say(f"Not recorded. {trouble}")
            return ()

    # --- what stands -----------------------------------------------------------------------------

    def _look(self) -> None:
        if self.reckoned is not None and self.reckoned.moved == self.work.moved:
            self.steps = self.work.routes()
            return
        state, car = self.work.state, self.work.car
        self.reckoned = self.reckoner.chances(state, car, self.work.before_last())
        self.advised = self.reckoner.advice(state, car)
        self.steps = self.work.routes()

    def _situation(self) -> None:
        """The likeliest causes when they moved, then route and advice."""
        assert self.reckoned is not None
        self.told = self.work.state.last
        if self.told_causes != self.reckoned.moved:
            self._causes(LIKELIEST)
            self.told_causes = self.reckoned.moved
        knowledge = self.work.knowledge
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
                words = f"suspect {knowledge.causes[step.id].name}; repair it with fix"
            else:
                words = step.why or "the route ends here"
            self.talk.say(f"Route{of_tree}: {words.rstrip('.')}.")
            last = step.last
            if step.kind != "end" and last is not None and last.how == "read":
                self.talk.say(
                    f"That is because {knowledge.tests[last.test].name} read {last.band}."
                )
        best = self._best()
        if best is None:
            self.talk.say("Advice: nothing is left that would tell more.")
            return
        verb = "repair " if best.kind == "repair" else ""
        parts = f", parts {money_words(best.parts)}" if best.parts else ""
        self.talk.say(f"Advice: {verb}{best.name}, {minutes_words(best.minutes)}{parts}.")
        for line in best.settles[:2]:
            self.talk.say(f"It would settle: {line}.")

    def _best(self) -> Any:
        return self.advised.suggestions[0] if self.advised and self.advised.suggestions else None

    def _causes(self, count: int | None) -> None:
        assert self.reckoned is not None
        if self.reckoned.trouble:
            self.talk.say(self.reckoned.trouble)
        if not self.reckoned.exact:
            left = percent(self.reckoned.omitted)
            self.talk.say(f"Rough figures: {left} of what is possible is left out.")
        if self.advised and self.advised.conflict and self.advised.conflict.serious:
            self.talk.say(self.advised.conflict.message)
        standing = [cause for cause in self.reckoned.causes if not cause.repaired]
        if standing:
            self.talk.say("Likeliest causes:" if count else "Causes:")
        for at, cause in enumerate(standing[:count], 1):
            moved = ""
            if percent(cause.before) != percent(cause.chance):
                word = "rose" if cause.chance > cause.before else "fell"
                moved = f", {word} from {percent(cause.before)}"
            chance = f"{percent(cause.chance)}, {chance_words(cause.chance)}"
            self.talk.say(f"{at}. {cause.name}: {chance}{moved}")

    # --- commands --------------------------------------------------------------------------------

    def _command(self) -> bool:
        """Ask for one command and do it; False when it was to leave."""
        help = "\n".join(f"{name} or {key}: {about}." for name, key, about in COMMANDS)
        typed = self.talk.line("What now? (Enter for the route, ? for help)", f"{help}\n")
        options = [(name, name) for name, _, _ in COMMANDS]
        found = [name for name, key, _ in COMMANDS if typed.casefold() == key]
        found = found or (matching(typed, options) if not typed.isdigit() else [])
        name = "route" if not typed else found[0] if len(found) == 1 else ""
        if name == "quit":
            return False
        if not name:
            self.talk.say(f"{typed} is no command. Type ? for the list of commands.")
            return True
        getattr(self, f"_do_{name}")()
        return True

    def _do_look(self) -> None:
        self.told = self.told_causes = -1

    def _do_route(self) -> None:
        going = {(s.kind, s.id): s for s in self.steps.values() if s.kind != "end"}
        if not going:
            self.talk.say("The route has ended. Take the advice, a test, or record a repair.")
            return
        options = [(f"{kind}:{id}", name_of(id, self.work.knowledge)) for kind, id in going]
        chosen = options[0][0]
        if len(options) > 1:
            help = "Each complaint has a route of its own; either may go first."
            chosen = self.talk.choose(
                "Which route? (Enter for the first)", options, default=chosen, help=help
            )
        kind, _, id = chosen.partition(":")
        if kind == "test":
            self._test(id, "route")
        else:
            self._repair(id)

    def _do_advice(self) -> None:
        best = self._best()
        if best is None:
            self.talk.say("There is no advice.")
        elif best.kind == "test":
            self._test(best.id, "advice")
        else:
            self._repair(best.id)

    def _do_test(self) -> None:
        tests = [test for test in self.work.knowledge.tests.values() if self.work.fits(test)]
        test = self._find("Which test?", [(test.id, test.name) for test in tests])
        self._test(test, "free")

    def _find(self, prompt: str, options: Sequence[Option]) -> str:
        """Choose from a long list by a word first."""
        help = "Type a word of the name to find it, then its number. Enter alone lists all."
        while True:
            words = self.talk.line(f"{prompt} (a word of its name)", help).casefold().split()
            found = [
                (id, name)
                for id, name in options
                if all(word in f"{name} {id}".casefold() for word in words)
            ]
            if not found:
                self.talk.say("Nothing answers that.")
                continue
            try:
                return self.talk.choose("Which number?", found)
            except Back:
                continue

    def _do_causes(self) -> None:
        self._causes(None)

    def _do_why(self) -> None:
        assert self.reckoned is not None
        standing = [cause for cause in self.reckoned.causes if not cause.repaired]
        way = self.advised.explanation if self.advised else None
        if not standing or way is None or self.advised is None:
            self.talk.say("There is nothing to explain: the readings exclude one another.")
            return
        options = [(c.id, f"{c.name}, {percent(c.chance)}") for c in standing[:12]]
        cause = self.talk.choose("Why which cause?", options)
        self.talk.say(f"{name_of(cause, self.work.knowledge)}:")
        self.talk.say(f"With the complaint alone: {percent(way.start.get(cause, 0.0))}.")
        for step in way.steps:
            weight = step.decibans.get(cause, 0.0)
            name = self.advised.sources.get(step.source, step.source)
            chance = percent(step.chances.get(cause, 0.0))
            self.talk.say(
                f"{name}, {step.band}: {weight_words(weight)} ({weight:+.1f} decibans), {chance}."
            )

    def _do_cannot(self) -> None:
        going = [step for step in self.steps.values() if step.kind == "test"]
        if not going:
            self.talk.say("The route asks for no test.")
            return
        self._cannot(going[0].id)

    def _cannot(self, test: str) -> None:
        name = self.work.knowledge.tests[test].name
        reason = self.talk.line(
            f"{name} cannot be done. Why?", "No tool, no access, no part: in a few words."
        )
        if self._do(CannotDo(test, reason)):
            self.talk.say("Recorded. The route and the advice pass it by.")

    def _do_note(self) -> None:
        note = self.talk.line("Note:", "A line in your own words; it goes into the report.")
        if self._do(Noted(note)):
            self.talk.say("Noted.")

    def _do_figures(self) -> None:
        specs = self.work.knowledge.specs
        self._figure(self._find("Which figure?", [(spec.id, spec.name) for spec in specs.values()]))

    def _figure(self, spec_id: str) -> None:
        """Ask for a figure of the maker's until it makes sense, and write it into the session."""
        spec = self.work.knowledge.specs[spec_id]
        unit = f" in {spec.unit}" if spec.unit else ""
        about = f" {spec.about}" if spec.about else ""
        if spec.choices:
            about += f" One of: {', '.join(spec.choices)}."
        while True:
            typed = self.talk.line(
                f"{spec.name}{unit}:", f"As the maker gives it, with or without its unit.{about}"
            )
            try:
                value = parse_spec(spec, typed)
            except ReadingError as trouble:
                self.talk.say(str(trouble))
                continue
            source = self.talk.line("Where does it stand? (Enter for nothing)", "A book, a plate.")
            if self._do(SpecGiven(spec_id, value, typed, source)):
                self.talk.say("Recorded.")
                return

    def _do_undo(self) -> None:
        last = undoable(self.work.state)
        if last is None:
            self.talk.say("There is nothing to undo.")
            return
        self.talk.say(f"The last entry: {say(last.event, self.work.knowledge)}")
        sure = self.talk.choose(
            "Take it back?",
            (("yes", "yes"), ("no", "no")),
            help="What is taken back stays in the log, marked as such, and counts no more.",
        )
        if sure == "yes" and self._do(Undo()):
            self.talk.say("Taken back.")

    # --- cautions --------------------------------------------------------------------------------

    def _cautions(self, carrier: Carrier, id: str) -> None:
        """Say every caution of a test, repair or complaint; ask for an answer where one is due."""
        open_ones = {caution.id for caution in self.work.cautions(carrier, id)}
        for caution in cautions_of(self.work.knowledge, carrier, id):
            self.talk.say(f"Caution: {caution.danger} {caution.do}")
            if caution.id in open_ones:
                self._answer(caution, carrier, id)

    def _answer(self, caution: Caution, carrier: Carrier, id: str) -> None:
        options: list[Option] = [
            ("understood", "understood, and I will do it so"),
            ("does not apply", "this car has nothing of the kind"),
            ("trained", "someone trained for it does this part"),
        ]
        help = "The answer goes into the log. Type a number."
        if caution.kind == "stop":
            options = options[1:]
            help = "This stops the work. If neither is so, go back and hand the car on."
        while True:
            answer: CautionAnswer = self.talk.choose("Your answer?", options, help=help)  # type: ignore[assignment]
            if self._do(CautionAcknowledged(caution.id, carrier, id, answer)):
                return

    # --- a test ----------------------------------------------------------------------------------

    def _test(self, id: str, way: TakenAs) -> None:
        """Say how a test is done, ask for its reading, and record it."""
        test = self.work.knowledge.tests[id]
        self.talk.say(
            f"Test: {test.name}, {minutes_words(test.minutes)}, {reach_words(test.reach)}."
        )
        self._cautions("test", id)
        self.talk.say("Do this:")
        self.talk.say(whole_steps(test.do))
        if test.tools:
            self.talk.say(f"Tools: {', '.join(test.tools)}.")
        if test.spoils:
            self.talk.say(f"What spoils it: {test.spoils}")
        self._limits(test)
        best = {s.id: s for s in self.advised.suggestions} if self.advised else {}
        if id in best:
            self.talk.say(f"To be expected: {settles_words(best[id].bands, test.expect)}.")
        leaving = self._leaves_route(id, way)
        events: tuple[Event, ...] = ()
        while not events:
            found = self._entry(test)
            if found is None:
                return
            typed, entry = found
            showing = _showing(self.talk, "Was the complaint showing?")
            events = self._record(*leaving, TakeReading(id, typed, entry, showing, way))
        taken = next(event for event in events if isinstance(event, ReadingTaken))
        near = " It is near a limit; a second reading would tell more." if taken.near else ""
        self.talk.say(f"Recorded: {test.name}: {taken.band}, {sure_words(taken.sure)}.{near}")
        if test.base and taken.band != test.expect:
            self.talk.say(f"This is a base reading and it is out. {test.base}")

    def _record(self, *commands: Command) -> tuple[Event, ...]:
        """Write a reading; a figure of the maker's that its limits need is asked for first."""
        while True:
            try:
                return self.work.do(*commands)
            except SpecUnknown as unknown:
                self.talk.say(str(unknown))
                self._figure(unknown.spec)
            except (NotAllowed, ReadingError, JournalError) as trouble:
                self.talk.say(f"Not recorded. {trouble}")
                return ()

    def _limits(self, test: Test) -> None:
        """Where the bands of a test lie on this car, and what that rests on."""
        car, knowledge = self.work.car, self.work.knowledge
        try:
            if test.kind == "number":
                limits = limits_for(test, car, knowledge)
                for band in test.bands:
                    self.talk.say(f"{band}: {band_range(test, limits, band)}.")
            elif test.kind == "pattern":
                self.talk.say(f"In limits: {pattern_words(test, car, knowledge)}.")
        except SpecUnknown as unknown:
            self.talk.say(f"The limits are not known: {unknown}.")
            return
        for line in why_limits(test, car, knowledge):
            self.talk.say(f"The limits rest on: {line}.")

    def _entry(self, test: Test) -> tuple[str, Any] | None:
        """What was typed and the entry that it makes; None when the test cannot be done."""
        from faulttree.scorer.evidence import Entry

        cannot = "Type cannot if the test cannot be done."
        if test.reading is None:
            for at, band in enumerate(test.bands, 1):
                self.talk.say(f"{at}. {band}")
            while True:
                help = f"Type the number of what you found, or its name. {cannot}"
                typed = self.talk.line("What did you find?", help)
                if typed.casefold() == "cannot":
                    self._cannot(test.id)
                    return None
                bands = [(band, band) for band in test.bands]
                found = matching(typed, bands)
                try:
                    choice = found[0] if len(found) == 1 else parse_choice(test, typed)
                except ReadingError as trouble:
                    self.talk.say(str(trouble))
                    continue
                return choice, Entry(choice=choice)
        values: dict[str, tuple[float, ...]] = {}
        texts: list[str] = []
        cylinders = self.work.car.cylinders if test.reading.per_cylinder else 1
        for part in test.reading.parts:
            name = "Reading" if part.name == "value" else part.name.capitalize()
            unit = f" in {part.unit}" if part.unit else ""
            each = f", one for each of {cylinders} cylinders in order" if cylinders > 1 else ""
            while part.name not in values:
                help = f"A figure with or without its unit{each}. {cannot}"
                typed = self.talk.line(f"{name}{unit}{each}:", help)
                if typed.casefold() == "cannot":
                    self._cannot(test.id)
                    return None
                try:
                    values[part.name] = parse_part(test, part, typed, self.work.car)
                except ReadingError as trouble:
                    self.talk.say(str(trouble))
                    continue
                texts.append(typed if len(test.reading.parts) == 1 else f"{part.name}={typed}")
        return ", ".join(texts), Entry(values=values)

    def _leaves_route(self, test: str, way: TakenAs) -> list[RouteLeft]:
        """What to note when something else is done than every route asks for."""
        asked = [(tree, s.id) for tree, s in self.steps.items() if s.kind in {"test", "cause"}]
        if not asked or any(id == test for _, id in asked) or self.work.readings_now(test):
            return []
        # Going through tests again to prove a repair is no leaving of the route.
        if test in {due.id for due in self._due()}:
            return []
        tree, step = asked[0]
        return [RouteLeft(tree, step, test, "the advice" if way == "advice" else "")]

    # --- repair and proof ------------------------------------------------------------------------

    def _do_fix(self) -> None:
        assert self.reckoned is not None
        standing = [c for c in self.reckoned.causes if not c.repaired]
        options = [
            (c.id, f"{c.name}, {percent(c.chance)}")
            for c in standing[:9]
            if not c.id.startswith(NOT_LISTED)
        ]
        options += [("other", "another of the listed causes"), (NOT_LISTED, "a cause not listed")]
        cause = self.talk.choose("What was put right?", options)
        if cause == "other":
            known = self.work.knowledge.causes.values()
            cause = self._find("Which cause?", [(one.id, one.name) for one in known])
        self._repair(cause)

    def _repair(self, id: str) -> None:
        """Say how a cause is put right, and record that it was; then go to the proof."""
        cause = self.work.knowledge.causes.get(id)
        as_written, minutes = "", None
        if cause is not None:
            as_written, minutes = " ".join(cause.repair.do.split()), cause.repair.minutes
            self.talk.say(f"Cause: {cause.name}. {cause.what.strip()}")
            self._cautions("cause", id)
            parts = f", parts {money_words(cause.repair.parts)}" if cause.repair.parts else ""
            self.talk.say(f"Repair, {minutes_words(cause.repair.minutes)}{parts}: {as_written}")
        hint = " (Enter: as written)" if as_written else ""
        help = "Type what was found and done, once it is done. Nothing is recorded before that."
        done = self.talk.line(f"What was done?{hint}", help) or as_written
        while True:
            typed = self.talk.line("Minutes it took? (Enter: leave open)", "Such as 40 or 1.5 h.")
            try:
                minutes = parse_quantity(typed, "min").value_in_default if typed else None
                break
            except ReadingError as trouble:
                self.talk.say(str(trouble))
        if not self._do(Repaired(id, done, minutes)):
            return
        self.talk.say("Repair recorded. Now prove it.")
        if cause is not None and cause.set_up:
            self.talk.say(f"Afterwards: {cause.set_up.strip()}")
        self._do_proof()

    def _due(self) -> Any:
        from faulttree.session.proof import to_repeat

        return to_repeat(self.work.state, self.work.knowledge)

    def _do_proof(self) -> None:
        """Go through what proves the repair, until all is done or somebody goes back."""
        if not self.work.state.repairs:
            self.talk.say("Nothing was repaired yet, so there is nothing to prove.")
            return
        while True:
            self._look()
            left = [due for due in self._due() if not due.done and not due.cannot]
            if not left:
                break
            self.talk.say("To go through again:")
            options = [(f"{due.kind}:{due.id}", f"{due.name}, {due.why}") for due in left]
            chosen = self.talk.choose(
                "Which one? (Enter for the first)",
                options,
                default=options[0][0],
                help="A repair is proved by the same readings as before it, and by the complaint "
                "being gone. Going back leaves the rest for later.",
            )
            kind, _, id = chosen.partition(":")
            try:
                if kind == "test":
                    self._test(id, "free")
                else:
                    self._check(id)
            except Back:
                self.talk.say("Back at the proof.")
        self._before_after()

    def _check(self, tree: str) -> None:
        found: Literal["present", "gone"] = self.talk.choose(  # type: ignore[assignment]
            f"{name_of(tree, self.work.knowledge)}: is it still there?",
            (("present", "still there"), ("gone", "gone")),
            help="Drive the car as when it came in, long enough for the complaint to show.",
        )
        how = self.talk.line("How was it looked for? (Enter for nothing)", "Where, how long.")
        if self._do(ComplaintChecked(tree, found, how)):
            self.talk.say("Recorded.")

    def _before_after(self) -> None:
        from faulttree.session.proof import before_beside_after

        self.talk.say("Before and after:")
        for row in before_beside_after(self.work.state, self.work.knowledge):
            was = row.before.band if row.before else "not read"
            now = row.after.band if row.after else "not repeated"
            self.talk.say(f"{row.name}: before {was}, after {now}: {row.verdict}.")

    # --- report and close ------------------------------------------------------------------------

    def _do_handover(self) -> None:
        from faulttree.handover.markdown import to_markdown
        from faulttree.handover.report import report

        text = to_markdown(report(self.work.state, self.work.knowledge, ""))
        self.talk.say(text.rstrip("\n"))
        if self.work.path is None:
            return
        path = self.work.path.with_suffix(".md")
        try:
            path.write_text(text, encoding="utf-8")
        except OSError as trouble:
            self.talk.say(f"{path}: the report cannot be written: {trouble.strerror}.")
            return
        self.talk.say(f"Written: {path}")

    def _do_close(self) -> None:
        outcome: Outcome = self.talk.choose(  # type: ignore[assignment]
            "How did it come out?",
            [(outcome, outcome) for outcome in get_args(Outcome)],
            help="Cured needs a repair, its cause, and the complaint found gone afterwards.",
        )
        causes: tuple[str, ...] = ()
        if outcome != "not found":
            causes = self._confirmed()
        left = self.talk.line(
            "What is left to be done? (Enter for nothing)", "A line for whoever comes next."
        )
        if self._do(Closed(outcome, causes, left)):
            self.talk.say(f"Closed: {outcome}.")

    def _confirmed(self) -> tuple[str, ...]:
        """The causes that were really found: each one repaired, confirmed by yes or no."""
        causes = []
        for cause in dict.fromkeys(fact.event.cause for fact in self.work.state.repairs):
            answer = self.talk.choose(
                f"Was this really a cause: {name_of(cause, self.work.knowledge)}?",
                (("yes", "yes"), ("no", "no")),
                default="yes",
                help="Past sessions are learned from: say yes only for what was really at fault.",
            )
            if answer == "yes":
                causes.append(cause)
        return tuple(causes)
