"""Loads trees: from files to a Knowledge, or from the document kept beside a session.

The face of this package for everybody else. Reading is in `source` and `shelf`, meaning in
`resolve`; what is merely unwise is left to `check`. pydantic is imported only when files are
really loaded, so that a list of trees is cheap.
"""

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from faulttree.tree.document import from_document, with_document
from faulttree.tree.model import Knowledge, Place, Vehicle
from faulttree.tree.problem import Problem, TreeError, did_you_mean, in_order
from faulttree.tree.source import read_top_level

__all__ = [
    "TreeCard",
    "TreeError",
    "from_document",
    "list_trees",
    "load",
    "load_all",
    "load_vehicle",
    "with_vehicle",
]

LEARNED = "learned.yaml"


@dataclass(frozen=True, slots=True)
class TreeCard:
    """A tree as the list of trees shows it, before it is loaded.

    `problem` says why the card is incomplete, or is empty.
    """

    id: str
    complaint: str
    driver_says: tuple[str, ...]
    path: Path
    problem: str = ""


def list_trees(trees_dir: Path | str) -> list[TreeCard]:
    """The trees of a folder, by id. Reads no further into each file than the card needs."""
    cards = []
    folder = Path(trees_dir)
    for path in _tree_files(folder):
        found, problem = read_top_level(path, ("complaint", "driver_says"))
        complaint = found.get("complaint")
        phrases = found.get("driver_says")
        if not isinstance(complaint, str):
            complaint, problem = path.stem, problem or "it names no complaint"
        said = tuple(p for p in phrases if isinstance(p, str)) if isinstance(phrases, list) else ()
        cards.append(TreeCard(path.stem, complaint.strip(), said, path, problem))
    return cards


def load(
    trees: Sequence[Path | str], *, trees_dir: Path | str | None = None, learned: bool = True
) -> Knowledge:
    """Load some trees, given as paths or bare names, and the union of what they draw on.

    A bare name is looked up in `trees_dir`, which is by default the folder of the first path, or
    `trees` in the working folder. With `learned`, figures that closed sessions taught take the
    place of the authored ones. Raises TreeError with everything that is wrong.
    """
    folder = Path(trees_dir) if trees_dir is not None else _folder_of(trees)
    return _load(folder, [_tree_path(tree, folder) for tree in trees], learned)


def load_all(trees_dir: Path | str, *, learned: bool = True) -> Knowledge:
    """Load every tree of a folder, like `load`. Raises TreeError with everything that is wrong."""
    folder = Path(trees_dir)
    paths = _tree_files(folder)
    if not paths:
        message = "no trees here" if folder.is_dir() else "there is no such folder"
        raise TreeError([Problem(Place(str(folder), 1, 1), message, "", "unknown-file")])
    return _load(folder, paths, learned)


def load_vehicle(path: Path | str, *, trees_dir: Path | str | None = None) -> Vehicle:
    """Load one vehicle's file, against the specs and instruments of `trees_dir`.

    Without it the file is taken to lie in the `vehicles` folder of the trees. Raises TreeError.
    """
    from faulttree.tree.resolve import resolve
    from faulttree.tree.shelf import read_shelf, read_vehicle

    file = Path(path)
    folder = Path(trees_dir) if trees_dir is not None else file.parent.parent
    shelf = read_shelf(folder, [], learned=False)
    shelf.vehicles.clear()
    read_vehicle(shelf, file)
    knowledge = resolve(shelf)
    if knowledge is None:
        raise TreeError(in_order(shelf.problems))
    return knowledge.vehicles[file.stem]


def with_vehicle(knowledge: Knowledge, vehicle: Vehicle) -> Knowledge:
    """The same Knowledge with one more vehicle, and with the document and digest to match."""
    vehicles = {**knowledge.vehicles, vehicle.id: vehicle}
    return with_document(dataclasses.replace(knowledge, vehicles=vehicles))


def _load(folder: Path, paths: Sequence[Path], learned: bool) -> Knowledge:
    # pydantic and the models cost about a tenth of a second; a list of trees needs neither.
    from faulttree.tree.learned import apply_learned
    from faulttree.tree.resolve import resolve
    from faulttree.tree.shelf import read_shelf

    shelf = read_shelf(folder, list(dict.fromkeys(paths)), learned=learned)
    knowledge = resolve(shelf)
    if knowledge is not None:
        knowledge = apply_learned(knowledge, shelf)
    if knowledge is None:
        raise TreeError(in_order(shelf.problems))
    return with_document(knowledge)


def _tree_files(folder: Path) -> list[Path]:
    try:
        found = [path for path in folder.iterdir() if path.suffix == ".yaml"]
    except OSError:
        return []
    return sorted(path for path in found if path.name != LEARNED)


def _folder_of(trees: Sequence[Path | str]) -> Path:
    for tree in trees:
        if isinstance(tree, Path) or "/" in tree or tree.endswith(".yaml"):
            return Path(tree).parent
    return Path("trees")


def _tree_path(tree: Path | str, folder: Path) -> Path:
    """The file of a tree given as a path or a bare name; raises TreeError when there is none."""
    path = Path(tree)
    if isinstance(tree, Path) or path.suffix == ".yaml" or len(path.parts) > 1:
        return path
    named = folder / f"{tree}.yaml"
    if named.is_file():
        return named
    names = [found.stem for found in _tree_files(folder)]
    place = Place(str(folder), 1, 1)
    hint = did_you_mean(str(tree), names)
    raise TreeError([Problem(place, f"there is no tree `{tree}`", hint, "unknown-file")])
