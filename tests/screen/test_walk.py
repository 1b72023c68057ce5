"""The walk: from a card through its reading to what it changed, at both sizes."""

import re
from dataclasses import replace

import pytest
from textual import events
from textual.app import App
from textual.content import Content

from faulttree.scorer.evidence import Entry
from faulttree.screen.app import FaulttreeApp
from faulttree.screen.cards import cautions_text, ways
from faulttree.screen.lists import ChoiceList, Row
from faulttree.screen.page import Words
from faulttree.screen.work import Reckoned, Reckoner, begin, moved
from faulttree.session.events import (
    CautionAcknowledged,
    ComplaintTaken,
    ReadingTaken,
    RouteLeft,
    SpecGiven,
)
from faulttree.session.journal import JournalError, list_sessions, read
from faulttree.session.moves import TakeReading
from faulttree.tree.load import load, load_all
from faulttree.tree.places import shipped


def readings(work):
    """The readings that stand in a session."""
    return [fact.event for fact in work.state.readings]


async def test_a_choice_is_read_by_digit_and_enter(drive, on_walk, work, size):
    """A digit chooses, Enter takes it down, and the screen says what it was and what comes next."""
    async with drive(on_walk(work), size) as seat:
        assert "Idle watched" in seat.words
        shown = await seat.press("2", "enter")
        assert [r.choice for r in readings(work)] == ["hunting"]
        assert readings(work)[0].taken_as == "route"
        assert "Last: Idle watched: ✗ hunting, 90 % sure." in shown
        assert "Route: because Idle watched read hunting." in shown
        assert "Air leak after the throttle rose" in shown


async def test_enter_alone_says_nothing_about_a_choice(drive, on_walk, work):
    """Enter before anything was chosen takes no reading, and says what is missing."""
    async with drive(on_walk(work)) as seat:
        shown = await seat.press("enter")
        assert readings(work) == []
        assert "Choose what you see first." in shown


async def test_a_figure_is_previewed_while_it_is_typed(drive, on_walk, work, size):
    """While a figure is typed, its band, how sure that is and its limits stand beside it."""
    async with drive(on_walk(work), size) as seat:
        await seat.press("2", "enter")
        shown = await seat.type("12,5")
        assert "In limits: above 16 inHg (16 inHg, the car's file)" in shown
        assert "✗ low," in shown
        assert "12.5 ±" in shown
        assert readings(work)[1:] == []
        shown = await seat.press("enter")
        assert readings(work)[1].values == {"value": (12.5,)}
        assert "Suspect: Air leak after the throttle" in shown


async def test_a_figure_takes_its_own_unit(drive, on_walk, work):
    """A unit typed behind a figure is converted, and what was typed is kept."""
    async with drive(on_walk(work)) as seat:
        await seat.press("2", "enter")
        await seat.type("60 kPa")
        await seat.press("enter")
        taken = readings(work)[1]
        assert taken.typed == "60 kPa"
        # 1 inHg is 3.386 389 kPa: NIST SP 811 (2008), table B.8 (conventional).
        assert abs(taken.values["value"][0] - 60 / 3.386389) < 1e-4


async def test_letters_are_keys_until_a_digit_is_typed(drive, on_walk, work):
    """In an empty field a letter is a key of the page; after a digit it belongs to the unit."""
    async with drive(on_walk(work)) as seat:
        await seat.press("2", "enter")
        await seat.press("n")
        assert "Note" in seat.words
        await seat.press("escape")
        shown = await seat.type("5n")
        assert "5n" in shown
        assert seat.page.PAGE == "walk"
        await seat.press("escape")
        assert not seat.page.query_one("EntryPanel").has_text
        assert seat.page.PAGE == "walk"


async def test_nonsense_is_refused_with_a_reason(drive, on_walk, work):
    """What is no reading is not taken down, and the screen says why."""
    async with drive(on_walk(work)) as seat:
        await seat.press("2", "enter")
        await seat.type("5 bananas")
        shown = await seat.press("enter")
        assert len(readings(work)) == 1
        assert "! " in shown
        assert "bananas" in shown


async def test_a_figure_that_cannot_be_is_never_taken_in_silence(drive, on_walk, work):
    """A figure outside what the test can read is asked about once, then taken, and so marked."""
    async with drive(on_walk(work)) as seat:
        await seat.press("2", "enter")
        shown = await seat.type("99")
        assert "! 99 inHg is outside what this test can read (0 to 30 inHg)." in shown
        # What it would come to stands behind the doubt.
        assert shown.index("! 99 inHg is outside") < shown.index("as good as certain")
        shown = await seat.press("enter")
        assert len(readings(work)) == 1
        assert "Enter again takes it anyway; or mend it." in shown
        # Another figure is asked about anew.
        await seat.press("backspace", "8")
        assert "Enter again" not in seat.words
        await seat.press("enter")
        assert len(readings(work)) == 1
        await seat.press("enter")
        taken = readings(work)[1]
        assert (taken.values, taken.outside) == ({"value": (98.0,)}, True)
        assert taken.bands["in limits"] == 1.0


