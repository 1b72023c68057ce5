"""Taking a car in: the complaint, the vehicle, then one look over everything before the walk.

Two choices are enough to begin; what the driver says, the answers to the questions and the figures
of the car can be added on the way, or later from the walk. Unknown is a good answer everywhere.
Nothing is written to the disk before the walk begins.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.widgets import Input

from faulttree.screen import actions, text
from faulttree.screen.lists import PickList, Row, Search, heading, steer
from faulttree.screen.page import Head, KeyLine, Page, Words
from faulttree.screen.search import rank
from faulttree.session.events import Event, Showing, SpecGiven
from faulttree.tree.car import Car, describe_car, fits
from faulttree.tree.model import Knowledge, Test, Value

if TYPE_CHECKING:
    from faulttree.screen.app import FaulttreeApp
    from faulttree.tree.load import TreeCard

TYPED_CAR = "another-car"
NAMELESS = "Car without a name"
MOST_FOUND = 40

WHERE = ("Take a car in", "complaint - vehicle - ready")
"""What the head of every step says."""

HOW_OFTEN = ("always there", "comes and goes", "only when cold", "only when hot")


@dataclass(slots=True)
class Draft:
    """What the intake has found so far.

    Figures belong to the car that they were typed for: whoever chooses another car and comes back
    finds them again, and no car gets those of another.
    """

    trees: tuple[str, ...] = ()
    names: dict[str, str] = field(default_factory=dict)
    vehicle: str | None = None
    car_name: str = ""
    said: str = ""
    how_often: str = ""
    showing: Showing = "unknown"
    answers: dict[str, dict[str, str]] = field(default_factory=dict)
    figures: dict[str, dict[str, SpecGiven]] = field(default_factory=dict)
    knowledge: Knowledge | None = None

    @property
    def specs(self) -> dict[str, SpecGiven]:
        """The figures typed for the chosen car."""
        return self.figures.setdefault(self.vehicle or TYPED_CAR, {})

    @property
    def holds_words(self) -> bool:
        """Whether something was typed that would be lost."""
        words = self.said or self.how_often or self.car_name.replace(NAMELESS, "")
        return bool(words or any(self.answers.values()) or any(self.figures.values()))

    def values(self) -> dict[str, Value]:
        """The typed figures by spec."""
        return {spec: given.value for spec, given in self.specs.items()}


def start(app: FaulttreeApp, trees: tuple[str, ...], vehicle: str | None) -> None:
    """Begin taking a car in, at the first thing that is not known yet.

    Where no session can be begun that is said now, not once everything has been typed.
    """
    from faulttree.session.journal import JournalError, insist_writable

    try:
        insist_writable(app.sessions)
    except JournalError as trouble:
        show_words(app, "No session can be begun", str(trouble))
        return
    draft = Draft()
    if not trees:
        app.push_screen(ComplaintPage(draft))
        return
    draft.trees = trees
    draft.vehicle = vehicle

    def loaded(knowledge: Knowledge) -> None:
        app.busy("")
        draft.knowledge = knowledge
        draft.trees = tuple(knowledge.trees)
        draft.names = {id: tree.complaint for id, tree in knowledge.trees.items()}
        if vehicle is not None and vehicle not in knowledge.vehicles:
            known = ", ".join(knowledge.vehicles) or "none"
            app.notify(
                text.clean(f"There is no vehicle {vehicle!r}. The shop's own: {known}."),
                severity="warning",
                markup=False,
            )
            draft.vehicle = None
        if draft.vehicle is not None:
            app.push_screen(ReadyPage(draft))
        else:
            app.push_screen(VehiclePage(draft))

    app.busy("loading the trees...")
    app.load_trees(trees, loaded, lambda why: show_trouble(app, why))


def show_trouble(app: FaulttreeApp, why: str) -> None:
    """Say why the trees could not be loaded, with the place of every mistake."""
    app.busy("")
    show_words(app, "The trees cannot be used as they are", why)


def show_words(app: FaulttreeApp, title: str, *said: str) -> None:
    """Say what stands in the way, in a box that stays until it has been read."""
    from faulttree.screen.boxes import ReadBox

    rows = [text.line(row) for part in said for row in part.splitlines()]
    app.push_screen(ReadBox(title, text.stack(rows)))


class Intake(Page[None]):
    """A page of the intake; leaving the first of them with something typed is asked about."""

    draft: Draft

    def action_back(self) -> None:
        below = self.app.screen_stack[-2] if len(self.app.screen_stack) > 1 else None
        if isinstance(below, Intake) or not self.draft.holds_words:
            self.dismiss(None)
            return
        from faulttree.screen.boxes import AskBox

        answers = [
            Row("stay", text.line(("Stay here", "bold"))),
            Row("leave", text.line("Leave it: nothing is kept")),
        ]

        def answered(answer: str | None) -> None:
            if answer == "leave":
                self.dismiss(None)

        said = text.line("What was typed for this car is kept only once the walk begins.")
        self.app.push_screen(AskBox("Leave without beginning?", said, answers), answered)


class ComplaintPage(Intake):
    """What does the driver complain of? One complaint or several."""

    PAGE = "complaint"
    BINDINGS = actions.bindings("complaint")
    DIGITS = "Mark"

    def __init__(self, draft: Draft) -> None:
        super().__init__()
        self.draft = draft
        self.cards: list[TreeCard] = []
        self.marked: list[str] = list(draft.trees)
        self.changing = False
        """Whether one who was ready came back to change the complaint, and may return."""

    def compose(self) -> ComposeResult:
        yield Head()
        yield Words(
            text.line(
                ("1  What does the driver complain of? ", "bold"),
                "Type a word or two, or go down the list.",
            ),
            classes="intro",
        )
        yield Search("stalls, jerks, idle, cold...")
        yield PickList()
        yield Words(classes="foot-note")
        yield KeyLine()

    def ready(self) -> None:
        self.head(*WHERE)
        self.note()
        self.query_one(PickList).can_focus = False
        self.query_one(Input).focus()
        # Enter would take nothing before there is something to take.
        self.host.ahead.hold()
        self.run_worker(self._load, thread=True)

    def enter_does(self) -> str:
        match len(self.marked):
            case 0:
                return "Take it"
            case 1:
                return "Take the marked one"
            case several:
                return f"Take the {several} marked"

    def note(self) -> None:
        """Say what Enter takes, and how several are taken."""
        said = (
            "Enter takes what is marked. Its digit or Tab takes a mark away again."
            if self.marked
            else "Enter takes the highlighted one. Several at once: mark each with its digit "
            "or Tab, then Enter."
        )
        self.query_one(".foot-note", Words).update(text.line((said, "$text-muted")))

    def action_back(self) -> None:
        if self.changing and self.draft.knowledge is not None:
            self.changing = False
            self.marked = list(self.draft.trees)
            self.show()
            self.note()
            self.app.push_screen(ReadyPage(self.draft))
        else:
            super().action_back()

    def _load(self) -> None:
        from faulttree.tree.load import list_trees

        cards = list_trees(self.host.trees)
        self.app.call_from_thread(self._loaded, cards)

    def _loaded(self, cards: list[TreeCard]) -> None:
        self.host.ahead.release()
        if not self.is_there:
            return
        self.cards = cards
        if not cards:
            self.query_one(".intro", Words).update(
                text.line(
                    ("There are no trees here. ", "bold"),
                    f"Looked in {self.host.trees}; name another folder with --trees.",
                )
            )
        self.show()

    def show(self, keep: str | None = None) -> None:
        """Show the complaints that answer what is typed, the best first."""
        query = self.query_one(Input).value
        begins = query.strip().casefold()
        ranked = sorted(
            ((rank(query, (card.complaint, *card.driver_says)), card) for card in self.cards),
            # Of those that answer alike, one whose own name begins so was most likely meant.
            key=lambda pair: (-pair[0], not pair[1].complaint.casefold().startswith(begins)),
        )
        found = [card for score, card in ranked if score > 0][:MOST_FOUND]
        rows = [self._row(card, query) for card in found]
        if not rows and self.cards:
            rows = [
                heading(f"Nothing answers {text.clip(query, 40)!r}. All complaints:"),
                *(self._row(card, "") for card in self.cards),
            ]
        self.query_one(PickList).show_rows(rows, keep=keep or "")
        self.refresh_bindings()

    def _row(self, card: TreeCard, query: str) -> Row:
        marked = card.id in self.marked
        box = "[x] " if marked else "[ ] "
        said = max(card.driver_says, key=lambda phrase: rank(query, [phrase]), default="")
        trouble = f"  ! {card.problem}" if card.problem else ""
        room = max(30, self.size.width - 10)
        complaint = text.clip(card.complaint, room)
        rest = room - text.width(complaint) - 3
        hint = text.clip(f'"{said}"', rest) if said and rest > 12 else ""
        return Row(
            card.id,
            text.line(
                (box, "bold" if marked else "$text-muted"),
                (complaint, "bold" if marked else ""),
                (f"  {hint}", "$text-muted"),
                (trouble, "$text-warning"),
            ),
        )

    def on_resize(self) -> None:
        if self.cards:
            self.show(self.query_one(PickList).chosen)

    def on_input_changed(self, event: Input.Changed) -> None:
        event.stop()
        if self.cards:
            self.show()

    def on_search_steered(self, event: Search.Steered) -> None:
        """Keys for the list while the cursor stays where words are typed."""
        listed = self.query_one(PickList)
        if event.key == "tab":
            self.mark(listed.chosen)
        elif event.key.isdigit():
            self._mark_number(int(event.key))
        else:
            steer(listed, event.key)

    def mark(self, id: str) -> None:
        """Mark a complaint, or take its mark away."""
        if not id:
            return
        if id in self.marked:
            self.marked.remove(id)
        else:
            self.marked.append(id)
        self.show(keep=id)
        self.note()

    def _mark_number(self, number: int) -> None:
        """What a digit does: mark the row with that number."""
        listed = self.query_one(PickList)
        if listed.has_number(number):
            listed.pick_number(number)
            self.mark(listed.chosen)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        event.stop()
        self._take()

    def on_pick_list_picked(self, event: PickList.Picked) -> None:
        """A click marks when something is marked already, and takes otherwise."""
        if self.marked:
            self.mark(event.id)
        else:
            self._take()

    def on_pick_list_moved(self, event: PickList.Moved) -> None:
        event.stop()

    def _take(self) -> None:
        chosen = tuple(self.marked) or tuple(filter(None, (self.query_one(PickList).chosen,)))
        if not chosen:
            return
        self.draft.trees = chosen
        self.draft.names = {card.id: card.complaint for card in self.cards}
        self.head("Take a car in", "loading the trees...")
        self.host.load_trees(chosen, self._go_on, self._failed)

    def _go_on(self, knowledge: Knowledge) -> None:
        self.head(*WHERE)
        self.changing = False
        self.draft.knowledge = knowledge
        if self.draft.vehicle is not None or self.draft.car_name:
            self.app.push_screen(ReadyPage(self.draft))
        else:
            self.app.push_screen(VehiclePage(self.draft))

    def _failed(self, why: str) -> None:
        self.head(*WHERE)
        show_trouble(self.host, why)


class Step(Intake):
    """A step of the intake that is a list to choose from."""

    ASKS: ClassVar[tuple[str, str]]
    DIGITS = "Choose at once"
    """What is asked, and what there is to know about it."""

    def __init__(self, draft: Draft) -> None:
        super().__init__()
        self.draft = draft

    def compose(self) -> ComposeResult:
        asks, about = self.ASKS
        yield Head()
        yield Words(text.line((f"{asks} ", "bold"), about), classes="intro")
        yield PickList(at_once=True)
        yield KeyLine()

    def ready(self) -> None:
        self.head(*WHERE)
        self.show()
        self.query_one(PickList).focus()

    @property
    def knowledge(self) -> Knowledge:
        """What the shop knows of the complaints that were chosen."""
        assert self.draft.knowledge is not None
        return self.draft.knowledge

    def show(self) -> None:
        """Show the list."""


class VehiclePage(Step):
    """Which car is it? One of the shop's own, or any other."""

    PAGE = "vehicle"
    BINDINGS = actions.bindings("vehicle")
    ASKS = (
        "2  Which car is it?",
        "Its file gives the maker's figures; for any other car they are generic.",
    )

    def enter_does(self) -> str:
        return "Take it"

    def show(self) -> None:
        """Show the shop's cars."""
        knowledge = self.knowledge
        room = max(30, self.size.width - 8)
        rows = [
            Row(vehicle.id, text.line(text.clip(vehicle.name, room)))
            for vehicle in knowledge.vehicles.values()
        ]
        if rows:
            rows.append(heading("Not among them"))
        rows.append(
            Row(
                TYPED_CAR,
                text.line(
                    ("Another car", "bold"),
                    ("  say what you know of it; unknown is a good answer", "$text-muted"),
                ),
            )
        )
        self.query_one(PickList).show_rows(rows, keep=self.draft.vehicle or "")

    def on_pick_list_moved(self, event: PickList.Moved) -> None:
        event.stop()

    def on_pick_list_picked(self, event: PickList.Picked) -> None:
        if event.id != TYPED_CAR:
            self.draft.vehicle = event.id
            self.app.push_screen(ReadyPage(self.draft))
            return
        from faulttree.screen.boxes import WriteBox

        def named(name: str | None) -> None:
            if name is None:
                return
            self.draft.vehicle = None
            self.draft.car_name = name or NAMELESS
            from faulttree.screen.figures import FiguresPage

            def looked(done: bool | None) -> None:
                if done:
                    self.app.push_screen(ReadyPage(self.draft))

            self.app.push_screen(FiguresPage(DraftFigures(self.draft), kinds_first=True), looked)

        self.app.push_screen(
            WriteBox(
                "What do you call this car?",
                text.line("Registration or a few words; Enter alone leaves it open."),
                self.draft.car_name.replace(NAMELESS, ""),
                "e.g. blue hatchback, 1.6",
                blank=True,
            ),
            named,
        )


