"""Drawings made of characters: bars, scales with limits, the way of the chances, the route.

Pure functions from values to `Content`. Everything that is drawn is also said in words beside it,
and no drawing needs colour: shares are lengths, limits and figures are signs.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from textual.content import Content

from faulttree.screen import text
from faulttree.screen.wording import figure

if TYPE_CHECKING:
    from faulttree.tree.model import Knowledge, Tree

EIGHTHS = " ▏▎▍▌▋▊▉█"


def bar(share: float, cells: int) -> str:
    """A share of 1 as a bar of so many cells; anything above nothing shows a sliver."""
    eighths = round(max(0.0, min(1.0, share)) * cells * 8)
    if share > 0.002:
        eighths = max(1, eighths)
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
        return round((number - start) / (end - start) * (cells - 1))

    axis = ["─"] * cells
    edges = [at(limit) for limit in limits]
    style_from, style_to = -1, -1
    if value is not None:
        for cell in range(max(0, at(value - spread)), min(cells - 1, at(value + spread)) + 1):
            axis[cell] = "═"
    for edge in edges:
        axis[edge] = "┼"
    for edge, limit in zip(edges, limits, strict=True):
        label = figure(limit)
        room = range(edge + 1, min(cells, edge + 1 + len(label)))
        if len(room) == len(label) and all(axis[c] in "─═" for c in room):
            for cell, char in zip(room, label, strict=True):
                axis[cell] = char
    if value is not None:
        spot = at(value)
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
    grid = [[" "] * room for _ in range(height)]
    width = max(1, min(6, (room - 1) // max(1, steps - 1))) if steps > 1 else 1
    first = max(0, steps - 1 - (room - 1) // width)
    for index in reversed(range(len(series))):
        mark = MARKS[index % len(MARKS)]
        values = series[index][1]
        for step in range(first, len(values)):
            row = height - 1 - round(max(0.0, min(1.0, values[step])) * (height - 1))
            column = (step - first) * width
            if step > first:
                before = height - 1 - round(max(0.0, min(1.0, values[step - 1])) * (height - 1))
                for between in range(1, width):
                    y = round(before + (row - before) * between / width)
                    if grid[y][column - width + between] == " ":
                        grid[y][column - width + between] = "·"
            grid[row][column] = mark
    lines = []
    for row in range(height):
        label = {0: "100 %", height - 1: "  0 %"}.get(row, "     ")
        if height >= 7 and row == (height - 1) // 2 and height % 2:
            label = " 50 %"
        lines.append(text.line((label, "$text-muted"), "│", "".join(grid[row])))
    return lines


@dataclass(frozen=True, slots=True)
class Drawn:
    """One line of a drawn route: how deep, what it says, and whether the way came through it."""

    depth: int
    words: str
    mark: str
    on_way: bool


def route_lines(
    knowledge: Knowledge, tree: Tree, read: Mapping[str, str], here: str
) -> list[Drawn]:
    """The authored route as lines, from its first test; a step seen before is only named.

    `read` gives the band of every test that was read, `here` the step that comes next.
    """
    lines: list[Drawn] = []
    # A step on the way is spelt out even when another branch has shown it, but only once.
    seen: set[tuple[str, bool]] = set()

    def name(id: str) -> str:
        if id in knowledge.tests:
            return knowledge.tests[id].name
        return knowledge.causes[id].name if id in knowledge.causes else id

    # An explicit stack, because a hand-written route may nest deeper than Python likes.
    stack: list[tuple[str, int, str, bool]] = [(tree.first, 0, "", True)]
    while stack:
        step, depth, band, on_way = stack.pop()
        is_cause = step not in knowledge.tests
        again = not is_cause and ((step, True) in seen or (not on_way and (step, False) in seen))
        mark = " "
        if on_way:
            mark = "▶" if step == here else ("●" if step in read else " ")
        words = f"{band}: " if band else ""
        words += f"suspect {name(step)}" if is_cause else name(step)
        if on_way and step in read:
            words += f" = {read[step]}"
        if again:
            words += " (as above)"
        lines.append(Drawn(depth, words, mark, on_way))
        if is_cause or again:
            continue
        seen.add((step, on_way))
        edges = list(tree.route.get(step, {}).items())
        taken = read.get(step) if on_way else None
        named = {name for name, _ in edges}
        if taken is not None and taken not in named:
            taken = "otherwise"
        for edge, following in reversed(edges):
            stack.append((following, depth + 1, edge, on_way and edge == taken))
    return lines


def draw_route(lines: Sequence[Drawn], cells: int) -> list[Content]:
    """The lines of a route, indented, with the way in bold and the next step marked by an arrow."""
    drawn = []
    for one in lines:
        lead = f"{one.mark} " + "  " * min(one.depth, 12)
        words = text.clip(lead + one.words, cells)
        drawn.append(
            text.line((words, "bold" if one.on_way and one.mark.strip() else "$text-muted"))
        )
    return drawn
