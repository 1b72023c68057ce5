"""What was advised is kept with what was done, and logs from before that still read."""

import json
from datetime import UTC, datetime
from pathlib import Path

from faulttree.scorer.advice import Suggestion
from faulttree.scorer.evidence import Entry
from faulttree.session.chances import advice_at
from faulttree.session.events import (
    Advice,
    ComplaintTaken,
    Envelope,
    Opened,
    ReadingTaken,
    Repaired,
)
from faulttree.session.journal import create, open_journal, read
from faulttree.session.lines import NOTHING_BEFORE, chain_of, read_line, write_line
from faulttree.session.moves import TakeReading, decide
from faulttree.tree.model import Knowledge

AT = datetime(2026, 3, 9, 8, 15, tzinfo=UTC)


def suggestion(id: str, minutes: float, expected_cost: float) -> Suggestion:
    """A test to do next, as the advice gives it."""
    return Suggestion("test", id, id, minutes, 0, minutes, expected_cost, 0.5, 0, {}, ())


LIST = [suggestion("vacuum", 10, 120.004), suggestion("pressure", 15, 131.25)]


def test_advice_names_its_first_choice_and_what_another_costs() -> None:
    """Followed costs nothing more, another what it was reckoned at, an unweighed one no sum."""
    assert advice_at(LIST, "vacuum") == Advice("vacuum", 10, 0.0)
    assert advice_at(LIST, "pressure") == Advice("vacuum", 10, 11.25)
    assert advice_at(LIST, "idle-look") == Advice("vacuum", 10, None)
    assert advice_at([], "vacuum") is None


def test_advice_goes_into_the_log_and_comes_back(
    tmp_path: Path, opened: Opened, knowledge: Knowledge
) -> None:
    """A reading and a repair keep what was advised, through the moves, the file, and back."""
    advice = Advice("vacuum", 10, 11.25)
    with create(tmp_path, opened, knowledge, "A. Tester", AT) as log:
        log.append(ComplaintTaken("unsteady"), "A. Tester", AT)
        reading = TakeReading("vacuum", "17", Entry({"value": (17.0,)}), advice=advice)
        log.append(decide(log.state, reading, knowledge), "A. Tester", AT)
        log.append(Repaired("air-leak", "hose", 20, Advice("air-leak", 20, 0.0)), "A. Tester", AT)
        path = log.record.path
    state = read(path).state
    assert [fact.event.advice for fact in state.readings] == [advice]
    assert [fact.event.advice for fact in state.repairs] == [Advice("air-leak", 20, 0.0)]


def test_a_log_from_before_advice_was_kept_still_reads_and_is_gone_on_with(
    tmp_path: Path, opened: Opened, knowledge: Knowledge
) -> None:
    """Lines without the field read as without advice, their chain holds, and new lines follow."""
    events = [opened, ComplaintTaken("unsteady"), ReadingTaken("vacuum"), Repaired("air-leak")]
    chain, data = NOTHING_BEFORE, b""
    for number, event in enumerate(events, 1):
        old = json.loads(write_line(Envelope(number, AT, "A. Tester", event), chain))
        old.pop("advice", None)
        line = json.dumps(old).encode() + b"\n"
        assert read_line(line)[0].event == event
        chain = chain_of(line)
        data += line
    path = tmp_path / "old.jsonl"
    path.write_bytes(data)
    record = read(path)
    assert record.damage is None
    assert record.state.readings[0].event.advice is None
    with open_journal(path, "A. Tester") as log:
        newer = ReadingTaken("vacuum", advice=Advice("vacuum", 10, None))
        log.append(newer, "A. Tester", AT)
    record = read(path)
    assert record.damage is None
    assert record.state.readings[-1].event.advice == Advice("vacuum", 10, None)
