"""What may stand in a tree file: pydantic models of every kind of file, with what each key means.

The models say which keys there are and what kind of value each takes; `explain` turns what pydantic
finds into problems that name the place and what to write instead. Whether ids, units, bands and
limits make sense together is left to `load`. The descriptions here are the ones an editor shows:
`json_schema` gives the same models as a JSON Schema, kept in `schema.json` beside this file.
"""

import re
from collections.abc import Iterator, Sequence
from typing import Annotated, Any, Literal, TypeVar

from pydantic import (
    BaseModel,
    ConfigDict,
    Discriminator,
    Field,
    RootModel,
    Tag,
    ValidationError,
)

from faulttree.trade.words import nearest
from faulttree.tree.problem import Problem, did_you_mean, listed
from faulttree.tree.source import Source

ID_PATTERN = r"^[a-z0-9]+(-[a-z0-9]+)*$"
SPEC_PATTERN = r"^[a-z][a-z0-9]*(_[a-z0-9]+)*$"

Text = Annotated[str, Field(pattern=r"\S")]
Id = Annotated[str, Field(pattern=ID_PATTERN)]
SpecId = Annotated[str, Field(pattern=SPEC_PATTERN)]
Chance = Annotated[float, Field(gt=0, lt=1)]
Positive = Annotated[float, Field(gt=0)]
Pair = Annotated[list[float], Field(min_length=2, max_length=2)]


class Entry(BaseModel):
    """The rules for every mapping: no unknown keys, no coercion, only finite numbers."""

    model_config = ConfigDict(
        extra="forbid",
        strict=True,
        frozen=True,
        allow_inf_nan=False,
        use_attribute_docstrings=True,
        populate_by_name=False,
    )


def _fit_kind(value: Any) -> str | None:
    if isinstance(value, bool):
        return None
    return "<text>" if isinstance(value, str) else "<number>" if _is_number(value) else None


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


FitValue = Annotated[
    Annotated[str, Tag("<text>")] | Annotated[float, Tag("<number>")],
    Discriminator(
        _fit_kind,
        custom_error_type="wrong_kind",
        custom_error_message="must be a word or a number",
    ),
]
Fits = dict[str, Annotated[list[FitValue], Field(min_length=1)]]


class SpecLimitEntry(Entry):
    """A limit that depends on the car: a spec's value, times a factor, plus or less an offset."""

    spec: str
    """The id of the spec."""
    times: Positive | None = None
    """A factor on the spec's value."""
    plus: float | None = None
    """What is added, in the unit of the bands."""
    less: float | None = None
    """What is taken off, in the unit of the bands."""


def _limit_kind(value: Any) -> str | None:
    if _is_number(value):
        return "<number>"
    return "<spec>" if isinstance(value, dict | SpecLimitEntry) else None


def _band_kind(value: Any) -> str | None:
    return "<name>" if isinstance(value, str) else _limit_kind(value)


LimitEntry = Annotated[
    Annotated[float, Tag("<number>")] | Annotated[SpecLimitEntry, Tag("<spec>")],
    Discriminator(
        _limit_kind,
        custom_error_type="wrong_kind",
        custom_error_message="must be a number or a spec such as {spec: idle_speed, plus: 100}",
    ),
]
BandOrLimit = Annotated[
    Annotated[Text, Tag("<name>")]
    | Annotated[float, Tag("<number>")]
    | Annotated[SpecLimitEntry, Tag("<spec>")],
    Discriminator(
        _band_kind,
        custom_error_type="wrong_kind",
        custom_error_message="must be the name of a band or a limit",
    ),
]


def _one_or_each(value: Any) -> str:
    return "<each>" if isinstance(value, dict) else "<one>"


Given = Annotated[
    dict[
        str,
        Annotated[
            Annotated[str, Tag("<text>")] | Annotated[float, Tag("<number>")],
            Discriminator(
                _fit_kind,
                custom_error_type="wrong_kind",
                custom_error_message="must be a number or the id of a spec",
            ),
        ],
    ],
    Field(default_factory=dict),
]
"""What else a sum is handed, by the name of its input."""


