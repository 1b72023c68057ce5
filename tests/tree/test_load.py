"""Trees load from paths and names, alone and together, and come back from their document."""

import copy
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from faulttree.tree import model
from faulttree.tree.car import describe_car
from faulttree.tree.document import digest_of
from faulttree.tree.load import (
    TreeError,
    from_document,
    list_trees,
    load,
    load_all,
    load_vehicle,
    with_vehicle,
)
from faulttree.tree.model import Knowledge, Part, Pattern, SpecLimit
from faulttree.tree.places import shipped

MORE_TESTS = """\
format: 1
tests:
  compression:
    name: Compression
    do: Read every cylinder.
    reading: {each: cylinder, unit: psi, accuracy: 4, possible: [0, 300]}
    pattern: {of: highest, low_below: 0.75, level_below: {spec: fuel_pressure, times: 2, plus: 5}}
    bands: [one low, neighbours low, all low, in limits]
    expect: in limits
    by_chance: {one low: 0.04, neighbours low: 0.01, all low: 0.03}
    minutes: 30
    reach: 2
    family: sealing
    base: Nothing else makes sense on an engine that does not hold its compression.
    spoils: A flat battery.
    tools: [gauge]
    points_to:
      battery-weak: {all low: 0.1}
  again:
    name: Injector pressure
    do: Both gauges.
    reading:
      from: {vacuum: kPa, rail: psi}
      accuracy: {rail: 1, vacuum: 0.5}
      possible: {rail: [0, 120]}
      take: injector-pressure
    bands: [low, 30, in limits]
    expect: in limits
    by_chance: {low: 0.02}
    minutes: 5
    reach: 1
    family: sealing
    after: {compression: [in limits, one low]}
    shows_only: {chance: 0.3}
    fits: {cylinders: [4, 6], fuel_system: [multipoint]}
    figures: [firing_order, idle_speed]
    points_to:
      fuel-pump-weak: {low: 0.5}
"""


@pytest.fixture
def rich(shelf: Path) -> Path:
    """The good shelf with tests that use everything a test can have, and a third tree."""
    (shelf / "shared" / "more.yaml").write_text(MORE_TESTS)
    text = (shelf / "engine-stalls.yaml").read_text()
    text = text.replace("uses: [shared/fuel.yaml]", "uses: [shared/fuel.yaml, shared/more.yaml]")
    (shelf / "surges.yaml").write_text(text.replace("The engine stalls", "The car surges"))
    return shelf


def errors_of(caught: pytest.ExceptionInfo[TreeError]) -> list[str]:
    return [str(problem) for problem in caught.value.problems]


def test_tree_loads_by_path_and_by_name(shelf: Path) -> None:
    """A bare name is looked up in the folder of trees; a path stands for itself."""
    by_path = load([shelf / "engine-stalls.yaml"])
    assert by_path == load(["engine-stalls"], trees_dir=shelf)
    assert by_path == load(["engine-stalls"])  # the working folder holds `trees`
    assert by_path == load(["trees/engine-stalls.yaml"])
    assert list(by_path.trees) == ["engine-stalls"]
    assert list(by_path.causes) == ["fuel-pump-weak", "regulator-high"]


