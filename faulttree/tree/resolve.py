"""Makes a Knowledge of a shelf: every id, unit, sum, band and limit is looked up and must agree.

A catalogue serves several trees, so it may name causes and tests of catalogues that a tree does not
use: in `points_to`, `brings_on` and `prove_with` such an id is left out of this load, as long as it
exists somewhere under `shared`. Where the meaning would be lost (`first`, `route`, `road_test`,
`after`) it is an error. Whether a tree is any good is left to `check`.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, TypeVar

from faulttree.trade import sums, units
from faulttree.trade.registry import BANKS, EACH_CYLINDER, FIRING_ORDER, NOT_UNITS, Sum, SumError
from faulttree.tree import schema
from faulttree.tree.car import as_word
from faulttree.tree.model import (
    OTHERWISE,
    Cause,
    Caution,
    Instrument,
    Knowledge,
    Limit,
    Part,
    Pattern,
    Reading,
    Repair,
    Spec,
    SpecLimit,
    Test,
    Tree,
    Value,
    Vehicle,
)
from faulttree.tree.problem import Problem, did_you_mean, listed
from faulttree.tree.shelf import Item, Shelf

MOST_FOR_ALL_BANDS = 0.98
"""No cause may put a reading out of the expected band for certain."""

IN_LIMITS = "in limits"
PATTERNS = (IN_LIMITS, "one low", "neighbours low", "several low", "all low", "high")
"""The names of the patterns that `trade.patterns` tells apart."""

MOST_CYLINDERS = 16

Pairs = tuple[tuple[float, float], ...]
T = TypeVar("T")


def resolve(shelf: Shelf) -> Knowledge | None:
    """The shelf as a Knowledge, without its document; problems are added to the shelf's.

    Returns None when anything is wrong.
    """
    made = _Resolver(shelf)
    specs = made.all(shelf.specs, made.spec)
    made.spec_order()
    instruments = made.all(shelf.instruments, made.instrument)
    cautions = made.all(shelf.cautions, made.caution)
    causes = made.all(shelf.causes, made.cause)
    tests = made.all(shelf.tests, made.test)
    trees = made.all(shelf.trees, made.tree)
    vehicles = made.all(shelf.vehicles, made.vehicle)
    if any(problem.severity == "error" for problem in shelf.problems):
        return None
    return Knowledge(trees, causes, tests, specs, instruments, cautions, vehicles)


def band_names(entry: schema.TestEntry) -> list[str]:
    """The names of a test's bands, in the author's order."""
    if entry.choices is not None:
        return list(entry.choices)
    return [band for band in entry.bands or () if isinstance(band, str)]


@dataclass(slots=True)
class _Resolver:
    """Looks ids up in the shelf and collects what does not fit."""

    shelf: Shelf

    def all(
        self, items: Mapping[str, Item[Any]], make: Callable[[Item[Any]], T | None]
    ) -> dict[str, T]:
        """Everything of one kind that could be made."""
        made = {}
        for name, item in items.items():
            if item.entry is not None:
                value = make(item)
                if value is not None:
                    made[name] = value
        return made

    def report(
        self,
        item: Item[Any],
        path: Sequence[str | int],
        message: str,
        hint: str = "",
        *,
        rule: str,
        key: bool = False,
    ) -> None:
        """Record an error at a path below an entry."""
        place = item.place(*path, key=key)
        self.shelf.problems.append(Problem(place, message, hint, rule))

    # Looking things up

    def unknown(
        self,
        item: Item[Any],
        path: Sequence[str | int],
        what: str,
        name: str,
        known: Iterable[str],
        *,
        key: bool = False,
        rule: str = "unknown-id",
    ) -> None:
        """Record that an id names nothing."""
        hint = did_you_mean(name, known)
        self.report(item, path, f"there is no {what} `{name}`", hint, rule=rule, key=key)

    def unit(self, item: Item[Any], path: Sequence[str | int], name: str) -> str | None:
        """The one spelling of a unit, or None after recording that there is none."""
        if units.known(name):
            return units.canonical(name)
        hint = did_you_mean(name.casefold(), filter(None, units.units()))
        near = units.suggest(name)
        if near and not hint:
            hint = f"did you mean `{near}`?"
        self.report(item, path, f"there is no unit `{name}`", hint, rule="unknown-unit")
        return None

    def loaded(
        self,
        item: Item[Any],
        path: Sequence[str | int],
        section: str,
        name: str,
        *,
        key: bool = False,
        needed: bool = False,
    ) -> bool:
        """Whether a cause or test is there to be named; records it where it must be and is not."""
        what = "cause" if section == "causes" else "test"
        here: Mapping[str, Item[Any]] = getattr(self.shelf, section)
        if name in here:
            owner = here[name].tree
            if owner is None or owner == item.tree:
                if needed and owner is None:
                    self.in_use(item, path, what, here[name], key=key)
                return True
            message = f"`{name}` is a {what} of the tree `{owner}` alone"
            hint = f"move it to a catalogue under {self.shelf.folder / 'shared'}"
            self.report(item, path, message, hint, rule="unknown-id", key=key)
            return False
        elsewhere = self.shelf.elsewhere(section)
        if item.tree in self.shelf.incomplete and name in elsewhere:
            return False
        if name not in elsewhere:
            self.unknown(item, path, what, name, (*here, *elsewhere), key=key)
            return False
        if needed:
            message = f"the {what} `{name}` is in a catalogue that is not used here"
            hint = f"add {elsewhere[name]} to `uses`"
            self.report(item, path, message, hint, rule="not-used", key=key)
        return False

    def in_use(
        self,
        item: Item[Any],
        path: Sequence[str | int],
        what: str,
        wanted: Item[Any],
        *,
        key: bool,
    ) -> None:
        """Record a cause or test that must be loaded with an entry, but is not in every tree.

        Several trees may be loaded together; each must hold on its own.
        """
        for tree, files in self.shelf.uses.items():
            if tree in self.shelf.incomplete:
                continue
            with_item = tree == item.tree or (item.tree is None and item.source.file in files)
            if with_item and wanted.source.file not in files:
                whose = "here" if tree == item.tree else f"by the tree `{tree}`"
                message = f"the {what} `{wanted.id}` is in a catalogue that is not used {whose}"
                hint = f"add shared/{wanted.source.file.rpartition('/')[2]} to `uses`"
                self.report(item, path, message, hint, rule="not-used", key=key)
                return

    def cautions(self, item: Item[Any], names: Sequence[str]) -> tuple[str, ...]:
        """The cautions of an entry."""
        return self.known_ids(item, ("cautions",), names, "caution", self.shelf.cautions)

    def known_ids(
        self,
        item: Item[Any],
        path: Sequence[str | int],
        names: Sequence[str],
        what: str,
        known: Mapping[str, Any],
    ) -> tuple[str, ...]:
        """A list of ids, each recorded that names nothing or stands there twice."""
        for at, name in enumerate(names):
            if name not in known:
                self.unknown(item, (*path, at), what, name, known)
            elif name in names[:at]:
                self.report(item, (*path, at), f"`{name}` is listed twice", rule="listed-twice")
        return tuple(names)

    def fits(
        self,
        item: Item[Any],
        path: Sequence[str | int],
        wanted: Mapping[str, Sequence[str | float]],
    ) -> dict[str, tuple[str, ...]]:
        """The kinds of car that an entry is for."""
        made = {}
        for name, values in wanted.items():
            where = (*path, name)
            spec = self.shelf.specs.get(name)
            if spec is None:
                self.unknown(item, where, "spec", name, self.shelf.specs, key=True)
                continue
            made[name] = tuple(as_word(value) for value in values)
            if spec.entry is None:
                continue
            if spec.entry.kind == "list":
                message = f"`{name}` is a list, and a list cannot be asked for here"
                self.report(item, where, message, rule="spec-value", key=True)
                continue
            for at, value in enumerate(values):
                self.choice_or_number(item, (*where, at), name, spec.entry, value)
        return made

    def choice_or_number(
        self,
        item: Item[Any],
        path: Sequence[str | int],
        name: str,
        spec: schema.SpecEntry,
        value: str | float,
    ) -> None:
        """Record a value that is not one of a choice, or not a number for a number."""
        if spec.choices is not None:
            if value not in spec.choices:
                word = as_word(value)
                message = f"`{word}` is not one of the choices of `{name}`"
                hint = did_you_mean(word, spec.choices) or f"they are {listed(spec.choices)}"
                self.report(item, path, message, hint, rule="spec-value")
        elif isinstance(value, str):
            message = f"`{name}` is a number, not `{value}`"
            self.report(item, path, message, rule="spec-value")

    # Specs, instruments, cautions, vehicles

    def spec(self, item: Item[schema.SpecEntry]) -> Spec | None:
        """A spec, whose generic values must be of its own kind."""
        entry = item.entry
        assert entry is not None
        kinds = [key for key in ("unit", "choices", "kind") if getattr(entry, key) is not None]
        if len(kinds) > 1:
            message = f"{listed(kinds)} together: a spec is a number, a choice or a list"
            self.report(item, (kinds[1],), message, rule="spec-kind", key=True)
            return None
        unit: str | None = None
        if not kinds or entry.unit is not None:
            unit = self.unit(item, ("unit",), entry.unit or "")
            if unit is None:
                return None
        possible = self.rising_pair(item, ("possible",), entry.possible)
        if possible and unit is None:
            message = "`possible` is for numbers"
            self.report(item, ("possible",), message, rule="spec-kind", key=True)
        repeated = {c for c in entry.choices or () if list(entry.choices or ()).count(c) > 1}
        for name in sorted(repeated):
            self.report(item, ("choices",), f"`{name}` is listed twice", rule="listed-twice")
        if entry.take is not None:
            self.worked_out(item, entry, unit)
        elif entry.given:
            message = "`given` without `take`: it hands values to a sum"
            self.report(item, ("given",), message, rule="spec-kind", key=True)
        default = None
        if entry.default is not None:
            default = self.value(item, ("default",), item.id, entry, entry.default)
        defaults = []
        for at, given in enumerate(entry.defaults):
            when = self.fits(item, ("defaults", at, "when"), given.when)
            value = self.value(item, ("defaults", at, "value"), item.id, entry, given.value)
            if value is not None:
                defaults.append((when, value))
        return Spec(
            id=item.id,
            name=entry.name,
            unit=unit,
            choices=tuple(entry.choices or ()),
            is_list=entry.kind == "list",
            default=default,
            defaults=tuple(defaults),
            possible=possible,
            take=entry.take,
            given=dict(entry.given),
            about=_text(entry.about),
            source=_text(entry.source),
            place=item.place(),
        )

    def worked_out(
        self, item: Item[schema.SpecEntry], entry: schema.SpecEntry, unit: str | None
    ) -> None:
        """Record why the sum of a spec cannot give its value."""
        if unit is None:
            message = "`take` is for numbers: a sum gives neither a choice nor a list"
            self.report(item, ("take",), message, rule="spec-kind", key=True)
            return
        for key in ("default", "defaults"):
            if getattr(entry, key):
                message = f"`{key}` beside `take`: the sum gives the value"
                self.report(item, (key,), message, rule="spec-kind", key=True)
        found = sums.SUMS.get(entry.take or "")
        if found is None:
            self.unknown(item, ("take",), "sum", entry.take or "", sums.SUMS, rule="unknown-sum")
            return
        given_units = {}
        for key, value in entry.given.items():
            wanted = self.given_unit(item, ("given", key), found, key, value)
            if wanted is None:
                return
            given_units[key] = wanted
        if missing := [k for k in found.inputs if k not in {**given_units, **found.optional}]:
            message = f"the sum `{found.name}` also needs {listed(missing)}"
            self.report(item, ("take",), message, "name it in `given`", rule="spec-kind")
            return
        try:
            _, gives = found.units_for(given_units)
        except SumError as error:
            self.report(item, ("take",), _sentence(error), rule="spec-kind")
            return
        if not _agree(gives, unit):
            message = (
                f"`{found.name}` gives {gives or 'a plain number'}, which cannot be turned into"
                f" {unit or 'a plain number'}"
            )
            self.report(item, ("take",), message, rule="unit-mismatch")

    def spec_order(self) -> None:
        """Record values that wait for a spec whose own generic value comes later."""
        order = list(self.shelf.specs)
        for at, name in enumerate(order):
            item = self.shelf.specs[name]
            for key, other in (item.entry.given if item.entry else {}).items():
                if isinstance(other, str) and other in order[at:]:
                    message = f"the value of `{other}` comes later in the file"
                    if other == name:
                        message = f"the value of `{name}` depends on itself"
                    hint = f"write `{other}` before `{name}`" if other != name else ""
                    self.report(item, ("given", key), message, hint, rule="spec-order")
            for nth, given in enumerate(item.entry.defaults if item.entry else ()):
                for other in given.when:
                    later = self.shelf.specs.get(other) if other in order[at:] else None
                    if later is None or later.entry is None:
                        continue
                    if other == name:
                        message = f"the generic value of `{name}` depends on itself"
                    elif later.entry.defaults or later.entry.default is not None:
                        message = f"the generic value of `{other}` comes later in the file"
                    else:
                        continue
                    hint = f"write `{other}` before `{name}`" if other != name else ""
                    path = ("defaults", nth, "when", other)
                    self.report(item, path, message, hint, rule="spec-order", key=True)

    def value(
        self,
        item: Item[Any],
        path: Sequence[str | int],
        name: str,
        spec: schema.SpecEntry,
        given: float | str | list[int] | list[list[int]],
    ) -> Value | None:
        """A value of a spec, in the spec's unit; None after recording why it cannot be one."""

        def refuse(message: str, hint: str = "") -> None:
            self.report(item, path, message, hint, rule="spec-value")

        if spec.kind == "list":
            if not isinstance(given, list):
                refuse(f"`{name}` is a list of cylinder numbers", "write [1, 3, 4, 2]")
                return None
            rows = [row if isinstance(row, list) else [row] for row in given]
            flat = [cylinder for row in rows for cylinder in row]
            wrong = [c for c in flat if not 1 <= c <= MOST_CYLINDERS]
            if wrong:
                refuse(f"{wrong[0]} is not the number of a cylinder")
            elif len(set(flat)) < len(flat):
                refuse("a cylinder is listed twice")
            elif not flat:
                refuse("the list is empty")
            else:
                if isinstance(given[0], list):
                    return tuple(tuple(row) for row in rows)
                return tuple(flat)
            return None
        if isinstance(given, list):
            refuse(f"`{name}` is {'a choice' if spec.choices else 'a number'}, not a list")
            return None
        if spec.choices is not None:
            before = len(self.shelf.problems)
            self.choice_or_number(item, path, name, spec, given)
            return as_word(given) if len(self.shelf.problems) == before else None
        unit = spec.unit or ""
        if not units.known(unit):
            return None
        number = given
        if isinstance(number, str):
            try:
                pair = (spec.possible[0], spec.possible[1]) if spec.possible else None
                number = units.parse_quantity(number, unit, pair).value_in_default
            except units.ReadingError as error:
                refuse(f"`{name}` is in {unit or 'plain numbers'}: {_sentence(error)}")
                return None
        if spec.possible and not spec.possible[0] <= number <= spec.possible[1]:
            low, high = spec.possible
            shown = f"{units.plain(number)} {unit}".rstrip()
            hint = f"it can be {units.plain(low)} to {units.plain(high)} {unit}".rstrip()
            refuse(f"{shown} is not possible for `{name}`", hint)
            return None
        return float(number)

    def instrument(self, item: Item[schema.InstrumentEntry]) -> Instrument | None:
        """An instrument, whose correction must rise."""
        entry = item.entry
        assert entry is not None
        unit = self.unit(item, ("unit",), entry.unit)
        correction = self.correction(item, ("correction",), entry.correction)
        if unit is None:
            return None
        return Instrument(
            id=item.id,
            name=entry.name,
            unit=unit,
            accuracy=entry.accuracy,
            correction=correction,
            about=_text(entry.about),
            source=_text(entry.source),
            place=item.place(),
        )

    def correction(
        self, item: Item[Any], path: Sequence[str | int], pairs: Sequence[Sequence[float]]
    ) -> Pairs:
        """Correction points, which must rise in what is shown and in what is true."""
        for at in range(1, len(pairs)):
            for column, word in enumerate(("shown", "true")):
                if pairs[at][column] <= pairs[at - 1][column]:
                    message = (
                        f"the {word} value {units.plain(pairs[at][column])} does not rise above"
                        f" {units.plain(pairs[at - 1][column])} before it"
                    )
                    where = (*path, at, column)
                    self.report(item, where, message, rule="correction-not-rising")
                    break
        return tuple((pair[0], pair[1]) for pair in pairs)

    def caution(self, item: Item[schema.CautionEntry]) -> Caution:
        """A caution."""
        entry = item.entry
        assert entry is not None
        return Caution(
            id=item.id,
            danger=_text(entry.danger),
            do=_text(entry.do),
            kind=entry.kind,
            words=tuple(entry.words),
            source=_text(entry.source),
            place=item.place(),
        )

    def vehicle(self, item: Item[schema.VehicleFile]) -> Vehicle:
        """A vehicle, whose values must be of their specs' kinds."""
        entry = item.entry
        assert entry is not None
        specs: dict[str, Value] = {}
        for name, given in entry.specs.items():
            spec = self.shelf.specs.get(name)
            if spec is None:
                self.unknown(item, ("specs", name), "spec", name, self.shelf.specs, key=True)
            elif spec.entry is not None:
                value = self.value(item, ("specs", name), name, spec.entry, given)
                if value is not None:
                    specs[name] = value
        corrections: dict[str, Pairs] = {}
        for name, own in entry.instruments.items():
            where = ("instruments", name)
            if name not in self.shelf.instruments:
                self.unknown(item, where, "instrument", name, self.shelf.instruments, key=True)
            corrections[name] = self.correction(item, (*where, "correction"), own.correction)
        return Vehicle(
            id=item.id,
            name=entry.vehicle,
            specs=specs,
            corrections=corrections,
            about=_text(entry.about),
            source=_text(entry.source),
            place=item.place("vehicle"),
        )

    # Causes

    def cause(self, item: Item[schema.CauseEntry]) -> Cause:
        """A cause, and the tests that prove its repair."""
        entry = item.entry
        assert entry is not None
        prove = []
        for at, name in enumerate(entry.prove_with):
            if self.loaded(item, ("prove_with", at), "tests", name):
                prove.append(name)
                if name in entry.prove_with[:at]:
                    message = f"`{name}` is listed twice"
                    self.report(item, ("prove_with", at), message, rule="listed-twice")
        repair = entry.repair
        return Cause(
            id=item.id,
            name=entry.name,
            what=_text(entry.what),
            how_common=entry.how_common,
            repair=Repair(_text(repair.do), repair.minutes, repair.parts),
            fits=self.fits(item, ("fits",), entry.fits),
            set_up=_text(entry.set_up),
            cautions=self.cautions(item, entry.cautions),
            prove_with=tuple(prove),
            source=_text(entry.source) or "judgement",
            place=item.place(),
        )

    # Tests

    def test(self, item: Item[schema.TestEntry]) -> Test | None:
        """A test: its reading, its bands, and what they say."""
        entry = item.entry
        assert entry is not None
        before = len(self.shelf.problems)
        names = band_names(entry)
        kind: Literal["number", "pattern", "choice"] = "choice"
        limits: tuple[Limit, ...] = ()
        reading: Reading | None = None
        pattern: Pattern | None = None
        if entry.choices is not None:
            self.only_choices(item, entry)
        elif self.has_reading(item, entry):
            reading = self.reading(item, entry)
            if entry.pattern is not None:
                kind = "pattern"
                pattern = self.pattern(item, entry, reading)
            else:
                kind = "number"
                limits = self.limits(item, entry, reading)
        where = "choices" if entry.choices is not None else "bands"
        self.names(item, where, names)
        self.expect(item, entry, names)
        by_chance = self.chances(item, ("by_chance",), entry.expect, names, entry.by_chance)
        points_to = {}
        for cause, bands in entry.points_to.items():
            path = ("points_to", cause)
            there = self.loaded(item, path, "causes", cause, key=True)
            chances = self.chances(item, path, entry.expect, names, bands)
            if there:
                points_to[cause] = chances
        after = {}
        for name, wanted in entry.after.items():
            if self.loaded(item, ("after", name), "tests", name, key=True, needed=True):
                after[name] = self.bands_of(item, ("after", name), name, wanted)
        fits = self.fits(item, ("fits",), entry.fits)
        figures = self.known_ids(item, ("figures",), entry.figures, "spec", self.shelf.specs)
        cautions = self.cautions(item, entry.cautions)
        if len(self.shelf.problems) > before:
            return None
        return Test(
            id=item.id,
            name=entry.name,
            kind=kind,
            do=entry.do.strip(),
            bands=tuple(names),
            expect=entry.expect,
            by_chance=by_chance,
            points_to=points_to,
            minutes=entry.minutes,
            reach=entry.reach,
            reading=reading,
            limits=tuple(limits),
            pattern=pattern,
            sure=0.95 if entry.sure is None else entry.sure,
            family=_text(entry.family),
            fits=fits,
            after=after,
            shows_only=entry.shows_only.chance if entry.shows_only else None,
            base=_text(entry.base),
            tools=tuple(entry.tools),
            spoils=_text(entry.spoils),
            figures=figures,
            cautions=cautions,
            source=_text(entry.source),
            place=item.place(),
        )

    def only_choices(self, item: Item[schema.TestEntry], entry: schema.TestEntry) -> None:
        """Record keys that have no place beside `choices`."""
        for key in ("reading", "bands", "pattern"):
            if getattr(entry, key) is not None:
                message = f"`{key}` beside `choices`: a test has a reading or choices, not both"
                self.report(item, (key,), message, rule="test-kind", key=True)

    def has_reading(self, item: Item[schema.TestEntry], entry: schema.TestEntry) -> bool:
        """Whether a test without choices has what a reading needs; records what is missing."""
        if entry.sure is not None:
            message = "`sure` is for choices: a reading has an `accuracy`"
            self.report(item, ("sure",), message, rule="test-kind", key=True)
        if entry.reading is None and entry.bands is None:
            message = "the test yields nothing: it has neither `reading` and `bands` nor `choices`"
            self.report(item, (), message, rule="test-kind")
            return False
        for key in ("reading", "bands"):
            if getattr(entry, key) is None:
                message = f"`{key}` is missing"
                self.report(item, (), message, rule="missing-key")
                return False
        return True

    def reading(self, item: Item[schema.TestEntry], entry: schema.TestEntry) -> Reading | None:
        """What is entered at the test, and the unit of the figure that is banded."""
        made = entry.reading
        assert made is not None
        at = ("reading",)
        if made.from_ is not None:
            for key in ("unit", "each"):
                if getattr(made, key) is not None:
                    message = f"`{key}` beside `from`: each of its numbers has its own unit"
                    self.report(item, (*at, key), message, rule="reading-kind", key=True)
            parts = [self.part(item, made, name, unit) for name, unit in made.from_.items()]
            self.only_names(item, made, made.from_)
        elif made.unit is None:
            self.report(item, at, "`unit` is missing", rule="missing-key", key=True)
            return None
        else:
            parts = [self.part(item, made, None, made.unit)]
        whole = [part for part in parts if part is not None]
        if len(whole) < len(parts):
            return None
        per_cylinder = made.each is not None
        figure = whole[0].unit if len(whole) == 1 else None
        if made.take is not None:
            if entry.pattern is not None:
                message = "`take` beside `pattern`: a pattern looks at every cylinder"
                self.report(item, (*at, "take"), message, rule="reading-kind", key=True)
                return None
            figure = self.sum(item, made, whole)
        elif made.from_ is not None or (per_cylinder and entry.pattern is None):
            message = "`take` is missing: it names the sum that makes one figure of these readings"
            self.report(item, at, message, rule="missing-key", key=True)
            return None
        elif made.given:
            message = "`given` without `take`: it hands further values to a sum"
            self.report(item, (*at, "given"), message, rule="reading-kind", key=True)
        if figure is None:
            return None
        return Reading(tuple(whole), figure, per_cylinder, made.take, dict(made.given))

    def only_names(
        self, item: Item[schema.TestEntry], made: schema.ReadingEntry, names: Mapping[str, str]
    ) -> None:
        """Record values for numbers that `from` does not name."""
        for key, value in (
            ("accuracy", made.accuracy),
            ("possible", made.possible),
            ("with", made.with_),
        ):
            if isinstance(value, dict):
                for name in value:
                    if name not in names:
                        where = ("reading", key, name)
                        self.unknown(item, where, "number", name, names, key=True)
            elif value is not None and len(names) > 1:
                message = f"`{key}` must say for which of {listed(names)}"
                self.report(item, ("reading", key), message, rule="reading-kind")

    def part(
        self, item: Item[schema.TestEntry], made: schema.ReadingEntry, name: str | None, unit: str
    ) -> Part | None:
        """One number that is entered; `name` is None where there is only one."""
        at = ("reading",)
        unit_at = (*at, "unit") if name is None else (*at, "from", name)
        own_unit = self.unit(item, unit_at, unit)
        accuracy, possible, instrument = made.accuracy, made.possible, made.with_
        within: tuple[str, ...] = ()
        if name is not None:
            within = (name,)
            accuracy = accuracy.get(name) if isinstance(accuracy, dict) else accuracy
            possible = possible.get(name) if isinstance(possible, dict) else possible
            instrument = instrument.get(name) if isinstance(instrument, dict) else instrument
        for key, value in (("accuracy", accuracy), ("possible", possible), ("with", instrument)):
            if isinstance(value, dict):
                message = f"`{key}` must be one value: there is only one number"
                self.report(item, (*at, key), message, rule="reading-kind")
                return None
        assert not isinstance(accuracy, dict)
        assert not isinstance(possible, dict)
        assert not isinstance(instrument, dict)
        pair = self.rising_pair(item, (*at, "possible", *within), possible)
        if instrument is not None:
            known = self.shelf.instruments.get(instrument)
            where = (*at, "with", *within)
            if known is None:
                self.unknown(item, where, "instrument", instrument, self.shelf.instruments)
                return None
            shows = known.entry.unit if known.entry else None
            if not _agree(shows, own_unit):
                message = (
                    f"`{instrument}` shows {shows or 'a plain number'}, which cannot be turned"
                    f" into {own_unit or 'a plain number'}"
                )
                self.report(item, where, message, rule="unit-mismatch")
                return None
        elif accuracy is None:
            message = f"`accuracy` is missing{f' for `{name}`' if name else ''}"
            hint = "give it, or name the instrument with `with`"
            self.report(item, at, message, hint, rule="missing-key", key=True)
        if own_unit is None:
            return None
        return Part(name or "value", own_unit, accuracy, pair, instrument)

    def sum(
        self, item: Item[schema.TestEntry], made: schema.ReadingEntry, parts: Sequence[Part]
    ) -> str | None:
        """The unit of what the sum gives, or None after recording why it cannot be taken."""
        at = ("reading", "take")
        name = made.take or ""
        found = sums.SUMS.get(name)
        if found is None:
            self.unknown(item, at, "sum", name, sums.SUMS, rule="unknown-sum")
            return None
        given_units: dict[str, str] = {}
        if made.each is not None:
            many = [key for key, unit in found.inputs.items() if unit == EACH_CYLINDER]
            if not many:
                message = f"`{name}` does not take a reading of each cylinder"
                self.report(item, at, message, rule="reading-kind")
                return None
            given_units[many[0]] = parts[0].unit
        elif made.from_ is None:
            one = [key for key, unit in found.inputs.items() if key not in made.given]
            one = [key for key in one if key not in found.optional] or one
            given_units[one[0] if one else "value"] = parts[0].unit
        else:
            given_units = {part.name: part.unit for part in parts}
            for part in parts:
                if part.name not in found.inputs:
                    message = f"the sum `{name}` has no input `{part.name}`"
                    hint = f"it takes {listed(found.inputs)}"
                    path = ("reading", "from", part.name)
                    self.report(item, path, message, hint, rule="unknown-sum", key=True)
                    return None
        for key, value in made.given.items():
            unit = self.given_unit(item, ("reading", "given", key), found, key, value)
            if unit is None:
                return None
            given_units[key] = unit
        try:
            _, gives = found.units_for(given_units)
        except SumError as error:
            self.report(item, at, _sentence(error), rule="reading-kind")
            return None
        return gives

    def given_unit(
        self,
        item: Item[Any],
        at: Sequence[str | int],
        found: Sum,
        key: str,
        value: str | float,
    ) -> str | None:
        """The unit of what `given` hands to a sum, or None after recording what is wrong."""
        wanted = found.inputs.get(key)
        if wanted is None:
            self.unknown(item, at, "input", key, found.inputs, key=True)
            return None
        if not isinstance(value, str):
            return "" if wanted in NOT_UNITS else wanted
        spec = self.shelf.specs.get(value)
        if spec is None:
            self.unknown(item, at, "spec", value, self.shelf.specs)
            return None
        if spec.entry is None:
            return None
        if (spec.entry.kind == "list") != (wanted in (BANKS, FIRING_ORDER)):
            wants = wanted if wanted in (BANKS, FIRING_ORDER) else "a number"
            self.report(item, at, f"`{key}` takes {wants}", rule="reading-kind")
            return None
        if spec.entry.choices is not None:
            self.report(item, at, f"`{value}` is a choice, not a number", rule="reading-kind")
            return None
        return spec.entry.unit or ""

    def limits(
        self, item: Item[schema.TestEntry], entry: schema.TestEntry, reading: Reading | None
    ) -> tuple[Limit, ...]:
        """The limits between the bands, which must alternate and rise."""
        bands = entry.bands or []
        for at, band in enumerate(bands):
            if isinstance(band, str) != (at % 2 == 0):
                message = "bands and limits must alternate: "
                message += (
                    f"a limit is missing before `{band}`"
                    if isinstance(band, str)
                    else "the name of a band is missing before this limit"
                )
                self.report(item, ("bands", at), message, rule="bands-alternate")
                return ()
        if len(bands) % 2 == 0:
            message = "bands and limits must alternate: the name of the last band is missing"
            self.report(item, ("bands",), message, rule="bands-alternate")
            return ()
        if len(bands) < 3:
            message = "one band tells nothing: there must be a limit and two bands at least"
            self.report(item, ("bands",), message, rule="bands-alternate")
            return ()
        unit = reading.figure_unit if reading else None
        made: list[Limit] = []
        for at in range(1, len(bands), 2):
            limit = bands[at]
            assert not isinstance(limit, str)
            value = self.limit(item, ("bands", at), limit, unit)
            if value is None:
                return ()
            if made and not _may_rise(made[-1], value):
                message = f"{_limit_text(value)} does not rise above {_limit_text(made[-1])}"
                self.report(item, ("bands", at), message, rule="limits-not-rising")
            made.append(value)
        return tuple(made)

    def limit(
        self,
        item: Item[schema.TestEntry],
        path: Sequence[str | int],
        limit: float | schema.SpecLimitEntry,
        unit: str | None,
    ) -> Limit | None:
        """A limit; None after recording why it cannot be one. A unit of None is not yet known."""
        if not isinstance(limit, schema.SpecLimitEntry):
            return limit
        spec = self.shelf.specs.get(limit.spec)
        where = (*path, "spec")
        if spec is None:
            self.unknown(item, where, "spec", limit.spec, self.shelf.specs)
            return None
        if limit.plus is not None and limit.less is not None:
            message = "`plus` and `less` together"
            self.report(item, (*path, "less"), message, rule="limit-kind", key=True)
            return None
        if spec.entry is None:
            return None
        if spec.entry.choices is not None or spec.entry.kind is not None:
            message = f"`{limit.spec}` is not a number and cannot be a limit"
            self.report(item, where, message, rule="limit-kind")
            return None
        own = spec.entry.unit or ""
        if not _agree(own, unit):
            message = (
                f"`{limit.spec}` is in {own or 'plain numbers'}, which cannot be turned into"
                f" {unit or 'a plain number'}"
            )
            self.report(item, where, message, rule="unit-mismatch")
            return None
        return SpecLimit(
            limit.spec,
            1.0 if limit.times is None else limit.times,
            limit.plus if limit.plus is not None else -(limit.less or 0.0),
        )

    def pattern(
        self, item: Item[schema.TestEntry], entry: schema.TestEntry, reading: Reading | None
    ) -> Pattern | None:
        """How the cylinders are sorted; the bands must be names of patterns."""
        made = entry.pattern
        assert made is not None
        if entry.reading is not None and entry.reading.each is None:
            message = "a pattern needs a reading of each cylinder"
            hint = "write `each: cylinder`"
            self.report(item, ("reading",), message, hint, rule="reading-kind", key=True)
        for at, band in enumerate(entry.bands or ()):
            if not isinstance(band, str):
                message = "the bands of a pattern are names alone"
                self.report(item, ("bands", at), message, rule="bands-alternate")
            elif band not in PATTERNS:
                hint = did_you_mean(band, PATTERNS) or f"the patterns are {listed(PATTERNS)}"
                message = f"`{band}` is not a pattern"
                self.report(item, ("bands", at), message, hint, rule="unknown-band")
        names = band_names(entry)
        if IN_LIMITS not in names:
            message = f"the band `{IN_LIMITS}` is missing"
            self.report(item, ("bands",), message, rule="unknown-band")
        elif entry.expect != IN_LIMITS:
            message = f"a pattern expects `{IN_LIMITS}`"
            self.report(item, ("expect",), message, rule="expect-unknown")
        for band, key in (("high", "high_above"), ("all low", "level_below")):
            if band in names and getattr(made, key) is None:
                message = f"`{band}` is never read without `{key}`"
                at = (entry.bands or []).index(band)
                self.report(item, ("bands", at), message, rule="unknown-band")
            elif band not in names and getattr(made, key) is not None:
                message = f"`{key}` has no use: `{band}` is not among the bands"
                self.report(item, ("pattern", key), message, rule="unknown-band", key=True)
        if made.high_above is not None and made.of == "highest":
            message = "`high_above` needs `of: mean`: nothing reads above the highest"
            self.report(item, ("pattern", "high_above"), message, rule="reading-kind", key=True)
        shares = (("low_below", made.low_below, False), ("high_above", made.high_above, True))
        for key, share, over in shares:
            if share is not None and (share <= 1 if over else share >= 1):
                message = f"`{key}` is {units.plain(share)} times the {made.of}"
                hint = "15 % above it is 1.15" if over else "15 % below it is 0.85"
                self.report(item, ("pattern", key), message, hint, rule="limits-not-rising")
        level = None
        if made.level_below is not None:
            unit = reading.figure_unit if reading else None
            level = self.limit(item, ("pattern", "level_below"), made.level_below, unit)
        return Pattern(made.of, made.low_below, made.high_above, level)

    def names(self, item: Item[schema.TestEntry], where: str, names: Sequence[str]) -> None:
        """Record names of bands that stand twice, stand alone, or mean something else."""
        entry = item.entry
        assert entry is not None
        written: Sequence[Any] = (entry.choices if where == "choices" else entry.bands) or ()
        seen: set[str] = set()
        for at, name in enumerate(written):
            if not isinstance(name, str):
                continue
            if name in seen:
                self.report(item, (where, at), f"`{name}` is listed twice", rule="listed-twice")
            elif name == OTHERWISE:
                message = f"`{OTHERWISE}` stands for every other band and cannot name one"
                self.report(item, (where, at), message, rule="duplicate-id")
            seen.add(name)
        if written and (entry.choices is not None or entry.pattern is not None) and len(names) < 2:
            message = f"one {'choice' if where == 'choices' else 'band'} tells nothing"
            self.report(item, (where,), message, rule="bands-alternate")

    def expect(
        self, item: Item[schema.TestEntry], entry: schema.TestEntry, names: Sequence[str]
    ) -> None:
        """Record an expected band that is not one."""
        if names and entry.expect not in names:
            message = f"`{entry.expect}` is not among the bands"
            hint = did_you_mean(entry.expect, names) or f"they are {listed(names)}"
            self.report(item, ("expect",), message, hint, rule="expect-unknown")

    def chances(
        self,
        item: Item[schema.TestEntry],
        path: Sequence[str | int],
        expect: str,
        names: Sequence[str],
        chances: Mapping[str, float],
    ) -> dict[str, float]:
        """The chances of bands, which must exist, not be the expected one, and leave room."""
        for band in chances:
            if band == expect:
                message = f"`{band}` is the expected band: its chance is what the others leave"
                self.report(item, (*path, band), message, rule="expected-band", key=True)
            elif names and band not in names:
                options = [name for name in dict.fromkeys(names) if name != expect]
                message = f"there is no band `{band}`"
                hint = did_you_mean(band, options)
                if options and not hint:
                    hint = f"they are {listed(options)}"
                self.report(item, (*path, band), message, hint, rule="unknown-band", key=True)
        total = sum(chances.values())
        if total > MOST_FOR_ALL_BANDS + 1e-9:
            message = f"the chances sum to {total:.3g}"
            hint = f"at most {MOST_FOR_ALL_BANDS:g}: nothing is certain"
            self.report(item, path, message, hint, rule="chances-too-large", key=True)
        return dict(chances)

    def bands_of(
        self, item: Item[Any], path: Sequence[str | int], test: str, wanted: Sequence[str]
    ) -> tuple[str, ...]:
        """Bands of another test, each recorded that it does not have."""
        other = self.shelf.tests[test].entry
        names = band_names(other) if other is not None else []
        for at, band in enumerate(wanted):
            if names and band not in names:
                message = f"`{test}` has no band `{band}`"
                hint = did_you_mean(band, names) or f"it has {listed(names)}"
                self.report(item, (*path, at), message, hint, rule="unknown-band")
        return tuple(wanted)

    # Trees

    def tree(self, item: Item[schema.TreeFile]) -> Tree:
        """A tree: its causes, its route and its road test."""
        entry = item.entry
        assert entry is not None
        brings_on = {}
        for cause, chance in entry.brings_on.items():
            if self.loaded(item, ("brings_on", cause), "causes", cause, key=True):
                brings_on[cause] = chance
        self.route_test(item, ("first",), entry.first)
        route: dict[str, dict[str, str]] = {}
        for test, edges in entry.route.items():
            at = ("route", test)
            if not self.route_test(item, at, test, key=True):
                continue
            other = self.shelf.tests[test].entry
            names = band_names(other) if other is not None else []
            for band, follows in edges.items():
                if names and band not in (*names, OTHERWISE):
                    message = f"`{test}` has no band `{band}`"
                    hint = did_you_mean(band, names) or f"it has {listed(names)}"
                    self.report(item, (*at, band), message, hint, rule="route-band", key=True)
                self.route_target(item, (*at, band), follows)
            route[test] = dict(edges)
        for nth, test in enumerate(entry.road_test):
            self.loaded(item, ("road_test", nth), "tests", test, needed=True)
            if test in entry.road_test[:nth]:
                message = f"`{test}` is listed twice"
                self.report(item, ("road_test", nth), message, rule="listed-twice")
        return Tree(
            id=item.id,
            complaint=_text(entry.complaint),
            brings_on=brings_on,
            not_listed=entry.not_listed,
            first=entry.first,
            route=route,
            road_test=tuple(entry.road_test),
            ask=tuple(_text(question) for question in entry.ask),
            driver_says=tuple(_text(phrase) for phrase in entry.driver_says),
            about=_text(entry.about),
            cautions=self.cautions(item, entry.cautions),
            uses=tuple(entry.uses),
            place=item.place("complaint"),
        )

    def route_test(
        self,
        item: Item[schema.TreeFile],
        path: Sequence[str | int],
        name: str,
        *,
        key: bool = False,
    ) -> bool:
        """Whether a route may stand at this test; records it when it may not."""
        if name in self.shelf.causes:
            message = f"`{name}` is a cause, not a test"
            self.report(item, path, message, rule="route-to-nowhere", key=key)
            return False
        return self.loaded(item, path, "tests", name, key=key, needed=True)

    def route_target(
        self, item: Item[schema.TreeFile], path: Sequence[str | int], name: str
    ) -> None:
        """Record a step of the route that leads to neither a test nor a cause."""
        shelf = self.shelf
        if name in shelf.tests:
            self.loaded(item, path, "tests", name, needed=True)
        elif name in shelf.causes:
            self.loaded(item, path, "causes", name, needed=True)
        elif name in shelf.elsewhere("tests"):
            self.loaded(item, path, "tests", name, needed=True)
        elif name in shelf.elsewhere("causes"):
            self.loaded(item, path, "causes", name, needed=True)
        else:
            known = (*shelf.tests, *shelf.causes)
            self.unknown(item, path, "test or cause", name, known, rule="route-to-nowhere")

    def rising_pair(
        self, item: Item[Any], path: Sequence[str | int], pair: Sequence[float] | None
    ) -> tuple[float, float] | None:
        """A lowest and a highest value."""
        if pair is None:
            return None
        low, high = pair
        if low >= high:
            message = f"the highest, {units.plain(high)}, is not above the lowest"
            self.report(item, path, message, rule="limits-not-rising")
        return (low, high)