class ReadingEntry(Entry):
    """What is entered at a test: one number, one for each cylinder, or several named ones."""

    unit: str | None = None
    """The unit of the number."""
    each: Literal["cylinder"] | None = None
    """Write `cylinder` where the number is read once for each cylinder."""
    from_: Annotated[dict[Text, str] | None, Field(alias="from")] = None
    """Several numbers: the name of each, and its unit."""
    accuracy: (
        Annotated[
            Annotated[Positive, Tag("<one>")] | Annotated[dict[str, Positive], Tag("<each>")],
            Discriminator(_one_or_each),
        ]
        | None
    ) = None
    """How far the number can be out, as a half-width in its unit; else the instrument's."""
    possible: (
        Annotated[
            Annotated[Pair, Tag("<one>")] | Annotated[dict[str, Pair], Tag("<each>")],
            Discriminator(_one_or_each),
        ]
        | None
    ) = None
    """The lowest and the highest number that can be read at all."""
    with_: Annotated[
        Annotated[
            Annotated[str, Tag("<one>")] | Annotated[dict[str, str], Tag("<each>")],
            Discriminator(_one_or_each),
        ]
        | None,
        Field(alias="with"),
    ] = None
    """The id of the instrument."""
    take: str | None = None
    """The sum that turns what is entered into the figure that is banded."""
    given: Given
    """What else the sum needs: numbers, or ids of specs."""


class PatternEntry(Entry):
    """How readings of all cylinders are sorted: which is low, and beside which others."""

    of: Literal["highest", "mean"]
    """What each cylinder is compared with."""
    low_below: Positive
    """A cylinder below this share of it is low."""
    high_above: Positive | None = None
    """A cylinder above this share of it is high."""
    level_below: LimitEntry | None = None
    """When even the highest is below this, all are low."""


class ShowsOnlyEntry(Entry):
    """A test that finds the fault only while the complaint shows itself."""

    chance: Chance
    """The chance that the fault shows at the test when the complaint is not showing."""


class RepairEntry(Entry):
    """What puts the cause right."""

    do: Text
    """The work, in full."""
    minutes: Positive
    """How long it takes."""
    parts: Annotated[float, Field(ge=0)]
    """What the parts cost."""


class CauseEntry(Entry):
    """A fault that can bring a complaint on."""

    name: Text
    """The fault, as a technician would call it."""
    what: Text
    """What it is and how it shows, in one to three sentences."""
    how_common: Chance
    """The share of cars like ours that come in with it, whatever the complaint."""
    fits: Annotated[Fits, Field(default_factory=dict)]
    """The cars that can have it: for each spec the values that suit."""
    repair: RepairEntry
    """What puts it right."""
    set_up: Text | None = None
    """What to set up after the repair."""
    cautions: Annotated[list[str], Field(default_factory=list)]
    """The ids of the cautions that the repair calls for."""
    prove_with: Annotated[list[str], Field(default_factory=list)]
    """The ids of the tests that prove the repair."""
    source: Text | None = None
    """Where the figures come from."""


