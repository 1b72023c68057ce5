"""YAML as plain data with the place of every key and value, and nothing that surprises.

Plain words are resolved by the YAML 1.2 core schema: `yes`, `no`, `on` and `off` stay words,
`12:30` is text, `010` is ten, `1e3` a number, and there are no dates. What the format allows but a
shop lead cannot mean well is refused with its place: a key written twice, anchors and aliases,
merge keys, tags, a second document, infinities. A file that cannot be read on gives one problem;
everything else is collected. What the data means is left to `schema` and `load`.

Reading events and building here is three times as fast as PyYAML's own loader on top of libyaml,
and needs no recursion, so nesting cannot exhaust the stack.
"""

import importlib
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml
from yaml.events import (
    AliasEvent,
    DocumentStartEvent,
    MappingEndEvent,
    MappingStartEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
    StreamEndEvent,
)

from faulttree.tree.model import Place
from faulttree.tree.problem import Problem

MAX_DEPTH = 24
"""A tree file nests seven deep; anything far beyond that is a mistake or an attack."""

MAX_BYTES = 5_000_000
"""A file larger than this is not a tree: about fifteen times all the shipped trees together."""

MOST_PROBLEMS = 30
"""After so many problems of YAML itself a file is not read on."""

_COLUMN_BITS = 16


class MapSpots:
    """The places of a mapping: of itself, of each key, and of what stands under each key."""

    __slots__ = ("at", "keys", "values")

    def __init__(self, at: int) -> None:
        self.at = at
        self.keys: dict[str, int] = {}
        self.values: dict[str, Spots] = {}


class ListSpots:
    """The places of a list: of itself and of each item."""

    __slots__ = ("at", "items")

    def __init__(self, at: int) -> None:
        self.at = at
        self.items: list[Spots] = []


Spots = int | MapSpots | ListSpots
"""Where a value stands: line and column packed in an int, or a tree of them."""


@dataclass(frozen=True, slots=True)
class Source:
    """One file as read: its text, its plain data, where everything stands, and what is wrong.

    `data` is None when the file could not be parsed at all.
    """

    file: str
    text: str
    data: Any
    spots: Spots
    problems: tuple[Problem, ...] = ()

    def place(self, path: Sequence[str | int] = (), *, key: bool = False) -> Place:
        """Where the value at `path` stands, or its nearest ancestor that is there.

        With `key`, where the last key of the path is written. Steps that lead nowhere are passed
        over, so that the labels a validator puts among them do no harm.
        """
        here = self.spots
        at = here if isinstance(here, int) else here.at
        for step in path:
            if isinstance(here, MapSpots) and step in here.keys:
                at = here.keys[str(step)]
                here = here.values[str(step)]
            elif isinstance(here, ListSpots) and isinstance(step, int):
                if not -len(here.items) <= step < len(here.items):
                    continue
                here = here.items[step]
                at = here if isinstance(here, int) else here.at
            else:
                continue
            if not key:
                at = here if isinstance(here, int) else here.at
        return self._unpack(at)

    def _unpack(self, at: int) -> Place:
        return Place(self.file, (at >> _COLUMN_BITS) + 1, (at & ((1 << _COLUMN_BITS) - 1)) + 1)


def read_source(path: Path | str, file: str | None = None) -> Source:
    """Read one YAML file; `file` is the name to show for it where that is not `path`.

    Never raises for what is in the file: see `problems`. A file that is not there, or that may
    not be read, is a problem of its own.
    """
    name = file if file is not None else str(path)
    try:
        raw = Path(path).read_bytes()
    except OSError as error:
        why = error.strerror or type(error).__name__
        return _unreadable(name, "", f"cannot read the file: {why}", "", "file-unreadable")
    return parse_bytes(raw, name)


def parse_bytes(raw: bytes, file: str) -> Source:
    """Like `parse_text`, for the bytes of a file: refuses what is too large or not UTF-8."""
    if len(raw) > MAX_BYTES:
        message = f"the file holds {len(raw):,} bytes, more than {MAX_BYTES:,}"
        return _unreadable(file, "", message, "is it a tree at all?", "file-unreadable")
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        message = "the file is UTF-16, not UTF-8"
        return _unreadable(file, "", message, "save it as UTF-8", "not-utf-8")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = raw[: error.start].decode("utf-8", "replace").removeprefix("\ufeff")
        message = f"the byte 0x{raw[error.start]:02X} is not UTF-8"
        place = _place_after(file, before)
        problem = Problem(place, message, "save the file as UTF-8", "not-utf-8")
        return Source(file, raw.decode("utf-8", "replace"), None, 0, (problem,))
    return parse_text(text, file)


