"""Taking a car in by questions: the complaints, the car, what the driver says.

Unknown is a good answer everywhere, and Enter alone says it. `back` goes to the question before.
Nothing is written to the disk before the session begins.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from faulttree.screen.plain.talk import Back, Option, Talk, answer_prompt, matching, numbered
from faulttree.screen.search import rank
from faulttree.screen.work import Work, begin
from faulttree.session.events import (
    ComplaintTaken,
    Event,
    Showing,
    SpecGiven,
    VehicleDescribed,
)
from faulttree.session.journal import JournalError
from faulttree.session.moves import NotAllowed, read_spec, spec_outside
from faulttree.trade.units import ReadingError

if TYPE_CHECKING:
    from faulttree.tree.load import TreeCard
    from faulttree.tree.model import Knowledge, Spec, Tree

SAID = "What does the driver say?"
SEEN = "Did you see the complaint before work began?"
OFTEN = "How often is it there?"
HOW_OFTEN = ("always there", "comes and goes", "only when cold", "only when hot")
ANOTHER = "another-car"
UNKNOWN = "unknown!"
NAMELESS = "Car without a name"
SHOWING: tuple[Option, ...] = (("yes", "yes"), ("no", "no"), ("unknown", "not known"))
SHOWING_HELP = (
    "A fault that comes and goes can be missed. A reading taken while the complaint was not "
    "showing counts for less."
)


SKIP = "Type skip to leave out this question and the rest; the command driver asks them later."


class _Skip(Exception):
    """Somebody typed `skip`: the rest of the questions stays unknown."""


class Intake:
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
        self.specs: dict[str, SpecGiven] = {}
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
        trees = [one.tree for one in self.taken]
        first: list[Event] = [*self.taken, self.car, *self.specs.values()]
        while True:
            try:
                return begin(self.sessions, self.knowledge, self.who, self._title(), trees, first)
            except (JournalError, NotAllowed) as trouble:
                self.talk.say(str(trouble))
            # A full disk can be mended, and what was typed should not have to be typed again.
            try:
                if not self.talk.yes("Try again?", help="What was typed is kept until you leave."):
                    return None
            except EOFError:
                return None

    def _title(self) -> str:
        assert self.knowledge is not None
        complaints = " + ".join(self.knowledge.trees[one.tree].complaint for one in self.taken)
        own = self.knowledge.vehicles[self.car.vehicle] if self.car.vehicle else None
        return f"{complaints} - {own.name.split(',')[0] if own else self.car.name}"

    # --- the complaints --------------------------------------------------------------------------

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
        question = "What does the driver complain of?"
        self.talk.say(numbered(question, [card.complaint for card in cards]))
        help = (
            "Type the number of a complaint, several with commas between them, or a word or two of "
            "what the driver says to find it. Enter alone lists all."
        )
        while True:
            typed = self.talk.line("Type numbers, or words to search for:", help)
            pieces = typed.replace(",", " ").split()
            numbers = [int(piece) for piece in pieces if piece.isascii() and piece.isdigit()]
            if pieces and len(numbers) == len(pieces):
                if all(1 <= number <= len(cards) for number in numbers):
                    return tuple(dict.fromkeys(cards[number - 1].id for number in numbers))
                self.talk.say(f"The complaints are numbered from 1 to {len(cards)}.")
                continue
            self._found(typed, cards)

    def _found(self, typed: str, cards: Sequence[TreeCard]) -> None:
        """Say the complaints that answer a driver's words, the best first, by their numbers."""
        ranked = [
            (rank(typed, (card.complaint, *card.driver_says)), at, card)
            for at, card in enumerate(cards, 1)
        ]
        found = sorted((one for one in ranked if one[0] > 0), key=lambda one: (-one[0], one[1]))
        for _, at, card in found:
            said = max(card.driver_says, key=lambda phrase: rank(typed, [phrase]), default="")
            # A driver's words help to tell two complaints apart only where they were asked for.
            says = f", as drivers say: {said}" if said and typed else ""
            self.talk.say(f"{at}. {card.complaint}{says}")
        if not found:
            self.talk.say(f"{typed}: nothing answers that. Try another word, or Enter for all.")
            return
        self.talk.say(f"{len(found)} found.")

    # --- the car ---------------------------------------------------------------------------------

    def _vehicle(self) -> bool:
        assert self.knowledge is not None
        cars = self.knowledge.vehicles
        chosen = self.given_vehicle
        if chosen is not None and chosen not in cars:
            known = ", ".join(cars) or "none"
            self.talk.say(f"There is no vehicle {chosen!r}. The shop's own: {known}.")
            self.given_vehicle = chosen = None
        if chosen is not None:
            self._own(chosen)
            return True
        options = [*((car.id, car.name) for car in cars.values()), (ANOTHER, "another car")]
        help = (
            "The file of a car of the shop's own gives the maker's figures; for any other "
            "car they are generic until you type them. Type a number."
        )
        while True:
            chosen = self.talk.choose("Which car is it?", options, help=help)
            if chosen != ANOTHER:
                self._own(chosen)
                return True
            try:
                self._describe()
            except Back:
                continue
            return True

    def _own(self, vehicle: str) -> None:
        self.car, self.specs = VehicleDescribed(vehicle), {}

    def _describe(self) -> None:
        """A car that no file tells of: its name, what kind of engine, and any figures at hand."""
        assert self.knowledge is not None
        specs = self.knowledge.specs
        kinds = [spec for spec in specs.values() if spec.choices]
        name = self.talk.line(
            "What shall it be called? (Enter for no name)",
            "A registration or a few words, to tell it from other cars.",
        )
        self.car = VehicleDescribed(None, name or NAMELESS)
        if kinds:
            self.talk.say("What kind of car is it? Enter alone means not known, everywhere.")
        at = 0
        while at < len(kinds):
            try:
                self._kind(kinds[at])
            except Back:
                if at == 0:
                    self._describe()
                    return
                at -= 1
                continue
            at += 1
        self._figures([spec for spec in specs.values() if not spec.choices])

    def _kind(self, spec: Spec) -> None:
        assert spec.choices
        options = [(choice, choice) for choice in spec.choices]
        chosen = self.talk.choose(
            f"{spec.name}?",
            [*options, (UNKNOWN, "not known")],
            default=UNKNOWN,
            help=f"{' '.join(spec.about.split())} Type a number.".strip(),
        )
        self.specs.pop(spec.id, None)
        if chosen != UNKNOWN:
            self.specs[spec.id] = SpecGiven(spec.id, chosen, chosen)

    def _figures(self, specs: Sequence[Spec]) -> None:
        """The maker's figures that are at hand; the rest is asked for when a limit needs it."""
        assert self.knowledge is not None
        options = [(spec.id, spec.name) for spec in specs]
        while options:
            chosen = self.talk.find(
                "Is there a figure of the maker's to type now? A word of its name",
                options,
                enter="no, go on",
            )
            if not chosen:
                return
            try:
                self.specs[chosen] = ask_figure(self.talk, self.knowledge.specs[chosen])
            except Back:
                continue

    # --- the driver ------------------------------------------------------------------------------

    def _driver(self) -> bool:
        """What the driver says of every complaint, question by question."""
        assert self.knowledge is not None
        trees = tuple(self.knowledge.trees.values())
        asked = [(tree, what) for tree in trees for what in (SAID, *tree.ask, OFTEN, SEEN)]
        found: dict[tuple[str, str], str] = {}
        self.talk.say("Type skip to leave out the rest of the questions; they can be asked later.")
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
            except _Skip:
                for left, question in asked[at:]:
                    found[left.id, question] = "unknown" if question == SEEN else ""
                break
            at += 1
        self.taken = [
            ComplaintTaken(
                tree.id,
                found[tree.id, SAID],
                {what: found[tree.id, what] for what in tree.ask if found[tree.id, what]},
                found[tree.id, SEEN],  # type: ignore[arg-type]
                found[tree.id, OFTEN],
            )
            for tree in trees
        ]
        return True

    def _question(self, tree: Tree, what: str) -> str:
        if what == SAID:
            self.talk.say(f"Complaint: {tree.complaint}")
            help = f"The driver's own words, in one line. {SKIP}"
            answer = self.talk.line(f"{SAID} (Enter for nothing)", help)
        elif what == OFTEN:
            answer = ask_often(self.talk)
        elif what == SEEN:
            answer = ask_showing(self.talk, SEEN, words=("skip",))
        else:
            help = f"A question for the driver. {SKIP}"
            answer = self.talk.line(f"{what} (Enter: not known)", help)
        if answer.casefold() == "skip":
            raise _Skip
        return answer


