"""Writes the beginnings of a new tree: a file with every key explained, that loads as it stands.

It draws on the catalogues that are there, so the shop lead starts from something that works and
changes it line by line. What each key means is told in the words of `schema`. Naming the folder and
telling of errors is left to `cli`.
"""

import json
import os
import textwrap
from collections.abc import Iterator
from pathlib import Path

from faulttree.tree import schema
from faulttree.tree.model import Knowledge, Place
from faulttree.tree.problem import Problem, TreeError, in_order, visible
from faulttree.tree.resolve import resolve
from faulttree.tree.shelf import (
    LEARNED,
    RESERVED_IDS,
    SHARED,
    Shelf,
    catalogues,
    read_shelf,
    tree_files,
)

COMPLAINT = "What the driver complains of, in a few words"
MODE_LINE = "# yaml-language-server: $schema="
"""The comment by which editors that know YAML find the schema of a file."""

SCHEMA = "schema.json"
_WIDE = 96


class BadTreeId(ValueError):
    """An id that a new tree cannot have; the message says why."""


def skeleton(folder: Path, tree_id: str, complaint: str = "") -> str:
    """The text of a new tree for the catalogues of a folder.

    Raises BadTreeId for an id that is none or is taken, ValueError for a complaint that cannot be
    written, and TreeError when there is nothing sound to draw on.
    """
    text = " ".join(complaint.split()) or COMPLAINT
    if not text.isprintable():
        raise ValueError("The complaint holds a character that cannot be written.")
    if not schema.is_id(tree_id):
        raise BadTreeId(
            f"{visible(tree_id)!r} is not an id: small letters and digits, with - between words."
        )
    if tree_id in RESERVED_IDS or f"{tree_id}.yaml" == LEARNED:
        raise BadTreeId(f"{tree_id!r} has a meaning of its own; choose another id.")
    shelf = read_shelf(folder, tree_files(folder), more_catalogues=catalogues(folder))
    for what, ids in (("tree", shelf.trees), ("cause", shelf.causes), ("test", shelf.tests)):
        if tree_id in ids:
            raise BadTreeId(f"{tree_id!r} is already the id of a {what}; choose another.")
    return "\n".join(_lines(_shared(folder), tree_id, text)) + "\n"


def write_new(path: Path, text: str) -> None:
    """Write a file that must not be there yet; raises OSError, and then leaves nothing behind."""
    with path.open("x", encoding="utf-8") as file:
        try:
            file.write(text)
            file.flush()
        except OSError:
            path.unlink(missing_ok=True)
            raise


def _for_editors(folder: Path) -> Iterator[str]:
    """The line that names the schema to an editor, or how to come by one where there is none."""
    beside = folder / SCHEMA
    own = Path(schema.__file__).with_name(SCHEMA)
    if beside.is_file():
        yield f"{MODE_LINE}{SCHEMA}"
    elif own.parents[2].resolve() == folder.resolve().parent:  # a checkout of the program
        yield f"{MODE_LINE}{Path(os.path.relpath(own, folder.resolve())).as_posix()}"
    else:
        yield from _prose(
            "An editor that knows YAML checks and explains this file as you type, once "
            f"`faulttree schema > {visible(str(beside))}` has been run and this is its first line:"
        )
        yield f"## {MODE_LINE}{SCHEMA}"


def _shared(folder: Path) -> tuple[Shelf, Knowledge]:
    """The catalogues of a folder alone: a tree that is wrong does not stand in the way."""
    shelf = read_shelf(folder, [], more_catalogues=catalogues(folder), learned=False)
    knowledge = resolve(shelf)
    if knowledge is None:
        raise TreeError(in_order(shelf.problems))
    return shelf, knowledge


def _beginnings(knowledge: Knowledge) -> list[tuple[str, str, str]]:
    """Up to two tests of any car that each point to a cause of any car: test, band, cause."""
    options = []
    for test in knowledge.tests.values():
        if test.fits or test.after:
            continue
        for cause, bands in test.points_to.items():
            if not knowledge.causes[cause].fits:
                for band, chance in bands.items():
                    options.append((test.reach, test.minutes, -chance, test.id, band, cause))
    chosen: list[tuple[str, str, str]] = []
    for *_, test_id, band, cause in sorted(options):
        if all(test_id != other and cause != same for other, _, same in chosen):
            chosen.append((test_id, band, cause))
    return chosen[:2]