def parse_text(text: str, file: str = "<text>", *, parser: Any = None) -> Source:
    """Parse YAML text; `parser` is a PyYAML event parser, by default libyaml's if it is there."""
    for odd in _ODD_BREAKS:
        if odd in text:
            message = f"a line break of another kind (U+{ord(odd):04X})"
            place = _place_after(file, text[: text.index(odd)])
            hint = "delete it and press Enter instead"
            return Source(file, text, None, 0, (Problem(place, message, hint, "yaml-syntax"),))
    composer = _Composer(file)
    try:
        composer.run((parser or _default_parser())(text))
    except yaml.reader.ReaderError:
        bad = _NOT_PRINTABLE.search(text)
        place = _place_after(file, text[: bad.start()]) if bad else Place(file, 1, 1)
        code = f" (U+{ord(bad.group()):04X})" if bad else ""
        problem = Problem(place, f"a control character{code}", "delete it", "yaml-syntax")
        return Source(file, text, None, 0, (*composer.problems, problem))
    except yaml.MarkedYAMLError as error:
        problem = _syntax_problem(error, text, file)
        return Source(file, text, None, 0, (*composer.problems, problem))
    except _NotReadOn:
        return Source(file, text, None, 0, tuple(composer.problems))
    if composer.root is _NOTHING:
        if not composer.problems:
            return _unreadable(file, text, "the file is empty", "", "file-empty")
        return Source(file, text, None, 0, tuple(composer.problems))
    return Source(file, text, composer.root, composer.root_spots, tuple(composer.problems))


def read_top_level(path: Path | str, wanted: Sequence[str]) -> tuple[dict[str, Any], str]:
    """The values of a few top-level keys, reading no further into the file than they need.

    Returns what was found and, in words, what stopped the reading short, or "".
    """
    composer = _Composer(str(path), stop_when=frozenset(wanted))
    text, problem = "", ""
    try:
        raw = Path(path).read_bytes()
        if len(raw) > MAX_BYTES:
            return {}, "the file is too large"
        text = raw.decode("utf-8-sig")
        composer.run(_default_parser()(text))
    except OSError as error:
        problem = error.strerror or type(error).__name__
    except UnicodeDecodeError:
        problem = "the file is not UTF-8"
    except yaml.reader.ReaderError:
        problem = "the file holds a control character"
    except yaml.MarkedYAMLError as error:
        found = _syntax_problem(error, text, str(path))
        problem = f"line {found.place.line}: {found.message}"
    except _NotReadOn:
        problem = composer.problems[-1].message
    return {key: composer.first[key] for key in wanted if key in composer.first}, problem


# Reading events into data


class _NotReadOn(Exception):
    """Too deep, or too much wrong: reading on is no use, and the problems are recorded."""


_NOTHING: Any = object()
_SKIP: Any = object()


