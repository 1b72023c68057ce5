"""Writing what was learnt: the loader takes it, nothing else is touched, and it can be undone."""

import os
import shutil
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from faulttree.study.cases import Case, Gathered
from faulttree.study.counting import Kind
from faulttree.study.learn import Learnt, Lesson, Timed, learn
from faulttree.study.overlay import (
    FIRST_LINE,
    CannotWrite,
    Overlay,
    overlay_of,
    rounded,
    to_yaml,
    whole_minutes,
    write,
)
from faulttree.tree.load import load_all
from faulttree.tree.model import Knowledge

NOW = datetime(2026, 11, 25, 15, 30, tzinfo=UTC)
GOOD = Path(__file__).parents[1] / "bad_trees" / "good"


@pytest.fixture
def trees(tmp_path: Path) -> Path:
    """A folder of trees in which everything is right."""
    return shutil.copytree(GOOD, tmp_path / "trees")


def number(kind: Kind, cause: str, where: str, band: str, old: float, new: float) -> Learnt:
    """A number that is offered, seen on 30 cars."""
    return Learnt(kind, cause, where, band, old, new, new / 2, (1 + new) / 2, 30, True)


def lesson(*numbers: Learnt, minutes: tuple[Timed, ...] = ()) -> Lesson:
    """A lesson of these numbers, from 40 sessions."""
    return Lesson(20.0, 40, {}, (), numbers, minutes)


def authored(trees: Path) -> Knowledge:
    """The shelf as its author wrote it."""
    return load_all(trees, learned=False)


def test_what_is_written_is_what_is_loaded(trees: Path) -> None:
    """Every kind of figure comes back from the loader to three digits; the rest is authored."""
    knowledge = authored(trees)
    low = knowledge.tests["fuel-pressure-prime"]
    found = lesson(
        number("how_common", "fuel-pump-weak", "", "", 0.04, 0.081234),
        number("brings_on", "fuel-pump-weak", "engine-stalls", "", 0.5, 0.3),
        number("points_to", "fuel-pump-weak", "fuel-pressure-prime", "low", 0.7, 0.61),
        number("by_chance", "", "fuel-pressure-prime", "high", 0.02, 0.05),
        minutes=(Timed("cranking-volts", 5, 7.3, 6, 9, 12, 0, True),),
    )
    overlay = overlay_of(found, knowledge)
    assert (overlay.figures, overlay.kept_out) == (5, {})
    path = write(trees, overlay, found, NOW)
    loaded = load_all(trees)
    assert loaded.causes["fuel-pump-weak"].how_common == 0.0812
    assert loaded.trees["engine-stalls"].brings_on["fuel-pump-weak"] == 0.3
    test = loaded.tests["fuel-pressure-prime"]
    assert test.points_to["fuel-pump-weak"]["low"] == 0.61
    assert test.by_chance == {**low.by_chance, "high": 0.05}
    assert loaded.tests["cranking-volts"].minutes == 7.5
    path.unlink()
    assert load_all(trees) == knowledge


def test_the_head_says_what_it_is_and_how_to_go_back(trees: Path) -> None:
    """From how many sessions, when, with which strength, and that deleting it is enough."""
    found = lesson(number("how_common", "fuel-pump-weak", "", "", 0.04, 0.08))
    text = write(trees, overlay_of(found, authored(trees)), found, NOW).read_text()
    assert text.startswith(FIRST_LINE)
    head = text[: text.index("format:")]
    for part in ("2026-11-25 15:30 UTC", "40 closed sessions", "Strength 20", "delete this file"):
        assert part in head


def test_nothing_but_the_overlay_is_touched(trees: Path) -> None:
    """Every authored file is byte for byte as before, and nothing else is left in the folder."""
    before = {path: path.read_bytes() for path in trees.rglob("*") if path.is_file()}
    found = lesson(number("how_common", "fuel-pump-weak", "", "", 0.04, 0.08))
    path = write(trees, overlay_of(found, authored(trees)), found, NOW)
    assert {p: p.read_bytes() for p in trees.rglob("*") if p.is_file() and p != path} == before