def test_loaded_values_are_those_of_the_file(rich: Path) -> None:
    """What a file says arrives in the model, each value in its place."""
    knowledge = load(["surges"])
    tree, pump = knowledge.trees["surges"], knowledge.causes["fuel-pump-weak"]
    assert tree.complaint == "The car surges"
    assert tree.route["idle-watch"] == {"hunting": "fuel-pressure-prime"}
    assert tree.brings_on == {"fuel-pump-weak": 0.3, "regulator-high": 0.2}
    assert (tree.not_listed, tree.first, tree.road_test) == (0.01, "idle-watch", ("idle-watch",))
    assert tree.ask == ("Hot or cold?",)
    assert pump.repair == model.Repair("Replace the pump.", 70, 110)
    assert pump.source == "judgement"
    prime = knowledge.tests["fuel-pressure-prime"]
    assert prime.kind == "number"
    assert prime.bands == ("low", "in limits", "high")
    assert prime.cascade == ("low", "high")
    assert prime.limits == (SpecLimit("fuel_pressure", 1.0, -4), SpecLimit("fuel_pressure", 1.0, 4))
    assert prime.reading is not None
    assert prime.reading.parts == (Part("value", "psi", 0.5, (0, 120), "fuel-gauge"),)
    assert prime.reading.figure_unit == "psi"
    assert knowledge.tests["idle-watch"].kind == "choice"
    assert knowledge.tests["idle-watch"].sure == 0.95
    compression = knowledge.tests["compression"]
    assert compression.pattern == Pattern("highest", 0.75, None, SpecLimit("fuel_pressure", 2, 5))
    assert compression.reading is not None
    assert compression.reading.per_cylinder
    again = knowledge.tests["again"]
    assert again.reading is not None
    assert [part.name for part in again.reading.parts] == ["vacuum", "rail"]
    assert again.reading.parts[1] == Part("rail", "psi", 1, (0, 120))
    # The sum gives kilopascals whatever the gauges show.
    assert (again.reading.take, again.reading.figure_unit) == ("injector-pressure", "kPa")
    assert again.after == {"compression": ("in limits", "one low")}
    assert again.fits == {"cylinders": ("4", "6"), "fuel_system": ("multipoint",)}
    assert again.shows_only == 0.3
    assert (again.figures, prime.figures) == (("firing_order", "idle_speed"), ())
    assert str(prime.place) == "trees/shared/fuel.yaml:17:3"


def test_vehicle_values_come_in_the_unit_of_their_spec(shelf: Path) -> None:
    """A quantity with a unit is converted as it is loaded: 36 psi are 248.2 kPa."""
    vehicle = load_all(shelf).vehicles["old-saloon"]
    # 1 psi = 6.894757 kPa: NIST SP 811 (2008), appendix B.8.
    assert vehicle.specs["fuel_pressure"] == pytest.approx(36 * 6.894757, rel=1e-6)
    assert vehicle.specs["firing_order"] == (1, 3, 4, 2)
    assert vehicle.corrections == {"fuel-gauge": ((0, 0), (50, 49))}


def test_quantity_in_another_kind_of_unit_is_refused(shelf: Path) -> None:
    """A pressure cannot be a speed, and the message says which units can."""
    (shelf / "vehicles" / "odd.yaml").write_text(
        "format: 1\nvehicle: Odd\nspecs: {idle_speed: 14 psi, fuel_pressure: 36 psl}\n"
    )
    with pytest.raises(TreeError) as caught:
        load_all(shelf)
    first, second = errors_of(caught)
    assert first.startswith("trees/vehicles/odd.yaml:3:21: error: `idle_speed` is in rpm")
    assert second.startswith("trees/vehicles/odd.yaml:3:44: error: `fuel_pressure` is in kPa")


def test_several_trees_load_the_union_of_what_they_use(shelf: Path) -> None:
    """Two trees together hold the causes and tests of both, each once."""
    both = load(["engine-stalls", "starts-badly"])
    assert list(both.trees) == ["engine-stalls", "starts-badly"]
    assert set(both.causes) == {"fuel-pump-weak", "regulator-high", "battery-weak"}
    assert both == load_all(shelf)
    assert both.digest != load(["engine-stalls"]).digest


def test_cause_of_a_catalogue_that_is_not_used_is_left_out(rich: Path) -> None:
    """A test may point to a cause that exists but is not loaded: that much is silent."""
    compression = load(["surges"]).tests["compression"]
    assert compression.points_to == {}
    together = load(["surges", "starts-badly"]).tests["compression"]
    assert together.points_to == {"battery-weak": {"all low": 0.1}}


