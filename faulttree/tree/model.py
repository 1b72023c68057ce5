"""What a loaded shelf of trees is: frozen values, no file, no pydantic and no graph behind them.

The loader builds these; the scorer, the session and the screens read them. Units are names that
`faulttree.trade.units` knows. Every mapping is keyed by id, in the order the files give.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

Value = float | str | tuple[int, ...] | tuple[tuple[int, ...], ...]
"""A spec's value: a number in the spec's unit, a choice, cylinder numbers, or lists of them."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where something was written: file, line and column, both counted from 1."""

    file: str
    line: int
    column: int

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}"


@dataclass(frozen=True, slots=True)
class SpecLimit:
    """A limit that depends on the car: the spec's value, times a factor, plus an offset.

    `plus` is in the unit of the bands; the spec's value is converted to that unit first.
    """

    spec: str
    times: float = 1.0
    plus: float = 0.0


Limit = float | SpecLimit


@dataclass(frozen=True, slots=True)
class Part:
    """One number that is entered: a name, its unit, and how far it can be trusted.

    `accuracy` is a half-width in `unit` (rectangular unless stated); None means the instrument's.
    """

    name: str
    unit: str
    accuracy: float | None = None
    possible: tuple[float, float] | None = None
    instrument: str | None = None


@dataclass(frozen=True, slots=True)
class Reading:
    """What is entered at a test, and the sum that turns it into the figure that is banded.

    A single number has one part called `value`. With `per_cylinder` that part is read once for
    each cylinder. `take` names a sum of `faulttree.trade`; `given` hands it further parameters,
    each a number or the id of a spec. `figure_unit` is the unit of the bands.
    """

    parts: tuple[Part, ...]
    figure_unit: str
    per_cylinder: bool = False
    take: str | None = None
    given: Mapping[str, float | str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Pattern:
    """How a list of readings, one a cylinder, is sorted into patterns (see `trade.patterns`)."""

    of: Literal["highest", "mean"]
    low_below: float
    high_above: float | None = None
    level_below: Limit | None = None


@dataclass(frozen=True, slots=True)
class Repair:
    """What puts a cause right: the work, its minutes, and the price of the parts."""

    do: str
    minutes: float
    parts: float


@dataclass(frozen=True, slots=True)
class Cause:
    """A fault that can bring a complaint on."""

    id: str
    name: str
    what: str
    how_common: float
    repair: Repair
    fits: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    set_up: str = ""
    cautions: tuple[str, ...] = ()
    prove_with: tuple[str, ...] = ()
    source: str = ""
    place: Place | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class Test:
    """Something done to the car that yields a reading, and what each reading says.

    `bands` are the names in the author's order; a number test has `limits` between them, one
    fewer than the bands and rising. The bands other than `expect`, in that order, form the
    cascade: the first that fires wins. `points_to[cause][band]` is the chance that the cause,
    alone, puts the reading into that band. `figures` are the specs that the steps send the
    technician to and that no limit shows.
    """

    __test__ = False

    id: str
    name: str
    kind: Literal["number", "pattern", "choice"]
    do: str
    bands: tuple[str, ...]
    expect: str
    by_chance: Mapping[str, float]
    points_to: Mapping[str, Mapping[str, float]]
    minutes: float
    reach: int
    reading: Reading | None = None
    limits: tuple[Limit, ...] = ()
    pattern: Pattern | None = None
    sure: float = 0.95
    family: str = ""
    fits: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    after: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    shows_only: float | None = None
    base: str = ""
    tools: tuple[str, ...] = ()
    spoils: str = ""
    figures: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    source: str = ""
    place: Place | None = field(default=None, compare=False)

    @property
    def cascade(self) -> tuple[str, ...]:
        """The bands other than the expected one, in the order in which they win."""
        return tuple(band for band in self.bands if band != self.expect)


OTHERWISE = "otherwise"
"""The route's key for every band that it does not name."""


@dataclass(frozen=True, slots=True)
class Tree:
    """One complaint: what brings it on, and the authored way through the tests."""

    id: str
    complaint: str
    brings_on: Mapping[str, float]
    not_listed: float
    first: str
    route: Mapping[str, Mapping[str, str]]
    road_test: tuple[str, ...]
    ask: tuple[str, ...] = ()
    driver_says: tuple[str, ...] = ()
    about: str = ""
    cautions: tuple[str, ...] = ()
    uses: tuple[str, ...] = ()
    place: Place | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class Spec:
    """A fact about a car on which limits and `fits` depend, with generic defaults.

    Exactly one of `unit` (a number; "" for a bare count), `choices` and `is_list` describes the
    value. `defaults` are tried in order before `default`; each holds the conditions on other
    specs under which its value applies. `take` names a sum of `faulttree.trade` that works the
    value out of `given`, numbers or ids of specs before this one, where nobody has given it.
    """

    id: str
    name: str
    unit: str | None = None
    choices: tuple[str, ...] = ()
    is_list: bool = False
    default: Value | None = None
    defaults: tuple[tuple[Mapping[str, tuple[str, ...]], Value], ...] = ()
    possible: tuple[float, float] | None = None
    take: str | None = None
    given: Mapping[str, float | str] = field(default_factory=dict)
    about: str = ""
    source: str = ""
    place: Place | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class Instrument:
    """A gauge or meter: how far it can be trusted, and where it is known to be out.

    `correction` holds (shown, true) pairs, rising in what is shown.
    """

    id: str
    name: str
    unit: str
    accuracy: float
    correction: tuple[tuple[float, float], ...] = ()
    about: str = ""
    source: str = ""
    place: Place | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class Caution:
    """A danger, what to do about it, and whether it is told, acknowledged or stops the work."""

    id: str
    danger: str
    do: str
    kind: Literal["tell", "acknowledge", "stop"]
    words: tuple[str, ...] = ()
    source: str = ""
    place: Place | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class Vehicle:
    """One of the shop's own cars: the specs that are known, and its own instruments' errors."""

    id: str
    name: str
    specs: Mapping[str, Value]
    corrections: Mapping[str, tuple[tuple[float, float], ...]] = field(default_factory=dict)
    about: str = ""
    source: str = ""
    place: Place | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class Knowledge:
    """All that the loaded trees draw on, resolved: what the shop knows.

    `digest` is the SHA-256 of `document`, the resolved content as plain JSON data from which the
    same Knowledge can be built again, without the files.
    """

    trees: Mapping[str, Tree]
    causes: Mapping[str, Cause]
    tests: Mapping[str, Test]
    specs: Mapping[str, Spec]
    instruments: Mapping[str, Instrument]
    cautions: Mapping[str, Caution]
    vehicles: Mapping[str, Vehicle]
    digest: str = ""
    document: Mapping[str, object] = field(default_factory=dict)