class DraftFigures:
    """The figures of a car that is being taken in."""

    def __init__(self, draft: Draft) -> None:
        self.draft = draft

    @property
    def knowledge(self) -> Knowledge:
        """What the shop knows."""
        assert self.draft.knowledge is not None
        return self.draft.knowledge

    def car(self) -> Car:
        """The car as known so far."""
        car = describe_car(self.knowledge, self.draft.vehicle, self.draft.values())
        return car if self.draft.vehicle else replace(car, name=self.draft.car_name)

    def give(self, given: SpecGiven) -> str | None:
        """Keep a typed figure; says why not."""
        self.draft.specs[given.spec] = given
        return None

    def forget(self, spec: str) -> str | None:
        """Forget a typed figure; says why not."""
        self.draft.specs.pop(spec, None)
        return None

    def open_tests(self) -> tuple[Test, ...]:
        """All tests that fit the car: none has been done yet."""
        car = self.car()
        return tuple(test for test in self.knowledge.tests.values() if fits(test.fits, car))


class ReadyPage(Step):
    """One look over everything, and then the walk."""

    PAGE = "ready"
    BINDINGS = actions.bindings("ready")
    ASKS = ("3  Ready.", "Enter begins; the rest can be added now, later, or never.")

    def enter_does(self) -> str:
        if not self.is_mounted:
            return "Begin"
        return "Begin" if self.query_one(PickList).chosen == "begin" else "Change"

    def on_screen_resume(self) -> None:
        if self.is_mounted:
            self.show()

    def on_resize(self) -> None:
        self.show()

    def show(self) -> None:
        """Show what is known so far."""
        draft, knowledge = self.draft, self.knowledge
        room = max(20, self.size.width - 24)

        def row(id: str, label: str, value: str, quiet: bool = False) -> Row:
            shown = text.clip(value, room)
            return Row(
                id,
                text.line((text.left(label, 16), "bold"), (shown, "$text-muted" if quiet else "")),
            )

        complaints = " + ".join(knowledge.trees[tree].complaint for tree in draft.trees)
        own = knowledge.vehicles.get(draft.vehicle) if draft.vehicle else None
        car = own.name if own else draft.car_name
        asked = sum(len(knowledge.trees[tree].ask) for tree in draft.trees)
        answered = sum(len(draft.answers.get(tree, {})) for tree in draft.trees)
        showing = {"unknown": "not said", "yes": "yes, it shows now", "no": "no, not just now"}
        figures = self._figures(own is not None)
        rows = [
            Row("begin", text.line(("Begin the walk", "bold $text-primary"))),
            heading(""),
            row("complaint", "Complaint", complaints),
            row("vehicle", "Vehicle", car or "not said"),
            heading(""),
            row("said", "Driver says", draft.said or "nothing written yet", not draft.said),
            row("asks", "Questions", f"{answered} of {asked} answered", not answered),
            row("showing", "Shows just now?", showing[draft.showing], draft.showing == "unknown"),
            row("often", "Always there?", draft.how_often or "not said", not draft.how_often),
            row("figures", "Figures", figures),
            row("who", "Technician", self.host.who),
        ]
        listed = self.query_one(PickList)
        listed.show_rows(rows, keep=listed.chosen or "begin")

    def _figures(self, from_file: bool) -> str:
        knowledge = self.knowledge
        car = DraftFigures(self.draft).car()
        specs = car.specs.values()
        typed = sum(known.origin == "typed" for known in specs)
        own = sum(known.origin == "vehicle" for known in specs)
        generic = sum(known.origin == "generic" for known in specs)
        unknown = len(knowledge.specs) - typed - own - generic
        parts = [f"{typed} typed"] if typed else []
        parts += [f"{own} from its file"] if from_file else []
        return ", ".join([*parts, f"{generic} generic", f"{unknown} unknown"])

    # --- changing things -------------------------------------------------------------------------

    def on_pick_list_moved(self, event: PickList.Moved) -> None:
        event.stop()
        self.refresh_bindings()

    def on_pick_list_picked(self, event: PickList.Picked) -> None:
        from faulttree.screen.boxes import WriteBox

        draft = self.draft
        match event.id:
            case "begin":
                self.action_begin()
            case "complaint":
                self._back_to_complaint()
            case "vehicle":
                self.app.push_screen(VehiclePage(draft))
            case "said":
                self._write("What does the driver say?", draft.said, "said")
            case "often":
                self._ask_how_often()
            case "showing":
                turn: dict[str, Showing] = {"unknown": "yes", "yes": "no", "no": "unknown"}
                draft.showing = turn[draft.showing]
                self.show()
            case "asks":
                self._ask(self._questions())
            case "figures":
                from faulttree.screen.figures import FiguresPage

                self.app.push_screen(FiguresPage(DraftFigures(draft)), lambda _: self.show())
            case "who":

                def named(name: str | None) -> None:
                    self.host.who = name or self.host.who
                    self.show()

                self.app.push_screen(WriteBox("Who works on it?", None, self.host.who), named)

    def _back_to_complaint(self) -> None:
        """Back to where the complaint was chosen, or could have been; what was found stays."""
        if any(isinstance(page, ComplaintPage) for page in self.app.screen_stack):
            while not isinstance(self.app.screen, ComplaintPage):
                self.app.pop_screen()
            self.app.screen.changing = True
        else:
            self.dismiss(None)
            page = ComplaintPage(self.draft)
            page.changing = True
            self.app.push_screen(page)

    def _ask_how_often(self) -> None:
        from faulttree.screen.boxes import AskBox

        answers = [Row(words, text.line(words)) for words in HOW_OFTEN]
        answers.append(Row("other", text.line("otherwise: write it")))

        def answered(answer: str | None) -> None:
            if answer == "other":
                self._write("How often, and when?", self.draft.how_often, "how_often")
            elif answer is not None:
                self.draft.how_often = answer
            self.show()

        self.app.push_screen(AskBox("Is it always there?", text.line(""), answers), answered)

    def _write(self, title: str, value: str, where: str, hint: str = "") -> None:
        from faulttree.screen.boxes import WriteBox

        def written(answer: str | None) -> None:
            if answer is not None:
                setattr(self.draft, where, answer)
            self.show()

        self.app.push_screen(WriteBox(title, None, value, hint, blank=True), written)

    def _questions(self) -> list[tuple[str, str]]:
        knowledge = self.knowledge
        return [(tree, ask) for tree in self.draft.trees for ask in knowledge.trees[tree].ask]

    def _ask(self, questions: list[tuple[str, str]]) -> None:
        """Ask one question after the other; an empty answer leaves one open, going back stops."""
        if not questions:
            self.show()
            return
        from faulttree.screen.boxes import WriteBox

        (tree, question), *rest = questions
        answers = self.draft.answers.setdefault(tree, {})

        def answered(answer: str | None) -> None:
            if answer is None:
                self.show()
                return
            answers.pop(question, None)
            if answer:
                answers[question] = answer
            self._ask(rest)

        left = f"{len(rest)} more after this; Esc stops asking." if rest else "The last one."
        rows = [text.line((f"Enter alone leaves it open. {left}", "$text-muted"))]
        if len(self.draft.trees) > 1:
            # The same question may be asked of several complaints.
            rows.insert(0, text.line(f"Of: {self.knowledge.trees[tree].complaint}"))
        box = WriteBox(question, text.stack(rows), answers.get(question, ""), blank=True)
        self.app.push_screen(box, answered)

    # --- beginning -------------------------------------------------------------------------------

    def action_begin(self) -> None:
        from faulttree.screen.work import begin
        from faulttree.session.journal import JournalError
        from faulttree.session.moves import NotAllowed

        draft = self.draft
        assert draft.knowledge is not None
        try:
            work = begin(
                self.host.sessions,
                draft.knowledge,
                self.host.who,
                self._title(),
                draft.trees,
                self._first(),
            )
        except (JournalError, NotAllowed) as trouble:
            kept = "Nothing that was typed is lost: mend this, go back, and begin again."
            show_words(self.host, "The session cannot begin", str(trouble), kept)
            return
        # The pages of the intake are done with.
        while isinstance(self.app.screen, Page) and self.app.screen.PAGE != "home":
            if len(self.app.screen_stack) <= 1:
                break
            self.app.pop_screen()
        self.host.go_on(work)

    def _title(self) -> str:
        knowledge = self.knowledge
        own = knowledge.vehicles.get(self.draft.vehicle) if self.draft.vehicle else None
        car = own.name.split(",")[0] if own else self.draft.car_name
        complaints = " + ".join(knowledge.trees[tree].complaint for tree in self.draft.trees)
        return f"{complaints} - {car}" if car else complaints

    def _first(self) -> list[Event]:
        """The events that say what the intake found."""
        from faulttree.session.events import ComplaintTaken, VehicleDescribed

        draft = self.draft
        events_: list[Event] = [
            ComplaintTaken(
                tree=tree,
                said=draft.said,
                answers=dict(draft.answers.get(tree, {})),
                showing=draft.showing,
                how_often=draft.how_often,
            )
            for tree in draft.trees
        ]
        if draft.vehicle or draft.car_name:
            events_.append(
                VehicleDescribed(
                    vehicle=draft.vehicle,
                    name=draft.car_name if draft.vehicle is None else "",
                )
            )
        events_ += draft.specs.values()
        return events_
