"""A page on which one test is done: its card, its cautions, the reading, and what that changed.

Every change goes through `Work.do` (decide, append, apply) before anything is shown. The chances
and then the advice come from a worker thread; an answer that is late for a newer state is dropped.
`walk` puts the route and the advice beside it, `reading` takes one reading and goes back. The words
of the parts are in `cards`, the fields in `entry`.
"""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterable
from concurrent.futures import CancelledError, Future, ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

from textual import events
from textual.app import ComposeResult
from textual.containers import Container, Vertical, VerticalScroll
from textual.content import Content
from textual.widget import Widget

from faulttree.screen import actions, cards, text
from faulttree.screen.ahead import CARD
from faulttree.screen.boxes import AskBox, WriteBox
from faulttree.screen.cards import Next
from faulttree.screen.entry import EntryPanel
from faulttree.screen.lists import PickList, Row
from faulttree.screen.page import Head, KeyLine, Page, Words
from faulttree.screen.wording import percent
from faulttree.screen.work import Advised, Reckoned, Reckoner, Work, WorkFigures
from faulttree.session.chances import advice_at
from faulttree.session.events import (
    CannotDo,
    CautionAcknowledged,
    CautionAnswer,
    Event,
    Noted,
    ReadingTaken,
    Repaired,
    RouteLeft,
    SpecGiven,
)
from faulttree.session.journal import JournalError
from faulttree.session.moves import Command, NotAllowed, TakeReading
from faulttree.session.words import name_of, say
from faulttree.trade.registry import SumError
from faulttree.trade.units import ReadingError
from faulttree.tree.car import SpecUnknown

if TYPE_CHECKING:
    from faulttree.session.events import Carrier
    from faulttree.session.state import State
    from faulttree.tree.car import Car
    from faulttree.tree.model import Caution

REFUSED = (NotAllowed, JournalError, ReadingError, SumError, SpecUnknown)
"""What a session may answer in place of doing a thing."""

REASONS = (
    "No tool for it here",
    "Cannot be reached on this car",
    "Not safe here and now",
    "The customer does not want it",
)

Answer = TypeVar("Answer", Reckoned, Advised)

PATIENCE = 0.06
"""For how many seconds a repaint waits for the chances, so that they are painted with it.

Painting twice takes longer than nearly every case takes to work out.
"""

WIDE, TALL = 110, 32
"""From how many columns and rows on more is shown."""


@dataclass(frozen=True, slots=True)
class Asked:
    """A caution that has to be answered, and what carries it."""

    caution: Caution
    carrier: Carrier
    id: str

    @property
    def stops(self) -> bool:
        """Whether it stops the work."""
        return self.caution.kind == "stop"


