"""Where a reading is entered: one figure, several, one for each cylinder, or a choice.

A field takes a letter only after a digit, for the unit; before that, letters are keys of the page.
Among choices, a letter that one begins with goes to it, and the others are keys of the page.
While figures are typed, a preview says what they would come to: the corrected value on its scale
with the limits, the band and how sure it is. The preview weighs with the same code as the session
does, and never runs the scorer. What is entered leaves as a `Entered` message; taking it down, and
saying no, is the page's work.
"""

from __future__ import annotations

import itertools
import math
import statistics
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, cast

from textual import events
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.message import Message
from textual.widget import Widget
from textual.widgets import Input

from faulttree.scorer.evidence import Entry, Weighed
from faulttree.screen import draw, text
from faulttree.screen.lists import HELP, ChoiceList, PickList, Row
from faulttree.screen.page import PageLike, Words
from faulttree.screen.wording import (
    band_range,
    figure,
    pattern_words,
    percent,
    rests_on_generic,
    spread_shown,
    sure_words,
    to_shown,
    unit_shown,
    why_limits,
    with_unit,
)
from faulttree.screen.work import Work, spread_of
from faulttree.session.entry import entry_trouble, outside
from faulttree.session.events import Showing
from faulttree.session.standing import weigh_entry
from faulttree.session.words import part_words
from faulttree.trade.registry import SumError
from faulttree.trade.units import Quantity, ReadingError, parse_list, parse_quantity
from faulttree.tree.car import SpecUnknown, instrument_for, limits_for
from faulttree.tree.model import Part, Test

STARTS = "0123456789.,+-−"
"""What a reading may begin with."""

FIELD = r"([0-9.,+\-−][0-9A-Za-z.,+\-−/%°\"'µμΩ²³ ]{0,23})?"
"""What may stand in a field: a figure and perhaps its unit."""

TALL = 32
"""From how many rows on the limits may be told at length."""

LOW, HIGH = "▼", "▲"


class Field(Input):
    """A field for one figure. Letters that come first are left to the page."""

    class Left(Message):
        """The cursor leaves the field to its side: -1 to the one before, 1 to the next."""

        def __init__(self, field: Field, step: int) -> None:
            super().__init__()
            self.field, self.step = field, step

        @property
        def control(self) -> Field:
            return self.field

    class Pasted(Message):
        """A list was pasted into one field."""

        def __init__(self, field: Field, pasted: str) -> None:
            super().__init__()
            self.field, self.pasted = field, pasted

        @property
        def control(self) -> Field:
            return self.field

    def __init__(
        self, part: Part, changed: Callable[[], None], cylinder: int = 0, **keywords: Any
    ) -> None:
        super().__init__(restrict=FIELD, compact=True, select_on_focus=False, **keywords)
        self.part, self.cylinder, self._changed = part, cylinder, changed

    def watch_value(self) -> None:
        # At once, not by a message: what the figure comes to is painted together with it.
        if self.is_mounted:
            self._changed()

    def check_consume_key(self, key: str, character: str | None) -> bool:
        if character is None or not character.isprintable() or character == HELP:
            return False
        return bool(self.value) or character in STARTS

    def on_blur(self) -> None:
        # The cursor pushed a long figure to the left; without it there is room for the whole.
        self.scroll_to(x=0, animate=False, immediate=True)

    def on_key(self, event: events.Key) -> None:
        if event.is_printable and not self.check_consume_key(event.key, event.character):
            # Not ours: let it go on to the page.
            event.prevent_default()
            return
        step = {"up": -1, "down": 1}.get(event.key, 0)
        if event.key == "left" and self.cursor_at_start:
            step = -1
        elif event.key == "right" and self.cursor_at_end:
            step = 1
        if step:
            event.stop()
            event.prevent_default()
            self.post_message(self.Left(self, step))

    def on_paste(self, event: events.Paste) -> None:
        if any(char in event.text for char in ";\n\t") or event.text.count(",") > 1:
            event.stop()
            event.prevent_default()
            self.post_message(self.Pasted(self, event.text))


