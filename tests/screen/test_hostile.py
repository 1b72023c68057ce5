"""Text from files, readings and people is data on every page: shown as it is, obeyed by nothing."""

import json
import unicodedata
from dataclasses import replace

import pytest

from faulttree.scorer.evidence import Entry
from faulttree.screen.app import FaulttreeApp
from faulttree.session.events import (
    CannotDo,
    CautionAcknowledged,
    ComplaintTaken,
    Noted,
    Repaired,
    VehicleDescribed,
)
from faulttree.session.moves import TakeReading
from faulttree.tree.document import from_document

MARKUP = "[bold red]x[/] [/ [@click=app.exit]q[/] $error"
EVIL = f"{MARKUP} \x1b[31m\x9b2J\x07\u202eabc\u200b " + "W" * 400
TEXTS = {
    "name",
    "what",
    "do",
    "spoils",
    "base",
    "danger",
    "set_up",
    "complaint",
    "about",
    "source",
    "vehicle",
    "tools",
    "driver_says",
    "ask",
}


def poison(value, key=""):
    """Every text that somebody wrote, made hostile; ids and units stay."""
    if key == "parts":
        # The parts of a reading are named as ids are.
        return value
    if isinstance(value, dict):
        return {k: poison(v, k) for k, v in value.items()}
    if isinstance(value, list):
        return [poison(item, key) for item in value]
    if isinstance(value, str) and key in TEXTS:
        return f"{EVIL} {value}"
    return value


@pytest.fixture(scope="module")
def evil_knowledge(knowledge):
    """The small shop's knowledge with every text hostile, and a choice with a hostile name."""
    document = json.loads(json.dumps(poison(knowledge.document)))
    text = json.dumps(document).replace('"hunting"', json.dumps("[b]hunting[/] \x1b[5m"))
    return from_document(json.loads(text))


def harmless(frame):
    """Whether nothing in a frame could steer a terminal."""
    bad = {c for c in frame if unicodedata.category(c) in {"Cc", "Cf", "Cs"} and c != "\n"}
    return not bad


def check(seat, *, shows=True):
    """The page is harmless, fits its terminal, and shows the text as it is."""
    assert harmless(seat.frame)
    assert len(seat.frame.splitlines()) == seat.app.size.height
    if shows:
        assert "[bold red]x[/]" in seat.frame
    assert seat.app.is_running


async def test_the_walk_and_all_it_leads_to(drive, on_walk, evil_knowledge, begin_on, size):
    """From the card to the report, hostile text is shown as signs on every page."""
    evil = begin_on(
        evil_knowledge,
        replace(ComplaintTaken("idle"), said=EVIL, how_often=EVIL, answers={EVIL: EVIL}),
        VehicleDescribed("van", EVIL),
        Noted(EVIL),
        CannotDo("tip-in", EVIL),
        trees=["idle"],
    )
    async with drive(on_walk(evil), size) as seat:
        check(seat)
        await seat.press("2", "enter")
        assert "[b]hunting[/] ␛[5m" in seat.frame
        check(seat)
        for test in evil.knowledge.tests:
            seat.page.choose(test)
            await seat.settle()
            check(seat)
            entry, answers = seat.page.query_one("EntryPanel"), seat.page.query_one("#answers")
            shown = entry if entry.display else answers
            assert shown.region.bottom <= seat.page.query_one("#left").region.bottom
            assert seat.page.query_one("#card").region.height > 0
        for key in ("w", "t", "m", "e", "h", "d", "u", "x", "f", "c", "question_mark", "n"):
            seat.page.choose("idle-look")
            await seat.settle()
            await seat.press(key)
            check(seat, shows=key not in {"question_mark", "n"})
            while seat.page.PAGE != "walk":
                await seat.press("escape")
        seat.page.choose("regulator-rise")
        await seat.settle()
        await seat.press("enter", "enter", "i")
        check(seat)


async def test_the_proof_and_the_report_of_a_repair(drive, on_walk, evil_knowledge, begin_on, size):
    """Repair, proof, closing and report show hostile text as signs."""
    evil = begin_on(evil_knowledge, trees=["idle"])
    evil.do(
        TakeReading("manifold-vacuum", EVIL, Entry({"value": (10.0,)})),
        CautionAcknowledged("petrol", "cause", "pump-weak"),
        Repaired("pump-weak", EVIL),
    )
    async with drive(on_walk(evil), size) as seat:
        await seat.press("p")
        check(seat)
        await seat.press("1")
        check(seat)
        await seat.press("escape", "c")
        check(seat)
        await seat.press("escape", "h")
        check(seat)


async def test_home_and_intake(drive, evil_knowledge, begin_on, sessions, tmp_path, size):
    """A hostile title on the home page and hostile trees at the intake are shown as signs."""
    begin_on(evil_knowledge, trees=["idle"]).close()
    folder = tmp_path / "trees"
    folder.mkdir()
    quoted = json.dumps(MARKUP + " \u202e")
    (folder / "evil.yaml").write_text(f"format: 1\ncomplaint: {quoted}\ndriver_says: [{quoted}]\n")
    app = FaulttreeApp(folder, sessions, who=EVIL)
    async with drive(app, size) as seat:
        assert harmless(seat.frame)
        await seat.press("s")
        check(seat)
        await seat.press("enter")
        assert "The trees cannot be used as they are" in seat.words
        assert harmless(seat.frame)


async def test_a_notice_is_data_too(drive, on_walk, work):
    """What a notice says is shown as it is."""
    async with drive(on_walk(work)) as seat:
        seat.page.say(EVIL, title=EVIL, severity="warning")
        await seat.settle()
        check(seat)