class TestEntry(Entry):
    """Something done to the car that yields a reading, and what each reading says."""

    __test__ = False

    name: Text
    """What the test is called."""
    do: Text
    """The steps, in full."""
    tools: Annotated[list[Text], Field(default_factory=list)]
    """What is needed."""
    spoils: Text | None = None
    """What spoils the reading."""
    figures: Annotated[list[str], Field(default_factory=list)]
    """The ids of specs that must be seen to do it, and that no limit shows."""
    minutes: Positive
    """How long it takes."""
    reach: Annotated[int, Field(ge=0, le=4)]
    """0 look and listen, 1 meter on an open port, 2 open a line, 3 strip, 4 dismantle."""
    family: Text | None = None
    """Tests of one family share a mechanism: they are not independent evidence."""
    fits: Annotated[Fits, Field(default_factory=dict)]
    """The cars that it can be done on: for each spec the values that suit."""
    after: Annotated[
        dict[str, Annotated[list[str], Field(min_length=1)]], Field(default_factory=dict)
    ]
    """It makes sense only once these tests fell in these bands."""
    shows_only: ShowsOnlyEntry | None = None
    """For a fault that must be present at that moment to be found."""
    base: Text | None = None
    """For a base reading: why it decides whether going on makes sense."""
    cautions: Annotated[list[str], Field(default_factory=list)]
    """The ids of the cautions that it calls for."""
    reading: ReadingEntry | None = None
    """What is entered; a test with `choices` has none."""
    bands: list[BandOrLimit] | None = None
    """Names of bands with the limits between them; for a pattern, names alone."""
    pattern: PatternEntry | None = None
    """How readings of all cylinders are sorted."""
    choices: list[Text] | None = None
    """What can be seen or heard, for a test without a number."""
    sure: Annotated[float, Field(gt=0.5, le=1)] | None = None
    """How often an observer picks the right choice; 0.95 unless given."""
    expect: Text
    """The band in which a healthy engine reads."""
    by_chance: Annotated[dict[str, Chance], Field(default_factory=dict)]
    """For each other band, the chance of it on a car with none of the causes."""
    points_to: Annotated[dict[str, dict[str, Chance]], Field(default_factory=dict)]
    """For each cause, the chance that it alone puts the reading into a band."""
    source: Text | None = None
    """Where the figures come from."""


def _value_kind(value: Any) -> str | None:
    if isinstance(value, bool):
        return None
    if isinstance(value, list):
        return "<lists>" if value and isinstance(value[0], list) else "<list>"
    return "<text>" if isinstance(value, str) else "<number>" if _is_number(value) else None


SpecValue = Annotated[
    Annotated[float, Tag("<number>")]
    | Annotated[Text, Tag("<text>")]
    | Annotated[list[int], Tag("<list>")]
    | Annotated[list[list[int]], Tag("<lists>")],
    Discriminator(
        _value_kind,
        custom_error_type="wrong_kind",
        custom_error_message="must be a number, a word or a list of cylinder numbers",
    ),
]


class DefaultEntry(Entry):
    """A generic value that holds for some cars."""

    when: Annotated[Fits, Field(min_length=1)]
    """The cars: for each spec the values that suit."""
    value: SpecValue
    """The value."""


class SpecEntry(Entry):
    """A fact about a car on which limits depend."""

    name: Text
    """What it is called."""
    unit: str | None = None
    """The unit of a number; none for a bare count."""
    choices: Annotated[list[Text], Field(min_length=2)] | None = None
    """The words to choose from."""
    kind: Literal["list"] | None = None
    """Write `list` for cylinder numbers, or lists of them."""
    default: SpecValue | None = None
    """The value for a car of which nothing else is known."""
    defaults: Annotated[list[DefaultEntry], Field(default_factory=list)]
    """Values for kinds of cars; the first that suits is taken."""
    possible: Pair | None = None
    """The lowest and the highest value that can be."""
    take: str | None = None
    """The sum that works the value out where nobody has given it."""
    given: Given
    """What that sum needs: numbers, or ids of specs written before this one."""
    about: Text | None = None
    """More about it."""
    source: Text | None = None
    """Where the values come from."""


class InstrumentEntry(Entry):
    """A gauge or meter."""

    name: Text
    """What it is called."""
    unit: str
    """The unit it shows."""
    accuracy: Positive
    """How far it can be out, as a half-width in its unit."""
    correction: Annotated[list[Pair], Field(default_factory=list)]
    """Pairs of what it shows and what is true, rising."""
    about: Text | None = None
    """More about it."""
    source: Text | None = None
    """Where the figures come from."""


class CautionEntry(Entry):
    """A danger, and what to do about it."""

    danger: Text
    """What can hurt someone."""
    do: Text
    """What to do about it."""
    kind: Literal["tell", "acknowledge", "stop"]
    """Shown; shown until it is acknowledged; or the work stops here."""
    words: Annotated[list[Text], Field(default_factory=list)]
    """Words in tools and steps that call for this caution."""
    source: Text | None = None
    """Where it comes from."""


