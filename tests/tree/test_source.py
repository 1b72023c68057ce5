"""YAML comes in as plain data by the 1.2 core schema, with the place of everything."""

from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import assume, given
from hypothesis import strategies as st

from faulttree.tree.model import Place
from faulttree.tree.source import (
    MAX_BYTES,
    MAX_DEPTH,
    MOST_PROBLEMS,
    MapSpots,
    PurePythonParser,
    Source,
    parse_bytes,
    parse_text,
    read_source,
    read_top_level,
)

PARSERS = [pytest.param(None, id="fastest"), pytest.param(PurePythonParser, id="pure")]


def value_of(text: str) -> Any:
    """What a plain scalar resolves to."""
    source = parse_text(f"x: {text}\n")
    assert source.problems == ()
    return source.data["x"]


@pytest.mark.parametrize(
    ("text", "value"),
    [
        # YAML 1.2.2 (yaml.org/spec/1.2.2), example 10.9 "Core Tag Resolution" and its table.
        ("true", True),
        ("True", True),
        ("false", False),
        ("FALSE", False),
        ("0", 0),
        ("0o7", 7),
        ("0x3A", 58),
        ("-19", -19),
        ("0.", 0.0),
        ("-0.0", -0.0),
        (".5", 0.5),
        ("+12e03", 12000.0),
        ("-2E+05", -200000.0),
        # What YAML 1.1 makes something else of.
        ("yes", "yes"),
        ("no", "no"),
        ("on", "on"),
        ("off", "off"),
        ("y", "y"),
        ("N", "N"),
        ("12:30", "12:30"),
        ("1:2:3", "1:2:3"),
        ("010", 10),
        ("08", 8),
        ("1e3", 1000.0),
        ("1_000", "1_000"),
        ("0b11", "0b11"),
        ("2024-05-01", "2024-05-01"),
        ("2024-05-01 10:00:00", "2024-05-01 10:00:00"),
        ("=", "="),
        ("0.5.1", "0.5.1"),
        ("1,5", "1,5"),
        ("'12'", "12"),
        ('"true"', "true"),
        ("'~x'", "~x"),
        ("truer", "truer"),
        ("0x", "0x"),
    ],
)
def test_plain_words_resolve_by_the_core_schema(text: str, value: Any) -> None:
    """A scalar is what the YAML 1.2 core schema makes of it, in value and in type."""
    found = value_of(text)
    assert found == value
    assert type(found) is type(value)


@pytest.mark.parametrize("text", [".inf", "-.Inf", "+.INF", ".nan", ".NAN", "1e999", "9" * 17])
def test_numbers_that_cannot_be_used_are_refused_where_they_stand(text: str) -> None:
    """Infinities, not-a-number and numbers out of range are problems at their own place."""
    (problem,) = parse_text(f"a: 1\nbb: [2, {text}]\n", "f").problems
    assert (str(problem.place), problem.rule) == ("f:2:9", "number-not-finite")


@pytest.mark.parametrize("text", ["null", "Null", "NULL", "~", ""])
def test_null_is_refused_at_its_key(text: str) -> None:
    """No key may be left without a value, however that is written."""
    (problem,) = parse_text(f"a: 1\n  \nbb: {text}\n", "f").problems
    assert (str(problem.place), problem.rule) == ("f:3:1", "no-value")


@pytest.mark.parametrize("key", ["true", "12", "0x1F", "null", "1.50", "no", "2024-05-01"])
def test_keys_are_text_as_written(key: str) -> None:
    """A key is the word that stands there, so that a band called `no` keeps its name."""
    assert list(parse_text(f"{key}: 1\n").data) == [key]