def _agree(one: str | None, other: str | None) -> bool:
    """Whether two units can be turned into each other; what is not known is not held against it."""
    if one is None or other is None or not units.known(one) or not units.known(other):
        return True
    return units.same_kind(one, other)


def _may_rise(lower: Limit, upper: Limit) -> bool:
    """Whether the upper limit lies above the lower one, as far as can be told without a car."""
    if isinstance(lower, SpecLimit) and isinstance(upper, SpecLimit):
        if lower.spec != upper.spec:
            return True
        if lower.times == upper.times:
            return lower.plus < upper.plus
        return lower.times < upper.times or lower.plus < upper.plus
    if isinstance(lower, SpecLimit) or isinstance(upper, SpecLimit):
        return True
    return lower < upper


def _limit_text(limit: Limit) -> str:
    if not isinstance(limit, SpecLimit):
        return units.plain(limit)
    text = f"`{limit.spec}`"
    if limit.times != 1.0:
        text += f" times {units.plain(limit.times)}"
    if limit.plus:
        text += f" {'plus' if limit.plus > 0 else 'less'} {units.plain(abs(limit.plus))}"
    return text


def _text(text: str | None) -> str:
    """Text without the line break that a block of YAML ends with."""
    return (text or "").strip()


def _sentence(error: Exception) -> str:
    """A message of another part of the program, fit to stand after a colon."""
    return str(error).rstrip(".")
