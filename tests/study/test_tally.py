"""Tallies of folders of logs, written with the program's own lines."""

import csv
import io
import json
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from faulttree.session.events import (
    Advice,
    CautionAcknowledged,
    Closed,
    ComplaintTaken,
    Event,
    Opened,
    ReadingTaken,
    Repaired,
    VehicleDescribed,
    Withdrawn,
)
from faulttree.session.journal import read
from faulttree.study.tally import Comeback, Following, Steps, scan, tally, to_csv, to_json, to_text
from faulttree.tree.load import load_all

from .shop import simulate_shop, write_events, write_shop

START = datetime(2026, 3, 9, 8, 0, tzinfo=UTC)


def write_log(path: Path, events: Sequence[Event], start: datetime = START) -> Path:
    """A log of these events, ten minutes apart, sound in every line."""
    return write_events(
        path, [(start + timedelta(minutes=10 * n), event) for n, event in enumerate(events)]
    )


def session(*causes: str, name: str = "Blue estate", tree: str = "rough") -> list[Event]:
    """A session of five entries that closes with these causes."""
    return [
        Opened("1.0.0", (tree,), "0" * 64, f"{name}, {tree}"),
        VehicleDescribed(None, name),
        ReadingTaken("smoke", choice="seen", taken_as="advice", bands={"seen": 1.0}),
        ReadingTaken("prime", taken_as="route", bands={"low": 1.0}),
        Closed("cured", causes),
    ]


def test_causes_complaints_and_times_are_counted(tmp_path: Path) -> None:
    """Three closed sessions and an open one come to the counts that were put in."""
    write_log(tmp_path / "a.jsonl", session("leak"))
    write_log(tmp_path / "b.jsonl", session("leak", "pump", name="Red van"))
    write_log(tmp_path / "c.jsonl", session("pump", name="Old saloon", tree="weak"))
    write_log(tmp_path / "d.jsonl", [*session()[:3], ComplaintTaken("weak")])
    counts = tally(tmp_path)
    assert (counts.sessions, counts.open) == (4, 1)
    assert counts.complaints == {"rough": 3, "weak": 2}
    assert counts.outcomes == {"cured": 3}
    assert counts.taken_as == {"advice": 4, "route": 3}
    assert [(f.cause, f.sessions, f.median_minutes) for f in counts.causes] == [
        ("leak", 2, 30.0),
        ("pump", 2, 30.0),
    ]


def test_a_comeback_is_the_same_car_with_the_same_complaint(tmp_path: Path) -> None:
    """One name, however typed, with one complaint comes back; with another it does not."""
    later = START + timedelta(days=30)
    write_log(tmp_path / "a.jsonl", session("leak"))
    write_log(tmp_path / "b.jsonl", session("leak", name="blue  Estate"), later)
    write_log(tmp_path / "c.jsonl", session("pump", tree="weak"), later)
    write_log(tmp_path / "d.jsonl", session("pump", name="Red van"), later)
    counts = tally(tmp_path)
    (back,) = counts.comebacks
    assert isinstance(back, Comeback)
    assert (back.vehicle, back.tree, back.first, back.again) == ("blue  Estate", "rough", "a", "b")
    assert 29.9 < back.days < 30.0
    assert "Came back with the same complaint: 1\n  blue  Estate, rough" in to_text(counts)


def test_sessions_side_by_side_are_no_comeback(tmp_path: Path) -> None:
    """A session that was opened before the first one was closed is no coming back."""
    write_log(tmp_path / "a.jsonl", session("leak"))
    write_log(tmp_path / "b.jsonl", session("leak"), START + timedelta(minutes=20))
    assert tally(tmp_path).comebacks == ()


def test_of_many_comebacks_the_latest_are_listed(tmp_path: Path) -> None:
    """People see the last twenty and how many there were; JSON holds every one."""
    for day in range(25):
        at = START + timedelta(days=day)
        write_log(tmp_path / f"{day:02}.jsonl", session("leak"), at)
    counts = tally(tmp_path)
    text = to_text(counts)
    assert "Came back with the same complaint: 24" in text
    assert text.count("  Blue estate, rough: after") == 20
    assert "(23, then 24)" in text
    assert "(00, then 01)" not in text
    assert len(json.loads(to_json(counts))["comebacks"]) == 24


def test_what_was_withdrawn_does_not_count(tmp_path: Path) -> None:
    """A withdrawn closing leaves the session open, and a withdrawn reading is not counted."""
    events = [*session("leak"), Withdrawn(5), Withdrawn(3)]
    path = write_log(tmp_path / "a.jsonl", events)
    counts = tally(tmp_path)
    assert (counts.open, counts.causes, counts.taken_as) == (1, (), {"route": 1})
    # The full reader agrees with the quick look.
    state = read(path).state
    assert state.closed is None
    assert [fact.event.test for fact in state.readings] == ["prime"]


