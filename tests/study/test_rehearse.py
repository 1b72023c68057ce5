"""Rehearsals on a small invented shelf."""

import json
from dataclasses import asdict, replace

import pytest

from faulttree.scorer.inference import look_ahead, solve
from faulttree.study import rehearse as module
from faulttree.study.rehearse import Report, rehearse
from faulttree.study.rehearse_text import _bar, to_json, to_text
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


def test_errors_of_looks_are_reckoned_with_exactly_up_to_a_limit(
    knowledge: Knowledge, by_advice: Report, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Past the looks allowed their errors are charged by the throw, and the points are counted."""
    assert by_advice.charged == by_advice.tangled == 0
    monkeypatch.setattr(module, "EXACT_UP_TO", 0)
    report = rehearse(knowledge, ["rough"], CAR, runs=60, seed=5)
    assert 0 < report.charged <= report.points
    assert f"of {report.points} points" in to_text(report)


def test_what_the_look_ahead_foresaw_is_what_is_found(knowledge: Knowledge) -> None:
    """The chances handed on after a look, error included, are those of a solution of its own."""
    network = module.build_network(knowledge, ["rough"], CAR)
    shop = module._Shop(knowledge, network, CAR, "advice", {"smoke": 0.95}, 60.0, 1.0)
    start = module.Problem(network, module.evidence_of(shop, ()))
    it = look_ahead(start, ["smoke"], ()).outlooks[0]
    after = module._After(it.bands, it.chance, it.after, it.active)
    for band in it.bands:
        evidence = module.evidence_of(shop, (("test", "smoke", band),))
        found = solve(network, evidence)
        present, active = after.said(evidence.findings[-1])
        assert present == pytest.approx(found.present, abs=1e-12)
        assert active == pytest.approx(found.active, abs=1e-12)


def test_histories_that_differ_in_order_alone_are_one_point() -> None:
    """Tests since the last repair stand in order of name; a test done again counts as done now."""
    b, a = ("test", "b", "low"), ("quiet", "a", "ok")
    repair = ("repair", "pump", "rough")
    assert module._with(module._with((), b), a) == module._with(module._with((), a), b) == (a, b)
    assert module._with((b, repair), a) == (b, repair, a)
    assert module._with((a, b), ("test", "a", "low")) == (("test", "a", "low"), b)


def test_several_complaints_are_rehearsed_together(knowledge: Knowledge) -> None:
    """With two complaints every car has both, is cured of both, and each has its own rival."""
    report = rehearse(knowledge, ["rough", "weak"], CAR, runs=60, seed=4)
    assert report.trees == ("rough", "weak")
    assert report.cured > 30
    ids = {line.id for line in report.causes}
    assert "not-listed" not in ids
    assert ids & {"pump", "rings"}
    assert "rough and weak" in to_text(report)
    by_route = rehearse(knowledge, ["rough", "weak"], CAR, runs=60, seed=4, follow="route")
    assert 0 < by_route.cured <= 60


def test_a_repair_that_cures_one_of_two_complaints_leaves_the_other(knowledge: Knowledge) -> None:
    """What went with a repair that can cure it is gone for certain; the other still counts."""
    network = module.build_network(knowledge, ["rough", "weak"], CAR)
    shop = module._Shop(knowledge, network, CAR, "advice", {}, 60.0, 1.0)
    history = (("repair", "leak", "weak"), ("repair", "pump", ""))
    findings = module.evidence_of(shop, history).findings
    assert [(f.source, f.stage, f.bands["gone"]) for f in findings] == [
        ("rough", 0, 0.0), ("weak", 0, 0.0), ("rough", 1, 1.0), ("weak", 1, 0.0), ("weak", 2, 1.0),
    ]  # fmt: skip


def test_a_complaint_that_seldom_shows_makes_the_work_longer(knowledge: Knowledge) -> None:
    """A test that needs the complaint tells less when it does not show, and may be done again."""
    needing = replace(knowledge.tests["squeeze"], shows_only=0.05)
    knowledge = replace(knowledge, tests={**knowledge.tests, "squeeze": needing})
    asked = {"runs": 80, "seed": 2, "as_cause": "rings"}
    always = rehearse(knowledge, ["rough"], CAR, **asked)
    seldom = rehearse(knowledge, ["rough"], CAR, showing=0.3, **asked)

    def done(report: Report) -> int:
        return next(test.done for test in report.tests_done if test.id == "squeeze")

    assert done(seldom) > 1.5 * done(always)
    assert seldom.minutes > always.minutes
    assert "shows at 30% of the tests" in to_text(seldom)
    with pytest.raises(ValueError, match="between never"):
        rehearse(knowledge, ["rough"], CAR, runs=1, showing=1.5)


def test_progress_rises_to_the_end(knowledge: Knowledge) -> None:
    """What is told of the progress never falls, and ends at the whole."""
    told: list[float] = []
    rehearse(knowledge, ["rough"], CAR, runs=30, seed=1, progress=told.append)
    assert told == sorted(told)
    assert told[-1] == 1.0
    assert len(set(told)) > 10


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
    assert all(len(line) <= 80 for line in text.splitlines())
    assert json.loads(to_json(by_advice)) == json.loads(json.dumps(asdict(by_advice)))


def test_advice_and_route_stand_side_by_side(knowledge: Knowledge, by_advice: Report) -> None:
    """Of two reports the text has a column each, and a bar each for every cause."""
    by_route = rehearse(knowledge, ["rough"], CAR, runs=300, seed=5, follow="route")
    text = to_text(by_advice, by_route)
    assert all(len(line) <= 80 for line in text.splitlines())
    row = next(line for line in text.splitlines() if line.startswith("cured"))
    assert row.split() == [
        "cured",
        str(by_advice.cured), f"({round(by_advice.cured / 3)}", "%)",
        str(by_route.cured), f"({round(by_route.cured / 3)}", "%)",
    ]  # fmt: skip
    pump = next(n for n, line in enumerate(text.splitlines()) if line.startswith("Weak pump"))
    first, second = text.splitlines()[pump : pump + 2]
    assert first.endswith("advice")
    assert second.endswith("route")
    whole = json.loads(to_json(by_advice, by_route))
    assert whole["route"]["cured"] == by_route.cured


def test_a_bar_is_always_full(by_advice: Report) -> None:
    """The parts of a bar are as long as their shares, and rounding leaves no gap."""
    assert _bar((3, 0, 0), 3) == "#" * 24
    assert _bar((1, 1, 2), 4) == "#" * 6 + "x" * 6 + "." * 12
    for right in range(8):
        for wrong in range(8 - right):
            bar = _bar((right, wrong, 7 - right - wrong), 7)
            assert len(bar) == 24
            assert abs(bar.count("#") - 24 * right / 7) <= 0.5


def test_no_sessions_are_refused(knowledge: Knowledge) -> None:
    """A rehearsal of nothing is an error that says so."""
    with pytest.raises(ValueError, match="at least one session"):
        rehearse(knowledge, ["rough"], CAR, runs=0)