def _lines(shared: tuple[Shelf, Knowledge], tree_id: str, complaint: str) -> Iterator[str]:
    shelf, knowledge = shared
    begun = _beginnings(knowledge)
    if not begun:
        place = Place(str(shelf.folder / SHARED), 1, 1)
        message = "no catalogue here has a test that points to a cause, for any car"
        hint = "a tree draws on catalogues; write one first"
        raise TreeError([Problem(place, message, hint, "unknown-file")])
    first, cause = begun[0][0], begun[0][2]
    tree = schema.TreeFile
    yield from _for_editors(shelf.folder)
    yield from _prose(
        "A tree: one complaint, what brings it on, and the way through the tests. It loads as it "
        "stands; change it line by line and run `faulttree check --watch`. Lines that start with "
        "## explain; lines that start with a single # are keys that may be left out. The causes "
        "and tests here are only the nearest at hand: put yours in their place."
    )
    yield from _key(tree, "format", "format: 1")
    yield from _key(tree, "complaint", f"complaint: {_quoted(complaint)}")
    yield from _key(tree, "driver_says", "# driver_says:", "#   - It does it again and again")
    yield from _key(tree, "about", "# about: More than one fault is the rule on an old car.")
    used = [f"  - {SHARED}/{path.name}" for path in catalogues(shelf.folder)]
    yield from _key(tree, "uses", "uses:", *used)
    yield from _key(tree, "ask", "ask:", "  - Hot, cold or both?", "  - Since when?")
    yield from _key(tree, "cautions", "cautions: []")
    yield from _prose("The chances are judgement until closed sessions teach better.")
    chances = [f"  {named}: 0.5  # {visible(knowledge.causes[named].name)}" for *_, named in begun]
    yield from _key(tree, "brings_on", "brings_on:", *chances)
    yield from _prose("A share of all cars: small, but never nothing.")
    yield from _key(tree, "not_listed", "not_listed: 0.002")
    yield from _key(tree, "first", f"first: {first}  # {visible(knowledge.tests[first].name)}")
    route = []
    for at, (test, band, leads_to) in enumerate(begun):
        on = f", otherwise: {begun[at + 1][0]}" if at + 1 < len(begun) else ""
        route.append(f"  {test}: {{{_quoted(band)}: {leads_to}{on}}}")
    yield from _key(tree, "route", "route:", *route)
    yield from _key(tree, "road_test", f"road_test: [{first}]")
    yield from _own(tree_id, cause)


def _own(tree_id: str, other: str) -> Iterator[str]:
    """Causes and tests of this tree alone, as keys that may be left out."""
    tree, cause, test = schema.TreeFile, schema.CauseEntry, schema.TestEntry
    own_cause, own_test = f"{tree_id}-own-cause", f"{tree_id}-own-test"
    yield ""
    yield from _prose(
        "What several trees need belongs in a catalogue. List the cause in `brings_on` as well, "
        "and lead the route to the test."
    )
    yield from _key(tree, "causes", "# causes:", f"#   {own_cause}:")
    for name, code in (
        ("name", "Something that only this complaint has"),
        ("what", "What it is, and how it shows."),
        ("how_common", "0.01"),
        ("fits", "{}"),
        ("repair", "{do: Put it right., minutes: 30, parts: 20}"),
        ("set_up", "Nothing to set up."),
        ("cautions", "[]"),
        ("prove_with", f"[{own_test}]"),
        ("source", "judgement"),
    ):
        yield from _inner(cause, name, code)
        if name == "repair":
            yield from _more(schema.RepairEntry)
    yield from _key(tree, "tests", "# tests:", f"#   {own_test}:")
    for name, code in (
        ("name", "A reading that only this complaint needs"),
        ("do", "Every step, so that nobody has to ask."),
        ("tools", "[]"),
        ("spoils", "What makes the reading worthless."),
        ("figures", "[]"),
        ("minutes", "10"),
        ("reach", "1"),
        ("fits", "{}"),
        ("after", "{}"),
        ("cautions", "[]"),
        ("reading", "{unit: V, accuracy: 0.1, possible: [0, 16]}"),
        ("bands", "[low, 12.2, in limits]"),
        ("expect", "in limits"),
        ("by_chance", "{low: 0.05}"),
        ("points_to", f"{{{own_cause}: {{low: 0.8}}, {other}: {{low: 0.1}}}}"),
        ("source", "common practice, no source"),
    ):
        yield from _inner(test, name, code)
        if name == "reading":
            yield from _more(schema.ReadingEntry)
        if name == "bands":
            yield from _prose("Instead of a number, a limit can follow the car:", indent=6)
            yield from _more(schema.SpecLimitEntry)
    yield from _prose("Further keys that a test may have:", indent=6)
    for name in ("family", "shows_only", "base", "choices", "sure", "pattern"):
        yield from _prose(f"{name}: {_about(test, name)}", indent=6)
        if name == "shows_only":
            yield from _more(schema.ShowsOnlyEntry)
    yield from _more(schema.PatternEntry)


def _about(model: type[schema.Entry], name: str) -> str:
    """What the schema says of a key; `name` is the key as it is written in a file."""
    for field, info in model.model_fields.items():
        if (info.alias or field) == name:
            return info.description or ""
    raise KeyError(name)


def _key(model: type[schema.Entry], name: str, *code: str) -> Iterator[str]:
    yield from _prose(f"{name}: {_about(model, name)}")
    yield from code


def _inner(model: type[schema.Entry], name: str, value: str) -> Iterator[str]:
    yield from _prose(f"{name}: {_about(model, name)}", indent=6)
    yield f"#     {name}: {value}"


def _more(model: type[schema.Entry]) -> Iterator[str]:
    """The keys of a mapping within an entry."""
    for field, info in model.model_fields.items():
        yield from _prose(f"{info.alias or field}: {info.description}", indent=10)


def _prose(text: str, indent: int = 1) -> Iterator[str]:
    lead = "##" + " " * indent
    yield from textwrap.wrap(
        text, _WIDE, initial_indent=lead, subsequent_indent=lead, break_on_hyphens=False
    )


def _quoted(text: str) -> str:
    """A printable text as a double-quoted scalar; JSON's escapes are YAML's as well."""
    return json.dumps(text, ensure_ascii=False)