class OwnInstrumentEntry(Entry):
    """What is known of an instrument in this car."""

    correction: Annotated[list[Pair], Field(min_length=1)]
    """Pairs of what it shows and what is true, rising."""


class CatalogueFile(Entry):
    """A catalogue: causes and tests of one system, drawn on by several trees."""

    format: Literal[1]
    """The version of the file format."""
    about: Text | None = None
    """What the catalogue is about."""
    causes: Annotated[dict[Id, CauseEntry], Field(default_factory=dict)]
    """The causes, by id."""
    tests: Annotated[dict[Id, TestEntry], Field(default_factory=dict)]
    """The tests, by id."""


class TreeFile(Entry):
    """A tree: one complaint, what brings it on, and the authored way through the tests."""

    format: Literal[1]
    """The version of the file format."""
    complaint: Text
    """The complaint, as the screen names it."""
    driver_says: Annotated[list[Text], Field(default_factory=list)]
    """What drivers call it, for the search."""
    about: Text | None = None
    """More about it."""
    uses: Annotated[list[Text], Field(default_factory=list)]
    """The catalogues that it draws on, as paths from this file's folder."""
    ask: Annotated[list[Text], Field(default_factory=list)]
    """What to ask the driver."""
    brings_on: Annotated[dict[str, Chance], Field(min_length=1)]
    """For each cause, the chance that it brings this complaint on when it is present."""
    not_listed: Chance
    """The chance of the complaint with none of these causes."""
    first: str
    """The test that the route starts with."""
    route: dict[str, dict[str, str]]
    """For each test and band, the test or cause that follows; `otherwise` for every other band."""
    road_test: Annotated[list[str], Field(default_factory=list)]
    """The tests done before any work, and again as proof."""
    cautions: Annotated[list[str], Field(default_factory=list)]
    """The ids of cautions for the whole complaint."""
    causes: Annotated[dict[Id, CauseEntry], Field(default_factory=dict)]
    """Causes of this tree alone, by id."""
    tests: Annotated[dict[Id, TestEntry], Field(default_factory=dict)]
    """Tests of this tree alone, by id."""


class SpecsFile(Entry):
    """The specs of a car, with generic values."""

    format: Literal[1]
    """The version of the file format."""
    about: Text | None = None
    """What the file is about."""
    specs: dict[SpecId, SpecEntry]
    """The specs, by id."""


class InstrumentsFile(Entry):
    """The shop's instruments."""

    format: Literal[1]
    """The version of the file format."""
    about: Text | None = None
    """What the file is about."""
    instruments: dict[Id, InstrumentEntry]
    """The instruments, by id."""


class CautionsFile(Entry):
    """The cautions that tests and repairs name."""

    format: Literal[1]
    """The version of the file format."""
    about: Text | None = None
    """What the file is about."""
    cautions: dict[Id, CautionEntry]
    """The cautions, by id."""


class VehicleFile(Entry):
    """One of the shop's own cars."""

    format: Literal[1]
    """The version of the file format."""
    vehicle: Text
    """What the car is called."""
    about: Text | None = None
    """More about it."""
    specs: Annotated[dict[str, SpecValue], Field(default_factory=dict)]
    """Its values, by the id of the spec; a number may carry a unit, such as 36 psi."""
    instruments: Annotated[dict[str, OwnInstrumentEntry], Field(default_factory=dict)]
    """What its own instruments show, by the id of the instrument."""
    source: Text | None = None
    """Where the values come from."""


class LearnedCauseEntry(Entry):
    """What closed sessions taught about a cause."""

    how_common: Chance
    """The share of cars like ours that come in with it, in place of the authored one."""


class LearnedTestEntry(Entry):
    """What closed sessions taught about a test; what is left out stays as authored."""

    minutes: Positive | None = None
    """How long it takes in this shop, as the times in the logs say."""
    by_chance: Annotated[dict[str, Chance], Field(default_factory=dict)]
    """For some bands, the chance of it on a car with none of the causes."""
    points_to: Annotated[dict[str, dict[str, Chance]], Field(default_factory=dict)]
    """For some causes and bands, the chance that the cause alone puts the reading there."""


