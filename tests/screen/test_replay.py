"""Stepping through a past session shows what was recorded and where the causes then stood."""

import re
import shutil
from pathlib import Path

import pytest

from faulttree.screen.app import FaulttreeApp
from faulttree.screen.lists import PickList
from faulttree.screen.past import jump
from faulttree.screen.replay import ReplayPage, side_by_side
from faulttree.screen.why import WhyPage
from faulttree.session.events import (
    CautionAcknowledged,
    Envelope,
    Noted,
    Opened,
    ReadingTaken,
    Repaired,
)
from faulttree.session.imagined import NO_TIME
from faulttree.session.journal import open_journal, read
from faulttree.session.moves import Undo, decide
from faulttree.tree.model import Caution, Knowledge

ROOT = Path(__file__).parents[2]
CLOSED = "2026-11-23-camper-hunts-at-idle-and-stumbles-48a7.jsonl"
OPEN = "2026-11-24-camper-idles-fast-after-winter-a504.jsonl"
HOSTILE = "\x1b[2J[bold red]40 [kPa] [/] $x \u202eevil\x9b31m"


@pytest.fixture
def sessions(tmp_path):
    """The shipped sessions in a folder of their own."""
    return Path(shutil.copytree(ROOT / "sessions", tmp_path / "sessions"))


def _app(path):
    return FaulttreeApp(ROOT / "trees", path.parent, opening=lambda app: app.replay(path))


def _entry(kind, path, test=""):
    """The number of the first entry of that kind (and test)."""
    for envelope in read(path).envelopes:
        event = envelope.event
        if type(event).__name__ == kind and (not test or event.test == test):
            return envelope.sequence
    raise AssertionError(f"the demo has no {kind}")


async def test_stepping_goes_to_neighbours_and_ends(drive, sessions, size):
    """Next, previous, first and last go where they say, and stop at the ends."""
    path = sessions / CLOSED
    last = len(read(path).envelopes)
    app = _app(path)
    async with drive(app, size) as seat:
        assert isinstance(app.screen, ReplayPage)
        for key, entry in (
            ("p", 1),
            ("n", 2),
            ("n", 3),
            ("p", 2),
            ("l", last),
            ("n", last),
            ("p", last - 1),
            ("f", 1),
        ):
            await seat.press(key)
            assert f"Entry {entry} of {last}" in seat.frame, f"after {key}"
            assert app.screen.at == entry - 1


async def test_a_reading_is_shown_as_it_was_recorded(drive, sessions, size):
    """A reading shows its figure, limits, how sure it was, showing, and why it was taken."""
    path = sessions / CLOSED
    entry = _entry("ReadingTaken", path, "fuel-pressure-prime")
    app = _app(path)
    async with drive(app, size) as seat:
        app.screen.query_one(PickList).highlighted = entry - 1
        await seat.settle()
        shown = seat.frame
        for words in (
            "33 psi",
            "Figure: 33",
            "Limits: low below 36 psi, in limits 36 to 44 psi, high above 44 psi",
            "How sure: low",
            "showing: yes",
        ):
            assert words in shown, words
        assert "Chosen by: the advice" in shown


async def test_figure_and_limits_stand_in_the_unit_of_the_gauge(drive, sessions):
    """A vacuum that was read in inHg is replayed in inHg, with its limit in inHg beside it."""
    path = sessions / CLOSED
    entry = _entry("ReadingTaken", path, "manifold-vacuum-idle")
    app = _app(path)
    async with drive(app, (80, 24)) as seat:
        app.screen.query_one(PickList).highlighted = entry - 1
        await seat.settle()
        # 16 inHg are 54.18 kPa (1 inHg = 3.386 kPa, NIST SP 811).
        assert "Figure: 13.5 ± " in seat.frame
        assert "Limits: low below 16 inHg, in limits above 16 inHg" in seat.frame


async def test_the_causes_stand_as_they_did_then(drive, sessions, size):
    """The chances at an entry do not know what came later: the leak is suspected, then repaired."""
    path = sessions / CLOSED
    app = _app(path)
    async with drive(app, size) as seat:
        leak = {}
        for entry in (
            _entry("ReadingTaken", path, "idle-watch"),
            _entry("ReadingTaken", path, "air-leak-smoke"),
        ):
            app.screen.query_one(PickList).highlighted = entry - 1
            await seat.settle()
            causes = app.screen.reckoned[entry - 1].causes
            leak[entry] = next(c.chance for c in causes if c.id == "air-leak-after-throttle")
        first, second = leak.values()
        assert first < 0.5 < second
        assert "Air leak after the throttle" in seat.frame
        app.screen.query_one(PickList).highlighted = _entry("Repaired", path) - 1
        await seat.settle()
        after = app.screen.reckoned[app.screen.at].causes
        assert next(c for c in after if c.id == "air-leak-after-throttle").repaired


