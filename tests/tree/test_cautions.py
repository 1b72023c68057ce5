"""Whoever names something dangerous without its caution is told, however it is written."""

from pathlib import Path

import pytest

from faulttree.tree.check import check
from faulttree.tree.places import shipped

GOOD_DO = "Watch it for a minute."


def called_for(shelf: Path, do: str) -> list[str]:
    """What the checker says calls for a caution, with these steps in a test that carries none."""
    path = shelf / "shared" / "fuel.yaml"
    text = path.read_text()
    assert text.count(GOOD_DO) == 1
    path.write_text(text.replace(GOOD_DO, f"'{do}'"))
    return [problem.message for problem in check([path]) if problem.rule == "caution-missing"]


@pytest.mark.parametrize(
    ("do", "found"),
    [
        ("Look at the fuel rail.", "fuel rail"),
        ("Look at the fuel-rail.", "fuel-rail"),
        ("Look at both Fuel Rails.", "Fuel Rails"),
        ("Sniff for PETROL.", "PETROL"),
    ],
)
def test_word_is_found_however_it_is_written(shelf: Path, do: str, found: str) -> None:
    """Capitals, the plural and a hyphen for a space make no difference."""
    assert called_for(shelf, do) == [f"`{found}` calls for the caution `petrol`"]


@pytest.mark.parametrize("do", ["Read the petrology.", "A biofuel railing.", "Fuel; rail."])
def test_part_of_another_word_is_not_found(shelf: Path, do: str) -> None:
    """A word within a longer one, or with a stop in it, is another word."""
    assert called_for(shelf, do) == []


@pytest.mark.parametrize(
    ("do", "caution"),
    [
        ("Slip the gauge onto the fuel rail.", "petrol"),
        ("Pull the plug leads one by one.", "high-voltage"),
        ("Unscrew the oxygen sensor.", "hot-parts"),
        ("Raise it with the jack.", "lifting"),
        ("Watch the belt with the engine running.", "moving-parts"),
        ("Repeat it on the road test.", "road"),
    ],
)
def test_usual_dangers_are_found_with_the_shipped_cautions(
    shelf: Path, do: str, caution: str
) -> None:
    """Petrol, ignition voltage, hot parts, lifting, moving parts and the road are not missed."""
    words = (shipped("trees") / "shared" / "cautions.yaml").read_text(encoding="utf-8")
    (shelf / "shared" / "cautions.yaml").write_text(words, encoding="utf-8")
    assert any(message.endswith(f"`{caution}`") for message in called_for(shelf, do))
