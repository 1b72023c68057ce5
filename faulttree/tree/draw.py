"""Draws the authored route of a tree: for a terminal, as Mermaid or Graphviz text, or as SVG.

Every drawing is made of one outline, which reads the graph. What was walked in a session comes in
as the steps of the route, and is marked by signs and thicker lines, so that nothing rests on
colour. Names and bands come from files and are data: each format has its own function that takes
their power from them. Nothing is printed or written here; which session is meant is left to `cli`.
"""

import itertools
import textwrap
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from xml.sax.saxutils import escape

from faulttree.tree.graph import NodeId, RouteStep, out_of_reach, route_graph
from faulttree.tree.model import OTHERWISE, Knowledge
from faulttree.tree.problem import visible

TEST, READ, PASSED, NEXT, CAUSE = "○", "●", "◌", "▶", "■"
"""The signs of the drawings: a test, one read on the way, one gone by, what is next, a cause."""

LEGEND = {
    TEST: "test",
    READ: "read on the way",
    PASSED: "gone by without a reading",
    NEXT: "next",
    CAUSE: "cause to repair",
}


@dataclass(frozen=True, slots=True)
class Step:
    """One line of the drawing: from a test, by these bands, to what follows.

    `back` marks a step to a test that lies on the way to this one: a loop in the route.
    """

    start: NodeId
    end: NodeId
    bands: tuple[str, ...]
    walked: bool = False
    back: bool = False

    @property
    def label(self) -> str:
        """The bands as one text."""
        return " / ".join(self.bands)


@dataclass(frozen=True, slots=True)
class Outline:
    """What is drawn: the names, signs and depths of tests and causes, and the steps between them.

    Tests stand in an order in which each comes after those that lead to it, loops apart. `ahead`
    gives for each test the one where a reading as expected leads, and `never` the names of tests
    that the route does not reach.
    """

    title: str
    first: NodeId
    names: Mapping[NodeId, str]
    signs: Mapping[NodeId, str]
    depths: Mapping[NodeId, int]
    steps: tuple[Step, ...]
    ahead: Mapping[NodeId, NodeId]
    never: tuple[str, ...] = ()
    walked: bool = False

    def after(self, node: NodeId) -> list[Step]:
        """The steps that leave a node, in the order of its bands."""
        return [step for step in self.steps if step.start == node]


def outline(knowledge: Knowledge, tree_id: str, ways: Sequence[RouteStep] = ()) -> Outline:
    """The route of a tree, and on it the ways that were walked, the present one last."""
    tree = knowledge.trees[tree_id]
    graph = route_graph(knowledge, tree_id)
    first: NodeId = ("test", tree.first)
    walked, signs = _walked(ways)
    after: dict[NodeId, dict[NodeId, list[str]]] = {}

    def follows(node: NodeId) -> list[NodeId]:
        ends: dict[NodeId, list[str]] = {}
        edges = [(end, band) for _, end, band in graph.out_edges(node, data="band")]
        if node[0] == "test":
            # A kept document has lost the author's order of keys; that of the bands it has not.
            bands = [*knowledge.tests[node[1]].bands, OTHERWISE]
            edges.sort(key=lambda edge: bands.index(edge[1]))
        for end, band in edges:
            ends.setdefault(end, []).append(band)
        after[node] = ends
        return list(ends)

    order, back = _order(first, follows)
    depths = dict.fromkeys(order, 0)
    steps = []
    for node in order:
        named = tree.route.get(node[1], {})
        for end, bands in after[node].items():
            gone = any(
                band in bands or (OTHERWISE in bands and band not in named)
                for band in walked.get(node[1], ())
            )
            steps.append(Step(node, end, tuple(bands), gone, (node, end) in back))
            if (node, end) not in back:
                depths[end] = max(depths[end], depths[node] + 1)
    ahead = {}
    for node in order:
        expected = knowledge.tests[node[1]].expect if node[0] == "test" else ""
        for wanted in (expected, OTHERWISE):
            ends = [end for end, bands in after[node].items() if wanted in bands]
            if ends and node not in ahead:
                ahead[node] = ends[0]
    plain = {node: TEST if node[0] == "test" else CAUSE for node in order}
    return Outline(
        title=tree.complaint,
        first=first,
        names={node: graph.nodes[node]["name"] for node in order},
        signs={**plain, **{node: sign for node, sign in signs.items() if node in plain}},
        depths=depths,
        steps=tuple(steps),
        ahead=ahead,
        never=tuple(knowledge.tests[test].name for test in out_of_reach(knowledge, tree_id)),
        walked=bool(ways),
    )