class LearnedTreeEntry(Entry):
    """What closed sessions taught about a complaint; causes that are left out stay as authored."""

    brings_on: Annotated[dict[str, Chance], Field(default_factory=dict)]
    """For some causes, the chance that it brings this complaint on when it is present."""


class LearnedFile(Entry):
    """Figures learned from closed sessions, which take the place of authored ones."""

    format: Literal[1]
    """The version of the file format."""
    about: Text | None = None
    """Where the figures come from, and how to go back."""
    causes: Annotated[dict[Id, LearnedCauseEntry], Field(default_factory=dict)]
    """The causes, by id."""
    tests: Annotated[dict[Id, LearnedTestEntry], Field(default_factory=dict)]
    """The tests, by id."""
    trees: Annotated[dict[Id, LearnedTreeEntry], Field(default_factory=dict)]
    """The trees, by id."""


def json_schema() -> dict[str, Any]:
    """The JSON Schema (2020-12) of all files together, for editors."""
    any_file = RootModel[  # built only when it is asked for: it costs as much as all the others
        TreeFile
        | CatalogueFile
        | SpecsFile
        | InstrumentsFile
        | CautionsFile
        | VehicleFile
        | LearnedFile
    ]
    schema: dict[str, Any] = _tidy(any_file.model_json_schema(by_alias=True, mode="validation"))
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **schema,
        "title": "A file of a faulttree shelf",
        "description": "A tree, a catalogue, specs, instruments, cautions, a vehicle, or what "
        "closed sessions taught.",
    }


def _tidy(node: Any) -> Any:
    """A schema without what only pydantic means by it: null for a key left out, made-up titles.

    Where keys must match a pattern, others are refused, as the loader does.
    """
    if isinstance(node, list):
        return [_tidy(item) for item in node]
    if not isinstance(node, dict):
        return node
    kept = {key: _tidy(item) for key, item in node.items() if not (key == "default" and not item)}
    if not isinstance(node.get("title"), dict):
        kept.pop("title", None)
    choices = kept.get("anyOf")
    if isinstance(choices, list) and {"type": "null"} in choices:
        rest = [choice for choice in choices if choice != {"type": "null"}]
        del kept["anyOf"]
        kept.update(rest[0] if len(rest) == 1 else {"anyOf": rest})
    if "patternProperties" in kept:
        kept["additionalProperties"] = False
    return kept


# From pydantic's findings to problems

Model = TypeVar("Model", bound=Entry)


def explain(error: ValidationError, source: Source, at: Sequence[str | int]) -> Iterator[Problem]:
    """Every finding of pydantic as a problem, placed in `source` below the path `at`.

    Where the source has reported a problem already, nothing is added.
    """
    known = {problem.place for problem in source.problems}
    model = _MODELS[error.title]
    for problem in _problems(error, model, source, at):
        if problem.place not in known or problem.rule in ("missing-key", "unknown-key"):
            yield problem


def _problems(
    error: ValidationError, model: type[Entry], source: Source, at: Sequence[str | int]
) -> Iterator[Problem]:
    findings = [
        (_steps(found["loc"]), found)
        for found in error.errors(include_url=False, include_context=True)
    ]
    # One slip of the pen would be told twice: as a key that is unknown and one that is missing.
    misspelt = {
        (*steps[:-1], nearest(str(steps[-1]), _keys_of(_model_at(model, steps[:-1]))))
        for steps, found in findings
        if found["type"] == "extra_forbidden"
    }
    for steps, found in findings:
        on_key = bool(steps) and steps[-1] == "[key]"
        if on_key:
            steps = steps[:-1]
        path = (*at, *steps)
        kind = found["type"]
        name = _called(steps) if steps else "the file"
        value = found["input"]
        if on_key:
            hint = id_hint(str(steps[-1]), "_" if "specs" in steps else "-")
            place = source.place(path, key=True)
            yield Problem(place, f"`{steps[-1]}` is not an id", hint, "bad-id")
        elif kind == "missing":
            if steps not in misspelt:
                where = source.place(path[:-1], key=True)
                hint = _meaning(model, steps)
                yield Problem(where, f"`{steps[-1]}` is missing", hint, "missing-key")
        elif kind == "extra_forbidden":
            yield _unknown_key(str(steps[-1]), _keys_of(_model_at(model, steps[:-1])), path, source)
        elif value is not None:  # `source` has reported every key without a value
            message, hint, rule = _value_problem(kind, found.get("ctx", {}), found["msg"], value)
            if not hint and rule in ("wrong-type", "wrong-value"):
                hint = _meaning(model, steps)
            yield Problem(source.place(path), f"{name} {message}", hint, rule)


