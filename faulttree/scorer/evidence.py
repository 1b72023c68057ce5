"""From what was read to how likely each band is: the evidence that the scorer counts.

A number from an instrument of standard uncertainty u gives each band the chance that the true
value lies in it (JCGM 106:2012, clause 7). An accuracy is a half-width of a rectangular
distribution, so u = accuracy / sqrt(3) (JCGM 100:2008, 4.3.7). Repeats of one test are one
finding: their mean, with u^2 = u_instrument^2 + s^2 / n. What a test does with its bands is in
`network`; this module stops at the chances of the bands.
"""

import itertools
import math
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from faulttree.trade import sums, units
from faulttree.trade.patterns import pattern_chances
from faulttree.tree.car import Car, instrument_for, limit_value, limits_for
from faulttree.tree.figure import Figure, accuracy_of, figure_of, moves
from faulttree.tree.model import Knowledge, Part, Test

NEAR = 2.0
"""A figure within this many standard uncertainties of a limit should be taken again."""


@dataclass(frozen=True, slots=True)
class Entry:
    """What was entered at a test, once.

    A number test fills `values`, keyed by the part's name, each with one number, or one for each
    cylinder (in cylinder order), in the part's unit and as shown by the instrument. A choice test
    fills `choice`. `instruments` names the instrument really used where it differs from the one
    the test asks for.
    """

    values: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    choice: str | None = None
    instruments: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Weighed:
    """What an entry (and its repeats) comes to.

    `figure` is the number that was banded (None for patterns and choices) in `unit`, with its
    standard uncertainty `u`; `true_values` are the entered values after instrument correction, of
    the last entry. `bands` gives every band's chance and sums to 1. `near` says that the figure
    lies within two standard uncertainties of a limit, so that the test is worth repeating.
    """

    bands: Mapping[str, float]
    figure: float | None = None
    u: float | None = None
    unit: str = ""
    limits: tuple[float, ...] = ()
    true_values: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    near: bool = False

    @property
    def band(self) -> str:
        """The likeliest band."""
        return max(self.bands, key=lambda name: self.bands[name])


@dataclass(frozen=True, slots=True)
class Finding:
    """One piece of evidence: a test or a complaint, when it was found, and its bands' chances.

    `source` is the id of a test, or of a tree for its complaint (bands `present` and `gone`).
    `stage` counts the repairs made before it. `showing` is False when the technician said that
    the complaint did not show itself at that moment.
    """

    source: str
    bands: Mapping[str, float]
    stage: int = 0
    showing: bool | None = None


@dataclass(frozen=True, slots=True)
class Evidence:
    """All that is known: the findings in order, and the stage from which a cause is gone."""

    findings: tuple[Finding, ...] = ()
    repaired: Mapping[str, int] = field(default_factory=dict)

    @property
    def stage(self) -> int:
        """The stage that readings taken now belong to."""
        return max(self.repaired.values(), default=0)


PRESENT = "present"
GONE = "gone"

SURE_ENOUGH = 1e-12
"""A band less likely than this is taken as ruled out: the reading is then hard evidence."""


def conformance(figure: float, u: float, limits: Sequence[float]) -> list[float]:
    """The chance that the true value lies in each band cut out by rising limits.

    `figure` and `limits` are in one unit, `u` is the standard uncertainty of a normal distribution
    about the figure (JCGM 106:2012, 7.2 to 7.4). With u = 0 the figure is taken as exact, and one
    that lies on a limit counts half to either side. Returns one chance more than there are limits;
    they sum to 1.
    """
    if u <= 0.0:
        below = [0.5 if figure == limit else float(figure < limit) for limit in limits]
        edges = [0.0, *below, 1.0]
        return [high - low for low, high in itertools.pairwise(edges)]
    root2 = math.sqrt(2.0)
    scores = [(limit - figure) / (u * root2) for limit in limits]
    chances = []
    for k in range(len(scores) + 1):
        low = scores[k - 1] if k > 0 else -math.inf
        high = scores[k] if k < len(scores) else math.inf
        # Take both ends from the nearer tail, so that a far band keeps its digits.
        if low > 0.0:
            chance = 0.5 * (math.erfc(low) - math.erfc(high))
        else:
            chance = 0.5 * (math.erfc(-high) - math.erfc(-low))
        chances.append(0.0 if chance < SURE_ENOUGH else chance)
    total = sum(chances)
    return [chance / total for chance in chances]


def spread_choice(choices: Sequence[str], chosen: str, sure: float) -> dict[str, float]:
    """A look at something: the chosen band with the chance `sure`, the rest shared evenly."""
    rest = (1.0 - sure) / (len(choices) - 1) if len(choices) > 1 else 0.0
    return {choice: sure if choice == chosen else rest for choice in choices}


def _true_value(
    shown: float, part: Part, used: str | None, car: Car, knowledge: Knowledge
) -> float:
    """What the instrument should have shown, from its known correction points."""
    if used is None:
        return shown
    instrument = instrument_for(used, car, knowledge)
    if not instrument.correction:
        return shown
    value = units.convert(shown, part.unit, instrument.unit)
    true = sums.get("instrument-correction").function(
        shown=value,
        shown_points=[point[0] for point in instrument.correction],
        true_points=[point[1] for point in instrument.correction],
    )
    return units.convert(true, instrument.unit, part.unit)


