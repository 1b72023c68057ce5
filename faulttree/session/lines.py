"""One line of a session log: an envelope as JSON and back, strictly.

A line is one flat JSON object, so that any query engine reads a log as it is:

    {"format": 1, "sequence": 3, "at": "2026-03-09T08:15:00.000000Z", "who": "...",
     "kind": "reading", "test": "...", ..., "before": "<SHA-256 of the line before>"}

`before` of the first line is 64 noughts. A mapping is written as a list of `{"name", "value"}`
objects, in the order of the mapping, so that its keys stay values and never become columns. What is
read is checked against the fields of the event: a field too many, too few, or of the wrong type is
an error and not a guess. Files, and what follows from a bad line, are the work of `journal`.
"""

import dataclasses
import hashlib
import json
import math
import types
import typing
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any, Literal

from faulttree.session.events import KIND_OF, KINDS, Envelope

FORMAT = 1
"""The version of the lines this program writes, and the newest that it reads."""

NOTHING_BEFORE = "0" * 64
_ENVELOPE = ("format", "sequence", "at", "who", "kind", "before")

# Characters that steer a terminal or turn text about are written as escapes, so that a log can be
# looked at with any tool. They occur inside strings only, where the escape means the same.
_INVISIBLE = {
    code: f"\\u{code:04x}"
    for code in (
        *range(0x7F, 0xA0),
        *range(0x200B, 0x2010),
        *range(0x2028, 0x202F),
        *range(0x2066, 0x206A),
        0xFEFF,
    )
}


class LineError(ValueError):
    """A line that is not an entry of a session log."""


class NewerFormat(LineError):
    """A line that a newer version of this program wrote, and this one does not understand."""


def chain_of(line: bytes) -> str:
    """The SHA-256 of a line, without its line end."""
    return hashlib.sha256(line.rstrip(b"\n")).hexdigest()


def write_line(envelope: Envelope, before: str) -> bytes:
    """An envelope as a line with its line end; `before` is the chain of the line before it."""
    at = envelope.at
    if at.tzinfo is None:
        raise ValueError("the time of an event needs a time zone")
    event = envelope.event
    data: dict[str, object] = {
        "format": FORMAT,
        "sequence": envelope.sequence,
        "at": at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ"),
        "who": envelope.who,
        "kind": KIND_OF[type(event)],
    }
    for field in dataclasses.fields(event):
        # A withdrawal's own field is called `sequence` like the envelope's.
        data[_column(field.name)] = _plain(getattr(event, field.name))
    data["before"] = before
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(", ", ": "))
    # Half of a surrogate pair has no UTF-8; a paste from elsewhere may hold one.
    return text.translate(_INVISIBLE).encode("utf-8", "replace") + b"\n"


def read_line(line: bytes) -> tuple[Envelope, str]:
    """An envelope, with its chain, and the chain of the line before that it names.

    Raises LineError with what is wrong; NewerFormat when a newer program wrote the line.
    """
    try:
        text = line.decode("utf-8")
        data = json.loads(text, parse_constant=_no_constant, object_pairs_hook=_no_doubles)
    except UnicodeDecodeError:
        raise LineError("it is not UTF-8 text") from None
    except RecursionError:
        raise LineError("it is nested too deeply") from None
    except ValueError as trouble:
        raise LineError(f"it is not JSON ({trouble})") from None
    if not isinstance(data, dict):
        raise LineError("it is not a JSON object")
    version = data.get("format")
    if isinstance(version, int) and not isinstance(version, bool) and version > FORMAT:
        raise NewerFormat(
            f"it has format {version}, this program reads up to {FORMAT}: use a newer faulttree"
        )
    missing = [name for name in _ENVELOPE if name not in data]
    if missing:
        raise LineError(f"it has no {' and no '.join(missing)}")
    if version != FORMAT or isinstance(version, bool):
        raise LineError(f"its format is {version!r}")
    kind = data["kind"]
    if not isinstance(kind, str) or kind not in KINDS:
        raise NewerFormat(
            f"its kind {kind!r} is not known: a newer faulttree wrote it, or it is no session log"
        )
    event_type = KINDS[kind]
    types_of = _field_types(KINDS[kind])
    required = [
        field.name
        for field in dataclasses.fields(event_type)
        if field.default is dataclasses.MISSING and field.default_factory is dataclasses.MISSING
    ]
    columns = {_column(name): name for name in types_of}
    unknown = [name for name in data if name not in columns and name not in _ENVELOPE]
    if unknown:
        raise NewerFormat(
            f"the field {unknown[0]!r} of a `{kind}` is not known: a newer faulttree wrote it"
        )
    for name in required:
        if _column(name) not in data:
            raise LineError(f"the `{kind}` has no {_column(name)}")
    values = {
        name: _typed(data[column], types_of[name], column)
        for column, name in columns.items()
        if column in data
    }
    envelope = Envelope(
        sequence=_typed(data["sequence"], int, "sequence"),
        at=_time(_typed(data["at"], str, "at")),
        who=_typed(data["who"], str, "who"),
        event=event_type(**values),
        chain=chain_of(line),
    )
    return envelope, _typed(data["before"], str, "before")