async def test_before_a_complaint_nothing_is_weighed(drive, sessions, size):
    """At the opening of a session there is no chance to show: that is said, and is no warning."""
    path = sessions / CLOSED
    app = _app(path)
    async with drive(app, size) as seat:
        await seat.press("n", "f")
        (row,) = [row for row in seat.frame.splitlines() if "No complaint has been taken" in row]
        assert row.strip(" │▔▁▂▃▄▅▆▇█") == "No complaint has been taken yet."
        await seat.press("w")
        assert isinstance(app.screen, ReplayPage)


async def test_why_opens_for_an_entry(drive, sessions, size):
    """Why shows the evidence as it stood at that entry, and Back returns to it."""
    path = sessions / CLOSED
    entry = _entry("ReadingTaken", path, "tip-in")
    app = _app(path)
    async with drive(app, size) as seat:
        app.screen.query_one(PickList).highlighted = entry - 1
        await seat.settle()
        await seat.press("w")
        assert isinstance(app.screen, WhyPage)
        shown = seat.frame
        assert "hesitates" in shown
        assert "compression" not in shown.casefold().split("with the complaint alone")[-1]
        await seat.press("b")
        assert app.screen.at == entry - 1


async def test_hostile_notes_stay_text(drive, sessions, size):
    """Escapes, markup and turned text in a note reach the screen as visible signs only."""
    path = sessions / OPEN
    with open_journal(path, "sam") as journal:
        journal.append(Noted(HOSTILE), HOSTILE[:8])
    app = _app(path)
    async with drive(app, size) as seat:
        await seat.press("l")
        shown = seat.frame
        assert "␛[2J[bold red]40 [kPa] [/] $x <202E>evil<9B>31m" in shown
        assert not {"\x1b", "\x9b", "\u202e"} & set(shown)


async def test_what_was_taken_back_is_marked(drive, sessions, size):
    """A withdrawn entry stays in the list, and says that it was taken back."""
    path = sessions / OPEN
    with open_journal(path, "sam") as journal:
        journal.append(Noted("a slip of the pen"), "sam")
        journal.append(decide(journal.state, Undo(), Knowledge({}, {}, {}, {}, {}, {}, {})), "sam")
    app = _app(path)
    async with drive(app, size) as seat:
        await seat.press("l")
        assert "(taken back) Note: a slip of the pen" in seat.frame


async def test_replay_writes_nothing(drive, sessions):
    """Stepping through a session leaves its log as it was."""
    path = sessions / CLOSED
    kept = path.read_bytes()
    app = _app(path)
    async with drive(app, (80, 24)) as seat:
        await seat.press("n", "n", "l", "f")
    assert path.read_bytes() == kept


async def test_a_damaged_log_is_shown_as_far_as_it_can_be_trusted(drive, sessions, size):
    """A line that was changed ends the replay before it, and the reader is told."""
    path = sessions / CLOSED
    lines = path.read_bytes().split(b"\n")
    lines[6] = lines[6].replace(b"understood", b"trained")
    lines[9] = b"{}"
    path.write_bytes(b"\n".join(lines))
    app = _app(path)
    async with drive(app, size) as seat:
        assert len(app.screen.steps) == 7
        assert app.screen.damage.startswith("line 8 cannot be trusted")
        assert "Not the whole log could be read" in seat.frame


async def test_a_session_without_its_knowledge_says_so(drive, sessions):
    """Without the knowledge it was recorded with, a session says what is missing."""
    shutil.rmtree(sessions / "knowledge")
    app = _app(sessions / CLOSED)
    async with drive(app, (80, 24)) as seat:
        assert "The session cannot be replayed." in seat.frame