def correct(
    test: Test, entry: Entry, car: Car, knowledge: Knowledge
) -> dict[str, tuple[float, ...]]:
    """The entered values after correction of the instruments they were taken with."""
    assert test.reading is not None
    corrected = {}
    for part in test.reading.parts:
        used = entry.instruments.get(part.name, part.instrument)
        corrected[part.name] = tuple(
            _true_value(value, part, used, car, knowledge) for value in entry.values[part.name]
        )
    return corrected


def _figure_uncertainty(
    test: Test,
    figure: Figure,
    values: Mapping[str, tuple[float, ...]],
    entry: Entry,
    car: Car,
    knowledge: Knowledge,
) -> float:
    """Standard uncertainty of the figure: root sum of squares over every number that went in."""
    reading = test.reading
    assert reading is not None
    us = {
        part.name: accuracy_of(part, car, knowledge, entry.instruments.get(part.name))
        / math.sqrt(3.0)
        for part in reading.parts
    }
    if reading.take is None:
        return us[reading.parts[0].name]
    return math.hypot(*(move for _, move in moves(figure, values, us)))


def weigh(test: Test, entries: Sequence[Entry], car: Car, knowledge: Knowledge) -> Weighed:
    """How likely each band is, from one entry of a test or from repeats of it.

    Repeats are one finding: the mean of the figures, with u^2 = u_instrument^2 + s^2 / n, where s
    is the sample standard deviation of n >= 2 figures. Choices repeated are averaged. Raises
    SpecUnknown when a limit needs a spec value that is not known, and trade.SumError when the
    entered values lie outside what the test's sum is good for.
    """
    if not entries:
        raise ValueError(f"no reading of {test.id} to weigh")
    if test.kind == "choice":
        spreads = [spread_choice(test.bands, entry.choice or "", test.sure) for entry in entries]
        bands = {name: statistics.fmean(s[name] for s in spreads) for name in test.bands}
        return Weighed(bands=bands)
    reading = test.reading
    assert reading is not None
    corrected = [correct(test, entry, car, knowledge) for entry in entries]
    if test.kind == "pattern":
        return _weigh_pattern(test, entries, corrected, car, knowledge)
    limits = limits_for(test, car, knowledge)
    figure_from = figure_of(reading, car, knowledge)
    figures = [figure_from(values) for values in corrected]
    us = [
        _figure_uncertainty(test, figure_from, values, entry, car, knowledge)
        for values, entry in zip(corrected, entries, strict=True)
    ]
    figure = statistics.fmean(figures)
    # The instrument's error is common to the repeats, so it does not average out.
    u = math.sqrt(statistics.fmean(x * x for x in us) + _scatter(figures))
    chances = conformance(figure, u, limits)
    return Weighed(
        bands=dict(zip(test.bands, chances, strict=True)),
        figure=figure,
        u=u,
        unit=reading.figure_unit,
        limits=limits,
        true_values=corrected[-1],
        near=any(abs(figure - limit) < NEAR * u for limit in limits),
    )


def _scatter(figures: Sequence[float]) -> float:
    """The variance of the mean that the scatter of repeats shows; 0 for a single figure."""
    if len(figures) < 2:
        return 0.0
    return statistics.variance(figures) / len(figures)


def _weigh_pattern(
    test: Test,
    entries: Sequence[Entry],
    corrected: Sequence[Mapping[str, tuple[float, ...]]],
    car: Car,
    knowledge: Knowledge,
) -> Weighed:
    """Sort a reading of every cylinder into patterns, each with its chance."""
    reading, pattern = test.reading, test.pattern
    assert reading is not None
    assert pattern is not None
    part = reading.parts[0]
    columns = list(zip(*(values[part.name] for values in corrected), strict=True))
    means = [statistics.fmean(column) for column in columns]
    instrument = accuracy_of(part, car, knowledge, entries[-1].instruments.get(part.name))
    scatter = max(_scatter(column) for column in columns)
    u = math.sqrt((instrument / math.sqrt(3.0)) ** 2 + scatter)
    level = None
    if pattern.level_below is not None:
        level = limit_value(pattern.level_below, part.unit, car, knowledge)
    banks = car.banks
    if sum(map(len, banks)) != len(means):
        banks = (tuple(range(1, len(means) + 1)),)
    bands = pattern_chances(
        means,
        u,
        of=pattern.of,
        low_below=pattern.low_below,
        high_above=pattern.high_above,
        level_below=level,
        banks=banks,
        names=test.bands,
    )
    ordered = {name: bands.get(name, 0.0) for name in test.bands}
    return Weighed(
        bands={name: (0.0 if p < SURE_ENOUGH else p) for name, p in ordered.items()},
        u=u,
        unit=part.unit,
        limits=() if level is None else (level,),
        true_values=corrected[-1],
        near=max(ordered.values()) < 0.95,
    )
