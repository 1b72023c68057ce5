"""Home and the intake: from nothing to the first test, with few keys and much that is unknown."""

import errno
import os
from pathlib import Path

import pytest

from faulttree.screen.app import FaulttreeApp
from faulttree.screen.boxes import ReadBox
from faulttree.screen.home import HomePage
from faulttree.screen.intake import rank
from faulttree.session.events import Closed
from faulttree.session.journal import bring_in, list_sessions, read
from faulttree.session.moves import NotAllowed
from faulttree.tree.load import list_trees
from faulttree.tree.places import shipped

SHOP = Path(__file__).parent / "shop"


async def test_home_says_what_to_do(drive, app, size):
    """The first page says what Enter does, and its keys stand at the foot."""
    async with drive(app, size) as seat:
        assert "Press Enter to start." in seat.words
        assert "1 Start a session" in seat.words
        foot = seat.frame.splitlines()[-1]
        assert all(name in foot for name in ("Start", "Trees", "Leave", "? Keys"))


async def test_eight_keys_to_the_first_reading(drive, app, sessions, size):
    """With a known car, eight keys or fewer lead from home to the first test."""
    async with drive(app, size) as seat:
        keys = ("enter", "enter", "1", "enter")
        assert len(keys) <= 8
        shown = await seat.press(*keys)
        assert "Idle watched" in shown
        assert "0 readings, all saved" in shown
        log = read(list_sessions(sessions)[0].path)
        assert log.state.trees == ("idle",)
        assert log.state.vehicle.event.vehicle == "van"


async def test_the_drivers_words_find_the_complaint(drive, app):
    """What the driver says finds the complaint, though its name holds none of the words."""
    async with drive(app) as seat:
        await seat.press("s")
        shown = await seat.type("bogs")
        assert "Stumbles as the throttle opens" in shown
        assert "Idle wanders" not in shown


async def test_words_that_find_nothing_still_show_the_list(drive, app):
    """Where nothing answers, all complaints stay in reach."""
    async with drive(app) as seat:
        await seat.press("s")
        shown = await seat.type("qqqq")
        assert "Nothing answers" in shown
        assert "Idle wanders" in shown


async def test_several_complaints_at_once(drive, app, sessions):
    """Digits mark complaints, Enter takes all that are marked."""
    async with drive(app) as seat:
        await seat.press("s", "1", "2")
        assert seat.frame.count("[x]") == 2
        await seat.press("enter", "1")
        assert "Idle wanders + Stumbles" in seat.words
        await seat.press("enter")
        assert read(list_sessions(sessions)[0].path).state.trees == ("idle", "stumble")


async def test_another_car_with_unknown_figures(drive, app, sessions, size):
    """A car that the shop has no file of is described by choices, and the rest stays unknown."""
    async with drive(app, size) as seat:
        await seat.press("s", "enter", "2")
        await seat.type("blue one")
        shown = await seat.press("enter")
        assert "What kind of engine is it?" in shown
        await seat.press("down", "enter")
        await seat.press("1")
        assert "carburettor" in seat.words
        await seat.press("home", "enter")
        assert "blue one" in seat.words
        await seat.press("enter")
        state = read(list_sessions(sessions)[0].path).state
        assert state.vehicle.event.name == "blue one"
        assert state.specs["fuel_system"].event.value == "carburettor"


async def test_what_the_driver_says_is_kept(drive, app, sessions):
    """Words, answers, comes-and-goes and the technician's name go into the session."""
    async with drive(app) as seat:
        await seat.press("s", "enter", "1")
        await seat.press("4")
        await seat.type("hunts")
        await seat.press("enter")
        await seat.press("5")
        assert "Hot, cold or both?" in seat.words
        await seat.type("hot")
        await seat.press("enter", "escape")
        await seat.press("6", "7", "2")
        assert "1 of 2 answered" in seat.words
        await seat.press("g")
        taken = read(list_sessions(sessions)[0].path).state.complaint("idle")
        assert (taken.said, taken.how_often, taken.showing) == ("hunts", "comes and goes", "yes")
        assert taken.answers == {"Hot, cold or both?": "hot"}


