"""A past session walked as an exercise: the sums, the pages, and the line that is kept."""

import json
import os
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from faulttree.screen.app import FaulttreeApp
from faulttree.screen.boxes import WriteBox
from faulttree.screen.exercise import ExercisePage, told_line
from faulttree.screen.scores import choice_settles
from faulttree.session.events import Envelope
from faulttree.session.journal import knowledge_of, list_sessions, read
from faulttree.session.moves import Undo, decide
from faulttree.session.state import State, apply
from faulttree.study import exercise
from faulttree.study.exercise import (
    OTHER,
    Choice,
    Forecast,
    Picked,
    Scene,
    Step,
    asked,
    before,
    brier,
    confirmed,
    forecast,
    keep,
    over_advice,
    parse_chances,
    scene,
    steps_of,
    total_over_advice,
)

ROOT = Path(__file__).parents[2]
DEMO = "2026-11-23-camper-hunts-at-idle-and-stumbles-48a7.jsonl"
SIZES = [(80, 24), (120, 40)]


@pytest.fixture
def sessions(tmp_path):
    """The shipped sessions in a folder of their own."""
    return Path(shutil.copytree(ROOT / "sessions", tmp_path / "sessions"))


@pytest.fixture(scope="module")
def demo():
    """The closed demo session and what it knew."""
    record = read(ROOT / "sessions" / DEMO)
    return record.state, knowledge_of(record)


# --- sums --------------------------------------------------------------------------------------


def test_brier_score_agrees_with_the_published_example():
    """The score of the example in scikit-learn's documentation of brier_score_loss is 0.0375."""
    assert brier([0, 1, 1, 0], [0.1, 0.9, 0.8, 0.3]) == pytest.approx(0.0375)


def test_brier_score_at_its_ends():
    """Sure and right is 0, sure and wrong 1, half for everything a quarter."""
    assert brier([True, False], [1.0, 0.0]) == 0.0
    assert brier([True, False], [0.0, 1.0]) == 1.0
    assert brier([True, False, False], [0.5, 0.5, 0.5]) == 0.25


@pytest.mark.parametrize("belief", [0.0, 0.2, 0.5, 0.83])
def test_brier_score_is_proper(belief):
    """Nobody does better on average than by stating what he believes."""

    def expected(stated):
        return belief * brier([1], [stated]) + (1 - belief) * brier([0], [stated])

    assert all(expected(belief) <= expected(other / 20) + 1e-12 for other in range(21))


@pytest.mark.parametrize(
    ("outcomes", "forecasts"), [([], []), ([1], [0.5, 0.5]), ([1], [1.2]), ([0], [float("nan")])]
)
def test_brier_score_refuses_what_is_no_forecast(outcomes, forecasts):
    """No outcome, another number of forecasts, and what is no chance are refused."""
    with pytest.raises(ValueError, match="forecast"):
        brier(outcomes, forecasts)


@pytest.mark.parametrize("text", ["70 20 5", "70%, 20 %, 5 %", "70;20;5", " 70,0 20.0  5 "])
def test_chances_are_read_as_people_write_them(text):
    """Figures in per cent may be parted by spaces, commas with a space, or semicolons."""
    assert parse_chances(text, 3) == pytest.approx((0.7, 0.2, 0.05))


@pytest.mark.parametrize("text", ["", "70 20", "70 20 101", "70 20 -5", "70 20 x", "70 20 nan"])
def test_chances_that_make_no_sense_are_refused(text):
    """Too few figures, more than 100 per cent, and words are refused with what to write."""
    with pytest.raises(ValueError, match=r"wanted|per cent"):
        parse_chances(text, 3)


def _scene(pick, recorded, advice):
    step = Step(1, "test", "a", None)
    return Picked(Scene(step, (), recorded, advice, {}), pick)


def _choice(name, cost):
    return Choice("test", name, name, 5.0, cost)


def test_cost_against_the_advice_is_summed_over_what_was_weighed():
    """Only steps where the pick could be weighed count, for the recorded steps as well."""
    one = _scene(_choice("a", 110.0), _choice("b", 130.0), _choice("c", 100.0))
    two = _scene(_choice("a", 95.0), _choice("c", 90.0), _choice("c", 90.0))
    shown = _scene(None, _choice("b", 500.0), _choice("c", 100.0))
    unweighed = _scene(_choice("a", None), _choice("b", 500.0), _choice("c", 100.0))
    everything = [one, two, shown, unweighed]
    assert [over_advice(each.pick, each.scene) for each in everything] == [10.0, 5.0, None, None]
    assert total_over_advice(everything) == (15.0, 2)
    assert total_over_advice(everything, recorded=True) == (30.0, 2)


