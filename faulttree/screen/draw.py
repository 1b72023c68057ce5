"""Drawings made of characters: bars, scales with limits, the way of the chances, the route.

Pure functions from values to `Content`. Everything that is drawn is also said in words beside it,
and no drawing needs colour: shares are lengths, limits and figures are signs.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from textual.content import Content

from faulttree.screen import text
from faulttree.screen.wording import figure

if TYPE_CHECKING:
    from faulttree.tree.graph import RouteStep
    from faulttree.tree.model import Knowledge, Test, Tree

EIGHTHS = " ▏▎▍▌▋▊▉█"


def bar(share: float, cells: int) -> str:
    """A share of 1 as a bar of so many cells; above 0.2 % there is a sliver at any width."""
    eighths = max(1, round(min(1.0, share) * cells * 8)) if share > 0.002 else 0
    full, rest = divmod(eighths, 8)
    return ("█" * full + (EIGHTHS[rest] if rest else "")).ljust(cells)


def scale(
    value: float | None,
    spread: float,
    limits: Sequence[float],
    bands: Sequence[str],
    expect: str,
    cells: int,
) -> list[Content]:
    """A reading on its scale: a line with the limits and the figure, and the bands under it.

    The scale reaches as far beyond the outer limits as they lie apart, so it does not move while a
    figure is typed; a figure beyond an end is shown as an arrow there. `spread` is the half-width
    within which the true value lies (two standard uncertainties).
    """
    if not limits or cells < 20:
        return []
    low, high = limits[0], limits[-1]
    margin = (high - low) * 0.6 if high > low else max(abs(low) * 0.5, 4 * spread, 1e-9)
    start, end = low - margin, high + margin
    if low >= 0.0 > start:
        start = 0.0

    def at(number: float) -> int:
        # Far beyond an end is as good as twice the scale, and no number too large to round.
        share = min(2.0, max(-1.0, (number - start) / (end - start)))
        return round(share * (cells - 1))

    axis = ["─"] * cells
    edges = [at(limit) for limit in limits]
    style_from, style_to = -1, -1
    if value is not None:
        for cell in range(max(0, at(value - spread)), min(cells - 1, at(value + spread)) + 1):
            axis[cell] = "═"
    for edge in edges:
        axis[edge] = "┼"
    spot = at(value) if value is not None else None
    for edge, limit in zip(edges, limits, strict=True):
        label = figure(limit)
        # Behind its limit, or before it where the figure would stand in the middle of it.
        for first in (edge + 1, edge - len(label)):
            room = range(first, first + len(label))
            free = first >= 0 and room.stop <= cells and spot not in room
            if free and all(axis[c] in "─═" for c in room):
                for cell, char in zip(room, label, strict=True):
                    axis[cell] = char
                break
    if spot is not None:
        if spot < 0:
            axis[0], style_from, style_to = "◀", 0, 1
        elif spot >= cells:
            axis[-1], style_from, style_to = "▶", cells - 1, cells
        else:
            axis[spot], style_from, style_to = "▼", spot, spot + 1
    line = Content("".join(axis))
    if style_from >= 0:
        line = line.stylize("bold $text-warning", style_from, style_to)
    names = _band_names(edges, bands, expect, cells)
    return [line, names]


def _band_names(edges: Sequence[int], bands: Sequence[str], expect: str, cells: int) -> Content:
    """The names of the bands, each in the middle of its stretch, the expected one marked."""
    stops = [0, *edges, cells]
    pieces: list[text.Piece] = []
    for at, band in enumerate(bands):
        room = stops[at + 1] - stops[at]
        name = f"✓ {band}" if band == expect else band
        shown = text.clip(name, room - 1) if room > 2 else ""
        gap = room - text.width(shown)
        padded = " " * (gap // 2) + shown + " " * (gap - gap // 2)
        pieces.append((padded, "bold $text-success" if band == expect else ""))
    return text.line(*pieces)


MARKS = "12345678"


def plot(series: Sequence[tuple[str, Sequence[float]]], cells: int, height: int) -> list[Content]:
    """How chances went, step by step: the rank of each cause marks its points.

    `series` holds names with one chance for each step, all of the same length.
    """
    steps = max((len(values) for _, values in series), default=0)
    room = cells - 6
    if steps < 1 or room < 4 or height < 3:
        return []
    highest = max((value for _, values in series for value in values), default=1.0)
    top = next((step for step in (0.25, 0.5, 1.0) if highest <= step), 1.0)
    grid = [[" "] * room for _ in range(height)]
    width = max(1, min(6, (room - 1) // max(1, steps - 1))) if steps > 1 else 1
    first = max(0, steps - 1 - (room - 1) // width)
    for index in reversed(range(len(series))):
        mark = MARKS[index % len(MARKS)]
        values = series[index][1]
        for step in range(first, len(values)):
            row = height - 1 - round(max(0.0, min(1.0, values[step] / top)) * (height - 1))
            column = (step - first) * width
            if step > first:
                before = (
                    height - 1 - round(max(0.0, min(1.0, values[step - 1] / top)) * (height - 1))
                )
                for between in range(1, width):
                    y = round(before + (row - before) * between / width)
                    if grid[y][column - width + between] == " ":
                        grid[y][column - width + between] = "·"
            grid[row][column] = mark
    lines = []
    for row in range(height):
        label = {0: f"{top * 100:3.0f} %", height - 1: "  0 %"}.get(row, "     ")
        lines.append(text.line((label, "$text-muted"), "│", "".join(grid[row])))
    return lines


READ, PASSED, NEXT = "●", "○", "▶"

PASSED_BY = {
    "does not fit": "not on this car",
    "cannot do": "cannot be done",
    "makes no sense yet": "not yet",
}


@dataclass(frozen=True, slots=True)
class Drawn:
    """One line of a drawn route: a step (depth 0) or a band that leaves it (depth 1).

    `mark` is one of the signs above for a step on the way, else blank.
    """

    depth: int
    words: str
    mark: str = " "


def route_lines(
    knowledge: Knowledge,
    tree: Tree,
    step: RouteStep | None = None,
    *,
    rest: bool = True,
    fits: Callable[[Test], bool] | None = None,
) -> list[Drawn]:
    """The authored route as lines: first the way that was gone, then the next step, then the rest.

    Every test stands once, with the bands that leave it under it. `step` is where the route stands;
    without it nothing was read yet. Without `rest` the lines stop after the next step. A test that
    lies ahead and does not fit the car, as `fits` says, has no bands: it is passed by.
    """
    lines: list[Drawn] = []
    shown: set[str] = set()
    passed = step.path if step is not None else ()
    for one in passed:
        shown.add(one.test)
        name = _name(knowledge, one.test)
        if one.how == "read":
            lines.append(Drawn(0, f"{name}: {one.band}", READ))
        else:
            lines.append(Drawn(0, f"{name}: {PASSED_BY[one.how]}", PASSED))
    here = step.id if step is not None and step.kind != "end" else ""
    if here:
        suspect = "suspect: " if here in knowledge.causes else ""
        lines.append(Drawn(0, f"{suspect}{_name(knowledge, here)}", NEXT))
        lines += _edges(knowledge, tree, here)
        shown.add(here)
    elif step is not None and step.why:
        lines.append(Drawn(0, step.why, NEXT))
    if not rest:
        return lines
    waiting = [*tree.route.get(here, {}).values()] if here else []
    waiting += [tree.first, *(to for one in passed for to in tree.route.get(one.test, {}).values())]
    while waiting:
        test = waiting.pop(0)
        if test in shown or test not in knowledge.tests:
            continue
        shown.add(test)
        if fits is None or fits(knowledge.tests[test]):
            lines.append(Drawn(0, _name(knowledge, test)))
            lines += _edges(knowledge, tree, test)
        else:
            lines.append(Drawn(0, f"{_name(knowledge, test)}: {PASSED_BY['does not fit']}"))
        waiting += tree.route.get(test, {}).values()
    return lines


def _edges(knowledge: Knowledge, tree: Tree, test: str) -> list[Drawn]:
    edges = tree.route.get(test, {})
    room = max((text.width(text.clean(band)) for band in edges), default=0)
    drawn = []
    for band, to in edges.items():
        suspect = "suspect: " if to in knowledge.causes else ""
        drawn.append(Drawn(1, f"{text.left(band, room)} → {suspect}{_name(knowledge, to)}"))
    return drawn


def _name(knowledge: Knowledge, id: str) -> str:
    if id in knowledge.tests:
        return knowledge.tests[id].name
    return knowledge.causes[id].name if id in knowledge.causes else id


def draw_route(lines: Sequence[Drawn], cells: int) -> list[Content]:
    """The lines of a route; the way in bold, the next step marked by an arrow."""
    drawn = []
    for one in lines:
        lead = f"{one.mark} " if one.depth == 0 else "    "
        style = "bold" if one.mark.strip() else "" if one.depth == 0 else "$text-muted"
        drawn.append(text.line((text.clip(lead + one.words, cells), style)))
    return drawn
