"""Colours: measured contrast on what is really shown, no meaning by colour alone, and the mouse."""

import pytest
from textual.color import Color

from faulttree.scorer.evidence import Entry
from faulttree.screen.app import FaulttreeApp
from faulttree.screen.theme import CONTRAST, DARK, LIGHT
from faulttree.session.moves import TakeReading

# Web Content Accessibility Guidelines 2.1, success criteria 1.4.3 (4.5:1) and 1.4.6 (7:1).
LEAST = {DARK: 4.5, LIGHT: 4.5, CONTRAST: 7.0}


def luminance(color):
    """Relative luminance, as the guidelines define it."""
    parts = []
    for value in (color.r, color.g, color.b):
        share = value / 255
        parts.append(share / 12.92 if share <= 0.03928 else ((share + 0.055) / 1.055) ** 2.4)
    return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]


def contrast(one, other):
    """Contrast ratio of two colours, as the guidelines define it."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def weakest(seat):
    """The lowest contrast of any letter on the screen, and the text that has it."""
    found = []
    boxes = seat.page.query(".box")
    # What lies under a box is dimmed on purpose: it is not at work.
    region = boxes.first().region if boxes else seat.page.region
    for row in seat.app.screen._compositor.render_strips()[region.y : region.bottom]:
        for segment in row.crop(region.x, region.right):
            style = segment.style
            # Frames, bars and lines are drawings; all that they say stands beside them in words.
            text = "".join(c for c in segment.text if c.isalnum())
            if not text or style is None or style.color is None or style.bgcolor is None:
                continue
            fore = Color.from_rich_color(style.color)
            back = Color.from_rich_color(style.bgcolor)
            if style.reverse:
                fore, back = back, fore
            found.append((contrast(fore, back), segment.text))
    return min(found)


@pytest.mark.parametrize("theme", [DARK, LIGHT, CONTRAST])
async def test_everything_can_be_read(drive, work, sessions, shop, theme, size):
    """On every page each letter stands out from its ground as the guidelines ask."""
    work.do(TakeReading("idle-look", "hunting", Entry(choice="hunting"), taken_as="route"))
    app = FaulttreeApp(
        shop, sessions, who="sam", colours=theme, opening=lambda app: app.go_on(work)
    )
    async with drive(app, size) as seat:
        for key in ("", "1", "w", "t", "m", "f", "c", "h", "e", "question_mark", "u"):
            if key:
                await seat.press(key)
            ratio, text = weakest(seat)
            assert ratio >= LEAST[theme], (key, text, ratio)
            while seat.page.PAGE != "walk":
                await seat.press("escape")
            if key == "1":
                await seat.press("escape")


async def test_without_colours_everything_is_still_there(drive, on_walk, work, monkeypatch, size):
    """With NO_COLOR the same words and signs are shown, in greys, and can be read."""
    monkeypatch.setenv("NO_COLOR", "1")
    work.do(TakeReading("idle-look", "hunting", Entry(choice="hunting"), taken_as="route"))
    async with drive(on_walk(work), size) as seat:
        await seat.type("12")
        assert "✗ low" in seat.words
        assert "▲ rose from" in seat.words
        ratio, text = weakest(seat)
        assert ratio >= 4.5, text
        for row in seat.app.screen._compositor.render_strips():
            for segment in row:
                if segment.style is not None and segment.style.color is not None:
                    shade = Color.from_rich_color(segment.style.color)
                    assert shade.r == shade.g == shade.b


async def test_the_colours_can_be_changed(drive, app):
    """One key on the home page leads to the three sets of colours."""
    async with drive(app) as seat:
        shown = await seat.press("c")
        assert "Strong contrast" in shown
        await seat.press("3")
        assert seat.app.theme == CONTRAST


async def test_the_highlighted_row_is_marked_without_colour(drive, app):
    """The row that Enter would take is bold, not only of another colour."""
    async with drive(app) as seat:
        row = seat.app.screen._compositor.render_strips()[3]
        told = [segment for segment in row if "car has come in" in segment.text]
        assert told
        assert told[0].style.bold


async def test_the_mouse_works_too(drive, app, size):
    """A click on a row takes it, and a click on a key at the foot does what the key does."""
    async with drive(app, size) as seat:
        await seat.pilot.click("PickList", offset=(5, 0))
        await seat.settle()
        assert seat.page.PAGE == "complaint"
        foot = seat.frame.splitlines()[-1]
        await seat.pilot.click("KeyLine", offset=(foot.index("Back"), 0))
        await seat.settle()
        assert seat.page.PAGE == "home"


async def test_route_and_advice_can_be_clicked(drive, on_walk, work, size):
    """A click on the advice goes where its key goes."""
    async with drive(on_walk(work), size) as seat:
        ways = seat.page.query_one("#ways")
        line = next(at for at, row in enumerate(str(ways.render()).splitlines()) if "Advice" in row)
        await seat.pilot.click("#ways", offset=(12, line))
        await seat.settle()
        assert seat.page.next.way == "advice"
