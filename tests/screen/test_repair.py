"""From a repair over its proof to the closed session and its report, at both sizes."""

import re
from dataclasses import replace

import pytest

from faulttree.handover.markdown import to_markdown
from faulttree.handover.report import report
from faulttree.scorer.evidence import Entry
from faulttree.screen.cards import base_words
from faulttree.screen.lists import PickList
from faulttree.screen.why import WhyPage
from faulttree.screen.work import Reckoner, Work, begin
from faulttree.session.events import CautionAcknowledged, ComplaintTaken, ReadingTaken, Repaired
from faulttree.session.journal import Journal, JournalError, list_sessions, open_journal
from faulttree.session.moves import TakeReading


def low_vacuum(work):
    """An idle that hunts and a vacuum that is low: an air leak."""
    work.do(
        TakeReading("idle-look", "hunting", Entry(choice="hunting"), taken_as="route"),
        TakeReading("manifold-vacuum", "12", Entry({"value": (12.0,)}), taken_as="route"),
    )


async def test_from_suspect_to_closed_session(drive, on_walk, work, sessions, size):
    """Repair, repeat what was out, look for the complaint, close: and the report says it all."""
    low_vacuum(work)
    async with drive(on_walk(work), size) as seat:
        assert "Suspect: Air leak after the throttle" in seat.words
        shown = await seat.press("1")
        assert "Repair: Air leak after the throttle" in shown
        assert "Renew the hose." in shown
        shown = await seat.press("1")
        assert work.state.repairs[0].event.cause == "air-leak"
        assert "Proof after 1 repair" in shown
        assert "✗ hunting" in shown
        shown = await seat.press("1")
        assert "before the repair it read hunting." in shown
        await seat.press("1", "enter")
        shown = await seat.press("2")
        await seat.type("19")
        shown = await seat.press("enter")
        assert "✗ low 12 inHg" in shown
        assert "✓ in limits 19 inHg ✓ better" in shown
        await seat.press("3", "1", "enter")
        shown = await seat.press("4")
        assert "Is the complaint gone?" in shown
        shown = await seat.press("1")
        assert "All is repeated." in shown
        shown = await seat.press("c")
        assert "[x] Air leak after the throttle" in shown
        number = next(row for row in seat.frame.splitlines() if "Cured:" in row).split()[0]
        shown = await seat.press(number)
        assert "Close the session?" in shown
        await seat.press("1")
        assert work.state.closed.event.outcome == "cured"
        assert work.state.closed.event.causes == ("air-leak",)
        shown = seat.words
        assert "Handover: Idle wanders - van" in shown
        await seat.press("w")
        report = work.path.with_suffix(".md").read_text()
        assert "Air leak after the throttle" in report
        await seat.press("escape")
        assert seat.page.PAGE == "home"
        assert "cured" in seat.words


async def test_a_row_of_the_proof_keeps_its_number(drive, on_walk, work, size):
    """What was repeated stays where it stood, and the cursor goes on to what is left."""
    low_vacuum(work)
    async with drive(on_walk(work), size) as seat:
        await seat.press("1", "1")
        listed = seat.app.screen.query_one("#proof-list", PickList)
        before = [row.id for row in listed._rows]
        assert listed.chosen == before[0]
        await seat.press("1", "1", "enter")
        listed = seat.app.screen.query_one("#proof-list", PickList)
        assert [row.id for row in listed._rows] == before
        assert listed.chosen == before[1]
        assert re.search(r"1 Idle watched +done", seat.frame)


async def test_a_cure_must_be_proved(drive, on_walk, work):
    """While the complaint was not looked for again, `cured` is not offered, and it says why."""
    low_vacuum(work)
    async with drive(on_walk(work)) as seat:
        await seat.press("1", "1", "c")
        row = next(row for row in seat.frame.splitlines() if "Cured:" in row)
        assert "(not yet)" in row
        shown = await seat.press(row.split()[0])
        assert "Not proved: Idle wanders." in shown
        assert work.state.closed is None


async def test_a_repair_asks_for_its_cautions(drive, on_walk, work):
    """The dangers of a repair are answered before it can be recorded."""
    async with drive(on_walk(work)) as seat:
        await seat.press("f")
        assert "Which cause was put right?" in seat.words
        number = next(r for r in seat.frame.splitlines() if "Weak fuel pump" in r).split()[0]
        shown = await seat.press(number)
        assert "Petrol burns." in shown
        await seat.press("enter")
        assert work.state.repairs == ()
        assert "Enter again: you have read it, and do as it says." in seat.words
        shown = await seat.press("enter")
        assert "Done as it says" in shown
        await seat.press("2")
        await seat.type("new pump")
        await seat.press("enter")
        await seat.type("95")
        await seat.press("enter")
        repaired = work.state.repairs[0].event
        assert (repaired.cause, repaired.done, repaired.minutes) == ("pump-weak", "new pump", 95.0)