async def test_it_plays_to_the_end_and_begins_anew(drive, sessions, size):
    """Played, the entries go by one after another, each with its chances, and stop at the last."""
    path = sessions / CLOSED
    last = len(read(path).envelopes)
    app = _app(path)
    async with drive(app, size) as seat:
        page = app.screen
        page.pace = 30.0
        await seat.press("l", "p", "p", "p", "s")
        assert page.playing
        assert "Stop" in seat.frame.splitlines()[-1]
        assert "playing" in seat.frame.splitlines()[0]
        page.pace = 0.01
        page._play_on()
        await seat.until(lambda: not page.playing)
        await seat.settle()
        assert page.at == last - 1
        assert {last - 4, last - 3, last - 2, last - 1} <= set(page.reckoned)
        assert "That was the last entry." in seat.frame
        page.pace = 30.0
        await seat.press("s")
        assert (page.at, page.playing) == (0, True)


async def test_the_pace_is_chosen_and_said(drive, sessions, size):
    """Plus and minus shorten and lengthen the stay at an entry, and the head says it."""
    app = _app(sessions / CLOSED)
    async with drive(app, size) as seat:
        for key, pace in (("plus", 2), ("plus", 1), ("plus", 1), *[("minus", 2)], ("minus", 4)):
            await seat.press(key)
            assert app.screen.pace == pace, f"after {key}"
        await seat.press("minus", "s")
        assert "playing, 8 s an entry" in seat.frame


@pytest.mark.parametrize("key", ["n", "p", "f", "l", "r", "s", "j", "w", "question_mark"])
async def test_whoever_takes_the_keys_stops_the_playing(drive, sessions, key):
    """Stepping, jumping, asking why and the help stop the playing."""
    app = _app(sessions / CLOSED)
    async with drive(app, (80, 24)) as seat:
        page = app.screen
        await seat.press("n", "n", "s")
        assert page.playing
        await seat.press(key)
        assert not page.playing


async def test_jumping_by_number_kind_and_name(drive, sessions, size):
    """A number, a kind of entry and a word of a test's name lead where they say."""
    path = sessions / CLOSED
    envelopes = read(path).envelopes
    kinds = [type(envelope.event).__name__ for envelope in envelopes]
    repairs = [at for at, kind in enumerate(kinds) if kind == "Repaired"]
    app = _app(path)
    async with drive(app, size) as seat:
        page = app.screen
        await seat.press("r")
        assert page.at == repairs[0]
        await seat.press("r")
        assert page.at == repairs[1]
        await seat.press(*["r"] * (len(repairs) - 1))
        assert page.at == repairs[0]
        assert "From the first entry again." in seat.frame
        await seat.press("c")
        assert kinds[page.at] == "ComplaintChecked"
        for typed, entry in (
            ("12", 12),
            ("compression dry", _entry("ReadingTaken", path, "compression-dry")),
        ):
            await seat.press("j", *["backspace"] * 30, *typed, "enter")
            assert page.at == entry - 1, typed
            assert f"Entry {entry} of" in seat.frame
        await seat.press("j", *["backspace"] * 30, *"unicorn", "enter")
        assert "unicorn: no entry answers that." in seat.frame
        assert page.at == entry - 1


async def test_why_of_the_past_offers_no_repair(drive, sessions, size):
    """A session that is only looked at can have nothing repaired, so that is not offered."""
    path = sessions / CLOSED
    kept = path.read_bytes()
    app = _app(path)
    async with drive(app, size) as seat:
        app.screen.query_one(PickList).highlighted = _entry("ReadingTaken", path, "tip-in") - 1
        await seat.settle()
        await seat.press("w")
        assert isinstance(app.screen, WhyPage)
        assert "Fix" not in seat.frame
        await seat.press("f", "enter")
        assert isinstance(app.screen, WhyPage)
    assert path.read_bytes() == kept


@pytest.mark.parametrize(
    ("wanted", "at", "leads_to"),
    [
        ("3", 0, (2, False)),
        ("0", 0, None),
        ("99", 0, None),
        ("", 0, None),
        ("repairs", 0, (3, False)),
        ("repair", 3, (3, True)),
        ("Fuel PRESSURE", 2, (2, True)),
        ("fuel 33", 0, (2, False)),
        ("smells", 0, (1, False)),
        ("undo", 0, None),
        ("high voltage", 0, (4, False)),
        ("kilovolts kill", 0, (4, False)),
    ],
)
def test_a_jump_is_found_from_where_one_stands(wanted, at, leads_to):
    """The next entry that is meant, beginning again at the first when there is none after."""
    events = [
        Opened("p", ("idle",), "d", "t"),
        Noted("Smells of petrol"),
        ReadingTaken("fuel-pressure", "33"),
        Repaired("pump-weak", "renewed"),
        CautionAcknowledged("high-voltage", "test", "spark"),
    ]
    envelopes = [Envelope(n, NO_TIME, "sam", event) for n, event in enumerate(events, 1)]
    caution = Caution("high-voltage", "Twenty kilovolts kill. Mind the coil.", "Off.", "tell")
    knowledge = Knowledge({}, {}, {}, {}, {}, {caution.id: caution}, {})
    found = jump(envelopes, at, wanted, knowledge)
    assert (found and (found.at, found.round)) == leads_to