async def test_a_figure_outside_can_be_mended(drive, on_walk, work):
    """What was asked about and then mended is taken like any other, without a mark."""
    async with drive(on_walk(work)) as seat:
        await seat.press("2", "enter")
        await seat.type("99")
        await seat.press("enter", "backspace", "enter")
        assert (readings(work)[1].values, readings(work)[1].outside) == ({"value": (9.0,)}, False)


@pytest.mark.parametrize(
    ("typed", "how"),
    [
        ("17", ""),
        ("17 inHg", ""),
        ("17,5", "read as 17.5 inHg"),
        ("0.6bar", "that is 17.72 inHg"),
    ],
)
async def test_how_a_figure_was_read_is_said(drive, on_walk, work, typed, how):
    """Beside the field stands how the figure was read, where that is not plain to see."""
    async with drive(on_walk(work)) as seat:
        await seat.press("2", "enter")
        shown = await seat.type(typed)
        assert how in shown
        assert ("read as" in shown or "that is" in shown) is bool(how)


async def test_a_reading_near_a_limit_says_so_and_counts_with_its_repeat(drive, on_walk, work):
    """Near a limit the screen asks for a repeat; repeats show their mean and count as one."""
    async with drive(on_walk(work)) as seat:
        await seat.press("2", "enter")
        shown = await seat.type("15.9")
        assert "Near a limit: take it again." in shown
        shown = await seat.press("enter")
        assert "Near a limit: g takes it again." in shown
        shown = await seat.press("g")
        assert "Before, counted together: 15.9" in shown
        await seat.type("14,9")
        await seat.press("enter", "g")
        assert "15.9, 14.9 (mean 15.4, spread 0.71)" in seat.words
        assert readings(work)[-1].repeat_of == (readings_numbers(work)[1],)


def readings_numbers(work):
    """The numbers of the readings that stand."""
    return [fact.sequence for fact in work.state.readings]


async def test_a_caution_is_answered_before_a_reading(drive, on_walk, work, size):
    """A caution stands before the test; one Enter does not pass it, a second one does."""
    async with drive(on_walk(work), size) as seat:
        await seat.press("1", "enter")
        shown = seat.words
        assert "Before you begin" in shown
        assert "Petrol burns. Let it cool and keep sparks away." in shown
        assert "Read it, then press Enter twice." in shown
        shown = await seat.press("enter")
        assert work.state.acknowledged == ()
        assert "Before you begin" in shown
        assert "Enter again: you have read it, and do as it says." in shown
        shown = await seat.press("enter")
        assert work.state.acknowledged[0].event.caution == "petrol"
        assert "Danger: petrol" in shown
        assert "Fuel pressure at prime" in shown


async def test_a_danger_read_before_takes_one_enter(drive, on_walk, work, size):
    """What was read in this session is told again in full, and one Enter answers for the test."""
    petrol = CautionAcknowledged("petrol", "test", "fuel-pressure", "understood")
    work.do(petrol)
    async with drive(on_walk(work), size) as seat:
        seat.page.choose("regulator-rise")
        await seat.settle()
        assert "As before. Enter: you do as it says." in seat.words
        assert "Petrol burns. Let it cool and keep sparks away." in seat.words
        shown = await seat.press("1")
        assert "Enter: you do as it says. Figures come after." in shown
        assert len(work.state.acknowledged) == 1
        await seat.press("enter")
        answers = [fact.event for fact in work.state.acknowledged]
        assert answers == [petrol, replace(petrol, id="regulator-rise")]
        assert not seat.page.query_one("EntryPanel").has_text


def test_a_new_danger_comes_before_those_read_before(work):
    """Among dangers that are known, the new one stands first."""
    known = work.knowledge.cautions
    shown = cautions_text([known["petrol"], known["hot-parts"]], frozenset({"petrol"})).plain
    assert shown.split("\n") == [
        "! Hot parts burn the skin. Wear gloves.",
        "As before:",
        "! Petrol burns. Let it cool and keep sparks away.",
    ]


