"""Drawings of a route: they hold what the graph holds, and no name gains power in any format."""

import itertools
import re
import shutil
import subprocess
import xml.etree.ElementTree as ElementTree
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import networkx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from faulttree.cli import main
from faulttree.tree.car import describe_car
from faulttree.tree.draw import (
    FORMATS,
    as_dot,
    as_mermaid,
    as_tree,
    dot_text,
    mermaid_text,
)
from faulttree.tree.graph import NodeId, RouteStep, next_on_route, route_edges
from faulttree.tree.load import load, load_all
from faulttree.tree.model import Knowledge
from faulttree.tree.outline import NEXT, PASSED, READ, TEST, Outline, Step, outline
from faulttree.tree.picture import as_svg, svg_text
from faulttree.tree.places import shipped
from faulttree.tree.problem import visible

SVG = "{http://www.w3.org/2000/svg}"
HOSTILE = [
    '"]; click n0 "javascript:alert(1)"; n0["',
    "</text><script>alert(1)</script>&amp;",
    "\x1b[31mred\x1b[0m\x07 \u202eturned\x9b2J",
    "back\\slash\\N \\",
    "%%{init: {'theme': 'dark'}}%% #quot; #35;",
    "a\nb\r\n    n0 --> n9",
    "`**bold**` <b>b</b> <!-- --> ]]> {{x}} |y|",
    "\ud7ff\ufffe\ufdd0 ﷺ",
    "end",
    "end; subgraph x [y] (z)",
    "漢字 ünïcode עברית \N{AUTOMOBILE} x\u0302",
    "1. list o---o x--x $$x^2$$ fa:fa-car",
]

DOT = re.compile(
    r"""(?xm)
    ^digraph\ route\ \{\n
    \s*label="(?:[^"\\\n]|\\\\|\\")*";\ labelloc=t;\ fontname="sans-serif";\n
    \s*node\ \[shape=box,\ fontname="sans-serif"\];\ edge\ \[fontname="sans-serif"\];\n
    (?:\s*n\d+\ \[label="(?:[^"\\\n]|\\\\|\\")*"(?:,\ style=rounded)?(?:,\ penwidth=3)?\];\n)+
    (?:\s*n\d+\ ->\ n\d+\ \[label="(?:[^"\\\n]|\\\\|\\")*"(?:,\ penwidth=3)?\];\n)*
    \}\n\Z"""
)
LABEL = r'"(?:[●○◌▶■] ?)*(?:\w|[ ,]|\#\d+;)*"'
MERMAID = re.compile(
    rf"""(?xm)
    \Aflowchart\ TD\n
    \ {{4}}start\{{\{{{LABEL}\}}\}}\n
    (?:\ {{4}}n\d+(?:\[{LABEL}\]|\(\[{LABEL}\]\))\n)+
    \ {{4}}start\ (?:==>|-->)\ n\d+\n
    (?:\ {{4}}n\d+\ (?:==>|-->)\|{LABEL}\|\ n\d+\n)*
    (?:\ {{4}}classDef\ walked\ stroke-width:4px\n\ {{4}}class\ n\d+(?:,n\d+)*\ walked\n)?
    \Z"""
)


@pytest.fixture(scope="module")
def shop() -> Knowledge:
    """The trees that come with the program."""
    return load_all(shipped("trees"))


def walk(knowledge: Knowledge, tree: str, readings: dict[str, str]) -> RouteStep:
    """The way through a tree on a car of which nothing is known."""
    return next_on_route(knowledge, tree, readings, describe_car(knowledge))


def renamed(made: Outline, text: str) -> Outline:
    """The same route with a text for its complaint, for every name and for every band."""
    return replace(
        made,
        title=text,
        names=dict.fromkeys(made.names, text),
        steps=tuple(replace(step, bands=(text,)) for step in made.steps),
        never=(text,),
    )


def test_outline_holds_every_step_of_every_shipped_route(shop: Knowledge) -> None:
    """Every band of every test that is reached leads in the drawing where it leads in the route."""
    for tree in shop.trees.values():
        made = outline(shop, tree.id)
        drawn = {(s.start[1], band, s.end[1]) for s in made.steps for band in s.bands}
        assert drawn == set(route_edges(tree))
        assert not made.never
        assert not any(step.back for step in made.steps)
        for step in made.steps:
            assert made.depths[step.start] < made.depths[step.end]


