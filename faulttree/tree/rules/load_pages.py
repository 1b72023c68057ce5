"""Pages for what is refused while a shelf is put together: ids, units, sums, bands and limits."""

from faulttree.tree.rules.table import refusal


@refusal("duplicate-id", "choose another id")
def duplicate_id() -> None:
    """An id must name one thing only.

    Trees are loaded together, and a route names tests and causes alike, so no cause, test or tree
    may share an id with another. `otherwise` and `not-listed` have meanings of their own.

    Bad:

    ```yaml
    causes:
      idle-watch: {name: Idle set by eye}
    ```

    Good:

    ```yaml
    causes:
      idle-set-by-eye: {name: Idle set by eye}
    ```
    """


@refusal("unknown-id", "write an id that there is, or add what it names")
def unknown_id() -> None:
    """An id that is named must exist.

    Most often it is misspelt. A cause or test of a catalogue that this tree does not use is no
    error in `points_to`, `brings_on` and `prove_with`: it is left out when this tree is loaded. But
    it must exist in some catalogue under `shared`.

    Bad:

    ```yaml
    tests:
      fuel-pressure-prime:
        points_to:
          fuel-pump-week: {low: 0.75}
    ```

    Good:

    ```yaml
    tests:
      fuel-pressure-prime:
        points_to:
          fuel-pump-weak: {low: 0.75}
    ```
    """


@refusal("not-used", "add its catalogue to `uses`")
def not_used() -> None:
    """A test or cause that a route needs must be in a catalogue that the tree uses.

    The walk cannot go on to a test that is not loaded. Add its catalogue to `uses`.

    Bad:

    ```yaml
    uses: [shared/fuel.yaml]
    first: cranking-volts
    ```

    Good:

    ```yaml
    uses: [shared/fuel.yaml, shared/battery.yaml]
    first: cranking-volts
    ```
    """


@refusal("unknown-unit", "write a unit of the trade, such as psi, kPa, V, ohm, rpm or degC")
def unknown_unit() -> None:
    """A unit must be one that the trade uses and the program knows.

    Readings are turned from unit to unit; that takes a unit whose size is known.

    Bad:

    ```yaml
    tests:
      fuel-pressure-prime: {reading: {unit: psl}}
    ```

    Good:

    ```yaml
    tests:
      fuel-pressure-prime: {reading: {unit: psi}}
    ```
    """


@refusal("unit-mismatch", "name one of the same kind, or change the unit of the reading")
def unit_mismatch() -> None:
    """Units that meet must measure the same kind of thing.

    A pressure cannot be read with a rev meter, nor held against a limit in revolutions.

    Bad:

    ```yaml
    tests:
      fuel-pressure-prime:
        bands: [low, {spec: idle_speed, less: 4}, in limits, 60, high]
    ```

    Good:

    ```yaml
    tests:
      fuel-pressure-prime:
        bands: [low, {spec: fuel_pressure, less: 4}, in limits, 60, high]
    ```
    """


@refusal(
    "unknown-sum", "`faulttree sums` lists them, and `faulttree sum NAME` shows the inputs of one"
)
def unknown_sum() -> None:
    """A sum that a test takes must exist, and so must the inputs that are named.

    The message offers the nearest sum, or says which inputs the sum takes. A sum is named so that
    the figure on the card can be worked out again by hand.

    Bad:

    ```yaml
    tests:
      lowest-cylinder:
        reading: {each: cylinder, unit: psi, accuracy: 4, take: lowest-shares}
        bands: [uneven, 75, in limits]
        expect: in limits
    ```

    Good:

    ```yaml
    tests:
      lowest-cylinder:
        reading: {each: cylinder, unit: psi, accuracy: 4, take: lowest-share}
        bands: [uneven, 75, in limits]
        expect: in limits
    ```
    """


@refusal("listed-twice", "take it out here, or write the one that was meant")
def listed_twice() -> None:
    """A name must not stand twice in one list.

    Two bands of one name could not be told apart; two mentions of a test would be done twice.

    Bad:

    ```yaml
    road_test: [idle-watch, idle-watch]
    ```

    Good:

    ```yaml
    road_test: [idle-watch]
    ```
    """