@pytest.mark.parametrize("parser", PARSERS)
@pytest.mark.parametrize(
    ("text", "where", "rule"),
    [
        ("a:\n\tb: 1\n", "2:1", "yaml-syntax"),
        ("a:\n  b: 1\n\tc: 2\n", "3:1", "yaml-syntax"),
        ("a: b: c\n", "1:5", "yaml-syntax"),
        ("a: {b: 1\nc: 2\n", "2:2", "yaml-syntax"),
        ("a: [1 2}\n", "1:8", "yaml-syntax"),
        ("b: 1\na: 'abc\n", "2:4", "yaml-syntax"),
        ('a: "a\\qb"\n', "1:6", "yaml-syntax"),
        ("a:\n  b: 1\n c: 2\n", "3:2", "yaml-syntax"),
        ("a: 1\nb\nc: 2\n", "2:1", "yaml-syntax"),
        ("a: %x\n", "1:4", "yaml-syntax"),
        ("a: @x\n", "1:4", "yaml-syntax"),
        ("a: `x`\n", "1:4", "yaml-syntax"),
        ("a: |x\n  b\n", "1:5", "yaml-syntax"),
        ("a: [1,,2]\n", "1:7", "yaml-syntax"),
        ("a: 'it's'\n", "1:8", "yaml-syntax"),
        ("a:\n  b: 1\n  - c\n", "3:3", "yaml-syntax"),
        ("a:\n  - c\n  b: 1\n", "3:3", "yaml-syntax"),
        ("a: 1\n...\nb: 1\n", "3:1", "yaml-syntax"),
        ("%YAML 2.0\n---\na: 1\n", "1:1", "yaml-syntax"),
        ("a: b\x07c\n", "1:5", "yaml-syntax"),
        ("a: b\x00c\n", "1:5", "yaml-syntax"),
        ("a: b\x7fc\n", "1:5", "yaml-syntax"),
        ("é: '°C'\nb: x\x85y\n", "2:5", "yaml-syntax"),
        ("a: 1\n---\nb: 2\n", "2:1", "yaml-documents"),
        ("a: &x 1\n", "1:4", "yaml-alias"),
        ("a: *x\n", "1:4", "yaml-alias"),
        ("a: !x 1\n", "1:4", "yaml-tag"),
        ("a: !!int 1\n", "1:4", "yaml-tag"),
        ("? [a]\n: b\n", "1:3", "yaml-key"),
        ("{'': b}\n", "1:2", "yaml-key"),
        ("a: 1\nb: {<<: {c: 1}}\n", "2:5", "yaml-merge"),
        ("ä: {b: 1, ü: 2, b: 3}\n", "1:17", "duplicate-key"),
        ("a: 1\n'a': 2\n", "2:1", "duplicate-key"),
        ("", "1:1", "file-empty"),
        ("# a comment\n", "1:1", "file-empty"),
        ("a: " + "[" * 40 + "]" * 40 + "\n", f"1:{3 + MAX_DEPTH}", "yaml-too-deep"),
    ],
)
def test_what_is_wrong_is_placed_alike_by_both_parsers(
    text: str, where: str, rule: str, parser: Any
) -> None:
    """Each trap of YAML is one problem, at the character to look at, with and without libyaml."""
    problems = parse_text(text, "f", parser=parser).problems
    assert [(f"{p.place.line}:{p.place.column}", p.rule) for p in problems] == [(where, rule)]


def test_second_mention_of_a_key_names_the_first() -> None:
    """A key written twice is reported at the second place, with the first in the hint."""
    source = parse_text("a:\n  low: 1\n  high: 2\n  low: 3\n", "trees/x.yaml")
    (problem,) = source.problems
    assert str(problem.place) == "trees/x.yaml:4:3"
    assert problem.hint == "first written at trees/x.yaml:2:3"
    assert source.data == {"a": {"low": 1, "high": 2}}


def test_reading_goes_on_after_what_is_refused() -> None:
    """Problems that do not break the syntax are all collected, and the rest is still there."""
    source = parse_text("a: &x 1\nb: .inf\nc: 3\nc: 4\nd: {<<: {e: 1}, f: 5}\ng: *x\nh:\n")
    assert [p.rule for p in source.problems] == [
        "yaml-alias",
        "number-not-finite",
        "duplicate-key",
        "yaml-merge",
        "yaml-alias",
        "no-value",
    ]
    assert source.data["c"] == 3
    assert source.data["d"] == {"f": 5}


def test_file_full_of_problems_is_not_read_to_its_end() -> None:
    """A hostile file gives a bounded number of problems."""
    text = "a: &x [1]\nb: [" + ", ".join(["*x"] * 10_000) + "]\n"
    assert len(parse_text(text).problems) == MOST_PROBLEMS


