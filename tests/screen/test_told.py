"""What the screens tell in so many words: refusals, cures, titles, scales and repairs."""

import re

import pytest

from faulttree.scorer.evidence import Entry
from faulttree.screen import cards, draw, text
from faulttree.screen.app import FaulttreeApp
from faulttree.screen.entry import EntryPanel, Field
from faulttree.screen.figures import FiguresPage, _shown
from faulttree.screen.page import Words
from faulttree.screen.reading import ReadingPage
from faulttree.screen.wording import chance_words
from faulttree.screen.work import WorkFigures, begin, helped_nothing
from faulttree.session.events import (
    ComplaintChecked,
    ComplaintTaken,
    Repaired,
    VehicleDescribed,
)
from faulttree.session.moves import TakeReading
from faulttree.session.proof import to_repeat
from faulttree.tree.load import load
from faulttree.tree.places import TREES, shipped

KEYS = ("p", "c")


def hunting(work):
    """The complaint was seen on the bench."""
    work.do(TakeReading("idle-look", "hunting", Entry(choice="hunting"), "unknown", "route"))


def test_the_advice_after_a_cure_says_prove_then_close(work):
    """With the complaint gone it names proof and closing; still there, neither."""
    hunting(work)
    work.do(Repaired("air-leak", "hose renewed"), ComplaintChecked("idle", "present"))
    assert not work.gone
    assert cards.nothing_left(work, KEYS) == "nothing is left that would tell more."
    work.do(Repaired("air-leak", "gasket too"), ComplaintChecked("idle", "gone"))
    assert work.gone
    said = cards.nothing_left(work, KEYS)
    assert said == "the complaint is gone. p: prove the repair; c: close the session."


def test_a_proved_repair_only_has_to_be_closed(work):
    """Once all is repeated, the advice names closing alone."""
    hunting(work)
    work.do(Repaired("air-leak", "hose renewed"), ComplaintChecked("idle", "gone"))
    for due in to_repeat(work.state, work.knowledge):
        if due.kind == "test":
            expect = work.knowledge.tests[due.id].expect
            assert work.knowledge.tests[due.id].kind == "choice"
            work.do(TakeReading(due.id, expect, Entry(choice=expect), "unknown", "free"))
    said = cards.nothing_left(work, KEYS)
    assert said == "the complaint is gone and the repair proved. c: close the session."


async def test_the_walk_tells_of_a_cure(drive, on_walk, work, size):
    """Back on the walk after a cure the advice says that it is one, with keys that do as told."""
    hunting(work)
    work.do(Repaired("air-leak", "hose renewed"), ComplaintChecked("idle", "gone"))
    async with drive(on_walk(work), size) as seat:
        told = " ".join(seat.page.query_one("#ways", Words).content.plain.split())
        assert "Advice the complaint is gone. p: prove the repair; c: close the session." in told
        shown = await seat.press("p")
        assert "Proof after 1 repair" in shown


def test_a_repair_that_helped_nothing_is_not_taken_for_the_fault(work):
    """Still there and nothing right: not marked. Gone, or a reading come right: marked."""
    hunting(work)
    work.do(Repaired("air-leak", "hose renewed"), ComplaintChecked("idle", "present"))
    assert helped_nothing(work, "air-leak")
    work.do(TakeReading("idle-look", "steady", Entry(choice="steady"), "unknown", "free"))
    assert not helped_nothing(work, "air-leak")


def test_a_repair_that_nobody_looked_after_is_marked(work):
    """As long as nobody looked for the complaint, nothing speaks against the repair."""
    work.do(Repaired("air-leak", "hose renewed"))
    assert not helped_nothing(work, "air-leak")


@pytest.fixture
def four_gas(sessions):
    """A session on the shipped trees, with a test of four figures that fits its car."""
    knowledge = load(["idle-unsteady"], trees_dir=shipped(TREES))
    first = [ComplaintTaken("idle-unsteady"), VehicleDescribed("camper-four")]
    return begin(sessions, knowledge, "sam", "Idle - camper", ["idle-unsteady"], first)


async def test_a_refusal_is_seen_under_four_fields(drive, four_gas, sessions):
    """At 80x24 what is refused of four gases is said where it can be seen, and so is the band."""
    tests = four_gas.knowledge.tests
    test = next(t.id for t in tests.values() if t.reading and len(t.reading.parts) == 4)

    def opening(app):
        app.push_screen(ReadingPage(four_gas, test))

    async with drive(FaulttreeApp(shipped(TREES), sessions, who="sam", opening=opening)) as seat:
        await seat.press("enter", "enter")
        for figure in ("300", "13.2", "2.6", "150"):
            await seat.type(figure)
            shown = await seat.press("enter")
        panel = seat.page.query_one(EntryPanel)
        assert panel._note
        assert panel._note[:30] in shown


def test_the_figure_never_stands_in_the_middle_of_a_limit():
    """Wherever the pointer falls, each limit is told whole or not at all."""
    limits, bands = (39.16, 47.86), ("low", "in limits", "high")
    for tenth in range(300, 600):
        line, _ = draw.scale(tenth / 10, 1.2, limits, bands, "in limits", 76)
        told = [word for word in re.split(r"[─═┼▼◀▶]+", line.plain) if word]
        assert set(told) <= {"39.16", "47.86"}
        assert "47.86" in told


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        (60, "Idle wanders, hunts or hangs - silver saloon"),
        (30, "Idle wander… - silver saloon"),
        (24, "Idle wanders… - silver s…"),
    ],
)
def test_a_title_keeps_its_car(cells, said):
    """Where a title is too long the complaint gives way; a long car keeps half the room."""
    shown = text.title("Idle wanders, hunts or hangs - silver saloon", cells)
    assert text.width(shown) <= cells
    assert " - silver" in shown
    assert shown.split(" - ")[1][:8] == said.split(" - ")[1][:8]


