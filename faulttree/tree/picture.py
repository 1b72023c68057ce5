"""The route of a tree as an SVG picture: one row for each depth, a row of labels between two rows.

Every box, every label and every line that passes a row has a place of its own in it, as wide as its
text can come out in any common font, so that nothing touches anything else. What was walked is
told by signs, thick lines and bold labels, never by colour alone. The picture follows the light
or dark ground that the reader has chosen. What is drawn is decided in `outline`.
"""

import itertools
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from xml.sax.saxutils import escape

from faulttree.tree.graph import NodeId
from faulttree.tree.outline import CAUSE, LEGEND, TEST, Outline, Step
from faulttree.tree.problem import visible

_SIZE, _SMALL, _LARGE = 12.0, 11.0, 15.0
"""Sizes of letters: in boxes, on labels, in the title."""

_LINE, _SMALL_LINE, _PAD, _MARGIN = 15.0, 13.0, 7.0, 30.0
_BOX, _LABEL, _LANE, _BESIDE = 176.0, 130.0, 12.0, 14.0
_ABOVE_LABEL, _BELOW_LABEL = 24.0, 30.0
_MOST_LINES, _SWEEPS = 4, 12
_CAUSE_PULLS, _TEST_PULLS, _LANE_PULLS = 1.0, 8.0, 16.0
"""How hard things hold to their places: causes give way, so that the way on runs straight down."""

_STYLE = (
    "@media (prefers-color-scheme:dark){.paper{fill:#1c1c1c}.line{stroke:#f0f0f0}"
    "text,.head{fill:#f0f0f0}}"
)

Spot = tuple[str, ...]
"""A place in a row: a test, a cause below one test, a label, or a lane that a long line takes."""


def extent(text: str, size: float, *, bold: bool = False) -> float:
    """How wide a text can come out at most in a common font without serifs.

    The shares of the size are those of the widest such fonts, rounded up; a picture is laid out
    before anybody knows which font the reader has.
    """
    return sum(map(_share, text)) * size * (1.14 if bold else 1.0)


def _share(character: str) -> float:
    if unicodedata.combining(character):
        return 0.0
    if unicodedata.east_asian_width(character) in "WF":
        return 1.1
    if not character.isascii():
        return 0.8 if character.isalpha() and character < "\u0250" else 1.1
    if character in "fijlrtIJ .,:;'|!()[]-/\\\"":
        return 0.46
    if character in "mwMW@%":
        return 1.0
    return 0.85 if character.isupper() or character in "+=<>~^#&" else 0.65


def wrap(text: str, wide: float, size: float, most: int, *, bold: bool = False) -> list[str]:
    """A text in lines that are not wider than `wide`; what `most` lines do not hold is left out."""
    lines = [""]
    for word in text.split():
        tried = f"{lines[-1]} {word}".lstrip()
        if extent(tried, size, bold=bold) <= wide:
            lines[-1] = tried
            continue
        pieces = list(_pieces(word, wide, size, bold=bold))
        lines += pieces if lines[-1] else []
        lines = lines if lines[-1] else pieces
    if len(lines) > most:
        lines = lines[:most]
        while lines[-1] and extent(f"{lines[-1]} …", size, bold=bold) > wide:
            lines[-1] = lines[-1][:-1].rstrip()
        lines[-1] = f"{lines[-1]} …".lstrip()
    return lines


def _pieces(word: str, wide: float, size: float, *, bold: bool) -> Iterable[str]:
    """A word in parts of which each fits a line."""
    part = ""
    for character in word:
        if part and extent(part + character, size, bold=bold) > wide:
            yield part
            part = ""
        part += character
    yield part