async def test_no_digit_answers_a_caution(drive, on_walk, work, size):
    """A digit does not answer a caution, so that no habit types it into a field."""
    async with drive(on_walk(work), size) as seat:
        seat.page.choose("fuel-pressure")
        await seat.settle()
        shown = await seat.press("1", "2")
        assert work.state.acknowledged == ()
        assert seat.page.PAGE == "walk"
        assert "Read it, then press Enter twice. Figures come after." in shown
        await seat.press("enter", "enter")
        assert len(work.state.acknowledged) == 1
        assert not seat.page.query_one("EntryPanel").has_text


async def test_a_stop_caution_stops_the_work(drive, on_walk, work):
    """What is for trained practice alone says STOP, and is passed only by saying who does it."""
    async with drive(on_walk(work)) as seat:
        seat.page.choose("gas-check")
        await seat.settle()
        assert "STOP - this is for trained practice" in seat.words
        assert "Hand over to trained practice." in seat.words
        assert "Read, and done as it says" not in seat.words
        shown = await seat.press("enter", "enter")
        assert work.state.acknowledged == ()
        assert "Read it, then choose with the arrows and Enter." in shown
        await seat.press("down", "down", "enter")
        assert work.state.acknowledged[0].event.answer == "trained"


async def test_each_cylinder_has_its_field(drive, on_walk, work, size):
    """A table for the cylinders shows shares, the lowest and highest, and marks what is low."""
    async with drive(on_walk(work), size) as seat:
        seat.page.choose("compression")
        await seat.settle()
        for figure in ("150", "148", "95"):
            await seat.type(figure)
            await seat.press("enter")
        assert "One more: cylinder 4." in seat.words
        shown = await seat.type("151")
        assert "63%▼" in shown.replace(" ", "")
        assert "lowest 95 (3), highest 151 (4), lowest is 63 % of highest" in shown
        assert "✗ one low" in shown
        await seat.press("enter")
        assert readings(work)[0].values == {"value": (150.0, 148.0, 95.0, 151.0)}


async def test_figures_of_eight_cylinders_stand_whole(drive, on_walk, work, size):
    """However narrow the fields of eight cylinders are, what was typed can be read."""
    work.do(SpecGiven("cylinders", 8.0, "8", "counted"))
    async with drive(on_walk(work), size) as seat:
        seat.page.choose("compression")
        await seat.settle()
        for figure in ("185", "183", "18.6", "195", "184", "182", "187"):
            await seat.type(figure)
            await seat.press("enter")
        shown = await seat.type("181")
        assert "185 183 18.6 195 184 182 187 181" in shown


async def test_cylinders_can_be_read_in_firing_order(drive, on_walk, work):
    """In firing order the fields stand 1-3-4-2, and what is typed still goes to its cylinder."""
    async with drive(on_walk(work)) as seat:
        seat.page.choose("compression")
        await seat.settle()
        shown = await seat.press("o")
        assert "cyl 1 3 4 2" in shown
        for figure in ("11", "13", "14", "12"):
            await seat.type(figure)
            await seat.press("enter")
        assert readings(work)[0].values == {"value": (11.0, 12.0, 13.0, 14.0)}


async def test_several_parts_are_typed_one_after_another(drive, on_walk, work, size):
    """A test of two figures has a field for each, and the sum of them is what is judged."""
    async with drive(on_walk(work), size) as seat:
        seat.page.choose("regulator-rise")
        await seat.settle()
        await seat.press("enter", "enter")
        await seat.type("34")
        await seat.press("enter")
        shown = await seat.type("42")
        assert "hose on" in shown
        assert "✓ in limits" in shown
        await seat.press("enter")
        assert readings(work)[0].values == {"hose_on": (34.0,), "hose_off": (42.0,)}


async def test_showing_is_kept_with_the_reading(drive, on_walk, work):
    """Whether the complaint was showing is turned by one key and kept with the reading."""
    async with drive(on_walk(work)) as seat:
        # A choice begins with s, so that the letter alone would go there.
        assert "Space s Complaint showing now: not said (it matters here)" in seat.words
        shown = await seat.press("space", "s", "space", "s")
        assert re.search(r"Complaint showing now: no\b(?! said)", shown)
        await seat.press("1", "enter")
        assert readings(work)[0].showing == "no"


async def test_a_base_reading_that_fails_is_said_before_going_on(drive, on_walk, work, size):
    """A base reading out of limits stands in the way until it is answered."""
    async with drive(on_walk(work), size) as seat:
        seat.page.choose("fuel-pressure")
        await seat.settle()
        await seat.press("enter", "enter")
        await seat.type("30")
        shown = await seat.press("enter")
        assert "A base reading is out: look at this first" in shown
        assert "Every mixture reading rests on this one." in shown
        shown = await seat.press("enter")
        assert "A base reading is out: look at this first Press its digit." in shown
        shown = await seat.press("2")
        assert "Before, counted together: 30" in shown