def test_cause_that_exists_nowhere_is_refused(rich: Path) -> None:
    """A test that points to a cause which is in no catalogue is an error in every tree."""
    path = rich / "shared" / "more.yaml"
    path.write_text(path.read_text().replace("battery-weak:", "battery-week:"))
    with pytest.raises(TreeError) as caught:
        load(["surges"])
    assert errors_of(caught) == [
        "trees/shared/more.yaml:18:7: error: there is no cause `battery-week`; did you mean"
        " `battery-weak`? [unknown-id]"
    ]


def test_cause_of_one_tree_alone_cannot_be_named_by_a_catalogue(shelf: Path) -> None:
    """What stands in a tree's own file is for that tree; a catalogue that names it is refused."""
    tree = shelf / "engine-stalls.yaml"
    own = "causes:\n  own-cause: {name: a, what: b, how_common: 0.1, repair: {do: c, minutes: 1, "
    tree.write_text(tree.read_text() + own + "parts: 0}}\n")
    assert "own-cause" in load(["engine-stalls"]).causes
    fuel = shelf / "shared" / "fuel.yaml"
    fuel.write_text(
        fuel.read_text().replace("regulator-high: {high: 0.3}", "own-cause: {high: 0.3}")
    )
    for names in (["engine-stalls"], ["engine-stalls", "starts-badly"]):
        with pytest.raises(TreeError, match="`own-cause` is a cause of the tree `engine-stalls`"):
            load(names)


def test_route_into_a_catalogue_of_another_tree_is_refused_together_too(shelf: Path) -> None:
    """Each tree must hold on its own: a second tree that is loaded does not lend its catalogues."""
    tree = shelf / "engine-stalls.yaml"
    tree.write_text(
        tree.read_text().replace("hunting: fuel-", "steady: cranking-volts, hunting: fuel-")
    )
    for names in (["engine-stalls"], ["engine-stalls", "starts-badly"]):
        with pytest.raises(TreeError) as caught:
            load(names)
        assert errors_of(caught) == [
            "trees/engine-stalls.yaml:10:24: error: the test `cranking-volts` is in a catalogue"
            " that is not used here; add shared/battery.yaml to `uses` [not-used]"
        ]


def test_everything_that_is_wrong_is_said_at_once(shelf: Path) -> None:
    """Errors of several files, and several of one file, come in one exception, in order."""
    tree = shelf / "engine-stalls.yaml"
    tree.write_text(tree.read_text().replace("first: idle-watch", "frist: idle-watch"))
    fuel = shelf / "shared" / "fuel.yaml"
    fuel.write_text(fuel.read_text().replace("minutes: 5", "minutes: five").replace("psi,", "psj,"))
    with pytest.raises(TreeError) as caught:
        load(["engine-stalls"])
    assert [(problem.place.file, problem.rule) for problem in caught.value.problems] == [
        ("trees/engine-stalls.yaml", "unknown-key"),
        ("trees/shared/fuel.yaml", "unknown-unit"),
        ("trees/shared/fuel.yaml", "wrong-type"),
        ("trees/shared/fuel.yaml", "wrong-type"),
    ]


def test_unknown_tree_is_refused_with_the_nearest_name(shelf: Path) -> None:
    """A name that is no tree's gives the one most like it."""
    with pytest.raises(TreeError, match="did you mean `engine-stalls`"):
        load(["engine-stall"])
    with pytest.raises(TreeError, match=r"nowhere\.yaml:1:1: error: cannot read the file"):
        load([Path("trees/nowhere.yaml")])


def test_tree_named_twice_is_loaded_once(rich: Path) -> None:
    """Naming a tree twice is the same as naming it once."""
    assert load(["surges", "surges"]) == load(["surges"])