async def test_what_the_car_is_told_to_be_moves_the_chances(drive, sessions, size):
    """An entry that describes the car shows how the chances moved by it, and is not called idle."""
    path = sessions / CLOSED
    entry = _entry("VehicleDescribed", path)
    app = _app(path)
    async with drive(app, size) as seat:
        await seat.press(*["n"] * (entry - 2))
        before = {c.id: c.chance for c in app.screen.reckoned[entry - 2].causes}
        await seat.press("n")
        moved = [
            c
            for c in app.screen.reckoned[entry - 1].causes
            if abs(c.chance - before.get(c.id, 0.0)) > 0.02
        ]
        assert moved
        assert all(c.before == before.get(c.id, 0.0) for c in moved)
        assert "This entry changed little." not in seat.words
        assert f"{moved[0].name[:20]}" in seat.words


async def test_the_first_complaint_gives_the_first_chances(drive, sessions):
    """Where nothing was weighed before, an entry is not said to change little."""
    path = sessions / CLOSED
    app = _app(path)
    async with drive(app, (80, 24)) as seat:
        await seat.press("n")
        assert "The first chances, with the complaint alone." in seat.words
        assert "This entry changed little." not in seat.words


async def test_an_entry_is_shown_with_all_that_was_recorded(drive, sessions, size):
    """What was asked of the driver, how it was looked for, and what was found at last are there."""
    path = sessions / CLOSED
    app = _app(path)
    async with drive(app, size) as seat:
        await seat.press("n")
        assert "How often: every drive Seen before work began: yes" in seat.words
        assert "Hot, cold or both? Both, worse when hot" in seat.words
        await seat.press("l")
        assert "Really found: Air leak after the throttle (gasket, hose, brake servo), Weak" in (
            seat.words
        )
        assert "Left to do: Fuel filter due at the next service" in seat.words
        for kind, words in (
            ("Repaired", "It took: 40 min"),
            ("ComplaintChecked", "How: Ten minutes at idle, hot, loads on and off"),
            ("InstrumentChecked", "Held against: strobe meter"),
        ):
            app.screen.query_one(PickList).highlighted = _entry(kind, path) - 1
            await seat.settle()
            assert words in seat.words


async def test_a_reading_and_its_causes_fit_a_small_screen(drive, sessions):
    """At 80x24 the figures of a reading leave room for all five causes."""
    path = sessions / CLOSED
    app = _app(path)
    async with drive(app, (80, 24)) as seat:
        for test in ("idle-return", "manifold-vacuum-idle", "fuel-filter-drop"):
            app.screen.query_one(PickList).highlighted = _entry("ReadingTaken", path, test) - 1
            await seat.settle()
            last = app.screen.reckoned[app.screen.at].causes[4]
            assert f"5 {last.name[:20]}" in seat.words, test


async def test_a_tall_screen_shows_more_of_the_way(drive, sessions):
    """At 120x40 the entries before and after have the room that the causes leave."""
    path = sessions / CLOSED
    app = _app(path)
    async with drive(app, (120, 40)) as seat:
        app.screen.query_one(PickList).highlighted = _entry("ReadingTaken", path, "tip-in") - 1
        await seat.settle()
        listed = [row for row in seat.frame.splitlines() if re.match(r" +[0-9]+ [0-9]{2}:", row)]
        assert len(listed) == 16
        assert "9 " + app.screen.reckoned[app.screen.at].causes[8].name[:20] in seat.words


@pytest.mark.parametrize(
    ("facts", "rows"),
    [
        (["aa", "bb", "cc"], ["aa   bb", "cc"]),
        (["a word too", "bb"], ["a word", "too", "bb"]),
        (["aa", "a word too long"], ["aa", "a word", "too long"]),
        ([], []),
    ],
)
def test_facts_stand_side_by_side_where_they_fit(facts, rows):
    """Short facts share a line, none is cut, and their order stays."""
    assert side_by_side(facts, 9) == rows