@dataclass(slots=True)
class _Composer:
    """Builds plain data and its places from parser events; the state is one node stack."""

    file: str
    problems: list[Problem] = field(default_factory=list)
    root: Any = _NOTHING
    root_spots: Spots = 0
    stop_when: frozenset[str] | None = None
    first: dict[str, Any] = field(default_factory=dict)

    def run(self, parser: Any) -> None:
        """Read every event of the first document; the rest of the stream is refused."""
        stack: list[tuple[Any, Any, Any]] = []
        data: Any = None
        spots: Any = None
        key: Any = None  # the key waiting for its value, None when the next node is a key
        documents = 0
        get_event = parser.get_event
        while True:
            event = get_event()
            kind = type(event)
            if kind is ScalarEvent:
                mark = event.start_mark
                at = (mark.line << _COLUMN_BITS) | min(mark.column, 0xFFFF)
                if event.anchor is not None or event.tag is not None:
                    self._odd_node(event, at)
                if type(data) is dict and key is None:
                    key = self._key(event, at, data, spots)
                    continue
                node = event.value
                if not event.style and event.tag is None:
                    node = self._resolve(node, at)
                    if node is None and key is not _SKIP:
                        self._no_value(event, at, key, spots)
                child: Spots = at
            elif kind is MappingStartEvent or kind is SequenceStartEvent:
                mark = event.start_mark
                at = (mark.line << _COLUMN_BITS) | min(mark.column, 0xFFFF)
                if event.anchor is not None or event.tag is not None:
                    self._odd_node(event, at)
                if type(data) is dict and key is None:
                    self._report(at, "a key must be a word", "", "yaml-key")
                if len(stack) >= MAX_DEPTH:
                    self._report(at, f"more than {MAX_DEPTH} levels deep", "", "yaml-too-deep")
                    raise _NotReadOn
                stack.append((data, spots, key))
                key = None
                if kind is MappingStartEvent:
                    data, spots = {}, MapSpots(at)
                    if len(stack) == 1:
                        self.first = data
                else:
                    data, spots = [], ListSpots(at)
                continue
            elif kind is MappingEndEvent or kind is SequenceEndEvent:
                node, child = data, spots
                data, spots, key = stack.pop()
            elif kind is AliasEvent:
                mark = event.start_mark
                at = (mark.line << _COLUMN_BITS) | min(mark.column, 0xFFFF)
                hint = "write the value out, or put quotes around text that starts with *"
                self._report(
                    at, f"aliases such as *{event.anchor} are not used", hint, "yaml-alias"
                )
                if type(data) is dict and key is None:
                    key = _SKIP
                    continue
                node, child = _SKIP, at
            elif kind is DocumentStartEvent:
                documents += 1
                if documents > 1:
                    mark = event.start_mark
                    at = (mark.line << _COLUMN_BITS) | mark.column
                    hint = "keep one document to a file"
                    self._report(at, "a second document starts here", hint, "yaml-documents")
                    return
                continue
            elif kind is StreamEndEvent or event is None:
                return
            else:
                continue
            if type(data) is dict:
                if key is None:
                    key = _SKIP  # a list or mapping as a key, reported when it began
                    continue
                if key is not _SKIP and node is not _SKIP:
                    data[key] = node
                    spots.values[key] = child
                    if self.stop_when and len(stack) == 1 and self.stop_when <= data.keys():
                        return
                elif key is not _SKIP:
                    del spots.keys[key]
                key = None
            elif data is None:
                if node is not _SKIP:
                    self.root, self.root_spots = node, child
            elif node is not _SKIP:
                data.append(node)
                spots.items.append(child)

    def _report(self, at: int, message: str, hint: str, rule: str) -> None:
        column = (at & ((1 << _COLUMN_BITS) - 1)) + 1
        place = Place(self.file, (at >> _COLUMN_BITS) + 1, column)
        self.problems.append(Problem(place, message, hint, rule))
        if len(self.problems) >= MOST_PROBLEMS:
            raise _NotReadOn

    def _key(self, event: ScalarEvent, at: int, data: dict[str, Any], spots: MapSpots) -> Any:
        """The text of a key, or _SKIP for one whose value must not be kept."""
        key: str = event.value
        if key == "<<" and not event.style:
            hint = "write the keys out in full"
            self._report(at, "merge keys (<<) are not used", hint, "yaml-merge")
            return _SKIP
        if not key:
            self._report(at, "a key is missing before the colon", "", "yaml-key")
            return _SKIP
        if key in spots.keys:
            first = spots.keys[key]
            line = (first >> _COLUMN_BITS) + 1
            column = (first & ((1 << _COLUMN_BITS) - 1)) + 1
            hint = f"first written at {self.file}:{line}:{column}"
            self._report(at, f"`{key}` is written twice", hint, "duplicate-key")
            return _SKIP
        spots.keys[key] = at
        return key

    def _no_value(self, event: ScalarEvent, at: int, key: Any, spots: Any) -> None:
        """Report a value left empty, or `null`: nothing in these files may be one."""
        if key is None:
            self._report(at, "an item has no value", "", "no-value")
            return
        hint = "write a value, or take the line out"
        if ":" in key:
            hint = "put a space after the colon"
        elif event.value:
            hint = f'write "{event.value}" in quotes if the word is meant'
        self._report(spots.keys[key], f"`{key}` has no value", hint, "no-value")

    def _odd_node(self, event: Any, at: int) -> None:
        if event.anchor is not None:
            hint = "leave it out, or put quotes around text that starts with &"
            self._report(at, f"anchors such as &{event.anchor} are not used", hint, "yaml-alias")
        if event.tag is not None:
            hint = "leave it out, or put quotes around text that starts with !"
            tag = event.tag.replace("tag:yaml.org,2002:", "!!")
            self._report(at, f"tags such as {tag} are not used", hint, "yaml-tag")

    def _resolve(self, text: str, at: int) -> Any:
        """A plain scalar by the YAML 1.2 core schema (YAML 1.2.2, section 10.3.2)."""
        if not text:
            return None
        if text[0] not in _FIRST:
            return text
        if text in _WORDS:
            return _WORDS[text]
        if _INTEGER.fullmatch(text):
            if len(text) <= 16:
                return int(text, 10)
            return self._beyond(text, at)
        if _FLOAT.fullmatch(text):
            number = float(text)
            if number - number != 0:
                return self._beyond(text, at)
            return number
        if _OCTAL_OR_HEX.fullmatch(text) and len(text) <= 14:
            return int(text[2:], 8 if text[1] == "o" else 16)
        if _NOT_FINITE.fullmatch(text):
            self._report(at, f"{text} is not a number that can be used", "", "number-not-finite")
            return 0.0
        return text

    def _beyond(self, text: str, at: int) -> float:
        short = text if len(text) <= 20 else f"{text[:17]}..."
        self._report(at, f"{short} is too large a number", "", "number-not-finite")
        return 0.0