async def test_cannot_do_asks_why_and_goes_on(drive, on_walk, work):
    """A test that cannot be done is noted with its reason, and the next one comes up."""
    async with drive(on_walk(work)) as seat:
        shown = await seat.press("x")
        assert "Why can it not be done?" in shown
        await seat.press("1")
        assert work.state.cannot_do["idle-look"].event.reason == "No tool for it here"
        await seat.press("enter", "enter")
        assert "passed over, as it cannot be done here: Idle watched." in seat.words


async def test_undo_shows_what_it_takes_back(drive, on_walk, work, size):
    """Undo says what goes before it goes; the log keeps it, the test comes up again."""
    async with drive(on_walk(work), size) as seat:
        await seat.press("2", "enter")
        shown = await seat.press("u")
        assert "Take this back?" in shown
        assert "Idle watched: hunting" in shown
        shown = await seat.press("1")
        assert readings(work) == []
        assert any(isinstance(e.event, ReadingTaken) for e in work.state.history)
        assert "Idle watched" in shown


async def test_undo_can_be_declined(drive, on_walk, work):
    """Going back from the question takes nothing back."""
    async with drive(on_walk(work)) as seat:
        await seat.press("2", "enter", "u", "escape")
        assert len(readings(work)) == 1


async def test_route_and_advice_stand_side_by_side(drive, on_walk, work, size):
    """Both ways are shown with their minutes, and each is one key away."""
    async with drive(on_walk(work), size) as seat:
        assert "r Route ▶ Idle watched, 5 min" in seat.words
        assert "a Advice" in seat.words
        await seat.press("a")
        assert seat.page.next.way == "advice"
        await seat.press("r")
        assert seat.page.next.id == "idle-look"


async def test_leaving_the_route_is_noted_and_undone_with_the_reading(drive, on_walk, work):
    """A test of one's own choice notes what the route asked for; undo takes both back."""
    async with drive(on_walk(work)) as seat:
        await seat.press("t")
        await seat.type("vacuum")
        await seat.press("enter")
        await seat.type("18")
        await seat.press("enter")
        left = [e.event for e in work.state.history if isinstance(e.event, RouteLeft)]
        assert (left[0].at_step, left[0].to) == ("idle-look", "manifold-vacuum")
        assert readings(work)[0].taken_as == "free"
        await seat.press("u", "1")
        assert readings(work) == []
        assert work.state.routes_left == ()


async def test_the_list_of_tests_says_what_does_not_fit(drive, on_walk, work):
    """Every test can be searched; one read already says so."""
    async with drive(on_walk(work)) as seat:
        await seat.press("1", "enter", "t")
        assert "✓ steady" in seat.words
        shown = await seat.type("zzz")
        assert "No test answers that." in shown


async def test_a_note_is_written_down(drive, on_walk, work):
    """A note goes into the session as it was typed."""
    async with drive(on_walk(work)) as seat:
        await seat.press("n")
        await seat.type("hose split")
        await seat.press("enter")
        assert work.state.notes[0].event.text == "hose split"


async def test_another_instrument_is_named_and_corrected(drive, on_walk, work):
    """The instrument can be changed and given a point of correction, and both then count."""
    async with drive(on_walk(work)) as seat:
        seat.page.choose("fuel-pressure")
        await seat.settle()
        await seat.press("enter", "enter", "i")
        assert "With which instrument?" in seat.words
        await seat.press("2")
        assert "Old gauge from the shelf ± 3 psi" in seat.words
        await seat.press("i", "3")
        await seat.type("40")
        await seat.press("enter")
        await seat.type("37")
        await seat.press("enter")
        assert work.state.instruments[0].event.true == 37.0
        await seat.press("escape")
        await seat.type("40")
        await seat.press("enter")
        taken = readings(work)[0]
        assert taken.instruments == {"value": "old-gauge"}
        assert taken.true_values == {"value": (37.0,)}


async def test_a_limit_that_is_not_known_asks_for_the_figure(drive, on_walk, work, begin_on):
    """Where a limit needs a figure of the car, Enter leads to that figure and back."""
    async with drive(on_walk(work)) as seat:
        from faulttree.session.events import VehicleDescribed

        work.do(VehicleDescribed(None, "another car"))
        seat.page.choose("manifold-vacuum")
        await seat.settle()
        assert "Limits not known" in seat.words
        await seat.type("18")
        shown = await seat.press("enter")
        assert "Lowest good idle vacuum" in shown
        await seat.type("54")
        await seat.press("enter")
        assert work.state.specs["idle_vacuum_low"].event.value == 54.0
        assert "typed for this car" in seat.words
        assert "✓ in limits" in seat.words


