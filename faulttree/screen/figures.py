"""The figures of a car: what kind of engine it is, and what its maker says.

Used while a car is taken in and on the walk; where a figure goes is the work of the `Figures` that
the page is handed. Every figure says where it comes from; a typed one wins over the car's file, and
that over a generic one.
"""

from __future__ import annotations

import re
from typing import Protocol

from textual.app import ComposeResult

from faulttree.screen import actions, text
from faulttree.screen.boxes import AskBox, WriteBox
from faulttree.screen.lists import PickList, Row, heading
from faulttree.screen.page import Head, KeyLine, Page, Words
from faulttree.screen.wording import ORIGIN, with_unit
from faulttree.session.events import SpecGiven
from faulttree.session.words import value_text
from faulttree.trade.units import ReadingError, UnitError, parse_quantity
from faulttree.tree.car import Car
from faulttree.tree.model import Knowledge, Spec, Value

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


def read_value(spec: Spec, typed: str) -> Value:
    """A spec's value from what was typed; raises ReadingError with what to write instead."""
    if spec.choices:
        if typed in spec.choices:
            return typed
        raise ReadingError(f"{spec.name} is one of: {', '.join(spec.choices)}.")
    if spec.is_list:
        return _read_list(spec, typed)
    return parse_quantity(typed, spec.unit or "", spec.possible).value_in_default


def _read_list(spec: Spec, typed: str) -> Value:
    """Cylinder numbers, or banks of them parted by a stroke: `1-3-4-2`, `1 3 5 | 2 4 6`."""
    banks = []
    for part in re.split(r"[|/]", typed):
        numbers = re.findall(r"[0-9]+", part)
        if not numbers or re.search(r"[^0-9,;\s-]", part):
            raise ReadingError(f"{spec.name}: write cylinder numbers, such as 1-3-4-2.")
        banks.append(tuple(int(number) for number in numbers))
    flat = [number for bank in banks for number in bank]
    if len(set(flat)) != len(flat) or max(flat) > 24 or min(flat) < 1:
        raise ReadingError(f"{spec.name}: each cylinder number once, from 1 on.")
    if spec.id == "banks" or len(banks) > 1:
        return tuple(banks)
    return banks[0]


class FiguresPage(Page[None]):
    """Every figure of the car, to be looked at and typed."""

    PAGE = "figures"
    BINDINGS = actions.bindings("figures")

    def __init__(self, figures: Figures, *, kinds_first: bool = False, at: str = "") -> None:
        super().__init__()
        self.figures = figures
        self.kinds_first = kinds_first
        self.at = at

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
        return "Go on" if self.query_one(PickList).chosen == DONE else "Type it"

    def on_resize(self) -> None:
        self.show(None)

    def show(self, keep: str | None) -> None:
        """Show every figure with its origin."""
        knowledge, car = self.figures.knowledge, self.figures.car()
        kinds = [spec for spec in knowledge.specs.values() if spec.choices]
        others = [spec for spec in knowledge.specs.values() if not spec.choices]
        rows = [
            Row(DONE, text.line(("That is all: go on", "bold $text-primary"))),
            heading("What kind of car it is"),
            *(self._row(spec, car) for spec in kinds),
            heading("What its maker says"),
            *(self._row(spec, car) for spec in others),
        ]
        listed = self.query_one(PickList)
        listed.show_rows(rows, keep=listed.chosen if keep is None else keep)

    def _row(self, spec: Spec, car: Car) -> Row:
        known = car.specs.get(spec.id)
        room = max(40, self.size.width - 4)
        name_room = min(44, room // 2)
        if known is None:
            return Row(
                spec.id, text.line(text.left(spec.name, name_room), (" unknown", "$text-muted"))
            )
        value = with_unit(value_text(known.value), known.unit)
        origin = ORIGIN[known.origin]
        value_room = room - name_room - text.width(origin) - 3
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
        about = spec.about if spec is not None else ""
        self.query_one("#about", Words).update(text.line((about, "$text-muted")))
        self.refresh_bindings()

    def on_pick_list_picked(self, event: PickList.Picked) -> None:
        if event.id == DONE:
            self.dismiss(None)
        else:
            self.edit(event.id)

    def edit(self, id: str) -> None:
        """Ask for one figure."""
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
            answers.append(Row(UNKNOWN, text.line("unknown, or as before")))
            self.app.push_screen(
                AskBox(spec.name, about, answers), lambda answer: self._answered(spec, answer)
            )
            return
        now = value_text(known.value) if known is not None else ""
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
        self.app.push_screen(
            WriteBox(spec.name, about, "", unit), lambda typed: self._typed(spec, typed)
        )

    def _answered(self, spec: Spec, answer: str | None) -> None:
        if answer is None:
            return
        if answer == UNKNOWN:
            self._keep(self.figures.forget(spec.id), spec)
        else:
            self._keep(self.figures.give(SpecGiven(spec.id, answer, answer)), spec)

    def _typed(self, spec: Spec, typed: str | None) -> None:
        if typed is None:
            return
        try:
            value = read_value(spec, typed)
        except (ReadingError, UnitError) as trouble:
            self.say(trouble, severity="warning", title=spec.name)
            return
        self._keep(self.figures.give(SpecGiven(spec.id, value, typed)), spec)

    def _keep(self, refused: str | None, spec: Spec) -> None:
        if refused:
            self.say(refused, severity="warning", title=spec.name)
            self.show(spec.id)
            return
        # On to the next line, so that one after the other can be answered without arrows.
        order = [row for row in self.figures.knowledge.specs.values() if row.choices]
        order += [row for row in self.figures.knowledge.specs.values() if not row.choices]
        ids = [row.id for row in order]
        at = ids.index(spec.id) + 1
        self.show(ids[at] if at < len(ids) else DONE)
        if self.at:
            self.dismiss(None)

    def action_clear_figure(self) -> None:
        chosen = self.query_one(PickList).chosen
        if chosen and chosen != DONE:
            refused = self.figures.forget(chosen)
            if refused:
                self.say(refused, severity="warning")
            self.show(chosen)