def test_what_cannot_be_read_is_named(tmp_path: Path) -> None:
    """Rubbish and an empty file are named, a torn last line is left out."""
    (tmp_path / "rubbish.jsonl").write_bytes(b"\xff\x00 not a log\n")
    (tmp_path / "empty.jsonl").write_bytes(b"")
    (tmp_path / "list.jsonl").write_bytes(b"[1, 2]\n")
    torn = write_log(tmp_path / "torn.jsonl", session("leak"))
    torn.write_bytes(torn.read_bytes()[:-20])
    counts = tally(tmp_path)
    assert counts.unreadable == ("empty.jsonl", "list.jsonl", "rubbish.jsonl")
    assert (counts.sessions, counts.open) == (1, 1)
    assert "rubbish.jsonl" in to_text(counts)


@pytest.mark.parametrize(
    ("written", "instead"),
    [
        (b'Z",', b'",'),
        (b'"minutes": 12.0', b'"minutes": NaN'),
        (b'"extra": 7.5', b'"extra": -Infinity'),
        (b'"extra": 7.5', b'"extra": 1' + 400 * b"0"),
    ],
)
def test_figures_that_cannot_be_reckoned_with_are_named(
    tmp_path: Path, written: bytes, instead: bytes
) -> None:
    """A log whose times or figures cannot be set beside others stops no tally and spoils none."""
    events = [*session("leak")[:3], advised("prime", "squeeze", 7.5), Closed("cured", ("leak",))]
    write_log(tmp_path / "a.jsonl", events)
    sound = tally(tmp_path)
    data = write_log(tmp_path / "b.jsonl", events).read_bytes()
    assert written in data
    (tmp_path / "b.jsonl").write_bytes(data.replace(written, instead))
    counts = tally(tmp_path)
    assert counts.unreadable == ("b.jsonl",)
    assert replace(counts, unreadable=()) == sound


def test_no_folder_holds_no_sessions(tmp_path: Path) -> None:
    """A folder that is not there is no error."""
    assert tally(tmp_path / "none").sessions == 0


def test_csv_and_json_read_back(tmp_path: Path) -> None:
    """CSV reads back with no cell that a spreadsheet would run, and JSON reads back."""
    write_log(tmp_path / "a.jsonl", session("=cmd()", "leak"))
    counts = tally(tmp_path)
    rows = list(csv.DictReader(io.StringIO(to_csv(counts))))
    causes = {row["name"]: row for row in rows if row["what"] == "cause"}
    assert set(causes) == {"'=cmd()", "leak"}
    assert float(causes["leak"]["median_minutes"]) == 30.0
    assert json.loads(to_json(counts))["complaints"] == {"rough": 1}
    assert scan(tmp_path / "a.jsonl") is not None


def advised(test: str, id: str, extra: float | None) -> ReadingTaken:
    """A reading of a test when something was advised that takes twelve minutes."""
    return ReadingTaken(test, bands={"low": 1.0}, advice=Advice(id, 12.0, extra))


def test_advice_is_set_beside_what_was_done(tmp_path: Path) -> None:
    """Followed, not followed, the money reckoned, and the minutes of both come out as put in."""
    events = [
        Opened("1.0.0", ("rough",), "0" * 64, "x"),
        advised("smoke", "smoke", 0.0),
        CautionAcknowledged("petrol", "test", "prime"),
        advised("prime", "squeeze", 7.5),
        ReadingTaken("squeeze"),
        advised("load", "pump", None),
        Repaired("pump", advice=Advice("leak", 20.0, 30.25)),
        advised("prime", "smoke", 99.0),
        Repaired("leak", advice=Advice("leak", 20.0, 0.0)),
        Closed("cured", ("leak",)),
    ]
    write_log(tmp_path / "a.jsonl", events)
    counts = tally(tmp_path)
    # The caution belongs to the reading after it; the prime pressure after a repair is proof.
    assert counts.steps == Steps(2, 3, 2, 37.75, 40.0, 44.0)
    assert counts.following == (Following("followed less", 1, 70.0, 4),)
    text = to_text(counts)
    assert "followed at 2 of 5 steps (40%)" in text
    assert "2 of the 3 others were reckoned to cost 38 more in all, 18.9 each" in text
    rows = {row["name"]: row for row in csv.DictReader(io.StringIO(to_csv(counts)))}
    assert (rows["reckoned extra money"]["count"], rows["reckoned extra money"]["sum"]) == (
        "2",
        "37.75",
    )
    assert rows["minutes taken where not followed"]["sum"] == "40.0"