def _walked(ways: Sequence[RouteStep]) -> tuple[dict[str, set[str]], dict[NodeId, str]]:
    """The bands by which each test was left, and the signs of what lies on the ways."""
    bands: dict[str, set[str]] = {}
    signs: dict[NodeId, str] = {}
    for at, way in enumerate(ways):
        for passed in way.path:
            bands.setdefault(passed.test, set()).add(passed.band)
            node: NodeId = ("test", passed.test)
            if passed.how == "read" or signs.get(node) != READ:
                signs[node] = READ if passed.how == "read" else PASSED
        if way.kind == "cause":
            signs[("cause", way.id)] = f"{NEXT} {CAUSE}" if at == len(ways) - 1 else READ
        elif way.kind == "test" and at == len(ways) - 1:
            signs.setdefault(("test", way.id), NEXT)
    return bands, signs


def _order(
    first: NodeId, follows: Callable[[NodeId], list[NodeId]]
) -> tuple[list[NodeId], set[tuple[NodeId, NodeId]]]:
    """All that is reached, each after what leads to it, and the steps that go back."""
    done: list[NodeId] = []
    back = set()
    on_way, seen = {first}, {first}
    stack = [(first, iter(follows(first)))]
    while stack:
        node, rest = stack[-1]
        end = next(rest, None)
        if end is None:
            stack.pop()
            on_way.discard(node)
            done.append(node)
        elif end in on_way:
            back.add((node, end))
        elif end not in seen:
            seen.add(end)
            on_way.add(end)
            stack.append((end, iter(follows(end))))
    return done[::-1], back


# For a terminal


@dataclass(slots=True)
class _Branches:
    """Draws the way that is taken when all is as expected straight down, the rest beside it.

    Each test is drawn out once and numbered; elsewhere it is named with its number.
    """

    made: Outline
    lines: list[tuple[str, NodeId | None, bool]] = field(default_factory=list)
    numbers: dict[NodeId, int] = field(default_factory=dict)
    taken: set[NodeId] = field(default_factory=set)

    def draw(self) -> None:
        """Draw all that is reached; a stack of our own, so that no nesting is too deep."""
        stack = [self._branch(self.made.first, "", "")]
        while stack:
            inner = next(stack[-1], None)
            if inner is None:
                stack.pop()
            else:
                stack.append(self._branch(*inner))

    def _branch(self, start: NodeId, prefix: str, lead: str) -> Iterator[tuple[NodeId, str, str]]:
        """Draw one branch; yields those within it, where they are to be drawn."""
        chain = self._chain(start)
        for node, below in zip(chain, [*chain[1:], None], strict=True):
            self.numbers[node] = len(self.numbers) + 1
            self.lines.append((lead, node, True))
            lead = prefix
            steps = self.made.after(node)
            sides = [step for step in steps if step.end != below]
            for at, step in enumerate(sides):
                last = below is None and at == len(sides) - 1
                corner = ("┗━" if last else "┣━") if step.walked else ("└─" if last else "├─")
                branch = f"{prefix}{corner} {visible(step.label)}: "
                if step.end in self.taken or step.end[0] == "cause":
                    self.lines.append((branch, step.end, False))
                else:
                    yield step.end, prefix + ("   " if last else "│  "), branch
            for step in steps:
                if step.end == below:
                    bar = "┃" if step.walked else "│"
                    self.lines.append((f"{prefix}{bar} {visible(step.label)}", None, False))

    def _chain(self, start: NodeId) -> list[NodeId]:
        chain = []
        node: NodeId | None = start
        while node is not None and node[0] == "test" and node not in self.taken:
            self.taken.add(node)
            chain.append(node)
            node = self.made.ahead.get(node)
        return chain