def _steps(loc: Sequence[str | int]) -> tuple[str | int, ...]:
    """Where pydantic found something, without the tags of its choices."""
    return tuple(step for step in loc if isinstance(step, int) or not step.startswith("<"))


def _meaning(model: type[Entry], steps: Sequence[str | int]) -> str:
    """What the key at a path is for, in the words that an editor shows; "" where none is known."""
    words = [step for step in steps if isinstance(step, str)]
    for at in range(len(words), 0, -1):
        within = _model_at(model, words[: at - 1])
        for name, field in within.model_fields.items():
            if (field.alias or name) == words[at - 1] and field.description:
                said = field.description.rstrip(".")
                return f"`{words[at - 1]}`: {said[0].lower()}{said[1:]}"
    return ""


def _called(steps: Sequence[str | int]) -> str:
    words = [step for step in steps if isinstance(step, str)]
    name = f"`{words[-1]}`" if words else "it"
    if isinstance(steps[-1], int):
        return f"item {steps[-1] + 1} of {name}" if words else f"item {steps[-1] + 1}"
    return name


def _unknown_key(
    key: str, keys: Sequence[str], path: Sequence[str | int], source: Source
) -> Problem:
    before = key.split(":")[0]
    near = nearest(key, keys)
    if ":" in key and before in keys:
        hint = "put a space after the colon"
    else:
        hint = f"did you mean `{near}`?" if near else f"the keys here are {listed(keys)}"
    return Problem(source.place(path, key=True), f"unknown key `{key}`", hint, "unknown-key")


_MODELS: dict[str, type[Entry]] = {
    model.__name__: model
    for model in (
        TreeFile,
        CatalogueFile,
        SpecsFile,
        InstrumentsFile,
        CautionsFile,
        VehicleFile,
        CauseEntry,
        TestEntry,
        SpecEntry,
        InstrumentEntry,
        CautionEntry,
        LearnedFile,
        LearnedCauseEntry,
        LearnedTestEntry,
        LearnedTreeEntry,
    )
}
_INSIDE: dict[str, type[Entry]] = {
    "instruments": OwnInstrumentEntry,
    "reading": ReadingEntry,
    "pattern": PatternEntry,
    "repair": RepairEntry,
    "shows_only": ShowsOnlyEntry,
    "bands": SpecLimitEntry,
    "level_below": SpecLimitEntry,
    "defaults": DefaultEntry,
}


def _model_at(model: type[Entry], path: Sequence[str | int]) -> type[Entry]:
    """The model of the mapping at `path` within an entry of a model."""
    words = [step for step in path if isinstance(step, str)]
    return next((_INSIDE[word] for word in reversed(words) if word in _INSIDE), model)


def _keys_of(model: type[Entry]) -> list[str]:
    return [field.alias or name for name, field in model.model_fields.items()]


_MUST_BE = {
    "string_type": "must be text",
    "float_type": "must be a number",
    "int_type": "must be a whole number",
    "int_from_float": "must be a whole number",
    "list_type": "must be a list",
    "dict_type": "must be a mapping of keys to values",
    "model_type": "must be a mapping of keys to values",
    "model_attributes_type": "must be a mapping of keys to values",
    "is_instance_of": "must be a mapping of keys to values",
}