def test_nested_aliases_cost_nothing() -> None:
    """A few lines that would unfold to a billion items are refused without unfolding."""
    lines = ["a0: &a0 [x, x, x, x, x, x, x, x, x, x]"]
    lines += [f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 10)}]" for n in range(1, 10)]
    source = parse_text("\n".join(lines))
    assert source.problems
    assert {problem.rule for problem in source.problems} == {"yaml-alias"}


def test_byte_order_mark_is_passed_over() -> None:
    """A UTF-8 file that starts with a byte order mark reads like one without."""
    source = parse_bytes(b"\xef\xbb\xbfa: 1\n", "f")
    assert (source.data, source.problems) == ({"a": 1}, ())
    assert source.place(("a",), key=True) == Place("f", 1, 1)


def test_place_of_a_bad_byte_counts_characters() -> None:
    """The column of a byte that is not UTF-8 counts the characters before it, not the bytes."""
    (problem,) = parse_bytes("a: 1\nb: °°".encode() + b"\xb0", "f").problems
    assert str(problem.place) == "f:2:6"


def test_file_beyond_all_bounds_is_refused() -> None:
    """A file that cannot be a tree for its size is refused before it is parsed."""
    (problem,) = parse_bytes(b"#" * (MAX_BYTES + 1), "f").problems
    assert problem.rule == "file-unreadable"


def test_missing_file_is_a_problem_and_no_exception(tmp_path: Path) -> None:
    """Reading a file that is not there gives a source with one problem and no data."""
    source = read_source(tmp_path / "none.yaml", "none.yaml")
    assert source.data is None
    assert [str(p.place) for p in source.problems] == ["none.yaml:1:1"]


SAMPLE = """\
format: 1
tests:
  prime:
    bands: [low, {spec: pressure, less: 4}, ok]
    points_to:
      pump: {low: 0.75}
    do: |
      Fit the gauge.
    tools:
    - gauge
    - {name: clamp}
"""


@pytest.mark.parametrize(
    ("path", "key", "where"),
    [
        ((), False, "1:1"),
        (("format",), False, "1:9"),
        (("format",), True, "1:1"),
        (("tests",), False, "3:3"),
        (("tests", "prime"), True, "3:3"),
        (("tests", "prime", "bands"), False, "4:12"),
        (("tests", "prime", "bands", 0), False, "4:13"),
        (("tests", "prime", "bands", 1), False, "4:18"),
        (("tests", "prime", "bands", 1, "less"), False, "4:41"),
        (("tests", "prime", "bands", 1, "less"), True, "4:35"),
        (("tests", "prime", "points_to", "pump", "low"), False, "6:19"),
        (("tests", "prime", "do"), False, "7:9"),
        (("tests", "prime", "tools", 1, "name"), False, "11:14"),
        # A validator's own labels among the steps are passed over.
        (("tests", "prime", "bands", 1, "<spec>", "less"), False, "4:41"),
        # What is not there is placed at its nearest ancestor.
        (("tests", "prime", "minutes"), False, "4:5"),
        (("tests", "prime", "minutes"), True, "3:3"),
        (("tests", "prime", "bands", 7), False, "4:12"),
        (("causes", "x", "name"), False, "1:1"),
    ],
)
def test_place_of_a_path(path: tuple[str | int, ...], key: bool, where: str) -> None:
    """Every path leads to its key or value, or else to the nearest ancestor that is there."""
    place = parse_text(SAMPLE, "f").place(path, key=key)
    assert f"{place.line}:{place.column}" == where


def test_top_level_is_read_no_further_than_needed(tmp_path: Path) -> None:
    """A few keys at the head of a file can be had although its end is broken."""
    path = tmp_path / "x.yaml"
    path.write_text("format: 1\ncomplaint: Stalls\ndriver_says: [dies]\nroute: {a: [}\n")
    assert read_top_level(path, ["complaint", "driver_says"]) == (
        {"complaint": "Stalls", "driver_says": ["dies"]},
        "",
    )
    found, problem = read_top_level(path, ["complaint", "road_test"])
    assert found == {"complaint": "Stalls"}
    assert problem.startswith("line 4: ")


