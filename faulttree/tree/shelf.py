"""Reads the files of a shelf: which there are, what is in them, and where each id was written.

A shelf is a folder of trees with its `shared` catalogues and its `vehicles`. Every entry is checked
against the schema on its own, so that one bad entry hides nothing else. Files are kept in memory
by name, time and size. What entries mean together is left to `resolve`.
"""

import os
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Generic, TypeVar

from pydantic import ValidationError

from faulttree.tree import schema
from faulttree.tree.model import Place
from faulttree.tree.problem import Problem, did_you_mean
from faulttree.tree.source import Source, read_source

SHARED = "shared"
VEHICLES = "vehicles"
LEARNED = "learned.yaml"
SPECS, INSTRUMENTS, CAUTIONS = "specs.yaml", "instruments.yaml", "cautions.yaml"
NOT_CATALOGUES = frozenset({SPECS, INSTRUMENTS, CAUTIONS})

RESERVED_IDS = frozenset({"not-listed", "otherwise"})

Model = TypeVar("Model", bound=schema.Entry)


@dataclass(frozen=True, slots=True)
class Item(Generic[Model]):
    """One entry as written: its id, what it says, and where.

    `entry` is None when it did not pass the schema; the id is known all the same, so that nothing
    else complains about it. `raw` is what was written, whatever it was.
    """

    id: str
    entry: Model | None
    source: Source
    path: tuple[str | int, ...]
    raw: Any
    tree: str | None = None

    def place(self, *path: str | int, key: bool = False) -> Place:
        """Where something in the entry stands; without a path, where the entry is named."""
        if not path:
            return self.source.place(self.path, key=True)
        return self.source.place((*self.path, *path), key=key)


@dataclass(slots=True)
class Shelf:
    """All that was read for some trees, and what was wrong with it so far.

    `uses` gives the files of each tree's catalogues; trees for which one of them is not there are
    `incomplete`, and are not blamed for what it would have held.
    """

    folder: Path
    problems: list[Problem] = field(default_factory=list)
    sources: dict[str, Source] = field(default_factory=dict)
    trees: dict[str, Item[schema.TreeFile]] = field(default_factory=dict)
    causes: dict[str, Item[schema.CauseEntry]] = field(default_factory=dict)
    tests: dict[str, Item[schema.TestEntry]] = field(default_factory=dict)
    specs: dict[str, Item[schema.SpecEntry]] = field(default_factory=dict)
    instruments: dict[str, Item[schema.InstrumentEntry]] = field(default_factory=dict)
    cautions: dict[str, Item[schema.CautionEntry]] = field(default_factory=dict)
    vehicles: dict[str, Item[schema.VehicleFile]] = field(default_factory=dict)
    learned_causes: dict[str, Item[schema.LearnedCauseEntry]] = field(default_factory=dict)
    learned_tests: dict[str, Item[schema.LearnedTestEntry]] = field(default_factory=dict)
    learned_trees: dict[str, Item[schema.LearnedTreeEntry]] = field(default_factory=dict)
    uses: dict[str, tuple[str, ...]] = field(default_factory=dict)
    incomplete: set[str | None] = field(default_factory=set)
    _elsewhere: dict[str, dict[str, str]] | None = None

    def elsewhere(self, section: str) -> Mapping[str, str]:
        """The ids of a section in the shared catalogues that are not loaded, and their files.

        These are read only when an id is looked for in vain.
        """
        if self._elsewhere is None:
            self._elsewhere = {"causes": {}, "tests": {}}
            for path in catalogues(self.folder):
                if str(path) in self.sources:
                    continue
                data = read_cached(path).data
                for name, ids in self._elsewhere.items():
                    found = data.get(name) if isinstance(data, dict) else None
                    if isinstance(found, dict):
                        ids.update(dict.fromkeys(found, f"{SHARED}/{path.name}"))
        return self._elsewhere[section]


