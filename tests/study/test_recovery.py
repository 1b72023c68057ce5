"""Known numbers come back from simulated sessions, through logs on the disk as in a shop."""

from collections import defaultdict
from pathlib import Path

import pytest

from faulttree.study.cases import gather
from faulttree.study.counting import numbers_of
from faulttree.study.learn import Lesson, learn
from faulttree.tree.load import load_all
from faulttree.tree.model import Knowledge

from .shop import distort, simulate_shop, write_shop

TREES = Path(__file__).parents[1] / "cli" / "trees"


@pytest.fixture(scope="module")
def truth() -> Knowledge:
    """The numbers that the cars obey."""
    return load_all(TREES, learned=False)


@pytest.fixture(scope="module")
def lessons(truth: Knowledge, tmp_path_factory: pytest.TempPathFactory) -> list[Lesson]:
    """What authors who guessed badly, each in another way, learn from four hundred sessions each.

    They are counted for as much as they are worth: numbers whose log-odds are off by 0.8 are about
    as good as eight cars.
    """
    made = []
    for seed in range(5):
        folder = tmp_path_factory.mktemp("logs")
        pace = {test: 2.0 * t.minutes for test, t in truth.tests.items()}
        write_shop(folder, simulate_shop(truth, 400, seed, pace=pace))
        author = distort(truth, 100 + seed, spread=0.8)
        made.append(learn(author, gather(author, folder), strength=8))
    return made


def errors(lessons: list[Lesson], truth: Knowledge) -> dict[str, list[tuple[float, float, bool]]]:
    """By kind, each offered number's error before and after, and whether its interval holds it."""
    true = numbers_of(truth)
    rows = defaultdict(list)
    for lesson in lessons:
        for n in lesson.numbers:
            if n.offered:
                t = true[n.kind, n.cause, n.where, n.band]
                rows[n.kind].append((abs(n.old - t), abs(n.new - t), n.low <= t <= n.high))
    return rows


def test_all_sessions_count(lessons: list[Lesson]) -> None:
    """A shop that works as the trees say makes no session that contradicts itself."""
    for lesson in lessons:
        assert (lesson.sessions, lesson.skipped, lesson.contradictions) == (400, {}, ())


def test_the_error_shrinks_clearly(lessons: list[Lesson], truth: Knowledge) -> None:
    """Of every kind of number the mean error falls, over all of them to less than six tenths."""
    found = errors(lessons, truth)
    assert set(found) == {"how_common", "brings_on", "points_to", "by_chance"}
    for kind, rows in found.items():
        before, after, _ = zip(*rows, strict=True)
        assert sum(after) < 0.9 * sum(before), kind
    every = [row for rows in found.values() for row in rows]
    assert sum(after for _, after, _ in every) < 0.6 * sum(before for before, _, _ in every)


def test_the_intervals_hold_the_truth(lessons: list[Lesson], truth: Knowledge) -> None:
    """About 95 % of the intervals hold the true number, and they are not merely wide."""
    rows = [row for kind in errors(lessons, truth).values() for row in kind]
    share = sum(held for _, _, held in rows) / len(rows)
    # Some hundred intervals: three standard errors of a share of 0.95 are 0.06.
    assert len(rows) > 100
    assert share >= 0.89
    widths = [n.high - n.low for lesson in lessons for n in lesson.numbers if n.offered]
    assert sum(widths) / len(widths) < 0.25


def test_minutes_are_recovered(lessons: list[Lesson], truth: Knowledge) -> None:
    """Tests that take twice as long as the author says are found to, lunch breaks or not."""
    for lesson in lessons:
        offered = [time for time in lesson.minutes if time.offered]
        assert len(offered) >= 3
        for time in offered:
            assert time.new == pytest.approx(2.0 * time.old, rel=0.25), time.test
