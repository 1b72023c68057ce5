"""What stands at the foot of a page besides its letters: what digits do there, and PgDn.

A list with numbers says so wherever it is shown, because a digit opens or takes a row on one page,
and only goes to it, or marks it, on another.
"""

from __future__ import annotations

Piece = tuple[str, str, str, int]
"""A key, what it does, the method it runs ("" for none), and how soon it is dropped."""

MOST_DIGITS = 9


def with_digits(shown: list[Piece], does: str, rows: int = MOST_DIGITS) -> list[Piece]:
    """The pieces with what a digit does, after what Enter does; `rows` have a number."""
    if rows < 1:
        return shown
    last = min(rows, MOST_DIGITS)
    piece = (f"1-{last}" if last > 1 else "1", does, "", 4)
    at = 1 if shown and shown[0][0] == "Enter" else 0
    return [*shown[:at], piece, *shown[at:]]


def with_paging(shown: list[Piece]) -> list[Piece]:
    """The pieces with the key that shows more of a long text, first of all."""
    return [("PgDn", "More", "scroll_text(1)", 3), *shown]


def digits_do(shown: list[Piece]) -> str:
    """What a digit does by these pieces; "" where they say nothing of it."""
    return next((name for key, name, _, _ in shown if key[:1] == "1"), "")