@pytest.mark.parametrize("way", FORMATS)
def test_every_shipped_route_can_be_drawn(shop: Knowledge, way: str) -> None:
    """Every format draws every shipped tree, and names each test and cause of it."""
    escaped = {"tree": str, "mermaid": mermaid_text, "dot": lambda t: dot_text(t)[1:-1]}
    for tree in shop.trees:
        made = outline(shop, tree)
        text = FORMATS[way](made)
        for name in made.names.values():
            assert escaped.get(way, svg_text)(name) in text


def test_small_route_as_a_tree(shelf: Path) -> None:
    """What is expected leads straight down, what is not to the side; a number leads on."""
    path = shelf / "engine-stalls.yaml"
    text = path.read_text().replace(
        "idle-watch: {hunting: fuel-pressure-prime}",
        "idle-watch: {hunting: fuel-pressure-prime, steady: idle-speed}\n"
        "  idle-speed: {otherwise: fuel-pressure-prime}",
    )
    path.write_text(text)
    assert as_tree(outline(load_all(shelf), "engine-stalls")) == (
        "The engine stalls\n"
        "(○ test, ■ cause to repair, → see that number)\n"
        "\n"
        "○ 1 Watch the idle\n"
        "├─ hunting: → ○ 3 Fuel pressure, ignition on\n"
        "│ steady\n"
        "○ 2 Idle speed\n"
        "│ otherwise\n"
        "○ 3 Fuel pressure, ignition on\n"
        "├─ low: ■ Weak fuel pump\n"
        "└─ high: ■ Regulator high\n"
    )


def test_walked_way_is_marked_without_colour(shelf: Path) -> None:
    """What was read, the way taken and what is next are told by signs and by the weight of lines.

    No format uses any colour but black and white.
    """
    knowledge = load(["engine-stalls"], trees_dir=shelf)
    way = walk(knowledge, "engine-stalls", {"idle-watch": "hunting"})
    made = outline(knowledge, "engine-stalls", [way])
    assert made.signs["test", "idle-watch"] == READ
    assert made.signs["test", "fuel-pressure-prime"] == NEXT
    assert [step.walked for step in made.steps] == [True, False, False]
    assert "┗━ hunting: ▶ 2 Fuel pressure, ignition on\n   ├─ low: ■ Weak" in as_tree(made)
    assert as_mermaid(made).count("==>") == 2
    assert as_dot(made).count('-> n1 [label="hunting", penwidth=3]') == 1
    colours = set(re.findall(r'(?:fill|stroke)="(\w+)"', as_svg(made)))
    assert colours == {"none", "black", "white"}
    wide = [
        w for w in ElementTree.fromstring(as_svg(made)).iter() if w.get("stroke-width") == "3.5"
    ]
    assert len(wide) == 3


def test_way_through_otherwise_and_past_a_test_is_marked(shop: Knowledge) -> None:
    """A band that the route does not name is walked by `otherwise`; a test gone by has a sign."""
    way = walk(shop, "idle-unsteady", {"idle-watch": "hunting"})
    skipped = next_on_route(
        shop, "idle-unsteady", {"idle-watch": "hunting"}, describe_car(shop), {way.id}
    )
    made = outline(shop, "idle-unsteady", [skipped])
    assert made.signs["test", way.id] == PASSED
    gone = [(s.start[1], s.bands) for s in made.steps if s.walked]
    assert [start for start, _ in gone][:2] == ["idle-watch", way.id]
    assert len(gone) == len(skipped.path)


def test_cause_that_is_next_and_cause_that_was_repaired_differ(shelf: Path) -> None:
    """The cause where the way ends now is next; one that an earlier way led to is not."""
    knowledge = load(["engine-stalls"], trees_dir=shelf)
    low = walk(knowledge, "engine-stalls", {"idle-watch": "hunting", "fuel-pressure-prime": "low"})
    now = walk(knowledge, "engine-stalls", {})
    assert outline(knowledge, "engine-stalls", [low]).signs["cause", "fuel-pump-weak"] == "▶ ■"
    later = outline(knowledge, "engine-stalls", [low, now])
    assert later.signs["cause", "fuel-pump-weak"] == READ
    assert later.signs["test", "idle-watch"] == READ


