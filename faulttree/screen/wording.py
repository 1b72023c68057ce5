"""Plain words for chances, limits, reach and weights of evidence, as the pages say them.

Pure functions; what comes from data is returned as it is and passes the gate where it is shown.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from faulttree.session.words import value_text
from faulttree.trade.units import convert, convert_difference, same_kind
from faulttree.trade.words import percent as percent
from faulttree.trade.words import plain
from faulttree.tree.car import limit_value
from faulttree.tree.model import SpecLimit

if TYPE_CHECKING:
    from faulttree.session.events import Outcome, ReadingTaken
    from faulttree.tree.car import Car, Known
    from faulttree.tree.model import Knowledge, Test

REACH = (
    "nothing opened",
    "at a hose, port or connector",
    "a line or plug undone",
    "strips covers or belts",
    "takes the engine apart",
)
"""What a test does to the car, by its reach."""


OUTCOMES: dict[Outcome, str] = {
    "cured": "the complaint is gone and the cause is known",
    "not cured": "the complaint is still there",
    "not found": "the cause stays unknown",
    "handed on": "someone else goes on with it",
}
"""What each way of closing a session means."""


def reach_words(reach: int) -> str:
    """What a test of this reach does to the car."""
    return REACH[max(0, min(reach, len(REACH) - 1))]


def minutes_words(minutes: float) -> str:
    """Minutes as a workshop says them."""
    whole = round(minutes)
    if whole < 60:
        return f"{whole} min"
    return f"{whole // 60} h {whole % 60:02d}"


def money_words(money: float) -> str:
    """Money without a currency: the shop knows its own."""
    return f"{round(money)}"


def chance_words(chance: float) -> str:
    """A chance in words; the steps are our own judgement.

    Between 1 and 99 % the word goes by the rounded figure, which stands beside it.
    """
    if 0.01 <= chance <= 0.99:
        chance = round(chance, 2)
    for below, words in (
        (0.005, "ruled out"),
        (0.05, "very unlikely"),
        (0.2, "unlikely"),
        (0.4, "possible"),
        (0.6, "about even"),
        (0.8, "likely"),
        (0.95, "very likely"),
        (0.995, "near certain"),
    ):
        if chance < below:
            return words
    return "certain"


def sure_words(chance: float) -> str:
    """How sure a band is: how often such a reading, taken so, tells the truth."""
    if chance >= 0.995:
        return "as good as certain"
    return f"{round(100.0 * chance)} % sure"


def move_words(before: float, after: float) -> str:
    """What the last entry did to a chance: a sign and a word."""
    if percent(before) == percent(after):
        return "= no change"
    sign, word = ("▲", "rose") if after > before else ("▼", "fell")
    return f"{sign} {word} from {percent(before)}"


def weight_words(decibans: float) -> str:
    """A weight of evidence in words; 10 decibans make odds ten times better. Our own steps."""
    # By the figure that stands beside it.
    size = abs(round(decibans, 1))
    if size < 0.5:
        return "says nothing"
    towards = "for" if decibans > 0 else "against"
    if size < 2.0:
        return f"a little {towards}"
    if size < 5.0:
        return f"somewhat {towards}"
    if size < 10.0:
        return f"clearly {towards}"
    if size < 20.0:
        return f"strongly {towards}"
    return f"almost proof {'of it' if decibans > 0 else 'of the contrary'}"


def figure(value: float, digits: int = 4) -> str:
    """A figure with few digits."""
    return plain(value, digits)


def with_unit(number: str, unit: str) -> str:
    """A figure and its unit."""
    return f"{number} {unit}".rstrip()


def unit_shown(test: Test) -> str:
    """The unit in which figure and limits are shown: the one typed, where it measures the same."""
    if test.reading is None:
        return ""
    unit = test.reading.figure_unit
    if len(test.reading.parts) == 1 and test.kind == "number":
        own = test.reading.parts[0].unit
        if own and unit and same_kind(own, unit):
            return own
    return unit


def to_shown(test: Test, value: float) -> float:
    """A figure or limit of a test in the unit in which it is shown."""
    unit = test.reading.figure_unit if test.reading else ""
    shown = unit_shown(test)
    return value if shown == unit else convert(value, unit, shown)


def spread_shown(test: Test, spread: float) -> float:
    """The half-width of a figure in the unit in which it is shown."""
    unit = test.reading.figure_unit if test.reading else ""
    shown = unit_shown(test)
    return spread if shown == unit else convert_difference(spread, unit, shown)


def figure_shown(event: ReadingTaken, test: Test | None) -> str:
    """The figure that a reading came to, in the unit in which its test is typed."""
    if event.figure is None:
        return ""
    if test is None or test.reading is None or test.reading.figure_unit != event.unit:
        return with_unit(figure(event.figure), event.unit)
    return with_unit(figure(to_shown(test, event.figure)), unit_shown(test))


def band_range(test: Test, limits: Sequence[float], band: str) -> str:
    """Where a band of a number test lies, in words: `36 to 44 psi`, `below 36 psi`."""
    unit = unit_shown(test)
    # A limit that was converted is no finer for it.
    digits = 4 if test.reading is None or unit == test.reading.figure_unit else 3
    shown = [plain(to_shown(test, limit), digits) for limit in limits]
    at = test.bands.index(band)
    low = shown[at - 1] if at > 0 else ""
    high = shown[at] if at < len(shown) else ""
    if low and high:
        return with_unit(f"{low} to {high}", unit)
    if high:
        return f"below {with_unit(high, unit)}"
    if low:
        return f"above {with_unit(low, unit)}"
    return "anything"


ORIGIN = {
    "typed": "typed for this car",
    "vehicle": "the car's file",
    "generic": "a generic figure",
}


def _limit_specs(test: Test) -> list[str]:
    """The spec values that the limits of a test are made from."""
    limits = [*test.limits, test.pattern.level_below if test.pattern is not None else None]
    return [limit.spec for limit in limits if isinstance(limit, SpecLimit)]


def rests_on_generic(test: Test, car: Car) -> bool:
    """Whether a limit of the test rests on a figure that is not this car's own."""
    for spec in _limit_specs(test):
        known = car.specs.get(spec)
        parts = [car.specs[part] for part in known.out_of] if known and known.out_of else [known]
        if all(part is not None and part.origin == "generic" for part in parts):
            return True
    return False


