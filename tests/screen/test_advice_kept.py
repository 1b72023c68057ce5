"""What was advised as something was done is kept with it, whatever the technician chose."""

import pytest

from faulttree.screen.work import Reckoner


async def test_a_reading_and_a_repair_keep_what_was_advised(drive, on_walk, work):
    """Both hold the advice's first choice of their moment, its minutes, and what another costs."""
    reckoner = Reckoner(work.knowledge)
    async with drive(on_walk(work)) as seat:
        before = reckoner.advice(work.state, work.car).suggestions
        await seat.press("2", "enter")
        advice = work.state.readings[0].event.advice
        assert (advice.id, advice.minutes) == (before[0].id, before[0].minutes)
        costs = {one.id: one.expected_cost for one in before}
        taken = work.state.readings[0].event.test
        extra = costs[taken] - before[0].expected_cost if taken in costs else None
        assert advice.extra == (None if extra is None else pytest.approx(extra, abs=0.01))
        await seat.type("12,5")
        await seat.press("enter")
        before = reckoner.advice(work.state, work.car).suggestions
        await seat.press("f", "enter", "enter", "enter")
        (repair,) = work.state.repairs
        assert repair.event.advice.id == before[0].id
