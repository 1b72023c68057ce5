"""Tallies of folders of logs, written with the program's own lines."""

import csv
import io
import json
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

from faulttree.session.events import (
    Closed,
    ComplaintTaken,
    Envelope,
    Event,
    Opened,
    ReadingTaken,
    VehicleDescribed,
    Withdrawn,
)
from faulttree.session.journal import read
from faulttree.session.lines import NOTHING_BEFORE, chain_of, write_line
from faulttree.study.tally import Comeback, scan, tally, to_csv, to_json, to_text

START = datetime(2026, 3, 9, 8, 0, tzinfo=UTC)


def write_log(path: Path, events: Sequence[Event], start: datetime = START) -> Path:
    """A log of these events, ten minutes apart, sound in every line."""
    chain, data = NOTHING_BEFORE, b""
    for number, event in enumerate(events, 1):
        at = start + timedelta(minutes=10 * (number - 1))
        line = write_line(Envelope(number, at, "A. Tester", event), chain)
        chain = chain_of(line)
        data += line
    path.write_bytes(data)
    return path


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
        ("leak", 2, 40.0),
        ("pump", 2, 40.0),
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
    assert float(causes["leak"]["median_minutes"]) == 40.0
    assert json.loads(to_json(counts))["complaints"] == {"rough": 1}
    assert scan(tmp_path / "a.jsonl") is not None
