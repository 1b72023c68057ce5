"""The walk: which test comes next, how, what is dangerous, the reading, and what it changed.

Every change goes through `Work.do` (decide, append, apply) before anything is shown. The route is
followed at once; the chances and then the advice come from a worker thread, and an answer that is
late for a newer state is dropped. The words of the parts are in `cards`, the reading in `entry`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.containers import Container, Vertical, VerticalScroll
from textual.content import Content

from faulttree.screen import actions, cards, draw, text
from faulttree.screen.boxes import AskBox, WriteBox
from faulttree.screen.cards import Next
from faulttree.screen.entry import EntryPanel
from faulttree.screen.lists import PickList, Row
from faulttree.screen.page import Head, KeyLine, Page, Words
from faulttree.screen.wording import percent, sure_words
from faulttree.screen.work import Advised, Reckoned, Reckoner, Work, WorkFigures
from faulttree.session.events import (
    CannotDo,
    CautionAcknowledged,
    CautionAnswer,
    Event,
    Noted,
    ReadingTaken,
    RouteLeft,
    Withdrawn,
)
from faulttree.session.journal import JournalError
from faulttree.session.moves import Command, NotAllowed, TakeReading, Undo, undoable
from faulttree.session.words import name_of, say, shown_text, true_text
from faulttree.trade.registry import SumError
from faulttree.trade.units import ReadingError
from faulttree.tree.car import SpecUnknown

if TYPE_CHECKING:
    from faulttree.session.events import Carrier
    from faulttree.session.state import State
    from faulttree.tree.graph import RouteStep
    from faulttree.tree.model import Caution

REFUSED = (NotAllowed, JournalError, ReadingError, SumError, SpecUnknown)
"""What a session may answer in place of doing a thing."""

REASONS = (
    "No tool for it here",
    "Cannot be reached on this car",
    "Not safe here and now",
    "The customer does not want it",
)


WIDE, TALL = 110, 32
"""From how many columns and rows on more is shown."""

Steps = list[tuple[int, str]]


class WalkPage(Page[None]):
    """One car's way through its tests."""

    PAGE = "walk"
    BINDINGS = actions.bindings("walk")
    HORIZONTAL_BREAKPOINTS: ClassVar[list[tuple[int, str]] | None] = [
        (0, "-narrow"),
        (110, "-wide"),
    ]
    VERTICAL_BREAKPOINTS: ClassVar[list[tuple[int, str]] | None] = [(0, "-short"), (32, "-tall")]

    def __init__(self, work: Work) -> None:
        super().__init__()
        self.work = work
        self.reckoner = Reckoner(work.knowledge)
        self.next: Next | None = None
        self.steps: dict[str, RouteStep] = {}
        self.reckoned: Reckoned | None = None
        self.advised: Advised | None = None
        self.before: State | None = None
        self._asking: list[Caution] = []
        self._asking_for: tuple[Carrier, str] = ("test", "")

    def compose(self) -> ComposeResult:
        yield Head()
        with Container(id="walk"):
            with Vertical(id="left"):
                yield Words(id="changed")
                yield Words(id="card-head")
                with VerticalScroll(id="card", can_focus=False):
                    yield Words(id="card-body")
                yield EntryPanel(id="entry")
                yield PickList(id="answers", at_once=True, pages=False)
            with Vertical(id="right"):
                yield Words(id="ways")
                yield Words(id="causes")
                yield Words(id="plot")
                with VerticalScroll(id="route-box", can_focus=False):
                    yield Words(id="route")
        yield KeyLine()

    def ready(self) -> None:
        self.before = self.work.before_last()
        self.renew()

    def scrollable(self) -> VerticalScroll:
        return self.query_one("#card", VerticalScroll)

    # --- doing things ----------------------------------------------------------------------------

    def do(self, *commands: Command) -> tuple[Event, ...] | None:
        """Do it and have it on the disk, or say why not."""
        try:
            return self.work.do(*commands)
        except REFUSED as trouble:
            self.say(trouble, severity="warning", title="Not recorded")
            return None

    def renew(self) -> None:
        """Something changed: find the next step, show it, and have the chances worked out."""
        self.steps = self.work.routes()
        if self.next is None or not self._still_open(self.next):
            self.next = self._from_route()
        self.advised = None
        self._show_next()
        self._show_words()
        self.refresh_bindings()
        state, car, before = self.work.state, self.work.car, self.before

        def reckon() -> None:
            reckoned = self.reckoner.chances(state, car, before)
            self.app.call_from_thread(self._reckoned, reckoned)
            advised = self.reckoner.advice(state, car)
            self.app.call_from_thread(self._advised, advised)

        self.run_worker(reckon, thread=True, exclusive=True, group="reckon")

    def _reckoned(self, reckoned: Reckoned) -> None:
        if reckoned.moved == self.work.moved and self.is_mounted:
            self.reckoned = reckoned
            self._show_words()

    def _advised(self, advised: Advised) -> None:
        if advised.moved != self.work.moved or not self.is_mounted:
            return
        self.advised = advised
        if self.next is None or (self.next.kind == "none" and advised.suggestions):
            self._take_advice()
        self._show_words()
        self.refresh_bindings()

    # --- what comes next -------------------------------------------------------------------------

    def _still_open(self, now: Next) -> bool:
        """Whether what was shown still makes sense after something changed."""
        if now.kind != "test":
            return False
        return now.id not in self.work.state.cannot_do and not self.work.readings_now(now.id)

    def _from_route(self) -> Next | None:
        """What the route of a complaint asks for: the first that asks for a test, then a cause."""
        for kind in ("test", "cause"):
            for step in self.steps.values():
                if step.kind == kind:
                    return Next(kind, step.id, "route", cards.route_why(self.work, step))
        why = next((step.why for step in self.steps.values() if step.why), "The route ends here.")
        return Next("none", "", "route", why)

    def _take_advice(self) -> None:
        if self.advised is None or not self.advised.suggestions:
            return
        best = self.advised.suggestions[0]
        why = best.settles[0] if best.settles else "worth most for what it costs."
        kind = "test" if best.kind == "test" else "cause"
        self.next = Next(kind, best.id, "advice", why)
        self._show_next()

    def choose(self, test: str, way: cards.TakenAs = "free") -> None:
        """Go to a test of one's own choice."""
        chosen = self.work.knowledge.tests[test]
        why = cards.after_words(self.work, chosen)
        if not why and way == "free":
            asked = next((s for s in self.steps.values() if s.kind == "test"), None)
            if asked is not None and asked.id != test:
                why = f"the route asks for {self.work.knowledge.tests[asked.id].name}."
        self.next = Next("test", test, way, why)
        self._show_next()
        self._show_words()
        self.refresh_bindings()

    # --- showing it ------------------------------------------------------------------------------

    def _show_next(self) -> None:
        """Show the card of the next step: cautions first, then the reading; or a suspect."""
        self.run_worker(self._show_card(), exclusive=True, group="card")

    async def _show_card(self) -> None:
        entry, answers = self.query_one(EntryPanel), self.query_one("#answers", PickList)
        now = self.next
        with self.app.batch_update():
            self.query_one("#card", VerticalScroll).scroll_home(animate=False)
            cautions = self._open_cautions(now)
            if cautions:
                await entry.show(self.work, None)
                self._ask_cautions(cautions)
                answers.display = True
                answers.focus()
                answers.highlighted = None
            elif now is not None and now.kind == "test":
                answers.display = False
                test = self.work.knowledge.tests[now.id]
                self._show_body()
                await entry.show(self.work, test)
            else:
                await entry.show(self.work, None)
                self._show_suspect(now)
                answers.display = True
                answers.focus()
        self.call_after_refresh(self._show_head)

    def _show_body(self) -> None:
        """The steps of the test, broken for the width there is."""
        now = self.next
        if now is not None and now.kind == "test" and not self._asking:
            test = self.work.knowledge.tests[now.id]
            # One column is the scroll bar's.
            cells = self._left_cells() - 1
            self.query_one("#card-body", Words).update(cards.card_body(self.work, test, cells))

    def _show_head(self) -> None:
        """The fixed lines over the steps; after the layout, when it is known whether they fit."""
        if not self.is_mounted:
            return
        now, cells = self.next, self._left_cells()
        body = self.query_one("#card", VerticalScroll)
        more = body.max_scroll_y > 0
        head = self.query_one("#card-head", Words)
        if self._asking:
            name = name_of(self._asking_for[1], self.work.knowledge)
            stop = self._asking[0].kind == "stop"
            first = "STOP - this is for trained practice" if stop else "Before you begin"
            tail = "PgDn: more" if more else ""
            rows = [
                text.line(
                    (text.left(first, cells - 11), "bold $text-warning"), (tail, cards.QUIET)
                ),
                text.line((name, "bold")),
            ]
        elif now is not None and now.kind == "test":
            test = self.work.knowledge.tests[now.id]
            label = cards.way_words(now.way)
            rows = [
                cards.card_head(test, cells, more=more),
                text.line((f"{label}: ", "bold"), text.clip(now.why, cells - len(label) - 2)),
                cards.dangers(self.work, test),
            ]
        elif now is not None and now.kind == "cause":
            chance = self._chance(now.id)
            said = f"  {percent(chance)} now" if chance is not None else ""
            rows = [
                text.line(
                    ("Suspect: ", "bold $text-warning"),
                    (name_of(now.id, self.work.knowledge), "bold"),
                    said,
                ),
                text.line((f"{cards.way_words(now.way)}: ", "bold"), now.why),
            ]
        else:
            why = now.why if now is not None else ""
            rows = [text.line(("What now?", "bold")), text.line(why)]
        head.update(text.stack(rows))

    def _show_suspect(self, now: Next | None) -> None:
        """A cause to repair, or nothing the route asks for: what can be done instead."""
        knowledge = self.work.knowledge
        cause = knowledge.causes.get(now.id) if now is not None else None
        body = cards.suspect_body(cause) if cause is not None else Content("")
        self.query_one("#card-body", Words).update(body)
        rows = []
        if cause is not None:
            rows.append(Row("fix", text.line(("Repair it", "bold"), ", then prove it")))
        rows += [
            Row("advice", text.line("Do what is worth most for its cost")),
            Row("tests", text.line("Choose a test from the list")),
            Row("why", text.line("See why the causes stand as they do")),
            Row("close", text.line("Close the session")),
        ]
        self.query_one("#answers", PickList).show_rows(rows, keep=rows[0].id)

    def _chance(self, cause: str) -> float | None:
        if self.reckoned is None:
            return None
        return next((c.chance for c in self.reckoned.causes if c.id == cause), None)

    def _left_cells(self) -> int:
        return max(30, self.query_one("#left").size.width - 2)

    def _right_cells(self) -> int:
        return max(30, self.query_one("#right").size.width - 2)

    def _is_wide(self) -> bool:
        return self.size.width >= WIDE

    def _is_tall(self) -> bool:
        return self.size.height >= TALL

    def on_resize(self) -> None:
        self.call_after_refresh(self._show_body)
        self.call_after_refresh(self._show_words)

    def _show_words(self) -> None:
        """Show everything around the card."""
        if not self.is_mounted:
            return
        state, work = self.work.state, self.work
        stage = (
            f", after {state.stage} repair" + ("s" if state.stage > 1 else "")
            if state.stage
            else ""
        )
        readings = len(state.readings)
        plural = "" if readings == 1 else "s"
        self.head(work.title, f"{readings} reading{plural}{stage}, all saved")
        self.query_one("#changed", Words).update(text.stack(self._changed()))
        cells, wide, tall = self._right_cells(), self._is_wide(), self._is_tall()
        rows = cards.ways(work, self.steps, self.advised, self.next, cells, full=wide or tall)
        self.query_one("#ways", Words).update(text.stack(rows))
        causes: list[Content] = []
        if self.reckoned is not None:
            count = 10 if tall and wide else 6 if tall else 5 if wide else 4
            causes = cards.cause_rows(self.reckoned, count, cells, two_lines=wide and tall)
        if wide or tall:
            causes.insert(
                0, text.line(("Causes, the likeliest first", "bold"), ("   w: why", cards.QUIET))
            )
        self.query_one("#causes", Words).update(text.stack(causes))
        if wide and tall:
            self._show_plot(cells)
            self._show_route(cells)
        self._show_head()

    def _changed(self) -> list[Content]:
        """What the last reading was and what it did; or what to do first."""
        rows: list[Content] = []
        state = self.work.state
        last = state.readings[-1] if state.readings else None
        if last is None:
            rows.append(
                text.line(
                    ("No reading yet. ", "bold"),
                    "See the complaint on a drive before anything is touched.",
                )
            )
        else:
            event = last.event
            test = self.work.knowledge.tests.get(event.test)
            good = test is not None and event.band == test.expect
            true = true_text(event, test)
            corrected = f" (true {true})" if true else ""
            shown = "" if event.choice else f" {shown_text(event, test)}{corrected},"
            pieces: list[text.Piece] = [
                ("Last: ", "bold"),
                f"{name_of(event.test, self.work.knowledge)}:{shown} ",
                (f"{'✓' if good else '✗'} {event.band}", "bold"),
                f", {sure_words(event.sure)}.",
            ]
            if event.near:
                pieces.append((" Near a limit: g takes it again.", "bold"))
            rows.append(text.line(*pieces))
        if self.reckoned is not None and last is not None:
            if self.reckoned.moved != self.work.moved:
                rows.append(text.line(("Working out what it changed...", cards.QUIET)))
            else:
                moves = cards.moves_words(
                    self.reckoned, 3 if self._is_tall() else 1, self._left_cells() - 15
                )
                said = "; ".join(moves) + "." if moves else "little."
                rows.append(text.line(("Changed most: ", "bold"), said))
        if self.reckoned is not None:
            rows += cards.doubts(self.reckoned, self.advised)
        return rows

    def _show_plot(self, cells: int) -> None:
        rows: list[Content] = []
        if self.advised is not None and self.advised.explanation is not None and self.reckoned:
            way = self.advised.explanation
            top = [cause for cause in self.reckoned.causes if not cause.repaired][:4]
            series = [
                (
                    cause.name,
                    [
                        way.start.get(cause.id, 0.0),
                        *(s.chances.get(cause.id, 0.0) for s in way.steps),
                    ],
                )
                for cause in top
            ]
            if way.steps:
                rows = [
                    text.line(("The chances of 1 to 4, reading by reading", "bold")),
                    *draw.plot(series, cells, 7),
                ]
        self.query_one("#plot", Words).update(text.stack(rows))

    def _show_route(self, cells: int) -> None:
        read = self.work.read_now()
        rows: list[Content] = []
        here = self.next.id if self.next is not None else ""
        for tree, step in self.steps.items():
            lines = draw.route_lines(
                self.work.knowledge, self.work.knowledge.trees[tree], read, step.id or here
            )
            name = self.work.knowledge.trees[tree].complaint
            rows.append(text.line((f"Route: {name}", "bold")))
            rows += draw.draw_route(lines, cells)
        self.query_one("#route", Words).update(text.stack(rows))

    # --- cautions --------------------------------------------------------------------------------

    def _open_cautions(self, now: Next | None) -> list[Caution]:
        """The cautions to be answered now: of the complaint first, then of the test."""
        self._asking = []
        for tree in self.work.state.trees:
            if found := self.work.cautions("tree", tree):
                self._asking, self._asking_for = list(found), ("tree", tree)
                return self._asking
        if now is not None and now.kind == "test":
            self._asking = list(self.work.cautions("test", now.id))
            self._asking_for = ("test", now.id)
        # What stops the work comes first, and alone.
        stops = [caution for caution in self._asking if caution.kind == "stop"]
        if stops:
            self._asking = stops[:1]
        return self._asking

    def _ask_cautions(self, cautions: list[Caution]) -> None:
        body = text.stack([cards.caution_text(caution) for caution in cautions])
        self.query_one("#card-body", Words).update(body)
        other = Row("cannot", text.line("It cannot be done here: say why"))
        if cautions[0].kind == "stop":
            rows = [
                Row("does not apply", text.line("This car has nothing of the kind")),
                Row(
                    "trained",
                    text.line("Someone trained for it, licensed where the law asks, does this"),
                ),
                Row("handed", text.line("Hand the car on: close the session")),
            ]
        else:
            rows = [
                Row("understood", text.line(("Read, and done as it says", "bold"))),
            ]
        if self._asking_for[0] == "test":
            rows.append(other)
            rows.append(Row("tests", text.line("Choose another test")))
        self.query_one("#answers", PickList).show_rows(rows, keep="")

    def _answer_caution(self, answer: CautionAnswer) -> None:
        carrier, id = self._asking_for
        events = [CautionAcknowledged(c.id, carrier, id, answer) for c in self._asking]
        if self.do(*events) is not None:
            self._show_next()
            self._show_words()
            self.refresh_bindings()

    def on_pick_list_picked(self, event: PickList.Picked) -> None:
        match event.id:
            case "understood" | "does not apply" | "trained" as answer:
                self._answer_caution(answer)
            case "cannot":
                self.action_cannot()
            case "tests":
                self.action_tests()
            case "fix":
                self.action_fix()
            case "advice":
                self.action_advice()
            case "why":
                self.action_why()
            case "close" | "handed":
                self.action_close()

    def on_pick_list_moved(self, event: PickList.Moved) -> None:
        event.stop()

    # --- readings --------------------------------------------------------------------------------

    def on_entry_panel_entered(self, event: EntryPanel.Entered) -> None:
        event.stop()
        now = self.next
        if now is None or now.id != event.test:
            return
        before = self.work.state
        commands: list[Command] = [*self._leaves_route(event.test, now)]
        commands.append(TakeReading(event.test, event.typed, event.entry, event.showing, now.way))
        try:
            made = self.work.do(*commands)
        except REFUSED as trouble:
            self.query_one(EntryPanel).refuse(str(trouble))
            return
        self.before = before
        self.taken(next(e for e in made if isinstance(e, ReadingTaken)))

    def taken(self, reading: ReadingTaken) -> None:
        """A reading is on the disk: go on, unless a base reading is out."""
        self.next = None
        self.renew()
        test = self.work.knowledge.tests[reading.test]
        if test.base and reading.band != test.expect:
            self._base_failed(reading.test, reading)

    def skipped(self) -> None:
        """The test cannot be done, and that is on the disk: go on."""
        self.next = None
        self.renew()

    def _leaves_route(self, test: str, now: Next) -> list[RouteLeft]:
        """What to note when something else is done than every route asks for."""
        asked = [(tree, s.id) for tree, s in self.steps.items() if s.kind in {"test", "cause"}]
        if not asked or any(id == test for _, id in asked):
            return []
        if self.work.readings_now(test):
            # A repeat is no other way.
            return []
        tree, step = asked[0]
        reason = "the advice" if now.way == "advice" else ""
        return [RouteLeft(tree, step, test, reason)]

    def _base_failed(self, test: str, taken: ReadingTaken) -> None:
        """A base reading is out: say why that matters before going on."""
        spec = self.work.knowledge.tests[test]
        said = text.stack(
            [
                text.line((f"{spec.name}: {taken.band}, {sure_words(taken.sure)}.", "bold")),
                text.line(""),
                text.paragraph(spec.base.strip()),
            ]
        )
        answers = [
            Row("on", text.line("Go on testing all the same")),
            Row("again", text.line("Take this reading again")),
            Row("fix", text.line("Record a repair now")),
            Row("close", text.line("Stop here: close the session or hand it on")),
        ]

        def answered(answer: str | None) -> None:
            if answer == "again":
                self.action_again()
            elif answer == "fix":
                self.action_fix()
            elif answer == "close":
                self.action_close()

        self.app.push_screen(
            AskBox("A base reading is out: look at this first", said, answers, careful=True),
            answered,
        )

    def on_entry_panel_spec_wanted(self, event: EntryPanel.SpecWanted) -> None:
        event.stop()
        self._figures(event.spec)

    # --- actions ---------------------------------------------------------------------------------

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if not self.is_mounted:
            return True
        test = self.query_one(EntryPanel).test
        reading = test.reading if test is not None else None
        match action:
            case "order":
                return bool(reading and reading.per_cylinder and self.work.car.firing_order)
            case "instrument":
                return reading is not None
            case "showing" | "cannot":
                return test is not None or (action == "cannot" and bool(self._asking))
            case "again":
                return bool(self.work.state.readings)
            case "undo":
                return undoable(self.work.state) is not None
            case "proof":
                return self.work.state.stage > 0
            case "route":
                return any(step.kind != "end" for step in self.steps.values())
            case _:
                return True

    def action_back(self) -> None:
        entry = self.query_one(EntryPanel)
        if entry.display and entry.has_text:
            entry.clear_text()
            return
        self.work.close()
        self.dismiss(None)
        self.say("Everything is saved. Go on with it from here at any time.")

    def action_leave(self) -> None:
        self.work.close()
        self.app.exit()

    def action_route(self) -> None:
        """The route's step; with several complaints, that of the next one."""
        open_steps = [step for step in self.steps.values() if step.kind != "end"]
        if not open_steps:
            return
        at = next(
            (
                n
                for n, step in enumerate(open_steps)
                if self.next and self.next.way == "route" and step.id == self.next.id
            ),
            -1,
        )
        step = open_steps[(at + 1) % len(open_steps)]
        self.next = Next(step.kind, step.id, "route", cards.route_why(self.work, step))
        self._show_next()
        self._show_words()
        self.refresh_bindings()

    def action_advice(self) -> None:
        if self.advised is None:
            self.say("The advice is still being worked out.")
            return
        if not self.advised.suggestions:
            self.say("Nothing is left that would tell more.")
            return
        self._take_advice()
        self._show_words()
        self.refresh_bindings()

    def action_tests(self) -> None:
        from faulttree.screen.tests_list import TestsPage

        def chosen(test: str | None) -> None:
            if test:
                self.choose(test)

        self.app.push_screen(TestsPage(self.work, self.advised), chosen)

    def action_again(self) -> None:
        if self.work.state.readings:
            self.choose(self.work.state.readings[-1].event.test)

    def action_cannot(self) -> None:
        now = self.next
        if now is None or now.kind != "test":
            return
        test = now.id
        answers = [Row(reason, text.line(reason)) for reason in REASONS]
        answers.append(Row("other", text.line("Another reason: write it")))

        def record(reason: str | None) -> None:
            if reason and self.do(CannotDo(test, reason)) is not None:
                self.skipped()

        def answered(answer: str | None) -> None:
            if answer == "other":
                self.app.push_screen(WriteBox("Why can it not be done?"), record)
            else:
                record(answer)

        name = self.work.knowledge.tests[test].name
        self.app.push_screen(AskBox("Why can it not be done?", text.line(name), answers), answered)

    def action_note(self) -> None:
        def written(note: str | None) -> None:
            if note and self.do(Noted(note)) is not None:
                self.say("Noted.")
                self._show_words()
                self.refresh_bindings()

        self.app.push_screen(WriteBox("Note"), written)

    def action_undo(self) -> None:
        envelope = undoable(self.work.state)
        if envelope is None:
            return
        state = self.work.state
        said = [text.line((say(envelope.event, self.work.knowledge), "bold"))]
        commands: list[Command] = [Undo()]
        left = state.history[envelope.sequence - 2] if envelope.sequence > 1 else None
        if (
            isinstance(envelope.event, ReadingTaken)
            and left is not None
            and isinstance(left.event, RouteLeft)
            and left.event.to == envelope.event.test
            and left.sequence not in state.withdrawn
        ):
            commands.append(Withdrawn(left.sequence))
            said.append(text.line(say(left.event, self.work.knowledge)))
        said.append(
            text.line(
                (
                    f"Entered {envelope.at.astimezone():%d %b %H:%M} by {envelope.who}. The log "
                    "keeps it as taken back; the chances go back to what they were.",
                    cards.QUIET,
                )
            )
        )

        def answered(answer: str | None) -> None:
            if answer == "undo" and self.do(*commands) is not None:
                self.next = None
                self.before = self.work.before_last()
                if isinstance(envelope.event, ReadingTaken):
                    # Most often it was mistyped, so its test comes up again.
                    self.next = Next("test", envelope.event.test, envelope.event.taken_as, "again.")
                self.renew()

        self.app.push_screen(
            AskBox(
                "Take this back?",
                text.stack(said),
                [
                    Row("undo", text.line(("Take it back", "bold"))),
                    Row("keep", text.line("Keep it")),
                ],
            ),
            answered,
        )

    def action_showing(self) -> None:
        self.query_one(EntryPanel).turn_showing()

    def action_order(self) -> None:
        self.run_worker(self._turn_order(), exclusive=True, group="card")

    async def _turn_order(self) -> None:
        entry = self.query_one(EntryPanel)
        entry.firing_order = not entry.firing_order
        await entry.show(self.work, entry.test, keep=True)

    def action_instrument(self) -> None:
        from faulttree.screen.gauge import GaugePage

        entry = self.query_one(EntryPanel)
        if entry.test is None or entry.test.reading is None:
            return

        def chosen(instruments: dict[str, str] | None) -> None:
            if instruments is not None:
                entry.instruments = instruments
            entry.refresh_words()
            self._show_words()

        self.app.push_screen(GaugePage(self.work, entry.test, dict(entry.instruments)), chosen)

    def action_figures(self) -> None:
        self._figures("")

    def _figures(self, at: str) -> None:
        from faulttree.screen.figures import FiguresPage

        last = self.work.state.last

        def looked(_: object) -> None:
            if self.work.state.last != last:
                self.before = self.work.before_last()
                self.renew()
            self.query_one(EntryPanel).refresh_words()

        self.app.push_screen(FiguresPage(WorkFigures(self.work), at=at), looked)

    def action_why(self) -> None:
        from faulttree.screen.why import WhyPage

        def chosen(cause: str | None) -> None:
            if cause:
                self.fix(cause)

        self.app.push_screen(WhyPage(self.work, self.reckoned, self.advised), chosen)

    def action_map(self) -> None:
        from faulttree.screen.map import MapPage

        self.app.push_screen(MapPage(self.work, self.steps, self.reckoned, self.advised))

    def action_complaint(self) -> None:
        from faulttree.screen.driver import ask_driver

        ask_driver(self)

    def action_fix(self) -> None:
        self.fix(self.next.id if self.next and self.next.kind == "cause" else "")

    def fix(self, cause: str) -> None:
        """Record a repair, then go to its proof."""
        from faulttree.screen.repair import RepairPage

        def repaired(done: bool | None) -> None:
            if done:
                self.next = None
                self.before = self.work.before_last()
                self.renew()
                self.action_proof()

        self.app.push_screen(RepairPage(self.work, self.reckoned, cause), repaired)

    def action_proof(self) -> None:
        from faulttree.screen.proof import ProofPage

        last = self.work.state.last

        def back(_: object) -> None:
            if not self.work.state.is_open:
                self._closed()
                return
            if self.work.state.last != last:
                self.next = None
                self.before = self.work.before_last()
            self.renew()

        self.app.push_screen(ProofPage(self.work), back)

    def action_handover(self) -> None:
        from faulttree.screen.report import ReportPage

        self.app.push_screen(ReportPage(self.work))

    def action_close(self) -> None:
        from faulttree.screen.closing import ClosePage

        def closed(done: bool | None) -> None:
            if done:
                self._closed()

        self.app.push_screen(ClosePage(self.work, self.reckoned), closed)

    def _closed(self) -> None:
        """The session is closed: leave it, and show its report."""
        from faulttree.screen.report import ReportPage

        self.work.close()
        self.dismiss(None)
        self.app.push_screen(ReportPage(self.work))
