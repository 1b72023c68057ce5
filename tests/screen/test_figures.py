"""Figures of a car outside their usual range: asked about once, then taken, marked and told."""

import pytest
from textual import events

from faulttree.handover.markdown import to_markdown
from faulttree.handover.report import report
from faulttree.screen.boxes import WriteBox
from faulttree.screen.figures import FiguresPage
from faulttree.screen.intake import DraftFigures
from faulttree.session.events import SpecGiven
from faulttree.session.journal import list_sessions, read

ASKED = "900 kPa is outside the usual range (20 to 500 kPa). Enter again takes it anyway"


def given(work):
    """The figure as it was typed on the walk, or None."""
    fact = work.state.specs.get("fuel_pressure")
    return fact.event if fact else None


async def to_the_figure(seat):
    """From the list of figures into the box of the fuel pressure."""
    page = seat.page
    assert isinstance(page, FiguresPage)
    page.edit("fuel_pressure")
    await seat.settle()
    assert isinstance(seat.page, WriteBox)


async def test_an_unusual_figure_is_asked_about_once(drive, on_walk, work, size):
    """On the walk it is taken only when said again, and marked in log, list and report."""
    async with drive(on_walk(work), size) as seat:
        await seat.press("e")
        await to_the_figure(seat)
        await seat.type("900")
        await seat.press("enter")
        assert isinstance(seat.page, WriteBox)
        assert ASKED in " ".join(seat.page.said.plain.split())
        assert given(work) is None
        shown = await seat.press("enter")
        assert given(work) == SpecGiven("fuel_pressure", 900.0, "900", outside=True)
        assert "900 kPa" in shown
        assert "typed, unusual" in shown
        await seat.press("up")
        assert "! Fuel pressure: 900 kPa is outside the usual range" in seat.words
    told = to_markdown(report(work.state, work.knowledge))
    assert "outside the usual range, taken anyway" in told


@pytest.mark.parametrize(
    ("typed", "again", "value", "outside"),
    [("900", "90", 90.0, False), ("900", "9000", 9000.0, True), ("9", "5 bar", 500.0, False)],
)
async def test_another_figure_is_judged_anew(drive, on_walk, work, typed, again, value, outside):
    """What was asked about and then mended is a figure like any other."""
    async with drive(on_walk(work)) as seat:
        await seat.press("e")
        await to_the_figure(seat)
        await seat.type(typed)
        await seat.press("enter", *["backspace"] * len(typed))
        await seat.type(again)
        await seat.press("enter")
        if outside:
            assert given(work) is None
            await seat.press("enter")
        assert (given(work).value, given(work).outside) == (value, outside)


async def test_going_back_leaves_the_figure_as_it_was(drive, on_walk, work):
    """Whoever is asked and goes back has typed nothing."""
    async with drive(on_walk(work)) as seat:
        await seat.press("e")
        await to_the_figure(seat)
        await seat.type("900")
        await seat.press("enter", "escape")
        assert isinstance(seat.page, FiguresPage)
        assert given(work) is None


async def test_enter_typed_ahead_answers_nothing(drive, on_walk, work):
    """Enter twice in a hurry asks, and does not take."""
    async with drive(on_walk(work)) as seat:
        await seat.press("e")
        await to_the_figure(seat)
        await seat.type("900")
        # Faster than anything can follow.
        for _ in range(2):
            seat.app.post_message(events.Key("enter", "\r"))
        await seat.settle()
        assert isinstance(seat.page, WriteBox)
        assert given(work) is None


@pytest.mark.parametrize("typed", ["much", "40 ohm", "9 9"])
async def test_what_is_no_figure_is_refused_however_often(drive, on_walk, work, typed):
    """A word, a unit of another kind or two numbers are never taken; what was typed stays."""
    async with drive(on_walk(work)) as seat:
        await seat.press("e")
        await to_the_figure(seat)
        await seat.type(typed)
        for _ in range(3):
            await seat.press("enter")
            assert isinstance(seat.page, WriteBox)
            assert "Enter again" not in seat.page.said.plain
            assert seat.page.query_one("Input").value == typed
        assert given(work) is None


async def test_cylinders_that_no_engine_has_are_refused_where_they_are_typed(drive, on_walk, work):
    """So many fields could not be laid out, so this is no matter of asking."""
    async with drive(on_walk(work)) as seat:
        await seat.press("e")
        seat.page.edit("cylinders")
        await seat.settle()
        await seat.type("40")
        for _ in range(2):
            await seat.press("enter")
            assert "Number of cylinders is a whole number from 1 to 12." in seat.page.said.plain
        assert "cylinders" not in work.state.specs


async def test_a_typed_car_is_taken_in_with_an_unusual_figure(drive, app, sessions):
    """The intake asks in the same way, and the session keeps the mark."""
    async with drive(app) as seat:
        await seat.press("s", "enter", "2")
        await seat.type("blue one")
        await seat.press("enter")
        assert isinstance(seat.page.figures, DraftFigures)
        await to_the_figure(seat)
        await seat.type("900")
        await seat.press("enter")
        assert ASKED in " ".join(seat.page.said.plain.split())
        await seat.press("enter", "home", "enter")
        assert "1 typed" in seat.words
        await seat.press("g")
        event = read(list_sessions(sessions)[0].path).state.specs["fuel_pressure"].event
        assert (event.value, event.outside) == (900.0, True)
