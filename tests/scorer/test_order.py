"""The order in which the sums are done: none that begins with another finding would cost less."""

import math
import random

from faulttree.scorer import problem


def _masks(draw, findings):
    """Causes that touch some of the findings each."""
    counts = {}
    for _ in range(draw.randint(1, 50)):
        mask = 0
        for _ in range(draw.randint(2, 5)):
            mask |= 1 << draw.randrange(findings)
        if mask & (mask - 1):
            counts[mask] = draw.randint(1, 4)
    return counts


def test_the_order_is_the_cheapest_of_all_greedy_ones():
    """Giving a dear order up half-way changes no choice; every mask is in the order once."""
    draw = random.Random(3)
    searched = 0
    for _ in range(300):
        findings = draw.randint(2, 14)
        sizes = [math.log2(draw.randint(2, 4)) for _ in range(findings)]
        counts = _masks(draw, findings)
        best = problem._best_order(counts, sizes)
        assert sorted(mask for _, mask, _ in best.rows) == sorted(counts)
        # What is open after each row, added up afresh.
        live, cost = 0, 0.0
        for opening, mask, closing in best.rows:
            live |= opening | mask
            bits = sum(size for n, size in enumerate(sizes) if live >> n & 1)
            cost += counts[mask] * 2.0**bits
            live &= ~closing
        assert live == 0
        assert math.isclose(best.cost, cost)
        width_of = problem._width(sizes)
        touched = sorted({n for mask in counts for n in range(findings) if mask >> n & 1})
        starts = [problem._order(counts, width_of, n) for n in (None, *touched)]
        if starts[0].cost > problem.WIDE * sum(counts.values()):
            searched += 1
            assert best.cost == min(order.cost for order in starts)
        else:
            assert best == starts[0]
    assert searched > 50
