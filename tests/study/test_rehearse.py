"""Rehearsals on a small invented shelf."""

import json
from dataclasses import asdict, replace

import pytest

from faulttree.study.rehearse import Report, rehearse, to_json, to_text
from faulttree.tree.car import Car
from faulttree.tree.model import Knowledge

from .small import small_knowledge

CAR = Car("test car")


@pytest.fixture(scope="module")
def knowledge() -> Knowledge:
    """The small shelf."""
    return small_knowledge()


@pytest.fixture(scope="module")
def by_advice(knowledge: Knowledge) -> Report:
    """Three hundred sessions by the advice."""
    return rehearse(knowledge, ["rough"], CAR, runs=300, seed=5)


def test_sessions_by_advice_mostly_end_in_a_cure(by_advice: Report) -> None:
    """With tests that tell nearly everything, the advice cures most cars and names rightly."""
    assert by_advice.cured + by_advice.given_up == by_advice.runs == 300
    assert by_advice.cured > 0.9 * 300
    assert by_advice.named_right > 0.75 * 300
    assert by_advice.points < 300


def test_every_line_adds_up(by_advice: Report) -> None:
    """Nothing is named or cured more often than it was at work, or earns more than is done."""
    for line in by_advice.causes:
        assert line.named <= line.at_work
        assert line.cured <= line.at_work
        assert sum(count for _, count in line.mistaken_for) <= line.at_work - line.named
    for test in by_advice.tests_done:
        assert 0 <= test.earned <= test.done
    done = sum(test.done for test in by_advice.tests_done)
    assert by_advice.tests * 300 == pytest.approx(done)


def test_the_same_seed_gives_the_same_report_in_any_number_of_processes(
    knowledge: Knowledge,
) -> None:
    """Two processes find what one finds."""
    one = rehearse(knowledge, ["rough"], CAR, runs=40, seed=9)
    two = rehearse(knowledge, ["rough"], CAR, runs=40, seed=9, processes=2)
    assert one == two
    assert one != rehearse(knowledge, ["rough"], CAR, runs=40, seed=10)


def test_what_no_test_tells_apart_is_a_weak_spot(knowledge: Knowledge) -> None:
    """Two causes that no test tells apart are taken for the likelier of them, and it is said."""
    blind = {
        **knowledge.tests,
        "squeeze": replace(knowledge.tests["squeeze"], points_to={"rings": {"low": 0.03}}),
        "prime": replace(knowledge.tests["prime"], points_to={"pump": {"low": 0.04}}),
    }
    seeing = rehearse(knowledge, ["rough"], CAR, runs=80, seed=3, as_cause="rings")
    not_seeing = rehearse(
        replace(knowledge, tests=blind), ["rough"], CAR, runs=80, seed=3, as_cause="rings"
    )

    def named(report: Report) -> int:
        return next(line.named for line in report.causes if line.id == "rings")

    assert named(not_seeing) < named(seeing) / 2
    assert any(
        "Worn rings" in spot and "taken for: Weak pump" in spot for spot in not_seeing.weak_spots
    )


def test_as_cause_has_it_at_work_in_every_session(knowledge: Knowledge) -> None:
    """Rehearsing one cause counts it in every session."""
    report = rehearse(knowledge, ["rough"], CAR, runs=30, as_cause="pump")
    assert next(line.at_work for line in report.causes if line.id == "pump") == 30
    assert report.as_cause == "pump"


def test_wide_points_take_choices_at_their_word_and_say_so(
    knowledge: Knowledge, by_advice: Report, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Past the width allowed an observer's errors are left out, and the points are counted."""
    assert by_advice.at_word == by_advice.tangled == 0
    monkeypatch.setattr("faulttree.study.rehearse.WIDEST", 1)
    report = rehearse(knowledge, ["rough"], CAR, runs=60, seed=5)
    assert 0 < report.at_word <= report.points
    assert f"of {report.points} points" in to_text(report)


def test_the_route_is_walked_as_written(knowledge: Knowledge) -> None:
    """By the route every session begins with the first test, and the tests come in its order."""
    report = rehearse(knowledge, ["rough"], CAR, runs=100, follow="route")
    done = {test.id: test.done for test in report.tests_done}
    assert done["smoke"] >= 100
    assert done["smoke"] >= done["prime"] >= done["squeeze"] > 0
    assert report.given_up > 0


def test_the_text_and_the_json_say_the_same(by_advice: Report) -> None:
    """The text names every cause met; the JSON holds the report whole."""
    text = to_text(by_advice)
    for line in by_advice.causes:
        assert line.name[:25] in text
    assert "300 sessions by the advice" in text
    assert all(len(line) <= 80 for line in text.splitlines() if not line.startswith("- "))
    assert json.loads(to_json(by_advice)) == json.loads(json.dumps(asdict(by_advice)))


def test_no_sessions_are_refused(knowledge: Knowledge) -> None:
    """A rehearsal of nothing is an error that says so."""
    with pytest.raises(ValueError, match="at least one session"):
        rehearse(knowledge, ["rough"], CAR, runs=0)
