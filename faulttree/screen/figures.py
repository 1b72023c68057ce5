"""The figures of a car: what kind of engine it is, and what its maker says.

Used while a car is taken in and on the walk; where a figure goes is the work of the `Figures` that
the page is handed. Every figure says where it comes from; a typed one wins over the car's file, and
that over a generic one. One outside its usual range is asked about once, and then taken and marked.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from textual.app import ComposeResult

from faulttree.screen import actions, text
from faulttree.screen.boxes import AskBox, WriteBox
from faulttree.screen.lists import PickList, Row, heading
from faulttree.screen.page import Head, KeyLine, Page, Words
from faulttree.screen.wording import ORIGIN, figure, with_unit
from faulttree.session.events import SpecGiven
from faulttree.session.moves import read_spec, spec_outside
from faulttree.session.standing import specs_of
from faulttree.session.words import value_text
from faulttree.trade.units import ReadingError, UnitError
from faulttree.tree.car import Car, Known
from faulttree.tree.model import Knowledge, Spec, Test, Value

DONE = "done!"
UNKNOWN = "unknown!"


class Figures(Protocol):
    """Where the figures of a car are kept."""

    @property
    def knowledge(self) -> Knowledge:
        """What the shop knows."""

    def car(self) -> Car:
        """The car as known now."""

    def give(self, given: SpecGiven) -> str | None:
        """Keep a typed figure; says why not."""

    def forget(self, spec: str) -> str | None:
        """Forget a typed figure; says why not."""

    def open_tests(self) -> Sequence[Test]:
        """The tests that may still have to be done."""


MOST_WANTED = 6
"""How many figures are said to matter most."""


def resting_on(tests: Sequence[Test], car: Car) -> dict[str, list[str]]:
    """Which tests rest on each figure of the car, by name; figures that none rests on are left out.

    What kind of car it is decides which tests fit; a maker's figure where the limits lie.
    """
    found: dict[str, list[str]] = {}
    for test in tests:
        for spec in dict.fromkeys((*specs_of(test, car), *test.fits)):
            found.setdefault(spec, []).append(test.name)
    return found


def _shown(known: Known) -> str:
    """A figure as typed; one that was turned into another unit, or worked out, to four digits."""
    typed = known.origin == "typed" and not known.out_of
    if typed or not isinstance(known.value, int | float):
        return value_text(known.value)
    return figure(known.value, 4)


class FiguresPage(Page[bool]):
    """Every figure of the car, to be looked at and typed; gives True unless somebody goes back."""

    PAGE = "figures"
    BINDINGS = actions.bindings("figures")

    def __init__(self, figures: Figures, *, kinds_first: bool = False, at: str = "") -> None:
        super().__init__()
        self.figures = figures
        self.kinds_first = kinds_first
        self.at = at
        self.rests: dict[str, list[str]] = {}
        self.wanted: list[str] = []
        self.order: list[str] = []

    def compose(self) -> ComposeResult:
        yield Head()
        said = (
            "What kind of engine is it? Enter on a line; unknown is a good answer."
            if self.kinds_first
            else "Enter on a line to type the maker's figure, with its unit if it is another one."
        )
        yield Words(text.line(("Figures of this car. ", "bold"), said), classes="intro")
        yield PickList(numbered=False)
        yield Words(id="about", classes="foot-note")
        yield KeyLine()

    def ready(self) -> None:
        self.head("Figures of the car", self.figures.car().name)
        self.show(self.at or DONE)
        self.query_one(PickList).focus()
        if self.at:
            self.edit(self.at)

    def enter_does(self) -> str:
        if not self.is_mounted:
            return "Type it"
        chosen = self.query_one(PickList).chosen
        spec = self.figures.knowledge.specs.get(chosen)
        if chosen == DONE:
            return "Go on"
        return "Choose" if spec is not None and spec.choices else "Type it"

    def on_resize(self) -> None:
        self.show(None)

    def show(self, keep: str | None) -> None:
        """Show every figure with its origin."""
        knowledge, car = self.figures.knowledge, self.figures.car()
        self.rests = resting_on(self.figures.open_tests(), car)
        if not self.wanted:
            # Once only, so that no line moves away from under the cursor when it is answered.
            self.wanted = self._wanted(knowledge, car)
        wanted = [knowledge.specs[id] for id in self.wanted]
        rest = [spec for spec in knowledge.specs.values() if spec.id not in self.wanted]
        groups = [
            ("What kind of car it is: it decides which tests fit", [s for s in rest if s.choices]),
            ("What its maker says", [spec for spec in rest if not spec.choices]),
        ]
        most = ("These matter most for the tests ahead; so far generic or unknown", wanted)
        # The kinds come first where the car is being described.
        groups.insert(1 if self.kinds_first else 0, most)
        rows = [Row(DONE, text.line(("That is all: go on", "bold $text-primary")))]
        for title, specs in groups:
            if specs:
                rows += [heading(title), *(self._row(spec, car) for spec in specs)]
        self.order = [row.id for row in rows if row.id and row.id != DONE]
        listed = self.query_one(PickList)
        listed.show_rows(rows, keep=listed.chosen if keep is None else keep)

    def _wanted(self, knowledge: Knowledge, car: Car) -> list[str]:
        """The figures, unknown or generic, on which most of the tests ahead rest."""
        open_ones = [
            spec.id
            for spec in knowledge.specs.values()
            if spec.id in self.rests
            and (not self.kinds_first or not spec.choices)
            and ((known := car.specs.get(spec.id)) is None or known.origin == "generic")
        ]
        # Of those that matter alike, the shop's own order.
        open_ones.sort(key=lambda id: -len(self.rests[id]))
        return open_ones[:MOST_WANTED]

    def _matters(self, id: str) -> str:
        """Which tests ahead rest on a figure."""
        names = self.rests.get(id, [])
        if not names:
            return "No test ahead rests on it."
        # Names hold commas of their own.
        more = f"; and {len(names) - 2} more" if len(names) > 2 else ""
        return f"Rests on it: {'; '.join(names[:2])}{more}."

    def _row(self, spec: Spec, car: Car) -> Row:
        known = car.specs.get(spec.id)
        room = max(40, self.size.width - 4)
        # So that the longest of the trade's names stands whole at 80 columns.
        name_room = min(44, room - 33)
        if known is None:
            return Row(
                spec.id, text.line(text.left(spec.name, name_room), (" unknown", "$text-muted"))
            )
        value = with_unit(_shown(known), known.unit)
        unusual = spec_outside(spec, known.value) is not None
        origin = "typed, unusual" if unusual else ORIGIN[known.origin]
        value_room = room - name_room - text.width(origin) - 2
        return Row(
            spec.id,
            text.line(
                text.left(spec.name, name_room),
                (f" {text.left(value, value_room)}", "bold" if known.origin != "generic" else ""),
                (f" {origin}", "$text-muted"),
            ),
        )

    def on_pick_list_moved(self, event: PickList.Moved) -> None:
        event.stop()
        spec = self.figures.knowledge.specs.get(event.id)
        rows = []
        if spec is not None:
            rows = [text.line((spec.about, "$text-muted"))] if spec.about else []
            known = self.figures.car().specs.get(spec.id)
            unusual = spec_outside(spec, known.value) if known is not None else None
            if unusual:
                rows.append(text.line((f"! {unusual} It was taken anyway.", "bold $text-warning")))
            rows.append(text.line(self._matters(spec.id)))
        self.query_one("#about", Words).update(text.stack(rows))
        self.refresh_bindings()

    def on_pick_list_picked(self, event: PickList.Picked) -> None:
        if event.id == DONE:
            self.dismiss(True)
        else:
            self.edit(event.id)

    def edit(self, id: str, typed: str = "", trouble: str = "", asked: Value | None = None) -> None:
        """Ask for one figure; again, with what was `typed`, where there was `trouble`.

        `asked` is the value outside the usual range that is asked about now.
        """
        spec = self.figures.knowledge.specs[id]
        known = self.figures.car().specs.get(id)
        about = text.paragraph(spec.about) if spec.about else text.line("")
        if spec.choices:
            answers = [
                Row(
                    choice,
                    text.line(choice, " (now)" if known and known.value == choice else ""),
                )
                for choice in spec.choices
            ]
            answers.append(Row(UNKNOWN, text.line("unknown: as if nothing had been typed")))
            self.app.push_screen(
                AskBox(spec.name, about, answers), lambda answer: self._answered(spec, answer)
            )
            return
        now = _shown(known) if known is not None else ""
        unit = f"in {spec.unit}, or with another unit behind it" if spec.unit else ""
        if spec.is_list:
            unit = "e.g. 1-3-4-2" if spec.id != "banks" else "e.g. 1 3 5 | 2 4 6"
        if known is not None:
            about = text.stack(
                [
                    about,
                    text.line(
                        ("Now: ", "bold"), with_unit(now, known.unit), f", {ORIGIN[known.origin]}"
                    ),
                ]
            )
        if trouble:
            about = text.stack([about, text.line((f"! {trouble}", "bold $text-warning"))])
        self.app.push_screen(
            WriteBox(spec.name, about, typed, unit), lambda typed: self._typed(spec, typed, asked)
        )

    def _answered(self, spec: Spec, answer: str | None) -> None:
        if answer is None:
            return
        if answer == UNKNOWN:
            self._keep(self.figures.forget(spec.id), spec)
        else:
            self._keep(self.figures.give(SpecGiven(spec.id, answer, answer)), spec)

    def _typed(self, spec: Spec, typed: str | None, asked: Value | None) -> None:
        if typed is None:
            return
        try:
            value = read_spec(spec, typed)
        except (ReadingError, UnitError) as trouble:
            # What was typed is not lost: the box comes back with it, and says what is wrong.
            self.edit(spec.id, typed, str(trouble))
            return
        unusual = spec_outside(spec, value)
        if unusual and value != asked:
            # An Enter that was typed ahead was not meant for this question.
            self.host.ahead.drop()
            again = f"{unusual} Enter again takes it anyway; or mend it."
            self.edit(spec.id, typed, again, value)
            return
        given = SpecGiven(spec.id, value, typed, outside=unusual is not None)
        self._keep(self.figures.give(given), spec)

    def _keep(self, refused: str | None, spec: Spec) -> None:
        if refused:
            self.say(refused, severity="warning", title=spec.name)
            self.show(spec.id)
            return
        # On to the next line, so that one after the other can be answered without arrows.
        at = self.order.index(spec.id) + 1
        self.show(self.order[at] if at < len(self.order) else DONE)
        if self.at:
            self.dismiss(True)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action != "clear_figure" or not self.is_mounted:
            return True
        # Only what was typed can be forgotten.
        known = self.figures.car().specs.get(self.query_one(PickList).chosen)
        return known is not None and known.origin == "typed" and not known.out_of

    def action_clear_figure(self) -> None:
        chosen = self.query_one(PickList).chosen
        if chosen and chosen != DONE:
            refused = self.figures.forget(chosen)
            if refused:
                self.say(refused, severity="warning")
            self.show(chosen)