def read_shelf(
    folder: Path,
    trees: Iterable[Path],
    *,
    more_catalogues: Iterable[Path] = (),
    learned: bool = True,
) -> Shelf:
    """Read some trees, the catalogues they use, and the specs, instruments, cautions, vehicles.

    Without `learned`, the figures that closed sessions taught are left aside.
    """
    shelf = Shelf(folder)
    shared = folder / SHARED
    _read_section(shelf, shared / SPECS, schema.SpecsFile, "specs", schema.SpecEntry)
    _read_section(
        shelf, shared / INSTRUMENTS, schema.InstrumentsFile, "instruments", schema.InstrumentEntry
    )
    _read_section(shelf, shared / CAUTIONS, schema.CautionsFile, "cautions", schema.CautionEntry)
    wanted: dict[str, Path] = {}
    for path in trees:
        wanted.update(_read_tree(shelf, path))
    wanted.update({str(path): path for path in more_catalogues})
    for path in wanted.values():
        source = _open(shelf, path)
        if source is not None:
            _header(source, schema.CatalogueFile, ("causes", "tests"), shelf)
            _read_causes_and_tests(shelf, source, None)
    for path in yaml_files(folder / VEHICLES):
        read_vehicle(shelf, path)
    if learned:
        read_learned(shelf, folder / LEARNED)
    return shelf


def yaml_files(folder: Path) -> list[Path]:
    """The YAML files of a folder, by name; none when there is no such folder."""
    try:
        return sorted(path for path in folder.iterdir() if path.suffix == ".yaml")
    except OSError:
        return []


def catalogues(folder: Path) -> list[Path]:
    """The catalogues of a shelf."""
    return [path for path in yaml_files(folder / SHARED) if path.name not in NOT_CATALOGUES]


def tree_files(folder: Path) -> list[Path]:
    """The trees of a shelf."""
    return [path for path in yaml_files(folder) if path.name != LEARNED]


_CACHE: dict[tuple[str, str], tuple[int, int, Source]] = {}


def read_cached(path: Path) -> Source:
    """Read a file, or hand out what was read before when its time and size are the same."""
    key = (os.path.abspath(path), str(path))
    try:
        status = os.stat(path)
    except OSError:
        return read_source(path)
    kept = _CACHE.get(key)
    if kept and kept[:2] == (status.st_mtime_ns, status.st_size):
        return kept[2]
    source = read_source(path)
    _CACHE[key] = (status.st_mtime_ns, status.st_size, source)
    return source


def _open(shelf: Shelf, path: Path) -> Source | None:
    """Read a file into the shelf; None when nothing in it can be used."""
    source = read_cached(path)
    shelf.sources[str(path)] = source
    shelf.problems += source.problems
    if isinstance(source.data, dict):
        return source
    if source.data is not None:
        where = source.place()
        shelf.problems.append(
            Problem(
                where,
                "the file must be a mapping of keys to values",
                "begin it with `format: 1`, and write each key at the left without a -",
                "wrong-type",
            )
        )
    return None


def _header(
    source: Source, model: type[schema.Entry], sections: tuple[str, ...], shelf: Shelf
) -> Any:
    """The file without the entries of its sections, checked; None when it did not pass."""
    data = dict(source.data)
    for section in sections:
        if isinstance(data.get(section), dict):
            data[section] = {}
    try:
        return model.model_validate(data)
    except ValidationError as error:
        shelf.problems += schema.explain(error, source, ())
        return None


def _entries(
    shelf: Shelf, source: Source, section: str, model: type[Model], tree: str | None = None
) -> Iterator[Item[Model]]:
    """Every entry of one section of a file, checked on its own."""
    found = source.data.get(section)
    if not isinstance(found, dict):
        return
    is_id = schema.is_spec_id if section == "specs" else schema.is_id
    for name, raw in found.items():
        path = (section, name)
        entry: Model | None = None
        if not is_id(name):
            separator = "_" if section == "specs" else "-"
            hint = schema.id_hint(name, separator)
            place = source.place(path, key=True)
            shelf.problems.append(Problem(place, f"`{name}` is not an id", hint, "bad-id"))
        try:
            entry = model.model_validate(raw)
        except ValidationError as error:
            shelf.problems += schema.explain(error, source, path)
        yield Item(name, entry, source, path, raw, tree)


def _read_section(
    shelf: Shelf, path: Path, file: type[schema.Entry], section: str, model: type[Model]
) -> None:
    if not path.exists():
        return
    source = _open(shelf, path)
    if source is None:
        return
    _header(source, file, (section,), shelf)
    target: dict[str, Item[Model]] = getattr(shelf, section)
    target.update({item.id: item for item in _entries(shelf, source, section, model)})


def read_learned(shelf: Shelf, path: Path) -> None:
    """Read the figures that closed sessions taught, if there are any; see `learned`."""
    if not path.exists():
        return
    source = _open(shelf, path)
    if source is None:
        return
    _header(source, schema.LearnedFile, ("causes", "tests", "trees"), shelf)
    for cause in _entries(shelf, source, "causes", schema.LearnedCauseEntry):
        shelf.learned_causes[cause.id] = cause
    for test in _entries(shelf, source, "tests", schema.LearnedTestEntry):
        shelf.learned_tests[test.id] = test
    for tree in _entries(shelf, source, "trees", schema.LearnedTreeEntry):
        shelf.learned_trees[tree.id] = tree


