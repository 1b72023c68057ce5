"""A Knowledge as plain JSON data, and back: what is kept beside a session, years on.

The form follows the dataclasses of `model`: a value that is the default is left out, a tuple is a
list, and what carries an id stands in a list in its own order, so that sorting the keys loses
nothing. Places are left out: the same content has the same digest wherever its files lay.
"""

import dataclasses
import functools
import hashlib
import json
import types
import typing
from collections.abc import Mapping
from typing import Any

from faulttree.tree import model
from faulttree.tree.model import Knowledge, Place
from faulttree.tree.problem import Problem, TreeError

FORMAT = 1
_SECTIONS: dict[str, type] = {
    "trees": model.Tree,
    "causes": model.Cause,
    "tests": model.Test,
    "specs": model.Spec,
    "instruments": model.Instrument,
    "cautions": model.Caution,
    "vehicles": model.Vehicle,
}


def to_document(knowledge: Knowledge) -> dict[str, object]:
    """The content of a Knowledge as plain JSON data."""
    document: dict[str, object] = {"format": FORMAT}
    for section in _SECTIONS:
        document[section] = [_plain(value) for value in getattr(knowledge, section).values()]
    return document


def digest_of(document: Mapping[str, object]) -> str:
    """The SHA-256, in hex, of a document as canonical JSON: sorted keys, no spaces."""
    text = json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def with_document(knowledge: Knowledge) -> Knowledge:
    """The same Knowledge with its document and digest filled in."""
    document = to_document(knowledge)
    return dataclasses.replace(knowledge, document=document, digest=digest_of(document))


def from_document(data: Mapping[str, object], name: str = "<document>") -> Knowledge:
    """Build the Knowledge again from its document.

    Raises TreeError when the data is not such a document; `name` is what the message calls it.
    """
    if data.get("format") != FORMAT:
        raise _broken(name, f"the document's format is {data.get('format')!r}, not {FORMAT}")
    sections: dict[str, Any] = {}
    for section, kind in _SECTIONS.items():
        rows = data.get(section)
        if not isinstance(rows, list):
            raise _broken(name, f"the document has no list of {section}")
        try:
            made = [_build(kind, row) for row in rows]
        except (TypeError, ValueError, KeyError, AttributeError) as error:
            raise _broken(name, f"the document's {section} cannot be read: {error}") from error
        sections[section] = {value.id: value for value in made}
    return with_document(Knowledge(**sections))


def _broken(name: str, message: str) -> TreeError:
    return TreeError([Problem(Place(name, 1, 1), message, "", "document")])


def _plain(value: Any) -> Any:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        made = {}
        for field in _fields(type(value)):
            content = getattr(value, field.name)
            if content != _default(field):
                made[field.name] = _plain(content)
        return made
    if isinstance(value, Mapping):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    return value


@functools.cache
def _fields(kind: type) -> tuple[dataclasses.Field[Any], ...]:
    return tuple(field for field in dataclasses.fields(kind) if field.name != "place")


def _default(field: dataclasses.Field[Any]) -> Any:
    if field.default_factory is not dataclasses.MISSING:
        return field.default_factory()
    return field.default


@functools.cache
def _hints(kind: type) -> dict[str, Any]:
    return typing.get_type_hints(kind)


def _build(kind: Any, data: Any) -> Any:
    """A value of a type that `model` uses, from its plain form; raises TypeError otherwise."""
    if dataclasses.is_dataclass(kind) and isinstance(kind, type):
        if not isinstance(data, Mapping):
            raise TypeError(f"{data!r} is not a mapping")
        known = {field.name for field in _fields(kind)}
        if odd := data.keys() - known:
            raise TypeError(f"unknown key {min(odd)!r}")
        hints = _hints(kind)
        return kind(**{key: _build(hints[key], item) for key, item in data.items()})
    origin, arguments = typing.get_origin(kind), typing.get_args(kind)
    if origin in (typing.Union, types.UnionType):
        return _build_union(arguments, data)
    if origin is tuple:
        if not isinstance(data, list):
            raise TypeError(f"{data!r} is not a list")
        if arguments[-1] is not Ellipsis:
            return tuple(_build(one, item) for one, item in zip(arguments, data, strict=True))
        return tuple(_build(arguments[0], item) for item in data)
    if origin is not None and issubclass(_class_of(origin), Mapping):
        if not isinstance(data, Mapping):
            raise TypeError(f"{data!r} is not a mapping")
        return {str(key): _build(arguments[1], item) for key, item in data.items()}
    if origin is typing.Literal:
        if data not in arguments:
            raise TypeError(f"{data!r} is not one of {arguments}")
        return data
    if kind is float and isinstance(data, int | float) and not isinstance(data, bool):
        return float(data)
    if kind in (str, int, bool) and type(data) is kind:
        return data
    raise TypeError(f"{data!r} does not fit")


def _class_of(origin: Any) -> type:
    return origin if isinstance(origin, type) else object


def _build_union(kinds: tuple[Any, ...], data: Any) -> Any:
    if data is None and type(None) in kinds:
        return None
    for kind in kinds:
        if kind is type(None):
            continue
        try:
            return _build(kind, data)
        except (TypeError, ValueError):
            continue
    raise TypeError(f"{data!r} does not fit")
