"""The walk: what comes next, by the route, by the advice, or by choice; and all it leads to.

How one test is shown and read is in `taking`; this page says which, and keeps the route, the
advice, the causes with their history, and the way so far beside it.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from textual.containers import VerticalScroll
from textual.content import Content
from textual.widget import Widget

from faulttree.screen import actions, cards, draw, text
from faulttree.screen.cards import Next
from faulttree.screen.lists import Row
from faulttree.screen.page import Words
from faulttree.screen.taking import TakingPage
from faulttree.screen.work import Work, base_is_out
from faulttree.session.events import CannotDo, Event, ReadingTaken, RouteLeft, TakenAs
from faulttree.session.moves import to_undo

if TYPE_CHECKING:
    from faulttree.tree.graph import RouteStep
    from faulttree.tree.model import Caution


class WalkPage(TakingPage):
    """One car's way through its tests."""

    PAGE = "walk"
    BINDINGS = actions.bindings("walk")

    def __init__(self, work: Work) -> None:
        super().__init__(work)
        self.steps: dict[str, RouteStep] = {}
        self._ways_rows = 0

    # --- what comes next -------------------------------------------------------------------------

    def find_next(self) -> None:
        self.steps = self.work.routes()
        if self.next is None or not self._still_open(self.next):
            self.next = self._from_route()

    def advice_came(self) -> None:
        if self.next is None or self.next.kind == "none":
            self._take_advice()

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
        why = best.note or next(iter(best.settles), "worth most for what it costs.")
        kind = "test" if best.kind == "test" else "cause"
        self.go_to(Next(kind, best.id, "advice", why))

    def choose(self, test: str, way: TakenAs = "free") -> None:
        """Go to a test of one's own choice."""
        chosen = self.work.knowledge.tests[test]
        why = cards.after_words(self.work, chosen)
        if not why and way == "free":
            asked = next((s for s in self.steps.values() if s.kind == "test"), None)
            if asked is not None and asked.id != test:
                why = f"the route asks for {self.work.knowledge.tests[asked.id].name}."
        self.go_to(Next("test", test, way, why))

    def suspect_answers(self) -> list[Row]:
        rows = []
        if self.next is not None and self.next.kind == "cause":
            rows.append(Row("fix", text.line(("Repair it", "bold"), ", then prove it")))
        elif self.work.gone:
            rows.append(Row("proof", text.line(("Prove the repair", "bold"), ", then close")))
        return [
            *rows,
            Row("advice", text.line("Do what is worth most for its cost")),
            Row("tests", text.line("Choose a test from the list")),
            Row("why", text.line("See why the causes stand as they do")),
            Row("close", text.line("Close the session")),
        ]

    def caution_answers(self, caution: Caution) -> list[Row]:
        rows = [Row("tests", text.line("Choose another test"))]
        if caution.kind == "stop":
            rows.insert(0, Row("close", text.line("Hand the car on: close the session")))
        return rows

    def answered(self, answer: str) -> None:
        match answer:
            case "tests":
                self.action_tests()
            case "fix":
                self.action_fix()
            case "proof":
                self.action_proof()
            case "advice":
                self.action_advice()
            case "why":
                self.action_why()
            case "close":
                self.action_close()

    # --- beside the card -------------------------------------------------------------------------

    def beside(self) -> Iterable[Widget]:
        yield Words(id="ways")
        yield Words(id="causes")
        yield Words(id="plot")
        yield VerticalScroll(Words(id="route"), id="route-box", can_focus=False)

    def show_beside(self, cells: int) -> None:
        wide, tall = self._is_wide(), self._is_tall()
        rows = cards.ways(
            self.work,
            self.steps,
            self.advised,
            self.next,
            cells,
            full=wide or tall,
            keys=(self.shown_key("route"), self.shown_key("advice")),
            ends=(self.shown_key("proof"), self.shown_key("close")),
        )
        if self.advised is None:
            # What stands below keeps its place until the advice is there.
            rows += [Content("")] * (self._ways_rows - len(rows))
        else:
            self._ways_rows = len(rows)
        self.query_one("#ways", Words).update(text.stack(rows))
        self.show_causes(cells)
        if wide and tall:
            self._show_plot(cells)
            self._show_route(cells)

    def _show_plot(self, cells: int) -> None:
        rows: list[Content] = []
        if self.advised is None:
            # The way so far stands until its next point is there.
            return
        if self.advised.explanation is not None and self.reckoned:
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
        rows: list[Content] = []
        at = 0
        now = self.next
        # The route that is walked now comes first; one with another next step would hide it.
        walked = sorted(
            self.steps.items(),
            key=lambda one: now is None or (one[1].kind, one[1].id) != (now.kind, now.id),
        )
        for tree, step in walked:
            known = self.work.knowledge.trees[tree]
            lines = draw.route_lines(self.work.knowledge, known, step, rest=False)
            rows.append(text.line((f"Route: {known.complaint}", "bold")))
            here = next((n for n, one in enumerate(lines) if one.mark == draw.NEXT), 0)
            at = at or (len(rows) + here if here else 0)
            rows += draw.draw_route(lines, cells - 1)
        self.query_one("#route", Words).update(text.stack(rows))
        box = self.query_one("#route-box", VerticalScroll)
        # The next step stays in sight, with what led to it above.
        self.call_after_refresh(box.scroll_to, y=max(0, at - box.size.height // 2), animate=False)

    # --- readings --------------------------------------------------------------------------------

    def taken(self, reading: ReadingTaken) -> None:
        """A reading is on the disk: go on, unless a base reading is out."""
        self.next = None
        self.renew()
        if base_is_out(self.work.knowledge.tests[reading.test], reading):
            self._base_failed(reading)

    def skipped(self) -> None:
        """The test cannot be done, and that is on the disk: go on."""
        self.next = None
        self.renew()

    def leaves_route(self, test: str, now: Next) -> list[RouteLeft]:
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

    def _base_failed(self, taken: ReadingTaken) -> None:
        """A base reading is out: say why that matters before going on."""
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

        self.ask_about_base(taken, answers, answered)

    # --- actions ---------------------------------------------------------------------------------

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if not self.is_mounted:
            return True
        match action:
            case "again":
                return bool(self.work.state.readings)
            case "undo":
                return bool(to_undo(self.work.state))
            case "proof":
                return self.work.state.stage > 0
            case "route":
                return any(step.kind != "end" for step in self.steps.values())
            case _:
                return super().check_action(action, parameters)

    def name_of(self, action: actions.Action) -> str:
        name = super().name_of(action)
        # Back leaves the walk, whatever its card asks; all of it is on the disk by then.
        return "Home" if action.id == "everywhere.back" and name == action.name else name

    def leave(self) -> None:
        """Leave the walk; the session can be gone on with at any time."""
        self.work.close()
        self.dismiss(None)
        self.say("Everything is saved. Go on with it from here at any time.")

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
        self.go_to(Next(step.kind, step.id, "route", cards.route_why(self.work, step)))

    def action_advice(self) -> None:
        if self.advised is None:
            self.say("The advice is still being worked out.")
            return
        if not self.advised.suggestions:
            said = cards.nothing_left(self.work, (self.shown_key("proof"), self.shown_key("close")))
            self.say(said[:1].upper() + said[1:])
            return
        self._take_advice()

    def action_tests(self) -> None:
        from faulttree.screen.tests_list import TestsPage

        def chosen(test: str | None) -> None:
            if test:
                self.choose(test)

        self.app.push_screen(TestsPage(self.work, self.advised), chosen)

    def action_again(self) -> None:
        if self.work.state.readings:
            self.choose(self.work.state.readings[-1].event.test)

    def action_undo(self) -> None:
        from faulttree.screen.undo import ask_undo

        def undone(event: Event) -> None:
            self.next = None
            self.before = self.work.before_last()
            self.next = self._again_after(event)
            self.renew()

        ask_undo(self, self.work, undone)

    def _again_after(self, undone: Event) -> Next | None:
        """The test whose reading or whose being passed over was taken back: it comes up again."""
        if not isinstance(undone, ReadingTaken | CannotDo):
            return None
        asked = {step.id: step for step in self.work.routes().values() if step.kind == "test"}
        why = "what stood here was taken back."
        if undone.test in asked:
            return Next("test", undone.test, "route", why)
        way = undone.taken_as if isinstance(undone, ReadingTaken) else "free"
        return Next("test", undone.test, "free" if way == "route" else way, why)

    def action_why(self) -> None:
        from faulttree.screen.why import WhyPage

        # Chances that are not up to date would be set beside evidence that is.
        reckoned = self.reckoned if self._up_to_date() else None
        self.app.push_screen(WhyPage(self.work, reckoned, self.advised), self._repaired)

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

        page = RepairPage(self.work, self.reckoned, cause, self.advised)
        self.app.push_screen(page, self._repaired)

    def _repaired(self, done: bool | None) -> None:
        if done:
            self.next = None
            self.before = self.work.before_last()
            self.renew()
            self.action_proof()

    def action_proof(self) -> None:
        from faulttree.screen.proof import ProofPage

        last = self.work.state.last

        def back(_: object) -> None:
            if not self.work.state.is_open:
                self._ended()
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
                self._ended()

        self.app.push_screen(ClosePage(self.work, self.reckoned), closed)

    def _ended(self) -> None:
        """The session is closed: leave it, and show its report."""
        from faulttree.screen.report import ReportPage

        self.work.close()
        self.dismiss(None)
        self.app.push_screen(ReportPage(self.work))