async def test_the_entry_stays_in_sight(drive, on_walk, work):
    """At 80x24 the entry and the keys are on the screen for every test there is."""
    async with drive(on_walk(work)) as seat:
        for test in work.knowledge.tests:
            seat.page.choose(test)
            await seat.settle()
            entry, answers = seat.page.query_one("EntryPanel"), seat.page.query_one("#answers")
            shown = entry if entry.display else answers
            assert shown.region.bottom <= seat.page.query_one("#left").region.bottom
            assert shown.region.height > 0
            assert "? Keys" in seat.frame.splitlines()[-1]


async def test_the_terminal_may_change_its_size(drive, on_walk, work):
    """What is typed stays when the terminal is made larger and smaller again."""
    async with drive(on_walk(work)) as seat:
        await seat.press("2", "enter")
        await seat.type("17.5")
        await seat.pilot.resize_terminal(120, 40)
        await seat.settle()
        assert "The chances of 1 to 4" in seat.words
        assert "Route: Idle wanders" in seat.words
        await seat.pilot.resize_terminal(80, 24)
        await seat.settle()
        assert "17.5" in seat.words
        await seat.press("enter")
        assert readings(work)[1].values == {"value": (17.5,)}


async def test_leaving_the_walk_saves_and_frees_the_session(drive, on_walk, work):
    """Back leaves to the home page, where the session can be gone on with."""
    async with drive(on_walk(work)) as seat:
        await seat.press("2", "enter")
        await seat.press("b")
        assert seat.page.PAGE == "home"
        assert "Idle wanders - van" in seat.words
        shown = await seat.press("down", "enter")
        assert "Last: Idle watched: ✗ hunting" in shown


async def test_a_reading_that_cannot_be_written_is_not_lost(drive, on_walk, work, monkeypatch):
    """When the disk refuses a reading, the screen says so and what was typed stays."""
    async with drive(on_walk(work)) as seat:
        await seat.press("2", "enter")
        await seat.type("17")

        def full(*_):
            raise JournalError("log: the disk is full: make room on it, then try again.")

        monkeypatch.setattr(work.journal, "append", full)
        shown = await seat.press("enter")
        assert "the disk is full" in shown
        assert len(readings(work)) == 1
        monkeypatch.undo()
        await seat.press("enter")
        assert readings(work)[1].values == {"value": (17.0,)}


async def test_slow_chances_do_not_hold_the_keys(drive, on_walk, work, hold):
    """When the scorer takes its time, the next card is there at once and the chances follow."""
    gate = hold("chances")
    async with drive(on_walk(work)) as seat:
        await seat.pilot.press("2", "enter")
        await seat.until(lambda: "Working out what it changed..." in seat.words)
        await seat.until(lambda: "Manifold vacuum at idle" in seat.words)
        gate.set()
        await seat.settle()
        assert "Air leak after the throttle rose" in seat.words


async def test_a_late_answer_is_dropped(drive, on_walk, work):
    """An answer for a state that has passed changes nothing on the screen."""
    async with drive(on_walk(work)) as seat:
        old = seat.page.reckoned
        await seat.press("2", "enter")
        new = seat.page.reckoned
        seat.page._reckoned(old)
        assert seat.page.reckoned is new


async def test_readings_that_cannot_all_be_true_are_said(drive, on_walk, work, monkeypatch):
    """When nothing explains the readings together, the screen says so and goes on."""

    def impossible(self, state, car, before=None):
        return Reckoned(moved(state), trouble="No cause explains these readings together.")

    monkeypatch.setattr(Reckoner, "chances", impossible)
    async with drive(on_walk(work)) as seat:
        assert "No cause explains these readings together." in seat.words
        await seat.press("2", "enter")
        assert len(readings(work)) == 1


async def test_two_complaints_have_two_routes(drive, on_walk, begin_on, shop, size):
    """With two complaints both routes stand there, and the route's key goes round them."""
    both = begin_on(load(["idle", "stumble"], trees_dir=shop))
    async with drive(on_walk(both), size) as seat:
        assert seat.words.count("r Route") >= 2
        assert seat.page.next.id == "idle-look"
        await seat.press("r")
        assert seat.page.next.id == "tip-in"
        await seat.press("r")
        assert seat.page.next.id == "idle-look"


async def test_what_the_driver_says_can_be_added_on_the_way(drive, on_walk, work):
    """The driver's words and answers can be written down while the walk is under way."""
    async with drive(on_walk(work)) as seat:
        await seat.press("d", "1")
        await seat.type("worse in rain")
        await seat.press("enter")
        assert work.state.complaint("idle").said == "worse in rain"
        await seat.press("3")
        await seat.type("cold")
        await seat.press("enter", "escape")
        assert work.state.complaint("idle").answers == {"Hot, cold or both?": "cold"}