def test_two_trees_of_one_name_are_refused(shelf: Path) -> None:
    """A tree's name is its id: another file of that name cannot be loaded beside it."""
    other = shelf / "more" / "engine-stalls.yaml"
    other.parent.mkdir()
    other.write_text((shelf / "engine-stalls.yaml").read_text())
    (shelf / "more" / "shared").symlink_to((shelf / "shared").absolute())
    with pytest.raises(TreeError, match="the name of the file, `engine-stalls`, is already an id"):
        load([shelf / "engine-stalls.yaml", other])


def test_tree_cannot_bear_the_id_of_a_test(shelf: Path) -> None:
    """A finding names a test or a tree, so that the two must not be called alike."""
    (shelf / "engine-stalls.yaml").rename(shelf / "idle-watch.yaml")
    with pytest.raises(TreeError, match="`idle-watch` is already the id of a tree"):
        load(["idle-watch"])


def test_file_name_must_be_an_id(shelf: Path) -> None:
    """Trees and vehicles are named by their files, so a file's name must be an id."""
    (shelf / "engine-stalls.yaml").rename(shelf / "Engine stalls.yaml")
    (shelf / "vehicles" / "old-saloon.yaml").rename(shelf / "vehicles" / "Old_Saloon.yaml")
    with pytest.raises(TreeError) as caught:
        load_all(shelf)
    assert [(p.place.file, p.rule) for p in caught.value.problems] == [
        ("trees/Engine stalls.yaml", "bad-id"),
        ("trees/vehicles/Old_Saloon.yaml", "bad-id"),
    ]


def test_folder_without_trees_is_refused(tmp_path: Path) -> None:
    """Loading all trees of a folder that has none, or is not there, is an error and not nothing."""
    with pytest.raises(TreeError, match="no trees here"):
        load_all(tmp_path)
    with pytest.raises(TreeError, match="there is no such folder"):
        load_all(tmp_path / "none")


def test_changed_file_is_read_again(shelf: Path) -> None:
    """A file kept in memory is read anew once it was written to."""
    path = shelf / "engine-stalls.yaml"
    assert load(["engine-stalls"]).trees["engine-stalls"].complaint == "The engine stalls"
    path.write_text(path.read_text().replace("The engine stalls", "The engine quits"))
    os.utime(path, ns=(1, 1))
    assert load(["engine-stalls"]).trees["engine-stalls"].complaint == "The engine quits"


def test_learned_figures_are_not_taken_for_a_tree(shelf: Path) -> None:
    """The file in which learned figures are kept is no tree."""
    (shelf / "learned.yaml").write_text("format: 1\n")
    assert set(load_all(shelf).trees) == {"engine-stalls", "starts-badly"}
    assert [card.id for card in list_trees(shelf)] == ["engine-stalls", "starts-badly"]


# Cards and vehicles


def test_cards_hold_what_the_list_of_trees_shows(shelf: Path) -> None:
    """Each tree has a card with its complaint and its drivers' words."""
    first, second = list_trees(shelf)
    assert (first.id, first.complaint, first.path) == (
        "engine-stalls",
        "The engine stalls",
        Path("trees/engine-stalls.yaml"),
    )
    assert first.driver_says == ("dies at the lights",)
    assert second.problem == ""


def test_broken_tree_still_has_a_card(shelf: Path) -> None:
    """A tree that cannot be read is listed with what is wrong, and hides no other."""
    (shelf / "broken.yaml").write_text("format: 1\ncomplaint: [\n")
    (shelf / "other.yaml").write_bytes(b"\xff\xfe")
    cards = {card.id: card for card in list_trees(shelf)}
    assert len(cards) == 4
    assert cards["broken"].complaint == "broken"
    assert cards["broken"].problem.startswith("line 3: ")
    assert cards["other"].problem == "the file is not UTF-8"
    assert list_trees(shelf / "nowhere") == []


