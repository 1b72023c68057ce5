"""The pictures in the README show what the program shows now."""

import importlib.util
import re
import sys
from pathlib import Path
from types import ModuleType
from xml.etree import ElementTree

import pytest

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def _maker() -> ModuleType:
    path = ROOT / "tests" / "support" / "make_pictures.py"
    spec = importlib.util.spec_from_file_location("make_pictures", path)
    assert spec is not None
    assert spec.loader is not None
    made = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = made
    spec.loader.exec_module(made)
    return made


MAKER = _maker()


@pytest.mark.parametrize("name", sorted(MAKER.PICTURES))
async def test_the_picture_is_up_to_date(name: str) -> None:
    """Row by row the picture has the words that the program shows after the same keys.

    Where this fails: look at the screen, then run `python tests/support/make_pictures.py`.
    """
    kept = (MAKER.FOLDER / f"{name}.svg").read_text(encoding="utf-8")
    shown = MAKER.words_of(kept)
    assert MAKER.words_of(await MAKER.draw(name)) == shown
    assert len(shown) <= MAKER.PICTURES[name][0][1]


def test_words_of_a_picture_are_read_from_it() -> None:
    """A changed word in a picture is a changed row, wherever its pieces stand in the file."""
    svg = '<svg xmlns="http://www.w3.org/2000/svg"><text y="2" x="1">b</text>{}</svg>'
    first, second = '<text y="1" x="5">&#160;one</text>', '<text y="1" x="0">a</text>'
    assert MAKER.words_of(svg.format(first + second)) == ["a one", "b"]
    assert MAKER.words_of(svg.format(second)) == ["a", "b"]


def test_the_readme_shows_the_pictures() -> None:
    """Every picture is shown in the README, and no other; none fetches anything from elsewhere."""
    shown = re.findall(r"!\[[^\]]+\]\((\S+\.svg)\)", README)
    assert sorted(shown) == sorted(f"tests/screen/snapshots/{n}.svg" for n in MAKER.PICTURES)
    for path in shown:
        picture = (ROOT / path).read_text(encoding="utf-8")
        ElementTree.fromstring(picture)
        assert not re.search(r"url\((?!#)|href|@import|<script", picture)