async def test_a_list_pasted_fills_the_table(drive, on_walk, work):
    """A list pasted into the first field fills the fields of all cylinders."""
    async with drive(on_walk(work)) as seat:
        seat.page.choose("compression")
        await seat.settle()
        seat.page.focused.post_message(events.Paste("150, 148, 95, 151"))
        await seat.settle()
        assert "✗ one low" in seat.words


async def test_a_choice_can_be_typed(drive, on_walk, work, size):
    """Letters that a choice begins with go to it and do nothing else; Enter takes it."""
    async with drive(on_walk(work), size) as seat:
        shown = await seat.type("hunting")
        assert seat.page.PAGE == "walk"
        assert readings(work) == []
        assert "'hunting' goes to: hunting. Enter takes it." in shown
        await seat.press("enter")
        assert [r.choice for r in readings(work)] == ["hunting"]


async def test_words_that_are_no_choice_do_nothing(drive, on_walk, work):
    """A word that goes on as no choice does is not taken for keys of the page."""
    async with drive(on_walk(work)) as seat:
        shown = await seat.type("huw")
        assert seat.page.PAGE == "walk"
        assert "No choice begins with 'huw'." in shown
        # The way back is one key, and then the letter is a key of the page again.
        assert "Esc Clear" in seat.words
        await seat.press("escape")
        assert not seat.page.query_one("EntryPanel").has_text
        await seat.press("w")
        assert seat.page.PAGE == "why"


async def test_space_makes_a_letter_a_command(drive, on_walk, work):
    """Where a choice begins with a command's letter, Space and that letter give the command."""
    async with drive(on_walk(work)) as seat:
        await seat.press("h")
        assert seat.page.PAGE == "walk"
        await seat.press("escape")
        shown = await seat.press("space")
        assert "Space: now the letter of a command" in shown
        await seat.press("h")
        assert seat.page.PAGE == "report"


async def test_a_letter_never_replaces_a_choice_that_was_made(drive, on_walk, work):
    """Once a digit chose, a letter is a command of the page, though a choice begins with it."""
    async with drive(on_walk(work)) as seat:
        # `s` would go to `steady`; here it says whether the complaint was showing.
        shown = await seat.press("2", "s")
        assert "Complaint showing now: yes" in shown
        assert "Enter Take it" in shown
        assert "Esc Clear" in shown
        await seat.press("enter")
        assert [(r.choice, r.showing) for r in readings(work)] == [("hunting", "yes")]


async def test_escape_takes_a_choice_back_before_it_leaves(drive, on_walk, work):
    """Esc after a digit leaves the walk only once the choice is cleared."""
    async with drive(on_walk(work)) as seat:
        await seat.press("2", "escape")
        assert seat.page.PAGE == "walk"
        await seat.press("enter")
        assert readings(work) == []
        await seat.press("escape")
        assert seat.page.PAGE == "home"


async def test_the_same_letter_goes_on_to_the_next_choice():
    """A letter typed again goes to the next choice that begins with it, and round."""
    words = ("switching", "stays low", "stays high", "slow", "none")
    choices = ChoiceList([Row(word, Content(word)) for word in words])

    class Bare(App):
        def compose(self):
            yield choices

    async with Bare().run_test() as pilot:
        choices.highlighted = None
        seen = []
        for _ in range(5):
            await pilot.press("s")
            seen.append(choices.chosen)
        assert seen == ["switching", "stays low", "stays high", "slow", "switching"]
        choices.forget_typed()
        choices.highlighted = None
        await pilot.press(*"stays", "space", "h")
        assert choices.chosen == "stays high"
        # A digit is a row's number even then, and no letter replaces what it chose.
        await pilot.press("2", "n")
        assert choices.chosen == "stays low"


async def burst(seat, *keys):
    """Press keys faster than anything can follow."""
    for key in keys:
        seat.app.post_message(events.Key(key, "\r" if key == "enter" else key))
    await seat.settle()


async def test_keys_typed_ahead_are_meant_for_the_next_card(drive, on_walk, work, size):
    """Keys that come before the next card stands wait for it: no reading is lost or mixed up."""
    async with drive(on_walk(work), size) as seat:
        await burst(seat, "2", "enter", "1", "8", "enter", "w")
        taken = [r.choice or r.values["value"] for r in readings(work)]
        assert taken == ["hunting", (18.0,)]
        assert seat.page.PAGE == "why"


