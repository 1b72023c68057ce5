"""The same session, worked on the screens and line by line, writes the same events."""

import re
from pathlib import Path

from faulttree.screen.plain import run_plain
from faulttree.session.journal import read

SHOP = Path(__file__).parent / "shop"

LINES = [
    *["1", "1", "It hunts", "Both", "", "comes and goes", "yes"],
    *["route", "hunting", "yes"],
    *["route", "12 inHg", "yes"],
    *["test", "compression", "1", "150; 148; 146; 151", ""],
    *["note", "Smells of petrol", "undo", "yes"],
    *["test", "prime", "1", "understood", "40", ""],
    *["test", "regulator", "1", "understood", "cannot", "No tool for it here"],
    *["fix", "Air leak", ""],
    *["", "steady", "no", "", "19 inHg", "", "", "clean", "", "", "gone", ""],
    *["close", "cured", "", "", ""],
]
"""Every answer at a prompt, in order."""


def _events(sessions):
    (path,) = sessions.glob("*.jsonl")
    return [envelope.event for envelope in read(path).envelopes]


def _by_lines(sessions):
    answers = list(LINES)
    said = []

    def ask(prompt):
        said.append(prompt)
        if not answers:
            raise EOFError
        return answers.pop(0)

    assert run_plain(SHOP, sessions, who="sam", ask=ask, say=said.append) == 0
    assert not answers, "\n".join(said)
    return _events(sessions)


async def _chosen(seat, words):
    """Press the digit of the row that says these words."""
    found = [
        digits[-1]
        for row in seat.frame.splitlines()
        if words in row and (digits := re.findall(r"[1-9](?= )", row[: row.index(words)]))
    ]
    assert found, f"{words} is not among:\n{seat.frame}"
    return await seat.press(found[0])


async def _on_the_screens(drive, app, size, sessions):
    async with drive(app, size) as seat:
        await seat.press("s")
        await seat.type("wanders")
        await seat.press("enter")
        await _chosen(seat, "Grey van")
        await seat.press("4")
        await seat.type("It hunts")
        await seat.press("enter")
        await seat.press("5")
        await seat.type("Both")
        await seat.press("enter", "enter")
        await seat.press("7")
        await _chosen(seat, "comes and goes")
        await seat.press("6", "1")
        await _showing(seat, 1)
        await seat.press("2", "enter")
        await _showing(seat, 1)
        await seat.type("12 inHg")
        await seat.press("enter")
        await _to_test(seat, "compression")
        for figure in ("150", "148", "146", "151"):
            await seat.type(figure)
            await seat.press("enter")
        await seat.press("n")
        await seat.type("Smells of petrol")
        await seat.press("enter", "u", "1")
        await _to_test(seat, "prime")
        await seat.press("enter", "enter")
        await seat.type("40")
        await seat.press("enter")
        await _to_test(seat, "regulator")
        await seat.press("enter", "enter")
        await seat.press("x")
        await _chosen(seat, "No tool for it here")
        await seat.press("f")
        if "Which cause was put right?" in seat.words:
            await _chosen(seat, "Air leak after the throttle")
        await _chosen(seat, "Done as it says")
        await _chosen(seat, "Idle watched")
        await _showing(seat, 2)
        await seat.press("1", "enter")
        await _chosen(seat, "Manifold vacuum")
        await seat.type("19 inHg")
        await seat.press("enter")
        await _chosen(seat, "Throttle opened")
        await seat.press("1", "enter")
        await _chosen(seat, "Is the complaint gone?")
        await _chosen(seat, "Gone:")
        await seat.press("c")
        await _chosen(seat, "Cured:")
        await _chosen(seat, "Close the session")
    return _events(sessions)


async def _showing(seat, turns):
    """Turn the answer: once for yes, twice for no."""
    for _ in range(turns):
        seat.page.action_showing()
    await seat.settle()


async def _to_test(seat, word):
    await seat.press("t")
    await seat.type(word)
    await seat.press("enter")


async def test_lines_and_screens_write_the_same(drive, app, sessions, size, tmp_path):
    """Intake, readings, a repeat of the route, a note undone, a test not done, repair and proof."""
    by_lines = _by_lines(tmp_path / "lines")
    on_screens = await _on_the_screens(drive, app, size, sessions)
    for one, other in zip(by_lines, on_screens, strict=False):
        assert one == other
    assert len(by_lines) == len(on_screens)