@dataclass(slots=True)
class _Rows:
    """Places every test by its depth, each label in the row below, and lanes for long lines.

    A cause has a box of its own below every test that leads to it, so that no line to it is long.
    """

    made: Outline
    rows: list[list[Spot]] = field(default_factory=list)
    texts: dict[Spot, list[str]] = field(default_factory=dict)
    widths: dict[Spot, float] = field(default_factory=dict)
    pulls: dict[Spot, float] = field(default_factory=dict)
    ways: list[tuple[Step, list[Spot]]] = field(default_factory=list)
    x: dict[Spot, float] = field(default_factory=dict)
    above: dict[Spot, list[Spot]] = field(default_factory=dict)
    below: dict[Spot, list[Spot]] = field(default_factory=dict)
    row_of: dict[Spot, int] = field(default_factory=dict)

    def place(self) -> None:
        """Work out rows, the order within each, and where everything stands across."""
        made = self.made
        for node in made.names:
            if node[0] == "test":
                self._box(("test", node[1]), 2 * made.depths[node], node)
        for at, step in enumerate(made.steps):
            row = 2 * made.depths[step.start] + 1
            label: Spot = ("label", str(at))
            self._label(label, row, step)
            way: list[Spot] = [("test", step.start[1]), label]
            if step.end[0] == "cause":
                way.append(("cause", step.end[1], step.start[1]))
                self._box(way[-1], row + 1, step.end)
            else:
                for passed in range(row + 1, 0 if step.back else 2 * made.depths[step.end]):
                    way.append(("lane", str(at), str(passed)))
                    self._put(way[-1], passed, _LANE, _LANE_PULLS)
                way.append(("test", step.end[1]))
            self.ways.append((step, way))
            for one, other in itertools.pairwise(way[:-1] if step.back else way):
                self.below.setdefault(one, []).append(other)
                self.above.setdefault(other, []).append(one)
        for spots in self.rows:
            self._spread(spots, dict.fromkeys(spots, 0.0))
        for sweep in range(_SWEEPS):
            down = sweep % 2 == 0
            for spots in self.rows if down else self.rows[::-1]:
                beside = self.above if down else self.below
                wanted = {spot: self._mean(spot, beside) for spot in spots}
                spots.sort(key=wanted.__getitem__)
                self._spread(spots, wanted)
        left = min(self.x[s] - self.widths[s] / 2 for spots in self.rows for s in spots)
        self.x = {spot: x - left + _MARGIN for spot, x in self.x.items()}

    def _put(self, spot: Spot, row: int, width: float, pull: float) -> None:
        while len(self.rows) <= row:
            self.rows.append([])
        self.rows[row].append(spot)
        self.row_of[spot] = row
        self.widths[spot] = width
        self.pulls[spot] = pull

    def _box(self, spot: Spot, row: int, node: NodeId) -> None:
        text = f"{self.made.signs[node]} {visible(self.made.names[node])}"
        self.texts[spot] = wrap(text, _BOX - 2 * _PAD, _SIZE, _MOST_LINES)
        self._put(spot, row, _BOX, _CAUSE_PULLS if node[0] == "cause" else _TEST_PULLS)

    def _label(self, spot: Spot, row: int, step: Step) -> None:
        lines = wrap(visible(step.label), _LABEL, _SMALL, _MOST_LINES, bold=step.walked)
        self.texts[spot] = lines
        widest = max(extent(line, _SMALL, bold=step.walked) for line in lines)
        pull = _CAUSE_PULLS if step.end[0] == "cause" else _TEST_PULLS
        self._put(spot, row, max(widest, _LANE), pull)

    def _mean(self, spot: Spot, beside: Mapping[Spot, list[Spot]]) -> float:
        near = beside.get(spot)
        if not near:
            return self.x[spot]
        whole = sum(self.pulls[other] for other in near)
        return sum(self.x[other] * self.pulls[other] for other in near) / whole

    def _spread(self, spots: Sequence[Spot], wanted: Mapping[Spot, float]) -> None:
        """Give each spot the place it wants as nearly as the others leave room.

        That is least squares with the spots in order and their widths between them, each spot
        weighed by its pull: without the widths, places that must not fall, and so solved by joining
        neighbours that want to pass each other.
        """
        shifts = [0.0]
        for one, other in itertools.pairwise(spots):
            shifts.append(shifts[-1] + (self.widths[one] + self.widths[other]) / 2 + _BESIDE)
        joined: list[tuple[float, float, int]] = []  # place, pull, how many
        for spot, shift in zip(spots, shifts, strict=True):
            place, pull, many = wanted[spot] - shift, self.pulls[spot], 1
            while joined and joined[-1][0] >= place:
                before, weight, more = joined.pop()
                place = (place * pull + before * weight) / (pull + weight)
                pull, many = pull + weight, many + more
            joined.append((place, pull, many))
        places = itertools.chain.from_iterable([place] * many for place, _, many in joined)
        for spot, shift, place in zip(spots, shifts, places, strict=True):
            self.x[spot] = place + shift

    def height(self, spot: Spot) -> float:
        """How high a box or a label is; a lane is as high as its row."""
        lines = len(self.texts.get(spot, ()))
        return lines * _SMALL_LINE if spot[0] == "label" else lines * _LINE + 2 * _PAD


