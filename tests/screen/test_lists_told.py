"""Every page says what its digits do and how more is seen; nothing is cut without a sign of it."""

import re

import pytest

from faulttree.handover.blocks import Table
from faulttree.screen import driver, text
from faulttree.screen.app import FaulttreeApp
from faulttree.screen.boxes import AskBox
from faulttree.screen.closing import ClosePage
from faulttree.screen.figures import FiguresPage
from faulttree.screen.foot import digits_do, with_digits, with_paging
from faulttree.screen.gauge import GaugePage
from faulttree.screen.lists import PickList, Search
from faulttree.screen.report import _table
from faulttree.screen.tests_list import TestsPage
from faulttree.screen.work import WorkFigures
from faulttree.session.events import ComplaintTaken, SpecGiven
from faulttree.tree.places import shipped


def foot(seat):
    """The last row, or that of the box that lies over the page."""
    rows = [row for row in seat.frame.splitlines() if "Back" in row or "Leave" in row]
    return rows[0] if isinstance(seat.page, AskBox) else rows[-1]


def on(page, sessions, shop):
    """The app with a page over Home."""
    return FaulttreeApp(shop, sessions, who="sam", opening=lambda app: app.push_screen(page))


async def test_a_digit_opens_a_row_of_home(drive, app, work, size):
    """On Home a digit opens its row at once, as the page says; nothing is written by it."""
    before = work.path.read_bytes()
    work.close()
    async with drive(app, size) as seat:
        assert "Digits open a row." in seat.words
        assert "2 Idle wanders - van" in seat.words
        await seat.press("2")
        assert seat.page.PAGE == "walk"
        await seat.press("escape", "3")
        assert seat.page.PAGE == "trees"
        await seat.press("escape", "1")
        assert seat.page.PAGE == "complaint"
    assert work.path.read_bytes() == before


async def test_the_intake_says_what_digits_do(drive, app, size):
    """They mark a complaint, and choose a car or a line of the last look at once."""
    async with drive(app, size) as seat:
        await seat.press("s")
        assert "1-9 Mark" in foot(seat)
        await seat.press("1")
        assert "[x] Idle wanders" in seat.words
        assert "Enter Take the marked one" in foot(seat)
        assert "Enter takes what is marked." in seat.words
        assert "Enter Take the 2 marked" in await seat.press("2")
        await seat.press("1", "2")
        assert "Enter takes the highlighted one." in seat.words
        await seat.press("enter")
        assert "1-9 Choose at once" in foot(seat)
        await seat.press("1")
        assert seat.page.PAGE == "ready"
        assert "1-9 Choose at once" in foot(seat)
        await seat.press("7")
        assert "1-5 Choose at once" in foot(seat)


async def test_a_digit_in_the_list_of_tests_only_goes_there(drive, on_walk, work, size):
    """A digit there may be part of a name that is searched for, so it takes nothing."""
    async with drive(on_walk(work), size) as seat:
        await seat.press("space", "t")
        assert isinstance(seat.page, TestsPage)
        assert "1-9 Go to" in foot(seat)
        await seat.press("2")
        assert isinstance(seat.page, TestsPage)
        listed = seat.page.query_one(PickList)
        assert listed.highlighted_option.prompt.plain.startswith("2 ")
        # Behind a space or another digit it goes on with the name.
        await seat.press(*"idle 25")
        assert seat.page.query_one(Search).value == "idle 25"


async def test_the_whole_name_of_a_test_stands_below_the_list(drive, on_walk, begin_on):
    """What is cut in a row at 80 columns is whole below, for the row that is highlighted."""
    from faulttree.tree.load import load

    knowledge = load(["idle-unsteady"], trees_dir=shipped("trees"))
    work = begin_on(knowledge)
    async with drive(on_walk(work)) as seat:
        seat.app.push_screen(TestsPage(work, None))
        await seat.settle()
        listed = seat.page.query_one(PickList)
        cut = [row.id for row in listed._rows if "…" in row.content.plain and row.id]
        assert cut
        listed.highlighted = [row.id for row in listed._rows].index(cut[0])
        await seat.settle()
        assert knowledge.tests[cut[0]].name in seat.words


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda work: ClosePage(work, None), "1-9 Mark, or choose at once"),
        (lambda work: GaugePage(work, work.knowledge.tests["fuel-pressure"], {}), "1-9 Choose at"),
    ],
    ids=["closing", "gauge"],
)
async def test_other_lists_say_it_too(drive, sessions, shop, work, make, said, size):
    """Where a digit takes a row at once that stands at the foot, and so does the way back."""
    async with drive(on(make(work), sessions, shop), size) as seat:
        assert said in foot(seat)
        assert "Esc Back" in foot(seat)