async def test_keys_typed_ahead_go_through_a_table(drive, on_walk, work):
    """Every cylinder's figure goes into its own field however fast it is typed."""
    async with drive(on_walk(work)) as seat:
        seat.page.choose("compression")
        await seat.settle()
        await burst(seat, *"150", "enter", *"148", "enter", *"95", "enter", *"151", "enter")
        assert readings(work)[0].values == {"value": (150.0, 148.0, 95.0, 151.0)}


async def test_nothing_typed_ahead_answers_a_caution(drive, on_walk, work):
    """Keys that come before a caution can be seen do not answer it."""
    async with drive(on_walk(work)) as seat:
        await burst(seat, "1", "enter", "enter", "enter", "3", "4", "enter")
        assert [r.choice for r in readings(work)] == ["steady"]
        assert work.state.acknowledged == ()
        assert "Before you begin" in seat.words


async def test_nothing_typed_ahead_answers_a_danger_read_before(drive, on_walk, work):
    """One Enter is enough for a danger that was read before, but not one that came before it."""
    work.do(CautionAcknowledged("petrol", "test", "regulator-rise", "understood"))
    async with drive(on_walk(work)) as seat:
        await burst(seat, "1", "enter", "enter", "enter")
        assert [r.choice for r in readings(work)] == ["steady"]
        assert len(work.state.acknowledged) == 1
        assert "As before. Enter" in seat.words


async def test_keys_typed_ahead_go_from_home_to_the_first_card(drive, app, sessions):
    """From Home to the first reading everything may be typed in one go."""
    async with drive(app) as seat:
        await burst(seat, "enter", "enter", "1", "enter", "2", "enter")
        await seat.settle()
        (card,) = list_sessions(sessions)
        assert [fact.event.choice for fact in read(card.path).state.readings] == ["hunting"]


async def test_a_test_taken_back_comes_up_by_its_route(drive, on_walk, work):
    """After undo the test that the route asks for comes up again as the route's."""
    async with drive(on_walk(work)) as seat:
        await seat.press("2", "enter", "u", "enter")
        assert "Route: what stood here was taken back." in seat.words
        assert "Idle watched" in seat.words
        await seat.press("x", "1")
        assert seat.page.next.id != "idle-look"
        await seat.press("u", "enter")
        assert seat.page.next.id == "idle-look"
        await seat.press("2", "enter")
        assert readings(work)[-1].taken_as == "route"


async def test_the_list_of_tests_puts_what_answers_best_first(drive, on_walk, work):
    """Every word typed counts: the test that answers most of them stands first."""
    async with drive(on_walk(work)) as seat:
        await seat.press("t")
        await seat.type("fuel pressure at prime")
        await seat.press("enter")
        assert seat.page.next.id == "fuel-pressure"
        # So does one that was read already.
        await seat.press("r", "1", "enter", "t")
        await seat.type("idle watched")
        await seat.press("enter")
        assert seat.page.next.id == "idle-look"


async def test_help_opens_while_a_figure_is_typed(drive, on_walk, work):
    """The key of help is the same whether or not something stands in the field."""
    async with drive(on_walk(work)) as seat:
        await seat.press("2", "enter")
        assert "? Keys" in seat.words
        await seat.type("12")
        assert "? Keys" in seat.words
        shown = await seat.press("question_mark")
        assert "What the keys do here" in shown
        await seat.press("escape")
        assert seat.page.query_one("EntryPanel").has_text
        await seat.press("escape", "t", "question_mark")
        assert "What the keys do here" in seat.words


async def test_a_letter_that_does_nothing_says_so(drive, on_walk, work):
    """A letter that is no key, or whose command makes no sense now, is not lost in silence."""
    async with drive(on_walk(work)) as seat:
        assert "z is no key here; ? shows the keys." in await seat.press("z")
        assert "p (Proof) does nothing just now" in await seat.press("p")
        # What a key does is not commented on.
        assert "does nothing" not in (await seat.press("w")).replace("p (Proof) does nothing", "")


async def test_many_complaints_leave_the_entry_in_sight(drive, tmp_path, size):
    """With every shipped complaint at once the card, its entry, the advice and causes all fit."""
    known = load_all(shipped("trees"))
    work = begin(
        tmp_path, known, "sam", "all", tuple(known.trees), [ComplaintTaken(t) for t in known.trees]
    )
    app = FaulttreeApp(shipped("trees"), tmp_path, who="sam", opening=lambda app: app.go_on(work))
    async with drive(app, size) as seat:
        seat.page.choose("idle-watch")
        await seat.settle()
        while seat.page._asking:
            stops = seat.page._asking[0].stops
            await seat.press(*(["down"] if stops else []), "enter", *([] if stops else ["enter"]))
        assert re.search(r"and \d+ more; r goes from one to the next", seat.words)
        assert "What do you see?" in seat.words
        assert "a Advice" in seat.words
        panel = seat.page.query_one("EntryPanel").region
        assert panel.height >= 6
        assert panel.bottom <= seat.page.query_one("#left").region.bottom
        assert seat.page.query_one("#card").region.height >= 2