def test_logs_from_before_advice_was_kept_say_nothing_of_it(tmp_path: Path) -> None:
    """Without recorded advice there is no section of it, and no session counts as not following."""
    write_log(tmp_path / "a.jsonl", session("leak"))
    counts = tally(tmp_path)
    assert (counts.steps, counts.following) == (Steps(), ())
    assert "Advice" not in to_text(counts)


def test_a_car_that_stood_over_night_is_not_looked_at_all_night(tmp_path: Path) -> None:
    """Of two days' work on a car the night between does not count as time to find."""
    first = session("leak")
    events = [*first[:4], Repaired("leak"), first[4]]
    days = (0, 0, 0, 1, 1, 1)
    times = [START + timedelta(days=day, minutes=10 * n) for n, day in enumerate(days)]
    write_events(tmp_path / "a.jsonl", zip(times, events, strict=True))
    (found,) = tally(tmp_path).causes
    # Twenty minutes on the first day; the gap to the first entry of the second is the night.
    assert found.median_minutes == 20.0


def test_the_file_of_exercises_is_no_session(tmp_path: Path) -> None:
    """What trainees made of past sessions lies among the logs and is not counted."""
    write_log(tmp_path / "a.jsonl", session("leak"))
    (tmp_path / "exercises.jsonl").write_text("{}\n")
    counts = tally(tmp_path)
    assert (counts.sessions, counts.unreadable) == (1, ())


# --- the same, asked of a query engine -----------------------------------------------------------


@pytest.fixture(scope="module")
def shop_logs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A hundred and fifty simulated sessions, a copy of one left open, and one with undoings."""
    folder = tmp_path_factory.mktemp("logs")
    truth = load_all(Path(__file__).parents[1] / "cli" / "trees", learned=False)
    write_shop(folder, simulate_shop(truth, 150, 4))
    write_log(folder / "open.jsonl", session()[:4])
    write_log(folder / "undone.jsonl", [*session("leak"), Withdrawn(5), Withdrawn(3)])
    (folder / "exercises.jsonl").write_text('{"format": 1, "tree": "x"}\n')
    return folder


def documented_query() -> str:
    """The query of DEVELOPERS.md."""
    text = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text(encoding="utf-8")
    query = text[text.index("```sql") + len("```sql") :]
    return query[: query.index("```")]


def test_the_documented_query_agrees_with_the_tally(shop_logs: Path) -> None:
    """DuckDB gives for every cause the sessions and the minutes that the tally gives."""
    duckdb = pytest.importorskip("duckdb")
    rows = duckdb.sql(documented_query().replace("sessions/", f"{shop_logs}/")).fetchall()
    counts = tally(shop_logs)
    assert len(rows) == 3
    assert [(cause, sessions) for cause, sessions, *_ in rows] == [
        (line.cause, line.sessions) for line in counts.causes
    ]
    for row, line in zip(rows, counts.causes, strict=True):
        assert row[2:] == pytest.approx((line.median_minutes, line.longest_minutes), abs=1e-6)


def test_a_query_engine_counts_complaints_outcomes_and_advice_alike(shop_logs: Path) -> None:
    """Complaints, outcomes, and the advice followed at readings before a repair: both agree."""
    duckdb = pytest.importorskip("duckdb")
    with_, _, _ = documented_query().partition("closed AS")
    with_ = with_.replace("sessions/", f"{shop_logs}/").rstrip().rstrip(",")
    counts = tally(shop_logs)

    def ask(query: str) -> list[tuple[object, ...]]:
        return list(duckdb.sql(f"{with_} {query}").fetchall())

    complaints = ask(
        "SELECT tree, count(DISTINCT log) FROM (SELECT log, unnest(trees) AS tree FROM standing "
        "WHERE kind = 'opened' UNION ALL SELECT log, tree FROM standing WHERE kind = 'complaint') "
        "GROUP BY tree"
    )
    assert dict(complaints) == counts.complaints
    outcomes = ask("SELECT outcome, count(*) FROM standing WHERE kind = 'closed' GROUP BY outcome")
    assert dict(outcomes) == counts.outcomes
    # No test of the simulated shop is read again after a repair, so every step is a choice.
    ((followed, against, weighed, extra),) = ask(
        "SELECT count(*) FILTER (WHERE advice.id = coalesce(test, cause)), "
        "count(*) FILTER (WHERE advice.id <> coalesce(test, cause)), "
        "count(advice.extra) FILTER (WHERE advice.id <> coalesce(test, cause)), "
        "sum(advice.extra) FILTER (WHERE advice.id <> coalesce(test, cause)) "
        "FROM standing WHERE kind IN ('reading', 'repaired')"
    )
    steps = counts.steps
    assert (followed, against, weighed) == (steps.followed, steps.not_followed, steps.weighed)
    assert extra == pytest.approx(steps.extra)
    assert steps.not_followed > 50