def test_the_reading_that_came_is_told_first(demo):
    """Of what was recorded, the band that came stands first; other choices keep theirs."""
    state, _ = demo
    step = steps_of(state)[0]
    band = step.event.band
    line = f"{band} (9 %): Air leak 20 % -> 40 %"
    told = ("one (60 %): rules out A", "two (30 %): B 10 % -> 20 %", line)
    recorded = replace(_choice("a", 1.0), settles=told)
    other = replace(_choice("b", 2.0), settles=told)
    seen = Scene(step, (recorded, other), recorded, other, {})
    assert choice_settles(recorded, seen) == [f"it came out {line}", told[0]]
    assert choice_settles(other, seen) == list(told[:2])
    rare = replace(recorded, settles=told[:2])
    first = choice_settles(rare, replace(seen, recorded=rare))[0]
    assert first.startswith(f"it came out {band}, which was hardly expected")


# --- the session as steps ----------------------------------------------------------------------


def test_steps_are_the_readings_and_repairs_in_order(demo):
    """Every standing reading and repair is a step, in the order of the log."""
    state, _ = demo
    steps = steps_of(state)
    assert [step.entry for step in steps] == sorted(step.entry for step in steps)
    assert len(steps) == len(state.readings) + len(state.repairs)


def test_what_was_taken_back_is_no_step(demo):
    """A reading that was withdrawn is not a step of the exercise."""
    state, knowledge = demo
    folded = State()
    for envelope in state.history[: steps_of(state)[2].entry]:
        folded = apply(folded, envelope)
    last = steps_of(folded)[-1]
    (event,) = decide(folded, Undo(), knowledge)
    envelope = Envelope(folded.last + 1, state.history[0].at, "t", event)
    assert last not in steps_of(apply(folded, envelope))


def test_a_scene_knows_nothing_of_what_came_later(demo):
    """What is weighed before a step is weighed without that step and all later ones."""
    state, knowledge = demo
    step = steps_of(state)[4]
    known = before(state, step)
    assert all(fact.sequence < step.entry for fact in (*known.readings, *known.repairs))
    found = scene(state, knowledge, step)
    assert (step.kind, step.id) == (found.recorded.kind, found.recorded.id)
    assert found.recorded in found.choices
    assert found.advice in found.choices
    names = [choice.name.casefold() for choice in found.choices if choice.kind == "test"]
    assert names == sorted(names)


def test_readings_that_nothing_explains_do_not_give_the_step_away(demo, monkeypatch):
    """Where nothing can be weighed, everything that fits the car can still be chosen."""
    state, knowledge = demo
    step = steps_of(state)[4]
    weighed = scene(state, knowledge, step)
    real = exercise.reckon

    def nothing_explains(*known):
        return replace(real(*known), posterior=None, trouble="They exclude one another.")

    monkeypatch.setattr(exercise, "reckon", nothing_explains)
    found = scene(state, knowledge, step)
    assert found.trouble == "They exclude one another."
    assert found.advice is None
    assert {one.id for one in weighed.choices} <= {one.id for one in found.choices}
    assert all(one.expected_cost is None for one in found.choices)


def test_no_choice_is_much_better_than_the_advice(demo):
    """The advice is the cheapest, but for the two per cent that it pays for reaching less far."""
    state, knowledge = demo
    for step in steps_of(state)[::4]:
        found = scene(state, knowledge, step)
        costs = [one.expected_cost for one in found.choices if one.expected_cost is not None]
        assert found.advice.expected_cost <= min(costs) * 1.0201


def test_forecast_counts_any_other_cause(demo):
    """What is confirmed but not among the causes asked for comes true as another cause."""
    state, knowledge = demo
    step = next(step for step in steps_of(state) if step.kind == "repair")
    chances = scene(state, knowledge, step).chances
    causes = asked(chances)
    assert confirmed(state) == ("air-leak-after-throttle", "fuel-pump-weak")
    stated = forecast(causes, [0.9, 0.0, 0.0, 0.0, 0.0, 0.5], chances, state)
    assert stated.true == {
        **{cause: cause in confirmed(state) for cause in causes},
        OTHER: not set(confirmed(state)) <= set(causes),
    }
    assert 0.0 <= stated.reckoned[OTHER] <= 1.0


def test_forecast_scores_by_cause():
    """The score pairs every stated chance with its own cause."""
    stated = Forecast({"a": 0.8, OTHER: 0.1}, {"a": 0.5, OTHER: 0.5}, {"a": True, OTHER: False})
    assert stated.brier == pytest.approx((0.04 + 0.01) / 2)
    assert stated.brier_reckoned == pytest.approx(0.25)