def test_what_did_not_move_or_is_not_offered_is_left_out(trees: Path) -> None:
    """A number equal to the author's to three digits, and one seen on too few cars, stay away."""
    few = replace(number("how_common", "fuel-pump-weak", "", "", 0.04, 0.2), offered=False)
    same = number("brings_on", "fuel-pump-weak", "engine-stalls", "", 0.5, 0.50004)
    slow = Timed("cranking-volts", 5, 50, 40, 60, 3, 0, False)
    assert overlay_of(lesson(few, same, minutes=(slow,)), authored(trees)).figures == 0


def test_bands_leave_room_for_the_expected_one(trees: Path) -> None:
    """Learnt bands are held down together, beside an authored one that stays, and it is said."""
    knowledge = authored(trees)
    regulator = knowledge.tests["fuel-pressure-prime"].points_to["regulator-high"]["high"]
    found = lesson(
        number("points_to", "regulator-high", "fuel-pressure-prime", "low", 0.01, 0.4),
    )
    overlay = overlay_of(found, knowledge)
    low = overlay.points_to["fuel-pressure-prime"]["regulator-high"]["low"]
    assert regulator + low == pytest.approx(0.98, abs=2e-4)
    assert regulator + low <= 0.98
    (why,) = overlay.kept_out.values()
    assert "0.4 is written as" in why
    write(trees, overlay, found, NOW)
    assert load_all(trees).tests["fuel-pressure-prime"].points_to["regulator-high"]["low"] == low


chances = st.floats(1e-5, 0.97) | st.sampled_from([1e-5, 1e-4, 0.3])


@given(st.lists(st.tuples(chances, chances, st.booleans()), min_size=1, max_size=6))
def test_whatever_is_learnt_the_loader_has_room_for(bands: list[tuple[float, float, bool]]) -> None:
    """However many bands are learnt, and however small some are, all together stay within 0.98."""
    test = authored(GOOD).tests["fuel-pressure-prime"]
    most = max(1.0, sum(old for old, _, _ in bands) / 0.97)
    old = {f"band {at}": chance / most for at, (chance, _, _) in enumerate(bands)}
    full = replace(test, points_to={"regulator-high": old})
    learnt = [
        number("points_to", "regulator-high", test.id, band, old[band], new)
        for band, (_, new, moved) in zip(old, bands, strict=True)
        if moved
    ]
    knowledge = replace(authored(GOOD), tests={test.id: full})
    overlay = overlay_of(lesson(*learnt), knowledge)
    written = overlay.points_to.get(test.id, {}).get("regulator-high", {})
    assert sum({**old, **written}.values()) <= 0.98 + 1e-9
    assert all(chance > 0.0 for chance in written.values())


def test_bands_without_room_are_left_out_with_the_reason(trees: Path) -> None:
    """Where the authored bands leave nothing, the learnt one stays away, and it is said why."""
    knowledge = authored(trees)
    test = knowledge.tests["fuel-pressure-prime"]
    full = replace(test, points_to={"regulator-high": {"high": 0.98}})
    knowledge = replace(knowledge, tests={**knowledge.tests, test.id: full})
    found = lesson(number("points_to", "regulator-high", test.id, "low", 0.01, 0.4))
    overlay = overlay_of(found, knowledge)
    assert overlay.figures == 0
    assert list(overlay.kept_out.values()) == ["the authored bands beside it leave no room"]


@pytest.mark.parametrize(("new", "held"), [(1e-9, 1e-4), (0.9999, 0.98)])
def test_never_and_always_are_not_written(trees: Path, new: float, held: float) -> None:
    """A chance that came to nothing, or to everything, is written within bounds, and it is said."""
    found = lesson(number("how_common", "fuel-pump-weak", "", "", 0.04, new))
    overlay = overlay_of(found, authored(trees))
    assert overlay.causes == {"fuel-pump-weak": held}
    assert overlay.kept_out
    write(trees, overlay, found, NOW)
    assert load_all(trees).causes["fuel-pump-weak"].how_common == held