def _value_problem(
    kind: str, context: dict[str, Any], said: str, value: Any
) -> tuple[str, str, str]:
    """Message, hint and rule for a value of the wrong kind or size."""
    shown = _shown(value)
    if kind in _MUST_BE:
        return f"{_MUST_BE[kind]}, not {shown}", _hint_for(kind, value), "wrong-type"
    if kind == "wrong_kind":
        return f"{said}, not {shown}", "", "wrong-type"
    if kind == "literal_error":
        choices = str(context.get("expected", "")).replace("'", "`").replace(" or ", ", ")
        words = re.findall(r"`([^`]+)`", choices)
        if not words:
            hint = "a file of another format needs another version of this program"
            return f"must be {choices}, not {shown}", hint, "wrong-value"
        hint = did_you_mean(value, words) if isinstance(value, str) else ""
        return f"must be one of {listed(words)}, not {shown}", hint, "wrong-value"
    if kind in ("greater_than", "less_than") and {context.get("gt"), context.get("lt")} & {0, 1}:
        if kind == "less_than":
            hint = "nothing is certain: a chance of 1 could never be taken back"
            if _is_number(value) and 1 < value < 100:
                hint = f"{value:g} per cent are {value / 100:g}"
            return f"must be less than 1, not {shown}", hint, "chance-certain"
        return f"must be more than 0, not {shown}", "", "chance-certain"
    sizes = {
        "greater_than": ("more than", "gt"),
        "greater_than_equal": ("at least", "ge"),
        "less_than": ("less than", "lt"),
        "less_than_equal": ("at most", "le"),
    }
    if kind in sizes:
        words_, key = sizes[kind]
        return f"must be {words_} {context[key]:g}, not {shown}", "", "wrong-value"
    if kind in ("too_short", "too_long"):
        wanted = context.get("min_length") or context.get("max_length")
        if context.get("max_length") and kind == "too_short":
            wanted = context["min_length"]
        held = context.get("actual_length", "")
        words_ = "at least" if kind == "too_short" else "at most"
        return f"must hold {words_} {wanted} values, not {held}", "", "wrong-value"
    if kind in ("string_pattern_mismatch", "string_too_short"):
        if context.get("pattern") in (ID_PATTERN, SPEC_PATTERN):
            return f"is not an id: {shown}", id_hint(str(value)), "bad-id"
        return "is empty", "write something, or take the line out", "no-value"
    return f"is not right: {said}", "", "wrong-value"


def _hint_for(kind: str, value: Any) -> str:
    if kind == "string_type":
        return "put it in quotes" if isinstance(value, int | float) else ""
    if kind == "list_type":
        return "write [a, b] or lines that start with -"
    if kind in ("float_type", "int_type") and isinstance(value, str):
        if re.fullmatch(r"[-+]?\d+,\d+", value):
            return f"write {value.replace(',', '.')}, with a point"
        if re.fullmatch(r"[-+]?\d*\.?\d+", value):
            return "take the quotes off"
        if re.match(r"[-+]?\d*\.?\d+\s*\D", value):
            return "write the number alone"
    return ""


def _shown(value: Any) -> str:
    """A value as the message shows it: short, on one line, in the file's own spelling."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return f"{value:g}" if isinstance(value, float) else str(value)
    if isinstance(value, list):
        return "a list"
    if isinstance(value, dict):
        return "a mapping"
    text = " ".join(str(value).split())
    return f"`{text}`" if len(text) <= 40 else f"`{text[:37]}...`"


def id_hint(text: str, separator: str = "-") -> str:
    """What an id is, with this text turned into one where that can be done."""
    rule = f"small letters and digits, with {separator} between words"
    made = re.sub(r"[^a-z0-9]+", separator, text.casefold()).strip(separator)
    good = is_spec_id(made) if separator == "_" else is_id(made)
    return f"write `{made}`: {rule}" if good else rule


def is_id(text: str) -> bool:
    """Whether a text may be the id of a cause, test, caution, instrument or tree."""
    return re.fullmatch(ID_PATTERN, text) is not None


def is_spec_id(text: str) -> bool:
    """Whether a text may be the id of a spec."""
    return re.fullmatch(SPEC_PATTERN, text) is not None