def ask_often(talk: Talk) -> str:
    """How often the complaint shows: one of the usual answers, other words, or "" for not known."""
    options = [(words, words) for words in HOW_OFTEN]
    asked = numbered(OFTEN, HOW_OFTEN)
    talk.say(asked)
    help = "Type a number, or your own words. It says whether a quiet drive proves anything."
    typed = talk.line("Answer, or your own words (Enter: not known):", help, asked)
    found = matching(typed, options)
    return found[0] if len(found) == 1 else typed


def ask_showing(talk: Talk, prompt: str, words: Sequence[str] = ()) -> Showing:
    """Whether the complaint was showing; Enter alone leaves it open.

    One of `words` is given back as it is.
    """
    answer: Showing = talk.choose(  # type: ignore[assignment]
        prompt, SHOWING, default="unknown", words=words, help=SHOWING_HELP
    )
    return answer


def ask_figure(talk: Talk, spec: Spec) -> SpecGiven:
    """Ask for one of the maker's figures until it makes sense."""
    unit = f" in {spec.unit}" if spec.unit else ""
    about = f" {' '.join(spec.about.split())}" if spec.about else ""
    asked, prompt = "", f"{spec.name}{unit}:"
    help = f"As the maker gives it, with or without its unit.{about}"
    if spec.choices:
        asked, prompt = numbered(f"{spec.name}?", spec.choices), answer_prompt()
        help = f"Type a number.{about}"
        talk.say(asked)
    while True:
        typed = talk.line(prompt, help, asked)
        if spec.choices:
            found = matching(typed, [(choice, choice) for choice in spec.choices])
            typed = found[0] if len(found) == 1 else typed
        try:
            value = read_spec(spec, typed)
        except ReadingError as trouble:
            talk.say(str(trouble))
            continue
        unusual = spec_outside(spec, value)
        if unusual and not talk.yes(f"{unusual} Take it anyway?", default=False):
            continue
        source = talk.line("Where does it stand? (Enter for nothing)", "A book, a plate.")
        return SpecGiven(spec.id, value, typed, source, outside=unusual is not None)
