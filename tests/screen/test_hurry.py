"""A slow machine and fast fingers: no key is lost or misread, no late answer does harm."""

import asyncio
import gc
import re
import time

from textual import events

from faulttree.scorer.evidence import Entry
from faulttree.screen.cards import Next
from faulttree.screen.entry import EntryPanel
from faulttree.screen.home import HomePage
from faulttree.screen.page import PageLike
from faulttree.screen.reading import ReadingPage
from faulttree.session.events import Repaired
from faulttree.session.journal import list_sessions, read
from faulttree.session.moves import TakeReading
from faulttree.tree import load as loading


async def burst(seat, *keys):
    """Press keys faster than anything can follow."""
    for key in keys:
        seat.app.post_message(events.Key(key, "\r" if key == "enter" else key))
    await seat.settle()


async def test_keys_wait_for_the_list_of_complaints(drive, app, sessions, monkeypatch):
    """However long the trees take to be looked through, keys typed ahead find the list there."""
    real = loading.list_trees

    def slow(folder):
        time.sleep(0.3)
        return real(folder)

    monkeypatch.setattr(loading, "list_trees", slow)
    async with drive(app) as seat:
        await burst(seat, "enter", "enter", "1", "enter", "2", "enter")
        (card,) = list_sessions(sessions)
        assert [fact.event.choice for fact in read(card.path).state.readings] == ["hunting"]


async def test_keys_wait_for_what_takes_long(drive, app, monkeypatch):
    """A key whose work takes longer than a widget may be silent holds the next ones as well."""

    async def slow(page, event):
        await asyncio.sleep(0.8)
        page.action_start()

    monkeypatch.setattr(HomePage, "on_pick_list_picked", slow)
    async with drive(app) as seat:
        await burst(seat, "enter", "enter")
        assert [page.PAGE for page in seat.app.screen_stack if isinstance(page, PageLike)] == [
            "home",
            "complaint",
            "vehicle",
        ]


async def test_a_key_that_fails_is_not_swallowed(drive, app, monkeypatch):
    """What goes wrong with a key that had to wait ends the program with its reason."""
    async with drive(app) as seat:

        async def fails(event):
            raise ZeroDivisionError("a key that cannot be passed on")

        monkeypatch.setattr(seat.app.ahead, "_pass_on", fails, raising=True)
        seat.app.ahead._waiting.append(events.Key("s", "s"))
        await seat.app.ahead._go_on(seat.app.screen)
        assert isinstance(seat.app._exception, ZeroDivisionError)
        assert seat.app.ahead.quiet
        seat.app._exception = None


async def test_nothing_typed_ahead_answers_a_failed_base_reading(drive, on_walk, work):
    """Keys that come before the question of a base reading can be seen do not answer it."""
    async with drive(on_walk(work)) as seat:
        seat.page.choose("fuel-pressure")
        await seat.settle()
        await seat.press("enter", "enter")
        await burst(seat, "3", "0", "enter", "3", "enter")
        assert "A base reading is out: look at this first" in seat.words
        assert not work.state.repairs


async def test_nothing_typed_ahead_answers_the_caution_of_a_repair(drive, on_walk, work):
    """Keys that come before the dangers of a repair can be seen do not answer them."""
    async with drive(on_walk(work)) as seat:
        shown = await seat.press("f")
        number = re.search(r"(\d) Weak fuel pump", shown)[1]
        await burst(seat, number, "enter", "enter", "1")
        assert "Petrol burns." in seat.words
        assert work.state.acknowledged == ()
        assert not work.state.repairs


async def test_nothing_typed_ahead_says_that_the_complaint_is_gone(drive, on_walk, work):
    """Keys that come before the question of the proof can be seen do not answer it."""
    seen = TakeReading("idle-look", "hunting", Entry(choice="hunting"), taken_as="route")
    work.do(seen, Repaired("air-leak", "hose renewed"))
    async with drive(on_walk(work)) as seat:
        shown = await seat.press("p")
        number = re.search(r"(\d) Is the complaint gone\?", shown)[1]
        await burst(seat, number, "1")
        assert "Gone: it did not show" in seat.words
        assert not work.state.checks
        await seat.press("1")
        assert [check.event.found for check in work.state.checks] == ["gone"]