def test_vehicle_from_elsewhere_can_be_added(shelf: Path, tmp_path: Path) -> None:
    """A vehicle's file from outside the shelf is checked against the shelf's specs."""
    file = tmp_path / "visitor.yaml"
    file.write_text("format: 1\nvehicle: Visitor\nspecs: {idle_speed: 900}\n")
    knowledge = load(["engine-stalls"])
    vehicle = load_vehicle(file, trees_dir=shelf)
    more = with_vehicle(knowledge, vehicle)
    assert describe_car(more, "visitor").number("idle_speed") == 900
    assert more.digest == digest_of(more.document) != knowledge.digest
    assert from_document(more.document).vehicles["visitor"] == vehicle
    assert load_vehicle(shelf / "vehicles" / "old-saloon.yaml") == knowledge.vehicles["old-saloon"]
    file.write_text("format: 1\nvehicle: Visitor\nspecs: {idle: 900}\n")
    with pytest.raises(TreeError, match="there is no spec `idle`"):
        load_vehicle(file, trees_dir=shelf)


def test_number_specs_can_decide_what_fits(rich: Path) -> None:
    """`cylinders: [4]` matches a car with four cylinders, however the number is held."""
    knowledge = load(["surges"])
    # The generic firing order is for four cylinders, and four are the generic number.
    assert describe_car(knowledge).firing_order == (1, 3, 4, 2)
    assert describe_car(knowledge, typed={"cylinders": 4.0}).firing_order == (1, 3, 4, 2)
    assert describe_car(knowledge, typed={"cylinders": 6}).firing_order == ()


# The document


def through_json(knowledge: Knowledge, *, sort_keys: bool) -> Any:
    return json.loads(json.dumps(knowledge.document, sort_keys=sort_keys))


@pytest.mark.parametrize("sort_keys", [True, False])
def test_document_gives_back_an_equal_knowledge(rich: Path, sort_keys: bool) -> None:
    """What is kept beside a session builds the same Knowledge, with the same digest and order."""
    knowledge = load_all(rich)
    again = from_document(through_json(knowledge, sort_keys=sort_keys))
    assert again == knowledge
    assert again.digest == knowledge.digest
    for section in ("trees", "causes", "tests", "specs", "instruments", "cautions", "vehicles"):
        assert list(getattr(again, section)) == list(getattr(knowledge, section))
    reading = again.tests["again"].reading
    assert reading is not None
    assert [part.name for part in reading.parts] == ["vacuum", "rail"]


def test_shipped_trees_come_back_from_their_document() -> None:
    """The trees that come with the program survive the way through JSON."""
    knowledge = load_all(shipped("trees"))
    assert from_document(through_json(knowledge, sort_keys=True)) == knowledge


def test_digest_does_not_depend_on_where_the_files_lie(shelf: Path, tmp_path: Path) -> None:
    """The same content has the same digest in another folder and another layout."""
    digest = load(["engine-stalls"]).digest
    other = tmp_path / "elsewhere" / "deep"
    other.parent.mkdir()
    shelf.rename(other)
    path = other / "engine-stalls.yaml"
    path.write_text("# moved\n\n" + path.read_text().replace("0.3,", "0.30,"))
    assert load([path]).digest == digest


@pytest.mark.parametrize(
    ("file", "old", "new"),
    [
        ("shared/fuel.yaml", "low: 0.75", "low: 0.76"),
        ("shared/fuel.yaml", "less: 4", "less: 5"),
        ("shared/cautions.yaml", "Petrol burns", "Petrol burns well"),
        ("shared/instruments.yaml", "[60, 58]", "[60, 57]"),
        ("vehicles/old-saloon.yaml", "36 psi", "37 psi"),
        ("engine-stalls.yaml", "Hot or cold", "Hot, cold"),
    ],
)
def test_digest_changes_with_the_content(shelf: Path, file: str, old: str, new: str) -> None:
    """Any change of what the files say changes the digest."""
    digest = load(["engine-stalls"]).digest
    path = shelf / file
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new))
    assert load(["engine-stalls"]).digest != digest


