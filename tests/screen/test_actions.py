"""The one table of actions: bindings, foot, help and palette agree, and keys can be changed."""

import inspect

import pytest

from faulttree.screen.actions import (
    ACTIONS,
    BY_ID,
    EVERYWHERE,
    actions_of,
    bindings,
    check_keymap,
    keys_of,
    why_not,
)
from faulttree.screen.app import FaulttreeApp
from faulttree.screen.closing import ClosePage
from faulttree.screen.exercise import ExercisePage
from faulttree.screen.figures import FiguresPage
from faulttree.screen.gauge import GaugePage
from faulttree.screen.home import HomePage
from faulttree.screen.intake import ComplaintPage, ReadyPage, VehiclePage
from faulttree.screen.keyfile import read_keyfile
from faulttree.screen.map import MapPage
from faulttree.screen.page import Page
from faulttree.screen.proof import ProofPage
from faulttree.screen.reading import ReadingPage
from faulttree.screen.repair import RepairPage
from faulttree.screen.replay import ReplayPage
from faulttree.screen.report import ReportPage
from faulttree.screen.tests_list import TestsPage
from faulttree.screen.trees import TreesPage
from faulttree.screen.walk import WalkPage
from faulttree.screen.why import WhyPage

PAGES = [
    HomePage,
    ComplaintPage,
    VehiclePage,
    ReadyPage,
    FiguresPage,
    WalkPage,
    ReadingPage,
    TestsPage,
    GaugePage,
    WhyPage,
    MapPage,
    RepairPage,
    ProofPage,
    ClosePage,
    ReportPage,
    TreesPage,
    ReplayPage,
    ExercisePage,
]


def test_no_two_actions_of_a_page_share_a_key():
    """On every page a key does one thing."""
    for name in {action.page for action in ACTIONS}:
        keys = [key for action in actions_of(name) for key in keys_of(action, {})]
        assert len(keys) == len(set(keys)), name


def test_every_key_reaches_a_program():
    """No key of the table is one that tmux or a common terminal keeps for itself."""
    for action in ACTIONS:
        for key in keys_of(action, {}):
            assert why_not(key) is None, (action.id, key)


def test_back_has_a_second_key():
    """Esc is slow in many terminals, so Back has other keys, one of them for text fields."""
    keys = keys_of(BY_ID["everywhere.back"], {})
    assert keys[0] == "escape"
    assert any(len(key) == 1 for key in keys)
    assert any(key.startswith("ctrl+") for key in keys)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.__name__)
def test_every_action_of_a_page_exists(page):
    """What the table promises for a page is a method of that page."""
    for action in actions_of(page.PAGE):
        method = action.method.partition("(")[0]
        assert callable(getattr(page, f"action_{method}", None)), action.id


def test_every_page_of_the_table_is_a_page():
    """No action stands in the table for a page that is not there."""
    assert {action.page for action in ACTIONS} - {EVERYWHERE} <= {page.PAGE for page in PAGES}


def test_bindings_come_from_the_table():
    """A page's own bindings are exactly the table's."""
    for page in PAGES:
        own = {binding.id for binding in bindings(page.PAGE)}
        assert own == {a.id for a in ACTIONS if a.page == page.PAGE and a.keys}
        assert "BINDINGS" not in vars(page) or bindings(page.PAGE) == page.BINDINGS
        assert not any(name.startswith("key_") for name, _ in inspect.getmembers(page))


async def test_the_foot_fits_80_columns(drive, on_walk, work):
    """The keys at the foot are never cut, and `?` and Back are always among them."""
    async with drive(on_walk(work)) as seat:
        for key in ("", "w", "f", "h", "c", "m", "e", "t", "n", "u"):
            if key:
                await seat.press(key)
            foot = [
                row
                for row in seat.frame.splitlines()
                if any(name in row for name in ("Back", "Clear", "Home"))
            ][-1]
            assert "Keys" in foot
            assert not foot.endswith("…")
            while seat.page.PAGE != "walk":
                await seat.press("escape")


async def test_the_help_lists_the_keys_of_the_page(drive, on_walk, work):
    """`?` shows every key of the page with what it does."""
    async with drive(on_walk(work), (120, 60)) as seat:
        shown = await seat.press("question_mark")
        for action in actions_of("walk"):
            if action.id in {"walk.again", "walk.undo", "walk.proof", "walk.order"}:
                continue
            if action.keys and action.method not in {"instrument"}:
                assert action.about.split(".")[0] in shown, action.id