@refusal("spec-kind", "keep the one that is meant and take the other out")
def spec_kind() -> None:
    """A spec must be one thing: a number with a unit, a choice of words, or a list.

    A number may be worked out by a sum, with `take` and all that the sum needs in `given`; it then
    has no `default` beside it.

    Bad:

    ```yaml
    specs:
      gearbox: {name: Gearbox, unit: rpm, choices: [manual, automatic]}
    ```

    Good:

    ```yaml
    specs:
      gearbox: {name: Gearbox, choices: [manual, automatic]}
    ```
    """


@refusal("spec-value", "write what the car has, in the form that the spec asks for")
def spec_value() -> None:
    """A value of a spec must be one that the spec can have.

    A choice takes one of its words, a number lies in the range that is possible, a list holds
    cylinder numbers. The same goes for the values that `fits` and `when` ask for.

    Bad:

    ```yaml
    causes:
      fuel-pump-weak: {fits: {fuel_system: [injection]}}
    ```

    Good:

    ```yaml
    causes:
      fuel-pump-weak: {fits: {fuel_system: [multipoint]}}
    ```
    """


@refusal("spec-order", "write first what others depend on")
def spec_order() -> None:
    """A generic value must depend on specs that come before it in the file.

    Generic values are worked out from the top down. One that waits for a later generic value would
    find it unknown and pass its condition over in silence.

    Bad:

    ```yaml
    specs:
      first_gear:
        name: First gear
        unit: rpm
        defaults: [{when: {gearbox: [manual]}, value: 900}]
      gearbox: {name: Gearbox, choices: [manual, automatic], default: manual}
    ```

    Good:

    ```yaml
    specs:
      gearbox: {name: Gearbox, choices: [manual, automatic], default: manual}
      first_gear:
        name: First gear
        unit: rpm
        defaults: [{when: {gearbox: [manual]}, value: 900}]
    ```
    """


@refusal("correction-not-rising", "write the pairs from the lowest reading up")
def correction_not_rising() -> None:
    """The correction points of an instrument must rise, in what is shown and in what is true.

    A reading is corrected between the two points it lies between. Out of order, there would be no
    such two, or several.

    Bad:

    ```yaml
    instruments:
      fuel-gauge: {correction: [[40, 38], [20, 19]]}
    ```

    Good:

    ```yaml
    instruments:
      fuel-gauge: {correction: [[20, 19], [40, 38]]}
    ```
    """


@refusal(
    "test-kind",
    "keep `choices` for what is seen or heard, `reading` and `bands` for what is measured",
)
def kind_of_test() -> None:
    """A test must yield one thing: a reading that falls into bands, or a choice.

    Bad:

    ```yaml
    tests:
      idle-watch: {reading: {unit: rpm, accuracy: 20}}
    ```

    Good:

    ```yaml
    tests:
      idle-watch: {choices: [steady, hunting, dying], expect: steady}
    ```
    """


@refusal(
    "reading-kind",
    "a reading is one number in a `unit`, or several that a sum under `take` makes one of",
)
def reading_kind() -> None:
    """A reading must be one number, one for each cylinder, or several named ones.

    What stands beside the numbers must fit: a sum that takes a list for a reading of each cylinder,
    an accuracy for each of several numbers, and everything that the sum needs.

    Bad:

    ```yaml
    tests:
      regulator-rise:
        reading: {from: {first: psi}, accuracy: {first: 1}, take: difference}
        bands: [flat, 4, in limits]
        expect: in limits
    ```

    Good:

    ```yaml
    tests:
      regulator-rise:
        reading:
          from: {first: psi, second: psi}
          accuracy: {first: 1, second: 1}
          take: difference
        bands: [flat, 4, in limits]
        expect: in limits
    ```
    """


@refusal(
    "limit-kind",
    "a limit is a number, or a spec that is one, with `times` and either `plus` or `less`",
)
def limit_kind() -> None:
    """A limit that depends on the car must be a number spec, with `plus` or with `less`.

    Bad:

    ```yaml
    tests:
      fuel-pressure-prime: {bands: [low, {spec: fuel_system}, in limits]}
    ```

    Good:

    ```yaml
    tests:
      fuel-pressure-prime:
        bands: [low, {spec: fuel_pressure, times: 0.9}, in limits, 60, high]
    ```
    """