def why_limits(test: Test, car: Car, knowledge: Knowledge) -> list[str]:
    """Why the limits of a test stand where they do: every spec value they rest on, and its origin.

    Limits that rest on none are the author's own, the same for every car. Values are put in the
    unit of the limits where that can be done; a single one goes without its name.
    """
    # Only what the limits themselves rest on: the count of cylinders explains no figure.
    specs = _limit_specs(test)
    # What a sum takes the reading by counts as much as the limit itself, such as the altitude.
    if test.reading is not None:
        specs += [given for given in test.reading.given.values() if isinstance(given, str)]
    unit = unit_shown(test)
    said = []
    specs = list(dict.fromkeys(specs))
    for spec in specs:
        name = knowledge.specs[spec].name if spec in knowledge.specs else spec
        lead = f"{name} " if len(specs) > 1 else ""
        known = car.specs.get(spec)
        if known is None:
            said.append(f"{name}: not known for this car")
            continue
        said.append(f"{lead}{_in_unit(known, unit)}, {_why(spec, car, knowledge, unit)}")
    return said


def figures_words(test: Test, car: Car, knowledge: Knowledge) -> list[str]:
    """The figures of the car that the steps of a test ask for, each with where it comes from."""
    said = []
    for spec in test.figures:
        name = knowledge.specs[spec].name if spec in knowledge.specs else spec
        known = car.specs.get(spec)
        if known is None:
            said.append(f"{name} not known, see the book")
        else:
            unit = unit_shown(test)
            said.append(f"{name} {_in_unit(known, unit)}, {_why(spec, car, knowledge, unit)}")
    return said


def _why(spec: str, car: Car, knowledge: Knowledge, unit: str) -> str:
    """Where a figure comes from: a book, or the figures that a sum worked it out of."""
    known = car.specs[spec]
    if not known.out_of:
        return ORIGIN[known.origin]
    parts = [
        f"{knowledge.specs[part].name} {_in_unit(car.specs[part], unit)}"
        f" ({ORIGIN[car.specs[part].origin]})"
        for part in known.out_of
    ]
    return f"from {' and '.join(parts)}"


def _in_unit(known: Known, unit: str) -> str:
    """A spec value in the wanted unit if it can be put there, else in its own."""
    if isinstance(known.value, int | float) and unit and same_kind(known.unit, unit):
        return with_unit(figure(convert(float(known.value), known.unit, unit)), unit)
    return with_unit(value_text(known.value), known.unit)


def pattern_words(test: Test, car: Car, knowledge: Knowledge) -> str:
    """How a list of readings is judged: against the highest or the mean, and by its level.

    Raises SpecUnknown when the level rests on a figure that is not known.
    """
    pattern = test.pattern
    if pattern is None:
        return ""
    against = "highest" if pattern.of == "highest" else "mean"
    words = f"each ≥ {percent(pattern.low_below)} of {against}"
    if pattern.high_above is not None:
        words += f" and ≤ {percent(pattern.high_above)}"
    if pattern.level_below is not None:
        unit = test.reading.parts[0].unit if test.reading else ""
        level = limit_value(pattern.level_below, unit, car, knowledge)
        words += f", highest ≥ {with_unit(figure(level, 3), unit)}"
    return words


def settles_words(bands: Mapping[str, float], expect: str) -> str:
    """What a test may show: its bands with their chances, the likeliest first."""
    ranked = sorted(bands.items(), key=lambda item: -item[1])
    return ", ".join(f"{band} {percent(chance)}" for band, chance in ranked if chance >= 0.02)