# Properties. Keys and values are unique words, so that the text itself says where each one stands.


@st.composite
def documents(draw: st.DrawFn) -> tuple[Any, str]:
    """Nested data with unique keys and values, and YAML text for it in some layout."""
    count = 0

    def fresh(letter: str) -> str:
        nonlocal count
        count += 1
        return f"{letter}{count}_" + draw(
            st.sampled_from(["", "é", "°C x", "漢", "-", "\U0001f527"])
        )

    def node(depth: int) -> Any:
        kind = draw(st.sampled_from(["leaf", "map", "list"] if depth < 4 else ["leaf"]))
        if kind == "leaf":
            return fresh("v")
        size = draw(st.integers(1, 4))
        if kind == "map":
            return {fresh("k"): node(depth + 1) for _ in range(size)}
        return [node(depth + 1) for _ in range(size)]

    data = {fresh("k"): node(1) for _ in range(draw(st.integers(1, 4)))}
    text = yaml.safe_dump(
        data,
        default_flow_style=draw(st.sampled_from([True, False, None])),
        indent=draw(st.integers(2, 6)),
        width=draw(st.sampled_from([20, 80, 1000])),
        allow_unicode=True,
        default_style=draw(st.sampled_from([None, "'", '"'])),
        sort_keys=False,
    )
    return data, text


def expected_place(text: str, word: str) -> tuple[int, int]:
    """Line and column of a unique word in a text, of its quote where it has one."""
    at = text.index(word)
    if at and text[at - 1] in "'\"":
        at -= 1
    before = text[:at].split("\n")
    return len(before), len(before[-1]) + 1


def leaves(data: Any, path: tuple[str | int, ...] = ()) -> Any:
    """Every key and leaf of nested data with its path."""
    if isinstance(data, dict):
        for key, value in data.items():
            yield (*path, key), key, True
            yield from leaves(value, (*path, key))
    elif isinstance(data, list):
        for at, value in enumerate(data):
            yield from leaves(value, (*path, at))
    else:
        yield path, data, False


@pytest.mark.parametrize("parser", PARSERS)
@given(document=documents())
def test_every_key_and_value_is_placed_where_it_stands(
    parser: Any, document: tuple[Any, str]
) -> None:
    """In any nesting and any layout each key and value has its own line and column."""
    data, text = document
    source = parse_text(text, "f", parser=parser)
    assert source.problems == ()
    assert source.data == data
    for path, word, key in leaves(data):
        # What follows may be folded over lines or escaped; the start is unique in the text.
        unique = word.partition("_")[0] + "_"
        place = source.place(path, key=key)
        assert (place.line, place.column) == expected_place(text, unique), (path, text)


@given(st.text())
def test_no_text_makes_the_parser_fail(text: str) -> None:
    """Whatever a file holds, reading it gives data or problems, never an exception."""
    source = parse_text(text, "f")
    assert isinstance(source, Source)
    assert source.data is not None or source.problems
    for problem in source.problems:
        assert problem.place.line >= 1
        assert problem.place.column >= 1


@given(st.binary())
def test_no_bytes_make_the_reader_fail(raw: bytes) -> None:
    """Whatever bytes a file holds, reading it gives data or problems, never an exception."""
    source = parse_bytes(raw, "f")
    assert source.data is not None or source.problems


@given(st.text(alphabet="ab:-[]{}'\"#|> \n,1.", max_size=30))
def test_both_parsers_agree_on_what_both_can_read(text: str) -> None:
    """libyaml and the parser in Python find the same data at the same places.

    They differ in which broken text they refuse, so only text that both read is compared.
    """
    fast, pure = parse_text(text, "f"), parse_text(text, "f", parser=PurePythonParser)
    assume(not fast.problems and not pure.problems)
    assert fast.data == pure.data
    assert places(fast.spots) == places(pure.spots)


def places(spots: Any) -> Any:
    """A tree of places as something that can be compared."""
    if isinstance(spots, int):
        return spots
    if isinstance(spots, MapSpots):
        return (spots.at, spots.keys, {key: places(value) for key, value in spots.values.items()})
    return (spots.at, [places(item) for item in spots.items])
