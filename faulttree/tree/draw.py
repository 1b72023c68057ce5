"""Draws the authored route of a tree: for a terminal, as Mermaid or Graphviz text, or as SVG.

Every drawing is made of one outline. What was walked in a session is marked by signs and thicker
lines, so that nothing rests on colour. Names and bands come from files and are data: each format
has its own function that takes their power from them. Nothing is printed or written here; which
session is meant is left to `cli`, and where the boxes of the picture stand to `picture`.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

from faulttree.tree.graph import NodeId
from faulttree.tree.outline import CAUSE, LEGEND, TEST, Outline
from faulttree.tree.picture import as_svg
from faulttree.tree.problem import visible


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
        f'    label={dot_text(made.title)}; labelloc=t; fontname="sans-serif";',
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


FORMATS: Mapping[str, Callable[[Outline], str]] = {
    "tree": as_tree,
    "mermaid": as_mermaid,
    "dot": as_dot,
    "svg": as_svg,
}
"""How a route can be drawn, by name."""
