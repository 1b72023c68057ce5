"""The one gate from data to the screen.

Words from a YAML file, a log or a keyboard are data: here they lose every power over the terminal.
Control characters, escapes, and the characters that turn or hide text are shown as signs, and the
result is `Content`, never markup. Every page builds what it shows from these functions; none hands
a plain string to a widget that would read it as markup.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

from rich.cells import cell_len, get_character_cell_size
from textual.content import Content, Span
from textual.style import Style

ELLIPSIS = "…"
MOST_MARKS = 4
"""How many combining marks may sit on one letter; more would climb over the lines above."""

_DANGEROUS = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
_HARMLESS = frozenset({"\u00ad"})  # a soft hyphen does nothing in a terminal
_MARKS = frozenset({"Mn", "Me", "Mc"})

Piece = str | tuple[str, str] | Content
"""A text, a text with a style of ours, or something that has passed the gate already."""


def clean(text: object, *, lines: bool = False) -> str:
    """The text with nothing in it that a terminal would obey.

    C0 controls become their own pictures (an escape is shown as `␛`), other controls, turned or
    invisible characters their code in brackets. Line ends become spaces, or stay when `lines` is
    true; tabs become spaces.
    """
    text = str(text)
    if text.isascii() and text.isprintable():
        return text
    if lines:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    out: list[str] = []
    marks = 0
    for char in text:
        category = unicodedata.category(char)
        if category in _MARKS:
            marks += 1
            if marks <= MOST_MARKS:
                out.append(char)
            continue
        marks = 0
        if category not in _DANGEROUS:
            out.append(char)
        elif char == "\n":
            out.append("\n" if lines else " ")
        elif char == "\t":
            out.append("    " if lines else " ")
        elif char not in _HARMLESS:
            out.append(_sign(char))
    return "".join(out)


def _sign(char: str) -> str:
    """A visible stand-in for one character that must not reach a terminal."""
    code = ord(char)
    if code < 0x20:
        return chr(0x2400 + code)
    if code == 0x7F:
        return "\u2421"
    return f"<{code:02X}>"


def line(*pieces: Piece) -> Content:
    """One line of pieces, each cleaned; styles are ours and are never read from the text."""
    return _join(pieces, lines=False)


def paragraph(*pieces: Piece) -> Content:
    """The same, where the line ends in the pieces are kept."""
    return _join(pieces, lines=True)


def stack(rows: Iterable[Content]) -> Content:
    """Rows one under another."""
    return Content("\n").join(rows)


def _join(pieces: Iterable[Piece], *, lines: bool) -> Content:
    parts: list[Content] = []
    for piece in pieces:
        if isinstance(piece, Content):
            parts.append(piece)
        elif isinstance(piece, tuple):
            text, style = piece
            # An empty style would still cost a span.
            cleaned = clean(text, lines=lines)
            parts.append(Content.styled(cleaned, style) if style else Content(cleaned))
        else:
            parts.append(Content(clean(piece, lines=lines)))
    return Content("").join(parts)


def without_colours(content: Content) -> Content:
    """The same content with bold and the like, but no colours: for rows that are highlighted.

    A colour that reads well on the page would be lost on the highlight.
    """
    kept = []
    for span in content.spans:
        style = span.style
        if isinstance(style, str):
            style = " ".join(word for word in style.split() if not word.startswith("$"))
        if style:
            kept.append(Span(span.start, span.end, style))
    return Content(content.plain, spans=kept)


def link(content: Content, action: str) -> Content:
    """The same content, which runs one of our own actions when a `Words` widget is clicked there.

    The action is never taken from data. Textual's own `@click` is not used because it would put
    its link colours over ours.
    """
    return content.stylize(Style.from_meta({"does": action}))


def width(text: str) -> int:
    """How many cells a cleaned text takes."""
    return cell_len(text)


def clip(text: object, cells: int) -> str:
    """The text cleaned and held to so many cells, with an ellipsis where something was cut."""
    cleaned = clean(text)
    if cells <= 0:
        return ""
    if cell_len(cleaned) <= cells:
        return cleaned
    kept: list[str] = []
    room = cells - 1
    for char in cleaned:
        room -= get_character_cell_size(char)
        if room < 0:
            break
        kept.append(char)
    return "".join(kept).rstrip() + ELLIPSIS


def left(text: object, cells: int) -> str:
    """The text clipped and filled up with spaces to exactly so many cells."""
    clipped = clip(text, cells)
    return clipped + " " * (cells - cell_len(clipped))


def right(text: object, cells: int) -> str:
    """The text clipped and pushed to the right of exactly so many cells."""
    clipped = clip(text, cells)
    return " " * (cells - cell_len(clipped)) + clipped


def ends(start: object, end: object, cells: int) -> str:
    """Two texts at either end of a line; the first is clipped when they do not both fit."""
    tail = clip(end, cells)
    room = cells - cell_len(tail) - 1
    return f"{left(start, room)} {tail}" if room > 0 else tail


def title(said: object, cells: int) -> str:
    """A session's title in so many cells: what the car is stays, the complaints give way.

    A title ends in the car, after ` - `; a long name of a car keeps half of the room at most.
    """
    cleaned = clean(said)
    complaint, dash, car = cleaned.rpartition(" - ")
    if not dash or cell_len(cleaned) <= cells:
        return clip(cleaned, cells)
    car = clip(car, max(1, cells // 2 - 3))
    return f"{clip(complaint, cells - cell_len(car) - 3)} - {car}"


def wrap(text: object, cells: int) -> list[str]:
    """The text cleaned and broken at spaces into lines of at most so many cells.

    Line ends in the text start a new line; a word that is too long is cut. At least one line comes
    back.
    """
    cells = max(1, cells)
    rows: list[str] = []
    for paragraph_text in clean(text, lines=True).split("\n"):
        row = ""
        for word in paragraph_text.split():
            joined = f"{row} {word}" if row else word
            if cell_len(joined) <= cells:
                row = joined
                continue
            if row:
                rows.append(row)
            row = word
            while cell_len(row) > cells:
                head = _head(row, cells)
                rows.append(head)
                row = row[len(head) :]
        rows.append(row)
    while len(rows) > 1 and not rows[-1]:
        rows.pop()
    return rows


_WORD = re.compile(r"\S+(?: %\S*)*")
"""A word; a figure and its per cent sign are one."""


def fold(content: Content, cells: int) -> Content:
    """The content broken at spaces for so many cells, a figure never parted from its per cent sign.

    A word that is too long for a line is left to the widget.
    """
    plain = content.plain
    broken = list(plain)
    start = 0
    for word in _WORD.finditer(plain):
        start = max(start, plain.rfind("\n", 0, word.start()) + 1)
        if word.start() > start and cell_len(plain[start : word.end()]) > cells:
            # As long as a space, so that every style stays on its words.
            broken[word.start() - 1] = "\n"
            start = word.start()
    return Content("".join(broken), spans=content.spans)


def _head(word: str, cells: int) -> str:
    """As many characters of a word as fit, at least one."""
    used = 0
    for at, char in enumerate(word):
        used += get_character_cell_size(char)
        if used > cells:
            return word[: max(1, at)]
    return word