_WORDS: dict[str, bool | None] = {
    **dict.fromkeys(("~", "null", "Null", "NULL")),
    **dict.fromkeys(("true", "True", "TRUE"), True),
    **dict.fromkeys(("false", "False", "FALSE"), False),
}
_FIRST = frozenset("-+.0123456789~nNtTfF")
_INTEGER = re.compile(r"[-+]?[0-9]+")
_OCTAL_OR_HEX = re.compile(r"0o[0-7]+|0x[0-9a-fA-F]+")
_FLOAT = re.compile(r"[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?")
_NOT_FINITE = re.compile(r"[-+]?\.(?:inf|Inf|INF)|\.(?:nan|NaN|NAN)")

# libyaml counts these as line breaks (YAML 1.1), editors do not: every place after one is wrong.
_ODD_BREAKS = ("\x85", "\u2028", "\u2029")
_NOT_PRINTABLE = re.compile(
    "[^\t\n\r\x20-\x7e\xa0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]|(?!^)\ufeff"
)


def _default_parser() -> Any:
    """libyaml's event parser where PyYAML was built with it, else the one in Python."""
    if yaml.__with_libyaml__:
        return importlib.import_module("yaml.cyaml").CParser
    return PurePythonParser


class PurePythonParser(yaml.reader.Reader, yaml.scanner.Scanner, yaml.parser.Parser):
    """PyYAML's event parser in plain Python, for machines without libyaml."""

    def __init__(self, text: str) -> None:
        yaml.reader.Reader.__init__(self, text)
        yaml.scanner.Scanner.__init__(self)
        yaml.parser.Parser.__init__(self)


# What the parser says, in plain words


def _syntax_problem(error: yaml.MarkedYAMLError, text: str, file: str) -> Problem:
    """A parser's complaint at the place where the reader of the file should look."""
    said = error.problem or ""
    mark, context = error.problem_mark, error.context_mark
    at = mark or context
    place = Place(file, at.line + 1, at.column + 1) if at else Place(file, 1, 1)
    began = f"{file}:{context.line + 1}:{context.column + 1}" if context else ""
    character = _character(text, place)

    def problem(message: str, hint: str = "", where: Place = place) -> Problem:
        return Problem(where, message, hint, "yaml-syntax")

    if "tab character" in said or character == "\t":
        return problem("a tab in the indentation", "indent with spaces")
    if "cannot start any token" in said:
        return problem(f"text cannot start with {character}", "put the text in quotes")
    if "mapping values are not allowed" in said:
        hint = "put text that holds a colon in quotes, or check the indentation"
        return problem("a colon where no key can stand", hint)
    if "could not find expected ':'" in said and context:
        start = Place(file, context.line + 1, context.column + 1)
        return problem("a key without a colon", "write `key: value`", start)
    if "',' or" in said:
        bracket = "]" if "']'" in said else "}"
        hint = f"for the bracket opened at {began}"
        return problem(f"a comma or a closing {bracket} is missing before this", hint)
    if "end of stream" in said and context:
        start = Place(file, context.line + 1, context.column + 1)
        return problem("a quote is opened and never closed", "close it with the same sign", start)
    if "unknown escape character" in said:
        where = place if character == "\\" else Place(file, place.line, place.column - 1)
        hint = "use single quotes, or write the backslash twice"
        return problem("a backslash that means nothing here", hint, where)
    if "node content" in said:
        return problem("a value is missing before this", "write it, or take the comma out")
    if "comment or line break" in said or "chomping or indentation" in said:
        return problem(
            "text after | or > must start on the next line", "press Enter after the sign"
        )
    if "'-' indicator" in said or "parsing a block collection" in (error.context or ""):
        return problem("a list item must start with -", f"for the list begun at {began}")
    if "expected key" in said or "<block end>" in said:
        hint = "check the indentation and the quotes of the lines before it"
        return problem("this does not fit in here", hint)
    if "document start" in said:
        return problem("text after the end of the document", "take the line with ... out")
    if "undefined alias" in said:
        return problem("aliases are not used", "write the value out")
    return problem(said or "this is not YAML")


def _character(text: str, place: Place) -> str:
    lines = re.split(r"\r\n|\n|\r", text)
    if place.line <= len(lines) and place.column <= len(lines[place.line - 1]):
        return lines[place.line - 1][place.column - 1]
    return ""


def _place_after(file: str, before: str) -> Place:
    lines = re.split(r"\r\n|\n|\r", before)
    return Place(file, len(lines), len(lines[-1]) + 1)


def _unreadable(file: str, text: str, message: str, hint: str, rule: str) -> Source:
    return Source(file, text, None, 0, (Problem(Place(file, 1, 1), message, hint, rule),))