async def test_a_danger_read_before_takes_one_enter_at_a_repair(drive, on_walk, work):
    """A danger that was read at a test is told again at the repair, and one Enter answers."""
    work.do(CautionAcknowledged("petrol", "test", "fuel-pressure", "understood"))
    async with drive(on_walk(work)) as seat:
        await seat.press("f")
        number = next(r for r in seat.frame.splitlines() if "Weak fuel pump" in r).split()[0]
        shown = await seat.press(number)
        assert "As before. Enter" in shown
        assert "Petrol burns." in shown
        shown = await seat.press("enter")
        assert "Done as it says" in shown
        assert len(work.state.acknowledged) == 2
        # Enter once more, out of habit, records nothing; it says what another one would do.
        shown = await seat.press("enter")
        assert "Enter again: it is done, and as it says." in shown
        assert work.state.repairs == ()
        await seat.press("enter")
        assert work.state.repairs[0].event.cause == "pump-weak"


async def test_back_to_the_walk_with_new_chances(drive, on_walk, work, size):
    """A complaint that is still there leads back to the walk, and the repaired cause is gone."""
    low_vacuum(work)
    async with drive(on_walk(work), size) as seat:
        await seat.press("1", "1")
        row = next(r for r in seat.frame.splitlines() if "Is the complaint gone?" in r)
        await seat.press(row.split()[0], "2", "w")
        assert seat.page.PAGE == "walk"
        assert "Last: Complaint present: Idle wanders" in seat.words
        causes = str(seat.page.query_one("#causes").render())
        assert "Air leak" not in causes
        assert "Weak fuel pump" in causes


async def test_why_shows_the_weight_of_every_reading(drive, on_walk, work, size):
    """Why lists what each reading said about the chosen cause, as a figure and in words."""
    low_vacuum(work)
    async with drive(on_walk(work), size) as seat:
        shown = await seat.press("w")
        assert "With the complaint alone" in shown
        assert "Idle watched hunting +" in shown
        assert "Manifold vacuum" in shown
        assert "clearly for" in shown
        assert "+10 makes them ten times as good" in shown
        shown = await seat.press("f")
        assert "Repair: Air leak after the throttle" in shown
        # Going back leads to where one came from.
        assert "With the complaint alone" in await seat.press("escape")
        assert "Suspect: Air leak after the throttle" in await seat.press("escape")


async def test_why_parts_what_was_read_before_a_repair_from_what_came_after(
    drive, on_walk, work, size
):
    """A reading of the repaired car weighs otherwise, so the repair stands between the two."""
    low_vacuum(work)
    work.do(
        Repaired("air-leak", "hose renewed"),
        TakeReading("idle-look", "hunting", Entry(choice="hunting"), taken_as="free"),
    )
    async with drive(on_walk(work), size) as seat:
        shown = await seat.press("w")
        order = [
            shown.index(words)
            for words in ("With the complaint alone", "Manifold vacuum", "Repaired: Air leak after")
        ]
        assert order == sorted(order)
        assert "Idle watched hunting" in shown[order[-1] :]


def test_a_session_that_cannot_be_begun_is_held_by_nobody(knowledge, sessions, monkeypatch):
    """When what the intake found cannot be written, the file is not left locked."""
    real = Journal.append

    def full(self, events, who, at=None):
        if any(isinstance(event, ComplaintTaken) for event in events):
            raise JournalError("the disk is full")
        return real(self, events, who, at)

    monkeypatch.setattr(Journal, "append", full)
    with pytest.raises(JournalError, match="full"):
        begin(sessions, knowledge, "sam", "Idle wanders", ("idle",), [ComplaintTaken("idle")])
    monkeypatch.undo()
    (card,) = list_sessions(sessions)
    open_journal(card.path, "ann").close()


async def test_the_map_shows_the_way_and_every_entry(drive, on_walk, work, size):
    """The map marks what was read and what comes next, and lists all entries."""
    low_vacuum(work)
    async with drive(on_walk(work), size) as seat:
        shown = await seat.press("m")
        assert "● Idle watched: hunting" in shown
        assert "● Manifold vacuum at idle: low" in shown
        assert "▶ suspect: Air leak after the throttle" in shown


async def test_why_of_a_session_that_is_only_looked_at_offers_no_repair(drive, app, work):
    """Where nothing can be recorded, Why has no key for a repair, and the key does nothing."""
    low_vacuum(work)
    then = Work(work.knowledge, work.state, "sam", None, work.path)
    reckoner = Reckoner(work.knowledge)
    found = (reckoner.chances(then.state, then.car), reckoner.advice(then.state, then.car))
    page = WhyPage(then, *found)
    async with drive(app) as seat:
        await seat.app.push_screen(page)
        await seat.settle()
        assert "With the complaint alone" in seat.words
        assert "Fix" not in seat.frame.splitlines()[-1]
        await seat.press("f", "enter")
        assert seat.page is page