def as_tree(made: Outline) -> str:
    """The route with box characters, one test or cause on a line."""
    branches = _Branches(made)
    branches.draw()
    signs = dict.fromkeys((*made.signs.values(), CAUSE))
    used = [sign for sign in LEGEND if any(sign in shown for shown in signs)]
    heavy = ", heavy lines: the way taken" if made.walked else ""
    legend = ", ".join(f"{sign} {LEGEND[sign]}" for sign in used)
    lines = [visible(made.title), f"({legend}, → see that number{heavy})", ""]
    for lead, node, here in branches.lines:
        if node is None:
            lines.append(lead)
            continue
        name, sign = visible(made.names[node]), made.signs[node]
        if node[0] == "cause":
            lines.append(f"{lead}{sign} {name}")
        else:
            arrow = "" if here else "→ "
            lines.append(f"{lead}{arrow}{sign} {branches.numbers[node]} {name}")
    if made.never:
        lines += ["", f"Never reached: {visible(', '.join(made.never))}"]
    return "\n".join(lines) + "\n"


# As text for other programs


def as_mermaid(made: Outline) -> str:
    """The route as a Mermaid flowchart."""
    ids = {node: f"n{at}" for at, node in enumerate(made.names)}
    lines = ["flowchart TD", f'    start{{{{"{mermaid_text(made.title)}"}}}}']
    for node, name in made.names.items():
        text = f'"{made.signs[node]} {mermaid_text(name)}"'
        lines.append(f"    {ids[node]}{f'[{text}]' if node[0] == 'test' else f'([{text}])'}")
    lines.append(f"    start {'==>' if made.walked else '-->'} {ids[made.first]}")
    for step in made.steps:
        arrow = "==>" if step.walked else "-->"
        label = mermaid_text(step.label)
        lines.append(f'    {ids[step.start]} {arrow}|"{label}"| {ids[step.end]}')
    on_way = [ids[node] for node, sign in made.signs.items() if sign not in (TEST, CAUSE)]
    if on_way:
        lines += ["    classDef walked stroke-width:4px", f"    class {','.join(on_way)} walked"]
    return "\n".join(lines) + "\n"


def mermaid_text(text: str) -> str:
    """A text for a quoted Mermaid label: all but letters, digits, spaces and commas as codes."""
    return "".join(c if c.isalnum() or c in " ," else f"#{ord(c)};" for c in visible(text))


def as_dot(made: Outline) -> str:
    """The route in the DOT language of Graphviz."""
    ids = {node: f"n{at}" for at, node in enumerate(made.names)}
    lines = [
        "digraph route {",
        f"    label={dot_text(made.title)}; labelloc=t;",
        '    node [shape=box, fontname="sans-serif"]; edge [fontname="sans-serif"];',
    ]
    for node, name in made.names.items():
        sign = made.signs[node]
        shape = "" if node[0] == "test" else ", style=rounded"
        wide = "" if sign in (TEST, CAUSE) else ", penwidth=3"
        lines.append(f"    {ids[node]} [label={dot_text(f'{sign} {name}')}{shape}{wide}];")
    for step in made.steps:
        wide = ", penwidth=3" if step.walked else ""
        label = dot_text(step.label)
        lines.append(f"    {ids[step.start]} -> {ids[step.end]} [label={label}{wide}];")
    return "\n".join([*lines, "}"]) + "\n"


def dot_text(text: str) -> str:
    """A text as a quoted DOT string, in which neither backslashes nor entities mean anything."""
    plain = visible(text).replace("\\", "\\\\").replace('"', '\\"').replace("&", "&amp;")
    return f'"{plain}"'


# As a picture

_WIDE, _LANE, _BESIDE, _BELOW, _LINE, _MARGIN = 176.0, 20.0, 20.0, 64.0, 15.0, 30.0
_LETTERS, _MOST_LINES, _SWEEPS = 24, 4, 8

Spot = tuple[str, ...]
"""A place in a layer: a test, a cause below one test, or a lane that a long line runs through."""