@refusal(
    "bands-alternate",
    "write [low, 32, in limits, 40, high]; for choices and patterns two names or more",
)
def bands_alternate() -> None:
    """Bands and limits must alternate: a name, a limit, a name, and so on to a name.

    Written like this, bands can neither overlap nor leave a gap. The bands of a pattern and the
    choices are names alone, two or more.

    Bad:

    ```yaml
    tests:
      fuel-pressure-prime: {bands: [low, 32, 40, in limits]}
    ```

    Good:

    ```yaml
    tests:
      fuel-pressure-prime: {bands: [low, 32, in limits, 40, high]}
    ```
    """


@refusal("limits-not-rising", "write what is lowest first, and check the units")
def limits_not_rising() -> None:
    """Limits must rise from band to band.

    A limit that lies below the one before it leaves a band into which nothing can fall.

    Bad:

    ```yaml
    tests:
      fuel-pressure-prime: {bands: [low, 40, in limits, 32, high]}
    ```

    Good:

    ```yaml
    tests:
      fuel-pressure-prime: {bands: [low, 32, in limits, 40, high]}
    ```
    """


@refusal("unknown-band", "write a band that the test has, or give the test what that band needs")
def unknown_band() -> None:
    """A band that is named must be one of the test's bands.

    For a pattern the names are given: `in limits`, `one low`, `neighbours low`, `several low`, `all
    low` (which needs `level_below`) and `high` (which needs `high_above`).

    Bad:

    ```yaml
    tests:
      fuel-pressure-prime: {by_chance: {lo: 0.02}}
    ```

    Good:

    ```yaml
    tests:
      fuel-pressure-prime: {by_chance: {low: 0.02}}
    ```
    """


@refusal("expect-unknown", "write one of the bands")
def expect_unknown() -> None:
    """The expected band must be one of the test's bands.

    Bad:

    ```yaml
    tests:
      fuel-pressure-prime: {expect: good}
    ```

    Good:

    ```yaml
    tests:
      fuel-pressure-prime: {expect: in limits}
    ```
    """


@refusal("expected-band", "take it out; to change it, change the chances of the other bands")
def expected_band() -> None:
    """The expected band must have no chance of its own.

    Its chance is what the chances of the other bands leave; a second figure could only disagree.

    Bad:

    ```yaml
    tests:
      fuel-pressure-prime: {by_chance: {in limits: 0.96, low: 0.02, high: 0.02}}
    ```

    Good:

    ```yaml
    tests:
      fuel-pressure-prime: {by_chance: {low: 0.02, high: 0.02}}
    ```
    """


@refusal("chances-too-large", "make them smaller: nothing is certain")
def chances_too_large() -> None:
    """The chances of the bands must leave room for the expected one: at most 0.98 together.

    A reading falls into one band only, so that the chances of all of them sum to 1; and no fault
    shows itself every time.

    Bad:

    ```yaml
    tests:
      fuel-pressure-prime:
        points_to:
          fuel-pump-weak: {low: 0.75, high: 0.4}
    ```

    Good:

    ```yaml
    tests:
      fuel-pressure-prime:
        points_to:
          fuel-pump-weak: {low: 0.75, high: 0.01}
    ```
    """


@refusal("route-band", "write a band that the test has, or `otherwise`")
def route_band() -> None:
    """A route must leave a test by a band that the test has.

    A step for a band that cannot be read is never taken. `otherwise` stands for every band that is
    not named.

    Bad:

    ```yaml
    route:
      fuel-pressure-prime: {too low: fuel-pump-weak}
    ```

    Good:

    ```yaml
    route:
      fuel-pressure-prime: {low: fuel-pump-weak}
    ```
    """


@refusal("route-to-nowhere", "a route starts at a test and leads from tests; a cause only ends it")
def route_to_nowhere() -> None:
    """A route must lead to a test or to a cause.

    A cause ends the route: it is the suspect, and the walk goes on to its repair. A cause has no
    reading, so no route can start at one or lead on from one.

    Bad:

    ```yaml
    route:
      fuel-pressure-prime: {low: fuel-pump-weak, high: fuel-return-blocked}
    ```

    Good:

    ```yaml
    route:
      fuel-pressure-prime: {low: fuel-pump-weak, high: regulator-high}
    ```
    """