async def test_the_palette_offers_the_same_actions(drive, on_walk, work):
    """The palette runs what the table has for the page."""
    async with drive(on_walk(work)) as seat:
        await seat.press("ctrl+p")
        # With the key that does the same.
        assert "(n)" in await seat.type("note")
        await seat.press("enter")
        assert "Note" in seat.words
        assert "Keep it" in seat.words


def write(path, text):
    """A key file with this text."""
    path.write_text(text, encoding="utf-8")
    return path


async def test_keys_can_be_changed(drive, sessions, shop, tmp_path):
    """A key from the file works, the old one no longer does, foot and help show the new one."""
    keys = write(tmp_path / "k.yaml", "keys:\n  home.start: m\n  home.quit: [z]\n")
    async with drive(FaulttreeApp(shop, sessions, keys=keys)) as seat:
        assert "m Start" in seat.words
        assert "z Leave" in seat.words
        await seat.press("s")
        assert seat.page.PAGE == "home"
        await seat.press("m")
        assert seat.page.PAGE == "complaint"


async def test_two_keys_can_be_exchanged(drive, on_walk, work, sessions, shop, tmp_path):
    """Two actions may take each other's key."""
    keys = write(tmp_path / "k.yaml", "keys:\n  home.start: t\n  home.trees: s\n")
    async with drive(FaulttreeApp(shop, sessions, keys=keys)) as seat:
        await seat.press("s")
        assert seat.page.PAGE == "trees"
        await seat.press("escape", "t")
        assert seat.page.PAGE == "complaint"


async def test_a_conflict_is_reported_and_the_old_key_stays(drive, sessions, shop, tmp_path):
    """A key that another action of the page has is refused with its line; nothing is lost."""
    keys = write(tmp_path / "k.yaml", "keys:\n  home.start: t\n")
    async with drive(FaulttreeApp(shop, sessions, keys=keys)) as seat:
        assert "k.yaml:2:3" in seat.words.replace(" ", "")
        assert "it stays s" in seat.words
        await seat.press("s")
        assert seat.page.PAGE == "complaint"


@pytest.mark.parametrize(
    ("written", "reason"),
    [
        ("ctrl+b", "tmux keeps it for itself"),
        ("ctrl+s", "many terminals stop their output"),
        ("f1", "terminals keep the F keys"),
        ("alt+x", "Alt does not reach a program"),
        ("5", "digits are for readings"),
        ("enter", "moves about or confirms"),
        ("blargh", "there is no key called"),
    ],
)
def test_keys_that_cannot_be_used_say_why(written, reason):
    """A key that would not work is refused, with the reason."""
    usable, problems = check_keymap({"walk.note": [written]})
    assert usable == {}
    assert reason in problems[0].message


def test_an_unknown_action_is_guessed_at():
    """A misspelt action is refused with the nearest name."""
    _, problems = check_keymap({"walk.note_": ["m"]})
    assert "Did you mean walk.note?" in problems[0].message


def test_a_key_everywhere_may_not_hide_one_of_a_page():
    """A key given to every page is refused where a page has it already."""
    usable, problems = check_keymap({"everywhere.back": ["w"]})
    assert usable == {}
    assert len(problems) == 1


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("keys: 3\n", "the file holds one key, `keys:`"),
        ("- a\n", "the file holds one key, `keys:`"),
        ("keys: {walk.note: [[x]]}\n", "a key, or a list of keys, is wanted here"),
        ("keys: {walk.note: \n", ""),
    ],
)
def test_a_file_that_is_no_key_file_changes_nothing(tmp_path, text, said):
    """A broken key file says what is wrong, with its place, and no key changes."""
    keymap, problems = read_keyfile(write(tmp_path / "k.yaml", text))
    assert keymap == {}
    assert problems
    assert "k.yaml:" in problems[0]
    assert said in problems[0]


def test_a_missing_key_file_is_said(tmp_path):
    """A file named on the command line that is not there is a problem, not a silence."""
    keymap, problems = read_keyfile(tmp_path / "none.yaml")
    assert keymap == {}
    assert "none.yaml" in problems[0]


def test_pages_name_themselves():
    """Every page has a name of its own."""
    names = [page.PAGE for page in PAGES]
    assert len(set(names)) == len(names)
    assert all(issubclass(page, Page) for page in PAGES)