def as_svg(made: Outline) -> str:
    """The route as an SVG picture."""
    plan = _Rows(made)
    plan.place()
    tops, bottoms, y = [], [], 56.0
    for at, spots in enumerate(plan.rows):
        tops.append(y)
        bottoms.append(y + max(map(plan.height, spots)))
        y = bottoms[-1] + (_BELOW_LABEL if at % 2 else _ABOVE_LABEL)
    legend = _legend(made)
    right = max(
        max(plan.x[s] + plan.widths[s] / 2 for spots in plan.rows for s in spots),
        _MARGIN + extent(visible(made.title), _LARGE, bold=True),
        _MARGIN + extent(legend, _SIZE),
    )
    width, height = right + _MARGIN, bottoms[-1] + _MARGIN
    title = svg_text(made.title)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}" '
        f'width="{width:.0f}" height="{height:.0f}" role="img" font-family="sans-serif" '
        f'font-size="{_SIZE:.0f}">',
        f"<title>{title}</title>",
        f"<style>{_STYLE}</style>",
        '<defs><marker id="arrow" viewBox="0 0 8 8" refX="8" refY="4" markerWidth="8" '
        'markerHeight="8" markerUnits="userSpaceOnUse" orient="auto">'
        '<path class="head" d="M0 0L8 4L0 8z"/></marker></defs>',
        '<rect class="paper" width="100%" height="100%" fill="white"/>',
        f'<text x="{_MARGIN:.0f}" y="24" font-size="{_LARGE:.0f}" font-weight="bold">'
        f"{title}</text>",
        f'<text x="{_MARGIN:.0f}" y="42">{svg_text(legend)}</text>',
    ]
    ports = _ports(plan)
    for (step, way), port in zip(plan.ways, ports, strict=True):
        stroke = 'stroke-width="3.5"' if step.walked else 'stroke-width="1"'
        dashed = ' stroke-dasharray="5 4"' if step.back else ""
        parts.append(
            f'<path class="line" d="{_line(plan, step, way, port, tops, bottoms)}" fill="none" '
            f'stroke="black" {stroke}{dashed} marker-end="url(#arrow)"/>'
        )
    for step, way in plan.ways:
        parts += _svg_label(plan, way[1], tops[plan.row_of[way[1]]], step)
    for spot in plan.texts:
        if spot[0] != "label":
            node: NodeId = ("cause" if spot[0] == "cause" else "test", spot[1])
            parts += _svg_box(plan, spot, tops[plan.row_of[spot]], node)
    return "\n".join([*parts, "</svg>"]) + "\n"