class TakingPage(Page[None]):
    """One test at a time; what comes next, and what stands beside it, is left to its heirs."""

    def __init__(self, work: Work, now: Next | None = None) -> None:
        super().__init__()
        self.HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (WIDE, "-wide")]
        self.VERTICAL_BREAKPOINTS = [(0, "-short"), (TALL, "-tall")]
        self.work = work
        self.reckoner = Reckoner(work.knowledge)
        # One thread, so that the reckoner is never asked twice at once.
        self._counting = ThreadPoolExecutor(1, "reckoner")
        self.next = now
        self.reckoned: Reckoned | None = None
        self.advised: Advised | None = None
        self.before: State | None = None
        self._unadvised: tuple[State, Car] | None = None
        self._asking: list[Asked] = []
        self._asking_words = ""
        self._spared = False

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
            yield Vertical(*self.beside(), id="right")
        yield KeyLine()

    def ready(self) -> None:
        self.before = self.work.before_last()
        self.renew()

    def _spare_the_collector(self) -> None:
        """Take what the session knows out of the garbage collector's rounds while it is open.

        It stays anyway; going over all of it takes longer than all else that Enter does, and falls
        due with nearly every entry.
        """
        # A reading taken over the walk leaves the freezing, and the thawing, to the walk.
        if not self._spared and not gc.get_freeze_count():
            self._spared = True
            gc.collect(1)
            gc.freeze()

    def on_unmount(self) -> None:
        if self._spared:
            gc.unfreeze()
        self._counting.shutdown(wait=False, cancel_futures=True)

    def scrollable(self) -> VerticalScroll:
        return self.query_one("#card", VerticalScroll)

    def action_scroll_text(self, direction: int) -> None:
        super().action_scroll_text(direction)
        # Whether there is more below is known once it has been scrolled.
        self.call_after_refresh(self._show_head)

    # --- for the heirs ---------------------------------------------------------------------------

    def beside(self) -> Iterable[Widget]:
        """What stands beside the card, or under it where the terminal is narrow."""
        yield Words(id="causes")

    def find_next(self) -> None:
        """Put what comes next into `next`."""

    def show_beside(self, cells: int) -> None:
        """Show what stands beside the card, for so many cells."""
        self.show_causes(cells)

    def advice_came(self) -> None:
        """The advice is there."""

    def taken(self, reading: ReadingTaken) -> None:
        """A reading is on the disk."""
        self.dismiss(None)

    def skipped(self) -> None:
        """The test cannot be done, and that is on the disk."""
        self.dismiss(None)

    def ask_about_base(
        self, taken: ReadingTaken, answers: list[Row], answered: Callable[[str | None], None]
    ) -> None:
        """Say why a base reading that is out matters, and what it may rest on; ask what to do."""
        said = cards.base_words(self.work, taken)
        self.app.push_screen(
            AskBox("A base reading is out: look at this first", said, answers, careful=True),
            answered,
        )

    def leaves_route(self, test: str, now: Next) -> list[RouteLeft]:
        """What to note when something else is done than the route asks for."""
        return []

    def answered(self, answer: str) -> None:
        """One of the other answers under the card was chosen."""

    def caution_answers(self, caution: Caution) -> list[Row]:
        """What else can be done where a caution asks for an answer."""
        return []

    def suspect_answers(self) -> list[Row]:
        """What can be done where there is no test to do."""
        return []

    def leave(self) -> None:
        """Leave the page."""
        self.dismiss(None)

    # --- doing things ----------------------------------------------------------------------------

    def do(self, *commands: Command) -> tuple[Event, ...] | None:
        """Do it and have it on the disk, or say why not."""
        try:
            return self.work.do(*commands)
        except REFUSED as trouble:
            self.say(trouble, severity="warning", title="Not recorded")
            return None

    def renew(self) -> None:
        """Something changed: find the next step, show it, and have the chances worked out.

        The chances are nearly always there within a few milliseconds and are then painted together
        with the next card. When they take longer, they follow; the advice always does.
        """
        self.find_next()
        self.advised = None
        state, car, before = self.work.state, self.work.car, self.before
        counting = self._counting.submit(self.reckoner.chances, state, car, before)
        try:
            self.reckoned = counting.result(timeout=PATIENCE)
        except TimeoutError:
            self._hand_on(counting, self._reckoned)
        self.show_next()
        self.show_words()
        self._unadvised = state, car

    def _ask_advice(self) -> None:
        """Have the advice worked out, once the card is painted: it would slow that down."""
        if self._unadvised is not None and self.is_there:
            (state, car), self._unadvised = self._unadvised, None
            self._hand_on(self._counting.submit(self.reckoner.advice, state, car), self._advised)

    def _hand_on(self, counting: Future[Answer], show: Callable[[Answer], None]) -> None:
        """Wait for an answer in a worker thread, and show it."""

        def wait() -> None:
            # When the page was left in the meantime, nobody wants the answer any more.
            with suppress(CancelledError):
                self.app.call_from_thread(show, counting.result())

        self.run_worker(wait, thread=True)

    def _reckoned(self, reckoned: Reckoned) -> None:
        if reckoned.moved == self.work.moved and self.is_there:
            self.reckoned = reckoned
            self.show_words()

    def _advised(self, advised: Advised) -> None:
        if advised.moved == self.work.moved and self.is_there:
            self.advised = advised
            self.advice_came()
            self.show_words()
            # By now everything has been built.
            self.call_after_refresh(self._spare_the_collector)

    def go_to(self, now: Next) -> None:
        """Show another step."""
        self.next = now
        self.show_next()
        self.show_words()

    # --- showing it ------------------------------------------------------------------------------

    def show_next(self) -> None:
        """Show the card of the next step: cautions first, then the reading; or a suspect."""
        self.run_worker(self._show_card(), exclusive=True, group=CARD)

    async def _show_card(self) -> None:
        entry, answers = self.query_one(EntryPanel), self.query_one("#answers", PickList)
        now = self.next
        with self.app.batch_update():
            self.query_one("#card", VerticalScroll).scroll_home(animate=False)
            cautions = self._open_cautions(now)
            answers.at_once = answers.numbered = not cautions
            if cautions:
                await entry.show(self.work, None)
                # Whatever was typed ahead was not meant for a danger that nobody has read yet.
                self.host.ahead.drop()
                self._ask_cautions()
                answers.display = True
                answers.focus()
                answers.highlighted = None if self._asks_twice() else 0
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
        self.call_after_refresh(self._fit)

    def _fit(self) -> None:
        """Break the steps for the width there is, then say whether there are more of them."""
        if self.is_there:
            self._show_body()
            self.call_after_refresh(self._fitted)

    def _fitted(self) -> None:
        self._show_head()
        self._ask_advice()

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
        if not self.is_there:
            return
        now, cells = self.next, self._left_cells()
        body = self.query_one("#card", VerticalScroll)
        more = body.scroll_offset.y < body.max_scroll_y
        head = self.query_one("#card-head", Words)
        if self._asking:
            # The name is of what is to be done; of the complaint only where that alone asks.
            name = name_of(self._asking[-1].id, self.work.knowledge)
            stop = self._asking[0].stops
            first = "STOP - this is for trained practice" if stop else "Before you begin"
            tail = "PgDn: more" if more else ""
            rows = [
                text.line(
                    (text.left(first, cells - 11), "bold $text-warning"), (tail, cards.QUIET)
                ),
                text.line((name, "bold")),
                text.line((self._asking_words, "bold $text-primary")),
            ]
        elif now is not None and now.kind == "test":
            rows = cards.card_head(self.work, now, cells, more=more)
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
        rows = self.suspect_answers()
        self.query_one("#answers", PickList).show_rows(rows, keep=rows[0].id if rows else "")

    def _up_to_date(self) -> bool:
        """Whether the chances are those of the session as it stands."""
        return self.reckoned is not None and self.reckoned.moved == self.work.moved

    def _chance(self, cause: str) -> float | None:
        if self.reckoned is None or not self._up_to_date():
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
        self.call_after_refresh(self._fit)
        self.call_after_refresh(self.show_words)

    def show_words(self) -> None:
        """Show everything around the card."""
        if not self.is_there:
            return
        work, stage = self.work, self.work.state.stage
        readings = len(work.state.readings)
        said = f"{readings} reading{'' if readings == 1 else 's'}"
        if stage:
            said += f", after {stage} repair{'' if stage == 1 else 's'}"
        self.head(work.title, f"{said}, all saved")
        cells = self._left_cells()
        changed = [text.fold(row, cells) for row in self._changed()]
        self.query_one("#changed", Words).update(text.stack(changed))
        self.show_beside(self._right_cells())
        self._show_head()
        self.refresh_bindings()

    def show_causes(self, cells: int) -> None:
        """Show where the causes stand."""
        wide, tall = self._is_wide(), self._is_tall()
        causes: list[Content] = []
        if self.reckoned is not None:
            count = 6 if tall else 8 if wide else 4
            state = self.work.state
            causes = cards.cause_rows(
                self.reckoned,
                count,
                cells,
                two_lines=wide and tall,
                moves=bool(state.readings or state.repairs or state.checks or state.specs),
            )
        if wide or tall:
            key = self.shown_key("why")
            why = f"   {key}: why" if key else ""
            title = text.line(("Causes, the likeliest first", "bold"), (why, cards.QUIET))
            causes.insert(0, title)
        self.query_one("#causes", Words).update(text.stack(causes))

    def _changed(self) -> list[Content]:
        """What the last entry was and what it did; or what to do first."""
        rows: list[Content] = []
        last = self.work.last_moving()
        state = self.work.state
        if last is None or not (state.readings or state.repairs or state.checks):
            key = self.shown_key("note").removeprefix("Space ")
            noted = f"; {key} notes it" if key else ""
            rows.append(
                text.line(
                    ("No reading yet. ", "bold"),
                    f"See the complaint on a drive before anything is touched{noted}.",
                )
            )
            moves = self._moves_of_figure(last)
            if last is not None and moves is not None:
                said = f"{say(last, self.work.knowledge)}."
                rows.append(text.line(("Typed: ", "bold"), text.clip(said, self._left_cells() - 8)))
                rows.append(moves)
            return rows + self._doubts()
        if isinstance(last, ReadingTaken):
            again = self.shown_key("again")
            cells = self._left_cells() * (2 if self._is_tall() else 1)
            rows.append(cards.last_reading(last, self.work.knowledge, cells, again))
        else:
            rows_free = 2 if self._is_tall() else 1
            room = rows_free * self._left_cells() - 8
            said = text.clip(say(last, self.work.knowledge), room)
            rows.append(text.line(("Last: ", "bold"), said))
        if isinstance(last, Repaired):
            rows = [
                text.line(("Repaired: ", "bold"), name_of(last.cause, self.work.knowledge)),
                text.line("What is read from now on is read on the repaired car."),
            ]
        elif self.reckoned is not None:
            rows.append(self._moves(self.reckoned))
        return rows + self._doubts()

    def _moves_of_figure(self, last: Event | None) -> Content | None:
        """What a figure typed before any reading moved; None when it moved nothing."""
        up_to_date = self.reckoned is not None and self.reckoned.moved == self.work.moved
        if not isinstance(last, SpecGiven) or self.reckoned is None or not up_to_date:
            return None
        return self._moves(self.reckoned) if cards.moves_words(self.reckoned, 1, 80) else None

    def _doubts(self) -> list[Content]:
        return cards.doubts(self.reckoned, self.advised) if self.reckoned is not None else []

    def _moves(self, reckoned: Reckoned) -> Content:
        if reckoned.moved != self.work.moved:
            return text.line(("Working out what it changed...", cards.QUIET))
        # Where there is room for several lines, names are told in full.
        count, cells = (3, 120) if self._is_tall() else (1, self._left_cells() - 15)
        moves = cards.moves_words(reckoned, count, cells)
        if not moves:
            return text.line(("Changed: ", "bold"), "no chance by as much as 1 %.")
        return text.line(("Changed most: ", "bold"), "; ".join(moves), ".")

    # --- cautions --------------------------------------------------------------------------------

    def _open_cautions(self, now: Next | None) -> list[Asked]:
        """The cautions to be answered now: those of the complaints and of the test in one go."""
        bearers: list[tuple[Carrier, str]] = [("tree", tree) for tree in self.work.state.trees]
        if now is not None and now.kind == "test":
            bearers.append(("test", now.id))
        self._asking = [
            Asked(caution, carrier, id)
            for carrier, id in bearers
            for caution in self.work.cautions(carrier, id)
        ]
        # What stops the work comes first, and alone.
        stops = [asked for asked in self._asking if asked.stops]
        if stops:
            self._asking = stops[:1]
        return self._asking

    def _asks_twice(self) -> bool:
        """Whether what is asked holds a danger that nobody has read in this session."""
        return self.work.holds_new(asked.caution for asked in self._asking)

    def _how_to_answer(self) -> str:
        if self._asking[0].stops:
            return cards.CHOOSE_IT
        return cards.READ_IT if self._asks_twice() else cards.AS_BEFORE

    def _ask_cautions(self) -> None:
        stop = self._asking[0].stops
        self._asking_words = self._how_to_answer()
        # What complaint and test both warn of is told once.
        told = cards.cautions_text(
            (asked.caution for asked in self._asking), self.work.dangers_read()
        )
        self.query_one("#card-body", Words).update(told)
        if stop:
            rows = [
                Row("does not apply", text.line("This car has nothing of the kind")),
                Row(
                    "trained",
                    text.line("Someone trained for it, licensed where the law asks, does this"),
                ),
            ]
        else:
            rows = [
                Row("understood", text.line(("Read, and done as it says", "bold"))),
            ]
        if self._asking[-1].carrier == "test":
            rows.append(Row("cannot", text.line("It cannot be done here: say why")))
        rows += self.caution_answers(self._asking[0].caution)
        self.query_one("#answers", PickList).show_rows(rows, keep="")

    def _answer_caution(self, answer: CautionAnswer) -> None:
        events = [
            CautionAcknowledged(asked.caution.id, asked.carrier, asked.id, answer)
            for asked in self._asking
        ]
        if self.do(*events) is not None:
            self.show_next()
            self.show_words()

    def on_pick_list_unpicked(self, event: PickList.Unpicked) -> None:
        """Enter on a danger: once is easily pressed, twice is meant."""
        event.stop()
        if self._asking and not self._asking[0].stops:
            self.query_one("#answers", PickList).highlighted = 0
            more = self.scrollable().max_scroll_y > self.scrollable().scroll_y
            self._asking_words = f"{'More below: PgDn. ' if more else ''}{cards.ENTER_AGAIN}"
        self._show_head()

    def on_key(self, event: events.Key) -> None:
        """A figure typed at a danger is not lost in silence."""
        if self._asking and event.key.isdigit() and self.query_one("#answers").has_focus:
            self._asking_words = f"{self._how_to_answer()} Figures come after."
            self._show_head()

    def on_pick_list_picked(self, event: PickList.Picked) -> None:
        event.stop()
        match event.id:
            case "understood" | "does not apply" | "trained" as answer:
                self._answer_caution(answer)
            case "cannot":
                self.action_cannot()
            case other:
                self.answered(other)

    def on_pick_list_moved(self, event: PickList.Moved) -> None:
        event.stop()

    # --- readings --------------------------------------------------------------------------------

    def on_entry_panel_entered(self, event: EntryPanel.Entered) -> None:
        event.stop()
        now = self.next
        if now is None or now.id != event.test:
            return
        before = self.work.state
        commands: list[Command] = [*self.leaves_route(event.test, now)]
        commands.append(
            TakeReading(
                event.test,
                event.typed,
                event.entry,
                event.showing,
                now.way,
                event.anyway,
                advice_at(self.advised.suggestions, event.test) if self.advised else None,
            )
        )
        try:
            made = self.work.do(*commands)
        except REFUSED as trouble:
            self.query_one(EntryPanel).refuse(str(trouble))
            return
        self.before = before
        self.taken(next(e for e in made if isinstance(e, ReadingTaken)))

    def on_entry_panel_typing(self, event: EntryPanel.Typing) -> None:
        """The keys at the foot change with the first letter typed and the last one deleted."""
        event.stop()
        self.refresh_bindings()

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
            case "showing":
                return test is not None
            case "cannot":
                return test is not None or bool(self._asking and self._asking[-1].carrier == "test")
            case _:
                return True

    def enter_does(self) -> str:
        if not self.is_mounted:
            return ""
        if self._asking:
            return "Choose" if self._asking[0].stops else "Read it"
        return "Take it" if self.query_one(EntryPanel).has_text else ""

    def name_of(self, action: actions.Action) -> str:
        if action.id == "everywhere.back" and self.is_mounted:
            return "Clear" if self.query_one(EntryPanel).has_text else "Back"
        return action.name

    def action_back(self) -> None:
        entry = self.query_one(EntryPanel)
        if entry.display and entry.has_text:
            entry.clear_text()
            self.refresh_bindings()
        else:
            self.leave()

    def action_leave(self) -> None:
        self.work.close()
        self.app.exit()

    def action_cannot(self) -> None:
        now = self.next
        if now is None or now.kind != "test":
            return
        test = now.id
        answers = [Row(reason, text.line(reason)) for reason in REASONS]
        answers.append(Row("other", text.line("Another reason: write it")))

        def record(reason: str | None) -> None:
            if reason and self.do(CannotDo(test, reason)) is not None:
                self.say(f"Kept: {name} cannot be done here.")
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
                self.show_words()

        said = text.line("It stands in the log and in the report, after the last entry.")
        self.app.push_screen(WriteBox("Note", said), written)

    def action_showing(self) -> None:
        self.query_one(EntryPanel).turn_showing()

    def action_order(self) -> None:
        self.run_worker(self._turn_order(), exclusive=True, group=CARD)

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
            self.show_words()

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