@dataclass(slots=True)
class _Layers:
    """Places every test by its depth, with a lane in each layer that a line has to cross.

    A cause has a box of its own below every test that leads to it, so that no line to it is long.
    """

    made: Outline
    layers: list[list[Spot]] = field(default_factory=list)
    texts: dict[Spot, list[str]] = field(default_factory=dict)
    ways: list[tuple[Step, list[Spot]]] = field(default_factory=list)
    x: dict[Spot, float] = field(default_factory=dict)
    above: dict[Spot, list[Spot]] = field(default_factory=dict)
    below: dict[Spot, list[Spot]] = field(default_factory=dict)

    def place(self) -> None:
        """Work out layers, the order within each, and where everything stands across."""
        for node in self.made.names:
            if node[0] == "test":
                self._put(("test", node[1]), self.made.depths[node], node)
        for at, step in enumerate(self.made.steps):
            start: Spot = ("test", step.start[1])
            high = self.made.depths[step.start]
            if step.end[0] == "cause":
                end: Spot = ("cause", step.end[1], step.start[1])
                self._put(end, high + 1, step.end)
                way = [start, end]
            elif step.back:
                way = [start, ("test", step.end[1])]
            else:
                lanes: list[Spot] = []
                for layer in range(high + 1, self.made.depths[step.end]):
                    lanes.append(("lane", str(at), str(layer)))
                    self._put(lanes[-1], layer, None)
                way = [start, *lanes, ("test", step.end[1])]
            self.ways.append((step, way))
            if not step.back:
                for one, other in itertools.pairwise(way):
                    self.below.setdefault(one, []).append(other)
                    self.above.setdefault(other, []).append(one)
        for layer_spots in self.layers:
            self._spread(layer_spots, dict.fromkeys(layer_spots, 0.0))
        for sweep in range(_SWEEPS):
            down = sweep % 2 == 0
            for layer_spots in self.layers if down else self.layers[::-1]:
                beside = self.above if down else self.below
                wanted = {spot: self._mean(spot, beside) for spot in layer_spots}
                layer_spots.sort(key=wanted.__getitem__)
                self._spread(layer_spots, wanted)
        left = min(self.x[s] - self.width(s) / 2 for layer in self.layers for s in layer)
        self.x = {spot: x - left + _MARGIN for spot, x in self.x.items()}

    def _put(self, spot: Spot, layer: int, node: NodeId | None) -> None:
        while len(self.layers) <= layer:
            self.layers.append([])
        self.layers[layer].append(spot)
        if node is not None:
            text = f"{self.made.signs[node]} {visible(self.made.names[node])}"
            self.texts[spot] = textwrap.wrap(
                text, _LETTERS, max_lines=_MOST_LINES, placeholder=" …"
            )

    def _mean(self, spot: Spot, beside: Mapping[Spot, list[Spot]]) -> float:
        near = [self.x[other] for other in beside.get(spot, ())]
        return sum(near) / len(near) if near else self.x[spot]

    def _spread(self, spots: Sequence[Spot], wanted: Mapping[Spot, float]) -> None:
        """Give each spot the place it wants as nearly as its neighbours leave room."""
        rightward, leftward = [], []
        edge = float("-inf")
        for spot in spots:
            rightward.append(max(wanted[spot], edge + self.width(spot) / 2))
            edge = rightward[-1] + self.width(spot) / 2 + _BESIDE
        edge = float("inf")
        for spot in reversed(spots):
            leftward.append(min(wanted[spot], edge - self.width(spot) / 2))
            edge = leftward[-1] - self.width(spot) / 2 - _BESIDE
        for spot, one, other in zip(spots, rightward, reversed(leftward), strict=True):
            self.x[spot] = (one + other) / 2

    def width(self, spot: Spot) -> float:
        """How wide a box or a lane is."""
        return _LANE if spot[0] == "lane" else _WIDE


