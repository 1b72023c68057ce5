"""The walk: from a card through its reading to what it changed, at both sizes."""

import threading

from textual import events

from faulttree.screen.work import Reckoned, Reckoner, moved
from faulttree.session.events import ReadingTaken, RouteLeft
from faulttree.session.journal import JournalError
from faulttree.tree.load import load


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
    """A figure outside what is possible is asked about and not taken down."""
    async with drive(on_walk(work)) as seat:
        await seat.press("2", "enter")
        await seat.type("99")
        shown = await seat.press("enter")
        assert len(readings(work)) == 1
        assert "99 inHg cannot be: it lies between 0 and 30 inHg." in shown


async def test_a_reading_near_a_limit_says_so_and_counts_with_its_repeat(drive, on_walk, work):
    """Near a limit the screen asks for a repeat; repeats show their mean and count as one."""
    async with drive(on_walk(work)) as seat:
        await seat.press("2", "enter")
        shown = await seat.type("15.9")
        assert "Near a limit: take it again." in shown
        shown = await seat.press("enter")
        assert "Near a limit: g takes it again." in shown
        shown = await seat.press("g")
        assert "Taken before, counts together: 15.9" in shown
        await seat.type("14,9")
        await seat.press("enter", "g")
        assert "15.9, 14.9 (mean 15.4, spread 0.71)" in seat.words
        assert readings(work)[-1].repeat_of == (readings_numbers(work)[1],)


def readings_numbers(work):
    """The numbers of the readings that stand."""
    return [fact.sequence for fact in work.state.readings]


async def test_a_caution_is_answered_before_a_reading(drive, on_walk, work, size):
    """A caution stands before the test; Enter alone does not pass it, its digit does."""
    async with drive(on_walk(work), size) as seat:
        await seat.press("1", "enter")
        shown = seat.words
        assert "Before you begin" in shown
        assert "Petrol burns. Let it cool and keep sparks away." in shown
        shown = await seat.press("enter")
        assert work.state.acknowledged == ()
        assert "Before you begin" in shown
        shown = await seat.press("1")
        assert work.state.acknowledged[0].event.caution == "petrol"
        assert "petrol ✓" in shown
        assert "Fuel pressure at prime" in shown


async def test_a_stop_caution_stops_the_work(drive, on_walk, work):
    """What is for trained practice alone says STOP, and is passed only by saying who does it."""
    async with drive(on_walk(work)) as seat:
        seat.page.choose("gas-check")
        await seat.settle()
        assert "STOP - this is for trained practice" in seat.words
        assert "Hand over to trained practice." in seat.words
        assert "Read, and done as it says" not in seat.words
        await seat.press("2")
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
        await seat.press("1")
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
        assert "Showing: not asked (it matters here)" in seat.words
        shown = await seat.press("s", "s")
        assert "Showing: no" in shown
        await seat.press("1", "enter")
        assert readings(work)[0].showing == "no"


async def test_a_base_reading_that_fails_is_said_before_going_on(drive, on_walk, work, size):
    """A base reading out of limits stands in the way until it is answered."""
    async with drive(on_walk(work), size) as seat:
        seat.page.choose("fuel-pressure")
        await seat.settle()
        await seat.press("1")
        await seat.type("30")
        shown = await seat.press("enter")
        assert "A base reading is out: look at this first" in shown
        assert "Every mixture reading rests on this one." in shown
        shown = await seat.press("enter")
        assert "A base reading is out" in shown
        shown = await seat.press("2")
        assert "Taken before, counts together: 30" in shown


async def test_cannot_do_asks_why_and_goes_on(drive, on_walk, work):
    """A test that cannot be done is noted with its reason, and the next one comes up."""
    async with drive(on_walk(work)) as seat:
        shown = await seat.press("x")
        assert "Why can it not be done?" in shown
        await seat.press("1")
        assert work.state.cannot_do["idle-look"].event.reason == "No tool for it here"
        await seat.press("1")
        assert "Idle watched was passed over: it cannot be done here." in seat.words


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
        await seat.press("1", "i")
        assert "With which instrument?" in seat.words
        await seat.press("2")
        assert "Old gauge from the shelf ± 3 psi" in seat.words
        await seat.press("i", "4")
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


async def test_slow_chances_do_not_hold_the_keys(drive, on_walk, work, monkeypatch):
    """When the scorer takes its time, the next card is there at once and the chances follow."""
    gate = threading.Event()
    real = Reckoner.chances

    def slow(self, state, car, before=None):
        if state.readings:
            gate.wait(10)
        return real(self, state, car, before)

    monkeypatch.setattr(Reckoner, "chances", slow)
    async with drive(on_walk(work)) as seat:
        await seat.pilot.press("2", "enter")
        await seat.pilot.pause()
        assert "Working out what it changed..." in seat.words
        assert "Manifold vacuum at idle" in seat.words
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
