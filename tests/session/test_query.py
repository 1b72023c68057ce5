"""The logs are plain JSON Lines: a query engine that knows nothing of this program reads them."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from faulttree.session.events import Closed, ComplaintTaken, Noted, Opened, ReadingTaken, Repaired
from faulttree.session.journal import create
from faulttree.tree.model import Knowledge

duckdb = pytest.importorskip("duckdb")
AT = datetime(2026, 3, 9, 8, 15, tzinfo=UTC)


def test_query_over_sessions(tmp_path: Path, opened: Opened, knowledge: Knowledge) -> None:
    """Readings with their bands, and outcomes, come out of many logs in one query."""
    for outcome in ("cured", "not found"):
        with create(tmp_path, opened, knowledge, "A. Tester", AT) as log:
            reading = ReadingTaken(
                "vacuum", "12", {"value": (12.0,)}, bands={"low": 0.75, "in limits": 0.25}
            )
            events = [
                ComplaintTaken("unsteady", 'a "quoted" line\nand another'),
                reading,
                Noted("x"),
                Repaired("air-leak", minutes=20),
                Closed(outcome, ("air-leak",)),  # type: ignore[arg-type]
            ]
            log.append(events, "A. Tester", AT)
    lines = f"read_json_auto('{tmp_path}/*.jsonl', filename=true)"
    bands = duckdb.sql(
        f"select test, band.name, band.value from (select test, unnest(bands) as band from {lines} "
        "where kind = 'reading') order by band.value desc"
    ).fetchall()
    assert bands == [("vacuum", "low", 0.75)] * 2 + [("vacuum", "in limits", 0.25)] * 2
    outcomes = duckdb.sql(
        f"select outcome, count(distinct filename) from {lines} where kind = 'closed' "
        "group by outcome order by outcome"
    ).fetchall()
    assert outcomes == [("cured", 1), ("not found", 1)]
    ((entries,),) = duckdb.sql(f"select count(*) from {lines}").fetchall()
    assert entries == 12