async def test_the_figures_say_which_matter_most(drive, on_walk, work, size):
    """Figures that are generic or unknown and on which tests ahead rest stand on top, with why."""
    async with drive(on_walk(work), size) as seat:
        await seat.press("e")
        shown = seat.words
        top = shown.index("These matter most for the tests ahead")
        # All but the banks is in the car's file; how cylinders lie beside each other is not.
        assert top < shown.index("Banks") < shown.index("What kind of car it is")
        await seat.press("down")
        assert "Rests on it: Compression" in seat.words


async def test_a_note_of_the_advice_is_told(drive, on_walk, work):
    """What the advice has to say of a suggestion stands beside it and on its card."""
    noted = "Once more: it was near a limit."
    async with drive(on_walk(work), (120, 40)) as seat:
        advised = seat.page.advised
        best = replace(advised.suggestions[0], kind="test", id="manifold-vacuum", note=noted)
        seat.page._advised(replace(advised, suggestions=(best,)))
        await seat.settle()
        assert noted in seat.words
        await seat.press("a")
        assert f"Advice: {noted}" in seat.words


async def test_a_base_reading_that_is_out_is_not_passed_over_in_a_proof(drive, on_walk, work, size):
    """In the proof too a base reading that is out stops the work; the repair behind it is named."""
    petrol = CautionAcknowledged("petrol", "test", "fuel-pressure", "understood")
    low = TakeReading("fuel-pressure", "30", Entry({"value": (30.0,)}), taken_as="free")
    work.do(petrol, low, replace(petrol, carrier="cause", id="pump-weak"))
    work.do(Repaired("pump-weak", "pump renewed"))
    async with drive(on_walk(work), size) as seat:
        shown = await seat.press("p")
        await seat.press(re.search(r"(\d) Fuel pressure at prime", shown)[1])
        await seat.type("29")
        shown = await seat.press("enter")
        assert "A base reading is out: look at this first" in shown
        assert "it would read like this: Weak fuel pump." in shown
        assert "See whether that repair holds." in shown
        # Again: the same card, and the next reading counts with it.
        await seat.press("2")
        assert seat.page.PAGE == "reading"
        await seat.type("40")
        shown = await seat.press("enter")
        await seat.press("1") if "A base reading is out" in shown else None
        assert seat.page.PAGE == "proof"
        assert len(work.state.readings) == 3


async def test_an_entry_can_be_taken_back_in_the_proof(drive, on_walk, work, size):
    """Undo works where the slip is seen; without its repair there is nothing left to prove."""
    work.do(
        TakeReading("idle-look", "hunting", Entry(choice="hunting"), taken_as="route"),
        Repaired("air-leak", "hose renewed"),
        TakeReading("idle-look", "steady", Entry(choice="steady"), taken_as="free"),
    )
    async with drive(on_walk(work), size) as seat:
        assert "✓ steady" in await seat.press("p")
        shown = await seat.press("u")
        assert "Take this back?" in shown
        assert "Idle watched: steady" in shown
        await seat.press("1")
        assert seat.page.PAGE == "proof"
        assert len(work.state.readings) == 1
        await seat.press("u", "1")
        assert seat.page.PAGE == "walk"
        assert work.state.repairs == ()


async def test_a_repair_done_as_the_card_says_claims_nothing_more(drive, on_walk, work):
    """The card's instruction and its minutes are no report of what was done."""
    async with drive(on_walk(work)) as seat:
        await seat.press("f")
        row = next(r for r in seat.frame.splitlines() if "Air leak after" in r and r.split())
        await seat.press(row.split()[0])
        await seat.press("1")
        (repaired,) = (fact.event for fact in work.state.repairs)
        assert (repaired.done, repaired.minutes) == ("", None)
        shown = to_markdown(report(work.state, work.knowledge))
        assert "As the card says: Renew the hose." in shown


def test_a_limit_that_is_not_the_cars_own_is_told(work):
    """A base reading out by a generic limit says so before anything is done about it."""
    (reading,) = decided_low(work)
    assert "generic figure" not in base_words(work, reading).plain
    known = replace(work.car.specs["fuel_pressure"], origin="generic")
    car = replace(work.car, specs={**work.car.specs, "fuel_pressure": known})
    generic = Work(work.knowledge, work.state, "sam")
    generic._car = (work.state.last, car)
    assert "The limit is a generic figure, not this car's" in base_words(generic, reading).plain


def decided_low(work):
    """The event of a fuel pressure that is low."""
    petrol = CautionAcknowledged("petrol", "test", "fuel-pressure", "understood")
    low = TakeReading("fuel-pressure", "30", Entry({"value": (30.0,)}), taken_as="free")
    return [event for event in work.do(petrol, low) if isinstance(event, ReadingTaken)]