class FigureRow(Horizontal):
    """A field with the name of its figure before it and the unit behind it."""

    def __init__(self, part: Part, changed: Callable[[], None]) -> None:
        super().__init__(classes="part")
        self.label, self.unit = Words(), Words()
        self.field = Field(part, changed, classes="figure")

    def compose(self) -> ComposeResult:
        yield self.label
        yield self.field
        yield self.unit


class EntryPanel(Vertical):
    """The place of a reading on a page.

    Its fields and its list stay when another test comes up: what stands there is shown sooner than
    what has to be built.
    """

    class Entered(Message):
        """A reading was entered: the text as typed and what it was read as.

        `anyway` says that it lies outside what the test can read, and was entered twice.
        """

        def __init__(
            self, test: str, typed: str, entry: Entry, showing: Showing, anyway: bool
        ) -> None:
            super().__init__()
            self.test, self.typed, self.entry, self.showing = test, typed, entry, showing
            self.anyway = anyway

    class Typing(Message):
        """Something stands in a field now, or no longer does."""

    class SpecWanted(Message):
        """Enter was pressed, but a limit needs a figure of the car that is not known."""

        def __init__(self, spec: str) -> None:
            super().__init__()
            self.spec = spec

    def __init__(self, **keywords: Any) -> None:
        super().__init__(**keywords)
        self.work: Work | None = None
        self.test: Test | None = None
        self.showing: Showing = "unknown"
        self.firing_order = False
        self.instruments: dict[str, str] = {}
        self._note = ""
        self._hint = ""
        self._asked: Entry | None = None
        self._had_text = False
        self._fields: list[Field] = []
        self._rows: list[FigureRow] = []
        self._table: list[Field] = []
        self._filling = False

    @property
    def _now(self) -> tuple[Work, Test]:
        """The session and the test that are shown; only asked for while there are some."""
        if self.work is None or self.test is None:
            raise RuntimeError("no test is shown")
        return self.work, self.test

    def compose(self) -> ComposeResult:
        yield Words(id="limits")
        with Vertical(id="fields"):
            choices = ChoiceList(pages=False, id="choices")
            choices.moved = self._choice_moved
            yield choices
            yield Words(id="numbers")
            yield Horizontal(Words(id="table-unit"), id="table", classes="part")
        yield Words(id="preview")
        yield Words(id="status")

    # --- showing a test --------------------------------------------------------------------------

    async def show(self, work: Work, test: Test | None, *, keep: bool = False) -> None:
        """Make ready for a reading of this test; `keep` leaves what is typed already."""
        typed = {(f.part.name, f.cylinder): f.value for f in self._fields} if keep else {}
        if not keep:
            self.showing, self.instruments = "unknown", {}
            self._settle()
        self.work, self.test = work, test
        self.display = test is not None
        # One update, so that no half-made panel flashes up between two tests.
        with self.app.batch_update(), self._by_itself():
            await self._show_fields(test)
            for field in (*self._table, *(row.field for row in self._rows)):
                wanted = (field.part.name, field.cylinder)
                field.value = typed.get(wanted, "") if field in self._fields else ""
        self._had_text = self.has_text
        if test is not None:
            self.focus_first()
            self.refresh_words()

    async def _show_fields(self, test: Test | None) -> None:
        """Have the fields or the list that this test needs, and hide the others."""
        reading = test.reading if test is not None else None
        per_cylinder = reading is not None and reading.per_cylinder
        parts = reading.parts if reading is not None and not per_cylinder else ()
        choices = self._choices
        choices.display = test is not None and test.kind == "choice"
        self.set_class(choices.display, "-choice")
        choices.forget_typed()
        if test is not None and choices.display:
            choices.show_rows(self._choice_rows(test), keep="")
            # Nothing is highlighted at first: Enter alone must not say that all is well.
            choices.highlighted = None
        if reading is not None and per_cylinder:
            await self._show_table(reading.parts[0])
        self.query_one("#numbers").display = self.query_one("#table").display = per_cylinder
        more = [FigureRow(part, self._figure_changed) for part in parts[len(self._rows) :]]
        if more:
            self._rows += more
            await self.query_one("#fields").mount(*more)
        for at, row in enumerate(self._rows):
            row.display = at < len(parts)
        names = [part_words(part.name) if len(parts) > 1 else "Reading" for part in parts]
        room = max((text.width(text.clip(name, 20)) for name in names), default=0) + 1
        for row, part, name in zip(self._rows, parts, names, strict=False):
            row.field.part = part
            row.label.update(text.line((text.left(name, room), "bold")))
        shown = self._table if per_cylinder else [row.field for row in self._rows[: len(parts)]]
        self._fields = list(shown)

    async def _show_table(self, part: Part) -> None:
        """A row of fields, one for each cylinder of this car."""
        order = self.order()
        table = self.query_one("#table", Horizontal)
        if len(self._table) != len(order):
            for field in self._table:
                await field.remove()
            self._table = [
                Field(part, self._figure_changed, number, classes="cylinder") for number in order
            ]
            await table.mount(*self._table)
        for field, number in zip(self._table, order, strict=True):
            field.part, field.cylinder = part, number
        unit = text.left(text.clip(part.unit or "value", 7), 8)
        self.query_one("#table-unit", Words).update(text.line((unit, "bold")))
        self._show_numbers()

    @property
    def _choices(self) -> ChoiceList:
        return self.query_one("#choices", ChoiceList)

    def focus_first(self) -> None:
        """Put the cursor where the reading begins."""
        first: Widget = self._fields[0] if self._fields else self._choices
        first.focus(scroll_visible=False)

    @property
    def has_text(self) -> bool:
        """Whether something was typed that has not been taken down."""
        choices = self._choices
        chosen = choices.display and choices.highlighted is not None
        written = any(field.value for field in self._fields)
        return written or chosen or bool(choices.typed or choices.led)

    def clear_text(self) -> None:
        """Forget what was typed."""
        with self._by_itself():
            for field in self._fields:
                field.value = ""
            self._choices.forget_typed()
            self._choices.highlighted = None
        self._settle()
        self._say_typing()
        self.focus_first()
        self.refresh_words()

    @contextmanager
    def _by_itself(self) -> Iterator[None]:
        """While the panel fills or empties its fields, no single change is answered."""
        self._filling = True
        try:
            yield
        finally:
            # Another card may come up before one is there.
            self._filling = False

    def _settle(self) -> None:
        """Forget what was said about what was typed."""
        self._note, self._hint, self._asked = "", "", None

    def _choice_rows(self, test: Test) -> list[Row]:
        rows = []
        for band in test.bands:
            mark = "  ✓ as it should be" if band == test.expect else ""
            rows.append(Row(band, text.line(band, (mark, "$text-success"))))
        return rows

    def _show_numbers(self) -> None:
        """The cylinder numbers over the fields, and the fields as wide as there is room for."""
        cell = self._cell()
        for field in self._table:
            field.styles.width = cell
        numbers = [(text.left(f" {number}", cell), "bold") for number in self.order()]
        said = text.line((text.left("cyl", 8), "$text-muted"), *numbers)
        self.query_one("#numbers", Words).update(said)

    def order(self) -> tuple[int, ...]:
        """The cylinders in the order of the fields."""
        work, _test = self._now
        return work.car.order(self.firing_order)

    def _cell(self) -> int:
        work, _test = self._now
        return max(5, min(9, (self._room() - 9) // max(1, work.car.cylinders)))

    def _room(self) -> int:
        return max(30, (self.size.width or self.app.size.width) - 2)

    # --- what is typed ---------------------------------------------------------------------------

    def on_input_changed(self, event: Input.Changed) -> None:
        event.stop()

    def _figure_changed(self) -> None:
        """Another figure stands in a field."""
        if not self._filling and self.test is not None:
            self._settle()
            self._say_typing()
            self.refresh_words()

    def _say_typing(self) -> None:
        if self.has_text != self._had_text:
            self._had_text = self.has_text
            self.post_message(self.Typing())

    def on_pick_list_moved(self, event: PickList.Moved) -> None:
        event.stop()

    def _choice_moved(self) -> None:
        """Another choice is highlighted, or none."""
        if self._filling or self.test is None:
            return
        if not self._choices.typed:
            self._settle()
        self._say_typing()
        self.refresh_words()

    def on_choice_list_typed(self, event: ChoiceList.Typed) -> None:
        event.stop()
        self._settle()
        self._hint = event.words
        self._had_text = self.has_text
        self.post_message(self.Typing())
        self.refresh_words()

    def on_pick_list_picked(self, event: PickList.Picked) -> None:
        event.stop()
        self.enter()

    def on_pick_list_unpicked(self, event: PickList.Unpicked) -> None:
        event.stop()
        self.enter()

    def on_input_submitted(self, event: Input.Submitted) -> None:
        event.stop()
        fields = self._fields
        empty = [field for field in fields if not field.value.strip()]
        if empty and event.input.value.strip():
            at = fields.index(event.input) if event.input in fields else 0
            following = [f for f in [*fields[at + 1 :], *fields[:at]] if f in empty]
            following[0].focus()
            return
        self.enter()

    def on_field_left(self, event: Field.Left) -> None:
        event.stop()
        fields = self._fields
        at = fields.index(event.field) + event.step
        if 0 <= at < len(fields):
            fields[at].focus()

    def on_field_pasted(self, event: Field.Pasted) -> None:
        """A list pasted into the table fills it; anything else is read as one figure."""
        event.stop()
        fields = self._fields
        pasted = " ".join(event.pasted.split())
        if len(fields) > 1 and self.test and self.test.reading and self.test.reading.per_cylinder:
            try:
                found = parse_list(pasted, event.field.part.unit, event.field.part.possible)
            except ReadingError as trouble:
                self._refuse(str(trouble))
                return
            by_number = sorted(fields, key=lambda field: field.cylinder)
            with self._by_itself():
                for field, value in zip(by_number, found.values, strict=False):
                    unit = "" if found.unit == field.part.unit else f" {found.unit}"
                    field.value = f"{figure(value, 10)}{unit}"
            self._figure_changed()
            return
        event.field.insert_text_at_cursor(pasted[:24])

    def entry(self) -> tuple[Entry, str] | None:
        """What is typed as an entry, with the text of it; None while something is missing.

        Raises ReadingError when it cannot be read.
        """
        _work, test = self._now
        if test.kind == "choice":
            chosen = self._choices.chosen
            return (Entry(choice=chosen), chosen) if chosen else None
        fields = sorted(self._fields, key=lambda field: field.cylinder)
        if not fields or not all(field.value.strip() for field in fields):
            return None
        values: dict[str, tuple[float, ...]] = {}
        for field in fields:
            read = self._value(field)
            values[field.part.name] = (*values.get(field.part.name, ()), read)
        if len(values) > 1:
            typed = ", ".join(f"{field.part.name}={field.value.strip()}" for field in fields)
        else:
            typed = "; ".join(field.value.strip() for field in fields)
        return Entry(values=values, instruments=dict(self.instruments)), typed

    def _value(self, field: Field) -> float:
        return self._quantity(field).value_in_default

    @staticmethod
    def _quantity(field: Field) -> Quantity:
        return parse_quantity(field.value, field.part.unit, field.part.possible)

    def weighed(self, entry: Entry) -> Weighed:
        """What an entry would come to, together with the readings it repeats."""
        work, test = self._now
        weighed, _ = weigh_entry(work.state, work.knowledge, test.id, entry, self.showing)
        return weighed

    def enter(self) -> None:
        """Enter was pressed: hand the reading on, or say why not."""
        work, test = self._now
        try:
            found = self.entry()
            if found is None:
                missing = "One is missing." if self.has_text else "Type the figure first."
                self._refuse("Choose what you see first." if test.kind == "choice" else missing)
                return
            trouble = entry_trouble(test, found[0], work.car)
            if trouble:
                self._refuse(trouble)
                return
            self.weighed(found[0])
            beyond = outside(test, found[0])
            if beyond and self._asked != found[0]:
                self._refuse(f"{beyond} Enter again takes it anyway; or mend it.")
                self._asked = found[0]
                return
        except SpecUnknown as trouble:
            self.post_message(self.SpecWanted(trouble.spec))
            return
        except (ReadingError, SumError) as trouble:
            self._refuse(str(trouble))
            return
        self.post_message(
            self.Entered(test.id, found[1], found[0], self.showing, beyond is not None)
        )

    def refuse(self, why: str) -> None:
        """Say why a reading was not taken down."""
        self._refuse(why)

    def _refuse(self, why: str) -> None:
        self._note = why
        self.refresh_words()

    # --- what is said about it -------------------------------------------------------------------

    def turn_showing(self) -> None:
        """From not asked to yes, to no, and round again."""
        turn: dict[str, Showing] = {"unknown": "yes", "yes": "no", "no": "unknown"}
        self.showing = turn[self.showing]
        self.refresh_words()

    def on_resize(self) -> None:
        if self.test is not None:
            if self._table and self._fields == self._table:
                self._show_numbers()
            self.refresh_words()

    def refresh_words(self) -> None:
        """Say anew what stands around the fields."""
        if self.test is None or self.work is None or not self.is_mounted:
            return
        limits = self.query_one("#limits", Words)
        # A choice says itself what is as it should be.
        limits.display = self.test.kind != "choice"
        if limits.display:
            limits.update(self._limits())
        for row in self._rows:
            if row.display:
                row.unit.update(self._read_as(row.field))
        self.query_one("#preview", Words).update(self._preview())
        self.query_one("#status", Words).update(self._status())

    def _limits(self) -> Content:
        """What is in limits on this car, and why this figure."""
        work, test = self._now
        reasons = why_limits(test, work.car, work.knowledge)
        try:
            if test.kind == "pattern":
                level = pattern_words(test, work.car, work.knowledge)
                said: list[text.Piece] = [("Limits: ", "bold"), level]
            else:
                limits = limits_for(test, work.car, work.knowledge)
                said = [("In limits: ", "bold"), (band_range(test, limits, test.expect), "bold")]
        except SpecUnknown as trouble:
            key = cast(PageLike, self.screen).shown_key("figures")
            return text.line(
                ("Limits not known: ", "bold $text-warning"),
                f"{trouble} ({key}: figures of this car).",
            )
        if not reasons and test.kind == "number":
            reasons = ["the same for every car"]
        if test.reading is not None and test.reading.take and len(test.reading.parts) > 1:
            # Several figures make one: say which sum is judged.
            reasons = [test.reading.take.replace("-", " "), *reasons]
        line = text.line(*said)
        if reasons:
            # What does not fit here stands in full on the card.
            rows = 4 if self.app.size.height >= TALL else 2
            room = rows * (self._room() - 8) - text.width(line.plain)
            why = text.clip("; ".join(reasons), max(20, room) - 2)
            line = text.line(*said, (f" ({why})", "$text-muted"))
        return line

    def _read_as(self, field: Field) -> Content:
        """The unit behind a field; and how the figure was read, where that is not plain to see."""
        read, became = self._how_read(field)
        # What was typed stands in the field; only what became of it is told.
        said = f"that is {became}" if became else read
        return text.line(f" {field.part.unit}", (f"  {said}" if said else "", "bold"))

    def _how_read(self, field: Field) -> tuple[str, str]:
        """How a figure was read, and what it became in the unit of the field if it had another.

        ("", "") where it could have been read in no other way.
        """
        if not field.value.strip():
            return "", ""
        try:
            quantity = self._quantity(field)
        except ReadingError:
            return "", ""
        read, converted, value = quantity.how.partition(", that is ")
        if not converted:
            # That a comma parts the decimals is seen from the figure.
            return (read.removesuffix(" (decimal comma)") if "(" in read else ""), ""
        # As many digits as a gauge has.
        note = value[value.index(" (") :] if " (" in value else ""
        value = with_unit(figure(quantity.value_in_default), field.part.unit)
        return read, f"{value}{note}".removesuffix(" (decimal comma)")

    def _preview(self) -> Content:
        """What the reading would come to, or what is wrong with it."""
        work, test = self._now
        rows: list[Content] = []
        if test.reading is not None and test.reading.per_cylinder:
            rows += self._cylinder_preview()
        weighed, trouble, beyond = None, "", ""
        try:
            found = self.entry()
            if found is not None:
                trouble = entry_trouble(test, found[0], work.car) or ""
                beyond = outside(test, found[0]) or ""
                weighed = None if trouble else self.weighed(found[0])
        except (ReadingError, SumError, SpecUnknown) as error:
            trouble = str(error)
        # What was refused, or what it would come to, is never pushed off a low screen by the scale.
        tight = self.app.size.height < TALL and len(self._fields) > 2
        if test.kind == "number" and not tight:
            rows += self._scale(weighed)
        if self._note:
            rows.append(text.line((f"! {self._note}", "bold $text-warning")))
        elif self._hint:
            rows.append(text.line((self._hint, "bold")))
        elif trouble:
            rows.append(text.line((trouble, "$text-muted")))
        elif weighed is not None:
            rows.append(self._verdict(weighed, beyond))
        else:
            rows.append(text.line((self._waiting(), "$text-muted")))
        return text.stack(rows)

    def _waiting(self) -> str:
        _work, test = self._now
        if test.kind == "choice":
            return "What do you see? Its digit or the arrows, then Enter."
        parts = test.reading.parts if test.reading else ()
        unit = parts[0].unit if parts else ""
        fields = self._fields
        empty = [field for field in fields if not field.value.strip()]
        if len(fields) > 1:
            if len(empty) == 1:
                last = empty[0]
                which = f"cylinder {last.cylinder}" if last.cylinder else part_words(last.part.name)
                return f"One more: {which}."
            return "Type a figure, Enter to the next; comma or point both do."
        if not unit:
            return "Type the figure. Comma or point both do."
        return f"Type it in {unit}, or with its own unit behind it. Comma or point both do."

    def _scale(self, weighed: Weighed | None) -> list[Content]:
        work, test = self._now
        try:
            limits = limits_for(test, work.car, work.knowledge)
        except SpecUnknown:
            return [Content(""), Content("")]
        value, spread = None, 0.0
        if weighed is not None and weighed.figure is not None:
            value = to_shown(test, weighed.figure)
            spread = spread_shown(test, spread_of(weighed))
        shown = tuple(to_shown(test, limit) for limit in limits)
        return draw.scale(value, spread, shown, test.bands, test.expect, min(100, self._room()))

    def _verdict(self, weighed: Weighed, beyond: str = "") -> Content:
        """The band, how sure, the figure it rests on, and whether to take it again.

        What lies `beyond` the test is said first, and in place of the last.
        """
        work, test = self._now
        band, chance = weighed.band, weighed.bands[weighed.band]
        good = band == test.expect
        pieces: list[text.Piece] = [
            (f"! {beyond} " if beyond else "", "bold $text-warning"),
            ("✓ " if good else "✗ ", "bold"),
            (band, "bold $text-success" if good else "bold $text-warning"),
            f", {sure_words(chance)}",
        ]
        if not good and rests_on_generic(test, work.car):
            pieces.append((" by a generic figure", "bold"))
        if weighed.figure is not None and weighed.u:
            spread = figure(spread_shown(test, spread_of(weighed)), 2)
            shown = figure(to_shown(test, weighed.figure))
            pieces.append(f"   {shown} ± {with_unit(spread, unit_shown(test))}")
        if weighed.near and not beyond:
            pieces.append(("   Near a limit: take it again.", "bold"))
        return text.line(*pieces)

    def _cylinder_preview(self) -> list[Content]:
        """Each cylinder's share of the highest or the mean, and the lowest and highest so far."""
        _work, test = self._now
        values: dict[int, float] = {}
        for field in self._fields:
            if field.value.strip():
                try:
                    values[field.cylinder] = self._value(field)
                except ReadingError:
                    continue
        of_mean = test.pattern is not None and test.pattern.of == "mean"
        base = 0.0
        if values:
            base = statistics.fmean(values.values()) if of_mean else max(values.values())
        below = test.pattern.low_below if test.pattern else 0.0
        above = test.pattern.high_above if test.pattern else None
        cell = self._cell()
        shares: list[text.Piece] = [
            (text.left("of mean" if of_mean else "of best", 8), "$text-muted")
        ]
        for number in self.order():
            value = values.get(number)
            if value is None or not base or not math.isfinite(value / base):
                shares.append(" " * cell)
                continue
            share = value / base
            is_low = bool(below) and share < below
            is_high = above is not None and share > above
            mark = LOW if is_low else (HIGH if is_high else "")
            style = "bold $text-warning" if mark else ""
            shares.append((text.left(f" {share * 100:.0f}%{mark}", cell), style))
        rows = [text.line(*shares)]
        if values:
            low = min(values, key=lambda n: values[n])
            high = max(values, key=lambda n: values[n])
            share = values[low] / values[high] if values[high] else math.nan
            said = f"lowest {figure(values[low])} ({low}), highest {figure(values[high])} ({high})"
            if math.isfinite(share):
                said += f", lowest is {percent(share)} of highest"
            rows.append(text.line(said))
        else:
            rows.append(Content(""))
        read = [(field.cylinder, self._how_read(field)) for field in self._fields]
        said_of = [
            f"cylinder {cylinder}: {', that is '.join(filter(None, how))}"
            for cylinder, how in read
            if any(how)
        ]
        if said_of:
            rows.append(text.line((text.clip("; ".join(said_of), self._room()), "bold")))
        return rows

    def _status(self) -> Content:
        """Whether the complaint showed, the instrument, and the readings taken before."""
        work, test = self._now
        pieces: list[tuple[str, str]] = []
        said = {"unknown": "not said", "yes": "yes", "no": "no"}[self.showing]
        key = "bold $text-primary"
        matters = test.shows_only is not None
        page = cast(PageLike, self.screen)
        # While something is typed, letters belong to it, and the keys are not to be had.
        show, gauge = (page.shown_key(method) for method in ("showing", "instrument"))
        pieces += [
            (f"{show} " if show else "", key),
            (f"Complaint showing now: {said}", "bold" if matters else ""),
        ]
        if matters and self.showing == "unknown":
            pieces.append((" (it matters here)", "bold"))
        if test.reading is not None:
            tall = self.app.size.height >= TALL
            room = max(20, self._room() - sum(len(piece[0]) for piece in pieces) - 6)
            room += self._room() if tall else 0
            pieces += [
                (f"   {gauge} " if gauge else "   ", key),
                (text.clip(self._gauge(), room), ""),
            ]
        before = work.readings_now(test.id)
        rows = [text.line(*pieces)]
        if before:
            taken = self._taken([fact.event for fact in before])
            rows.append(text.line(("Before, counted together: ", "bold"), taken))
        return text.stack(rows)

    def _gauge(self) -> str:
        work, test = self._now
        said = []
        for part in test.reading.parts if test.reading else ():
            name = self.instruments.get(part.name, part.instrument)
            if name is None or name not in work.knowledge.instruments:
                if part.accuracy is not None:
                    said.append(f"± {with_unit(figure(part.accuracy), part.unit)}")
                continue
            instrument = instrument_for(name, work.car, work.knowledge)
            corrected = ", corrected" if instrument.correction else ""
            own = part.accuracy if name == part.instrument else None
            accuracy = (
                with_unit(figure(own), part.unit)
                if own is not None
                else with_unit(figure(instrument.accuracy), instrument.unit)
            )
            said.append(f"{instrument.name} ± {accuracy}{corrected}")
        return "; ".join(dict.fromkeys(said)) or "Gauge: as typed"

    def _taken(self, events_before: Sequence[Any]) -> str:
        """The readings that this one repeats, with their mean and spread."""
        choices = [event.choice for event in events_before if event.choice is not None]
        if choices:
            return ", ".join(choices)
        taken = [
            [*itertools.chain(*(event.true_values or event.values).values())]
            for event in events_before
        ]
        columns = list(zip(*taken, strict=False))
        if len(taken) == 1:
            return ", ".join(map(figure, taken[0]))
        mean = ", ".join(figure(statistics.fmean(column)) for column in columns)
        # Of several figures the one that scatters most is told.
        spread = figure(max(statistics.stdev(column) for column in columns), 2)
        if len(columns) > 1:
            return f"{len(taken)} times, mean {mean}, spread up to {spread}"
        shown = ", ".join(figure(numbers[0]) for numbers in taken)
        return f"{shown} (mean {mean}, spread {spread})"