def test_digest_is_the_sha256_of_canonical_json(shelf: Path) -> None:
    """The digest is that of the document as JSON with sorted keys, no spaces, in UTF-8."""
    knowledge = load(["engine-stalls"])
    text = json.dumps(knowledge.document, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    piped = subprocess.run(["sha256sum"], input=text.encode(), capture_output=True, check=True)
    assert knowledge.digest == piped.stdout.split()[0].decode()


@pytest.mark.parametrize(
    "spoil",
    [
        lambda d: d.update(format=2),
        lambda d: d.pop("causes"),
        lambda d: d.update(tests={}),
        lambda d: d["causes"][0].pop("name"),
        lambda d: d["causes"][0].update(how_common="0.06"),
        lambda d: d["causes"][0].update(colour="red"),
        lambda d: d["tests"][0].update(kind="guess"),
        lambda d: d["tests"][0].update(limits=[{"spec": 3}]),
        lambda d: d["tests"].append(None),
        lambda d: d["specs"][0].update(choices="carburettor"),
        lambda d: d["trees"][0].update(route=[]),
        lambda d: d["vehicles"][0]["specs"].update(cylinders=True),
    ],
)
def test_spoilt_document_is_refused(shelf: Path, spoil: Any) -> None:
    """A document that is not one gives TreeError and names itself."""
    data = through_json(load(["engine-stalls"]), sort_keys=True)
    spoil(data)
    with pytest.raises(TreeError, match=r"^kept\.json:1:1: error: the document"):
        from_document(data, "kept.json")


@given(data=st.data())
def test_no_damage_to_a_document_raises_anything_else(data: st.DataObject) -> None:
    """Whatever one value of a document is replaced by, it loads or raises TreeError."""
    document = copy.deepcopy(_document())
    node: Any = document
    while True:
        keys = list(node) if isinstance(node, dict) else list(range(len(node)))
        key = data.draw(st.sampled_from(keys))
        deeper = isinstance(node[key], dict | list) and node[key]
        if not deeper or data.draw(st.integers(0, 3)) == 0:
            break
        node = node[key]
    node[key] = data.draw(
        st.none() | st.booleans() | st.integers() | st.text(max_size=3) | st.just([]) | st.just({})
    )
    try:
        again = from_document(document)
    except TreeError:
        return
    assert again.digest == digest_of(again.document)


_DOCUMENTS: list[Any] = []


def _document() -> Any:
    if not _DOCUMENTS:
        good = Path(__file__).parents[1] / "bad_trees" / "good"
        _DOCUMENTS.append(through_json(load_all(good), sort_keys=True))
    return _DOCUMENTS[0]


# What loading costs


def imported_by(code: str) -> set[str]:
    """The modules that a fresh interpreter has loaded after running some code."""
    end = "\nimport sys; print(*sys.modules)"
    command = [sys.executable, "-c", code + end]
    return set(subprocess.run(command, capture_output=True, text=True, check=True).stdout.split())


def test_list_of_trees_needs_nothing_slow() -> None:
    """Listing trees imports neither pydantic nor pint, networkx, numpy or textual."""
    modules = imported_by(
        "from faulttree.tree.load import list_trees\n"
        "from faulttree.tree.places import shipped\n"
        "assert list_trees(shipped('trees'))"
    )
    assert "faulttree.tree.load" in modules
    assert not modules & {"pydantic", "pint", "networkx", "numpy", "textual"}


def test_loading_and_walking_needs_no_graph_library() -> None:
    """Loading trees imports neither networkx nor numpy nor textual, nor the screens."""
    modules = imported_by(
        "from faulttree.tree.load import load_all\n"
        "from faulttree.tree.graph import next_on_route\n"
        "from faulttree.tree.car import describe_car\n"
        "from faulttree.tree.places import shipped\n"
        "k = load_all(shipped('trees'))\n"
        "next_on_route(k, next(iter(k.trees)), {}, describe_car(k))"
    )
    assert "pydantic" in modules
    assert not modules & {"networkx", "textual", "faulttree.screen", "faulttree.scorer"}
