"""An exercise: walk a past session again, choose every step, and see what each choice was worth.

At each recorded reading or repair the step is hidden. The trainee picks a test or a repair, then
sees his pick, the recorded step and the advice side by side, and goes on with what was recorded.
Before the first repair gives the answer away he states a chance for each of the likeliest causes.
At the end stand a Brier score and the cost of his picks against the advice; the result is kept.
The sums are in `study.exercise`.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from textual.app import ComposeResult
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widgets import Input

from faulttree.screen import actions, text
from faulttree.screen.boxes import AskBox, WriteBox
from faulttree.screen.lists import PickList, Row, Search, heading, steer
from faulttree.screen.page import Head, KeyLine, Page, Words
from faulttree.screen.wording import minutes_words

if TYPE_CHECKING:
    from faulttree.screen.work import Work
    from faulttree.session.state import Fact
    from faulttree.study.exercise import Choice, Forecast, Picked, Scene, Step

GO_ON = "go-on"


class ChancesBox(WriteBox):
    """A line of figures; what was refused stays there to be mended, not to be typed anew."""

    def on_mount(self) -> None:
        line = self.query_one(Input)
        line.select_on_focus = False
        line.cursor_position = len(line.value)
        super().on_mount()


class ExercisePage(Page[None]):
    """Choose each step of a past session, and compare."""

    PAGE = "exercise"
    BINDINGS = actions.bindings("exercise")
    DIGITS = "Go to"
    CSS: ClassVar[str] = """
    ExercisePage #exercise-text { height: 1fr; padding: 0 1; }
    ExercisePage #exercise-list { height: auto; max-height: 2; border-top: solid $primary; }
    ExercisePage Search { display: none; }
    ExercisePage.-choosing #exercise-text { height: 8; }
    ExercisePage.-choosing.-tall #exercise-text { height: 14; }
    ExercisePage.-choosing #exercise-list { height: 1fr; max-height: 100%; }
    ExercisePage.-choosing Search { display: block; }
    """

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.VERTICAL_BREAKPOINTS = [(0, "-short"), (32, "-tall")]
        self.path = path
        self.work: Work | None = None
        self.steps: tuple[Step, ...] = ()
        self.at = 0
        self.scene: Scene | None = None
        self.picked: list[Picked] = []
        self.offered = False
        self.forecast: Forecast | None = None
        self.mode = "loading"
        self.kept = ""
        self.trainee = ""

    def compose(self) -> ComposeResult:
        yield Head()
        with VerticalScroll(id="exercise-text", can_focus=False):
            yield Words(text.line(("Reading the session...", "$text-muted")), id="exercise-words")
        yield Search("vacuum, plug, pressure...")
        yield PickList(id="exercise-list", pages=False)
        yield KeyLine()

    def ready(self) -> None:
        self.head("Exercise", self.path.name)
        path, who = self.path, self.host.who

        def read() -> None:
            from faulttree.screen.work import look_at
            from faulttree.session.journal import JournalError
            from faulttree.tree.problem import TreeError

            try:
                work = look_at(path, who)
            except (JournalError, TreeError, OSError) as trouble:
                self.app.call_from_thread(self._cannot, str(trouble))
                return
            self.app.call_from_thread(self._read, work)

        self.run_worker(read, thread=True)

    def _cannot(self, why: str) -> None:
        self._say(
            text.stack([text.line(("The session cannot be an exercise.", "bold")), text.line(why)])
        )

    def _read(self, work: Work) -> None:
        from faulttree.study.exercise import steps_of

        self.work, self.steps = work, steps_of(work.state)
        if not self.steps:
            self._cannot("Nothing was read or repaired in it, so there is nothing to choose.")
            return
        self._ask_name()

    def _ask_name(self) -> None:
        """Ask who does the exercise: a bench is logged in to by the shop, not by its trainees."""

        def named(name: str | None) -> None:
            self.trainee = name or self.host.who
            self._go_to(0)

        said = text.stack(
            [
                text.line(f"{len(self.steps)} steps. At each, choose what you would do next; then"),
                text.line("see what your choice, the recorded one and the advice were worth."),
                text.line(("The result is kept under this name.", "$text-muted")),
            ]
        )
        self.app.push_screen(WriteBox("Who does this exercise?", said, self.host.who), named)

    def enter_does(self) -> str:
        return {"choosing": "Choose", "worth": "Go on", "end": "Leave"}.get(self.mode, "")

    def numbered_rows(self) -> int:
        return len(self.scene.choices) if self.scene and self.mode == "choosing" else 0

    def paged(self) -> bool:
        return self.query_one("#exercise-text", VerticalScroll).max_scroll_y > 0

    def _say(self, content: Content) -> None:
        self.query_one("#exercise-words", Words).update(content)
        self.query_one("#exercise-text", VerticalScroll).scroll_home(animate=False)
        # Only once it is laid out does the text tell whether it has all the room it needs.
        self.call_after_refresh(self.refresh_bindings)

    @property
    def _cells(self) -> int:
        return max(40, self.size.width - 4)

    # --- a step ----------------------------------------------------------------------------------

    def _go_to(self, at: int) -> None:
        """Hide the next step and work out what could be chosen in its place."""
        assert self.work is not None
        self._turn("loading")
        self.at, self.scene = at, None
        self.head(f"Exercise: {self.work.title}", f"step {at + 1} of {len(self.steps)}")
        self.query_one(PickList).show_rows([])
        self._say(text.line(("Working out what could be done...", "$text-muted")))
        work, step = self.work, self.steps[at]

        def weigh() -> None:
            from faulttree.study.exercise import scene

            found = scene(work.state, work.knowledge, step)
            self.app.call_from_thread(self._weighed, found)

        self.run_worker(weigh, thread=True, group="exercise", exclusive=True)

    def _weighed(self, scene: Scene) -> None:
        from faulttree.study.exercise import confirmed

        assert self.work is not None
        self.scene = scene
        self._choose()
        # A repair would give the answer away, so the chances are asked for before the first one.
        # Whoever goes back is not asked again: by then he has been shown what it was.
        wanted = scene.step.kind == "repair" or self.at + 1 == len(self.steps)
        if wanted and not self.offered and scene.chances and confirmed(self.work.state):
            self.offered = True
            self._ask_chances()

    def _choose(self) -> None:
        self._turn("choosing")
        search = self.query_one(Search)
        search.value = ""
        search.focus()
        self._say(self._known())
        self._list()

    def _turn(self, mode: str) -> None:
        self.mode = mode
        self.set_class(mode == "choosing", "-choosing")
        self.query_one(PickList).can_focus = mode != "choosing"
        self.refresh_bindings()

    def _known(self) -> Content:
        """What was known before the hidden step: the latest entries first, then the driver."""
        from faulttree.screen.scores import car_words, driver_words
        from faulttree.session.words import say
        from faulttree.study.exercise import before

        assert self.work is not None
        assert self.scene is not None
        known = before(self.work.state, self.scene.step)
        rows = [
            text.line(
                ("What would you do next? ", "bold"),
                "Type a word of the test or repair; Enter takes it.",
            ),
        ]
        if self.scene.trouble:
            rows.append(text.line(("! ", "bold $text-warning"), self.scene.trouble))
        facts: list[Fact[Any]] = [*known.readings, *known.repairs, *known.checks, *known.notes]
        facts += known.cannot_do.values()
        facts.sort(key=lambda fact: -fact.sequence)
        if not facts:
            rows.append(text.line(("Nothing has been read yet.", "$text-muted")))
        for fact in facts:
            rows += [
                text.line(row)
                for row in text.wrap(say(fact.event, self.work.knowledge), self._cells)
            ]
        car = car_words(known, self.work.knowledge)
        for said in (*driver_words(known, self.work.knowledge), car):
            rows += [text.line(row) for row in text.wrap(said, self._cells)]
        return text.stack(rows)

    def _list(self) -> None:
        """The choices that answer what is typed, tests and repairs apart; the best is on top."""
        from faulttree.screen.scores import choice_name
        from faulttree.screen.search import rank

        if self.scene is None or self.mode != "choosing":
            return
        query = self.query_one(Search).value
        scores = {
            one: rank(query, (one.name, choice_name(one), one.id)) for one in self.scene.choices
        }
        found = sorted((one for one in scores if scores[one] > 0), key=lambda one: -scores[one])
        rows: list[Row] = []
        kinds = [("test", "Tests"), ("repair", "Repairs")]
        if query.strip() and found and found[0].kind == "repair":
            # Enter takes the first row, which must be what was meant.
            kinds.reverse()
        for kind, words in kinds:
            of_kind = [one for one in found if one.kind == kind]
            if of_kind:
                rows += [heading(words), *(self._row(one) for one in of_kind)]
        self.query_one(PickList).show_rows(rows or [heading("Nothing answers that.")], keep="")

    def _row(self, choice: Choice) -> Row:
        tail = minutes_words(choice.minutes)
        return Row(
            f"{choice.kind}:{choice.id}",
            text.line(text.ends(choice.name, tail, max(36, self.size.width - 8))),
        )

    def on_resize(self) -> None:
        if self.mode == "choosing":
            self._say(self._known())
            self._list()
        elif self.mode == "worth":
            self._say(self._worth())
        elif self.mode == "end":
            self._say(self._result())

    def on_input_changed(self, event: Input.Changed) -> None:
        event.stop()
        self._list()

    def on_search_steered(self, event: Search.Steered) -> None:
        listed = self.query_one(PickList)
        if event.key.isdigit():
            listed.pick_number(int(event.key))
        elif event.key in {"pageup", "pagedown"}:
            # All that is known must be read first; the choices are found by their words.
            self.action_scroll_text(1 if event.key == "pagedown" else -1)
        else:
            steer(listed, event.key)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        event.stop()
        if self.mode == "choosing":
            self._pick(self.query_one(PickList).chosen)

    def on_pick_list_moved(self, event: PickList.Moved) -> None:
        event.stop()

    def on_pick_list_picked(self, event: PickList.Picked) -> None:
        event.stop()
        if self.mode == "choosing":
            self._pick(event.id)
        elif self.mode == "worth":
            self._next()
        elif self.mode == "end":
            self.dismiss(None)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        return action != "give_up" or self.mode == "choosing"

    def action_give_up(self) -> None:
        """Show what was done; the step then counts as not chosen."""
        if self.mode == "choosing":
            self._compare(None)

    def _pick(self, id: str) -> None:
        assert self.scene is not None
        for choice in self.scene.choices:
            if f"{choice.kind}:{choice.id}" == id:
                self._compare(choice)
                return

    def _compare(self, pick: Choice | None) -> None:
        from faulttree.study.exercise import Picked

        assert self.scene is not None
        self.picked.append(Picked(self.scene, pick))
        self._turn("worth")
        self._say(self._worth())
        listed = self.query_one(PickList)
        more = self.at + 1 < len(self.steps)
        words = "Go on with what was recorded" if more else "See how it came out"
        listed.show_rows([Row(GO_ON, text.line(words))])
        listed.focus()

    def _worth(self) -> Content:
        """The pick, the recorded step and the advice, each with what it was worth and why."""
        from faulttree.screen.scores import COSTS
        from faulttree.session.words import say

        assert self.work is not None
        assert self.scene is not None
        scene, pick = self.scene, self.picked[-1].pick
        event = say(scene.step.event, self.work.knowledge)
        rows = [
            text.line((row, "bold")) for row in text.wrap(f"What was done: {event}", self._cells)
        ]
        if scene.trouble:
            rows.append(text.line(("! ", "bold $text-warning"), scene.trouble))
        rows.append(Content(""))
        if pick is None:
            rows += [text.line(("You: ", "bold"), "shown without choosing."), Content("")]
        else:
            rows += self._choice("You", pick)
        same = pick is not None and pick == scene.recorded
        if same:
            rows += [text.line(("Recorded: ", "bold"), "the same."), Content("")]
        else:
            rows += self._choice("Recorded", scene.recorded)
        if scene.advice is None:
            rows.append(text.line(("Advice: ", "bold"), "nothing that would tell more."))
        elif scene.advice == pick:
            rows.append(text.line(("Advice: ", "bold"), "the same as yours."))
        elif scene.advice == scene.recorded:
            rows.append(text.line(("Advice: ", "bold"), "the same as recorded."))
        else:
            rows += self._choice("Advice", scene.advice)
        if rows[-1].plain:
            rows.append(Content(""))
        rows += [text.line((row, "$text-muted")) for row in text.wrap(COSTS, self._cells)]
        return text.stack(rows)

    def _choice(self, label: str, choice: Choice) -> list[Content]:
        from faulttree.screen.scores import choice_name, choice_settles, choice_worth

        assert self.scene is not None
        said = f"{choice_worth(choice, self.scene)}."
        rows = [text.line((f"{label}: ", "bold"), choice_name(choice))]
        rows += [text.line(f"  {row}") for row in text.wrap(said, self._cells - 2)]
        rows += [
            text.line((f"  {told_line(line, self._cells - 2)}", "$text-muted"))
            for line in choice_settles(choice, self.scene)
        ]
        return [*rows, Content("")]

    def _next(self) -> None:
        if self.at + 1 < len(self.steps):
            self._go_to(self.at + 1)
        else:
            self._end()

    # --- the chances -----------------------------------------------------------------------------

    def _ask_chances(self, written: str = "", trouble: str = "") -> None:
        """Ask for a chance for each of the likeliest causes; going back leaves the score out."""
        from faulttree.screen.scores import ANY_OTHER
        from faulttree.session.words import name_of
        from faulttree.study.exercise import asked, forecast, parse_chances

        assert self.work is not None
        assert self.scene is not None
        work, chances = self.work, self.scene.chances
        causes = asked(chances)
        names = [*(name_of(cause, work.knowledge) for cause in causes), ANY_OTHER]
        room = max(30, min(self.size.width, 80) - 12)
        rows = [
            text.line("How likely is each, in per cent? Several can be true at once."),
            text.line(f"Type {len(names)} figures with spaces between; Esc leaves the score out."),
        ]
        rows += [text.line(f"{at}. {text.clip(name, room)}") for at, name in enumerate(names, 1)]
        if trouble:
            rows.append(text.line(("! ", "bold $text-warning"), (trouble, "bold")))

        def use(answer: str | None) -> None:
            if answer is None:
                self.say("No chances were stated, so there will be no score for them.")
                return
            try:
                stated = parse_chances(answer, len(names))
            except ValueError as wrong:
                self._ask_chances(answer, str(wrong))
                return
            self.forecast = forecast(causes, stated, chances, work.state)

        hint = "60 20 10 0 0 5"
        box = ChancesBox("Before it is shown: which cause?", text.stack(rows), written, hint)
        self.app.push_screen(box, use)

    def action_back(self) -> None:
        """Leave; in the middle of it not without a question, because nothing of it is kept."""
        if not self.picked or self.mode == "end":
            self.dismiss(None)
            return
        said = text.line("An exercise that is not finished keeps no result.")
        answers = [Row("stay", text.line("Go on with it")), Row("leave", text.line("Leave it"))]

        def answered(answer: str | None) -> None:
            if answer == "leave":
                self.dismiss(None)

        self.app.push_screen(AskBox("Leave the exercise?", said, answers), answered)

    # --- the end ---------------------------------------------------------------------------------

    def _end(self) -> None:
        from faulttree.study.exercise import as_line, keep

        self._turn("end")
        line = as_line(self.path.name, self.trainee, self.picked, self.forecast)
        try:
            self.kept = f"Kept under {self.trainee} in {keep(self.host.sessions, line)}."
        except OSError as trouble:
            why = trouble.strerror or trouble
            self.kept = f"The result could not be kept in {self.host.sessions}: {why}."
        self.head(f"Exercise: {self.work.title if self.work else ''}", "finished")
        self._say(self._result())
        listed = self.query_one(PickList)
        listed.show_rows([Row(GO_ON, text.line("Leave the exercise"))])
        listed.focus()

    def _result(self) -> Content:
        """The scores, then every step: what was picked, and how much more it cost."""
        from faulttree.screen.scores import (
            brier_words,
            cost_words,
            found_words,
            pick_rows,
            stated_rows,
        )

        assert self.work is not None
        knowledge, cells = self.work.knowledge, self._cells
        rows = [text.line(("How it came out", "bold"))]
        for said in (found_words(self.work.state, knowledge), cost_words(self.picked)):
            rows += [text.line(row) for row in text.wrap(said, cells)]
        if self.forecast is not None:
            rows.append(Content(""))
            score = text.wrap(brier_words(self.forecast), cells)
            rows += [text.line((row, "bold")) for row in score]
            for name, tail in stated_rows(self.forecast, knowledge):
                rows.append(text.line(text.ends(f"  {name}", tail, cells)))
        rows.append(Content(""))
        for at, (name, tail) in enumerate(pick_rows(self.picked), 1):
            rows.append(text.line(text.ends(f"{at:2} {name}", tail, cells)))
        rows += [Content(""), *(text.line((r, "$text-muted")) for r in text.wrap(self.kept, cells))]
        return text.stack(rows)


def told_line(line: str, cells: int) -> str:
    """What a reading would do, or did when it came, in so many cells."""
    from faulttree.screen.cards import settles_line
    from faulttree.screen.scores import CAME

    if line.startswith(CAME):
        told = line.removeprefix(CAME)
        said = settles_line(told, cells, "came out")
        return said if said.startswith("came out ") else text.clip(f"came out {told}", cells)
    return settles_line(line, cells)