def test_a_file_of_somebody_else_is_not_written_over(trees: Path) -> None:
    """One that this program wrote is replaced; one written by hand is left, and it is said."""
    found = lesson(number("how_common", "fuel-pump-weak", "", "", 0.04, 0.08))
    overlay = overlay_of(found, authored(trees))
    path = write(trees, overlay, found, NOW)
    overlay.causes["fuel-pump-weak"] = 0.09
    path.chmod(0o640)
    write(trees, overlay, found, NOW)
    # Whom the shop lets read it is not for us to change.
    assert path.stat().st_mode & 0o777 == 0o640
    assert load_all(trees).causes["fuel-pump-weak"].how_common == 0.09
    path.write_text("format: 1\nabout: mine\n")
    with pytest.raises(CannotWrite, match="was not written by `faulttree learn`"):
        write(trees, overlay, found, NOW)
    assert path.read_text() == "format: 1\nabout: mine\n"


def test_what_the_loader_refuses_is_not_written(trees: Path) -> None:
    """A figure that does not fit the trees leaves the old file in place and no litter beside it."""
    found = lesson(number("how_common", "fuel-pump-weak", "", "", 0.04, 0.08))
    path = write(trees, overlay_of(found, authored(trees)), found, NOW)
    before = path.read_bytes()
    with pytest.raises(CannotWrite, match="there is no cause `fuel-pump-wek`"):
        write(trees, Overlay(causes={"fuel-pump-wek": 0.1}), found, NOW)
    assert path.read_bytes() == before
    assert [p.name for p in trees.iterdir() if p.name.startswith(".")] == []


def test_a_crash_while_writing_leaves_the_old_file(
    trees: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The new file takes the old one's place in one go or not at all."""
    found = lesson(number("how_common", "fuel-pump-weak", "", "", 0.04, 0.08))
    path = write(trees, overlay_of(found, authored(trees)), found, NOW)
    before = path.read_bytes()

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(CannotWrite, match="No space left on device"):
        write(trees, Overlay(causes={"fuel-pump-weak": 0.2}), found, NOW)
    assert path.read_bytes() == before
    assert [p.name for p in trees.iterdir() if p.name.startswith(".")] == []


def test_learning_twice_writes_the_same(trees: Path) -> None:
    """A second run over the same sessions starts from the author again: they count once."""
    case = Case(
        frozenset({"engine-stalls"}),
        frozenset({"fuel-pump-weak"}),
        frozenset(authored(trees).causes),
        {"fuel-pressure-prime": {"low": 1.0}},
    )
    texts = []
    for _ in range(2):
        knowledge = authored(trees)
        found = learn(knowledge, Gathered((case,) * 30))
        path = write(trees, overlay_of(found, knowledge), found, NOW)
        texts.append(path.read_text())
        assert load_all(trees) != knowledge
    assert texts[0] == texts[1]


def test_names_that_yaml_would_misread_are_quoted() -> None:
    """A band called `no`, `12` or with a colon stays the text that it is."""
    overlay = Overlay(by_chance={"t": {"no": 0.1, "12": 0.2, "a: b": 0.3, "all low": 0.04}})
    text = to_yaml(overlay, lesson(), NOW)
    assert '    by_chance: {"no": 0.1, "12": 0.2, "a: b": 0.3, all low: 0.04}' in text


def test_figures_are_rounded_as_an_author_would() -> None:
    """Chances to three digits; minutes to halves below ten and to whole ones above."""
    assert [rounded(p) for p in (0.081266, 0.5, 0.000123456)] == [0.0813, 0.5, 0.000123]
    assert [whole_minutes(m) for m in (0.1, 7.3, 12.4, 44.6)] == [0.5, 7.5, 12, 45]