def test_results_are_added_line_by_line(tmp_path):
    """Every finished exercise is one line after those before it."""
    keep(tmp_path / "new", {"who": "a"})
    path = keep(tmp_path / "new", {"who": "b\nc"})
    assert [json.loads(line)["who"] for line in path.read_text().splitlines()] == ["a", "b\nc"]


def test_a_torn_result_spoils_none_after_it(tmp_path):
    """After a line that a crash tore, the next one stands on a line of its own."""
    path = keep(tmp_path, {"who": "a"})
    path.write_bytes(path.read_bytes() + b'{"who": "b')
    keep(tmp_path, {"who": "c"})
    first, torn, last = path.read_text().splitlines()
    assert (json.loads(first), torn, json.loads(last)) == ({"who": "a"}, '{"who": "b', {"who": "c"})


def test_a_result_that_does_not_fit_leaves_no_half_line(tmp_path, monkeypatch):
    """When the disk takes only part of a line, that part is taken out again, and it is said."""
    path = keep(tmp_path, {"who": "a"})
    before_it, write = path.read_bytes(), os.write
    monkeypatch.setattr(os, "write", lambda handle, data: write(handle, data[:5]))
    with pytest.raises(OSError, match="No space left"):
        keep(tmp_path, {"who": "b"})
    assert path.read_bytes() == before_it


def test_results_are_no_session(sessions):
    """The file of exercises lies among the logs and is not listed as one of them."""
    before_it = [card.id for card in list_sessions(sessions)]
    keep(sessions, {"who": "a"})
    assert [card.id for card in list_sessions(sessions)] == before_it


# --- the page ----------------------------------------------------------------------------------


def _app(sessions, name=DEMO):
    return FaulttreeApp(
        ROOT / "trees",
        sessions,
        opening=lambda app: app.replay(sessions / name, exercise=True),
        who="workshop",
    )


async def _begin(seat, name="Trainee"):
    """Say who does the exercise; the first step is then there to be chosen."""
    assert "Who does this exercise?" in seat.frame
    assert "workshop" in seat.frame
    await seat.press(*["backspace"] * 12)
    await seat.type(name)
    await seat.press("enter")


@pytest.mark.parametrize("size", SIZES)
async def test_the_next_step_is_hidden_then_compared(drive, sessions, size):
    """Before the choice the recorded reading is not shown; after it all three stand together."""
    app = _app(sessions)
    async with drive(app, size) as seat:
        await _begin(seat)
        assert isinstance(app.screen, ExercisePage)
        first = seat.frame
        assert "What would you do next?" in first
        assert "hunting" not in first
        assert "Goes up and down" in first
        await seat.type("canister purge")
        await seat.press("enter")
        after = seat.frame
        assert "What was done: Hot idle watched for 60 seconds: hunting" in after
        assert "You: Canister purge valve at idle" in after
        assert "more than the advice" in after
        assert "Advice:" in after


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize(
    ("typed", "id"),
    [
        ("air leak after", "air-leak-after-throttle"),
        ("hot idle watched", "idle-watch"),
        ("hot idle w", "idle-watch"),
        ("repair spark plugs", "spark-plugs-worn"),
    ],
)
async def test_enter_takes_what_answers_best(drive, sessions, size, typed, id):
    """Whether a test or a repair was meant, the best answer to the words is the one on top."""
    app = _app(sessions)
    async with drive(app, size) as seat:
        await _begin(seat)
        await seat.type(typed)
        await seat.press("enter")
        assert app.screen.picked[-1].pick.id == id


@pytest.mark.parametrize("size", SIZES)
async def test_a_whole_exercise_is_scored_and_kept(drive, sessions, size):
    """Taking the recorded step each time costs what was recorded, and the result is kept."""
    app = _app(sessions)
    async with drive(app, size) as seat:
        await _begin(seat)
        page = app.screen
        while page.mode != "end":
            if isinstance(app.screen, WriteBox):
                await seat.type("1 2")
                await seat.press("enter")
                assert "6 figures are wanted" in seat.frame
                assert "Type 6 figures with spaces between" in seat.words
                # What was typed stays, to be mended and gone on with.
                await seat.press("backspace", "backspace", "backspace")
                await seat.type("90 0 0 0 0 50")
                await seat.press("enter")
            elif page.mode == "choosing":
                page._pick(f"{page.scene.step.kind}:{page.scene.step.id}")
            else:
                await seat.press("enter")
        shown = seat.frame
        assert "Brier score of your chances" in shown
        assert "Found: Air leak after the throttle" in shown
    (line,) = (sessions / "exercises.jsonl").read_text().splitlines()
    kept = json.loads(line)
    assert kept["who"] == "Trainee"
    assert kept["session"] == DEMO
    assert len(kept["picks"]) == len(page.steps)
    assert all(one["picked"] == one["recorded"] for one in kept["picks"])
    assert kept["over_advice"] == pytest.approx(kept["recorded_over_advice"])
    assert kept["brier"] == pytest.approx(
        brier(list(kept["true"].values()), list(kept["stated"].values()))
    )