def test_the_chances_before_are_the_same_remembered_or_worked_out(work):
    """What an entry did is told alike by one who saw the entry before it and by a newcomer."""
    seen = Reckoner(work.knowledge)
    for choice in ("hunting", "low"):
        before = work.state
        seen.chances(before, work.car)
        entry = Entry(choice=choice)
        work.do(TakeReading("idle-look", choice, entry))
        fresh = Reckoner(work.knowledge).chances(work.state, work.car, before)
        told = seen.chances(work.state, work.car, before)
        assert told == fresh
        assert any(abs(cause.chance - cause.before) > 0.01 for cause in told.causes)


async def test_words_take_the_room_that_they_need():
    """Text that is changed is shown, and takes other room only where it has other rows."""
    words, under = Words(id="words"), Words(Content("under"), id="under")

    class Bare(App):
        CSS = "Words { height: auto; }"

        def compose(self):
            yield words
            yield under

    def shown(app):
        rows = app.screen._compositor.render_strips()
        return ["".join(segment.text for segment in row).rstrip() for row in rows]

    async with Bare().run_test(size=(20, 8)) as pilot:
        for text in ("one\ntwo", "uno\ndue", "uno\ndue", "three\nrows\nnow", "a row " * 9, "one"):
            words.update(Content(text))
            await pilot.pause()
            rows = shown(pilot.app)
            at = rows.index("under")
            assert " ".join(" ".join(rows[:at]).split()) == " ".join(text.split())
            assert words.size.height == at
        # The same words in other colours are painted too.
        words.update(Content("one").stylize("bold"))
        await pilot.pause()
        strip = pilot.app.screen._compositor.render_strips()[0]
        assert any(s.text.startswith("one") and s.style and s.style.bold for s in strip)


async def test_repeats_of_every_cylinder_show_their_means(drive, on_walk, work):
    """Before a repeat of a list its earlier figures stand there; after two, the mean of each."""
    async with drive(on_walk(work)) as seat:
        for row in (("150", "148", "95", "151"), ("152", "148", "97", "151")):
            seat.page.choose("compression")
            await seat.settle()
            for figure in row:
                await seat.type(figure)
                await seat.press("enter")
            if row[0] == "150":
                seat.page.choose("compression")
                await seat.settle()
                assert "counted together: 150, 148, 95, 151" in seat.words
        seat.page.choose("compression")
        await seat.settle()
        assert "2 times, mean 151, 148, 96, 151, spread up to 1.4" in seat.words


def test_advice_that_agrees_with_the_route_is_told_once(work):
    """Where route and advice ask for the same test, the advice says so and no more."""
    steps = work.routes()
    advised = Reckoner(work.knowledge).advice(work.state, work.car)
    asked = next(s for s in advised.suggestions if s.id == steps["idle"].id)
    tests = [s for s in advised.suggestions if s.kind == "test"]
    other = next(s for s in tests if s.id != asked.id)
    same = "the same: it is worth most for its cost"

    def said(best):
        first = replace(advised, suggestions=(best, *advised.suggestions))
        return [row.plain for row in ways(work, steps, first, None, 60, full=True)]

    agreed, apart = said(asked), said(other)
    assert sum(asked.name in row for row in agreed) == 1
    assert any(same in row for row in agreed)
    assert not any(same in row for row in apart)
    assert any(row.startswith("a Advice") and other.name[:20] in row for row in apart)
    # With two routes the advice names the one that it agrees with.
    two = {**steps, "other": replace(steps["idle"], id=other.id)}
    first = replace(advised, suggestions=(asked, *advised.suggestions))
    both = [row.plain for row in ways(work, two, first, None, 90)]
    assert any(row.startswith("a Advice") and asked.name in row for row in both)


async def test_a_cylinder_in_another_unit_says_how_it_was_read(drive, on_walk, work, size):
    """In the table of the cylinders too, what was converted is told by cylinder."""
    async with drive(on_walk(work), size) as seat:
        seat.page.choose("compression")
        await seat.settle()
        await seat.type("148")
        await seat.press("enter")
        shown = await seat.type("10.3bar")
        assert "cylinder 2: read as 10.3 bar, that is 149.4 psi" in shown
        assert "cylinder 1:" not in shown
