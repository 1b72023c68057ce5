"""One reading by prompts: how the test is done, what was read, what that says; then the log.

What was typed is read back with its band and how sure that is; `back` at the next question takes it
back before anything is written. At a reading `cannot`, `gauge` and `order` are words of their own.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from faulttree.scorer.evidence import Entry, Weighed
from faulttree.screen.instruments import offered
from faulttree.screen.plain.bench import DANGER, Bench, taken_of
from faulttree.screen.plain.intake import ask_showing
from faulttree.screen.plain.talk import (
    Back,
    Talk,
    answer_prompt,
    matching,
    numbered,
    whole_steps,
)
from faulttree.screen.wording import (
    band_range,
    figure,
    figures_words,
    minutes_words,
    pattern_words,
    percent,
    reach_words,
    settles_words,
    spread_shown,
    sure_words,
    to_shown,
    unit_shown,
    why_limits,
    with_unit,
)
from faulttree.screen.work import base_doubts, base_is_out, spread_of
from faulttree.session.entry import entry_trouble, outside, parse_choice, parse_part
from faulttree.session.events import InstrumentChecked, ReadingTaken, Showing, TakenAs
from faulttree.session.moves import NotAllowed, TakeReading
from faulttree.session.standing import weigh_entry
from faulttree.session.words import part_words, shown_text
from faulttree.trade.registry import SumError
from faulttree.trade.units import ReadingError, parse_quantity
from faulttree.tree.car import SpecUnknown, instrument_for, limits_for

if TYPE_CHECKING:
    from faulttree.tree.model import Instrument, Part, Test

AS_ASKED = "as-asked!"
CANNOT = "Type cannot if the test cannot be done."
STEPS = "Type steps to hear the steps again."
GAUGE = "Type gauge if another instrument is used, or if one is known to be out."
ORDER = "Type order to give the cylinders in firing order, and again for number order."


class _Cannot(Exception):
    """Somebody typed `cannot`."""


class _Turned(Exception):
    """The instrument or the order of the cylinders changed: ask anew."""


class TestTaker:
    """Takes one test: says it, asks for its reading, reads it back, records it."""

    __test__ = False

    def __init__(self, bench: Bench, test: Test, way: TakenAs) -> None:
        self.bench, self.talk, self.work = bench, bench.talk, bench.work
        self.test, self.way = test, way
        self.instruments: dict[str, str] = {}
        self.firing_order = False

    def take(self) -> ReadingTaken | None:
        """The reading once it is on the disk, or None when the test cannot be done."""
        self._card()
        leaving = self.bench.leaves_route(self.test.id, self.way)
        while True:
            self._gauge_words()
            try:
                typed, entry, anyway = self._entry()
            except _Cannot:
                self.bench.cannot(self.test.id)
                return None
            except _Turned:
                continue
            try:
                showing = self._showing(entry)
            except Back:
                self.talk.say("Taken back; nothing was recorded.")
                continue
            if showing is None:
                continue
            taking = TakeReading(
                self.test.id,
                typed,
                entry,
                showing,
                self.way,
                anyway=anyway,
                advice=self.bench.advice_for(self.test.id),
            )
            events = self.bench.do(*leaving, taking)
            if events:
                return self._recorded(taken_of(events))

    def _recorded(self, taken: ReadingTaken) -> ReadingTaken:
        near = " It is near a limit; another reading would tell more." if taken.near else ""
        self.talk.say(f"Recorded: {self.test.name}: {taken.band}, {sure_words(taken.sure)}.{near}")
        if base_is_out(self.test, taken):
            self.talk.say(
                f"This is a base reading and it is out. {' '.join(self.test.base.split())}"
            )
            for said in base_doubts(self.work, taken):
                self.talk.say(said)
            self.talk.say("Type again to take it again, fix to record a repair, or go on.")
        return taken

    # --- what is said before ---------------------------------------------------------------------

    def _card(self) -> None:
        test = self.test
        self.talk.say(
            f"Test: {test.name}, {minutes_words(test.minutes)}, {reach_words(test.reach)}."
        )
        self.bench.cautions("test", test.id)
        if test.id in self.bench.told_steps:
            self.talk.say("The steps are as before. Type steps to hear them.")
        else:
            self._steps()
        self._after()
        self._limits()
        advised = self.bench.advised
        best = {s.id: s for s in advised.suggestions} if advised else {}
        if test.id in best:
            self.talk.say(f"To be expected: {settles_words(best[test.id].bands, test.expect)}.")
        state = self.work.state
        earlier = [fact for fact in state.readings_of(test.id) if fact.stage < state.stage]
        if earlier:
            self.talk.say(f"Before the repair it read {earlier[-1].event.band}.")
        before = self.work.readings_now(test.id)
        if before:
            read = "; ".join(shown_text(fact.event, test) for fact in before)
            self.talk.say(f"Taken before, and counted together with it: {read}.")
        if not self.bench.hinted:
            self.bench.hinted = True
            self.talk.say("At a reading, type ? to hear what else can be typed, such as cannot.")

    def _steps(self) -> None:
        """How the test is done, with what, and what spoils it."""
        test = self.test
        self.bench.told_steps.add(test.id)
        self.talk.say("Do this:")
        steps = whole_steps(test.do)
        for part in test.reading.parts if test.reading else ():
            # The steps call a figure as its file does; it is asked for by its spoken name.
            if "_" in part.name:
                steps = steps.replace(part.name, part_words(part.name))
        self.talk.say(steps)
        figures = figures_words(test, self.work.car, self.work.knowledge)
        if figures:
            self.talk.say(f"This car: {'; '.join(figures)}.")
        if test.tools:
            self.talk.say(f"Tools: {', '.join(test.tools)}.")
        if test.spoils:
            self.talk.say(f"What spoils it: {' '.join(test.spoils.split())}")

    def _after(self) -> None:
        """Which reading this test should come after, where that is not there."""
        read = self.work.read_now()
        for other, bands in self.test.after.items():
            if read.get(other) not in bands:
                known = self.work.knowledge.tests.get(other)
                name = known.name if known else other
                self.talk.say(f"It says something only after {name} read {' or '.join(bands)}.")

    def _limits(self) -> None:
        """Where the bands of the test lie on this car, and what that rests on."""
        test, car, knowledge = self.test, self.work.car, self.work.knowledge
        try:
            if test.kind == "number":
                limits = limits_for(test, car, knowledge)
                if test.reading is not None and test.reading.take:
                    self.talk.say(f"Judged is {_take_words(test.reading.take)}.")
                for band in test.bands:
                    self.talk.say(f"{band}: {band_range(test, limits, band)}.")
            elif test.kind == "pattern":
                self.talk.say(f"In limits: {pattern_words(test, car, knowledge)}.")
        except SpecUnknown as unknown:
            self.talk.say(f"The limits are not known: {unknown}.")
            return
        for line in why_limits(test, car, knowledge):
            self.talk.say(f"The limits rest on: {line}.")

    def _gauge_words(self) -> None:
        """With what each figure is read, how far out that may be, and its known errors."""
        for part in self.test.reading.parts if self.test.reading else ():
            name = self.instruments.get(part.name, part.instrument)
            if name is None or name not in self.work.knowledge.instruments:
                continue
            instrument = instrument_for(name, self.work.car, self.work.knowledge)
            own = part.accuracy if name == part.instrument else None
            width = (
                with_unit(figure(own), part.unit)
                if own is not None
                else with_unit(figure(instrument.accuracy), instrument.unit)
            )
            of = f"{_spoken_name(part)} read" if len(self.test.reading.parts) > 1 else "Read"  # type: ignore[union-attr]
            self.talk.say(f"{of} with: {instrument.name}, right within {width}.")
            if instrument.correction:
                self.talk.say(f"It is corrected: {_points(instrument)}.")

    # --- what is typed ---------------------------------------------------------------------------

    def _entry(self) -> tuple[str, Entry, bool]:
        """What was typed, as an entry that can be weighed, and whether it is taken `anyway`."""
        if self.test.reading is None:
            typed, entry = self._choice()
            return typed, entry, False
        while True:
            typed, entry = self._figures(self.test.reading.parts)
            trouble = entry_trouble(self.test, entry, self.work.car)
            if trouble:
                self.talk.say(trouble)
                continue
            beyond = outside(self.test, entry)
            if beyond is None:
                return typed, entry, False
            self.talk.say(f"{beyond} Check the figure and its unit.")
            help = "A gauge can stick and a car can surprise; most often it is a slip of the hand."
            try:
                if self.talk.yes("Take it anyway?", default=False, help=help):
                    return typed, entry, True
            except Back:
                continue

    def _choice(self) -> tuple[str, Entry]:
        test = self.test
        bands = [(band, band) for band in test.bands]
        good = [
            f"{band}{', as it should be' if band == test.expect else ''}" for band in test.bands
        ]
        asked = numbered("What did you find?", good)
        self.talk.say(asked)
        help = f"Type the number of what you found, or its name. {CANNOT}"
        while True:
            typed = self._line(answer_prompt(), help, asked)
            if not typed:
                self.talk.say(f"Type a number from 1 to {len(bands)}, or its name.")
                continue
            found = matching(typed, bands)
            try:
                choice = found[0] if len(found) == 1 else parse_choice(test, typed)
            except ReadingError as trouble:
                self.talk.say(str(trouble))
                continue
            return choice, Entry(choice=choice)

    def _figures(self, parts: Sequence[Part]) -> tuple[str, Entry]:
        values: dict[str, tuple[float, ...]] = {}
        texts: list[str] = []
        at = 0
        while at < len(parts):
            part = parts[at]
            try:
                typed, values[part.name] = self._part(part)
            except Back:
                if at == 0:
                    raise
                at -= 1
                texts.pop()
                continue
            texts.append(typed if len(parts) == 1 else f"{part.name}={typed}")
            at += 1
        return ", ".join(texts), Entry(values=values, instruments=dict(self.instruments))

    def _part(self, part: Part) -> tuple[str, tuple[float, ...]]:
        reading = self.test.reading
        assert reading is not None
        unit = f" in {part.unit}" if part.unit else ""
        name = "Reading" if part.name == "value" else _spoken_name(part)
        if reading.per_cylinder and self.work.car.cylinders > 1:
            return self._cylinders(part, f"{name}{unit}")
        while True:
            typed = self._line(
                f"{name}{unit}:", f"A figure with or without its unit. {CANNOT} {GAUGE}"
            )
            try:
                return typed, parse_part(self.test, part, typed, self.work.car, anyway=True)
            except ReadingError as trouble:
                self.talk.say(str(trouble))

    def _line(self, prompt: str, help: str, again: str = "") -> str:
        """A line at a reading, where some words mean something of their own."""
        while True:
            typed = self.talk.line(prompt, f"{help} {STEPS} {DANGER}", again)
            word = typed.casefold()
            if word == "steps":
                self._steps()
            elif word == "danger":
                self.bench.dangers("test", self.test.id)
            else:
                break
        reading = self.test.reading
        if word == "cannot":
            raise _Cannot
        if word == "gauge" and reading is not None:
            try:
                choose_gauges(self.bench, self.test, self.instruments)
            except Back:
                self.talk.say("Back at the reading.")
            raise _Turned
        if word == "order" and reading is not None and reading.per_cylinder:
            self._turn()
            raise _Turned
        return typed

    # --- one for each cylinder -------------------------------------------------------------------

    def _turn(self) -> None:
        if not self.work.car.fires_in_order:
            self.talk.say("The firing order of this car is not known; give it with figures.")
            return
        self.firing_order = not self.firing_order

    def _order(self) -> tuple[int, ...]:
        """The cylinders in the order in which they are asked for."""
        return self.work.car.order(self.firing_order)

    def _cylinders(self, part: Part, name: str) -> tuple[str, tuple[float, ...]]:
        """One figure for each cylinder: all in a line, or one by one after Enter."""
        order = self._order()
        which = "firing" if self.firing_order else "number"
        said = f"{which} order, {' '.join(map(str, order))}"
        help = (
            f"Type {len(order)} figures with spaces or semicolons between them, in {said}; the "
            f"unit once at the end. Enter alone asks cylinder by cylinder. {CANNOT} {GAUGE} {ORDER}"
        )
        prompt = f"{name}, one for each of {len(order)} cylinders, in {said} (Enter: one by one):"
        while True:
            typed = self._line(prompt, help)
            if not typed:
                try:
                    return self._one_by_one(part, order)
                except Back:
                    continue
            try:
                found = parse_part(self.test, part, typed, self.work.car, anyway=True)
            except ReadingError as trouble:
                self.talk.say(str(trouble))
                continue
            if self.firing_order:
                typed = f"{typed} (in firing order {'-'.join(map(str, order))})"
            return typed, _by_number(order, found)

    def _one_by_one(self, part: Part, order: tuple[int, ...]) -> tuple[str, tuple[float, ...]]:
        texts: list[str] = []
        values: list[float] = []
        unit = f" in {part.unit}" if part.unit else ""
        while len(values) < len(order):
            try:
                typed = self._line(
                    f"Cylinder {order[len(values)]}{unit}:",
                    f"A figure with or without its unit. {CANNOT} {GAUGE} {ORDER}",
                )
                read = parse_quantity(typed, part.unit, part.possible).value_in_default
            except ReadingError as trouble:
                self.talk.say(str(trouble))
                continue
            except Back:
                if not values:
                    raise
                values.pop()
                texts.pop()
                continue
            values.append(read)
            texts.append(typed)
        ordered = dict(zip(order, texts, strict=True))
        return "; ".join(ordered[number] for number in sorted(ordered)), _by_number(
            order, tuple(values)
        )

    # --- reading it back -------------------------------------------------------------------------

    def _showing(self, entry: Entry) -> Showing | None:
        """Read back what an entry comes to, and ask the last question before it is recorded.

        None when it cannot be weighed and must be typed anew; raises Back when it is taken back.
        """
        while True:
            try:
                weighed, repeats = weigh_entry(
                    self.work.state, self.work.knowledge, self.test.id, entry
                )
                break
            except SpecUnknown as unknown:
                self.talk.say(str(unknown))
                self.bench.figure(unknown.spec)
            except (ReadingError, SumError, NotAllowed) as trouble:
                self.talk.say(f"Not recorded. {trouble}")
                return None
        for line in self._verdict(entry, weighed, len(repeats)):
            self.talk.say(line)
        matters = ", which matters here" if self.test.shows_only is not None else ""
        return ask_showing(
            self.talk,
            f"Was the complaint showing{matters}? Type back to take the reading back.",
        )

    def _verdict(self, entry: Entry, weighed: Weighed, repeats: int) -> list[str]:
        """What a reading comes to, before it is recorded, in sentences."""
        test, said = self.test, []
        true = weighed.true_values
        if true and dict(true) != dict(entry.values):
            parts = test.reading.parts if test.reading else ()
            corrected = "; ".join(
                with_unit(", ".join(figure(value) for value in true[part.name]), part.unit)
                for part in parts
                if part.name in true
            )
            said.append(f"Corrected for the instrument: {corrected}.")
        if test.reading is not None and test.reading.per_cylinder:
            said += self._spread(entry)
        before = "one" if repeats == 1 else str(repeats)
        counted = f"Counted with the {before} before, that" if repeats else "That"
        line = f"{counted} reads {weighed.band}, {sure_words(weighed.bands[weighed.band])}"
        if weighed.figure is not None and weighed.u:
            value = figure(to_shown(test, weighed.figure))
            width = figure(spread_shown(test, spread_of(weighed)), 2)
            line += f": {value} plus or minus {with_unit(width, unit_shown(test))}"
        said.append(f"{line}.")
        if weighed.near:
            said.append("It is near a limit.")
        return said

    def _spread(self, entry: Entry) -> list[str]:
        """The lowest and the highest cylinder, and which ones stand out."""
        values = next(iter(entry.values.values()))
        numbers = range(1, len(values) + 1)
        low = min(numbers, key=lambda n: values[n - 1])
        high = max(numbers, key=lambda n: values[n - 1])
        line = (
            f"Lowest {figure(values[low - 1])} at cylinder {low}, highest "
            f"{figure(values[high - 1])} at cylinder {high}"
        )
        share = values[low - 1] / values[high - 1] if values[high - 1] else math.nan
        if math.isfinite(share) and share >= 0:
            line += f"; the lowest is {percent(share)} of the highest"
        return [f"{line}."]


def choose_gauges(bench: Bench, test: Test, used: dict[str, str]) -> None:
    """Ask with which instrument each figure is read; `used` then holds those that differ."""
    assert test.reading is not None
    for part in test.reading.parts:
        _choose_gauge(bench, test, part, used)


def _choose_gauge(bench: Bench, test: Test, part: Part, used: dict[str, str]) -> None:
    knowledge = bench.work.knowledge
    named = test.reading is not None and len(test.reading.parts) > 1
    now = used.get(part.name, part.instrument)
    options = [
        (one.id, f"{one.name}, right within {with_unit(figure(one.accuracy), one.unit)}")
        for one in offered(test, part, knowledge)
    ]
    if part.instrument is None:
        options.append((AS_ASKED, "no special one, as the test says"))
    if not options:
        bench.talk.say("The shop's file of instruments has none for this reading.")
        return
    of = f" for {_spoken_name(part)}" if named else ""
    chosen = bench.talk.choose(
        f"With which instrument{of}?",
        options,
        default=now or AS_ASKED,
        help="Its known errors are corrected, and how far out it may be counts.",
    )
    used.pop(part.name, None)
    if chosen not in {AS_ASKED, part.instrument}:
        used[part.name] = chosen
    if chosen != AS_ASKED:
        check_instrument(bench, chosen)


def check_instrument(bench: Bench, id: str) -> None:
    """Ask where an instrument is known to be out: what it showed, and what was true."""
    talk, knowledge = bench.talk, bench.work.knowledge
    while True:
        instrument = instrument_for(id, bench.work.car, knowledge)
        if instrument.correction:
            talk.say(f"{instrument.name} is corrected: {_points(instrument)}.")
            if not any(fact.event.instrument == id for fact in bench.work.state.instruments):
                talk.say("A check made now takes the place of all that the shop's file says of it.")
        unit = f" in {instrument.unit}" if instrument.unit else ""
        help = (
            "Hold it against a better instrument and type both figures; readings from now on are "
            "corrected, those before stay as they are."
        )
        shown = _value(
            talk,
            f"Held against a better one, what did {instrument.name} show{unit}? (Enter: no check)",
            instrument,
            help,
        )
        if shown is None:
            return
        try:
            true = _value(talk, f"And what was true{unit}?", instrument, help)
            if true is None:
                continue
            against = talk.line("Held against what? (Enter for nothing)", "The better instrument.")
        except Back:
            continue
        if bench.do(InstrumentChecked(id, shown, true, against)):
            talk.say("Recorded. Readings from now on are corrected.")


def _value(talk: Talk, prompt: str, instrument: Instrument, help: str) -> float | None:
    """A figure in the instrument's unit; None for Enter alone."""
    while True:
        typed = talk.line(prompt, help)
        if not typed:
            return None
        try:
            return parse_quantity(typed, instrument.unit).value_in_default
        except ReadingError as trouble:
            talk.say(str(trouble))


def _points(instrument: Instrument) -> str:
    points = ", ".join(f"{figure(s)} shown is {figure(t)} true" for s, t in instrument.correction)
    return with_unit(points, instrument.unit)


def _spoken_name(part: Part) -> str:
    words = part_words(part.name)
    return words[:1].upper() + words[1:]


def _take_words(take: str) -> str:
    """What is made of several figures, as the trade says it."""
    return "lambda from the four gases" if take == "lambda-four-gas" else f"the {part_words(take)}"


def _by_number(order: tuple[int, ...], values: Sequence[float]) -> tuple[float, ...]:
    """Values given in an order of cylinders, by cylinder number."""
    found = dict(zip(order, values, strict=True))
    return tuple(found[number] for number in sorted(found))