async def test_a_long_text_says_how_more_is_seen(drive, on_walk, work, size):
    """Why, map and report name the key that shows more; on the trees it scrolls the text."""
    async with drive(on_walk(work), size) as seat:
        for key in ("w", "m"):
            await seat.press("space", key)
            assert "PgDn More" in foot(seat)
            await seat.press("escape")
        await seat.press("space", "h")
        assert "PgDn More" in foot(seat)
        await seat.press("escape", "escape", "t")
        assert "PgDn More  1-9 Go to" in foot(seat)
        chosen = seat.page.query_one(PickList).chosen
        await seat.press("pagedown")
        assert seat.page.query_one(PickList).chosen == chosen


async def test_the_text_of_a_tree_can_be_read_to_its_end(drive, sessions):
    """The route of a tree goes on below the page, and PgDn leads there."""
    async with drive(FaulttreeApp(shipped("trees"), sessions)) as seat:
        await seat.press("t", "pagedown")
        scrolled = seat.page.query_one("#why-text")
        assert scrolled.scroll_y > 0


async def test_the_help_says_what_holds_on_its_page(drive, on_walk, work, app):
    """Digits, Tab and letters are explained as they are on the page behind, and only there."""
    async with drive(app) as seat:
        await seat.press("s", "ctrl+o")
        assert re.search(r"digits +Mark: the row of that number", seat.words)
        assert "Tab Mark the highlighted row" in seat.words
        assert "To the next field" not in seat.words
        await seat.press("pagedown")
        assert "Letters are typed into the search" in seat.words
        assert "belong to the unit" not in seat.words


async def test_only_a_typed_figure_can_be_forgotten(drive, on_walk, work):
    """The key that forgets a figure is there where there is one to forget."""
    work.do(SpecGiven("cylinders", 6.0, "6"))
    async with drive(on_walk(work)) as seat:
        page = FiguresPage(WorkFigures(work))
        seat.app.push_screen(page)
        await seat.settle()
        page.show("fuel_pressure")
        await seat.settle()
        assert "Del Unknown" not in foot(seat)
        page.show("cylinders")
        await seat.settle()
        assert "Del Unknown" in foot(seat)
        await seat.press("delete")
        assert "cylinders" not in work.state.specs


async def test_a_long_answer_of_the_driver_is_cut_with_a_sign(drive, on_walk, work):
    """An answer that does not fit its row ends in an ellipsis, and an emptied one is gone."""
    question = work.knowledge.trees["idle"].ask[0]
    said = "hot and after a long descent with the engine braking"
    work.do(ComplaintTaken("idle", "hunts", {question: said}))
    async with drive(on_walk(work)) as seat:
        shown = await seat.press("d")
        assert "What the driver says: Idle wanders" in shown
        assert text.clip(said, driver.ANSWER) in shown
        assert said not in shown
        entries = work.state.last
        await seat.press("1", "enter")
        # Nothing was changed, so nothing is written.
        assert work.state.last == entries
        await seat.press("3", "ctrl+u", "enter")
        assert question not in work.state.complaint("idle").answers
        assert work.state.complaint("idle").said == "hunts"


def test_names_in_a_table_of_the_report_are_not_squeezed_by_heads():
    """A column that only its head makes wide gives way before the names of causes do."""
    name = "Air leak after the throttle (gasket, hose, brake)"
    head = ("Cause", "Before any reading", "Present when it came in", "Present now")
    rows = [row.plain for row in _table(Table(head, ((name, "18 %", "18 %", "9 %"),)), 76)]
    assert any(name in row for row in rows)
    assert all(text.width(row) <= 76 for row in rows)
    told = " ".join(" ".join(rows).split())
    assert all(word in told for title in head for word in title.split())


def test_pieces_at_the_foot():
    """Digits stand behind Enter; a list without rows has none, and one row only its digit."""
    enter = ("Enter", "Take", "", 1)
    back = ("Esc", "Back", "back", 2)
    told = with_digits([enter, back], "Open")
    assert [piece[:2] for piece in told] == [("Enter", "Take"), ("1-9", "Open"), ("Esc", "Back")]
    assert digits_do(told) == "Open"
    assert with_digits([back], "Open", 0) == [back]
    assert with_digits([back], "Open", 1)[0][:2] == ("1", "Open")
    assert with_digits([back], "Open", 30)[0][0] == "1-9"
    assert with_paging(told)[0][0] == "PgDn"
    assert digits_do([enter, back]) == ""