def as_svg(made: Outline) -> str:
    """The route as an SVG picture, with a layer for each depth."""
    plan = _Layers(made)
    plan.place()
    tops, bottoms, y = [], [], 56.0
    for layer in plan.layers:
        tallest = max((len(plan.texts.get(spot, ())) for spot in layer), default=1)
        tops.append(y)
        bottoms.append(y + tallest * _LINE + 14)
        y = bottoms[-1] + _BELOW
    level = {spot: at for at, layer in enumerate(plan.layers) for spot in layer}
    right = max(plan.x[s] + plan.width(s) / 2 for layer in plan.layers for s in layer)
    width, height = max(right + _MARGIN, 420), y - _BELOW + _MARGIN
    title = svg_text(made.title)
    shown = " ".join(dict.fromkeys("".join(made.signs.values()).replace(" ", "")))
    legend = ", ".join(f"{sign} {LEGEND[sign]}" for sign in LEGEND if sign in shown)
    if made.walked:
        legend += ", thick lines: the way taken"
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}" '
        f'width="{width:.0f}" height="{height:.0f}" role="img" font-family="sans-serif" '
        'font-size="12">',
        f"<title>{title}</title>",
        '<defs><marker id="arrow" viewBox="0 0 8 8" refX="8" refY="4" markerWidth="8" '
        'markerHeight="8" markerUnits="userSpaceOnUse" orient="auto">'
        '<path d="M0 0L8 4L0 8z"/></marker></defs>',
        '<rect width="100%" height="100%" fill="white"/>',
        f'<text x="{_MARGIN:.0f}" y="24" font-size="15" font-weight="bold">{title}</text>',
        f'<text x="{_MARGIN:.0f}" y="42">{svg_text(legend)}</text>',
    ]
    labels = []
    for step, way in plan.ways:
        beside = [other[1] for also, other in plan.ways if also.start == step.start]
        beside.sort(key=plan.x.__getitem__)
        off = (beside.index(way[1]) - (len(beside) - 1) / 2) * min(30.0, 150 / len(beside))
        here = plan.x[way[0]] + off
        there = tops[level[way[0]]] + len(plan.texts[way[0]]) * _LINE + 14
        d = f"M{here:.1f} {there:.1f}"
        for at, spot in enumerate(way[1:]):
            x, top, low = plan.x[spot], tops[level[spot]], bottoms[level[spot]]
            if step.back:
                x, top = x + _WIDE / 2, (top + low) / 2
            middle = (there + top) / 2
            d += f"C{here:.1f} {middle:.1f} {x:.1f} {middle:.1f} {x:.1f} {top:.1f}"
            if at == 0:
                # Near what it leads to, where lines from one test have parted.
                labels.append(_svg_label((here + 2 * x) / 3, (there + 2 * top) / 3, step))
            if spot[0] == "lane":
                d += f"L{x:.1f} {low:.1f}"
            here, there = x, low
        stroke = 'stroke-width="3.5"' if step.walked else 'stroke-width="1"'
        dashed = ' stroke-dasharray="5 4"' if step.back else ""
        parts.append(
            f'<path d="{d}" fill="none" stroke="black" {stroke}{dashed} marker-end="url(#arrow)"/>'
        )
    for spot, lines in plan.texts.items():
        node: NodeId = ("cause" if spot[0] == "cause" else "test", spot[1])
        parts += _svg_box(plan.x[spot], tops[level[spot]], lines, node, made)
    return "\n".join([*parts, *labels, "</svg>"]) + "\n"


def _svg_box(x: float, top: float, lines: Sequence[str], node: NodeId, made: Outline) -> list[str]:
    on_way = made.signs[node] not in (TEST, CAUSE)
    round_ = ' rx="12"' if node[0] == "cause" else ""
    parts = [
        f"<g><title>{svg_text(made.names[node])}</title>",
        f'<rect x="{x - _WIDE / 2:.1f}" y="{top:.1f}" width="{_WIDE:.0f}" '
        f'height="{len(lines) * _LINE + 14:.0f}"{round_} fill="white" stroke="black" '
        f'stroke-width="{3.5 if on_way else 1}"/>',
    ]
    for at, line in enumerate(lines):
        y = top + 19 + at * _LINE
        parts.append(f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="middle">{svg_text(line)}</text>')
    return [*parts, "</g>"]


def _svg_label(x: float, y: float, step: Step) -> str:
    bold = ' font-weight="bold"' if step.walked else ""
    text = step.label if len(step.label) <= 30 else f"{step.label[:29]}…"
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="middle" font-size="11"{bold} stroke="white" '
        f'stroke-width="4" paint-order="stroke"><title>{svg_text(step.label)}</title>'
        f"{svg_text(text)}</text>"
    )


def svg_text(text: str) -> str:
    """A text as it may stand in an SVG element."""
    return escape(visible(text))


FORMATS: Mapping[str, Callable[[Outline], str]] = {
    "tree": as_tree,
    "mermaid": as_mermaid,
    "dot": as_dot,
    "svg": as_svg,
}
"""How a route can be drawn, by name."""