def test_loops_and_tests_out_of_reach_are_drawn_all_the_same(shelf: Path) -> None:
    """A route that comes back to a test ends the drawing there, and what is never reached is told.

    Neither can be walked, but a drawing is how they are found.
    """
    path = shelf / "engine-stalls.yaml"
    route = "  idle-watch: {otherwise: idle-watch}\n  idle-speed: {high: regulator-high}\n"
    text = re.sub(r"(?s)route:\n.*?road_test", f"route:\n{route}road_test", path.read_text())
    path.write_text(text)
    made = outline(load_all(shelf), "engine-stalls")
    assert [step.back for step in made.steps] == [True]
    assert as_tree(made).endswith(
        "└─ otherwise: → ○ 1 Watch the idle\n\nNever reached: Idle speed\n"
    )
    assert "stroke-dasharray" in as_svg(made)
    assert DOT.match(as_dot(made))
    assert MERMAID.match(as_mermaid(made))


def test_no_nesting_is_too_deep() -> None:
    """A route that leads to the side again and again is drawn to its end."""
    nodes: list[NodeId] = [("test", f"t{at}") for at in range(1200)]
    made = Outline(
        title="t",
        first=nodes[0],
        names={node: node[1] for node in nodes},
        signs=dict.fromkeys(nodes, TEST),
        depths={node: at for at, node in enumerate(nodes)},
        steps=tuple(Step(one, other, ("low",)) for one, other in itertools.pairwise(nodes)),
        ahead={},
    )
    assert as_tree(made).rstrip().endswith("└─ low: ○ 1200 t1199")


@pytest.mark.parametrize("text", HOSTILE)
def test_no_name_gains_power_in_any_format(shelf: Path, text: str) -> None:
    """Whatever stands in a name, each format keeps its own grammar and the number of its lines."""
    made = outline(load(["engine-stalls"], trees_dir=shelf), "engine-stalls")
    bad = renamed(made, text)
    assert_harmless(made, bad)


@settings(max_examples=60, deadline=None)
@given(text=st.text(max_size=60))
def test_no_text_at_all_gains_power(text: str) -> None:
    """The same for any text there is."""
    nodes = [("test", "a"), ("cause", "b")]
    made = Outline(
        title="t",
        first=("test", "a"),
        names={("test", "a"): "a", ("cause", "b"): "b"},
        signs={("test", "a"): TEST, ("cause", "b"): "■"},
        depths={("test", "a"): 0, ("cause", "b"): 1},
        steps=(),
        ahead={},
    )
    assert list(made.names) == nodes
    assert_harmless(replace(made, never=("x",)), renamed(made, text))


def assert_harmless(made: Outline, bad: Outline) -> None:
    """Each format of a renamed outline has the shape of the plain one."""
    tree = as_tree(bad)
    assert tree.count("\n") == as_tree(replace(made, never=("x",))).count("\n")
    assert all(line.isprintable() for line in tree.split("\n"))
    assert DOT.match(as_dot(bad))
    assert MERMAID.match(as_mermaid(bad))
    picture, plain = (ElementTree.fromstring(as_svg(each)) for each in (bad, made))
    kinds = {element.tag for element in picture.iter()}
    assert kinds <= {element.tag for element in plain.iter()} | {f"{SVG}text"}
    for tag in ("path", "rect", "title", "g"):
        assert len(list(picture.iter(f"{SVG}{tag}"))) == len(list(plain.iter(f"{SVG}{tag}")))


def as_graph(nodes: list[tuple[str, str]], edges: list[tuple[str, str, str]]) -> Any:
    """A multigraph of labelled nodes and edges, as networkx compares them."""
    graph: Any = networkx.MultiDiGraph()
    for node, label in nodes:
        graph.add_node(node, label=label)
    for start, end, label in edges:
        graph.add_edge(start, end, label=label)
    return graph


def drawn_graph(made: Outline) -> Any:
    """What a drawing should say: signs and names, and from each to the next by which bands."""
    nodes = [(repr(node), f"{made.signs[node]} {name}") for node, name in made.names.items()]
    return as_graph(nodes, [(repr(s.start), repr(s.end), s.label) for s in made.steps])