def _read_causes_and_tests(shelf: Shelf, source: Source, tree: str | None) -> None:
    for item in _entries(shelf, source, "causes", schema.CauseEntry, tree):
        if _is_new(shelf, item):
            shelf.causes[item.id] = item
    for test in _entries(shelf, source, "tests", schema.TestEntry, tree):
        if _is_new(shelf, test):
            shelf.tests[test.id] = test


def _is_new(shelf: Shelf, item: Item[Any]) -> bool:
    """Whether no cause, test or tree has the id yet; reports it otherwise."""
    what = item.path[0]
    first: Item[Any] | None = shelf.causes.get(item.id) or shelf.tests.get(item.id)
    if first is None and item.id in shelf.trees:
        message = f"`{item.id}` is already the id of a tree"
        hint = f"the tree is {shelf.trees[item.id].source.file}"
    elif first is not None:
        kind = "cause" if first.path[0] == "causes" else "test"
        message = f"`{item.id}` is already the id of a {kind}"
        hint = f"first written at {first.place()}"
    elif item.id in RESERVED_IDS:
        message = f"`{item.id}` has a meaning of its own and cannot name one of the {what}"
        hint = "choose another id"
    else:
        return True
    shelf.problems.append(Problem(item.place(), message, hint, "duplicate-id"))
    return False


def _check_name(shelf: Shelf, source: Source, name: str) -> None:
    """Record a file whose name cannot be the id of what it holds."""
    if not schema.is_id(name):
        hint = schema.id_hint(name)
        message = f"the name of the file, `{name}`, is not an id"
        shelf.problems.append(Problem(source.place(), message, hint, "bad-id"))


def _read_tree(shelf: Shelf, path: Path) -> dict[str, Path]:
    """Read a tree into the shelf; returns the catalogues that it uses, by name."""
    source = _open(shelf, path)
    if source is None:
        return {}
    name = path.stem
    _check_name(shelf, source, name)
    taken: Item[Any] | None = (
        shelf.trees.get(name) or shelf.causes.get(name) or shelf.tests.get(name)
    )
    if taken is not None:
        message = f"the name of the file, `{name}`, is already an id"
        hint = f"first written at {taken.place()}"
        shelf.problems.append(Problem(source.place(), message, hint, "duplicate-id"))
        return {}
    header = _header(source, schema.TreeFile, ("causes", "tests"), shelf)
    shelf.trees[name] = Item(name, header, source, (), source.data, name)
    _read_causes_and_tests(shelf, source, name)
    used: dict[str, Path] = {}
    uses = source.data.get("uses")
    for at, use in enumerate(uses if isinstance(uses, list) else ()):
        if not isinstance(use, str):
            continue
        where = source.place(("uses", at))
        joined = os.path.normpath(use)
        if os.path.isabs(joined) or joined.split(os.sep)[0] == "..":
            hint = "write it as shared/NAME.yaml"
            message = f"`{use}` lies outside the folder of the tree"
            shelf.problems.append(Problem(where, message, hint, "unknown-file"))
            continue
        catalogue = path.parent / joined
        if not catalogue.is_file():
            options = [f"{SHARED}/{file.name}" for file in catalogues(path.parent)]
            hint = did_you_mean(use, options)
            shelf.problems.append(
                Problem(where, f"there is no catalogue `{use}`", hint, "unknown-file")
            )
            continue
        if catalogue.name in NOT_CATALOGUES:
            hint = "it is loaded for every tree: take the line out"
            shelf.problems.append(Problem(where, f"`{use}` is no catalogue", hint, "unknown-file"))
            continue
        used[str(catalogue)] = catalogue
    shelf.uses[name] = tuple(used)
    if isinstance(uses, list) and len(used) < len(uses):
        shelf.incomplete.add(name)
    return used


def read_vehicle(shelf: Shelf, path: Path) -> None:
    """Read one vehicle's file into the shelf."""
    source = _open(shelf, path)
    if source is None:
        return
    _check_name(shelf, source, path.stem)
    header = _header(source, schema.VehicleFile, (), shelf)
    shelf.vehicles[path.stem] = Item(path.stem, header, source, (), source.data)