async def test_show_me_and_going_back_keep_nothing(drive, sessions):
    """A step can be shown without choosing; leaving early keeps no result."""
    app = _app(sessions)
    async with drive(app, (80, 24)) as seat:
        await _begin(seat)
        await seat.press("ctrl+r")
        assert "shown without choosing" in seat.frame
        page = app.screen
        shown = await seat.press("b")
        assert "Leave the exercise?" in shown
        assert "keeps no result" in shown
        await seat.press("enter")
        assert app.screen is page
        await seat.press("b", "2")
        assert not isinstance(app.screen, ExercisePage)
    assert not (sessions / "exercises.jsonl").exists()


async def test_an_exercise_not_begun_is_left_at_once(drive, sessions):
    """Before the first choice there is nothing to lose, so going back asks nothing."""
    app = _app(sessions)
    async with drive(app, (80, 24)) as seat:
        await _begin(seat)
        await seat.press("escape")
        assert not isinstance(app.screen, ExercisePage)


async def test_all_that_is_known_can_be_read_before_the_choice(drive, sessions, size):
    """PgDn leads to the end of what is known, the car is there, and the foot says so."""
    app = _app(sessions)
    async with drive(app, size) as seat:
        await _begin(seat)
        more = app.screen.query_one("#exercise-text").max_scroll_y > 0
        assert ("PgDn More" in seat.frame.splitlines()[-1]) is more
        before = seat.words
        for _ in range(3):
            before += await seat.press("pagedown")
        assert "Camshaft drive: belt" in before
        assert "Car: The blue camper; Fuel system: multipoint" in before
        assert "Holds its breath when I pull away" in before
        await seat.press("pageup", "pageup", "pageup")
        assert "What would you do next?" in seat.words


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("low (13 %): Air leak 5 % -> 18 %", "if low (13 %): Air leak 5 % → 18 %"),
        (
            "it came out low (13 %): Air leak 5 % -> 18 %",
            "came out low (13 %): Air leak 5 % → 18 %",
        ),
        ("it came out low, which changes little", "came out low, which changes little"),
        ("cures the complaint with a chance of 41 %", "cures the complaint with a chance of 41 %"),
    ],
)
def test_the_reading_that_came_is_no_if(line, told):
    """What came is told as what came, what might have come with an if; neither is cut wider."""
    assert told_line(line, 60) == told
    assert len(told_line(line, 30)) <= 30


async def test_chances_are_asked_for_once(drive, sessions):
    """Whoever goes back when asked for chances is not asked again, with the answer in sight."""
    app = _app(sessions)
    boxes = 0
    async with drive(app, (80, 24)) as seat:
        await _begin(seat)
        page = app.screen
        while page.mode != "end":
            if isinstance(app.screen, WriteBox):
                boxes += 1
                await seat.press("escape")
            elif page.mode == "choosing":
                page._compare(None)
            else:
                await seat.press("enter")
    assert boxes == 1
    (line,) = (sessions / "exercises.jsonl").read_text().splitlines()
    assert json.loads(line)["brier"] is None


async def test_a_session_that_is_not_there_is_said(drive, sessions):
    """A log that cannot be read is said on the page, not by a traceback."""
    (sessions / "torn.jsonl").write_text("{}\n")
    app = _app(sessions, "torn.jsonl")
    async with drive(app, (80, 24)) as seat:
        assert "cannot be an exercise" in seat.frame


async def test_a_result_that_cannot_be_kept_is_said(drive, sessions, tmp_path):
    """When the folder cannot be written to, the scores are shown and the reason is said."""
    blocked = tmp_path / "blocked"
    blocked.write_text("a file where a folder is wanted")
    path = sessions / DEMO
    app = FaulttreeApp(
        ROOT / "trees", blocked, opening=lambda app: app.replay(path, exercise=True), who="T"
    )
    async with drive(app, (120, 60)) as seat:
        await seat.press("enter")
        page = app.screen
        page._compare(None)
        page._end()
        await seat.settle()
        shown = seat.frame
        assert "How it came out" in shown
        assert "The result could not be kept" in shown