def read_mermaid(text: str) -> Any:
    """The graph that a Mermaid text says, its character codes turned back; without its title."""

    def plain(label: str) -> str:
        return re.sub(r"#(\d+);", lambda code: chr(int(code[1])), label)

    nodes = re.findall(r'^    (n\d+)\(?\["(.*)"\]\)?$', text, re.M)
    edges = re.findall(r'^    (n\d+) (?:==>|-->)\|"(.*)"\| (n\d+)$', text, re.M)
    return as_graph(
        [(node, plain(label)) for node, label in nodes],
        [(start, end, plain(label)) for start, label, end in edges],
    )


def read_dot(text: str) -> Any:
    """The graph that Graphviz itself draws of a DOT text."""
    done = subprocess.run(
        ["dot", "-Tsvg"], input=text, capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stderr == ""
    nodes, edges = [], []
    for group in ElementTree.fromstring(done.stdout).iter(f"{SVG}g"):
        name = group.findtext(f"{SVG}title") or ""
        shown = (group.findtext(f"{SVG}text") or "").replace("\N{NO-BREAK SPACE}", " ")
        if group.get("class") == "node":
            nodes.append((name, shown))
        elif group.get("class") == "edge":
            start, _, end = name.partition("->")
            edges.append((start, end, shown))
    return as_graph(nodes, edges)


def same_graph(one: Any, other: Any) -> bool:
    """Whether two graphs are one and the same but for the names of their nodes."""

    def labels(pair: Any) -> list[str]:
        return sorted(edge["label"] for edge in pair.values())

    return bool(
        networkx.is_isomorphic(
            one,
            other,
            node_match=lambda a, b: a["label"] == b["label"],
            edge_match=lambda a, b: labels(a) == labels(b),
        )
    )


with_dot = pytest.mark.skipif(shutil.which("dot") is None, reason="Graphviz is not here")
both = pytest.mark.parametrize(
    "read",
    [pytest.param(read_mermaid, id="mermaid"), pytest.param(read_dot, id="dot", marks=with_dot)],
)


@both
def test_text_read_back_is_the_route(shop: Knowledge, read: Callable[[str], Any]) -> None:
    """What other programs read out of the text has the route's tests, causes, bands and steps."""
    write = as_dot if read is read_dot else as_mermaid
    for tree in shop.trees:
        made = outline(shop, tree)
        assert same_graph(read(write(made)), drawn_graph(made))


@both
@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_names_are_read_back_as_they_stand(
    shelf: Path, read: Callable[[str], Any], text: str
) -> None:
    """Quotes, brackets, semicolons, `end`, line breaks and other letters come back as text."""
    write = as_dot if read is read_dot else as_mermaid
    bad = renamed(outline(load(["engine-stalls"], trees_dir=shelf), "engine-stalls"), text)
    shown = visible(text)
    wanted = replace(
        bad,
        names=dict.fromkeys(bad.names, shown),
        steps=tuple(replace(step, bands=(shown,)) for step in bad.steps),
    )
    assert same_graph(read(write(bad)), drawn_graph(wanted))


def test_command_draws_to_standard_output(shelf: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The command prints the drawing that was asked for, and says what it does not know."""
    for way, draw in FORMATS.items():
        assert main(["draw", "engine-stalls", "--format", way]) == 0
        made = outline(load(["engine-stalls"], trees_dir=shelf), "engine-stalls")
        assert capsys.readouterr().out == draw(made)
    assert main(["draw", "trees/engine-stalls.yaml"]) == 0
    assert capsys.readouterr().out.startswith("The engine stalls\n")
    assert main(["draw", "engine-stals"]) == 2
    assert "Did you mean engine-stalls?" in capsys.readouterr().err
    (shelf / "engine-stalls.yaml").write_text("format: 1\n")
    assert main(["draw", "engine-stalls"]) == 1
    assert "`complaint` is missing" in capsys.readouterr().err


def test_command_marks_the_way_of_a_session(capsys: pytest.CaptureFixture[str]) -> None:
    """With a session of its own knowledge the way that was walked is marked; another is refused."""
    folder = shipped("sessions")
    path = sorted(folder.glob("*.jsonl"))[0]
    assert main(["draw", "idle-unsteady", "--session", str(path)]) == 0
    out = capsys.readouterr().out
    assert READ in out.split("\n", 2)[2]
    assert "┃" in out
    assert main(["draw", "run-on", "--session", str(path)]) == 2
    assert "The session is not about 'run-on'." in capsys.readouterr().err