async def test_a_late_advice_moves_no_page_that_was_left(drive, on_walk, work, hold):
    """Advice that comes after the walk was left is dropped, even where it would show a card."""
    gate = hold("advice")
    async with drive(on_walk(work)) as seat:
        page = seat.page
        await seat.pilot.press("2", "enter")
        await seat.until(lambda: work.state.readings and page.advised is None)
        page.next = Next("none", "", "route", "The route ends here.")
        await seat.pilot.press("escape")
        await seat.until(lambda: seat.page.PAGE == "home")
        gate.set()
        await seat.settle()
        assert page.next.kind == "none"
        assert seat.page.PAGE == "home"


async def test_why_waits_for_chances_that_are_up_to_date(drive, on_walk, work, hold):
    """Chances from before the last reading are not set beside the evidence as if they held."""
    gate = hold("chances")
    async with drive(on_walk(work)) as seat:
        await seat.pilot.press("2", "enter")
        await seat.until(lambda: work.state.readings)
        await seat.pilot.press("w")
        await seat.until(lambda: seat.page.PAGE == "why" and "still being worked out" in seat.words)
        gate.set()
        await seat.settle()
        assert "Air leak after the throttle" in await seat.press("escape", "w")
        assert "still being worked out" not in seat.words


async def test_the_drivers_words_change_no_chance(drive, on_walk, work):
    """What the last reading moved is not put down to words of the driver that are added later."""
    async with drive(on_walk(work)) as seat:
        assert "Air leak after the throttle rose" in await seat.press("2", "enter")
        await seat.press("d", "1")
        await seat.type("worse in rain")
        shown = await seat.press("enter", "escape")
        assert "Changed: no chance by as much as 1 %." in shown


async def test_a_reading_over_the_walk_leaves_the_collector_alone(drive, on_walk, work):
    """What the walk took out of the garbage collector's rounds stays out until the walk is left."""
    assert gc.get_freeze_count() == 0
    async with drive(on_walk(work)) as seat:
        await seat.until(gc.get_freeze_count)
        seat.app.push_screen(ReadingPage(work, "idle-look"))
        await seat.settle()
        await seat.press("escape")
        assert seat.page.PAGE == "walk"
        assert gc.get_freeze_count()
        await seat.press("escape")
        assert seat.page.PAGE == "home"
        assert gc.get_freeze_count() == 0


async def test_the_advice_waits_until_the_card_is_painted(drive, on_walk, work, monkeypatch):
    """The next card is painted before the advice, which would slow that down, is worked out."""
    told = []
    async with drive(on_walk(work)) as seat:
        page = seat.page
        paint, hand_on, entry = page._compositor_refresh, page._hand_on, page.query_one(EntryPanel)

        def painted():
            told.append(entry.test.id)
            paint()

        def handed_on(counting, show):
            told.append(show.__name__)
            hand_on(counting, show)

        monkeypatch.setattr(page, "_compositor_refresh", painted)
        monkeypatch.setattr(page, "_hand_on", handed_on)
        await seat.press("2", "enter")
        assert told.index("manifold-vacuum") < told.index("_advised")


async def test_nothing_jumps_while_the_advice_is_worked_out(drive, on_walk, work, hold):
    """Until the advice of a new reading is there, causes and plot stay where they are."""
    async with drive(on_walk(work), (120, 40)) as seat:
        await seat.press("2", "enter")
        causes, plot = seat.page.query_one("#causes"), seat.page.query_one("#plot")
        place, way = causes.region.y, str(plot.render())
        assert "reading by reading" in way
        gate = hold("advice")
        await seat.type("14")
        await seat.pilot.press("enter")
        await seat.until(lambda: len(work.state.readings) == 2 and "Last: Manifold" in seat.words)
        assert "working it out" in seat.words
        assert (causes.region.y, str(plot.render())) == (place, way)
        gate.set()
        await seat.settle()
        assert str(plot.render()) != way