@pytest.mark.parametrize("chance", [0.196, 0.2, 0.204])
def test_the_word_agrees_with_the_figure_beside_it(chance):
    """What is shown as 20 % has the word of 20 %."""
    assert chance_words(chance) == chance_words(0.2)


def test_a_wide_row_of_a_table_goes_on_under_itself():
    """The last column of a little table is broken, never cut."""
    row = "   hunting  swings by more than 75 rpm from peak to valley, up and down all the time"
    shown = [one.plain for one in cards.steps(f"1. Compare:\n{row}", 50)]
    assert "".join(shown).count("time") == 1
    assert all(text.width(one) <= 50 for one in shown)
    assert shown[2].startswith(" " * 12)


async def test_the_key_of_the_help_closes_it(drive, app):
    """`?` opens the help and `?` closes it; it never lies over itself."""
    async with drive(app) as seat:
        await seat.press("question_mark")
        assert "What the keys do here" in seat.words
        shown = await seat.press("question_mark")
        assert "What the keys do here" not in shown


async def test_a_wrong_figure_of_the_car_is_asked_for_again(drive, on_walk, work):
    """What cannot be read stays in the box, with what is wrong; mended, it is kept."""
    async with drive(on_walk(work)) as seat:
        await seat.press("e")
        row = next(iter(s for s in seat.page.order if not work.knowledge.specs[s].choices))
        seat.page.edit(row)
        await seat.settle()
        await seat.type("rubbish")
        shown = await seat.press("enter")
        assert "rubbish" in shown
        assert "! " in shown


async def test_a_word_typed_where_none_is_taken_leaves_one_notice(drive, app):
    """Letters that are no keys are told of one at a time, not heaped over the page."""
    async with drive(app) as seat:
        shown = await seat.press("j", "k", "y")
        assert shown.count("is no key here") == 1


async def test_the_proof_says_when_it_is_no_cure(drive, on_walk, work, size):
    """Still there: the proof says not cured and where to go; closing marks no cause by itself."""
    hunting(work)
    work.do(Repaired("air-leak", "hose renewed"), ComplaintChecked("idle", "present"))
    async with drive(on_walk(work), size) as seat:
        shown = await seat.press("p")
        assert "Not cured: the complaint is still there. w: look further" in shown
        shown = await seat.press("c")
        assert "[ ] Air leak after the throttle" in shown
        assert "repaired, no help" in shown


async def test_what_was_out_can_be_read_again_though_no_proof_asks_for_it(drive, on_walk, work):
    """A test that was out before a repair of something else stands in the list of the proof."""
    hunting(work)
    work.do(Repaired("valve-leaking", "head done"))
    assert "idle-look" not in {due.id for due in to_repeat(work.state, work.knowledge)}
    async with drive(on_walk(work)) as seat:
        shown = await seat.press("p")
        number = re.search(r"(\d) Idle watched if you like: was out before", shown)[1]
        shown = await seat.press(number)
        assert "before the repair it read hunting." in shown


async def test_another_unit_is_told_with_the_digits_of_a_gauge(drive, on_walk, work):
    """A figure typed in another unit is converted beside the field, and told after, in four digits.

    2.75 bar is 39.885 psi: 1 psi is 6.894 757 kPa (NIST SP 811, 2008, table B.8).
    """
    async with drive(on_walk(work)) as seat:
        seat.page.choose("fuel-pressure")
        await seat.settle()
        while not seat.page.query(Field):
            await seat.press("enter")
        shown = await seat.type("2,75 bar")
        assert "that is 39.89 psi" in shown
        shown = await seat.press("enter")
        assert "39.89 psi," in shown
        assert "39.885" not in shown


async def test_every_figure_of_a_car_has_its_whole_name_at_80_columns(drive, four_gas, sessions):
    """On the page of figures no name of the shipped trees is cut, and its origin stands beside."""

    def opening(app):
        app.push_screen(FiguresPage(WorkFigures(four_gas)))

    async with drive(FaulttreeApp(shipped(TREES), sessions, who="sam", opening=opening)) as seat:
        for spec in four_gas.knowledge.specs.values():
            row = seat.page._row(spec, four_gas.car).content.plain
            assert spec.name in row
            assert text.width(row) <= 76
            known = four_gas.car.specs.get(spec.id)
            # To four digits where it was turned into another unit.
            assert known is None or _shown(known) in row


async def test_the_route_that_is_walked_stands_first(drive, on_walk, sessions):
    """With two complaints, the route whose step is on the card is drawn above the other."""
    trees = ("idle-unsteady", "stumble-on-opening")
    knowledge = load(trees, trees_dir=shipped(TREES))
    taken = [ComplaintTaken(tree) for tree in trees]
    work = begin(sessions, knowledge, "sam", "Idle and stumble", trees, taken)
    named = [f"Route: {knowledge.trees[tree].complaint}" for tree in trees]
    async with drive(on_walk(work), (120, 40)) as seat:
        drawn = seat.app.screen.query_one("#route", Words)
        for first, other in (named, named[::-1]):
            said = str(drawn.content)
            assert said.index(first) < said.index(other)
            await seat.press("r")