def _column(field: str) -> str:
    """The name of an event's field in the line."""
    return "entry" if field == "sequence" else field


def _no_doubles(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        raise ValueError("a name stands twice")
    return found


def _no_constant(word: str) -> float:
    raise ValueError(f"{word} is no number")


def _time(text: str) -> datetime:
    try:
        at = datetime.strptime(text, "%Y-%m-%dT%H:%M:%S.%fZ")
    except ValueError:
        raise LineError(f"its time {text!r} is not like 2026-03-09T08:15:00.000000Z") from None
    return at.replace(tzinfo=UTC)


def _plain(value: object) -> object:
    """A field's value as plain JSON data."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: _plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return [{"name": key, "value": _plain(item)} for key, item in value.items()]
    if isinstance(value, tuple | list):
        return [_plain(item) for item in value]
    return value


def _field_types(cls: Any) -> dict[str, Any]:
    """The types of a dataclass's fields, resolved once: that costs more than reading a line."""
    if cls not in _FIELD_TYPES:
        _FIELD_TYPES[cls] = typing.get_type_hints(cls)
    return _FIELD_TYPES[cls]


_FIELD_TYPES: dict[Any, dict[str, Any]] = {}


def _typed(value: object, wanted: Any, where: str) -> Any:
    """A JSON value as the type that a field wants, or LineError."""
    origin = typing.get_origin(wanted)
    args = typing.get_args(wanted)
    if origin in (typing.Union, types.UnionType):
        for choice in args:
            try:
                return _typed(value, choice, where)
            except LineError:
                continue
    elif origin is Literal:
        if value in args and isinstance(value, str):
            return value
    elif origin is tuple and isinstance(value, list):
        return tuple(_typed(item, args[0], where) for item in value)
    elif origin is Mapping and isinstance(value, list):
        return _mapping(value, args[1], where)
    elif dataclasses.is_dataclass(wanted) and isinstance(value, dict):
        return _nested(value, wanted, where)
    elif wanted is type(None) and value is None:
        return None
    elif wanted is float and isinstance(value, int | float) and not isinstance(value, bool):
        number = _finite(value)
        if number is not None:
            return number
    elif wanted in (str, int, bool) and type(value) is wanted:
        return value
    raise LineError(f"its {where} cannot be {_short(value)}")


def _finite(value: float) -> float | None:
    """The number as a float, or None when it is too large to be one."""
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None


def _mapping(items: list[Any], wanted: Any, where: str) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for item in items:
        if not isinstance(item, dict) or set(item) != {"name", "value"}:
            raise LineError(f"its {where} is not a list of names and values")
        name = _typed(item["name"], str, where)
        if name in found:
            raise LineError(f"its {where} names {name!r} twice")
        found[name] = _typed(item["value"], wanted, where)
    return found


def _nested(value: dict[str, Any], wanted: Any, where: str) -> Any:
    types_of = _field_types(wanted)
    if set(value) != set(types_of):
        raise LineError(f"its {where} does not have the fields {', '.join(types_of)}")
    return wanted(**{name: _typed(value[name], types_of[name], where) for name in types_of})


def _short(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."