def _legend(made: Outline) -> str:
    used = "".join(made.signs.values())
    legend = ", ".join(f"{sign} {LEGEND[sign]}" for sign in LEGEND if sign in used)
    return f"{legend}, thick lines and bold bands: the way taken" if made.walked else legend


def _ports(plan: _Rows) -> list[float]:
    """Where each line leaves its test: side by side in the order of their labels."""
    leaving: dict[Spot, list[Spot]] = {}
    for _, way in plan.ways:
        leaving.setdefault(way[0], []).append(way[1])
    ports = []
    for _, way in plan.ways:
        beside = sorted(leaving[way[0]], key=plan.x.__getitem__)
        gap = min(30.0, (_BOX - 26) / len(beside))
        ports.append(plan.x[way[0]] + (beside.index(way[1]) - (len(beside) - 1) / 2) * gap)
    return ports


def _line(
    plan: _Rows,
    step: Step,
    way: Sequence[Spot],
    port: float,
    tops: Sequence[float],
    bottoms: Sequence[float],
) -> str:
    """The line of a step: straight through every row, bent only between two rows."""
    row = plan.row_of[way[0]]
    here, there = port, bottoms[row]
    drawn = f"M{here:.1f} {tops[row] + plan.height(way[0]):.1f}L{here:.1f} {there:.1f}"
    for spot in way[1:]:
        x, row = plan.x[spot], plan.row_of[spot]
        if spot == way[-1] and step.back:
            side, middle = x + plan.widths[spot] / 2, tops[row] + plan.height(spot) / 2
            bend = max(here, side) + _BOX / 2
            return drawn + (
                f"C{here:.1f} {there + _BELOW_LABEL:.1f} {bend:.1f} {middle:.1f} "
                f"{side:.1f} {middle:.1f}"
            )
        middle = (there + tops[row]) / 2
        drawn += f"C{here:.1f} {middle:.1f} {x:.1f} {middle:.1f} {x:.1f} {tops[row]:.1f}"
        if spot != way[-1]:
            drawn += f"L{x:.1f} {bottoms[row]:.1f}"
        here, there = x, bottoms[row]
    return drawn


def _svg_box(plan: _Rows, spot: Spot, top: float, node: NodeId) -> list[str]:
    sign = plan.made.signs[node]
    on_way = sign not in (TEST, CAUSE)
    round_ = ' rx="12"' if node[0] == "cause" else ""
    x = plan.x[spot]
    parts = [
        f"<g><title>{svg_text(plan.made.names[node])}</title>",
        f'<rect class="paper line" x="{x - _BOX / 2:.1f}" y="{top:.1f}" width="{_BOX:.0f}" '
        f'height="{plan.height(spot):.0f}"{round_} fill="white" stroke="black" '
        f'stroke-width="{3.5 if on_way else 1}"/>',
    ]
    for at, line in enumerate(plan.texts[spot]):
        y = top + _PAD + 12 + at * _LINE
        parts.append(f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="middle">{svg_text(line)}</text>')
    return [*parts, "</g>"]


def _svg_label(plan: _Rows, spot: Spot, top: float, step: Step) -> list[str]:
    """A label on a patch of the ground, so that the line behind it does not run through it."""
    x, width = plan.x[spot], plan.widths[spot]
    bold = ' font-weight="bold"' if step.walked else ""
    parts = [
        f'<g class="label"><title>{svg_text(step.label)}</title>',
        f'<rect class="paper" x="{x - width / 2:.1f}" y="{top:.1f}" width="{width:.1f}" '
        f'height="{plan.height(spot):.0f}" fill="white"/>',
    ]
    for at, line in enumerate(plan.texts[spot]):
        y = top + 10 + at * _SMALL_LINE
        parts.append(
            f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="middle" font-size="{_SMALL:.0f}"{bold}>'
            f"{svg_text(line)}</text>"
        )
    return [*parts, "</g>"]


def svg_text(text: str) -> str:
    """A text as it may stand in an SVG element."""
    return escape(visible(text))