async def test_a_folder_that_cannot_be_written_is_said_first(drive, tmp_path, size):
    """Where no session can be kept, the intake does not begin: what, where and what to do is said.

    Once it is mended the same key begins it.
    """
    sessions = tmp_path / "a-file"
    sessions.write_text("")
    async with drive(FaulttreeApp(SHOP, sessions), size) as seat:
        shown = await seat.press("s")
        assert "No session can be begun" in shown
        assert isinstance(seat.page, ReadBox)
        said = seat.page.said.plain
        assert f"{sessions}: no session can be begun here: Not a directory." in said
        assert "A file is wanted where there is a folder" in said
        assert "Esc Back" in shown
        await seat.press("escape")
        assert seat.page.PAGE == "home"
        sessions.unlink()
        await seat.press("s")
        assert seat.page.PAGE == "complaint"


async def test_what_was_typed_outlives_a_full_disk(drive, app, sessions, monkeypatch):
    """Why a session cannot be begun stays until it is read; all that was typed is still there."""

    def full(*_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    async with drive(app) as seat:
        await seat.press("s", "enter", "1", "4")
        await seat.type("hunts")
        await seat.press("enter")
        with monkeypatch.context() as patched:
            patched.setattr(os, "write", full)
            await seat.press("g")
        assert isinstance(seat.page, ReadBox)
        assert "The disk is full: make room on it, then try again." in seat.page.said.plain
        assert "Nothing that was typed is lost" in seat.page.said.plain
        assert list_sessions(sessions) == []
        shown = await seat.press("escape")
        assert seat.page.PAGE == "ready"
        assert "Driver says hunts" in shown
        await seat.press("g")
        assert read(list_sessions(sessions)[0].path).state.complaint("idle").said == "hunts"


async def test_a_question_without_an_answer_is_passed_by(drive, app, sessions):
    """Enter alone leaves a question open and goes on; an answer can be taken away again."""
    async with drive(app) as seat:
        shown = await seat.press("s", "enter", "1", "5")
        assert "Enter alone leaves it open. 1 more after this; Esc stops asking." in shown
        shown = await seat.press("enter")
        assert "The last one." in shown
        await seat.type("yes")
        assert "1 of 2 answered" in await seat.press("enter")
        await seat.press("5", "enter", "ctrl+u", "enter")
        assert "0 of 2 answered" in seat.words


async def test_questions_of_several_complaints_name_theirs(drive, app):
    """With two complaints each question says of which it is; with one that is plain."""
    async with drive(app) as seat:
        assert "Of: " not in await seat.press("s", "enter", "1", "5")
        await seat.press("escape", "2", "1", "2", "enter")
        shown = await seat.press("5")
        assert "Of: Idle wanders" in shown


async def test_what_the_driver_says_can_be_emptied(drive, app):
    """A line that was written can be made empty again."""
    async with drive(app) as seat:
        await seat.press("s", "enter", "1", "4")
        await seat.type("hunts")
        assert "Driver says hunts" in await seat.press("enter")
        assert "nothing written yet" in await seat.press("4", "ctrl+u", "enter")


async def test_leaving_with_something_typed_is_asked_about(drive, app, sessions):
    """Words that only the intake holds are not lost by one Esc too many."""
    async with drive(app) as seat:
        await seat.press("s", "enter", "1", "4")
        await seat.type("hunts")
        await seat.press("enter", "escape", "escape")
        assert seat.page.PAGE == "complaint"
        shown = await seat.press("escape")
        assert "Leave without beginning?" in shown
        await seat.press("1")
        assert seat.page.PAGE == "complaint"
        await seat.press("enter")
        assert seat.page.PAGE == "ready"
        assert "Driver says hunts" in seat.words
        await seat.press("escape", "escape", "2")
        assert seat.page.PAGE == "home"
    assert list_sessions(sessions) == []


async def test_back_from_changing_the_complaint_leads_to_what_was_ready(drive, shop, sessions):
    """Who goes to the complaints from the last look and thinks better of it finds all as it was."""
    app = FaulttreeApp(
        shop, sessions, who="sam", opening=lambda app: app.start_intake(("idle",), "van")
    )
    async with drive(app) as seat:
        await seat.press("4")
        await seat.type("hunts")
        await seat.press("enter", "2", "2")
        assert seat.page.PAGE == "complaint"
        await seat.press("escape")
        assert seat.page.PAGE == "ready"
        assert "Complaint Idle wanders" in seat.words
        assert "Stumbles" not in seat.words
        assert "Driver says hunts" in seat.words


async def test_back_from_naming_a_car_is_no_step_forward(drive, app):
    """Esc where a car is named leads back to the cars; Enter alone goes on without a name."""
    async with drive(app) as seat:
        await seat.press("s", "enter", "2", "escape")
        assert seat.page.PAGE == "vehicle"
        await seat.press("2", "enter")
        assert seat.page.PAGE == "figures"
        assert "Car without a name" in seat.words
        # From the figures as well: only their first row leads on.
        await seat.press("escape")
        assert seat.page.PAGE == "vehicle"
        await seat.press("2", "enter", "enter")
        assert seat.page.PAGE == "ready"
        assert "Car without a name" in seat.words


async def test_no_car_gets_the_figures_of_another(drive, app, sessions):
    """Figures typed for one car stay with it: not with the next one, and there on coming back."""
    async with drive(app) as seat:
        await seat.press("s", "enter", "2")
        await seat.type("blue one")
        await seat.press("enter")
        seat.page.edit("cylinders")
        await seat.settle()
        await seat.type("6")
        assert "1 typed" in await seat.press("enter", "home", "enter")
        shown = await seat.press("3", "1")
        assert "Grey van" in shown
        assert "1 typed" not in shown
        await seat.press("3", "2", "enter")
        assert "1 typed" in await seat.press("enter")


async def test_going_back_through_the_intake(drive, app):
    """Each step of the intake leads back to the one before, down to home."""
    async with drive(app) as seat:
        await seat.press("s", "enter", "1")
        assert seat.page.PAGE == "ready"
        await seat.press("b")
        assert seat.page.PAGE == "vehicle"
        await seat.press("b")
        assert seat.page.PAGE == "complaint"
        await seat.press("ctrl+g")
        assert seat.page.PAGE == "home"


async def test_trees_that_cannot_be_used_say_why(drive, sessions, tmp_path):
    """A broken tree is named with its file, line and column."""
    (tmp_path / "bad.yaml").write_text("format: 1\ncomplaint: Bad\nroute: 3\n")
    async with drive(FaulttreeApp(tmp_path, sessions)) as seat:
        await seat.press("s", "enter")
        assert "The trees cannot be used as they are" in seat.words
        assert "bad.yaml:" in seat.frame
        await seat.press("escape")
        assert seat.page.PAGE == "complaint"


async def test_a_folder_without_trees_says_so(drive, sessions, tmp_path):
    """An empty folder of trees says what to do about it."""
    async with drive(FaulttreeApp(tmp_path, sessions)) as seat:
        await seat.press("s")
        assert "There are no trees here." in seat.words


async def test_the_trees_can_be_looked_at(drive, app, size):
    """The trees page shows each complaint's route, every test once."""
    async with drive(app, size) as seat:
        shown = await seat.press("t")
        assert "Idle wanders" in shown
        assert "hunting → Manifold vacuum at idle" in shown
        assert "low → suspect: Air leak after the throttle" in shown


async def test_a_closed_session_can_be_reopened(drive, app, work):
    """Reopening takes the closing back and goes on with the walk."""
    work.do(Closed("not found"))
    work.close()
    async with drive(app) as seat:
        await seat.press("down")
        assert "o Reopen" in seat.words
        await seat.press("o")
        assert seat.page.PAGE == "walk"
        with pytest.raises(NotAllowed):
            work.do(Closed("not found"))
        assert seat.page.work.state.is_open


async def test_a_session_held_by_another_says_by_whom(drive, app, work):
    """A session that somebody else writes to is not opened, and the screen says who has it."""
    async with drive(app) as seat:
        shown = await seat.press("down", "enter")
        assert "The session cannot be opened" in shown
        assert "being written to by sam" in shown


async def test_resume_stands_where_it_was_left(drive, sessions, work):
    """Resuming by path opens the walk at once."""
    work.close()
    app = FaulttreeApp(
        sessions.parent, sessions, opening=lambda app: app.resume(work.path), who="sam"
    )
    async with drive(app) as seat:
        assert seat.page.PAGE == "walk"
        assert "Idle watched" in seat.words


@pytest.mark.parametrize(
    ("query", "better", "worse"),
    [
        ("stalls lights", ["Cuts out at the lights", "Stalls"], ["Lacks power"]),
        ("pulling away", ["It bogs down when I pull away"], ["It will not start"]),
        ("cold", ["Hard to start when cold"], ["Hard to start when hot"]),
    ],
)
def test_search_ranks_what_answers_best(query, better, worse):
    """What holds the driver's words, in whatever form, comes before what does not."""
    assert rank(query, better) > rank(query, worse)


async def test_a_session_left_by_the_way_back_stands_on_home(drive, tmp_path: Path) -> None:
    """Whatever was begun over Home is listed once Home is seen again."""
    from textual.screen import Screen

    app = FaulttreeApp(shipped("trees"), tmp_path / "sessions", who="tester")
    (tmp_path / "sessions").mkdir()
    async with drive(app) as seat:
        await app.push_screen(Screen[None]())
        shipped_log = next(shipped("sessions").glob("2026-11-24*.jsonl"))
        bring_in(shipped_log, tmp_path / "sessions")
        app.pop_screen()
        await seat.settle()
        home = app.screen
        assert isinstance(home, HomePage)
        assert [card.id for card in home.cards.values()] == [shipped_log.stem]


async def test_no_shipped_complaint_needs_more_than_eight_keys(drive, tmp_path):
    """From Home, eight keys at most lead to where the first reading of any complaint is entered."""
    trees = shipped("trees")
    cards = list_trees(trees)
    for at, card in enumerate(cards):
        # The first nine have a digit, and for the others two letters are enough.
        chosen = [str(at + 1)] if at < 9 else list(card.complaint.casefold()[:2])
        keys = ["enter", *chosen, "enter", "1", "enter"]
        async with drive(FaulttreeApp(trees, tmp_path / card.id, who="sam")) as seat:
            await seat.press(*keys)
            while seat.page._asking:
                keys.append("enter")
                await seat.press("enter")
            assert seat.page.work.state.trees == (card.id,)
            assert seat.page.query_one("EntryPanel").display, card.id
            assert len(keys) <= 8, (card.id, keys)


async def test_a_letter_that_is_no_key_says_so(drive, app):
    """On Home as everywhere, a letter that does nothing is answered."""
    async with drive(app) as seat:
        assert "z is no key here; ? shows the keys." in await seat.press("z")
        assert "h (Report) does nothing just now" in await seat.press("h")


async def test_the_complaint_can_be_changed_before_the_walk(drive, app):
    """The row of the complaint leads back to where it was chosen, past the choice of the car."""
    async with drive(app) as seat:
        await seat.press("s", "enter", "1", "2")
        assert seat.page.PAGE == "complaint"
        await seat.press("enter")
        assert seat.page.PAGE == "ready"
        assert "Grey van" in seat.words


async def test_a_complaint_named_at_the_start_can_be_changed(drive, shop, sessions):
    """Where complaint and car were named on the command line, the complaint can still be chosen."""
    app = FaulttreeApp(
        shop, sessions, who="sam", opening=lambda app: app.start_intake(("idle",), "van")
    )
    async with drive(app) as seat:
        await seat.press("2")
        assert seat.page.PAGE == "complaint"
        await seat.press("enter")
        assert seat.page.PAGE == "ready"
