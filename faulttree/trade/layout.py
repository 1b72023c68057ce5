"""Which cylinders stand side by side, and which fire one after another.

Cylinders are numbered from 1, as the trade numbers them. A bank lists its cylinders in the order
they stand in it. What follows from a low cylinder is left to `cylinders` and `patterns`.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise


class LayoutError(ValueError):
    """Banks or a firing order that do not name every cylinder once."""


def checked_banks(count: int, banks: Sequence[Sequence[int]] | None) -> tuple[tuple[int, ...], ...]:
    """The banks, or one bank in number order where none are given.

    Raises LayoutError when they do not hold the cylinders 1 to `count`, each once.
    """
    if banks is None:
        return (tuple(range(1, count + 1)),)
    listed = [number for bank in banks for number in bank]
    _refuse_other_than_each_once(count, listed, "banks")
    return tuple(tuple(bank) for bank in banks)


def side_by_side(count: int, banks: Sequence[Sequence[int]] | None = None) -> list[tuple[int, int]]:
    """The pairs of cylinders that stand next to each other in one bank."""
    return [(left, right) for bank in checked_banks(count, banks) for left, right in pairwise(bank)]


def one_after_another(count: int, firing_order: Sequence[int]) -> list[tuple[int, int]]:
    """The pairs of cylinders that fire one after the other, the last and the first among them."""
    _refuse_other_than_each_once(count, list(firing_order), "firing order")
    if count < 2:
        return []
    return list(zip(firing_order, [*firing_order[1:], firing_order[0]], strict=True))


def _refuse_other_than_each_once(count: int, listed: list[int], what: str) -> None:
    if sorted(listed) != list(range(1, count + 1)):
        named = ", ".join(map(str, listed)) or "none"
        raise LayoutError(
            f"The {what} must name each of the {count} cylinders read once, from 1 to {count}; "
            f"named are: {named}. Correct the {what} of the vehicle or the number of readings."
        )
